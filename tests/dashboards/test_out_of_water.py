"""Boards out of the water: the clock by the air of their way, what stops it, and what page and terminal say."""

import html
import re

import pytest
from starlette.testclient import TestClient

from dashboards import airs, cutting_entries, entries, out_of_water, situation
from dashboards.answers import QUESTIONS
from dashboards.answers.records import Asked, filled
from dashboards.app import create_app
from dashboards.auth import SECRETS_NAME
from dashboards.lifted_entries import say_lifted
from dashboards.pages import today
from dashboards.yard_entries import read_entries
from kiln.reclaimed import Grade
from shared.errors import BadInput
from shared.store import facts
from shared.store.records import Lifted, Sapwood, Smell, SubjectKind, WaterBody
from shared.units import MS_PER_DAY

SEEN = {
    "water": "fresh",
    "sapwood": "none on it",
    "smell": "none",
    "shake": "no",
    "washed": True,
    "metal_searched": True,
}
LOG = {
    "species": "Quercus rubra",
    "thickness_mm": 300,
    "width_mm": 320,
    "length_mm": 2400,
    "cut": "flat-sawn",
    "origin": "water-reclaimed",
}


@pytest.fixture
def mill(yard):
    """A yard with a log of red oak lifted four days ago, and the air of the shed logged all along."""
    yard.log("north", 45, t=12.0)
    yard.act(entries.add_board, "L1", place="shed", days_ago=4, **LOG)
    yard.act(say_lifted, "L1", days_ago=4, **SEEN)
    return yard


def read(yard, code="L1"):
    now = situation.read(yard.store, yard.now_ms, yard.settings)
    return now, next(one for one in now.boards if one.subject.code == code)


def water(yard, code="L1"):
    return out_of_water.read(*read(yard, code))


def page_of(yard, path, **query):
    app = create_app(yard.store, yard.settings, yard.folder / SECRETS_NAME, lambda: yard.now_ms)
    with TestClient(app, client=("127.0.0.1", 1), base_url="http://localhost") as client:
        got = client.get(path, params=query or None)
        assert got.status_code == 200, got.text[:400]
        return html.unescape(re.sub("\u2060", "", got.text)).replace("\u00a0", " ")


def test_the_clock_runs_by_the_logged_air_since_it_was_lifted(mill):
    found = water(mill)
    assert found.clock.hours_out == pytest.approx(96.0)
    assert found.clock.known_share > 0.95
    # Wengert's week and two weeks, at 12 °C halfway between ours for cold and warm: 7 to 14 - 7 × 7/15 days.
    low, high = found.clock.used_share
    assert high == pytest.approx(4 / 7, rel=0.02)
    assert low == pytest.approx(4 / (14 - 7 * 7 / 15), rel=0.06)
    assert found.stopped_ms is None


def test_a_stack_stops_it_and_says_when_and_at_which_share(mill):
    mill.act(entries.move_board, "L1", stack="S1", days_ago=2)
    found = water(mill)
    assert found.stopped_ms == mill.now_ms - 2 * MS_PER_DAY
    assert found.clock.stopped
    assert found.clock.used_share[1] == pytest.approx(2 / 7, rel=0.05)
    assert "of the days before decay begins; then stacked" in page_of(mill, "/board/L1")


def test_air_that_nobody_logged_widens_the_share(yard):
    yard.act(entries.add_place, "bank", kind="yard", days_ago=100)
    yard.act(entries.add_board, "L1", place="bank", days_ago=4, **LOG)
    yard.act(say_lifted, "L1", days_ago=4, **SEEN)
    found = water(yard)
    assert found.clock.known_share == 0.0
    assert found.clock.used_share == pytest.approx((4 / 14, 4 / 7))
    assert found.clock.now_c is None
    assert "put a probe where it lies" in " ".join(
        QUESTIONS["out-of-water"].answer(Asked({"board": "L1"}, read(yard)[0])).flags
    )


def test_just_lifted_nothing_is_used(yard):
    yard.act(entries.add_board, "L1", place="shed", days_ago=0, **LOG)
    yard.act(say_lifted, "L1", days_ago=0, **SEEN)
    assert water(yard).clock.used_share == (0.0, 0.0)


def test_a_board_sawn_off_a_log_goes_on_with_the_logs_clock_and_marks(mill):
    mill.act(cutting_entries.resaw_board, "L1", piece="L1b", kerf_mm=4, days_ago=1)
    log, board = water(mill), water(mill, "L1b")
    assert board.of_log
    assert board.clock.used_share == pytest.approx(log.clock.used_share, rel=0.03)
    mill.act(entries.move_board, "L1b", stack="S1", days_ago=0.5)
    assert water(mill, "L1b").stopped_ms is not None
    assert water(mill).stopped_ms is None


def test_lifted_again_it_counts_from_the_last_time(mill):
    mill.act(say_lifted, "L1", days_ago=1, **SEEN)
    found = water(mill)
    assert found.lifted_before == 1
    assert found.clock.hours_out == pytest.approx(24.0)


def test_what_was_known_before_an_entry_was_made_can_be_asked(mill):
    with mill.store.reading() as connection:
        where = airs.positions(connection)
        _now, board = read(mill)
        found = out_of_water.of_board(connection, where, board.subject.id, mill.now_ms, None, mill.now_ms - 1)
        assert found is None
        assert out_of_water.of_board(connection, where, board.subject.id, mill.now_ms, None) is not None


def test_the_judge_gets_the_class_of_a_board_and_of_what_was_sawn_off_its_log(mill):
    mill.act(say_lifted, "L1", days_ago=4, **{**SEEN, "smell": "sour or sulphurous", "shake": "yes"})
    mill.act(cutting_entries.resaw_board, "L1", piece="L1b", kerf_mm=4, days_ago=1)
    mill.act(say_lifted, "L1", days_ago=0.5, **SEEN)  # sunk and lifted again: what was sawn off before keeps its own
    with mill.store.reading() as connection:
        held = read_entries(connection, mill.now_ms)
        lifted = airs.by_subject(facts.standing(connection, Lifted))
        ids = {one.code: one.id for one in facts.subjects(connection, SubjectKind.BOARD)}
    grades = {code: out_of_water.triage_of(held, lifted, ids[code], mill.now_ms) for code in ("L1", "L1b", "A1")}
    assert grades["L1"].grade is Grade.CLEAR
    assert grades["L1b"].grade is Grade.BACTERIAL
    assert grades["A1"] is None


def test_the_words_of_the_store_are_those_of_the_physics():
    for word in (*WaterBody, *Sapwood, *Smell):
        assert isinstance(word.value, str)
    assert {one.value for one in WaterBody} == {"fresh", "brackish", "salt", "unknown"}
    lifted = Lifted(1, 1, 0, 0, "Ida", None, False, WaterBody.SALT, Sapwood.LOST, True, Smell.SOUR, False, False, "")
    assert out_of_water.reclaimed.triage(out_of_water.signs_of(lifted)).grade is Grade.BACTERIAL


def test_wood_weighed_far_too_light_is_doubtful(mill):
    mill.act(entries.add_board, "L2", place="shed", days_ago=3, **{**LOG, "thickness_mm": 25, "length_mm": 1000})
    mill.act(say_lifted, "L2", days_ago=3, **SEEN)
    mill.act(entries.add_weigh_in, "L2", mass_g=2000, sure=True, days_ago=1)
    assert water(mill, "L2").triage.grade is Grade.DOUBTFUL


def test_the_board_page_shows_clock_class_and_cautions(mill):
    mill.act(entries.add_board, "L2", place="shed", days_ago=3, **LOG)
    mill.act(say_lifted, "L2", days_ago=3, **{**SEEN, "smell": "sour or sulphurous", "shake": "yes", "water": "salt"})
    shown = page_of(mill, "/board/L2")
    assert "Out of the water" in shown
    assert "Marks of bacterial wood" in shown
    assert "weigh it instead" in shown
    assert "hydrogen sulphide" in shown
    assert "/work-out/saw-plan?board=L2" in shown
    assert "Soaked it weighs" in shown


def test_the_milder_limit_of_a_board_stands_with_the_usual_one_and_a_log_has_none(mill):
    assert "Survives, as heartwood" not in page_of(mill, "/board/L1")
    mill.act(entries.add_board, "L2", place="shed", days_ago=3, **{**LOG, "thickness_mm": 27})
    shown = page_of(mill, "/board/L2")
    assert "Survives, as heartwood" in shown
    assert "times 0.6 out of the water" in shown


def test_reclaimed_wood_without_the_entry_asks_for_it_and_other_wood_has_no_such_section(yard):
    yard.act(entries.add_board, "L1", place="shed", days_ago=4, **LOG)
    shown = page_of(yard, "/board/L1")
    assert "Nobody entered when it was lifted" in shown
    assert shown.count('href="#lifted"') == 2 and 'id="lifted"' in shown  # in sight, and where its clock is told
    (task,) = [one for one in tasks(yard) if one.to == "/board/L1#lifted"]
    assert task.cause == "Nobody entered when it was lifted out of the water."
    first = re.search(r'id="lifted".*?<form.*?<label[^>]*>(.*?)</label>.*?<input([^>]*)>', shown, re.DOTALL)
    assert first.group(1) == "Lifted on" and "required" in first.group(2)
    assert 'id="out-of-water"' not in page_of(yard, "/board/A1")


def test_a_board_sawn_from_a_lifted_log_is_not_asked_for_again(mill):
    mill.act(cutting_entries.resaw_board, "L1", piece="L1b", kerf_mm=4, days_ago=1)
    assert {"L1", "L1b"} <= {one.subject.code for one in read(mill)[0].boards}
    assert not any(one.to.endswith("#lifted") for one in tasks(mill))


def tasks(yard):
    now = situation.read(yard.store, yard.now_ms, yard.settings)
    made = today.today(now, now.boards)
    return [*made.tasks, *made.folded]


def test_the_questions_take_what_the_yard_knows(mill):
    now, _board = read(mill)
    clock = QUESTIONS["out-of-water"].answer(Asked({"board": "L1"}, now))
    assert any(line.name == "Lifted" for line in clock.lines)
    assert "left" in clock.headline
    mill.act(say_lifted, "L1", days_ago=4, **{**SEEN, "smell": "sour or sulphurous", "shake": "yes"})
    now, _board = read(mill)
    plan = filled(QUESTIONS["saw-plan"], Asked({"board": "L1", "finished_mm": "19"}, now))
    assert plan.text("seen") == Grade.BACTERIAL.value
    assert "honeycomb" in " ".join(QUESTIONS["saw-plan"].answer(plan).flags)
    lift = filled(QUESTIONS["lifting"], Asked({"board": "L1"}, now))
    assert "kg" in QUESTIONS["lifting"].answer(lift).headline


def test_a_board_never_lifted_has_no_clock_to_ask_for(mill):
    now, _board = read(mill)
    with pytest.raises(BadInput, match="entered when it was lifted"):
        QUESTIONS["out-of-water"].answer(Asked({"board": "A1"}, now))


def test_a_stack_is_added_up_and_scaled_to_all_that_lie_in_it(mill):
    mill.act(entries.move_board, "L1", stack="S1", days_ago=2)
    now, _board = read(mill)
    stack = QUESTIONS["lifting"].answer(Asked({"stack": "S1"}, now))
    boards = next(one for one in now.stacks if one.subject.code == "S1").boards
    assert f"{len(boards)} boards entered" in stack.sentence
    one = QUESTIONS["lifting"].answer(filled(QUESTIONS["lifting"], Asked({"board": "L1"}, now)))
    assert float(stack.headline.split()[0]) > float(one.headline.split()[0])
    with pytest.raises(BadInput, match="stack is S9"):
        QUESTIONS["lifting"].answer(Asked({"stack": "S9"}, now))


def test_nothing_entered_of_lifting_is_lost_by_looking(mill):
    with mill.store.reading() as connection:
        before = facts.standing(connection, Lifted)
    page_of(mill, "/board/L1")
    with mill.store.reading() as connection:
        assert facts.standing(connection, Lifted) == before
