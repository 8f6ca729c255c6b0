"""Moves that are planned: one ahead of each board and stack, what it bears on, and how it ends."""

import pytest

from dashboards import entries, planning, projection
from dashboards.yard_entries import read_entries
from shared.errors import BadInput, Refused
from shared.store import facts
from shared.store import records as r
from shared.units import MS_PER_DAY


def number(yard, kind, code):
    with yard.store.reading() as connection:
        return facts.subject(connection, r.SubjectKind(kind), code).id


def plans(yard, kind="board", code="A1"):
    with yard.store.reading() as connection:
        return facts.standing(connection, r.PlannedMove, number(yard, kind, code))


def plan(yard, days, place="room", kind="board", code="A1"):
    return yard.act(entries.plan_move, code, kind=kind, place=place, day=yard.now_ms + days * MS_PER_DAY)


def ahead(yard, code="A1", now_ms=None):
    """Return how many days ahead a board is planned to go where."""
    moment = yard.now_ms if now_ms is None else now_ms
    with yard.store.reading() as connection:
        held = read_entries(connection, moment)
        names = {fact.subject_id: fact.name for fact in held.places.values()}
        found = held.moves_ahead(number(yard, "board", code), moment)
    return [(round((one.true_at_ms - yard.now_ms) / MS_PER_DAY), names[one.place_id]) for one in found]


def key(yard, code="A1"):
    with yard.store.reading() as connection:
        held = read_entries(connection, yard.now_ms)
        return projection.input_key(held, number(yard, "board", code), yard.now_ms)


def test_a_day_typed_as_a_date_is_kept_and_told(yard):
    made = yard.act(entries.plan_move, "A1", place="room", day="2027-03-03")
    assert made.kind == "planned-move"
    assert made.sentence == "Board A1: planned: to room on Wed 3 Mar 2027."
    stack = yard.act(entries.plan_move, "S1", kind="stack", place="room", day="2027-03-09")
    assert stack.sentence == "Stack S1: planned: to room on Tue 9 Mar 2027."


def test_a_plan_moves_nothing(yard):
    plan(yard, 3)
    plan(yard, 3, kind="stack", code="S1")
    with yard.store.reading() as connection:
        where = read_entries(connection, yard.now_ms + 9 * MS_PER_DAY).where
    at = where.board_stays(number(yard, "board", "A1"), yard.now_ms, yard.now_ms + 9 * MS_PER_DAY)
    assert {stay.place_id for stay in at} == {number(yard, "place", "shed")}


@pytest.mark.parametrize(
    ("typed", "begins"),
    [
        ({"day": ""}, "day of the move is empty; accepted: a day ahead"),
        ({"day": None}, "day of the move is empty"),
        ({"day": "2026-11-01"}, "day of the move is 1 Nov 2026; accepted: a day ahead; if it was moved already"),
        ({"day": "next week"}, "day of the move is next week; accepted: a date such as"),
        ({"day": "2099-01-01"}, "day of the move is 1 Jan 2099; accepted: a day within the next 30 years."),
        ({"place": ""}, "place is empty; accepted: shed, room."),
        ({"place": "attic"}, "place is attic; accepted: shed, room."),
        ({"kind": "set"}, "kind is set; accepted: board or stack."),
    ],
)
def test_a_plan_that_cannot_be_is_refused(yard, typed, begins):
    with pytest.raises(BadInput) as caught:
        yard.act(entries.plan_move, "A1", **{"place": "room", "day": "2027-03-03"} | typed)
    assert str(caught.value).startswith(begins)
    assert plans(yard) == []


def test_a_day_that_has_passed_is_entered_as_a_move_instead(yard):
    with pytest.raises(BadInput, match="enter it as a move instead"):
        plan(yard, 0)


def test_nothing_is_planned_into_a_closed_place_and_a_place_with_a_plan_is_not_closed(yard):
    yard.act(entries.add_place, "loft", kind="room", days_ago=50)
    made = plan(yard, 3, place="loft")
    plan(yard, 5, place="loft", kind="stack", code="S1")
    with pytest.raises(Refused, match=r"Moves to the place loft are planned: board A1 on .*, stack S1 on .*; take"):
        yard.act(entries.close_place, "loft")
    with yard.store.reading() as connection:
        (described,) = facts.standing(connection, r.PlaceFact, number(yard, "place", "loft"))
    with pytest.raises(Refused, match="Moves to the place loft are planned"):
        yard.act(entries.undo, "place", described.id)
    yard.act(entries.undo, made.kind, made.fact_id)
    yard.act(entries.undo, "planned-move", plans(yard, "stack", "S1")[0].id)
    yard.act(entries.close_place, "loft")
    with pytest.raises(Refused, match="The place loft is closed"):
        plan(yard, 3, place="loft")


def test_a_plan_for_a_board_that_was_taken_back_holds_no_place_open(yard):
    yard.act(entries.add_place, "loft", kind="room", days_ago=50)
    plan(yard, 3, place="loft")
    with yard.store.reading() as connection:
        (described,) = facts.standing(connection, r.BoardFact, number(yard, "board", "A1"))
    yard.act(entries.undo, "board", described.id)
    yard.act(entries.close_place, "loft")


def test_a_second_plan_takes_the_place_of_the_first_and_its_undo_brings_the_first_back(yard):
    plan(yard, 3)
    second = plan(yard, 9, place="shed")
    assert ", instead of to room on " in second.sentence
    assert ahead(yard) == [(9, "shed")] and len(plans(yard)) == 1
    yard.act(entries.undo, second.kind, second.fact_id)
    assert ahead(yard) == [(3, "room")] and len(plans(yard)) == 1


def test_a_plan_is_taken_back_by_undo_and_put_back_unless_another_stands(yard):
    made = plan(yard, 3)
    undone = yard.act(entries.undo, made.kind, made.fact_id)
    assert ahead(yard) == [] and undone.sentence == "The planned move of board A1 is taken back."
    other = plan(yard, 9)
    with pytest.raises(Refused, match=r"Another move of board A1 is planned by now, to room on .*: take that back"):
        yard.act(entries.undo, undone.kind, undone.fact_id)
    yard.act(entries.undo, other.kind, other.fact_id)
    yard.act(entries.undo, undone.kind, undone.fact_id)
    assert ahead(yard) == [(3, "room")]


# --- what lies ahead -------------------------------------------------------------------------------


def told(yard, later_days=0):
    moment = yard.now_ms + later_days * MS_PER_DAY
    with yard.store.reading() as connection:
        positions = facts.standing(connection, r.BoardPosition, number(yard, "board", "A1"))
        return planning.told(plans(yard), positions, moment)


def test_a_plan_whose_day_came_without_a_move_is_past_and_gives_room_to_another(yard):
    plan(yard, 3)
    assert [(one.ahead, one.done_ms) for one in told(yard)] == [(True, None)]
    assert [(one.ahead, one.done_ms) for one in told(yard, 3)] == [(False, None)]
    yard.now_ms += 4 * MS_PER_DAY
    assert ahead(yard) == []
    assert "instead of" not in plan(yard, 2).sentence
    assert [one.ahead for one in told(yard)] == [False, True]


@pytest.mark.parametrize("after_days", [1, 5])
def test_a_plan_is_done_by_the_move_early_or_late(yard, after_days):
    plan(yard, 3)
    yard.now_ms += after_days * MS_PER_DAY
    yard.act(entries.move_board, "A1", place="room")
    assert [(one.ahead, one.done_ms) for one in told(yard)] == [(False, yard.now_ms)]
    assert ahead(yard) == []


def test_a_move_elsewhere_or_one_from_before_does_not_carry_a_plan_out(yard):
    yard.act(entries.add_place, "loft", kind="room", days_ago=50)
    yard.act(entries.move_board, "A1", place="room", days_ago=5)
    yard.act(entries.move_board, "A1", stack="S1", days_ago=4)
    plan(yard, 3)
    yard.now_ms += MS_PER_DAY
    yard.act(entries.move_board, "A1", place="loft")
    assert [(one.ahead, one.done_ms) for one in told(yard)] == [(True, None)]


def test_a_board_goes_with_its_stack_until_a_plan_of_its_own_takes_it_out(yard):
    plan(yard, 5, kind="stack", code="S1")
    assert ahead(yard) == ahead(yard, "A2") == [(5, "room")]
    plan(yard, 9, place="shed")
    assert ahead(yard) == [(5, "room"), (9, "shed")] and ahead(yard, "A2") == [(5, "room")]
    plan(yard, 5, place="shed")
    assert ahead(yard) == [(5, "shed")]
    plan(yard, 2, place="shed")
    assert ahead(yard) == [(2, "shed")]
    yard.act(entries.move_board, "A2", place="shed")
    assert ahead(yard, "A2") == []


def test_what_is_planned_bears_on_the_key_of_a_projection_and_an_outcome_only_where_it_is_harm(yard):
    seen = [key(yard)]

    def changed():
        seen.append(key(yard))
        return seen[-1] != seen[-2]

    made = plan(yard, 3)
    assert changed()
    yard.act(entries.undo, made.kind, made.fact_id)
    assert key(yard) == seen[0] and changed()
    plan(yard, 5, kind="stack", code="S1")
    assert changed()
    yard.act(entries.change_place, "room", name="room", kind="room", altitude_m=0, air_speed_m_s=1)
    assert changed()  # the air of the place that it is to go to
    yard.act(entries.add_water, "A1", kind="rained on", water_g=100)
    assert changed()
    yard.act(entries.add_outcome, "A1", kind="stain", degree="bad")
    assert not changed()
    yard.act(entries.add_outcome, "A1", kind="checks", degree="bad")
    assert changed()  # what this wood survives here
    yard.act(entries.add_water, "A2", kind="rained on", water_g=100)
    assert not changed()  # it lies in the same stack, but nothing was measured on it
    months = dict.fromkeys(range(1, 13), ("9", "75"))
    yard.act(entries.say_climate, "shed", months=months, source="invented")
    assert changed()
    yard.act(entries.say_climate, "room", months=months, source="invented")
    assert changed()
    yard.act(entries.add_place, "loft", kind="room")
    yard.act(entries.say_climate, "loft", months=months, source="invented")
    assert not changed()
