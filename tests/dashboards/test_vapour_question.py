"""Vapour and a solvent as questions: asked without storing anything, of a finish on the shelf or of a typed sheet."""

import re

import pytest

from dashboards import safety
from dashboards.answers import QUESTIONS
from dashboards.answers.records import Asked
from kiln import finish_told
from kiln.vapour import ppm_from_mg_m3
from shared.errors import BadInput
from shared.settings import Settings
from shared.store import condition
from shared.tables import Region, exposure_limits, find_substance, substances
from tests.dashboards import finish_yards
from tests.dashboards.commands import benchdry
from tests.dashboards.test_app import client_of, shown

TYPED = {
    "ingredients": "acetone 30-60\nn-butyl acetate 10-30\nsolids 30",
    "density_kg_l": "0.92",
    "isocyanate": "no",
    "formaldehyde": "no",
    "dry_after_h": "0.5",
    "litres": "1",
    "minutes": "15",
    "volume": "4 x 3 x 2.5 m",
    "extraction": "600",
    "extraction_on": "yes",
}


def ask(question, yard=None, /, **typed):
    return QUESTIONS[question].answer(Asked(typed, finish_yards.now(yard) if yard is not None else None))


@pytest.fixture
def client(yard):
    return client_of(yard)


def entries_of(yard):
    with yard.store.reading() as connection:
        return condition.entries(connection)


# --- vapour ----------------------------------------------------------------------------------------


def test_a_sheet_as_typed_is_answered_as_the_page_of_a_room_would():
    found = ask("vapour", **TYPED)
    assert found.headline == "OVER"
    assert found.vapour.over and found.vapour.drawing
    assert found.beside == found.vapour.beside and len(found.beside) == 2
    assert any("30 m³; extraction 600 m³/h, not measured" in text for text in found.flags)


def test_a_finish_and_a_room_of_the_yard_bring_their_own_figures_and_nothing_is_stored(yard):
    finish_yards.shelved(finish_yards.room(yard, **finish_yards.SMALL), "lacquer", finish_yards.LACQUER)
    before = entries_of(yard)
    asked = {"finish": "lacquer", "place": "spray", "litres": "1", "minutes": "20", "extraction_on": "yes"}
    found = ask("vapour", yard, **asked)
    assert any("30 m³; extraction 600 m³/h, measured" in text for text in found.flags)
    assert any("1 litres of Invented lacquer in 20 min" in text for text in found.flags)
    finish_yards.sprayed(yard, "lacquer")
    smaller = ask("vapour", yard, **asked, volume="12.5")
    assert any("12.5 m³; extraction 600 m³/h" in text for text in smaller.flags), "what is typed counts if it is worse"
    assert entries_of(yard) == before + 1


def test_what_was_sprayed_in_the_room_already_is_in_the_air_that_is_asked_about(yard):
    finish_yards.shelved(finish_yards.room(yard, **finish_yards.SMALL), "lacquer", finish_yards.LACQUER)
    asked = {"finish": "lacquer", "place": "spray", "litres": "0.01", "minutes": "5", "extraction_on": "yes"}
    alone = ask("vapour", yard, **asked)
    assert not alone.vapour.first
    finish_yards.sprayed(yard, "lacquer", minutes_ago=30)
    on_top = ask("vapour", yard, **asked)
    first = on_top.vapour.first
    assert re.match(r"The room as it is, before any of this: OVER\.", first[0]) and finish_told.ACTS[0] in first[0]
    assert re.match(r"Reckoned on top of 1 litres sprayed here since ", first[1])
    assert on_top.flags[:2] == first
    assert on_top.headline == "OVER" and len(on_top.vapour.sprayed) == 2
    tenth = [next(line for line in one.lines if "10 % of the lower" in line.name) for one in (alone, on_top)]
    least, most = (float(re.search(r"([\d.]+) %", one.value).group(1)) for one in tenth)
    assert most > 3 * least


def test_whose_limits_count_and_that_a_figure_is_from_memory_stands_beside_it(yard):
    found = ask("vapour", **TYPED)
    breathed = next(one for one in found.vapour.figures if "breathed" in one.name)
    assert "the lowest of all listed" in breathed.note and "from memory" in breathed.note
    yard.settings = Settings(limits_region="GB")
    british = ask("vapour", yard, **TYPED)
    assert Region("GB").label in next(one for one in british.vapour.figures if "breathed" in one.name).note


def test_extraction_may_be_none_and_a_mixing_factor_is_said_not_to_count():
    found = ask("vapour", **TYPED | {"extraction": "none", "mixing_factor": "3"})
    assert found.headline == "OVER"
    assert any("3 that was entered is not counted on" in text for text in found.flags)
    assert "10 whatever is entered" in next(
        one.hint for one in QUESTIONS["vapour"].fields if one.key == "mixing_factor"
    )


def test_a_refused_question_names_its_field_on_top_and_leads_to_it(yard, client):
    page = shown(client, "/work-out/vapour", 422, **TYPED | {"litres": "lots"})
    top = page[page.index("<h1") : page.index('class="decides"')]
    assert "lots" in top and 'href="#vapour-litres"' in top and 'role="alert"' in top
    assert 'id="vapour-litres"' in page


@pytest.mark.parametrize("key", ["ingredients", "density_kg_l", "flash_point_c", "dry_after_h"])
def test_the_sheet_of_a_finish_on_the_shelf_cannot_be_typed_over(yard, key):
    finish_yards.shelved(finish_yards.room(yard, **finish_yards.SMALL), "lacquer", finish_yards.LACQUER)
    typed = {"finish": "lacquer", "place": "spray", "litres": "1", "minutes": "5", key: TYPED.get(key, "20")}
    with pytest.raises(BadInput, match="its sheet counts"):
        ask("vapour", yard, **typed)


def test_what_was_not_said_of_a_sheet_is_unknown_and_no_figure_is_large():
    typed = {key: value for key, value in TYPED.items() if key not in ("isocyanate", "formaldehyde")}
    found = ask("vapour", **typed | {"litres": "0.01", "volume": "5000"})
    assert found.headline == "CAN'T SAY"
    assert any("isocyanate" in text for text in found.flags)
    assert found.band == "no figure is given"


def test_a_small_amount_in_a_hall_is_told_without_a_large_figure_and_without_leave():
    found = ask("vapour", **TYPED | {"litres": "0.02", "volume": "10000", "extraction": "100000"})
    assert found.headline == "NOT SHOWN TO BE UNDER CONTROL"
    assert re.search(r"of the lower explosive limit \(lel\) (?:under|up to)", found.band)
    assert found.next_step.startswith("Only a test tells; the hour alone gives no leave. Not before ")
    assert found.next_step.endswith("then test with a calibrated instrument.")
    assert "after spraying begins" in found.next_step


def test_a_refused_finish_is_refused_here_too():
    found = ask("vapour", **TYPED | {"isocyanate": "yes"})
    assert found.vapour.refused is not None
    assert "air-fed" in found.sentence
    assert not any(re.search(r"times|%  of the limit|m³/h", one.value) for one in found.lines)


def test_an_unstated_extraction_counts_as_none():
    typed = {key: value for key, value in TYPED.items() if key != "extraction"}
    found, off = ask("vapour", **typed), ask("vapour", **TYPED | {"extraction_on": "no"})
    assert found.vapour.figures == off.vapour.figures
    assert any("counted as none" in text for text in found.flags)


def test_whose_limits_count_is_the_yards_setting(yard):
    typed = TYPED | {"ingredients": "n-butyl acetate 50\nsolids 50"}
    lowest = ask("vapour", yard, **typed)
    yard.settings = Settings(limits_region="GB")
    british = ask("vapour", yard, **typed)
    eight = [next(one for one in made.lines if "8-hour limit" in one.name) for made in (lowest, british)]
    limits = [one for one in exposure_limits(find_substance("n-butyl acetate").cas) if one.region == "GB"]
    assert eight[0].value != eight[1].value
    assert any("EH40" in one.note for one in british.lines) and limits


def test_the_page_keeps_lines_as_they_were_typed_and_says_who_decides_before_anything_is_asked(yard, client):
    empty = shown(client, "/work-out/vapour")
    assert safety.FIRST_LINE in empty and safety.LAST_LINE in empty
    page = shown(client, "/work-out/vapour", **TYPED)
    assert re.search(r"<textarea[^>]*>\s*acetone 30-60\nn-butyl acetate 10-30\nsolids 30</textarea>", page)
    assert page.index(safety.FIRST_LINE) < page.index('class="control-word">OVER') < page.rindex(safety.LAST_LINE)
    assert "vapour-chart" in page and "The drawing as a table" in page
    word, plume = (page.index(one) for one in ('class="control-word">OVER', "whatever the mean of the room says"))
    assert word < plume < page.index('class="doing"'), "the first screen has both"
    wrong = shown(client, "/work-out/vapour", 422, **TYPED | {"ingredients": "acetone 30-60\nthinner, some"})
    assert "ingredients line 2 is thinner, some" in wrong
    assert 'class="control-word"' not in wrong


def test_the_shelf_and_the_rooms_stand_as_choices(yard, client):
    finish_yards.shelved(finish_yards.room(yard, **finish_yards.SMALL), "lacquer", finish_yards.LACQUER)
    page = shown(client, "/work-out/vapour?place=spray")
    assert '<option value="lacquer">Invented lacquer</option>' in page
    assert '<option value="spray" selected>' in page
    refused = shown(client, "/work-out/vapour", 422, place="shed", finish="lacquer", litres="1", minutes="5")
    assert "a place that is entered as a finish room" in refused


def test_the_command_answers_with_both_lines_and_both_sentences(yard):
    finish_yards.shelved(finish_yards.room(yard, **finish_yards.SMALL), "lacquer", finish_yards.LACQUER)
    (yard.folder / "benchdry.toml").write_text('store = "yard.sqlite3"\n', encoding="utf-8")
    asked = ("--finish", "lacquer", "--place", "spray", "--litres", "1", "--minutes", "20", "--extraction-on", "yes")
    said = " ".join(benchdry(yard, "work-out", "vapour", *asked).split())
    assert said.startswith(" ".join(safety.FIRST_LINE.split())) and said.endswith(safety.LAST_LINE)
    assert "OVER" in said
    assert said.count("the explosive limit whatever the mean of the room says") >= 2, "above the figures and below them"
    sheet = ("--ingredients", "acetone 60; water 40", "--litres", "1", "--minutes", "5", "--volume", "30 m3")
    assert "Nobody has said whether it holds isocyanate" in benchdry(yard, "work-out", "vapour", *sheet)


# --- a solvent -------------------------------------------------------------------------------------


# NIOSH Pocket Guide to Chemical Hazards, 2007: conversion factors at 25 °C, printed to two or three digits.
@pytest.mark.parametrize(
    ("name", "mg_m3_per_ppm"),
    [("ethanol", 1.89), ("isopropyl alcohol", 2.46), ("toluene", 3.77), ("acetone", 2.38), ("n-butyl acetate", 4.75)],
)
def test_ppm_and_mg_m3_as_the_pocket_guide_converts_them(name, mg_m3_per_ppm):
    headline = ask("substance", name=name, ppm="100").headline
    mg_m3 = float(re.search(r"= ([\d.,]+) mg", headline).group(1).replace(",", ""))
    assert mg_m3 / 100 == pytest.approx(mg_m3_per_ppm, abs=0.011)  # both are rounded to the second decimal


def test_a_tenth_of_the_explosive_limit_is_what_the_pocket_guide_calls_dangerous():
    # NIOSH, IDLH values set at 10 % of the LEL: isopropyl alcohol 2000 ppm, acetone 2500 ppm.
    for name, ppm in (("isopropyl alcohol", "2,000 ppm"), ("acetone", "2,500 ppm")):
        assert next(one.value for one in ask("substance", name=name).lines if one.name == "10 % of it") == ppm


def test_every_limit_stands_with_body_year_and_how_it_is_known_the_withdrawn_last():
    for one in substances():
        if not one.gives_vapour:
            continue
        found = ask("substance", name=one.cas or one.name)
        listed = exposure_limits(one.cas)
        lines = [line for line in found.lines if any(line.name.startswith(limit.body) for limit in listed)]
        assert len(lines) == len(listed), one.name
        for limit in listed:
            body = f"{limit.body}, {limit.region} ({limit.year})"
            mine = [each for each in lines if each.name.startswith(body) and limit.source in each.note]
            assert mine, limit
            assert limit.status == "published" or any(limit.status in f"{each.note}{limit.source}" for each in mine)
        standing = [not re.match("withdrawn|vacated|replaced", line.note) for line in lines]
        assert standing == sorted(standing, reverse=True), one.name


def test_what_is_above_a_limit_is_over_and_what_is_below_is_not_shown_to_be_under_control():
    lines = ask("substance", name="toluene", ppm="100").lines
    assert lines[0].name == "OVER" and lines[1].name == "NOT SHOWN TO BE UNDER CONTROL"
    assert all(one.name != "OVER" for one in ask("substance", name="toluene", ppm="0.1").lines)


def test_mg_m3_typed_comes_back_as_ppm():
    found = ask("substance", name="toluene", mg_m3="377", temperature_c="25")
    assert found.headline == f"OVER: {ppm_from_mg_m3(377.0, 0.09214):.3g} ppm = 377 mg/m³"
    assert found.key == "over"


@pytest.mark.parametrize("t_c", ["0", "20", "25", "40"])
def test_at_exactly_the_limit_it_is_over_and_says_so(t_c):
    """Toluene, 8 CCR 5155: 10 ppm (from memory); warm air thins the milligrams, and makes no limit higher."""
    found = ask("substance", name="toluene", ppm="10", temperature_c=t_c)
    assert found.headline.startswith("OVER: 10 ppm")
    assert found.lines[0].name == "OVER"
    butanol = ask("substance", name="n-butanol", ppm="20")  # ACGIH, 2002: 20 ppm and no mg/m³ (from memory)
    assert (butanol.lines[0].name, butanol.lines[0].value) == ("OVER", "at the limit")
    assert not ask("substance", name="toluene", ppm="0.1").headline.startswith("OVER")


def test_a_cut_of_petroleum_is_converted_so_as_to_err_high_both_ways():
    """VM&P naphtha: 87 to 114 g/mol (NIOSH Pocket Guide, 2007, from memory); 24.47 l/mol at 25 °C."""
    up = ask("substance", name="VM&P naphtha", ppm="50").headline
    assert float(re.search(r"= ([\d.]+) mg", up).group(1)) == pytest.approx(50 * 114 / 24.47, rel=0.005)
    back = ask("substance", name="VM&P naphtha", mg_m3="100").headline
    assert float(re.search(r"([\d.]+) ppm", back).group(1)) == pytest.approx(100 * 24.47 / 87, rel=0.005)
    assert "errs high" in up and "errs high" in back
    assert "errs high" not in ask("substance", name="toluene", ppm="1").headline


@pytest.mark.parametrize(
    ("name", "word"), [("toluene", "yes: air alone"), ("acetone", "not marked"), ("Stoddard solvent", "not known")]
)
def test_whether_it_goes_through_the_skin_is_told(name, word):
    line = next(one for one in ask("substance", name=name).lines if one.name == "Through the skin")
    assert word in line.value
    assert bool(line.note) is ("not known" not in word)


def test_what_niosh_recommends_is_told_as_a_mean_of_up_to_ten_hours():
    lines = ask("substance", name="toluene").lines
    assert all(("10 hours" in one.name) is ("15-minute" not in one.name) for one in lines if "NIOSH" in one.name)
    assert any("NIOSH" in one.name for one in lines)


@pytest.mark.parametrize("name", ["petrified moonlight", "water"])
def test_what_is_not_listed_or_gives_no_vapour_is_no_clearance(name):
    found = ask("substance", name=name)
    assert found.headline == "CAN'T SAY"
    assert re.search("does not mean that there is no harm|may come to harm", found.sentence)
    assert found.beside


@pytest.mark.parametrize("name", ["HDI trimer", "formaldehyde", "4,4'-diphenylmethane diisocyanate"])
def test_isocyanates_and_formaldehyde_have_no_figure(name):
    found = ask("substance", name=name)
    assert found.headline == "CAN'T SAY"
    assert not found.lines
    assert "air-fed" in found.sentence or "licensed" in found.sentence


@pytest.mark.parametrize("name", QUESTIONS)
def test_no_answer_to_what_can_hurt_reads_as_leave(name):
    if not QUESTIONS[name].defers:
        return
    words = (QUESTIONS[name].lead, QUESTIONS[name].title, *(one.hint for one in QUESTIONS[name].fields))
    for text in words:
        assert not re.search(r"\b(safe|safely|ok|okay|you may)\b", text, re.IGNORECASE), text
