"""The zero of a load cell, weigh-ins, what the weights claim, and how few of them serve a refit.

All readings are made up here. A truth that the cell is given is known to the gram, so every error is seen.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stack_on_a_cell import STACK, T0, day, dried, read, times

from kiln import drying
from kiln.errors import OutOfRange
from kiln.estimation import Datum
from kiln.likelihood import Likelihood, in_common
from kiln.load_cell import Anchor, Cell, Continuous, Kind, Tare, continuous_weight, thinned
from kiln.observations import cell_weights, weigh_in
from shared.errors import BadInput
from shared.tables import constants, find_species
from shared.units import MS_PER_DAY, MS_PER_HOUR

WALKED = [  # three weights of one zero that walks, the last with a section cut off, and one of another zero
    Datum("load cell", 0, 8.0, 0.1, common_error=0.2, common_with=-1),
    Datum("load cell", MS_PER_DAY, 8.0, 0.1, common_error=0.3, common_with=-1),
    Datum("load cell", 2 * MS_PER_DAY, 8.0, 0.1, common_error=0.4, common_with=-1, cut_dry_kg=0.5),
    Datum("load cell", 3 * MS_PER_DAY, 8.0, 0.1, common_error=0.5, common_with=-2, cut_dry_kg=0.5),
]


def misses(weight, truth_kg):
    """How far the weights are from the truth, in their stated errors."""
    return (weight.mass_kg - truth_kg) / np.hypot(weight.sd_kg, weight.common_sd_kg)


def as_data(told):
    return cell_weights(told, np.full(told.at_ms.size, -1))


def covariance(data):
    """As a refit has it [kg²]."""
    return in_common(data) + np.diag([one.error**2 for one in data])


def cell_with_all_errors(seed):
    """Twelve days of a cell whose errors are drawn as they are stated, tared at the start and after 8 days."""
    table, chance = (
        {name: one.value for name, one in constants("load_cell").items()},
        np.random.default_rng(seed + 10_000),
    )
    at, error = times(12, 60), 0.3
    walk = np.cumsum(chance.normal(size=at.size) * error * np.sqrt(np.diff(at, prepend=at[0]) / MS_PER_DAY / 30.0))
    shares = (table["creep_share"], table["zero_return_share"], table["zero_share_per_k"] * table["season_k"])
    loaded = error * chance.normal() + 800.0 * sum(share * chance.normal() for share in shares)
    middle = int(np.searchsorted(at, T0 + 8 * MS_PER_DAY))
    cell = Cell(error, tares=(Tare(int(at[0]), float(walk[0])), Tare(int(at[middle]), float(walk[middle]))))
    return at, read(at, seed) + walk + loaded, cell


def test_weights_lie_within_their_stated_error_at_the_stated_rate():
    z = []
    for seed in range(200):
        at, raw, cell = cell_with_all_errors(seed)
        weight = continuous_weight(at, raw, cell)
        z.append(misses(weight, dried(weight.at_ms))[weight.usable][::24])
    every = np.concatenate(z)
    assert 0.92 < np.mean(np.abs(every) < 2.0) < 0.985
    assert 0.85 < np.sqrt(np.mean(every**2)) < 1.1


def test_the_scatter_of_single_hours_is_as_stated():
    at = times(30, 10)
    weight = continuous_weight(at, read(at), STACK)
    z = (weight.mass_kg - dried(weight.at_ms))[48:] / weight.sd_kg[48:]
    assert np.mean(np.abs(z) < 2.0) > 0.9
    assert 0.5 < np.std(z) < 1.2


def test_a_tare_shows_how_far_the_zero_moved_and_straightens_it():
    at = times(61, 10)
    drift = 3.0 * day(at) / 60.0
    late = Tare(int(T0 + 60 * MS_PER_DAY), 3.0)
    without = continuous_weight(at, read(at) + drift, STACK)
    assert np.abs(without.mass_kg - dried(without.at_ms)).max() > 2.5  # drift that nobody saw is in the weight …
    assert any("cannot be told from drying" in note for note in without.notes)  # … and said
    weight = continuous_weight(at, read(at) + drift, Cell(0.3, tares=(*STACK.tares, late)))
    told = [event for event in weight.events if event.kind == Kind.TARE][1]
    assert told.step_kg == pytest.approx(3.0) and "up by 3 kg in 60 days" in told.sentence
    assert np.abs(weight.mass_kg - dried(weight.at_ms)).max() < 0.6
    middle, end = np.searchsorted(weight.at_ms, (T0 + 30 * MS_PER_DAY, T0 + 60 * MS_PER_DAY))
    assert weight.common_sd_kg[middle] > 1.2  # had it moved at once, the middle would be wrong by half of it
    assert weight.common_sd_kg[end - 2] < 0.5  # sure again as the next tare comes near


def test_after_the_last_tare_the_error_grows_as_the_root_of_the_time():
    at = times(91, 60)
    common = continuous_weight(at, read(at), STACK).common_sd_kg
    grown = common[[30 * 24, 90 * 24]] ** 2 - common[0] ** 2
    assert grown[1] / grown[0] == pytest.approx(3.0, rel=0.05)
    assert grown[0] == pytest.approx(0.3**2, rel=0.2)  # one stated error in 30 days


@pytest.mark.parametrize("minutes", [1, 10])
def test_nothing_on_the_cell_is_a_tare_and_makes_the_next_load_absolute(minutes):
    at = times(20, minutes)
    empty, after = (day(at) > 12.3) & (day(at) < 12.4), day(at) >= 12.4
    zero = 1.5 * day(at) / 12.0
    raw = np.where(empty, zero + 0.1 * np.random.default_rng(0).normal(size=at.size), read(at) + zero - 100.0 * after)
    weight = continuous_weight(at, raw, STACK)
    kinds = [event.kind for event in weight.events]
    assert kinds == [Kind.TARE, Kind.UNLOADED, Kind.TARE, Kind.LOAD_CHANGED]
    assert weight.events[2].step_kg == pytest.approx(1.54, abs=0.1)
    assert "its zero was seen" in weight.events[2].sentence
    assert weight.absolute.all() and weight.epoch.max() == 1
    now = weight.epoch == 1
    assert np.abs(weight.mass_kg - dried(weight.at_ms) + 100.0)[now].max() < 1.5


def test_a_weigh_in_makes_a_changed_load_absolute():
    at = times(20, 10)
    raw = read(at) + 10.0 * (day(at) > 12.3)  # a cover of 10 kg, which is not wood
    when = int(T0 + 15 * MS_PER_DAY)
    weight = continuous_weight(at, raw, Cell(0.3, STACK.tares, (Anchor(when, float(dried(when)), 0.1),)))
    assert weight.absolute.all()
    assert np.abs(weight.mass_kg - dried(weight.at_ms))[weight.usable].max() < 0.8
    assert set(weight.shares[weight.epoch == 1]) == {2} and set(weight.shares[weight.epoch == 0]) == {0}


def test_a_weigh_in_that_cannot_be_true_is_named():
    at = times(20, 10)
    when = int(T0 + 15 * MS_PER_DAY)
    weight = continuous_weight(at, read(at), Cell(0.3, STACK.tares, (Anchor(when, float(dried(when)) + 9.0, 0.5),)))
    assert any("differ by 9" in note or "differ by 8.9" in note for note in weight.notes)


def test_without_tare_or_weigh_in_nothing_is_absolute_and_nothing_is_thinned():
    at = times(5, 10)
    weight = continuous_weight(at, read(at), Cell(0.3))
    assert not weight.absolute.any() and thinned(weight, 10).mass_kg.size == 0
    assert any("Nobody has tared" in note for note in weight.notes)


@settings(max_examples=60, deadline=None)
@given(most=st.integers(1, 40), common=st.floats(0.01, 5.0), days=st.integers(1, 60), seed=st.integers(0, 99))
def test_weights_never_claim_more_together_than_their_common_error_allows_and_keep_their_changes(
    most, common, days, seed
):
    chance = np.random.default_rng(seed)
    n = 24 * days
    at = T0 + MS_PER_HOUR * np.arange(n) + MS_PER_HOUR // 2
    usable = chance.uniform(size=n) < 0.8
    usable[chance.integers(n)] = True
    yes, one = np.ones(n, dtype=bool), np.zeros(n, dtype=np.intp)
    mass, sd = 500.0 - 0.1 * np.arange(n), np.full(n, 0.1)
    weight = Continuous(at, mass, sd, np.full(n, common), one, usable, yes, one, (), ())
    few = thinned(weight, most)
    assert 1 <= few.at_ms.size <= min(most, days)
    assert few.at_ms[-1] == at[usable][-1] and np.all(np.diff(few.at_ms) > 0)
    told = covariance(as_data(few))
    assert 1.0 / np.linalg.inv(told).sum() == pytest.approx(0.1**2 / few.at_ms.size + common**2, rel=1e-4)
    assert told[0, 0] + told[-1, -1] - 2.0 * told[0, -1] == pytest.approx(0.0 if few.at_ms.size == 1 else 2 * 0.1**2)


def test_weights_and_their_changes_lie_within_what_a_refit_is_told():
    """A zero that truly walks, drawn anew 200 times: each weight, each change, and the best mean of all."""
    z, changes, means = [], [], []
    for seed in range(200):
        at, raw, cell = cell_with_all_errors(seed)
        few = thinned(continuous_weight(at, raw, cell), 12)
        off, told = few.mass_kg - dried(few.at_ms), covariance(as_data(few))
        z.append(off / np.sqrt(np.diag(told)))
        spread = np.diag(told)[1:] + np.diag(told)[:-1] - 2.0 * np.diag(told, 1)
        changes.append(np.diff(off) / np.sqrt(spread))
        inverse = np.linalg.inv(told)
        means.append((inverse @ off).sum() / np.sqrt(inverse.sum()))
        assert 1.0 / inverse.sum() > few.common_sd_kg.min() ** 2
    assert 0.85 < np.sqrt(np.mean(np.square(z))) < 1.1
    assert 0.5 < np.sqrt(np.mean(np.square(changes))) < 1.1
    assert 0.85 < np.sqrt(np.mean(np.square(means))) < 1.15


def test_the_errors_of_a_refit_hold_them_over_the_dry_mass():
    ash = find_species("Fraxinus americana")
    who = drying.Piece(ash, 0.028, 0.2, 1.2, "fresh-sawn", drying.one_spell(0.028, "shed", in_stack=True))
    bare = [replace(one, common_error=0.0) for one in WALKED]
    unknowns, mean = drying.prior(who).centre, np.full(4, 0.2)
    both = (Likelihood(who, data).errors(unknowns, mean).own for data in (WALKED, bare))
    dry_kg = np.exp(unknowns[0]) - np.array([0.0, 0.0, 0.5, 0.5])
    assert np.subtract(*both) * np.outer(dry_kg, dry_kg) == pytest.approx(
        np.array([[0.04, 0.04, 0.04, 0.0], [0.04, 0.09, 0.09, 0.0], [0.04, 0.09, 0.16, 0.0], [0.0, 0.0, 0.0, 0.25]])
    )


def test_a_load_without_a_tare_goes_by_one_weigh_in_when_they_count_apart():
    at = times(20, 10)
    raw = read(at) + 40.0 + 10.0 * (day(at) > 12.3)  # a zero that nobody saw, and a cover that is not wood
    wrong_by = {3: 0.5, 8: -0.4, 15: 0.2, 18: -0.3}
    when = [int(T0 + d * MS_PER_DAY) for d in wrong_by]
    anchors = [Anchor(one, float(dried(one)) + off, 0.5) for one, off in zip(when, wrong_by.values(), strict=True)]
    weight = continuous_weight(at, raw, Cell(0.3, anchors=tuple(reversed(anchors))), weighed_apart=True)
    assert weight.absolute.all()
    off = (weight.mass_kg - dried(weight.at_ms))[weight.usable]
    first = (weight.epoch == 0)[weight.usable]
    assert np.median(off[first]) == pytest.approx(0.5, abs=0.15), "not bent to the second"
    assert np.median(off[~first]) == pytest.approx(0.2, abs=0.15)
    assert set(weight.shares[weight.epoch == 0]) == {4} and set(weight.shares[weight.epoch == 1]) == {2}


def test_a_tared_load_takes_nothing_from_weigh_ins_that_count_apart():
    at = times(10, 10)
    when = int(T0 + 5 * MS_PER_DAY)
    weighed = Cell(0.3, STACK.tares, (Anchor(when, float(dried(when)) + 0.2, 0.01),))
    apart = continuous_weight(at, read(at), weighed, weighed_apart=True)
    np.testing.assert_array_equal(apart.mass_kg, continuous_weight(at, read(at), STACK).mass_kg)
    assert set(apart.shares) == {0}


def test_a_weigh_in_and_the_weights_that_go_by_it_share_its_error():
    """Two data of one error c know the level no better than one of them does."""
    at = times(10, 10)
    when = int(T0 + MS_PER_DAY)
    cell = Cell(0.3, anchors=(Anchor(when, float(dried(when)), 0.5),))
    few = thinned(continuous_weight(at, read(at), cell, weighed_apart=True), 10)
    together = covariance([weigh_in(when, 800.0, 0.5), *cell_weights(few, np.full(few.at_ms.size, when))])
    apart = covariance([weigh_in(when, 800.0, 0.5), *as_data(few)])
    assert 1.0 / np.linalg.inv(together).sum() == pytest.approx(0.5**2, rel=1e-6)
    assert 1.0 / np.linalg.inv(apart).sum() < 0.6 * 0.5**2


def test_thinned_takes_about_one_a_day():
    at = times(40, 10)
    few = thinned(continuous_weight(at, read(at), STACK), 1000)
    assert few.at_ms.size == 40
    assert np.abs(few.mass_kg - dried(few.at_ms)).max() < 0.4


def test_bad_input_is_named():
    at = times(1, 10)
    with pytest.raises(BadInput, match="at_ms"):
        continuous_weight(at[::-1], read(at), STACK)
    with pytest.raises(BadInput, match="raw_kg"):
        continuous_weight(at, read(at)[:-1], STACK)
    with pytest.raises(OutOfRange, match="error_kg"):
        Cell(0.0)
    with pytest.raises(OutOfRange, match="anchor error_kg"):
        Cell(0.1, anchors=(Anchor(T0, 5.0, -1.0),))
    with pytest.raises(BadInput, match="most"):
        thinned(continuous_weight(at, read(at), STACK), 0)


def test_no_readings_and_readings_that_are_not_numbers_are_passed_over():
    assert continuous_weight(np.zeros(0, dtype=np.int64), np.zeros(0), STACK).mass_kg.size == 0
    at = times(5, 10)
    raw = read(at)
    some = np.arange(at.size) % 7 == 3
    weight = continuous_weight(at, np.where(some, np.nan, raw), STACK)
    np.testing.assert_array_equal(weight.mass_kg, continuous_weight(at[~some], raw[~some], STACK).mass_kg)


def test_a_stack_put_on_board_by_board_after_the_tare_is_absolute():
    at = times(10, 10)
    share = np.clip((day(at) * 24.0).astype(int) / 5.0, 0.2, 1.0)  # a fifth each hour
    weight = continuous_weight(at, read(at) * share, Cell(0.3, tares=(Tare(T0 - MS_PER_HOUR, 0.0),)))
    assert weight.epoch[-1] >= 1 and weight.absolute[-100:].all()
    assert not any("neither a tare" in note for note in weight.notes)


def test_a_zero_that_wanders_far_is_followed_from_spell_to_spell():
    at = times(20, 10)
    zero = 0.2 * day(at) / 20.0  # kg, of a board of 4 kg; nothing on it is known to within 0.08 kg
    empty = (day(at) > 2.0) & (day(at) % 4.0 < 0.1)
    raw = zero + np.where(empty, 0.0, 4.0) + 0.002 * np.random.default_rng(0).normal(size=at.size)
    weight = continuous_weight(at, raw, Cell(0.003, tares=(Tare(T0, 0.0),)))
    assert sum(event.kind == Kind.UNLOADED for event in weight.events) == 4
    assert np.abs(weight.mass_kg - 4.0)[day(weight.at_ms) < 16.0].max() < 0.02
