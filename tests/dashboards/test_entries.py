"""What users enter: each act, each refusal with its sentence, and that a refusal leaves the store as it was."""

import pytest

from dashboards import entries
from dashboards.board_entries import believable_mass_kg
from shared.errors import BadInput, Refused
from shared.store import facts
from shared.store import records as r
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE

BOARD = {
    "species": "Acer saccharum",
    "thickness_mm": 25,
    "width_mm": 200,
    "length_mm": 1000,
    "cut": "quarter-sawn",
    "origin": "part-seasoned",
    "place": "room",
}


def standing(yard, record):
    with yard.store.reading() as connection:
        return facts.standing(connection, record)


def count(yard):
    with yard.store.reading() as connection:
        return facts.newest_entry(connection), sum(len(facts.subjects(connection, kind)) for kind in r.SubjectKind)


def refused(yard, error, act, *args, **values):
    """Return the sentence of a refusal, having seen that nothing was entered."""
    before = count(yard)
    with pytest.raises(error) as caught:
        yard.act(act, *args, **values)
    assert count(yard) == before
    sentence = str(caught.value)
    assert sentence.endswith(".") and "\n" not in sentence
    return sentence


def test_a_board_is_kept_in_metres_under_its_botanical_name(yard):
    yard.act(entries.add_board, "B1", **{**BOARD, "species": "sugar (hard) maple"})
    fact = next(one for one in standing(yard, r.BoardFact) if one.name == "B1")
    assert (fact.thickness_m, fact.width_m, fact.length_m) == (0.025, 0.2, 1.0)
    assert (fact.species, fact.cut, fact.origin) == ("Acer saccharum", r.Cut.QUARTER, r.Origin.PART_SEASONED)
    assert fact.entered_by == "Ida"


@pytest.mark.parametrize(
    ("field", "value", "named"),
    [
        ("thickness_mm", "0.5", "thickness"),
        ("thickness_mm", "301", "thickness"),
        ("width_mm", "4", "width"),
        ("length_mm", "10001", "length"),
        ("thickness_mm", "nan", "thickness"),
        ("width_mm", "inf", "width"),
        ("length_mm", "two", "length"),
        ("cut", "sideways", "cut"),
        ("origin", "found", "origin"),
        ("species", "ironwood", "species"),
        ("place", "cellar", "place"),
        ("place", "", "where it lies"),
    ],
)
def test_a_board_that_cannot_be_is_refused_and_the_field_is_named(yard, field, value, named):
    sentence = refused(yard, BadInput, entries.add_board, "B1", **{**BOARD, field: value})
    assert sentence.startswith(named)


def test_a_common_name_that_fits_several_timbers_is_asked_about(yard):
    assert "one timber" in refused(yard, BadInput, entries.add_board, "B1", **{**BOARD, "species": "maple"})


@pytest.mark.parametrize("code", ["", "with space", "slash/ed", "-first", "x" * 25, "ünder"])
def test_a_code_is_short_and_plain(yard, code):
    assert "place code" in refused(yard, BadInput, entries.add_place, code)


def test_a_code_is_unique_in_its_kind_whatever_its_capitals(yard):
    assert "already a place called shed" in refused(yard, Refused, entries.add_place, "SHED")
    yard.act(entries.add_set, "shed")  # another kind may use it


def test_every_entry_wants_a_name(yard):
    assert refused(yard, BadInput, entries.add_place, "loft", by="  ").startswith("your name")


# --- weigh-ins -------------------------------------------------------------------------------------


def test_a_weigh_in_in_grams_or_kilograms_is_the_same_mass(yard):
    yard.act(entries.add_weigh_in, "A2", mass_g="5600")
    yard.act(entries.add_weigh_in, "A2", mass_kg="5,6", scale_error_g="2")
    with yard.store.reading() as connection:
        board = facts.subject(connection, r.SubjectKind.BOARD, "A2")
        first, second = facts.standing(connection, r.WeighIn, board.id)
    assert first.mass_kg == pytest.approx(5.6) and second.mass_kg == pytest.approx(5.6)
    assert first.scale_error_kg == pytest.approx(0.0056) and second.scale_error_kg == pytest.approx(0.002)


def test_the_believable_mass_of_white_ash_lies_between_half_oven_dry_and_a_quarter_over_full():
    """By hand: 27 × 190 × 1500 mm is 0.007695 m³; Gb 0.55: dry 4.232 kg; full 1 + 0.55 − 0.55/1.54 = 1.1929 t/m³."""
    fact = r.BoardFact(
        1, 1, 0, 0, "Ida", None, False, "A", "Fraxinus americana", 0.027, 0.19, 1.5, r.Cut.FLAT, r.Origin.FRESH, ""
    )
    low, high = believable_mass_kg(fact)
    assert low == pytest.approx(0.5 * 4.232, abs=0.001)
    assert high == pytest.approx(1.25 * 9.179, abs=0.002)


@pytest.mark.parametrize(
    ("mass_g", "why"), [("2000", "lighter than oven-dry wood"), ("11600", "heavier than wood full of water")]
)
def test_a_mass_that_this_board_cannot_have_is_refused_unless_sure(yard, mass_g, why):
    sentence = refused(yard, BadInput, entries.add_weigh_in, "A1", mass_g=mass_g)
    assert why in sentence and "2116 g to 11.47 kg" in sentence and sentence.startswith("mass of A1")
    yard.act(entries.add_weigh_in, "A1", mass_g=mass_g, sure=True)
    assert float(mass_g) / 1000 in [one.mass_kg for one in standing(yard, r.WeighIn)]


@pytest.mark.parametrize("mass_g", ["0", "-5", "", "nan", "1e9", "heavy"])
def test_a_mass_that_is_none_is_refused_even_when_sure(yard, mass_g):
    assert refused(yard, BadInput, entries.add_weigh_in, "A1", mass_g=mass_g, sure=True).startswith("mass")


def test_a_comma_that_could_be_thousands_or_decimals_is_asked_about(yard):
    assert "5600 or 5.600" in refused(yard, BadInput, entries.add_weigh_in, "A1", mass_g="5,600")


def test_a_time_to_come_is_refused_but_a_clock_a_little_ahead_is_not(yard):
    late = yard.now_ms + 6 * MS_PER_MINUTE
    assert "a time that has come" in refused(yard, BadInput, entries.add_weigh_in, "A1", mass_g=4700, true_at_ms=late)
    yard.act(entries.add_weigh_in, "A1", mass_g=4700, true_at_ms=yard.now_ms + 4 * MS_PER_MINUTE)


def test_an_undone_weigh_in_can_be_put_back(yard):
    made = yard.act(entries.add_weigh_in, "A2", mass_g=5000)
    undone = yard.act(entries.undo, "weigh-in", made.fact_id)
    assert 5.0 not in [one.mass_kg for one in standing(yard, r.WeighIn)]
    again = yard.act(entries.undo, "weigh-in", undone.fact_id)
    assert "put back" in again.sentence
    assert 5.0 in [one.mass_kg for one in standing(yard, r.WeighIn)]


def test_of_two_people_who_undo_one_entry_the_second_is_told(yard):
    made = yard.act(entries.add_weigh_in, "A2", mass_g=5000)
    yard.act(entries.undo, "weigh-in", made.fact_id, by="Jon")
    assert "Jon has already changed" in refused(yard, Refused, entries.undo, "weigh-in", made.fact_id)


def test_of_two_people_who_correct_one_board_the_second_is_told(yard):
    looked_at = next(one for one in standing(yard, r.BoardFact) if one.name == "A1")
    fields = {key: value for key, value in BOARD.items() if key != "place"}
    yard.act(entries.correct_board, "A1", supersedes=looked_at.id, by="Jon", **fields)
    assert "Jon has already changed" in refused(
        yard, Refused, entries.correct_board, "A1", supersedes=looked_at.id, **fields
    )
    corrected = [one for one in standing(yard, r.BoardFact) if one.subject_id == looked_at.subject_id]
    assert [one.true_at_ms for one in corrected] == [looked_at.true_at_ms]


# --- pins, sections, uses --------------------------------------------------------------------------


def test_a_pin_reading_is_taken_at_a_quarter_of_the_thickness_unless_said(yard):
    yard.act(entries.add_pin_reading, "A1", mc_pct="14.5")
    yard.act(entries.add_pin_reading, "A1", mc_pct=18, depth_mm="13.5")
    assert [one.depth_m for one in standing(yard, r.PinReading)] == pytest.approx([0.00675, 0.0135])


@pytest.mark.parametrize(
    ("mc_pct", "depth_mm", "named"),
    [
        ("3.9", "", "pin reading"),
        ("121", "", "pin reading"),
        ("12", "13.6", "depth of the pins"),
        ("12", "-1", "depth of the pins"),
    ],
)
def test_a_pin_reading_that_cannot_be_is_refused(yard, mc_pct, depth_mm, named):
    sentence = refused(yard, BadInput, entries.add_pin_reading, "A1", mc_pct=mc_pct, depth_mm=depth_mm)
    assert sentence.startswith(named)


@pytest.mark.parametrize(("wet_g", "dry_g"), [("100", "100"), ("99", "100"), ("601", "100")])
def test_a_section_is_wetter_wet_than_dry_and_within_reason(yard, wet_g, dry_g):
    assert "wet mass" in refused(yard, BadInput, entries.add_oven_dry, "A1", wet_g=wet_g, dry_g=dry_g)


def test_a_use_takes_its_usual_air_and_its_booked_day(yard):
    yard.act(entries.plan_use, "A1", use="glue", booked="2026-12-24")
    plan = standing(yard, r.UsePlan)[0]
    assert (plan.use, plan.destination_rh_pct, plan.destination_temperature_c) == ("glue", 45.0, 20.0)
    assert plan.booked_ms > yard.now_ms
    assert "machine, bend, glue" in refused(yard, BadInput, entries.plan_use, "A1", use="admire")
    assert refused(yard, BadInput, entries.plan_use, "A1", use="glue", destination_rh_pct="140").startswith(
        "destination"
    )


# --- places and moves ------------------------------------------------------------------------------


def test_a_place_in_use_is_not_closed_and_what_is_in_it_is_named(yard):
    sentence = refused(yard, Refused, entries.close_place, "shed")
    assert "probe north" in sentence and "stack S1" in sentence
    assert "probe warm" in refused(yard, Refused, entries.close_place, "room")
    yard.act(entries.move_probe, "warm", place="")
    yard.act(entries.close_place, "room")
    assert "closed" in refused(yard, Refused, entries.move_stack, "S1", place="room")
    assert [one.name for one in standing(yard, r.PlaceFact) if one.closed] == ["room"]


def test_the_first_entry_of_a_place_in_use_cannot_be_undone(yard):
    shed = next(one for one in standing(yard, r.PlaceFact) if one.name == "shed")
    assert "must be moved" in refused(yard, Refused, entries.undo, "place", shed.id)


def test_a_probe_moved_in_mid_history_counts_until_its_next_move(yard):
    yard.act(entries.move_probe, "north", place="room", days_ago=5)
    yard.act(entries.move_probe, "north", place="", days_ago=20)
    with yard.store.reading() as connection:
        probe = facts.subject(connection, r.SubjectKind.PROBE, "north")
        where = facts.standing(connection, r.ProbePosition, probe.id)
        room = facts.subject(connection, r.SubjectKind.PLACE, "room")
        shed = facts.subject(connection, r.SubjectKind.PLACE, "shed")
    at = {days: facts.at(where, yard.now_ms - days * MS_PER_DAY + MS_PER_HOUR).place_id for days in (40, 20, 5)}
    assert at == {40: shed.id, 20: None, 5: room.id}


def test_a_board_lies_in_a_stack_or_in_a_place_not_both(yard):
    assert "not both" in refused(yard, BadInput, entries.move_board, "A1", stack="S1", place="room")
    yard.act(entries.move_board, "A1", place="room")
    assert "A2" in refused(yard, Refused, entries.undo, "stack", standing(yard, r.StackFact)[0].id)


def test_a_topic_belongs_to_one_probe_and_holds_no_wildcard(yard):
    assert "already publishes" in refused(yard, Refused, entries.add_probe, "x", topic="workshop/shed/north")
    assert "without + or #" in refused(yard, BadInput, entries.add_probe, "x", topic="workshop/#")


def test_a_set_holds_boards_in_roles(yard):
    yard.act(entries.add_set, "T1")
    yard.act(entries.put_in_set, "A1", set_code="T1", role="left half")
    assert [one.role for one in standing(yard, r.SetMember)] == ["left half"]
    assert "board A1" in refused(yard, Refused, entries.undo, "set", standing(yard, r.SetFact)[0].id)
    assert refused(yard, BadInput, entries.put_in_set, "A1", set_code="T9").startswith("set")


def test_a_mass_far_from_the_last_is_asked_about_and_kept_when_sure(yard):
    with pytest.raises(BadInput, match="is this the right board"):
        yard.act(entries.add_weigh_in, "A1", mass_g=3600)
    yard.act(entries.add_weigh_in, "A1", mass_g=3600, sure=True)
    yard.act(entries.add_weigh_in, "A2", mass_g=6000)
    yard.act(entries.add_weigh_in, "A2", mass_g=5700)
