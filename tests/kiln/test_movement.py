"""Movement: there and back, none above fibre saturation, cup and its limits, mismatch, and the band of one board."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiln import movement
from kiln.errors import OutOfRange

SIZES = st.floats(0.001, 5.0)
TOTALS = st.floats(0.05, 15.0)
MOISTURES = st.floats(0.0, 60.0)
FSPS = st.floats(15.0, 40.0)
ANGLES = st.floats(0.0, 90.0)


@given(SIZES, TOTALS, MOISTURES, MOISTURES, FSPS)
def test_the_new_size_changes_back_exactly(size, total, start, end, fsp_pct):
    there = size + movement.change_m(size, total, start, end, fsp_pct)
    assert there + movement.change_m(there, total, end, start, fsp_pct) == pytest.approx(size, rel=1e-12)


@given(SIZES, TOTALS, st.floats(0.0, 50.0), st.floats(0.0, 50.0), FSPS)
def test_nothing_moves_above_fibre_saturation(size, total, start_above, end_above, fsp_pct):
    assert movement.change_m(size, total, fsp_pct + start_above, fsp_pct + end_above, fsp_pct) == 0.0


@given(SIZES, TOTALS, st.floats(1.0, 30.0), st.floats(0.1, 1.0))
def test_drying_shrinks_and_wetting_swells(size, total, wet, share):
    dry = wet * (1.0 - share)
    assert movement.change_m(size, total, wet, dry) < 0 < movement.change_m(size, total, dry, wet)


def test_green_to_oven_dry_is_the_whole_shrinkage():
    assert movement.change_m(0.2, 8.4, 80.0, 0.0) == pytest.approx(-0.2 * 0.084)


@given(st.floats(1.0, 8.0), st.floats(0.1, 8.0), ANGLES)
def test_a_board_between_flat_and_quarter_sawn_shrinks_between_the_two(radial, more, angle):
    tangential = radial + more
    across = movement.shrinkage_at_angle_pct(radial, tangential, angle)
    assert radial - 1e-12 <= across <= tangential + 1e-12
    through = movement.thickness_shrinkage_at_angle_pct(radial, tangential, angle)
    assert across + through == pytest.approx(radial + tangential)


def test_flat_sawn_is_tangential_and_quarter_sawn_radial():
    assert movement.shrinkage_at_angle_pct(5.0, 8.4, np.array([0.0, 45.0, 90.0])) == pytest.approx([8.4, 6.7, 5.0])
    assert movement.thickness_shrinkage_at_angle_pct(5.0, 8.4, 0.0) == pytest.approx(5.0)


@given(TOTALS, st.floats(6.0, 14.0))
def test_the_handbook_rule_and_the_straight_line_agree_near_ten_per_cent(total, end):
    rule = movement.handbook_change_m(0.3, movement.handbook_coefficient(total), 10.0, end)
    assert rule == pytest.approx(movement.change_m(0.3, total, 10.0, end), rel=1e-9, abs=1e-15)


def test_along_the_grain_sound_wood_moves_little_and_within_its_range():
    least, most = movement.longitudinal_change_m(0.5, 12.0, 6.0)
    assert -0.0003 < most < least < 0
    assert most == pytest.approx(2 * least, rel=1e-3)


@given(st.floats(1.0, 12.0), ANGLES, MOISTURES, MOISTURES)
def test_no_cup_where_both_shrinkages_are_equal(total, angle, start, end):
    assert movement.cup_m(0.2, 0.15, angle, total, total, start, end) == pytest.approx(0.0, abs=1e-15)


@given(ANGLES, st.floats(0.0, 30.0))
def test_no_cup_without_a_change_of_moisture(angle, mc_pct):
    assert movement.cup_m(0.2, 0.15, angle, 5.0, 8.4, mc_pct, mc_pct) == pytest.approx(0.0, abs=1e-15)


def test_a_quarter_sawn_face_does_not_cup():
    assert movement.cup_m(0.1, 0.15, 90.0, 5.0, 8.4, 30.0, 8.0) == pytest.approx(0.0, abs=1e-15)


@given(st.floats(0.01, 0.05), st.floats(1.0, 3.0), st.floats(1.0, 5.0), st.floats(0.01, 0.2))
def test_a_narrow_flat_sawn_face_cups_by_the_square_of_its_width_over_four_pith_distances(width, pith, radial, more):
    # W²|δ|/(4R), the limit of the polar map for small angles and strains; here W/R and δ are small.
    cup = movement.cup_m(width, pith, 0.0, radial, radial + more, 30.0, 0.0)
    assert cup == pytest.approx(width**2 * more / 100.0 / (4.0 * pith), rel=3e-3)


@given(st.floats(0.05, 0.2), st.floats(0.1, 0.4), st.floats(0.0, 60.0))
def test_drying_hollows_the_bark_side_and_wetting_the_pith_side(width, pith, angle):
    assert movement.cup_m(width, pith, angle, 5.0, 8.4, 30.0, 8.0) > 0
    assert movement.cup_m(width, pith, angle, 5.0, 8.4, 8.0, 30.0) < 0


def test_the_face_nearer_the_pith_cups_more_and_arrays_equal_scalars():
    pith = np.array([[0.1, 0.2], [0.3, np.nan]])
    cups = movement.cup_m(0.15, pith, 0.0, 5.0, 8.4, 25.0, 8.0)
    assert cups.shape == (2, 2)
    assert cups[0, 0] > cups[0, 1] > cups[1, 0] > 0
    assert cups[0, 1] == movement.cup_m(0.15, 0.2, 0.0, 5.0, 8.4, 25.0, 8.0)
    assert np.isnan(cups[1, 1])


def test_mismatch_of_a_brace_under_a_plate_is_what_the_plate_does_less_the_brace():
    plate = movement.GluedPiece(shrinkage_along_joint_pct=4.3, from_mc_pct=8.0, to_mc_pct=6.0)
    brace = movement.GluedPiece(shrinkage_along_joint_pct=0.15, from_mc_pct=8.0, to_mc_pct=6.0)
    pulled = movement.joint_mismatch_m(0.36, plate, brace)
    assert pulled == pytest.approx(plate.change_m(0.36) - brace.change_m(0.36))
    assert pulled < 0  # the dried plate is the shorter
    assert movement.joint_mismatch_m(0.36, brace, plate) == -pulled
    assert movement.joint_mismatch_m(0.36, plate, plate) == 0.0


def test_without_any_spread_the_band_is_the_change():
    band = movement.change_band_m(0.2, 8.4, 12.0, 7.0, 0.0, 0.0, shrinkage_cv=0.0)
    assert band == pytest.approx([float(movement.change_m(0.2, 8.4, 12.0, 7.0))] * 3)


def test_the_band_of_one_uncertain_moisture_content_is_that_of_the_normal_curve():
    band = movement.change_band_m(0.2, 8.4, 12.0, 8.0, 0.0, 1.0, shrinkage_cv=0.0)
    z = 1.2815515655  # 90th percentile of the standard normal distribution
    wanted = [float(movement.change_m(0.2, 8.4, 12.0, 8.0 + shift)) for shift in (-z, 0.0, z)]
    assert band == pytest.approx(wanted, rel=2e-3)


def test_the_band_agrees_with_chance_and_bends_at_fibre_saturation():
    chance = np.random.default_rng(7)
    n = 400_000
    total = 8.4 * np.exp(np.sqrt(np.log1p(0.15**2)) * chance.standard_normal(n))
    start, end = 29.0 + 3.0 * chance.standard_normal(n), 8.0 + 1.0 * chance.standard_normal(n)
    wanted = np.quantile(movement.change_m(0.2, total, start, end), (0.1, 0.5, 0.9))
    assert movement.change_band_m(0.2, 8.4, 29.0, 8.0, 3.0, 1.0) == pytest.approx(wanted, rel=0.01)


@given(st.floats(1.0, 14.0), st.floats(2.0, 40.0), st.floats(2.0, 40.0), st.floats(0.0, 5.0), st.floats(0.0, 5.0))
def test_percentiles_stand_in_order_and_are_finite(total, start, end, start_sd, end_sd):
    low, middle, high = movement.change_band_m(0.2, total, start, end, start_sd, end_sd)
    assert np.isfinite([low, middle, high]).all()
    assert low <= middle <= high


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: movement.change_m(-0.1, 8.0, 12.0, 8.0), "size_m is -0.1"),
        (lambda: movement.change_m(0.1, 100.0, 12.0, 8.0), "total_shrinkage_pct is 100"),
        (lambda: movement.change_m(0.1, 8.0, -1.0, 8.0), "from_mc_pct is -1"),
        (lambda: movement.shrinkage_at_angle_pct(5.0, 8.0, 91.0), "ring_angle_deg is 91"),
        (lambda: movement.handbook_change_m(0.3, 0.003, 12.0, 5.9), "to_mc_pct is 5.9 %MC; accepted: 6 to 14"),
        (lambda: movement.handbook_change_m(0.3, 0.003, 15.0, 8.0), "from_mc_pct is 15"),
        (lambda: movement.cup_m(0.2, 0.0, 0.0, 5.0, 8.0, 20.0, 8.0), "pith_distance_m is 0"),
        (lambda: movement.cup_m(0.2, 0.05, 90.0, 5.0, 8.0, 20.0, 8.0), "view of the face from the pith is 180"),
        (lambda: movement.cup_m(0.2, 0.02, 0.0, 5.0, 8.0, 20.0, 8.0), "view of the face from the pith"),
        (lambda: movement.change_band_m(0.2, 8.0, 12.0, 8.0, -1.0, 0.0), "from_sd_mc_pct is -1"),
    ],
)
def test_outside_its_range_a_formula_refuses_and_names_the_value(call, named):
    with pytest.raises(OutOfRange, match=named):
        call()
