"""A board's page: what is in sight, what folds and says its headline, and where each thing leads."""

import html
import itertools
import re
from dataclasses import fields, replace
from types import SimpleNamespace

import pytest
from starlette.testclient import TestClient

from dashboards import display, entries, marks, projection, roles, situation, wood_warnings
from dashboards.answers import QUESTIONS
from dashboards.answers.records import Asked, filled
from dashboards.app import create_app
from dashboards.auth import SECRETS_NAME
from dashboards.desk import templates
from dashboards.lifted_entries import say_lifted
from dashboards.pages import acts, ahead, at_hand, board, harms
from kiln.pace import Pace
from kiln.records import Option, Standing
from kiln.standing import NO_CURVE, Danger, Dangers
from kiln.stress import LossLimit
from shared import tables
from shared.units import MS_PER_DAY

WET = {
    "species": "Platanus occidentalis",
    "thickness_mm": 52,
    "width_mm": 300,
    "length_mm": 2400,
    "cut": "flat-sawn",
    "origin": "water-reclaimed",
}
SEEN = {"water": "fresh", "sapwood": "sound", "shake": "no", "washed": True, "metal_searched": True}


def client_of(yard):
    app = create_app(yard.store, yard.settings, yard.folder / SECRETS_NAME, lambda: yard.now_ms)
    return TestClient(app, client=("127.0.0.1", 1), base_url="http://localhost", follow_redirects=False)


def page_of(yard, code="A1"):
    answer = client_of(yard).get(f"/board/{code}")
    assert answer.status_code == 200
    return html.unescape(answer.text)


def held(yard, code):
    now = situation.read(yard.store, yard.now_ms, yard.settings)
    return next(one for one in now.boards if one.subject.code == code)


# --- what is in sight ------------------------------------------------------------------------------


def test_verdict_entries_and_what_to_mind_come_before_all_else(yard):
    page = page_of(yard)
    order = ['class="verdict', 'class="for-use"', 'class="acts"', 'class="mind"', 'id="weighing"', 'id="entered"']
    at = [page.index(mark) for mark in order]
    assert at == sorted(at)


def test_each_way_to_an_entry_leads_to_a_place_on_the_page(yard):
    page = page_of(yard)
    nav = re.search(r'<nav class="acts".*?</nav>', page, re.DOTALL).group(0)
    named = re.findall(r'href="#([\w-]+)"', nav)
    assert named == ["weigh-in", "pin", "move", "outcome", "entries-to-make"]
    for one in [*named, *re.findall(r'<a href="#([\w-]+)"', page)]:
        assert len(re.findall(rf'\sid="{one}"', page)) == 1 or one == "page", one


def test_every_entry_about_a_board_has_its_form_once(yard):
    yard.act(entries.add_board, "W1", place="shed", days_ago=3, **WET)
    page = page_of(yard, "W1")
    for kind, act in acts.ACTS:
        if kind == "board":
            assert page.count(f'action="/board/W1/{act}"') == 1, act


def test_a_refused_entry_is_shown_in_unfolded_folds(yard):
    client = client_of(yard)
    token = re.search(r'name="csrf" value="([^"]+)"', client.get("/board/A1").text).group(1)
    page = client.post("/board/A1/pin", data={"mc_pct": "soaked", "by": "Ida", "csrf": token}).text
    assert '<details class="form" id="pin" open>' in page
    assert '<details class="fold" id="enter-measured" open>' in page
    assert '<details class="fold" id="enter-planned">' in page
    page = client.post("/board/A1/weigh-in", data={"mass": "heavy", "by": "Ida", "csrf": token}).text
    assert '<details class="fold" id="weighing" open>' in page


def test_three_entries_are_in_sight_and_no_other_is_lost(yard):
    for days in range(9, 3, -1):
        yard.act(entries.add_weigh_in, "A1", mass_g=4700 + 2 * days, days_ago=days)
    page = page_of(yard)
    newest, folded = page.split('id="entered-before"')
    assert newest.count('<li id="entry-') == board.NEWEST_SHOWN
    assert folded.count('<li id="entry-') == 9 - board.NEWEST_SHOWN
    assert "Entries: 9" in page and "The 6 before these" in page


def test_whoever_may_only_look_finds_no_way_to_a_form(yard, monkeypatch):
    looking = roles.may(roles.Role.LOOK)
    monkeypatch.setattr(roles, "may", lambda _role: looking)
    page = page_of(yard)
    assert "verdict" in page and 'id="cautions"' in page
    for gone in (
        'class="acts"',
        'id="weighing"',
        'id="entries-to-make"',
        'href="#use"',
        'href="#correct"',
        "/board/A1/pin",
    ):
        assert gone not in page, gone


# --- what to mind ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("kg", "shown"), [(15.4, False), (16.0, True)])
def test_a_board_that_is_a_lift_to_be_looked_at_says_its_weight(yard, kg, shown):
    """From 16 kg on: HSE INDG143, from memory."""
    yard.act(entries.add_board, "W1", place="shed", days_ago=3, **WET)
    yard.act(entries.add_weigh_in, "W1", mass_g=kg * 1000, days_ago=1, sure=True)
    told = [one.sentence for one in at_hand.to_mind(held(yard, "W1"), yard.now_ms) if one.name == "Heavy"]
    assert bool(told) is shown
    assert all(one.startswith(f"9 in 10 stay below {kg:.0f} kg: ") for one in told)
    assert all("weighed 24 h ago. Use gear" in one for one in told)


@pytest.mark.parametrize(("share", "shown"), [(0.99, False), (1.02, True)])
def test_a_weight_above_what_sound_wood_can_hold_is_remarked_on_and_worked_out_alike(yard, share, shown):
    yard.act(entries.add_board, "W1", place="shed", days_ago=3, **WET)
    fact = held(yard, "W1").fact
    wood = tables.species()[fact.species]
    # Wood Handbook FPL-GTR-282, 2021, Equation 4-3: a cell wall of 1.54 leaves 1000 + 351 G [kg/m³].
    full_kg = fact.volume_m3 * (1000.0 + 1000.0 * wood.basic_specific_gravity * (1.0 - 1.0 / 1.54))
    yard.act(entries.add_weigh_in, "W1", mass_g=share * full_kg * 1000, days_ago=1, sure=True)
    told = f"its last weight, {share * full_kg:.1f} kg, is more than the {full_kg:.1f} kg that sound wood"
    assert (told in page_of(yard, "W1")) is shown
    now = situation.read(yard.store, yard.now_ms, yard.settings)
    flags = QUESTIONS["lifting"].answer(filled(QUESTIONS["lifting"], Asked({"board": "W1"}, now))).flags
    assert any(told[1:] in one for one in flags) is shown


@pytest.mark.parametrize(
    ("limit", "counts", "standing", "told"),
    [
        (None, True, None, "no limit known for this wood"),
        (2.2, True, Standing.UNDER, "survives about 2.2 % a day"),
        (2.2, True, Standing.OVER, "over: survives about 2.2 % a day"),
        (2.2, False, None, "no limit counts below 25 %"),
    ],
)
def test_beside_the_pace_stands_what_the_wood_survives(limit, counts, standing, told):
    most = None if limit is None else LossLimit(limit, "a table", "from memory")
    assert board._survives(Pace((0.9, 1.0, 1.1), most, 25.0, counts, standing)) == told


def test_a_soaked_board_that_nobody_weighed_says_its_weight_with_its_band(yard):
    yard.act(entries.add_board, "W1", place="shed", days_ago=3, **WET)
    (told,) = [one.sentence for one in at_hand.to_mind(held(yard, "W1"), yard.now_ms) if one.name == "Heavy"]
    assert re.match(r"If it is still soaked, 9 in 10 stay below \d+ kg, mud not counted; ", told)
    assert re.search(r" \d+–\d+ kg holds 8 in 10; not weighed in these sizes\.", told)


def test_what_presses_comes_first_dust_last_and_never_more_than_three(yard):
    yard.act(entries.add_board, "W1", place="shed", days_ago=3, **WET)
    assert [one.name for one in at_hand.to_mind(held(yard, "W1"), yard.now_ms)] == ["Heavy", "Metal and grit", "Dust"]
    yard.act(say_lifted, "W1", days_ago=3, smell="sour or sulphurous", **SEEN)
    assert [one.name for one in at_hand.to_mind(held(yard, "W1"), yard.now_ms)] == ["Heavy", "Dust"]
    assert [one.name for one in at_hand.first_of_all(held(yard, "W1"))] == ["Foul smell"]


def test_what_is_to_be_minded_goes_back_to_a_caution_on_the_same_page(yard):
    yard.act(entries.add_board, "W1", place="shed", days_ago=3, **WET)
    yard.act(say_lifted, "W1", days_ago=3, smell="tar or creosote", **SEEN)
    page = page_of(yard, "W1")
    below = page[page.index('id="cautions"') :]
    found = (*at_hand.first_of_all(held(yard, "W1")), *at_hand.to_mind(held(yard, "W1"), yard.now_ms))
    assert "Tar" in [one.name for one in found]
    for one in found:
        rows = [row["sentence"] for row in tables.rows("cautions") if row["topic"] == one.topic]
        assert rows and all(sentence in below for sentence in rows), one


def test_a_wood_is_named_for_its_dust_and_the_table_of_cautions_names_none_that_is_not_listed(yard):
    """The table of cautions names western redcedar and rosewoods: common practice, no source."""
    (row,) = [one for one in tables.rows("cautions") if one["topic"] == "dust" and "sensitise" in one["sentence"]]
    assert "western redcedar, rosewoods" in row["sentence"]
    for name in ("Thuja plicata", "Dalbergia latifolia", "Dalbergia nigra"):
        assert wood_warnings.sensitising(name), name
    (dust,) = [one for one in at_hand.to_mind(held(yard, "A1"), yard.now_ms) if one.name == "Dust"]
    assert wood_warnings.line_of("Fraxinus americana") in dust.sentence


def test_each_field_of_its_records_says_what_it_is():
    for record in (at_hand.Mind, at_hand.FormGroup, harms.Harms, harms.TellsView, ahead.Ahead):
        assert all(one.metadata.get("help") for one in fields(record)), record


# --- what folds ------------------------------------------------------------------------------------


def danger(name, standing):
    return Danger(name, standing, "figure", "Reason.", "", "Step.", "from memory", None)


def harms_of(*dangers):
    found = Dangers(dangers, NO_CURVE, NO_CURVE, (), "Balance.", ())
    return harms.harms(SimpleNamespace(dangers=found), "A1", "1", 0)


def rendered(one):
    return templates().get_template("_harms.html").render(one=one)


def test_what_is_over_its_limit_is_never_folded():
    one = harms_of(danger("mould", Standing.NEAR), danger("blue stain", Standing.OVER))
    told = rendered(one)
    assert told.index('<section id="harms"') < told.index("Blue stain:") < told.index("<details")
    assert one.near_told == f"Mould {Standing.NEAR.value}"


def test_what_is_near_its_limit_is_told_while_folded():
    one = harms_of(danger("mould", Standing.NEAR), danger("collapse", Standing.NOT_KNOWN), danger("x", Standing.UNDER))
    summary = re.search(r"<summary>.*?</summary>", rendered(one), re.DOTALL).group(0)
    assert f"mould {Standing.NEAR.value}; collapse {Standing.NOT_KNOWN.value}" in summary
    assert "nothing is near a limit that is known" in rendered(harms_of(danger("x", Standing.UNDER)))


def test_a_date_that_does_not_come_says_on_what_that_hangs(yard):
    yard.log("north", 60, t=12.0)
    projection.refresh(yard.store, held(yard, "A1").subject.id, yard.now_ms)
    made, later = held(yard, "A1").projection, yard.now_ms + 30 * MS_PER_DAY
    never = (("as likely as not", "not within a year"), ("8 in 10", "not within a year"))
    stays = replace(made, ready_ms=(None, None, None), move=None, legs=())
    assert ahead._dates_told(never, stays, yard.now_ms) == "not within a year, if it stays"
    planned = replace(stays, legs=((later, "Bench room"),))
    assert ahead._dates_told(never, planned, yard.now_ms) == "not within a year, as planned"
    fit_ms = later + 20 * MS_PER_DAY
    move = Option("to Bench room", later, (None, fit_ms, None), 0.9, *[(1.0, 2.0, 3.0)] * 4)
    told = ahead._dates_told(never, replace(stays, move=move), yard.now_ms)
    days = [display.day(one, yard.now_ms) for one in (later, fit_ms)]
    assert told == f"not within a year, if it stays; if moved on {days[0]} to Bench room: {days[1]}, as likely as not"


def test_dates_are_told_once_where_they_are_the_same():
    same = (("as likely as not", "now"), ("8 in 10", "now"), ("95 in 100", "now"))
    assert ahead._told_once(same) == "now"
    apart = (("as likely as not", "by 3 Dec"), ("8 in 10", "by 9 Dec"), ("95 in 100", "by 9 Dec"))
    assert ahead._told_once(apart) == "as likely as not by 3 Dec; 8 in 10 and 95 in 100 by 9 Dec"


# --- the board cut through -------------------------------------------------------------------------


def textures(drawn):
    found = re.findall(r'<rect x="([\d.]+)" y="30" width="([\d.]+)" height="54" fill="([^"]+)"', str(drawn))
    return [(float(x), float(wide), fill) for x, wide, fill in found if fill != "none"]


def test_the_section_has_more_ink_where_there_is_more_water():
    drawn = marks.split_tile([0.0, 0.5, 1.0], [10.0, 18.0, 40.0], 12.0, 38.0, "t")
    fills = [fill for _x, _wide, fill in textures(drawn)]
    assert fills == fills[::-1]  # one half told: the other is its mirror
    assert fills[: len(fills) // 2 + 1] == [marks.PAPER, "url(#t-open)", "url(#t-close)", "url(#t-dots)"]
    assert "shell 12.0 %" in drawn and "core 38 %" in drawn


def test_the_section_reaches_from_face_to_face_without_a_gap():
    found = textures(marks.split_tile([0.0, 1.0, 2.0], [40.0, 20.0, 8.0], 24.0, 20.0, "t"))
    assert found[0][0] == pytest.approx(marks.LEFT)
    assert found[-1][0] + found[-1][1] == pytest.approx(marks.RIGHT, abs=0.1)
    for (x, wide, _), (after, _wide, _fill) in itertools.pairwise(found):
        assert x + wide == pytest.approx(after, abs=0.11)
    assert found[0][2] == "url(#t-dots)" and found[-1][2] == marks.PAPER  # both faces told: no mirror


@pytest.mark.parametrize(("low", "below"), [(9.7, True), (30.0, False), (5.0, False)])
def test_the_words_at_the_target_keep_off_the_band(low, below):
    """Target 9.3 %: its line and its words, where the band begins just above it, far above it, or under it."""
    drawn = str(marks.profile([0.0, 1.0], [low] * 2, [low + 1] * 2, [low + 2] * 2, 9.3, 40.0, 32.0))
    line = float(re.search(r'd="M42\.0 ([\d.]+)H332\.0" stroke="#1b1b1b" stroke-width="1\.6"', drawn).group(1))
    words = float(re.search(r'y="([\d.]+)" text-anchor="end" font-size="13">target', drawn).group(1))
    assert (words > line) is below
