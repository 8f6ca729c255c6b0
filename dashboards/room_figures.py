"""A finish room's figures as people type them: a volume or three lengths, air drawn out in an hour, a mixing factor."""

from __future__ import annotations

import math
import re

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
VOLUME_ACCEPTED = f"{VOLUME_M3[0]:g} to {VOLUME_M3[1]:g} m³, or length × width × height such as 4.2 x 3 x 2.5 m"
NUMBER = r"\d+(?:[.,]\d+)?"
SIDES = re.compile(rf"({NUMBER})\s*(m|ft|')?\s*[x×*]\s*({NUMBER})\s*(?:m|ft|')?\s*[x×*]\s*({NUMBER})\s*(m|ft|')?")
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
    in_feet = (sides[5] or sides[2] or "m") != "m"
    lengths = [float(one.replace(",", ".")) * (M_PER_FOOT if in_feet else 1.0) for one in sides.group(1, 3, 4)]
    volume = math.prod(lengths)
    low, high = LENGTH_M
    if not (all(low <= one <= high for one in lengths) and VOLUME_M3[0] <= volume <= VOLUME_M3[1]):
        raise BadInput(VOLUME, plain, f"{VOLUME_ACCEPTED}; each side {low:g} to {high:g} m")
    return volume


def extraction_m3_s(typed: Typed) -> float | None:
    """Return how much air is drawn out, typed in m³/h (or cfm, where that is written); None: nobody said."""
    plain = " ".join(str("" if typed is None else typed).split())
    if not plain:
        return None
    unit = FLOW_UNIT.search(plain)
    figure = plain if unit is None else plain[: unit.start()]
    in_feet = unit is not None and not unit["unit"].lower().startswith("m")
    scale = M_PER_FOOT**3 * MINUTES_AN_HOUR if in_feet else 1.0
    accepted = f"{EXTRACTION_M3_H[0]:g} to {EXTRACTION_M3_H[1]:g} m³/h, or empty"
    return m3_s_from_m3_h(_scaled(EXTRACTION, plain, figure, scale, EXTRACTION_M3_H, accepted))


def _scaled(field: str, plain: str, figure: str, scale: float, span: tuple[float, float], accepted: str) -> float:
    low, high = span
    try:
        return fields.number(field, figure, low / scale, high / scale, "") * scale
    except BadInput as error:
        raise BadInput(field, plain, accepted) from error


def extraction_told(extraction_m3_s: float) -> str:
    """Return how much air is drawn out, in m³/h."""
    return f"{m3_h_from_m3_s(extraction_m3_s):.0f} m³/h"


def mixing_factor(typed: Typed) -> float:
    """Return how badly fresh air mixes with the room's: 3 to 10; the worst where nobody said."""
    low, high = FIRE["mixing_factor_low"].value, FIRE["mixing_factor_high"].value
    if typed is None or not str(typed).strip():
        return high
    return fields.number("mixing factor", typed, low, high, "")
