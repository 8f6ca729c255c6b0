"""The truth of the calibration by itself: exact series where it is linear, its own mesh and steps, water kept."""

import numpy as np
import pytest
import truth

BOARD = truth.TrueWood(
    thickness_m=0.026, width_m=0.12, length_m=2.0, density_kg_m3=450.0, start=0.9, wet_core=0.3, d_fsp_m2_s=1e-10,
    d_dry=0.5, free_ratio=4.0, free_power=1.5, width_ratio=1.3, along_ratio=10.0, activation_k=5000.0, film_w_m2k=3.0,
    edge_film_ratio=0.7, longwave_w_m2k=1.0, isotherm_scale=1.0, wetting_ratio=0.85, play=0.05, fsp=0.29, most=1.6,
)  # fmt: skip


def daily_air(days):
    hours = np.arange(days * 24)
    wave = np.sin(2 * np.pi * hours / 24)
    return 15.0 + 4.0 * wave, 0.65 - 0.1 * wave, np.ones(days * 24)


def series(fo):
    """Mean of a plane sheet with its surface at rest from the start: Crank, 1975, Equation 4.18."""
    odd = 2 * np.arange(400) + 1
    return (8.0 / (odd * np.pi) ** 2 * np.exp(-((odd * np.pi / 2.0) ** 2) * fo)).sum()


@pytest.mark.parametrize("edges", [False, True])
def test_with_one_diffusion_and_no_film_it_is_the_exact_series(edges):
    """In two dimensions the two series' product. Tolerance: that of its own mesh, shown below."""
    plain = BOARD._replace(
        width_m=0.05, start=0.2, wet_core=0.0, d_dry=1.0, free_ratio=1.0, along_ratio=0.0, film_w_m2k=1e5,
        edge_film_ratio=1.0 if edges else 0.0, longwave_w_m2k=0.0, wetting_ratio=1.0, play=0.0, activation_k=0.0,
    )  # fmt: skip
    days = 40
    course = truth.dry(plain, np.full(days * 24, 20.0), np.full(days * 24, 0.5), np.ones(days * 24), nodes=(24, 24))
    rest = 100.0 * truth.hailwood_horrobin(20.0, 0.5)
    for day in (5, 10, 20, 40):
        fo = 1e-10 * day * 86400.0 / np.array([0.013, 0.025]) ** 2
        left = series(fo[0]) * (series(1.3 * fo[1]) if edges else 1.0)
        assert (course.mean_pct[day] - rest) / (20.0 - rest) == pytest.approx(left, abs=0.004)


def test_water_that_left_is_water_that_is_gone():
    course = truth.dry(BOARD, *daily_air(120))
    gone = (course.mean_pct[0] - course.mean_pct[-1]) / 100.0 * BOARD.density_kg_m3 * 0.013 * 0.06
    assert course.left_kg_m == pytest.approx(gone, rel=1e-9)


@pytest.mark.parametrize("change", [{}, {"free_ratio": 0.15}, {"free_ratio": 25.0, "thickness_m": 0.014}])
def test_a_finer_mesh_and_shorter_steps_change_little(change):
    """One percent of the time, a fraction of what the refit is asked for."""
    board, air = BOARD._replace(**change), daily_air(150)
    as_used, finer = truth.dry(board, *air), truth.dry(board, *air, nodes=(24, 24), steps_an_hour=6)
    for level in (30.0, 20.0, 15.0):
        days = [np.interp(-level, -one.mean_pct, np.arange(151.0)) for one in (as_used, finer)]
        assert days[0] == pytest.approx(days[1], rel=0.01)
    assert np.abs(as_used.mean_pct - finer.mean_pct)[20:].max() < 0.5


def test_a_wet_surface_dries_at_its_wet_bulb():
    """Psychrometer: at 20 °C and 50 % the wet bulb is 13.8 °C (ASHRAE psychrometric chart, sea level)."""
    per_k = 1.0 / (truth._RHO_CP_LE * truth._R_V * 293.15)
    p_air = 0.5 * truth._p_sat(20.0)
    t = truth._board_temperature(20.0, 20.0, 10.0, 1.0, 0.0, (0.1, 0.0), (0.1, 0.0), p_air, per_k)
    assert t == pytest.approx(13.8, abs=0.4)


def test_wood_that_gains_water_stops_on_its_lower_branch():
    days = 400
    t, film = np.full(days * 24, 20.0), np.ones(days * 24)
    rh = np.where(np.arange(days * 24) < 200 * 24, 0.4, 0.7)
    course = truth.dry(BOARD._replace(thickness_m=0.012, film_w_m2k=20.0, start=0.3, wet_core=0.0), t, rh, film)
    dried, gained = (100.0 * truth.hailwood_horrobin(20.0, one) for one in (0.4, 0.7))
    assert course.mean_pct[200] == pytest.approx(dried, abs=0.2)
    assert course.mean_pct[-1] == pytest.approx(0.85 * gained, abs=0.5)  # the ends draw a little to the upper branch
