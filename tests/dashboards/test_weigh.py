"""Weighing: the round, its order and its sheet; what a board ought to weigh; and the form without script."""

from __future__ import annotations

import re
from dataclasses import fields
from statistics import NormalDist

import numpy as np
import pytest
from starlette.testclient import TestClient

from dashboards import assets, board_entries, display, entries, projection, situation
from dashboards.app import create_app
from dashboards.auth import SECRETS_NAME
from dashboards.pages import weigh
from dashboards.weigh_routes import SHELL
from dashboards.yard_entries import read_entries
from kiln import ensemble, next_weight
from kiln.records import three
from shared.errors import BadInput
from shared.store import facts
from shared.store.records import SubjectKind, WeighIn

LONGEST_SCRIPTS_BYTES = 25 * 1024


@pytest.fixture
def client(yard):
    app = create_app(yard.store, yard.settings, yard.folder / SECRETS_NAME, lambda: yard.now_ms)
    return TestClient(app, client=("127.0.0.1", 1), base_url="http://localhost", follow_redirects=False)


def now(yard):
    return situation.read(yard.store, yard.now_ms, yard.settings)


def project(yard, code="A1"):
    with yard.store.reading() as connection:
        board = facts.subject(connection, SubjectKind.BOARD, code)
    projection.refresh(yard.store, board.id, yard.now_ms, yard.settings)
    return board


# --- what a board ought to weigh ---


def without_the_last_weight(yard):
    """Take back the last of the yard's weights, which its air cannot bring about."""
    with yard.store.reading() as connection:
        last = facts.standing(connection, WeighIn)[-1]
    yard.act(entries.undo, "weigh-in", last.id)


@pytest.mark.parametrize("grams", [None, 5050])
def test_the_expected_weight_is_that_of_the_ensembles_own_members(yard, grams):
    """Against the members themselves: each one's oven-dry mass times what it holds now."""
    without_the_last_weight(yard)
    if grams:
        yard.act(entries.add_weigh_in, "A1", mass_g=grams, days_ago=4)
    board = project(yard)
    found = next(one for one in now(yard).boards if one.subject.id == board.id)
    last = found.weigh_ins[-1]
    with yard.store.reading() as connection:
        asked = projection.question(
            connection, read_entries(connection, yard.now_ms, yard.settings), board.id, yard.now_ms
        )
    crowd = ensemble.ensemble(asked)
    at_ms = found.projection.known_until_ms
    low, middle, high = three(np.exp(crowd.boards[:, 0]) * (1.0 + crowd.mean_mc_pct[:, crowd.now] / 100.0))
    told = next_weight.expected_kg(found.projection, last.mass_kg, last.scale_error_kg, last.true_at_ms, at_ms)
    assert abs(told[1] - middle) < (high - low) / 2
    # Not its own ensemble's band but one beside it: no narrower than three quarters, no wider than twice (ours).
    assert 0.75 < (told[2] - told[0]) / (high - low) < 2.0


def test_nothing_is_expected_of_a_board_that_was_never_weighed_cut_since_or_has_no_projection(yard):
    without_the_last_weight(yard)
    project(yard), project(yard, "A2")
    shown = {one.code: one for one in weigh.weighings(now(yard), now(yard).boards)}
    assert shown["A1"].expected and shown["A1"].low_kg < shown["A1"].high_kg
    assert (shown["A2"].last, shown["A2"].expected, shown["A2"].why_not) == ("", "", "never weighed")
    yard.act(entries.plane_board, "A1", off_marked_mm=2, off_other_mm=0)
    cut = weigh.weighings(now(yard), now(yard).boards)[0]
    assert cut.last.startswith("5600 g on ")
    assert (cut.expected, cut.why_not) == ("", "cut since it was weighed")


def test_nothing_is_expected_from_a_weight_that_the_projection_does_not_believe_or_know_of(yard):
    def said():
        one = weigh.weighings(now(yard), now(yard).boards)[0]
        return one.expected, one.why_not

    assert said() == ("", "not projected yet")
    project(yard)  # its last weight is far lighter than its air can have made it
    assert said() == ("", "its last weight does not fit its air")
    without_the_last_weight(yard)
    project(yard)
    assert said()[0] and not said()[1]
    yard.act(entries.add_weigh_in, "A1", mass_g=5050, days_ago=1)
    assert said() == ("", "not projected since it was weighed")
    yard.act(entries.add_weigh_in, "A1", mass_g=5040)
    assert said() == ("", "weighed today")


def test_of_right_weights_one_in_thousands_is_asked_about():
    """The rule against the normal distribution of the standard library: 8 in 10 within the band."""
    usual = NormalDist(7.38, 0.374)
    low, high = next_weight.doubtful_kg((usual.inv_cdf(0.1), usual.mean, usual.inv_cdf(0.9)))
    assert usual.cdf(low) + 1.0 - usual.cdf(high) == pytest.approx(1 / 8000, rel=0.05)


def test_what_two_weights_differ_by_is_no_better_known_than_the_scale_lets_it(yard):
    """Against pairs of weights drawn with the scale's error: 8 in 10 of their differences lie within the band."""
    pairs = np.random.default_rng(1).normal(0.0, 0.005, (2, 100_000))
    assert np.mean(np.abs(pairs[0] - pairs[1]) < next_weight.change_error_kg(0.005)) == pytest.approx(0.8, abs=0.01)
    shown = {one.code: one for one in weigh.weighings(now(yard), now(yard).boards)}
    assert float(shown["A1"].change_error_kg) == pytest.approx(1.2816 * 2**0.5 * 0.0047, rel=0.01)
    assert shown["A2"].change_error_kg == ""


def test_a_board_starts_on_the_unit_of_what_it_is_likely_to_weigh(yard):
    """By the density of white ash: 27 x 190 x 1500 mm stay below 10 kg, four times that thickness does not."""
    thick = {"species": "Fraxinus americana", "thickness_mm": 108, "width_mm": 190, "length_mm": 1500}
    yard.act(entries.add_board, "B1", **thick, cut="flat-sawn", origin="fresh-sawn", place="room")
    shown = {one.code: one for one in weigh.weighings(now(yard), now(yard).boards)}
    assert {code: shown[code].unit for code in ("A1", "A2", "B1")} == {"A1": "g", "A2": "g", "B1": "kg"}
    project(yard, "A2")  # never weighed: by what is held of its wood
    assert weigh.weighings(now(yard), now(yard).boards)[1].unit == "g"


def test_a_board_is_asked_about_where_the_yard_would_ask(yard):
    """The page asks at the very masses from which on the entry is refused."""
    one = weigh.weighings(now(yard), now(yard).boards)[0]
    for edge, inwards in ((one.ask_low_kg, 1), (one.ask_high_kg, -1)):
        kg = float(edge)
        yard.act(board_entries.add_weigh_in, "A1", mass_kg=kg + inwards * 0.001, sure=False)
        with yard.store.reading() as connection:
            taken = max(fact.id for fact in facts.standing(connection, WeighIn))
        yard.act(entries.undo, "weigh-in", taken)
        with pytest.raises(BadInput, match="mass of A1"):
            yard.act(board_entries.add_weigh_in, "A1", mass_kg=kg - inwards * 0.001)


# --- the round ---


def test_a_round_goes_through_the_yard_stack_by_stack_and_then_what_lies_alone(yard):
    board = {"species": "Fraxinus americana", "thickness_mm": 27, "width_mm": 190, "length_mm": 1500}
    kind = {"cut": "flat-sawn", "origin": "fresh-sawn"}
    yard.act(entries.add_board, "B1", **board, **kind, place="room")
    yard.act(entries.add_stack, "S2", place="room")
    yard.act(entries.add_board, "C1", **board, **kind, stack="S2")
    yard.act(entries.add_set, "pair")
    yard.act(entries.put_in_set, "B1", set_code="pair")
    page = weigh.weigh_page(now(yard), {}, "Ida")
    assert [one.code for one in page.boards] == ["A1", "A2", "C1", "B1"]
    assert page.boards[0].where == "stack S1, shed"
    assert page.boards[0].last.startswith("4700 g on ")
    rounds = {"stack": "s1", "set": "pair", "board": "C1"}
    found = {
        kind: [one.code for one in weigh.weigh_page(now(yard), {kind: code}, "").boards]
        for kind, code in rounds.items()
    }
    assert found == {"stack": ["A1", "A2"], "set": ["B1"], "board": ["C1"]}
    assert [(one.text, one.query) for one in page.choices] == [
        ("All boards", ""),
        ("S1", "stack=S1"),
        ("S2", "stack=S2"),
        ("pair", "set=pair"),
    ]
    with pytest.raises(BadInput, match="stack is S9"):
        weigh.weigh_page(now(yard), {"stack": "S9"}, "")


def test_the_page_holds_all_that_a_round_needs_and_works_without_script(yard, client):
    project(yard)
    page = client.get("/weigh?stack=S1")
    assert page.status_code == 200
    assert len(re.findall(r"<li data-code=", page.text)) == 2
    assert "data-beat" not in page.text  # it is not read again under the hands of whoever types
    assert 'id="weigh-in-mass"' in page.text and 'inputmode="decimal"' in page.text
    assert 'href="/weigh?board=A2"' in page.text
    assert 'href="/weigh/sheet?stack=S1"' in page.text
    token = re.search(r'name="csrf" value="(\w+)"', page.text).group(1)
    action = re.search(r'action="(/board/[^"]+)" class="entry weigh-form"', page.text).group(1)
    sent = client.post(action, data={"csrf": token, "mass": "4.69", "unit": "kg", "by": "Ida"})
    assert sent.status_code == 303
    assert "Board A1 weighs 4690 g." in client.get("/board/A1").text


def test_the_day_of_weighing_is_set_once_for_the_round(yard, client):
    page = client.get("/weigh?stack=S1&on=2026-11-20").text
    assert 'value="2026-11-20T12:00"' in page
    assert re.search(r'<details class="other" open>', page)
    assert client.get("/weigh?on=yesterday").status_code == 404
    today = display.for_field(yard.now_ms)
    for late in (f"{today[:10]}T23:59", "2030-01-01"):  # a sheet that is typed in before noon
        assert f'value="{today}"' in client.get(f"/weigh?on={late}").text


def test_a_yard_without_boards_says_so(empty_yard):
    app = create_app(empty_yard.store, empty_yard.settings, empty_yard.folder / SECRETS_NAME, lambda: empty_yard.now_ms)
    client = TestClient(app, client=("127.0.0.1", 1), base_url="http://localhost")
    for path in ("/weigh", "/weigh/sheet"):
        assert "There is no board to weigh yet." in client.get(path).text


def test_the_sheet_has_a_row_a_board_and_leads_back_to_a_round_in_its_order(yard, client):
    project(yard)
    text = client.get("/weigh/sheet?stack=S1").text
    rows = re.findall(r'<tr><th scope="row"><b>(\w+)</b>', text)
    assert rows == [one.code for one in weigh.weigh_page(now(yard), {"stack": "S1"}, "").boards] == ["A1", "A2"]
    assert text.count('<td class="blank') == 3 * len(rows)
    assert "4700 g on" in text and "Weighed on" in text
    assert "<b>shed</b>" in text  # all of them lie there
    assert "<td>its last weight does not fit its air</td>" in text and "<td>never weighed</td>" in text
    back = re.search(r'href="(/weigh\?[^"]+)"[^>]*>Type this sheet in', text).group(1).replace("&amp;", "&")
    assert re.fullmatch(r"/weigh\?stack=S1&on=\d{4}-\d\d-\d\d", back)
    assert client.get(back).status_code == 200


def test_the_name_is_asked_before_the_figure_until_it_is_known(yard, client):
    order = r'name="(by|mass)" value="(\w*)"'
    page = client.get("/weigh?stack=S1").text
    assert re.findall(order, page) == [("by", ""), ("mass", "")]
    token = re.search(r'name="csrf" value="(\w+)"', page).group(1)
    client.post("/board/A1/weigh-in", data={"csrf": token, "mass": "4690", "unit": "g", "by": "Ida"})
    assert re.findall(order, client.get("/weigh?stack=S1").text) == [("mass", ""), ("by", "Ida")]


def test_in_a_question_the_careful_answer_is_the_black_one(client):
    asked = re.search(r'<div class="ask".*?</div>', client.get("/weigh").text, re.S).group()
    assert re.findall(r'class="(\w+)" data-do="(\w+)"', asked) == [("go", "put"), ("go", "change"), ("plain", "right")]


# --- scripts ---


def test_the_scripts_are_small_and_come_from_here_alone(client):
    scripts = [assets.content(name).decode() for name in ("queue.js", "weigh.js", "sw.js")]
    assert sum(len(one.encode()) for one in scripts) <= LONGEST_SCRIPTS_BYTES
    assert not any(re.search(r"https?://|innerHTML|eval\(", one) for one in scripts)
    page = client.get("/weigh").text
    assert re.findall(r"<script[^>]*>(?!</script>)", page) == []  # no script stands in the page itself
    assert not re.search(r"\son\w+=", page)


def test_no_script_gives_one_name_to_two_functions():
    for script in sorted(assets.STATIC.glob("*.js")):
        names = re.findall(r"function (\w+)\(", script.read_text(encoding="utf-8"))
        assert len(names) == len(set(names)), script.name  # the later one would silently stand for both


def test_what_opens_without_signal_is_all_that_the_page_loads(client):
    worker = client.get("/sw.js")
    assert worker.headers["content-type"].startswith("text/javascript")
    assert worker.headers["cache-control"] == "no-cache"
    shell = re.search(r"const SHELL = (\[.*\]);", worker.text).group(1)
    loaded = re.findall(r'(?:src|href)="(/static/[^"]+)"', client.get("/weigh").text)
    assert loaded and all(f'"{one}"' in shell for one in loaded)
    assert len(SHELL) == shell.count("/static/")


@pytest.mark.parametrize("record", [weigh.Weighing, weigh.Choice, weigh.WeighPage, weigh.SheetPage])
def test_every_field_of_these_pages_says_what_it_is(record):
    assert all(one.metadata.get("help") for one in fields(record))
