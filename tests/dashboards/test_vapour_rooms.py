"""What is typed of vapour makes nothing better: not the room as it is, no sheet, no hour; and how that looks."""

import dataclasses
import re

import pytest

from dashboards import dew_words, entries, vapour_figures
from dashboards.answers import vapour_rooms
from dashboards.vapour_records import Refused
from kiln.control import Control
from shared.errors import BadInput
from shared.units import MS_PER_MINUTE
from tests.dashboards import finish_yards
from tests.dashboards.finish_yards import vapour_of
from tests.dashboards.test_app import shown
from tests.dashboards.test_vapour_question import TYPED, ask, client

__all__ = ["client"]

WORST_FIRST = [one.value.upper() for one in Control]
LITTLE = {"finish": "lacquer", "place": "spray", "litres": "0.01", "minutes": "5", "extraction_on": "yes"}


@pytest.mark.parametrize(("key", "typed"), [("volume", "300"), ("volume", "30.1"), ("extraction", "601")])
def test_a_room_of_the_yard_is_not_asked_about_as_if_it_were_larger(yard, key, typed):
    finish_yards.shelved(finish_yards.room(yard, **finish_yards.SMALL), "lacquer", finish_yards.LACQUER)
    with pytest.raises(BadInput, match="empty, as the room has it"):
        ask("vapour", yard, **LITTLE | {key: typed})
    assert ask("vapour", yard, **LITTLE | {"volume": "30", "extraction": "600"}).vapour is not None


def test_an_extraction_that_nobody_entered_of_a_room_cannot_be_asked_into_it(yard):
    finish_yards.shelved(finish_yards.room(yard, volume="30"), "lacquer", finish_yards.LACQUER)
    with pytest.raises(BadInput, match="none known"):
        ask("vapour", yard, **LITTLE | {"extraction": "600"})
    assert ask("vapour", yard, **LITTLE | {"extraction": "none"}).vapour is not None


def hour_ms(yard, found):
    """When an answer says that a test has any point; None: it names no hour."""
    told = re.search(r"Not before (?:(\d+) h ?)?(?:(\d+) min)? after spraying begins", found.vapour.not_before)
    if told is None:
        return None
    return yard.now_ms + (int(told.group(1) or 0) * 60 + int(told.group(2) or 0)) * MS_PER_MINUTE


def no_milder(yard, found):
    """The answer is no milder than what is said of the room as it is, and names no hour before its."""
    as_it_is = vapour_of(yard)
    assert WORST_FIRST.index(found.headline) <= WORST_FIRST.index(as_it_is.word)
    assert as_it_is.refused is None or found.vapour.refused is not None
    hour = hour_ms(yard, found)
    if as_it_is.not_before_ms is None:
        assert hour is None
    else:
        assert hour is None or hour >= as_it_is.not_before_ms


@pytest.mark.parametrize("make", finish_yards.SPRAYED_YARDS)
def test_no_answer_about_a_room_is_milder_than_the_room_as_it_is_nor_its_hour_earlier(yard, make):
    water = {"ingredients": "ethanol 1\nwater 99", "density_kg_l": "1", "isocyanate": "no", "formaldehyde": "no"}
    asked = {"place": "spray", "litres": "0.01", "minutes": "1", "extraction_on": "yes", "dry_after_h": "5 min"}
    no_figures = {"volume": "5000"} if make is finish_yards.no_figures else {}
    make(yard)
    for typed in ({}, {"volume": "12"}, {"extraction": "none"}, {"temperature_c": "0"}):
        no_milder(yard, ask("vapour", yard, **water | asked | no_figures | typed))


def test_a_room_whose_figures_were_corrected_is_reckoned_with_the_worst_of_them_here_too(yard):
    finish_yards.shelved(finish_yards.room(yard, **finish_yards.SMALL), "lacquer", finish_yards.LACQUER)
    finish_yards.sprayed(yard, "lacquer", minutes_ago=600, litres=0.02, extraction_on=False)
    yard.act(entries.say_finish_room, "spray", **finish_yards.VAST | {"sure": True})
    no_milder(yard, ask("vapour", yard, **LITTLE))


def test_where_the_room_as_it_is_has_the_later_hour_that_is_told(yard):
    """What the room's own page knows beside what is reckoned here makes no hour earlier."""
    finish_yards.shelved(finish_yards.room(yard, **finish_yards.SMALL), "lacquer", finish_yards.LACQUER)
    plain = ask("vapour", yard, **LITTLE).vapour
    later_ms = plain.not_before_ms + 1
    for hour_ms, told in ((later_ms, "later"), (None, "nobody knows"), (plain.not_before_ms - 1, plain.not_before)):
        as_it_is = dataclasses.replace(
            plain, not_before_ms=hour_ms, not_before="nobody knows" if not hour_ms else "later"
        )
        found = vapour_rooms.There(None, now=as_it_is).no_better(plain)
        assert (found.not_before, found.not_before_ms) == (told, max(hour_ms, plain.not_before_ms) if hour_ms else None)


def test_a_room_of_which_nothing_can_be_said_or_that_is_refused_stays_so(yard):
    plain = finish_yards.vapour_of(finish_yards.late(yard))
    over = dataclasses.replace(plain, **vapour_figures.word(Control.OVER), headline="Passed.", doing=("Out.",))
    unsaid = dataclasses.replace(plain, **vapour_figures.word(Control.CANT_SAY), headline="Unknown.", doing=("Ask.",))
    refused = dataclasses.replace(unsaid, refused=Refused("a group", "No amount of air.", "a source"), figures=())
    for now, made, word, is_refused in (
        (unsaid, plain, Control.CANT_SAY, False),
        (unsaid, over, Control.OVER, False),
        (over, unsaid, Control.OVER, False),
        (refused, plain, Control.CANT_SAY, True),
        (refused, over, Control.OVER, True),
        (plain, refused, Control.CANT_SAY, True),
    ):
        found = vapour_rooms.There(None, now=now).no_better(made)
        assert (found.control, found.word) == (word, word.value.upper())
        assert (found.refused is not None) is is_refused
        assert not is_refused or not found.figures
    both = vapour_rooms.There(None, now=refused).no_better(over)
    assert both.headline == "Passed. Unknown." and both.doing == ("Ask.", "Out.")


@pytest.mark.parametrize("flag", ["isocyanate", "formaldehyde"])
def test_the_worse_of_the_sheet_of_the_shelf_and_what_is_typed_counts(yard, flag):
    finish_yards.shelved(finish_yards.room(yard, **finish_yards.SMALL), "lacquer", finish_yards.LACQUER)
    finish_yards.shelved(yard, "hard", finish_yards.LACQUER | {"name": "Invented hard", flag: "yes"})
    finish_yards.shelved(yard, "unread", finish_yards.UNREAD)
    assert ask("vapour", yard, **LITTLE | {flag: "yes"}).vapour.refused is not None
    unread = ask("vapour", yard, **LITTLE | {flag: "not read"})
    assert unread.vapour.refused is None and any(flag in text for text in unread.vapour.unknowns)
    for typed in ("", "no"):
        plain = ask("vapour", yard, **LITTLE | {flag: typed})
        assert plain.vapour.refused is None and not plain.vapour.unknowns
        assert ask("vapour", yard, **LITTLE | {"finish": "hard", flag: typed}).vapour.refused is not None
        assert any(flag in text for text in ask("vapour", yard, **LITTLE | {"finish": "unread", flag: typed}).flags)
    assert ask("vapour", yard, **LITTLE | {"finish": "unread", flag: "yes"}).vapour.refused is not None


def test_the_card_of_a_refused_finish_has_the_refusal_first_and_a_look_of_its_own(client):
    refused = TYPED | {"isocyanate": "yes", "litres": "0.01", "volume": "5000"}
    page = shown(client, "/work-out/vapour", **refused)
    card = page[page.index('<section class="vapour control') : page.index('id="holds-anyway"')]
    assert card.startswith('<section class="vapour control is-cant-say is-refused"')
    assert card.index('<p class="reason"><b>') < card.index('class="control-word">CAN\'T SAY')
    assert card.count("<b>") == 1 and "air-fed" in card[: card.index("control-word")]
    styles = shown(client, "/static/page.css")
    look = re.search(r"\.vapour\.is-refused\.is-cant-say \{([^}]*)\}", styles).group(1)
    assert "solid var(--ink)" in look and "dashed" not in look
    plain = shown(client, "/work-out/vapour", **TYPED)
    assert re.search(r"<span>(\d+) limits, (\d+) over; this reckoning shows no control</span>", plain)
    over = shown(client, "/work-out/vapour", **TYPED | {"isocyanate": "yes"})
    assert over.index('class="control-word">OVER') < over.index('<p class="reason"><b>'), "fire comes first"
    assert "is-refused" not in plain


@pytest.mark.parametrize("make", [finish_yards.over, finish_yards.refused_isocyanate, finish_yards.unlisted])
def test_the_question_of_the_dew_point_gives_way_to_the_vapour_of_the_room(yard, make):
    make(yard)
    for surface in ({}, {"surface_c": "18"}, {"surface_c": "8"}):
        asked = {"temperature_c": "20", "rh_pct": "60"} | surface
        told, elsewhere = ask("dew-gap", yard, **asked, place="spray"), ask("dew-gap", yard, **asked)
        assert told.next_step == dew_words.STAY_OUT and "Warm the piece" not in told.sentence
        assert elsewhere.next_step != dew_words.STAY_OUT
        assert ("Warm the piece" in elsewhere.sentence) is (surface.get("surface_c") == "8")
