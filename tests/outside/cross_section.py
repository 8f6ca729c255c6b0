"""A board's section in two dimensions, by a general-purpose finite-element library (scikit-fem): an outside reference.

The solver's law, on a quarter of the section, thickness (x) by width or length (y), both counted from the middle:

    dM/dt = D20 (d²Phi/dx² + ratio d²Phi/dy²),   Phi(M) the flux potential of ``kiln.diffusion``,
    -rho_b D20 dPhi/dn = beta (a(M) p_sat - p_a) at an open side,   0 at a sealed one and in the middle.

Air and board stay at one temperature of 20 °C: no cooling. Bilinear elements, with the moisture content at their
corners and each corner's own share of the section (a lumped mass), finer towards the open sides. In time the two-stage
rule of Alexander (1977, SIAM J. Numer. Anal. 14, 1006; from memory), which is of second order and damps jumps, with
Newton in each stage; the steps grow with time. ``test_cross_section.py`` holds it to the exact solution of a linear
case and shows its own error by halving mesh and steps.
"""

from dataclasses import dataclass
from typing import NamedTuple

import film
import numpy as np
import skfem
from scipy.interpolate import CubicSpline
from scipy.sparse import diags_array
from scipy.sparse.linalg import splu
from skfem.helpers import grad

from kiln import psychrometrics, sorption
from kiln.march import SATURATION_SCALE

T_C = 20.0  # at which D20 stands as given
STAGE = 1.0 - np.sqrt(0.5)  # Alexander's rule: gamma
FINER = 2.0  # nodes crowd towards an open side as the square of their count
DRIEST = 0.005  # kg/kg: a Newton step may aim too far at first
CLOSE = 1e-9  # kg/kg


@dataclass(frozen=True)
class Section:
    """A board and its air. ``span_m``: whole width or length; ``ratio``: diffusion along it over that through."""

    thickness_m: float
    span_m: float
    density_kg_m3: float
    diffusion_m2_s: float
    slope: float  # b, per kg/kg
    free_water_ratio: float  # kappa
    film_w_m2k: float
    rh_pct: float
    ratio: float = 1.0
    faces_open: bool = True
    edges_open: bool = True


class Course(NamedTuple):
    """Moisture contents [kg/kg], one for each time: over the whole section, and over the thickness at mid-span."""

    mean: np.ndarray
    middle: np.ndarray


class _Parts(NamedTuple):
    """What the mesh gives: share of the section and film surface of each corner, matrix of flow, mid-span's corners."""

    share: np.ndarray
    film_m: np.ndarray
    flow: object
    at_middle: np.ndarray
    middle_share: np.ndarray


def potential(board, m):
    """Phi and its slope dPhi/dM at moisture contents [kg/kg] of any shape."""
    z = m - SATURATION_SCALE
    over = np.expm1(board.slope * np.minimum(z, 0.0))
    phi = np.where(z < 0.0, over / board.slope, board.free_water_ratio * z)
    return phi, np.where(z < 0.0, over + 1.0, board.free_water_ratio)


def film_of(board, m, rh_pct):
    """Flux off a surface [kg/m²s] and its slope, at moisture contents [kg/kg] of any shape; one curve both ways."""
    p_sat = float(psychrometrics.saturation_pressure_pa(T_C))
    wet = np.maximum(m, DRIEST)
    activity = sorption.rh_pct_from_emc(T_C, 100.0 * np.stack([wet, wet + 1e-6])) / 100.0
    flux = film.per_pa(board.film_w_m2k, T_C) * p_sat * (activity - rh_pct / 100.0)
    slope = (flux[1] - flux[0]) / 1e-6
    return flux[0] + slope * (m - wet), slope


def _positions(half_m, cells, is_open):
    return half_m * (1.0 - (1.0 - np.arange(cells + 1) / cells) ** (FINER if is_open else 1.0))


def _mesh(board, cells):
    x = _positions(board.thickness_m / 2.0, cells[0], board.faces_open)
    y = _positions(board.span_m / 2.0, cells[1], board.edges_open)
    return skfem.MeshQuad.init_tensor(x, y)


def _parts(board, cells):
    @skfem.BilinearForm
    def flow(u, v, _):
        across, along = grad(u), grad(v)
        return board.diffusion_m2_s * (across[0] * along[0] + board.ratio * across[1] * along[1])

    @skfem.LinearForm
    def one(v, _):
        return v

    mesh, element = _mesh(board, cells), skfem.ElementQuad1()
    basis = skfem.Basis(mesh, element)
    surface = np.zeros(basis.N)
    sides = ((board.faces_open, 0, board.thickness_m), (board.edges_open, 1, board.span_m))
    for is_open, axis, whole_m in sides:
        if is_open:
            side = mesh.facets_satisfying(lambda p, a=axis, w=whole_m: np.isclose(p[a], w / 2.0))
            surface += one.assemble(skfem.FacetBasis(mesh, element, facets=side))
    middle = mesh.facets_satisfying(lambda p: np.isclose(p[1], 0.0))
    weights = one.assemble(skfem.FacetBasis(mesh, element, facets=middle))
    kept = np.flatnonzero(weights)
    return _Parts(one.assemble(basis), surface, flow.assemble(basis), kept, weights[kept] / weights.sum())


def _stage(board, parts, before, dt_s, guess, rh_pct):
    """One implicit stage: m with share (m - before) + dt (flow Phi(m) + film(m)) = 0, by Newton in Phi or in M."""
    m, outer = guess.copy(), parts.film_m > 0.0
    per_m = parts.film_m[outer] / board.density_kg_m3
    for _ in range(60):
        phi, d = potential(board, m)
        flux, slope = film_of(board, m[outer], rh_pct)
        off = parts.share * (m - before) + dt_s * (parts.flow @ phi)
        off[outer] += dt_s * per_m * flux
        storage = parts.share.copy()
        storage[outer] += dt_s * per_m * slope
        # the unknown is the change of Phi: its matrix is symmetric, and one solve serves both variables
        step = splu((dt_s * parts.flow + diags_array(storage / d)).tocsc(), permc_spec="MMD_AT_PLUS_A").solve(-off)
        new = _onward(board, m, phi, d, step)
        moved = np.abs(new - m).max()
        m = new
        if moved < CLOSE:
            return m
    raise AssertionError(f"Newton did not converge in a step of {dt_s} s")


def _onward(board, m, phi, d, step):
    """The state after a Newton step in Phi, carried as M where free water is fast: the kink is convex in that one."""
    if board.free_water_ratio >= 1.0:
        return np.maximum(m + step / d, DRIEST)
    new = phi + step
    least = np.expm1(board.slope * (DRIEST - SATURATION_SCALE)) / board.slope
    bound = np.log1p(board.slope * np.clip(new, least, 0.0)) / board.slope
    return SATURATION_SCALE + np.where(new < 0.0, bound, new / board.free_water_ratio)


def dry(board, start, times_s, cells=(16, 32), steps=100, rh_at=None):
    """Return the Course of a section that begins at ``start`` [kg/kg] everywhere, at rising ``times_s`` [s].

    ``cells``: through half the thickness and along half the span; ``steps``: to the last time, growing.
    ``rh_at``: the air's humidity [%RH] at a time [s]; None: the board's own throughout.
    """
    parts = _parts(board, cells)
    grid = times_s[-1] * (np.arange(steps + 1) / steps) ** 2
    m, kept = np.full(parts.share.size, start), []
    kept.append(m)
    rh_at = rh_at or (lambda _: board.rh_pct)
    for at_s, dt_s in zip(grid[:-1], np.diff(grid), strict=True):
        first = _stage(board, parts, m, STAGE * dt_s, m, rh_at(at_s + STAGE * dt_s))
        moved = (first - m) / STAGE  # dt × the rate of the first stage
        m = _stage(board, parts, m + (1.0 - STAGE) * moved, STAGE * dt_s, first, rh_at(at_s + dt_s))
        kept.append(m)
    path = np.array(kept)
    mean = path @ parts.share / parts.share.sum()
    middle = path[:, parts.at_middle] @ parts.middle_share
    root = np.sqrt(grid)
    return Course(*(_between(root, np.sqrt(times_s), one) for one in (mean, middle)))


def _between(root, wanted, values):
    """Values at times between steps: over the root of time a drying curve is smooth."""
    return CubicSpline(root, values)(wanted)
