"""The promise of movement: weeks on record, where wood rests in an air, and what its sizes do on the way."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiln import movement, promise, sorption
from kiln.air import AirHours
from kiln.errors import OutOfRange
from kiln.promise import Plate, air_of, joined_m, moved, rest, weeks
from shared import tables
from shared.units import MS_PER_HOUR

FLAT = Plate(0.004, 0.2, 5.0, 8.4, 0.0)
QUARTER = Plate(0.004, 0.2, 5.0, 8.4, 90.0)


def logged(temperature_c, rh_pct, known=None):
    t, rh = np.broadcast_arrays(np.asarray(temperature_c, dtype=float), np.asarray(rh_pct, dtype=float))
    held = np.ones(len(t), bool) if known is None else np.asarray(known)
    zero = np.zeros(len(t))
    return AirHours(np.arange(len(t), dtype=np.int64) * MS_PER_HOUR, t.copy(), rh.copy(), held, zero, zero)


# --- weeks -----------------------------------------------------------------------------------------


def test_the_driest_and_the_wettest_week_are_found_where_they_were_put():
    rh = np.full(60 * 24, 55.0)
    rh[240:408], rh[600:768] = 30.0, 80.0
    driest, wettest = weeks(logged(np.full(len(rh), 20.0), rh))
    assert (driest.start_ms, wettest.start_ms) == (240 * MS_PER_HOUR, 600 * MS_PER_HOUR)
    assert (driest.rh_pct, wettest.rh_pct) == (pytest.approx(30.0), pytest.approx(80.0))
    assert driest.emc_pct == pytest.approx(float(sorption.emc_pct(20.0, 30.0)))
    assert wettest.emc_pct == pytest.approx(float(sorption.emc_pct(20.0, 80.0)))


@given(st.integers(0, 10_000))
def test_no_week_is_drier_or_wetter_than_those_that_are_told(seed):
    """Held against every six-hourly week in a plain loop."""
    chance = np.random.default_rng(seed)
    hours = 24 * 20
    t, rh = (
        np.clip(15.0 + 5.0 * chance.standard_normal(hours), 0.0, 40.0),
        np.clip(60.0 + 15.0 * chance.standard_normal(hours), 5.0, 99.0),
    )
    known = chance.random(hours) < 0.9
    found = weeks(logged(t, rh, known))
    emc = sorption.emc_pct(t, rh)
    plain = []
    for begin in range(0, hours - 168 + 1, 6):
        held = known[begin : begin + 168]
        if held.sum() >= 0.8 * 168:
            plain.append(emc[begin : begin + 168][held].mean())
    assert (found is None) == (not plain)
    if found is not None:
        assert [one.emc_pct for one in found] == pytest.approx([min(plain), max(plain)])


def test_hours_that_were_not_logged_have_no_say_and_a_week_of_holes_does_not_count():
    rh, known = np.full(30 * 24, 50.0), np.ones(30 * 24, bool)
    rh[200:240], known[200:240] = 1.0, False
    driest, _ = weeks(logged(np.full(len(rh), 20.0), rh, known))
    assert driest.rh_pct == pytest.approx(50.0)
    assert weeks(logged(np.full(len(rh), 20.0), rh, np.arange(len(rh)) % 2 == 0)) is None
    assert weeks(logged(np.full(167, 20.0), np.full(167, 50.0))) is None


def test_frost_is_taken_at_the_cold_end_of_the_curve():
    driest, _ = weeks(logged(np.full(200, -15.0), np.full(200, 85.0)))
    assert driest.emc_pct == pytest.approx(float(sorption.emc_pct(-2.0, 85.0)))
    assert rest(20.0, driest).mc_pct == pytest.approx(driest.emc_pct)


# --- where it rests --------------------------------------------------------------------------------


@given(st.floats(0.0, 60.0), st.floats(5.0, 35.0), st.floats(5.0, 95.0), st.floats(18.0, 32.0))
def test_wood_rests_where_the_isotherm_has_it_with_this_history(start, t, rh, fsp):
    found = rest(start, air_of("x", t, rh), fsp)
    assert found.mc_pct == pytest.approx(float(sorption.rest_pct(start, t, rh, fsp)))
    assert found.sd_mc_pct >= 0.9 * tables.constants("sorption")["emc_standard_error_mc_pct"].value


def test_between_the_two_branches_it_stays_and_the_spread_reaches_to_both():
    high = float(sorption.emc_pct(20.0, 50.0))
    found = rest(0.93 * high, air_of("x", 20.0, 50.0))
    assert found.stays and found.mc_pct == pytest.approx(0.93 * high)
    assert found.sd_mc_pct > rest(20.0, air_of("x", 20.0, 50.0)).sd_mc_pct
    assert not rest(20.0, air_of("x", 20.0, 50.0)).stays


def test_a_hygrometer_that_may_misread_widens_the_week():
    air = logged(np.full(200, 20.0), np.full(200, 50.0))
    sure, unsure = (rest(20.0, weeks(air, error)[0]).sd_mc_pct for error in (0.0, 3.0))
    assert unsure > sure
    assert weeks(air)[0].rh_error_pct == tables.limit("unchecked_hygrometer")


def test_a_heated_house_is_drier_than_a_humid_summer():
    """Wood Handbook FPL-GTR-190, 2010, Table 4-2: at 70 °F 30 %RH 6.2 %; at 75 °F 65 %RH near 12 % (70 °F: 12.0)."""
    winter, summer = promise.houses()
    assert winter.emc_pct == pytest.approx(6.2, abs=0.1)
    assert summer.emc_pct == pytest.approx(11.9, abs=0.15)
    assert "winter" in winter.name and "summer" in summer.name


# --- how far it moves ------------------------------------------------------------------------------


def test_a_piece_shrinks_to_the_dry_house_and_swells_to_the_humid_one():
    dry, wet = moved(FLAT, (7.5, 8.0, 8.5), promise.houses())
    assert dry.width_m[1] < 0 < wet.width_m[1] and dry.thickness_m[1] < 0 < wet.thickness_m[1]
    for one in (dry, wet):
        assert one.width_m[0] < one.width_m[1] < one.width_m[2]
        assert one.mc_pct[0] < one.mc_pct[1] < one.mc_pct[2]


def test_width_and_thickness_follow_the_cut():
    air = [air_of("x", 21.0, 30.0)]
    flat, quarter = moved(FLAT, (9.0, 9.0, 9.0), air)[0], moved(QUARTER, (9.0, 9.0, 9.0), air)[0]
    assert flat.width_m[1] / quarter.width_m[1] == pytest.approx(8.4 / 5.0, rel=0.03)
    assert flat.thickness_m[1] / quarter.thickness_m[1] == pytest.approx(5.0 / 8.4, rel=0.03)


def test_the_band_holds_eight_in_ten_of_boards_drawn_one_by_one():
    """Boards of their own shrinkage, of moistures about today's and about where they come to rest, and no lattice."""
    chance, n = np.random.default_rng(2), 200_000
    air = air_of("x", 21.0, 30.0)
    found, end = moved(FLAT, (9.0, 10.0, 11.0), [air])[0], rest(10.0, air)
    total = 8.4 * np.exp(np.sqrt(np.log1p(0.15**2)) * chance.standard_normal(n))
    start = 10.0 + chance.standard_normal(n) / 1.2816
    ends = end.mc_pct + end.sd_mc_pct * chance.standard_normal(n)
    drawn = 0.2 * ((1 - total / 100 * (1 - ends / 30)) / (1 - total / 100 * (1 - start / 30)) - 1)
    assert np.mean((drawn > found.width_m[0]) & (drawn < found.width_m[2])) == pytest.approx(0.8, abs=0.01)


@given(st.floats(0.01, 0.6), st.floats(0.0, 90.0), st.floats(6.0, 25.0), st.floats(0.0, 2.0), st.floats(20.0, 90.0))
def test_twice_as_wide_moves_twice_as_far_and_bands_stand_in_order(width, angle, mc, half, rh):
    airs = [air_of("x", 20.0, rh)]
    one, two = (
        moved(Plate(0.004, w, 5.0, 8.4, angle), (mc - half, mc, mc + half), airs)[0] for w in (width, 2 * width)
    )
    assert two.width_m == pytest.approx([2 * side for side in one.width_m], rel=1e-9, abs=1e-15)
    assert one.width_m[0] <= one.width_m[1] <= one.width_m[2]


def test_pieces_joined_edge_to_edge_move_as_the_sum():
    one = moved(FLAT, (7.5, 8.0, 8.5), promise.houses())[0].width_m
    both = moved(Plate(0.004, 0.4, 5.0, 8.4, 0.0), (7.5, 8.0, 8.5), promise.houses())[0].width_m
    assert joined_m([one, one]) == pytest.approx(both)  # two halves of one board are the board
    with pytest.raises(OutOfRange, match="pieces is 0"):
        joined_m([])


def test_a_timber_without_shrinkage_makes_no_promise():
    named = tables.species()
    bare = next(one for one in named.values() if one.shrinkage_radial_pct is None)
    assert promise.plate_of(bare, 0.004, 0.2, 90.0) is None
    made = promise.plate_of(named["Platanus occidentalis"], 0.004, 0.2, 90.0)
    assert (made.across_pct, made.through_pct) == (pytest.approx(5.0), pytest.approx(8.4))


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: Plate(0.0, 0.2, 5.0, 8.4, 0.0), "thickness_m is 0"),
        (lambda: Plate(0.004, -0.2, 5.0, 8.4, 0.0), "width_m is -0.2"),
        (lambda: Plate(0.004, 0.2, 5.0, 8.4, 95.0), "ring_angle_deg is 95"),
        (lambda: rest(-1.0, air_of("x", 20.0, 50.0)), "start_mc_pct is -1"),
        (lambda: moved(FLAT, (9.0, 8.0, 10.0), promise.houses()), "now_mc_pct is 8 %MC, in order; accepted: 9 to 10"),
        (lambda: air_of("x", 20.0, 101.0), "rh_pct is 101"),
        (lambda: weeks(logged(np.full(200, 20.0), np.full(200, 50.0)), -1.0), "rh_error_pct is -1"),
    ],
)
def test_what_is_impossible_is_named(call, named):
    with pytest.raises(OutOfRange, match=named):
        call()


def test_the_middle_of_the_band_is_the_change_of_the_table():
    air = air_of("x", 21.0, 30.0)
    found = moved(FLAT, (10.0, 10.0, 10.0), [air])[0]
    wanted = float(movement.change_m(0.2, 8.4, 10.0, rest(10.0, air).mc_pct))
    assert found.width_m[1] == pytest.approx(wanted, rel=0.02)  # the median of a product, not the product of medians
