"""A spraying that was taken back is told of for a day as if it were in the air."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dashboards import entries, page_warnings, vapours_taken_back
from kiln import finish_told
from kiln.control import Control
from shared.store import facts
from shared.store.records import FinishFact, FinishRoom
from shared.units import MS_PER_DAY, MS_PER_MINUTE
from tests.dashboards import finish_yards as yards
from tests.dashboards.finish_yards import vapour_of
from tests.dashboards.test_app import client_of, words


def later(yard, minutes=1):
    return replace(yard, now_ms=yard.now_ms + minutes * MS_PER_MINUTE)


def made(yard, sheet=yards.LACQUER, figures=yards.SMALL, **sprayed):
    """A yard with a spraying, and that spraying."""
    return yards.sprayed(yards.shelved(yards.room(yard, **figures), "l", sheet), "l", **sprayed)


def taken_back(yard, one, by="Bo"):
    yard.act(entries.undo, one.kind, one.fact_id, by=by)
    return yard


@pytest.mark.parametrize("sheet", [yards.HARDENED, yards.ACID, yards.LACQUER | {"name": "HDI trimer"}])
@pytest.mark.parametrize("figures", [yards.SMALL, {}])
def test_a_refusal_stays_for_a_day_with_who_took_it_back_and_what_to_do(yard, sheet, figures):
    yard = taken_back(later(yard), made(yard, sheet, figures))
    told = vapour_of(yard)
    assert told.control is Control.CANT_SAY and told.refused is not None and not told.figures
    assert told.headline == vapours_taken_back.AIR_FED and told.not_before_ms is None
    assert set(finish_told.ACTS) < set(told.doing) and "taken back by Bo at" in " ".join(told.unknowns)
    (warning,) = page_warnings.warnings_of(yards.now(yard))
    assert warning.control is Control.CANT_SAY and warning.refused and set(finish_told.ACTS) < set(warning.acts)
    assert "air-fed" in warning.sentence and "taken back by Bo at" in warning.sentence
    for path in ("/finish", "/finish/room/spray"):
        page = words(client_of(yard).get(path))
        assert "air-fed" in page[: page.index("Before spraying")] and "taken back by Bo" in page
    assert vapour_of(later(yard, 24 * 60 + 1)) is None


@pytest.mark.parametrize("litres", [0.01, 3.0])
def test_a_refusal_that_was_taken_back_heads_what_was_sprayed_beside_it(yard, litres):
    yards.shelved(yards.shelved(yards.room(yard, **yards.SMALL), "hard", yards.HARDENED), "l", yards.LACQUER)
    yards.sprayed(yard, "l", litres=litres)
    before = vapour_of(yard).control
    told = vapour_of(taken_back(later(yard), yards.sprayed(yard, "hard", litres=0.01)))
    assert told.control is (Control.OVER if before is Control.OVER else Control.CANT_SAY)
    assert told.refused is not None and told.headline == vapours_taken_back.AIR_FED
    assert "taken back by Bo" in told.first[0]
    assert told.not_before_ms is None and not told.figures and not told.air and not told.drawing


@pytest.mark.parametrize("beside", [None, {"litres": 0.01}, {"litres": 0.5, "minutes_ago": 30}])
def test_the_hour_is_the_later_one_with_and_without_what_was_taken_back(yard, beside):
    one = made(yard, litres=1.0)
    if beside is not None:
        yards.sprayed(yard, "l", **beside)
    before = vapour_of(yard)
    yard = taken_back(later(yard), one)
    after = vapour_of(yard)
    assert after.not_before_ms == before.not_before_ms and after.control is not Control.NOT_SHOWN
    assert after.not_before.startswith(vapours_taken_back.STILL_THERE)
    assert "then test with a calibrated instrument" in after.not_before and vapours_taken_back.LATER in after.not_before
    page = words(client_of(yard).get("/finish/room/spray"))
    assert page.index(vapours_taken_back.STILL_THERE) < page.index("Not before")


def test_what_is_taken_back_and_entered_smaller_brings_no_earlier_hour_in_any_warning(yard):
    one = made(yard, litres=2.0, minutes_ago=5)
    before = vapour_of(yard).not_before_ms
    yard = taken_back(later(yard), one)
    yards.sprayed(yard, "l", litres=0.01, minutes_ago=5)
    assert vapour_of(yard).not_before_ms >= before
    after_day = replace(yard, now_ms=yard.now_ms + MS_PER_DAY + MS_PER_MINUTE)
    assert vapour_of(after_day).not_before_ms < before, "by then whoever took it back has been asked"


def test_one_that_is_put_back_counts_as_before(yard):
    one = made(yard, yards.HARDENED)
    before = vapour_of(yard)
    gone = later(yard).act(entries.undo, one.kind, one.fact_id)
    later(yard).act(entries.undo, one.kind, gone.fact_id)
    assert vapour_of(later(yard)).headline == before.headline


def test_a_question_about_that_room_is_answered_on_top_of_what_was_taken_back(yard):
    yard = taken_back(later(yard), made(yard, yards.HARDENED))
    path = "/work-out/vapour?place=spray&ingredients=acetone+50&density_kg_l=0.8&litres=0.1&minutes=5&dry_after_h=1"
    answer = client_of(yard).get(path)
    assert answer.status_code == 200 and "CAN'T SAY" in words(answer)


def test_a_refusal_stays_though_the_finish_itself_is_taken_back_too(yard):
    one = made(yard, yards.HARDENED)
    with yard.store.reading() as connection:
        (finish,) = facts.standing(connection, FinishFact)
    yard = taken_back(later(yard), one)
    later(yard).act(entries.undo, "finish", finish.id)
    assert vapour_of(later(yard, 2)).refused is not None


@pytest.mark.parametrize("figures", [yards.SMALL, yards.VAST])
def test_figures_of_which_none_is_left_count_while_what_was_sprayed_does_and_that_is_said(yard, figures):
    made(yard, figures=figures)
    before = vapour_of(yard)
    with yard.store.reading() as connection:
        (room,) = facts.standing(connection, FinishRoom)
    then = later(yard)
    then.act(entries.undo, "finish-room", room.id, by="Bo")
    after = vapour_of(later(then))
    assert (after.control, after.figures) == (before.control, before.figures)
    assert after.not_before_ms == before.not_before_ms
    assert any("taken back by Bo" in one and "reckoned with all the same" in one for one in after.aside)
    later(then, 2).act(entries.say_finish_room, "spray", **(yards.SMALL | {"volume": "31"}))
    assert not any("all the same" in one for one in vapour_of(later(then, 3)).aside)
