"""What the model cannot follow: its lapse, the same for shell, core and mean, which comes and goes within weeks.

No board is the model's board: its diffusion changes with moisture in another way, it has knots, its neighbours move.
The lapse is a normal process in time with the correlation (1 + a) exp(-a), a = sqrt(3) |t - t'| / tau (Matérn 3/2:
Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006, eq. 4.17), so that a board does not jump by it
from one day to the next. It has two parts: one that grows with the moisture that is there to be wrong about, and one
that a board at rest has too, by its isotherm's hysteresis and what was done to it, which lasts longer.
"""

from __future__ import annotations

import numpy as np

from shared.tables import constants
from shared.units import Array


def spread(mean: Array) -> Array:
    """One standard deviation of the lapse [kg/kg] of boards at ``mean`` [kg/kg], any shape. ``drying.csv``."""
    return np.asarray(np.sqrt(sum(size**2 for size, _days in _parts(mean))))


def _parts(mean: Array) -> tuple[tuple[Array, float], tuple[Array, float]]:
    """What rests in a board, and what goes with its water: one standard deviation [kg/kg] and how long each lasts."""
    table = constants("drying")
    still = np.full(np.shape(mean), table["lapse_mc_pct"].value / 100.0)
    moving = table["lapse_share"].value * np.maximum(mean, 0.0)
    return (still, table["lapse_still_days"].value), (moving, table["lapse_days"].value)


def between(days: Array, others: Array, mean: Array, other_mean: Array) -> Array:
    """Covariance [(kg/kg)²] of the lapse between moments [day] at which a board has these means [kg/kg]."""
    pairs = zip(_parts(mean), _parts(other_mean), strict=True)
    return np.asarray(sum(covariance(days, others, one, other, lasts) for (one, lasts), (other, _) in pairs))


def paths(seed: int, members: int, days: Array, mean: Array, first_day: float) -> Array:
    """Draw the lapse at some moments [day], at which boards have this mean: [members, moments; kg/kg].

    Drawn day by day from ``first_day`` on and straight between: what a member has on a day is the same whatever other
    moments are asked for, and however far ahead, so that an hour later nothing has moved but the hour.
    """
    grid = first_day + np.arange(int(np.ceil(np.max(days) - first_day)) + 2, dtype=float)
    found = np.zeros((members, len(days)))
    for part, (size, lasts) in enumerate(_parts(mean)):
        whole = drawn(np.random.default_rng([seed, part]), members, grid, lasts)
        place = np.clip(np.searchsorted(grid, days, side="right") - 1, 0, len(grid) - 2)
        share = days - grid[place]
        found += size * ((1.0 - share) * whole[:, place] + share * whole[:, place + 1])
    return found


def covariance(
    days: Array, others: Array, spread: Array, other_spread: Array, lasting_days: float | None = None
) -> Array:
    """Covariance of one part of the lapse between moments [day] where it has these standard deviations [kg/kg].

    ``lasting_days``: its tau; None: that of what goes with the water.
    """
    a = _rate_per_day(lasting_days) * np.abs(days[:, None] - others[None, :])
    return np.asarray(np.outer(spread, other_spread) * (1.0 + a) * np.exp(-a))


def _rate_per_day(lasting_days: float | None) -> float:
    return float(np.sqrt(3.0) / (lasting_days or constants("drying")["lapse_days"].value))


def drawn(rng: np.random.Generator, members: int, days: Array, lasting_days: float | None = None) -> Array:
    """Draw one part of the lapse in its own standard deviations at rising moments [day]: [members, moments].

    Exact at any spacing: value and slope are carried on together, the pair being a Markov process.
    """
    rate = _rate_per_day(lasting_days)
    noise = rng.standard_normal((len(days), 2, members))
    found = np.empty((len(days), members))
    value, slope = noise[0, 0], rate * noise[0, 1]
    found[0] = value
    for k, gap in enumerate(np.diff(days), start=1):
        a, kept = rate * gap, np.exp(-rate * gap)
        carried = np.array([[1.0 + a, gap], [-rate * a, 1.0 - a]]) * kept
        left = np.diag([1.0, rate**2]) - carried @ np.diag([1.0, rate**2]) @ carried.T
        root = _root2(left)
        value, slope = (
            carried[0, 0] * value + carried[0, 1] * slope + root[0, 0] * noise[k, 0],
            carried[1, 0] * value + carried[1, 1] * slope + root[1, 0] * noise[k, 0] + root[1, 1] * noise[k, 1],
        )
        found[k] = value
    return np.asarray(found.T)


def _root2(matrix: Array) -> Array:
    """Lower root of a symmetric 2 by 2 matrix that may be nought."""
    first = np.sqrt(max(matrix[0, 0], 0.0))
    beside = matrix[1, 0] / first if first > 0.0 else 0.0
    return np.array([[first, 0.0], [beside, np.sqrt(max(matrix[1, 1] - beside**2, 0.0))]])
