"""Against scikit-fem, a general-purpose finite-element library: a nonlinear case, in moisture and not in its potential.

Quadratic elements, implicit midpoint rule in half-hour steps, diffusion as exp(b M), and the film's activity by
sorption's array function; surroundings that radiate without end keep the board at the air's temperature.
"""

import film
import numpy as np
import pytest
import skfem
from skfem.helpers import dot, grad

from kiln import diffusion, psychrometrics, sorption
from kiln.march import SATURATION_SCALE

HALF_M, D, DENSITY, SLOPE, FILM, T_C, RH_PCT = 0.0127, 1e-10, 480.0, 5.0, 4.0, 20.0, 45.0
START, DAYS, STEP_S = 0.27, 20, 1800.0
ELEMENTS = 24
DAMPED = 8  # first steps by backward Euler: the midpoint rule would ring from the jump at the face


def film_of(face):
    """Flux off the face [kg/m²s] and its slope with the face's moisture."""
    p_sat = float(psychrometrics.saturation_pressure_pa(T_C))
    mc = 100.0 * (np.clip(face, 0.02, START) + np.array([0.0, 1e-6]))  # a Newton step may aim too far at first
    flux = film.per_pa(FILM, T_C) * p_sat * (sorption.rh_pct_from_emc(T_C, mc) - RH_PCT) / 100.0
    return float(flux[0]), float(flux[1] - flux[0]) / 1e-6


def by_elements():
    """Return places [m from mid-thickness], and profiles at the end of each day [days, places]."""
    share = 1.0 - (1.0 - np.arange(ELEMENTS + 1) / ELEMENTS) ** 1.5
    basis = skfem.Basis(skfem.MeshLine(HALF_M * share), skfem.ElementLineP2(), intorder=6)
    face = int(np.argmax(basis.doflocs[0]))

    @skfem.BilinearForm
    def mass(u, v, _):
        return u * v

    @skfem.BilinearForm
    def stiffness(u, v, w):
        return D * np.exp(SLOPE * (w["now"] - SATURATION_SCALE)) * dot(grad(u), grad(v))

    kept, whole = mass.assemble(basis), np.full(basis.N, START)
    days = []
    for step in range(round(DAYS * 86_400 / STEP_S)):
        half, rate = whole.copy(), 1.0 if step < DAMPED else 2.0
        for _ in range(30):
            flux, slope = film_of(half[face])
            flow = stiffness.assemble(basis, now=basis.interpolate(half))
            matrix = (kept * (rate / STEP_S) + flow).tolil()
            matrix[face, face] += slope / DENSITY
            right = kept @ whole * (rate / STEP_S)
            right[face] += (slope * half[face] - flux) / DENSITY
            new = skfem.solve(matrix.tocsr(), right)
            moved = np.abs(new - half).max()
            half = new
            if moved < 1e-10:
                break
        assert moved < 1e-10
        whole = half if step < DAMPED else 2.0 * half - whole
        if (step + 1) * STEP_S % 86_400 == 0:
            days.append(whole.copy())
    order = np.argsort(basis.doflocs[0])
    return basis.doflocs[0][order], np.array(days)[:, order]


@pytest.mark.parametrize("hours", [1, 3])
def test_every_profile_within_a_tenth_of_a_percent(hours):
    x, theirs = by_elements()
    each = 24 // hours
    one = np.ones((1, DAYS * each))
    values = (HALF_M, DENSITY, D, SLOPE, 0.0, 1.0, FILM, 1e12, 1.0)
    who = diffusion.Members(*(np.array([v]) for v in values), np.zeros(1, np.int64))
    ours = diffusion.march(
        np.full((1, diffusion.NODES), START),
        who,
        diffusion.AirSteps(T_C * one, RH_PCT * one, np.full(DAYS * each, hours * 3600.0)),
        each * np.arange(1, DAYS + 1),
        hysteresis=False,
    )[0]
    at = diffusion.node_positions_m(HALF_M)
    apart = np.abs(ours - np.array([np.interp(at, x, profile) for profile in theirs]))
    print(f"{hours} h steps: at most {100 * apart.max():.4f} %MC apart, at the end {100 * apart[-1].max():.4f}")
    assert 100.0 * theirs[-1].max() < 24.0 and 100.0 * (theirs[-1].max() - theirs[-1].min()) > 3.0  # it tells something
    assert 100.0 * apart.max() < 0.1
