"""What the store returns: small frozen records, and the words that they are written in."""

from __future__ import annotations

from dataclasses import dataclass

from shared.store.entry_base import Fact as Fact
from shared.store.entry_base import Subject as Subject
from shared.store.finish_records import Acknowledged as Acknowledged
from shared.store.finish_records import AirRegion as AirRegion
from shared.store.finish_records import FinishFact as FinishFact
from shared.store.finish_records import FinishRoom as FinishRoom
from shared.store.finish_records import Sprayed as Sprayed
from shared.store.finish_records import SurfaceReading as SurfaceReading
from shared.store.heard_records import Appended as Appended
from shared.store.heard_records import NewReading as NewReading
from shared.store.heard_records import Reading as Reading
from shared.store.heard_records import RecorderState as RecorderState
from shared.store.heard_records import Reject as Reject
from shared.store.heard_records import Series as Series
from shared.store.heard_records import TimeSource as TimeSource
from shared.store.judging_records import Joint as Joint
from shared.store.judging_records import KeptVerdict as KeptVerdict
from shared.store.judging_records import Lifted as Lifted
from shared.store.judging_records import Outgoing as Outgoing
from shared.store.judging_records import Override as Override
from shared.store.judging_records import OwnLimit as OwnLimit
from shared.store.words import AIR as AIR
from shared.store.words import BATTERY as BATTERY
from shared.store.words import QUALITY_WORDS as QUALITY_WORDS
from shared.store.words import QUANTITY_UNITS as QUANTITY_UNITS
from shared.store.words import Coat as Coat
from shared.store.words import Cut as Cut
from shared.store.words import Degree as Degree
from shared.store.words import ExtractionKnown as ExtractionKnown
from shared.store.words import Faces as Faces
from shared.store.words import LastMoved as LastMoved
from shared.store.words import MixedBy as MixedBy
from shared.store.words import Origin as Origin
from shared.store.words import OutcomeKind as OutcomeKind
from shared.store.words import PieceKind as PieceKind
from shared.store.words import PlaceKind as PlaceKind
from shared.store.words import Quality as Quality
from shared.store.words import Quantity as Quantity
from shared.store.words import Rest as Rest
from shared.store.words import Sapwood as Sapwood
from shared.store.words import Smell as Smell
from shared.store.words import SubjectKind as SubjectKind
from shared.store.words import WaterBody as WaterBody
from shared.store.words import WaterKind as WaterKind


@dataclass(frozen=True)
class PlaceFact(Fact):
    """What a place is called and what its air is like; the air's speed over the wood, None: nobody measured it."""

    name: str
    kind: PlaceKind
    altitude_m: float
    closed: bool
    air_speed_m_s: float | None
    in_sun: bool


@dataclass(frozen=True)
class ProbeFact(Fact):
    """What a probe is called and where it publishes."""

    name: str
    topic: str


@dataclass(frozen=True)
class ProbePosition(Fact):
    """The place a probe measures from this moment on; None: none."""

    place_id: int | None


@dataclass(frozen=True)
class StackFact(Fact):
    """What a stack is called, and how many boards lie in it, where only some of them are entered; None: nobody said.

    Boards may have been laid in it since: whoever reads it takes the boards entered in it where they are more.
    """

    name: str
    note: str
    boards_in_all: int | None


@dataclass(frozen=True)
class StackPosition(Fact):
    """The place a stack stands in from this moment on."""

    place_id: int | None


@dataclass(frozen=True)
class SetFact(Fact):
    """What a matched set is called."""

    name: str
    note: str


@dataclass(frozen=True)
class BoardFact(Fact):
    """What a board is: true from the moment it came into being in these sizes."""

    name: str
    species: str
    thickness_m: float
    width_m: float
    length_m: float
    cut: Cut
    origin: Origin
    note: str

    @property
    def volume_m3(self) -> float:
        """Volume at the sizes entered [m³]."""
        return self.thickness_m * self.width_m * self.length_m


@dataclass(frozen=True)
class BoardPosition(Fact):
    """The stack, or else the place, that a board is in from this moment on."""

    stack_id: int | None
    place_id: int | None


@dataclass(frozen=True)
class BoardRest(Fact):
    """How a board lies from this moment on, until it is moved; in a closed case, with how much air around it."""

    rest: Rest
    case_air_m3: float | None


@dataclass(frozen=True)
class BoardCoat(Fact):
    """What is on a board's ends and faces from this moment on."""

    ends_sealed: bool
    coat: Coat


@dataclass(frozen=True)
class BoardCut(Fact):
    """What planing or sawing left of a board at this moment: the slice from ``near_m`` to ``far_m``.

    Both are depths in what it was cut from, as thick as that was just before, measured from its marked face:
    0 <= near_m < far_m <= that thickness. ``from_board_id``: another board that it was sawn from; None: itself.
    The new marked face is the one at ``near_m``.
    """

    from_board_id: int | None
    near_m: float
    far_m: float


@dataclass(frozen=True)
class WaterEvent(Fact):
    """Water that came to a board at this moment, how, how much of it, and on which faces."""

    kind: WaterKind
    water_kg: float
    faces: Faces


@dataclass(frozen=True)
class Outcome(Fact):
    """What was found on a board: a degree in the words of that kind; for a thickness the figure instead."""

    kind: OutcomeKind
    degree: Degree | None
    thickness_m: float | None
    note: str


@dataclass(frozen=True)
class PlannedMove(Fact):
    """The place that a board or a stack is to be moved to: a plan, not a position, and its moment is that of the move.

    It counts for the time ahead alone; see ``planning.ahead``.
    """

    place_id: int


@dataclass(frozen=True)
class PlaceClimate(Fact):
    """The usual air of a place's months, January first, twelve of each, and whose figures they are."""

    temperature_c: tuple[float, ...]
    rh_pct: tuple[float, ...]
    source: str


@dataclass(frozen=True)
class SetMember(Fact):
    """The set that a board belongs to from this moment on, as what (back, left half …), and what that is to the set."""

    set_id: int | None
    role: str
    kind: PieceKind = PieceKind.OTHER


@dataclass(frozen=True)
class WeighIn(Fact):
    """A board's mass and the error of the scale."""

    mass_kg: float
    scale_error_kg: float


@dataclass(frozen=True)
class PinReading(Fact):
    """A pin meter's figure as it was read, at a depth below the face; by which meter, at which temperature."""

    mc_pct: float
    depth_m: float
    wood_temperature_c: float | None
    meter_id: int | None


@dataclass(frozen=True)
class BagTest(Fact):
    """What a hygrometer read, sealed in a bag with the piece; ``rh_pct`` is the raw figure of ``probe_id``."""

    temperature_c: float
    rh_pct: float
    rh_error_pct: float
    probe_id: int | None
    last_moved: LastMoved
    waited_s: float
    air_volume_m3: float


@dataclass(frozen=True)
class MeterFact(Fact):
    """A pin meter on one lot of wood, and the wood temperature for which its scale is made."""

    name: str
    species: str
    origin: Origin  # of the lot: what water left in it is in its readings too
    calibration_temperature_c: float
    note: str


@dataclass(frozen=True)
class MeterPair(Fact):
    """A meter's figure, and the mass of the same offcut wet and oven-dry."""

    reading_pct: float
    wood_temperature_c: float | None
    wet_mass_kg: float
    dry_mass_kg: float


@dataclass(frozen=True)
class HygrometerCheck(Fact):
    """What a probe read over one or two saturated salts; an empty salt: not used. It was there ``waited_s`` long."""

    temperature_c: float
    low_salt: str
    low_read_rh_pct: float | None
    high_salt: str
    high_read_rh_pct: float | None
    waited_s: float


@dataclass(frozen=True)
class CellLoad(Fact):
    """What a load cell carries from this moment on, a board or a whole stack, and the cell's stated error."""

    board_id: int | None
    stack_id: int | None
    cell_error_kg: float


@dataclass(frozen=True)
class CellTare(Fact):
    """What a load cell read with nothing on it."""

    reading_kg: float


@dataclass(frozen=True)
class OvenDryResult(Fact):
    """A section cut from a board at this moment: its mass wet, and after oven-drying."""

    wet_mass_kg: float
    dry_mass_kg: float


@dataclass(frozen=True)
class UsePlan(Fact):
    """What a board or set is wanted for, in which air it will live, and when it is booked.

    The moisture that is also wanted of it, from ``wanted_mc_low_pct`` to ``wanted_mc_high_pct``; None: only what suits
    the air. ``begun``: the work has begun.
    """

    use: str
    destination_rh_pct: float
    destination_temperature_c: float
    booked_ms: int | None
    wanted_mc_low_pct: float | None = None
    wanted_mc_high_pct: float | None = None
    begun: bool = False


@dataclass(frozen=True)
class CachedProjection:
    """A projection worked out earlier; can be thrown away and made again."""

    board_id: int
    input_key: str
    computed_at_ms: int
    body: str
