"""What is told of finish vapour: who is first, what is rounded which way, what to do, and what no figure answers."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiln import finish_told
from kiln.control import Control
from kiln.dilution import fire_air_m3_s
from kiln.finish_air import judge, refusal_of
from kiln.mixtures import Ingredient
from tests.kiln.finishes import (
    LACQUER,
    ROOM,
    THIN,
    coat,
    finish,
    listed,
    mixed,
    rooms,
    works,
)


def test_the_refusal_needs_no_room():
    assert refusal_of([]) is None
    assert refusal_of([LACQUER, THIN]) is None
    found = refusal_of([LACQUER, replace(THIN, name="two-component lacquer")])
    assert found is not None
    assert found == judge(ROOM, (coat(LACQUER), coat(replace(THIN, name="two-component lacquer")))).refused


@pytest.mark.parametrize(
    "parts", [[listed("water", 1.0, 1.0)], [listed("solids", 0.2, 0.4), listed("water", 0.5, 0.8)]]
)
def test_where_nothing_evaporates_nothing_can_be_said(parts):
    said = judge(ROOM, (coat(finish(*parts)),))
    assert said.control is Control.CANT_SAY
    assert "Nothing is entered that evaporates: read section 3 of the sheet." in said.unknowns
    assert said.not_before_s is None
    assert all(one.peak_share is None and one.at_most_share is None for one in said.against)
    assert (said.air_needed_health_m3_s, said.air_needed_fire_m3_s) == (None, None)


def test_a_film_that_can_be_touched_soon_counts_as_wet_for_half_an_hour():
    """Dry to handle after 3 minutes is no time when nothing is given off any more; the half hour is ours."""
    soon, later = (judge(ROOM, (coat(LACQUER, dry_after_s=one),)) for one in (180.0, 1800.0))
    assert soon.not_before_s == later.not_before_s
    assert soon.not_before_s >= 600.0 + 1800.0
    assert [one.at_most_share for one in soon.against] == [one.at_most_share for one in later.against]
    assert any("no less than 30 min" in text and "ours" in text for text in soon.beside)
    assert not any("no less than 30 min" in text for text in judge(ROOM, (coat(LACQUER, dry_after_s=7200.0),)).beside)


@pytest.mark.parametrize(("share", "over"), [(0.98, False), (0.99, False), (0.9901, True), (0.997, True), (1.0, True)])
def test_what_is_shown_as_all_of_a_limit_is_over(share, over):
    """The room is made as large as takes the first limit to just that share: what is shown is what is judged."""
    big = replace(ROOM, volume_m3=400.0, extraction_m3_s=None)
    held = judge(big, (coat(LACQUER),)).against[0]
    said = judge(replace(big, volume_m3=400.0 * held.at_most_share / share), (coat(LACQUER),)).against[0]
    assert said.at_most_share == pytest.approx(share, rel=1e-9)
    assert (said.control is Control.OVER) is over
    assert ("100 %" in said.sentence or "1.0 times" in said.sentence) is over


@pytest.mark.parametrize(
    ("share", "down", "up"),
    [
        (0.996, "99 % of it", "100 % of it"),
        (1.0, "1.0 times it", "100 % of it"),
        (4.19, "4.1 times it", "4.2 times it"),
        (12.9, "12 times it", "13 times it"),
    ],
)
def test_at_least_is_rounded_down_and_at_most_is_rounded_up(share, down, up):
    assert finish_told.share_words_down(share) == down
    assert finish_told.share_words(share) == up


def test_what_is_known_of_a_finish_is_told_as_at_least_so_much():
    blurred = replace(LACQUER, ingredients=(*LACQUER.ingredients, Ingredient("unheard-of", 0.1, 0.2, None)))
    said = judge(replace(ROOM, volume_m3=20.0), (coat(blurred),))
    at_least = [one for one in said.against if one.at_least]
    assert at_least
    for one in at_least:
        assert f"at least {finish_told.share_words_down(one.at_most_share)}" in one.sentence
        assert "at most" not in one.sentence


def test_isocyanates_that_nobody_looked_up_come_first_whatever_else_is_over():
    nothing_read = replace(LACQUER, isocyanate=None, formaldehyde=None, density_kg_m3=None)
    for room in (ROOM, replace(ROOM, volume_m3=50_000.0)):
        said = judge(room, (coat(LACQUER), coat(nothing_read, 900.0)))
        assert "isocyanate" in said.unknowns[0]
        assert "air-fed" in said.unknowns[0]
        assert said.unknowns[0] in said.headline
    assert judge(ROOM, (coat(nothing_read),)).control is Control.OVER


@pytest.mark.parametrize(
    "changed",
    [
        {"ingredients": (*THIN.ingredients, Ingredient("unheard-of", 0.0, 0.001, None))},
        {"ingredients": (listed("ethanol", 0.3, 0.5), listed("solids", 0.3, 0.49))},
    ],
)
def test_what_is_not_named_or_listed_may_be_an_isocyanate(changed):
    said = judge(ROOM, (coat(replace(THIN, **changed)),))
    assert any("may be an isocyanate" in text and "air-fed" in text for text in said.unknowns)
    assert not any("isocyanate" in text for text in judge(ROOM, (coat(THIN),)).unknowns)


def test_a_name_that_sounds_dry_is_told_how_to_be_entered():
    dry = replace(THIN, ingredients=(*THIN.ingredients, Ingredient("acrylic solids", 0.0, 0.1, None)))
    said = judge(ROOM, (coat(dry),))
    assert said.control is not Control.NOT_SHOWN
    assert any(
        "Write solids for resin and pigment that the sheet says do not evaporate" in text for text in said.unknowns
    )


def test_no_air_against_fire_is_given_while_something_explosive_is_over():
    over = judge(replace(ROOM, volume_m3=40.0), (coat(LACQUER),))
    assert over.against[0].peak_share < 1.0 <= over.against[0].at_most_share
    assert over.air_needed_fire_m3_s is None
    assert over.air_needed_health_m3_s > 0.0
    assert any("No air is worked out against fire" in text for text in over.beside)


@settings(max_examples=25, deadline=None)
@given(rooms, st.floats(1e-7, 1e-6), st.floats(60.0, 3600.0))
def test_the_air_against_fire_is_never_less_than_the_published_form_asks_for(room, liquid_m3, duration_s):
    """ACGIH, Industrial Ventilation: Q = 403 SG ER 100 Sf/(MW LEL B), Sf 12 at most (from memory)."""
    toluene = listed("toluene", 1.0, 1.0)
    said = judge(room, (coat(finish(toluene), duration_s=duration_s, liquid_m3=liquid_m3),))
    of = toluene.substance
    rate_kg_s = liquid_m3 * 900.0 / duration_s  # of the mixture's density
    published = fire_air_m3_s(
        rate_kg_s, of.molar_mass_kg_mol, of.lel_vol_fraction, 12.0, room.temperature_c, room.pressure_pa
    )
    assert said.air_needed_fire_m3_s > published > 0.0
    assert any("more cautious form" in text and "Sf = 12" in text for text in said.formula)
    assert any("25 °C" in text and "room's own temperature" in text for text in said.formula)


@settings(max_examples=25, deadline=None)
@given(works(), st.sampled_from([False, None, True]))
def test_the_acts_are_the_same_where_it_is_over_and_where_nobody_can_say(work, isocyanate):
    said = judge(*mixed(work, lambda one: replace(one, isocyanate=isocyanate)))
    assert (said.acts == finish_told.ACTS) is (said.control is not Control.NOT_SHOWN)


def test_the_acts_name_people_flames_switches_extraction_and_who_to_call():
    acts = " ".join(finish_told.ACTS)
    for words in ("Everybody out", "Flames", "switch", "do not switch it on from inside", "fire service", "calibrated"):
        assert words in acts


def test_a_mixing_factor_that_is_not_counted_on_is_said():
    worst = replace(ROOM, mixing_factor=10.0, mixing_said=3.0)
    assert any("The mixing factor 3" in text and "with 10" in text for text in judge(worst, (coat(LACQUER),)).beside)
    same = replace(worst, mixing_said=10.0)
    assert not any("The mixing factor" in text for text in judge(same, (coat(LACQUER),)).beside)


def test_chlorinated_solvents_and_what_goes_through_the_skin_are_told():
    stripper = finish(listed("dichloromethane", 0.6, 0.8), listed("methanol", 0.1, 0.2), listed("solids", 0.1, 0.2))
    beside = judge(ROOM, (coat(stripper),)).beside
    assert any(all(word in text for word in ("dichloromethane", "oxygen", "hearts", "phosgene")) for text in beside)
    assert any("through the skin" in text and "methanol" in text for text in beside)
    thin = judge(ROOM, (coat(THIN),)).beside
    assert not any("skin" in text or "phosgene" in text for text in thin)
    unread = finish(listed("Stoddard solvent", 0.5, 0.8), listed("solids", 0.2, 0.5))
    assert any("take it that it does" in text for text in judge(ROOM, (coat(unread),)).beside)
