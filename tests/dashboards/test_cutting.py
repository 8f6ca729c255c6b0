"""Planing and resawing: what each enters, what is refused, what an undo brings back. The boards are invented."""

import pytest

from dashboards import entries
from shared.errors import BadInput, Refused
from shared.store import facts
from shared.store import records as r
from shared.units import MS_PER_HOUR, mm_from_m
from tests.dashboards.refusals import days_ago, everything, of, refused, rows

BOARD = {
    "species": "Acer saccharum",
    "thickness_mm": 50,
    "width_mm": 200,
    "length_mm": 1000,
    "cut": "quarter-sawn",
    "origin": "water-reclaimed",
    "stack": "S1",
}


@pytest.fixture
def sawn(yard):
    """The yard with a thick board B1, 30 days there."""
    yard.act(entries.add_board, "B1", days_ago=30, **BOARD)
    return yard


def thicknesses_mm(yard, code):
    return [round(mm_from_m(one.thickness_m), 6) for one in of(yard, code, r.BoardFact)]


def slices_mm(yard, code):
    return [(round(mm_from_m(one.near_m), 6), round(mm_from_m(one.far_m), 6)) for one in of(yard, code, r.BoardCut)]


# --- planing ---------------------------------------------------------------------------------------


def test_planing_leaves_a_slice_and_a_thickness_true_from_that_moment(sawn):
    made = sawn.act(entries.plane_board, "B1", off_marked_mm="3", off_other_mm="1,5", days_ago=10)
    assert made.sentence == "Board B1 is planed: 50 → 45.5 mm thick, 3 mm off the marked face and 1.5 mm off the other."
    assert slices_mm(sawn, "B1") == [(3.0, 48.5)]
    assert thicknesses_mm(sawn, "B1") == [50.0, 45.5]
    before, after = of(sawn, "B1", r.BoardFact)
    assert after.true_at_ms == days_ago(sawn, 10) == of(sawn, "B1", r.BoardCut)[0].true_at_ms
    kept = ("name", "species", "width_m", "length_m", "cut", "origin", "note")
    assert [getattr(after, name) for name in kept] == [getattr(before, name) for name in kept]
    assert of(sawn, "B1", r.BoardCut)[0].from_board_id is None


def test_a_second_planing_is_a_slice_of_what_the_first_left(sawn):
    sawn.act(entries.plane_board, "B1", off_marked_mm=3, days_ago=10)
    made = sawn.act(entries.plane_board, "B1", off_other_mm=2, days_ago=5)
    assert "47 → 45 mm thick, 2 mm off the other." in made.sentence
    assert slices_mm(sawn, "B1") == [(3.0, 50.0), (0.0, 45.0)]
    assert thicknesses_mm(sawn, "B1") == [50.0, 47.0, 45.0]


@pytest.mark.parametrize(
    ("typed", "named"),
    [
        ({}, "taken off is 0 mm"),
        ({"off_marked_mm": "0", "off_other_mm": ""}, "taken off is 0 mm"),
        ({"off_marked_mm": "51"}, "taken off is 51 mm; accepted: up to 49 mm in all, which leaves 1 mm of 50 mm"),
        ({"off_marked_mm": "25", "off_other_mm": "24.5"}, "taken off is 49.5 mm"),
        ({"off_marked_mm": "-1"}, "taken off the marked face is -1"),
        ({"off_other_mm": "thin"}, "taken off the other face is thin"),
        ({"off_marked_mm": "1", "days_ago": 30}, "time is "),  # the moment of its beginning
        ({"off_marked_mm": "1", "days_ago": 31}, "time is "),
        ({"off_marked_mm": "1", "days_ago": -1}, "time is "),
    ],
)
def test_a_planing_that_cannot_be_is_refused(sawn, typed, named):
    assert refused(sawn, BadInput, entries.plane_board, "B1", **typed).startswith(named)


def test_a_board_may_be_planed_down_to_a_millimetre(sawn):
    sawn.act(entries.plane_board, "B1", off_marked_mm=24.5, off_other_mm=24.5)
    assert thicknesses_mm(sawn, "B1")[-1] == 1.0


@pytest.mark.parametrize("when", [5, 6])
def test_a_cut_comes_after_the_latest_cut(sawn, when):
    sawn.act(entries.plane_board, "B1", off_marked_mm=3, days_ago=5)
    sentence = refused(sawn, BadInput, entries.plane_board, "B1", off_marked_mm=1, days_ago=when)
    assert "later than" in sentence and "present sizes" in sentence


# --- resawing --------------------------------------------------------------------------------------


def test_resawing_through_the_middle_makes_two_pieces_and_the_dust_between(sawn):
    made = sawn.act(entries.resaw_board, "B1", kerf_mm="3", piece="B1-b", days_ago=10)
    assert made.subject.code == "B1"
    assert made.sentence == ("Board B1 is resawn: 50 → 23.5 mm thick; the new piece B1-b, 23.5 mm, lies where it lies.")
    assert (slices_mm(sawn, "B1"), slices_mm(sawn, "B1-b")) == ([(0.0, 23.5)], [(26.5, 50.0)])
    assert (thicknesses_mm(sawn, "B1"), thicknesses_mm(sawn, "B1-b")) == ([50.0, 23.5], [23.5])
    (cut,) = of(sawn, "B1-b", r.BoardCut)
    assert cut.from_board_id == of(sawn, "B1", r.BoardCut)[0].subject_id
    (piece,) = of(sawn, "B1-b", r.BoardFact)
    assert (piece.species, piece.width_m, piece.length_m) == ("Acer saccharum", 0.2, 1.0)
    assert (piece.name, piece.cut, piece.origin) == ("B1-b", r.Cut.QUARTER, r.Origin.RECLAIMED)
    (lies,) = of(sawn, "B1-b", r.BoardPosition)
    assert lies.stack_id == of(sawn, "B1", r.BoardPosition)[0].stack_id is not None
    assert {one.true_at_ms for one in (cut, piece, lies)} == {days_ago(sawn, 10)}


def test_resawing_at_a_depth_gives_a_thin_and_a_thick_piece(sawn):
    sawn.act(entries.resaw_board, "B1", kerf_mm=2, depth_mm=8, piece="veneer", piece_name="Back veneer")
    assert (thicknesses_mm(sawn, "B1"), thicknesses_mm(sawn, "veneer")) == ([50.0, 8.0], [40.0])
    assert slices_mm(sawn, "veneer") == [(10.0, 50.0)]
    assert of(sawn, "veneer", r.BoardFact)[0].name == "Back veneer"


def test_a_piece_lies_where_the_board_lay_at_that_moment(sawn):
    sawn.act(entries.move_board, "B1", place="room", days_ago=20)
    sawn.act(entries.move_board, "B1", stack="S1", days_ago=5)
    sawn.act(entries.resaw_board, "B1", kerf_mm=2, piece="B1-b", days_ago=10)
    (lies,) = of(sawn, "B1-b", r.BoardPosition)
    assert lies.stack_id is None and lies.place_id is not None


def test_sealed_ends_stay_sealed_on_both_pieces_and_a_finish_is_asked_about_anew(sawn):
    sawn.act(entries.say_coat, "B1", coat="finished all round", ends_sealed=True, days_ago=20)
    made = sawn.act(entries.resaw_board, "B1", kerf_mm=2, piece="B1-b", days_ago=10)
    assert made.sentence.endswith("The sawn faces are bare: say anew which faces of each are finished.")
    assert [(one.ends_sealed, one.coat) for one in of(sawn, "B1-b", r.BoardCoat)] == [(True, r.Coat.BARE)]


@pytest.mark.parametrize(
    ("typed", "named"),
    [
        ({"kerf_mm": ""}, "saw kerf is empty"),
        ({"kerf_mm": "21"}, "saw kerf is 21"),
        ({"depth_mm": "0.9"}, "depth of the cut is 0.9; accepted: 1 to 46 mm"),
        ({"depth_mm": "46.5"}, "depth of the cut is 46.5; accepted: 1 to 46 mm"),
        ({"piece": ""}, "code of the new piece is empty"),
        ({"piece": "with space"}, "code of the new piece is with space"),
        ({"days_ago": 30}, "time is "),
        ({"days_ago": -1}, "time is "),
    ],
)
def test_a_resawing_that_cannot_be_is_refused(sawn, typed, named):
    values = {"kerf_mm": "3", "piece": "B1-b"} | typed
    assert refused(sawn, BadInput, entries.resaw_board, "B1", **values).startswith(named)


def test_a_board_too_thin_for_two_pieces_is_not_resawn(sawn):
    sawn.act(entries.plane_board, "B1", off_marked_mm=46, days_ago=10)
    sentence = refused(sawn, BadInput, entries.resaw_board, "B1", kerf_mm=3, piece="B1-b")
    assert sentence == "saw kerf is 3 mm; accepted: one that leaves two pieces of 1 mm or more of 4 mm."


@pytest.mark.parametrize("taken", ["B1", "b1", "A1"])
def test_a_piece_does_not_take_the_code_of_a_board_that_is_there(sawn, taken):
    assert "already a board" in refused(sawn, Refused, entries.resaw_board, "B1", kerf_mm=3, piece=taken)


# --- undo ------------------------------------------------------------------------------------------


def test_an_undone_planing_brings_back_both_facts_and_can_be_put_back(sawn):
    whole = everything(sawn)
    made = sawn.act(entries.plane_board, "B1", off_marked_mm=3, days_ago=10)
    planed = everything(sawn)
    undone = sawn.act(entries.undo, "cut", made.fact_id)
    assert undone.sentence == "The planing of board B1 is taken back: it is 50 mm thick again."
    assert everything(sawn) == whole
    again = sawn.act(entries.undo, undone.kind, undone.fact_id)
    assert again.sentence == "The planing of board B1 is put back: it is 47 mm thick."
    assert everything(sawn) == planed
    sawn.act(entries.undo, again.kind, again.fact_id)
    assert everything(sawn) == whole


def test_an_undone_resawing_takes_the_new_piece_along_and_can_be_put_back(sawn):
    sawn.act(entries.say_coat, "B1", coat="bare", ends_sealed=True, days_ago=20)
    whole = everything(sawn)
    made = sawn.act(entries.resaw_board, "B1", kerf_mm=3, piece="B1-b", days_ago=10)
    two = everything(sawn)
    before = rows(sawn)
    undone = sawn.act(entries.undo, "cut", made.fact_id)
    assert undone.sentence == ("The resawing of board B1 is taken back: it is 50 mm thick again, and there is no B1-b.")
    assert everything(sawn) == whole and rows(sawn) > before
    sawn.act(entries.undo, undone.kind, undone.fact_id)
    assert everything(sawn) == two


def test_a_resawing_can_be_taken_back_from_its_new_piece_too(sawn):
    whole = everything(sawn)
    sawn.act(entries.resaw_board, "B1", kerf_mm=3, piece="B1-b", days_ago=10)
    undone = sawn.act(entries.undo, "cut", of(sawn, "B1-b", r.BoardCut)[0].id)
    assert undone.subject.code == "B1"
    assert everything(sawn) == whole


@pytest.mark.parametrize(
    ("act", "values"),
    [
        (entries.add_weigh_in, {"mass_g": 2900}),
        (entries.move_board, {"place": "room"}),
        (entries.say_rest, {"rest": "flat on a bench"}),
        (entries.plane_board, {"off_marked_mm": 1}),
        (entries.plan_use, {"use": "glue"}),
        (entries.say_coat, {"coat": "one face finished"}),
    ],
)
def test_a_resawing_stays_once_something_else_is_entered_on_its_new_piece(sawn, act, values):
    made = sawn.act(entries.resaw_board, "B1", kerf_mm=3, piece="B1-b", days_ago=10)
    entered = sawn.act(act, "B1-b", **values)
    assert "B1-b has entries of its own" in refused(sawn, Refused, entries.undo, "cut", made.fact_id)
    sawn.act(entries.undo, entered.kind, entered.fact_id)
    assert "taken back" in sawn.act(entries.undo, "cut", made.fact_id).sentence


def test_only_the_latest_cut_can_be_taken_back(sawn):
    first = sawn.act(entries.plane_board, "B1", off_marked_mm=3, days_ago=10)
    second = sawn.act(entries.plane_board, "B1", off_marked_mm=2, days_ago=5)
    sentence = refused(sawn, Refused, entries.undo, "cut", first.fact_id)
    assert f"take cut {second.fact_id} back first" in sentence
    sawn.act(entries.undo, "cut", second.fact_id)
    sawn.act(entries.undo, "cut", first.fact_id)
    assert thicknesses_mm(sawn, "B1") == [50.0]


def test_of_two_people_who_take_one_cut_back_the_second_is_told(sawn):
    made = sawn.act(entries.plane_board, "B1", off_marked_mm=3)
    undone = sawn.act(entries.undo, "cut", made.fact_id, by="Jon")
    assert "Jon has already changed" in refused(sawn, Refused, entries.undo, "cut", made.fact_id)
    sawn.act(entries.undo, "cut", undone.fact_id, by="Ada")
    assert "Ada has already changed" in refused(sawn, Refused, entries.undo, "cut", undone.fact_id)


def test_a_planing_is_put_back_only_on_the_thickness_that_it_was_entered_for(sawn):
    made = sawn.act(entries.plane_board, "B1", off_marked_mm=3, days_ago=5)
    sawn.now_ms += MS_PER_HOUR
    undone = sawn.act(entries.undo, "cut", made.fact_id)
    sawn.now_ms += MS_PER_HOUR
    other = sawn.act(entries.plane_board, "B1", off_marked_mm=2, days_ago=10)
    assert "enter the cut anew" in refused(sawn, Refused, entries.undo, "cut", undone.fact_id)
    sawn.act(entries.undo, "cut", other.fact_id)
    sawn.act(entries.undo, "cut", undone.fact_id)
    assert thicknesses_mm(sawn, "B1") == [50.0, 47.0]


def test_a_cut_is_not_put_back_beneath_a_later_one(sawn):
    made = sawn.act(entries.plane_board, "B1", off_marked_mm=3, days_ago=5)
    undone = sawn.act(entries.undo, "cut", made.fact_id)
    sawn.act(entries.plane_board, "B1", off_marked_mm=2, days_ago=2)
    assert "enter the cut anew" in refused(sawn, Refused, entries.undo, "cut", undone.fact_id)


def test_the_code_of_a_piece_taken_back_can_be_given_again_and_the_first_is_not_put_back_on_it(sawn):
    made = sawn.act(entries.resaw_board, "B1", kerf_mm=3, piece="B1-b", days_ago=10)
    undone = sawn.act(entries.undo, "cut", made.fact_id)
    again = sawn.act(entries.resaw_board, "B1", kerf_mm=4, piece="B1-b", days_ago=10)
    assert thicknesses_mm(sawn, "B1-b") == [23.0]
    refused(sawn, Refused, entries.undo, "cut", undone.fact_id)
    sawn.act(entries.undo, "cut", again.fact_id)
    assert thicknesses_mm(sawn, "B1") == [50.0]


def test_the_sizes_that_a_cut_left_go_only_with_the_cut(sawn):
    made = sawn.act(entries.plane_board, "B1", off_marked_mm=3, days_ago=10)
    first, planed = of(sawn, "B1", r.BoardFact)
    assert f"take back cut {made.fact_id} instead" in refused(sawn, Refused, entries.undo, "board", planed.id)
    assert f"take back cut {made.fact_id} first" in refused(sawn, Refused, entries.undo, "board", first.id)
    undone = sawn.act(entries.undo, "cut", made.fact_id)
    with sawn.store.reading() as connection:
        (gone,) = facts.taken_back(connection, r.BoardFact, planed.subject_id)
    assert f"put back cut {undone.fact_id} instead" in refused(sawn, Refused, entries.undo, "board", gone.id)
    again = sawn.act(entries.undo, "cut", undone.fact_id)
    restored = of(sawn, "B1", r.BoardFact)[-1]
    assert f"take back cut {again.fact_id} instead" in refused(sawn, Refused, entries.undo, "board", restored.id)


# --- corrections and weigh-ins of a board that was cut -----------------------------------------------


def correction(**changed):
    held = {key: value for key, value in BOARD.items() if key != "stack"}
    return held | changed


def test_a_correction_counts_before_and_after_a_planing_and_so_does_its_undo(sawn):
    sawn.act(entries.plane_board, "B1", off_marked_mm=3, days_ago=10)
    before = everything(sawn)
    changed = correction(species="Acer rubrum", width_mm=210, thickness_mm=47, note="chalk 7")
    made = sawn.act(entries.correct_board, "B1", **changed)
    told = [(one.species, one.width_m, one.note) for one in of(sawn, "B1", r.BoardFact)]
    assert told == [("Acer rubrum", 0.21, "chalk 7")] * 2
    assert thicknesses_mm(sawn, "B1") == [50.0, 47.0]
    assert [one.true_at_ms for one in of(sawn, "B1", r.BoardFact)] == [days_ago(sawn, 30), days_ago(sawn, 10)]
    undone = sawn.act(entries.undo, "board", made.fact_id)
    assert everything(sawn) == before
    sawn.act(entries.undo, "board", undone.fact_id)
    assert [one.species for one in of(sawn, "B1", r.BoardFact)] == ["Acer rubrum"] * 2


def test_a_correction_of_the_entry_that_was_opened_keeps_the_time_of_that_entry(sawn):
    opened = of(sawn, "B1", r.BoardFact)[0]
    sawn.act(entries.plane_board, "B1", off_marked_mm=3, days_ago=10)  # by someone else, meanwhile
    sawn.act(entries.correct_board, "B1", supersedes=opened.id, **correction(origin="fresh-sawn"))
    assert [one.origin for one in of(sawn, "B1", r.BoardFact)] == [r.Origin.FRESH] * 2
    assert thicknesses_mm(sawn, "B1") == [50.0, 47.0]
    assert of(sawn, "B1", r.BoardFact)[0].true_at_ms == opened.true_at_ms


def test_an_entry_about_another_board_is_not_corrected(sawn):
    other = of(sawn, "A1", r.BoardFact)[0]
    sentence = refused(sawn, BadInput, entries.correct_board, "B1", supersedes=other.id, **correction())
    assert sentence.startswith("entry that was opened")


def test_the_thickness_of_a_board_that_was_cut_is_not_corrected(sawn):
    wrong = sawn.act(entries.correct_board, "B1", **correction(thickness_mm=52))
    made = sawn.act(entries.plane_board, "B1", off_marked_mm=3, days_ago=10)
    assert thicknesses_mm(sawn, "B1") == [52.0, 49.0]
    sentence = refused(sawn, BadInput, entries.correct_board, "B1", **correction(thickness_mm=48))
    assert sentence.startswith("thickness is 48 mm; accepted: 49 mm, since B1 was planed or sawn")
    assert "thickness" in refused(sawn, BadInput, entries.undo, "board", wrong.fact_id)
    sawn.act(entries.undo, "cut", made.fact_id)
    sawn.act(entries.undo, "board", wrong.fact_id)
    assert thicknesses_mm(sawn, "B1") == [50.0]


def test_a_correction_keeps_the_thickness_to_the_last_digit(sawn):
    sawn.act(entries.resaw_board, "B1", kerf_mm=1.2345678, piece="B1-b", days_ago=10)
    held = of(sawn, "B1", r.BoardFact)[-1].thickness_m
    sawn.act(entries.correct_board, "B1", **correction(thickness_mm=f"{mm_from_m(held):.6g}", note="x"))
    assert of(sawn, "B1", r.BoardFact)[-1].thickness_m == held


def test_a_weigh_in_is_judged_by_the_sizes_that_held_at_its_moment(sawn):
    """By hand: 50 × 200 × 1000 mm of sugar maple, basic specific gravity 0.56: 5.6 kg oven-dry; a tenth of it, 0.56."""
    sawn.act(entries.plane_board, "B1", off_marked_mm=45, days_ago=10)
    sawn.act(entries.add_weigh_in, "B1", mass_kg=8, days_ago=20)  # before: the thick board
    assert "heavier than wood full of water" in refused(sawn, BadInput, entries.add_weigh_in, "B1", mass_kg=7.9)
    assert "mass of B1" in refused(sawn, BadInput, entries.add_weigh_in, "B1", mass_kg=0.78, days_ago=15)
    sawn.act(entries.add_weigh_in, "B1", mass_kg=0.78)  # after: what is left of it, 0.8 kg less what dried


def test_a_jump_of_mass_is_judged_by_what_was_cut_off(sawn):
    sawn.act(entries.add_weigh_in, "B1", mass_kg=8, days_ago=20)
    sawn.act(entries.plane_board, "B1", off_marked_mm=25, days_ago=19)
    sawn.act(entries.add_weigh_in, "B1", mass_kg=4, days_ago=18)  # half the wood, half the mass: no question asked
    sentence = refused(sawn, BadInput, entries.add_weigh_in, "B1", mass_kg=6.6, days_ago=18.5)
    assert "and what was cut off since; is this the right board?" in sentence


def test_pins_go_no_deeper_than_half_of_what_was_there(sawn):
    sawn.act(entries.plane_board, "B1", off_marked_mm=30, days_ago=10)
    sawn.act(entries.add_pin_reading, "B1", mc_pct=20, depth_mm=20, days_ago=15)
    assert "depth of the pins" in refused(sawn, BadInput, entries.add_pin_reading, "B1", mc_pct=20, depth_mm=20)
    sawn.act(entries.add_pin_reading, "B1", mc_pct=20)
    assert [one.depth_m for one in of(sawn, "B1", r.PinReading)] == pytest.approx([0.020, 0.005])


@pytest.mark.parametrize(
    ("act", "values"),
    [
        (entries.add_weigh_in, {"mass_kg": 8}),
        (entries.add_pin_reading, {"mc_pct": 20}),
        (entries.add_oven_dry, {"wet_g": 120, "dry_g": 100}),
        (entries.say_rest, {"rest": "flat on a bench"}),
        (entries.say_coat, {"coat": "bare"}),
    ],
)
def test_nothing_is_entered_on_a_board_before_it_is_there(sawn, act, values):
    sentence = refused(sawn, BadInput, act, "B1", days_ago=31, **values)
    assert sentence.startswith("time is ") and "since when B1 is entered" in sentence
