"""Checks of probes, meters on a lot, bag tests: entered, refused, and counted when figures are read, never stored."""

import csv

import numpy as np
import pytest

from dashboards import airs, calibrations, cases, entries, exports, lives, measurements, projection, situation
from dashboards.air_history import air_history
from dashboards.yard_entries import read_entries
from kiln import hygrometers
from shared.errors import BadInput, Refused
from shared.store import facts, readings
from shared.store import records as r
from shared.store.records import Quantity
from shared.tables import limit
from shared.units import MS_PER_DAY, MS_PER_HOUR

HIGH = 6.0  # how much too much the probe of these tests reads, %RH
BAG = {"temperature_c": 20, "rh_pct": 55, "waited_h": 60, "bag_l": 5, "last_moved": "dried"}


def _data(connection, held, board, now_ms):
    return measurements.data(connection, held, lives.parts(held, board, now_ms), now_ms)


def check(yard, probe="north", days_ago=10, high=HIGH, t=20.0, **values):
    """Check a probe over magnesium chloride and table salt, of which it reads ``high`` too much."""
    read = {salt: hygrometers.salt_rh_pct(salt, t) + high for salt in ("MgCl2", "NaCl")}
    over = {
        "temperature_c": t,
        "low_salt": "MgCl2",
        "low_read_rh_pct": read["MgCl2"],
        "high_salt": "NaCl",
        "high_read_rh_pct": read["NaCl"],
    }
    return yard.act(entries.check_hygrometer, probe, days_ago=days_ago, **{**over, **values})


def hours(yard, probe="north", days=20):
    with yard.store.reading() as connection:
        one = facts.subject(connection, r.SubjectKind.PROBE, probe)
        return airs.probe_hours(connection, one.id, yard.now_ms - days * MS_PER_DAY, yard.now_ms)


def kept(before, after):
    """The hours that are there before and after a check: those over the salts are not the air of the place."""
    both = np.isin(before.at_ms, after.at_ms)
    return type(before)(*(getattr(before, name)[both] for name in before.__dataclass_fields__))


def now(yard):
    return situation.read(yard.store, yard.now_ms, yard.settings)


def place_air(yard, code="shed"):
    return next(one.air for one in now(yard).places if one.subject.code == code)


def key(yard, code="A1"):
    with yard.store.reading() as connection:
        held = read_entries(connection, yard.now_ms)
        board_id = facts.subject(connection, r.SubjectKind.BOARD, code).id
        return projection.input_key(held, board_id, yard.now_ms)


# --- checks of probes ---------------------------------------------------------------------------------


def test_a_check_corrects_every_reading_from_its_moment_on_and_none_before(yard):
    before = hours(yard)
    check(yard)
    after = hours(yard)
    before = kept(before, after)
    since = before.at_ms >= yard.now_ms - 10 * MS_PER_DAY
    assert after.rh_pct[~since] == pytest.approx(before.rh_pct[~since])
    assert after.rh_pct[since] == pytest.approx(before.rh_pct[since] - HIGH, abs=1e-6)
    assert np.array_equal(after.temperature_c, before.temperature_c)


def test_what_is_stored_is_not_touched_by_a_check(yard):
    def stored():
        with yard.store.reading() as connection:
            everything = readings.all_series(connection)
            return [readings.raw(connection, one.id, 0, 2**62, 10_000) for one in everything]

    before = stored()
    check(yard)
    assert stored() == before


def test_taking_a_check_back_gives_the_raw_figures_back(yard):
    before = hours(yard)
    made = check(yard)
    yard.act(entries.undo, made.kind, made.fact_id)
    assert hours(yard).rh_pct == pytest.approx(before.rh_pct)


def test_a_later_check_takes_over_from_its_own_moment(yard):
    raw = hours(yard)
    check(yard, days_ago=15)
    check(yard, days_ago=5, high=2.0)
    corrected = hours(yard)
    raw = kept(raw, corrected)
    last = raw.at_ms >= yard.now_ms - 5 * MS_PER_DAY
    middle = (raw.at_ms >= yard.now_ms - 15 * MS_PER_DAY) & ~last
    assert (raw.rh_pct - corrected.rh_pct)[middle] == pytest.approx(HIGH, abs=1e-6)
    assert (raw.rh_pct - corrected.rh_pct)[last] == pytest.approx(2.0, abs=1e-6)


def test_the_place_shows_corrected_air_with_a_narrower_band_and_that_it_is_checked(yard):
    before = place_air(yard)
    assert not before.checked
    assert before.rh_error_pct == pytest.approx(limit("unchecked_hygrometer"))
    check(yard)
    after = place_air(yard)
    assert after.checked
    assert after.rh_pct == pytest.approx(before.rh_pct - HIGH, abs=0.01)
    assert after.emc_error_pct < before.emc_error_pct
    assert after.emc_pct < before.emc_pct


def test_a_check_is_overdue_after_a_year(yard):
    check(yard, days_ago=90)
    probe = next(one for one in now(yard).probes if one.subject.code == "north")
    assert probe.checks.stands(yard.now_ms)
    year_ms = 366 * MS_PER_DAY
    assert not probe.checks.stands(yard.now_ms + year_ms)
    fresh, old = (probe.checks.error_rh_pct(yard.now_ms + later, 60.0) for later in (0, year_ms))
    assert fresh < old < limit("unchecked_hygrometer")


def test_the_chart_of_the_air_and_the_export_show_what_the_check_makes_of_it(yard, tmp_path):
    place_id = next(one.subject.id for one in now(yard).places if one.subject.code == "shed")
    span = (yard.now_ms - 5 * MS_PER_DAY, yard.now_ms)
    before = air_history(yard.store, place_id, *span)
    check(yard)
    after = air_history(yard.store, place_id, *span)
    assert np.nanmean(before.rh_pct - after.rh_pct) == pytest.approx(HIGH, abs=1e-6)
    assert np.nanmax(after.rh_high_pct) == pytest.approx(np.nanmax(before.rh_high_pct) - HIGH, abs=1e-6)
    list(exports.write_all(yard.store, tmp_path))
    rows = list(csv.DictReader((tmp_path / "readings-north.csv").read_text().splitlines()))
    humid = [row for row in rows if row["quantity"] == Quantity.RH_PCT]
    assert float(humid[-1]["value"]) - float(humid[-1]["as_checked"]) == pytest.approx(HIGH, abs=0.01)
    assert humid[0]["value"] == humid[0]["as_checked"]
    assert all(row["value"] == row["as_checked"] for row in rows if row["quantity"] == Quantity.TEMPERATURE_C)


def test_a_check_of_a_probe_that_a_board_was_near_asks_for_a_new_projection(yard):
    shed, room = key(yard), check(yard, "warm")
    assert key(yard) == shed, "the board has never been in that room"
    check(yard)
    assert key(yard) != shed
    assert room.kind == "hygrometer-check"


def test_one_salt_is_enough_and_tells_less(yard):
    check(yard, high_salt="", high_read_rh_pct=None)
    one = place_air(yard).rh_error_pct
    check(yard, days_ago=9)
    assert place_air(yard).rh_error_pct < one


@pytest.mark.parametrize(
    ("values", "named"),
    [
        ({"low_salt": "", "low_read_rh_pct": None, "high_salt": "", "high_read_rh_pct": None}, "salt"),
        ({"low_salt": "sugar"}, "salt is sugar"),
        ({"low_salt": "", "low_read_rh_pct": 35}, "low salt"),
        ({"low_read_rh_pct": ""}, "low reading"),
        ({"low_read_rh_pct": 12.0}, "MgCl2"),
        ({"high_salt": "K2CO3", "high_read_rh_pct": 47.0}, "20"),
        ({"temperature_c": 55}, "temperature is 55"),
    ],
)
def test_a_check_that_no_sound_probe_gives_is_refused_in_one_sentence(yard, values, named):
    with pytest.raises(BadInput, match=named.replace("(", r"\(")) as caught:
        check(yard, **values)
    assert "\n" not in str(caught.value)
    with yard.store.reading() as connection:
        assert facts.standing(connection, r.HygrometerCheck) == []


# --- meters ---------------------------------------------------------------------------------------------


def meter(yard, pairs=((14.0, 12.0), (18.0, 16.0), (11.0, 9.1))):
    yard.act(entries.add_meter, "pm", species="Fraxinus americana", days_ago=30)
    for reading, true_pct in pairs:
        values = {"reading_pct": reading, "dry_g": 50, "wet_g": 50 * (1 + true_pct / 100), "temperature_c": 21.1}
        yard.act(entries.add_meter_pair, "pm", days_ago=30, **values)


def test_a_meter_learns_from_its_offcuts_how_it_reads_on_the_lot(yard):
    meter(yard)
    one = now(yard).meters[0]
    told, error = one.lot.apply(15.0)
    assert float(told) == pytest.approx(13.0, abs=0.3)
    assert float(error) < 2.0
    assert "13" in one.sentence or "12" in one.sentence


def test_a_pin_reading_by_a_calibrated_meter_is_corrected_when_it_is_read(yard):
    meter(yard)
    yard.act(entries.add_pin_reading, "A1", mc_pct=16.0, temperature_c=21.1, meter="pm", days_ago=1)
    yard.act(entries.add_pin_reading, "A2", mc_pct=16.0, days_ago=1)
    with yard.store.reading() as connection:
        held = read_entries(connection, yard.now_ms)
        corrected, bare = (
            measurements.data(connection, held, lives.parts(held, board, yard.now_ms), yard.now_ms)[-1]
            for board in held.boards
        )
        assert [pin.mc_pct for pin in facts.standing(connection, r.PinReading)] == [16.0, 16.0]
    assert corrected.value == pytest.approx(14.0, abs=0.4)
    assert bare.value == pytest.approx(16.0)
    assert corrected.bias_share < bare.bias_share


def test_cold_wood_reads_too_low_and_is_put_right(yard):
    yard.act(entries.add_pin_reading, "A1", mc_pct=15.0, temperature_c=9.9, days_ago=1)
    with yard.store.reading() as connection:
        held = read_entries(connection, yard.now_ms)
        datum = _data(connection, held, next(iter(held.boards)), yard.now_ms)[-1]
    assert datum.value == pytest.approx(16.0, abs=0.01)  # FPL-GTR-190, 2010, chapter 13: 0.5 % per 5.6 °C


def test_another_offcut_asks_for_new_projections_of_the_boards_read_with_that_meter(yard):
    meter(yard)
    yard.act(entries.add_pin_reading, "A1", mc_pct=16.0, meter="pm", days_ago=1)
    yard.act(entries.move_board, "A2", place="shed", days_ago=0)  # out of the stack: A1 teaches it nothing any more
    read, other = key(yard, "A1"), key(yard, "A2")
    yard.act(entries.add_meter_pair, "pm", reading_pct=13, wet_g=55, dry_g=50)
    assert key(yard, "A1") != read
    assert key(yard, "A2") == other


def test_a_meter_that_readings_rest_on_cannot_be_taken_back(yard):
    meter(yard)
    yard.act(entries.add_pin_reading, "A1", mc_pct=16.0, meter="pm", days_ago=1)
    with yard.store.reading() as connection:
        first = facts.standing(connection, r.MeterFact)[0]
    with pytest.raises(Refused, match="pin reading of A1 rests on it"):
        yard.act(entries.undo, "meter", first.id)


@pytest.mark.parametrize(
    ("values", "named"),
    [
        ({"reading_pct": 40}, "pin reading"),
        ({"wet_g": 70}, "over oven-dry"),
        ({"wet_g": 49}, "wet mass of the section"),
        ({"temperature_c": 99}, "wood temperature"),
    ],
)
def test_an_offcut_that_no_meter_can_tell_is_refused(yard, values, named):
    yard.act(entries.add_meter, "pm", species="Fraxinus americana")
    with pytest.raises(BadInput, match=named):
        yard.act(entries.add_meter_pair, "pm", **{"reading_pct": 14, "wet_g": 56, "dry_g": 50, **values})


# --- bag tests ------------------------------------------------------------------------------------------


def bag_datum(yard, **values):
    yard.act(entries.add_bag_test, "A1", **{**BAG, **values}, days_ago=1)
    with yard.store.reading() as connection:
        held = read_entries(connection, yard.now_ms)
        return _data(connection, held, next(iter(held.boards)), yard.now_ms)[-1]


def test_a_bag_test_becomes_a_moisture_that_the_refit_takes(yard):
    datum = bag_datum(yard, waited_h=2000)
    assert datum.kind == "bag test"
    assert 9.0 < datum.value < 11.0  # FPL-GTR-282, 2021, Equation 4-5: 10.0 % at 20 °C and 55 %RH
    assert datum.depth_share is None
    assert bag_datum(yard, waited_h=5).depth_share == 0.0


def test_a_bag_read_by_a_probe_is_corrected_by_its_checks(yard):
    raw = bag_datum(yard, probe="warm", waited_h=2000)
    check(yard, "warm", days_ago=20)
    checked = bag_datum(yard, probe="warm", waited_h=2000)
    assert checked.value < raw.value - 0.7
    assert checked.error < raw.error
    with yard.store.reading() as connection:
        assert {test.rh_pct for test in facts.standing(connection, r.BagTest)} == {55.0}


def test_hours_over_the_salts_and_in_a_bag_are_not_the_air_of_the_place(yard):
    before = hours(yard)
    check(yard, days_ago=10, waited_h=36)
    yard.act(entries.add_bag_test, "A1", **{**BAG, "waited_h": 20, "probe": "north"}, days_ago=3)
    left = before.at_ms[~np.isin(before.at_ms, hours(yard).at_ms)]
    ago_days = (yard.now_ms - left) / MS_PER_DAY
    assert len(left) in range(55, 61)
    assert np.all(((ago_days > 9.95) & (ago_days < 11.6)) | ((ago_days > 2.95) & (ago_days < 3.95)))


def since(yard, board="A1"):
    with yard.store.reading() as connection:
        held = read_entries(connection, yard.now_ms)
        board_id = facts.subject(connection, r.SubjectKind.BOARD, board).id
        stays = held.where.board_stays(board_id, held.boards[board_id].start_ms, yard.now_ms + 1)
        return held, stays, cases.checked_since_ms(held, airs.joined(stays), yard.now_ms)


def error_of(yard):
    held, stays, _ = since(yard)
    return airs.way_rh_error_pct(held.where, held.checks, stays)


def test_a_check_vouches_for_the_air_from_its_moment_on_only(yard):
    assert since(yard)[2] is None
    check(yard, days_ago=10)
    assert since(yard)[2] == yard.now_ms - 10 * MS_PER_DAY
    check(yard, days_ago=30)
    assert since(yard)[2] == yard.now_ms - 30 * MS_PER_DAY


def test_a_check_of_today_hardly_narrows_what_a_board_was_in_for_weeks(yard):
    unchecked = limit("unchecked_hygrometer")
    assert error_of(yard) == pytest.approx(unchecked)
    check(yard, days_ago=0)
    assert error_of(yard) == pytest.approx(unchecked, rel=0.01)
    check(yard, days_ago=35)
    assert error_of(yard) < 0.7 * unchecked


def test_neither_another_probe_nor_another_place_vouches_for_air_that_was_not_checked(yard):
    check(yard, "warm", days_ago=90)
    yard.act(entries.move_stack, "S1", place="room", days_ago=0.2)
    moved = since(yard)[2]
    assert moved == pytest.approx(yard.now_ms - 0.2 * MS_PER_DAY, abs=1000)
    assert error_of(yard) > 0.95 * limit("unchecked_hygrometer")
    yard.act(entries.move_stack, "S1", place="shed", days_ago=0.1)
    yard.act(entries.move_probe, "north", place="", days_ago=0.05)
    yard.act(entries.move_probe, "warm", place="shed", days_ago=0.05)
    assert since(yard)[2] >= yard.now_ms - int(0.06 * MS_PER_DAY)


def test_a_meter_of_another_wood_may_not_read_a_board(yard):
    yard.act(entries.add_meter, "spruce", species="Picea sitchensis")
    with pytest.raises(BadInput, match="calibrated on Fraxinus americana; this one was on Picea sitchensis"):
        yard.act(entries.add_pin_reading, "A1", mc_pct=14, meter="spruce")


@pytest.mark.parametrize(
    ("values", "named"),
    [
        ({"rh_pct": 110}, "humidity in the bag"),
        ({"waited_h": 0}, "hours in the bag"),
        ({"bag_l": -1}, "air in the bag"),
        ({"last_moved": "up"}, "which way it last went"),
        ({"probe": "nobody"}, "probe"),
    ],
)
def test_an_impossible_bag_test_is_refused(yard, values, named):
    with pytest.raises(BadInput, match=named):
        yard.act(entries.add_bag_test, "A1", **{**BAG, **values})


def test_no_check_is_no_correction():
    none = calibrations.Checks((), ())
    assert none.corrected_pct(np.array([0, MS_PER_HOUR]), np.array([40.0, 60.0])) == pytest.approx([40.0, 60.0])
    assert none.due_ms(0) is None
    assert not none.stands(0)
