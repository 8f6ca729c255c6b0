"""Tar, gas and weight where hands meet the wood: told above the verdict, on the stack, in the round, in Do today."""

import re

import pytest

from dashboards import entries, heavy, situation, smelt
from dashboards.lifted_entries import say_lifted
from dashboards.pages import in_few_words, out_of_water, today
from kiln import reclaimed
from kiln.records import Verdict, Word
from tests.dashboards.test_app import client_of, words_of

WET = {
    "species": "Platanus occidentalis",
    "thickness_mm": 52,
    "width_mm": 300,
    "length_mm": 2400,
    "cut": "flat-sawn",
    "origin": "water-reclaimed",
}
SEEN = {"water": "fresh", "sapwood": "sound", "shake": "no", "washed": True, "metal_searched": True}
TARRED, FOUL = "tar or creosote", "sour or sulphurous"
TAR_FIRST = "Do not saw it until you have asked your authority; never indoors. Gloves."


def page_of(yard, path):
    answer = client_of(yard).get(path)
    assert answer.status_code == 200
    return answer.text


def now_of(yard):
    return situation.read(yard.store, yard.now_ms, yard.settings)


def board_of(yard, code):
    return next(one for one in now_of(yard).boards if one.subject.code == code)


def smelt_yard(yard, smell, **where):
    yard.act(entries.add_board, "W1", days_ago=5, **WET, **(where or {"place": "shed"}))
    yard.act(say_lifted, "W1", days_ago=4, smell=smell, **SEEN)
    return yard


def test_a_tarred_board_says_so_before_its_verdict_and_its_buttons(yard):
    told = words_of(page_of(smelt_yard(yard, TARRED, stack="S1"), "/board/W1"))
    assert told.index(TAR_FIRST) < told.index("Next ") < told.index("Found something")
    assert board_of(yard, "W1").verdict.next_step.startswith(reclaimed.TARRED)
    assert "tarred, so ask first" in told


def test_of_foul_wood_the_doors_come_first_and_nobody_is_sent_in(yard):
    told = words_of(page_of(smelt_yard(yard, FOUL), "/board/W1"))
    order = ["open the doors from outside", "let it air", "nobody goes in alone", "only then the wood"]
    at = [told.index(one) for one in order]
    assert at == sorted(at) and at[-1] < told.index("Found something")
    assert "into the open air" not in told[: told.index("Found something")]


def test_a_board_sawn_from_a_tarred_log_is_tarred(yard):
    smelt_yard(yard, TARRED)
    yard.act(entries.rip_board, "W1", kerf_mm=4, piece="W2", days_ago=1)
    assert smelt.topics(board_of(yard, "W2")) == (reclaimed.TAR_TOPIC,)


@pytest.mark.parametrize("smell", ["none", "unknown"])
def test_wood_that_smelt_of_neither_says_nothing(yard, smell):
    smelt_yard(yard, smell, stack="S1")
    board = board_of(yard, "W1")
    assert smelt.topics(board) == () and smelt.in_short(board) == ""
    assert "first-of-all" not in page_of(yard, "/board/W1") + page_of(yard, "/stack/S1")


@pytest.mark.parametrize(("smell", "short"), [(TARRED, smelt.TAR_SHORT), (FOUL, smelt.FOUL_SHORT)])
def test_it_stands_on_the_stack_in_the_round_and_on_paper(yard, smell, short):
    smelt_yard(yard, smell, stack="S1")
    stack = page_of(yard, "/stack/S1")
    open_part = words_of(re.sub(r"<details.*?</details>", "", stack, flags=re.DOTALL))
    assert re.search(r"(Tar|Foul smell) W1: ", open_part) and short in words_of(stack)
    for path in ("/weigh", "/weigh/sheet"):
        assert short in words_of(page_of(yard, path)), path
    assert f'data-heavy="{short}' in page_of(yard, "/weigh")


def test_what_to_do_today_names_it_once_a_stack(yard):
    smelt_yard(yard, TARRED, stack="S1")
    yard.act(entries.add_board, "W2", days_ago=5, stack="S1", **WET)
    yard.act(say_lifted, "W2", days_ago=4, smell=TARRED, **SEEN)
    now = now_of(yard)
    found = today.today(now, [*now.stacks, *now.boards])
    (one,) = [task for task in (*found.tasks, *found.folded) if task.cause.startswith("Tar")]
    assert one.who == "W1 and W2" and one.cause == "Tar in S1." and one.doing == TAR_FIRST and one.to == "/stack/S1"


def test_in_few_words_nothing_of_tar_is_left_out():
    step = f"{reclaimed.TARRED} Move it to the loft now (about 1.1 % a day there), then cover it loosely."
    verdict = Verdict(Word.STOP, "2.6 %/day", "", step)
    assert in_few_words.doing(verdict) == f"{reclaimed.TARRED} Move it to the loft now, then cover it loosely."
    assert in_few_words.act(verdict) == f"{reclaimed.TARRED} Move it to the loft now"


# --- weight ----------------------------------------------------------------------------------------


def test_a_stack_says_beside_move_what_it_weighs_and_never_over(yard):
    yard.act(entries.add_board, "W1", days_ago=5, stack="S1", **WET)
    told = words_of(page_of(yard, "/stack/S1"))
    assert re.search(r"Move it up to \d+ kg in all", told)
    assert re.search(r"Heaviest board: W1, 9 in 10 below \d+ kg", told)
    assert "OVER" not in told
    rows = re.findall(r"weighed [^;]{1,30}; 9 in 10 below [\d.]+ kg", told)
    assert len(rows) == 3


def test_a_board_never_weighed_shows_what_it_is_reckoned_to_weigh_with_its_soaked_end(yard):
    yard.act(entries.add_board, "W1", place="shed", days_ago=5, **WET)
    reckoned = heavy.reckoned(heavy.of_board(board_of(yard, "W1"), yard.now_ms))
    assert re.fullmatch(
        r"reckoned as soaked about \d+ kg; \d+–\d+ kg holds 8 in 10, mud not counted",
        reckoned,
    )
    half_dry = heavy.Mass((20.0, 24.0, 28.0), 44.0, "", None, soaked=True)
    assert heavy.reckoned(half_dry) == (
        "reckoned about 24 kg; 20–28 kg holds 8 in 10; still soaked 9 in 10 stay below 44 kg, mud not counted"
    )
    assert heavy.reckoned(heavy.Mass((20.0, 24.0, 28.0), 28.0, "", None, soaked=False)) == (
        "reckoned about 24 kg; 20–28 kg holds 8 in 10"
    )
    assert heavy.reckoned(heavy.Mass(None, None, "", None, soaked=False)) == ""
    for path in ("/weigh", "/weigh/sheet", "/board/W1"):
        assert reckoned in words_of(page_of(yard, path)), path
    yard.act(entries.add_weigh_in, "W1", mass_g=30_000, days_ago=1)
    assert "reckoned" not in words_of(page_of(yard, "/weigh?board=W1"))


# --- how it came out of the water ------------------------------------------------------------------


def test_a_water_reclaimed_board_asks_first_how_it_came_out_until_somebody_smelt_it(yard):
    yard.act(entries.add_board, "W1", place="shed", days_ago=5, **WET)
    page = page_of(yard, "/board/W1")
    assert f'href="#lifted">{out_of_water.ASK}<' in page[: page.index("Found something")]
    assert page.index(out_of_water.ASK) < page.index('aria-label="Verdict"')
    yard.act(say_lifted, "W1", days_ago=4, smell="unknown", **SEEN)
    assert out_of_water.ASK in page_of(yard, "/board/W1")
    yard.act(say_lifted, "W1", days_ago=4, smell="none", **SEEN)
    assert out_of_water.ASK not in page_of(yard, "/board/W1")


# --- the oven --------------------------------------------------------------------------------------


def test_what_comes_before_oven_drying_stands_before_anything_is_asked_and_at_the_boards_form(yard):
    page = words_of(page_of(yard, "/work-out/oven-dry"))
    asks = page.index("Section when cut")
    for one in ("Never leave an oven with wood in it unattended", "Ventilate", "Not in an oven that food goes into"):
        assert page.index(one) < asks, one
    assert "Not in an oven that food goes into; ventilate; never leave it unattended." in words_of(
        page_of(yard, "/board/A1")
    )
