"""The solver: water through the thickness of a board, from waterlogged to room-dry.

State: moisture content M [kg/kg] at nodes x [m] from mid-thickness (0) to the face (L), on the green
sizes. Transport is written in the flux potential Phi (Kirchhoff), in which the diffusion operator is
linear as long as the board is at one temperature:

    dM/dt = d/dx (D_f(T) dPhi/dx),   -D_f rho_b dPhi/dx = j at the face,   0 at mid-thickness
    z = M - M_f
    z <  0 (bound water):  Phi = (exp(b z) - 1) / b
    z >= 0 (free water):   Phi = kappa z
    D_f(T) = D20 exp(-E (1/T - 1/293.15))

The face gives off j through an air film that also carries the heat of evaporation:

    j = beta (a p_sat(T_a) - p_a) / (1 + beta a s L_v / (h_c + h_r)),   beta = h_c / (rho_a c_p Le R_v T)

where s is the secant slope of p_sat between board and air temperature, so that a wet board dries at
its wet bulb. The face's activity a follows the isotherm, on its drying branch while the air is drier
and on its lower, wetting branch while the air is moister; between the two it exchanges nothing.

Implicit finite volumes with a half cell at the face, of second order in space and time, Newton. The iteration
runs in Phi where free water is slow (kappa < 1) and in M where it is fast: in that variable the kink at fibre
saturation is convex, and the other one stalls or blows up while it conserves mass to the last digit.
Time goes by the second backward difference (BDF2, steps of any length), begun with short steps; a step of it
that makes a new extreme inside the board or swings past its air is taken again by backward Euler, and one
that does not converge is halved.

The compiled loop stands in ``kiln.march``: members, each a board with its own parameters, do not touch each
other, so a member's numbers do not depend on which others are in the batch.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kiln import sorption
from kiln.march import HIGHEST_C, LOWEST_C, march_members
from shared.tables import constants
from shared.units import Array

__all__ = [
    "HIGHEST_C",
    "LOWEST_C",
    "NODES",
    "AirSteps",
    "Members",
    "at_depth",
    "cell_shares",
    "core_of",
    "layer_weights",
    "march",
    "mean_of",
    "node_positions_m",
    "shell_of",
]

NODES = 21
WORTH_THREADS = 20_000  # steps of members: some hundredths of a second
_SHELL_SHARE, _CORE_SHARE = 0.2, 1.0 / 3.0  # of the half thickness: the outer tenth a face, the middle third


@dataclass(frozen=True)
class Members:
    """Parameters of each member [arrays of one length]."""

    half_thickness_m: Array
    basic_density_kg_m3: Array
    diffusion_m2_s: Array  # D20: at fibre saturation and 20 °C
    moisture_slope: Array  # b, per kg/kg
    activation_k: Array  # E
    free_water_ratio: Array  # kappa
    film_w_m2k: Array  # h_c
    longwave_w_m2k: Array  # h_r times the view of the surroundings
    isotherm_scale: Array  # 1: the printed isotherm
    air_row: NDArray[np.int64]  # which row of the air drives it

    def as_rows(self) -> Array:
        """Return the float parameters as one [9, members] array, in the order above."""
        return np.ascontiguousarray(
            np.array(
                [
                    self.half_thickness_m,
                    self.basic_density_kg_m3,
                    self.diffusion_m2_s,
                    self.moisture_slope,
                    self.activation_k,
                    self.free_water_ratio,
                    self.film_w_m2k,
                    self.longwave_w_m2k,
                    self.isotherm_scale,
                ],
                dtype=np.float64,
            )
        )


@dataclass(frozen=True)
class AirSteps:
    """The air, step by step: [rows, steps] arrays, and the length of each step."""

    temperature_c: Array
    rh_pct: Array
    dt_s: Array  # [steps]


def node_positions_m(half_thickness_m: float, nodes: int = NODES) -> Array:
    """Distance of each node from mid-thickness [m], closer together towards the face."""
    share = 1.0 - (1.0 - np.arange(nodes) / (nodes - 1)) ** 2
    return np.asarray(half_thickness_m * share)


def cell_shares(nodes: int = NODES) -> Array:
    """Share of the half thickness that each node stands for; sums to 1."""
    x = node_positions_m(1.0, nodes)
    edges = np.concatenate(([0.0], (x[1:] + x[:-1]) / 2.0, [1.0]))
    return np.diff(edges)


def layer_weights(inner: float, outer: float, nodes: int = NODES) -> Array:
    """Weights whose product with a profile is its average between two depths (0 mid-thickness, 1 face)."""
    x = node_positions_m(1.0, nodes)
    edges = np.concatenate(([0.0], (x[1:] + x[:-1]) / 2.0, [1.0]))
    overlap = np.clip(np.minimum(edges[1:], outer) - np.maximum(edges[:-1], inner), 0.0, None)
    return np.asarray(overlap / overlap.sum())


def mean_of(profiles: Array) -> Array:
    """Average over the thickness of profiles [..., nodes]."""
    return np.asarray(profiles @ cell_shares(profiles.shape[-1]))


def shell_of(profiles: Array) -> Array:
    """Average of the outer tenth of the thickness at each face, of profiles [..., nodes]."""
    return np.asarray(profiles @ layer_weights(1.0 - _SHELL_SHARE, 1.0, profiles.shape[-1]))


def core_of(profiles: Array) -> Array:
    """Average of the middle third of the thickness, of profiles [..., nodes]."""
    return np.asarray(profiles @ layer_weights(0.0, _CORE_SHARE, profiles.shape[-1]))


def at_depth(profiles: Array, depth_share: float) -> Array:
    """Moisture content at a depth below the face (0 face, 1 mid-thickness), of profiles [..., nodes]."""
    nodes = profiles.shape[-1]
    x = node_positions_m(1.0, nodes)
    position = 1.0 - min(max(depth_share, 0.0), 1.0)
    upper = int(np.clip(np.searchsorted(x, position), 1, nodes - 1))
    share = (position - x[upper - 1]) / (x[upper] - x[upper - 1])
    return np.asarray((1.0 - share) * profiles[..., upper - 1] + share * profiles[..., upper])


def march(
    start: Array,
    members: Members,
    air: AirSteps,
    record_steps: NDArray[np.int64],
    *,
    hysteresis: bool = True,
    threads: int | None = None,
) -> Array:
    """Carry each member through the air; return profiles [members, recorded steps, nodes] in kg/kg.

    ``start``: profiles [members, nodes] in kg/kg before the first step. ``record_steps``: increasing
    numbers of steps after which the profile is kept (0: the start). A step whose air lies outside 0 to
    45 °C, or is NaN, holds the state. Thin pieces take several sub-steps within a step. Without
    ``hysteresis`` wood gains water along the curve on which it loses it. ``threads``: at most so many at once;
    None: as many as there are processors, for a batch that is worth it. The numbers do not depend on it.
    """
    ratio = sorption.adsorption_ratio() if hysteresis else 1.0
    t = np.ascontiguousarray(air.temperature_c, dtype=np.float64)
    rh = np.ascontiguousarray(air.rh_pct, dtype=np.float64)
    steps = np.asarray(record_steps, dtype=np.int64)
    if np.any(np.diff(steps) < 0) or (len(steps) and (steps[0] < 0 or steps[-1] > t.shape[1])):
        raise ValueError("record_steps must rise within the steps of the air")
    rows, air_row = members.as_rows(), members.air_row.astype(np.int64)
    profiles = np.ascontiguousarray(start, dtype=np.float64)
    dt_s = np.ascontiguousarray(air.dt_s, dtype=np.float64)
    x, share = node_positions_m(1.0, start.shape[1]), cell_shares(start.shape[1])
    coefficients, physical = sorption.coefficients(), _physical()

    def some(first: int, end: int) -> Array:
        part = np.ascontiguousarray(rows[:, first:end])
        held = (t, rh, dt_s, steps, x, share, coefficients, physical, ratio)
        return np.asarray(march_members(profiles[first:end], part, air_row[first:end], *held))

    count = len(profiles)
    parts = min(threads or _threads_for(count * t.shape[1]), max(count, 1))
    if parts == 1:
        return some(0, count)
    ends = np.linspace(0, count, parts + 1).astype(int).tolist()
    with ThreadPoolExecutor(parts) as pool:
        return np.concatenate(list(pool.map(some, ends[:-1], ends[1:])))


def _threads_for(member_steps: int) -> int:
    """How many threads a batch is worth: the compiled loop lets go of the interpreter, starting them costs little."""
    return (os.cpu_count() or 1) if member_steps >= WORTH_THREADS else 1


def _physical() -> Array:
    names = ("gas_constant_vapour", "gas_constant_air", "air_heat", "evaporation_heat", "lewis_factor")
    table = constants("psychrometrics")
    water = [table[f"water_{n}"].value for n in range(1, 7)]
    return np.array([*(table[name].value for name in names), table["pressure_sea_level"].value, *water])
