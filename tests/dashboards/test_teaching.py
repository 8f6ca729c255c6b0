"""Which boards teach which, what undoing and the setting take back, and how what was learned is told."""

import contextlib
import io
import json
import os
import sys
from dataclasses import replace
from unittest import mock

import numpy as np
import pytest
from starlette.testclient import TestClient

from dashboards import entries, learned, projection, situation, teaching
from dashboards.app import create_app
from dashboards.pages.learned import learned_page
from dashboards.terminal import main
from dashboards.yard_entries import read_entries
from kiln import drying, lots
from kiln.records import Projection
from shared.settings import Settings
from shared.store import facts
from shared.store.records import SubjectKind

ASH = {
    "species": "Fraxinus americana",
    "thickness_mm": 27,
    "width_mm": 190,
    "length_mm": 1500,
    "cut": "flat-sawn",
    "origin": "fresh-sawn",
}
WEIGHED_G = {35: 6900.0, 28: 6150.0, 20: 5600.0, 10: 5050.0, 2: 4700.0}


@pytest.fixture
def two(yard):
    """Beside the stack's two boards: B1, finished in the same shed, and B2, by itself there and weighed once."""
    for code in ("B1", "B2"):
        yard.act(entries.add_board, code, days_ago=36, place="shed", **ASH)
    for days, grams in WEIGHED_G.items():
        yard.act(entries.add_weigh_in, "B1", mass_g=grams, days_ago=days)
    yard.act(entries.add_weigh_in, "B2", mass_g=6900, days_ago=35)
    return yard


def read(yard, settings=None):
    with yard.store.reading() as connection:
        return read_entries(connection, yard.now_ms, settings or yard.settings)


def number(yard, code):
    with yard.store.reading() as connection:
        return facts.subject(connection, SubjectKind.BOARD, code).id


def taught_by(yard, code, settings=None):
    """The codes of the boards that teach one: of its lot, and finished."""
    found = teaching.teachers(read(yard, settings), number(yard, code))
    codes = {number(yard, one): one for one in ("A1", "A2", "B1", "B2", "C1", "D1")[: len(read(yard).boards)]}
    return [codes[one] for one in found.lot], [codes[one] for one in found.finished]


def board(yard, code):
    now = situation.read(yard.store, yard.now_ms, yard.settings)
    return next(one for one in now.boards if one.subject.code == code)


def key(yard, code, settings=None):
    return projection.input_key(read(yard, settings), number(yard, code), yard.now_ms)


def finish(yard, code, kind="finished", degree="well", days_ago=0.5):
    return yard.act(entries.add_outcome, code, kind=kind, degree=degree, days_ago=days_ago)


def test_measured_boards_of_a_stack_teach_the_others_in_it_and_never_themselves(two):
    assert taught_by(two, "A2") == (["A1"], [])
    assert taught_by(two, "A1") == ([], [])  # A2 was never measured
    assert taught_by(two, "B2") == ([], [])  # lies by itself


def test_a_finished_board_teaches_all_of_its_wood_but_itself_until_its_outcome_is_undone(two):
    made = finish(two, "B1")
    assert taught_by(two, "B2") == ([], ["B1"])
    assert taught_by(two, "A2") == (["A1"], ["B1"])
    assert taught_by(two, "B1") == ([], [])
    two.act(entries.undo, made.kind, made.fact_id)
    assert taught_by(two, "B2") == ([], [])


def test_the_setting_switches_finished_and_harmed_boards_off_but_not_the_lot(two):
    finish(two, "B1")
    finish(two, "B1", "checks", "slight")
    off = Settings(learn_from_finished=False)
    assert taught_by(two, "A2", off) == (["A1"], [])
    assert teaching.harmed_boards(read(two), ASH["species"]) == (number(two, "B1"),)
    assert teaching.harmed_boards(read(two, off), ASH["species"]) == ()
    assert key(two, "B2") != key(two, "B2", off)


def test_finished_boards_that_dried_in_one_stack_are_of_one_lot_also_when_they_were_taken_out(two):
    two.act(entries.move_board, "A1", place="room", days_ago=1)
    lesson = teaching.Taught(lots.Lesson(np.zeros((10, 10)), np.zeros(10)), ())
    lessons = {number(two, code): lesson for code in ("A1", "A2", "B1", "B2")}
    assert sorted(len(one) for one in teaching.by_lot(read(two), lessons)) == [1, 1, 2]


def test_another_wood_or_another_origin_is_taught_nothing(two):
    finish(two, "B1")
    two.act(entries.add_board, "C1", days_ago=30, place="shed", **{**ASH, "species": "Quercus alba"})
    two.act(entries.add_board, "D1", days_ago=30, place="shed", **{**ASH, "origin": "water-reclaimed"})
    assert taught_by(two, "C1") == ([], [])
    assert taught_by(two, "D1") == ([], [])


def test_an_outcome_and_what_is_entered_of_the_teacher_make_its_pupils_due(two):
    before = key(two, "B2")
    made = finish(two, "B1")
    closed = key(two, "B2")
    assert closed != before
    two.act(entries.add_weigh_in, "B1", mass_g=4690, days_ago=0.4)
    assert key(two, "B2") != closed
    found = finish(two, "B1", "checks", "slight")
    checked = key(two, "B2")
    two.act(entries.undo, found.kind, found.fact_id)
    assert key(two, "B2") != checked
    finish(two, "B1", "checks", "none")  # nothing was found: no harm
    assert teaching.harmed_boards(read(two), ASH["species"]) == ()
    assert made.kind == "outcome"


@pytest.mark.parametrize(
    ("kind", "degree", "harmed"),
    [
        ("checks", "slight", True),
        ("honeycomb", "bad", True),
        ("collapse", "none", False),
        ("stain", "bad", False),
        ("finished", "spoilt", True),
        ("finished", "well", False),
    ],
)
def test_harm_is_checks_honeycomb_collapse_and_a_spoilt_board(two, kind, degree, harmed):
    finish(two, "B1", kind, degree)
    assert teaching.was_harmed(read(two).boards[number(two, "B1")]) is harmed


def project(yard, *codes):
    for code in codes:
        projection.refresh(yard.store, number(yard, code), yard.now_ms, yard.settings)


def test_a_board_harmed_at_a_lower_loss_lowers_what_its_wood_is_taken_to_survive(two):
    project(two, "B1", "B2")
    slow = two.act(entries.add_outcome, "B1", kind="checks", degree="slight", days_ago=20)
    with two.store.reading() as connection:
        held = read_entries(connection, two.now_ms, two.settings)
    made = {number(two, "B1"): board(two, "B1").projection}
    harmed = teaching.harmed(held, made)
    assert [(one.name, one.found) for one in harmed] == [("B1", "checked")]
    past = (made[number(two, "B1")].at_ms <= two.now_ms - 20 * 86_400_000).nonzero()[0]
    falls = -np.diff(made[number(two, "B1")].mean.p50[past])
    assert harmed[0].loss_pct_per_day == pytest.approx(falls.max(), rel=0.02)  # daily moments, while it was wet
    assert teaching.harmed(held, {}) == ()  # not projected yet
    two.act(entries.undo, slow.kind, slow.fact_id)
    assert teaching.harmed(read(two), made) == ()


def test_a_finished_board_narrows_what_is_expected_of_another(two):
    project(two, "B2")
    alone = board(two, "B2").projection
    finish(two, "B1")
    project(two, "B2")
    after = board(two, "B2").projection
    assert isinstance(after, Projection)
    assert (alone.boards_taught, after.boards_taught) == (0, 1)
    later = np.searchsorted(after.at_ms, two.now_ms + 20 * 86_400_000)
    width = [float(one.mean.p90[later] - one.mean.p10[later]) for one in (alone, after)]
    assert width[1] < width[0]


# --- how it is told --------------------------------------------------------------------------------


def learned_of(yard, settings=None):
    return learned.read(yard.store, yard.now_ms, settings or yard.settings, projection.Memory())


def test_a_yard_without_outcomes_is_told_what_to_do_and_the_setting_says_that_it_is_off(two):
    assert learned_page(learned_of(two)).woods == ()
    off = learned_page(learned_of(two, Settings(learn_from_finished=False)))
    assert not off.on


def test_what_was_learned_is_told_by_wood_with_the_boards_that_told_it(two):
    finish(two, "B1")
    finish(two, "A2")  # never measured
    found = learned_of(two)
    (wood,) = found.woods
    assert (wood.label, wood.boards) == ("White ash", 1)
    with two.store.reading() as connection:
        asked = projection.question(connection, read(two), number(two, "B1"), two.now_ms)
    lesson = teaching.taught_by(number(two, "B1"), {}, lambda _one: asked, lambda _one: "").lesson
    expected = lots.factors(lots.of_yard(drying.prior(asked.piece), [[lesson]]))
    assert wood.factors == {name: pytest.approx(expected[name]) for name in learned.TOLD}
    (view,) = learned_page(found).woods
    assert {(one.name, one.link) for one in view.teachers} == {("B1", "/board/B1"), ("A2", "/board/A2")}
    assert any("taught nothing: it was never measured" in one.told for one in view.teachers)


def test_the_same_memory_works_nothing_out_twice(two, monkeypatch):
    finish(two, "B1")
    memory = projection.Memory()
    first = learned.read(two.store, two.now_ms, two.settings, memory)
    monkeypatch.setattr(teaching.ensemble, "refit", lambda _asked: pytest.fail("worked out again"))
    again = learned.read(two.store, two.now_ms, two.settings, memory)
    assert again.woods[0].factors == first.woods[0].factors


@pytest.mark.parametrize(
    ("name", "factor", "says"),
    [
        (
            "ln_diffusion",
            (0.70, 0.82, 0.95),
            "White ash dries 18 % slower here than the table says (5 to 30 %), by 3 finished boards.",
        ),
        ("ln_diffusion", (1.1, 1.2, 1.4), "White ash dries 20 % faster here than the table says (10 to 40 %), by 3"),
        ("ln_oven_dry_mass", (1.02, 1.03, 1.04), "White ash is 3 % heavier when oven-dry here than the table says"),
        ("ln_film", (0.7, 0.8, 0.9), "White ash gives its water 20 % more slowly to the air here"),
        ("ln_isotherm_scale", (0.95, 0.97, 0.98), "White ash holds 3 % less water in the same air here"),
    ],
)
def test_a_difference_is_told_as_a_shop_owner_says_it(name, factor, says):
    assert learned.factor_sentence("White ash", name, factor, "3 finished boards").startswith(says)


def test_what_its_band_does_not_tell_from_the_table_is_said_to_be_open(two):
    finish(two, "B1")
    (wood,) = learned_of(two).woods
    unclear = dict.fromkeys(learned.TOLD, (0.81, 1.16, 1.66))
    told = learned.sentences(replace(wood, factors=unclear, lapse_factor=1.2, measurements=4))
    assert told[0].startswith("Not told apart from the table by 1 finished board: pace of drying +16 % (−19 to +66); ")
    assert told[1].endswith("by 4 measurements after the first of each board: its own error counts 20 % more.")


def client_of(yard, settings):
    app = create_app(yard.store, settings, yard.folder / "secrets.json", lambda: yard.now_ms)
    return TestClient(app, client=("127.0.0.1", 1), base_url="http://localhost")


def test_an_empty_page_teaches_what_to_do_and_one_that_is_off_says_so(two):
    empty = client_of(two, two.settings).get("/learned").text
    assert "benchdry outcome A1 finished well" in empty
    assert "To undo it" not in empty
    off = client_of(two, Settings(learn_from_finished=False)).get("/learned").text
    assert "<code>learn_from_finished</code> is off" in off


def test_page_and_data_tell_the_same(two):
    finish(two, "B1")
    client = client_of(two, two.settings)
    page = client.get("/learned")
    assert page.status_code == 200
    assert "White ash, fresh-sawn" in page.text
    assert 'href="/board/B1"' in page.text
    told = client.get("/api/learned").json()
    assert told["woods"][0]["boards"] == 1
    assert told["woods"][0]["factors"]["ln_diffusion"][1] > 0.0


def benchdry(*words, folder, **environment):
    """Run one command and return what it said."""
    said = io.StringIO()
    with (
        mock.patch.dict(os.environ, {"COLUMNS": "200", **environment}),
        mock.patch.object(sys, "argv", ["benchdry", *words, "--folder", str(folder)]),
        contextlib.redirect_stdout(said),
        contextlib.suppress(SystemExit),
    ):
        main()
    return said.getvalue()


def test_the_command_teaches_what_to_do_in_an_empty_yard_and_says_when_it_is_off(tmp_path):
    benchdry("init", folder=tmp_path)
    assert "benchdry outcome CODE finished well" in benchdry("learned", folder=tmp_path)
    off = benchdry("learned", folder=tmp_path, BENCHDRY_LEARN_FROM_FINISHED="false")
    assert "the setting learn_from_finished is off" in off
    assert json.loads(benchdry("learned", "--json", folder=tmp_path)) == {"on": True, "woods": []}
