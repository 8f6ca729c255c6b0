"""Blue stain: how long the sapwood near the faces has been in the moisture and warmth in which it grows.

From memory: about 25 to 150 % MC and 5 to 35 °C, days to weeks in light hardwoods. Wood full of water or frozen keeps.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from shared.tables import constants
from shared.units import MS_PER_HOUR, Array


def in_window(shell_mc_pct: float | Array, temperature_c: float | Array) -> NDArray[np.bool_]:
    """Whether stain can grow in a shell of ``shell_mc_pct`` [%MC] at ``temperature_c`` [°C]; any shapes, NaN: no."""
    return np.asarray(_wet(np.asarray(shell_mc_pct)) & _warm(np.asarray(temperature_c)))


def hours_so_far(
    at_ms: NDArray[np.int64], shell_mc_pct: Array, hour_ms: NDArray[np.int64], temperature_c: Array
) -> Array:
    """Hours that each member's shell has spent where stain grows [members; h].

    ``shell_mc_pct`` [members, moments; %MC] at rising moments ``at_ms``; ``temperature_c`` [hours; °C] of the hours
    that begin at ``hour_ms``, one after the other, NaN: not counted. Between two moments the shell counts as their
    average; hours before the first moment and after the last are left out.
    """
    warm = np.concatenate([[0], np.cumsum(_warm(temperature_c))])
    passed = np.clip((at_ms - hour_ms[0]) // MS_PER_HOUR, 0, len(hour_ms))
    between = np.diff(warm[passed]).astype(float)
    return np.asarray(_wet((shell_mc_pct[:, 1:] + shell_mc_pct[:, :-1]) / 2.0) @ between)


def leaves_ms(at_ms: NDArray[np.int64], shell_mc_pct: Array) -> Array:
    """When each member's shell [members, moments; %MC] first is too dry for stain [UTC ms]; infinite where never."""
    dry = shell_mc_pct < constants("degrade_limits")["stain_least_mc_pct"].value
    return np.where(dry.any(axis=1), at_ms[np.argmax(dry, axis=1)].astype(float), np.inf)


def _wet(shell_mc_pct: Array) -> NDArray[np.bool_]:
    table = constants("degrade_limits")
    low, high = table["stain_least_mc_pct"].value, table["stain_most_mc_pct"].value
    return np.asarray((shell_mc_pct >= low) & (shell_mc_pct <= high))


def _warm(temperature_c: Array) -> NDArray[np.bool_]:
    table = constants("degrade_limits")
    return np.asarray((temperature_c >= table["stain_coldest"].value) & (temperature_c <= table["stain_warmest"].value))
