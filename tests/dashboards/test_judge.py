"""Verdicts are told once: a row in the journal and a message for every change, and a renewal in between."""

import json
import logging
from dataclasses import replace

import pytest

from dashboards import entries, judge, projection, situation, undoing
from dashboards.judge import Judge
from dashboards.outcome_entries import add_outcome
from dashboards.verdict_messages import moment
from dashboards.watch import Watch
from shared.errors import BadInput
from shared.store import cache, facts, outbox, verdicts
from shared.store.records import SubjectKind
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE

THINGS = {"benchdry/verdict/board/A1", "benchdry/verdict/board/A2", "benchdry/verdict/stack/S1"}


class Seen:
    """A judge with a clock set by hand, and what it wrote."""

    def __init__(self, yard, **settings):
        self.yard, self.s = yard, 0.0
        yard.settings = replace(yard.settings, **settings)
        self.start()

    def start(self):
        self.judge = Judge(self.yard.store, self.yard.settings, lambda: self.yard.now_ms, lambda: self.s)

    def wait(self, minutes):
        self.yard.now_ms += round(minutes * MS_PER_MINUTE)
        self.s += minutes * 60
        self.judge.look()

    def rows(self, code="A1", kind=SubjectKind.BOARD):
        with self.yard.store.reading() as connection:
            return verdicts.history(connection, facts.subject(connection, kind, code).id)

    def override(self):
        """Somebody uses the first board whatever is said of it."""
        self.yard.act(entries.add_override, "A1", use="machine", reason="a prototype that nobody buys")

    def taken(self):
        """Take what waits as the recorder does; topic and payload."""
        with self.yard.store.writing() as connection:
            due = outbox.due(connection, self.yard.now_ms, 1000)
            for one in due:
                assert one.retain
                assert outbox.sent(connection, one.id, self.yard.now_ms)
        return {one.topic: one.payload for one in due}


@pytest.fixture
def seen(yard):
    return Seen(yard)


def test_at_first_everything_is_told_and_written_down(seen, valid_message):
    seen.judge.look()
    taken = seen.taken()
    assert set(taken) == THINGS
    message = valid_message(taken["benchdry/verdict/board/A1"])
    (row,) = seen.rows()
    assert (row.word, row.number, row.reason) == (message["word"], message["number"], message["reason"])
    assert row.at_ms == seen.yard.now_ms and row.known_until_ms is None
    with seen.yard.store.reading() as connection:
        assert row.known_entry == facts.newest_entry(connection)
    assert json.loads(row.body)["verdict"]["word"] == row.word


def test_what_has_not_changed_is_not_told_again_until_its_renewal(seen, valid_message):
    seen.judge.look()
    first = seen.taken()
    for _ in range(9):
        seen.wait(1)
    assert seen.taken() == {}
    seen.wait(1)
    renewed = seen.taken()
    assert set(renewed) == THINGS
    before, after = (valid_message(one["benchdry/verdict/board/A1"]) for one in (first, renewed))
    assert after["valid_until"] > before["valid_until"]
    assert len(seen.rows()) == 1, "a renewal is no new verdict"


def test_a_change_is_told_at_once_with_a_row_that_says_what_rests_on_what(seen, valid_message):
    seen.judge.look()
    seen.taken()
    board_id = situation.read(seen.yard.store, seen.yard.now_ms, seen.yard.settings).boards[0].subject.id
    projection.refresh(seen.yard.store, board_id, seen.yard.now_ms, seen.yard.settings)
    seen.judge.look()
    taken = seen.taken()
    assert {"benchdry/verdict/board/A1"} <= set(taken) <= {"benchdry/verdict/board/A1", "benchdry/verdict/stack/S1"}
    message = valid_message(taken["benchdry/verdict/board/A1"])
    assert message["moisture_mc_pct"]["p50"] > 5
    row = seen.rows()[-1]
    assert len(seen.rows()) == 2
    assert row.known_until_ms is not None and row.reason == message["reason"]
    assert json.loads(row.body)["verdict"]["gates"]


@pytest.fixture
def projected(seen):
    """A judge that has told of boards with their projections."""
    now = situation.read(seen.yard.store, seen.yard.now_ms, seen.yard.settings)
    for board in now.boards:
        projection.refresh(seen.yard.store, board.subject.id, seen.yard.now_ms, seen.yard.settings)
    seen.judge.look()
    seen.taken()
    return seen


def forget(seen):
    """Every projection is of an older physics, as after an update of the program."""
    with seen.yard.store.writing() as connection:
        for kept in cache.projections(connection).values():
            body = json.dumps(json.loads(kept.body) | {"model": "an older one"})
            cache.put_projection(connection, replace(kept, body=body))


@pytest.mark.parametrize("prefix", ["benchdry", ""])
def test_while_projections_are_made_anew_what_was_told_last_stands_until_it_runs_out(projected, prefix):
    told = [len(projected.rows(*thing)) for thing in (("A1",), ("S1", SubjectKind.STACK))]
    forget(projected)
    projected.yard.settings = replace(projected.yard.settings, verdict_topic_prefix=prefix)
    projected.start()  # as after an update
    projected.wait(5)
    now = situation.read(projected.yard.store, projected.yard.now_ms, projected.yard.settings)
    assert {one.verdict.word.value for one in now.boards} == {"CAN'T SAY"}, "the pages say that it is worked out"
    assert projected.taken() == {}
    assert [len(projected.rows(*thing)) for thing in (("A1",), ("S1", SubjectKind.STACK))] == told
    projected.wait(30)  # three renewals have not come
    assert "being worked out" in projected.rows()[-1].reason
    assert ("benchdry/verdict/board/A1" in projected.taken()) is bool(prefix)


def test_what_stands_is_told_again_as_soon_as_it_is_worked_out(projected, valid_message):
    before = projected.rows()[-1]
    assert "being worked out" not in before.reason
    forget(projected)
    projected.wait(5)
    now = situation.read(projected.yard.store, projected.yard.now_ms, projected.yard.settings)
    projection.refresh(projected.yard.store, now.boards[0].subject.id, projected.yard.now_ms, projected.yard.settings)
    projected.wait(6)
    assert valid_message(projected.taken()["benchdry/verdict/board/A1"])["reason"] == before.reason
    assert not any("being worked out" in row.reason for row in projected.rows())


def test_what_was_told_does_not_stand_once_something_was_entered_or_the_air_is_silent(projected):
    forget(projected)
    projected.yard.now_ms += MS_PER_MINUTE
    projected.yard.act(entries.plan_use, "A2", use="machine", days_ago=0)
    projected.wait(1)
    assert projected.rows()[-1].word == "CAN'T SAY" and "being worked out" in projected.rows()[-1].reason
    for _ in range(4):
        projected.wait(60)
    assert "has not been heard" in projected.rows()[-1].reason


def test_figures_that_move_with_each_hour_are_told_at_once_and_written_down_once_a_day(seen, monkeypatch):
    hour = 0
    honest = judge.verdict_messages.message

    def moving(one, at_ms, settings):
        still = {"word": "WAIT", "number": "12 days", "next_step": "Leave it be."}
        return honest(one, at_ms, settings) | still | {"reason": f"It stands at {20 - hour / 10:.1f} %."}

    monkeypatch.setattr(judge.verdict_messages, "message", moving)
    seen.judge.look()
    for hour in range(1, 49):
        seen.taken()
        seen.wait(60)
        assert f"{20 - hour / 10:.1f} %" in seen.taken()["benchdry/verdict/board/A1"]
    assert [row.reason[-7:] for row in seen.rows()] == ["20.0 %.", "17.6 %.", "15.2 %."]


def test_air_that_falls_silent_takes_the_verdict_away_without_any_entry(seen, valid_message):
    board_id = situation.read(seen.yard.store, seen.yard.now_ms, seen.yard.settings).boards[0].subject.id
    projection.refresh(seen.yard.store, board_id, seen.yard.now_ms, seen.yard.settings)
    seen.judge.look()
    before = valid_message(seen.taken()["benchdry/verdict/board/A1"])
    heard_until_ms = seen.yard.now_ms + 3 * MS_PER_HOUR
    while seen.yard.now_ms < heard_until_ms:
        seen.wait(30)
    message = valid_message(seen.taken()["benchdry/verdict/board/A1"])
    assert message["word"] == "CAN'T SAY" and message["number"].startswith("no air")
    assert before["number"] != message["number"]


def test_after_a_new_start_all_is_told_again_and_nothing_is_written_twice(seen):
    seen.judge.look()
    seen.taken()
    seen.start()
    seen.judge.look()
    assert set(seen.taken()) == THINGS
    assert len(seen.rows()) == 1


def test_a_clock_that_was_set_back_does_not_silence_it(seen):
    seen.judge.look()
    seen.taken()
    seen.yard.now_ms -= MS_PER_DAY
    seen.s += 60
    seen.judge.look()
    assert set(seen.taken()) == THINGS


def test_a_board_whose_drying_is_closed_is_cleared_once_and_for_all(seen):
    seen.judge.look()
    seen.taken()
    seen.yard.act(add_outcome, "A1", kind="finished", degree="well", days_ago=0)
    seen.judge.look()
    assert seen.taken()["benchdry/verdict/board/A1"] == ""
    assert (seen.rows()[-1].word, seen.rows()[-1].reason) == ("", "Its drying is closed.")
    for _ in range(3):
        seen.wait(10)
    assert "benchdry/verdict/board/A1" not in seen.taken()
    assert len(seen.rows()) == 2


def test_a_board_that_was_closed_by_mistake_is_told_again(seen):
    seen.judge.look()
    made = seen.yard.act(add_outcome, "A1", kind="finished", degree="well", days_ago=0)
    seen.judge.look()
    seen.taken()
    seen.yard.act(undoing.undo, "outcome", made.fact_id)
    seen.judge.look()
    assert json.loads(seen.taken()["benchdry/verdict/board/A1"])["code"] == "A1"
    assert [row.word for row in seen.rows()] == ["CAN'T SAY", "", "CAN'T SAY"]


def test_a_set_that_was_taken_back_is_cleared(seen):
    made = seen.yard.act(entries.add_set, "T1", name="Twin plates")
    seen.judge.look()
    assert "benchdry/verdict/set/T1" in seen.taken()
    seen.yard.act(undoing.undo, "set", made.fact_id)
    seen.judge.look()
    assert seen.taken()["benchdry/verdict/set/T1"] == ""
    assert seen.rows("T1", SubjectKind.SET)[-1].reason == "It was taken back."


def test_an_override_is_told_at_once_and_leaves_the_verdict_as_it_is(seen, valid_message):
    seen.yard.act(entries.plan_use, "A1", use="machine", days_ago=1)
    seen.judge.look()
    before = valid_message(seen.taken()["benchdry/verdict/board/A1"])
    seen.override()
    seen.judge.look()
    message = valid_message(seen.taken()["benchdry/verdict/board/A1"])
    assert message["overridden"] == {"by": "Ida", "reason": "a prototype that nobody buys"}
    assert (message["word"], message["reason"]) == (before["word"], before["reason"])
    assert len(seen.rows()) == 2


def test_without_a_prefix_the_journal_is_kept_and_nothing_is_to_be_published(yard):
    seen = Seen(yard, verdict_topic_prefix="")
    seen.judge.look()
    assert seen.taken() == {}
    assert len(seen.rows()) == 1


def test_a_prefix_that_mqtt_forbids_is_refused_at_the_start(yard):
    with pytest.raises(BadInput, match="verdict_topic_prefix"):
        Seen(yard, verdict_topic_prefix="yard/#")


def test_while_the_recorder_is_away_only_the_newest_of_each_waits(seen, valid_message):
    seen.judge.look()
    for _ in range(10):
        seen.wait(10)
    with seen.yard.store.reading() as connection:
        assert outbox.waiting(connection) == len(THINGS)
    message = valid_message(seen.taken()["benchdry/verdict/board/A1"])
    assert message["at"] == moment(seen.yard.now_ms)


def test_a_look_whose_transaction_fails_leaves_neither_row_nor_message_and_is_made_up_for(seen, monkeypatch, caplog):
    honest = outbox.put
    monkeypatch.setattr(judge.outbox, "put", lambda *_a, **_k: 1 / 0)
    with caplog.at_level(logging.ERROR):
        seen.judge.look()
    assert "the verdicts could not be told" in caplog.text
    assert seen.rows() == [] and seen.taken() == {}
    monkeypatch.setattr(judge.outbox, "put", honest)
    seen.wait(1)
    assert len(seen.rows()) == 1 and set(seen.taken()) == THINGS


def test_while_the_watch_is_busy_it_looks_once_a_minute(seen):
    seen.yard.act(entries.plan_use, "A1", use="machine", days_ago=1)
    seen.judge.look(busy=True)
    assert len(seen.taken()) == len(THINGS)
    seen.override()
    seen.s += 59
    seen.judge.look(busy=True)
    assert seen.taken() == {}
    seen.s += 1
    seen.judge.look(busy=True)
    assert "benchdry/verdict/board/A1" in seen.taken()


def test_what_was_sent_a_week_ago_is_cleared_away_and_the_journal_kept(seen):
    seen.judge.look()
    seen.taken()
    with seen.yard.store.reading() as connection:
        assert outbox.waiting(connection) == 0
    for _ in range(9):
        seen.wait(24 * 60)
        seen.taken()
    with seen.yard.store.writing() as connection:
        assert outbox.prune(connection, seen.yard.now_ms, judge.KEPT_DAYS) == 0
    assert seen.rows()


def test_the_watch_projects_and_then_tells(yard, valid_message):
    watch, looks = Watch(yard.store, yard.settings, lambda: yard.now_ms), 0

    def stop():
        nonlocal looks
        looks += 1
        with yard.store.reading() as connection:
            told = verdicts.latest_by_subject(connection)
            projected = len(cache.projections(connection)) == 2
        return (bool(told) and projected) or looks > 20

    watch.run(stop)
    seen = Seen(yard)
    message = valid_message(seen.taken()["benchdry/verdict/board/A1"])
    assert message["moisture_mc_pct"] is not None and message["known_until"] is not None
