"""The log of entries: its order, its pages, and that a page asks no more of a large store than of a small one."""

import pytest
from sqlalchemy import event, insert

from shared.store import Store, facts, log
from shared.store import records as r
from shared.store import schema as s

MANY = 20_000


@pytest.fixture
def store(tmp_path):
    made = Store(tmp_path / "yard.sqlite3")
    made.create_or_upgrade()
    yield made
    made.close()


def subject(connection, code, kind=r.SubjectKind.BOARD):
    return facts.add_subject(connection, kind, code)


def weigh(connection, board, at_ms, **more):
    given = {"true_at_ms": at_ms, "entered_at_ms": at_ms, "by": "Ida", "mass_kg": 1.0, "scale_error_kg": 0.001}
    return facts.add(connection, r.WeighIn, board.id, **{**given, **more})


def test_order_is_by_when_it_was_entered_whatever_the_number(store):
    with store.writing() as connection:
        board = subject(connection, "A")
        late, early = weigh(connection, board, 5000), weigh(connection, board, 1000)  # a clock that was set back
        moved = facts.add(
            connection,
            r.BoardPosition,
            board.id,
            true_at_ms=0,
            entered_at_ms=3000,
            by="Ida",
            stack_id=None,
            place_id=None,
        )
        found = log.newest(connection, [r.WeighIn, r.BoardPosition], limit=10)
    assert [(type(one.entry), one.entry.id) for one in found] == [
        (r.WeighIn, late),
        (r.BoardPosition, moved),
        (r.WeighIn, early),
    ]


def test_pages_neither_repeat_nor_leave_out(store):
    with store.writing() as connection:
        board = subject(connection, "A")
        made = [weigh(connection, board, 1000 + at % 3) for at in range(25)]  # many of one moment
        pages = [log.newest(connection, [r.WeighIn], limit=10, offset=start) for start in (0, 10, 20)]
    ids = [one.entry.id for page in pages for one in page]
    assert sorted(ids) == sorted(made) and len(ids) == 25


def test_an_entry_knows_what_it_replaced_and_what_replaced_it(store):
    with store.writing() as connection:
        board = subject(connection, "A")
        first = weigh(connection, board, 1000)
        better = weigh(connection, board, 2000, supersedes=first, mass_kg=1.1)
        gone = facts.undo(connection, r.WeighIn, better, entered_at_ms=3000, by="Bo")
        told = {one.entry.id: one for one in log.newest(connection, [r.WeighIn], limit=9)}
    assert told[first].before is None and told[first].later.id == better and not told[first].later_stands
    assert told[better].before.id == first and told[better].later.id == gone and told[better].later_stands
    assert told[gone].later is None and told[gone].before.id == better


def test_what_names_a_thing_is_found_with_it(store):
    with store.writing() as connection:
        board, stack = subject(connection, "A"), subject(connection, "S", r.SubjectKind.STACK)
        given = {"true_at_ms": 0, "entered_at_ms": 1, "by": "Ida", "place_id": None}
        facts.add(connection, r.BoardPosition, board.id, stack_id=stack.id, **given)
        weigh(connection, board, 2)
        found = log.newest(connection, [r.WeighIn, r.BoardPosition], about=[stack.id], limit=9)
        assert [type(one.entry) for one in found] == [r.BoardPosition]
        assert log.newest(connection, [r.WeighIn], about=[], limit=9) == []
        assert [one.code for one in log.with_code(connection, "s")] == ["S"]


def test_a_page_reads_no_more_entries_of_a_large_store_than_it_shows(store):
    with store.writing() as connection:
        board = subject(connection, "A")
        row = {"subject_id": board.id, "entered_by": "Ida", "withdrawn": False, "mass_kg": 1.0, "scale_error_kg": 0.001}
        connection.execute(insert(s.weigh_in), [{**row, "true_at_ms": at, "entered_at_ms": at} for at in range(MANY)])
    asked = []
    with store.reading() as connection:
        event.listen(connection, "before_cursor_execute", lambda _c, _k, sql, *_: asked.append(sql))
        found = log.newest(connection, list(facts.TABLES), limit=51, offset=100)
    assert len(found) == 51 and found[0].entry.true_at_ms == MANY - 101
    assert len(asked) <= 5 and all("LIMIT" in sql or " IN (" in sql for sql in asked)
