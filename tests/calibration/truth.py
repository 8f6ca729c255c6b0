"""What really happens to a synthetic board: its section in two dimensions, through thickness (x) and width (y).

It shares no code with the solver under test and differs from it in structure. State: moisture content M [kg/kg] on a
quarter of the section, both counted from the middle, with

    dM/dt = d/dx (D dM/dx) + d/dy (ratio D dM/dy) - k_end (M - M_rest),   D = D_f exp(-E (1/T - 1/293.15)) d(M)
    M <  M_f:  d = d_0 + (1 - d_0) (M / M_f)²
    M >= M_f:  d = 1 + (r - 1) (2 s)^p for r >= 1, else r^min(1, (2 s)^p), with s = (M - M_f) / (M_max - M_f)

so that r is the mobility at half saturation. At a surface j = beta (a p_sat(T_b) - p_a), with the board's temperature
T_b where heat given and heat taken are even. The activity a follows Hailwood and Horrobin's isotherm with a factor
between that of wetting and that of drying wood (1); the factor moves as M does, from one to the other within a play of
some percent of M. The ends are a first-order sink. Numbers: finite volumes, one direction after the other, backward
Euler with D of the step's beginning, short steps; each row meets its film exactly. Water is kept to rounding.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

NX, NY, STEPS_AN_HOUR = 12, 12, 1
_COARSE = 160  # points of the inverse isotherm in a temperature's row
_T_LEAST, _T_STEP, _T_ROWS = -20.0, 2.5, 29
_RHO_CP_LE, _R_V, _L_V = 1.2 * 1006.0 * 0.9, 461.5, 2.4535e6
_HOUR_S = 3600.0


class TrueWood(NamedTuple):
    """The parameters of one board's truth."""

    thickness_m: float
    width_m: float
    length_m: float
    density_kg_m3: float
    start: float  # kg/kg, mean
    wet_core: float  # 0: alike through the section
    d_fsp_m2_s: float
    d_dry: float  # d_0
    free_ratio: float  # r
    free_power: float  # p
    width_ratio: float  # diffusion along the width to that through the thickness
    along_ratio: float  # and along the grain
    activation_k: float
    film_w_m2k: float
    edge_film_ratio: float
    longwave_w_m2k: float
    isotherm_scale: float
    wetting_ratio: float
    play: float  # share of M
    fsp: float  # kg/kg
    most: float  # kg/kg


class TrueCourse(NamedTuple):
    """One board, at the end of each day (0: the start): mean of the whole and at a quarter of the thickness [%MC]."""

    mean_pct: np.ndarray
    quarter_pct: np.ndarray
    left_kg_m: float  # water that has left a quarter of the section, per metre of length
    line_pct: np.ndarray | None = None  # through its half thickness at mid-width, middle first [days, nodes; %MC]
    end: tuple | None = None  # its state at the end: M, and the branches of face and edge


def hailwood_horrobin(t_c, rh):
    """EMC [kg/kg] at ``rh`` 0 to 1. Wood Handbook FPL-GTR-282, 2021, Equation 4-5 (°C form)."""
    w = 349.0 + 1.29 * t_c + 0.0135 * t_c**2
    k = 0.805 + 0.000736 * t_c - 0.00000273 * t_c**2
    k1 = 6.27 - 0.00938 * t_c - 0.000303 * t_c**2
    k2 = 1.91 + 0.0407 * t_c - 0.000293 * t_c**2
    u = k * rh
    return 18.0 / w * (u / (1.0 - u) + (k1 * u + 2.0 * k1 * k2 * u * u) / (1.0 + k1 * u + k1 * k2 * u * u))


def _inverse_rows():
    """Activity at even shares of the EMC at saturation, a row for each temperature; and those EMCs [kg/kg]."""
    fine = np.linspace(0.0, 1.0, 4001)
    rows, full = np.empty((_T_ROWS, _COARSE)), np.empty(_T_ROWS)
    for i in range(_T_ROWS):
        emc = hailwood_horrobin(_T_LEAST + i * _T_STEP, fine)
        full[i] = emc[-1]
        rows[i] = np.interp(np.linspace(0.0, full[i], _COARSE), emc, fine)
    return rows, full


_ROWS, _FULL = _inverse_rows()


def positions_m(half_m, nodes, power):
    """Nodes from the middle to the surface, closer together there [m]."""
    return half_m * (1.0 - (1.0 - np.linspace(0.0, 1.0, nodes)) ** power)


def _cells(x):
    edges = np.concatenate([x[:1], (x[1:] + x[:-1]) / 2.0, x[-1:]])
    return np.diff(edges)


@njit(cache=True)
def _p_sat(t_c):
    """Magnus form [Pa] (WMO, CIMO guide)."""
    return 611.2 * np.exp(17.62 * t_c / (243.12 + t_c))


@njit(cache=True)
def _row_at(t_c, rows, full, row):
    at = min(max((t_c - _T_LEAST) / _T_STEP, 0.0), _T_ROWS - 1.001)
    i = int(at)
    share = at - i
    for n in range(_COARSE):
        row[n] = (1.0 - share) * rows[i, n] + share * rows[i + 1, n]
    return (1.0 - share) * full[i] + share * full[i + 1]


@njit(cache=True)
def _activity(m, old, factor, wetting, play, per, row):
    """Activity of a surface that has come from ``old`` to ``m``, and its branch's factor there."""
    now = factor
    if play > 0.0:
        now = min(max(factor - (1.0 - wetting) * (m - old) / (play * old), wetting), 1.0)
    at = m / now * per * (_COARSE - 1)
    if at >= _COARSE - 1:
        return 1.0, now
    if at <= 0.0:
        return 0.0, now
    i = int(at)
    return row[i] + (at - i) * (row[i + 1] - row[i]), now


@njit(cache=True)
def _meet(pivot, wanted, c, p, p_air, old, factor, wetting, play, per, row, most):
    """The M at which pivot M + c (a(M) p - p_air) = wanted: Newton within a bracket; both sides rise with M."""
    low, high = 0.0, most
    m = old
    for _ in range(60):
        a, _f = _activity(m, old, factor, wetting, play, per, row)
        off = pivot * m + c * (a * p - p_air) - wanted
        if off > 0.0:
            high = m
        else:
            low = m
        h = 1e-6 if m < 1e-3 else -1e-6
        a2, _f = _activity(m + h, old, factor, wetting, play, per, row)
        new = m - off / (pivot + c * p * (a2 - a) / h)
        if not (low <= new <= high):
            new = 0.5 * (low + high)
        if abs(new - m) < 1e-10:
            return new
        m = new
    return m


@njit(cache=True)
def _ease(m, w, out):
    """d(M) for all nodes; ``w``: d_0, r, p, M_f, M_max."""
    for i in range(m.shape[0]):
        for j in range(m.shape[1]):
            x = m[i, j]
            if x < w[3]:
                share = max(x, 0.0) / w[3]
                out[i, j] = w[0] + (1.0 - w[0]) * share * share
                continue
            s = 2.0 * min((x - w[3]) / (w[4] - w[3]), 1.0)
            power = s ** w[2] if s > 0.0 else 0.0
            out[i, j] = 1.0 + (w[1] - 1.0) * power if w[1] >= 1.0 else w[1] ** min(power, 1.0)


@njit(cache=True)
def _sweep(m, d, gap, cell, dt, scale, c, p, p_air, factor, branch, row, most, upper, right):
    """One direction, one line: backward Euler along it; returns what left by its surface, as M times its cells."""
    n = m.shape[0]
    wetting, play, per = branch
    pivot, rhs = cell[0], cell[0] * m[0]
    for i in range(n - 1):
        g = dt * scale * 0.5 * (d[i] + d[i + 1]) / gap[i]
        upper[i] = g / (pivot + g)
        right[i] = rhs / (pivot + g)
        # eliminate node i from node i + 1
        rhs = cell[i + 1] * m[i + 1] + g * right[i]
        pivot = cell[i + 1] + g * (1.0 - upper[i])
    new = rhs / pivot  # where nothing passes the surface
    if c > 0.0:
        new = _meet(pivot, rhs, c, p, p_air, m[n - 1], factor, wetting, play, per, row, most)
    left = rhs - pivot * new
    m[n - 1] = new
    for i in range(n - 2, -1, -1):
        m[i] = right[i] + upper[i] * m[i + 1]
    return left


@njit(cache=True)
def _board_temperature(t_air, start_c, film, edge, longwave, sums, half, p_air, per_k):
    """Where heat taken is heat of evaporation; ``sums``: activity over faces and over edges; ``half``: their sizes."""
    heat = film * (half[0] + edge * half[1]) + longwave * (half[0] + half[1])
    vapour = _L_V * per_k * film
    takes = half[0] + edge * half[1]
    gives = sums[0] + edge * sums[1]
    t = start_c
    for _ in range(4):
        p = _p_sat(t)
        slope = p * 17.62 * 243.12 / (243.12 + t) ** 2
        off = heat * (t - t_air) + vapour * (gives * p - takes * p_air)
        t -= off / (heat + vapour * gives * slope)
    return min(max(t, -20.0), 45.0)


@njit(cache=True)
def _through(m, d, gap, cell_x, cell_y, dt, warm, film, air, face, branch, row, wood):
    """Every line through the thickness, to the face; return what left [kg/m]."""
    nx, ny = m.shape
    line, line_d, upper, right = np.empty(nx), np.empty(nx), np.empty(nx), np.empty(nx)
    left, most = 0.0, 2.0 * wood.most
    for j in range(ny):
        for i in range(nx):
            line[i], line_d[i] = m[i, j], d[i, j]
        lost = _sweep(
            line, line_d, gap, cell_x, dt, warm, film, air[0], air[1], face[j], branch, row, most, upper, right
        )
        left += cell_y[j] * lost
        for i in range(nx):
            m[i, j] = line[i]
    return left * wood.density_kg_m3


@njit(cache=True)
def _along(m, d, gap, cell_x, cell_y, dt, warm, film, air, edge, branch, row, wood):
    """Every line along the width, to the edge; return what left [kg/m]."""
    nx, ny = m.shape
    upper, right = np.empty(ny), np.empty(ny)
    left, most = 0.0, 2.0 * wood.most
    for i in range(nx):
        lost = _sweep(m[i], d[i], gap, cell_y, dt, warm, film, air[0], air[1], edge[i], branch, row, most, upper, right)
        left += cell_x[i] * lost
    return left * wood.density_kg_m3


@njit(cache=True)
def _by_ends(m, gone, rest, cell_x, cell_y, density):
    left = 0.0
    for i in range(m.shape[0]):
        for j in range(m.shape[1]):
            off = gone * (m[i, j] - rest)
            m[i, j] -= off
            left += off * cell_x[i] * cell_y[j]
    return left * density


@njit(cache=True)
def _remember(now, before, factor, activity, branch, row):
    """Put each node of a surface on its branch where it has come to."""
    for i in range(len(now)):
        activity[i], factor[i] = _activity(now[i], before[i], factor[i], branch[0], branch[1], branch[2], row)


@njit(cache=True)
def _follow(m, face, edge, x, y, cell_x, cell_y, air_t, air_rh, film_more, rest, wood, sink, tables, steps, weights):
    nx, ny = m.shape
    days = len(air_t) // 24
    means, quarters, lines = np.empty(days + 1), np.empty(days + 1), np.empty((days + 1, nx))
    gap_x, gap_y = np.diff(x), np.diff(y)
    a_face, a_edge = np.ones(ny), np.ones(nx)
    row, d = np.empty(_COARSE), np.empty((nx, ny))
    face_before, edge_before = np.empty(ny), np.empty(nx)
    ease = (wood.d_dry, wood.free_ratio, wood.free_power, wood.fsp, wood.most)
    half, size, t_b, left = (y[-1], x[-1]), x[-1] * y[-1], air_t[0], 0.0
    dt = _HOUR_S / steps
    for hour in range(days * 24 + 1):
        if hour % 24 == 0:
            means[hour // 24] = np.sum(m * cell_x.reshape(-1, 1) * cell_y.reshape(1, -1)) / size
            quarters[hour // 24] = np.sum(weights * m[:, 0])
            lines[hour // 24] = m[:, 0]
        if hour == days * 24:
            break
        t, film = air_t[hour], wood.film_w_m2k * film_more[hour]
        p_air, per_k = air_rh[hour] * _p_sat(t), 1.0 / (_RHO_CP_LE * _R_V * (t + 273.15))
        c = dt * film * per_k / wood.density_kg_m3
        for _ in range(steps):
            sums = (np.sum(a_face * cell_y), np.sum(a_edge * cell_x))
            t_b = _board_temperature(t, t_b, film, wood.edge_film_ratio, wood.longwave_w_m2k, sums, half, p_air, per_k)
            air = (_p_sat(t_b), p_air)
            full = _row_at(t_b, tables[0], tables[1], row)
            branch = (wood.wetting_ratio, wood.play, 1.0 / (wood.isotherm_scale * full))
            warm = wood.d_fsp_m2_s * np.exp(-wood.activation_k * (1.0 / (t_b + 273.15) - 1.0 / 293.15))
            face_before[:], edge_before[:] = m[nx - 1], m[:, ny - 1]
            _ease(m, ease, d)
            left += _through(m, d, gap_x, cell_x, cell_y, dt, warm, c, air, face, branch, row, wood)
            _ease(m, ease, d)
            at_edge, wide = c * wood.edge_film_ratio, warm * wood.width_ratio
            left += _along(m, d, gap_y, cell_x, cell_y, dt, wide, at_edge, air, edge, branch, row, wood)
            gone = 1.0 - np.exp(-sink * warm * dt)
            left += _by_ends(m, gone, rest[hour], cell_x, cell_y, wood.density_kg_m3)
            _remember(m[nx - 1], face_before, face, a_face, branch, row)
            _remember(m[:, ny - 1], edge_before, edge, a_edge, branch, row)
    return means, quarters, lines, left


def dry(wood: TrueWood, t_c, rh, film_more, nodes=(NX, NY), steps_an_hour=STEPS_AN_HOUR, begin=None) -> TrueCourse:
    """Return what becomes of a board in hourly air [whole days of hours]: ``rh`` 0 to 1, ``film_more`` times its film.

    ``nodes``: through half the thickness and along half the width. ``begin``: the end of another course, of the same
    sizes, from which it goes on; None: a start of its own.
    """
    x = positions_m(wood.thickness_m / 2.0, nodes[0], 1.6)
    y = positions_m(wood.width_m / 2.0, nodes[1], 2.0)
    cell_x, cell_y = _cells(x), _cells(y)
    fresh = start_profile(wood, x, cell_x, len(y)), np.ones(nodes[1]), np.ones(nodes[0])
    m, face, edge = (one.copy() for one in begin or fresh)
    # at 1/4 of the thickness, half way between middle and face
    upper = int(np.searchsorted(x, wood.thickness_m / 4.0))
    weights = np.zeros(nodes[0])
    weights[upper] = (wood.thickness_m / 4.0 - x[upper - 1]) / (x[upper] - x[upper - 1])
    weights[upper - 1] = 1.0 - weights[upper]
    sink = wood.along_ratio * np.pi**2 / wood.length_m**2  # pi² / (4 l²) of half a length
    floats = TrueWood(*map(float, wood))
    rest = wood.isotherm_scale * hailwood_horrobin(np.maximum(t_c, -5.0), rh)
    kept = (len(t_c) // 24) * 24
    means, quarters, lines, left = _follow(
        m, face, edge, x, y, cell_x, cell_y, np.asarray(t_c[:kept], float), np.asarray(rh[:kept], float),
        np.asarray(film_more[:kept], float), rest, floats, sink, (_ROWS, _FULL), steps_an_hour, weights,
    )  # fmt: skip
    return TrueCourse(100.0 * means, 100.0 * quarters, left, 100.0 * lines, (m, face, edge))


def start_profile(wood: TrueWood, x, cell_x, ny):
    """M at the start [nodes through the half thickness, along the half width]: the shell drier than the core."""
    shape = np.cos(np.pi / 2.0 * x / x[-1])
    shape = 1.0 + wood.wet_core * (shape - np.average(shape, weights=cell_x))
    line = np.minimum(wood.start * shape, 0.995 * wood.most)
    line *= wood.start / np.average(line, weights=cell_x)
    return np.repeat(line[:, None], ny, axis=1)
