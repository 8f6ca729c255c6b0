"""The bag test: wood and a checked hygrometer sealed in a bag; the wood sets the humidity of the air.

What the hygrometer shows, once at rest, is read backwards through the isotherm: on the printed curve when the
wood last dried, 0.85 of it when it last gained water. Before the wood has evened out through its thickness
the answer is that of its faces, afterwards that of the whole.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kiln import drying, psychrometrics, sorption
from kiln.errors import OutOfRange
from kiln.records import Z80
from shared.errors import BadInput
from shared.tables import Species, constants
from shared.units import S_PER_HOUR, k_from_c

HISTORIES = ("dried", "gained", "unknown")
_REFERENCE_C = 20.0  # the temperature to which the tabled diffusion belongs
_SLOPE_STEP_C = 0.5
_UNITS = {"dry_mass_kg": "kg", "thickness_m": "m", "face_area_m2": "m²", "air_volume_m3": "m³"}


def _value(name: str) -> float:
    return constants("bag")[name].value


@dataclass(frozen=True)
class Bag:
    """A piece in its bag. Raises OutOfRange unless every mass, size and humidity is possible."""

    dry_mass_kg: float
    thickness_m: float
    face_area_m2: float  # both faces together
    air_volume_m3: float  # of the bag without the wood
    temperature_c: float
    start_rh_pct: float  # of the air sealed in

    def __post_init__(self) -> None:
        for name in _UNITS:
            value = getattr(self, name)
            if not 0.0 < value < np.inf:
                raise OutOfRange(name, value, 0.0, np.inf, _UNITS[name])
        if not 0.0 <= self.start_rh_pct <= 100.0:
            raise OutOfRange("start_rh_pct", self.start_rh_pct, 0.0, 100.0, "%RH")


@dataclass(frozen=True)
class BagAnswer:
    """Moisture content of the wood in a bag."""

    mc_pct: float
    error_mc_pct: float  # one standard error
    low_mc_pct: float  # the band that holds eight in ten
    high_mc_pct: float  # infinite where the humidity leaves it open
    at_least: bool
    sentence: str


def mc_from_bag(
    rh_pct: float,
    temperature_c: float,
    rh_error_pct: float,
    history: str,
    fsp_pct: float = sorption.CONVENTIONAL_FSP_PCT,
    scale_error_share: float = 0.0,
) -> BagAnswer:
    """Return the moisture content of wood at rest with air of ``rh_pct`` [%RH] and ``temperature_c`` [°C].

    ``rh_error_pct``: one standard error of the hygrometer [%RH]. ``history``: which way the wood last went:
    "dried" (printed curve), "gained" (0.85 of it), "unknown" (midway, half the difference as one more standard
    error). ``fsp_pct`` [%MC] scales the curve. ``scale_error_share``: further doubt of this species' isotherm as a
    share of the answer; the curve's own error (``sorption.csv``, about 1 %MC) is always in. From 98 %RH on the
    answer is "at least". Raises BadInput for another history, OutOfRange for NaN or outside 0 to 100 %RH or the
    curve's −2 to 130 °C, or for a negative error.
    Source: Wood Handbook FPL-GTR-282, 2021, Equation 4-5; the ratio 0.85 from memory.
    """
    if history not in HISTORIES:
        raise BadInput("history", history, ", ".join(HISTORIES))
    _refuse(rh_pct, temperature_c, rh_error_pct, scale_error_share)
    curve = constants("sorption")["emc_standard_error_mc_pct"].value
    at_least = bool(rh_pct >= sorption.NEAR_SATURATION_RH_PCT)
    printed = float(sorption.emc_pct(temperature_c, min(rh_pct, sorption.NEAR_SATURATION_RH_PCT), fsp_pct))
    factor, doubt = _branch(history, at_least)
    mc = printed * factor
    humidity = factor * _emc_change(rh_pct, temperature_c, rh_error_pct, fsp_pct)
    error = float(np.linalg.norm([humidity, curve, doubt * printed, scale_error_share * mc]))
    open_above = at_least or bool(rh_pct + Z80 * rh_error_pct >= sorption.NEAR_SATURATION_RH_PCT)
    low, high = max(mc - Z80 * error, 0.0), np.inf if open_above else mc + Z80 * error
    return BagAnswer(mc, error, float(low), float(high), at_least, _sentence(mc, low, high, at_least, history))


def _refuse(rh_pct: float, temperature_c: float, rh_error_pct: float, scale_error_share: float) -> None:
    for name, value, high, unit in (
        ("rh_pct", rh_pct, 100.0, "%RH"),
        ("rh_error_pct", rh_error_pct, 100.0, "%RH"),
        ("scale_error_share", scale_error_share, 1.0, ""),
    ):
        if not 0.0 <= value <= high:
            raise OutOfRange(name, value, 0.0, high, unit)
    if not sorption.LOWEST_C <= temperature_c <= sorption.HIGHEST_C:
        raise OutOfRange("temperature_c", temperature_c, sorption.LOWEST_C, sorption.HIGHEST_C, "°C")


def _branch(history: str, at_least: bool) -> tuple[float, float]:
    """Share of the printed curve, and how far it may be off (one standard error)."""
    ratio = sorption.adsorption_ratio()
    if history == "dried":
        return 1.0, 0.0
    if history == "gained" or at_least:  # "at least" must hold on the lower branch too
        return ratio, 0.0
    return (1.0 + ratio) / 2.0, (1.0 - ratio) / 2.0


def _emc_change(rh_pct: float, temperature_c: float, rh_error_pct: float, fsp_pct: float) -> float:
    """Half the change of the printed EMC [%MC] over one standard error of humidity to either side."""
    low, high = max(rh_pct - rh_error_pct, 0.0), min(rh_pct + rh_error_pct, 100.0)
    above, below = sorption.emc_pct(temperature_c, np.array([high, low]), fsp_pct)
    return float(above - below) / 2.0


def _sentence(mc: float, low: float, high: float, at_least: bool, history: str) -> str:
    went = {
        "dried": "it last dried",
        "gained": "it last gained water",
        "unknown": "which way it last went is not known",
    }[history]
    if at_least:
        return f"At least {low:.0f} %: air at 98 %RH or above cannot tell how wet wood is. Weigh it, or dry a section."
    if not np.isfinite(high):
        return f"About {mc:.1f} % or anything above: the hygrometer's error reaches saturation ({went})."
    return f"{mc:.1f} % ({low:.1f}–{high:.1f}): {went}."


def _vapour_kg(bag: Bag, temperature_c: float, rh_pct: float) -> float:
    return bag.air_volume_m3 * float(psychrometrics.vapour_density_kg_m3(temperature_c, rh_pct))


def water_drawn_kg(bag: Bag, end_rh_pct: float, end_temperature_c: float | None = None) -> float:
    """Return the water [kg] that the bag's air took from the wood (negative: gave to it) until ``end_rh_pct`` [%RH].

    ``end_temperature_c`` [°C]: that of the bag when None. Air volume times the change of vapour density, which
    neglects what the bag itself holds and lets through. Raises OutOfRange outside 0 to 100 %RH.
    """
    end_c = bag.temperature_c if end_temperature_c is None else end_temperature_c
    return _vapour_kg(bag, end_c, end_rh_pct) - _vapour_kg(bag, bag.temperature_c, bag.start_rh_pct)


def drawn_mc_pct(bag: Bag, end_rh_pct: float, end_temperature_c: float | None = None) -> float:
    """Return by how much [%MC] the bag's air dried the piece: add it to the bag's answer for the piece before."""
    return 100.0 * water_drawn_kg(bag, end_rh_pct, end_temperature_c) / bag.dry_mass_kg


@dataclass(frozen=True)
class Wait:
    """How long to leave a bag closed, and what it tells before and after [hour]."""

    faces_hours: float  # until the air follows the faces and the hygrometer the air
    even_hours: tuple[float, float, float]  # p10, p50, p90: until the piece has evened out through its thickness
    sentence: str


def wait_hours(bag: Bag, species: Species, mc_pct: float) -> Wait:
    """Return how long a bag must stay closed with a piece of about ``mc_pct`` [%MC, above 0].

    Faces: three time constants of the air, V ρ c_p Le / (h A), and an hour for the hygrometer. Even: three of the
    slowest even mode of a slab with closed faces, τ = L² / (4 π² D) (Crank, The Mathematics of Diffusion, 1975,
    section 4.3), with the diffusion believed of the species (``drying.diffusion_m2_s``) at that moisture and
    temperature and the band of its spread. Above fibre saturation D is that of bound water: too long rather than too
    short. A piece that is wetter on one side, as freshly re-sawn, evens out by the odd mode, four times as slowly.
    Raises OutOfRange unless ``mc_pct`` is above 0.
    """
    if not 0.0 < mc_pct < np.inf:
        raise OutOfRange("mc_pct", mc_pct, 0.0, np.inf, "%MC")
    air, taus = constants("psychrometrics"), _value("settled_taus")
    density = air["pressure_sea_level"].value / (air["gas_constant_air"].value * float(k_from_c(bag.temperature_c)))
    capacity = bag.air_volume_m3 * density * air["air_heat"].value * air["lewis_factor"].value
    air_s = taus * capacity / (_value("film_w_m2k") * bag.face_area_m2)
    faces = (air_s + _value("hygrometer_settles_s")) / S_PER_HOUR
    diffusion, sd_ln = _diffusion(species, bag.thickness_m, mc_pct, bag.temperature_c)
    even = taus * bag.thickness_m**2 / (4.0 * np.pi**2 * diffusion) / S_PER_HOUR
    low, high = (even * float(np.exp(side * Z80 * sd_ln)) for side in (-1.0, 1.0))
    return Wait(faces, (low, even, high), _wait_sentence(faces, low, high))


def _diffusion(species: Species, thickness_m: float, mc_pct: float, temperature_c: float) -> tuple[float, float]:
    """Diffusion at this moisture and temperature [m²/s] as the board model has it, and its spread in logarithms."""
    piece = drying.Piece(
        species, thickness_m, 0.1, 0.5, "re-sawn", drying.one_spell(thickness_m, "room", in_stack=False)
    )
    believed = drying.prior(piece)
    member = drying.members(piece, believed.centre[None, :])
    drier = min(mc_pct - species.fsp_pct, 0.0) / 100.0
    warmer = 1.0 / float(k_from_c(temperature_c)) - 1.0 / float(k_from_c(_REFERENCE_C))
    scale = np.exp(member.moisture_slope[0] * drier - member.activation_k[0] * warmer)
    return float(member.diffusion_m2_s[0] * scale), float(believed.sd[drying.UNKNOWNS.index("ln_diffusion")])


def _wait_sentence(faces: float, low: float, high: float) -> str:
    return (
        f"After {faces:.1f} hours the bag tells the moisture of the faces; that of the whole piece only after "
        f"{low:.0f} to {high:.0f} hours, when it has evened out through its thickness (four times as long if one "
        "face was wetter than the other, as in fresh re-sawn stock)."
    )


def rh_shift_rh_pct_per_k(temperature_c: float, rh_pct: float) -> float:
    """Return how the humidity in a closed bag with wood moves with temperature [%RH per K]: MC constant, RH follows.

    By the Glass form, whose slope with temperature agrees better with the heat of sorption than that of the printed
    curve: 0.30 against 0.16 at 20 °C and 50 %RH. Valid where that form is, below 100 %RH; OutOfRange beyond.
    Source: Wood Handbook FPL-GTR-282, 2021, Equations 4-6 and 4-7.
    """
    held = sorption.emc_glass_pct(temperature_c, rh_pct)
    warmer, cooler = (
        float(sorption.rh_pct_from_emc_glass(temperature_c + step, held)) for step in (_SLOPE_STEP_C, -_SLOPE_STEP_C)
    )
    return (warmer - cooler) / (2.0 * _SLOPE_STEP_C)


def flags(bag: Bag, end_rh_pct: float, temperatures_c: Sequence[float] = ()) -> tuple[str, ...]:
    """Return in sentences what spoils a bag test that ended at ``end_rh_pct`` [%RH].

    ``temperatures_c`` [°C]: lowest and highest, or all, seen while it was closed. Named are a piece too small for its
    bag (more than 0.2 %MC drawn or given), swings wider than 3 °C, and air that was cooled to its dew point.
    """
    said = []
    drawn = drawn_mc_pct(bag, end_rh_pct)
    if abs(drawn) > _value("drawn_limit_mc_pct"):
        way = "drew" if drawn > 0 else "gave"
        said.append(f"Too little wood for so much air: the bag {way} {abs(drawn):.1f} %MC. Press the air out.")
    seen = [*temperatures_c, bag.temperature_c]
    swing = max(seen) - min(seen)
    if swing > _value("swing_limit_c"):
        shift = rh_shift_rh_pct_per_k(bag.temperature_c, min(end_rh_pct, sorption.NEAR_SATURATION_RH_PCT))
        said.append(
            f"Its temperature swung by {swing:.0f} C°: the humidity of air shut in with wood moves about "
            f"{5.0 * shift:.1f} %RH for 5 C°. "
            "Read it with the temperature of the bag itself, when both have come to rest."
        )
    dew_point_c = float(psychrometrics.dew_point_c(bag.temperature_c, end_rh_pct))
    if min(seen) <= dew_point_c:
        said.append("It was cooled to its dew point: water on the film wets the wood and the hygrometer. Begin again.")
    return tuple(said)
