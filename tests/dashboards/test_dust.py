"""The page of dust: nothing on it comforts, no limit is a default or hidden, no particle reading meets a limit."""

import html
import re
from dataclasses import fields, is_dataclass, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboards import entries, particles, situation, wood_warnings
from dashboards.answers import QUESTIONS
from dashboards.answers.records import Asked
from dashboards.pages import dust
from shared import tables
from shared.errors import BadInput
from shared.store import facts, readings
from shared.store.records import NewReading, ProbeFact, Quality, Quantity, TimeSource
from shared.tables import Region
from shared.tables.dust import Fraction, Standing
from shared.units import MS_PER_HOUR, MS_PER_MINUTE
from tests.dashboards.test_app import client_of, words_of

COMFORT = re.compile(r"\b(safe|safely|ok|okay|all clear|within the limit|under the limit|no risk)\b", re.IGNORECASE)
JUDGED = re.compile(r"\b(low|high|good|bad|clean|normal|elevated)\b", re.IGNORECASE)
BOARD = {"thickness_mm": 27, "width_mm": 190, "length_mm": 1500, "cut": "flat-sawn", "origin": "fresh-sawn"}


def shown(yard, path="/dust", **settings):
    answer = client_of(replace(yard, settings=replace(yard.settings, **settings))).get(path)
    assert answer.status_code == 200, answer.text[:400]
    return answer.text


def page_of(yard, region=Region.LOWEST):
    return dust.dust_page(situation.read(yard.store, yard.now_ms, yard.settings), region)


def section(text, name):
    return text[text.index(f'id="{name}"') :].split("</section>", 1)[0]


def add_wood(yard, code, species):
    yard.act(entries.add_board, code, species=species, place="shed", days_ago=10, **BOARD)


def hear(yard, minutes_ago, value, quantity=Quantity.PM2_5_UG_M3, quality=Quality.GOOD):
    with yard.store.writing() as connection:
        probe = next(one.subject_id for one in facts.standing(connection, ProbeFact) if one.name == "warm")
        series = readings.series_of(connection, probe, quantity)
        at_ms = yard.now_ms - minutes_ago * MS_PER_MINUTE
        readings.append(connection, [NewReading(series, at_ms, value, quality, TimeSource.PAYLOAD)], yard.now_ms)


# --- what can be said ------------------------------------------------------------------------------


def test_the_page_says_first_and_last_what_it_does_not_replace_and_no_better_word_than_not_shown(yard):
    text = words_of(shown(yard))
    page = page_of(yard)
    assert text.index(page.first_line) < text.index("NOT SHOWN TO BE UNDER CONTROL") < text.index(page.last_line)
    assert page.word == "NOT SHOWN TO BE UNDER CONTROL" and page.key == "not-shown"


def test_no_word_on_the_page_comforts_anybody(yard):
    add_wood(yard, "P1", "Liriodendron tulipifera")
    hear(yard, 3, 0.0)
    text = words_of(shown(yard))
    assert not COMFORT.search(text), COMFORT.search(text)
    assert len(re.findall("harmless", text)) == len(re.findall("[Nn]ot listed is not harmless", text))
    heard = words_of(section(shown(yard), "particles").split("<details", 1)[0])
    assert not JUDGED.search(heard.replace("a low figure says nothing", "")), heard


def test_what_to_do_before_is_never_folded(yard):
    text = shown(yard)
    before = section(text, "to-do").split("<details", 1)[0]
    for one in page_of(yard).before:
        assert html.escape(one.sentence, quote=False)[:40] in html.unescape(before).replace("\u2060", "")
    assert any("No dry sweeping" in one.sentence for one in page_of(yard).before)


# --- woods -----------------------------------------------------------------------------------------


def test_each_wood_of_the_yard_is_named_sensitisers_first_and_an_unlisted_one_is_not_passed_over(yard):
    add_wood(yard, "Y1", "Liriodendron tulipifera")
    add_wood(yard, "C1", "Dalbergia retusa")
    woods = page_of(yard).woods
    assert [one.warning.botanical_name for one in woods] == [
        "Dalbergia retusa",
        "Fraxinus americana",
        "Liriodendron tulipifera",
    ]
    assert woods[1].boards == "2 boards"
    assert not woods[-1].warning.listed and "not listed is not harmless" in woods[-1].warning.short
    text = shown(yard)
    assert all(f'id="{one.anchor}"' in text for one in woods)


def test_a_board_and_a_set_name_their_wood_and_lead_to_who_says_so(yard):
    yard.act(entries.add_set, "twins", days_ago=5)
    for code in ("A1", "A2"):
        yard.act(entries.put_in_set, code, set_code="twins", days_ago=5)
    for path in ("/board/A1", "/set/twins"):
        text = shown(yard, path)
        assert wood_warnings.line_of("Fraxinus americana") in words_of(text)
        assert 'href="/dust#fraxinus-americana"' in text


def test_every_timber_of_the_table_has_a_line_and_only_the_unlisted_say_that_nothing_is_listed():
    for name in tables.species():
        line = wood_warnings.line_of(name)
        listed = bool(tables.dust_harms(name, "").listed)
        assert line.endswith(".") and (wood_warnings.NOT_LISTED.lower() in line.lower()) is not listed, line


def test_a_source_that_names_a_genus_means_all_its_woods_and_one_that_names_a_wood_that_wood_alone():
    assert tables.dust_harms("Quercus petraea", "hardwood").listed  # no row of its own, and not in the species table
    koa = tables.dust_harms("Acacia koa", "hardwood")
    assert not koa.listed and {one.wood for one in koa.kin} == {"Acacia melanoxylon"}
    assert "Acacia melanoxylon is listed" in wood_warnings.line_of("Acacia koa")


def test_what_is_only_remembered_is_told_apart_from_what_was_read():
    walnut = wood_warnings.line_of("Juglans nigra")
    read, remembered = walnut.split("From memory: ")
    assert "classed as causing cancer" in read and "sensitiser" in remembered


def test_a_lot_of_a_wood_is_that_wood():
    assert tables.dust_harms("Thuja plicata, lot of 2024", "softwood") == tables.dust_harms("Thuja plicata", "softwood")


@given(st.text(max_size=40), st.sampled_from(["hardwood", "softwood", ""]))
def test_an_unknown_wood_never_has_less_said_of_it_than_that_all_wood_dust_harms(name, group):
    harms = tables.dust_harms(name, group)
    assert any(one.wood == "wood" for one in harms.of_all)
    assert group == "softwood" or any(one.wood == "hardwood" for one in harms.of_all)
    warning = wood_warnings.of_wood(name)
    assert warning.listed or warning.short.startswith(wood_warnings.NOT_LISTED)


# --- limits ----------------------------------------------------------------------------------------


def test_each_fraction_has_a_box_of_its_own_and_says_that_figures_are_not_comparable(yard):
    page, text = page_of(yard), words_of(shown(yard))
    assert [one.key for one in page.fractions] == [one.value for one in Fraction]
    assert "not comparable" in text and "none is a default" in text
    assert "<svg" not in section(shown(yard), "limits") and "<progress" not in shown(yard)


@pytest.mark.parametrize("region", [one.value for one in Region])
def test_a_region_marks_and_hides_nothing(yard, region):
    page = page_of(yard, Region(region))
    told = [line for group in page.fractions for line in (*group.limits, *group.gone)]
    assert len(told) == len(tables.dust_limits())
    marked = [line for line in told if line.here]
    assert len(marked) == sum(one.region == region for one in tables.dust_limits())
    text = words_of(shown(yard, limits_region=region))
    for one in tables.dust_limits():
        assert f"{one.value_mg_m3:g} mg/m³ {one.body}" in text
        assert one.source in text
    assert ("Region chosen" in text) is bool(marked)


def test_a_limit_says_its_year_its_standing_and_how_it_is_known(yard):
    text = words_of(shown(yard))
    for one in tables.dust_limits():
        assert f"{one.year[:1].upper()}{one.year[1:]}; {one.legal}." in text
    gone = [one for one in tables.dust_limits() if one.standing is Standing.GONE]
    assert text.count("Stands no more") == len(gone)
    (foretold,) = [one for one in tables.dust_limits() if one.standing is Standing.FORETOLD]
    in_sight = [line.figure for group in page_of(yard).fractions for line in group.limits if line.standing]
    assert in_sight == [f"{foretold.value_mg_m3:g} mg/m³"]  # a lower one is never folded for being only foretold


def test_limits_are_had_as_json(yard):
    assert '"fraction":"inhalable"' in shown(yard, "/api/dust/limits").replace(": ", ":")


# --- particle readings -----------------------------------------------------------------------------


def test_a_particle_reading_is_shown_with_its_age_and_what_it_cannot_tell(yard):
    hear(yard, 75, 12.0)
    hear(yard, 3, 31.4)
    (line,) = page_of(yard).particles
    assert line.figure == "31.4 µg/m³ PM2.5" and line.age == "3 min ago" and line.place == "room"
    assert line.change == "That was more than about an hour before (12.0)."
    text = words_of(section(shown(yard), "particles").split("<details", 1)[0])
    assert "under-reads the coarse dust of wood: a low figure says nothing" in text and "31.4 µg/m³ PM2.5" in text


@pytest.mark.parametrize(("now", "told"), [(12.0, "the same as"), (4.0, "less than")])
def test_a_change_is_told_as_a_fact_of_the_sensor(yard, now, told):
    hear(yard, 70, 12.0)
    hear(yard, 2, now)
    assert told in page_of(yard).particles[0].change


def test_without_a_good_reading_of_an_hour_before_no_change_is_told(yard):
    hear(yard, 70, 900.0, quality=Quality.OUT_OF_RANGE)
    hear(yard, 200, 12.0)
    hear(yard, 2, 5.0, Quantity.PM10_UG_M3)
    hear(yard, 2, 4.0)
    for line in page_of(yard).particles:
        assert line.change == "Nothing of the hour before to set beside it."


def test_a_sensor_that_fell_silent_is_not_shown_as_fresh(yard):
    hear(yard, 60 * 30, 3.0)
    (line,) = page_of(yard).particles
    (heard,) = particles.read(situation.read(yard.store, yard.now_ms, yard.settings))
    assert heard.silent and yard.now_ms - heard.newest.at_ms > 24 * MS_PER_HOUR
    assert line.age == "silent: said 30 h ago, nothing since"


@given(value=st.floats(0.0, 1e6))
def test_no_particle_reading_changes_the_word_or_meets_a_limit(value):
    """The record that shows a reading has no field for a limit, and the page's word does not depend on one."""
    assert {one.name for one in fields(dust.ParticleLine)} == {"probe", "link", "place", "figure", "age", "change"}
    line = dust.ParticleLine("p", "/probes#p", "shed", f"{value:.1f} µg/m³ PM2.5", "just now", "")
    assert "mg/m³" not in line.figure.replace("µg/m³", "")


# --- asked by name, and the records ----------------------------------------------------------------


def test_a_wood_asked_by_name_has_every_limit_and_every_source():
    found = QUESTIONS["dust"].answer(Asked({"species": "western redcedar"}, None))
    text = " ".join(f"{line.name} {line.value} {line.note}" for line in found.lines)
    for one in tables.dust_limits():
        assert one.body in text and f"{one.value_mg_m3:g} mg/m³" in text
    assert QUESTIONS["dust"].defers and "sensitiser" in found.sentence.lower()
    names = [line.name for line in found.lines if line.name.split(":")[0].lower() in {one.value for one in Fraction}]
    order = [list(Fraction).index(Fraction(name.split(":")[0].lower())) for name in names]
    assert order == sorted(order)  # figures of different fractions are never mixed


def test_an_unlisted_wood_asked_by_name_says_what_that_means():
    found = QUESTIONS["dust"].answer(Asked({"species": "Nyssa sylvatica"}, None))
    assert found.flags == (wood_warnings.NOT_LISTED,)


@pytest.mark.parametrize(
    ("typed", "botanical"),
    [
        ("iroko", "Milicia excelsa"),
        ("taxus baccata", "Taxus baccata"),
        ("Wenge", "Millettia laurentii"),
        ("yew", "Taxus baccata"),
        ("obeche", "Triplochiton scleroxylon"),
        ("makore", "Tieghemella heckelii"),
        ("Makoré", "Tieghemella heckelii"),
    ],
)
def test_a_wood_without_values_can_be_asked_about_and_a_name_of_several_is_asked_back(typed, botanical):
    found = QUESTIONS["dust"].answer(Asked({"species": typed}, None))
    assert found.band == botanical and not found.flags
    assert found.headline != botanical
    for unclear in ("sycamore", "no such wood"):
        with pytest.raises(BadInput, match="species"):
            QUESTIONS["dust"].answer(Asked({"species": unclear}, None))


def test_a_wood_that_is_not_known_is_asked_back_in_words_for_somebody_with_a_phone():
    with pytest.raises(BadInput, match="its name in the trade") as refused:
        QUESTIONS["dust"].answer(Asked({"species": "no such wood"}, None))
    assert "benchdry" not in str(refused.value)


@pytest.mark.parametrize("name", ["Khaya ivorensis", "Mansonia", "Khaya"])
def test_what_is_said_of_a_genus_does_not_hide_the_sensitiser_among_its_woods(name):
    """TRGS 907, annex 2: Khaya anthotheca and Mansonia altissima are sensitisers of the skin (from memory)."""
    assert "sensitiser" in wood_warnings.of_wood(name).short
    assert wood_warnings.grave(name)


def test_no_wood_has_its_botanical_name_printed_twice(yard):
    named = [one.botanical_name for one in tables.other_names()]
    for one in {*named, *tables.species()}:
        assert wood_warnings.of_wood(one).name != one, one


def test_sensitisers_stand_in_the_open_and_each_limit_under_a_line_that_tells_its_reach(yard):
    add_wood(yard, "C1", "Dalbergia retusa")
    add_wood(yard, "Y1", "Liriodendron tulipifera")
    text = shown(yard)
    open_part = re.sub(r"<details.*?</details>", "", section(text, "woods"), flags=re.DOTALL)
    assert "Cocobolo" in open_part and "poplar" not in open_part
    for group in page_of(yard).fractions:
        figures = [one.value_mg_m3 for one in tables.dust_limits() if one.fraction == group.key]
        stands = [float(line.figure.split()[0]) for line in group.limits]
        assert group.told.startswith(f"{min(stands):g}") and f"{len(stands)} limit" in group.told
        assert min(stands) == min(figures)  # nothing that stands no more is the lowest


def test_the_letters_of_each_body_are_explained(yard):
    told = " ".join(f"{word} {what}" for word, what in page_of(yard).letters)
    for body in {one.body for one in tables.dust_limits()} - {"OSHA rule of 1989", "EU binding limit"}:
        assert body.split()[-1] in told, body
    assert "remanded" in told and "not in force" in told


def test_a_board_fills_in_its_wood(yard):
    here = situation.read(yard.store, yard.now_ms, yard.settings)
    assert QUESTIONS["dust"].fill(here, {"board": "A1"}) == {"species": "Fraxinus americana"}


def test_each_field_of_its_records_says_what_it_is():
    records = [one for module in (dust, wood_warnings) for one in vars(module).values() if is_dataclass(one)]
    for record in records:
        if record.__module__ in (dust.__name__, wood_warnings.__name__):
            assert all(one.metadata.get("help") for one in fields(record)), record


@pytest.mark.parametrize("name", ["Acer saccharum", "Quercus alba", "Thuja plicata", "Cedrela odorata"])
def test_asthma_stands_in_the_headline_of_a_wood_that_is_named_for_it(name):
    """HSE, Toxic woods, Woodworking Sheet 30 (revision 1), table 2 (from memory): asthma of maple, oak, cedar."""
    assert "asthma" in wood_warnings.of_wood(name).short


def test_a_wood_that_is_not_named_for_asthma_is_not_told_to_be():
    assert "asthma" not in wood_warnings.of_wood("Fraxinus americana").short


def test_any_wood_is_said_to_cause_cancer_before_the_woods_are_told_apart(yard):
    """IARC Monographs volume 62, 1995, and volume 100C, 2012: wood dust, Group 1."""
    found = dust.dust_page(situation.read(yard.store, yard.now_ms, yard.settings), Region.LOWEST)
    assert "any wood" in found.any_wood.told and "Group 1" in found.any_wood.told and "IARC" in found.any_wood.source


def test_whoever_has_asthma_is_sent_to_a_doctor_before_any_wood_dust(yard):
    found = dust.dust_page(situation.read(yard.store, yard.now_ms, yard.settings), Region.LOWEST)
    assert any("asthma" in one.sentence and "doctor before any wood dust" in one.sentence for one in found.before)


def test_the_country_stands_beside_a_limit_whose_name_does_not_say_it(yard):
    found = dust.dust_page(situation.read(yard.store, yard.now_ms, yard.settings), Region.LOWEST)
    limits = [one for group in found.fractions for one in group.limits]
    british = {one.where for one in limits if one.body == "EH40 WEL"}
    assert british == {"Great Britain"}
