"""Finishes, the rooms that they are sprayed in, what was sprayed, surfaces measured, what was acknowledged.

None of a yes or no: the data sheet was not read for it. None of a figure: nobody said, or the sheet does not say.
"""

from __future__ import annotations

from dataclasses import dataclass

from shared.store.entry_base import Fact
from shared.store.words import ExtractionKnown, MixedBy


@dataclass(frozen=True)
class FinishFact(Fact):
    """A finish as its data sheet (``sheet``: its name and date) tells of it; ``ingredients`` one a line, as typed.

    ``self_heating``: a drying oil, whose rags heat themselves. ``dry_after_s``: dry to handle. ``dew_gap_c``,
    ``rh_max_pct`` and ``surface_min_c`` are what it asks of the surface and the air while it is applied.
    """

    name: str
    basis: MixedBy
    ingredients: str
    density_kg_m3: float | None
    flash_point_c: float | None
    isocyanate: bool | None
    formaldehyde: bool | None
    self_heating: bool | None
    dry_after_s: float | None
    dew_gap_c: float | None
    rh_max_pct: float | None
    surface_min_c: float | None
    sheet: str
    note: str
    closed: bool


@dataclass(frozen=True)
class FinishRoom(Fact):
    """How large a finish room is, how much air is drawn out of it, and how badly that mixes (3 to 10)."""

    volume_m3: float
    extraction_m3_s: float | None
    extraction_known: ExtractionKnown
    mixing_factor: float


@dataclass(frozen=True)
class Sprayed(Fact):
    """So much of a finish was sprayed in a room, from this moment on, for so long, with its extraction on or off."""

    finish_id: int
    liquid_m3: float
    duration_s: float
    extraction_on: bool


@dataclass(frozen=True)
class SurfaceReading(Fact):
    """How warm the surface of ``what`` was in a room, and the air over it, as somebody read it."""

    surface_c: float
    air_c: float | None
    rh_pct: float | None
    what: str


@dataclass(frozen=True)
class Acknowledged(Fact):
    """Somebody has read ``sentence`` and said that it is so: of a finish room, or of a probe put into one.

    ``what`` is the code of the room.
    """

    what: str
    sentence: str


@dataclass(frozen=True)
class AirRegion(Fact):
    """Whose limits for breathed air count in this yard, a word of ``tables.Region``, and why."""

    region: str
    note: str
