"""The judgement of finish vapour: more of a harm, or knowing less, never lowers a warning; nothing clears a room."""

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from kiln.control import Control
from kiln.dilution import fire_air_m3_s, health_air_of_ppm_m3_s
from kiln.finish_air import concentration_of, judge
from kiln.finish_limits import limit_of
from kiln.mixtures import Ingredient
from kiln.vapour import ppm_from_mg_m3
from shared.errors import BadInput
from shared.tables import Average, Region, exposure_limits, find_substance, lowest_limit
from tests.kiln.finishes import (
    FORBIDDEN,
    LACQUER,
    ROOM,
    SEVERITY,
    THIN,
    coat,
    each_spraying,
    finish,
    listed,
    mixed,
    no_lower,
    regions,
    severity,
    texts,
    works,
)


@settings(max_examples=25, deadline=None)
@given(works(), st.floats(1.0, 20.0), regions)
def test_more_liquid_never_lowers_anything(work, times, region):
    more = each_spraying(work, liquid_m3=lambda one: min(10.0, one.liquid_m3 * times))
    no_lower(judge(*more, region), judge(*work, region))


@settings(max_examples=25, deadline=None)
@given(works(), st.floats(0.05, 1.0), st.floats(1.0, 3.0))
def test_a_smaller_room_less_extraction_and_worse_mixing_never_lower_anything(work, part, worse):
    room, sprayings = work
    before = judge(room, sprayings)
    no_lower(judge(replace(room, volume_m3=max(1.0, room.volume_m3 * part)), sprayings), before)
    less = None if room.extraction_m3_s is None else room.extraction_m3_s * part
    no_lower(judge(replace(room, extraction_m3_s=less), sprayings), before)
    no_lower(judge(replace(room, extraction_m3_s=None), sprayings), before)
    no_lower(judge(replace(room, mixing_factor=min(10.0, room.mixing_factor * worse)), sprayings), before)
    no_lower(judge(room, each_spraying(work, extraction_on=lambda _: False)[1]), before)


@settings(max_examples=25, deadline=None)
@given(works(most=1), st.floats(0.2, 1.0))
def test_a_higher_rate_never_lowers_anything(work, part):
    faster = each_spraying(work, duration_s=lambda one: max(1.0, one.duration_s * part))
    no_lower(judge(*faster), judge(*work))


@settings(max_examples=25, deadline=None)
@given(works(), st.floats(1.0, 5.0))
def test_longer_drying_or_none_known_never_lowers_anything(work, times):
    before = judge(*work)
    longer = each_spraying(work, dry_after_s=lambda one: None if one.dry_after_s is None else one.dry_after_s * times)
    no_lower(judge(*longer), before)
    no_lower(judge(*each_spraying(work, dry_after_s=lambda _: None)), before)


@settings(max_examples=20, deadline=None)
@given(works(), st.floats(60.0, 3600.0), st.floats(1e-6, 3e-3))
def test_another_coat_never_lowers_anything(work, duration_s, liquid_m3):
    room, sprayings = work
    on = [replace(one, extraction_on=True) for one in sprayings]  # one that starts the extraction may well lower it
    another = coat(sprayings[0].mixture, 12_000.0, duration_s, liquid_m3)
    no_lower(judge(room, (*on, another)), judge(room, on))


@settings(max_examples=25, deadline=None)
@given(works(), st.floats(0.0, 1.0), st.data())
def test_more_of_a_solvent_never_lowers_anything(work, share, data):
    """What is not known to be solids or water may be solvent: a wider range is worse, and so is solvent for solids."""
    which = data.draw(st.integers(0, len(work[1][0].mixture.ingredients) - 2))

    def wider(mixture):
        parts = list(mixture.ingredients)
        parts[which] = replace(parts[which], high=parts[which].high + share * (1.0 - parts[which].high))
        return replace(mixture, ingredients=tuple(parts))

    def exact(mixture, more=0.0):
        parts = [replace(one, high=one.low) for one in mixture.ingredients[:-1]]
        rest = 1.0 - sum(one.low for one in parts)
        parts[which] = replace(parts[which], low=parts[which].low + more * rest, high=parts[which].low + more * rest)
        rest = max(0.0, 1.0 - sum(one.low for one in parts))
        return replace(mixture, ingredients=(*parts, replace(mixture.ingredients[-1], low=rest * 0.999, high=1.0)))

    no_lower(judge(*mixed(work, wider)), judge(*work))
    no_lower(judge(*mixed(work, lambda one: exact(one, share * 0.9))), judge(*mixed(work, exact)))


@settings(max_examples=25, deadline=None)
@given(works(), st.floats(0.0, 0.05), st.floats(0.05, 1.0))
def test_an_unknown_ingredient_never_lowers_a_warning(work, low, high):
    before = judge(*work)
    assume(sum(one.low for one in work[1][0].mixture.ingredients) + low <= 1.0)
    unknown = Ingredient("an oil of ours", low, high, None)
    after = judge(*mixed(work, lambda one: replace(one, ingredients=(*one.ingredients, unknown))))
    assert severity(after.control) >= max(severity(before.control), severity(Control.CANT_SAY))
    over = {one.name for one in before.against if one.control is Control.OVER}
    assert over <= {one.name for one in after.against if one.control is Control.OVER}
    assert any("an oil of ours" in text for text in after.unknowns)
    assert after.not_before_s is None
    assert after.air_needed_health_m3_s is None
    assert after.air_needed_fire_m3_s is None


@settings(max_examples=25, deadline=None)
@given(works(), st.data())
def test_an_ingredient_turned_unknown_never_counts_as_nothing(work, data):
    """The answer is never milder than that for the others alone, and never "not shown to be under control"."""
    parts = work[1][0].mixture.ingredients
    which = data.draw(st.integers(0, len(parts) - 1))
    blind = tuple(replace(one, substance=None) if n == which else one for n, one in enumerate(parts))
    others = tuple(one for n, one in enumerate(parts) if n != which)
    after = judge(*mixed(work, lambda one: replace(one, ingredients=blind)))
    known = judge(*mixed(work, lambda one: replace(one, ingredients=others)))
    assert severity(after.control) >= max(severity(known.control), severity(Control.CANT_SAY))


@pytest.mark.parametrize(
    "changed",
    [
        {"isocyanate": None},
        {"formaldehyde": None},
        {"density_kg_m3": None},
        {"isocyanate": True},
        {"formaldehyde": True},
        {"ingredients": THIN.ingredients[:2]},
        {"ingredients": (*THIN.ingredients, Ingredient("ethyl unheard-of", 0.0, 0.001, None))},
    ],
)
def test_what_nobody_has_looked_up_is_never_taken_for_nothing(changed):
    big = replace(ROOM, volume_m3=5000.0, extraction_m3_s=50.0)
    assert judge(big, (coat(THIN, liquid_m3=1e-5),)).control is Control.NOT_SHOWN
    after = judge(big, (coat(replace(THIN, **changed), liquid_m3=1e-5),))
    assert after.control is Control.CANT_SAY
    assert after.not_before_s is None


@settings(max_examples=25, deadline=None)
@given(works(), regions)
def test_the_lowest_of_all_limits_is_the_strictest_choice(work, region):
    no_lower(judge(*work, Region.LOWEST), judge(*work, region))


@settings(max_examples=40, deadline=None)
@given(works(), regions, st.sampled_from([False, None, True]), st.booleans())
def test_no_words_clear_a_room(work, region, isocyanate, unlisted):
    def blurred(mixture):
        more = (Ingredient("unheard-of", 0.0, 0.1, None),) if unlisted else ()
        return replace(mixture, isocyanate=isocyanate, ingredients=(*mixture.ingredients, *more))

    said = judge(*mixed(work, blurred), region)
    for text in texts(said):
        assert not FORBIDDEN.search(re.sub("safety data sheet", "", text, flags=re.IGNORECASE)), text
    assert said.control in SEVERITY
    assert said.headline.startswith(("Over", "Can't say", "Not shown to be under control", "No amount of air"))


@settings(max_examples=40, deadline=None)
@given(works(), regions)
def test_plume_and_operator_stand_beside_every_answer(work, region):
    said = judge(*work, region)
    assert "plume" in said.beside[0]
    assert "wet surface" in said.beside[0]
    assert "not what the person at the gun breathes" in said.beside[1]
    assert any("calibrated instrument" in text for text in said.beside)
    assert all(one.source and one.status for one in said.against)


@settings(max_examples=25, deadline=None)
@given(works())
def test_before_the_time_that_is_said_something_may_be_over(work):
    room, sprayings = work
    said = judge(room, sprayings)
    if said.not_before_s is None:
        assert "No time can be said" in said.not_before_why
        return
    assert said.not_before_s >= max(one.end_s + one.dry_after_s for one in sprayings)
    assert "Not before then" in said.not_before_why
    assert "calibrated instrument" in said.not_before_why


@pytest.mark.parametrize("changed", [{"dry_after_s": None}, {"extraction_on": False}])
def test_without_drying_time_or_extraction_no_time_is_said(changed):
    said = judge(ROOM, (replace(coat(LACQUER), **changed),))
    assert said.not_before_s is None
    assert said.not_before_why.startswith("No time can be said")


@pytest.mark.parametrize("refused", [{"isocyanate": True}, {"formaldehyde": True}])
def test_of_what_air_does_not_answer_no_figure_is_given(refused):
    said = judge(ROOM, (coat(replace(LACQUER, **refused)), coat(THIN, 900.0)))
    assert said.refused is not None
    assert said.refused.sentence in said.headline
    assert said.control is Control.OVER  # the lacquer's solvents alone are, and that is still said
    assert said.against
    for one in said.against:
        assert one.peak_share is None
        assert one.at_most_share is None
        assert not re.search(r"\d+ %|\d times", one.sentence.replace(one.name, ""))
    figures = (said.not_before_s, said.air_needed_health_m3_s, said.air_needed_fire_m3_s)
    assert figures == (None, None, None)
    assert all(len(one) == 0 for one in (said.times_s, said.as_sprayed_lel, said.at_most_lel, said.as_sprayed_mg_m3))
    assert said.formula == ()


def test_a_refused_finish_whose_solvents_pass_nothing_can_still_not_be_said():
    big = replace(ROOM, volume_m3=50_000.0)
    said = judge(big, (coat(replace(THIN, isocyanate=True), liquid_m3=1e-6),))
    assert said.control is Control.CANT_SAY
    assert said.against == ()


def test_a_known_part_that_is_over_is_told_as_at_least():
    blurred = replace(LACQUER, ingredients=(*LACQUER.ingredients, Ingredient("unheard-of", 0.1, 0.2, None)))
    said = judge(replace(ROOM, volume_m3=20.0), (coat(blurred),))
    assert said.control is Control.OVER
    assert said.at_least
    assert len(said.times_s)
    assert "What is not known comes on top" in said.headline
    assert all(one.at_least for one in said.against if one.explosive and one.control is Control.OVER)


def test_what_is_not_known_leaves_the_known_its_worst():
    """Half of the finish is nobody's guess; the sheet still allows nine tenths of toluene, for the guess may be it."""
    toluene, unknown = listed("toluene", 0.0, 0.9), Ingredient("unheard-of", 0.5, 0.9, None)
    before = judge(ROOM, (coat(finish(toluene, listed("solids", 0.1, 1.0))),)).against
    after = judge(ROOM, (coat(finish(toluene, unknown)),)).against
    alone = {one.name: one.at_most_share for one in before if one.name.startswith("toluene")}
    assert alone
    assert {one.name: one.at_most_share for one in after if one.name.startswith("toluene")} == pytest.approx(alone)


def test_a_limit_that_could_not_be_said_gives_no_share():
    blurred = replace(THIN, ingredients=(*THIN.ingredients, Ingredient("unheard-of", 0.0, 0.2, None)))
    said = judge(replace(ROOM, volume_m3=5000.0), (coat(blurred, liquid_m3=1e-5),))
    together = [one for one in said.against if one.explosive or "all vapours" in one.name]
    assert all(one.control is Control.CANT_SAY and one.at_most_share is None for one in together)
    assert len(said.at_most_lel) == 0


def test_a_solvent_without_an_explosive_limit_is_unknown_and_not_nought():
    strange = Ingredient("toluene", 0.01, 0.02, replace(find_substance("toluene"), lel_vol_fraction=None))
    said = judge(ROOM, (coat(finish(strange, listed("water", 0.9, 1.0)), liquid_m3=1e-6),))
    assert all(one.control is Control.CANT_SAY for one in said.against if one.explosive)
    assert any("no explosive limit is listed" in text for text in said.unknowns)


def test_a_solvent_without_limits_of_breathed_air_is_unknown_and_not_nought():
    strange = replace(find_substance("toluene"), cas="0-00-0")
    said = judge(ROOM, (coat(finish(Ingredient("ours", 0.01, 0.02, strange), listed("water", 0.9, 1.0))),))
    assert any("limit of breathed air" in text and "ours" in text for text in said.unknowns)
    assert next(one for one in said.against if one.name == "ours, any limit").control is Control.CANT_SAY


def test_the_greatest_15_minute_mean_is_that_of_the_curve():
    """Toluene at the worst that the sheet allows, 30 % by mass of 900 kg/m³, minute by minute against its limit."""
    sprayings = (coat(LACQUER), coat(LACQUER, 1500.0))
    row = next(one for one in judge(ROOM, sprayings).against if one.name == "toluene, 15-minute limit")
    only = [replace(one, mixture=finish(listed("toluene", 0.3, 0.3), listed("solids", 0.7, 0.7))) for one in sprayings]
    seconds = concentration_of(ROOM, only, late=False).at(np.arange(0.0, 20_000.0))
    greatest_mg_m3 = np.convolve(seconds, np.ones(900) / 900.0, mode="valid").max()
    greatest_ppm = ppm_from_mg_m3(greatest_mg_m3, 0.09214, ROOM.temperature_c)
    limits = [one for one in exposure_limits("108-88-3") if one.average is Average.SHORT and one.stands]
    shares = [greatest_ppm / one.ppm for one in limits if one.ppm]
    shares += [greatest_mg_m3 / one.mg_m3 for one in limits if one.mg_m3]
    assert row.peak_share == pytest.approx(max(shares), rel=1e-3)
    assert row.basis_text.startswith(f"highest {Average.SHORT}")


def test_late_drying_is_counted_as_over_and_said_so():
    said = judge(replace(ROOM, volume_m3=40.0), (coat(LACQUER),))
    row = said.against[0]
    assert row.peak_share < 1.0 <= row.at_most_share
    assert row.control is Control.OVER
    assert "if it comes off late" in row.sentence


@pytest.mark.parametrize(
    ("mixture", "said"),
    [
        (LACQUER, "4.0 °C (toluene), lies below the room's 20.0 °C"),
        (finish(listed("2-butoxyethanol", 0.1, 0.1), listed("water", 0.9, 0.9)), "That takes no caution away"),
        (finish(listed("water", 1.0, 1.0)), "Spray mist burns below the flash point"),
        (finish(Ingredient("unheard-of", 1.0, 1.0, None)), "it counts as below the room"),
    ],
)
def test_the_flash_point_adds_a_caution_and_takes_none_away(mixture, said):
    told = judge(ROOM, (coat(mixture),))
    assert said in told.flash
    assert any("mist burns below the flash point" in text for text in told.beside)


def test_the_sheets_own_flash_point_counts_where_it_is_lower():
    told = judge(ROOM, (coat(replace(LACQUER, flash_point_c=-5.0)),))
    assert "-5.0 °C (data sheet)" in told.flash
    told = judge(ROOM, (coat(replace(LACQUER, flash_point_c=60.0)),))
    assert "4.0 °C (toluene)" in told.flash


def test_extraction_that_nobody_measured_is_said():
    assert any("not measured" in text for text in judge(ROOM, (coat(LACQUER),)).beside)
    measured = judge(replace(ROOM, extraction_measured=True), (coat(LACQUER),))
    assert not any("not measured" in text for text in measured.beside)
    none = judge(replace(ROOM, extraction_m3_s=None), (coat(LACQUER),))
    assert any("No extraction is known" in text for text in none.beside)


def test_the_air_needed_is_that_of_the_published_formulas():
    """A decilitre in ten minutes, 30 % of it toluene, by the formulas for one vapour at K = 5; for fire Sf = 5/0.10."""
    toluene = find_substance("toluene")
    mixture = finish(listed("toluene", 0.3, 0.3), listed("solids", 0.7, 0.7))
    guns = (coat(mixture, liquid_m3=1e-4), coat(mixture, 300.0, liquid_m3=1e-4))  # two at a time for half of it
    said = judge(ROOM, guns, Region.GB)
    rate_kg_s = 2.0 * 1e-4 * 900.0 * 0.3 / 600.0
    fire = fire_air_m3_s(rate_kg_s, toluene.molar_mass_kg_mol, toluene.lel_vol_fraction, 50.0, 20.0, 101_325.0)
    assert said.air_needed_fire_m3_s == pytest.approx(fire)
    limit = lowest_limit(toluene.cas, Average.TWA, Region.GB)
    health = health_air_of_ppm_m3_s(rate_kg_s, toluene.molar_mass_kg_mol, limit.ppm, 5.0, 20.0, 101_325.0)
    assert said.air_needed_health_m3_s == pytest.approx(health, rel=0.03)  # ppm and mg/m³ of a limit differ at 20 °C
    assert said.air_needed_health_m3_s >= health * (1.0 - 1e-9)


@pytest.mark.parametrize("region", [one for one in Region if one is not Region.LOWEST])
def test_the_limit_of_the_chosen_region_counts_where_it_has_one(region):
    toluene = find_substance("toluene")
    counted = limit_of(toluene, Average.TWA, region, ROOM)
    own = lowest_limit(toluene.cas, Average.TWA, region)
    if own is None:
        assert "stands in" in counted.note
    else:
        assert counted.limit == own
        assert counted.note == ""


def test_curves_run_as_long_as_asked_and_at_most_lies_above():
    said = judge(ROOM, (coat(LACQUER),), hours=4.0)
    assert said.times_s[0] == 0.0
    assert said.times_s[-1] == 4.0 * 3600.0
    assert np.all(said.at_most_lel >= said.as_sprayed_lel - 1e-12)
    assert np.all(said.at_most_mg_m3 >= said.as_sprayed_mg_m3 - 1e-9)


@pytest.mark.parametrize(
    ("ask", "named"),
    [
        (lambda: judge(ROOM, ()), "sprayings is empty"),
        (lambda: judge(ROOM, (coat(LACQUER),), hours=0.0), "hours is 0"),
        (lambda: judge(ROOM, (coat(LACQUER),), hours=float("nan")), "hours is nan"),
    ],
)
def test_bad_input_is_named(ask, named):
    with pytest.raises(BadInput, match=named):
        ask()
