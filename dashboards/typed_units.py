"""Fields of lengths and temperatures in the units that a person has chosen, and what was typed there turned back.

A form says beside each such field in which unit it is sent (``unit-KEY``): what was typed in inches is inches, whatever
is chosen by the time that it arrives. A field that was left as it was shown keeps the figure that it was shown for.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from dashboards.shown_units import CELSIUS, DIFFERENCE, MM, Units
from shared.units import (
    c_difference_from_f,
    c_from_f,
    f_difference_from_c,
    f_from_c,
    inches_from_mm,
    mm_from_feet,
    mm_from_inches,
)

BESIDE = "unit-"  # before the key of the field that it is about
INCHES, DEGREES_F, F_APART = "in", "F", "F-apart"  # the last: a difference of temperatures
SHOWN = {INCHES: "in", DEGREES_F: "°F", F_APART: "°F"}
INCHES_ACCEPTED = "as 1.75, 1 3/4, 8' 6\" or 27 mm"
IN_FAHRENHEIT = {CELSIUS: DEGREES_F, DIFFERENCE: F_APART}  # by the unit of a field
TO_C = {DEGREES_F: c_from_f, F_APART: c_difference_from_f}
FROM_C = {DEGREES_F: f_from_c, F_APART: f_difference_from_c}
NOT_UNDERSTOOD = "?"
FRACTION = re.compile(r"(?:(?P<whole>\d+)(?: +| ?- ?))?(?P<top>\d+) ?/ ?(?P<bottom>2|4|8|16|32|64)")
FEET = re.compile(r"(?P<feet>\d+\.?\d*)\s*(?:'(?!')|[′’]|ft\.?|feet|foot)\s*(?P<rest>.*)", re.IGNORECASE)
DECIMAL = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)")
INCH_SIGNS = re.compile(r"\s*(?:\"|″|''|in\.?|inch(?:es)?)$", re.IGNORECASE)
DEGREE_SIGNS = re.compile(r"\s*°?\s*F$", re.IGNORECASE)


class Converted(str):
    """A figure as it is kept, turned from what was typed; one that was not understood is no number."""

    __slots__ = ("typed", "unit")
    typed: str
    unit: str

    def __new__(cls, kept: str, typed: str, unit: str) -> Converted:
        """Keep what was typed, and in which unit, beside the figure."""
        made = super().__new__(cls, kept)
        made.typed, made.unit = typed, unit
        return made

    @property
    def understood(self) -> bool:
        """Whether it was a figure."""
        return not self.startswith(NOT_UNDERSTOOD)


def kept(held: Mapping[str, str]) -> dict[str, str]:
    """Return what a form or an address holds, in °C and mm, without the fields that name units."""
    return {key: _kept(value, held.get(BESIDE + key, "")) for key, value in held.items() if not key.startswith(BESIDE)}


def _kept(typed: str, beside: str) -> str:
    sent_in, _space, was = beside.partition(" ")
    if sent_in not in SHOWN or not typed.strip():
        return typed
    if was and typed.strip() == _in_field(was, sent_in):
        return Converted(was, typed, sent_in)
    figure = _from_inches(typed) if sent_in == INCHES else _from_fahrenheit(typed, TO_C[sent_in])
    return Converted(NOT_UNDERSTOOD + typed if figure is None else f"{round(figure, 6):.10g}", typed, sent_in)


def _from_inches(typed: str) -> float | None:
    """Return feet and inches, decimals or a fraction, in mm; None for what could be meant in two ways or in none."""
    plain = " ".join(_with_plain_fractions(typed).split())
    if plain.endswith(MM):
        return _number(plain.removesuffix(MM))
    feet = FEET.fullmatch(plain)
    if feet is None:
        return _from_plain_inches(plain)
    rest_mm = _from_plain_inches(feet["rest"]) if feet["rest"] else 0.0
    if rest_mm is None or not 0.0 <= rest_mm < mm_from_feet(1.0):
        return None
    return mm_from_feet(float(feet["feet"])) + rest_mm


def _from_plain_inches(plain: str) -> float | None:
    plain = INCH_SIGNS.sub("", plain)
    parts = FRACTION.fullmatch(plain)
    if parts is None:
        figure = _number(plain)
        return None if figure is None else mm_from_inches(figure)
    whole, top, bottom = (int(parts[name] or 0) for name in ("whole", "top", "bottom"))
    if parts["whole"] is not None and top >= bottom:
        return None
    return mm_from_inches(whole + top / bottom)


def _with_plain_fractions(typed: str) -> str:
    return "".join(
        " " + unicodedata.normalize("NFKC", one).replace("\u2044", "/") if unicodedata.category(one) == "No" else one
        for one in typed
    )


def _from_fahrenheit(typed: str, to_c: Callable[[float], float]) -> float | None:
    plain = typed.strip()
    if plain.upper().endswith(CELSIUS):
        return _number(plain[: -len(CELSIUS)])
    figure = _number(DEGREE_SIGNS.sub("", plain))
    return None if figure is None else to_c(figure)


def _number(typed: str) -> float | None:
    """Return a plain number; one comma is a decimal sign where three digits do not follow it."""
    plain = typed.strip().replace("\u2212", "-")
    if re.fullmatch(r"[+-]?\d*,\d+", plain) and not re.fullmatch(r"[+-]?\d{1,3},\d{3}", plain):
        plain = plain.replace(",", ".")
    return float(plain) if DECIMAL.fullmatch(plain) else None


def _in_field(figure: str, sent_in: str) -> str:
    """Return a figure of a field in the other unit, short; the field beside it keeps the figure itself."""
    try:
        value = float(figure)
    except ValueError:
        return figure
    if sent_in != INCHES:
        return f"{round(FROM_C[sent_in](value), 1):g}"
    return f"{round(inches_from_mm(value), 4):.7g}"


def in_units(units: Units) -> Callable[[Any], Any]:
    """Return the filter that makes a field of °C or mm one of the chosen unit."""

    def shown(one: Any) -> Any:
        sent_in = _sent_in(one.unit, units)
        typed = one.value if isinstance(one.value, Converted) else None
        if typed is not None and (typed.unit == sent_in or not typed.understood):
            return replace(one, value=typed.typed, unit=SHOWN[typed.unit], sent_in=typed.unit)
        if not sent_in:
            return one
        value = _in_field(one.value, sent_in) if one.value else ""
        return replace(one, value=value, unit=SHOWN[sent_in], sent_in=f"{sent_in} {one.value}".strip())

    return shown


def _sent_in(unit: str, units: Units) -> str:
    if unit == MM and units.length == "in":
        return INCHES
    return IN_FAHRENHEIT.get(unit, "") if units.temperature == "F" else ""


def told(typed: object) -> object:
    """Return what stood in the field."""
    return typed.typed if isinstance(typed, Converted) else typed


def accepted(typed: object, low: float, high: float, unit: str) -> str:
    """Return the range that is accepted, in the unit of the field; rounded inwards, so that its ends are taken."""
    if not isinstance(typed, Converted):
        return f"{low:g} to {high:g} {unit}".rstrip()
    turn, steps = (inches_from_mm, 100) if typed.unit == INCHES else (FROM_C[typed.unit], 10)
    ends = math.ceil(turn(low) * steps - 1e-9) / steps, math.floor(turn(high) * steps + 1e-9) / steps
    how = f", {INCHES_ACCEPTED}" if typed.unit == INCHES else ""
    rest = unit.removeprefix(MM).removeprefix(CELSIUS).removeprefix(DIFFERENCE)
    return f"{ends[0]:g} to {ends[1]:g} {SHOWN[typed.unit]}{rest}{how}"


def tidy(typed: object) -> str:
    """Return what was typed, its spaces tidied; a figure that was turned stays one."""
    return typed if isinstance(typed, Converted) else " ".join(str(typed or "").split())
