"""Synthetic boards: what each really is, the air of its place, and what was measured of it.

The population is drawn near what the product believes of a board, but is not that: the figures stand here by
themselves (``CENTRES``), their centres are then moved, yard by yard, by part of a standard deviation (``YARD_SD``) and
their spreads changed a little (``WIDER``), each is drawn by itself, and what the product does not know (a second
dimension, a play, a wet core, a film that changes, other laws of diffusion) is drawn beside. All of it is invented: no
board, place or weather here was ever measured.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import truth
from scipy.signal import lfilter

from kiln import drying, meters, observations
from kiln.air import AirHours
from kiln.estimation import Datum
from kiln.lying import FREE, STACK, Lying, Spell
from kiln.question import Question
from shared import tables
from shared.units import MS_PER_DAY, MS_PER_HOUR

SPECIES = (
    "Quercus rubra",
    "Quercus alba",
    "Fraxinus americana",
    "Liriodendron tulipifera",
    "Acer saccharum",
    "Picea abies",
    "Pinus strobus",
)
LOFT, OUTDOORS = "loft", "outdoors"
FUTURE_DAYS = 530  # the last day scored and a year
# Centre and deviation of logarithms: diffusion at fibre saturation and 20 °C [m²/s], mobility of free water [1]. For
# the dense hardwoods diffusion stands between what their density leads to expect (0.4e-10) and what was measured of
# others like them (0.7 to 0.9e-10), all from memory: which of the two is right nobody knows.
CENTRES = {
    "Quercus rubra": (0.40e-10, 0.5, 0.3, 1.2),
    "Quercus alba": (0.40e-10, 0.5, 0.3, 1.2),
    "Fraxinus americana": (0.6e-10, 0.6, 2.0, 1.3),
    "Liriodendron tulipifera": (0.9e-10, 0.6, 2.0, 1.3),
    "Acer saccharum": (0.55e-10, 0.6, 2.0, 1.3),
    "Picea abies": (1.2e-10, 0.6, 2.0, 1.3),
    "Pinus strobus": (1.3e-10, 0.6, 2.0, 1.3),
}
FILMS_W_M2K = {"yard": 5.0, "shed": 2.5, "room": 3.0}
FILM_SD, DENSITY_SD, SCALE_SD, START_SD = 0.5, 0.12, 0.07, 0.20
WALL_KG_M3 = 1540.0  # of the cell wall: Wood Handbook FPL-GTR-282, 2021, Equation 4-3
# A yard's wood is off those in its own way: one standard deviation of its centres, in the deviations above. Ours.
YARD_SD, YARD_BOARDS = 0.35, 20
WIDER = {"mass": 0.8, "start": 1.0, "diffusion": 0.9, "free": 0.8, "film": 0.9, "scale": 1.0}
_FIRST_MS = 1_577_836_800_000  # 2020-01-01, UTC
HYGROMETER_SD_PCT = (3.0, 1.0)  # never checked, and checked
SCALE_KG = (0.002, 0.010)  # error of a scale: uniform between
WEIGHING_SHARE, PIN_NOISE_PCT, PIN_BIAS_PCT = 0.003, 1.2, 1.5
DENSITY_KG_M3, START_OF_SATURATION = (300.0, 620.0), (0.25, 0.98)


@dataclass(frozen=True)
class Board:
    """One board: what is known of it beforehand, what it truly is and does, its air, and all its measurements."""

    number: int
    climate: str
    piece: drying.Piece
    wood: truth.TrueWood
    course: truth.TrueCourse
    start_ms: int
    before_days: int  # of air on record before the board came
    read: tuple[np.ndarray, np.ndarray]  # temperature [°C] and humidity as read [%RH], from the record's beginning
    true_rh_pct: np.ndarray  # of the same hours
    data: tuple[Datum, ...]  # weigh-ins and pins, in order
    offcut: Datum

    def question(self, day: int, *, data: bool = True, offcut: bool = False) -> Question:
        """The question that is asked of the product at the end of ``day``, with what was known then."""
        end = (self.before_days + day) * 24
        record = self._hours(0, end)
        now_ms = self.start_ms + day * MS_PER_DAY
        told = [one for one in self.data if one.at_ms <= now_ms] if data else []
        if offcut:
            told = sorted([*told, self.offcut], key=lambda one: one.at_ms)
        way = self._hours(self.before_days * 24, end)
        return Question(self.piece, way, record, tuple(told), tables.uses()["machine"], 50.0, 20.0)

    def _hours(self, first: int, end: int) -> AirHours:
        count = end - first
        at_ms = self.start_ms + (np.arange(first, end, dtype=np.int64) - self.before_days * 24) * MS_PER_HOUR
        t, rh = (one[first:end] for one in self.read)
        return AirHours(at_ms, t, rh, np.ones(count, bool), np.zeros(count), np.zeros(count))

    def own_emc_pct(self) -> np.ndarray:
        """EMC of its drying branch in its true air, hour by hour of the whole record and future [%MC]."""
        emc = truth.hailwood_horrobin(np.maximum(self.read[0], -5.0), self.true_rh_pct / 100.0)
        return 100.0 * self.wood.isotherm_scale * emc


def make(number: int, seed: int = 1, known: tuple[np.ndarray, np.ndarray] | None = None) -> Board:
    """Return one board, always the same for the same number and seed; ``known``: its daily course, where worked out."""
    rng = np.random.default_rng([seed, number])
    climate = OUTDOORS if number % 5 in (1, 3) else LOFT
    piece = _piece(rng, climate)
    real = _wood(rng, piece, _shift(seed, number))
    start_ms = _FIRST_MS + int(rng.integers(0, 365)) * MS_PER_DAY
    before_days = int(rng.choice([365, 730]))
    t_c, rh_pct = _air(rng, climate, start_ms, before_days)
    bias = piece.rh_error_pct * rng.standard_normal()
    first = before_days * 24
    film_more = np.exp(rng.uniform(0.0, 0.3) * _wandering(rng, len(t_c) - first, 10.0))
    if known is None:
        course = truth.dry(real, t_c[first:], rh_pct[first:] / 100.0, film_more)
    else:
        course = truth.TrueCourse(*known, np.nan)
    read = (t_c, np.clip(rh_pct + bias, 1.0, 100.0))
    data, offcut = _measured(rng, piece, real, course, start_ms)
    return Board(number, climate, piece, real, course, start_ms, before_days, read, rh_pct, data, offcut)


def _piece(rng, climate) -> drying.Piece:
    species = tables.find_species(str(rng.choice(SPECIES)))
    kind = str(rng.choice(["room", "shed"] if climate == LOFT else ["yard", "shed"], p=[0.35, 0.65]))
    rest = str(rng.choice([STACK, FREE], p=[0.75, 0.25]))
    thickness_m = rng.triangular(0.012, 0.038, 0.040)
    spells = (Spell(0, thickness_m, Lying(kind, rest)),)
    sizes = thickness_m, rng.uniform(0.09, 0.26), rng.uniform(0.8, 2.6)
    error = float(rng.choice(HYGROMETER_SD_PCT))
    return drying.Piece(species, *sizes, "fresh-sawn", spells, rh_error_pct=error)


def _drawn(rng, shift, name, centre, sd):
    return centre * float(np.exp(sd * (shift[name] + WIDER[name] * rng.standard_normal())))


def _shift(seed, number) -> dict[str, float]:
    """How far the centres of a board's yard lie off those that stand above, in their deviations."""
    yard = np.random.default_rng([seed, 1_000_003, number // YARD_BOARDS])
    return {name: YARD_SD * float(yard.standard_normal()) for name in WIDER}


def _green(species) -> tuple[float, float]:
    """Moisture content of the species when felled [kg/kg], and its deviation in logarithms."""
    known = [mc / 100.0 for mc in (species.green_mc_heart_pct, species.green_mc_sap_pct) if mc is not None]
    if not known:
        basic = species.basic_specific_gravity
        return 0.6 * (1.0 / basic - 1000.0 / WALL_KG_M3), float(np.hypot(START_SD, 0.25))
    green = sum(known) / len(known)
    return green, float(np.hypot(START_SD, abs(known[0] - known[-1]) / green / 2.0))


def _wood(rng, piece, shift) -> truth.TrueWood:
    species, lying = piece.species, piece.spells[-1].lying
    soft = species.group == "softwood"
    d_fsp, d_sd, free, free_sd = CENTRES[species.botanical_name]
    density = 1000.0 * _drawn(rng, shift, "mass", species.basic_specific_gravity, DENSITY_SD)
    density = float(np.clip(density, *DENSITY_KG_M3))
    most = 1000.0 / density - 1000.0 / WALL_KG_M3
    start = _drawn(rng, shift, "start", *_green(species))
    scale = _drawn(rng, shift, "scale", piece.isotherm_share, SCALE_SD)
    stacked = lying.rest == STACK
    return truth.TrueWood(
        thickness_m=piece.thickness_m,
        width_m=piece.width_m,
        length_m=piece.length_m,
        density_kg_m3=density,
        start=most * float(np.clip(start / most, *START_OF_SATURATION)),
        wet_core=rng.uniform(0.0, 0.5),
        d_fsp_m2_s=_drawn(rng, shift, "diffusion", d_fsp, d_sd),
        d_dry=rng.uniform(0.2, 0.55) if soft else rng.uniform(0.4, 0.8),
        free_ratio=float(np.clip(_drawn(rng, shift, "free", free, free_sd), 0.05, 60.0)),
        free_power=rng.uniform(1.0, 2.5),
        width_ratio=rng.uniform(0.6, 1.6),
        along_ratio=rng.uniform(5.0, 15.0),
        activation_k=rng.uniform(4000.0, 6500.0),
        film_w_m2k=_drawn(rng, shift, "film", FILMS_W_M2K[lying.place_kind], FILM_SD),
        edge_film_ratio=rng.uniform(0.3, 1.2),
        longwave_w_m2k=rng.uniform(0.0, 1.0) if stacked else rng.uniform(3.5, 5.5),
        isotherm_scale=scale,
        wetting_ratio=rng.uniform(0.80, 0.88),
        play=rng.uniform(0.02, 0.10),
        fsp=scale * float(truth.hailwood_horrobin(20.0, 1.0)),
        most=most,
    )


def _wandering(rng, hours, days):
    """Noise of unit variance that keeps its course for so many days [hours]."""
    keep = np.exp(-1.0 / (24.0 * days))
    steps = rng.standard_normal(hours) * np.sqrt(1.0 - keep**2)
    steps[0] = rng.standard_normal()
    return lfilter([1.0], [1.0, -keep], steps)


def _air(rng, climate, start_ms, before_days):
    """Hourly temperature [°C] and humidity [%RH] of one place over its record and the board's future."""
    hours = (before_days + FUTURE_DAYS + 1) * 24
    at_h = start_ms / MS_PER_HOUR - before_days * 24 + np.arange(hours)
    year = 2.0 * np.pi * (at_h / 24.0 / 365.25 - 0.55)  # warmest about the 20th of July
    day = 2.0 * np.pi * (at_h / 24.0 - 15.0 / 24.0)  # and at three in the afternoon
    normal = rng.standard_normal
    if climate == LOFT:
        t_mean, t_season, t_day, t_noise = 18.0 + 1.5 * normal(), 4.0, rng.uniform(1.0, 4.0), 1.5
        rh_mean, rh_season, rh_day, rh_noise = 51.0 + 2.0 * normal(), rng.uniform(-3.0, 7.0), rng.uniform(1.0, 6.0), 5.0
    else:
        t_mean, t_season, t_day, t_noise = 11.0 + 1.5 * normal(), 7.0, rng.uniform(2.0, 5.0), 2.5
        rh_mean, rh_season = 71.5 + 2.0 * normal(), rng.uniform(-8.0, -3.0)
        rh_day, rh_noise = rng.uniform(6.0, 12.0), 8.0
    weather, slow = rng.uniform(2.0, 4.0), 60.0
    t = t_mean + t_season * np.cos(year) + t_day * np.cos(day)
    t += t_noise * _wandering(rng, hours, weather) + 0.8 * _wandering(rng, hours, slow)
    rh = rh_mean + rh_season * np.cos(year) - rh_day * np.cos(day)
    rh += rh_noise * _wandering(rng, hours, weather) + 2.0 * _wandering(rng, hours, slow)
    return t, np.clip(rh, 15.0, 98.0)


def _measured(rng, piece, real, course, start_ms):
    dry_kg = real.density_kg_m3 * piece.volume_m3
    scale_kg = rng.uniform(*SCALE_KG)
    always = scale_kg * np.sqrt(0.5) * rng.standard_normal()
    days = np.concatenate([[0], np.cumsum(rng.integers(2, 13, 100))])
    days = days[days <= FUTURE_DAYS - 365]
    data = []
    for day in days:
        mass = dry_kg * (1.0 + course.mean_pct[day] / 100.0)
        seen = mass * (1.0 + WEIGHING_SHARE * rng.standard_normal())
        seen += always + scale_kg * np.sqrt(0.5) * rng.standard_normal()
        data.append(observations.weigh_in(start_ms + int(day) * MS_PER_DAY, float(seen), scale_kg))
    pin_bias = PIN_BIAS_PCT * rng.standard_normal()
    for day in range(20, FUTURE_DAYS - 365 + 1, 20):
        shown = max(course.quarter_pct[day] + pin_bias + PIN_NOISE_PCT * rng.standard_normal(), 4.0)
        reading = meters.Pin(float(shown), 21.1, thickness_m=piece.thickness_m, origin="fresh-sawn")
        data.append(observations.pin(start_ms + day * MS_PER_DAY, piece.thickness_m / 4.0, reading))
    data.sort(key=lambda one: one.at_ms)
    of_section = course.mean_pct[0] + rng.uniform(1.0, 2.0) * rng.standard_normal()
    offcut = observations.section(start_ms, 0.2 * (1.0 + of_section / 100.0), 0.2)
    return tuple(data), offcut
