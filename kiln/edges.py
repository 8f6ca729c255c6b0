"""What a board loses by its open edges and ends, beside its faces; compiled, rows and fields as told in ``kiln.lanes``.

A board is followed through its thickness where nothing of its edges is felt, in the middle of its width and length.
The whole board is drier than that by a shortfall B [kg/kg] of its own for each direction, and it is the whole that a
scale weighs:

    whole = mean through the thickness - B
    dB/dt = S - f (delta / total) j / (rho L) - (B - 0.9 dM) pi² D_f / T², the last only where B has more than 0.9 dM
    S = (2 / W) (D / total) (mean of Phi - Phi_air)

Along the span W (width or length, D that of its direction) a border of depth delta has dried, behind a film:

    F = B / dM, dM = M - M_air;  f = F / R,  R = 2 (integral of Phi dM - Phi_air dM) / (dM dPhi): 1 for a constant D
    g = pi W f / 4;  R2 = D rho (min(Phi, 0) - Phi_air) / j_s (wetting: R1);  R1 = D rho dPhi / j_s
    delta = (g + sqrt(g² + 4 g R2)) / 2, total = delta + R2; while the border is so wet that the film takes all it
    can, delta = sqrt(g R1), total = R1

with j_s the flux that the film takes at the mean's moisture content. The faces dry the border too: hence the second
term of dB/dt. Of a narrow board the middle is felt by its edges: from pi delta / W = 0.4 on a growing part of S is
taken from every layer instead. The closure is ours, fitted to nothing: beside finite elements in two dimensions it
errs by some tenths of a %MC (tests/outside/test_against_cross_section.py), where leaving edges out errs by whole ones.
"""

from __future__ import annotations

import numpy as np

from kiln import lanes as ln
from kiln.activity import bracketed, towards
from kiln.lanes import LANES, NODE, compiled, exp_less_one, greater, lesser

_MOST_DRIED = 0.9  # of a span, for which the border's law is asked
_AT_REST = 1e-5  # kg/kg from rest: no edge is asked any more
_FELT_FROM = 0.4  # of pi delta / W
_ACTIVITY_STEPS, _SURE = 3, 1e-6
_LEAST_R, _MOST_R = 0.2, 5.0  # of the weighting by D


@compiled
def _border(short, span, d, density, apart, drop, weighting, flux, bound_drop):  # type: ignore[no-untyped-def]
    """Return what leaves by one pair of edges per potential [1/s], how much of the faces' loss its border has, and
    the part of it that the middle of the board feels.
    """
    dried = lesser(greater(short / apart, 0.0), _MOST_DRIED)
    f = dried / weighting
    wet_film = d * density * drop / flux
    film = d * density * bound_drop / flux
    g = 0.25 * np.pi * span * f
    delta = 0.5 * (g + np.sqrt(g * g + 4.0 * g * film))
    total = delta + film
    all_wet = total < wet_film
    delta, total = (np.sqrt(g * wet_film) if all_wet else delta), (wet_film if all_wet else total)
    felt = lesser(greater((np.pi * delta / span - _FELT_FROM) / (1.0 - _FELT_FROM), 0.0), 1.0)
    open_ = span < np.inf and film > 0.0 and wet_film > 0.0
    leaves = 2.0 / span * d / total
    part = lesser(f * delta / total, 1.0)
    inside = felt * felt / (1.0 - dried)
    return (leaves if open_ else 0.0), (part if open_ else 0.0), inside


@compiled
def _too_short(short, apart):  # type: ignore[no-untyped-def]
    """What of a shortfall is more than the air can account for, of either sign [kg/kg]."""
    most = _MOST_DRIED * apart
    return short - lesser(greater(short, lesser(most, 0.0)), greater(most, 0.0))


@compiled
def _means(n, nodes, h, share):  # type: ignore[no-untyped-def]
    """Fill the means of M and of Phi through the thickness."""
    for i in range(LANES):
        h[ln.MEAN + i], h[ln.MEAN_PHI + i] = 0.0, 0.0
    for j in range(n):
        at, weight = j * NODE, share[j]
        for i in range(LANES):
            m, b, per_b, free = nodes[at + ln.OLD + i], h[ln.SLOPE_B + i], h[ln.PER_B + i], h[ln.KAPPA + i]
            z = m - h[ln.SATURATION + i]
            bound, above = exp_less_one(b * lesser(z, 0.0)) * per_b, free * z
            h[ln.MEAN + i] += weight * m
            h[ln.MEAN_PHI + i] += weight * (bound if z < 0.0 else above)


@compiled
def _potential(z, b, per_b, kappa):  # type: ignore[no-untyped-def]
    """Phi, and its integral over M from saturation on, at M - M_f [kg/kg]."""
    below = lesser(z, 0.0)
    less = exp_less_one(b * below) * per_b
    return (less if z < 0.0 else kappa * z), (less - below) * per_b + 0.5 * kappa * greater(z, 0.0) * greater(z, 0.0)


@compiled
def _activities(h):  # type: ignore[no-untyped-def]
    """Fill the activity of wood at the mean's moisture content, on the branch that it is on."""
    lost = 0
    for i in range(LANES):
        measure, k = h[ln.MEAN + i] * h[ln.PER + i], h[ln.K + i]
        gaining = measure * h[ln.PER_RATIO + i]
        measure = lesser(measure if measure > h[ln.AT_REST + i] else gaining, h[ln.FULL + i])
        before, skip = h[ln.EDGE_U + i], h[ln.SKIP + i] > 0.0
        u, step = before, 0.0
        for _ in range(_ACTIVITY_STEPS):
            step, _slope = towards(u, measure, h[ln.K1 + i], h[ln.K12 + i])
            u = lesser(greater(u + step, 0.0), k)
        h[ln.EDGE_MEASURE + i], h[ln.UNSURE + i] = measure, 0.0 if skip else abs(step)
        h[ln.EDGE_U + i] = before if skip else u
        lost += 1 if not skip and not abs(step) < _SURE else 0
    if lost > 0:
        for i in range(LANES):
            if not h[ln.UNSURE + i] < _SURE:
                h[ln.EDGE_U + i] = bracketed(h[ln.EDGE_MEASURE + i], h[ln.K + i], h[ln.K1 + i], h[ln.K12 + i])


@compiled
def edges_of_step(n, nodes, h, share, two):  # type: ignore[no-untyped-def]
    """Fill what edges and ends do in a step of DT: to the layers, and to the shortfall of the whole board."""
    _means(n, nodes, h, share)
    _activities(h)
    for i in range(LANES):
        b, per_b, saturation, kappa = h[ln.SLOPE_B + i], h[ln.PER_B + i], h[ln.SATURATION + i], h[ln.KAPPA + i]
        dt, thickness = h[ln.DT + i], h[ln.LENGTH + i] * (1.0 if two else 2.0)
        d_f = h[ln.FLOW + i] * h[ln.LENGTH + i] * h[ln.LENGTH + i] / dt
        mean, m_dry = h[ln.MEAN + i], h[ln.AT_REST + i] / h[ln.PER + i]
        m_gain = m_dry / h[ln.PER_RATIO + i]
        dries = mean > m_dry
        m_air = m_dry if dries else m_gain
        phi, integral = _potential(mean - saturation, b, per_b, kappa)
        phi_air, integral_air = _potential(m_air - saturation, b, per_b, kappa)
        phi_dry, _one = _potential(m_dry - saturation, b, per_b, kappa)
        phi_gain, _two = _potential(m_gain - saturation, b, per_b, kappa)
        apart, drop = mean - m_air, phi - phi_air
        a = h[ln.EDGE_U + i] * h[ln.PER_K + i]
        p_board = h[ln.P_SUNNY + i] - h[ln.P_SLOPE + i] * h[ln.COLDER + i]
        flux = (a * p_board - h[ln.FACE_AIR + i]) / (1.0 / h[ln.BETA + i] + 1.0 / h[ln.AROUND + i])
        exchanges = (dries or mean < m_gain) and abs(apart) > _AT_REST and flux * apart > 0.0
        apart_, drop_, flux_ = (apart if exchanges else 1.0), (drop if exchanges else 1.0), (flux if exchanges else 1.0)
        weighting = 2.0 * (integral - integral_air - phi_air * apart) / (apart_ * drop_)
        weighting = lesser(greater(weighting, _LEAST_R), _MOST_R)
        bound_drop = lesser(phi, 0.0) - phi_air if drop > 0.0 else drop
        wide, long = h[ln.SHORT_WIDE + i], h[ln.SHORT_LONG + i]
        board = (h[ln.DENSITY + i], apart_, drop_, weighting, flux_, bound_drop)
        wide_leaves, wide_part, wide_inside = _border(wide, h[ln.WIDTH + i], d_f, *board)
        along = d_f * h[ln.ALONG_RATIO + i]
        long_leaves, long_part, long_inside = _border(long, h[ln.ALONG + i], along, *board)
        dt_ = dt if exchanges else 0.0
        above = h[ln.MEAN_PHI + i] - phi_air
        h[ln.EDGE + i] = dt_ * (wide_leaves * wide_inside + long_leaves * long_inside)
        h[ln.EDGE_DRIES + i], h[ln.EDGE_GAINS + i] = phi_dry, phi_gain
        settles = lesser(dt * np.pi * np.pi * d_f / (thickness * thickness), 1.0)
        h[ln.WIDE_GROWS + i] = dt_ * wide_leaves * (1.0 - wide_inside) * above - settles * _too_short(wide, apart)
        h[ln.LONG_GROWS + i] = dt_ * long_leaves * (1.0 - long_inside) * above - settles * _too_short(long, apart)
        h[ln.WIDE_PART + i] = wide_part if exchanges else 0.0
        h[ln.LONG_PART + i] = long_part if exchanges else 0.0
        h[ln.APART + i] = apart


@compiled
def take_edges(h, two):  # type: ignore[no-untyped-def]
    """Carry the shortfalls over a step that was found and not skipped."""
    for i in range(LANES):
        off = h[ln.FRONT_LEFT + i] + (h[ln.BACK_LEFT + i] if two else 0.0)
        by_faces = h[ln.PER_FACE + i] * off
        wide, long = h[ln.SHORT_WIDE + i], h[ln.SHORT_LONG + i]
        new_wide = wide + h[ln.WIDE_GROWS + i] - h[ln.WIDE_PART + i] * by_faces
        new_long = long + h[ln.LONG_GROWS + i] - h[ln.LONG_PART + i] * by_faces
        skip = h[ln.SKIP + i] > 0.0  # a lane that is skipped may have any numbers there
        h[ln.SHORT_WIDE + i], h[ln.SHORT_LONG + i] = (wide if skip else new_wide), (long if skip else new_long)


@compiled
def shortfall(h, i):  # type: ignore[no-untyped-def]
    """By how much the whole board is drier than its middle [kg/kg]: where both borders meet, water left only once."""
    wide, long, apart = h[ln.SHORT_WIDE + i], h[ln.SHORT_LONG + i], h[ln.APART + i]
    both = wide * long / apart if abs(apart) > _AT_REST else 0.0
    same_way = wide * apart > 0.0 and long * apart > 0.0 and abs(both) < min(abs(wide), abs(long))
    return wide + long - (both if same_way else 0.0)
