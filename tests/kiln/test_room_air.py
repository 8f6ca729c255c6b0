"""The air of a sprayed room: closed forms against a solver of differential equations, the bound against lateness."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from kiln.errors import OutOfRange
from kiln.mixtures import Basis, Ingredient, Mixture
from kiln.room_air import Room, Spraying, course, greatest_rate
from shared.errors import BadInput
from shared.tables import find_substance

TOLUENE = Mixture((Ingredient("toluene", 1.0, 1.0, find_substance("toluene")),), Basis.VOLUME, None, False, False)
ROOM = Room(50.0, 0.5, 3.0, 20.0, 101_325.0)
PARCELS = 100  # that a spraying is cut into
PER_M3 = 1e6  # of whatever is followed, in a m³ of liquid


def coat(start_s=0.0, duration_s=600.0, liquid_m3=1e-3, dry_after_s=1800.0, extraction_on=True):
    return Spraying(start_s, duration_s, liquid_m3, TOLUENE, dry_after_s, extraction_on)


rooms = st.builds(
    Room,
    st.floats(5.0, 500.0),
    st.one_of(st.none(), st.floats(0.0, 5.0)),
    st.floats(3.0, 10.0),
    st.floats(5.0, 35.0),
    st.floats(70_000.0, 105_000.0),
)
coats = st.builds(
    coat,
    st.floats(0.0, 20_000.0),
    st.floats(30.0, 7200.0),
    st.floats(1e-5, 5e-3),
    st.one_of(st.none(), st.floats(60.0, 40_000.0)),
    st.booleans(),
)
several = st.lists(coats, min_size=1, max_size=4)


def all_at_once(room, sprayings):
    """Everything that is sprayed, in the room's air at one time."""
    return sum(one.liquid_m3 * PER_M3 for one in sprayings) / room.volume_m3


def followed(room, sprayings, *, late=False):
    return course(room, sprayings, [PER_M3] * len(sprayings), late=late)


def extracts(sprayings, at_s):
    """Told again, plainly: off while a gun is at work that says so, else as said by those taken up last."""
    begun = [one for one in sprayings if one.start_s <= at_s]
    if not begun:
        return True
    newest = [one for one in begun if one.start_s == max(each.start_s for each in begun)]
    return all(one.extraction_on for one in [*newest, *(one for one in begun if at_s < one.end_s)])


def solved(room, sprayings, times_s):
    """The box model by scipy, between steps of rate and extraction."""
    edges = sorted({edge for one in sprayings for edge in (one.start_s, one.end_s)} | {0.0, float(times_s[-1])})
    values, held = np.zeros(len(times_s)), 0.0
    for begin, end in pairwise(edges):
        middle = 0.5 * (begin + end)
        rate = sum(one.liquid_m3 * PER_M3 / one.duration_s for one in sprayings if one.start_s <= middle < one.end_s)
        flow = (room.extraction_m3_s or 0.0) / room.mixing_factor if extracts(sprayings, middle) else 0.0
        inside = (times_s >= begin) & (times_s <= end)
        found = solve_ivp(
            lambda _, c, g=rate, q=flow: (g - q * c) / room.volume_m3,
            (begin, end),
            [held],
            dense_output=True,
            rtol=1e-9,
            atol=1e-9,
        )
        if inside.any():
            values[inside] = found.sol(times_s[inside])[0]
        held = found.y[0][-1]
    return values


@settings(max_examples=40, deadline=None)
@given(rooms, several)
def test_as_sprayed_solves_the_box_model(room, sprayings):
    times_s = np.linspace(0.0, 50_000.0, 300)
    mine = followed(room, sprayings).at(times_s)
    assert mine == pytest.approx(solved(room, sprayings, times_s), rel=1e-6, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(rooms, several, st.data())
def test_no_lateness_within_the_drying_time_goes_above_at_most(room, sprayings, data):
    """Each parcel evaporates after a delay of its own, and from then on is carried off as the box model says."""
    times_s = np.linspace(0.0, 60_000.0, 121)
    edges_s = [edge for one in sprayings for edge in (one.start_s, one.end_s)]
    grid_s = np.union1d(np.linspace(0.0, 60_000.0, 61), edges_s)
    mid_s = 0.5 * (grid_s[1:] + grid_s[:-1])
    rate = np.array([(room.extraction_m3_s or 0.0) * extracts(sprayings, t) for t in mid_s])
    carried = np.concatenate(([0.0], np.cumsum(rate * np.diff(grid_s)))) / (room.mixing_factor * room.volume_m3)
    total = np.zeros(len(times_s))
    for one in sprayings:
        delays = data.draw(st.lists(st.floats(0.0, 1.0), min_size=5, max_size=5))
        longest_s = 1e5 if one.dry_after_s is None else one.dry_after_s
        for part in range(PARCELS):
            share = delays[part * len(delays) // PARCELS]
            begun_s = one.start_s + (part + 0.5) / PARCELS * one.duration_s
            off_s = begun_s + share * longest_s
            gone = np.interp(times_s, grid_s, carried) - np.interp(off_s, grid_s, carried)
            left = np.exp(-np.maximum(gone, 0.0))
            total += np.where(times_s >= off_s, one.liquid_m3 * PER_M3 / PARCELS / room.volume_m3 * left, 0.0)
    # A hundred parcels stand for a steady spray; one of each delay may be ahead of it by a whole parcel.
    parcel = max(5.0 * one.liquid_m3 * PER_M3 / room.volume_m3 / PARCELS for one in sprayings)
    assert np.all(total <= followed(room, sprayings, late=True).at(times_s) + len(sprayings) * parcel + 1e-9)


@settings(max_examples=100, deadline=None)
@given(rooms, several)
def test_at_most_is_never_below_as_sprayed_nor_above_all_at_once(room, sprayings):
    times_s = np.linspace(-100.0, 100_000.0, 2000)
    low, high = (followed(room, sprayings, late=late).at(times_s) for late in (False, True))
    everything = all_at_once(room, sprayings)
    assert np.all(low >= 0.0)
    assert np.all(high >= low * (1.0 - 1e-9) - 1e-9)
    assert np.all(high <= everything * (1.0 + 1e-9))


@settings(max_examples=60, deadline=None)
@given(several)
def test_a_closed_room_keeps_all_that_was_sprayed(sprayings):
    closed = replace(ROOM, extraction_m3_s=None)
    everything = all_at_once(closed, sprayings)
    for late in (False, True):
        assert followed(closed, sprayings, late=late).at(np.array([200_000.0]))[0] == pytest.approx(everything)


@settings(max_examples=60, deadline=None)
@given(rooms, several)
def test_what_left_and_what_is_left_are_what_was_sprayed(room, sprayings):
    """Mass balance of the box: what was carried off is Q/K times the time integral of C while extraction runs."""
    running = [replace(one, extraction_on=True) for one in sprayings]
    end_s = np.array([90_000.0])
    one = followed(room, running)
    gone = room.change_per_s * one.passed(end_s)[0]
    everything = all_at_once(room, running)
    assert gone + one.at(end_s)[0] == pytest.approx(everything, rel=1e-9)


@settings(max_examples=60, deadline=None)
@given(rooms, several, st.booleans())
def test_peaks_and_means_are_the_greatest_there_are(room, sprayings, late):
    found = followed(room, sprayings, late=late)
    times_s = np.linspace(0.0, 150_000.0, 20_001)
    values = found.at(times_s)
    peak = found.peak()
    assert peak >= values.max() * (1.0 - 1e-9)
    assert peak == pytest.approx(found.at(np.append(times_s, found.knots_s)).max(), rel=2e-2)
    for window_s in (900.0, 28_800.0):
        passed = found.passed(np.concatenate((times_s - window_s, times_s)))
        means = (passed[len(times_s) :] - passed[: len(times_s)]) / window_s
        best = found.greatest_mean(window_s)
        assert best >= means.max() * (1.0 - 1e-6)
        assert best <= peak * (1.0 + 1e-9)


@settings(max_examples=40, deadline=None)
@given(rooms, several, st.booleans())
def test_the_time_integral_is_that_of_the_curve(room, sprayings, late):
    found = followed(room, sprayings, late=late)
    times_s = np.union1d(np.linspace(0.0, 80_000.0, 80_001), found.knots_s[found.knots_s <= 80_000.0])
    whole = np.trapezoid(found.at(times_s), times_s)
    assert found.passed(np.array([80_000.0]))[0] == pytest.approx(whole, rel=1e-4)


@settings(max_examples=60, deadline=None)
@given(rooms, several, st.floats(1e-3, 1.0))
def test_below_means_below_from_then_on(room, sprayings, share):
    found = followed(room, [replace(one, dry_after_s=one.dry_after_s or 600.0) for one in sprayings], late=True)
    limit = share * found.peak()
    below_s = found.below_s(limit)
    if below_s is None:
        assert found.at(np.array([1e9]))[0] >= limit * (1.0 - 1e-9)
        return
    assert below_s >= found.knots_s[-1]
    assert np.all(found.at(below_s + np.geomspace(1.0, 1e6, 50)) <= limit * (1.0 + 1e-9))
    if below_s > found.knots_s[-1]:
        assert found.at(np.array([below_s]))[0] == pytest.approx(limit)


def test_hardly_any_extraction_goes_over_into_none():
    times_s = np.linspace(0.0, 10_000.0, 101)
    none = followed(replace(ROOM, extraction_m3_s=0.0), [coat()], late=True)
    for little in (1e-18, 1e-12, 1e-7):
        hardly = followed(replace(ROOM, extraction_m3_s=little), [coat()], late=True)
        assert hardly.at(times_s) == pytest.approx(none.at(times_s), rel=max(little * 1e3, 1e-12))
        assert hardly.greatest_mean(900.0) == pytest.approx(none.greatest_mean(900.0), rel=max(little * 1e3, 1e-9))
        assert np.isfinite(hardly.passed(times_s)).all()


def test_extraction_that_stops_in_the_middle_makes_no_jump():
    sprayings = [coat(), coat(300.0, 900.0, extraction_on=False)]
    found = followed(ROOM, sprayings)
    for knot in found.knots_s:
        before, after = found.at(np.array([knot - 1e-6, knot + 1e-6]))
        assert after == pytest.approx(before, abs=1e-3)
    assert list(found.change_per_s > 0.0) == [True, False, False, False]


def test_a_gun_that_says_on_again_starts_the_extraction():
    found = followed(ROOM, [coat(extraction_on=False), coat(3600.0)])
    assert list(found.change_per_s > 0.0) == [False, False, True, True]


def test_with_no_drying_time_nothing_ever_leaves():
    found = followed(ROOM, [coat(dry_after_s=None)], late=True)
    assert found.at(np.array([1e7]))[0] == pytest.approx(all_at_once(ROOM, [coat()]))
    assert found.below_s(1e-3) is None


def test_a_film_that_is_sprayed_over_while_wet_stays_wet_with_it():
    """Coat upon coat, each before the last is dry: until the last is dry all of them may still be there."""
    coats = [coat(0.0), coat(1500.0), coat(3000.0)]
    dry_s = coats[-1].dry_s
    found = followed(ROOM, coats, late=True)
    assert found.at(np.array([coats[-1].end_s]))[0] == pytest.approx(all_at_once(ROOM, coats))
    first = followed(ROOM, coats[:1], late=True).at(np.array([dry_s]))[0]
    alone = followed(ROOM, coats[2:], late=True).at(np.array([dry_s]))[0]
    assert found.at(np.array([dry_s]))[0] > alone + 2.0 * first
    waited = followed(ROOM, [coat(0.0), coat(2400.0)], late=True)  # dry to the second
    apart = followed(ROOM, [coat(0.0)], late=True).at(waited.knots_s) + followed(ROOM, [coat(2400.0)], late=True).at(
        waited.knots_s
    )
    assert waited.at(waited.knots_s) == pytest.approx(apart)


def test_a_wet_film_under_one_of_unknown_drying_time_never_leaves():
    found = followed(ROOM, [coat(0.0), coat(900.0, dry_after_s=None)], late=True)
    assert found.at(np.array([1e7]))[0] == pytest.approx(all_at_once(ROOM, [coat(), coat()]))


def test_a_peak_between_two_steps_is_found():
    """Much dries while a little more is sprayed: the whole rises until more is carried off than comes."""
    windy = replace(ROOM, extraction_m3_s=5.0)
    coats = [coat(liquid_m3=5e-3), coat(1000.0, 60.0, 1e-5), coat(2861.0, 560.0, 3.4e-3)]
    found = followed(windy, coats, late=True)
    at_knots, between = found.at(found.knots_s).max(), found.at(np.linspace(0.0, 5000.0, 50_001)).max()
    assert between > 1.001 * at_knots
    assert found.peak() == pytest.approx(between, rel=1e-6)
    assert found.peak() >= between


def test_a_short_mean_is_found_among_weeks():
    """Two coats weeks apart: what is looked through is long, and the 15 minutes that count are short."""
    windy = replace(ROOM, extraction_m3_s=2.0)
    found = followed(windy, [coat(0.0, 900.0), coat(25.0 * 86_400.0, 900.0, 5e-4)])
    seconds = found.at(np.arange(0.0, 6000.0, 0.5))
    assert found.greatest_mean(900.0) == pytest.approx(
        np.convolve(seconds, np.ones(1800) / 1800.0, mode="valid").max(), rel=1e-4
    )


def test_before_the_first_coat_there_is_nothing():
    assert followed(ROOM, [coat(100.0)], late=True).at(np.array([-5.0, 99.0])) == pytest.approx(0.0)


def test_guns_at_work_together_add_up():
    sprayings = [coat(), coat(300.0), coat(5000.0)]
    one = greatest_rate([coat()], [PER_M3])
    assert greatest_rate(sprayings, [PER_M3] * 3) == pytest.approx(2.0 * one)
    # one gun laid down as the other is taken up is no overlap
    assert greatest_rate([coat(), coat(600.0)], [PER_M3] * 2) == pytest.approx(one)


@pytest.mark.parametrize(
    ("field", "wrong"),
    [
        ("volume_m3", 0.0),
        ("volume_m3", float("nan")),
        ("extraction_m3_s", -1.0),
        ("mixing_factor", 1.0),
        ("mixing_factor", 2.9),
        ("mixing_factor", 11.0),
        ("temperature_c", 45.0),
        ("temperature_c", -5.0),
        ("pressure_pa", 101.3),
    ],
)
def test_a_room_that_is_none_is_refused(field, wrong):
    with pytest.raises(OutOfRange, match=field):
        replace(ROOM, **{field: wrong})


@pytest.mark.parametrize(
    ("field", "wrong"),
    [("duration_s", 0.0), ("liquid_m3", -1.0), ("liquid_m3", 20.0), ("dry_after_s", 0.0), ("start_s", float("nan"))],
)
def test_a_spraying_that_is_none_is_refused(field, wrong):
    with pytest.raises(BadInput, match=field):
        replace(coat(), **{field: wrong})


def test_no_sprayings_are_refused():
    with pytest.raises(BadInput, match="sprayings"):
        course(ROOM, [], [], late=False)
