"""Wood that gained water: seen on the scale, and in air so damp that its faces take water up.

What the air's humidity shows is fog or dew; rain is not told from it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shared.errors import BadInput
from shared.tables import constants
from shared.units import Array


@dataclass(frozen=True)
class Gain:
    """A weigh-in heavier than the one before it by more than scales and air account for."""

    before_ms: int
    at_ms: int
    gain_kg: float  # as weighed
    expected_kg: float  # what its air accounts for; never less than nought
    error_kg: float  # one standard error of the difference


def heavier(at_ms: NDArray[np.int64], mass_kg: Array, error_kg: Array, expected_kg: Array) -> tuple[Gain, ...]:
    """Return the weigh-ins heavier than the one before, beyond both scales' errors and what the air accounts for.

    ``at_ms`` rising, ``mass_kg`` and ``error_kg`` (one standard error each) of the weigh-ins [n]; ``expected_kg`` [n-1]
    the change that its air should have made from each to the next: of a loss nothing is taken, since a board that
    was to lose and gained is the more in doubt. Raises BadInput where the lengths do not fit.
    """
    if not len(at_ms) == len(mass_kg) == len(error_kg) or len(expected_kg) != max(len(at_ms) - 1, 0):
        raise BadInput("weigh-ins", f"{len(at_ms)} with {len(expected_kg)} changes", "one change fewer than weigh-ins")
    gain, error = np.diff(mass_kg), np.hypot(error_kg[1:], error_kg[:-1])
    expected = np.maximum(expected_kg, 0.0)
    found = np.flatnonzero(gain - expected > constants("degrade_limits")["heavier_by"].value * error)
    return tuple(
        Gain(int(at_ms[i]), int(at_ms[i + 1]), float(gain[i]), float(expected[i]), float(error[i])) for i in found
    )


def damp_runs(hour_ms: NDArray[np.int64], rh_pct: Array, known: NDArray[np.bool_]) -> tuple[tuple[int, int], ...]:
    """Runs of logged hours in fog or dew: when each began [UTC ms] and its hours. Shorter ones are not told.

    ``rh_pct`` [hours; %RH] of the hours that begin at ``hour_ms``; hours that are not ``known`` end a run.
    """
    table = constants("degrade_limits")
    damp = np.concatenate([[False], known & (rh_pct >= table["damp_rh_pct"].value), [False]])
    turns = np.flatnonzero(np.diff(damp))
    runs = zip(turns[::2], turns[1::2], strict=True)
    return tuple((int(hour_ms[i]), int(j - i)) for i, j in runs if j - i >= table["damp_hours"].value)
