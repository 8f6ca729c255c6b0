"""The page and the commands that show what was known at an earlier time."""

from __future__ import annotations

import html
import json
import re
from dataclasses import fields
from datetime import datetime
from urllib.parse import quote

import pytest
from starlette.testclient import TestClient
from typer.testing import CliRunner

from dashboards import display, entries, replay
from dashboards.app import create_app
from dashboards.auth import SECRETS_NAME
from dashboards.pages.then import ChangeLine, ThenPage
from dashboards.terminal import commands, home
from shared.settings import FILE_NAME
from shared.store import facts, verdicts
from shared.store.records import SubjectKind
from shared.units import MS_PER_DAY, MS_PER_HOUR, ms_from_datetime

SAID = {"next_step": "Wait.", "probability": None, "known_entry": 0, "known_until_ms": None, "body": "{}"}


@pytest.fixture
def told(yard):
    """A yard whose journal has three rows of A1, and one entry made after the second."""
    start_ms = yard.now_ms
    with yard.store.writing() as connection:
        board = facts.subject(connection, SubjectKind.BOARD, "A1")
        for number, (word, figure, reason) in enumerate(
            (("WAIT", "12 days", "Wet."), ("WAIT", "11 days", "Wet."), ("", "", "It was taken back."))
        ):
            row = {"word": word, "number": figure, "reason": reason}
            verdicts.put(connection, board.id, at_ms=start_ms + 1 + number * MS_PER_HOUR, **row, **SAID)
    yard.now_ms += 2 * MS_PER_DAY
    yard.act(entries.add_weigh_in, "A1", mass_g=4650)
    return yard, start_ms


@pytest.fixture
def client(told):
    yard, _ = told
    app = create_app(yard.store, yard.settings, yard.folder / SECRETS_NAME, lambda: yard.now_ms)
    return TestClient(app, client=("127.0.0.1", 1), base_url="http://localhost", follow_redirects=False)


def text_of(answer):
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.text)))


def plain(line):
    """Without its spaces, which pages put in to keep a line from breaking inside a figure."""
    return "".join(line.replace("\u2060", "").split())


def test_the_page_of_a_board_leads_to_what_was_known_and_that_lists_each_change_of_word(client, told):
    _, start_ms = told
    assert 'href="/board/A1/then"' in client.get("/board/A1").text
    answer = client.get("/board/A1/then")
    assert answer.status_code == 200
    links = re.findall(r'href="(/board/A1/then\?at=[^"]+)"', answer.text)
    assert len(links) == 2  # the same word with another number is no change
    shown = plain(text_of(answer))
    assert plain("It was taken back.") in shown
    assert shown.index(plain("no more told")) < shown.index("WAIT")
    typed = html.unescape(links[-1]).partition("at=")[2]
    at_ms = ms_from_datetime(datetime.fromisoformat(typed).astimezone())
    assert start_ms < at_ms <= start_ms + 1000  # just after it was written


def test_what_was_known_at_a_time_is_shown_with_what_was_told_and_what_is_not_kept(client, told):
    yard, start_ms = told
    at = f"{display.local(start_ms + 2 * MS_PER_HOUR):%Y-%m-%dT%H:%M:%S}"
    answer = client.get(f"/board/A1/then?at={quote(at)}")
    assert answer.status_code == 200
    at_ms = ms_from_datetime(datetime.fromisoformat(at).astimezone())
    found = replay.of_thing(yard.store, SubjectKind.BOARD, "A1", at_ms, yard.now_ms, yard.settings)
    shown, verdict = plain(text_of(answer)), found.thing.verdict
    for line in (verdict.word.value, verdict.reason, verdict.next_step, verdict.gates[0].sentence, verdict.evidence[0]):
        assert plain(line) in shown
    for line in ("WAIT, 11 days. Wet.", replay.NOT_KEPT, replay.AS_KNOWN):
        assert plain(line) in shown
    assert "data-beat" not in answer.text  # the past is not read again with each piece of news
    later = client.get(f"/board/A1/then?at={quote(at)}&hindsight=1")
    assert plain(replay.IN_HINDSIGHT) in plain(text_of(later))


@pytest.mark.parametrize("at", ["soon", "2199-01-01T10:00", "1850-01-01T10:00"])
def test_a_time_that_cannot_be_is_refused_at_its_field(client, at):
    answer = client.get(f"/board/A1/then?at={at}")
    assert answer.status_code == 422
    assert 'aria-invalid="true"' in answer.text and f'value="{at}"' in answer.text
    (sentence,) = re.findall(r'<span class="told"[^>]*>([^<]+)<', answer.text)
    assert sentence.startswith("time")


def test_before_anything_was_entered_that_is_said_and_hindsight_named(client, told):
    _, start_ms = told
    at = f"{display.local(start_ms - 3 * MS_PER_DAY):%Y-%m-%dT%H:%M}"
    answer = client.get(f"/board/A1/then?at={at}")
    assert answer.status_code == 200 and 'role="alert"' not in answer.text and "aria-invalid" not in answer.text
    assert "Nothing had been entered of the board A1 by" in text_of(answer)
    link = html.unescape(re.search(r'href="([^"]+)">Work it out in hindsight', answer.text)[1])
    later = client.get(link)
    assert later.status_code == 200 and "Work it out in hindsight" not in later.text
    assert client.get("/board/Q9/then").status_code == 404
    assert client.get("/set/Q9/then").status_code == 404


def test_the_page_of_a_set_leads_there_too(client, told):
    yard, _ = told
    yard.act(entries.add_set, "T1", name="Twin plates")
    assert 'href="/set/T1/then"' in client.get("/set/T1").text
    shown = text_of(client.get("/set/T1/then"))
    assert "Twin plates Set T1 ·" in shown, "the name first, then the code"
    assert "Nothing was told of it yet" in shown and replay.NOT_KEPT in shown


@pytest.mark.parametrize("record", [ThenPage, ChangeLine], ids=lambda one: one.__name__)
def test_every_field_that_the_page_may_use_carries_help(record):
    for one in fields(record):
        assert len(one.metadata.get("help", "")) > 5, one.name


# --- commands --------------------------------------------------------------------------------------


@pytest.fixture
def run(told, monkeypatch):
    yard, _ = told
    (yard.folder / FILE_NAME).write_text('store = "yard.sqlite3"\n', encoding="utf-8")
    monkeypatch.setattr(home, "now_ms", lambda: yard.now_ms)

    def invoke(*words):
        return CliRunner().invoke(commands.app, [*words, "--folder", str(yard.folder)])

    return invoke


def test_the_command_says_what_was_told_and_the_same_for_programs(run, told):
    yard, start_ms = told
    at = f"{display.local(start_ms + 2 * MS_PER_HOUR):%Y-%m-%d %H:%M:%S}"
    at_ms = ms_from_datetime(datetime.fromisoformat(at).astimezone())
    verdict = replay.of_thing(yard.store, SubjectKind.BOARD, "A1", at_ms, yard.now_ms, yard.settings).thing.verdict
    said = " ".join(run("board", "then", "a1", at).stdout.split())
    for line in (verdict.word.value, verdict.reason, replay.AS_KNOWN, replay.NOT_KEPT, "WAIT, 11 days", "no more told"):
        assert " ".join(line.split()) in said
    answer = json.loads(run("board", "then", "A1", at, "--json").stdout)
    assert answer["verdict"]["reason"] == verdict.reason and answer["at_ms"] == at_ms
    assert answer["told"]["number"] == "11 days" and [one["word"] for one in answer["changes"]] == ["WAIT", ""]
    hindsight = json.loads(run("board", "then", "A1", at, "--hindsight", "--json").stdout)
    assert hindsight["hindsight"] and hindsight["rests_on"] == replay.IN_HINDSIGHT


def test_a_set_can_be_asked_for_too_and_a_time_that_cannot_be_is_refused(run, told):
    yard, _ = told
    yard.act(entries.add_set, "T1")
    yard.act(entries.put_in_set, "A1", set_code="T1")
    at = f"{display.local(yard.now_ms):%Y-%m-%d %H:%M:%S}"
    yard.now_ms += MS_PER_DAY
    later = f"{display.local(yard.now_ms - MS_PER_HOUR):%Y-%m-%d %H:%M:%S}"
    assert "set T1" in run("set", "then", "T1", later).stdout
    refused = run("set", "then", "T1", "soon")
    assert refused.exit_code != 0 and "a date such as" in str(refused.exception)
    empty = run("set", "then", "T1", " ")
    assert empty.exit_code != 0 and "time" in str(empty.exception)
    assert at < later


def test_where_nothing_was_known_the_command_names_the_way_to_look_with_what_came_later(run, told):
    _, start_ms = told
    early = f"{display.local(start_ms - 30 * MS_PER_DAY):%Y-%m-%d %H:%M}"
    asked = run("board", "then", "A1", early)
    assert asked.exit_code != 0
    assert "Nothing had been entered" in str(asked.exception) and "--hindsight" in str(asked.exception)
    later = run("board", "then", "A1", early, "--hindsight")
    assert later.exit_code == 0 and "ask again with --hindsight" not in later.stdout


def test_a_set_in_which_nothing_lay_yet_is_told_with_the_same_way(run, told):
    yard, _ = told
    yard.act(entries.add_set, "T1")
    at = f"{display.local(yard.now_ms + MS_PER_HOUR):%Y-%m-%d %H:%M:%S}"
    yard.now_ms += MS_PER_DAY
    assert "ask again with --hindsight" in run("set", "then", "T1", at).stdout
    assert "ask again with --hindsight" not in run("set", "then", "T1", at, "--hindsight").stdout
