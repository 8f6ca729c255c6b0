"""Synthetic yards for the verdicts: boards dried outdoors, then brought into a bench room near the air of their use.

The wood is that of ``boards.py`` and dries by ``truth.py``. What is drawn beside: a room that its owner steers by a
hygrometer that misreads, so that what is near the use's air is what he reads; another hygrometer outdoors; plates that
come in lots of three, of which the first two are bookmatched. All of it is invented: no board or room was measured.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import boards
import numpy as np
import truth
from scipy.special import ndtr

from kiln import bag, drying, meters, observations
from kiln.air import AirHours
from kiln.estimation import Datum
from kiln.lying import FREE, STACK, Lying, Spell
from kiln.question import Question
from shared import tables
from shared.tables import Use
from shared.units import MS_PER_DAY, MS_PER_HOUR, S_PER_HOUR

PLATE, BOARD = "plate", "board"
USES = {PLATE: ("brace", "glue", "finish"), BOARD: ("machine", "glue")}
THICKNESS_M = {PLATE: (0.003, 0.006), BOARD: (0.020, 0.040)}
OUT_DAYS = {PLATE: (10, 50), BOARD: (60, 200)}
ROOM_DAYS = {PLATE: 45, BOARD: 144}  # that are asked about
EVERY_DAYS = {PLATE: 5, BOARD: 16}
BOOKED_AHEAD_DAYS = {PLATE: 8, BOARD: 24}
SPARE_DAYS = 4  # beyond these: what the rooms of the uses ask of the days to come, and one
LOT_OF_PLATES, BOARDS_A_LOT = 3, 3  # of lots of plates one, of lots of a single board so many
SHARED = 0.6  # of a variance, what boards of a lot have in common
FRESH, RESAWN = "fresh-sawn", "re-sawn"
RESAWN_PCT, RESAWN_SD = 14.0, 0.35  # in logarithms
BEFORE_DAYS = (20, 60, 180)  # of the room's record before the wood came
ROOM_OFF_PCT = (4.0, 6.0)  # from the use's air, as read: centre and one standard deviation; rather damper than drier
MASS_NOISE = (0.0004, 0.003)  # of dry and of wet wood, of its mass
BAG_RH_SD_PCT, BAG_NOISE_PCT, BAG_AIR_M3 = 1.0, 0.3, 0.001


class _OfALot:
    """Random numbers of which boards of one lot have a part in common."""

    def __init__(self, lot: np.random.Generator, own: np.random.Generator) -> None:
        self._lot, self._own = lot, own

    def standard_normal(self) -> float:
        return float(
            np.sqrt(SHARED) * self._lot.standard_normal() + np.sqrt(1.0 - SHARED) * self._own.standard_normal()
        )

    def uniform(self, low: float, high: float) -> float:
        return low + (high - low) * float(ndtr(self.standard_normal()))


@dataclass(frozen=True)
class Room:
    """What all boards of a lot share: outdoors and a room, as they were and as they were read."""

    kind: str
    use: Use
    place_kind: str  # outdoors
    rest: str
    start_ms: int
    out_days: int
    before_days: int
    checked: bool
    outdoors: tuple[np.ndarray, np.ndarray, np.ndarray]  # [°C], true and read [%RH], from the start to the move
    room: tuple[np.ndarray, np.ndarray, np.ndarray]  # from the beginning of its record on
    film_more: np.ndarray  # in the room, of the same hours

    @property
    def moved_ms(self) -> int:
        """When the wood came into the room."""
        return self.start_ms + self.out_days * MS_PER_DAY

    @property
    def rh_error_pct(self) -> float:
        """One standard error of either hygrometer."""
        return boards.HYGROMETER_SD_PCT[1 if self.checked else 0]

    def known(self, day: int, *, outdoors: bool) -> AirHours:
        """The air as read until the end of a day in the room: of the room's record, or of all of the board's way."""
        first = self.before_days * 24 if outdoors else 0
        t, _true, read = (one[first : (self.before_days + day) * 24] for one in self.room)
        begin_ms = self.moved_ms - self.before_days * MS_PER_DAY
        if outdoors:
            t, read = np.append(self.outdoors[0], t), np.append(self.outdoors[2], read)
            begin_ms = self.start_ms
        count = len(t)
        at_ms = begin_ms + np.arange(count, dtype=np.int64) * MS_PER_HOUR
        return AirHours(at_ms, t, read, np.ones(count, bool), np.zeros(count), np.zeros(count))


@dataclass(frozen=True)
class Piece:
    """One board or plate: what is known of it, what it truly is, and what it and its companion do in the room."""

    number: int
    lot: int
    shared: Room
    piece: drying.Piece
    wood: truth.TrueWood  # as it lies in the room
    out: truth.TrueCourse  # from the start to the move
    course: truth.TrueCourse  # from the move on
    resting: truth.TrueCourse  # a piece of the same wood that has always lain in that room, from its record's beginning
    data: tuple[Datum, ...]

    def question(self, day: int) -> Question:
        """What is asked of the product at the end of a day in the room, with what was known then."""
        shared = self.shared
        now_ms = shared.moved_ms + day * MS_PER_DAY
        return Question(
            self.piece,
            shared.known(day, outdoors=True),
            shared.known(day, outdoors=False),
            tuple(one for one in self.data if one.at_ms <= now_ms),
            shared.use,
            shared.use.destination_rh_pct,
            shared.use.destination_temperature_c,
            here_since_ms=shared.moved_ms,
        )

    @cached_property
    def mean_pct(self) -> np.ndarray:
        """Of the whole, at the end of each day since the start [%MC]."""
        return np.append(self.out.mean_pct[:-1], self.course.mean_pct)

    @cached_property
    def line_pct(self) -> np.ndarray:
        """Through the half thickness, middle first [days, nodes; %MC]."""
        return np.concatenate([self.out.line_pct[:-1], self.course.line_pct])


def lot(number: int, seed: int = 1) -> list[Piece]:
    """Return the boards of one lot, always the same for the same number and seed."""
    rng = np.random.default_rng([seed, 7, number])
    kind = BOARD if number % (1 + BOARDS_A_LOT) else PLATE
    shared = _room(rng, kind)
    species = tables.find_species(str(rng.choice(boards.SPECIES)))
    origin = RESAWN if kind == PLATE and rng.random() < 0.5 else FRESH
    sizes = _sizes(rng, kind)
    return [
        _piece(number, k, seed, shared, species, origin, sizes) for k in range(LOT_OF_PLATES if kind == PLATE else 1)
    ]


def _sizes(rng, kind) -> tuple[float, float, float]:
    longest = (0.35, 0.9) if kind == PLATE else (0.6, 2.0)
    return float(rng.uniform(*THICKNESS_M[kind])), float(rng.uniform(0.10, 0.25)), float(rng.uniform(*longest))


def _room(rng, kind) -> Room:
    use = tables.uses()[str(rng.choice(USES[kind]))]
    start_ms = boards._FIRST_MS + int(rng.integers(0, 365)) * MS_PER_DAY
    out_days, before_days = int(rng.integers(*OUT_DAYS[kind])), int(rng.choice(BEFORE_DAYS))
    checked = bool(rng.random() < 0.6)
    sd = boards.HYGROMETER_SD_PCT[1 if checked else 0]
    t_out, rh_out = (one[: out_days * 24] for one in boards._air(rng, boards.OUTDOORS, start_ms, 0))
    days = before_days + ROOM_DAYS[kind] + BOOKED_AHEAD_DAYS[kind] + SPARE_DAYS
    at_h = start_ms / MS_PER_HOUR + (out_days - before_days) * 24 + np.arange(days * 24)
    t, read = _room_air(rng, at_h, use)
    read_out = np.clip(rh_out + sd * rng.standard_normal(), 1.0, 100.0)
    film_more = np.exp(rng.uniform(0.0, 0.3) * boards._wandering(rng, days * 24, 10.0))
    true = np.clip(read - sd * rng.standard_normal(), 5.0, 98.0)
    place_kind, rest = str(rng.choice(["yard", "shed"])), str(rng.choice([STACK, FREE]))
    outdoors, room = (t_out, rh_out, read_out), (t, true, read)
    return Room(kind, use, place_kind, rest, start_ms, out_days, before_days, checked, outdoors, room, film_more)


def _room_air(rng, at_h, use) -> tuple[np.ndarray, np.ndarray]:
    """Temperature [°C] and humidity as read [%RH] of a room that is meant to be as the use wants it."""
    year = 2.0 * np.pi * (at_h / 24.0 / 365.25 - 0.55)
    day = 2.0 * np.pi * (at_h / 24.0 - 15.0 / 24.0)
    weather, hours = rng.uniform(2.0, 4.0), len(at_h)
    t = use.destination_temperature_c + rng.standard_normal() + 1.5 * np.cos(year) + rng.uniform(0.3, 2.0) * np.cos(day)
    t += 0.7 * boards._wandering(rng, hours, weather)
    rh = use.destination_rh_pct + rng.normal(*ROOM_OFF_PCT) + rng.uniform(0.0, 4.0) * np.cos(year)
    rh -= rng.uniform(0.0, 3.0) * np.cos(day)
    rh += rng.uniform(1.0, 4.5) * boards._wandering(rng, hours, weather)
    rh += rng.uniform(0.5, 2.5) * boards._wandering(rng, hours, 60.0)
    return t, np.clip(rh, 15.0, 90.0)


def _piece(number, k, seed, shared, species, origin, sizes) -> Piece:
    own = np.random.default_rng([seed, 8, number, k])
    out_lying, room_lying = Lying(shared.place_kind, shared.rest), Lying("room", FREE)
    spells = (Spell(0, sizes[0], out_lying), Spell(shared.out_days * 24, sizes[0], room_lying))
    piece = drying.Piece(species, *sizes, origin, spells, rh_error_pct=shared.rh_error_pct)
    outside, inside = _woods(np.random.default_rng([seed, 9, number]), own, piece, seed, number)
    t, rh, _ = shared.outdoors
    film_more = np.exp(own.uniform(0.0, 0.3) * boards._wandering(own, len(t), 10.0))
    out = truth.dry(outside, t, rh / 100.0, film_more)
    first = shared.before_days * 24
    t, rh = shared.room[0], shared.room[1] / 100.0
    course = truth.dry(inside, t[first:], rh[first:], shared.film_more[first:], begin=out.end)
    held = inside.isotherm_scale * truth.hailwood_horrobin(t[: 30 * 24], rh[: 30 * 24]).mean()
    resting = truth.dry(inside._replace(start=float(held), wet_core=0.0), t, rh, shared.film_more)
    found = Piece(number * LOT_OF_PLATES + k, number, shared, piece, inside, out, course, resting, ())
    return Piece(**{**vars(found), "data": tuple(sorted(_measured(own, found), key=lambda one: one.at_ms))})


def _woods(of_lot, own, piece, seed, number) -> tuple[truth.TrueWood, truth.TrueWood]:
    """The wood as it lies outdoors, and in the room: the film there is as far off what one expects only in part."""
    rng = _OfALot(of_lot, own)
    outdoors = drying.Piece(piece.species, *_three(piece), piece.origin, piece.spells[:1], piece.rh_error_pct)
    wood = boards._wood(rng, outdoors, boards._shift(seed, number))
    if piece.origin == RESAWN:
        start = RESAWN_PCT / 100.0 * np.exp(RESAWN_SD * rng.standard_normal())
        wood = wood._replace(start=float(np.clip(start, 0.07, 0.28)), wet_core=rng.uniform(-0.2, 0.2))
    off = np.log(wood.film_w_m2k / boards.FILMS_W_M2K[piece.spells[0].lying.place_kind]) / boards.FILM_SD
    film = boards.FILMS_W_M2K["room"] * float(np.exp(boards.FILM_SD * (0.6 * off + 0.8 * rng.standard_normal())))
    return wood, wood._replace(film_w_m2k=film, longwave_w_m2k=rng.uniform(3.5, 5.5))


def _three(piece) -> tuple[float, float, float]:
    return piece.thickness_m, piece.width_m, piece.length_m


def _measured(rng, one: Piece) -> list[Datum]:
    """Everything that is ever measured of it: weights always, sections, pins and bags of some."""
    found = _weights(rng, one) + _sections(rng, one)
    return found + (_bags(rng, one) if one.shared.kind == PLATE else _pins(rng, one))


def _at_ms(one: Piece, day: int) -> int:
    return one.shared.start_ms + day * MS_PER_DAY


def _weights(rng, one: Piece) -> list[Datum]:
    plate, out = one.shared.kind == PLATE, one.shared.out_days
    scale_kg = float(np.exp(rng.uniform(*np.log((5e-5, 7e-4) if plate else (5e-4, 5e-3)))))
    always = scale_kg * np.sqrt(0.5) * rng.standard_normal()
    outdoors = np.cumsum(np.append(0, rng.integers(3, 14, 100)))
    indoors = out + np.cumsum(rng.integers(2, 6, 100) if plate else rng.integers(4, 12, 100))
    days = np.append(outdoors[outdoors <= out], indoors)
    found, dry_kg = [], one.wood.density_kg_m3 * one.piece.volume_m3
    for day in days[days <= out + ROOM_DAYS[one.shared.kind]]:
        moisture = one.mean_pct[day] / 100.0
        noise = np.interp(moisture, (0.15, 0.65), MASS_NOISE)
        mass = dry_kg * (1.0 + moisture) * (1.0 + noise * rng.standard_normal())
        mass += always + scale_kg * np.sqrt(0.5) * rng.standard_normal()
        found.append(observations.weigh_in(_at_ms(one, int(day)), float(mass), scale_kg))
    return found


def _sections(rng, one: Piece) -> list[Datum]:
    """Of three in ten a section dried in the oven at the start; of two in ten, beside it, a coupon that lay with it."""
    days = [0] if rng.random() < 0.3 else []
    if rng.random() < 0.2:
        days.append(one.shared.out_days + int(rng.integers(7, ROOM_DAYS[one.shared.kind] // 2)))
    found = []
    for day in days:
        off = rng.uniform(1.0, 2.0) * np.clip(one.mean_pct[day] / 40.0, 0.25, 1.0) * rng.standard_normal()
        found.append(observations.section(_at_ms(one, day), 0.2 * (1.0 + (one.mean_pct[day] + off) / 100.0), 0.2))
    return found


def _pins(rng, one: Piece) -> list[Datum]:
    """Of six boards in ten: every twenty days at a quarter of the thickness, of half of them near face and middle."""
    if rng.random() >= 0.6:
        return []
    shares = (0.25, 0.95) if rng.random() < 0.5 else (0.5,)
    bias, found = boards.PIN_BIAS_PCT * rng.standard_normal(), []
    for day in range(20, one.shared.out_days + ROOM_DAYS[BOARD] + 1, 20):
        for share in shares:
            shown = at_depth(one.line_pct[day], share) + bias + boards.PIN_NOISE_PCT * rng.standard_normal()
            reading = meters.Pin(float(max(shown, 4.0)), 21.1, thickness_m=one.piece.thickness_m, origin=FRESH)
            found.append(observations.pin(_at_ms(one, day), share * one.piece.thickness_m / 2.0, reading))
    return found


def _bags(rng, one: Piece) -> list[Datum]:
    """Of four plates in ten: every ten days in the room a test over as long as a slow piece takes to even out."""
    if rng.random() >= 0.4:
        return []
    _, width_m, length_m = _three(one.piece)
    dry_kg = one.wood.density_kg_m3 * one.piece.volume_m3
    sealed = bag.Bag(dry_kg, one.piece.thickness_m, 2.0 * width_m * length_m, BAG_AIR_M3, 20.0, 50.0)
    wait = bag.wait_hours(sealed, one.piece.species, 9.0)
    bias, found = BAG_RH_SD_PCT * rng.standard_normal(), []
    for day in range(one.shared.out_days + 7, one.shared.out_days + ROOM_DAYS[PLATE] + 1, 10):
        lost = one.mean_pct[day - 7] - one.mean_pct[day] > 0.3
        branch = 1.0 if lost else rng.uniform(one.wood.wetting_ratio, 1.0)
        held = (one.mean_pct[day] + BAG_NOISE_PCT * rng.standard_normal()) / 100.0 / one.wood.isotherm_scale / branch
        rh_pct = float(np.clip(rh_pct_of(held) + bias, 1.0, 97.0))
        told = "dried" if lost else "unknown"
        waited_s = wait.even_hours[2] * S_PER_HOUR + 1.0
        found.append(observations.bag_test(_at_ms(one, day), rh_pct, 20.0, BAG_RH_SD_PCT, told, waited_s, wait))
    return found


def at_depth(line_pct: np.ndarray, share: float) -> float:
    """Moisture at a depth, 0 at the face and 1 in the middle, of a line through the half thickness [nodes; %MC]."""
    return float(np.interp(1.0 - share, truth.positions_m(1.0, line_pct.shape[-1], 1.6), line_pct))


def rh_pct_of(held: float, t_c: float = 20.0) -> float:
    """Humidity [%RH] of air at rest with wood that holds so much [kg/kg] by the truth's own isotherm."""
    rh = np.linspace(0.0, 1.0, 2001)
    return 100.0 * float(np.interp(held, truth.hailwood_horrobin(t_c, rh), rh))
