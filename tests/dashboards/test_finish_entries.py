"""Entries of the finish room: what was typed comes back as facts, and what cannot be is refused in a sentence."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboards import entries, finish_now, room_figures, typed_units
from dashboards.ingredients import parse_ingredients
from dashboards.pages import entered, entry_words
from dashboards.pages.forms import Field
from dashboards.shown_units import Units
from kiln.mixtures import Basis
from shared import tables
from shared.errors import BadInput, Refused
from shared.store import facts
from shared.store import records as r
from shared.units import MS_PER_HOUR, MS_PER_MINUTE
from tests.dashboards import finish_yards
from tests.dashboards.commands import benchdry
from tests.dashboards.finish_yards import room_now
from tests.dashboards.refusals import refused, rows

SHEET = {
    "name": "Invented spirit lacquer",
    "ingredients": "ethanol 60-70 %\r\n\r\n  acetone   <5\nsolids 25-40",
    "density_kg_l": "0,85",
    "flash_point_c": "12",
    "isocyanate": "no",
    "formaldehyde": "no",
    "self_heating": "no",
    "dry_after_h": "0.5",
    "dew_gap_c": "3",
    "rh_max_pct": "65",
    "surface_min_c": "15",
    "sheet": "Invented sheet, 2 March 2026",
}


@pytest.fixture
def commanded(yard):
    """The yard as the commands find it."""
    return finish_yards.commanded(yard)


@pytest.fixture
def spray(yard):
    """A finish room with its figures, a probe in it, and a finish on the shelf."""
    yard.act(entries.add_place, "spray", kind="finish room", altitude_m=500, acknowledged=True, days_ago=50)
    yard.act(entries.add_finish, "lacquer", **SHEET, days_ago=40)
    yard.act(entries.say_finish_room, "spray", volume="4.2 x 3 x 2.5 m", extraction="900", extraction_known="measured")
    return yard


def of_place(yard, record, code="spray"):
    with yard.store.reading() as connection:
        place = facts.subject(connection, r.SubjectKind.PLACE, code)
        return facts.standing(connection, record, place.id)


def shelf(yard, **said):
    with yard.store.reading() as connection:
        return finish_now.finishes(connection, **said)


# --- ingredients -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "name", "low", "high"),
    [  # as sheets print them: HSE and OSHA both let concentration ranges stand in section 3 (from memory)
        ("acetone 30-60 %", "Acetone", 0.30, 0.60),
        ("Acetone, ≥ 30 – < 60 %", "Acetone", 0.30, 0.60),
        ("67-64-1 30 to 60", "Acetone", 0.30, 0.60),
        ("acetone (67-64-1): 30 - 60", "Acetone", 0.30, 0.60),
        ("acetone CAS 67-64-1 30", "Acetone", 0.30, 0.30),
        ("acetone<5", "Acetone", 0.0, 0.05),
        ("acetone <= 5", "Acetone", 0.0, 0.05),
        ("acetone >=12,5", "Acetone", 0.125, 1.0),
        ("solids 25", "Solids", 0.25, 0.25),
        ("water 40 %", "Water", 0.40, 0.40),
    ],
)
def test_a_line_of_section_3_is_read_as_a_substance_and_its_bounds(line, name, low, high):
    (one,) = parse_ingredients(line)
    assert one.substance is not None and one.substance.name == name
    assert (one.low, one.high) == pytest.approx((low, high))


def test_what_the_tables_do_not_hold_stays_an_ingredient_without_a_substance():
    (one,) = parse_ingredients("Invented thinner base D40 10-30 %")
    assert (one.name, one.substance) == ("Invented thinner base D40", None)
    assert parse_ingredients(" \n\n ") == ()


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("acetone", "ingredients line 1 is acetone; accepted: a name or CAS number and its share in %"),
        ("acetone 30\n25", "ingredients line 2 is 25; accepted: a name"),
        ("acetone 30\nxylene -5", "ingredients line 2 is xylene -5; accepted: a name"),
        ("acetone 130", "ingredients line 1 is acetone 130; accepted: a share above 0 and up to 100 %"),
        ("acetone 60-30", "the lower bound first"),
        ("acetone 0", "a share above 0"),
        ("acetone 30\nACETONE 5", "ingredients line 2 is ACETONE; accepted: each ingredient once"),
        ("acetone 60\nxylene 50-60", "ingredients is 110 % at the least, taken together; accepted: 100 % or less"),
        ("toluene (67-64-1) 30", "67-64-1 is not the number of Toluene"),
        ("\n".join(f"thing {one} 1" for one in range(41)), "up to 40 lines"),
        ("acetone \x07 5", "ingredients line 1"),
    ],
)
def test_a_line_that_is_not_understood_is_refused_by_its_number(text, told):
    with pytest.raises(BadInput) as caught:
        parse_ingredients(text)
    assert told in str(caught.value)
    assert caught.value.field.startswith("ingredients")


@given(
    st.sampled_from([one.name for one in tables.substances()]),
    st.floats(0.1, 50).map(lambda one: round(one, 2)),
    st.floats(0, 50).map(lambda one: round(one, 2)),
)
def test_every_listed_name_is_found_with_the_bounds_that_were_typed(name, low_pct, more_pct):
    high_pct = round(low_pct + more_pct, 2)
    (one,) = parse_ingredients(f"{name} {low_pct}-{high_pct} %")
    assert one.substance is not None and one.substance.name == name
    assert (100 * one.low, 100 * one.high) == pytest.approx((low_pct, high_pct))


@given(st.text(max_size=60))
def test_whatever_is_typed_is_read_or_refused(text):
    try:
        found = parse_ingredients(text)
    except BadInput:
        return
    assert all(0.0 <= one.low <= one.high <= 1.0 and one.high > 0.0 for one in found)
    assert len(found) == sum(bool(line.split()) for line in text.splitlines())


# --- finishes --------------------------------------------------------------------------------------


def test_a_finish_comes_back_as_its_sheet_was_typed(yard):
    made = yard.act(entries.add_finish, "lacquer", **SHEET, note="invented")
    assert made.sentence == "Finish lacquer is entered."
    (one,) = shelf(yard)
    assert one.fact.ingredients == "ethanol 60-70 %\nacetone <5\nsolids 25-40"
    assert one.fact.density_kg_m3 == pytest.approx(850.0)
    assert one.fact.dry_after_s == pytest.approx(1800.0)
    assert (one.fact.isocyanate, one.fact.formaldehyde, one.fact.self_heating) == (False, False, False)
    assert (one.fact.dew_gap_c, one.fact.rh_max_pct, one.fact.surface_min_c) == (3.0, 65.0, 15.0)
    mixture = finish_now.mixture_of(one.fact)
    assert (mixture.basis, mixture.flash_point_c, mixture.unknowns()) == (Basis.MASS, 12.0, ())
    assert mixture.refusal() is None


def test_what_nobody_looked_up_is_neither_yes_nor_no_and_is_said(yard):
    made = yard.act(entries.add_finish, "oil")
    assert made.sentence == (
        "Finish oil is entered. Still to be read in its data sheet: its ingredients, whether it holds isocyanate and "
        "whether it holds formaldehyde; until then nothing is said of its vapour."
    )
    (one,) = shelf(yard)
    assert (one.fact.isocyanate, one.fact.formaldehyde, one.fact.self_heating) == (None, None, None)
    mixture = finish_now.mixture_of(one.fact)
    told = " ".join(mixture.unknowns())
    assert "nobody has entered from section 3" in told and "isocyanate" in told and "formaldehyde" in told


@pytest.mark.parametrize(
    ("field", "value", "told"),
    [
        ("density_kg_l", "850", "density is 850; accepted: 0.6 to 2.5 kg/l."),
        ("flash_point_c", "500", "flash point is 500; accepted: -60 to 400 °C."),
        ("isocyanate", "maybe", "isocyanate is maybe; accepted: one of yes, no, not read."),
        ("self_heating", "maybe", "drying oil is maybe; accepted: one of yes, no, not read."),
        ("dry_after_h", "0", "dry to handle is 0; accepted: 0.08 to 720 h."),
        ("dew_gap_c", "30", "surface above the dew point is 30; accepted: 0 to 20 C°."),
        ("rh_max_pct", "10", "most humidity is 10; accepted: 20 to 100 %RH."),
        ("surface_min_c", "x", "coldest surface is x; accepted: a number, -20 to 60 °C."),
        ("basis", "by eye", "shares is by eye; accepted: one of by mass, by volume."),
        ("ingredients", "acetone", "ingredients line 1 is acetone"),
        ("sheet", "x" * 130, "data sheet is"),
    ],
)
def test_a_figure_that_no_sheet_prints_is_refused_and_nothing_is_entered(yard, field, value, told):
    assert told in refused(yard, BadInput, entries.add_finish, "lacquer", **(SHEET | {field: value}))
    assert shelf(yard) == ()


def test_a_correction_counts_for_all_that_was_sprayed_and_leaves_what_is_not_said(spray):
    spray.act(entries.add_sprayed, "spray", finish="lacquer", litres="0.5", minutes="10", days_ago=0.01)
    spray.act(entries.change_finish, "lacquer", ingredients="toluene 60-70\nsolids 25-40", isocyanate="")
    (sprayed,) = room_now(spray).sprayed
    assert sprayed.finish.fact.ingredients.startswith("toluene")
    assert sprayed.finish.fact.isocyanate is None  # taken back to "not read"
    assert sprayed.finish.fact.density_kg_m3 == pytest.approx(850.0)
    (spraying,) = finish_now.sprayings_of((sprayed,), spray.now_ms)
    assert spraying.mixture.ingredients[0].name == "toluene"
    assert spraying.start_s == pytest.approx(-864.0)
    assert spraying.liquid_m3 == pytest.approx(0.0005)


def test_of_two_who_correct_a_finish_at_once_the_second_is_told(spray):
    (held,) = shelf(spray)
    spray.act(entries.change_finish, "lacquer", name="First", supersedes=held.fact.id)
    told = refused(spray, Refused, entries.change_finish, "lacquer", name="Second", supersedes=held.fact.id)
    assert "has already changed this entry" in told


def test_a_finish_off_the_shelf_is_kept_and_can_be_put_back(spray):
    closed = spray.act(entries.close_finish, "lacquer")
    assert shelf(spray) == () and len(shelf(spray, closed=True)) == 1
    assert "off the shelf already" in refused(spray, Refused, entries.close_finish, "lacquer")
    assert "put it back before" in refused(spray, Refused, entries.change_finish, "lacquer", name="x")
    sprayed = {"finish": "lacquer", "litres": 1, "minutes": 5}
    assert "off the shelf by then" in refused(spray, Refused, entries.add_sprayed, "spray", **sprayed)
    spray.act(entries.add_sprayed, "spray", days_ago=1, **sprayed)  # while it still stood there
    spray.act(entries.undo, "finish", closed.fact_id)
    assert len(shelf(spray)) == 1


def test_a_finish_that_was_sprayed_is_not_taken_back_from_under_it(spray):
    (held,) = shelf(spray)
    made = spray.act(entries.add_sprayed, "spray", finish="lacquer", litres=1, minutes=5)
    told = refused(spray, Refused, entries.undo, "finish", held.fact.id)
    assert told == "The finish lacquer is in use: a spraying in spray rests on it."
    gone = spray.act(entries.undo, "spraying", made.fact_id)
    spray.act(entries.undo, "finish", held.fact.id)
    assert shelf(spray, closed=True) == ()
    assert "was taken back" in refused(spray, Refused, entries.undo, "spraying", gone.fact_id)


def test_codes_of_finishes_differ_by_more_than_capitals(spray):
    assert "already a finish called lacquer" in refused(spray, Refused, entries.add_finish, "LACQUER")
    assert "finish is nobody; accepted: lacquer" in refused(spray, BadInput, entries.close_finish, "nobody")


def test_a_gap_is_typed_as_a_difference_where_fahrenheit_is_chosen(yard):
    # NIST SP 811 (2008), B.8: of a difference 1 °F is 1/1.8 °C, without the 32
    shown = typed_units.in_units(Units("F", "in"))(Field("dew_gap_c", "", "number", "3", "C°"))
    assert (shown.value, shown.unit, shown.sent_in) == ("5.4", "°F", "F-apart 3")
    kept = typed_units.kept({"dew_gap_c": "9", "unit-dew_gap_c": "F-apart 3"})
    yard.act(entries.add_finish, "lacquer", **(SHEET | kept))
    assert shelf(yard)[0].fact.dew_gap_c == pytest.approx(5.0)
    assert typed_units.kept({"dew_gap_c": "5.4", "unit-dew_gap_c": "F-apart 3"}) == {"dew_gap_c": "3"}  # left as it was
    assert typed_units.kept({"dew_gap_c": "3 °C", "unit-dew_gap_c": "F-apart"}) == {"dew_gap_c": "3"}
    too_much = typed_units.kept({"dew_gap_c": "40", "unit-dew_gap_c": "F-apart"})
    told = refused(yard, BadInput, entries.change_finish, "lacquer", **too_much)
    assert told == "surface above the dew point is 40; accepted: 0 to 36 °F."


# --- rooms -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "volume_m3"),
    [
        ("42", 42.0),
        ("31,5 m³", 31.5),
        ("4.2 x 3 x 2.5 m", 31.5),
        ("4,2×3×2,5 m", 31.5),
        ("4,2 m × 3 × 2,5", 31.5),
        ("10 ft x 10 ft x 8 ft", 800 * 0.3048**3),  # the international foot of 0.3048 m: NIST SP 811 (2008), B.8
        ("1000 ft3", 28.316846592),  # NIST SP 811 (2008), B.8: 1 ft³ = 2.831 685 E-02 m³
        (20_000, 20_000.0),
    ],
)
def test_a_room_is_typed_as_a_volume_or_as_three_lengths(typed, volume_m3):
    assert room_figures.volume_m3(typed) == pytest.approx(volume_m3, rel=1e-9)


@pytest.mark.parametrize(
    "typed", ["", None, "1", "30000", "4 x 3", "4 x 3 x 0.1 m", "300 x 3 x 2 m", "-5", "nan", "big"]
)
def test_a_room_that_is_none_is_refused(typed):
    with pytest.raises(BadInput, match=r"room volume is .*; accepted: 2 to 20000 m³, or length × width × height"):
        room_figures.volume_m3(typed)


@pytest.mark.parametrize(
    ("typed", "flow_m3_s"),
    [
        ("", None),
        ("900", 0.25),
        ("900 m³/h", 0.25),
        ("0", 0.0),
        ("1000 cfm", 0.4719474),  # NIST SP 811 (2008), B.8: 1 ft³/min = 4.719 474 E-04 m³/s
    ],
)
def test_extraction_is_typed_in_an_hour_and_kept_in_a_second(typed, flow_m3_s):
    found = room_figures.extraction_m3_s(typed)
    assert found is None if flow_m3_s is None else math.isclose(found, flow_m3_s, rel_tol=1e-6)


def test_a_room_comes_back_with_its_figures_and_the_worst_mixing_where_nobody_said(spray):
    found = room_now(spray)
    assert found.room.volume_m3 == pytest.approx(31.5)
    assert found.room.extraction_m3_s == pytest.approx(0.25)
    assert found.room.extraction_known is r.ExtractionKnown.MEASURED
    assert found.room.mixing_factor == 10.0  # ACGIH, Industrial Ventilation: K from 3 to 10 (from memory)
    air = finish_now.room_air(found.place, found.room)
    # ISO 2533: 95 461 Pa at 500 m (from memory)
    assert (air.temperature_c, air.pressure_pa) == (20.0, pytest.approx(95_461, abs=5))
    assert "reckoned with 20 °C" in finish_now.temperature_said(found.place)
    spray.act(entries.say_finish_room, "spray", volume=40, extraction_known="measured", mixing_factor=3)
    now = room_now(spray).room
    assert (now.extraction_m3_s, now.extraction_known, now.mixing_factor) == (None, r.ExtractionKnown.UNSAID, 3.0)


def test_a_room_reckons_with_the_air_that_its_probes_tell(spray):
    spray.act(entries.add_probe, "door", topic="workshop/door", place="spray", acknowledged=True, days_ago=10)
    spray.log("door", 2, t=26.0, rh=50.0)
    found = room_now(spray)
    said_c = found.place.air.temperature_c
    air = finish_now.room_air(found.place, found.room)
    assert said_c <= air.temperature_c < said_c + 1.0 and said_c == pytest.approx(26.0, abs=3.1)
    assert f"reckoned with {air.temperature_c:.0f} °C, what its probes say now" in finish_now.temperature_said(
        found.place
    )
    assert air.extraction_measured


@pytest.mark.parametrize(
    ("act", "values"),
    [
        (entries.say_finish_room, {"volume": 40}),
        (entries.add_sprayed, {"finish": "lacquer", "litres": 1, "minutes": 5}),
        (entries.add_surface_reading, {"surface_c": 15, "what": "top"}),
    ],
)
def test_only_a_finish_room_is_one(spray, act, values):
    told = refused(spray, Refused, act, "room", **values)
    assert told == "The place room is not entered as a finish room; correct its kind first."


@pytest.mark.parametrize("mixing_factor", [2, 11, "x"])
def test_a_mixing_factor_outside_the_published_range_is_refused(spray, mixing_factor):
    told = refused(spray, BadInput, entries.say_finish_room, "spray", volume=40, mixing_factor=mixing_factor)
    assert told.startswith(f"mixing factor is {mixing_factor}; accepted: ") and "3 to 10" in told


# --- what was sprayed, and surfaces ----------------------------------------------------------------


def test_a_spraying_comes_back_and_extraction_counts_only_where_it_is_said(spray):
    made = spray.act(entries.add_sprayed, "spray", finish="LACQUER", litres="0,75", minutes="12")
    assert made.sentence == "Entered for spray: 0.75 litres of lacquer sprayed in 12 min, without extraction."
    spray.act(entries.add_sprayed, "spray", finish="lacquer", litres=1, minutes=5, extraction_on="yes")
    first, second = of_place(spray, r.Sprayed)
    assert (first.liquid_m3, first.duration_s, first.extraction_on) == (pytest.approx(0.00075), 720.0, False)
    assert second.extraction_on


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"litres": "0"}, "amount is 0; accepted: 0.01 to 200 litres."),
        ({"litres": "201"}, "amount is 201; accepted: 0.01 to 200 litres."),
        ({"minutes": "0.4"}, "minutes of spraying is 0.4; accepted: 0.5 to 600 min."),
        ({"minutes": "601"}, "minutes of spraying is 601"),
        ({"finish": ""}, "finish is empty; accepted: the code of a finish on the shelf."),
        ({"finish": "other"}, "finish is other; accepted: lacquer."),
    ],
)
def test_a_spraying_that_cannot_be_is_refused(spray, values, told):
    given_values = {"finish": "lacquer", "litres": 1, "minutes": 5} | values
    assert refused(spray, BadInput, entries.add_sprayed, "spray", **given_values).startswith(told)


def test_a_spraying_may_be_told_for_the_past_and_for_the_next_hour(spray):
    said = {"finish": "lacquer", "litres": 1, "minutes": 5}
    late = spray.now_ms + MS_PER_HOUR + MS_PER_MINUTE * 6
    assert "an hour ahead" in refused(spray, BadInput, entries.add_sprayed, "spray", true_at_ms=late, **said)
    soon = spray.act(entries.add_sprayed, "spray", true_at_ms=spray.now_ms + 50 * MS_PER_MINUTE, **said)
    past = spray.act(entries.add_sprayed, "spray", true_at_ms=spray.now_ms - 2 * MS_PER_HOUR, **said)
    spray.act(entries.add_sprayed, "spray", days_ago=12, sure=True, **said)
    assert [one.entry.id for one in room_now(spray).sprayed] == [past.fact_id, soon.fact_id]


def test_a_surface_comes_back_with_the_air_over_it(spray):
    read = {"surface_c": "14,5", "what": "top, its face", "air_c": 19, "rh_pct": 62}
    made = spray.act(entries.add_surface_reading, "spray", **read)
    assert made.sentence == "Entered for spray: top, its face at 14.5 °C, air 19 °C at 62 %RH."
    spray.act(entries.add_surface_reading, "spray", surface_c=-2, what="back", days_ago=1)
    surface = room_now(spray).surface
    assert (surface.surface_c, surface.what, surface.air_c, surface.rh_pct) == (14.5, "top, its face", 19.0, 62.0)


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"surface_c": "90"}, "surface temperature is 90; accepted: -30 to 80 °C."),
        ({"what": " "}, "what was measured is empty"),
        ({"air_c": 19}, "humidity is empty; accepted: both"),
        ({"rh_pct": 60}, "air temperature is empty; accepted: both"),
        ({"air_c": 19, "rh_pct": 101}, "humidity is 101; accepted: 0 to 100 %RH."),
        ({"true_at_ms": 4_000_000_000_000}, "time is"),
    ],
)
def test_a_surface_that_cannot_be_is_refused(spray, values, told):
    read = {"surface_c": 15, "what": "top"} | values
    assert refused(spray, BadInput, entries.add_surface_reading, "spray", **read).startswith(told)


# --- in the records --------------------------------------------------------------------------------


def test_every_kind_is_told_in_words_and_taken_back_and_put_back(spray):
    spray.act(entries.add_sprayed, "spray", finish="lacquer", litres=1, minutes=5)
    spray.act(entries.add_surface_reading, "spray", surface_c=15, what="top")
    kinds = {
        "finish": r.FinishFact,
        "finish-room": r.FinishRoom,
        "spraying": r.Sprayed,
        "surface": r.SurfaceReading,
        "acknowledgement": r.Acknowledged,
    }
    assert {kind: entries.UNDOABLE[kind] for kind in kinds} == kinds
    with spray.store.reading() as connection:
        names = entered.names_of(connection, spray.now_ms)
        held = {kind: facts.standing(connection, record)[-1] for kind, record in kinds.items()}
    told = {kind: entry_words.words(one, names) for kind, one in held.items()}
    assert told["finish"] == (
        "Invented spirit lacquer; by mass: ethanol 60-70 %; acetone <5; solids 25-40; density 850 kg/m³; flash point "
        "12.0 °C; dry to handle after 0.5 h; surface above the dew point 3.0 C°; at most 65 %RH; surface at least "
        "15.0 °C; isocyanate: no; formaldehyde: no; drying oil: no; sheet Invented sheet, 2 March 2026"
    )
    assert told["finish-room"] == "31.5 m³, extraction 900 m³/h (measured), mixing factor 10"
    assert told["spraying"] == "1 litres of lacquer sprayed in 5 min, without extraction"
    assert told["surface"] == "Top at 15 °C"
    assert told["acknowledgement"].startswith("Said of spray: Nothing that is not rated for it")
    for kind in ("spraying", "surface", "finish-room", "acknowledgement"):
        before = rows(spray)
        gone = spray.act(entries.undo, kind, held[kind].id)
        assert of_place(spray, kinds[kind]) == [] and rows(spray) > before
        spray.act(entries.undo, kind, gone.fact_id)
        assert len(of_place(spray, kinds[kind])) == 1


# --- commands --------------------------------------------------------------------------------------


def test_the_commands_enter_the_same(commanded):
    yard = commanded
    benchdry(yard, "place", "add", "spray", "--kind", "finish room", "--acknowledged")
    said = benchdry(
        *(yard, "finish", "add", "lacquer", "--name", "Invented lacquer", "--ingredient", "acetone 30-60"),
        *("--ingredient", "solids 40-70", "--density-kg-l", "0.9", "--isocyanate", "no", "--formaldehyde", "no"),
        *("--flash-c", "-17", "--dew-gap", "3", "--sheet", "Invented, 2026"),
    )
    assert "Finish lacquer is entered." in said and "undo: benchdry undo finish 1" in said
    benchdry(yard, "finish", "change", "lacquer", "--drying-oil", "no")
    benchdry(yard, "finish", "room", "spray", "4 x 3 x 2.5 m", "--m3-h", "1200", "--known", "printed on the fan")
    benchdry(yard, "finish", "sprayed", "spray", "lacquer", "0.4", "8", "--extraction")
    benchdry(yard, "finish", "surface", "spray", "14.5", "--what", "top", "--air-c", "18", "--rh", "60")
    found = room_now(yard)
    assert (found.room.volume_m3, found.room.extraction_known) == (30.0, r.ExtractionKnown.PRINTED)
    assert found.sprayed[0].entry.extraction_on and found.surface.surface_c == 14.5
    listed = benchdry(yard, "finish", "list")
    assert "lacquer" in listed and "−17.0 °C" in listed
    shown = benchdry(yard, "finish", "show", "lacquer")
    assert "acetone 30-60" in shown and "safety data sheet" in shown and "drying oil: no" in shown
    benchdry(yard, "finish", "close", "lacquer")
    assert "No finish is entered" in benchdry(yard, "finish", "list")
    assert "off the shelf" in benchdry(yard, "finish", "list", "--all")
    assert "is back on the shelf" in benchdry(yard, "finish", "reopen", "lacquer")
    assert "lacquer" in benchdry(yard, "finish", "list")
    asked = benchdry(yard, "finish", "room", "spray", "200", "--m3-h", "none", code=2)
    assert "say that you are sure" in asked
    assert "200 m³, no extraction" in benchdry(yard, "finish", "room", "spray", "200", "--m3-h", "none", "--sure")


def test_what_is_still_to_be_read_is_told_in_the_terminal(commanded):
    said = benchdry(commanded, "finish", "add", "hardener", "--ingredient", "HDI trimer <40", "--isocyanate", "yes")
    assert "Still to be read in its data sheet: whether it holds formaldehyde" in said
    assert "air-fed" in benchdry(commanded, "finish", "show", "hardener")
