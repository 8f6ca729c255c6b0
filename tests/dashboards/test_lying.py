"""How boards lie, what is on them, and how the air of their place moves: each entry and each refusal."""

import csv

import pytest

from dashboards import entries, exports
from shared.errors import BadInput
from shared.store import facts
from shared.store import records as r


def standing(yard, record):
    with yard.store.reading() as connection:
        return facts.standing(connection, record)


@pytest.mark.parametrize("rest", list(r.Rest))
def test_every_way_of_lying_can_be_said(yard, rest):
    made = yard.act(entries.say_rest, "A1", rest=rest.value, days_ago=3)
    (found,) = standing(yard, r.BoardRest)
    assert found.rest is rest and made.kind == "rest"
    assert (found.case_air_m3 is not None) == (rest is r.Rest.CASE)
    assert made.sentence.startswith("Board A1 lies ") and made.sentence.endswith(", until it is moved.")


def test_a_way_of_lying_said_of_a_time_before_a_move_ended_with_the_move(yard):
    yard.act(entries.move_board, "A1", place="room", days_ago=5)
    made = yard.act(entries.say_rest, "A1", rest="top of its stack", days_ago=9)
    assert "lies at the top of its stack, until it was moved on " in made.sentence


def test_a_move_asks_to_say_anew_how_the_board_lies_where_that_was_said(yard):
    assert yard.act(entries.move_board, "A1", place="room", days_ago=9).sentence == "Board A1 lies in room."
    yard.act(entries.say_rest, "A1", rest="flat on a bench", days_ago=7)
    moved = yard.act(entries.move_board, "A1", stack="S1", days_ago=5)
    assert moved.sentence == "Board A1 lies in stack S1. Say anew how it lies."


@pytest.mark.parametrize(("typed", "held_m3"), [("", 0.030), (None, 0.030), ("12,5", 0.0125), (400, 0.4)])
def test_the_air_of_a_case_is_kept_in_cubic_metres(yard, typed, held_m3):
    yard.act(entries.say_rest, "A1", rest="in a closed case", case_air_l=typed)
    assert standing(yard, r.BoardRest)[0].case_air_m3 == pytest.approx(held_m3)


@pytest.mark.parametrize(
    ("typed", "named"),
    [
        ({"rest": ""}, "how it lies is empty; accepted: one of free on all sides, in a stack"),
        ({"rest": "upright"}, "how it lies is upright"),
        ({"rest": "in a closed case", "case_air_l": "0"}, "air in the case is 0"),
        ({"rest": "in a closed case", "case_air_l": "big"}, "air in the case is big"),
        ({"rest": "flat on a bench", "case_air_l": "12"}, "air in the case is 12 litres; accepted: nothing, unless"),
    ],
)
def test_a_way_of_lying_that_cannot_be_is_refused(yard, typed, named):
    with pytest.raises(BadInput) as caught:
        yard.act(entries.say_rest, "A1", **typed)
    assert str(caught.value).startswith(named)
    assert standing(yard, r.BoardRest) == []


@pytest.mark.parametrize("coat", list(r.Coat))
@pytest.mark.parametrize("sealed", [True, False])
def test_every_coat_can_be_said_with_sealed_ends_or_without(yard, coat, sealed):
    made = yard.act(entries.say_coat, "A1", coat=coat.value, ends_sealed=sealed)
    assert [(one.coat, one.ends_sealed) for one in standing(yard, r.BoardCoat)] == [(coat, sealed)]
    assert ("its ends sealed." if sealed else "its ends not sealed.") in made.sentence


def test_an_unknown_coat_is_refused(yard):
    with pytest.raises(BadInput, match="finish is shellac; accepted: one of bare"):
        yard.act(entries.say_coat, "A1", coat="shellac")


@pytest.mark.parametrize(
    ("act", "values", "record"),
    [
        (entries.say_rest, {"rest": "flat on a bench"}, r.BoardRest),
        (entries.say_coat, {"coat": "bare", "ends_sealed": True}, r.BoardCoat),
    ],
)
def test_what_was_said_of_a_board_can_be_taken_back_and_put_back(yard, act, values, record):
    made = yard.act(act, "A1", **values)
    undone = yard.act(entries.undo, made.kind, made.fact_id)
    assert standing(yard, record) == [] and "taken back" in undone.sentence
    yard.act(entries.undo, undone.kind, undone.fact_id)
    assert len(standing(yard, record)) == 1


# --- the air of a place ------------------------------------------------------------------------------


def place(yard, name):
    return next(one for one in standing(yard, r.PlaceFact) if one.name == name)


def test_a_place_may_say_how_fast_its_air_goes_over_the_wood_and_that_sun_reaches_it(yard):
    assert (place(yard, "shed").air_speed_m_s, place(yard, "shed").in_sun) == (None, False)
    yard.act(entries.add_place, "lane", kind="yard", air_speed_m_s="0,8", in_sun=True)
    assert (place(yard, "lane").air_speed_m_s, place(yard, "lane").in_sun) == (0.8, True)
    yard.act(entries.add_place, "still", kind="room", air_speed_m_s="0")
    assert place(yard, "still").air_speed_m_s == 0.0  # measured, and none: not the same as not known


def test_a_corrected_or_closed_place_keeps_what_was_not_asked_about(yard):
    yard.act(entries.add_place, "lane", kind="yard", air_speed_m_s=2, in_sun=True)
    same = {"name": "lane", "kind": "yard", "altitude_m": 0}
    yard.act(entries.change_place, "lane", **same)
    assert (place(yard, "lane").air_speed_m_s, place(yard, "lane").in_sun) == (2.0, True)
    yard.act(entries.change_place, "lane", air_speed_m_s="", in_sun=False, **same)
    assert (place(yard, "lane").air_speed_m_s, place(yard, "lane").in_sun) == (None, False)
    yard.act(entries.change_place, "lane", air_speed_m_s="1.5", in_sun=True, **same)
    yard.act(entries.close_place, "lane")
    closed = [one for one in standing(yard, r.PlaceFact) if one.closed]
    assert [(one.name, one.air_speed_m_s, one.in_sun) for one in closed] == [("lane", 1.5, True)]


@pytest.mark.parametrize("typed", ["-0.1", "5.1", "windy"])
def test_a_speed_that_no_air_has_between_boards_is_refused(yard, typed):
    with pytest.raises(BadInput, match=f"speed of the air is {typed}; accepted: (a number, )?0 to 5 m/s"):
        yard.act(entries.add_place, "lane", kind="yard", air_speed_m_s=typed)


# --- export ------------------------------------------------------------------------------------------


def test_how_boards_lie_and_were_cut_is_exported_with_codes_and_units(yard):
    yard.act(entries.say_rest, "A1", rest="in a closed case", case_air_l=20)
    yard.act(entries.say_coat, "A1", coat="one face finished", ends_sealed=True)
    yard.act(entries.resaw_board, "A2", kerf_mm=3, piece="A2-b", days_ago=2)
    list(exports.write_all(yard.store, yard.folder / "out"))

    def read(name):
        with (yard.folder / "out" / f"{name}.csv").open(encoding="utf-8") as file:
            return list(csv.DictReader(file))

    assert [(one["code"], one["rest"], one["case_air_m3"]) for one in read("board-rest")] == [
        ("A1", "in a closed case", "0.02")
    ]
    assert [(one["coat"], one["ends_sealed"]) for one in read("board-coat")] == [("one face finished", "True")]
    assert [
        (one["code"], one["from_board_id"], float(one["near_m"]), float(one["far_m"])) for one in read("board-cut")
    ] == [
        ("A2", "", 0.0, 0.012),
        ("A2-b", "A2", 0.015, 0.027),
    ]
    assert {(one["air_speed_m_s"], one["in_sun"]) for one in read("place-fact")} == {("", "False")}
