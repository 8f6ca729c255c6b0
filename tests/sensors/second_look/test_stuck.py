"""The second look at runs of one figure: what is stuck, what is calm or saturated air, and what late data changes."""

from __future__ import annotations

from one_probe import DAY, RH, SPIKE, STUCK, T0, C, both, every, flagged, flags, row, take, wandering

from shared.store import Store, readings
from shared.store.records import Quantity
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE


def test_a_humidity_that_stays_while_the_temperature_moves_is_stuck_from_its_first_reading(ready: Store) -> None:
    moving = wandering(2 * DAY, 15, 4)
    rh = wandering(2 * DAY, 60, 6)
    rh[50:150] = [62.3] * 100
    assert both(ready, moving, rh) == 100
    assert flagged(ready, RH) == dict.fromkeys(range(50, 150), STUCK)
    assert flagged(ready, C) == {}


def test_a_temperature_that_stays_while_the_humidity_moves_is_stuck(ready: Store) -> None:
    t = wandering(2 * DAY, 15, 4)
    t[50:150] = [14.7] * 100
    both(ready, t, wandering(2 * DAY, 60, 9))
    assert flagged(ready, C) == dict.fromkeys(range(50, 150), STUCK)
    assert flagged(ready, RH) == {}


def test_both_still_for_more_than_a_day_are_both_stuck_and_for_less_neither_is(ready: Store) -> None:
    for days, expected in ((0.9, 0), (1.2, 2 * round(1.2 * DAY))):
        start = 200 + round(days * DAY)
        t, rh = wandering(3 * DAY, 15, 4), wandering(3 * DAY, 60, 6)
        t[200:start], rh[200:start] = [14.7] * (start - 200), [62.3] * (start - 200)
        offset = round(days * 100) * MS_PER_DAY
        rows = every(10, t, C, T0 + offset) + every(10, rh, RH, T0 + offset)
        assert take(ready, rows) == expected


def test_a_figure_may_stay_for_half_a_day_or_while_nothing_else_moves(ready: Store) -> None:
    rh = wandering(2 * DAY, 60, 6)
    rh[50:120] = [62.3] * 70  # 11.5 hours
    assert both(ready, wandering(2 * DAY, 15, 4), rh) == 0
    rh[50:180] = [62.3] * 130
    rows = every(10, wandering(2 * DAY, 15, 0.5), C, T0 + 9 * MS_PER_DAY) + every(10, rh, RH, T0 + 9 * MS_PER_DAY)
    assert take(ready, rows) == 0


def test_saturated_air_is_not_stuck(ready: Store) -> None:
    for top in (99.5, 100.0, 102.0):
        rows = every(10, wandering(3 * DAY, 5, 4), C, T0 + round(top * 10) * MS_PER_DAY)
        rows += every(10, [top] * (3 * DAY), RH, T0 + round(top * 10) * MS_PER_DAY)
        assert take(ready, rows) == 0
    rows = every(10, wandering(3 * DAY, 5, 4)) + every(10, [99.4] * (3 * DAY), RH)
    assert take(ready, rows) == 3 * DAY


def test_a_probe_that_stopped_in_saturated_air_is_told_by_its_temperature(ready: Store) -> None:
    assert both(ready, [6.3] * (2 * DAY), [100.0] * (2 * DAY)) == 2 * DAY
    assert set(flagged(ready, C).values()) == {STUCK} and flagged(ready, RH) == {}


def test_a_probe_of_whole_numbers_is_given_twice_the_time_and_the_move(ready: Store) -> None:
    rh = [float(round(one)) for one in wandering(4 * DAY, 45, 6)]
    rh[100:220] = [45.0] * 120  # 20 hours
    assert both(ready, wandering(4 * DAY, 18, 4), rh) == 0
    late = [row(RH, T0 + 99 * 10 * MS_PER_MINUTE + 1, 45.3), row(RH, T0 + 99 * 10 * MS_PER_MINUTE + 2, 44.9)]
    assert take(ready, late) == 120  # a decimal right before the run: it has one, and did not use it


def test_what_a_probe_said_long_before_or_after_does_not_tell_how_finely_it_reads(ready: Store) -> None:
    """20 hours at a whole figure, and a decimal 2 or 20 hours before them and after."""
    moving = every(10, wandering(6 * DAY, 18, 4))
    for number, (away_h, expected) in enumerate(((2, 121), (20, 0))):
        start = T0 + (40 * number + 1) * MS_PER_DAY
        rows = [row(RH, start - away_h * MS_PER_HOUR, 44.6), row(RH, start + (20 + away_h) * MS_PER_HOUR, 45.8)]
        rows += every(10, [45.0] * 121, RH, start)
        shifted = [row(C, one.at_ms + 40 * number * MS_PER_DAY, one.value) for one in moving]
        assert take(ready, shifted + rows) == expected


def test_the_hour_in_which_a_run_ends_does_not_count(ready: Store) -> None:
    """More than half a day from a full hour on is known when the thirteenth hour is over."""
    take(ready, every(10, wandering(2 * DAY, 15, 4)))
    assert take(ready, every(10, [62.3] * (12 * 6 + 6), RH)) == 0
    assert take(ready, [row(RH, T0 + 13 * MS_PER_HOUR - 1, 62.3)]) == 0
    assert take(ready, [row(RH, T0 + 13 * MS_PER_HOUR, 62.3)]) == 12 * 6 + 6 + 2


def test_a_long_silence_between_two_same_figures_proves_nothing(ready: Store) -> None:
    rows = every(10, wandering(3 * DAY, 15, 4))
    rows += [row(RH, T0 + hour * MS_PER_HOUR, 62.3) for hour in (*range(6), *range(30, 36), *range(60, 66))]
    assert take(ready, rows) == 0


def test_a_few_readings_of_the_same_figure_prove_nothing(ready: Store) -> None:
    rows = every(10, wandering(2 * DAY, 15, 4))
    rows += [row(RH, T0 + round(4.5 * hour * MS_PER_HOUR), 62.3) for hour in range(5)]
    assert take(ready, rows) == 0


def test_a_late_reading_of_the_same_figure_can_be_the_one_that_makes_them_enough(ready: Store) -> None:
    minutes = [0, 20, *range(100, 900, 80)]
    take(ready, every(10, wandering(2 * DAY, 15, 4)) + [row(RH, T0 + at * MS_PER_MINUTE, 62.3) for at in minutes])
    assert flagged(ready, RH) == {}
    assert take(ready, [row(RH, T0 + 10 * MS_PER_MINUTE, 62.3)]) == len(minutes) + 1


def test_a_late_reading_of_another_figure_lifts_the_flags_of_what_is_then_too_short(ready: Store) -> None:
    rh = wandering(2 * DAY, 60, 6)
    rh[50:150] = [62.3] * 100
    both(ready, wandering(2 * DAY, 15, 4), rh)
    assert len(flagged(ready, RH)) == 100
    assert take(ready, [row(RH, T0 + 100 * 10 * MS_PER_MINUTE + 1, 61.8)]) == 100
    assert flagged(ready, RH) == {}


def test_a_spike_does_not_free_a_stuck_probe(ready: Store) -> None:
    rh = wandering(2 * DAY, 60, 6)
    rh[50:150] = [62.3] * 100
    rh[100] = 99.0
    both(ready, wandering(2 * DAY, 15, 4), rh)
    assert flagged(ready, RH) == dict.fromkeys(range(50, 150), STUCK) | {100: SPIKE}


def test_a_spike_that_late_data_makes_a_reading_like_others_ends_the_run(ready: Store) -> None:
    rh = wandering(2 * DAY, 60, 6)
    rh[50:150] = [62.3] * 100
    rh[100] = 99.0
    both(ready, wandering(2 * DAY, 15, 4), rh)
    late = [row(RH, T0 + (1000 + minute) * MS_PER_MINUTE, 99.0) for minute in (1, 2, 3)]
    assert take(ready, late) == 100
    assert flagged(ready, RH) == {}


def test_one_late_reading_between_two_spikes_ends_the_run_too(ready: Store) -> None:
    rh = wandering(2 * DAY, 60, 6)
    rh[50:150] = [62.3] * 100
    rh[100:102] = [99.0, 99.0]
    both(ready, wandering(2 * DAY, 15, 4), rh)
    assert flagged(ready, RH) == dict.fromkeys(range(50, 150), STUCK) | {100: SPIKE, 101: SPIKE}
    assert take(ready, [row(RH, T0 + 1005 * MS_PER_MINUTE, 99.1)]) == 100
    assert flagged(ready, RH) == {}


def test_a_reading_that_goes_on_a_run_that_late_data_breaks_is_not_stuck(ready: Store) -> None:
    rh = wandering(150, 60, 6)
    rh[50:150] = [62.3] * 100
    both(ready, wandering(150, 15, 4), rh)
    assert len(flagged(ready, RH)) == 100
    assert take(ready, [row(RH, T0 + 1000 * MS_PER_MINUTE + 1, 61.8), row(RH, T0 + 1491 * MS_PER_MINUTE, 62.3)]) == 100
    assert flagged(ready, RH) == {}


def test_late_temperatures_show_that_the_humidity_was_stuck(ready: Store) -> None:
    rh = wandering(2 * DAY, 60, 6)
    rh[50:150] = [62.3] * 100
    assert take(ready, every(10, rh, RH)) == 0
    assert take(ready, every(10, wandering(2 * DAY, 15, 4))) == 100


def test_a_probe_that_goes_on_being_stuck_is_flagged_as_its_readings_come(ready: Store) -> None:
    rows = sorted(every(10, [14.7] * (2 * DAY)) + every(10, [62.3] * (2 * DAY), RH), key=lambda one: one.at_ms)
    for start in range(0, len(rows), 2):
        take(ready, rows[start : start + 2])
    assert flags(ready, C) == flags(ready, RH) == [STUCK] * (2 * DAY)


def test_other_quantities_are_left_alone(ready: Store) -> None:
    with ready.writing() as connection:
        scale = readings.series_of(connection, 1, Quantity.MASS_KG)
    assert take(ready, every(10, [12.0] * (3 * DAY), scale) + every(10, wandering(3 * DAY, 15, 4))) == 0
    assert take(ready, every(10, [12.0, 12, 12, 80, 12, 12, 12], scale, T0 + 9 * MS_PER_DAY)) == 0


def test_a_series_without_its_sibling_is_never_stuck(ready: Store) -> None:
    assert take(ready, every(10, [14.7] * (3 * DAY))) == 0
