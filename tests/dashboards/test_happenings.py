"""Water that came to a board, what became of it, all boards of a stack: each entry, its refusals, its way back."""

import csv

import pytest

from dashboards import entries, exports, outcome_entries
from dashboards.board_entries import believable_mass_kg
from dashboards.yard_entries import read_entries
from shared.errors import BadInput, Refused
from shared.store import facts
from shared.store import records as r
from shared.units import g_from_kg, m_from_mm


def standing(yard, record):
    with yard.store.reading() as connection:
        return facts.standing(connection, record)


def refused(yard, record, error, act, *args, **values):
    """Return the sentence of a refusal, having seen that nothing was entered."""
    before = standing(yard, record)
    with pytest.raises(error) as caught:
        yard.act(act, *args, **values)
    assert standing(yard, record) == before
    sentence = str(caught.value)
    assert sentence.endswith(".") and "\n" not in sentence
    return sentence


# --- water -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", list(r.WaterKind))
@pytest.mark.parametrize("faces", list(r.Faces))
def test_every_kind_of_water_on_every_face_is_kept_in_kilograms(yard, kind, faces):
    made = yard.act(entries.add_water, "A1", kind=kind.value, water_g="42,5", faces=faces.value, days_ago=1)
    (found,) = standing(yard, r.WaterEvent)
    assert (found.kind, found.faces, found.water_kg) == (kind, faces, pytest.approx(0.0425))
    assert made.kind == "water" and found.true_at_ms == yard.now_ms - 86_400_000
    assert made.sentence.startswith(f"Board A1 was {kind}: 42.5 g of water on ")


def test_rain_wets_both_faces_when_nobody_says_which_and_other_water_must_say(yard):
    yard.act(entries.add_water, "A1", kind="rained on", water_g=300)
    assert standing(yard, r.WaterEvent)[0].faces is r.Faces.BOTH
    for kind in ("glued", "bent", "wetted"):
        sentence = refused(yard, r.WaterEvent, BadInput, entries.add_water, "A1", kind=kind, water_g=10, faces=" ")
        assert sentence == "wetted faces is empty; accepted: one of marked face, other face, both faces."


@pytest.mark.parametrize(
    ("typed", "begins"),
    [
        ({"kind": "soaked"}, "how it got wet is soaked; accepted: one of glued, bent, rained on, wetted."),
        ({"faces": "underside"}, "wetted faces is underside; accepted: one of marked face"),
        ({"water_g": ""}, "water is empty; accepted: 0 to "),
        ({"water_g": "-5"}, "water is -5; accepted: 0 to "),
        ({"water_g": "0"}, "water is 0 g; accepted: more than 0, up to "),
        ({"water_g": "some"}, "water is some; accepted: a number, 0 to "),
        ({"water_g": "nan"}, "water is nan; accepted: 0 to "),
        ({"days_ago": 37}, "time is "),  # before it was there
        ({"days_ago": -1}, "time is "),  # not yet
    ],
)
def test_water_that_cannot_be_is_refused(yard, typed, begins):
    given = {"kind": "glued", "water_g": "40", "faces": "marked face"} | typed
    assert refused(yard, r.WaterEvent, BadInput, entries.add_water, "A1", **given).startswith(begins)


def most_g(sentence):
    return float(sentence.partition("accepted: 0 to ")[2].partition(" g")[0])


def test_more_water_than_the_board_can_take_is_refused_and_the_sentence_says_how_much_it_can(yard):
    given = {"kind": "rained on", "water_g": "20000"}
    weighed = refused(yard, r.WaterEvent, BadInput, entries.add_water, "A1", **given)
    (fact, *_rest) = standing(yard, r.BoardFact)
    least_kg, full_kg = believable_mass_kg(fact)
    # What the last weigh-in, 4700 g, leaves until the heaviest that this timber can be in these sizes.
    assert most_g(weighed) == pytest.approx(g_from_kg(full_kg) - 4700, abs=50)
    assert "A1, last weighed at 4700 g, cannot hold more." in weighed
    never_weighed = refused(yard, r.WaterEvent, BadInput, entries.add_water, "A2", **given)
    assert most_g(never_weighed) == pytest.approx(g_from_kg(full_kg - least_kg), abs=50)
    earlier = refused(yard, r.WaterEvent, BadInput, entries.add_water, "A1", days_ago=30, **given)
    assert "last weighed at 6900 g" in earlier and most_g(earlier) < most_g(weighed)
    yard.act(entries.add_water, "A1", kind="rained on", water_g=most_g(weighed))


def test_what_was_planed_off_a_board_holds_no_water(yard):
    before = refused(yard, r.WaterEvent, BadInput, entries.add_water, "A1", kind="rained on", water_g="20000")
    yard.act(entries.plane_board, "A1", off_marked_mm="13.5")
    after = refused(yard, r.WaterEvent, BadInput, entries.add_water, "A1", kind="rained on", water_g="20000")
    assert "last weighed at 2350 g" in after  # half of the thickness is left, and half of the 4700 g
    assert most_g(after) == pytest.approx(most_g(before) / 2, rel=0.01)


# --- outcome ---------------------------------------------------------------------------------------

FOUND = [(kind, degree) for kind, degrees in outcome_entries.DEGREES.items() for degree in degrees]


@pytest.mark.parametrize(("kind", "degree"), FOUND)
def test_every_outcome_is_entered_in_the_words_of_its_kind(yard, kind, degree):
    made = yard.act(entries.add_outcome, "A1", kind=kind.value, degree=degree.value, note="at the butt end")
    (found,) = standing(yard, r.Outcome)
    assert (found.kind, found.degree, found.thickness_m, found.note) == (kind, degree, None, "at the butt end")
    assert made.kind == "outcome" and made.sentence.startswith("Board A1: ")


def test_each_finding_reads_differently():
    told = [outcome_entries.outcome_words(kind, degree, None) for kind, degree in FOUND]
    assert len(set(told)) == len(told)
    # That prongs turned in are case-hardened wood: common practice, no source.
    assert outcome_entries.outcome_words(r.OutcomeKind.CASE_HARDENING, r.Degree.IN, None) == (
        "prong test: turned in (case-hardened)"
    )


def test_every_kind_has_its_words_and_only_a_thickness_has_none():
    assert set(outcome_entries.DEGREES) == set(r.OutcomeKind)
    assert [kind for kind, degrees in outcome_entries.DEGREES.items() if not degrees] == [r.OutcomeKind.THICKNESS]


def test_a_dry_thickness_is_a_number(yard):
    made = yard.act(entries.add_outcome, "A1", kind="thickness", thickness_mm="25,4")
    (found,) = standing(yard, r.Outcome)
    assert (found.degree, found.thickness_m) == (None, pytest.approx(m_from_mm(25.4)))
    assert made.sentence == "Board A1: 25.4 mm thick as measured."


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"kind": ""}, "outcome is empty; accepted: one of checks, honeycomb, collapse"),
        ({"kind": "splits"}, "outcome is splits; accepted: one of checks"),
        ({"kind": "checks"}, "degree of checks is empty; accepted: one of none, slight, bad."),
        ({"kind": "checks", "degree": "turned in"}, "degree of checks is turned in; accepted: one of none, slight"),
        (
            {"kind": "case-hardening", "degree": "bad"},
            "degree of case-hardening is bad; accepted: one of straight, turned in, turned out.",
        ),
        ({"kind": "finished", "degree": "bad"}, "degree of finished is bad; accepted: one of well, spoilt."),
        ({"kind": "thickness"}, "measured thickness is empty; accepted: 13.5 to 29.7 mm, of 27 mm entered."),
        ({"kind": "thickness", "thickness_mm": "1"}, "measured thickness is 1; accepted: 13.5 to 29.7 mm"),
        (
            {"kind": "thickness", "degree": "slight", "thickness_mm": "26"},
            "degree of thickness is slight; accepted: nothing: a thickness is given in mm.",
        ),
        (
            {"kind": "checks", "degree": "bad", "thickness_mm": "26"},
            "measured thickness is 26 mm; accepted: nothing, unless the outcome is thickness.",
        ),
        ({"kind": "checks", "degree": "bad", "note": "x" * 401}, "note is "),
        ({"kind": "checks", "degree": "bad", "days_ago": 37}, "time is "),
        ({"kind": "checks", "degree": "bad", "days_ago": -1}, "time is "),
    ],
)
def test_an_outcome_that_cannot_be_is_refused(yard, typed, sentence):
    assert refused(yard, r.Outcome, BadInput, entries.add_outcome, "A1", **typed).startswith(sentence)


# --- all boards of a stack -------------------------------------------------------------------------


def in_all(yard):
    return {one.name: one.boards_in_all for one in standing(yard, r.StackFact)}


def test_a_stack_may_say_how_many_boards_lie_in_it(yard):
    assert in_all(yard) == {"S1": None}
    yard.act(entries.add_stack, "S2", place="shed", boards_in_all="120")
    yard.act(entries.add_stack, "S3", place="shed", boards_in_all="")
    made = yard.act(entries.change_stack, "S1", boards_in_all="40")
    assert in_all(yard) == {"S1": 40, "S2": 120, "S3": None}
    yard.act(entries.change_stack, "S1", name="Ash by the door", note="wet side north")
    (first,) = [one for one in standing(yard, r.StackFact) if one.name == "Ash by the door"]
    assert (first.boards_in_all, first.note) == (40, "wet side north")
    yard.act(entries.undo, made.kind, first.id)
    assert in_all(yard)["S1"] == 40
    yard.act(entries.change_stack, "S1", boards_in_all=" ")
    assert in_all(yard)["S1"] is None


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("1", "boards in all is 1; accepted: 2 to 100000 in a whole number, since 2 of them are entered."),
        ("2.5", "boards in all is 2.5; accepted: 2 to 100000 in a whole number, since 2 of them are entered."),
        ("-3", "boards in all is -3; accepted: 2 to"),
        ("many", "boards in all is many; accepted: a number, 2 to"),
    ],
)
def test_fewer_boards_in_all_than_are_entered_in_the_stack_are_refused(yard, typed, sentence):
    told = refused(yard, r.StackFact, BadInput, entries.change_stack, "S1", boards_in_all=typed)
    assert told.startswith(sentence)
    yard.act(entries.change_stack, "S1", boards_in_all="2")


def test_a_board_that_was_taken_back_is_not_one_of_its_stack(yard):
    second = next(one for one in standing(yard, r.BoardFact) if one.name == "A2")
    yard.act(entries.undo, "board", second.id)
    yard.act(entries.change_stack, "S1", boards_in_all="1")
    first = next(one for one in standing(yard, r.BoardFact) if one.name == "A1")
    yard.act(entries.undo, "board", first.id)
    yard.act(entries.move_stack, "S1", place="room")
    yard.act(entries.move_probe, "north", place="")
    yard.act(entries.close_place, "shed")  # nothing is left there


def test_an_empty_stack_has_at_least_one_board_in_all(yard):
    told = refused(yard, r.StackFact, BadInput, entries.add_stack, "S9", place="shed", boards_in_all="0")
    assert told == "boards in all is 0; accepted: 1 to 100000 in a whole number."
    with yard.store.reading() as connection:
        assert "S9" not in [one.code for one in facts.subjects(connection, r.SubjectKind.STACK)]


# --- what all of them share ------------------------------------------------------------------------

ACTS = [
    (entries.add_water, {"kind": "glued", "water_g": "40", "faces": "marked face"}, r.WaterEvent),
    (entries.add_outcome, {"kind": "checks", "degree": "slight"}, r.Outcome),
]


@pytest.mark.parametrize(("act", "values", "record"), ACTS)
def test_an_entry_can_be_taken_back_and_put_back(yard, act, values, record):
    made = yard.act(act, "A1", **values)
    undone = yard.act(entries.undo, made.kind, made.fact_id)
    assert standing(yard, record) == [] and "of board A1 is taken back." in undone.sentence
    yard.act(entries.undo, undone.kind, undone.fact_id)
    assert len(standing(yard, record)) == 1


@pytest.mark.parametrize(("act", "values", "record"), ACTS)
def test_nothing_is_entered_without_a_name_or_on_a_board_that_is_not_there(yard, act, values, record):
    assert refused(yard, record, BadInput, act, "A1", by=" ", **values).startswith("your name is empty")
    assert refused(yard, record, BadInput, act, "Z9", **values) == "board is Z9; accepted: A1, A2."


def test_what_came_to_a_board_and_became_of_it_is_read_with_its_other_entries(yard):
    for act, values, _record in ACTS:
        yard.act(act, "A1", **values)
    with yard.store.reading() as connection:
        boards = read_entries(connection, yard.now_ms).boards.values()
    assert [(len(one.waters), len(one.outcomes)) for one in boards] == [(1, 1), (0, 0)]


def test_each_kind_has_its_file_in_the_export_with_its_own_columns(yard, tmp_path):
    for act, values, _record in ACTS:
        yard.act(act, "A1", days_ago=1, **values)
    yard.act(entries.change_stack, "S1", boards_in_all=7)
    dict(exports.write_all(yard.store, tmp_path / "out"))
    for name, wanted in (
        ("water-event", {"code": "A1", "kind": "glued", "water_kg": "0.04", "faces": "marked face"}),
        ("outcome", {"code": "A1", "kind": "checks", "degree": "slight", "thickness_m": "", "note": ""}),
        ("stack-fact", {"code": "S1", "boards_in_all": "7"}),
    ):
        with (tmp_path / "out" / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            (row,) = csv.DictReader(file)
        assert {key: row[key] for key in wanted} == wanted


def test_the_new_piece_of_a_resawn_board_with_an_outcome_keeps_the_resawing(yard):
    made = yard.act(entries.resaw_board, "A1", kerf_mm=3, piece="A1-b", days_ago=2)
    yard.act(entries.add_outcome, "A1-b", kind="checks", degree="bad")
    with pytest.raises(Refused, match="The new piece A1-b has entries of its own by now"):
        yard.act(entries.undo, made.kind, made.fact_id)
