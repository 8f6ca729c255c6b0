"""The compiled loop of the solver: equations and numerics are told in ``kiln.diffusion``."""

from __future__ import annotations

import numba
import numpy as np

from shared.units import ZERO_CELSIUS_K, Array

REFERENCE_K = 293.15
SATURATION_SCALE = 0.288  # the printed isotherm at 100 %RH and 21 °C, as a fraction: where bound water is full
LOWEST_C, HIGHEST_C = 0.0, 45.0  # outside, the state is held: neither frost nor kiln heat is modelled
_TOLERANCE = 1e-7  # kg/kg, on the last Newton step, which leaves about its square behind
_EXTREME = 1e-5  # kg/kg, by which a step of second order may err
_FIRST_OF_USUAL = 16.0  # the first step is of first order and meets a face that is not yet in its air: it is short
_MAX_ITERATIONS = 60
_MAX_HALVINGS = 10
_SHORTEST = 2.0**22  # of a step: a whole plate that passes saturation at once needs it, for a moment
_STEP_OF_TAU = 0.2  # of the slowest mode's time: thin pieces take several sub-steps within a step
_MAX_PARTS = 12.0

_compiled = numba.njit(cache=True, error_model="numpy", nogil=True)


@_compiled
def _p_sat(t_k: float, c: Array):  # type: ignore[no-untyped-def]
    """Equation 6 of kiln.psychrometrics, inside the compiled loop."""
    return np.exp(c[0] / t_k + c[1] + c[2] * t_k + c[3] * t_k**2 + c[4] * t_k**3 + c[5] * np.log(t_k))


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
        slope = 1.0 / (1.0 - u) ** 2 + ((k1 + 4.0 * k12 * u) * bottom - upper * (k1 + 2.0 * k12 * u)) / (
            bottom * bottom
        )
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
def _implicit_step(old, history, lead, work, g, share, per_face, b, kappa, m_f, surface):  # type: ignore[no-untyped-def]
    """One implicit step from ``old``; the new profile stands in work[0]. Return (converged, flux, flux before).

    lead × M - history stands for the change of M in the step: 1 and ``old`` are backward Euler, what
    ``_second_order`` gives is BDF2. Newton, halving a step that makes the balance worse; nothing may fall below no
    water at all.
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
    before = _film(old[n - 1], surface)[0]
    for _ in range(_MAX_ITERATIONS):
        _state_of(y, b, kappa, m_f, in_phi, m, phi, dm, dphi)
        flux, dflux = _film(m[n - 1], surface)
        off = 0.0
        for j in range(n):
            inward = g[j - 1] * (phi[j] - phi[j - 1]) if j > 0 else 0.0
            outward = g[j] * (phi[j + 1] - phi[j]) if j < n - 1 else -per_face * flux
            right[j] = -(share[j] * (lead * m[j] - history[j]) + inward - outward)
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
            diagonal[j] = lead * share[j] * dm[j] + around * dphi[j]
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
        m[j] = (history[j] + (outward - inward) / share[j]) / lead
    return converged, flux, before


@_compiled
def _second_order(old, older, growth, history):  # type: ignore[no-untyped-def]
    """Fill the history of BDF2 with steps that grow by ``growth``; return its leading coefficient."""
    behind = growth * growth / (1.0 + growth)
    for j in range(old.size):
        history[j] = (1.0 + growth) * old[j] - behind * older[j]
    return (1.0 + 2.0 * growth) / (1.0 + growth)


@_compiled
def _sound(old, new, before, flux):  # type: ignore[no-untyped-def]
    """Whether a step of second order kept to what diffusion does: no new extreme inside, no swing past the air."""
    n = old.size
    if before * flux < 0.0 and abs(new[n - 1] - old[n - 1]) > _EXTREME:
        return False
    low, high = new[n - 1], new[n - 1]
    for j in range(n):
        low, high = min(low, old[j]), max(high, old[j])
    apart = 0.0
    for j in range(n - 1):
        apart = max(apart, low - new[j], new[j] - high)
    return apart <= _EXTREME


@_compiled
def march_members(start, rows, air_row, t_air, rh_air, dt_s, record, x_unit, share, hh, physical, ratio):  # type: ignore[no-untyped-def]
    """Carry members through the air; see ``kiln.diffusion.march``, which puts the arrays together."""
    members, n = start.shape
    r_vapour, r_air, air_heat, latent, lewis, pressure = physical[:6]
    water = physical[6:]
    out = np.empty((members, record.size, n))
    work = np.empty((10, n))
    old, older, history = np.empty(n), np.empty(n), np.empty(n)
    g, surface = np.empty(n - 1), np.empty(12)
    for i in range(members):
        half, density, d20, b, activation, kappa, h_c, h_r, scale = rows[:, i]
        m_f = SATURATION_SCALE * scale
        old[:] = start[i]
        t_board, next_record, row = -1.0, 0, air_row[i]
        last_dt = 0.0  # nought: no step before this one that could be built on
        while next_record < record.size and record[next_record] == 0:
            out[i, next_record] = old
            next_record += 1
        for step in range(dt_s.size):
            t_c, rh = t_air[row, step], rh_air[row, step]
            if t_c >= LOWEST_C and t_c <= HIGHEST_C and rh >= 0.0:
                t_k = t_c + ZERO_CELSIUS_K
                t_board = t_k if t_board < 0.0 else t_board
                p_sat = _p_sat(t_k, water)
                h_m = h_c / (pressure / (r_air * t_k) * air_heat * lewis)
                beta = h_m / (r_vapour * t_k)
                surface[0], surface[1], surface[2] = p_sat * min(max(rh, 1.0), 100.0) / 100.0, p_sat, beta
                surface[3], surface[5], surface[6] = beta * latent / (h_c + h_r), scale, ratio
                for q in range(4):  # W, K, K1 and K2 of the isotherm at this temperature
                    surface[7 + q] = hh[3 * q] + hh[3 * q + 1] * t_c + hh[3 * q + 2] * t_c * t_c
                surface[11] = hh[12]
                d_f = d20 * np.exp(-activation * (1.0 / t_board - 1.0 / REFERENCE_K))
                tau_s = 4.0 * half * half / (np.pi * np.pi * d_f)
                dt = dt_s[step] / min(_MAX_PARTS, max(1.0, np.ceil(dt_s[step] / (_STEP_OF_TAU * tau_s))))
                usual, left_s, shortest_s = dt, dt_s[step], dt_s[step] / _SHORTEST
                if last_dt == 0.0:
                    dt = usual / _FIRST_OF_USUAL
                while left_s > 1e-6 * dt_s[step]:
                    dt = min(dt, left_s)
                    if abs(t_k - t_board) > 0.05:
                        surface[4] = (p_sat - _p_sat(t_board, water)) / (t_k - t_board)
                    else:
                        surface[4] = _p_sat(t_k + 0.5, water) - _p_sat(t_k - 0.5, water)
                    d_f = d20 * np.exp(-activation * (1.0 / t_board - 1.0 / REFERENCE_K))
                    for j in range(n - 1):
                        g[j] = d_f * dt / (half * half * (x_unit[j + 1] - x_unit[j]))
                    per_face = dt / (density * half)
                    converged, flux = False, 0.0
                    if last_dt > 0.0:
                        lead = _second_order(old, older, dt / last_dt, history)
                        converged, flux, before = _implicit_step(
                            old, history, lead, work, g, share, per_face, b, kappa, m_f, surface
                        )
                        converged = converged and _sound(old, work[0], before, flux)
                    if not converged:
                        converged, flux, before = _implicit_step(
                            old, old, 1.0, work, g, share, per_face, b, kappa, m_f, surface
                        )
                    if not converged and dt > shortest_s:
                        dt *= 0.5
                        continue
                    for j in range(n):
                        older[j] = old[j]
                        old[j] = work[0, j] if converged else np.nan  # never a number that was not found
                    last_dt = dt
                    left_s -= dt
                    dt = min(2.0 * dt, usual)  # what made it hard has passed, perhaps
                    # The board's temperature for the next step, from what it gave off in this one.
                    t_board = min(max(t_k - latent * flux / (h_c + h_r), t_k - 25.0), t_k + 10.0)
            else:
                last_dt = 0.0
            while next_record < record.size and record[next_record] == step + 1:
                out[i, next_record] = old
                next_record += 1
    return out
