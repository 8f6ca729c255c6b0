"""What was said then is said again, field for field, whatever was entered, corrected or read in afterwards."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace

import pytest

from dashboards import entries, fields, projection, replay, situation
from dashboards.judge import Judge
from dashboards.watch import Watch
from kiln.records import Projection, Word
from shared.errors import BadInput, Refused
from shared.store import Store, facts, readings, verdicts
from shared.store.records import NewReading, ProbeFact, Quality, Quantity, SubjectKind, TimeSource
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE


def project(yard):
    """Let the watch work until nothing is due, by the yard's clock."""
    watching = Watch(yard.store, yard.settings, lambda: yard.now_ms)
    memory = projection.Memory()
    while due := watching.due():
        projection.refresh(yard.store, due[0], yard.now_ms, yard.settings, memory)


def live(yard):
    """What is told now: the verdict on everything, and the air and probes that it rests on."""
    project(yard)
    return told(situation.read(yard.store, yard.now_ms, yard.settings))


def told(now):
    things = (*now.boards, *now.sets, *now.stacks)
    said = {f"{one.subject.kind} {one.subject.code}": one.verdict for one in things}
    heard = {one.subject.code: (one.state, one.sentence, one.habit) for one in now.probes}
    # Sums of readings hang in their last digits on the order of adding; hours that were summed up anew have another.
    airs = {one.subject.code: one.air and (one.air.at_ms, round(one.air.emc_pct, 9)) for one in now.places}
    return said, heard, airs


def then(yard, at_ms, **others):
    return told(replay.then(yard.store, at_ms, yard.settings, **others))


def read_log(yard, probe_code, start_ms, hours, t, rh):
    """Readings that lay in a file until now: at half past each hour, between those that came by themselves."""
    with yard.store.writing() as connection:
        probe_id = next(f.subject_id for f in facts.standing(connection, ProbeFact) if f.name == probe_code)
        rows = []
        for quantity, value in ((Quantity.TEMPERATURE_C, t), (Quantity.RH_PCT, rh)):
            series = readings.series_of(connection, probe_id, quantity)
            first = start_ms // MS_PER_HOUR * MS_PER_HOUR + 30 * MS_PER_MINUTE
            rows += [
                NewReading(series, first + i * MS_PER_HOUR, value + i % 3, Quality.GOOD, TimeSource.PAYLOAD)
                for i in range(hours)
            ]
        return readings.append(connection, rows, yard.now_ms)


def hear(yard, hours):
    """So many hours go by, in which both probes are heard."""
    yard.now_ms += hours * MS_PER_HOUR
    yard.log("north", hours / 24)
    yard.log("warm", hours / 24, t=19.0, rh=45.0)


def digest(store: Store):
    """Everything that the store holds, as SQLite writes it out."""
    with store.reading() as connection:
        lines = connection.connection.driver_connection.iterdump()
        return hashlib.sha256("\n".join(lines).encode()).hexdigest()


@pytest.fixture
def lived(yard):
    """A yard in which much was entered late, corrected and read in late, and what was told at three moments of it."""
    moments = {}

    def keep():
        moments[yard.now_ms] = live(yard)

    yard.act(entries.add_set, "T1")
    yard.act(entries.put_in_set, "A2", set_code="T1")
    yard.act(entries.plan_use, "A1", use="glue", booked=yard.now_ms + 10 * MS_PER_DAY)
    keep()
    hear(yard, 7)
    wrong = yard.act(entries.add_weigh_in, "A1", mass_g=4300)
    yard.act(entries.add_weigh_in, "A2", mass_g=5300, days_ago=3)  # entered three days late
    yard.now_ms += 20 * MS_PER_MINUTE  # the hour is not over
    keep()
    hear(yard, 3)
    yard.act(entries.undo, wrong.kind, wrong.fact_id)
    assert read_log(yard, "north", yard.now_ms - 20 * MS_PER_DAY, 19 * 24, 21.0, 40.0).new > 900
    keep()
    hear(yard, 30)
    yard.act(entries.move_board, "A1", place="room", days_ago=0.5)
    yard.act(entries.add_outcome, "A2", kind="checks", degree="bad", days_ago=0.2)
    yard.act(entries.plan_use, "A1", use="bend")
    yard.act(entries.add_probe, "new", topic="workshop/shed/new", place="shed")
    yard.log("new", 1, rh=90.0)
    keep()
    hear(yard, 2)
    yard.act(entries.add_weigh_in, "A2", mass_g=5100)
    return yard, moments


def test_a_replay_gives_field_for_field_what_was_told_then_and_nothing_is_written(lived):
    yard, moments = lived
    before = digest(yard.store)
    for at_ms, (said, heard, airs) in moments.items():
        again, heard_again, airs_again = then(yard, at_ms)
        assert again.keys() == said.keys()
        for name, verdict in said.items():
            assert again[name] == verdict, name
        assert heard_again == heard and airs_again == airs
    differ = [said["board A1"] for said, _heard, _airs in moments.values()]
    assert len({json.dumps(str(one)) for one in differ}) == len(differ)  # else the replay would have been no test
    at_ms = list(moments)[1]
    found = replay.of_thing(yard.store, SubjectKind.SET, "t1", at_ms, yard.now_ms, yard.settings)
    assert found.thing.verdict == moments[at_ms][0]["set T1"]
    by_code = {one.subject.code: one for one in found.now.boards}  # those not asked for are there, and say nothing
    assert isinstance(by_code["A2"].projection, Projection) and by_code["A1"].projection is None
    assert by_code["A1"].verdict.word is Word.CANT_SAY
    assert digest(yard.store) == before


def test_what_the_journal_says_was_told_stands_beside_it_and_each_change_of_word_is_listed(yard):
    judge = Judge(yard.store, yard.settings, lambda: yard.now_ms, clock_s=lambda: yard.now_ms / 1000)
    looked_ms = []

    def look(later_ms):
        yard.now_ms += later_ms
        project(yard)
        judge.look()
        looked_ms.append(yard.now_ms)
        yard.now_ms += 1  # what comes next comes after it

    look(0)
    yard.act(entries.plan_use, "A2", use="glue", booked=yard.now_ms + MS_PER_DAY)
    look(5 * MS_PER_MINUTE)
    yard.act(entries.add_weigh_in, "A2", mass_g=6000, days_ago=1)
    look(5 * MS_PER_MINUTE)  # other figures, the same word
    look(2 * MS_PER_DAY)  # and no air was heard of any more
    with yard.store.reading() as connection:
        board = facts.subject(connection, SubjectKind.BOARD, "A2")
        rows = verdicts.history(connection, board.id)
    listed = replay.journal(yard.store, board)
    assert [one.word for one in listed] == ["WAIT", "STOP", "CAN'T SAY"]
    assert [one.at_ms for one in listed] == [looked_ms[0], looked_ms[1], looked_ms[3]]
    assert {one.at_ms for one in rows} <= set(looked_ms)
    for row in rows:
        found = replay.of_thing(yard.store, SubjectKind.BOARD, "A2", row.at_ms, yard.now_ms, yard.settings)
        assert found.told == row
        verdict = found.thing.verdict
        said = (str(verdict.word), verdict.number, verdict.reason, verdict.next_step)
        assert (row.word, row.number, row.reason, row.next_step) == said


def test_in_hindsight_a_history_that_was_typed_in_later_is_there(yard):
    ago_ms = yard.now_ms - 10 * MS_PER_DAY
    with pytest.raises(Refused, match="Nothing had been entered of the board A1"):
        replay.of_thing(yard.store, SubjectKind.BOARD, "A1", ago_ms, yard.now_ms, yard.settings)
    found = replay.of_thing(yard.store, SubjectKind.BOARD, "A1", ago_ms, yard.now_ms, yard.settings, hindsight=True)
    assert isinstance(found.thing.projection, Projection)
    assert found.thing.projection.known_until_ms <= ago_ms
    assert [one.true_at_ms for one in found.thing.weigh_ins] == [yard.now_ms - days * MS_PER_DAY for days in (35, 20)]
    yard.act(entries.add_weigh_in, "A1", mass_g=4000)  # what comes after changes nothing of it
    again = replay.of_thing(yard.store, SubjectKind.BOARD, "A1", ago_ms, yard.now_ms, yard.settings, hindsight=True)
    assert again.thing.verdict == found.thing.verdict


def test_a_time_that_has_not_come_and_a_board_that_there_is_not_are_refused(yard):
    with pytest.raises(BadInput, match="time that has come"):
        replay.of_thing(yard.store, SubjectKind.BOARD, "A1", yard.now_ms + MS_PER_DAY, yard.now_ms, yard.settings)
    with pytest.raises(BadInput, match="board"):
        replay.of_thing(yard.store, SubjectKind.BOARD, "Q9", yard.now_ms, yard.now_ms, yard.settings)


def test_the_store_of_a_situation_of_then_goes_on_being_that_of_then(yard):
    at_ms = yard.now_ms
    yard.now_ms += MS_PER_HOUR
    yard.act(entries.add_weigh_in, "A1", mass_g=4500)
    now = replay.then(yard.store, at_ms, replace(yard.settings), board_ids=())
    with now.store.reading() as connection:
        assert facts.newest_entry(connection) < yard_newest(yard)
    with pytest.raises(Refused), now.store.writing():
        pass
    assert fields.moment_ms("time", "2026-04-04 12:00") == fields.moment_ms("time", "2026-04-04T12:00")


def yard_newest(yard):
    with yard.store.reading() as connection:
        return facts.newest_entry(connection)
