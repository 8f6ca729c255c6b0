"""The vapour of a finish room in words and as a drawing: what is over, what is not known, and never a comfort."""

import re
from dataclasses import fields, is_dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboards import display, entries, finish_now, share_words, vapour_drawings, vapour_figures, vapour_words, vapours
from dashboards.ingredients import parse_ingredients
from dashboards.vapour_drawings import Course
from dashboards.vapour_records import Held, Refused, Vapour
from dashboards.vapour_words import Told
from kiln import finish_air, finish_told
from kiln.control import Control
from kiln.mixtures import Basis, Mixture
from kiln.room_air import Room, Spraying
from shared.tables import Region
from shared.units import MS_PER_HOUR, MS_PER_MINUTE
from tests.dashboards import finish_yards
from tests.dashboards.finish_yards import vapour_of

COMFORT = re.compile(r"\b(safe|safely|ok|okay|all clear|go ahead|you may|fine|harmless)\b", re.IGNORECASE)
# What says that something is *not* so, and the name of a document.
FORBIDDEN_BUT = re.compile(r"safety data sheet|not listed is not harmless|Safely managing spray booths", re.IGNORECASE)


def texts(one):
    """Every text of a record."""
    if isinstance(one, str):
        yield str(one)
    elif isinstance(one, tuple):
        for part in one:
            yield from texts(part)
    elif is_dataclass(one):
        for part in fields(one):
            yield from texts(getattr(one, part.name))


def mixture(typed, **said):
    given_too = {"isocyanate": False, "formaldehyde": False} | said
    return Mixture(parse_ingredients(typed), Basis.VOLUME, None, **given_too)


def asked(typed="acetone 100", *, litres=1.0, volume=30.0, extraction=None, dry=1800.0, factor=10.0, **said):
    room = Room(volume, extraction, factor, 20.0, 101_325.0)
    spraying = Spraying(0.0, 600.0, litres / 1000.0, mixture(typed, **said), dry)
    return vapour_words.shown(room, (spraying,), Region.LOWEST, Told())


@pytest.mark.parametrize("record", [Vapour, Held, Refused])
def test_every_field_that_a_page_may_use_carries_help(record):
    assert all(len(one.metadata.get("help", "")) > 5 for one in fields(record))


@pytest.mark.parametrize("make", [one for one in finish_yards.YARDS if one is not finish_yards.nothing])
def test_no_word_of_it_comforts_and_the_plume_and_the_operator_stand_beside_it(yard, make):
    made = vapour_of(make(yard))
    if made is None:
        assert make is finish_yards.bare
        return
    assert made.control in tuple(Control)
    for text in texts(made):
        assert not COMFORT.search(FORBIDDEN_BUT.sub("", text)), text
    assert len(made.beside) == 2
    assert "plume" in made.beside[0] and "explosive limit" in made.beside[0]
    assert "person at the gun" in made.beside[1]


def test_nothing_entered_is_no_statement(yard):
    assert vapour_of(finish_yards.bare(yard)) is None


def test_a_room_without_figures_is_told_as_such(yard):
    made = vapour_of(finish_yards.no_figures(yard))
    assert made.control is Control.CANT_SAY
    assert made.unknowns == (vapours.NO_FIGURES,)
    assert made.not_before_ms is None and not made.figures and not made.drawing


def test_an_amount_worked_out_by_hand():
    # 1 l of acetone, 0.79 kg, 58.08 g/mol: 13.6 mol, at 20 °C and 101.325 kPa 24.05 l/mol: 0.327 m³ of vapour. In 30 m³
    # without extraction 1.09 %; the LEL is 2.5 % (NIOSH Pocket Guide, 2007): 43.6 % of it, 4.4 times a tenth of it.
    made = asked()
    assert made.control is Control.OVER
    assert made.figures[0].value == "up to 44 %"
    tenth, quarter = made.over[:2]
    assert tenth.figure == quarter.figure == "up to 44 % of the LEL", "of the LEL itself, not of a tenth of it"
    assert any(one[1] == "44 %" for one in made.table)
    # 0.79 kg in 30 m³: 26.3 g/m³, and 1.09 % by volume: 10,900 ppm; without extraction
    # the mean of 15 minutes is as high.
    vapour, highest, short, _eight = made.amounts
    assert 780 <= float(vapour.value.split()[0]) <= 800
    mg, ppm = (float(one.replace(",", "")) for one in re.findall(r"([\d,]+) (?:mg/m³|ppm)", highest.value))
    assert (mg, ppm) == (pytest.approx(26_300, rel=0.01), pytest.approx(10_900, rel=0.01))
    assert highest.value == short.value


def test_the_worst_mixing_counts_whatever_was_entered_and_a_better_one_shows_only_where_it_is_over_too():
    # Half an hour of spraying with extraction: the mean of the air hangs on K.
    room = Room(40.0, 0.5, 4.0, 20.0, 101_325.0)
    spraying = Spraying(0.0, 1800.0, 0.003, mixture("acetone 100"), 60.0)
    made, worst = (
        vapour_words.shown(one, (spraying,), Region.LOWEST, Told()) for one in (room, replace(room, mixing_factor=10.0))
    )
    assert [one.figure for one in made.over] == [one.figure for one in worst.over]
    assert any("K = 4" in one.beside for one in made.over) and any("K = 3" in one.beside for one in worst.over)
    eight = next(one for one in made.over if one.name.startswith("8-hour"))
    assert float(eight.figure.split()[2]) > float(re.search(r"K = 4\) ([\d.]+) times", eight.beside).group(1))
    name = eight.name
    shares = [
        next(one.at_most_share for one in finish_air.judge(each, (spraying,)).against if one.name == name)
        for each in (replace(room, mixing_factor=10.0), room)
    ]
    little = replace(spraying, liquid_m3=spraying.liquid_m3 / float(np.prod(shares)) ** 0.5)
    made = vapour_words.shown(room, (little,), Region.LOWEST, Told())
    eight = next(one for one in made.over if one.name == name)
    assert "K = " not in eight.beside, "over in badly mixed air alone: the better mixed says nothing"
    for one in (*made.not_shown, *made.cant_say):
        assert "K = " not in one.beside, "better mixing comforts nobody"


def test_what_is_over_nothing_still_tells_by_how_much_so_that_much_and_little_look_different():
    little, more = (asked(litres=one, volume=20_000.0, extraction=50.0) for one in (0.01, 1.0))
    assert little.control is more.control is Control.NOT_SHOWN
    assert [one.value for one in little.figures] != [one.value for one in more.figures]
    assert all(re.match(r"(up to|under) \d", one.value) for one in (*little.figures, *more.figures))
    assert not any("up to under" in text for text in texts(little))
    assert little.doing == more.doing == (vapour_words.BEFORE_A_CAN,), "it never stands without an act"
    assert all(one.word == "NOT SHOWN TO BE UNDER CONTROL" for one in little.not_shown)
    assert (
        "shows no control" in little.headline
        and "passed" not in little.headline
        and not re.search(r"\d", little.headline)
    )


def test_a_time_is_a_moment_of_the_clock_after_which_a_test_comes_and_never_before_the_film_is_dry(yard):
    made = vapour_of(finish_yards.over(yard))
    assert re.fullmatch(
        r"Only a test tells; the hour alone gives no leave\. "
        r"Not before \d{1,2} \w{3} \d{4}, \d\d:\d\d, then test with a calibrated instrument\.",
        made.not_before,
    )
    dry_ms = yard.now_ms - 60 * MS_PER_MINUTE + 20 * MS_PER_MINUTE + 30 * MS_PER_MINUTE
    assert made.not_before_ms >= dry_ms
    assert made.not_before_note
    assert "calibrated instrument" in made.not_before_note
    again = replace(yard, now_ms=yard.now_ms + 5 * MS_PER_HOUR)
    assert vapour_of(again).not_before == made.not_before, "it counts down to nothing"


def test_without_a_drying_time_or_extraction_no_time_is_said():
    for made in (asked(dry=None, extraction=0.5), asked(extraction=None)):
        assert made.not_before_ms is None
        assert made.not_before.startswith("No time can be said")


@pytest.mark.parametrize("said", [{"isocyanate": True}, {"formaldehyde": True}])
def test_of_a_refused_finish_no_figure_is_given_in_any_field(said):
    made = asked("acetone 60\nsolids 40", **said)
    assert made.refused is not None and made.refused.sentence
    assert made.refused.source
    assert made.figures == made.air == made.table == ()
    assert not made.drawing and made.not_before_ms is None
    shares = re.compile(r"\d(?:[\d.,]*) (?:times|%) (?:the limit|of the limit|of it|it\b)|mg/m³|m³/h")
    bodies = [held.limit for held in (*made.over, *made.cant_say)]  # what a body printed is no figure of this room
    for text in texts(replace(made, assumed=(), sprayed=(), bases=())):
        assert text in bodies or not shares.search(text), text
    assert made.control is Control.OVER, "that its solvents pass the explosive limit is still said"


def test_isocyanate_by_name_is_refused_though_nobody_said_so():
    assert asked("acetone 60\nhexamethylene diisocyanate 1").refused is not None


def test_what_is_not_known_makes_no_warning_weaker():
    known, mixed = asked(), asked("acetone 60-100\npetrified moonlight 5-30")
    assert known.control is mixed.control is Control.OVER
    assert mixed.unknowns and "petrified moonlight" in mixed.unknowns[0]
    assert all(one.figure.startswith("at least") for one in mixed.over)
    alone = asked("petrified moonlight 100")
    assert alone.control is Control.CANT_SAY
    assert not alone.figures and not alone.drawing and not alone.air
    assert not alone.not_shown, "nothing is held against a limit as if all of it were known"


def test_an_unread_sheet_is_said_and_asked_for():
    made = asked("acetone 1\nwater 99", volume=20_000.0, isocyanate=None)
    assert made.control is Control.CANT_SAY
    assert any("isocyanate" in text for text in made.unknowns)
    assert vapour_words.FIND_OUT in made.doing


def test_over_the_explosive_limit_what_to_do_comes_with_it(yard):
    made = vapour_of(finish_yards.over(yard))
    assert made.doing == (*finish_told.ACTS, vapour_words.BREATHE)
    assert vapour_words.NOT_SO in asked().doing, "what is only asked about was not sprayed yet"


def test_what_was_sprayed_two_days_ago_still_counts_and_longer_ago_is_said_not_to(yard):
    finish_yards.shelved(finish_yards.room(yard, **finish_yards.SMALL), "lacquer", finish_yards.LACQUER)
    finish_yards.sprayed(yard, "lacquer", minutes_ago=47 * 60)
    made = vapour_of(yard)
    assert made is not None and vapours.LOOKED_BACK in made.assumed
    later = replace(yard, now_ms=yard.now_ms + 3 * MS_PER_HOUR)
    assert vapour_of(later) is None


def test_coats_add_up(yard):
    finish_yards.shelved(finish_yards.room(yard, volume="30"), "lacquer", finish_yards.LACQUER)

    def highest():
        return max(float(one[1].split()[0]) for one in vapour_of(yard).table if "under" not in one[1])

    finish_yards.sprayed(yard, "lacquer", minutes_ago=200, litres=0.2, extraction_on=False)
    once = highest()
    finish_yards.sprayed(yard, "lacquer", minutes_ago=100, litres=0.2, extraction_on=False)
    assert highest() == pytest.approx(2 * once, rel=0.06), "without extraction nothing leaves; figures have two digits"


def test_a_room_that_the_model_does_not_hold_for_is_refused_in_its_words(yard):
    finish_yards.over(yard)
    yard.act(entries.add_probe, "hot", topic="w/spray/hot", place="spray", acknowledged=True, days_ago=50)
    yard.log("hot", 2, t=52.0, rh=20.0)
    made = vapour_of(yard)
    assert made.control is Control.CANT_SAY
    assert any("40" in text and "°C" in text for text in made.unknowns)


def test_extraction_printed_on_a_fan_is_said_to_be_no_measurement(yard):
    figures = finish_yards.SMALL | {"extraction_known": "printed on the fan"}
    finish_yards.sprayed(finish_yards.shelved(finish_yards.room(yard, **figures), "l", finish_yards.LACQUER), "l")
    made = vapour_of(yard)
    assert any("not measured" in text for text in made.cautions)
    with yard.store.reading() as connection:
        now = finish_yards.now(yard)
        place = next(one for one in now.open_places if one.subject.code == "spray")
        held = finish_now.room_of(connection, place.subject.id, now.now_ms)
    assert not finish_now.room_air(place, held).extraction_measured


def test_beside_the_air_that_is_asked_for_stands_no_other_and_where_there_is_none_why():
    made = asked(litres=0.001, volume=20_000.0, extraction=50.0)
    assert len(made.air) == 2 and not made.air_why
    over = asked(extraction=0.2)
    assert len(over.air) == 1 and over.air_why == finish_told.NO_AIR_FIRE
    assert asked("petrified moonlight 100").air_why == vapour_figures.NO_AIR
    assert asked("acetone 60\nsolids 40", isocyanate=True).air_why == vapour_figures.NO_AIR_REFUSED


# --- figures in words ------------------------------------------------------------------------------


@given(st.floats(1e-6, 1e4), st.booleans())
def test_an_upper_share_is_never_told_smaller_and_a_lower_one_never_larger_than_it_is(share, up):
    told = share_words.times(share, up=up)
    if told.startswith("under"):
        assert share < 0.001
        return
    figure = float(told.split()[0].replace(",", ""))
    shown = figure if "times" in told else figure / 100.0
    low, high = (share, max(1.11 * share, share + 0.001)) if up else (min(share / 1.11, share - 0.001), share)
    assert low - 1e-8 * share <= shown <= high + 1e-8 * share, "two digits that count, or a tenth of a percent"


def test_just_above_a_limit_a_share_has_three_figures_and_no_figure_is_a_power_of_ten():
    assert share_words.times(1.013, share_words.digits_near(1.013)) == "1.02 times the limit"
    assert share_words.times(4.13, share_words.digits_near(4.13)) == "4.2 times the limit"
    assert [share_words.amount(one) for one in (20_000.0, 39.312, 0.25)] == ["20,000", "39.31", "0.25"]


@given(st.floats(1e-4, 100.0))
def test_a_flow_is_never_told_smaller_than_it_is(flow_m3_s):
    shown = float(share_words.flow(flow_m3_s).split()[0].replace(",", ""))
    assert 3600.0 * flow_m3_s * (1 - 1e-8) <= shown <= max(1.11 * 3600.0 * flow_m3_s, 3600.0 * flow_m3_s + 1.0)


@pytest.mark.parametrize(("at_s", "told"), [(600.0, "10 min"), (7200.0, "2 h"), (8941.0, "2 h 30 min"), (0.0, "0 min")])
def test_spans(at_s, told):
    assert share_words.span(at_s) == told


# --- the drawing -----------------------------------------------------------------------------------


def course(peak=0.4, hours=4.0, sprayed=((0.0, 600.0),), **more):
    times_s = np.linspace(0.0, hours * 3600.0, 300)
    falls = peak * np.exp(-times_s / 2400.0)
    return Course(times_s, 0.5 * falls, falls, sprayed, **more)


def test_the_drawing_tells_in_words_what_it_shows_and_names_its_lines():
    drawn = str(vapour_drawings.drawing(course()))
    assert 'role="img"' in drawn and "40 %" in drawn
    for level in vapour_drawings.LEVELS:
        assert level.words in drawn
    assert "style=" not in drawn
    assert "nought" not in drawn
    assert "0 %<" not in re.sub(r"10 ?%|100 ?%|40 %", "", drawn), "its foot is not nought"


def test_what_lies_below_the_foot_is_not_drawn_as_if_it_were_nothing():
    assert vapour_drawings.drawing(course(peak=0.009)) == ""
    nothing = np.zeros(0)
    assert vapour_drawings.drawing(Course(nothing, nothing, nothing, ())) == ""


def test_what_is_over_is_hatched():
    assert "over-line" in vapour_drawings.drawing(course(peak=0.4))
    assert "over-line" not in vapour_drawings.drawing(course(peak=0.05))


def test_the_curve_keeps_its_highest_when_it_is_thinned():
    one = course()
    spiked = replace(one, at_most=np.where(np.arange(300) == 151, 0.9, one.at_most))
    drawn = str(vapour_drawings.drawing(spiked))
    highest_y = min(
        float(y) for y in re.findall(r"[\d.]+ ([\d.]+)", re.search(r'at-most" d="M([^"]*)"', drawn).group(1))
    )
    top = float(re.search(r'class="level" d="M[\d.]+ ([\d.]+)H', drawn).group(1))
    assert top < highest_y < top + 10, "just below the line of the explosive limit"
    assert "90 %" in drawn


def test_an_old_coat_is_not_drawn_unless_it_is_the_highest():
    times_s = np.linspace(0.0, 30 * 3600.0, 600)
    late = 0.2 * np.exp(-np.abs(times_s - 27.3 * 3600.0) / 2400.0)
    sprayed = ((0.0, 600.0), (27 * 3600.0, 27 * 3600.0 + 600.0))
    low, high = (Course(times_s, late + one, late + one, sprayed) for one in (0.01, np.where(times_s < 3600, 0.9, 0.0)))
    assert vapour_drawings.lately(low).times_s[0] >= 26 * 3600.0
    assert vapour_drawings.lately(high).times_s[0] == 0.0
    assert vapour_drawings.lately(low).at_most.max() == low.at_most.max()


def test_moments_are_those_of_the_clock_and_otherwise_spans():
    start_ms = 1_795_600_800_000
    drawn = str(vapour_drawings.drawing(course(start_ms=start_ms, now_s=3000.0, not_before_s=9000.0)))
    assert re.search(r">not before \d\d:\d\d<", drawn) and ">now<" in drawn
    assert re.search(r">\d\d:00<", drawn)
    odd = str(vapour_drawings.drawing(course(start_ms=start_ms + 17_421, now_s=3000.0, not_before_s=9000.0)))
    assert set(re.findall(r">\d\d:(\d\d)<", odd)) == {"00"}, "full hours stay full hours"
    # The hour of the drawing is the hour of the text: up to the next whole minute.
    hour_ms = vapour_drawings.moment_ms(start_ms + 17_421, 9000.0)
    assert f">not before {display.moment(hour_ms)[-5:]}<" in odd
    assert re.search(r">1 h<|>2 h<", str(vapour_drawings.drawing(course())))


def test_the_worst_stands_out_and_no_line_runs_through_a_name():
    drawn = str(vapour_drawings.drawing(course(start_ms=1_795_600_800_000, now_s=9000.0, not_before_s=13_500.0)))
    css = (Path(vapour_drawings.__file__).parent / "static/styles/46-finish.css").read_text(encoding="utf-8")

    def weight(kind):
        return float(re.search(rf"\.{kind} \{{[^}}]*stroke-width: ([\d.]+)", css).group(1))

    assert weight("at-most") > 2 * weight("as-sprayed")
    assert not re.search(r"\.at-most \{[^}]*dasharray", css)
    not_before = float(re.search(r'not-before-line" d="M([\d.]+)', drawn).group(1))
    for name in re.finditer(r'<rect class="paper" x="([\d.]+)" y="[\d.]+" width="([\d.]+)"', drawn):
        left, wide = (float(one) for one in name.groups())
        assert not left < not_before < left + wide
    assert drawn.count('class="paper"') == len(vapour_drawings.LEVELS)
