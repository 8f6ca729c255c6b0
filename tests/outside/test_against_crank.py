"""Against Crank, The Mathematics of Diffusion, 2nd edition, 1975: the plane sheet with constant D.

Section 4.3.2, Equation 4.18 (constant surface concentration), and section 4.3.6, Equations 4.50 to 4.53
(surface evaporation, here through the film's own linear limit).
"""

import numpy as np
import pytest

from kiln import diffusion, sorption

HALF_M, D = 0.0127, 1e-10
START, AIR_C, AIR_RH = 0.22, 20.0, 50.0


def members(film, count=1):
    def every(value):
        return np.full(count, float(value))

    return diffusion.Members(
        half_thickness_m=every(HALF_M),
        basic_density_kg_m3=every(500),
        diffusion_m2_s=every(D),
        moisture_slope=every(1e-6),
        activation_k=every(0.0),
        free_water_ratio=every(1.0),
        film_w_m2k=every(film),
        longwave_w_m2k=every(0.0),
        isotherm_scale=every(1.0),
        air_row=np.zeros(count, np.int64),
    )


def still_air(hours, dt_s=3600.0):
    steps = round(hours * 3600.0 / dt_s)
    one = np.ones((1, steps))
    return diffusion.AirSteps(AIR_C * one, AIR_RH * one, np.full(steps, dt_s))


def crank_constant_surface(t_s, terms=200):
    """Share of the water still to leave: Equation 4.18."""
    n = np.arange(terms)
    odd = (2 * n + 1) ** 2 * np.pi**2
    return np.sum(8.0 / odd * np.exp(-D * odd * t_s / (4.0 * HALF_M**2)))


def remaining(hours, nodes, dt_s):
    """The same share by the solver, with a film so strong that the face sits at the air's EMC."""
    emc = float(sorption.emc_pct(AIR_C, AIR_RH)) / 100.0
    steps = round(hours * 3600.0 / dt_s)
    out = diffusion.march(
        np.full((1, nodes), START), members(1e7), still_air(hours, dt_s), np.array([steps]), hysteresis=False
    )
    return float((diffusion.mean_of(out[0, 0]) - emc) / (START - emc))


@pytest.mark.parametrize("hours", [24.0, 120.0, 360.0, 720.0])
def test_constant_surface_concentration(hours):
    # On 21 nodes, hourly: what is left is the grid's own error, 0.1 % of the water that was to leave.
    assert remaining(hours, 21, 3600.0) == pytest.approx(crank_constant_surface(hours * 3600.0), abs=1e-3)


def test_error_in_space_falls_as_the_square_of_the_spacing():
    exact = crank_constant_surface(120 * 3600.0)
    coarse, fine = (abs(remaining(120.0, nodes, 60.0) - exact) for nodes in (6, 11))
    assert 1.7 < np.log2(coarse / fine) < 2.3


def test_error_in_time_falls_as_the_square_of_the_step():
    reference = remaining(360.0, 21, 225.0)
    long, short = (abs(remaining(360.0, 21, dt_s) - reference) for dt_s in (7200.0, 3600.0))
    assert 1.9 < np.log2(long / short) < 2.2
