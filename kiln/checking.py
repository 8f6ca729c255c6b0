"""Surface checks: how far a drying surface is stretched, held by the wetter wood beneath it.

A surface that has dried below fibre saturation would be narrower than the board that it belongs to. The stretch
that this leaves in it, were all of it elastic, over the stretch at which wood parts is the checking index. Of one
that dries, linear stress comes to the same whatever the air, so it is strain that tells mild air from harsh.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kiln import diffusion
from kiln.errors import check_range
from shared.tables import constants
from shared.units import MS_PER_DAY, Array


def surface_strain(
    profiles: Array, shrinkage_pct: float, saturation: float | Array, *, two_faces: bool = False
) -> Array:
    """Restrained strain of the surface [1], in tension positive; with two faces that of the more stretched one.

    ``profiles`` [members, moments, nodes; kg/kg] as the solver has them; ``shrinkage_pct`` green to oven-dry along the
    rings, where a flat-sawn face shrinks most; ``saturation`` the fibre saturation point [kg/kg], one for all or
    [members]. Returns [members, moments]. Raises OutOfRange for a saturation outside 0.1 to 0.6 or a shrinkage outside
    0 to 25 %. Source: mismatch of free shrinkages, linear below fibre saturation (FPL-GTR-282, 2021, Equation 4-9).
    """
    check_range("shrinkage_pct", np.asarray(shrinkage_pct, dtype=float), 0.0, 25.0, "%")
    full = np.asarray(saturation, dtype=float)
    check_range("saturation", full, 0.1, 0.6, "kg/kg")
    full = full.reshape(-1, 1, 1)
    lost = full - np.minimum(profiles, full)  # of bound water
    surface = np.maximum(lost[..., 0], lost[..., -1]) if two_faces else lost[..., -1]
    held_back = surface - diffusion.mean_of(lost, two_faces=two_faces)
    return np.asarray(shrinkage_pct / 100.0 * held_back / full[..., 0])


def index(profiles: Array, shrinkage_pct: float, saturation: float | Array, *, two_faces: bool = False) -> Array:
    """Checking index [members, moments]: ``surface_strain`` over the strain at which wood parts (from memory)."""
    strain = surface_strain(profiles, shrinkage_pct, saturation, two_faces=two_faces)
    return np.asarray(strain / constants("degrade_limits")["strain_limit"].value)


def of_days(values: Array, hours: Array, at_ms: NDArray[np.int64], days_ms: NDArray[np.int64]) -> Array:
    """Average over the day before each of ``days_ms`` of values that each stand for the ``hours`` before ``at_ms``.

    ``values`` [members, moments]; returns [members, days]. A surface follows each hour of the air to the depth of a
    hair, which opens no check; what lasts a day does (judgement). NaN where no value falls in that day.
    """
    total = np.cumsum(np.concatenate([np.zeros((len(values), 1)), values * hours], axis=1), axis=1)
    time = np.concatenate([[0.0], np.cumsum(hours)])
    last = np.searchsorted(at_ms, days_ms, side="right")
    first = np.searchsorted(at_ms, days_ms - MS_PER_DAY, side="right")
    with np.errstate(invalid="ignore"):
        return np.asarray((total[:, last] - total[:, first]) / (time[last] - time[first]))
