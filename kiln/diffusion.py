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
and on its lower, wetting branch while the air is moister; between the two it exchanges nothing. Of two
faces that cool one board, j on the right is what both give, and drier and moister are meant at the
temperature that both leave it (``kiln.branches``).

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
from kiln.lanes import LANES
from kiln.march import HIGHEST_C, LOWEST_C, march_members
from shared.tables import constants
from shared.units import Array

__all__ = [
    "HIGHEST_C",
    "LOWEST_C",
    "NODES",
    "NODES_WITH_TWO_FACES",
    "AirSteps",
    "Course",
    "Members",
    "at_depth",
    "cell_edges",
    "cell_shares",
    "core_of",
    "layer_weights",
    "march",
    "march_whole",
    "mean_of",
    "node_positions_m",
    "shell_of",
]

NODES, NODES_WITH_TWO_FACES = 21, 41
WORTH_THREADS = 100_000  # steps of members: some hundredths of a second
MOST_TRIED = 2000.0  # sub-steps of a step of the air, before it counts as not found: a hard one takes some hundred
STEEPEST = 60.0  # of moisture_slope: beyond, D spans more decades than any wood's
_SHELL_SHARE, _CORE_SHARE = 0.2, 1.0 / 3.0  # of the half thickness: the outer tenth a face, the middle third


@dataclass(frozen=True)
class Members:
    """Parameters of each member [arrays of one length]; what stands after ``air_row`` may be left out: then there is
    nothing of the kind.
    """

    half_thickness_m: Array  # from the face to where no water passes; with two faces the whole thickness
    basic_density_kg_m3: Array
    diffusion_m2_s: Array  # D20: at fibre saturation and 20 °C
    moisture_slope: Array  # b, per kg/kg
    activation_k: Array  # E
    free_water_ratio: Array  # kappa
    film_w_m2k: Array  # h_c
    longwave_w_m2k: Array  # h_r times the view of the surroundings
    isotherm_scale: Array  # 1: the printed isotherm
    air_row: NDArray[np.int64]  # which row of the air drives it
    coat_pa_m2_s_kg: Array | None = None  # resistance to vapour of what is on the face; inf: none passes
    back_coat_pa_m2_s_kg: Array | None = None  # on the other face, where the grid has two
    wrap_pa_m2_s_kg: Array | None = None  # between the air at the faces and the place's, per m² of face; inf: closed
    renewal_m_s: Array | None = None  # of the place's air that passes the faces, m³ per s and m² of face
    own_air_m: Array | None = None  # air that a wrapped board has to itself, m³ per m² of face
    sun_share: Array | None = None  # of the sun's power that comes to the faces
    width_m: Array | None = None  # between open edges
    length_m: Array | None = None  # between open ends
    along_ratio: Array | None = None  # of diffusion along the grain to that across

    def as_rows(self) -> Array:
        """Return the float parameters as one [parameters, members] array, in the order of ``kiln.lanes``."""
        count = len(self.half_thickness_m)
        given = [getattr(self, name) for name in self.__dataclass_fields__ if name != "air_row"]
        absent = [_ABSENT.get(name, 0.0) for name in self.__dataclass_fields__ if name != "air_row"]
        rows = [np.full(count, nothing) if one is None else one for one, nothing in zip(given, absent, strict=True)]
        return np.ascontiguousarray(np.array(rows, dtype=np.float64))


_ABSENT = {"renewal_m_s": np.inf, "width_m": np.inf, "length_m": np.inf, "along_ratio": 1.0}


@dataclass(frozen=True)
class AirSteps:
    """The air, step by step: [rows, steps] arrays, and the length of each step."""

    temperature_c: Array
    rh_pct: Array
    dt_s: Array  # [steps]
    sun_w_m2: Array | None = None  # taken in per m² of face


@dataclass(frozen=True)
class Course:
    """What a march found."""

    profiles: Array  # through the thickness in the middle of the board [members, recorded steps, nodes; kg/kg]
    # By how much the whole board is drier than the average of its profile [members, recorded steps, 3; kg/kg]: by open
    # edges alone, by open ends alone, and by both.
    short: Array
    # The most sub-steps, found or halved, that one step of the air took of a member [members], unless put together.
    tried: Array | None = None

    def then(self, later: Course) -> Course:
        """Return this course with what came after it."""
        return Course(
            np.concatenate([self.profiles, later.profiles], axis=1), np.concatenate([self.short, later.short], axis=1)
        )

    def at(self, records: NDArray[np.intp]) -> Course:
        """Return some of its recorded moments, by their numbers."""
        return Course(self.profiles[:, records], self.short[:, records])

    def means(self, *, two_faces: bool = False) -> Array:
        """Average over the whole board, edges and ends as well [members, recorded steps; kg/kg]."""
        return np.asarray(mean_of(self.profiles, two_faces=two_faces) - self.short[..., 2])


def node_positions_m(thickness_m: float, nodes: int = NODES, *, two_faces: bool = False) -> Array:
    """Distance of each node [m] from mid-thickness, or with two faces from the marked one; closer together at a face.

    ``thickness_m``: half the thickness, or with two faces all of it; these have an odd number of nodes.
    """
    if not two_faces:
        return np.asarray(thickness_m * (1.0 - (1.0 - np.arange(nodes) / (nodes - 1)) ** 2))
    if nodes % 2 == 0:
        raise ValueError("a grid with two faces has a node in the middle: an odd number of them")
    half = node_positions_m(thickness_m / 2.0, nodes // 2 + 1)
    return np.concatenate([thickness_m / 2.0 - half[:0:-1], thickness_m / 2.0 + half])


def cell_edges(nodes: int = NODES, *, two_faces: bool = False) -> Array:
    """Where the nodes' cells meet, as shares of the half thickness (with two faces: of the whole): 0 to 1."""
    x = node_positions_m(1.0, nodes, two_faces=two_faces)
    return np.concatenate(([0.0], (x[1:] + x[:-1]) / 2.0, [1.0]))


def cell_shares(nodes: int = NODES, *, two_faces: bool = False) -> Array:
    """Share of the half thickness (with two faces: of the whole) that each node stands for; sums to 1."""
    return np.diff(cell_edges(nodes, two_faces=two_faces))


def layer_weights(inner: float, outer: float, nodes: int = NODES, *, two_faces: bool = False) -> Array:
    """Weights whose product with a profile is its average between two depths.

    Depths as shares: 0 mid-thickness, 1 face; with two faces 0 the marked face, 1 the other.
    """
    edges = cell_edges(nodes, two_faces=two_faces)
    overlap = np.clip(np.minimum(edges[1:], outer) - np.maximum(edges[:-1], inner), 0.0, None)
    return np.asarray(overlap / overlap.sum())


def mean_of(profiles: Array, *, two_faces: bool = False) -> Array:
    """Average over the thickness of profiles [..., nodes]."""
    return np.asarray(profiles @ cell_shares(profiles.shape[-1], two_faces=two_faces))


def shell_of(profiles: Array, *, two_faces: bool = False) -> Array:
    """Average of the outer tenth of the thickness at each face, of profiles [..., nodes]."""
    nodes = profiles.shape[-1]
    if not two_faces:
        return np.asarray(profiles @ layer_weights(1.0 - _SHELL_SHARE, 1.0, nodes))
    tenth = _SHELL_SHARE / 2.0
    marked = layer_weights(0.0, tenth, nodes, two_faces=True)
    other = layer_weights(1.0 - tenth, 1.0, nodes, two_faces=True)
    return np.asarray(profiles @ ((marked + other) / 2.0))


def core_of(profiles: Array, *, two_faces: bool = False) -> Array:
    """Average of the middle third of the thickness, of profiles [..., nodes]."""
    nodes = profiles.shape[-1]
    if not two_faces:
        return np.asarray(profiles @ layer_weights(0.0, _CORE_SHARE, nodes))
    return np.asarray(
        profiles @ layer_weights((1.0 - _CORE_SHARE) / 2.0, (1.0 + _CORE_SHARE) / 2.0, nodes, two_faces=True)
    )


def at_depth(profiles: Array, depth_share: float, *, two_faces: bool = False) -> Array:
    """Moisture content at a depth below the (marked) face (0 face, 1 mid-thickness), of profiles [..., nodes]."""
    nodes = profiles.shape[-1]
    x = node_positions_m(1.0, nodes, two_faces=two_faces)
    depth = min(max(depth_share, 0.0), 1.0)
    position = depth / 2.0 if two_faces else 1.0 - depth
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
    two_faces: bool = False,
    threads: int | None = None,
) -> Array:
    """Carry each member through the air as ``march_whole`` does; return its profiles alone."""
    how = {"hysteresis": hysteresis, "two_faces": two_faces, "threads": threads}
    return march_whole(start, members, air, record_steps, **how).profiles  # type: ignore[arg-type]


def march_whole(
    start: Array,
    members: Members,
    air: AirSteps,
    record_steps: NDArray[np.int64],
    *,
    short: Array | None = None,
    hysteresis: bool = True,
    two_faces: bool = False,
    threads: int | None = None,
) -> Course:
    """Carry each member through the air; return its profiles, and by how much open edges and ends leave it drier.

    ``start``: profiles [members, nodes] in kg/kg before the first step: from mid-thickness to the face, or with
    ``two_faces`` from the marked face to the other. ``short``: an earlier course's ``short`` at its end [members, 3],
    for a board that goes on. ``record_steps``: increasing numbers of steps after which the
    profile is kept (0: the start). A step whose air lies outside 0 to 45 °C, or is NaN, or whose sun would make the
    board warmer than that, holds the state. Thin pieces take several sub-steps within a step. Without
    ``hysteresis`` wood gains water along the curve on which it loses it. ``threads``: at most so many at once;
    None: as many as there are processors, for a batch that is worth it. The numbers do not depend on it.
    A member that has not come through a step of the air in ``MOST_TRIED`` sub-steps is NaN from there on.
    """
    t = np.ascontiguousarray(air.temperature_c, dtype=np.float64)
    rh = np.ascontiguousarray(air.rh_pct, dtype=np.float64)
    sun = np.zeros((0, 0)) if air.sun_w_m2 is None else np.ascontiguousarray(air.sun_w_m2, dtype=np.float64)
    steps = np.asarray(record_steps, dtype=np.int64)
    if np.any(np.diff(steps) < 0) or (len(steps) and (steps[0] < 0 or steps[-1] > t.shape[1])):
        raise ValueError("record_steps must rise within the steps of the air")
    if sun.size and sun.shape != t.shape:
        raise ValueError("sun_w_m2 must have the shape of the temperature")
    if np.any(np.abs(members.moisture_slope) > STEEPEST) or np.any(members.moisture_slope == 0.0):
        raise ValueError(f"moisture_slope must not be 0, nor beyond {STEEPEST:g} per kg/kg")
    rows, air_row = members.as_rows(), members.air_row.astype(np.int64)
    profiles = np.ascontiguousarray(start, dtype=np.float64)
    nodes = start.shape[1]
    gaps = np.diff(node_positions_m(1.0, nodes, two_faces=two_faces))
    held = (
        (t, rh, sun),
        np.ascontiguousarray(air.dt_s, dtype=np.float64),
        steps,
        (1.0 / gaps, cell_shares(nodes, two_faces=two_faces)),
        sorption.coefficients(),
        _physical(),
        sorption.adsorption_ratio() if hysteresis else 1.0,
        any(one is not None and bool(np.any(np.isfinite(one))) for one in (members.width_m, members.length_m)),
        two_faces,
        MOST_TRIED,
    )

    before = np.zeros((len(profiles), 2)) if short is None else np.ascontiguousarray(short[:, :2], dtype=np.float64)

    def some(first: int, end: int) -> tuple[Array, Array, Array]:
        part = np.ascontiguousarray(rows[:, first:end])
        found: tuple[Array, Array, Array] = march_members(
            (profiles[first:end], before[first:end]), part, air_row[first:end], *held
        )
        return found

    count = len(profiles)
    parts = min(threads or _threads_for(count * t.shape[1]), max(-(-count // LANES), 1))
    if parts == 1:
        return Course(*some(0, count))
    # Whole blocks of lanes to each thread.
    ends = (np.linspace(0, -(-count // LANES), parts + 1).astype(int) * LANES).clip(0, count).tolist()
    with ThreadPoolExecutor(parts) as pool:
        made = list(pool.map(some, ends[:-1], ends[1:]))
    return Course(*(np.concatenate(parts_of) for parts_of in zip(*made, strict=True)))


def _threads_for(member_steps: int) -> int:
    """How many threads a batch is worth: the compiled loop lets go of the interpreter, starting them costs little."""
    return (os.cpu_count() or 1) if member_steps >= WORTH_THREADS else 1


def _physical() -> Array:
    names = ("gas_constant_vapour", "gas_constant_air", "air_heat", "evaporation_heat", "lewis_factor")
    table = constants("psychrometrics")
    water = [table[f"water_{n}"].value for n in range(1, 7)]
    return np.array([*(table[name].value for name in names), table["pressure_sea_level"].value, *water])
