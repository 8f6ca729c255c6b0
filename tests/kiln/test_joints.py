"""Joints: shrinkage along a line, mismatch through the year, and the step between twins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiln import joints, movement
from kiln.errors import OutOfRange
from kiln.joints import Side, line_shrinkage_pct
from kiln.promise import Plate
from shared.errors import BadInput

WEEKS = np.arange(53, dtype=np.int64) * joints.WEEK_MS
PLATE = Plate(0.004, 0.2, 5.0, 8.4, 90.0)
YEAR = 8.0 + 2.0 * np.sin(2 * np.pi * np.arange(53) / 52)  # wettest after a quarter of the year


def members(course=YEAR, count=8, spread=0.0, seed=1):
    noise = spread * np.random.default_rng(seed).standard_normal((count, 1))
    return np.tile(course, (count, 1)) + noise


def side(grain, mc=None, plate=PLATE):
    return Side(plate, grain, members() if mc is None else mc)


# --- a line at an angle ----------------------------------------------------------------------------


@given(st.floats(0.05, 0.3), st.floats(2.0, 12.0), st.floats(0.0, 90.0))
def test_a_line_at_an_angle_shrinks_as_the_vector_laid_along_it_does(along, across, angle):
    """A unit vector in a face that shrinks by ε_L along and ε_A across, drawn out: independent of any formula."""
    small = 1e-6  # the transformation holds for small strains
    turned = np.radians(angle)
    shrunk = np.array([np.cos(turned) * (1 - small * along), np.sin(turned) * (1 - small * across)])
    assert (1 - np.hypot(*shrunk)) / small == pytest.approx(float(line_shrinkage_pct(along, across, angle)), rel=1e-4)


def test_along_and_across_are_the_table_and_45_degrees_is_the_mean():
    assert line_shrinkage_pct(0.15, 5.0, np.array([0.0, 45.0, 90.0])) == pytest.approx([0.15, 2.575, 5.0])
    with pytest.raises(OutOfRange, match="angle_deg is 91"):
        line_shrinkage_pct(0.15, 5.0, 91.0)


# --- mismatch --------------------------------------------------------------------------------------


def test_a_brace_across_a_plate_is_pulled_by_what_the_plate_does_less_the_brace():
    found = joints.along(0.36, side(90.0), side(0.0), WEEKS)
    plate = movement.GluedPiece(5.0, 8.0, 10.0)
    brace = movement.GluedPiece(0.15, 8.0, 10.0)
    wanted = movement.joint_mismatch_m(0.36, plate, brace)
    assert found.mismatch_m.p50[13] == pytest.approx(wanted, rel=0.02)  # after a quarter, the wettest week
    assert found.most_at_ms in (WEEKS[13], WEEKS[39])
    assert found.most_m[1] == pytest.approx(abs(wanted), rel=0.05)
    assert found.strain_share[1] == pytest.approx(found.extreme_m[1] / 0.36)


def test_nothing_is_amiss_on_the_day_of_gluing_or_in_air_that_never_moves():
    found = joints.along(0.36, side(90.0), side(0.0), WEEKS)
    assert found.mismatch_m.p10[0] == found.mismatch_m.p90[0] == 0.0
    still = members(np.full(53, 8.0))
    assert joints.along(0.36, side(90.0, still), side(0.0, still), WEEKS).most_m == (0.0, 0.0, 0.0)


def test_the_two_sides_change_places_with_the_sign():
    a, b = side(90.0, members(spread=0.5)), side(20.0, members(spread=0.5, seed=2))
    one, other = joints.along(0.3, a, b, WEEKS), joints.along(0.3, b, a, WEEKS)
    assert other.mismatch_m.p50 == pytest.approx(-one.mismatch_m.p50, abs=3e-6)
    assert other.most_m == pytest.approx(one.most_m, rel=0.03)


def test_leaves_of_one_board_in_step_do_not_pull_at_each_other():
    """What two pieces have wholly in common drops out member by member, however wide it is."""
    shared = members(spread=1.0)
    alike = joints.wider(side(0.0, shared), side(0.0, shared), WEEKS, in_common=1.0)
    assert alike.most_m == pytest.approx((0.0, 0.0, 0.0), abs=1e-15)
    scattered = joints.wider(side(0.0, shared), side(0.0, shared), WEEKS, in_common=0.0)
    partly = joints.wider(side(0.0, shared), side(0.0, shared), WEEKS, in_common=joints.twins_in_common())
    assert 0.0 < partly.most_m[1] < scattered.most_m[1]


def test_the_scatter_of_single_boards_is_that_of_the_table():
    """80 % of a log-normal spread of 15 % lies within exp(±1.2816 · 0.1492): the width of the band, by hand."""
    still = members(np.full(53, 8.0))
    found = joints.along(0.36, side(90.0), side(90.0, still), WEEKS)
    spread = found.mismatch_m.p90[13] / found.mismatch_m.p50[13]
    assert spread == pytest.approx(np.exp(1.2816 * np.sqrt(np.log1p(0.15**2))), rel=0.01)


def test_twins_one_wetter_than_the_other_step_at_the_joint_by_what_their_thickness_does():
    """One stays at 8 %, one dries from 10 to 8 %: 4 mm quarter-sawn, 8.4 % through the thickness, by Equation 4-9."""
    drying = np.linspace(10.0, 8.0, 53)
    found = joints.step(side(0.0, members(drying)), side(0.0, members(np.full(53, 8.0))), WEEKS, in_common=1.0)
    kept = [1.0 - 0.084 * (1.0 - mc / 30.0) for mc in (10.0, 8.0)]
    assert found.mismatch_m.p50[-1] == pytest.approx(0.004 * (kept[1] / kept[0] - 1.0), rel=0.01)
    assert found.most_at_ms == WEEKS[-1] and found.extreme_m[1] < 0


def test_the_same_question_has_the_same_answer():
    a, b = side(90.0, members(spread=0.5)), side(0.0, members(spread=0.5, seed=2))
    one, other = joints.along(0.3, a, b, WEEKS), joints.along(0.3, a, b, WEEKS)
    assert np.array_equal(one.mismatch_m.p10, other.mismatch_m.p10) and one.most_m == other.most_m


@dataclass
class Made:
    member_ms: np.ndarray
    member_mc_pct: np.ndarray


def test_courses_are_brought_in_step_between_their_own_moments():
    """A straight course stays a straight course, whichever moments it is read at."""
    one = Made(WEEKS, np.tile(WEEKS / joints.WEEK_MS, (3, 1)))
    late = WEEKS + joints.WEEK_MS // 3
    other = Made(late, np.tile(late / joints.WEEK_MS, (5, 1)))
    at_ms, a, b = joints.in_step(one, other)
    assert a.shape == b.shape == (3, len(at_ms)) and len(at_ms) == 52
    assert a == pytest.approx(np.tile(at_ms / joints.WEEK_MS, (3, 1)))
    assert b == pytest.approx(a)
    assert joints.in_step(one, Made(WEEKS + 60 * joints.WEEK_MS, one.member_mc_pct)) is None


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: joints.along(0.0, side(0.0), side(0.0), WEEKS), "length_m is 0"),
        (lambda: joints.along(0.3, side(0.0), side(0.0), WEEKS, 1.5), "in_common is 1.5"),
        (lambda: side(95.0), "grain_angle_deg is 95"),
        (lambda: joints.along(0.3, side(0.0), side(0.0, members(count=5)), WEEKS), r"\(8, 53\) and \(5, 53\)"),
        (lambda: joints.step(side(0.0), side(0.0), WEEKS[:10]), "members and moments of both pieces"),
    ],
)
def test_what_is_impossible_is_named(call, named):
    with pytest.raises((OutOfRange, BadInput), match=named):
        call()
