"""Checking: the stretch of a surface held by the wetter wood beneath it, and where its limit lies."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from kiln import checking, diffusion, sorption
from kiln.errors import OutOfRange
from shared import tables
from shared.tables import constants
from shared.units import MS_PER_DAY, MS_PER_HOUR

NODES = diffusion.NODES
OAK_PCT = 8.6  # tangential, green to oven-dry; Wood Handbook FPL-GTR-190, 2010, Table 4-3: northern red oak
FULL = 0.288
LIMITS = {name: one.value for name, one in constants("degrade_limits").items()}


def strain(profile, two_faces=False):
    return float(checking.surface_strain(np.asarray(profile)[None, None], OAK_PCT, FULL, two_faces=two_faces)[0, 0])


@given(st.floats(0.0, FULL), st.floats(FULL, 1.5))
def test_a_dry_skin_on_wet_wood_is_stretched_by_all_that_it_would_shrink(surface, beneath):
    profile = np.full(NODES, beneath)
    profile[-1] = surface
    skin = diffusion.cell_shares(NODES)[-1]
    free = OAK_PCT / 100.0 * (1.0 - surface / FULL)  # Wood Handbook, Equation 4-9
    assert strain(profile) == pytest.approx(free * (1.0 - skin), abs=1e-12)


@given(st.floats(0.0, 1.5))
def test_wood_alike_through_its_thickness_is_not_stretched(mc):
    assert strain(np.full(NODES, mc)) == pytest.approx(0.0, abs=1e-12)


def test_how_wet_the_core_is_above_saturation_does_not_matter():
    wet, wetter = (np.where(np.arange(NODES) < 15, core, 0.12) for core in (0.4, 1.4))
    assert strain(wet) == pytest.approx(strain(wetter), abs=1e-15)


def test_a_surface_wetter_than_its_core_is_pressed_not_stretched():
    assert strain(np.linspace(0.08, 0.2, NODES)) < 0.0


def test_of_two_faces_the_more_stretched_is_told():
    both = diffusion.NODES_WITH_TWO_FACES
    one_dry = np.full(both, 0.5)
    one_dry[-1] = 0.1
    assert strain(one_dry, two_faces=True) == pytest.approx(strain(one_dry[::-1], two_faces=True))
    assert strain(one_dry, two_faces=True) > 0.05


def test_a_half_and_its_whole_are_stretched_alike():
    half = 0.3 - 0.2 * np.linspace(0.0, 1.0, NODES) ** 2
    whole = np.concatenate([half[:0:-1], half])
    assert strain(whole, two_faces=True) == pytest.approx(strain(half), rel=0.01)


def oak(rh_pct, film_w_m2k, thickness_m=0.0254, temperature_c=27.0, days=30):
    """Peak index and losses a day [%MC] of fresh red oak in lasting air."""
    table = {name: one.value for name, one in constants("drying").items()}
    one = np.ones(1)
    members = diffusion.Members(
        half_thickness_m=one * thickness_m / 2.0,
        basic_density_kg_m3=one * 560.0,
        diffusion_m2_s=one * table["diffusion_oak"],
        moisture_slope=one * table["moisture_slope_hardwood"],
        activation_k=one * table["activation_temperature"],
        free_water_ratio=one * table["free_water_ratio_heartwood"],
        film_w_m2k=one * film_w_m2k,
        longwave_w_m2k=0.0 * one,
        isotherm_scale=one,
        air_row=np.zeros(1, dtype=np.int64),
    )
    hours = days * 24
    air = diffusion.AirSteps(np.full((1, hours), temperature_c), np.full((1, hours), rh_pct), np.full(hours, 3600.0))
    profiles = diffusion.march(np.full((1, NODES), 0.8), members, air, np.arange(0, hours + 1, 6))
    held = float(sorption.emc_pct(temperature_c, 100.0)) / 100.0
    found = checking.index(profiles, OAK_PCT, held)
    return float(found.max()), -100.0 * np.diff(diffusion.mean_of(profiles)[0, ::4])


# Peak strain of fresh red oak, an inch thick, at 27 °C [%], by a solver of 2026 made for this project's research alone,
# written apart from ``kiln.diffusion`` and not kept; fans of 6 and 12 W/m²K.
PROTOTYPE = [(90.0, 1.9, 2.1), (85.0, 2.6, 2.8), (45.0, 5.1, 5.7)]


@pytest.mark.parametrize(("rh_pct", "at_6", "at_12"), PROTOTYPE)
def test_red_oak_is_stretched_as_another_solver_had_it(rh_pct, at_6, at_12):
    for film, strain_pct in ((6.0, at_6), (12.0, at_12)):
        index, _ = oak(rh_pct, film)
        assert index == pytest.approx(strain_pct / 100.0 / LIMITS["strain_limit"], rel=0.08)


def test_red_oak_is_about_at_its_limit_in_the_air_that_it_is_dried_in():
    """Air of 85 to 90 %RH counts as harmless to red oak of an inch (common practice, no source)."""
    assert 0.85 <= oak(90.0, 6.0)[0] <= LIMITS["checking_near"]
    assert LIMITS["checking_near"] <= oak(85.0, 6.0)[0] < 1.4


def test_the_first_step_of_a_kiln_schedule_is_under_the_limit_of_stop():
    """T4-D2, the published schedule of red oak of an inch: about 43 °C and 87 %RH (from memory)."""
    index, _ = oak(87.0, 10.0, temperature_c=43.0)
    assert LIMITS["checking_near"] <= index <= 1.3


@pytest.mark.parametrize("thickness_m", [0.0254, 0.0508])
@pytest.mark.parametrize("film", [2.5, 3.5, 5.0])
def test_air_in_which_red_oak_loses_what_it_survives_is_near_the_limit_and_not_over(thickness_m, film):
    """The published greatest daily loss (safe_daily_loss.csv, from memory), met on the second day at 27 °C.

    A loss hangs on the film as well, a stretch hardly: so wide a range is what the two have in common.
    """
    most = next(
        one.loss_pct_per_day
        for one in tables.safe_losses()
        if (one.botanical_name, one.thickness_m) == ("Quercus rubra", thickness_m)
    )

    def beyond(rh_pct):
        return oak(rh_pct, film, thickness_m, days=3)[1][1] - most

    rh_pct = brentq(beyond, 50.0, 97.0, xtol=0.2)
    assert 0.85 * LIMITS["checking_near"] < oak(rh_pct, film, thickness_m)[0] < LIMITS["checking_stop"]


def test_the_harsher_the_air_the_more_it_is_stretched():
    found = [oak(rh, 5.0)[0] for rh in (92.0, 85.0, 70.0, 50.0)]
    assert found == sorted(found)
    assert found[-1] > LIMITS["checking_stop"]


def test_a_day_is_the_average_of_what_stood_in_it():
    hours = np.array([6.0, 6.0, 6.0, 6.0, 3.0, 6.0, 6.0, 6.0, 3.0])
    at_ms = (np.cumsum(hours) * MS_PER_HOUR).astype(np.int64)
    values = np.arange(9.0)[None]
    days = checking.of_days(values, hours, at_ms, np.array([1, 2]) * MS_PER_DAY)
    assert days[0] == pytest.approx([1.5, (4 * 3 + (5 + 6 + 7) * 6 + 8 * 3) / 24.0])
    assert np.isnan(checking.of_days(values, hours, at_ms, np.array([9]) * MS_PER_DAY)).all()


def test_figures_of_no_wood_are_refused():
    with pytest.raises(OutOfRange, match="shrinkage_pct is 40 %"):
        checking.index(np.full((1, 1, NODES), 0.5), 40.0, FULL)
    with pytest.raises(OutOfRange, match=r"saturation is 30 kg/kg"):
        checking.index(np.full((1, 1, NODES), 0.5), 8.0, 30.0)
