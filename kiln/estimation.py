"""The refit: what a board's own measurements say about its unknowns.

Gauss-Newton to the most believable unknowns, with the curvature there as their spread (Laplace). A candidate and all
its perturbations are marched in one block of the solver; the way there goes in long steps of air, the last round in
shorter ones. A measurement far from what all others lead to expect counts less and is reported as not fitting, so
that one mix-up at the scale does not bend the whole record.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri
from scipy.stats import qmc

from kiln import diffusion, drying, lapse
from kiln.likelihood import DOES_NOT_FIT_SE, NOTHING, OUTLIER_SE, Datum, Errors, Likelihood
from kiln.records import Measured
from shared.units import MS_PER_DAY, S_PER_HOUR, Array

__all__ = ["NOTHING", "Datum", "Fit", "Likelihood", "fit"]

NAMES = len(drying.UNKNOWNS)
ROUNDS = 8  # of long steps; each is one block of the solver
LONG_HOURS, SHORT_HOURS = 12, 6  # steps of air on the way, and in the last rounds
SHORT_ROUNDS = 3
OLD_HOURS = 120 * 24
GAIN = 0.02  # of half the squared distances: a round that brings less ends the search
NEAR_SD = 0.15  # a move this small, in deviations of what is left unknown, is taken without a look at where it leads
FARTHEST_SD = 5.0  # from the prior, of any candidate
PIN_DOUBTED_SE = 2.0  # how far pins may pull what the rest of the measurements says of a board
SOUGHT_NODES = 13  # through half the thickness: a mean is as good on them as on more
_STEP = 0.05  # of a prior deviation
_SHORTER = np.array([0.5, 0.25, 0.1, 0.03])  # lengths of a move that are tried beside the whole


@dataclass(frozen=True)
class Fit:
    """The refitted unknowns: centre, covariance, and how each measurement sits with them."""

    centre: Array
    covariance: Array
    measured: tuple[Measured, ...]
    mass_strain_sd: float = 0.0  # distance of the fitted oven-dry mass from the prior, in the prior's deviations
    likelihood: Likelihood | None = None  # of the measurements that it rests on; None: there were none
    errors: Errors | None = None  # of these, around the centre
    lapse_factor: float = 1.0

    def draw(self, count: int, seed: int, own_seed: int | None = None, common_share: Array | None = None) -> Array:
        """Return ``count`` believable boards as rows of unknowns.

        With an ``own_seed`` only ``common_share`` of each unknown's variance [unknowns] comes from ``seed``, so that
        boards drawn with the same one have that in common, member for member.
        """
        noise = _even(count, seed)
        if own_seed is not None and common_share is not None:
            noise = np.sqrt(common_share) * noise + np.sqrt(1.0 - common_share) * _even(count, own_seed)
        return np.asarray(self.centre + noise @ _root(self.covariance).T)

    def lapse(self, boards: Array, seen: Array, moments_ms: NDArray[np.int64], mean: Array, seed: int) -> Array:
        """Draw what the model misses of each board [members, moments; kg/kg], after what the measurements say of it.

        ``seen``: what each board would have read at each measurement [members, data]; ``mean``: the boards' mean at
        the moments [members, moments]. Drawn for a board nobody measured and corrected by what was measured
        (Matheron's rule: Journel and Huijbregts, Mining Geostatistics, 1978; from memory).
        """
        days, middle = moments_ms / MS_PER_DAY, np.median(mean, axis=0)
        first_day = float(np.floor(days[0]))
        if self.likelihood is None or self.errors is None:
            return self.lapse_factor * lapse.paths(seed, len(boards), days, middle, first_day)
        free = ~self.likelihood.bounds
        at, measured_at = self.likelihood.days[free], self.errors.mean[free]
        both, means = np.concatenate([days, at]), np.concatenate([middle, measured_at])
        prior = self.lapse_factor * lapse.paths(seed, len(boards), both, means, float(np.floor(np.min(both))))
        root = np.linalg.cholesky(self.errors.own[np.ix_(free, free)])
        noise = np.random.default_rng([seed, NAMES]).standard_normal((len(at), len(boards))).T @ root.T
        missed = self.likelihood.away(boards, seen)[:, free] - prior[:, len(days) :] - noise
        together = self.lapse_factor**2 * lapse.between(at, days, measured_at, middle)
        gain = np.linalg.solve(self.errors.all[np.ix_(free, free)], together)
        return np.asarray(prior[:, : len(days)] + missed @ gain)


def _even(count: int, seed: int) -> Array:
    """Normal noise [count, unknowns], evenly spread: a small ensemble is neither off centre nor wide by chance."""
    return np.asarray(ndtri(qmc.Sobol(NAMES, scramble=True, rng=np.random.default_rng(seed)).random(count)))


@dataclass(frozen=True)
class _Point:
    """A candidate: what it should read, how that moves with each unknown, and how wrong both may be."""

    unknowns: Array  # [names]
    away: Array  # told less seen [data]
    slope: Array  # of away [data, names]
    errors: Errors
    added: Array | None = None  # variance that each measurement was given beside its own on the way here


def fit(
    piece: drying.Piece,
    air: diffusion.AirSteps,
    data: list[Datum],
    data_steps: NDArray[np.int64],
    prior: drying.Prior | None = None,
    gap_rh_pct: Array | None = None,
    lapse_factor: float = 1.0,
) -> Fit:
    """Return the refit of one board.

    ``air``: one row of hours, from the board's beginning on. ``data_steps``: after which step of the air each
    measurement was made, rising. ``prior``: what is believed before; None: by species, origin and place alone.
    ``gap_rh_pct``: one standard deviation of the humidity of each hour, where it was not logged [hours].
    ``lapse_factor``: how much more than usual the model is taken to miss boards by.
    Without measurements the prior comes back.
    """
    prior = prior or drying.prior(piece)
    if not data:
        return Fit(prior.centre, prior.covariance, (), lapse_factor=lapse_factor)
    gaps = np.zeros(air.rh_pct.shape[1]) if gap_rh_pct is None else gap_rh_pct
    search = _Search(piece, air, gaps, data_steps, prior)
    told_by = Likelihood(piece, data, lapse_factor)
    point, covariance = search.best(told_by, prior.centre)
    misfit, added = _misfits(point, prior)
    kept, doubted = told_by, np.zeros(len(data), dtype=bool)
    spared = [replace(one, bound=NOTHING) if one.kind == "pin" else one for one in data]
    if spared != data and any(one.kind != "pin" for one in data):
        rest = Likelihood(piece, spared, lapse_factor)
        without, held = search.best(rest, point.unknowns)
        far = np.abs(misfit) > DOES_NOT_FIT_SE
        pins = np.array([one.kind == "pin" for one in data])
        if _at_odds(point.unknowns, without.unknowns, held) or bool((far & pins).any()):
            # A pin reads one spot and would bend the whole board: the rest is believed, and the verdict says so.
            doubted = pins
            away = search.away(told_by, without.unknowns) / np.sqrt(np.diag(without.errors.all))
            rest_misfit, added = _misfits(without, prior)
            misfit = np.where(doubted, _plainly(away), rest_misfit)
            point, covariance, kept = without, held, rest
    sd_ln = (float(np.sqrt(covariance[0, 0])), float(np.sqrt(covariance[5, 5])))
    measured = told_by.measured(point.unknowns, sd_ln, misfit)
    measured = tuple(replace(one, ground=False) if out else one for one, out in zip(measured, doubted, strict=True))
    strain = float(abs(point.unknowns[0] - prior.centre[0]) / prior.sd[0])
    # One that lies far off has as little say in what the model missed as in the unknowns.
    errors = replace(point.errors, own=point.errors.own + np.diag(added))
    return Fit(point.unknowns, covariance, measured, strain, kept, errors, lapse_factor)


def _plainly(misfit: Array) -> Array:
    """Misfits of measurements that were left out: never less than what is called not to fit."""
    return np.asarray(np.copysign(np.maximum(np.abs(misfit), DOES_NOT_FIT_SE + 0.1), misfit))


def _at_odds(all_told: Array, without_pins: Array, covariance: Array) -> bool:
    """Whether pins move a board's oven-dry mass or start further than the rest of its measurements allows."""
    sd = np.sqrt(np.diag(covariance))[:2]
    return bool(np.max(np.abs(all_told[:2] - without_pins[:2]) / sd) > PIN_DOUBTED_SE)


class _Search:
    """The march as a function of the unknowns, in longer and in shorter steps, and the way to its best point.

    Every member sees the air that its own bias of the hygrometer makes true.
    """

    def __init__(
        self,
        piece: drying.Piece,
        air: diffusion.AirSteps,
        gap_rh_pct: Array,
        data_steps: NDArray[np.int64],
        prior: drying.Prior,
    ) -> None:
        self.piece, self.prior = piece, prior
        self.precision = _inverse(prior.covariance)
        self._data_hours = data_steps
        breaks = np.concatenate([data_steps, [spell.first_hour for spell in piece.spells]])
        last = int(data_steps[-1])
        self._airs = {
            hours: _in_steps(air, gap_rh_pct, _edges(last, breaks, hours)) for hours in (LONG_HOURS, SHORT_HOURS)
        }

    def best(self, likelihood: Likelihood, begin: Array) -> tuple[_Point, Array]:
        """Return the most believable point, and the covariance around it."""
        point = self._descend(likelihood, begin, LONG_HOURS, ROUNDS)
        point = self._descend(likelihood, point.unknowns, SHORT_HOURS, SHORT_ROUNDS, point.added)
        curvature, _ = _normal(point, _misfits(point, self.prior)[1], self.prior, self.precision)
        return point, _inverse(curvature)

    def _descend(
        self, likelihood: Likelihood, begin: Array, hours: int, rounds: int, before: Array | None = None
    ) -> _Point:
        """Gauss-Newton; in each round the whole move and some shorter ones are marched in one block."""
        point, _ = self._look(likelihood, begin, begin[None, :][:0], hours)
        point = replace(point, added=before)
        for _ in range(rounds):
            _, added = _misfits(point, self.prior)
            point = replace(point, added=added)
            curvature, downhill = _normal(point, added, self.prior, self.precision)
            move = _limited(np.asarray(np.linalg.solve(curvature, downhill), dtype=np.float64), self.prior.sd)
            if np.max(np.abs(move) * np.sqrt(np.diag(curvature))) < NEAR_SD:
                return self._moved(point, move)
            shorter = point.unknowns + _SHORTER[:, None] * move
            there, away = self._look(likelihood, point.unknowns + move, shorter, hours)
            tried = np.vstack([point.unknowns, there.unknowns, shorter])
            cost = self._cost(point, added, np.vstack([point.away, there.away, away]), tried)
            chosen = int(np.argmin(cost))
            if chosen == 0:
                return point
            little = cost[0] - cost[chosen] < GAIN
            point = there if chosen == 1 else self._look(likelihood, tried[chosen], shorter[:0], hours)[0]
            point = replace(point, added=added)
            if little:
                return point
        return point

    def _moved(self, point: _Point, move: Array) -> _Point:
        """The point after a move so small that its readings follow from their slopes."""
        return replace(point, unknowns=point.unknowns + move, away=point.away + point.slope @ move)

    def _look(self, likelihood: Likelihood, at: Array, others: Array, hours: int) -> tuple[_Point, Array]:
        """March a candidate with its perturbations, and some others beside; return it, and how far the others are."""
        step = _STEP * self.prior.sd
        lanes = np.vstack([at, at + step * np.eye(NAMES), others])
        seen = self._seen(likelihood, lanes, hours)
        away = likelihood.away(lanes, seen)
        slope = ((away[1 : NAMES + 1] - away[0]) / step[:, None]).T
        slope[~np.isfinite(slope)] = 0.0  # a perturbed board without an answer teaches nothing
        return _Point(at, away[0], slope, likelihood.errors(at, np.nan_to_num(seen[0]))), away[NAMES + 1 :]

    def away(self, likelihood: Likelihood, unknowns: Array) -> Array:
        """How far measurements are from what one board should read [data; kg/kg]."""
        rows = unknowns[None, :]
        return np.asarray(likelihood.away(rows, self._seen(likelihood, rows, SHORT_HOURS))[0])

    def _seen(self, likelihood: Likelihood, lanes: Array, hours: int) -> Array:
        # Beyond this no wood is, nor the solver's ground: such candidates stand at the edge of it.
        lanes = np.clip(
            lanes, self.prior.centre - FARTHEST_SD * self.prior.sd, self.prior.centre + FARTHEST_SD * self.prior.sd
        )
        steps, gap_rh_pct = self._airs[hours]
        rh_pct = drying.true_rh_pct(lanes, steps.rh_pct, gap_rh_pct)
        t, sun = (
            None if one is None else np.repeat(one, len(lanes), axis=0) for one in (steps.temperature_c, steps.sun_w_m2)
        )
        assert t is not None
        air = diffusion.AirSteps(t, rh_pct, steps.dt_s, sun)
        nodes = diffusion.NODES_WITH_TWO_FACES if self.piece.two_faces else SOUGHT_NODES
        return likelihood.seen(drying.follow(self.piece, lanes, air, self._data_hours, nodes=nodes))

    def _cost(self, point: _Point, added: Array, away: Array, unknowns: Array) -> Array:
        """Half the squared distances [candidates], with the errors of one point."""
        root = np.linalg.cholesky(point.errors.all + np.diag(added))
        fit = np.linalg.solve(root, away.T)
        moved = unknowns - self.prior.centre
        found = 0.5 * np.sum(fit**2, axis=0) + 0.5 * np.einsum("ij,jk,ik->i", moved, self.precision, moved)
        return np.where(np.isfinite(found), found, np.inf)


def _normal(point: _Point, added: Array, prior: drying.Prior, precision: Array) -> tuple[Array, Array]:
    """Curvature and downhill direction of the squared distances at a point."""
    pull = np.linalg.solve(point.errors.all + np.diag(added), point.slope)
    curvature = precision + point.slope.T @ pull
    return curvature, -pull.T @ point.away - precision @ (point.unknowns - prior.centre)


def _misfits(point: _Point, prior: drying.Prior) -> tuple[Array, Array]:
    """How far each measurement is from what all others and the prior lead to expect [data; standard errors].

    Left out one at a time, in the straight-line picture of the board around the point (Rasmussen and Williams,
    Gaussian Processes for Machine Learning, 2006, eq. 5.12). The worst one loses its say first, then the worst of
    what remains, so that a gross slip does not make its neighbours look wrong. Returned with it: the variance that
    each is given beside its own, so that one that lies far off counts less and less.
    """
    from_prior = point.away - point.slope @ (point.unknowns - prior.centre)
    expected = point.errors.all + point.slope @ prior.covariance @ point.slope.T
    begin = [np.zeros(len(from_prior))] + ([] if point.added is None else [point.added])
    tried = [_weighed(from_prior, expected, one) for one in begin]
    return min(tried, key=lambda one: _unlikely(from_prior, expected, one[1]))


def _weighed(from_prior: Array, expected: Array, added: Array) -> tuple[Array, Array]:
    """Misfits, and the variances added, from those added before on."""
    misfit, variance = _left_out(from_prior, expected, added)
    added = np.where(added > 0.0, variance * np.maximum((misfit / OUTLIER_SE) ** 2 - 1.0, 0.0), 0.0)
    misfit, variance = _left_out(from_prior, expected, added)
    for _ in range(len(added) // 3 + 1):
        worst = int(np.argmax(np.where(added > 0.0, 0.0, np.abs(misfit))))
        if abs(misfit[worst]) <= OUTLIER_SE or added[worst] > 0.0:
            break
        added[worst] = variance[worst] * ((misfit[worst] / OUTLIER_SE) ** 2 - 1.0)
        misfit, variance = _left_out(from_prior, expected, added)
    return misfit, variance * np.maximum((misfit / OUTLIER_SE) ** 2 - 1.0, 0.0)


def _unlikely(from_prior: Array, expected: Array, added: Array) -> float:
    """How unlikely measurements are with these variances, up to a constant: to give one less say is not free."""
    root = np.linalg.cholesky(expected + np.diag(added))
    return float(0.5 * np.sum(np.linalg.solve(root, from_prior) ** 2) + np.log(np.diag(root)).sum())


def _left_out(away: Array, covariance: Array, added: Array) -> tuple[Array, Array]:
    """Misfit of each measurement against the others, and the variance of that; ``added``: to those with less say."""
    inverse = _inverse(covariance + np.diag(added))
    whole = 1.0 / np.diag(inverse)
    variance = whole - added
    return np.asarray(inverse @ away * whole / np.sqrt(variance)), np.asarray(variance)


def _limited(move: Array, sd: Array) -> Array:
    """Keep one step within two standard deviations of the prior in each unknown."""
    reach = np.max(np.abs(move) / sd)
    return np.asarray(move * min(1.0, 2.0 / reach)) if reach > 0 else move


def _edges(last: int, breaks: NDArray[np.int64], hours: int) -> NDArray[np.int64]:
    """Hours at which steps of at most so many hours begin, and the last one: every break is one of them.

    Once a board has long met its air they are twice as long.
    """
    inside = breaks[(breaks > 0) & (breaks < last)]
    young, old = np.arange(0, min(last, OLD_HOURS), hours), np.arange(OLD_HOURS, last, 2 * hours)
    return np.unique(np.concatenate([young, old, inside, [last]])).astype(np.int64)


def _in_steps(air: diffusion.AirSteps, gap_rh_pct: Array, edges: NDArray[np.int64]) -> tuple[diffusion.AirSteps, Array]:
    """Hourly air, averaged over longer steps; and so what was never logged of its humidity."""
    lengths = np.diff(edges)

    def averaged(hourly: Array) -> Array:
        if len(lengths) == 0:  # nothing was measured but at the very beginning
            return hourly[:, :0]
        return np.asarray(np.add.reduceat(hourly[:, : edges[-1]], edges[:-1], axis=1) / lengths)

    sun = None if air.sun_w_m2 is None else averaged(air.sun_w_m2)
    steps = diffusion.AirSteps(averaged(air.temperature_c), averaged(air.rh_pct), lengths * float(S_PER_HOUR), sun)
    return steps, averaged(gap_rh_pct[None])[0]


def _inverse(matrix: Array) -> Array:
    return np.asarray(np.linalg.inv(matrix), dtype=np.float64)


def _root(covariance: Array) -> Array:
    """The symmetric root in units of its own deviations: it changes little where the covariance does."""
    sd = np.sqrt(np.diag(covariance))
    values, vectors = np.linalg.eigh(covariance / np.outer(sd, sd))
    return np.asarray(sd[:, None] * (vectors * np.sqrt(np.maximum(values, 0.0))) @ vectors.T)
