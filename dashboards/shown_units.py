"""°C or °F, mm or inches: what is shown turned into the units that a person has chosen, at the edge and nowhere else.

Everything inside, and every sentence, is in °C and mm. A figure in a text is found by number and unit side by side:
``12.3 °C``, ``5–35 °C``, ``34 × 230 × 1600 mm``, ``−7.94 mm (−9.69 to −6.49)``. A difference of temperatures is written
``3.2 C°`` or stands behind ±; it is told without the 32 of the Fahrenheit scale. What a source or a person has written
is left as it is (``as_written``).
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from markupsafe import Markup

from shared.errors import BadInput
from shared.settings import Settings
from shared.units import f_difference_from_c, f_from_c, inches_from_mm, mm_from_inches

COOKIE_NAME = "benchdry-units"
CELSIUS, DIFFERENCE, MM, INCH, FAHRENHEIT = "°C", "C°", "mm", "in", "°F"
TEMPERATURES, LENGTHS = ("C", "F"), ("mm", "in")
MOST_INCH_DECIMALS = 3  # a thousandth of an inch is what callipers in a shop show
SIXTEENTHS = 16
WORD_JOINER = "\u2060"

NUMBER = r"[+\u2212-]?(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d+)?"
SPACE = "[ \u00a0\u2009\u202f]"
JOIN = f"(?:{WORD_JOINER}?\u2013{WORD_JOINER}?|{SPACE}(?:\u2013|to|\u00d7|\u00b1|\u2192){SPACE})"
ROW = f"{NUMBER}(?:{JOIN}{NUMBER})*"
FIGURES = re.compile(
    rf"(?P<row>(?<![\w.,-])(?:\u00b1{SPACE}?)?{ROW})(?P<gap>{SPACE})(?P<unit>°C|C°|mm)(?![\w²³/])"
    rf"(?P<band>{SPACE}\({NUMBER}(?:{JOIN}{NUMBER})+\))?"
)
EACH = re.compile(rf"(?P<plus_minus>\u00b1{SPACE}?)?(?P<number>(?<!\d){NUMBER})")
TAG = re.compile(r"(<[^>]*>)")
SPOKEN = re.compile(r'(?P<name>\baria-label=")(?P<text>[^"]*)')
RAW = re.compile(r"<(/?)(?:code|script|style)\b", re.IGNORECASE)


@dataclass(frozen=True)
class Units:
    """What temperatures and lengths are shown in."""

    temperature: str = "C"
    length: str = "mm"

    @property
    def metric(self) -> bool:
        """Whether nothing needs turning."""
        return self == METRIC


METRIC = Units()


class AsWritten(str):
    """Text that is shown as somebody wrote it."""

    __slots__ = ()


def of_settings(settings: Settings) -> Units:
    """Return the yard's own choice."""
    return Units(settings.temperature_unit, settings.length_unit)


def checked(temperature: str, length: str) -> Units:
    """Return a choice that was sent; raises BadInput."""
    for name, typed, known in (("temperature unit", temperature, TEMPERATURES), ("length unit", length, LENGTHS)):
        if typed not in known:
            raise BadInput(name, typed, " or ".join(known))
    return Units(temperature, length)


def chosen(cookie: str | None, settings: Settings) -> Units:
    """Return what this browser has chosen; the yard's choice where it has not."""
    temperature, _dot, length = (cookie or "").partition(".")
    known = temperature in TEMPERATURES and length in LENGTHS
    return Units(temperature, length) if known else of_settings(settings)


def cookie_of(units: Units) -> str:
    """Return a choice as its cookie holds it."""
    return f"{units.temperature}.{units.length}"


def unit(name: str, units: Units) -> str:
    """Return a unit as it is shown; one that is neither °C nor mm as it is."""
    if name in (CELSIUS, DIFFERENCE):
        return FAHRENHEIT if units.temperature == "F" else CELSIUS
    return INCH if name == MM and units.length == "in" else name


def text(plain: str, units: Units) -> str:
    """Return a text with its figures in the chosen units."""
    if CELSIUS not in plain and DIFFERENCE not in plain and MM not in plain:
        return plain
    if not units.metric:
        plain = FIGURES.sub(lambda found: _turned(found, units), plain)
    return plain.replace(DIFFERENCE, CELSIUS)


def _turned(found: re.Match[str], units: Units) -> str:
    held, shown = found["unit"], unit(found["unit"], units)
    if shown == held:
        return found[0]
    turn = _turning(held, shown, [one["number"] for one in EACH.finditer(found["row"] + (found["band"] or ""))])
    row, band = _row(found["row"], turn), _row(found["band"] or "", turn)
    return f"{row}{found['gap']}{shown}{band}"


Turn = Callable[[str, bool], str]


def _turning(held: str, shown: str, numbers: list[str]) -> Turn:
    """Return how one number is turned: its digits, and whether it is a difference."""
    if shown == INCH:
        exact = all(_in_sixteenths(one) for one in numbers)
        return lambda digits, _apart: inches(digits, exact=exact)
    if shown == FAHRENHEIT:
        return lambda digits, apart: fahrenheit(digits, difference=apart or held == DIFFERENCE)
    return lambda digits, _apart: digits


def _row(figures: str, turn: Turn) -> str:
    def turned(one: re.Match[str]) -> str:
        return (one["plus_minus"] or "") + turn(one["number"], one["plus_minus"] is not None)

    return EACH.sub(turned, figures)


def _value(digits: str) -> tuple[float, int]:
    """Return a written number, and how many decimals it has."""
    return float(digits.replace(",", "").replace("\u2212", "-")), len(digits.partition(".")[2])


def _written(value: float, decimals: int, like: str) -> str:
    shown = f"{abs(value):.{decimals}f}"
    nought = float(shown) == 0.0
    sign = "+" if like.startswith("+") else ""
    minus = "-" if "-" in like else "\u2212"
    return shown if nought else f"{minus if value < 0 else sign}{shown}"


def fahrenheit(digits: str, *, difference: bool = False) -> str:
    """Return a temperature, or a difference, that is written in °C as one in °F, to as many decimals."""
    value, decimals = _value(digits)
    return _written(f_difference_from_c(value) if difference else f_from_c(value), decimals, digits)


def inches(digits: str, *, exact: bool = False) -> str:
    """Return a length that is written in mm in inches: two decimals more, three at the most; ``exact``: a whole size.

    A figure that would come to nought keeps a fourth.
    """
    value, decimals = _value(digits)
    length = inches_from_mm(value)
    if exact:
        return _written(round(length * SIXTEENTHS) / SIXTEENTHS, 4, digits).rstrip("0").rstrip(".")
    most = min(decimals + 2, MOST_INCH_DECIMALS)
    lost = value != 0.0 and float(f"{length:.{most}f}") == 0.0
    return _written(length, MOST_INCH_DECIMALS + 1 if lost else most, digits)


def _in_sixteenths(digits: str) -> bool:
    """Whether a length in mm is a whole number of sixteenths of an inch, to the last digit that is written."""
    value, decimals = _value(digits)
    sixteenths = inches_from_mm(value) * SIXTEENTHS
    off_mm = mm_from_inches(abs(sixteenths - round(sixteenths)) / SIXTEENTHS)
    long = len(digits.replace(".", "").lstrip("+-\u22120")) >= 6  # as long as a field writes a length: rounded
    return value != 0.0 and off_mm <= (0.5 * 10.0**-decimals if long else 1e-9)


def markup(drawn: str, units: Units) -> str:
    """Return HTML or SVG with the figures of its text, and of what is read out of it, in the chosen units.

    Other attributes hold what is sent or drawn, ``code`` what came as it is: both are left.
    """
    raw = 0
    parts = TAG.split(drawn)
    for index, part in enumerate(parts):
        if index % 2 == 0:
            parts[index] = part if raw else text(part, units)
            continue
        kind = RAW.match(part)
        raw += (-1 if kind[1] else 1) if kind else 0
        parts[index] = SPOKEN.sub(lambda found: found["name"] + text(found["text"], units), part)
    return "".join(parts)


def finalizer(units: Units) -> Callable[[Any], Any]:
    """Return what is done to every expression of a template before it is escaped."""

    def shown(value: Any) -> Any:
        if not isinstance(value, str) or isinstance(value, AsWritten):
            return value
        if isinstance(value, Markup):
            told = _remembered(str(value), units) if _has_figures(value) else value
            return Markup(told)
        return text(value, units)

    return shown


def _has_figures(drawn: str) -> bool:
    return CELSIUS in drawn or DIFFERENCE in drawn or MM in drawn


@lru_cache(maxsize=64)
def _remembered(drawn: str, units: Units) -> str:
    return markup(drawn, units)


def as_written(units: Units) -> Callable[[str], AsWritten]:
    """Return the filter for what a source or a person wrote: an unseen joiner keeps its figures as they are."""

    def kept(plain: str) -> AsWritten:
        if units.metric:
            return AsWritten(plain)
        return AsWritten(re.sub(rf"(?<=\d)({SPACE})(?=°C|C°|mm)", rf"\1{WORD_JOINER}", str(plain)))

    return kept


def figure(drawn: dict[str, Any], units: Units) -> dict[str, Any]:
    """Return a chart with its temperatures and lengths in the chosen units; a trace bears its unit in its name."""
    if units.metric:
        return drawn
    turned = {**drawn, "data": [_trace(one, units) for one in drawn["data"]]}
    return {**turned, "layout": _titles(turned["layout"], units)}


def _trace(trace: dict[str, Any], units: Units) -> dict[str, Any]:
    held = _unit_of(trace)
    shown = unit(held, units)
    words = {name: _title(value, units) if isinstance(value, str) else value for name, value in trace.items()}
    if shown == held:
        return words
    return {**words, "y": [_point(value, shown) for value in trace["y"]]}


def _unit_of(trace: dict[str, Any]) -> str:
    """Return the unit that a trace's name or figure under a finger bears; empty for another."""
    said = f"{trace.get('name', '')} {trace.get('hovertemplate', '')}"
    return CELSIUS if CELSIUS in said else MM if re.search(r"\bmm\b", said) else ""


def _point(value: float | None, shown: str) -> float | None:
    if value is None:
        return None
    return round(f_from_c(value), 2) if shown == FAHRENHEIT else round(inches_from_mm(value), 4)


def _titles(layout: Any, units: Units) -> Any:
    if isinstance(layout, dict):
        return {name: _titles(one, units) for name, one in layout.items()}
    if isinstance(layout, list):
        return [_titles(one, units) for one in layout]
    return _title(layout, units) if isinstance(layout, str) else layout


def _title(words: str, units: Units) -> str:
    """Return the words of a chart, where a unit may stand by itself behind a comma."""
    told = text(words, units)
    if units.temperature == "F":
        told = told.replace(CELSIUS, FAHRENHEIT)
    return re.sub(r"\bmm\b", INCH, told) if units.length == "in" else told
