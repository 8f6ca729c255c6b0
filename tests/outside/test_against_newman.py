"""Against Newman's plane sheet with a film: A. B. Newman, Trans. AIChE 27, 1931; Crank, 1975, Equations 4.50 to 4.53.

A board that holds hardly more than its air allows is linear: its film is the isotherm's slope, and its Biot number
is worked out from the film's own published formula. Over three decades of it the whole course is compared, and the
time to the last tenth.
"""

import film
import numpy as np
import pytest
from scipy.optimize import brentq

from kiln import diffusion, psychrometrics, sorption

HALF_M, D, DENSITY = 0.0127, 1e-10, 500.0
T_C, RH_PCT = 20.0, 60.0
ABOVE = 2e-5  # kg/kg over the air's EMC: so little that isotherm and wet bulb are straight lines
STEP_S = 3 * 3600.0


def biot_of(film_w_m2k):
    """Biot number of a film [W/m²K]: the flux for a small excess of moisture over D rho / L."""
    per_pa = film.per_pa(film_w_m2k, T_C)
    p_sat = float(psychrometrics.saturation_pressure_pa(T_C))
    up, down = (float(sorption.rh_pct_from_emc(T_C, emc_pct() + d)) / 100.0 for d in (1e-3, -1e-3))
    slope = (up - down) / 2e-5  # of activity with kg/kg
    warm, cold = (float(psychrometrics.saturation_pressure_pa(T_C + d)) for d in (0.5, -0.5))
    cooled = 1.0 + per_pa * RH_PCT / 100.0 * (warm - cold) * film.evaporation_heat_j_kg() / film_w_m2k
    return per_pa * p_sat * slope / cooled * HALF_M / (DENSITY * D)


def emc_pct():
    return float(sorption.emc_pct(T_C, RH_PCT))


def newman(biot, fourier):
    """Share still to leave: Crank 4.50 with the roots of beta tan beta = Bi."""
    roots = np.array(
        [brentq(lambda b: b * np.tan(b) - biot, n * np.pi + 1e-9, (n + 0.5) * np.pi - 1e-9) for n in range(60)]
    )
    weights = 2.0 * biot**2 / (roots**2 * (roots**2 + biot**2 + biot))
    return np.exp(-np.multiply.outer(fourier, roots**2)) @ weights


def course(film_w_m2k, steps, dt_s=STEP_S, shape=None):
    """Mean excess over the air's EMC, as a share of the first, from a flat profile or one of a given shape [nodes]."""
    one = np.ones((1, steps))
    air = diffusion.AirSteps(T_C * one, RH_PCT * one, np.full(steps, dt_s))
    values = (HALF_M, DENSITY, D, 1e-6, 0.0, 1.0, film_w_m2k, 0.0, 1.0)
    who = diffusion.Members(*(np.array([v]) for v in values), np.zeros(1, np.int64))
    shape = np.ones(diffusion.NODES) if shape is None else shape
    start = emc_pct() / 100.0 + ABOVE * shape[None]
    path = diffusion.march(start, who, air, np.arange(steps + 1), hysteresis=False)[0]
    excess = diffusion.mean_of(path) - emc_pct() / 100.0
    return excess / excess[0]


@pytest.mark.parametrize("biot", [0.1, 1.0, 10.0, 100.0])
def test_the_course_and_the_time_to_a_tenth(biot):
    strength = biot / biot_of(1.0)
    assert biot_of(strength) == pytest.approx(biot)
    end = brentq(lambda fo: newman(biot, np.array([fo]))[0] - 0.05, 1e-3, 100.0)
    steps = int(np.ceil(end * HALF_M**2 / D / STEP_S))
    fourier = D * STEP_S * np.arange(steps + 1) / HALF_M**2
    ours, exact = course(strength, steps), newman(biot, fourier)
    seen = (exact > 0.02) & (exact < 0.98)
    assert np.abs(ours - exact)[seen].max() < 3.2e-3
    tenth = np.interp(-0.1, -ours, fourier)
    exactly = brentq(lambda fo: newman(biot, np.array([fo]))[0] - 0.1, 1e-3, 100.0)
    print(
        f"Bi {biot:g}: course within {np.abs(ours - exact)[seen].max():.1e}, time to a tenth {tenth / exactly - 1:+.2e}"
    )
    assert tenth == pytest.approx(exactly, rel=1e-3)


@pytest.mark.parametrize("biot", [1.0, 10.0])
def test_the_error_in_space_falls_as_the_square_of_the_spacing(biot):
    """The first of Newman's terms by itself: cos(beta x/L) dies away as exp(-beta² Fo) and keeps its shape."""
    beta = brentq(lambda b: b * np.tan(b) - biot, 1e-9, np.pi / 2 - 1e-9)
    steps, dt_s = 1500, 600.0
    errors = []
    for nodes in (6, 11, 21):
        shape = np.cos(beta * diffusion.node_positions_m(1.0, nodes))
        ours = course(biot / biot_of(1.0), steps, dt_s, shape)[-1]
        errors.append(abs(ours - np.exp(-(beta**2) * D * steps * dt_s / HALF_M**2)))
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    print(f"Bi {biot:g}, space: {errors}, orders {orders}")
    assert np.all(orders > 1.9)
