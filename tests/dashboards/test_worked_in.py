"""What is told while an entry is being worked in: what goes on, what stood before, and no chance of older figures."""

from __future__ import annotations

import pytest

from dashboards import entries, projection, replay, situation, worked_in
from dashboards.pages import parts
from kiln.doubts import MOMENT
from kiln.records import Word
from shared.store import facts, verdicts
from shared.store.records import SubjectKind
from shared.units import MS_PER_MINUTE
from tests.dashboards.test_set_page import client_of
from tests.dashboards.test_set_page import words as text_of

MADE_IN = "What was entered 2 min ago is being worked in; before it: READY, 7.9 %."


@pytest.fixture
def weighed(yard):
    """A set of one projected board that was READY by the journal, in which something was entered two minutes ago."""
    yard.act(entries.add_set, "T1")
    yard.act(entries.put_in_set, "A2", set_code="T1")
    yard.act(entries.plan_use, "T1", use="brace", kind="set", destination_rh_pct=45)
    with yard.store.reading() as connection:
        board = facts.subject(connection, SubjectKind.BOARD, "A2")
        matched = facts.subject(connection, SubjectKind.SET, "T1")
    projection.refresh(yard.store, board.id, yard.now_ms)
    for one in (board, matched):
        say(yard, one, "READY", "7.9 %")
    yard.now_ms += MS_PER_MINUTE
    yard.act(entries.add_weigh_in, "A2", mass_g=5600)
    yard.now_ms += 2 * MS_PER_MINUTE
    for one in (board, matched):
        say(yard, one, "CAN'T SAY", MOMENT)
    return yard


def say(yard, subject, word, number):
    with yard.store.writing() as connection:
        verdicts.put(
            connection,
            subject.id,
            at_ms=yard.now_ms,
            word=word,
            number=number,
            reason="",
            next_step="",
            probability=None,
            known_entry=0,
            known_until_ms=None,
            body="{}",
        )


def now_of(yard):
    return situation.read(yard.store, yard.now_ms, yard.settings)


def test_the_verdict_says_what_is_worked_in_and_what_was_told_before(weighed):
    now = now_of(weighed)
    board = next(one for one in now.boards if one.subject.code == "A2")
    for verdict in (board.verdict, now.sets[0].verdict):
        assert verdict.word is Word.CANT_SAY
        assert verdict.reason == MADE_IN and "by itself" in verdict.next_step


def test_a_set_shows_older_conditions_as_of_before_and_leaves_their_chances_out(weighed):
    shown = text_of(client_of(weighed).get("/set/T1").text)
    assert MADE_IN in shown and "decides" not in shown
    assert "Conditions, as they stood before" in shown and "in 100" not in shown.split("How far it will move")[0]
    view = parts.verdict_view(now_of(weighed).sets[0].verdict)
    assert view.as_before and not view.chance and not any(one.chance for one in (*view.gates, *view.met))


def test_what_was_taken_back_or_entered_before_is_not_told_as_the_newest(weighed):
    board = next(one for one in now_of(weighed).boards if one.subject.code == "A2")
    assert worked_in.entered_ms(board, weighed.now_ms - 2 * MS_PER_MINUTE) == weighed.now_ms - 2 * MS_PER_MINUTE
    assert worked_in.entered_ms(board, weighed.now_ms) is None


def test_such_waiting_is_no_change_of_the_word_and_a_change_of_use_is_told(weighed):
    with weighed.store.reading() as connection:
        matched = facts.subject(connection, SubjectKind.SET, "T1")
        assert [row.number for row in verdicts.history(connection, matched.id)] == ["7.9 %", MOMENT]
    assert [one.word for one in replay.journal(weighed.store, matched)] == ["READY"]
    shown = text_of(client_of(weighed).get("/set/T1/then").text)
    assert "Now wanted for: Brace, for air of 45 %RH" in shown and "a moment" not in shown


def test_the_air_of_a_use_is_the_one_that_was_entered_with_it(weighed):
    """The usual air of bracing is 42 %RH; this set's is 45: a target told of the one must not be the other's."""
    board = next(one for one in now_of(weighed).boards if one.subject.code == "A2")
    told = " ".join(gate.sentence for gate in board.verdict.gates)
    assert "42 %RH" not in f"{told} {board.verdict.reason} {board.verdict.next_step}"
