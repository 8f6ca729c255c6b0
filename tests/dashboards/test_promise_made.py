"""How far it will move: the place's weeks, the board's and the set's sections, and the commands that say the same."""

from __future__ import annotations

import html
import json
import re
from unittest import mock

import numpy as np
import pytest
from starlette.testclient import TestClient

from dashboards import entries, projection, promise_made, situation, weeks
from dashboards.app import create_app
from dashboards.auth import SECRETS_NAME
from dashboards.pages import promise as pages
from kiln import movement, sorption
from shared.settings import Settings
from shared.store import cache, facts
from shared.store.as_known import AsKnown
from shared.store.records import SubjectKind
from shared.units import MS_PER_DAY, MS_PER_HOUR
from tests.dashboards.commands import benchdry

MADE = []
WOOD = {
    "species": "Fraxinus americana",
    "thickness_mm": 4,
    "length_mm": 500,
    "cut": "quarter-sawn",
    "origin": "fresh-sawn",
}


def client_of(yard):
    app = create_app(yard.store, Settings(), yard.folder / SECRETS_NAME, lambda: yard.now_ms)
    return TestClient(app, base_url="http://localhost", client=("127.0.0.1", 50000), follow_redirects=False)


def words(text):
    plain = html.unescape(re.sub(r"<[^>]+>", " ", text)).replace("\u00a0", " ").replace("\u2060", "")
    return " ".join(plain.split())


def id_of(yard, code, kind=SubjectKind.BOARD):
    with yard.store.reading() as connection:
        return facts.subject(connection, kind, code).id


@pytest.fixture
def plates(yard):
    """Two halves in the room, weighed, and a brace under them; everything projected."""
    (yard.folder / "benchdry.toml").write_text('store = "yard.sqlite3"\n', encoding="utf-8")
    for code, grams in (("L", 246.0), ("R", 247.5)):
        yard.act(entries.add_board, code, place="room", days_ago=36, width_mm=190, **WOOD)
        for days in (30, 20, 10, 2):
            yard.act(entries.add_weigh_in, code, mass_g=grams, days_ago=days)
    yard.act(entries.add_board, "brace", place="room", days_ago=36, width_mm=15, **WOOD | {"length_mm": 300})
    yard.act(entries.add_set, "M1", days_ago=30)
    for code, role in (("L", "left half"), ("R", "right half"), ("brace", "brace")):
        yard.act(entries.put_in_set, code, set_code="M1", role=role, days_ago=29)
    _project(yard, "L", "R", "brace")
    return yard


def _project(yard, *codes):
    """Work the projections out once: every test begins with the same yard."""
    if not MADE:
        for code in codes:
            projection.refresh(yard.store, id_of(yard, code), yard.now_ms)
        with yard.store.reading() as connection:
            MADE.extend(cache.projections(connection).values())
    with yard.store.writing() as connection:
        for one in MADE:
            cache.put_projection(connection, one)


def now_of(yard):
    return situation.read(yard.store, yard.now_ms, Settings())


def board_of(yard, code):
    now = now_of(yard)
    return now, next(one for one in now.boards if one.subject.code == code)


# --- weeks -----------------------------------------------------------------------------------------


def test_a_places_weeks_are_those_of_its_own_logged_air(yard):
    yard.act(entries.add_place, "loft", kind="room", days_ago=100)
    yard.act(entries.add_probe, "dry", topic="workshop/loft/dry", place="loft", days_ago=100)
    for start, end, rh in ((40, 20.05, 45.0), (20, 12.05, 30.0), (12, 0, 45.0)):
        yard.log("dry", start, end, t=19.0, rh=rh)
    driest, wettest = weeks.of_place(yard.store, id_of(yard, "loft", SubjectKind.PLACE), yard.now_ms)
    assert driest.rh_pct == pytest.approx(30.0, abs=1.0) and wettest.rh_pct == pytest.approx(45.0, abs=1.0)
    begun = (yard.now_ms - driest.start_ms) / MS_PER_DAY
    assert 18.5 <= begun <= 20.5
    # By hand: the mean EMC of a day's swing about 19 °C and 30 %RH, as the yard logs it.
    turn = np.sin(np.arange(24) * 2 * np.pi / 24)
    assert driest.emc_pct == pytest.approx(float(np.mean(sorption.emc_pct(19 + 3 * turn, 30 - 2 * turn))), abs=0.02)


def test_weeks_are_read_once_an_hour_and_none_without_a_week_of_air(yard):
    place_id = id_of(yard, "room", SubjectKind.PLACE)
    with mock.patch.object(weeks, "_read", wraps=weeks._read) as read:
        first = weeks.of_place(yard.store, place_id, yard.now_ms)
        assert weeks.of_place(yard.store, place_id, yard.now_ms + 60_000) == first
        weeks.of_place(yard.store, place_id, yard.now_ms + MS_PER_HOUR)
    assert read.call_count == 2
    yard.act(entries.add_place, "empty", kind="room", days_ago=3)
    assert weeks.of_place(yard.store, id_of(yard, "empty", SubjectKind.PLACE), yard.now_ms) is None


def test_the_weeks_known_at_an_earlier_time_are_not_those_of_today(yard):
    """A dry spell that was logged later was not known before: the same file, as it was known then."""
    yard.act(entries.add_place, "loft", kind="room", days_ago=100)
    yard.act(entries.add_probe, "dry", topic="workshop/loft/dry", place="loft", days_ago=100)
    place_id = id_of(yard, "loft", SubjectKind.PLACE)
    yard.log("dry", 40, 12.05, t=19.0, rh=45.0)
    then_ms = yard.now_ms
    yard.now_ms += 10 * MS_PER_DAY
    yard.log("dry", 21, 0, t=19.0, rh=30.0)
    today, _ = weeks.of_place(yard.store, place_id, yard.now_ms)
    then, _ = weeks.of_place(AsKnown(yard.store, then_ms), place_id, yard.now_ms)
    assert today.rh_pct == pytest.approx(30.0, abs=1.0) and then.rh_pct == pytest.approx(45.0, abs=1.0)


# --- a board ---------------------------------------------------------------------------------------


def test_a_board_moves_to_its_places_weeks_to_where_it_is_to_live_and_to_houses(plates):
    plates.act(entries.plan_use, "L", use="brace", destination_rh_pct=40, destination_temperature_c=20)
    now, board = board_of(plates, "L")
    made = promise_made.of_board(now, board)
    names = [one.air.name for one in made.moved]
    assert names[0] == "its driest week on record" and names[1] == "its wettest week on record"
    assert names[2] == "where it is to live" and "winter" in names[3] and "summer" in names[4]
    assert made.moved[2].air.rh_pct == 40
    winter = made.moved[3]
    wanted = movement.change_m(0.19, 4.9, made.now_mc_pct[1], winter.mc_pct[1])  # 4.9 % radial: Table 4-3
    assert winter.width_m[1] == pytest.approx(float(wanted), rel=0.03)
    assert made.why_none == ""


def test_nothing_is_promised_of_a_board_without_projection_and_it_says_why(yard):
    now, board = board_of(yard, "A1")
    view = pages.of_board(now, board)
    assert view.rows == () and "no projection" in view.why_none
    shown = words(client_of(yard).get("/board/A1").text)
    assert "How far it will move" in shown and "no projection" in shown


def test_the_page_the_command_and_the_data_say_the_same(plates):
    now, board = board_of(plates, "L")
    view, data = pages.of_board(now, board), promise_made.of_board(now, board)
    client = client_of(plates)
    page = client.get("/board/L").text
    shown, told = words(page), benchdry(plates, "board", "movement", "l")
    for row in view.rows:
        for name, figure in row.figures:
            assert name in shown and figure in shown
            assert name in told and figure in " ".join(told.split())
        assert html.escape(row.work_out) in page
        assert client.get(row.work_out).status_code == 200
    assert all(line in shown for line in view.limits) and 'href="/how#promise"' in page
    assert not re.search(r"\bsafe\b|None|nan", shown)
    in_json = client.get("/api/board/L").json()["movement"]
    assert in_json == json.loads(benchdry(plates, "board", "movement", "L", "--json"))
    assert in_json["moved"][0]["width_m"] == pytest.approx(list(data.moved[0].width_m))


def test_where_it_leads_is_answered_alike_by_the_question(plates):
    """The house's row and the question's answer are one method: same width, same band."""
    now, board = board_of(plates, "L")
    view = pages.of_board(now, board)
    row = next(one for one in view.rows if "winter" in one.name)
    figure = next(told for name, told in row.figures if name.startswith("Width"))
    middle = figure.split(" mm")[0]
    answered = words(client_of(plates).get(row.work_out).text)
    assert float(re.search(r"(−?\d+\.\d\d) mm", answered)[1].replace("−", "-")) == pytest.approx(
        float(middle.replace("−", "-")), abs=0.03
    )


# --- a set -----------------------------------------------------------------------------------------


def test_the_halves_of_a_set_move_together_by_the_sum(plates):
    now = now_of(plates)
    made = promise_made.of_set(now, now.sets[0])
    assert [one.code for one in made.halves] == ["L", "R"]
    for air, change in made.joined:
        each = [one.width_m for half in made.halves for one in half.moved if one.air == air]
        assert change == pytest.approx([sum(line) for line in zip(*each, strict=True)])


def test_halves_have_a_joint_without_being_told_and_a_brace_only_when_it_is_entered(plates):
    now = now_of(plates)
    (alone,) = promise_made.of_set(now, now.sets[0]).joints
    assert alone.length_m == 0.5 and alone.step is not None and alone.wider is not None
    plates.act(entries.add_joint, "M1", a="L", b="brace", length_mm=150, grain_a_deg=90, grain_b_deg=0, name="lower")
    now = now_of(plates)
    lower, edge = promise_made.of_set(now, now.sets[0]).joints
    assert (lower.name, lower.length_m, lower.step) == ("lower", 0.15, None)
    assert lower.mismatch.most_m[1] > 5 * edge.mismatch.most_m[1]  # across the grain against along it
    course = now.boards[[b.subject.code for b in now.boards].index("L")].projection.member_mc_pct
    swing = np.median(np.abs(course - course[:, :1]).max(axis=1))
    assert lower.mismatch.most_m[1] == pytest.approx(0.15 * 0.049 * swing / 30.0, rel=0.35)
    shown = words(client_of(plates).get("/set/M1").text)
    assert "Joints through the coming year" in shown and "lower" in shown and "Joined width of 380 mm" in shown
    for line in promise_made.joint_sentences(lower):
        assert line in shown and line in " ".join(benchdry(plates, "set", "movement", "M1").split())
    assert "tep in thickness" in shown
    data = json.loads(benchdry(plates, "set", "movement", "M1", "--json"))
    assert [one["name"] for one in data["joints"]] == ["lower", "L to R, edge to edge"]


def test_a_joint_with_a_piece_that_has_no_projection_says_so(plates):
    plates.act(entries.add_board, "late", place="room", days_ago=0.01, width_mm=15, **WOOD)
    plates.act(entries.put_in_set, "late", set_code="M1", role="brace")
    plates.act(entries.add_joint, "M1", a="L", b="late", length_mm=100, grain_a_deg=90)
    now = now_of(plates)
    one = promise_made.of_set(now, now.sets[0]).joints[0]
    assert one.mismatch is None and promise_made.joint_sentences(one) == ("late has no projection yet.",)


def test_a_set_of_braces_alike_in_size_has_no_halves(plates):
    plates.act(entries.add_set, "M2", days_ago=30)
    for code in ("b1", "b2"):
        plates.act(entries.add_board, code, place="room", days_ago=10, width_mm=15, **WOOD)
        plates.act(entries.put_in_set, code, set_code="M2", role="brace", days_ago=5)
    now = now_of(plates)
    assert promise_made.halves(next(one for one in now.sets if one.subject.code == "M2")) == ()
    assert "How far it will move" not in words(client_of(plates).get("/set/M2").text)
    assert "nothing is glued" in benchdry(plates, "set", "movement", "M2")
    assert "set is M9; accepted: M1, M2" in benchdry(plates, "set", "movement", "M9", code=2)
