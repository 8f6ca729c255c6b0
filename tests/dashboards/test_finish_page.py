"""The finish page: in which order it tells, what stands on the shelf, and the demo's shelf."""

from __future__ import annotations

import re

import pytest

from dashboards import entries, finish_now, safety, tasks
from dashboards.pages import finish
from dashboards.pages.finish import finish_page
from dashboards.terminal import demo_finish, demo_story
from kiln.control import Control
from shared.store import facts
from shared.store.records import FinishFact, Sprayed
from shared.units import MS_PER_DAY, MS_PER_HOUR
from tests.dashboards import finish_yards as yards
from tests.dashboards.test_app import client_of, words


def page_of(yard):
    return finish_page(yards.now(yard))


def shelf(yard):
    return {one.code: one for one in page_of(yard).shelf}


def test_it_tells_in_its_order(empty_yard):
    shown = words(client_of(yards.over(empty_yard)).get("/finish"))
    places = [
        shown.index(part)
        for part in (
            safety.FIRST_LINE,
            "not an alarm system",
            "Blush: the surface and the dew point",
            "Read the safety data sheets",
            "Finishes on the shelf",
            "Dust and harmful woods",
            safety.LAST_LINE,
        )
    ]
    assert places == sorted(places)


def test_a_room_without_an_entered_spraying_can_not_be_said_and_says_that_this_shows_nothing(empty_yard):
    (room,) = page_of(yards.bare(empty_yard)).rooms
    assert (room.sprayed, room.key, room.word) == ((), "cant-say", "CAN'T SAY")
    assert "That shows nothing of this air" in room.headline


@pytest.mark.parametrize(
    ("made", "control"),
    [
        (yards.over, Control.OVER),
        (yards.unlisted, Control.CANT_SAY),
        (yards.refused_formaldehyde, Control.CANT_SAY),
        (yards.late, Control.NOT_SHOWN),
    ],
)
def test_the_word_on_a_room_is_that_of_its_vapour(empty_yard, made, control):
    (room,) = page_of(made(empty_yard)).rooms
    assert room.sprayed
    assert room.word == control.value.upper()


def test_the_lists_are_those_of_the_yard_spraying_first_and_what_is_folded_is_counted(empty_yard):
    yard = yards.oily(empty_yard)
    told, page = tasks.of_yard(yards.now(yard)), page_of(yard)
    assert [one.anchor for one in page.tasks] == ["before-spraying", "before-sanding", "afterwards"]
    wanted = (told.before_spraying, told.before_sanding, told.afterwards)
    for one, every in zip(page.tasks, wanted, strict=True):
        assert sorted([*one.lines, *one.folded], key=every.index) == list(every)
        assert list(one.lines) == sorted(one.lines, key=every.index)
        assert one.folded_told.startswith(str(len(one.folded))) if one.folded else one.folded_told == ""
    shown = client_of(yard).get("/finish")
    assert "Invented oil" in words(shown) and "Who says so" in words(shown)


@pytest.mark.parametrize("made", [yards.nothing, yards.oily, yards.refused_isocyanate], ids=lambda made: made.__name__)
def test_nothing_that_lights_or_sensitizes_is_ever_folded_and_a_long_list_is(empty_yard, made):
    """Which words these are is our judgement."""
    page = page_of(made(empty_yard))
    grave = re.compile(r"static|flames|spark|isocyanate|air-fed|oily|\brags\b|switch|heat by themselves", re.IGNORECASE)
    for one in page.tasks:
        assert not [line.sentence for line in one.folded if grave.search(line.sentence)]
        assert len(one.lines) <= 7 or not one.folded or all(finish.is_grave(line) for line in one.lines)
    assert any(one.folded for one in page.tasks)


def test_a_room_in_short_bears_no_figure_of_vapour_and_what_the_figures_are_not(empty_yard):
    (room,) = page_of(yards.over(empty_yard)).rooms
    assert not re.search(r"\btimes\b|\d %(?! of the lower explosive limit)|ppm|mg/m³", room.headline)
    assert len(room.beside) == 2


def test_the_acts_come_before_what_it_is_about_and_the_test_before_the_hour(empty_yard):
    shown = client_of(yards.over(empty_yard)).get("/finish").text
    first = shown.index('class="do-now"')
    assert first < shown.index('class="warned-of"')
    then = re.search(r'<p class="warned-then">(.*?)</p>', shown, re.DOTALL).group(1)
    assert "calibrated instrument" in then and "<b" not in then and "<strong" not in then


def test_several_rooms_that_ask_for_the_same_are_one_line_with_each_room_named(empty_yard):
    yard = yards.over(empty_yard)
    yard.act(entries.add_place, "booth", kind="finish room", altitude_m=0, acknowledged=True, days_ago=50)
    yard.act(entries.say_finish_room, "booth", days_ago=40, **yards.SMALL)
    typed = {"finish": "lacquer", "litres": 1.0, "minutes": 20, "extraction_on": True}
    yard.act(entries.add_sprayed, "booth", days_ago=30 * yards.MINUTE, **typed)
    vapour = [one for one in page_of(yard).warnings if "Vapour" in one.where]
    assert [one.where for one in vapour] == ["Vapour in booth and vapour in spray"]
    assert {each.to for each in vapour[0].about} == {"/finish/room/booth", "/finish/room/spray"}


def test_the_shelf_says_what_has_to_be_known_before_a_can_is_opened(empty_yard):
    yard = empty_yard
    for code, sheet in (
        ("lacquer", yards.LACQUER),
        ("secret", yards.UNLISTED),
        ("hard", yards.HARDENED),
        ("unread", yards.UNREAD),
        ("oil", yards.OIL),
    ):
        yards.shelved(yard, code, sheet)
    held = shelf(yard)
    assert {code: bool(one.word) for code, one in held.items()} == {
        "lacquer": False,
        "secret": True,
        "hard": True,
        "unread": True,
        "oil": True,  # nothing is named in it that evaporates
    }
    assert "petrified moonlight is not in the tables" in " ".join(held["secret"].told)
    assert "air-fed" in held["hard"].told[0]
    assert "take it that they can" in held["unread"].told[-1]
    assert held["oil"].told[-1] == "A drying oil: its rags, filters and dust can heat themselves."
    yard.act(entries.close_finish, "secret")
    assert "secret" not in shelf(yard)


def test_what_is_not_known_of_a_finish_is_counted_and_not_dropped(empty_yard):
    many = {**yards.LACQUER, "ingredients": "\n".join(f"nonesuch {letter} 5-20" for letter in "abcd")}
    yards.shelved(empty_yard, "many", many)
    told = shelf(empty_yard)["many"].told
    rest = re.fullmatch(r"And (\d+) more that is not known\.", told[-1])
    with empty_yard.store.reading() as connection:
        (one,) = finish_now.finishes(connection)
    assert rest and int(rest.group(1)) + len(told) - 1 == len(finish_now.mixture_of(one.fact).unknowns())


# --- the demo --------------------------------------------------------------------------------------


@pytest.fixture
def demo(empty_yard):
    """The demo's yard, its air left out."""
    demo_story.enter(empty_yard.store, empty_yard.now_ms, empty_yard.now_ms)
    return empty_yard


def of_demo(demo, record):
    with demo.store.reading() as connection:
        return facts.standing(connection, record)


def test_the_demo_shows_one_that_is_judged_one_that_heats_itself_and_one_that_is_refused(demo):
    with demo.store.reading() as connection:
        held = {one.subject.code: one for one in finish_now.finishes(connection)}
    mixtures = {code: finish_now.mixture_of(one.fact) for code, one in held.items()}
    assert list(held) == ["plane-lacquer", "linseed", "two-part"]
    assert mixtures["plane-lacquer"].unknowns() == mixtures["linseed"].unknowns() == ()
    assert held["linseed"].fact.self_heating and mixtures["linseed"].refusal() is None
    assert mixtures["two-part"].refusal() is not None
    for one in of_demo(demo, FinishFact):
        assert "invented" in one.note and "invented" in one.sheet
    (room,) = page_of(demo).rooms
    assert room.sprayed and room.word == "OVER"


def test_the_demo_started_again_enters_what_has_happened_since_and_nothing_twice(demo):
    before = of_demo(demo, Sprayed)
    later_ms = demo.now_ms + 3 * MS_PER_DAY
    demo_story.enter(demo.store, demo.now_ms, demo.now_ms)
    assert of_demo(demo, Sprayed) == before
    with demo.store.writing() as connection:
        list(demo_finish.enter(connection, demo.now_ms, later_ms))
    after = of_demo(demo, Sprayed)
    assert len(after) > len(before) and len({one.true_at_ms for one in after}) == len(after)
    assert any(later_ms - one.true_at_ms < MS_PER_DAY for one in after)
    assert all(one.true_at_ms <= later_ms + MS_PER_HOUR for one in after)
