"""A finish room's figures as people type them: a volume or three lengths, air drawn out in an hour, a mixing factor."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

from dashboards import fields
from shared.errors import BadInput
from shared.tables import FIRE
from shared.units import m3_h_from_m3_s, m3_s_from_m3_h, m_from_mm, mm_from_feet

VOLUME_M3 = (2.0, 20_000.0)
LENGTH_M = (0.5, 200.0)
EXTRACTION_M3_H = (0.0, 200_000.0)
MINUTES_AN_HOUR = 60.0
M_PER_FOOT = m_from_mm(mm_from_feet(1.0))
VOLUME, EXTRACTION = "room volume", "extraction"
HIGHEST_M = 6.0  # a room is rarely higher (common practice, no source): asked back
CHANGED_TIMES = 3.0  # a room's figures that change by more are asked back; ours
AIR_CHANGES_H = (120.0, 1000.0)  # air changes an hour: asked back above the first, refused above the second; ours
VOLUME_ACCEPTED = f"{VOLUME_M3[0]:g} to {VOLUME_M3[1]:g} m³, or length × width × height such as 4.2 x 3 x 2.5 m"
UNIT_ACCEPTED = "three lengths with their unit, such as 4.2 x 3 x 2.5 m or 14 x 10 x 8 ft"
NONE = ("none", "no", "nothing")
SURE = "unless you have looked again and say that you are sure"
NUMBER = r"\d+(?:[.,]\d+)?"
SIDE = rf"({NUMBER})\s*(m|ft|feet|')?"
SIDES = re.compile(rf"{SIDE}\s*[x×*]\s*{SIDE}\s*[x×*]\s*{SIDE}")
VOLUME_UNIT = re.compile(r"\s*(?P<unit>m3|m³|m\^3|ft3|ft³|cu\.? ?ft)$", re.IGNORECASE)
FLOW_UNIT = re.compile(r"\s*(?P<unit>m3/h|m³/h|m\^3/h|cfm|ft3/min|ft³/min)$", re.IGNORECASE)

Typed = str | float | None


def volume_m3(typed: Typed) -> float:
    """Return a room's volume, typed in m³ or as length × width × height in m (or ft, where that is written)."""
    plain = " ".join(str("" if typed is None else typed).split())
    sides = SIDES.fullmatch(plain.lower())
    if sides is not None:
        return _of_sides(plain, sides)
    unit = VOLUME_UNIT.search(plain)
    figure = plain if unit is None else plain[: unit.start()]
    scale = M_PER_FOOT**3 if unit is not None and not unit["unit"].lower().startswith("m") else 1.0
    return _scaled(VOLUME, plain, figure, scale, VOLUME_M3, VOLUME_ACCEPTED)


def _of_sides(plain: str, sides: re.Match[str]) -> float:
    lengths = _lengths_m(plain, sides)
    volume = math.prod(lengths)
    low, high = LENGTH_M
    if not (all(low <= one <= high for one in lengths) and VOLUME_M3[0] <= volume <= VOLUME_M3[1]):
        raise BadInput(VOLUME, plain, f"{VOLUME_ACCEPTED}; each side {low:g} to {high:g} m")
    return volume


def _lengths_m(plain: str, sides: re.Match[str]) -> list[float]:
    """Return the three lengths; refused without a unit, for a room in feet would come out 35 times as large."""
    units = {unit == "m" for unit in sides.group(2, 4, 6) if unit}
    if len(units) != 1:
        raise BadInput(VOLUME, plain, UNIT_ACCEPTED)
    scale = 1.0 if units.pop() else M_PER_FOOT
    return [float(one.replace(",", ".")) * scale for one in sides.group(1, 3, 5)]


def height_m(typed: Typed) -> float | None:
    """Return the height, where a room was typed as three lengths."""
    plain = " ".join(str("" if typed is None else typed).split())
    sides = SIDES.fullmatch(plain.lower())
    return None if sides is None else _lengths_m(plain, sides)[2]


def refuse_unbelievable(volume_m3: float, extraction_m3_s: float | None) -> None:
    """Raise BadInput for more air than any fan draws out of a room."""
    most_m3_s = AIR_CHANGES_H[1] * m3_s_from_m3_h(volume_m3)
    if extraction_m3_s is not None and extraction_m3_s > most_m3_s:
        accepted = f"up to {extraction_told(most_m3_s)}, {AIR_CHANGES_H[1]:g} times the room's air in an hour"
        raise BadInput(EXTRACTION, extraction_told(extraction_m3_s), accepted)


def ask_back(
    volume_m3: float,
    height_m: float | None,
    extraction_m3_s: float | None,
    before: tuple[float, float | None] | None,
) -> None:
    """Raise BadInput for figures that are rarely so; ``before``: volume and extraction as they stood."""
    if height_m is not None and height_m > HIGHEST_M:
        raise BadInput(VOLUME, f"{two_decimals(height_m)} m high", f"a height of up to {HIGHEST_M:g} m, {SURE}")
    much_m3_s = AIR_CHANGES_H[0] * m3_s_from_m3_h(volume_m3)
    if extraction_m3_s is not None and extraction_m3_s > much_m3_s:
        accepted = f"up to {extraction_told(much_m3_s)}, {AIR_CHANGES_H[0]:g} times the room's air in an hour, {SURE}"
        raise BadInput(EXTRACTION, extraction_told(extraction_m3_s), accepted)
    if before is None:
        return
    _ask_changed(VOLUME, volume_m3, before[0], volume_told)
    _ask_changed(EXTRACTION, extraction_m3_s, before[1], extraction_told)


def _ask_changed(field: str, now: float | None, before: float | None, told: Callable[[float], str]) -> None:
    if not now or not before or before / CHANGED_TIMES <= now <= before * CHANGED_TIMES:
        return
    span = f"{told(before / CHANGED_TIMES)} to {told(before * CHANGED_TIMES)}"
    raise BadInput(field, told(now), f"{span}, within three times the {told(before)} entered before, {SURE}")


def two_decimals(value: float) -> str:
    """Return a figure with up to two decimals, never as a power of ten."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


def volume_told(volume_m3: float) -> str:
    """Return a room's volume, in m³."""
    return f"{two_decimals(volume_m3)} m³"


def extraction_m3_s(typed: Typed) -> float | None:
    """Return how much air is drawn out, typed in m³/h (or cfm, where that is written); None: nobody said.

    None, no and 0: there is no extraction.
    """
    plain = " ".join(str("" if typed is None else typed).split())
    if not plain:
        return None
    if plain.lower() in NONE:
        return 0.0
    unit = FLOW_UNIT.search(plain)
    figure = plain if unit is None else plain[: unit.start()]
    in_feet = unit is not None and not unit["unit"].lower().startswith("m")
    scale = M_PER_FOOT**3 * MINUTES_AN_HOUR if in_feet else 1.0
    accepted = f"{EXTRACTION_M3_H[0]:g} to {EXTRACTION_M3_H[1]:g} m³/h, none, or empty"
    return m3_s_from_m3_h(_scaled(EXTRACTION, plain, figure, scale, EXTRACTION_M3_H, accepted))


def _scaled(field: str, plain: str, figure: str, scale: float, span: tuple[float, float], accepted: str) -> float:
    low, high = span
    try:
        return fields.number(field, figure, low / scale, high / scale, "") * scale
    except BadInput as error:
        raise BadInput(field, plain, accepted) from error


def extraction_told(extraction_m3_s: float) -> str:
    """Return how much air is drawn out, in m³/h."""
    return f"{two_decimals(m3_h_from_m3_s(extraction_m3_s))} m³/h"


def mixing_factor(typed: Typed) -> float:
    """Return how badly fresh air mixes with the room's: 3 to 10; the worst where nobody said."""
    low, high = FIRE["mixing_factor_low"].value, FIRE["mixing_factor_high"].value
    if typed is None or not str(typed).strip():
        return high
    return fields.number("mixing factor", typed, low, high, "")
