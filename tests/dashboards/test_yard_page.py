"""The yard page: cards, what to do today, and the first stack taught step by step from an empty store."""

import html
import re
from dataclasses import fields, replace
from types import SimpleNamespace as Some

import pytest
from starlette.testclient import TestClient

from dashboards import by_date, entries, pile, projection, situation, small_marks
from dashboards.app import create_app
from dashboards.auth import SECRETS_NAME
from dashboards.pages import due_lines, first_steps, in_few_words, parts, today
from dashboards.pages import yard as yards
from kiln.harm import FOUL
from kiln.records import Word
from shared.units import MS_PER_DAY


def now(some_yard):
    return situation.read(some_yard.store, some_yard.now_ms, some_yard.settings)


def client_of(some_yard):
    app = create_app(some_yard.store, some_yard.settings, some_yard.folder / SECRETS_NAME, lambda: some_yard.now_ms)
    return TestClient(app, client=("127.0.0.1", 1), base_url="http://localhost", follow_redirects=False)


def words(text):
    plain = html.unescape(re.sub(r"<[^>]+>", " ", text)).replace("\u00a0", " ").replace("\u2060", "")
    return " ".join(plain.split())


def today_of(some_yard):
    here = now(some_yard)
    return today.today(here, yards.in_yard_order(here))


def projected(some_yard):
    for board in now(some_yard).boards:
        projection.refresh(some_yard.store, board.subject.id, some_yard.now_ms, some_yard.settings)
    return now(some_yard)


def told(some_yard, verdicts):
    """The tasks of a yard whose boards stand alone and have these verdicts, by code."""
    here = now(some_yard)
    boards = [
        replace(one, stack_id=None, verdict=replace(one.verdict, **verdicts[one.subject.code]))
        for one in here.boards
        if one.subject.code in verdicts
    ]
    here = replace(here, boards=boards, stacks=[], sets=[])
    return today.today(here, yards.in_yard_order(here))


# --- the first stack -----------------------------------------------------------------------------------


BOARD = {
    "species": "White ash (Fraxinus americana)",
    "thickness_mm": "27",
    "width_mm": "190",
    "length_mm": "1500",
    "cut": "flat-sawn",
    "origin": "fresh-sawn",
}


def steps_of(client):
    """Each step as the page without script tells it: whether it is done, and where it leads."""
    section = re.search(r'<section class="teach">(.*?)</section>', client.get("/").text, re.DOTALL)
    if section is None:
        return None
    found = re.findall(r'<li class="([\w-]+)"><p>(.*?)</p><p class="dim">(.*?)</p></li>', section[1], re.DOTALL)
    return [
        (state, "".join(re.findall(r'href="([^"]*)"', line)), words(line), words(then)) for state, line, then in found
    ]


def leads_to_a_form(client, path, action):
    page, _, name = path.partition("#")
    text = client.get(page).text
    assert f'id="{name}"' in text and f'action="{action}"' in text, path


def send(client, page, action, **typed):
    token = re.search(r'name="csrf" value="(\w+)"', client.get(page).text).group(1)
    answer = client.post(action, data={"csrf": token, "by": "Ida", **typed})
    assert answer.status_code == 303, words(answer.text)


def test_an_empty_yard_teaches_the_first_stack_and_notices_each_step_that_is_done(empty_yard):
    client = client_of(empty_yard)

    def state():
        return [one[0] for one in steps_of(client)]

    assert state() == ["next-one", "later", "later", "later", "later"]
    assert "Do today" not in client.get("/").text
    leads_to_a_form(client, steps_of(client)[0][1], "/add/place")
    send(client, "/add", "/add/place", code="loft", kind="shed", altitude_m="120")

    assert state() == ["done", "next-one", "later", "later", "later"]
    assert steps_of(client)[0][1] == "/place/loft"
    leads_to_a_form(client, steps_of(client)[1][1], "/add/probe")
    send(client, "/add", "/add/probe", code="loft-1", topic="workshop/loft/1", place="")

    assert state() == ["done", "next-one", "later", "later", "later"]  # it is there, and measures nowhere yet
    assert "Say which place loft-1 measures" in steps_of(client)[1][2]
    leads_to_a_form(client, steps_of(client)[1][1], "/probe/loft-1/move")
    send(client, "/probes", "/probe/loft-1/move", place="loft")

    assert state() == ["done", "done", "next-one", "later", "later"]
    assert steps_of(client)[1][3] == "No good reading has ever come from it."
    leads_to_a_form(client, steps_of(client)[2][1], "/add/stack")
    send(client, "/add", "/add/stack", code="K7", place="loft")

    assert state() == ["done", "done", "done", "next-one", "later"]
    assert 'href="/stack/K7"' in client.get("/").text
    leads_to_a_form(client, steps_of(client)[3][1], "/add/board")
    send(client, "/add", "/add/board", code="K7-1", where="stack:K7", **BOARD)

    assert state() == ["done", "done", "done", "done", "next-one"]
    assert steps_of(client)[4][1] == "/board/K7-1#weigh-in"
    send(client, "/board/K7-1", "/board/K7-1/weigh-in", mass="6900", unit="g")

    assert steps_of(client) is None
    shown = words(client.get("/").text)
    assert "Do today" in shown and "weighed just now" in shown


def test_steps_may_be_taken_in_another_order(empty_yard):
    empty_yard.act(entries.add_place, "loft", kind="shed")
    empty_yard.act(entries.add_stack, "K7", place="loft")
    states = [(one.done, one.is_next) for one in first_steps.first_steps(now(empty_yard))]
    assert states == [(True, False), (False, True), (True, False), (False, False), (False, False)]


def test_each_step_says_what_will_be_seen_next(empty_yard):
    steps = first_steps.first_steps(now(empty_yard))
    assert len(steps) == 5 and all(len(one.then) > 30 for one in steps)
    assert [one.state for one in steps] == ["Next", "Later", "Later", "Later", "Later"]


# --- do today ------------------------------------------------------------------------------------------


def test_what_waits_for_the_same_reason_is_one_line_and_not_a_task(yard):
    found = today_of(yard)
    assert found.waiting.startswith("Being worked out: S1. ")
    assert found.tasks == ()
    page = client_of(yard).get("/").text
    assert page.count("Being worked out") == 1


def test_several_that_want_the_very_same_are_one_line(yard):
    same = {"word": Word.CANT_SAY, "number": "no air", "next_step": "Look at the probes in shed: battery or reach?"}
    found = told(yard, {"A1": same, "A2": same})
    (one,) = found.tasks
    assert one.who == "A1 and A2" and one.cause == "CAN'T SAY." and one.to == "/board/A1"
    assert one.doing == "Look at the probes in shed: battery or reach?"


def test_harm_comes_before_what_cannot_be_said_and_poison_before_all(yard):
    cannot = {"word": Word.CANT_SAY, "number": "weigh it", "next_step": "Weigh it today."}
    stop = {"word": Word.STOP, "number": "2.6 %/day", "next_step": "Move it to the loft now (about 1.1 % a day)."}
    poison = "Take it out of the shed; stand upwind, never alone. Keep it wet. It may weigh 900 kg: use gear."
    foul = {"word": Word.STOP, "number": FOUL, "next_step": poison}
    assert [one.who for one in told(yard, {"A1": cannot, "A2": stop}).tasks] == ["A2", "A1"]
    first, second = told(yard, {"A1": stop, "A2": foul}).tasks
    assert first.who == "A2" and first.doing == poison  # of poison nothing is left out
    assert second.cause == "STOP, 2.6 %/day." and second.doing == "Move it to the loft now."


@pytest.mark.parametrize(
    ("step", "short"),
    [
        (
            "Move it to the loft now (about 1.1 % a day there, 0.8–1.4), then cover it loosely, away from heat and "
            "draught; look at its faces and ends for checks.",
            "Move it to the loft now, then cover it loosely, away from heat and draught.",
        ),
        ("Put the booking off. In this air it comes to its target in about 57 days (22–143).", "Put the booking off."),
        ("Weigh it at 5.5 kg. Then wait.", "Weigh it at 5.5 kg."),
        (
            "Look at the probes in shed: battery, reach, or moved away?",
            "Look at the probes in shed: battery, reach, or moved away?",
        ),
        ("See that `benchdry run` is running.", "See that `benchdry run` is running."),
    ],
)
def test_a_step_is_told_in_short_without_half_a_figure(step, short):
    assert in_few_words.in_short(step) == short


def test_five_are_in_sight_and_the_rest_is_folded_under_its_names(yard):
    yard.act(entries.add_place, "loft", kind="shed")
    board = {"species": "Picea abies", "thickness_mm": 5, "width_mm": 200, "length_mm": 550, "cut": "quarter-sawn"}
    for number in range(14):
        yard.act(entries.add_board, f"N{number}", origin="part-seasoned", place="loft", **board)
    steps = {
        f"N{number}": {"word": Word.STOP, "number": "wet", "next_step": f"Do number {number}."} for number in range(14)
    }
    found = told(yard, steps)
    assert [one.doing for one in found.tasks] == [f"Do number {number}." for number in range(5)]
    assert len(found.folded) == today.MOST_TASKS - 5
    assert found.folded_told == "7 more STOP: N5, N6, N7, N8 and 3 more"
    assert found.left_out == "And 2 more, on the cards below."
    assert told(yard, dict(list(steps.items())[:6])).folded == ()  # no fold around one line


def test_who_stands_first_and_nothing_looks_like_a_box_to_tick(yard):
    projected(yard)
    yard.now_ms += 3 * MS_PER_DAY
    page = client_of(yard).get("/").text
    section = re.search(r'<section class="today".*?</section>', page, re.DOTALL)[0]
    lines = re.findall(r"<li>(.*?)</li>", section, re.DOTALL)
    assert lines and all(re.search(r"</svg>\s*</span><span><b>\w", line) for line in lines)
    assert "checkbox" not in section


def test_silent_probes_stand_on_top_in_one_line(yard):
    yard.now_ms += 3 * MS_PER_DAY
    page = client_of(yard).get("/").text
    assert page.index("2 probes fail") < page.index("Do today")
    assert "2 probes fail: north silent 3 days and warm silent 3 days" in words(page)
    assert "north" not in " ".join(one.who for one in today_of(yard).tasks)


def test_an_unplaced_probe_is_a_task(yard):
    yard.act(entries.add_probe, "new", topic="workshop/new")
    yard.log("new", 2)
    (one,) = [one for one in today_of(yard).tasks if one.who == "new"]
    assert one.to == "/probes#new" and one.doing == "Say which place it measures."


# --- cards ---------------------------------------------------------------------------------------------


def test_a_card_draws_its_boards_as_a_sign_without_links_that_a_thumb_would_miss(yard):
    here = projected(yard)
    drawing = yards.yard_page(here).cards[0].drawing
    wet = sorted(round(parts.mean_mc_pct(one)) for one in here.boards)
    assert drawing.count("<rect") == len(wet) == 2
    assert f"{wet[0]} to {wet[1]} % moisture" in drawing or (wet[0] == wet[1] and f"{wet[0]} % moisture" in drawing)
    assert "<a " not in drawing and "<text" not in drawing


def test_a_stack_of_many_boards_keeps_within_its_sign():
    ends = [
        pile.BoardEnd(f"B{n}", f"B{n}", f"/board/B{n}", 10.0 + 5 * (n % 5), Word.WAIT, 0.027, 0.19, weighed=False)
        for n in range(30)
    ]
    drawing = small_marks.small_pile(ends, "p")
    assert drawing.count("<rect") == small_marks.MOST_ROWS * small_marks.MOST_IN_A_ROW
    tops = {float(top) for top in re.findall(r'<rect x="[\d.]+" y="([-\d.]+)"', drawing)}
    assert len(tops) == small_marks.MOST_ROWS and min(tops) >= 0
    assert small_marks.small_pile([], "p") == ""


@pytest.mark.parametrize(("mc_pct", "texture"), [(40.0, "dots"), (22.0, "close"), (15.0, "open"), (9.0, None)])
def test_more_ink_is_more_water_in_the_sign_too(mc_pct, texture):
    end = pile.BoardEnd("B", "B", "/board/B", mc_pct, Word.WAIT, 0.027, 0.19, weighed=False)
    drawing = small_marks.small_pile([end], "p")
    assert ("url(#p-" in drawing.split("</defs>")[1]) == (texture is not None)
    assert texture is None or f"url(#p-{texture})" in drawing


def test_the_first_days_are_told_while_the_list_is_folded(yard):
    page = yards.yard_page(projected(yard))
    assert f"likely fit: {page.by_date_told}" in words(client_of(yard).get("/").text)


def test_of_the_days_those_of_now_are_counted_and_the_next_is_named():
    def due(name, likely):
        return by_date.Due(name, name, "Glue up", "WAIT", likely, likely)

    some = (due("A", "now"), due("B", "now"), due("C", "by 8 Jan"), due("D", "by 9 Feb"), due("E", by_date.NO_DATE))
    assert due_lines.first_due(some) == "2 now and C by 8 Jan"
    assert due_lines.first_due(some[2:]) == "C by 8 Jan"
    assert due_lines.first_due(some[4:]) == "none within a year"


@pytest.mark.parametrize(
    "record", [yards.YardPage, yards.Card, today.Today, today.Task, first_steps.Step, due_lines.DueLine]
)
def test_every_field_of_the_records_is_explained(record):
    assert all(len(one.metadata["help"]) > 5 for one in fields(record))


def probe_of(name, state, silent_days):
    """A probe of which nothing good came for so long."""
    read = Some(at_ms=-silent_days * MS_PER_DAY)
    return Some(
        state=state,
        fact=Some(name=name),
        subject=Some(code=name),
        temperature=read,
        rh=read,
        others={},
        habit=Some(silent_after_ms=MS_PER_DAY / 48),
    )


def test_where_the_recorder_is_down_not_every_probe_is_sent_for():
    probes = [probe_of("north", "silent", 2)] * 6
    down = Some(
        recorder_note="The recorder has not been heard.", watch_note="", probes=probes, open_places=[], now_ms=0
    )
    assert [one.to for one in today.trouble(down)] == ["/probes", "/probes"]
    assert "the recorder comes first" in today.trouble(down)[1].text


def test_probes_that_fail_are_told_together_in_one_line():
    probes = [probe_of("yard-south", "silent", 9), probe_of("shed-high", "stuck", 4), probe_of("room", "heard", 0)]
    up = Some(recorder_note="", watch_note="", probes=probes, open_places=[], now_ms=0)
    (one,) = today.trouble(up)
    assert one.text == "2 probes fail: yard-south silent 9 days and shed-high stuck 4 days" and one.to == "/probes"
    up.probes = probes[1:]
    (alone,) = today.trouble(up)
    assert (alone.text, alone.to) == ("Probe shed-high stuck 4 days", "/probes#shed-high")


# --- in few words --------------------------------------------------------------------------------------


def of_board(yard, **verdict):
    """The first board of the yard with this verdict."""
    one = projected(yard).boards[0]
    return replace(one, verdict=replace(one.verdict, **verdict))


def test_a_danger_is_named_once_and_then_what_to_do_about_it(yard):
    stop = {"word": Word.STOP, "number": "mould", "next_step": "Mould: brush it off outdoors, and let air through."}
    (one,) = told(yard, {"A1": stop}).tasks
    assert (one.cause, one.doing) == ("STOP, mould.", "Brush it off outdoors, and let air through.")


def test_the_line_of_a_card_tells_moisture_and_what_is_wanted_in_whole_figures(yard):
    board = of_board(yard, word=Word.WAIT)
    line = in_few_words.line(board, yard.now_ms)
    assert re.fullmatch(r"\d+\.\d % \(\d+\.\d–\d+\.\d\), wanted \d+\.\d–\d+\.\d", line)
    assert f"{parts.mean_mc_pct(board):.1f} %" in line


def test_of_what_stops_or_cannot_be_said_the_cause_is_told_uncut(yard):
    reason = (
        "The weigh-in of 14 min ago (30.3 %) does not fit the rest, it is too heavy: wet bark or snow, another board, "
        "or a slip of the pen."
    )
    one = of_board(yard, word=Word.CANT_SAY, reason=reason)
    assert in_few_words.line(one, yard.now_ms) == (
        "The weigh-in of 14 min ago (30.3 %) does not fit the rest, it is too heavy."
    )
    one = of_board(yard, word=Word.CANT_SAY, reason="The model puts it at 8.3 % (7.2–9.6). Last measured 74 days ago.")
    assert in_few_words.line(one, yard.now_ms) == "Last measured 74 days ago."


def test_the_age_on_a_card_is_that_of_the_board_that_decides(yard):
    here = now(yard)
    first, second = here.boards[:2]
    old = replace(first.weigh_ins[0], true_at_ms=yard.now_ms - 270 * MS_PER_DAY)
    boards = [replace(first, weigh_ins=[old]), second]
    stack = replace(here.stacks[0], boards=boards, verdict=replace(first.verdict, decides=0))
    assert in_few_words.weighed(stack, yard.now_ms) == f"decides: {first.fact.name}, weighed 9 months ago"
    together = replace(stack, verdict=replace(first.verdict, decides=None))
    assert in_few_words.weighed(together, yard.now_ms) in ("weighed 9 months ago or later", "not all weighed yet")


@pytest.mark.parametrize(
    ("step", "act"),
    [
        ("Move it to the loft now (about 1.1 % a day there), then cover it loosely.", "Move it to the loft now"),
        ("Put the booking off. In this air it takes 57 days.", "Put the booking off"),
        ("Mould: brush it off outdoors, and let air through.", "Brush it off outdoors"),
    ],
)
def test_the_act_is_the_first_thing_that_hands_do(yard, step, act):
    assert in_few_words.act(of_board(yard, word=Word.STOP, number="mould", next_step=step).verdict) == act


def test_of_poison_nothing_is_left_out_of_the_act(yard):
    step = "Take it out of the shed; stand upwind, never alone. Keep it wet."
    assert in_few_words.act(of_board(yard, word=Word.STOP, number=FOUL, next_step=step).verdict) == step


def test_the_code_stands_on_the_card_and_the_days_are_linked_from_near_the_top(yard):
    page = client_of(yard).get("/").text
    assert '<b class="code">S1</b>' in page
    assert page.index('href="#by-date"') < page.index('class="cards"') < page.index('id="by-date"')
