"""What boards and stacks weigh before they are lifted, and the page of the other ways to get hurt."""

from __future__ import annotations

import json
import math
import re
from dataclasses import fields

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboards import entries, heavy, safety, situation, tasks
from dashboards.lifted_entries import say_lifted
from dashboards.pages import at_hand, hurt
from dashboards.terminal import cautions
from kiln import lifting, sawing
from kiln.control import Control
from shared.tables import constants, held_species
from tests.dashboards.commands import benchdry
from tests.dashboards.test_app import client_of, plain

COMFORT = re.compile(r"\b(safe|safely|ok|okay|all clear|you may|go ahead|guaranteed)\b|[✓✔]", re.IGNORECASE)
LOG = {
    "species": "Quercus rubra",
    "thickness_mm": 300,
    "width_mm": 320,
    "length_mm": 2400,
    "cut": "flat-sawn",
    "origin": "water-reclaimed",
}
SEEN = {"water": "fresh", "sapwood": "none on it", "shake": "no"}
LOG_M3 = 0.300 * 0.320 * 2.400


def now_of(yard):
    return situation.read(yard.store, yard.now_ms, yard.settings)


def mass_of(yard, code):
    now = now_of(yard)
    return heavy.of_board(next(one for one in now.boards if one.subject.code == code), now.now_ms)


def page_of(yard, path):
    got = client_of(yard).get(path)
    assert got.status_code == 200, got.text[:400]
    return plain(got.text)


def words(page: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", page[page.index("<main") : page.index("</main>")]).split())


# --- from which mass on ----------------------------------------------------------------------------


def test_the_lowest_published_figure_decides():
    """HSE INDG143: 16 and 25 kg, from memory; NIOSH 94-110, 1994: 23 kg."""
    assert [constants("reclaimed")[name].value for name in hurt.GUIDES] == [16, 25, 23]
    assert lifting.looked_at_kg() == 16
    assert lifting.control_of(16.0) is Control.OVER
    assert lifting.control_of(15.9) is Control.NOT_SHOWN
    assert lifting.control_of(None) is Control.CANT_SAY
    assert lifting.control_of(math.nan) is Control.CANT_SAY


@given(st.floats(0.0, 1e4), st.floats(0.0, 1e4))
def test_more_mass_never_lowers_the_word(one_kg, other_kg):
    order = list(Control)
    light, heavy_one = sorted((one_kg, other_kg))
    assert order.index(lifting.control_of(heavy_one)) <= order.index(lifting.control_of(light))


@given(st.floats(0.1, 500.0), st.floats(0.01, 0.3), st.floats(0.0, 150.0), st.floats(0.0, 40.0))
def test_water_and_dry_wood_make_a_band_around_their_product(dry_kg, cv, mc, half):
    low, middle, high = lifting.with_water_kg(
        (dry_kg * (1 - cv), dry_kg, dry_kg * (1 + cv)), (max(0.0, mc - half), mc, mc + half)
    )
    assert middle == pytest.approx(dry_kg * (1 + mc / 100))
    assert 0 <= low <= middle <= high
    # no wider than both ends together, no narrower than either by itself
    assert high <= dry_kg * (1 + cv) * (1 + (mc + half) / 100) + 1e-9
    assert high - middle >= max(dry_kg * cv * (1 + mc / 100), dry_kg * half / 100) - 1e-9


# --- boards ----------------------------------------------------------------------------------------


def test_a_board_just_weighed_weighs_that_give_or_take_the_scale(yard):
    yard.act(entries.add_weigh_in, "A2", mass_g=5210, scale_error_g=50, days_ago=0)
    found = mass_of(yard, "A2")
    assert found.kg == pytest.approx((5.21 - 0.0641, 5.21, 5.21 + 0.0641), abs=1e-3)
    assert found.how.startswith("weighed 5.2 kg just now")
    assert found.control is Control.NOT_SHOWN
    assert heavy.before_lifting(found, yard.now_ms) == ""


def test_wood_out_of_the_water_never_weighed_counts_as_soaked(yard):
    yard.act(entries.add_board, "L1", place="shed", days_ago=3, **LOG)
    found = mass_of(yard, "L1")
    assert found.soaked
    # a log of red oak with 9 cavities in 10 full: between its green mass and that of every cavity full, over 1 t/m³
    assert found.most_kg == pytest.approx(sawing.mass(LOG_M3, held_species("Quercus rubra")).kg[2])
    assert 1000 * LOG_M3 < found.most_kg < 1250 * LOG_M3
    assert found.control is Control.OVER
    assert heavy.before_lifting(found, yard.now_ms).endswith("not weighed in these sizes. Use gear, or enough people.")
    yard.act(entries.add_weigh_in, "L1", mass_g=215_000, days_ago=0)
    weighed = mass_of(yard, "L1")
    assert not weighed.soaked
    assert weighed.most_kg < found.most_kg


def test_a_weight_of_other_sizes_is_not_told_of_these(yard):
    yard.act(entries.add_board, "L1", place="shed", days_ago=9, **LOG)
    yard.act(entries.add_weigh_in, "L1", mass_g=215_000, days_ago=8)
    yard.act(entries.trim_board, "L1", width_mm=160, length_mm=2400, days_ago=2)
    found = mass_of(yard, "L1")
    assert "215" not in found.how
    assert found.most_kg < 150


def test_a_light_weight_that_is_old_and_not_reckoned_on_says_nothing_of_wood_that_could_soak(yard):
    size = {**LOG, "thickness_mm": 50, "width_mm": 300}
    yard.act(entries.add_board, "L1", place="shed", days_ago=20, **size)
    yard.act(entries.add_weigh_in, "L1", mass_g=15_200, days_ago=9)
    found = mass_of(yard, "L1")
    assert found.control is Control.CANT_SAY
    assert heavy.before_lifting(found, yard.now_ms).startswith(
        "What it weighs now can't be said: weighed 15 kg 9 days ago"
    )


# --- stacks ----------------------------------------------------------------------------------------


def test_a_stack_is_the_sum_of_its_boards_and_is_scaled_to_those_not_entered(yard):
    one, other = mass_of(yard, "A1"), mass_of(yard, "A2")
    now = now_of(yard)
    found = heavy.of_stack(now.stacks[0], now.now_ms)
    assert found.mass.kg[1] == pytest.approx(one.kg[1] + other.kg[1])
    assert found.mass.most_kg == pytest.approx(one.most_kg + other.most_kg)
    yard.act(entries.change_stack, "S1", boards_in_all=10)
    now = now_of(yard)
    assert heavy.of_stack(now.stacks[0], now.now_ms).mass.kg[1] == pytest.approx(5 * found.mass.kg[1])
    assert "taken 5 times for the 10 that lie in it" in heavy.of_stack(now.stacks[0], now.now_ms).counted


def test_an_empty_stack_has_no_mass(yard):
    yard.act(entries.add_stack, "S2", place="shed", days_ago=1)
    now = now_of(yard)
    assert heavy.of_stack(next(one for one in now.stacks if one.subject.code == "S2"), now.now_ms) is None


# --- the page --------------------------------------------------------------------------------------


def test_the_page_says_first_and_last_what_it_does_not_replace_and_has_every_anchor(yard):
    page = page_of(yard, "/hurt")
    told = words(page)
    assert told.index(safety.FIRST_LINE) < told.index("What it weighs") < told.index(safety.LAST_LINE)
    for anchor in ("lifting", *(one[0] for one in hurt.HAZARDS)):
        assert page.count(f'id="{anchor}"') == 1, anchor
        assert f'href="#{anchor}"' in page
    for figure in ("16 kg", "23 kg", "25 kg"):
        assert figure in told


def test_every_reminder_of_its_topics_stands_on_it_with_its_source(yard):
    told = words(page_of(yard, "/hurt"))
    for _key, topic, _shown, _short in (*hurt.HAZARDS, ("lifting", "heavy-boards", 0, "")):
        for one in safety.on_topic(topic):
            assert one.sentence in told
            assert one.source in told


def test_what_is_over_and_what_comes_before_the_work_is_never_folded(yard):
    yard.act(entries.add_board, "L1", place="shed", days_ago=3, **LOG)
    yard.act(say_lifted, "L1", days_ago=3, smell="sour or sulphurous", **SEEN)
    page = page_of(yard, "/hurt")
    open_part = words(re.sub(r"<details.*?</details>", "", page, flags=re.DOTALL))
    assert re.search(r"OVER L1 9 in 10 below \d+ kg", open_part)
    assert "L1 smelt sour or sulphurous when it was lifted" in open_part
    assert "Nobody entered that it was searched for metal: L1." in open_part
    here = set(hurt.here_now(now_of(yard)))
    assert {"gas", "grit"} <= here
    for key, topic, shown, _short in hurt.HAZARDS:
        for one in safety.on_topic(topic)[: shown if key in here or key in hurt.ALWAYS else 1]:
            assert one.sentence in open_part


def test_what_lights_or_poisons_is_shown_in_full_in_an_empty_yard_and_a_kiln_brings_all_its_lines(yard):
    shown = {one.key: one for one in hurt.hurt_page(now_of(yard)).hazards}
    assert not shown["rags"].more and len(shown["gas"].before) == 2 and len(shown["gun"].before) >= 4
    always = " ".join(one.sentence for one in shown["kiln"].before)
    assert "Hot, damp air overcomes" in always and "door shut, heat and fans off, everybody out" in always
    assert "Never alone" not in always
    yard.act(entries.add_place, "kiln", kind="kiln", days_ago=1)
    shown = {one.key: one for one in hurt.hurt_page(now_of(yard)).hazards}
    told = " ".join(one.sentence for one in shown["kiln"].before)
    assert "locked off" in told and "Never alone" in told and "air is tested" in told and "escape door" in told
    assert "Hot, damp air" in told and "Smoke" in told


def test_boards_stand_heaviest_first_with_what_is_known_of_them(yard):
    yard.act(entries.add_board, "L1", place="shed", days_ago=3, **LOG)
    yard.act(entries.add_board, "L2", place="shed", days_ago=3, **{**LOG, "thickness_mm": 200})
    shown = hurt.hurt_page(now_of(yard))
    assert [one.name for one in shown.boards] == ["L1", "L2"]
    assert shown.over == "2 boards may weigh 16 kg or more: use gear, or enough people."
    assert shown.others.startswith("2 other boards, up to ")
    assert "L1" in shown.drawing


def test_a_stack_is_a_figure_for_floor_and_gear_and_is_never_over(yard):
    """A stack of a tonne is no lift for one person: a published figure of such a lift says nothing of it."""
    yard.act(entries.change_stack, "S1", boards_in_all=200)
    shown = hurt.hurt_page(now_of(yard))
    (stack,) = shown.stacks
    assert re.fullmatch(r"up to [\d ]+ kg", stack.figure) and "taken 100 times" in stack.told
    assert not shown.groups and not shown.boards
    told = words(page_of(yard, "/hurt"))
    assert "OVER" not in told and "for floor, bearers and gear" in told
    assert shown.over == "No board here is likely to weigh 16 kg or more."
    assert "NOT SHOWN TO BE UNDER CONTROL" in told
    assert "OVER" not in words(page_of(yard, "/stack/S1")).split("for floor, bearers and gear")[0][-200:]


def test_where_something_cant_be_said_no_board_of_the_others_is_likely_to(yard):
    size = {**LOG, "thickness_mm": 50, "width_mm": 300}
    yard.act(entries.add_board, "L1", place="shed", days_ago=20, **size)
    yard.act(entries.add_weigh_in, "L1", mass_g=15_200, days_ago=9)
    shown = hurt.hurt_page(now_of(yard))
    assert shown.over == (
        "No board of which it can be said is likely to weigh 16 kg or more. Of 1 it can't be said: weigh it with gear."
    )
    assert [one.word for one in shown.groups] == ["CAN'T SAY"]


def test_a_yard_with_nothing_in_it_keeps_the_reminders(empty_yard):
    shown = hurt.hurt_page(now_of(empty_yard))
    assert shown.over == "No board is entered: what it weighs can be worked out before it is lifted."
    assert not shown.drawing
    assert not shown.boards
    assert all(one.before for one in shown.hazards)
    assert "Other ways to get hurt" in page_of(empty_yard, "/hurt")


def test_nothing_on_it_comforts(yard):
    for smell in ("none", "sour or sulphurous", "tar or creosote"):
        code = f"L-{smell[:4].strip()}"
        yard.act(entries.add_board, code, place="shed", days_ago=3, **LOG)
        yard.act(say_lifted, code, days_ago=3, smell=smell, **SEEN)
    told = words(page_of(yard, "/hurt"))
    assert not COMFORT.search(told), COMFORT.search(told)
    assert "READY" not in told


def test_each_field_of_its_records_says_what_it_is():
    for record in (hurt.HurtPage, hurt.Hazard, hurt.Here, hurt.Guide, hurt.HeavyLine, hurt.HeavyGroup, hurt.StackLine):
        assert all(one.metadata.get("help") for one in fields(record)), record


# --- where it is said before it is lifted ----------------------------------------------------------


def test_a_heavy_board_says_so_on_its_page_in_the_round_on_its_pad_and_on_the_sheet(yard):
    yard.act(entries.add_board, "L1", place="shed", days_ago=3, **LOG)
    short = heavy.in_short(mass_of(yard, "L1"))
    assert re.fullmatch(r"9 in 10 below \d+ kg if soaked\. Use gear\.", short)
    assert words(page_of(yard, "/weigh")).count(short) == 1
    assert f'data-heavy="{short}"' in page_of(yard, "/weigh")
    assert words(page_of(yard, "/weigh?board=L1")).count(short) == 2  # on the pad and in the list
    assert words(page_of(yard, "/weigh/sheet")).count(short) == 1
    page = page_of(yard, "/board/L1")
    assert page.index("<b>Heavy</b>") < page.index('id="weighing"')
    assert 'href="/hurt#lifting"' in page
    assert "Use gear" not in words(page_of(yard, "/board/A1"))


def test_the_weight_is_never_crowded_out_by_other_dangers(yard):
    yard.act(entries.add_board, "L1", place="shed", days_ago=3, **LOG)
    yard.act(say_lifted, "L1", days_ago=3, smell="tar or creosote", **SEEN)
    yard.act(entries.add_outcome, "L1", kind="mould", degree="bad", days_ago=1)
    now = now_of(yard)
    board = next(one for one in now.boards if one.subject.code == "L1")
    assert "Heavy" in [one.name for one in at_hand.to_mind(board, now.now_ms)]


def test_mould_counts_until_somebody_finds_none(yard):
    said = "Mould found on it, or air in which it grows: A1."
    assert said not in words(page_of(yard, "/hurt"))
    yard.act(entries.add_outcome, "A1", kind="mould", degree="slight", days_ago=2)
    assert said in words(page_of(yard, "/hurt"))
    assert tasks.MOULDY in tasks.of_boards(now_of(yard))
    yard.act(entries.add_outcome, "A1", kind="mould", degree="none", days_ago=1)
    assert said not in words(page_of(yard, "/hurt"))
    assert tasks.MOULDY not in tasks.of_boards(now_of(yard))


# --- in the terminal -------------------------------------------------------------------------------


def named(yard):
    """The yard with settings that name its store."""
    (yard.folder / "benchdry.toml").write_text('store = "yard.sqlite3"\n', encoding="utf-8")
    return yard


def test_the_terminal_tells_the_same_masses_and_comforts_nobody(yard):
    named(yard)
    yard.act(entries.add_board, "L1", place="shed", days_ago=3, **LOG)
    told = benchdry(yard, "heavy")
    plain = " ".join(told.split())
    assert plain.index(safety.FIRST_LINE) < plain.index("L1") < plain.index(safety.LAST_LINE)
    assert f"OVER {heavy.headline(mass_of(yard, 'L1'))}" in plain
    assert not COMFORT.search(plain)
    read = json.loads(benchdry(yard, "heavy", "--json"))
    assert read["boards"]["L1"]["control"] == "over"
    assert read["boards"]["L1"]["most_kg"] == pytest.approx(mass_of(yard, "L1").most_kg)
    assert set(read["stacks"]) == {"S1"}
    assert "control" not in read["stacks"]["S1"]


@pytest.mark.parametrize("topic", sorted(safety.TOPIC_TITLES))
def test_each_topic_can_be_read_in_the_terminal_with_its_sources(yard, topic):
    plain = " ".join(benchdry(named(yard), "cautions", topic).split())
    assert safety.FIRST_LINE in plain
    assert safety.LAST_LINE in plain
    assert not COMFORT.search(plain)
    for one in safety.on_topic(topic):
        if topic not in cautions.TODAY or one.applies_to == tasks.ANY:
            assert one.sentence in plain
            assert one.source in plain


@pytest.mark.parametrize("topic", cautions.TODAY)
def test_where_there_is_no_yard_no_line_is_left_out(empty_yard, topic):
    (empty_yard.folder / "benchdry.toml").write_text('store = "none.sqlite3"\n', encoding="utf-8")
    plain = " ".join(benchdry(empty_yard, "cautions", topic).split())
    assert all(one.sentence in plain for one in safety.on_topic(topic))


def test_topics_are_named_and_another_is_refused(yard):
    told = benchdry(yard, "cautions")
    assert all(topic in told for topic in safety.TOPIC_TITLES)
    assert "topic is fog; accepted: one of dust" in benchdry(yard, "cautions", "fog", code=2)
