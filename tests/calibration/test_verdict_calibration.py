"""The scoring of docs/verdicts.md by itself, the truth it holds verdicts against, and one small yard."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import truth
import verdict_boards
import verdict_scoring as scoring
import verdict_summary as summary
import verdict_truth
from verdict_boards import BOARD, PLATE

from kiln import fitness, forecast, meters, observations, readiness
from kiln.records import Word

PLATES, ONE_BOARD = 0, 1  # numbers of lots


@cache
def yard():
    """Three plates and a board, asked about on two days each."""
    some = {kind: verdict_boards.lot(number, seed=2) for kind, number in ((PLATE, PLATES), (BOARD, ONE_BOARD))}
    return some, {PLATE: scoring.lot_scores(some[PLATE], [4, 44]), BOARD: scoring.lot_scores(some[BOARD], [12, 144])}


def steady(one, rh_pct, *, days=400):
    """The same piece, and its companion, after a long time in one steady air."""
    use = one.shared.use
    hours = days * 24
    wood = one.wood._replace(start=0.2, wet_core=0.0)
    t, rh = np.full(hours, use.destination_temperature_c), np.full(hours, rh_pct / 100.0)
    course = truth.dry(wood, t, rh, np.ones(hours))
    return replace(one, course=course, resting=course, shared=replace(one.shared, before_days=0))


def test_a_bin_tells_its_share_and_its_errors():
    """Worked by hand: of four that are said with 0.95 on average three are so: binomial sqrt(3/4 · 1/4 / 4)."""
    found = summary.reliability([0.05, 0.9, 0.9, 1.0, 1.0], [False, True, True, False, True], [7, 1, 1, 2, 3])
    low, high = found
    assert (low.low, low.n, low.true, low.stated) == (0.0, 1, 0.0, 0.05)
    assert (high.low, high.high, high.n, high.groups) == (0.9, 1.0, 4, 3)
    assert high.apart == pytest.approx(0.75 - 0.95)
    assert high.binomial == pytest.approx(np.sqrt(0.75 * 0.25 / 4))
    # What each is off, less the mean of all: 0.3, 0.3 in one lot, -0.8 and 0.2 in two.
    assert high.clustered == pytest.approx(np.sqrt(0.6**2 + 0.8**2 + 0.2**2) / 4)


def test_chances_that_are_as_they_say_are_found_so_and_others_are_not():
    rng = np.random.default_rng(3)
    chance = rng.uniform(0.0, 1.0, 6000)
    came = rng.uniform(0.0, 1.0, 6000) < chance
    group = np.arange(6000)
    assert all(abs(one.apart) < 4.0 * one.clustered for one in summary.reliability(chance, came, group))
    bold = summary.reliability(chance**0.5, came, group)
    assert max(abs(one.apart) for one in bold) > 0.1


def test_core_and_shell_of_a_parabola():
    """By its integral: mean 2/3; middle third 1 - (1/3)²/3; outer fifth of the half 1 - (1 - 0.8³) / (3 · 0.2)."""
    place = truth.positions_m(1.0, 200, 1.6)
    mean, core, shell = verdict_truth.through(10.0 * (1.0 - place**2))
    assert mean == pytest.approx(20.0 / 3.0, abs=0.005)
    assert core == pytest.approx(10.0 * (1.0 - 1.0 / 27.0), abs=0.005)
    assert shell == pytest.approx(10.0 * (1.0 - (1.0 - 0.8**3) / 0.6), abs=0.01)


def test_a_bag_reads_the_isotherm_backwards():
    """Wood Handbook FPL-GTR-282, 2021, Table 4-2: 9.2 %MC at 21.1 °C and 50 %RH."""
    assert verdict_boards.rh_pct_of(0.092, 21.1) == pytest.approx(50.0, abs=0.6)


def test_wood_long_in_the_air_of_its_use_is_truly_fit():
    plate = verdict_boards.lot(PLATES, seed=2)[0]
    at_rest = verdict_truth.true_fitness(steady(plate, plate.shared.use.destination_rh_pct), 300)
    assert at_rest.off_pct == pytest.approx(0.0, abs=0.05)
    assert (at_rest.fit, at_rest.room) == (True, True)
    assert at_rest.drift_pct == pytest.approx(0.0, abs=1e-3)


def test_wood_at_rest_in_damp_air_is_fit_by_neither_moisture_nor_room():
    plate = verdict_boards.lot(PLATES, seed=2)[0]
    damp = verdict_truth.true_fitness(steady(plate, plate.shared.use.destination_rh_pct + 15.0), 300)
    assert (damp.moisture, damp.too_wet, damp.room, damp.fit) == (False, True, False, False)
    assert (damp.level, damp.steady) == (True, True)
    assert damp.over_pct == pytest.approx(damp.rest_pct - verdict_truth.target_pct(plate) - 1.0, abs=0.05)


def test_of_what_a_board_moved_the_lesser_counts():
    some, _ = yard()
    one = some[BOARD][0]
    use, at, here = one.shared.use, one.shared.out_days + 40, one.shared.before_days + 40
    days = round(use.steady_days)
    moved = one.mean_pct[at] - one.mean_pct[at - days]
    own = moved - (one.resting.mean_pct[here] - one.resting.mean_pct[here - days])
    found = verdict_truth.true_drift_pct(one, 40)
    assert abs(found) == pytest.approx(min(abs(moved), abs(own)))
    assert found in (pytest.approx(moved), pytest.approx(own))


def test_nothing_is_told_of_what_comes():
    some, _ = yard()
    for one in (*some[PLATE], *some[BOARD]):
        asked = one.question(12)
        now_ms = one.shared.moved_ms + 12 * 86_400_000
        assert asked.way.end_ms == asked.record.end_ms == now_ms
        assert asked.way.at_ms[0] == one.shared.start_ms
        assert all(datum.at_ms <= now_ms for datum in asked.data)
        assert not np.array_equal(asked.record.rh_pct, one.shared.room[1][: len(asked.record.rh_pct)])


def test_boards_of_a_lot_are_alike_and_not_the_same():
    first, second, third = verdict_boards.lot(PLATES, seed=2)
    assert len({one.wood.density_kg_m3 for one in (first, second, third)}) == 3
    assert first.shared.room[0] is not None
    assert first.shared.use == second.shared.use
    again = verdict_boards.lot(PLATES, seed=2)[0]
    assert again.wood == first.wood
    assert np.array_equal(again.mean_pct, first.mean_pct)


def test_a_board_fresh_from_outdoors_is_not_called_fit_and_a_chance_is_stated():
    some, scores = yard()
    alone, sets, courses = scores[PLATE]
    early = [one for one in alone if one.day == 4]
    assert len(early) == 3
    assert not any(scoring.is_ready(one.word) for one in early)
    assert all(0.0 <= one.chance <= 1.0 for one in alone)
    assert [(one.pieces, one.day) for one in sets] == [(2, 4), (3, 4), (2, 44), (3, 44)]
    known = [(both.chance, three.chance) for both, three in zip(sets[::2], sets[1::2], strict=True) if both.chance]
    assert known and all(both >= (three or 0.0) for both, three in known)
    assert all(
        one.share <= min(each.share for each in alone if each.day == one.day) + 1e-9 for one in sets if one.pieces == 3
    )
    assert [one.board for one in courses] == [one.number for one in some[PLATE]]


def test_the_chance_follows_what_truly_happens():
    """Most boards are unfit after some days and fit after many: what is stated goes the same way."""
    _, scores = yard()
    alone = [one for kind in (PLATE, BOARD) for one in scores[kind][0]]
    early, late = ([one for one in alone if one.day in days] for days in ((4, 12), (44, 144)))
    assert not any(one.fit for one in early)
    assert np.mean([one.chance for one in early]) < 0.2
    assert np.mean([one.chance for one in late]) - np.mean([one.chance for one in early]) > 0.3


def test_without_a_hygrometer_that_was_checked_no_plate_is_ready():
    some, scores = yard()
    one, said = some[PLATE][0], scores[PLATE][0][-1]
    made = scoring.forecast.project(one.question(44), days=scoring.LOOK_AHEAD_DAYS)
    case = scoring.case_of(one, made, 44)
    unchecked = readiness.judge(replace(case, air_checked_since_ms=None))
    assert unchecked.word not in (Word.READY, Word.DRY_ENOUGH)
    assert said.checked == (case.air_checked_since_ms is not None)


def test_pins_take_nothing_from_a_board_whose_core_is_told_without_them():
    """Two readings err by 2.4 %MC of what core and shell differ by (drying.csv), and 1 or 2 are allowed."""
    one = yard()[0][BOARD][0]
    asked, day = one.question(144), one.shared.moved_ms + 143 * 86_400_000
    thickness_m = one.piece.thickness_m
    pins = tuple(
        observations.pin(day, share * thickness_m / 2.0, meters.Pin(shown, 21.1, thickness_m=thickness_m))
        for share, shown in ((0.25, 8.0), (0.95, 9.5))
    )
    read = replace(asked, data=(*(datum for datum in asked.data if datum.at_ms < day), *pins))
    resawn = replace(read, piece=replace(one.piece, origin="re-sawn"))
    forever = 1e6
    assert fitness.pin_gap(read, forever) is None
    gap, error = fitness.pin_gap(resawn, forever)
    assert error > one.shared.use.gradient_mc_pct
    assert gap == pytest.approx(1.5 * fitness.CORE_LESS_SHELL / (0.75**2 - 0.05**2))
    level = forecast.project(read, days=scoring.LOOK_AHEAD_DAYS).chance_level
    assert verdict_truth.true_fitness(one, 144).level
    assert level > 0.9


def course(kind, fit_day, ready_day, sure_day, *, checked=True):
    return scoring.Course(0, kind, checked, fit_day, ready_day, sure_day)


def test_a_delay_counts_boards_that_were_never_called():
    some = [course(PLATE, 10.0, ready, 12.0) for ready in (8.0, 14.0, np.inf, np.inf)]
    some.append(course(PLATE, np.inf, np.inf, np.inf))  # never fit: not late either
    (found,) = summary.delays(some, {PLATE: 48})
    assert (found.boards, found.called, found.early) == (4, 2, 1)
    assert found.quartiles == (-2.0, 4.0, np.inf)
    assert found.sure_quartiles == (2.0, 2.0, 2.0)


def test_what_ready_was_worth_is_told_by_its_worst():
    _, scores = yard()
    one = scores[PLATE][0][0]._replace(word=str(Word.READY), drift_pct=0.1, apart_pct=-0.4)
    right = one._replace(fit=True, over_pct=-0.5, true=(True,) * 4)
    wrong = one._replace(lot=9, fit=False, over_pct=0.7, true=(False, True, True, True))
    found = summary.called([right, right, right, wrong], summary.said_ready)
    assert (found.n, found.right, found.worst_over_pct, found.missed) == (4, 0.75, 0.7, {"moisture": 1})
    assert found.worst_apart_pct == pytest.approx(0.4)
    assert summary.called([right._replace(word=str(Word.WAIT))], summary.said_ready) is None


def test_where_it_stands_is_told_by_its_middle_and_its_band():
    found = summary.stands([((0.0, 1.0, 2.0), 0.5, 1), ((0.0, 1.0, 2.0), 2.5, 1), ((0.0, 1.0, 2.0), -0.5, 2)])
    assert (found.n, found.lots, found.held) == (3, 2, pytest.approx(1.0 / 3.0))
    assert (found.below, found.above) == (pytest.approx(1.0 / 3.0), pytest.approx(1.0 / 3.0))
    assert found.off_pct == pytest.approx((0.5 - 1.5 + 1.5) / 3.0)
    assert summary.stands([]) is None


def test_a_booking_is_right_when_the_wood_is_then_too_wet():
    _, scores = yard()
    one = scores[PLATE][0][0]
    some = [one._replace(warned=w, wet_when_booked=t) for w, t in ((True, True), (True, False), (False, True))]
    found = summary.bookings([*some, one._replace(warned=True, wet_when_booked=True)])
    assert (found.stops, found.right, found.wet, found.warned) == (3, 2, 3, 2)
