"""Ripping, cross-cutting and trimming: what each enters, what is refused, what an undo brings back; sets of pieces.

The boards are invented: B1 is 50 × 200 × 1000 mm of sugar maple.
"""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboards import cut_story, entries
from dashboards.cutting_entries import first_and_kerf_mm
from dashboards.entries import Into
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
RIP = (entries.rip_board, {"kerf_mm": 3, "piece": "B1-b"})
CROSSCUT = (entries.crosscut_board, {"kerf_mm": 4, "piece": "B1-b"})
RESAW = (entries.resaw_board, {"kerf_mm": 2, "piece": "B1-b"})
TRIM = (entries.trim_board, {"width_mm": 150, "length_mm": 900})
IN_TWO, ALL = (RIP, CROSSCUT, RESAW), (RIP, CROSSCUT, RESAW, TRIM)
NAMES = {"ids": ["rip", "crosscut", "resaw", "trim"]}


@pytest.fixture
def sawn(yard):
    """The yard with a board B1, 30 days there, and a set."""
    yard.act(entries.add_board, "B1", days_ago=30, **BOARD)
    yard.act(entries.add_set, "plates", days_ago=30)
    return yard


def correction(**changed):
    return {key: value for key, value in BOARD.items() if key != "stack"} | changed


def sizes_mm(yard, code):
    """Width and length over a board's life."""
    return [
        (round(mm_from_m(one.width_m), 6), round(mm_from_m(one.length_m), 6)) for one in of(yard, code, r.BoardFact)
    ]


def told(yard, code):
    """Kinds and other boards of all cuts of a board."""
    with yard.store.reading() as connection:
        board = facts.subject(connection, r.SubjectKind.BOARD, code)
    return [(one.kind.value, one.other) for one in cut_story.read(yard.store, board, yard.now_ms).cuts]


# --- what each enters --------------------------------------------------------------------------------


def test_ripping_makes_two_narrower_boards_of_the_whole_thickness(sawn):
    made = sawn.act(entries.rip_board, "B1", kerf_mm="3", width_mm="80", piece="B1-b", days_ago=10)
    sentence = "Board B1 is ripped: 200 → 80 mm wide; the new piece B1-b, 117 mm, lies where it lies."
    assert (made.kind, made.subject.code, made.sentence) == ("cut", "B1", sentence)
    assert sizes_mm(sawn, "B1") == [(200, 1000), (80, 1000)]
    assert sizes_mm(sawn, "B1-b") == [(117, 1000)]
    for code in ("B1", "B1-b"):
        (cut,), size = of(sawn, code, r.BoardCut), of(sawn, code, r.BoardFact)[-1]
        assert (cut.near_m, cut.far_m, size.thickness_m) == (0.0, 0.05, 0.05)
        assert cut.true_at_ms == size.true_at_ms == days_ago(sawn, 10)
    assert of(sawn, "B1-b", r.BoardPosition)[0].stack_id == of(sawn, "B1", r.BoardPosition)[0].stack_id is not None
    assert told(sawn, "B1") == [("ripped", "B1-b")]
    assert told(sawn, "B1-b") == [("ripped off another board", "B1")]


def test_cross_cutting_makes_two_shorter_boards_with_open_ends(sawn):
    sawn.act(entries.say_coat, "B1", coat="one face finished", ends_sealed=True, days_ago=20)
    made = sawn.act(entries.crosscut_board, "B1", kerf_mm=4, piece="B1-b", piece_name="Second", days_ago=10)
    assert made.sentence == (
        "Board B1 is cross-cut: 1000 → 498 mm long; the new piece B1-b, 498 mm, lies where it lies. "
        "The sawn ends are open: say so anew once they are sealed."
    )
    assert (sizes_mm(sawn, "B1"), sizes_mm(sawn, "B1-b")) == ([(200, 1000), (200, 498)], [(200, 498)])
    coats = [[(one.coat, one.ends_sealed) for one in of(sawn, code, r.BoardCoat)] for code in ("B1", "B1-b")]
    assert coats == [[(r.Coat.ONE_FACE, True), (r.Coat.ONE_FACE, False)], [(r.Coat.ONE_FACE, False)]]
    assert told(sawn, "B1") == [("cross-cut", "B1-b")]
    assert told(sawn, "B1-b") == [("cross-cut off another board", "B1")]


def test_ripping_leaves_sealed_ends_sealed_and_says_what_was_laid_bare(sawn):
    sawn.act(entries.say_coat, "B1", coat="finished all round", ends_sealed=True, days_ago=20)
    made = sawn.act(entries.rip_board, "B1", kerf_mm=3, piece="B1-b", days_ago=10)
    assert made.sentence.endswith("What the saw laid bare has no finish: say anew what is finished.")
    assert [one.ends_sealed for one in of(sawn, "B1", r.BoardCoat)] == [True]
    assert [one.ends_sealed for one in of(sawn, "B1-b", r.BoardCoat)] == [True]


@pytest.mark.parametrize(
    ("typed", "sizes", "sentence"),
    [
        ({"length_mm": "750,5"}, (200, 750.5), "200 × 1000 mm → 200 × 750.5 mm in width and length. The sawn ends"),
        ({"width_mm": 150, "length_mm": ""}, (150, 1000), "200 × 1000 mm → 150 × 1000 mm in width and length."),
        ({"width_mm": 150, "length_mm": 1000}, (150, 1000), "→ 150 × 1000 mm in width and length."),
        ({"width_mm": 5, "length_mm": 20}, (5, 20), "→ 5 × 20 mm in width and length."),
    ],
)
def test_trimming_leaves_the_width_and_length_that_were_measured(sawn, typed, sizes, sentence):
    made = sawn.act(entries.trim_board, "B1", days_ago=10, **typed)
    assert sentence in made.sentence and made.sentence.startswith("Board B1 is trimmed: ")
    assert sizes_mm(sawn, "B1") == [(200, 1000), sizes]
    assert told(sawn, "B1") == [("trimmed", "")]


@given(whole=st.floats(50.0, 2000.0), kerf=st.floats(0.0, 20.0), share=st.floats(0.0, 1.0))
@settings(max_examples=200)
def test_two_parts_and_the_kerf_are_the_whole(whole, kerf, share):
    least = 5.0
    typed = min(least + share * (whole - kerf - 2.0 * least), whole - kerf - least)
    typed = max(math.floor(typed * 1e6) / 1e6, least)  # as fine as sizes are kept
    first, dust = first_and_kerf_mm(whole, "width of the piece", typed, kerf, least)
    assert least <= first and whole - first - dust >= least - 1e-6
    assert dust == pytest.approx(kerf)


@pytest.mark.parametrize("cut", IN_TWO, ids=["rip", "crosscut", "resaw"])
def test_the_wood_of_both_pieces_is_that_of_the_board_less_the_kerf(sawn, cut):
    """By hand: dust is the kerf by the two other sizes; density is one, so masses by sizes go as volumes."""
    act, values = cut
    whole = of(sawn, "B1", r.BoardFact)[0]
    sawn.act(act, "B1", days_ago=10, **values)
    left = [of(sawn, code, r.BoardFact)[-1] for code in ("B1", "B1-b")]
    through = {entries.rip_board: 0.05 * 1.0, entries.crosscut_board: 0.05 * 0.2, entries.resaw_board: 0.2 * 1.0}
    dust_m3 = values["kerf_mm"] / 1000.0 * through[act]
    assert sum(one.volume_m3 for one in left) == pytest.approx(whole.volume_m3 - dust_m3, rel=1e-9)


def test_one_board_may_be_cut_in_every_way_and_each_cut_is_told_for_what_it_was(sawn):
    sawn.act(entries.crosscut_board, "B1", kerf_mm=4, piece="B2", days_ago=20)
    sawn.act(entries.resaw_board, "B2", kerf_mm=2, piece="B3", days_ago=15)
    sawn.act(entries.rip_board, "B3", kerf_mm=3, piece="B4", days_ago=10)
    sawn.act(entries.trim_board, "B4", length_mm=400, days_ago=5)
    sawn.act(entries.plane_board, "B4", off_other_mm=2, days_ago=4)
    assert told(sawn, "B2") == [("cross-cut off another board", "B1"), ("resawn", "B3")]
    assert told(sawn, "B3") == [("sawn off another board", "B2"), ("ripped", "B4")]
    assert told(sawn, "B4") == [("ripped off another board", "B3"), ("trimmed", ""), ("planed", "")]
    assert sizes_mm(sawn, "B4")[-1] == (98.5, 400)
    assert round(mm_from_m(of(sawn, "B4", r.BoardFact)[-1].thickness_m), 6) == 22


# --- refusals ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("act", "typed", "named"),
    [
        (entries.rip_board, {"kerf_mm": ""}, "saw kerf is empty"),
        (entries.rip_board, {"kerf_mm": "21"}, "saw kerf is 21"),
        (entries.rip_board, {"width_mm": "4"}, "width of the piece is 4; accepted: 5 to 192 mm"),
        (entries.rip_board, {"width_mm": "193"}, "width of the piece is 193; accepted: 5 to 192 mm"),
        (entries.rip_board, {"width_mm": "half"}, "width of the piece is half"),
        (entries.rip_board, {"piece": ""}, "code of the new piece is empty"),
        (entries.crosscut_board, {"length_mm": "19"}, "length of the piece is 19; accepted: 20 to 977 mm"),
        (entries.crosscut_board, {"length_mm": "980"}, "length of the piece is 980; accepted: 20 to 977 mm"),
        (entries.crosscut_board, {"piece": "a b"}, "code of the new piece is a b"),
        (entries.rip_board, {"days_ago": 30}, "time is "),
        (entries.crosscut_board, {"days_ago": -1}, "time is "),
    ],
)
def test_a_cut_in_two_that_cannot_be_is_refused(sawn, act, typed, named):
    values = {"kerf_mm": "3", "piece": "B1-b"} | typed
    assert refused(sawn, BadInput, act, "B1", **values).startswith(named)


@pytest.mark.parametrize(
    ("typed", "named"),
    [
        ({}, "width left is 200 × 1000 mm; accepted: less than that"),
        ({"width_mm": "200", "length_mm": "1000"}, "width left is 200 × 1000 mm"),
        ({"width_mm": "201"}, "width left is 201; accepted: 5 to 200 mm"),
        ({"length_mm": "1200"}, "length left is 1200; accepted: 20 to 1000 mm"),
        ({"length_mm": "0"}, "length left is 0"),
        ({"width_mm": "narrow"}, "width left is narrow"),
        ({"width_mm": "100", "days_ago": 31}, "time is "),
    ],
)
def test_a_trimming_that_cannot_be_is_refused(sawn, typed, named):
    assert refused(sawn, BadInput, entries.trim_board, "B1", **typed).startswith(named)


def test_no_piece_is_a_splinter(sawn):
    """By hand: of 2 × 40 mm, 20 mm have 1.6 cm³."""
    sawn.act(entries.plane_board, "B1", off_marked_mm=48, days_ago=20)
    sawn.act(entries.trim_board, "B1", width_mm=40, days_ago=15)
    crosscut = {"kerf_mm": 3, "length_mm": 20, "piece": "B1-b"}
    sentence = refused(sawn, BadInput, entries.crosscut_board, "B1", **crosscut)
    assert sentence == "length of the piece is 20 mm; accepted: one that leaves every piece 2 cm³ of wood or more."
    assert "2 cm³" in refused(sawn, BadInput, entries.trim_board, "B1", length_mm=24)
    sawn.act(entries.trim_board, "B1", length_mm=26)


def test_a_board_too_narrow_for_two_is_not_ripped(sawn):
    sawn.act(entries.trim_board, "B1", width_mm=12, days_ago=10)
    sentence = refused(sawn, BadInput, entries.rip_board, "B1", kerf_mm=3, piece="B1-b")
    assert sentence == "saw kerf is 3 mm; accepted: one that leaves two pieces of 5 mm or more of 12 mm."


# --- sets --------------------------------------------------------------------------------------------


def membership(yard, code):
    return [(one.set_id, one.role, str(one.kind), one.true_at_ms) for one in of(yard, code, r.SetMember)]


def set_id(yard, code):
    with yard.store.reading() as connection:
        return facts.subject(connection, r.SubjectKind.SET, code).id


@pytest.mark.parametrize("cut", IN_TWO, ids=["rip", "crosscut", "resaw"])
def test_both_pieces_go_into_a_set_with_the_cut(sawn, cut):
    act, values = cut
    into = Into(set_code="plates", role="left half", piece_role="right half")
    made = sawn.act(act, "B1", days_ago=10, into=into, **values)
    assert made.sentence.endswith("In set plates: B1 as left half (twin), and B1-b as right half (twin).")
    held, when = set_id(sawn, "plates"), days_ago(sawn, 10)
    assert membership(sawn, "B1") == [(held, "left half", "twin", when)]
    assert membership(sawn, "B1-b") == [(held, "right half", "twin", when)]


def test_a_new_set_is_made_for_them_in_the_same_breath_and_goes_with_the_undo(sawn):
    whole = everything(sawn)
    values = {"kerf_mm": 2, "piece": "B1-b", "into": Into(new_set="back", role="left half", piece_role="right half")}
    made = sawn.act(entries.resaw_board, "B1", days_ago=10, **values)
    both = everything(sawn)
    with sawn.store.reading() as connection:
        found = facts.subject(connection, r.SubjectKind.SET, "back")
        assert [one.name for one in facts.standing(connection, r.SetFact, found.id)] == ["back"]
    assert {row[0] for row in membership(sawn, "B1") + membership(sawn, "B1-b")} == {found.id}
    undone = sawn.act(entries.undo, "cut", made.fact_id)
    assert everything(sawn) == whole
    sawn.act(entries.undo, "cut", undone.fact_id)
    assert everything(sawn) == both
    sawn.act(entries.undo, "cut", of(sawn, "B1", r.BoardCut)[0].id)
    assert everything(sawn) == whole
    sawn.act(entries.resaw_board, "B1", days_ago=9, **values)  # the codes of both can be given again


def test_a_set_that_has_become_more_stays_when_the_cut_is_taken_back(sawn):
    into = Into(new_set="back")
    made = sawn.act(entries.rip_board, "B1", kerf_mm=2, piece="B1-b", days_ago=10, into=into)
    sawn.act(entries.put_in_set, "A1", set_code="back")
    sawn.act(entries.undo, "cut", made.fact_id)
    with sawn.store.reading() as connection:
        assert facts.standing(connection, r.SetFact, set_id(sawn, "back"))
    assert membership(sawn, "B1") == []


def test_a_cut_is_not_put_back_into_a_set_that_is_gone(sawn):
    values = {"kerf_mm": 2, "piece": "B1-b", "into": Into(set_code="plates")}
    made = sawn.act(entries.rip_board, "B1", days_ago=10, **values)
    undone = sawn.act(entries.undo, "cut", made.fact_id)
    with sawn.store.reading() as connection:
        (plates,) = facts.standing(connection, r.SetFact, set_id(sawn, "plates"))
    gone = sawn.act(entries.undo, "set", plates.id)
    assert "put it back first" in refused(sawn, Refused, entries.undo, "cut", undone.fact_id)
    sawn.act(entries.undo, "set", gone.fact_id)
    assert "is put back" in sawn.act(entries.undo, "cut", undone.fact_id).sentence


def test_a_piece_put_elsewhere_since_keeps_the_cut(sawn):
    into = Into(set_code="plates")
    made = sawn.act(entries.rip_board, "B1", kerf_mm=2, piece="B1-b", days_ago=10, into=into)
    moved = sawn.act(entries.put_in_set, "B1-b", set_code="", days_ago=5)
    sentence = refused(sawn, Refused, entries.undo, "cut", made.fact_id)
    assert sentence.startswith("The new piece B1-b has entries of its own by now; take those back before the ripping")
    sawn.act(entries.undo, moved.kind, moved.fact_id)
    assert "The ripping of board B1 is taken back" in sawn.act(entries.undo, "cut", made.fact_id).sentence


def test_a_piece_of_a_joint_keeps_the_cut(sawn):
    into = Into(set_code="plates", role="left half", piece_role="right half")
    made = sawn.act(entries.resaw_board, "B1", kerf_mm=2, piece="B1-b", days_ago=10, into=into)
    sawn.act(entries.add_joint, "plates", a="B1", b="B1-b", length_mm=900, days_ago=5)
    assert "B1-b has a joint in a set by now" in refused(sawn, Refused, entries.undo, "cut", made.fact_id)


@pytest.mark.parametrize(
    ("into", "error", "named"),
    [
        (Into(set_code="plates", new_set="back"), BadInput, "code of a new set is back"),
        (Into(role="left half"), BadInput, "set is empty"),
        (Into(set_code="nowhere"), BadInput, "set is nowhere"),
        (Into(new_set="two words"), BadInput, "code of a new set is two words"),
        (Into(new_set="PLATES"), Refused, "There is already a set called plates"),
        (Into(set_code="plates", piece_role="x" * 31), BadInput, "role of the new piece is "),
    ],
)
def test_a_set_that_cannot_be_leaves_the_board_uncut(sawn, into, error, named):
    sentence = refused(sawn, error, entries.crosscut_board, "B1", kerf_mm=3, piece="B1-b", into=into)
    assert sentence.startswith(named)


# --- undo --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("cut", ALL, **NAMES)
def test_a_cut_taken_back_leaves_what_was_and_put_back_what_is(sawn, cut):
    act, values = cut
    sawn.act(entries.say_coat, "B1", coat="bare", ends_sealed=True, days_ago=20)
    whole = everything(sawn)
    made = sawn.act(act, "B1", days_ago=10, **values)
    after, before = everything(sawn), rows(sawn)
    undone = sawn.act(entries.undo, "cut", made.fact_id)
    assert everything(sawn) == whole and rows(sawn) > before
    again = sawn.act(entries.undo, undone.kind, undone.fact_id)
    assert everything(sawn) == after
    sawn.act(entries.undo, again.kind, again.fact_id)
    assert everything(sawn) == whole


@pytest.mark.parametrize(
    ("cut", "back", "again"),
    [
        (
            RIP,
            "The ripping of board B1 is taken back: it is 50 × 200 × 1000 mm again, and there is no B1-b.",
            "The ripping of board B1 is put back: it is 50 × 98.5 × 1000 mm, and B1-b is there again.",
        ),
        (
            CROSSCUT,
            "The cross-cutting of board B1 is taken back: it is 50 × 200 × 1000 mm again, and there is no B1-b.",
            "The cross-cutting of board B1 is put back: it is 50 × 200 × 498 mm, and B1-b is there again.",
        ),
        (
            TRIM,
            "The trimming of board B1 is taken back: it is 50 × 200 × 1000 mm again.",
            "The trimming of board B1 is put back: it is 50 × 150 × 900 mm.",
        ),
    ],
    ids=["rip", "crosscut", "trim"],
)
def test_an_undo_says_what_was_done_and_what_the_board_is_now(sawn, cut, back, again):
    act, values = cut
    made = sawn.act(act, "B1", days_ago=10, **values)
    undone = sawn.act(entries.undo, "cut", made.fact_id)
    assert undone.sentence == back
    assert sawn.act(entries.undo, undone.kind, undone.fact_id).sentence == again


@pytest.mark.parametrize("cut", (RIP, CROSSCUT), ids=["rip", "crosscut"])
def test_a_cut_in_two_can_be_taken_back_from_its_new_piece_too(sawn, cut):
    act, values = cut
    whole = everything(sawn)
    sawn.act(act, "B1", days_ago=10, **values)
    assert sawn.act(entries.undo, "cut", of(sawn, "B1-b", r.BoardCut)[0].id).subject.code == "B1"
    assert everything(sawn) == whole


def test_a_trimming_is_put_back_only_on_the_sizes_that_it_was_entered_for(sawn):
    made = sawn.act(entries.trim_board, "B1", length_mm=900, days_ago=5)
    sawn.now_ms += MS_PER_HOUR
    undone = sawn.act(entries.undo, "cut", made.fact_id)
    sawn.now_ms += MS_PER_HOUR
    wrong = sawn.act(entries.correct_board, "B1", **correction(width_mm=210))
    assert "enter the cut anew" in refused(sawn, Refused, entries.undo, "cut", undone.fact_id)
    sawn.act(entries.undo, "board", wrong.fact_id)
    sawn.act(entries.undo, "cut", undone.fact_id)
    assert sizes_mm(sawn, "B1") == [(200, 1000), (200, 900)]


# --- corrections and weigh-ins -----------------------------------------------------------------------


def test_a_width_corrected_after_a_cross_cut_counts_before_it_too(sawn):
    sawn.act(entries.crosscut_board, "B1", kerf_mm=4, piece="B1-b", days_ago=10)
    sawn.act(entries.correct_board, "B1", **correction(width_mm=195, length_mm=498))
    assert sizes_mm(sawn, "B1") == [(195, 1000), (195, 498)]


def test_a_length_corrected_after_a_trimming_stays_below_what_it_was(sawn):
    sawn.act(entries.trim_board, "B1", length_mm=900, days_ago=10)
    made = sawn.act(entries.correct_board, "B1", **correction(length_mm=905))
    assert sizes_mm(sawn, "B1") == [(200, 1000), (200, 905)]
    sentence = refused(sawn, BadInput, entries.correct_board, "B1", **correction(length_mm=1000))
    assert sentence == (
        "length is 1000 mm; accepted: less than 1000 mm, as it was until it was sawn; take that back to correct it."
    )
    sawn.act(entries.undo, "board", made.fact_id)
    assert sizes_mm(sawn, "B1") == [(200, 1000), (200, 900)]


def test_a_length_from_before_a_trimming_stays_above_what_it_was_cut_to(sawn):
    first = of(sawn, "B1", r.BoardFact)[0]
    sawn.act(entries.trim_board, "B1", length_mm=900, days_ago=10)
    sentence = refused(sawn, BadInput, entries.correct_board, "B1", supersedes=first.id, **correction(length_mm=900))
    assert "more than 900 mm, to which it was sawn since" in sentence
    sawn.act(entries.correct_board, "B1", supersedes=first.id, **correction(length_mm=1010))
    assert sizes_mm(sawn, "B1") == [(200, 1010), (200, 900)]


def test_the_thickness_of_a_board_that_was_trimmed_is_not_corrected(sawn):
    sawn.act(entries.trim_board, "B1", length_mm=900, days_ago=10)
    changed = correction(length_mm=900, thickness_mm=48)
    assert refused(sawn, BadInput, entries.correct_board, "B1", **changed).startswith("thickness is 48 mm")


def test_a_jump_of_mass_is_judged_by_what_was_trimmed_off(sawn):
    sawn.act(entries.add_weigh_in, "B1", mass_kg=8, days_ago=20)
    sawn.act(entries.trim_board, "B1", length_mm=500, days_ago=19)
    sawn.act(entries.add_weigh_in, "B1", mass_kg=4, days_ago=18)  # half the wood, half the mass: no question asked
    assert "and what was cut off since" in refused(
        sawn, BadInput, entries.add_weigh_in, "B1", mass_kg=6.6, days_ago=18.5
    )
