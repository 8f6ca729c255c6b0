"""The solver: what must hold whatever the wood and the air."""

import film
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiln import diffusion, psychrometrics, sorption


def members(count=1, **given_):
    values = {
        "half_thickness_m": 0.0127,
        "basic_density_kg_m3": 480.0,
        "diffusion_m2_s": 1e-10,
        "moisture_slope": 1.15,
        "activation_k": 5280.0,
        "free_water_ratio": 1.0,
        "film_w_m2k": 3.0,
        "longwave_w_m2k": 0.0,
        "isotherm_scale": 1.0,
    } | given_
    arrays = {name: np.broadcast_to(np.asarray(value, float), count).copy() for name, value in values.items()}
    return diffusion.Members(**arrays, air_row=np.zeros(count, np.int64))


def constant_air(hours, temperature_c=20.0, rh_pct=50.0):
    one = np.ones((1, hours))
    return diffusion.AirSteps(temperature_c * one, rh_pct * one, np.full(hours, 3600.0))


def daily_air(days):
    hour = np.arange(days * 24)
    swing = np.sin(2 * np.pi * hour / 24)
    return diffusion.AirSteps((15 + 6 * swing)[None], (70 - 20 * swing)[None], np.full(len(hour), 3600.0))


def dried(start, who, air, record=None, **how):
    steps = np.array([air.dt_s.size]) if record is None else np.asarray(record)
    count = len(who.film_w_m2k)
    return diffusion.march(np.full((count, diffusion.NODES), start), who, air, steps, **how)


@pytest.mark.parametrize("mobility", [1e-3, 0.02, 0.3, 0.999, 1.0, 5.0, 50.0])
def test_a_waterlogged_board_dries_to_the_air_and_stays_between_its_start_and_the_air(mobility):
    air = daily_air(500)
    path = dried(1.4, members(free_water_ratio=mobility), air, np.arange(0, 500 * 24 + 1, 24))[0]
    driest = sorption.emc_pct(21.0, 50.0) / 100.0
    assert path.min() > driest - 1e-6
    assert path.max() < 1.4 + 1e-9
    mean = diffusion.mean_of(path)
    assert np.all(np.diff(mean[mean > 0.3]) < 0)
    assert mean[-1] < 0.15


def test_slow_free_water_leaves_at_a_front_and_not_at_all_once_the_numerics_stall():
    # Two obvious solvers keep three quarters of the water in the board; a finer grid must not.
    air = constant_air(24 * 200)
    left = [
        float(
            diffusion.mean_of(
                diffusion.march(np.full((1, nodes), 1.2), members(free_water_ratio=1e-3), air, np.array([24 * 60]))[
                    0, 0
                ]
            )
        )
        for nodes in (21, 41, 81)
    ]
    assert left[0] < 0.6
    assert abs(left[1] - left[2]) < abs(left[0] - left[1]) + 1e-4
    assert abs(left[0] - left[2]) < 0.02


def test_water_that_leaves_the_cells_passes_the_face():
    """What the board lost in each hour of a month is what the film carries off its face, and so in sum."""
    who = members(free_water_ratio=0.3, longwave_w_m2k=1e12)  # at the temperature of the air
    hours = 24 * 30
    path = dried(0.6, who, constant_air(hours, rh_pct=65.0), np.arange(hours + 1), hysteresis=False)[0]
    lost = -np.diff(diffusion.mean_of(path)) * 480.0 * 0.0127
    # BDF2 with equal steps: 3/2 of this hour's loss less 1/2 of the last one's is what left in it.
    passed = (1.5 * lost[1:] - 0.5 * lost[:-1])[12:]
    carried = 3600.0 * carried_off(path[2:, -1], film_w_m2k=3.0)[12:]
    assert passed == pytest.approx(carried, rel=1e-5)
    assert passed.sum() == pytest.approx(carried.sum(), rel=1e-6)


def carried_off(face, film_w_m2k):
    """Flux [kg/m²s] off faces in air of 20 °C and 65 %RH, by the film's published formula."""
    p_sat = float(psychrometrics.saturation_pressure_pa(20.0))
    activity = np.where(face < 0.288, sorption.rh_pct_from_emc(20.0, 100.0 * np.minimum(face, 0.288)) / 100.0, 1.0)
    return film.per_pa(film_w_m2k, 20.0) * p_sat * (activity - 0.65)


def test_in_a_closed_board_no_water_is_lost_or_made():
    # A film of next to nothing: a steep profile only levels out.
    start = np.linspace(0.9, 0.1, diffusion.NODES)[None]
    for mobility in (0.05, 1.0, 20.0):
        who = members(free_water_ratio=mobility, film_w_m2k=1e-12)
        end = diffusion.march(start, who, constant_air(24 * 365), np.array([24 * 365]))
        assert diffusion.mean_of(end[0, 0]) == pytest.approx(float(diffusion.mean_of(start[0])), rel=1e-10)
        assert np.ptp(end[0, 0]) < np.ptp(start)


def test_a_member_has_the_same_numbers_in_any_company():
    air = daily_air(40)
    mobility = np.array([0.01, 0.5, 1.0, 3.0, 30.0])
    together = dried(1.0, members(5, free_water_ratio=mobility), air)
    for i, one in enumerate(mobility):
        assert np.array_equal(together[i], dried(1.0, members(free_water_ratio=one), air)[0])


@pytest.mark.parametrize("threads", [1, 2, 3, 7, 50])
def test_the_numbers_do_not_depend_on_how_many_threads_there_are(threads):
    air, mobility = daily_air(20), np.geomspace(1e-3, 50.0, 7)
    usual = dried(1.0, members(7, free_water_ratio=mobility), air)
    assert np.array_equal(dried(1.0, members(7, free_water_ratio=mobility), air, threads=threads), usual)


def test_frost_and_kiln_heat_hold_the_state():
    for temperature_c in (-3.0, 60.0, np.nan):
        end = dried(0.5, members(), constant_air(48, temperature_c=temperature_c))
        assert np.all(end == 0.5)


def test_wood_takes_up_less_than_it_gave_off():
    """Hysteresis: from the dry side it rests lower than from the wet side, by the published ratio."""
    air = constant_air(24 * 400, rh_pct=65.0)
    thin = members(half_thickness_m=0.002)
    from_wet = float(diffusion.mean_of(dried(0.25, thin, air)[0, 0]))
    from_dry = float(diffusion.mean_of(dried(0.05, thin, air)[0, 0]))
    emc = float(sorption.emc_pct(20.0, 65.0)) / 100.0
    assert from_wet == pytest.approx(emc, abs=2e-4)
    assert from_dry == pytest.approx(emc * sorption.adsorption_ratio(), abs=2e-4)


def test_a_wet_board_dries_at_its_wet_bulb_and_faster_when_it_sees_warm_surroundings():
    """Constant-rate stage: the flux against the psychrometric balance worked out by hand."""
    air = constant_air(3, rh_pct=50.0)
    inside = dried(2.0, members(basic_density_kg_m3=300.0, free_water_ratio=50.0), air)
    free = dried(2.0, members(basic_density_kg_m3=300.0, free_water_ratio=50.0, longwave_w_m2k=5.0), air)
    lost = [2.0 - float(diffusion.mean_of(out[0, 0])) for out in (inside, free)]
    # Wet bulb of 20 °C / 50 % is 13.78 °C (ASHRAE 2017, ch. 1): heat through the film 3 W/m²K × 6.22 K.
    by_wet_bulb = 3.0 * (20.0 - 13.78) / 2.4535e6 * 3 * 3600.0 / (300.0 * 0.0127)
    assert lost[0] == pytest.approx(by_wet_bulb, rel=0.06)
    assert 1.2 < lost[1] / lost[0] < 2.0


@settings(max_examples=40, deadline=None)
@given(
    start=st.floats(0.02, 2.0),
    mobility=st.floats(1e-3, 50.0),
    film=st.floats(0.5, 40.0),
    d20=st.floats(1e-11, 1e-9),
    half=st.floats(0.001, 0.06),
    rh=st.floats(5.0, 98.0),
    temperature=st.floats(1.0, 44.0),
    slope=st.floats(0.1, 8.0),
)
def test_nothing_leaves_the_bounds(start, mobility, film, d20, half, rh, temperature, slope):
    who = members(
        free_water_ratio=mobility, film_w_m2k=film, diffusion_m2_s=d20, half_thickness_m=half, moisture_slope=slope
    )
    path = dried(start, who, constant_air(24 * 20, temperature, rh), np.arange(0, 24 * 20 + 1, 12))[0]
    emc = float(sorption.emc_pct(temperature, rh)) / 100.0
    low, high = min(start, emc * sorption.adsorption_ratio()), max(start, emc)
    assert np.all(np.isfinite(path))
    assert path.min() >= low - 1e-4
    assert path.max() <= high + 1e-4


def test_layers_of_a_straight_profile():
    profile = 1.0 - diffusion.node_positions_m(1.0)  # 1 at mid-thickness, 0 at the face
    assert diffusion.mean_of(profile) == pytest.approx(0.5, abs=2e-3)
    assert diffusion.shell_of(profile) == pytest.approx(0.1, abs=5e-3)
    assert diffusion.core_of(profile) == pytest.approx(1.0 - 1.0 / 6.0, abs=5e-3)
    assert diffusion.at_depth(profile, 0.25) == pytest.approx(0.25, abs=1e-12)
