"""What bears on verdicts: each entry, its refusals, its way back; the limits as they stand."""

import csv
from dataclasses import fields as fields_of

import pytest

from dashboards import entries, exports, limits_now, piece_entries, use_entries
from dashboards.yard_entries import members, read_entries
from kiln import sorption
from kiln.limits import Limits
from shared import tables
from shared.errors import BadInput, Refused
from shared.store import facts
from shared.store import records as r
from shared.units import MS_PER_DAY


def standing(yard, record):
    with yard.store.reading() as connection:
        return facts.standing(connection, record)


def newest(yard):
    with yard.store.reading() as connection:
        return facts.newest_entry(connection)


def refused(yard, error, act, *args, **values):
    """Return the sentence of a refusal, having seen that nothing was entered."""
    before = newest(yard)
    with pytest.raises(error) as caught:
        yard.act(act, *args, **values)
    assert newest(yard) == before
    sentence = str(caught.value)
    assert sentence.endswith(".") and "\n" not in sentence
    return sentence


def own(yard, known_at_ms=None):
    with yard.store.reading() as connection:
        return limits_now.own_limits(connection, yard.now_ms, known_at_ms)


@pytest.fixture
def paired(yard):
    """The yard with both its boards as the halves of a set."""
    yard.act(entries.add_set, "T1")
    yard.act(entries.put_in_set, "A1", set_code="T1", role="left half")
    yard.act(entries.put_in_set, "A2", set_code="T1", role="right half")
    return yard


# --- limits of the yard's own ----------------------------------------------------------------------


def test_without_an_entry_the_tables_hold(yard):
    assert own(yard) == {}
    assert limits_now.uses_now({}) == tables.uses()
    assert all(limits_now.limit_now({}, name) == row.value for name, row in tables.constants("limits").items())


def test_every_figure_of_every_use_and_every_row_of_the_limits_can_be_moved_within_its_range(yard):
    for one in limits_now.every({}):
        low, high = one.accepted.low, one.accepted.high
        assert low < high and (one.usual is None or low <= one.usual <= high), one.name
        if not one.settable:
            sentence = refused(yard, Refused, entries.set_limit, one.name, value=one.usual, reason="tried out")
            assert sentence.startswith(f"{one.name} is part of how readings are worked out")
            continue
        for value in (low, high):
            yard.act(entries.set_limit, one.name, value=value, reason="tried out")
            held = own(yard)
            if one.group:
                assert getattr(limits_now.uses_now(held)[one.group], one.name.partition(".")[2]) == value
            else:
                assert limits_now.limit_now(held, one.name) == value
            assert limits_now.named(held, one.name).value == value
        assert "is -9000; accepted: " in refused(
            yard, BadInput, entries.set_limit, one.name, value="-9000", reason="tried out"
        )
    assert {one.name for one in limits_now.every({}) if one.settable and not one.group} == {
        one.name for one in fields_of(Limits)
    }
    figures = {one.name for one in fields_of(tables.Use)} - {"name", "label", "source", "status"}
    assert set(limits_now.figures()) == figures
    assert figures <= set(limits_now.USE_FIGURES), "give the new figure a name and a range"


def test_a_figure_of_a_use_and_a_limit_reach_what_is_judged(yard):
    yard.act(entries.set_limit, "machine.gradient_mc_pct", value="3.3", reason="thin stock")
    yard.act(entries.set_limit, "sure", value="0.8", reason="nobody buys it")
    with yard.store.reading() as connection:
        held = read_entries(connection, yard.now_ms)
    assert held.limits == Limits(sure=0.8)
    assert held.uses["machine"].gradient_mc_pct == 3.3


def test_a_limit_changes_only_what_it_names_and_says_who_and_why(yard):
    made = yard.act(entries.set_limit, "Glue.Tolerance_MC_pct", value="1,5", reason="thick plates, less fuss", by="Ada")
    assert made.sentence == "The limit glue.tolerance_mc_pct is 1.5 %MC now, instead of 1 %MC."
    (entry,) = standing(yard, r.OwnLimit)
    assert (entry.value, entry.reason, entry.entered_by) == (1.5, "thick plates, less fuss", "Ada")
    now, usual = limits_now.uses_now(own(yard)), tables.uses()
    assert now["glue"].tolerance_mc_pct == 1.5
    assert {name: use for name, use in now.items() if name != "glue"} == {
        name: use for name, use in usual.items() if name != "glue"
    }
    changed = {one.name for one in limits_now.every(own(yard)) if one.own}
    assert changed == {"glue.tolerance_mc_pct"}
    assert usual["glue"].tolerance_mc_pct == 1.0


def test_a_limit_set_again_counts_from_then_and_what_was_known_before_can_be_asked(yard):
    first_ms = yard.now_ms
    yard.act(entries.set_limit, "twins_apart", value="0.7", reason="soft wood")
    yard.now_ms += MS_PER_DAY
    again = yard.act(entries.set_limit, "twins_apart", value="0.3", reason="a bad joint")
    assert again.sentence == "The limit twins_apart is 0.3 %MC now, instead of 0.7 %MC."
    assert limits_now.limit_now(own(yard), "twins_apart") == 0.3
    assert limits_now.limit_now(own(yard, known_at_ms=first_ms), "twins_apart") == 0.7
    assert own(yard, known_at_ms=first_ms - 1) == {}
    taken = yard.act(entries.undo, "limit", again.fact_id)
    assert taken.sentence == "The own figure of limit twins_apart is taken back."
    assert limits_now.limit_now(own(yard), "twins_apart") == 0.7


@pytest.mark.parametrize(
    ("name", "value", "reason", "told"),
    [
        ("glue.tolerance", "1", "because", "limit is glue.tolerance; accepted: a name from the list of limits"),
        ("", "1", "because", "limit is empty; accepted: a name from the list of limits"),
        ("sure", "1", "because", "sure is 1; accepted: 0.5 to 0.999."),
        ("measured_within", "3.5", "because", "measured_within is 3.5; accepted: 1 to 366 days in whole numbers."),
        ("twins_apart", "", "because", "twins_apart is empty; accepted: 0.1 to 3 %MC."),
        ("twins_apart", "0.4", "", "reason is empty; accepted: why, in some words: 3 letters or more, up to 400"),
        ("twins_apart", "0.4", "1!2?", "reason is 1!2?; accepted: why, in some words"),
    ],
)
def test_a_limit_that_is_none_or_a_figure_without_a_reason_is_refused(yard, name, value, reason, told):
    assert told in refused(yard, BadInput, entries.set_limit, name, value=value, reason=reason)
    assert own(yard) == {}


def test_the_air_of_a_use_that_the_yard_has_moved_is_the_usual_one_of_the_next_plan(yard):
    yard.act(entries.set_limit, "glue.destination_rh_pct", value="48", reason="our room holds 48")
    yard.act(entries.plan_use, "A1", use="glue")
    assert standing(yard, r.UsePlan)[0].destination_rh_pct == 48.0


# --- overrides -------------------------------------------------------------------------------------


def test_an_override_has_a_name_a_use_and_a_reason_and_can_be_taken_back(paired):
    made = paired.act(entries.add_override, "A1", use="glue", reason="a mock-up, to be burnt.", by="Ada")
    assert made.sentence == (
        "Board A1, glue up: Ada goes ahead whatever the verdict says, because: a mock-up, to be burnt. "
        "The verdict is shown as it is."
    )
    paired.act(entries.add_override, "T1", kind="set", use="brace", reason="only a trial")
    assert [(one.use, one.reason) for one in standing(paired, r.Override)] == [
        ("glue", "a mock-up, to be burnt."),
        ("brace", "only a trial"),
    ]
    paired.act(entries.undo, "override", made.fact_id)
    assert [one.use for one in standing(paired, r.Override)] == ["brace"]


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"by": " "}, "your name is empty"),
        ({"reason": "ok"}, "reason is ok; accepted: why, in some words"),
        ({"use": "admire"}, "use is admire; accepted: one of machine, bend"),
        ({"kind": "stack"}, "kind is stack; accepted: board or set"),
    ],
)
def test_an_override_without_a_name_a_reason_or_a_use_is_refused(yard, values, told):
    given = {"use": "glue", "reason": "a mock-up"} | values
    assert told in refused(yard, BadInput, entries.add_override, "A1", **given)


# --- lifted wood -----------------------------------------------------------------------------------

SUNKEN = {"water": "brackish", "sapwood": "lost", "smell": "sour or sulphurous"}


def test_lifted_wood_is_told_of_and_corrected_in_place(yard):
    made = yard.act(entries.say_lifted, "A1", **SUNKEN, days_ago=60)  # before it was entered as a board
    assert made.sentence == (
        "Board A1: out of brackish water; sapwood lost; not looked at for shakes; smells sour or sulphurous; "
        "not washed; not searched for metal. It is entered as fresh-sawn: correct that, if it is not."
    )
    yard.act(entries.say_lifted, "A1", **SUNKEN, shake="no", washed="yes", metal_searched=True)
    (held,) = standing(yard, r.Lifted)
    assert held.true_at_ms == yard.now_ms - 60 * MS_PER_DAY and held.supersedes == made.fact_id
    assert (held.shake, held.washed, held.metal_searched) == (False, True, True)
    yard.act(entries.say_lifted, "A1", **SUNKEN, days_ago=3)  # sunk again, lifted again
    assert [one.true_at_ms for one in standing(yard, r.Lifted)] == [held.true_at_ms, yard.now_ms - 3 * MS_PER_DAY]
    yard.act(entries.undo, "lifting", held.id)
    assert [one.washed for one in standing(yard, r.Lifted)] == [False, False]


@pytest.mark.parametrize("water", list(r.WaterBody))
@pytest.mark.parametrize("smell", list(r.Smell))
def test_every_word_for_lifted_wood_is_kept(yard, water, smell):
    for sapwood in r.Sapwood:
        for shake, kept in (("yes", True), ("no", False), ("not looked", None), ("", None)):
            yard.act(entries.say_lifted, "A1", water=water, sapwood=sapwood, smell=smell, shake=shake)
            (held,) = standing(yard, r.Lifted)
            assert (held.water, held.sapwood, held.smell, held.shake) == (water, sapwood, smell, kept)


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"water": "pond"}, "water is pond; accepted: one of fresh, brackish, salt, unknown."),
        ({"sapwood": ""}, "sapwood is empty; accepted: one of sound, lost, none on it, unknown."),
        ({"smell": "roses"}, "smell is roses; accepted: one of none, sour or sulphurous, tar or creosote, unknown."),
        ({"shake": "maybe"}, "shake is maybe; accepted: one of yes, no, not looked."),
        ({"days_ago": -3}, "accepted: a time that has come"),
    ],
)
def test_what_is_no_word_for_lifted_wood_is_refused(yard, values, told):
    assert told in refused(yard, BadInput, entries.say_lifted, "A1", **(SUNKEN | values))


# --- joints and pieces -----------------------------------------------------------------------------


def test_several_joints_of_a_set_stand_at_once(paired):
    made = paired.act(entries.add_joint, "T1", a="a1", b="A2", length_mm="480", grain_b_deg="7,5", name="centre")
    assert made.sentence == ("Set T1: joint centre, 480 mm between A1 and A2; grain of A1 at 0°, of A2 at 7.5° to it.")
    paired.act(entries.add_joint, "T1", a="A2", b="A1", length_mm=100, grain_a_deg="", grain_b_deg=90)
    told = [(one.name, one.length_m, one.grain_a_deg, one.grain_b_deg) for one in standing(paired, r.Joint)]
    assert told == [("centre", 0.48, 0.0, 7.5), ("A2 to A1", 0.1, 0.0, 90.0)]
    paired.act(entries.undo, "joint", made.fact_id)
    assert [one.name for one in standing(paired, r.Joint)] == ["A2 to A1"]


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"b": "A1"}, "second piece is A1; accepted: another piece of the set T1 than the first."),
        ({"b": "A7"}, "second piece is A7; accepted: A1, A2."),
        ({"a": ""}, "first piece is empty; accepted: A1, A2."),
        ({"length_mm": "99000"}, "length of the joint is 99000; accepted: 5 to "),
        ({"length_mm": "0"}, "length of the joint is 0; accepted: 5 to "),
        ({"grain_a_deg": "91"}, "grain of the first piece is 91; accepted: 0 to 90 degrees"),
        ({"grain_b_deg": "-1"}, "grain of the second piece is -1; accepted: 0 to 90 degrees"),
    ],
)
def test_a_joint_that_cannot_be_is_refused(paired, values, told):
    given = {"a": "A1", "b": "A2", "length_mm": "480"} | values
    assert told in refused(paired, BadInput, entries.add_joint, "T1", **given)


def test_a_joint_wants_pieces_that_are_in_the_set(paired):
    paired.act(entries.put_in_set, "A2", set_code="")
    sentence = refused(paired, BadInput, entries.add_joint, "T1", a="A1", b="A2", length_mm="480")
    assert sentence == "second piece is A2; accepted: A1."
    paired.act(entries.add_set, "T2")
    told = refused(paired, BadInput, entries.add_joint, "T2", a="A1", b="A2", length_mm="480")
    assert "none yet; put two boards into the set T2 first" in told


def test_the_kind_of_a_piece_is_chosen_or_guessed_from_its_role(yard):
    yard.act(entries.add_set, "T1")
    made = yard.act(entries.put_in_set, "A1", set_code="T1", role="back, left half")
    assert made.sentence == "Board A1 is in set T1 as back, left half (twin)."
    yard.act(entries.put_in_set, "A2", set_code="T1", role="lining", piece_kind="brace")
    with yard.store.reading() as connection:
        codes = {one.id: one.code for one in facts.subjects(connection, r.SubjectKind.BOARD)}
        kinds = {codes[one]: member.kind for one, member in members(connection, yard.now_ms).items()}
        assert members(connection, yard.now_ms, known_at_ms=yard.now_ms - 1) == {}
    assert kinds == {"A1": r.PieceKind.TWIN, "A2": r.PieceKind.BRACE}
    sentence = refused(yard, BadInput, entries.put_in_set, "A1", set_code="T1", piece_kind="wheel")
    assert sentence == "kind of piece is wheel; accepted: one of twin, plate, brace, block, neck, other."


@pytest.mark.parametrize(
    ("role", "kind"),
    [
        ("Right", "twin"),
        ("back left", "twin"),
        ("tone bars", "brace"),
        ("bracing", "brace"),
        ("tail block", "block"),
        ("NECK blank", "neck"),
        ("top plate", "plate"),
        ("bare stock", "other"),
        ("soundboard", "other"),
        ("", "other"),
    ],
)
def test_a_role_says_what_a_piece_is(role, kind):
    assert piece_entries.kind_of_role(role) == kind


# --- wanted moisture -------------------------------------------------------------------------------


def test_a_plan_keeps_the_moisture_that_is_also_wanted_and_that_work_has_begun(yard):
    made = yard.act(
        entries.plan_use, "A1", use="glue", wanted_mc_low_pct="8", wanted_mc_high_pct="9,5", begun="yes", booked=""
    )
    assert made.sentence == "Board A1 is wanted for: glue up; the work has begun."
    (plan,) = standing(yard, r.UsePlan)
    assert (plan.wanted_mc_low_pct, plan.wanted_mc_high_pct, plan.begun) == (8.0, 9.5, True)


def test_an_air_and_a_moisture_that_cannot_both_hold_are_entered_and_told_of(yard):
    made = yard.act(entries.plan_use, "A1", use="glue", wanted_mc_low_pct=6, wanted_mc_high_pct=8)
    assert made.sentence == (
        "Board A1 is wanted for: glue up. "
        "45 %RH at 20 °C is 8.5 %MC; 6–8 %MC would need 29–42 %RH. Both cannot hold: choose one."
    )
    assert standing(yard, r.UsePlan)[0].wanted_mc_high_pct == 8.0
    rest = float(sorption.emc_pct(20.0, 45.0))
    assert use_entries.cannot_hold(45.0, 20.0, rest - 0.1, rest + 0.1) == ""
    assert use_entries.cannot_hold(45.0, 20.0, None, None) == ""


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [
        ("6", "", "wanted moisture to is empty; accepted: 3 to 30 %MC; both ends, or neither."),
        ("", "8", "wanted moisture from is empty; accepted: 3 to 30 %MC; both ends, or neither."),
        ("8", "6", "wanted moisture to is 6 %MC; accepted: more than the 8 %MC that it begins at."),
        ("8", "80", "wanted moisture to is 80; accepted: 3 to 30 %MC"),
    ],
)
def test_half_a_band_of_moisture_is_refused(yard, low, high, told):
    given = {"wanted_mc_low_pct": low, "wanted_mc_high_pct": high}
    assert told in refused(yard, BadInput, entries.plan_use, "A1", use="glue", **given)


# --- what all of them share ------------------------------------------------------------------------


def test_each_is_exported_with_codes_in_place_of_numbers(paired, tmp_path):
    paired.act(entries.set_limit, "sure", value="0.95", reason="=a careful buyer")
    paired.act(entries.add_override, "A1", use="glue", reason="a mock-up")
    paired.act(entries.say_lifted, "A1", **SUNKEN)
    paired.act(entries.add_joint, "T1", a="A1", b="A2", length_mm="480")
    for _written in exports.write_all(paired.store, tmp_path):
        pass

    def rows(name):
        with (tmp_path / f"{name}.csv").open(encoding="utf-8") as file:
            return list(csv.DictReader(file))

    assert [(row["code"], row["value"], row["reason"]) for row in rows("own-limit")] == [
        ("sure", "0.95", "'=a careful buyer")
    ]
    assert [(row["code"], row["use"]) for row in rows("override")] == [("A1", "glue")]
    assert [(row["code"], row["water"], row["shake"]) for row in rows("lifted")] == [("A1", "brackish", "")]
    assert [(row["code"], row["a_board_id"], row["b_board_id"]) for row in rows("joint")] == [("T1", "A1", "A2")]
    assert [(row["code"], row["kind"]) for row in rows("set-member")] == [("A1", "twin"), ("A2", "twin")]


def test_of_two_who_take_back_the_same_entry_the_second_is_told(yard):
    made = yard.act(entries.add_override, "A1", use="glue", reason="a mock-up")
    yard.act(entries.undo, "override", made.fact_id, by="Ada")
    assert "Ada has already changed this entry" in refused(yard, Refused, entries.undo, "override", made.fact_id)
