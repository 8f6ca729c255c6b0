"""What is entered later never makes a warning of what was sprayed before it vanish."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dashboards import entries, finish_cases, finish_now, page_warnings
from kiln.control import Control
from shared.store.records import SubjectKind
from shared.tables import Region
from shared.units import MS_PER_HOUR, MS_PER_MINUTE
from tests.dashboards import finish_yards
from tests.dashboards.finish_yards import vapour_of
from tests.dashboards.test_app import client_of, words

ABSURD = {"volume": "20000", "extraction": "200000", "extraction_known": "measured", "mixing_factor": "3"}


def later(yard, minutes=10):
    """The same yard some minutes on."""
    return replace(yard, now_ms=yard.now_ms + minutes * MS_PER_MINUTE)


def sprayed_now(yard):
    now = finish_yards.now(yard)
    place = next(one for one in now.places if one.subject.code == "spray")
    with yard.store.reading() as connection:
        return finish_now.sprayed_of(connection, place.subject.id, yard.now_ms - 48 * MS_PER_HOUR)


def told(yard):
    made = vapour_of(yard)
    return " ".join((*made.assumed, *made.aside))


# --- names -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["2K polyurethane with isocyanate hardener", "HDI trimer lacquer"])
def test_the_name_of_a_product_beats_the_tick_that_it_names_none(yard, name):
    sheet = finish_yards.LACQUER | {"name": name, "isocyanate": "no"}
    finish_yards.sprayed(finish_yards.shelved(finish_yards.room(yard, **finish_yards.VAST), "two", sheet), "two")
    with yard.store.reading() as connection:
        (one,) = finish_now.finishes(connection)
    assert one.fact.isocyanate is True and one.entered.isocyanate is False, "what was entered is kept as it was"
    assert finish_now.mixture_of(one.fact).refusal() is not None
    assert vapour_of(yard).refused is not None


@pytest.mark.parametrize(
    ("name", "ingredients", "heats"),
    [
        ("Invented Danish oil", "solids 100", True),
        ("Invented varnish", "boiled linseed oil 20\nwhite spirit 40\nsolids 40", True),
        ("Invented varnish", "alkyd resin 40\nwhite spirit 60", True),
        ("Invented varnish", "8001-20-5 20\nsolids 80", True),  # tung oil: from memory
        ("Invented lacquer", "ethanol 60\nsolids 40", False),
    ],
)
def test_a_drying_oil_in_name_or_ingredients_beats_the_tick(yard, name, ingredients, heats):
    sheet = finish_yards.LACQUER | {"name": name, "ingredients": ingredients, "self_heating": "no"}
    finish_yards.sprayed(finish_yards.shelved(finish_yards.room(yard, **finish_yards.VAST), "oil", sheet), "oil")
    (one,) = sprayed_now(yard)
    assert one.finish.fact.self_heating is heats
    assert any(each.kind == "rags" for each in page_warnings.warnings_of(finish_yards.now(yard))) is heats


@pytest.mark.parametrize("path", ["/finish/product/two", "/work-out/vapour?finish=two&litres=0.1&minutes=5&volume=900"])
def test_the_name_counts_wherever_the_product_is_asked_about(yard, path):
    sheet = finish_yards.LACQUER | {"name": "2K polyurethane with isocyanate hardener", "isocyanate": "no"}
    finish_yards.shelved(finish_yards.room(yard), "two", sheet)
    assert "air-fed breathing apparatus" in words(client_of(yard).get(path))


# --- a finish that is corrected ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ({"isocyanate": "yes"}, {"isocyanate": "no"}),
        ({"formaldehyde": "yes"}, {"formaldehyde": "no"}),
        ({"name": "Invented polyisocyanate lacquer"}, {"name": "Invented lacquer"}),
        ({"ingredients": "acetone 60\nhexamethylene diisocyanate 1-5\nsolids 30"}, {"ingredients": "water 100"}),
    ],
)
def test_a_correction_takes_no_refusal_from_what_was_sprayed_before_it(yard, before, after):
    finish_yards.shelved(finish_yards.room(yard, **finish_yards.SMALL), "hard", finish_yards.LACQUER | before)
    finish_yards.sprayed(yard, "hard")
    on = later(yard)
    on.act(entries.change_finish, "hard", sure=True, **after)
    assert vapour_of(later(on)).refused is not None
    assert "was corrected since it was sprayed" in told(on)


def test_other_ingredients_take_no_word_from_what_was_sprayed_before_them(yard):
    finish_yards.over(yard)
    before = vapour_of(yard)
    on = later(yard)
    on.act(entries.change_finish, "lacquer", ingredients="water 100")
    after = vapour_of(on)
    assert before.control is after.control is Control.OVER
    assert [one.name for one in after.over] == [one.name for one in before.over]
    assert after.not_before_ms is None and "not before" not in after.drawing, "text and drawing tell the same hour"
    assert "the worse of what was entered of it counts while the spraying does. Only a test tells." in told(on)


def test_a_correction_for_the_worse_counts_for_all_that_was_sprayed(yard):
    weak = finish_yards.LACQUER | {"ingredients": "acetone 0.1\nwater 99.9"}
    finish_yards.sprayed(finish_yards.shelved(finish_yards.room(yard, **finish_yards.SMALL), "weak", weak), "weak")
    on = later(yard)
    on.act(entries.change_finish, "weak", ingredients=finish_yards.LACQUER["ingredients"])
    assert vapour_of(on).control is Control.OVER


def test_rags_stay_a_warning_though_the_oil_is_corrected_away(yard):
    finish_yards.oily(yard)
    on = later(yard)
    on.act(entries.change_finish, "oil", name="Invented lacquer", self_heating="no", sure=True)
    assert any(each.kind == "rags" for each in page_warnings.warnings_of(finish_yards.now(on)))


@pytest.mark.parametrize(("hours", "known"), [("0.2", True), ("", False)])
def test_the_longer_drying_counts_and_an_unknown_one_before_it(yard, hours, known):
    finish_yards.shelved(finish_yards.room(yard, **finish_yards.SMALL), "l", finish_yards.LACQUER)
    finish_yards.sprayed(yard, "l")
    on = later(yard)
    on.act(entries.change_finish, "l", dry_after_h=hours)
    (one,) = sprayed_now(on)
    assert one.finish.fact.dry_after_s == (1800.0 if known else None)


def test_what_was_corrected_before_it_was_sprayed_does_not_count_but_what_was_taken_back_does_for_a_day(yard):
    finish_yards.shelved(
        finish_yards.room(yard, **finish_yards.VAST), "l", finish_yards.LACQUER | {"isocyanate": "yes"}
    )
    wrong = finish_yards.sprayed(yard, "l", litres=0.01)
    on = later(yard)
    on.act(entries.change_finish, "l", isocyanate="no", sure=True)
    then = later(on)
    assert vapour_of(then).refused is not None
    then.act(entries.undo, "spraying", wrong.fact_id)
    finish_yards.sprayed(then, "l", litres=0.01)
    assert vapour_of(then).refused is not None and vapour_of(then).control is Control.CANT_SAY
    a_day_on = later(then, 24 * 60 + 1)
    assert vapour_of(a_day_on).refused is None and "was corrected" not in told(a_day_on)


def test_taking_a_spraying_back_and_putting_it_back_makes_it_no_younger(yard):
    finish_yards.shelved(
        finish_yards.room(yard, **finish_yards.VAST), "l", finish_yards.LACQUER | {"isocyanate": "yes"}
    )
    made = finish_yards.sprayed(yard, "l", litres=0.01)
    on = later(yard)
    gone = on.act(entries.undo, "spraying", made.fact_id)
    on.act(entries.change_finish, "l", isocyanate="no", sure=True)
    then = later(on)
    then.act(entries.undo, "spraying", gone.fact_id)
    assert vapour_of(then).refused is not None


def cases_now(yard):
    now, sprayed = finish_yards.now(yard), sprayed_now(yard)
    place = next(one for one in now.places if one.subject.code == "spray")
    with yard.store.reading() as connection:
        figures = finish_cases.figures_of(connection, place.subject.id, sprayed, yard.now_ms)
    return finish_cases.cases_of(figures, place, sprayed, yard.now_ms)


def test_two_finishes_that_were_corrected_are_judged_in_every_combination_and_the_worst_is_shown(yard):
    """The first was the worse before its correction, the other after it."""
    strong, weak = "acetone 60\nwater 40", "acetone 0.1\nwater 99.9"
    finish_yards.room(yard, volume="120")
    for code, lines in (("a", strong), ("b", weak)):
        sheet = finish_yards.LACQUER | {"ingredients": lines}
        finish_yards.sprayed(finish_yards.shelved(yard, code, sheet), code)
    on = later(yard)
    on.act(entries.change_finish, "a", ingredients=weak)
    on.act(entries.change_finish, "b", ingredients=strong)
    cases = cases_now(on)
    shares = [tuple(one.mixture.ingredients[0].high for one in case.sprayings) for case in cases]
    assert sorted(shares) == [(0.001, 0.001), (0.001, 0.6), (0.6, 0.001), (0.6, 0.6)]
    worst, _latest = finish_cases.worst_of(cases, Region.LOWEST)
    assert [one.mixture.ingredients[0].high for one in worst.sprayings] == [0.6, 0.6]


def test_a_larger_room_keeps_its_vapour_longer_and_its_hour_is_told(yard):
    finish_yards.shelved(finish_yards.room(yard, **finish_yards.SMALL), "l", finish_yards.LACQUER)
    finish_yards.sprayed(yard, "l")
    on = later(yard)
    on.act(entries.say_finish_room, "spray", volume="90", extraction="600", extraction_known="measured")
    assert {one.room.volume_m3 for one in cases_now(on)} == {30.0, 90.0}
    assert vapour_of(on).figures == vapour_of(yard).figures
    assert vapour_of(on).not_before_ms > vapour_of(yard).not_before_ms


# --- a room whose figures change ---------------------------------------------------------------------


def test_absurd_figures_take_no_word_from_what_was_sprayed_before_them(yard):
    finish_yards.over(yard)
    before = vapour_of(yard)
    on = later(yard)
    on.act(entries.say_finish_room, "spray", sure=True, **ABSURD)
    after = vapour_of(on)
    assert before.control is after.control is Control.OVER
    assert after.figures == before.figures
    assert "Reckoned with 30 m³, extraction 600 m³/h (measured)" in told(on)
    assert "20000 m³" in told(on) and "counts alone once" in told(on)
    finish_yards.sprayed(on, "lacquer", minutes_ago=1)
    assert "Reckoned with 30 m³" in told(on), "one spraying from before them keeps them for all"
    assert after.not_before_ms is None or after.not_before_ms >= before.not_before_ms


def test_figures_entered_for_the_past_take_no_word_either(yard):
    finish_yards.over(yard)
    on = later(yard)
    on.act(entries.say_finish_room, "spray", sure=True, days_ago=30, **ABSURD)
    assert vapour_of(on).control is Control.OVER and "Reckoned with 30 m³" in told(on)


def test_figures_that_were_taken_back_do_not_count_and_are_told(yard):
    finish_yards.over(yard)
    on = later(yard)
    small = on.act(entries.say_finish_room, "spray", volume="3", sure=True, extraction="none")
    assert "3 m³; no extraction." in told(later(on))
    then = later(on)
    then.act(entries.undo, "finish-room", small.fact_id, by="Bo")
    assert "3 m³, no extraction" in told(then) and "taken back by Bo" in told(then)
    assert "Reckoned with" not in told(then) and "30 m³; extraction 600 m³/h (measured)." in told(then)


def test_figures_from_long_before_do_not_count(yard):
    finish_yards.shelved(finish_yards.room(yard, **finish_yards.SMALL), "lacquer", finish_yards.LACQUER)
    on = later(yard)
    on.act(entries.say_finish_room, "spray", sure=True, **ABSURD)
    then = later(on, 60)
    finish_yards.sprayed(then, "lacquer", minutes_ago=1, litres=0.01)
    assert "Reckoned with" not in told(then)


def test_figures_that_come_after_the_spraying_are_taken_as_they_are(yard):
    finish_yards.no_figures(yard)
    assert vapour_of(yard).control is Control.CANT_SAY
    on = later(yard)
    on.act(entries.say_finish_room, "spray", **finish_yards.SMALL)
    assert vapour_of(on).control is Control.OVER
    with on.store.reading() as connection:
        assert finish_now.finishes(connection)[0].subject.kind is SubjectKind.FINISH
