"""Boards by the day on which they are as likely as not fit: on the yard's page, and in the terminal."""

import html
import json
from dataclasses import fields, replace

import pytest
from starlette.testclient import TestClient
from typer.testing import CliRunner

from dashboards import by_date, display, entries, projection, situation
from dashboards.app import create_app
from dashboards.auth import SECRETS_NAME
from dashboards.pages import due_lines
from dashboards.terminal import commands, home
from kiln.records import Word
from shared.settings import FILE_NAME
from shared.units import MS_PER_DAY, MS_PER_HOUR


@pytest.fixture
def made(yard):
    """The yard with a projection of its first board."""
    board = situation.read(yard.store, yard.now_ms, yard.settings).boards[0]
    projection.refresh(yard.store, board.subject.id, yard.now_ms, yard.settings)
    return yard


def dated(now, *days):
    """The yard with as many boards, fit as likely as not after so many days and for 8 in 10 after as many more."""
    one = now.boards[0]
    known = one.projection.known_until_ms

    def at(day):
        return None if day is None else known + day * MS_PER_DAY

    told = [
        replace(
            one,
            verdict=replace(one.verdict, word=Word.WAIT),
            fact=replace(one.fact, name=f"of {first}"),
            projection=replace(one.projection, ready_by_ms=(at(first), at(second), None)),
        )
        for first, second in days
    ]
    return replace(now, boards=told)


def test_the_earliest_is_first_and_those_without_a_date_are_last(made):
    now = situation.read(made.store, made.now_ms, made.settings)
    nothing = now.boards[1]
    found = dated(now, (30, 50), (None, None), (-3, 20), (0, 0), (30, 40))
    due = by_date.boards(replace(found, boards=[nothing, *found.boards]))
    assert [one.name for one in due] == ["of 0", "of -3", "of 30", "of 30", "of None", "A2"]
    assert [one.likely for one in due[:2]] == ["now", "now"]
    assert due[0].surer == "now" and due[1].surer.startswith("by ")
    known_ms = found.boards[0].projection.known_until_ms
    assert [one.surer for one in due[2:4]] == [
        f"by {display.day(known_ms + days * MS_PER_DAY, now.now_ms)}" for days in (40, 50)
    ]
    assert (due[4].likely, due[4].surer) == ("not within a year", "not within a year")
    assert due[5].likely == by_date.NO_DATE


def test_what_was_foretold_from_old_air_is_not_told_as_of_today(made):
    now = dated(situation.read(made.store, made.now_ms, made.settings), (10, 20))
    later = replace(now, now_ms=made.now_ms + 8 * MS_PER_HOUR)
    assert by_date.boards(now)[0].likely.startswith("by ")
    assert {one.likely for one in by_date.boards(later)} == {by_date.NO_DATE}


def test_the_page_and_the_command_tell_the_same(made, monkeypatch):
    made.act(entries.plan_use, "A1", use="sell", days_ago=1)
    now = situation.read(made.store, made.now_ms, made.settings)
    due = by_date.boards(now)
    app = create_app(made.store, made.settings, made.folder / SECRETS_NAME, lambda: made.now_ms)
    shown = html.unescape(TestClient(app, client=("127.0.0.1", 1), base_url="http://localhost").get("/").text)
    (made.folder / FILE_NAME).write_text('store = "yard.sqlite3"\n', encoding="utf-8")
    monkeypatch.setattr(home, "now_ms", lambda: made.now_ms)
    said = CliRunner().invoke(commands.app, ["status", "--by-date", "--folder", str(made.folder)]).stdout
    plain = CliRunner().invoke(commands.app, ["status", "--by-date", "--json", "--folder", str(made.folder)]).stdout
    for one in due:
        assert f'<b>{one.name}</b> <span class="due-word">{one.word}</span>' in shown
        assert f"{one.word:<9} {one.name} ({one.code})" in said
        assert f"{one.use}: {by_date.words(one)}." in " ".join(said.split())
    assert [one["code"] for one in json.loads(plain)] == [one.code for one in due]


@pytest.mark.parametrize("word", [Word.STOP, Word.CANT_SAY])
def test_what_stops_or_cannot_be_said_has_no_day_and_comes_last(made, word):
    now = dated(situation.read(made.store, made.now_ms, made.settings), (30, 50), (0, 0))
    waits, other = now.boards
    other = replace(other, verdict=replace(other.verdict, word=word))
    first, last = by_date.boards(replace(now, boards=[other, waits]))
    assert (last.word, last.likely, last.surer) == (word.value, by_date.NO_DATE, by_date.NO_DATE)
    shown = due_lines.lines([first, last])
    assert shown[0].when == f"{first.likely} (8 in 10 {first.surer})" and shown[1].when == ""
    assert "if each stays where it is, or moves as planned" in by_date.LEAD


def test_every_field_that_the_page_may_use_carries_help():
    assert all(len(one.metadata.get("help", "")) > 5 for one in fields(by_date.Due))
