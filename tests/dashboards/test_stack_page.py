"""A stack's page: its wettest board, what it loses, its chart, its air, its moves, and what is not known of it."""

import html
import re
from dataclasses import fields, replace

import numpy as np
import pytest
from starlette.testclient import TestClient

from dashboards import display, entries, pile, planning_entries, projection, roles, situation, stack_charts
from dashboards.app import create_app
from dashboards.auth import SECRETS_NAME
from dashboards.desk import templates
from dashboards.pages import stack, stack_air, stack_options, stack_pace
from dashboards.pages.parts import Frame
from dashboards.pages.stack import stack_page
from kiln import stress
from kiln.evidence import now_index
from kiln.records import Word
from shared.settings import Settings
from shared.store import cache, facts
from shared.store.records import StackPosition, SubjectKind
from shared.units import MS_PER_DAY, MS_PER_HOUR
from tests.dashboards.conftest import WEIGHED_G
from tests.dashboards.test_stack_drawings import pace_at

PROJECTED = []


@pytest.fixture
def projected(yard):
    """The yard with its two boards projected, worked out once: every test begins with the same yard."""
    if not PROJECTED:
        with yard.store.reading() as connection:
            ids = [one.id for one in facts.subjects(connection, SubjectKind.BOARD)]
        for board_id in ids:
            projection.refresh(yard.store, board_id, yard.now_ms, yard.settings)
        with yard.store.reading() as connection:
            PROJECTED.extend(cache.projections(connection).values())
    with yard.store.writing() as connection:
        for one in PROJECTED:
            cache.put_projection(connection, one)
    return yard


@pytest.fixture
def client(projected):
    app = create_app(projected.store, Settings(), projected.folder / SECRETS_NAME, lambda: projected.now_ms)
    return TestClient(app, base_url="http://localhost", client=("127.0.0.1", 50000), follow_redirects=False)


def read(yard):
    now = situation.read(yard.store, yard.now_ms, yard.settings)
    return now, now.stacks[0]


def words(text):
    plain = html.unescape(re.sub(r"<[^>]+>", " ", text)).replace("\u00a0", " ").replace("\u2060", "")
    return " ".join(plain.split())


@pytest.mark.parametrize(
    "record",
    (
        stack.StackPage,
        stack.BoardRow,
        stack.Drying,
        stack_air.AirBeside,
        stack_pace.PaceLine,
        stack_pace.Paces,
        pile.Key,
        stack_options.StackOptionsPage,
    ),
    ids=lambda one: one.__name__,
)
def test_every_field_that_the_page_may_use_is_explained(record):
    assert record.__dataclass_params__.frozen
    assert all(len(one.metadata.get("help", "")) > 5 for one in fields(record))


# --- the wettest board -----------------------------------------------------------------------------


def test_a_stacks_page_tells_its_wettest_board_now_and_in_weeks_to_come(yard):
    _now, found = read(yard)
    assert found.wettest is None  # nothing is projected yet
    yard.act(entries.change_stack, "S1", boards_in_all=12)
    for board in found.boards:
        projection.refresh(yard.store, board.subject.id, yard.now_ms, yard.settings)
    now, found = read(yard)
    page = stack_page(now, found, "Ida", None)
    greatest = np.max([board.projection.member_mc_pct for board in found.boards], axis=0)
    by_hand = np.quantile(greatest, [0.1, 0.5, 0.9], axis=0, method="weibull")
    assert page.drying.said[0].startswith(f"The wettest of 2 boards now: {display.band(*by_hand[:, 0])}; most likely A")
    (weeks,) = [row for row in page.drying.table if row[0].startswith("in 4 weeks, ")]
    assert weeks[1:] == ("wettest of 2", display.band(*by_hand[:, 4]))
    said = " ".join(page.verdict.evidence)
    assert "1 of 12 boards has been measured." in said
    assert "Nothing is known of the 10 that nobody entered but what these tell." in said
    assert page.holds == "12 boards in all, 2 of them entered"
    assert not any(line in page.rests_on for line in page.drying.said)  # each thing once


def test_the_board_whose_verdict_stands_for_the_stack_is_the_wettest_of_the_gravest_word(projected):
    _now, found = read(projected)
    assert found.verdict.reason.startswith(f"{found.deciding.fact.name} decides. ")
    assert found.deciding.verdict.word is found.verdict.word
    means = {one.fact.name: one.projection.mean.p50[now_index(one.projection)] for one in found.boards}
    same = [one.fact.name for one in found.boards if one.verdict.word is found.verdict.word]
    assert found.deciding.fact.name == max(same, key=means.get)


# --- the loss a day --------------------------------------------------------------------------------


def test_the_bars_figures_are_the_projections_own(projected):
    now, found = read(projected)
    page = stack_page(now, found, "Ida", None)
    for line in (page.paces.first, *page.paces.others):
        (board,) = [one for one in found.boards if one.fact.name == line.board.text]
        low, middle, high = board.projection.loss_pct_per_day
        assert board.pace.loss_pct_per_day == (low, middle, high)
        ends = (" to " if low < 0 else "–").join(display.number(one, 2) for one in (low, high))
        assert line.figure.startswith(f"{display.number(middle, 2)} % a day ({ends})")
    assert "never weighed" in next(
        line.figure for line in (page.paces.first, *page.paces.others) if line.board.text == "A2"
    )


def test_the_limit_is_that_of_the_table_and_its_source_stands_beside_it(projected):
    _now, found = read(projected)
    most = stress.safe_loss("Fraxinus americana", 0.027)
    assert all(board.pace.limit == most for board in found.boards)
    wet = [replace(one, pace=pace_at((0.5, 1.0, 1.5))) for one in found.boards]
    assert stack_pace.paces(replace(found, boards=wet)).first.source == "a book (published)"
    dry = [replace(one, pace=pace_at((0.5, 1.0, 1.5), counts=False)) for one in found.boards]
    assert stack_pace.paces(replace(found, boards=dry)).first.source == ""


def test_the_board_nearest_to_its_limit_comes_first(projected):
    _now, found = read(projected)
    slow, fast = (
        replace(board, pace=pace_at((loss, loss, loss))) for board, loss in zip(found.boards, (0.5, 1.9), strict=True)
    )
    told = stack_pace.paces(replace(found, boards=[slow, fast]))
    assert told.first.board.text == "A2" and told.folded == "The other board: 0.50 % a day"


# --- the chart -------------------------------------------------------------------------------------


def figure_of(client):
    return client.get("/api/figure/stack/S1.json").json()


def trace(figure, name):
    (found,) = [one for one in figure["data"] if one["name"].startswith(name) and one.get("showlegend", True)]
    return found


def test_the_chart_holds_floor_target_and_the_air_of_now(client, projected):
    _now, found = read(projected)
    figure, course = figure_of(client), stack_charts.course_of(found)
    made = course.projection
    low, middle, high = (round(one, 2) for one in made.floor_mc_pct)
    assert trace(figure, "floor")["y"] == [middle, middle]
    ground = next(one for one in figure["data"] if one["name"] == "band of the floor")
    assert set(ground["y"]) == {low, high}
    wanted = [round(one, 2) for one in made.wanted_mc_pct]
    assert trace(figure, "wanted")["y"] == [wanted[0], wanted[0], None, wanted[1], wanted[1]]
    if made.rest_mc_pct is not None:
        assert trace(figure, "air now")["y"] == [round(made.rest_mc_pct[1], 2)] * 2
    ahead = trace(figure, "wettest of 2")
    assert ahead["y"][0] == round(float(found.wettest.mc_pct.p50[0]), 2)
    now = display.for_chart(min(made.known_until_ms, projected.now_ms))
    assert [shape["x0"] for shape in figure["layout"]["shapes"] if shape["type"] == "line"] == [now]


def test_each_weigh_in_is_a_mark_at_its_own_moment_and_each_board_has_its_own_shape(client, projected):
    projected.act(entries.add_weigh_in, "A2", mass_g=4800.0, days_ago=1)
    _now, found = read(projected)
    projection.refresh(projected.store, found.boards[1].subject.id, projected.now_ms, projected.settings)
    marks = [one for one in figure_of(client)["data"] if one["mode"] == "markers"]
    by_name = {one["name"]: one for one in marks}
    assert set(by_name) == {"A1", "A2"}
    assert by_name["A1"]["marker"]["symbol"] != by_name["A2"]["marker"]["symbol"]
    moments = [display.for_chart(projected.now_ms - days * MS_PER_DAY) for days in sorted(WEIGHED_G, reverse=True)]
    assert by_name["A1"]["x"] == moments
    measured = [one for one in found.boards[0].projection.measured if one.kind == "weigh-in"]
    assert by_name["A1"]["y"] == [round(one.mc_pct, 2) for one in measured]


def test_a_planned_move_and_a_booked_day_stand_on_the_chart(client, projected):
    day_ms = projected.now_ms + 9 * MS_PER_DAY
    projected.act(planning_entries.plan_move, "S1", kind="stack", place="room", day=day_ms)
    projected.act(entries.plan_use, "A1", use="glue", booked=projected.now_ms + 20 * MS_PER_DAY)
    _now, found = read(projected)
    projection.refresh(projected.store, found.boards[0].subject.id, projected.now_ms, projected.settings)
    _now, found = read(projected)
    course = stack_charts.course_of(replace(found, boards=found.boards[:1], wettest=None))
    figure = stack_charts.stack_figure(found, course, projected.now_ms)
    said = {one["text"]: one.get("x") for one in figure["layout"]["annotations"]}
    assert said[" to room "] == display.for_chart(day_ms // MS_PER_HOUR * MS_PER_HOUR)  # it is projected by the hour
    assert said[" booked to glue "] == display.for_chart(projected.now_ms + 20 * MS_PER_DAY)


def test_what_rests_on_old_air_is_not_called_now(projected):
    _now, found = read(projected)
    course, later_ms = stack_charts.course_of(found), projected.now_ms + 2 * MS_PER_DAY
    notes = [one["text"] for one in stack_charts.stack_figure(found, course, later_ms)["layout"]["annotations"]]
    day = display.day(course.projection.known_until_ms, later_ms)
    assert f" known to {day} " in notes and " now " not in notes
    later = situation.read(projected.store, later_ms, projected.settings)
    page = stack_page(later, later.stacks[0], "Ida", None)
    assert page.as_of == "Moisture and loss from air logged until 2 days ago"


def test_every_line_of_the_chart_is_named_with_a_swatch_of_its_own(projected):
    now, found = read(projected)
    page = stack_page(now, found, "Ida", None)
    names = [one.name for one in page.drying.key]
    assert names[0] == "8 in 10" and "wettest of 2" in names and "A1" in names
    swatches = [str(one.swatch) for one in page.drying.key]
    assert len(set(swatches)) == len(swatches) == len(names)


def test_a_stack_of_which_nothing_is_projected_has_no_chart_and_says_so(yard):
    app = create_app(yard.store, Settings(), yard.folder / SECRETS_NAME, lambda: yard.now_ms)
    bare = TestClient(app, base_url="http://localhost", client=("127.0.0.1", 50000))
    answer = bare.get("/api/figure/stack/S1.json")
    assert answer.status_code == 404 and "a board has been projected" in answer.json()["sentence"]
    page = bare.get("/stack/S1")
    assert page.status_code == 200 and "/api/figure/stack" not in page.text


# --- the page --------------------------------------------------------------------------------------


def test_the_page_leads_to_weighing_moving_the_sheet_and_adding(client):
    text = client.get("/stack/S1").text
    for link in ("/weigh?stack=S1", "#move", "/weigh/sheet?stack=S1", "/add?stack=S1#board", "/stack/S1/options"):
        assert f'href="{link}"' in text
    for anchor in ("pace", "ahead", "air", "floor", "could-be-done", "boards", "samples", "moves", "move", "volume"):
        assert f'id="{anchor}"' in text


def test_what_the_verdict_says_is_said_once(client, projected):
    _now, found = read(projected)
    shown = words(client.get("/stack/S1").text)
    assert shown.count(found.deciding.verdict.reason) == 1
    assert shown.count("The wettest of 2 boards now") == 1


def test_a_board_that_is_stopped_tells_why_where_the_stacks_verdict_is_another(projected):
    now, found = read(projected)
    other = next(board for board in found.boards if board is not found.deciding)
    stopped = replace(other, verdict=replace(other.verdict, word=Word.STOP, reason="It is being harmed."))
    told = [stopped if board is other else board for board in found.boards]
    page = stack_page(now, replace(found, boards=told), "Ida", None)
    assert page.boards_open and [row.reason for row in page.boards if row.reason] == ["It is being harmed."]
    assert page.boards_told.startswith("1 STOP, ")


def test_the_air_is_told_in_a_line_with_its_probes_and_a_silent_one_as_such(client, projected):
    now, found = read(projected)
    place = next(one for one in now.places if one.subject.id == found.place_id)
    air = stack_air.air_beside(now, place)
    emc = display.number(place.air.emc_pct)
    assert f"EMC {emc} %" in air.line and "10 min ago" in air.line
    assert air.week.count("<svg") == 1 and [link.text for link in air.probes] == ["north 10 min ago"]
    quiet = [replace(one, state="silent") for one in place.probes]
    told = stack_air.air_beside(now, replace(place, probes=quiet))
    assert told.probes[0].text == "north silent, last heard 10 min ago: left out"
    assert "Measured beside the stack, not in it." in words(client.get("/stack/S1").text)


def test_the_floor_is_the_projections_and_leads_to_the_places_months(client, projected):
    _now, found = read(projected)
    made = stack_charts.course_of(found).projection
    text = client.get("/stack/S1").text
    assert f"The floor here: {display.band(*made.floor_mc_pct)}, " in words(text)
    assert 'href="/place/shed#by-month"' in text


def test_where_the_stack_stood_is_told_with_a_way_to_take_it_back(client, projected):
    projected.act(entries.move_stack, "S1", place="room", days_ago=3)
    now, found = read(projected)
    page = stack_page(now, found, "Ida", None)
    assert [line.figure for line in page.stood] == ["To room", "To shed"]
    assert page.moves_told.startswith("in room since ") and page.moves_told.endswith("; none planned")
    assert 'name="kind" value="stack-move"' in client.get("/stack/S1").text


def test_a_stack_that_nobody_said_the_place_of_is_shown_all_the_same(client, projected):
    with projected.store.reading() as connection:
        (position,) = facts.standing(connection, StackPosition, read(projected)[1].subject.id)
    projected.act(entries.undo, "stack-move", str(position.id))
    answer = client.get("/stack/S1")
    shown = words(answer.text)
    assert answer.status_code == 200 and "Stack S1 in nowhere yet" in shown and 'id="air"' not in answer.text
    assert "Moves nobody said where; none planned" in shown


def test_whoever_may_only_look_is_led_to_nothing_that_enters(client, projected):
    text = client.get("/stack/S1").text
    assert "/weigh?stack=S1" in text
    now, found = read(projected)
    told = {one.name: "" for one in fields(Frame)} | {"may": roles.may(roles.Role.LOOK)}
    page = stack_page(now, found, "", None)
    shown = templates().get_template("stack.html").render(page=page, frame=Frame(**told))
    assert "/weigh/sheet?stack=S1" in shown
    assert not any(one in shown for one in ('"/weigh?stack=S1"', '"#move"', "/add?", '<form method="post"'))


# --- what could be done ----------------------------------------------------------------------------


def test_what_could_be_done_is_worked_out_for_the_board_that_decides_and_worded_for_the_stack(client, projected):
    _now, found = read(projected)
    shown = words(client.get("/stack/S1/options").text)
    assert re.search(rf"Worked out for {found.deciding.fact.name} ?, which decides", shown)
    assert "Leave the stack here" in shown and "Move the stack to room now" in shown
    told = client.get("/api/stack/S1/options").json()
    assert told["board"] == found.deciding.subject.code
    assert told == client.get(f"/api/board/{told['board']}/options").json()


def test_of_an_empty_stack_nothing_can_be_done_and_it_is_said(client, projected):
    projected.act(entries.add_stack, "S2", place="shed")
    assert "There is no board in this stack yet" in words(client.get("/stack/S2/options").text)
    assert client.get("/api/stack/S2/options").status_code == 409
    page = client.get("/stack/S2")
    assert page.status_code == 200 and "None yet. Add the first board" in words(page.text)
    acts = page.text.partition('class="acts"')[2].partition("</nav>")[0]
    assert "Add the first board" in acts and "Weigh" not in acts
