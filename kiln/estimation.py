"""The refit: what a board's own measurements say about its unknowns.

Gauss-Newton to the most believable unknowns, with the curvature there as their spread (Laplace). Each
round marches all perturbed members in one batch. A measurement far from every believable board counts
less and is reported as not fitting, so that one mix-up at the scale does not bend the whole record.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kiln import diffusion, drying
from kiln.records import WEIGHED, Measured
from shared.tables import constants
from shared.units import Array

ROUNDS = 12
NOTHING = "nothing"  # the bound of a reading that tells nothing
OUTLIER_SE = 3.0  # beyond this many standard errors a measurement counts less (Huber)
DOES_NOT_FIT_SE = 4.0
PIN_DOUBTED_SE = 2.0  # how far pins may pull what the rest of the measurements says of a board
WEIGHING_SHARE = 0.003  # of the mass: dirt, bark, surface water
_STEP = 0.02
_BOUNDS = {"at least": "only “at least”", "at most": "only “at most”", NOTHING: "nothing"}
_TRIAL_SHARES = np.array([1.0, 0.5, 0.2, 0.05])


@dataclass(frozen=True)
class Datum:
    """One measurement, made by ``kiln.observations``: ``value`` in kg of what was weighed, else in %MC."""

    kind: str  # "weigh-in", "load cell", "pin", "oven-dry", "bag test"
    at_ms: int
    value: float  # of a bag test: on the printed isotherm, before the scale of this piece's own
    error: float  # one standard error in the value's unit, without what is common to all of its kind
    depth_share: float | None = None  # 0 at the face, 1 at mid-thickness; None: it tells the mean
    cut_dry_kg: float = 0.0  # oven-dry mass of the sections cut since the board was first weighed
    bound: str = ""  # "at least", "at most" or NOTHING: beyond what the instrument can tell
    bias_share: float = 0.0  # of a pin: how much of an uncalibrated meter's bias it still has
    ground: bool = True  # it measures the wood well enough for a verdict to rest on it
    alike: int = 1  # how many weights of one load cell share what weighing has of error: they do not average it away
    lapse: float = 1.0  # and how many of them share one lapse of the model
    mass_share: float = 1.0  # oven-dry mass of what was weighed, of that of the board now: it was thicker before a cut

    @property
    def weighed(self) -> bool:
        """Whether it is a mass."""
        return self.kind in WEIGHED


@dataclass(frozen=True)
class Fit:
    """The refitted unknowns: centre, covariance, and how each measurement sits with them."""

    centre: Array
    covariance: Array
    measured: tuple[Measured, ...]
    mass_strain_sd: float = 0.0  # distance of the fitted oven-dry mass from the prior, in the prior's deviations

    def draw(self, count: int, seed: int) -> Array:
        """Return ``count`` believable boards as rows of unknowns; the pin bias is left out."""
        rng = np.random.default_rng(seed)
        names = len(drying.UNKNOWNS)
        root = _root(self.covariance[:names, :names])
        noise = rng.standard_normal((count, names))
        noise -= noise.mean(axis=0)  # so that a small ensemble is not off centre by chance
        return np.asarray(self.centre[:names] + noise @ root.T)


def fit(piece: drying.Piece, air: diffusion.AirSteps, data: list[Datum], data_steps: NDArray[np.int64]) -> Fit:
    """Return the refit of one board.

    ``air``: one row, from the board's beginning on. ``data_steps``: after which step of the air each
    measurement was made, rising. Without measurements the prior comes back.
    """
    prior = drying.prior(piece)
    table = constants("drying")
    # Two more unknowns: what all pin readings, and what all masses of before a cut, have of error in common.
    common_sd = [table["pin_bias_mc_pct"].value / 100.0, table["size_error"].value]
    centre = np.append(prior.centre, [0.0, 0.0])
    precision = np.diag(1.0 / np.append(prior.sd, common_sd) ** 2)
    if not data:
        return Fit(centre, _inverse(precision), ())
    model = _Model(piece, air, data, data_steps)
    best, curvature = _search(model, centre, precision)
    doubted = np.zeros(len(data), dtype=bool)
    spared = [replace(one, bound=NOTHING) if one.kind == "pin" else one for one in data]
    if spared != data and any(one.kind != "pin" for one in data):
        rest, held = _search(_Model(piece, air, spared, data_steps), centre, precision)
        if _at_odds(best, rest, _inverse(held)):
            # A pin reads one spot and would bend the whole board: the rest is believed, and the verdict says so.
            best, curvature = rest, held
            doubted = np.array([one.kind == "pin" for one in data])
    residual = model.residuals(best[None, :])
    covariance = _inverse(curvature)
    strain = float(abs(best[0] - prior.centre[0]) / prior.sd[0])
    sd_ln = (float(np.sqrt(covariance[0, 0])), float(np.sqrt(covariance[5, 5])))
    told = model.measured(best, sd_ln, np.where(doubted, _plainly(residual[0]), residual[0]))
    told = tuple(replace(one, ground=False) if out else one for one, out in zip(told, doubted, strict=True))
    return Fit(best, covariance, told, strain)


def _plainly(residual: Array) -> Array:
    """Residuals of measurements that were left out: never less than what is called not to fit."""
    return np.asarray(np.copysign(np.maximum(np.abs(residual), DOES_NOT_FIT_SE + 0.1), residual))


def _at_odds(all_told: Array, without_pins: Array, covariance: Array) -> bool:
    """Whether pins move a board's oven-dry mass or start further than the rest of its measurements allows."""
    sd = np.sqrt(np.diag(covariance))[:2]
    return bool(np.max(np.abs(all_told[:2] - without_pins[:2]) / sd) > PIN_DOUBTED_SE)


class _Model:
    """The march, as a function from unknowns to residuals in standard errors.

    Every member sees the air that its own bias of the hygrometer makes true.
    """

    def __init__(
        self, piece: drying.Piece, air: diffusion.AirSteps, data: list[Datum], data_steps: NDArray[np.int64]
    ) -> None:
        self.piece, self.data = piece, data
        self.last = int(data_steps[-1]) if len(data_steps) else 0
        self.air = diffusion.AirSteps(
            air.temperature_c[:1, : self.last],
            air.rh_pct[:1, : self.last],
            air.dt_s[: self.last],
            None if air.sun_w_m2 is None else air.sun_w_m2[:1, : self.last],
        )
        self.steps = data_steps

    def residuals(self, unknowns: Array) -> Array:
        """Return residuals [members, data] in standard errors.

        What is weighed is the whole board, dried at its edges and ends; pins read its middle.
        """
        core = unknowns[:, : len(drying.UNKNOWNS)]
        rh_pct = drying.true_rh_pct(core, self.air.rh_pct)
        repeated = (
            None if one is None else np.repeat(one, len(core), axis=0)
            for one in (self.air.temperature_c, self.air.sun_w_m2)
        )
        temperature_c, sun_w_m2 = repeated
        assert temperature_c is not None
        air = diffusion.AirSteps(temperature_c, rh_pct, self.air.dt_s, sun_w_m2)
        course = drying.follow(self.piece, core, air, self.steps)
        means = course.means(two_faces=self.piece.two_faces)
        mass, scale = np.exp(core[:, 0]), np.exp(core[:, 5]) * self.piece.isotherm_share
        out = np.empty((len(core), len(self.data)))
        for j, datum in enumerate(self.data):
            seen = means[:, j]
            if datum.depth_share is not None and not datum.weighed:
                seen = diffusion.at_depth(course.profiles[:, j], datum.depth_share, two_faces=self.piece.two_faces)
            then = mass * datum.mass_share * (np.exp(unknowns[:, -1]) if datum.mass_share != 1.0 else 1.0)
            out[:, j] = _residual(datum, seen, then, scale, unknowns[:, -2])
        return out

    def measured(self, best: Array, sd_ln: tuple[float, float], residual: Array) -> tuple[Measured, ...]:
        """Say each measurement as a moisture content, and how well it fits; ``sd_ln``: of dry mass and isotherm."""
        mass, scale = float(np.exp(best[0])), float(np.exp(best[5])) * self.piece.isotherm_share
        of_cut = float(np.exp(best[-1]))
        return tuple(
            _as_measured(
                datum, mass * datum.mass_share * (of_cut if datum.mass_share != 1.0 else 1.0), scale, sd_ln, float(r)
            )
            for datum, r in zip(self.data, residual, strict=True)
        )


def _residual(datum: Datum, seen: Array, mass_kg: Array, scale: Array, pin_bias: Array) -> Array:
    discrepancy = constants("drying")["model_discrepancy_mc_pct"].value / 100.0
    if datum.weighed:
        weighing = datum.error**2 + datum.alike * (WEIGHING_SHARE * datum.value) ** 2
        sd = np.sqrt(weighing + datum.lapse * (discrepancy * mass_kg) ** 2)
        return np.asarray((datum.value - (mass_kg - datum.cut_dry_kg) * (1.0 + seen)) / sd)
    told, error = (np.full(len(mass_kg), number / 100.0) for number in (datum.value, datum.error))
    if datum.kind == "bag test":  # it tells the humidity of this piece's own isotherm
        told, error = told * scale, error * scale
    if datum.depth_share is not None:
        error = np.hypot(error, discrepancy)
    away = np.asarray((told - (seen + datum.bias_share * pin_bias)) / error)
    if datum.bound == NOTHING:
        return np.zeros(len(mass_kg))
    if datum.bound == "at least":
        return np.asarray(np.maximum(away, 0.0))
    return np.asarray(np.minimum(away, 0.0)) if datum.bound == "at most" else away


def _search(model: _Model, centre: Array, precision: Array) -> tuple[Array, Array]:
    """Gauss-Newton with a step length chosen among a few tried in one batch."""
    now = centre.copy()
    count = len(centre)
    curvature = precision
    for _ in range(ROUNDS):
        lanes = np.vstack([now, now + _STEP * _scales(precision)[:, None] * np.eye(count)])
        residual = model.residuals(lanes)
        slope = (residual[1:] - residual[0]).T / (_STEP * _scales(precision))
        slope[~np.isfinite(slope)] = 0.0  # a perturbed board without an answer teaches nothing
        weight = _weights(residual[0])
        curvature = precision + slope.T @ (weight[:, None] * slope)
        downhill = -slope.T @ (weight * residual[0]) - precision @ (now - centre)
        move = np.linalg.solve(curvature, downhill)
        trials = now + _TRIAL_SHARES[:, None] * _limited(move, precision)
        costs = _costs(model.residuals(trials), trials, centre, precision)
        cost_now = _costs(residual[:1], now[None, :], centre, precision)[0]
        chosen = int(np.argmin(costs))
        if costs[chosen] >= cost_now:
            break
        now = trials[chosen]
        if cost_now - costs[chosen] < 1e-4 * (1.0 + cost_now):
            break
    return now, curvature


def _scales(precision: Array) -> Array:
    return np.asarray(1.0 / np.sqrt(np.diag(precision)))


def _limited(move: Array, precision: Array) -> Array:
    """Keep one step within two standard deviations of the prior in each unknown."""
    reach = np.max(np.abs(move) / _scales(precision))
    return move * min(1.0, 2.0 / reach) if reach > 0 else move


def _weights(residual: Array) -> Array:
    size = np.maximum(np.abs(residual), 1e-12)
    return np.asarray(np.minimum(1.0, OUTLIER_SE / size))


def _costs(residual: Array, unknowns: Array, centre: Array, precision: Array) -> Array:
    size = np.abs(residual)
    huber = np.where(size <= OUTLIER_SE, 0.5 * size**2, OUTLIER_SE * (size - 0.5 * OUTLIER_SE))
    away = unknowns - centre
    found = huber.sum(axis=1) + 0.5 * np.einsum("ij,jk,ik->i", away, precision, away)
    return np.where(np.isfinite(found), found, np.inf)


def _inverse(matrix: Array) -> Array:
    return np.asarray(np.linalg.inv(matrix), dtype=np.float64)


def _root(covariance: Array) -> Array:
    values, vectors = np.linalg.eigh((covariance + covariance.T) / 2.0)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))


def _as_measured(datum: Datum, mass_kg: float, scale: float, sd_ln: tuple[float, float], residual: float) -> Measured:
    note = ""
    if abs(residual) > DOES_NOT_FIT_SE:
        note = "does not fit the rest: another board, wet bark, trimmed since, or a slip of the pen?"
        if datum.kind == "load cell":
            note = "does not fit the rest: something else on the cell, a wet cover, or a zero that moved?"
        if datum.kind == "pin":
            note = "does not fit the rest, and is left out: shallow pins, another board, salt, or a slip of the pen?"
    if datum.weighed:
        mass_kg -= datum.cut_dry_kg
        mc = 100.0 * (datum.value / mass_kg - 1.0)
        # Of a mass the moisture content is known no better than the oven-dry mass beneath it.
        weighing = np.hypot(datum.error, WEIGHING_SHARE * datum.value) / mass_kg
        error = float(100.0 * np.hypot(weighing, datum.value / mass_kg * sd_ln[0]))
    elif datum.kind == "bag test":
        mc, error = datum.value * scale, scale * float(np.hypot(datum.error, datum.value * sd_ln[1]))
    else:
        mc = datum.value
        error = float(np.hypot(datum.error, datum.bias_share * constants("drying")["pin_bias_mc_pct"].value))
    if datum.bound:
        note = note or f"beyond what it can tell on this wood: it says {_BOUNDS[datum.bound]}"
    scale_pct = 100.0 * datum.error / mass_kg if datum.weighed else 0.0
    return Measured(
        datum.at_ms,
        datum.kind,
        float(mc),
        float(error),
        residual,
        note,
        ground=datum.ground and not datum.bound,
        scale_error_mc_pct=float(scale_pct),
    )
