"""The journal of verdicts, messages on their way out, and the entries that bear on verdicts."""

from __future__ import annotations

from typing import Any

import pytest
from sqlalchemy import exc

from shared.store import Store, facts, outbox, verdicts
from shared.store import records as r
from shared.units import MS_PER_DAY
from tests.shared.test_store import store_of_schema

SAID = {
    "word": "WAIT",
    "number": "12 days",
    "reason": "The core is wetter than the shell.",
    "next_step": "Weigh it in a week.",
    "probability": 0.25,
    "known_entry": 7,
    "known_until_ms": 90,
    "body": '{"a": 1}',
}
WHEN = {"true_at_ms": 10, "entered_at_ms": 20, "by": "Ida"}


@pytest.fixture
def boards(store: Store) -> list[r.Subject]:
    with store.writing() as connection:
        return [facts.add_subject(connection, r.SubjectKind.BOARD, code) for code in ("B-1", "B-2")]


def say(store: Store, subject: r.Subject, at_ms: int, **others: Any) -> int:
    with store.writing() as connection:
        return verdicts.put(connection, subject.id, at_ms=at_ms, **(SAID | others))


# --- the journal of verdicts -----------------------------------------------------------------------


def test_a_verdict_comes_back_as_it_was_said(store: Store, boards: list[r.Subject]) -> None:
    made = say(store, boards[0], 100)
    with store.reading() as connection:
        (kept,) = verdicts.history(connection, boards[0].id)
    assert kept == r.KeptVerdict(id=made, subject_id=boards[0].id, at_ms=100, **SAID)


def test_what_was_said_last_of_each_can_be_asked_for_any_moment(store: Store, boards: list[r.Subject]) -> None:
    first, second = boards
    for subject, at_ms, word in ((first, 100, "WAIT"), (second, 150, "STOP"), (first, 200, "READY")):
        say(store, subject, at_ms, word=word, probability=None, known_until_ms=None)
    with store.reading() as connection:
        now = verdicts.latest_by_subject(connection)
        then = verdicts.latest_by_subject(connection, at_ms=199)
        before = verdicts.latest_by_subject(connection, at_ms=99)
        assert [one.word for one in verdicts.history(connection, first.id)] == ["WAIT", "READY"]
        assert [one.word for one in verdicts.history(connection, first.id, since_ms=101)] == ["READY"]
    assert {subject: one.word for subject, one in now.items()} == {first.id: "READY", second.id: "STOP"}
    assert {subject: one.word for subject, one in then.items()} == {first.id: "WAIT", second.id: "STOP"}
    assert before == {}
    assert now[first.id].probability is None and now[first.id].known_until_ms is None


def test_a_verdict_is_about_something_that_is_in_the_store(store: Store) -> None:
    with pytest.raises(exc.IntegrityError), store.writing() as connection:
        verdicts.put(connection, 99, at_ms=1, **SAID)


# --- messages on their way out ---------------------------------------------------------------------


def post(store: Store, topic: str, payload: str, made_ms: int, *, retain: bool = True) -> int:
    with store.writing() as connection:
        return outbox.put(connection, topic=topic, payload=payload, retain=retain, made_ms=made_ms)


def due(store: Store, now_ms: int, limit: int = 100) -> list[str]:
    with store.reading() as connection:
        return [one.payload for one in outbox.due(connection, now_ms, limit)]


def test_of_a_retained_topic_the_newest_takes_the_place_of_what_was_not_sent(store: Store) -> None:
    old = post(store, "v/board/B-1", "old", 10)
    post(store, "v/board/B-2", "other", 11)
    new = post(store, "v/board/B-1", "new", 12)
    assert due(store, 20) == ["other", "new"]
    with store.writing() as connection:
        assert outbox.waiting(connection) == 2
        assert not outbox.sent(connection, old, 30)  # its acknowledgement does not count for the newer
        assert not outbox.failed(connection, old, 40, "late")
        assert outbox.sent(connection, new, 31)
        assert not outbox.sent(connection, new, 32)
        assert outbox.waiting(connection) == 1
    assert due(store, 50) == ["other"]


def test_a_newer_message_never_gets_the_number_of_the_one_it_replaces_even_where_that_was_the_last(
    store: Store,
) -> None:
    numbers = [post(store, "v/board/B-1", str(made_ms), made_ms) for made_ms in range(3)]
    assert numbers == sorted(set(numbers))
    assert due(store, 10) == ["2"]


def test_what_was_sent_is_not_replaced_but_followed(store: Store) -> None:
    first = post(store, "v/board/B-1", "first", 10)
    with store.writing() as connection:
        outbox.sent(connection, first, 11)
    post(store, "v/board/B-1", "second", 12)
    with store.writing() as connection:
        assert outbox.prune(connection, 11, days=0.0) == 0
        assert outbox.prune(connection, 12, days=0.0) == 1
    assert due(store, 12) == ["second"]


def test_what_is_not_retained_is_all_kept_and_none_overtakes_another_of_its_topic(store: Store) -> None:
    first = post(store, "news", "one", 10, retain=False)
    post(store, "news", "two", 11, retain=False)
    post(store, "else", "three", 12, retain=False)
    assert due(store, 20) == ["one", "three"]
    assert due(store, 20, limit=1) == ["one"]
    with store.writing() as connection:
        assert outbox.failed(connection, first, 100, "no broker")
    assert due(store, 99) == ["three"]
    with store.reading() as connection:
        (waits, _three) = outbox.due(connection, 100, 10)
    assert (waits.payload, waits.tries, waits.next_try_ms, waits.note) == ("one", 1, 100, "no broker")
    with store.writing() as connection:
        outbox.sent(connection, first, 101)
    assert due(store, 101) == ["two", "three"]


def test_a_message_is_not_due_before_it_is_made_and_what_waits_is_never_pruned(store: Store) -> None:
    post(store, "v/board/B-1", "later", 50)
    assert due(store, 49) == []
    with store.writing() as connection:
        assert outbox.prune(connection, 1000 * MS_PER_DAY, days=1.0) == 0
    assert due(store, 50) == ["later"]


# --- entries ---------------------------------------------------------------------------------------


def test_the_entries_that_bear_on_verdicts_come_back_as_they_went_in(store: Store, boards: list[r.Subject]) -> None:
    limit = {"value": 1.5, "reason": "thin plates"}
    override = {"use": "glue", "reason": "a mock-up"}
    lifted = {
        "water": r.WaterBody.BRACKISH,
        "sapwood": r.Sapwood.NONE,
        "shake": None,
        "smell": r.Smell.SOUR,
        "washed": True,
        "metal_searched": False,
        "note": "",
    }
    with store.writing() as connection:
        matched = facts.add_subject(connection, r.SubjectKind.SET, "S-1")
        named = facts.add_subject(connection, r.SubjectKind.LIMIT, "glue.tolerance_mc_pct")
        ends = {"a_board_id": boards[0].id, "b_board_id": boards[1].id}
        joint = ends | {"length_m": 0.5, "grain_a_deg": 0.0, "grain_b_deg": 90.0, "name": "centre"}
        member = {"set_id": matched.id, "role": "left half", "kind": r.PieceKind.TWIN}
        air = {"destination_rh_pct": 45.0, "destination_temperature_c": 20.0, "booked_ms": None}
        plan = {"use": "glue", **air, "wanted_mc_low_pct": 6.0, "wanted_mc_high_pct": 8.0, "begun": True}
        told = (
            (r.OwnLimit, named, limit),
            (r.Override, boards[0], override),
            (r.Lifted, boards[0], lifted),
            (r.Joint, matched, joint),
            (r.SetMember, boards[0], member),
            (r.UsePlan, matched, plan),
        )
        for record, subject, values in told:
            facts.add(connection, record, subject.id, **WHEN, **values)
    with store.reading() as connection:
        for record, _subject, values in told:
            (kept,) = facts.standing(connection, record)
            assert facts.own_values(kept) == values
            assert [type(one) for one in facts.own_values(kept).values()] == [type(one) for one in values.values()]


@pytest.mark.parametrize("wrong", [{"grain_a_deg": 91.0}, {"grain_b_deg": -1.0}, {"length_m": 0.0}])
def test_the_store_itself_refuses_a_joint_that_cannot_be(store: Store, boards: list[r.Subject], wrong: dict) -> None:
    ends = {"a_board_id": boards[0].id, "b_board_id": boards[1].id}
    joint = ends | {"length_m": 0.5, "grain_a_deg": 0.0, "grain_b_deg": 90.0, "name": ""} | wrong
    with pytest.raises(exc.IntegrityError), store.writing() as connection:
        facts.add(connection, r.Joint, boards[0].id, **WHEN, **joint)


def test_the_store_itself_refuses_a_joint_of_a_board_with_itself(store: Store, boards: list[r.Subject]) -> None:
    joint = {"length_m": 0.5, "grain_a_deg": 0.0, "grain_b_deg": 90.0, "name": ""}
    with pytest.raises(exc.IntegrityError), store.writing() as connection:
        facts.add(connection, r.Joint, boards[0].id, **WHEN, **joint, a_board_id=boards[0].id, b_board_id=boards[0].id)


def test_a_plan_or_a_piece_written_without_the_newer_words_gets_the_plain_ones(
    store: Store, boards: list[r.Subject]
) -> None:
    with store.writing() as connection:
        air = {"destination_rh_pct": 45.0, "destination_temperature_c": 20.0, "booked_ms": None}
        facts.add(connection, r.UsePlan, boards[0].id, **WHEN, use="glue", **air)
        facts.add(connection, r.SetMember, boards[0].id, **WHEN, set_id=None, role="left half")
        (plan,) = facts.standing(connection, r.UsePlan)
        (member,) = facts.standing(connection, r.SetMember)
    assert (plan.wanted_mc_low_pct, plan.wanted_mc_high_pct, plan.begun) == (None, None, False)
    assert member.kind is r.PieceKind.OTHER


# --- what was known when ---------------------------------------------------------------------------


def test_the_past_can_be_asked_what_there_was_and_what_was_taken_back_by_then(
    store: Store, boards: list[r.Subject]
) -> None:
    def weigh(subject: r.Subject, entered_at_ms: int) -> int:
        values = {"true_at_ms": 5, "by": "Ida", "mass_kg": 4.0, "scale_error_kg": 0.01}
        with store.writing() as connection:
            return facts.add(connection, r.WeighIn, subject.id, entered_at_ms=entered_at_ms, **values)

    first = weigh(boards[0], 100)
    weigh(boards[1], 200)
    with store.writing() as connection:
        facts.undo(connection, r.WeighIn, first, entered_at_ms=300, by="Ben")
    with store.reading() as connection:

        def known(at_ms: int | None) -> tuple[list[str], int, int]:
            there = [one.code for one in facts.subjects(connection, r.SubjectKind.BOARD, at_ms)]
            gone = facts.taken_back(connection, r.WeighIn, known_at_ms=at_ms)
            return there, facts.newest_entry(connection, at_ms), len(gone)

        assert known(99) == ([], 0, 0)
        assert known(100) == (["B-1"], 1, 0)
        assert known(299) == (["B-1", "B-2"], 2, 0)
        assert known(300) == known(None) == (["B-1", "B-2"], 3, 1)


# --- a store of an earlier program -----------------------------------------------------------------


def test_pieces_and_plans_of_an_earlier_schema_keep_every_entry_what_a_piece_is_guessed_from_its_role(tmp_path) -> None:
    store = store_of_schema(tmp_path / "old.sqlite3", "0005")
    roles = {
        "Left half": "twin",
        "back, right": "twin",
        "X-brace": "brace",
        "tone bar": "brace",
        "end block": "block",
        "neck": "neck",
        "back": "plate",
        "Top": "plate",
        "bare piece": "other",
        "": "other",
    }
    with store._writer.begin() as connection:
        run = connection.exec_driver_sql
        run("INSERT INTO subject VALUES (1, 'set', 'S1'), (2, 'board', 'B1')")
        for number, role in enumerate(roles, start=1):
            row = "INSERT INTO set_member VALUES (?, 2, ?, 110, 'Ida', NULL, 0, 1, ?)"
            run(row, (number, number, role))
        run("INSERT INTO use_plan VALUES (1, 2, 100, 110, 'Ida', NULL, 0, 'glue', 45.0, 20.0, NULL)")
    store.create_or_upgrade()
    with store.reading() as connection:
        kept = facts.standing(connection, r.SetMember)
        assert {one.role: one.kind.value for one in kept} == roles
        assert [(one.id, one.true_at_ms, one.set_id) for one in kept] == [(n, n, 1) for n in range(1, len(roles) + 1)]
        (plan,) = facts.standing(connection, r.UsePlan)
    assert plan == r.UsePlan(1, 2, 100, 110, "Ida", None, False, "glue", 45.0, 20.0, None, None, None, begun=False)
    assert plan.begun is False
    store.close()
