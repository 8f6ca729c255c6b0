"""Collapse and honeycomb: what sound wood can hold, what a profile accounts for, and what a set surface does later."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiln import collapse, diffusion, wood
from kiln.collapse import Stage

NODES = diffusion.NODES
ALL_WET = np.full(NODES, 1.0)


@pytest.mark.parametrize(("basic", "most_pct"), [(0.46, 152.5), (0.51, 131.1), (0.60, 101.7), (0.31, 257.6)])
def test_full_is_what_the_handbook_says_a_wood_holds(basic, most_pct):
    """Maximum moisture content: Wood Handbook FPL-GTR-282, 2021, Equation 4-3."""
    found = collapse.fullness(np.array([most_pct / 100.0]), np.array([basic * wood.WATER_KG_M3]))
    assert found[0] == pytest.approx(1.0, abs=0.001)


def test_a_tenth_of_its_weight_is_one_spread_of_a_wood():
    light = collapse.lightness_sd(np.log(np.array([9.0, 10.0, 11.0])), float(np.log(10.0)))
    assert light == pytest.approx([1.05, 0.0, -0.95], abs=0.01)


def shrunk(profile, total_pct=8.0, full=0.3, two_faces=False):
    found = collapse.shrunk_m(profile[None], 0.030, np.array([total_pct]), np.array([full]), two_faces=two_faces)
    return float(found[0])


@given(st.floats(0.0, 0.3), st.floats(1.0, 15.0))
def test_a_level_board_shrinks_as_the_handbook_has_it(mc, total_pct):
    """Wood Handbook FPL-GTR-282, 2021, Equation 4-9."""
    expected = 0.030 * (1.0 - float(wood.shrinkage_pct(total_pct, 100.0 * mc, 30.0)) / 100.0)
    assert shrunk(np.full(NODES, mc), total_pct) == pytest.approx(expected, rel=1e-12)


def test_a_shell_shrinks_while_the_mean_is_far_above_saturation():
    profile = np.where(np.arange(NODES) > 12, 0.12, 0.8)
    assert diffusion.mean_of(profile) > 0.4
    assert shrunk(profile) < 0.030 - 0.0002
    whole = np.concatenate([profile[:0:-1], profile])
    assert shrunk(whole, two_faces=True) == pytest.approx(shrunk(profile), abs=1e-4)
    assert shrunk(ALL_WET) == 0.030


def test_the_chance_of_more_is_a_half_where_it_is_as_expected():
    expected = np.full(8, 0.029)
    assert collapse.chance_of_more(expected, 0.029, 0.0003) == pytest.approx(0.5)
    assert collapse.chance_of_more(expected, 0.028, 0.0003) > 0.999
    assert collapse.chance_of_more(expected, 0.030, 0.0003) < 0.001
    assert collapse.chance_of_more(expected, 0.028, 0.003) < collapse.chance_of_more(expected, 0.028, 0.0003)


def test_any_angle_of_the_rings_is_believed():
    found = collapse.spread_of_shrinkage(4.0, 8.6, 64)
    assert found.mean() == pytest.approx(6.3)
    assert 4.0 < found.min() < 4.1 < 8.5 < found.max() < 8.6


@pytest.mark.parametrize(
    ("peak", "gap_pct", "mean", "stage"),
    [
        (1.4, 9.0, 0.5, Stage.NOT_SET),
        (1.4, 0.0, 0.1, Stage.NOT_SET),
        (1.6, 30.0, 0.5, Stage.SET),
        (1.6, 9.0, 0.2, Stage.CORE_IN_TENSION),
        (1.6, 0.5, 0.1, Stage.LEVEL),
    ],
)
def test_stages_of_a_set_board(peak, gap_pct, mean, stage):
    """The order in which a kiln operator meets them: Drying Hardwood Lumber, FPL-GTR-118 (from memory)."""
    found = collapse.stages(np.array([peak]), np.array([gap_pct]), np.array([mean]), np.array([0.288]))
    assert Stage(str(found[0])) is stage
