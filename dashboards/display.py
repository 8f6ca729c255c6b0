"""Numbers and times as a person reads them: rounded, with the unit, in the clock of this machine."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from datetime import datetime

from kiln.sentences import in_100
from kiln.spans import date_words
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE, MS_PER_S, board_feet_from_m3, g_from_kg, mm_from_m

NOTHING = "–"
MINUTES_SHOWN_MS = 2 * MS_PER_HOUR
HOURS_SHOWN_MS = 2 * MS_PER_DAY
DAYS_SHOWN_MS = 70 * MS_PER_DAY
DAYS_A_MONTH = 30.44
FEW = 4  # so many of a list of names are told


def local(at_ms: int) -> datetime:
    """Return a moment in the local time of this machine."""
    return datetime.fromtimestamp(at_ms / MS_PER_S).astimezone()


def day(at_ms: int, now_ms: int) -> str:
    """Return a date as "3 Dec", with the year when it is not this one."""
    return date_words(at_ms, now_ms)


def day_ahead(at_ms: int, now_ms: int) -> str:
    """Return a day that somebody has fixed, to plan by: "Fri 4 Dec". A date that is only likely has no weekday."""
    return f"{local(at_ms):%a} {day(at_ms, now_ms)}"


def moment(at_ms: int) -> str:
    """Return a date and time as "25 Nov 2026, 09:40"."""
    at = local(at_ms)
    return f"{at.day} {at:%b %Y, %H:%M}"


def for_field(at_ms: int) -> str:
    """Return a moment as a date-and-time field takes it."""
    return f"{local(at_ms):%Y-%m-%dT%H:%M}"


def for_chart(at_ms: int) -> str:
    """Return a moment as the charts take it, in local time."""
    return f"{local(at_ms):%Y-%m-%d %H:%M}"


def age(at_ms: int | None, now_ms: int) -> str:
    """Return how long ago something was: "just now", "4 min ago", "3 days ago"."""
    if at_ms is None:
        return "never"
    passed_ms = now_ms - at_ms
    if passed_ms < -MS_PER_MINUTE:
        return f"in {_span(-passed_ms)}"
    return "just now" if passed_ms < MS_PER_MINUTE else f"{_span(passed_ms)} ago"


def _span(span_ms: int) -> str:
    if span_ms < MINUTES_SHOWN_MS:
        return f"{span_ms // MS_PER_MINUTE} min"
    if span_ms < HOURS_SHOWN_MS:
        return f"{span_ms // MS_PER_HOUR} h"
    if span_ms < DAYS_SHOWN_MS:
        return f"{span_ms // MS_PER_DAY} days"
    return f"{round(span_ms / MS_PER_DAY / DAYS_A_MONTH)} months"


def visible(text: str) -> str:
    """Return text that came from outside with a mark for all that cannot be seen and could steer page or terminal."""
    return "".join(one if one.isprintable() else "\N{REPLACEMENT CHARACTER}" for one in text)


def number(value: float | None, decimals: int = 1) -> str:
    """Return a number, or a dash where there is none."""
    if value is None or not math.isfinite(value):
        return NOTHING
    shown = f"{value:.{decimals}f}"
    return shown.removeprefix("-") if float(shown) == 0 else shown.replace("-", "−")


def with_unit(value: float | None, unit: str, decimals: int = 1) -> str:
    """Return a number with its unit, or a dash where there is none."""
    shown = number(value, decimals)
    return shown if shown == NOTHING else f"{shown} {unit}"


def band(low: float, middle: float, high: float) -> str:
    """Return a moisture content with its band: "11.4 % (10.6–12.3)"."""
    if not all(map(math.isfinite, (low, middle, high))):
        return NOTHING
    return f"{number(middle)} % ({number(low)}–{number(high)})"


def tight(text: str) -> str:
    """Return text in which no line breaks between a number and its unit, or inside a span such as 8–19."""
    joined = re.sub(r"(?<=\d) (?=[%°])", "\u00a0", text)
    return re.sub(r"(?<=\d)–(?=[\d−])", "\u2060–\u2060", joined)


def mass(mass_kg: float) -> str:
    """Return a mass in g below 10 kg, else in kg."""
    return f"{mass_kg:.2f} kg" if mass_kg >= 10 else f"{g_from_kg(mass_kg):.1f} g"


def size(thickness_m: float, width_m: float, length_m: float) -> str:
    """Return a board's sizes in mm: "25 × 180 × 900 mm"."""
    return " × ".join(f"{mm_from_m(value):g}" for value in (thickness_m, width_m, length_m)) + " mm"


def volume(volume_m3: float) -> str:
    """Return a volume in m³ and in board feet: "0.0432 m³ (18.3 board feet)"."""
    feet = board_feet_from_m3(volume_m3)
    decimals = 2 if feet < 10 else 1 if feet < 100 else 0
    cubic = f"{volume_m3:.3f}" if volume_m3 >= 1 else f"{volume_m3:.3g}"
    return f"{cubic} m³ ({feet:.{decimals}f} board feet)"


def millimetres(length_m: float) -> str:
    """Return a length as a field takes it, in mm."""
    return f"{mm_from_m(length_m):.6g}"


def chance(probability: float | None) -> str:
    """Return a probability in words that do not claim more than it does."""
    return "" if probability is None else in_100(probability)


def listed(names: list[str]) -> str:
    """Return names as a list in a sentence: "a, b and c"."""
    if len(names) < 2:
        return "".join(names)
    return ", ".join(names[:-1]) + " and " + names[-1]


def first_few(names: Sequence[str]) -> str:
    """Return the first few of many names as a list in a sentence, and how many more there are."""
    more = len(names) - FEW
    return listed([*names[:FEW], *([f"{more} more"] if more > 0 else [])])
