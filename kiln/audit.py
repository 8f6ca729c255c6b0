"""Density audit: what a board's mass and sizes say of its moisture, and which measurement would settle it.

A board heavier than its kind may be wet, of denser growth, or laden with minerals from the water it lay in.
On a grid over basic gravity G, moisture content u (water over the dry wood) and mineral share m (of the whole
oven-dry mass) the density  ρ = 1000 G (1 + m/(1 − m) + u/100) / (1 − S(u)/100)  is held against the measured one;
a pin reading, a bag test and an oven-dried section narrow what is left.

Beforehand G scatters about its species (lognormal), u is flat in ln u from 4 % to what G can hold, and m is none,
or for stock that lay in water as likely as not some, exponential: that last belief is ours, see ``audit.csv``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr

from kiln import sorption, wood
from kiln.bag import BagAnswer, mc_from_bag
from kiln.errors import OutOfRange
from kiln.meters import AT_LEAST, AT_MOST, PinAnswer
from shared.tables import Species, constants, limit
from shared.units import Array

PIN, BAG, SECTION = "pin reading", "bag test", "oven-dried section"
DENSE, LIGHT = "denser than most boards of its kind", "lighter than most boards of its kind"
WET = f"wet, above {limit('move_in_below'):g} %"
LADEN, ORDINARY = "laden with minerals", "an ordinary board, not wet"
FIVE = (0.025, 0.1, 0.5, 0.9, 0.975)
AIR_DRY_MC_PCT = 12.0  # the moisture content for which the trade's densities stand
_GRAVITIES, _REACH_SD, _MOISTURES, _MINERALS = 49, 3.5, 161, 20
_NEGLIGIBLE = 30.0  # natural logarithms below the likeliest point
_SIMULATED = 15
_ROOM_C = 20.0
_TINY = 1e-300
_ROOT_2PI = float(np.sqrt(2.0 * np.pi))


def _value(name: str) -> float:
    return constants("audit")[name].value


@dataclass(frozen=True)
class Stock:
    """What a board is said to be."""

    label: str
    basic_specific_gravity: float  # mean of its species
    volumetric_shrinkage_pct: float | None  # None: 26.5 times each basic gravity
    fsp_pct: float
    minerals_possible: bool  # it lay in water for long


def stock_of(species: Species, minerals_possible: bool) -> Stock:
    """Return a species as the audit takes it; ``minerals_possible``: water-reclaimed, or long submerged as a log."""
    shrinkage = species.shrinkage_volumetric_pct
    return Stock(species.label, species.basic_specific_gravity, shrinkage, species.fsp_pct, minerals_possible)


def density_kg_m3(
    mass_kg: float, sizes_m: tuple[float, float, float], mass_error_kg: float, size_errors_m: tuple[float, float, float]
) -> tuple[float, float]:
    """Return density and its standard error [kg/m³] from mass [kg] and thickness, width, length [m] as it is now.

    First-order propagation of independent standard errors. Raises OutOfRange unless all are positive (errors: not
    negative).
    """
    for name, value, unit in (("mass_kg", mass_kg, "kg"), *(("sizes_m", size, "m") for size in sizes_m)):
        if not 0.0 < value < np.inf:
            raise OutOfRange(name, value, 0.0, np.inf, unit)
    if not all(0.0 <= error < np.inf for error in (mass_error_kg, *size_errors_m)):
        raise OutOfRange("errors", min(mass_error_kg, *size_errors_m), 0.0, np.inf, "")
    density = mass_kg / float(np.prod(sizes_m))
    shares = [mass_error_kg / mass_kg, *(error / size for error, size in zip(size_errors_m, sizes_m, strict=True))]
    return density, density * float(np.linalg.norm(shares))


@dataclass(frozen=True)
class Evidence:
    """What else was measured of this board; None: not yet. Raises OutOfRange for a section below 0 or without error."""

    pin: PinAnswer | None = None
    bag: BagAnswer | None = None
    section: tuple[float, float] | None = None  # MC and its standard error [%MC]; minerals are in its dry mass

    def __post_init__(self) -> None:
        for number, least in zip(self.section or (), (0.0, _TINY), strict=False):
            if not least <= number < np.inf:
                raise OutOfRange("section", number, 0.0, np.inf, "%MC, its error above 0")


@dataclass(frozen=True)
class Decider:
    """A measurement not yet made, and how wide the moisture's 80 % band may be expected to be after it [%MC]."""

    name: str
    width_mc_pct: float


@dataclass(frozen=True)
class Audit:
    """What mass, sizes and the rest of the evidence leave possible."""

    density_kg_m3: float
    density_error_kg_m3: float
    usual_kg_m3: float  # of an average board of its kind at 12 %
    mc_pct: tuple[float, float, float, float, float]  # p2.5, p10, p50, p90, p97.5
    basic_specific_gravity: tuple[float, float, float]  # p10, p50, p90
    mineral_share_pct: tuple[float, float, float]  # p10, p50, p90, % of the oven-dry mass
    chance_dense: float  # basic gravity more than one board-to-board deviation above its species
    chance_wet: float  # above 20 %, at which wood is moved indoors (``limits.csv``, move_in_below)
    chance_minerals: float  # more than 2 % of the oven-dry mass
    sentence: str
    flags: tuple[str, ...]
    decides: tuple[Decider, ...]  # best first
    decides_sentence: str


@dataclass(frozen=True)
class _Grid:
    """What is possible, as points in order of moisture content, with weights that sum to 1."""

    z: Array  # of basic gravity, in board-to-board deviations
    basic: Array
    mc: Array
    minerals: Array
    weight: Array
    squared: Array  # squared standard errors, of gravity and density together


def audit(density_kg_m3: float, error_kg_m3: float, stock: Stock, evidence: Evidence | None = None) -> Audit:
    """Return what moisture contents, gravities and mineral shares a density [kg/m³] leaves possible.

    ``error_kg_m3``: its standard error. ``evidence``: further measurements of the same board, which narrow the answer.
    Valid for solid wood with basic gravity 0.1 to 1.3; raises OutOfRange unless density and error are above 0 or the
    gravity is outside. A density beyond any sound board of its kind is flagged, and its bands then mean little.
    Source: Wood Handbook FPL-GTR-282, 2021, Equations 4-3, 4-9, 4-11, 4-12;
    scatter in ``wood.csv``, beliefs in ``audit.csv``.
    """
    _refuse(density_kg_m3, error_kg_m3, stock)
    known = evidence or Evidence()
    prior = _grid(density_kg_m3, error_kg_m3, stock)
    grid = _narrowed(prior, known)
    chances = _chances(grid)
    usual = float(_densities(stock, stock.basic_specific_gravity, AIR_DRY_MC_PCT))
    five = _quantiles(grid.mc, grid.weight, FIVE)
    decides = _decides(grid, known, stock)
    return Audit(
        density_kg_m3=density_kg_m3,
        density_error_kg_m3=error_kg_m3,
        usual_kg_m3=usual,
        mc_pct=(five[0], five[1], five[2], five[3], five[4]),
        basic_specific_gravity=_three(grid.basic, grid.weight),
        mineral_share_pct=_three(100.0 * grid.minerals, grid.weight),
        chance_dense=chances[DENSE],
        chance_wet=chances[WET],
        chance_minerals=chances[LADEN],
        sentence=_sentence(density_kg_m3, error_kg_m3, usual, five, chances),
        flags=_flags(density_kg_m3 < usual, prior, known, stock),
        decides=decides,
        decides_sentence=_decides_sentence(five[3] - five[1], decides),
    )


def _refuse(density: float, error: float, stock: Stock) -> None:
    for name, value in (("density_kg_m3", density), ("error_kg_m3", error)):
        if not 0.0 < value < np.inf:
            raise OutOfRange(name, value, 0.0, np.inf, "kg/m³")
    if not 0.1 <= stock.basic_specific_gravity <= 1.3:
        raise OutOfRange("basic_specific_gravity", stock.basic_specific_gravity, 0.1, 1.3, "")


def _densities(stock: Stock, basic: float | Array, mc_pct: float | Array) -> Array:
    return wood.density_at_mc_kg_m3(basic, mc_pct, stock.volumetric_shrinkage_pct, stock.fsp_pct)


def _grid(density: float, error: float, stock: Stock) -> _Grid:
    cv, driest = constants("wood")["basic_board_cv"].value, _value("driest_mc_pct")
    heaviest = constants("sorption")["cell_wall_specific_gravity"].value - 0.05
    z = np.linspace(-_REACH_SD, _REACH_SD, _GRAVITIES)[:, None, None]
    basic = np.minimum(stock.basic_specific_gravity * np.exp(cv * z - cv**2 / 2.0), heaviest)
    most = np.maximum(wood.maximum_mc_pct(basic), driest)
    share = (np.arange(_MOISTURES) + 0.5)[None, :, None] / _MOISTURES
    mc = driest * (most / driest) ** share
    minerals, belief = _minerals(stock)
    dry = _densities(stock, basic, mc) / (1.0 + mc / 100.0)
    away = (dry * (1.0 + minerals / (1.0 - minerals) + mc / 100.0) - density) / error
    squared = z**2 + away**2
    z, basic, mc, minerals, squared, belief = np.broadcast_arrays(z, basic, mc, minerals, squared, belief)
    kept = np.flatnonzero(squared.ravel() / 2.0 <= squared.min() / 2.0 + _NEGLIGIBLE)
    kept = kept[np.argsort(mc.ravel()[kept], kind="stable")]
    z, basic, mc, minerals = (one.ravel()[kept] for one in (z, basic, mc, minerals))
    weight = np.exp((squared.min() - squared.ravel()[kept]) / 2.0) * belief.ravel()[kept]
    return _Grid(z, basic, mc, minerals, weight / weight.sum(), squared.ravel()[kept])


def _minerals(stock: Stock) -> tuple[Array, Array]:
    """Mineral shares of the oven-dry mass and how far each is believed; the exponential in slices of equal chance."""
    if not stock.minerals_possible:
        return np.zeros((1, 1, 1)), np.ones((1, 1, 1))
    slices = (np.arange(_MINERALS) + 0.5) / _MINERALS
    shares = np.append(0.0, -_value("minerals_mean_share") * np.log1p(-slices))
    some = _value("minerals_chance")
    belief = np.append(1.0 - some, np.full(_MINERALS, some / _MINERALS))
    return shares[None, None, :], belief[None, None, :]


def _narrowed(grid: _Grid, evidence: Evidence) -> _Grid:
    weight = grid.weight * _likelihood(grid, evidence)
    return replace(grid, weight=weight / weight.sum())


def _likelihood(grid: _Grid, evidence: Evidence) -> Array:
    """How well each point tells the evidence; 1 where a measurement finds exactly what was expected."""
    parts = [np.ones_like(grid.weight)]
    if evidence.pin is not None:
        parts.append(_pin_likelihood(grid, evidence.pin))
    if evidence.bag is not None:
        parts.append(_bag_likelihood(grid, evidence.bag))
    if evidence.section is not None:
        parts.append(_section_likelihood(grid, *evidence.section))
    return np.asarray(np.maximum(np.prod(parts, axis=0), _TINY))


def _pin_likelihood(grid: _Grid, pin: PinAnswer) -> Array:
    """Without minerals a pin reads u; with them anything from u to 20 %MC more alike: it is an upper bound."""
    error, widest, laden = pin.error_mc_pct, _value("false_wet_widest_mc_pct"), grid.minerals > 0.0
    low, high = (grid.mc - pin.mc_pct) / error, (grid.mc + widest - pin.mc_pct) / error
    if pin.censored:
        above = np.where(laden, error / widest * (_integral(high) - _integral(low)), ndtr(low))
        return np.asarray(above if pin.censored == AT_LEAST else 1.0 - above)
    smeared = (ndtr(high) - ndtr(low)) / widest * error * _ROOT_2PI
    return np.where(laden, smeared, np.exp(-0.5 * low**2))


def _integral(z: Array) -> Array:
    """Integral of the normal distribution function up to ``z``."""
    return np.asarray(z * ndtr(z) + np.exp(-0.5 * z**2) / _ROOT_2PI)


def _bag_likelihood(grid: _Grid, bag: BagAnswer) -> Array:
    away = (grid.mc - bag.mc_pct) / bag.error_mc_pct
    if bag.at_least or not np.isfinite(bag.high_mc_pct):
        return np.asarray(ndtr(away))
    return np.asarray(np.exp(-0.5 * away**2))


def _section_likelihood(grid: _Grid, mc_pct: float, error_mc_pct: float) -> Array:
    """A section's dry mass holds the minerals too, so it reads a little below u."""
    return np.asarray(np.exp(-0.5 * ((grid.mc * (1.0 - grid.minerals) - mc_pct) / error_mc_pct) ** 2))


def _chances(grid: _Grid) -> dict[str, float]:
    """How likely each reading of the density is; they do not exclude each other, but for the ordinary board."""
    dense, wet = grid.z > 1.0, grid.mc > limit("move_in_below")
    laden, light = grid.minerals > _value("minerals_laden_share"), grid.z < -1.0
    readings = {DENSE: dense, WET: wet, LADEN: laden, LIGHT: light, ORDINARY: ~(dense | wet | laden | light)}
    return {name: float(grid.weight[holds].sum()) for name, holds in readings.items()}


def _quantiles(values: Array, weight: Array, shares: tuple[float, ...]) -> list[float]:
    """Weighted quantiles of values in any order, halfway through each point's own weight."""
    order = np.argsort(values, kind="stable")
    mass = np.cumsum(weight[order]) - weight[order] / 2.0
    return [float(np.interp(share, mass, values[order])) for share in shares]


def _three(values: Array, weight: Array) -> tuple[float, float, float]:
    low, middle, high = _quantiles(values, weight, (0.1, 0.5, 0.9))
    return low, middle, high


def _decides(grid: _Grid, known: Evidence, stock: Stock) -> tuple[Decider, ...]:
    """Each measurement not yet made, with the mean width of the band over what it may find."""
    done = {PIN: known.pin, BAG: known.bag, SECTION: known.section}
    shares = (np.arange(_SIMULATED) + 0.5) / _SIMULATED
    points = np.minimum(np.searchsorted(np.cumsum(grid.weight), shares), len(grid.weight) - 1)
    found = []
    for name in (one for one, made in done.items() if made is None):
        widths = [_width_after(grid, _simulated(name, grid, int(point), stock)) for point in points]
        found.append(Decider(name, float(np.mean(widths))))
    return tuple(sorted(found, key=lambda one: one.width_mc_pct))


def _width_after(grid: _Grid, finding: Evidence) -> float:
    after = _narrowed(grid, finding)
    low, high = _quantiles(after.mc, after.weight, (0.1, 0.9))
    return high - low


def _simulated(name: str, grid: _Grid, point: int, stock: Stock) -> Evidence:
    """What a measurement would find if this point were the truth, without scatter."""
    mc, minerals = float(grid.mc[point]), float(grid.minerals[point])
    if name == SECTION:
        return Evidence(section=(mc * (1.0 - minerals), _value("section_error_mc_pct")))
    if name == BAG:
        rh = float(sorption.rh_pct_from_emc(_ROOM_C, mc, stock.fsp_pct))
        return Evidence(bag=mc_from_bag(rh, _ROOM_C, _value("bag_rh_error_pct"), "dried", stock.fsp_pct))
    shown = mc + (_value("false_wet_widest_mc_pct") / 2.0 if minerals > 0.0 else 0.0)
    low, high = constants("meters")["at_most_mc_pct"].value, limit("pin_at_least")
    drying = constants("drying")
    error = float(np.hypot(drying["pin_bias_mc_pct"].value, drying["pin_noise_mc_pct"].value))
    censored = AT_MOST if shown < low else AT_LEAST if shown > high else ""
    return Evidence(pin=PinAnswer(float(np.clip(shown, low, high)), error, censored, ()))


def _sentence(density: float, error: float, usual: float, mc: list[float], chances: dict[str, float]) -> str:
    ranked = sorted(chances.items(), key=lambda one: -one[1])
    named = [one for one in ranked if one[1] >= _value("named_chance")] or ranked[:1]
    told = "; ".join(f"{name} ({chance:.0%})" for name, chance in named)
    return (
        f"{density:.0f} ± {error:.0f} kg/m³, where an average board of its kind has {usual:.0f} at 12 %. "
        f"Likeliest: {told}. Moisture content {mc[2]:.0f} % ({mc[1]:.0f}–{mc[3]:.0f})."
    )


def _flags(lighter: bool, prior: _Grid, known: Evidence, stock: Stock) -> tuple[str, ...]:
    said = []
    outlying = prior.squared.min() > _value("outlying_sd") ** 2
    misfit = np.min(prior.squared - 2.0 * np.log(_likelihood(prior, known)))
    if outlying:
        way = "Lighter" if lighter else "Denser"
        cause = "decayed" if lighter else "laden with minerals"
        said.append(f"{way} than any sound {stock.label}: another timber, {cause}, or a slip in its sizes.")
    if not outlying and misfit > _value("misfit_limit"):
        said.append("Its measurements do not fit each other: measure it again, sizes and mass first.")
    if stock.minerals_possible and known.pin is not None:
        said.append("Minerals from the water make pins read falsely wet: the reading counts as the most it can be.")
    return tuple(said)


def _decides_sentence(now: float, decides: tuple[Decider, ...]) -> str:
    if not decides:
        return "Pin reading, bag test and oven-dried section have all been made."
    best, *others = decides
    rest = "".join(f", {other.name} {other.width_mc_pct:.1f}" for other in others)
    if best.width_mc_pct > 0.8 * now:
        return f"None of them would narrow its moisture much (now {now:.1f} %MC wide)."
    return f"What would decide: {best.name}, band {now:.1f} → about {best.width_mc_pct:.1f} %MC wide{rest}."
