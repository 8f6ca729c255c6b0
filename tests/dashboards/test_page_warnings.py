"""Warnings of the finish rooms: which there are, in which order, and that nothing about them lulls anybody."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dashboards import display, entries, page_warnings, safety, shown_units
from dashboards.page_warnings import warnings_of
from dashboards.shown_units import METRIC
from kiln import finish_told
from kiln.control import Control
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE
from tests.dashboards import finish_yards as yards
from tests.dashboards.commands import benchdry
from tests.dashboards.test_app import client_of, words


def found(yard):
    return warnings_of(yards.now(yard))


def kinds(yard):
    return [(one.kind, one.control) for one in found(yard)]


def test_a_yard_without_a_finish_room_has_none(yard):
    assert found(yard) == ()


@pytest.mark.parametrize(
    ("made", "expected"),
    [
        (yards.bare, []),
        (yards.no_figures, [("vapour", Control.CANT_SAY)]),
        (yards.unlisted, [("vapour", Control.CANT_SAY)]),
        (yards.refused_isocyanate, [("vapour", Control.OVER)]),
        (yards.refused_formaldehyde, [("vapour", Control.CANT_SAY)]),
        (yards.over, [("vapour", Control.OVER), ("surface", Control.OVER)]),
        (yards.early, [("vapour", Control.NOT_SHOWN)]),
        (yards.late, []),
        (yards.oily, [("vapour", Control.CANT_SAY), ("rags", Control.NOT_SHOWN)]),
    ],
)
def test_each_yard_has_the_warnings_that_follow_from_its_facts(empty_yard, made, expected):
    assert kinds(made(empty_yard)) == expected


def test_an_unread_sheet_and_an_old_store_can_not_be_said(empty_yard):
    told = kinds(yards.unread(empty_yard))
    assert ("devices", Control.CANT_SAY) in told and ("rags", Control.CANT_SAY) in told
    assert next(one for one in told if one[0] == "vapour")[1] in (Control.OVER, Control.CANT_SAY)


def test_what_is_over_comes_first_then_the_newest(empty_yard):
    yard = yards.over(empty_yard)
    yards.sprayed(yards.shelved(yard, "oil", yards.OIL), "oil", minutes_ago=5, litres=0.1)
    told = [one for one in found(yard) if one.kind != "surface"]
    assert [one.control for one in told] == sorted((one.control for one in told), key=tuple(Control).index)
    for first, second in pairwise(told):
        assert first.control is not second.control or first.at_ms >= second.at_ms


@pytest.mark.parametrize("made", [yards.over, yards.no_figures, yards.unlisted, yards.refused_isocyanate])
def test_vapour_comes_before_a_surface_and_nothing_is_done_to_the_surface_in_it(empty_yard, made):
    yard = made(empty_yard)
    read = {"surface_c": "9", "air_c": "20", "rh_pct": "60", "what": "a cold top"}
    yard.act(entries.add_surface_reading, "spray", days_ago=2 * yards.MINUTE, **read)
    told = found(yard)
    assert [one.kind for one in told] == ["vapour", "surface"]
    assert "Not while the vapour says stay out" in told[1].what_to_do
    assert not re.search(r"[Ww]arm the piece|[Mm]easure|[Rr]ead it", told[1].what_to_do)


def test_before_its_hour_it_is_told_with_clock_and_date_and_after_it_no_longer(empty_yard):
    yard = yards.early(empty_yard)
    (one,) = found(yard)
    hour = re.search(r"Not before (.+?), then test with a calibrated instrument\.", one.what_to_do)
    assert hour and re.fullmatch(r"\d+ \w+ \d{4}, \d\d:\d\d", hour.group(1))
    assert found(replace(yard, now_ms=yard.now_ms + 20 * MS_PER_HOUR)) == ()


def test_an_hour_that_has_passed_is_no_leave(empty_yard):
    yard = yards.over(empty_yard)
    (told,) = (one for one in found(replace(yard, now_ms=yard.now_ms + 20 * MS_PER_HOUR)) if one.kind == "vapour")
    assert told.control is Control.OVER
    assert "has passed, which shows nothing: test with a calibrated instrument" in told.what_to_do
    assert "Not before" not in told.what_to_do


def test_vapour_and_rags_are_told_for_as_long_as_what_was_sprayed_counts(empty_yard):
    yard = yards.over(empty_yard)
    yards.sprayed(yards.shelved(yard, "oil", yards.OIL), "oil")
    for days, expected in ((1.2, ["vapour", "rags"]), (1.9, ["vapour", "rags"]), (2.2, [])):
        later = replace(yard, now_ms=yard.now_ms + int(days * MS_PER_DAY))
        assert [one.kind for one in found(later)] == expected


def test_a_spraying_that_was_taken_back_is_told_for_a_day(empty_yard):
    yard = yards.shelved(yards.room(empty_yard, **yards.SMALL), "lacquer", yards.LACQUER)
    made = yards.sprayed(yard, "lacquer")
    assert kinds(yard) == [("vapour", Control.OVER)]
    yard.act(entries.undo, made.kind, made.fact_id, by="Ada")
    (one,) = found(yard)
    assert (one.kind, one.control) == ("taken back", Control.CANT_SAY)
    assert "taken back by Ada" in one.sentence and "still in the air" in one.sentence
    assert found(replace(yard, now_ms=yard.now_ms + MS_PER_DAY + MS_PER_HOUR)) == ()


def test_rags_of_what_was_taken_back_are_told_all_the_same(empty_yard):
    yard = yards.shelved(yards.room(empty_yard, **yards.VAST), "oil", yards.OIL)
    made = yards.sprayed(yard, "oil", minutes_ago=600, litres=0.1)
    yard.act(entries.undo, made.kind, made.fact_id)
    yard.act(entries.change_finish, "oil", self_heating="no", sure=True)
    told = kinds(yard)
    assert ("taken back", Control.CANT_SAY) in told
    yard.act(entries.change_finish, "oil", self_heating="yes")
    assert ("rags", Control.NOT_SHOWN) in kinds(yard)


def test_a_correction_calms_no_rags_of_what_was_taken_back(empty_yard):
    yard = yards.shelved(yards.room(empty_yard, **yards.VAST), "oil", yards.OIL)
    made = yards.sprayed(yard, "oil", minutes_ago=600, litres=0.1)
    for minutes, act, typed in (
        (1, entries.undo, (made.kind, made.fact_id)),
        (2, entries.change_finish, ("oil",)),
    ):
        later = replace(yard, now_ms=yard.now_ms + minutes * MS_PER_MINUTE)
        later.act(act, *typed, **({"self_heating": "no", "sure": True} if act is entries.change_finish else {}))
    assert ("rags", Control.NOT_SHOWN) in kinds(later)
    assert found(replace(yard, now_ms=yard.now_ms + 3 * MS_PER_DAY)) == ()


def test_over_and_can_not_say_ask_for_the_same_acts(empty_yard):
    yard = yards.over(empty_yard)
    (over,) = (one for one in found(yard) if one.kind == "vapour")
    assert over.control is Control.OVER and over.acts == finish_told.ACTS
    assert "fire service" in " ".join(over.acts) and "Everybody out" in over.acts[0]
    yard.act(entries.add_place, "bare", kind="finish room", altitude_m=0, acknowledged=True, days_ago=9)
    typed = {"finish": "lacquer", "litres": 1.0, "minutes": 20, "extraction_on": True}
    yard.act(entries.add_sprayed, "bare", days_ago=20 * yards.MINUTE, **typed)
    (unsaid,) = (one for one in found(yard) if one.path == "/finish/room/bare")
    assert unsaid.control is Control.CANT_SAY and unsaid.acts == over.acts


def test_whatever_is_entered_afterwards_the_yard_still_says_what_was(empty_yard):
    """Spraying, then absurd room figures, a corrected finish, and the spraying undone: no step calms the yard."""
    yard = yards.shelved(yards.room(empty_yard, **yards.SMALL), "lacquer", yards.LACQUER)
    yard = replace(yard, now_ms=yard.now_ms + MS_PER_HOUR)
    made = yards.sprayed(yard, "lacquer")
    assert "OVER Vapour in spray" in words(client_of(yard).get("/"))
    yard = replace(yard, now_ms=yard.now_ms + MS_PER_MINUTE)
    yard.act(entries.say_finish_room, "spray", **(yards.VAST | {"sure": True}))
    assert ("vapour", Control.OVER) in kinds(yard)
    yard = replace(yard, now_ms=yard.now_ms + MS_PER_MINUTE)
    yard.act(entries.change_finish, "lacquer", ingredients="water 60\nsolids 40")
    assert "OVER Vapour in spray" in words(client_of(yard).get("/"))
    yard.act(entries.undo, made.kind, made.fact_id, by="Ada")
    client = client_of(yard)
    assert "CAN'T SAY Spraying taken back in spray" in words(client.get("/"))
    assert "taken back by Ada" in words(client.get("/finish"))


def test_the_status_of_a_finish_room_and_the_list_by_date_tell_the_warnings(empty_yard):
    yard = yards.commanded(yards.over(empty_yard))
    told = " ".join(benchdry(yard, "status", "Spray").split())
    assert (
        told.index(safety.FIRST_LINE) < told.index("OVER") < told.index("Stop spraying") < told.index(safety.LAST_LINE)
    )
    assert "the wet surface can" in told
    assert "OVER" in benchdry(yard, "status", "--by-date")
    assert json.loads(benchdry(yard, "status", "Spray", "--json"))["warnings"]
    assert "finish room" in benchdry(yard, "status", "nothing", code=2)


LEAVING = pytest.mark.parametrize(
    "leave",
    [
        lambda yard: yard.act(entries.close_place, "spray"),
        lambda yard: yard.act(entries.change_place, "spray", name="spray", kind="shed", altitude_m=0),
    ],
    ids=["closed", "corrected"],
)


@LEAVING
@pytest.mark.parametrize("made", [yards.late, yards.refused_formaldehyde, yards.refused_isocyanate])
def test_a_place_that_is_no_finish_room_any_more_keeps_a_refusal_and_is_never_better_than_can_not_say(
    empty_yard, made, leave
):
    yard = made(empty_yard)
    before = [(one.kind, one.control, one.refused) for one in found(yard)]
    leave(yard)
    after = [(one.kind, one.control, one.refused) for one in found(yard)]
    assert after == (before or [("vapour", Control.CANT_SAY, False)])
    assert not after[0][2] or "air-fed" in found(yard)[0].sentence


@LEAVING
def test_what_was_sprayed_is_told_where_there_is_no_finish_room_any_more(empty_yard, leave):
    yard = yards.over(empty_yard)
    leave(yard)
    (one,) = found(yard)
    assert (one.kind, one.control) == ("vapour", Control.OVER)
    assert "no longer entered as a finish room" in one.sentence and "calibrated instrument" in one.what_to_do
    assert client_of(yard).get(one.path).status_code == 200
    assert found(replace(yard, now_ms=yard.now_ms + 2 * MS_PER_DAY)) == ()


def test_rags_are_told_where_there_is_no_finish_room_any_more(empty_yard):
    yard = yards.oily(empty_yard)
    yard.act(entries.close_place, "spray")
    assert ("rags", Control.NOT_SHOWN) in kinds(yard)


def test_a_corrected_sheet_takes_no_warning_from_what_was_sprayed_before_and_one_for_the_worse_brings_it(empty_yard):
    yard = yards.oily(empty_yard)
    later = replace(yard, now_ms=yard.now_ms + MS_PER_HOUR)
    later.act(entries.change_finish, "oil", self_heating="no", sure=True)
    assert ("rags", Control.NOT_SHOWN) in kinds(later)
    yards.sprayed(yards.shelved(later, "other", yards.LACQUER), "other", litres=0.01)
    last = replace(yard, now_ms=later.now_ms + MS_PER_HOUR)
    last.act(entries.change_finish, "other", self_heating="not read")
    assert ("rags", Control.CANT_SAY) in kinds(last)


def test_a_surface_counts_on_the_day_that_work_is_booked_for_and_no_other(empty_yard):
    yard = yards.shelved(yards.room(empty_yard, **yards.SMALL), "lacquer", yards.LACQUER)
    read = {"surface_c": "9", "air_c": "20", "rh_pct": "60", "what": "a cold top"}
    yard.act(entries.add_surface_reading, "spray", days_ago=10 * yards.MINUTE, **read)
    board = {"species": "Picea sitchensis", "thickness_mm": 4, "width_mm": 200, "length_mm": 560, "place": "spray"}
    yard.act(entries.add_board, "top", days_ago=3, cut="quarter-sawn", origin="re-sawn", **board)
    assert found(yard) == ()
    yard.act(entries.plan_use, "top", use="finish", booked=yard.now_ms + 2 * MS_PER_DAY)
    assert found(yard) == ()
    yard.act(entries.plan_use, "top", use="finish", booked=yard.now_ms + 60_000)
    (one,) = found(yard)
    assert (one.kind, one.control) == ("surface", Control.OVER) and "top" in one.sentence


def test_a_probe_of_which_nobody_has_said_so_is_named(empty_yard):
    yard = yards.room(empty_yard)
    yard.act(entries.add_probe, "nose", topic="workshop/spray/nose", place="spray", acknowledged=True, days_ago=5)
    assert found(yard) == ()
    yards.unacknowledged(yard)
    yard.act(entries.acknowledge, "spray", acknowledged=True)
    assert found(yard) == ()  # said of the room and of the probes in it
    yards.unacknowledged(yard)
    (one,) = found(yard)
    assert (one.kind, one.control) == ("devices", Control.CANT_SAY)
    assert "nobody has said" in one.sentence and "Spray" not in one.sentence.partition(":")[2]


@pytest.mark.parametrize("made", yards.YARDS, ids=lambda made: made.__name__)
def test_they_ignore_quiet_hours_bear_no_figure_of_vapour_and_are_told_alike_everywhere(empty_yard, made):
    yard = yards.commanded(made(empty_yard))
    told = found(yard)
    assert all(one.ignores_quiet_hours for one in told)
    for one in told:
        assert one.control in Control and one.sentence.endswith(".") and one.acts and one.short
        if one.kind == "vapour":
            assert not re.search(r"\btimes\b|\d %(?! of the lower explosive limit)|ppm|mg/m³", one.sentence)
    by_json = client_of(yard).get("/api/situation").json()
    by_command = json.loads(benchdry(yard, "status", "--json"))
    assert by_json["warnings"] == by_command["warnings"]
    assert [one["sentence"] for one in by_json["warnings"]] == [shown_units.text(one.sentence, METRIC) for one in told]
    assert by_json["not_an_alarm"] == by_command["not_an_alarm"] == page_warnings.NOT_AN_ALARM
    spoken = benchdry(yard, "status")
    assert ("not an alarm system" in " ".join(spoken.split())) == bool(told)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=15)
@given(at_ms=st.integers(0, 3 * MS_PER_DAY))
def test_at_no_moment_does_an_hour_count_down(empty_yard, at_ms):
    if not yards.finish_codes(empty_yard):
        yards.early(empty_yard)
    later = replace(empty_yard, now_ms=empty_yard.now_ms + at_ms)
    for one in found(later):
        assert not re.search(r"\bin \d+ (min|h)\b|\d+ (min|h) (left|to go)", one.what_to_do)
        assert display.age(one.at_ms, later.now_ms)
