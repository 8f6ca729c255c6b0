"""What boards teach of one another: a lot's sample boards of the unweighed ones, a yard's finished boards of all.

The unknowns of a board differ from what species, sizes and place lead to expect by three parts, each normal: one that
all boards of that wood in a yard share, one that those of a lot share, and the board's own. How much of the variance
is whose stands in ``lots.csv``. A board's own measurements tell the sum of the three; what they tell is kept as its
lesson (information form), and lessons add up. The algebra is that of any normal hierarchy (Gelman and others, Bayesian
Data Analysis, 3rd ed. 2013, chapter 5).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kiln.drying import LOGARITHMIC, UNKNOWNS, Prior
from kiln.estimation import Fit
from kiln.records import Z80
from shared.tables import constants
from shared.units import Array

NAMES = len(UNKNOWNS)
_LEAST_SHARE = 1e-6  # of a variance: none is nought, so that all can be inverted


@dataclass(frozen=True)
class Lesson:
    """What one board's measurements say of how far its unknowns lie from what was expected."""

    information: Array  # [unknowns, unknowns]: the inverse of their covariance, as told by the measurements alone
    pull: Array  # information times the distance that they tell [unknowns]


@dataclass(frozen=True)
class Taught:
    """What some lessons say of a part that boards share: its centre and covariance, and how many boards told."""

    centre: Array
    covariance: Array
    boards: int


def lesson(prior: Prior, fit: Fit) -> Lesson:
    """Return what a board teaches, from what was expected of it by itself and what its measurements left."""
    after, before = np.linalg.inv(fit.covariance), np.linalg.inv(prior.covariance)
    scale = prior.sd
    values, vectors = np.linalg.eigh((after - before) * np.outer(scale, scale))
    told = (vectors * np.maximum(values, 0.0)) @ vectors.T / np.outer(scale, scale)
    return Lesson(np.asarray(told), np.asarray(after @ (fit.centre - prior.centre)))


def of_yard(prior: Prior, finished: Sequence[Sequence[Lesson]]) -> Taught:
    """Return what finished boards of a wood, lot by lot, say of what boards of it share in a yard."""
    yard, lot, own = _parts(prior)
    told = _taught(np.zeros(NAMES), yard, lot, [_together(one, own) for one in finished if one])
    return Taught(told.centre, told.covariance, sum(len(one) for one in finished))


def of_lot(prior: Prior, yard: Taught, measured: Sequence[Lesson]) -> Taught:
    """Return what a lot's measured boards say of what its boards share, after what the yard's others say."""
    _yard, lot, own = _parts(prior)
    return _taught(yard.centre, yard.covariance + lot, own, measured)


def believed(prior: Prior, shared: Taught) -> Prior:
    """Return what to expect of a board, once it is known what it shares with its lot."""
    _yard, _lot, own = _parts(prior)
    return Prior(prior.centre + shared.centre, shared.covariance + own)


def common_share(prior: Prior, shared: Taught) -> Array:
    """How much of what is believed of each unknown all boards of the lot have in common [unknowns; 0 to 1]."""
    _yard, _lot, own = _parts(prior)
    common = np.diag(shared.covariance)
    return np.asarray(common / (common + np.diag(own)))


def _parts(prior: Prior) -> tuple[Array, Array, Array]:
    table = constants("lots")
    variance = np.diag(prior.covariance)
    yard, lot = (np.array([table[f"{part}_{name}"].value for name in UNKNOWNS]) for part in ("yard", "lot"))
    own = np.maximum(1.0 - yard - lot, _LEAST_SHARE)
    yard, lot = np.maximum(yard, _LEAST_SHARE), np.maximum(lot, _LEAST_SHARE)
    return np.diag(variance * yard), np.diag(variance * lot), np.diag(variance * own)


def _taught(centre: Array, covariance: Array, beside: Array, lessons: Sequence[Lesson]) -> Taught:
    """Posterior of a shared part from lessons on it plus a part of each board's own with the covariance ``beside``."""
    if not lessons:
        return Taught(centre, covariance, 0)
    before, told = np.linalg.inv(covariance), _together(lessons, beside)
    precision = before + told.information
    found = np.linalg.inv((precision + precision.T) / 2.0)
    return Taught(np.asarray(found @ (before @ centre + told.pull)), np.asarray(found), len(lessons))


def _together(lessons: Sequence[Lesson], beside: Array) -> Lesson:
    """What lessons on a part plus one of each its own, of the covariance ``beside``, say of that part alone."""
    information, pull = np.zeros((NAMES, NAMES)), np.zeros(NAMES)
    for one in lessons:
        through = np.linalg.inv(np.eye(NAMES) + one.information @ beside)
        information += through @ one.information
        pull += through @ one.pull
    return Lesson(np.asarray((information + information.T) / 2.0), pull)


def factors(shared: Taught) -> dict[str, tuple[float, float, float]]:
    """By what boards share multiply what the tables lead to expect: p10, p50 and p90, by each logarithm's name."""
    sd = np.sqrt(np.diag(shared.covariance))
    ends = [np.exp(shared.centre + side * Z80 * sd) for side in (-1.0, 0.0, 1.0)]
    return {
        name: (float(ends[0][k]), float(ends[1][k]), float(ends[2][k])) for k, name in enumerate(UNKNOWNS[:LOGARITHMIC])
    }
