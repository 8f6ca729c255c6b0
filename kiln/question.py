"""Everything that a board's projection is made from."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kiln import air as airs
from kiln import drying, estimation, sunshine
from kiln.air_ahead import Climate
from kiln.collapse import Thickness
from kiln.limits import USUAL, Limits
from kiln.lying import Spell
from kiln.stress import LossLimit
from shared.tables import Use
from shared.units import MS_PER_HOUR, Array


@dataclass(frozen=True)
class Leg:
    """A stretch of the time ahead: in the air of one place, lying in one way."""

    first_day: int  # counted from the last logged hour
    record: airs.AirHours  # all that is known of the air of that place
    spell: Spell  # how it will lie and how thick it will be; its first hour does not count
    name: str = ""  # what to call it
    climate: Climate | None = None  # its usual months; None: nobody said


@dataclass(frozen=True)
class Believed:
    """What is expected of a board after other boards, and how it is tied to those of its lot."""

    prior: drying.Prior
    common_share: Array  # of each unknown, what its lot has in common [unknowns; 0 to 1]
    own_seed: int  # of what is the board's own, when members are drawn
    boards: int = 0  # how many taught it
    lapse_factor: float = 1.0  # by which the yard's finished boards were missed by more than is believed


@dataclass(frozen=True)
class Question:
    """Everything that a projection is made from."""

    piece: drying.Piece
    way: airs.AirHours  # the air that the board has sat in, from its beginning to the last logged hour
    record: airs.AirHours  # all that is known of the air where it is now
    data: tuple[estimation.Datum, ...]  # in order of time
    use: Use
    destination_rh_pct: float
    destination_temperature_c: float
    latitude_longitude_deg: tuple[float, float] | None = None  # for the sun; None: nobody said
    climate: Climate | None = None  # the usual months of where it is; None: nobody said
    plan: tuple[Leg, ...] = ()  # where it is to go from where it is now, in order of time
    believed: Believed | None = None  # what other boards teach of this one; None: none does
    elsewhere: tuple[Leg, ...] = ()  # the other places of the yard to which it might go
    own_loss: LossLimit | None = None  # at which boards of its wood were harmed in this yard; None: none was
    limits: Limits = USUAL
    thicknesses: tuple[Thickness, ...] = ()  # as they were measured, in order of time
    sapwood: bool | None = None  # whether it has any; None: nobody said
    clean_since_ms: int | None = None  # when its faces were last found, or made, free of mould
    mould_found_ms: int | None = None  # when somebody has seen mould on it, if nobody found it clean since
    prongs: str = ""  # how the prongs of a slice turned when it was last tested; "" when it never was
    here_since_ms: int = 0  # since when it has lain in the place where it is now

    @property
    def here(self) -> Leg:
        """Where it is now, and as it lies now."""
        lies_so = replace(self.piece.spells[-1], slice_left=None, wetted_kg_m2=None)
        return Leg(0, self.record, lies_so, climate=self.climate)

    def sun_w_m2(self, first_ms: int, hours: int) -> Array | None:
        """Sun on a level square metre in each hour from ``first_ms`` on; None where none reaches the board."""
        if self.latitude_longitude_deg is None or not any(
            spell.lying.in_sun for spell in (*self.piece.spells, *(leg.spell for leg in self.plan))
        ):
            return None
        middles = first_ms + np.arange(hours, dtype=np.int64) * MS_PER_HOUR + MS_PER_HOUR // 2
        return sunshine.horizontal_w_m2(middles, *self.latitude_longitude_deg)


def steps_of(moments_ms: list[int], way: airs.AirHours) -> NDArray[np.int64]:
    """Return after which hour of a way moments [UTC ms] lie."""
    offset = (np.array(moments_ms, dtype=np.int64) - way.at_ms[0]) / MS_PER_HOUR
    steps: NDArray[np.int64] = np.clip(np.rint(offset), 0, len(way.at_ms)).astype(np.int64)
    return steps
