"""How a board lies: what the air, the sun and its own coats do at its faces, one spell of its life after another."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from kiln import film
from shared.errors import BadInput
from shared.tables import constants
from shared.units import S_PER_DAY, ZERO_CELSIUS_K

FREE, STACK, WINDWARD, MIDDLE, TOP = (
    "free on all sides",
    "in a stack",
    "windward edge of its stack",
    "middle of its stack",
    "top of its stack",
)
BENCH, WRAPPED, CASE = "flat on a bench", "wrapped in plastic film", "in a closed case"
RESTS = (FREE, STACK, WINDWARD, MIDDLE, TOP, BENCH, WRAPPED, CASE)
STACKED = (STACK, WINDWARD, MIDDLE, TOP)
BARE, ONE_FACE, ALL_ROUND = "bare", "one face finished", "finished all round"
COATS = (BARE, ONE_FACE, ALL_ROUND)
FILMS = {"yard": "film_yard", "shed": "film_shed", "room": "film_room", "kiln": "film_kiln", "finish room": "film_room"}
_SPEEDS = {
    "yard": "air_speed_yard",
    "shed": "air_speed_shed",
    "room": "air_speed_room",
    "kiln": "air_speed_fan",
    "finish room": "air_speed_room",
}
_AT_C = 20.0  # at which films are taken: they change by a tenth over all temperatures that wood dries in
_OPEN = float("inf")


@dataclass(frozen=True)
class Lying:
    """How a board lies, in the words of the entries."""

    place_kind: str
    rest: str = FREE
    coat: str = BARE
    ends_sealed: bool = False
    air_speed_m_s: float | None = None  # measured over the wood; None: not known
    case_air_m3: float | None = None  # that a closed case holds beside the board
    in_sun: bool = False

    def __post_init__(self) -> None:
        for name, value, accepted in (
            ("place", self.place_kind, tuple(FILMS)),
            ("rest", self.rest, RESTS),
            ("coat", self.coat, COATS),
        ):
            if value not in accepted:
                raise BadInput(name, value, ", ".join(accepted))


@dataclass(frozen=True)
class Surroundings:
    """What the solver is told of one way of lying; resistances to vapour are per m² of face."""

    film_w_m2k: float
    film_sd_ln: float
    longwave_w_m2k: float
    renewal_m_s: float = _OPEN
    wrap_pa_m2_s_kg: float = 0.0
    own_air_m: float = 0.0
    coat_pa_m2_s_kg: float = 0.0  # on the face away from the marked one; on a half board, on both
    marked_coat_pa_m2_s_kg: float = 0.0
    sun_share: float = 0.0  # of the sun on a level square metre, per m² of face that gives heat off
    width_m: float = _OPEN  # between open edges
    length_m: float = _OPEN  # between open ends


@dataclass(frozen=True)
class Spell:
    """A time in which a board lay in one way and had one size."""

    first_hour: int  # of the board's way
    thickness_m: float
    lying: Lying
    # What is left of the board before, as shares of that one's thickness from its marked face; None: all of it
    slice_left: tuple[float, float] | None = None
    # Water brought to the marked and to the other face as it begins, by glue, steam or rain; None: none
    wetted_kg_m2: tuple[float, float] | None = None
    # Its width and length [m]; None: those that the board has now. From one spell to the next they change by a cut
    face_m: tuple[float, float] | None = None

    @property
    def one_sided(self) -> bool:
        """Whether its two faces do not fare alike, or did not before it was cut."""
        wet = self.wetted_kg_m2 is not None and self.wetted_kg_m2[0] != self.wetted_kg_m2[1]
        return wet or self.lying.rest == BENCH or self.lying.coat == ONE_FACE or self.slice_left is not None


def surroundings(lying: Lying, width_m: float, length_m: float) -> Surroundings:
    """Return what a board of these sizes meets where it lies. Values and sources: ``drying.csv``, ``film.csv``.

    Edges give and take water where they meet the air: not in a stack, where boards lie edge to edge, nor under a
    finish all round. How much all this counts is no better known than the film, whose spread stands for it all.
    """
    table, faces = constants("drying"), constants("film")
    speed = lying.air_speed_m_s
    value, sd = table[FILMS[lying.place_kind]].value, table[FILMS[lying.place_kind]].sd_ln
    if speed is not None or lying.rest in (WINDWARD, MIDDLE):
        known = faces["film_plate"].sd_ln
        # A guessed speed tells on the film by its square root.
        guessed = 0.0 if speed is not None else 0.5 * faces[_SPEEDS[lying.place_kind]].sd_ln
        speed = faces[_SPEEDS[lying.place_kind]].value if speed is None else speed
        value = float(film.plate_film_w_m2k(speed, min(max(width_m, film.ALONG_M[0]), film.ALONG_M[1]), _AT_C))
        sd = float(np.hypot(known, guessed))
    stacked = lying.rest in STACKED
    longwave = table["longwave_free"].value * (0.5 if lying.rest == TOP else 0.0 if stacked else 1.0)
    covered = lying.coat == ALL_ROUND or lying.rest in (WRAPPED, CASE)
    base = Surroundings(
        film_w_m2k=value,
        film_sd_ln=sd,
        longwave_w_m2k=longwave,
        sun_share=_sun_share(lying),
        width_m=_OPEN if stacked or covered else width_m,
        length_m=_OPEN if lying.ends_sealed or covered else length_m,
    )
    return _wrapped(_coated(_in_stack_air(base, lying, speed), lying), lying, width_m * length_m)


def _sun_share(lying: Lying) -> float:
    """Of the sun on a level square metre: what the wood keeps, over the faces that carry the heat off again."""
    if not lying.in_sun or lying.rest not in (FREE, TOP, BENCH):
        return 0.0
    return constants("sunshine")["absorptance"].value * (1.0 if lying.rest == BENCH else 0.5)


def _in_stack_air(base: Surroundings, lying: Lying, speed: float | None) -> Surroundings:
    """In the middle of a stack, the air that the boards to windward have made; of one anywhere in it, half as much."""
    if lying.rest not in (MIDDLE, STACK) or not speed:
        return base
    faces = constants("film")
    behind = faces["from_windward_middle"].value * (1.0 if lying.rest == MIDDLE else 0.5)
    return replace(base, renewal_m_s=float(film.renewal_m_s(speed, faces["sticker"].value, behind)))


def _coated(base: Surroundings, lying: Lying) -> Surroundings:
    coat = film.coat_resistance("coat_shellac").pa_m2_s_kg if lying.coat != BARE else 0.0
    other = coat if lying.coat == ALL_ROUND else 0.0
    # On a bench the marked face looks up; nothing passes the other.
    return replace(base, marked_coat_pa_m2_s_kg=coat, coat_pa_m2_s_kg=_OPEN if lying.rest == BENCH else other)


def _wrapped(base: Surroundings, lying: Lying, face_m2: float) -> Surroundings:
    if lying.rest == WRAPPED:
        return replace(base, wrap_pa_m2_s_kg=film.wrap_resistance("wrap_folded").pa_m2_s_kg)
    if lying.rest != CASE:
        return base
    table = constants("drying")
    own_air_m = (table["case_air_m3"].value if lying.case_air_m3 is None else lying.case_air_m3) / (2.0 * face_m2)
    changes_per_s = table["case_air_changes"].value / S_PER_DAY
    vapour = constants("psychrometrics")["gas_constant_vapour"].value * (_AT_C + ZERO_CELSIUS_K)
    return replace(base, own_air_m=own_air_m, wrap_pa_m2_s_kg=vapour / (own_air_m * changes_per_s))
