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

Implicit finite volumes with a half cell at the face, backward Euler, Newton. The iteration runs in Phi
where free water is slow (kappa < 1) and in M where it is fast: in that variable the kink at fibre
saturation is convex, and the other one stalls or blows up while it conserves mass to the last digit.

One compiled loop over members, each a board with its own parameters; no Python inside. Members do not
touch each other, so a member's numbers do not depend on which others are in the batch.
"""

from __future__ import annotations

from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import NDArray

from kiln import sorption
from shared.tables import constants
from shared.units import ZERO_CELSIUS_K, Array

NODES = 21
REFERENCE_K = 293.15
SATURATION_SCALE = 0.288  # the printed isotherm at 100 %RH and 21 °C, as a fraction: where bound water is full
LOWEST_C, HIGHEST_C = 0.0, 45.0  # outside, the state is held: neither frost nor kiln heat is modelled
_TOLERANCE = 1e-7  # kg/kg, on the last Newton step, which leaves about its square behind
_MAX_ITERATIONS = 60
_MAX_HALVINGS = 10
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
            np.array([
                self.half_thickness_m, self.basic_density_kg_m3, self.diffusion_m2_s, self.moisture_slope,
                self.activation_k, self.free_water_ratio, self.film_w_m2k, self.longwave_w_m2k, self.isotherm_scale,
            ], dtype=np.float64)
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
    start: Array, members: Members, air: AirSteps, record_steps: NDArray[np.int64], *, hysteresis: bool = True
) -> Array:
    """Carry each member through the air; return profiles [members, recorded steps, nodes] in kg/kg.

    ``start``: profiles [members, nodes] in kg/kg before the first step. ``record_steps``: increasing
    numbers of steps after which the profile is kept (0: the start). A step whose air lies outside 0 to
    45 °C, or is NaN, holds the state. Thin pieces take several sub-steps within a step. Without
    ``hysteresis`` wood gains water along the curve on which it loses it.
    """
    ratio = sorption.adsorption_ratio() if hysteresis else 1.0
    t = np.ascontiguousarray(air.temperature_c, dtype=np.float64)
    rh = np.ascontiguousarray(air.rh_pct, dtype=np.float64)
    steps = np.asarray(record_steps, dtype=np.int64)
    if np.any(np.diff(steps) < 0) or (len(steps) and (steps[0] < 0 or steps[-1] > t.shape[1])):
        raise ValueError("record_steps must rise within the steps of the air")
    return np.asarray(
        _march(
            np.ascontiguousarray(start, dtype=np.float64), members.as_rows(), members.air_row.astype(np.int64), t, rh,
            np.ascontiguousarray(air.dt_s, dtype=np.float64), steps, node_positions_m(1.0, start.shape[1]),
            cell_shares(start.shape[1]), sorption.coefficients(), _physical(), ratio,
        )
    )


def _physical() -> Array:
    names = ("gas_constant_vapour", "gas_constant_air", "air_heat", "evaporation_heat", "lewis_factor")
    table = constants("psychrometrics")
    water = [table[f"water_{n}"].value for n in range(1, 7)]
    return np.array([*(table[name].value for name in names), table["pressure_sea_level"].value, *water])


_compiled = numba.njit(cache=True, error_model="numpy", nogil=True)


@_compiled
def _p_sat(t_k: float, c: Array) -> float:
    """Equation 6 of kiln.psychrometrics, inside the compiled loop."""
    return np.exp(c[6] / t_k + c[7] + c[8] * t_k + c[9] * t_k**2 + c[10] * t_k**3 + c[11] * np.log(t_k))


@_compiled
def _activity(m: float, w: float, k: float, k1: float, k2: float, leading: float) -> tuple[float, float]:
    """Activity at which the isotherm holds ``m`` [kg/kg] and its slope da/dm; (1, 0) above saturation."""
    per = 100.0 * w / leading  # kg/kg to the isotherm's own measure
    target = m * per
    k12 = k1 * k2
    top = k
    full = top / (1.0 - top) + (k1 * top + 2.0 * k12 * top * top) / (1.0 + k1 * top + k12 * top * top)
    if target >= full:
        return 1.0, 0.0
    if target <= 0.0:
        return 0.0, per / (k * (1.0 + k1))
    low, high = 0.0, top
    u = top * target / full
    slope = 1.0
    for _ in range(60):
        bottom = 1.0 + k1 * u + k12 * u * u
        upper = k1 * u + 2.0 * k12 * u * u
        value = u / (1.0 - u) + upper / bottom
        slope = 1.0 / (1.0 - u) ** 2 + ((k1 + 4.0 * k12 * u) * bottom - upper * (k1 + 2.0 * k12 * u)) / (bottom * bottom)
        if value > target:
            high = u
        else:
            low = u
        step = (target - value) / slope
        new = u + step
        if new <= low or new >= high:
            new = 0.5 * (low + high)
        if abs(new - u) < 1e-13:
            u = new
            break
        u = new
    return u / k, per / (slope * k)


@_compiled
def _film(m: float, surface: Array) -> tuple[float, float]:
    """Flux off the face [kg/m²s] and its slope with the face's moisture content."""
    p_air, p_board, beta, cooling, slope_p, scale, ratio, w, k, k1, k2, leading = surface
    a, da = _activity(m / scale, w, k, k1, k2, leading)
    da = da / scale
    if a * p_board <= p_air:  # not drying: perhaps gaining, along the lower branch
        a, da = _activity(m / (scale * ratio), w, k, k1, k2, leading)
        da = da / (scale * ratio)
        if a * p_board >= p_air:
            return 0.0, 0.0
    drop = 1.0 + a * slope_p * cooling
    excess = a * p_board - p_air
    flux = beta * excess / drop
    return flux, beta * da * (p_board * drop - excess * slope_p * cooling) / (drop * drop)


@_compiled
def _state_of(y, b, kappa, m_f, in_phi, m, phi, dm, dphi):  # type: ignore[no-untyped-def]
    """Fill M, Phi and their slopes with the iterated variable, which is Phi or M."""
    for j in range(y.size):
        if in_phi:
            phi[j] = y[j]
            dphi[j] = 1.0
            if y[j] < 0.0:
                d = 1.0 + b * y[j]
                m[j] = m_f + np.log(d) / b
                dm[j] = 1.0 / d
            else:
                m[j] = m_f + y[j] / kappa
                dm[j] = 1.0 / kappa
        else:
            m[j] = y[j]
            dm[j] = 1.0
            z = y[j] - m_f
            if z < 0.0:
                d = np.exp(b * z)
                phi[j] = (d - 1.0) / b
                dphi[j] = d
            else:
                phi[j] = kappa * z
                dphi[j] = kappa


@_compiled
def _solve(lower, diagonal, upper, right):  # type: ignore[no-untyped-def]
    """Tridiagonal elimination; the answer stands in ``right``."""
    n = right.size
    for j in range(1, n):
        factor = lower[j] / diagonal[j - 1]
        diagonal[j] -= factor * upper[j - 1]
        right[j] -= factor * right[j - 1]
    right[n - 1] /= diagonal[n - 1]
    for back in range(1, n):
        j = n - 1 - back
        right[j] = (right[j] - upper[j] * right[j + 1]) / diagonal[j]


@_compiled
def _implicit_step(old, work, g, share, per_face, b, kappa, m_f, surface):  # type: ignore[no-untyped-def]
    """One backward-Euler step from ``old``; the new profile stands in work[0]. Return (converged, flux).

    Newton, halving a step that makes the balance worse; nothing may fall below no water at all.
    """
    m, y, phi, dm, dphi, lower, diagonal, upper, right, held = work
    n = old.size
    in_phi = kappa < 1.0
    least = (np.exp(-b * m_f) - 1.0) / b if in_phi else 0.0
    for j in range(n):
        z = old[j] - m_f
        if in_phi:
            y[j] = (np.exp(b * z) - 1.0) / b if z < 0.0 else kappa * z
        else:
            y[j] = old[j]
    flux, worst, halvings = 0.0, np.inf, 0
    converged = False
    for _ in range(_MAX_ITERATIONS):
        _state_of(y, b, kappa, m_f, in_phi, m, phi, dm, dphi)
        flux, dflux = _film(m[n - 1], surface)
        off = 0.0
        for j in range(n):
            inward = g[j - 1] * (phi[j] - phi[j - 1]) if j > 0 else 0.0
            outward = g[j] * (phi[j + 1] - phi[j]) if j < n - 1 else -per_face * flux
            right[j] = -(share[j] * (m[j] - old[j]) + inward - outward)
            off += abs(right[j])
        if off > worst and halvings < _MAX_HALVINGS:
            halvings += 1
            for j in range(n):
                y[j] = 0.5 * (y[j] + held[j])
            continue
        worst, halvings = off, 0
        for j in range(n):
            held[j] = y[j]
            lower[j] = -g[j - 1] * dphi[j - 1] if j > 0 else 0.0
            upper[j] = -g[j] * dphi[j + 1] if j < n - 1 else 0.0
            around = (g[j - 1] if j > 0 else 0.0) + (g[j] if j < n - 1 else 0.0)
            diagonal[j] = share[j] * dm[j] + around * dphi[j]
        diagonal[n - 1] += per_face * dflux * dm[n - 1]
        _solve(lower, diagonal, upper, right)
        largest = 0.0
        for j in range(n):
            largest = max(largest, abs(right[j]) * dm[j])
            new = y[j] + right[j]
            y[j] = new if new >= least else 0.5 * (y[j] + least)
        if largest < _TOLERANCE:
            converged = True
            break
    # The new state from the fluxes, so that what leaves a cell enters the next to the last digit.
    _state_of(y, b, kappa, m_f, in_phi, m, phi, dm, dphi)
    flux, dflux = _film(m[n - 1], surface)
    for j in range(n):
        inward = g[j - 1] * (phi[j] - phi[j - 1]) if j > 0 else 0.0
        outward = g[j] * (phi[j + 1] - phi[j]) if j < n - 1 else -per_face * flux
        m[j] = old[j] + (outward - inward) / share[j]
    return converged, flux


@_compiled
def _march(start, rows, air_row, t_air, rh_air, dt_s, record, x_unit, share, hh, physical, ratio):  # type: ignore[no-untyped-def]
    members, n = start.shape
    out = np.empty((members, record.size, n))
    work = np.empty((10, n))
    old, g, surface = np.empty(n), np.empty(n - 1), np.empty(12)
    for i in range(members):
        half, density, d20, b, activation, kappa, h_c, h_r, scale = rows[:, i]
        m_f = SATURATION_SCALE * scale
        old[:] = start[i]
        t_board, next_record, row = -1.0, 0, air_row[i]
        while next_record < record.size and record[next_record] == 0:
            out[i, next_record] = old
            next_record += 1
        for step in range(dt_s.size):
            t_c, rh = t_air[row, step], rh_air[row, step]
            if t_c >= LOWEST_C and t_c <= HIGHEST_C and rh >= 0.0:
                t_k = t_c + ZERO_CELSIUS_K
                t_board = t_k if t_board < 0.0 else t_board
                p_sat = _p_sat(t_k, physical)
                h_m = h_c / (physical[5] / (physical[1] * t_k) * physical[2] * physical[4])
                beta = h_m / (physical[0] * t_k)
                surface[0], surface[1], surface[2] = p_sat * min(rh, 100.0) / 100.0, p_sat, beta
                surface[3], surface[5], surface[6] = beta * physical[3] / (h_c + h_r), scale, ratio
                for q in range(4):  # W, K, K1 and K2 of the isotherm at this temperature
                    surface[7 + q] = hh[3 * q] + hh[3 * q + 1] * t_c + hh[3 * q + 2] * t_c * t_c
                surface[11] = hh[12]
                d_f = d20 * np.exp(-activation * (1.0 / t_board - 1.0 / REFERENCE_K))
                tau_s = 4.0 * half * half / (np.pi * np.pi * d_f)
                dt = dt_s[step] / min(12.0, max(1.0, np.ceil(dt_s[step] / (0.2 * tau_s))))
                left_s, shortest_s = dt_s[step], dt_s[step] / 4096.0
                while left_s > 1e-6 * dt_s[step]:
                    dt = min(dt, left_s)
                    if abs(t_k - t_board) > 0.05:
                        surface[4] = (p_sat - _p_sat(t_board, physical)) / (t_k - t_board)
                    else:
                        surface[4] = _p_sat(t_k + 0.5, physical) - _p_sat(t_k - 0.5, physical)
                    d_f = d20 * np.exp(-activation * (1.0 / t_board - 1.0 / REFERENCE_K))
                    for j in range(n - 1):
                        g[j] = d_f * dt / (half * half * (x_unit[j + 1] - x_unit[j]))
                    converged, flux = _implicit_step(old, work, g, share, dt / (density * half), b, kappa, m_f, surface)
                    if not converged and dt > shortest_s:
                        dt *= 0.5
                        continue
                    for j in range(n):
                        old[j] = work[0, j] if converged else np.nan  # never a number that was not found
                    left_s -= dt
                    # The board's temperature for the next step, from what it gave off in this one.
                    t_board = min(max(t_k - physical[3] * flux / (h_c + h_r), t_k - 25.0), t_k + 10.0)
            while next_record < record.size and record[next_record] == step + 1:
                out[i, next_record] = old
                next_record += 1
    return out
