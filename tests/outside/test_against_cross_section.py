"""Open edges and ends beside a section in two dimensions by finite elements (``cross_section``, scikit-fem).

The solver follows the thickness alone and closes the rest by ``kiln.edges``; the finite elements know nothing of that.
Evaporation's cooling is kept out of both by a surrounding that exchanges heat without end. The tolerances are our own,
measured: where edges and ends are left out the same means are wrong by up to 9 %MC, the times by a third.
"""

import cross_section
import numpy as np
import pytest
from cross_section import Section

from kiln import diffusion

DAY_S, THICKNESS_M, START, T_C, RH_PCT = 86_400.0, 0.025, 0.8, 20.0, 50.0
OAK = {"density_kg_m3": 560.0, "diffusion_m2_s": 0.4e-10, "slope": 1.15, "free_water_ratio": 0.3}
SOFTWOOD = {"density_kg_m3": 380.0, "diffusion_m2_s": 1.2e-10, "slope": 4.0, "free_water_ratio": 5.0}
SPANS = {"width of 2": (0.05, 1.0), "width of 4": (0.1, 1.0), "width of 8": (0.2, 1.0), "0.3 m long": (0.3, 10.0)}


def ours(section, along, hours):
    """Means [hours + 1] over the whole board and through its middle, in steps of an hour."""
    one = np.ones((1, hours))
    open_ = {"length_m": np.array([section.span_m])} if along else {"width_m": np.array([section.span_m])}
    who = diffusion.Members(
        half_thickness_m=np.array([section.thickness_m / 2.0]),
        basic_density_kg_m3=np.array([section.density_kg_m3]),
        diffusion_m2_s=np.array([section.diffusion_m2_s]),
        moisture_slope=np.array([section.slope]),
        activation_k=np.array([5280.0]),
        free_water_ratio=np.array([section.free_water_ratio]),
        film_w_m2k=np.array([section.film_w_m2k]),
        longwave_w_m2k=np.array([1e9]),
        isotherm_scale=np.array([1.0]),
        air_row=np.zeros(1, np.int64),
        along_ratio=np.array([section.ratio]),
        **open_,
    )
    air = diffusion.AirSteps(T_C * one, RH_PCT * one, np.full(hours, 3600.0))
    start = np.full((1, diffusion.NODES), START)
    course = diffusion.march_whole(start, who, air, np.arange(hours + 1), hysteresis=False)
    return course.means()[0], diffusion.mean_of(course.profiles)[0]


@pytest.mark.parametrize("film", [2.5, 10.0])
@pytest.mark.parametrize("span", SPANS)
@pytest.mark.parametrize("wood", [OAK, SOFTWOOD], ids=["oak", "softwood"])
def test_open_edges_and_ends_dry_a_board_as_finite_elements_have_it(wood, span, film):
    span_m, ratio = SPANS[span]
    section = Section(THICKNESS_M, span_m, film_w_m2k=film, rh_pct=RH_PCT, ratio=ratio, **wood)
    days = 120 if wood is OAK else 30
    times_s = np.arange(1, days + 1) * DAY_S
    theirs = cross_section.dry(section, START, times_s)
    whole, middle = ours(section, ratio > 1.0, days * 24)
    off = 100.0 * (whole[24::24] - theirs.mean)
    shut = 100.0 * (middle[24::24] - theirs.mean)
    hours = np.interp(-0.2, -whole, np.arange(len(whole)))
    exact = np.interp(-0.2, -theirs.mean, times_s) / 3600.0
    told = f"{np.abs(off).max():.2f} %MC, {100 * (hours / exact - 1):+.1f} % of the time"
    print(f"off by {told}; left out {shut.max():.2f} %MC")
    assert np.abs(off).max() < 0.8
    assert abs(hours / exact - 1.0) < 0.025
    assert shut.max() > 3.0 * np.abs(off).max()
    if span != "width of 2":
        assert np.abs(100.0 * (middle[24::24] - theirs.middle)).max() < 0.3
