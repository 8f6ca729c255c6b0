"""A set's page: its halves laid open, pieces held against them, what is asked of it, and what came of what was said."""

from __future__ import annotations

import html
import re
from dataclasses import fields

import pytest
from starlette.testclient import TestClient

from dashboards import entries, pair, projection, situation
from dashboards.app import create_app
from dashboards.auth import SECRETS_NAME
from dashboards.pages import matched_set
from dashboards.pair import Leaf
from kiln.records import Apart, JudgedBy, Standing
from kiln.twins import NAME
from shared.settings import Settings
from shared.store import cache, facts
from shared.store.records import Cut, PieceKind, SubjectKind

MADE = []
WOOD = {"species": "Fraxinus americana", "thickness_mm": 4, "length_mm": 500, "cut": "quarter-sawn"}


def client_of(yard):
    app = create_app(yard.store, Settings(), yard.folder / SECRETS_NAME, lambda: yard.now_ms)
    return TestClient(app, base_url="http://localhost", client=("127.0.0.1", 50000), follow_redirects=False)


def words(text):
    plain = html.unescape(re.sub(r"<[^>]+>", " ", text)).replace("\u00a0", " ").replace("\u2060", "")
    return " ".join(plain.split())


@pytest.fixture
def plates(yard):
    """Two halves and a brace in the room, weighed, in one set; everything projected."""
    for code, grams, width in (("L", 246.0, 190), ("R", 247.5, 190), ("rib", 20.0, 15)):
        yard.act(entries.add_board, code, place="room", days_ago=36, width_mm=width, origin="fresh-sawn", **WOOD)
        for days in (30, 20, 10, 2):
            yard.act(entries.add_weigh_in, code, mass_g=grams, days_ago=days)
    yard.act(entries.add_set, "M1", days_ago=30)
    for code, kind in (("L", "twin"), ("R", "twin"), ("rib", "brace")):
        yard.act(entries.put_in_set, code, set_code="M1", piece_kind=kind, days_ago=29)
    _project(yard, ("L", "R", "rib"))
    return yard


def _project(yard, codes):
    with yard.store.reading() as connection:
        ids = [facts.subject(connection, SubjectKind.BOARD, code).id for code in codes]
    if not MADE:
        for board_id in ids:
            projection.refresh(yard.store, board_id, yard.now_ms)
        with yard.store.reading() as connection:
            MADE.extend(cache.projections(connection).values())
    with yard.store.writing() as connection:
        for one in MADE:
            cache.put_projection(connection, one)


def test_the_halves_are_laid_open_with_the_judgements_own_difference(plates):
    now = situation.read(plates.store, plates.now_ms, plates.settings)
    gate = next(one for one in now.sets[0].verdict.gates if one.name == NAME)
    page = client_of(plates).get("/set/M1").text
    head, below = pair.across_words(gate.apart)
    drawing = page[page.index('<svg class="pair"') :]
    drawing = drawing[: drawing.index("</svg>")]
    assert html.escape(head) in drawing and html.escape(below) in drawing and "scale(-1 1)" in drawing
    assert drawing.count("<a href") == 2 and 'href="/board/L"' in drawing
    assert pair.agree_words(gate.apart) in words(page)
    assert "190 × 500 mm each" in words(page)


def test_a_brace_is_held_against_the_halves_and_a_half_is_not(plates):
    now = situation.read(plates.store, plates.now_ms, plates.settings)
    (other,) = matched_set.set_page(now, now.sets[0], "", None).others
    assert (other.name, other.kind, other.link) == ("rib", "brace", "/board/rib")
    assert re.fullmatch(r"\d\.\d % (damper|drier) than the halves \(−?\d\.\d to \d+\.\d\); allowed 2", other.apart), (
        other.apart
    )
    shown = words(client_of(plates).get("/set/M1").text)
    assert "Held against the halves" in shown and other.apart in shown


def test_what_is_done_most_comes_right_after_the_verdict(plates):
    page = client_of(plates).get("/set/M1").text
    order = ['class="word"', 'href="/weigh?set=M1"', 'id="put"', 'id="twins"', 'id="conditions"', 'id="pieces"']
    found = [page.index(one) for one in (*order, 'id="movement"', 'id="came"')]
    assert found == sorted(found)


def test_what_was_said_of_the_pieces_stands_beside_what_came(plates):
    page = client_of(plates).get("/set/M1").text
    shown = words(page)
    assert re.search(r"Of \d+ weights? \d+ came inside", shown)
    now = situation.read(plates.store, plates.now_ms, plates.settings)
    told = matched_set.set_page(now, now.sets[0], "", None).history
    assert {one.piece for one in told} == {"L", "R", "rib"}
    assert any("g, " in one.came.came for one in told)


def test_an_empty_set_says_what_to_do_and_breaks_nothing(yard):
    yard.act(entries.add_set, "E1")
    page = client_of(yard).get("/set/E1")
    assert page.status_code == 200 and "Put boards into the set above" in words(page.text)
    assert "Weigh these pieces" not in page.text


@pytest.mark.parametrize("record", [matched_set.PairView, matched_set.OtherPiece, matched_set.SaidAndCame])
def test_every_field_of_the_page_is_explained(record):
    assert all(len(one.metadata.get("help", "")) > 5 for one in fields(record))


# --- the drawing -----------------------------------------------------------------------------------


def apart(standing, middle, half=0.1, by=JudgedBy.MODEL, allowed=0.5):
    return Apart(by, (max(0.0, middle - half), middle, middle + half), allowed, standing)


def test_the_joint_is_closed_when_they_agree_and_opens_in_proportion_when_they_do_not():
    assert pair.opening(apart(Standing.MET, 0.3)) == 0.0
    once, twice = (pair.opening(apart(Standing.NOT_YET, far)) for far in (1.0, 2.0))
    assert twice == pytest.approx(2 * once) and once > 0.0
    assert 0.0 < pair.opening(None) <= once and pair.opening(apart(Standing.NOT_YET, 90.0)) <= pair.OPEN_MOST


def test_a_half_that_nobody_knows_is_drawn_broken_and_says_so():
    known = Leaf("A", "/board/A", (8.0, 8.4, 9.0), 0.2, 0.5, Cut.FLAT)
    unknown = Leaf("B", "/board/B", None, 0.2, 0.5, Cut.FLAT)
    closed = pair.pair(known, known, apart(Standing.MET, 0.3, 0.2))
    assert "stroke-dasharray" not in closed and "0.3 % apart" in closed and "0.1 to 0.5; allowed 0.5" in closed
    broken = pair.pair(known, unknown, None)
    assert "stroke-dasharray" in broken and "not known" in broken and ">?<" in broken


def test_halves_are_drawn_to_scale_and_long_ones_cut_short():
    narrow, wide = (Leaf(c, "", None, w, 0.4, Cut.RIFT) for c, w in (("N", 0.1), ("W", 0.2)))
    drawn = pair.pair(narrow, wide, None)
    widths = [float(one) for one in re.findall(r'<clipPath id="leaf-\w+"><path d="M0 0H([\d.]+)', drawn)]
    assert widths[1] == pytest.approx(2 * widths[0], rel=0.01)
    long = Leaf("long", "", None, 0.2, 3.0, Cut.QUARTER)
    assert "cut short" in pair.scale_words(long, long) and "cut short" not in pair.scale_words(narrow, wide)


def test_a_mark_for_every_piece_and_the_side_of_a_drier_one():
    assert len({str(pair.piece_mark(kind)).split('d="')[1] for kind in PieceKind}) == len(PieceKind)
    drier = Apart(JudgedBy.MODEL, (-2.0, -1.2, -0.4), 2.0, Standing.MET)
    assert pair.from_halves_words(drier) == "1.2 % drier than the halves (0.4 to 2.0); allowed 2"
