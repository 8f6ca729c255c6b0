"""What the solver is measured against: the same law on the same cells, solved by others.

Equations as ``kiln.diffusion`` tells them, with one curve for losing and gaining water, written out anew: nothing here
comes from the solver. `right_hand_side` for general-purpose ODE solvers (compiled, or its arithmetic in numpy),
`in_numpy` for all boards at once in plain numpy, `eliminations` for the tridiagonal elimination and nothing else.
The boards and their air are invented.
"""

import functools
from typing import NamedTuple

import numba
import numpy as np
from scipy.integrate import solve_ivp

from kiln import diffusion, sorption
from shared.tables import constants

SATURATION, REFERENCE_K, ZERO_K = 0.288, 293.15, 273.15
DAY_S, STEP_S = 86_400.0, 3 * 3600.0
START = 0.8  # kg/kg
HALF, DENSITY, D20, SLOPE, ACTIVATION, KAPPA, FILM, LONGWAVE = range(8)  # rows of a board's parameters
WEATHER = ((365.25, 7.0, 9.0), (1.0, 3.5, -9.0), (3.1, 0.5, 2.0), (8.7, 1.0, -3.0))  # period [d], °C, %RH
MEAN_T_C, MEAN_RH = 13.5, 66.0

compiled = numba.njit(cache=True, error_model="numpy")


class Law(NamedTuple):
    """Published numbers and the grid, as arrays that compiled code takes."""

    isotherm: np.ndarray  # Wood Handbook Equation 4-5: w0 w1 w2 k0 … k22, 1800
    water: np.ndarray  # saturation pressure, Equation 6 of kiln.psychrometrics
    air: np.ndarray  # gas constants of vapour and air, heats of air and evaporation, Lewis factor, pressure
    x: np.ndarray  # nodes, as shares of the half thickness
    share: np.ndarray  # what each stands for
    weather: np.ndarray


def law(nodes=diffusion.NODES):
    table = {name: one.value for name, one in constants("psychrometrics").items()}
    names = ("gas_constant_vapour", "gas_constant_air", "air_heat", "evaporation_heat", "lewis_factor")
    water = np.array([table[f"water_{n}"] for n in range(1, 7)])
    air = np.array([*(table[name] for name in names), table["pressure_sea_level"]])
    x, share = diffusion.node_positions_m(1.0, nodes), diffusion.cell_shares(nodes)
    return Law(sorption.coefficients(), water, air, x, share, np.array(WEATHER))


def boards(count, seed=1):
    """Parameters [8, count] of invented boards: 16 to 32 mm thick, dense to light, free water slow to fast."""
    draw = np.random.default_rng(seed).uniform
    rows = np.empty((8, count))
    rows[HALF], rows[DENSITY] = draw(0.008, 0.016, count), draw(350.0, 650.0, count)
    rows[D20], rows[SLOPE] = np.exp(draw(np.log(0.5e-10), np.log(2e-10), count)), draw(1.0, 5.0, count)
    rows[ACTIVATION], rows[KAPPA] = 5280.0, np.exp(draw(np.log(0.1), np.log(10.0), count))
    rows[FILM], rows[LONGWAVE] = draw(2.0, 8.0, count), draw(0.0, 5.0, count)
    return rows


def members(rows):
    """The same boards for the solver."""
    names = ("half_thickness_m", "basic_density_kg_m3", "diffusion_m2_s", "moisture_slope", "activation_k")
    names += ("free_water_ratio", "film_w_m2k", "longwave_w_m2k")
    count = rows.shape[1]
    given = dict(zip(names, rows, strict=True))
    return diffusion.Members(**given, isotherm_scale=np.ones(count), air_row=np.zeros(count, np.int64))


def air_steps(steps, step_s=STEP_S, within=30):
    """The weather's mean over each step: temperature [°C] and humidity [%RH], arrays [steps]."""
    at_s = (np.arange(steps)[:, None] + (np.arange(within) + 0.5) / within) * step_s
    t_c, rh = weather_at(at_s, np.array(WEATHER))
    return t_c.mean(axis=1), rh.mean(axis=1)


@compiled
def weather_at(at_s, waves):
    """Temperature [°C] and humidity [%RH] at a time: waves of a year, a day, and of passing weather."""
    t_c, rh = MEAN_T_C + 0.0 * at_s, MEAN_RH + 0.0 * at_s
    for k in range(len(waves)):
        wave = np.cos(2.0 * np.pi * at_s / (waves[k, 0] * DAY_S) + k)
        t_c, rh = t_c + waves[k, 1] * wave, rh + waves[k, 2] * wave
    return t_c, rh


@compiled
def saturation_pa(t_k, c):
    return np.exp(c[0] / t_k + c[1] + t_k * (c[2] + t_k * (c[3] + t_k * c[4])) + c[5] * np.log(t_k))


@compiled
def activity(m, w, k, k1, k2, leading):
    """Humidity (0 to 1) at which the isotherm holds ``m`` [kg/kg]; 1 above saturation. Newton."""
    target, k12 = 100.0 * w / leading * m, k1 * k2
    full = k / (1.0 - k) + (k1 * k + 2.0 * k12 * k * k) / (1.0 + k1 * k + k12 * k * k)
    if target >= full:
        return 1.0
    u = k * min(max(target, 0.0) / full, 0.99)
    for _ in range(30):
        bottom, upper = 1.0 + k1 * u + k12 * u * u, k1 * u + 2.0 * k12 * u * u
        slope = 1.0 / (1.0 - u) ** 2 + ((k1 + 4.0 * k12 * u) * bottom - upper * (k1 + 2.0 * k12 * u)) / bottom**2
        step = (target - u / (1.0 - u) - upper / bottom) / slope
        u = min(max(u + step, 0.0), 0.5 * (u + 1.0))
        if abs(step) < 1e-12:
            break
    return u / k


@compiled
def film(m, t_c, rh, board, isotherm, water, air):
    """Flux off the face [kg/m²s] and the board's temperature [K], at rest with its evaporation."""
    t_k, heat = t_c + ZERO_K, board[FILM] + board[LONGWAVE]
    terms = [isotherm[3 * q] + isotherm[3 * q + 1] * t_c + isotherm[3 * q + 2] * t_c * t_c for q in range(4)]
    a = activity(m, terms[0], terms[1], terms[2], terms[3], isotherm[12])
    p_sat = saturation_pa(t_k, water)
    beta = board[FILM] / (air[5] / (air[1] * t_k) * air[2] * air[4]) / (air[0] * t_k)
    slope = saturation_pa(t_k + 0.5, water) - saturation_pa(t_k - 0.5, water)
    flux, t_board = 0.0, t_k
    for _ in range(4):  # the secant slope of p_sat between board and air
        flux = beta * p_sat * (a - rh / 100.0) / (1.0 + beta * a * slope * air[3] / heat)
        t_board = t_k - air[3] * flux / heat
        if abs(t_k - t_board) > 1e-3:
            slope = (p_sat - saturation_pa(t_board, water)) / (t_k - t_board)
    return flux, t_board


@compiled
def right_hand_side(at_s, m, board, isotherm, water, air, x, share, waves):
    """dM/dt [1/s] of each node."""
    n, half, b = m.size, board[HALF], board[SLOPE]
    t_c, rh = weather_at(at_s, waves)
    flux, t_board = film(m[n - 1], t_c, rh, board, isotherm, water, air)
    d_f = board[D20] * np.exp(-board[ACTIVATION] * (1.0 / t_board - 1.0 / REFERENCE_K))
    out = np.empty(n)
    before, came = 0.0, 0.0
    for j in range(n):
        z = m[j] - SATURATION
        phi = (np.exp(b * z) - 1.0) / b if z < 0.0 else board[KAPPA] * z
        if j > 0:
            gone = d_f * (phi - before) / (half * half * (x[j] - x[j - 1]))
            out[j - 1] = (gone - came) / share[j - 1]
            came = gone
        before = phi
    out[n - 1] = (-flux / (board[DENSITY] * half) - came) / share[n - 1]
    return out


def right_hand_side_numpy(at_s, m, board, isotherm, water, air, x, share, waves):
    """The same in numpy; weather and film stay compiled, which is kind to it."""
    half, b = board[HALF], board[SLOPE]
    flux, t_board = film(m[-1], *weather_at(at_s, waves), board, isotherm, water, air)
    d_f = board[D20] * np.exp(-board[ACTIVATION] * (1.0 / t_board - 1.0 / REFERENCE_K))
    z = m - SATURATION
    phi = np.where(z < 0.0, np.expm1(b * np.minimum(z, 0.0)) / b, board[KAPPA] * z)
    gone = d_f * np.diff(phi) / (half * half * np.diff(x))
    return (np.append(gone, -flux / (board[DENSITY] * half)) - np.append(0.0, gone)) / share


def by_lsoda(rows, times_s, tolerance):
    """Profiles [boards, times, nodes] by LSODA with the compiled right-hand side, banded, all in compiled code."""
    return _compiled_lsoda()(rows, times_s, tolerance, START, *law())


@functools.cache
def _compiled_lsoda():
    """A compiled loop over boards around LSODA of ODEPACK, as the package scijit calls it."""
    from scijit.integrate import odeint  # installed for the benchmarks alone

    @numba.njit(error_model="numpy")
    def run(rows, times_s, tolerance, start, isotherm, water, air, x, share, waves):
        out = np.empty((rows.shape[1], times_s.size, x.size))
        for i in range(rows.shape[1]):
            held = (rows[:, i].copy(), isotherm, water, air, x, share, waves)
            flat = np.full(x.size, start)
            out[i] = odeint(right_hand_side, flat, times_s, args=held, ml=1, mu=1, rtol=tolerance, atol=tolerance,
                            mxstep=10_000_000, tfirst=True)  # fmt: skip
        return out

    return run


def by_lsoda_python(board, times_s, tolerance):
    """Profiles [times, nodes] of one board [8] by the same LSODA, called for a right-hand side in numpy."""
    held, end = law(), (times_s[0], times_s[-1])
    start = np.full(held.x.size, START)
    made = solve_ivp(right_hand_side_numpy, end, start, "LSODA", times_s, rtol=tolerance, atol=tolerance, lband=1,
                     uband=1, args=(board, *held))  # fmt: skip
    assert made.success, made.message
    return made.y.T


# --- all boards at once in numpy --------------------------------------------------------------------


def in_numpy(rows, t_c, rh, step_s=STEP_S, start=START):
    """Profiles [nodes, boards] after the steps: implicit, two Newton iterations, each over all boards at once.

    Backward Euler and no more: with two iterations and no care for those that have not met, BDF2 does not hold.
    """
    held, b, kappa = law(), rows[SLOPE], rows[KAPPA]
    in_phi = bool(np.all(kappa < 1.0))  # boards of either form apart: see kiln.diffusion
    assert in_phi or np.all(kappa >= 1.0), "boards with slow and with fast free water go in batches of their own"
    old = np.full((held.x.size, rows.shape[1]), start)
    t_board, u = np.full(rows.shape[1], t_c[0] + ZERO_K), np.full(rows.shape[1], 0.5)
    for step in range(len(t_c)):
        air = _numpy_air(held, rows, t_c[step], rh[step], t_board)
        d_f = rows[D20] * np.exp(-rows[ACTIVATION] * (1.0 / t_board - 1.0 / REFERENCE_K))
        g = d_f * step_s / rows[HALF] ** 2 / np.diff(held.x)[:, None]
        per_face = step_s / (rows[DENSITY] * rows[HALF])
        y = _to_phi(old, b, kappa) if in_phi else old
        for _ in range(2):
            m, phi, dm, dphi = _numpy_state(y, b, kappa, in_phi)
            flux, slope, u = _numpy_film(m[-1], u, *air)
            y = y + _numpy_newton(held.share, g, per_face, old, m, phi, dm, dphi, flux, slope)
        old = np.clip(_numpy_state(y, b, kappa, in_phi)[0], 0.01, START)
        t_board = t_c[step] + ZERO_K - held.air[3] * flux / (rows[FILM] + rows[LONGWAVE])
    return old


def _to_phi(m, b, kappa):
    z = m - SATURATION
    return np.where(z < 0.0, np.expm1(b * np.minimum(z, 0.0)) / b, kappa * z)


def _numpy_state(y, b, kappa, in_phi):
    """M, Phi and their slopes with the iterated variable, which is Phi or M."""
    if in_phi:
        inner = np.maximum(1.0 + b * np.minimum(y, 0.0), 1e-3)
        wet = y >= 0.0
        m = SATURATION + np.where(wet, y / kappa, np.log(inner) / b)
        return m, y, np.where(wet, 1.0 / kappa, 1.0 / inner), np.ones_like(y)
    z = y - SATURATION
    inner = np.exp(b * np.minimum(z, 0.0))
    wet = z >= 0.0
    return y, np.where(wet, kappa * z, (inner - 1.0) / b), np.ones_like(y), np.where(wet, kappa, inner)


def _numpy_air(held, rows, t_c, rh, t_board):
    """What the film needs of the air and of the board's last temperature."""
    t_k, heat = t_c + ZERO_K, rows[FILM] + rows[LONGWAVE]
    terms = [held.isotherm[3 * q : 3 * q + 3] @ np.array([1.0, t_c, t_c * t_c]) for q in range(4)]
    p_sat = saturation_pa(t_k, held.water)
    c, t = held.water, t_board
    p_board = np.exp(c[0] / t + c[1] + t * (c[2] + t * (c[3] + t * c[4])) + c[5] * np.log(t))
    tangent = saturation_pa(t_k + 0.5, held.water) - saturation_pa(t_k - 0.5, held.water)
    apart = t_k - t_board
    slope = np.where(np.abs(apart) > 0.05, (p_sat - p_board) / np.where(apart == 0.0, 1.0, apart), tangent)
    beta = rows[FILM] / (held.air[5] / (held.air[1] * t_k) * held.air[2] * held.air[4]) / (held.air[0] * t_k)
    return terms, held.isotherm[12], beta, p_sat, rh / 100.0, beta * slope * held.air[3] / heat


def _numpy_film(m, u, terms, leading, beta, p_sat, humidity, cooling):
    """Flux off the faces, its slope, and the isotherm's inner variable, from which the next search begins."""
    w, k, k1, k2 = terms
    per, k12 = 100.0 * w / leading, k1 * k2
    full = k / (1.0 - k) + (k1 * k + 2.0 * k12 * k * k) / (1.0 + k1 * k + k12 * k * k)
    target = np.clip(per * m, 1e-6, full)
    for _ in range(3):
        bottom, upper = 1.0 + u * (k1 + k12 * u), u * (k1 + 2.0 * k12 * u)
        slope = 1.0 / (1.0 - u) ** 2 + ((k1 + 4.0 * k12 * u) * bottom - upper * (k1 + 2.0 * k12 * u)) / bottom**2
        u = np.clip(u + (target - u / (1.0 - u) - upper / bottom) / slope, 1e-9, 0.5 * (u + 1.0))
    wet = per * m >= full
    a, da = np.where(wet, 1.0, u / k), np.where(wet, 0.0, per / (slope * k))
    drop = 1.0 + a * cooling
    flux = beta * p_sat * (a - humidity) / drop
    return flux, beta * p_sat * da * (drop - (a - humidity) * cooling) / drop**2, u


def _gained(g, phi, off_face):
    """What each node's cell gains in the step, as a share of the half thickness."""
    through = np.concatenate((g * np.diff(phi, axis=0), -off_face[None]))
    through[1:] -= through[:-1].copy()
    return through


def _numpy_newton(share, g, per_face, old, m, phi, dm, dphi, flux, slope):
    """One Newton step: the elimination goes node by node, each for all boards."""
    right = _gained(g, phi, per_face * flux) - share[:, None] * (m - old)
    diagonal = share[:, None] * dm
    diagonal[:-1] += g * dphi[:-1]
    diagonal[1:] += g * dphi[1:]
    diagonal[-1] += per_face * slope * dm[-1]
    lower, upper = -g * dphi[:-1], -g * dphi[1:]
    for j in range(1, len(right)):
        factor = lower[j - 1] / diagonal[j - 1]
        diagonal[j] -= factor * upper[j - 1]
        right[j] -= factor * right[j - 1]
    right[-1] /= diagonal[-1]
    for j in range(len(right) - 2, -1, -1):
        right[j] = (right[j] - upper[j] * right[j + 1]) / diagonal[j]
    return right


# --- the elimination alone --------------------------------------------------------------------------


@numba.njit(cache=True, error_model="numpy", fastmath=False)
def eliminations(lower, diagonal, upper, right, held, times):
    """Solve [nodes, lanes] tridiagonal systems ``times`` over, each answer the next one's right-hand side.

    ``held`` is room of the same shape. Everything stays in the nearest cache; lanes go side by side.
    """
    nodes, lanes = right.shape
    for _ in range(times):
        for i in range(lanes):
            held[0, i] = 1.0 / diagonal[0, i]
        for j in range(1, nodes):
            for i in range(lanes):
                factor = lower[j, i] * held[j - 1, i]
                held[j, i] = 1.0 / (diagonal[j, i] - factor * upper[j - 1, i])
                right[j, i] -= factor * right[j - 1, i]
        for i in range(lanes):
            right[nodes - 1, i] *= held[nodes - 1, i]
        for j in range(nodes - 2, -1, -1):
            for i in range(lanes):
                right[j, i] = (right[j, i] - upper[j, i] * right[j + 1, i]) * held[j, i]
