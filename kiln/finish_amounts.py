"""How much vapour there is in a room, before any limit is asked: its mass, its peak and its means, in mg/m³ and ppm.

Each at the worst composition that the data sheets' ranges allow, by itself, and of what is known alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kiln.finish_limits import WINDOWS_S, mg_per_kg, per_m3
from kiln.room_air import Room, Spraying, course
from kiln.vapour import vapour_volume_m3
from shared.tables import Average, Substance
from shared.units import MG_PER_KG, PPM_PER_FRACTION


@dataclass(frozen=True)
class Concentration:
    """All vapours together in the mean of a room, as they are sprayed and at most."""

    as_sprayed_mg_m3: float
    at_most_mg_m3: float
    as_sprayed_ppm: float
    at_most_ppm: float


@dataclass(frozen=True)
class Amounts:
    """The vapour of some sprayings in a room."""

    mass_kg: float  # of all that evaporates
    highest: Concentration
    short: Concentration  # the highest mean of 15 minutes
    eight_hours: Concentration


def amounts(room: Room, sprayings: Sequence[Spraying]) -> Amounts:
    """Return how much vapour some sprayings make; raises OutOfRange as ``Room`` and ``Spraying``."""

    def ppm_per_kg(substance: Substance) -> float | None:
        mass = substance.molar_mass_kg_mol
        if mass is None:
            return None
        return PPM_PER_FRACTION * vapour_volume_m3(1.0, mass, room.temperature_c, room.pressure_pa)

    in_mg, in_ppm = per_m3(sprayings, mg_per_kg), per_m3(sprayings, ppm_per_kg)
    courses = [course(room, sprayings, each, late=late) for each in (in_mg, in_ppm) for late in (False, True)]
    short_s, long_s = WINDOWS_S[Average.SHORT] or 0.0, WINDOWS_S[Average.TWA] or 0.0
    return Amounts(
        mass_kg=sum(one.liquid_m3 * each for one, each in zip(sprayings, in_mg, strict=True)) / MG_PER_KG,
        highest=Concentration(*(one.peak() for one in courses)),
        short=Concentration(*(one.greatest_mean(short_s) for one in courses)),
        eight_hours=Concentration(*(one.greatest_mean(long_s) for one in courses)),
    )
