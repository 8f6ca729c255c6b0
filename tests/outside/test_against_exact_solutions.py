"""Against solutions in closed form where diffusion depends on moisture, and where a wet front recedes.

1. With D = D_f exp(b (M - M_f)), d = exp(b (M - M_f)) obeys d_t = D_f d d_xx, of which X(x) T(t) with
   X = A - c x²/2 and T = 1 / (1/T0 + D_f c t) is a solution (by separation of variables; put it in to check). The air
   is steered so that its film takes off what that solution brings to the face; surroundings that radiate without end
   keep the board at the air's temperature.
2. Where free water does not move at all, the wet core ends at a front that recedes by Neumann's similarity solution:
   J. Crank, The Mathematics of Diffusion, 2nd edition, 1975, chapter 13; H. S. Carslaw and J. C. Jaeger, Conduction of
   Heat in Solids, 2nd edition, 1959, section 11.2.
"""

import film
import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import erf

from kiln import diffusion, psychrometrics, sorption
from kiln.march import SATURATION_SCALE

HALF_M, D, DENSITY, T_C = 0.0127, 1e-10, 500.0, 20.0


def board(slope, mobility, film=1e7, longwave=0.0):
    values = (HALF_M, DENSITY, D, slope, 0.0, mobility, film, longwave, 1.0)
    return diffusion.Members(*(np.array([float(v)]) for v in values), np.zeros(1, np.int64))


def carried(start, who, rh_pct, dt_s, record):
    air = diffusion.AirSteps(np.full((1, len(rh_pct)), T_C), np.asarray(rh_pct)[None], np.full(len(rh_pct), dt_s))
    return diffusion.march(start[None], who, air, np.asarray(record), hysteresis=False)[0]


# --- diffusion that depends on moisture ----------------------------------------------------------------

SLOPE, TOP, CURVE, DAYS, FILM = 6.0, 0.85, 0.4, 20.0, 30.0


def parabola(x_m, t_s):
    """Moisture content [kg/kg] of the first solution: below saturation everywhere, drier towards the face."""
    shape = TOP - CURVE * (x_m / HALF_M) ** 2 / 2.0
    return SATURATION_SCALE + np.log(shape / (1.0 + D * CURVE / HALF_M**2 * t_s)) / SLOPE


def steered_rh(t_s):
    """Humidity of the air [%RH] into which the film gives off what the parabola brings to the face."""
    brought = DENSITY * D * CURVE / HALF_M / SLOPE / (1.0 + D * CURVE / HALF_M**2 * t_s)  # kg/m²s
    p_sat = float(psychrometrics.saturation_pressure_pa(T_C))
    return (
        sorption.rh_pct_from_emc(T_C, 100.0 * parabola(HALF_M, t_s)) - 100.0 * brought / film.per_pa(FILM, T_C) / p_sat
    )


def end(nodes, dt_s):
    """Profile at the end, and the exact one [kg/kg]."""
    steps = round(DAYS * 86_400 / dt_s)
    x = diffusion.node_positions_m(HALF_M, nodes)
    rh = steered_rh(dt_s * np.arange(1, steps + 1))
    who = board(SLOPE, 1.0, FILM, longwave=1e12)
    return carried(parabola(x, 0.0), who, rh, dt_s, [steps])[0], parabola(x, DAYS * 86_400)


def away(nodes, dt_s):
    """How far the profile is from the exact one at the end, at the worst node [kg/kg]."""
    ours, exact = end(nodes, dt_s)
    return np.abs(ours - exact).max()


def test_the_profile_is_the_exact_one_on_any_grid():
    """Cells of any size sum a parabola up exactly, so nothing but the time step is left."""
    assert parabola(0.0, 0.0) - parabola(HALF_M, DAYS * 86_400) > 0.1  # it tells something
    for nodes in (6, 21):
        assert away(nodes, 900.0) < 2e-8
    assert away(21, 3 * 3600.0) < 2e-6


def test_the_error_falls_as_the_square_of_the_step():
    on_this_grid, _ = end(21, 450.0)
    errors = [np.abs(end(21, dt_s)[0] - on_this_grid).max() for dt_s in (14_400.0, 7_200.0, 3_600.0)]
    print(f"time: {errors}")
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    assert np.all(orders > 1.9)


# --- a front that recedes ------------------------------------------------------------------------------


def lost_to_the_front(wet, face, t_s):
    """Water that has left by Neumann's solution, as kg/kg of the half board; and how far the front has come [m]."""
    stefan = (SATURATION_SCALE - face) / (wet - SATURATION_SCALE)
    lam = brentq(lambda z: np.sqrt(np.pi) * z * np.exp(z * z) * erf(z) - stefan, 1e-6, 5.0)
    lost = 2.0 * (SATURATION_SCALE - face) * np.sqrt(D * t_s / np.pi) / erf(lam) / HALF_M
    return lost, 2.0 * lam * np.sqrt(D * t_s)


@pytest.mark.parametrize("wet", [0.8, 1.6])
def test_a_wet_front_recedes_as_neumann_says_and_nearer_to_it_on_a_finer_grid(wet):
    """Mobility next to nothing; two obvious solvers stall here, on finer grids all the more, while water balances."""
    emc = float(sorption.emc_pct(T_C, 50.0)) / 100.0
    depth_m = 0.8 * HALF_M
    t_s = brentq(lambda t: lost_to_the_front(wet, emc, t)[1] - depth_m, 1e3, 1e9)
    steps = 2000
    halfway = 1000
    worst = []
    for nodes in (21, 41, 81):
        path = carried(np.full(nodes, wet), board(1e-6, 1e-6), np.full(steps, 50.0), t_s / steps, [halfway, steps])
        lost = wet - diffusion.mean_of(path)
        exact = [lost_to_the_front(wet, emc, t_s * share)[0] for share in (0.5, 1.0)]
        worst.append(np.abs(lost / exact - 1.0).max())
    print(f"Stefan, wet {wet:g}: {worst}")
    assert worst[0] < 0.01
    assert worst[0] > worst[1] > worst[2]
