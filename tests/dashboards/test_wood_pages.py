"""How a board lies, its finish and its cuts, on the pages and in the terminal as a person meets them."""

import contextlib
import html
import io
import os
import re
import sys
from unittest import mock

import pytest
from starlette.testclient import TestClient

from dashboards import cut_story, entries
from dashboards.app import create_app
from dashboards.auth import SECRETS_NAME
from dashboards.pages import cut_forms
from dashboards.terminal import home, main
from shared.store import facts
from shared.store import records as r

SAID = re.compile(r'name="kind" value="([\w-]+)">\s*<input type="hidden" name="id" value="(\d+)"')


@pytest.fixture
def client(yard):
    app = create_app(yard.store, yard.settings, yard.folder / SECRETS_NAME, lambda: yard.now_ms)
    return TestClient(app, client=("127.0.0.1", 1), base_url="http://localhost", follow_redirects=False)


def send(client, page, action, **typed):
    """Fill in a form of a page and send it, as a browser without script does."""
    shown = client.get(page).text
    if action != "/undo":
        assert f'action="{action}"' in shown
    token = re.search(r'name="csrf" value="(\w+)"', shown).group(1)
    return client.post(action, data={"csrf": token, "by": "Ida", **typed})


def words(page):
    """Return what a person reads of a page."""
    text = html.unescape(re.sub(r"<[^>]+>", " ", page.text))
    return " ".join(text.replace("\u00a0", " ").replace("\u2060", "").split())


def entry(page, number, kind):
    """Return what the entry list says of one entry."""
    found = re.search(rf'<li id="entry-{kind}-{number}">(.*?)</li>', page.text, re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", found.group(1))).split()) if found else ""


# --- pages -------------------------------------------------------------------------------------------


def test_a_board_of_which_nobody_said_how_it_lies_says_so(client):
    page = client.get("/board/A1")
    assert "Nobody has said how it lies since it came here. Nobody has said what is on" in words(page)
    assert '<option value="" selected>not said yet</option>' in page.text
    assert "Not yet: it is 27 × 190 × 1500 mm, as it was entered." in words(page)
    sent = send(client, "/board/A1", "/board/A1/rest", rest="")
    assert sent.status_code == 422 and "how it lies is empty; accepted: one of free on all sides" in words(sent)


def test_how_a_board_lies_is_shown_until_it_is_moved(client, yard):
    send(client, "/board/A1", "/board/A1/rest", rest="middle of its stack")
    page = client.get("/board/A1")
    assert "Board A1 lies in the middle of its stack, until it is moved." in words(page)
    assert "It lies in the middle of its stack, since" in words(page)
    assert '<option value="middle of its stack" selected>' in page.text
    yard.now_ms += 60_000
    send(client, "/board/A1", "/board/A1/move", where="place:room")
    page = client.get("/board/A1")
    assert "Nobody has said how it lies since it came here." in words(page)
    assert "In the middle of its stack how it lies" in words(page)  # the entry itself stays in the list


def test_a_finish_and_sealed_ends_are_shown_and_the_box_can_be_cleared(client):
    send(client, "/board/A1", "/board/A1/coat", coat="one face finished", ends_sealed="yes")
    page = client.get("/board/A1")
    assert "It is finished on one face, its ends sealed." in words(page)
    assert re.search(r'id="coat-ends_sealed" name="ends_sealed" value="yes" checked', page.text)
    send(client, "/board/A1", "/board/A1/coat", coat="one face finished")
    assert "its ends not sealed." in words(client.get("/board/A1"))


def test_after_planing_the_page_says_what_now_is_and_the_entry_can_be_undone(client, yard):
    sent = send(client, "/board/A1", "/board/A1/plane", off_marked_mm="1,5", off_other_mm="0.5")
    assert sent.status_code == 303 and sent.headers["location"] == "/board/A1#top"
    page = client.get("/board/A1")
    told = "27 → 25 mm thick, 1.5 mm off the marked face and 0.5 mm off the other"
    assert f"Board A1 is planed: {told}." in words(page)
    assert f"Planed: {told}. That was on" in words(page)
    assert "25 × 190 × 1500 mm" in words(page) and "It is 25 mm thick now." in words(page)
    with yard.store.reading() as connection:
        (cut,) = facts.standing(connection, r.BoardCut)
    assert entry(page, cut.id, "cut").startswith(f"Planed: {told} cut ·")
    assert entry(page, cut.id, "cut").endswith("Undo")
    send(client, "/board/A1", "/undo", kind="cut", id=str(cut.id))
    page = client.get("/board/A1")
    assert "it is 27 mm thick again" in words(page) and "27 × 190 × 1500 mm" in words(page)
    assert entry(page, cut.id, "cut") == ""
    kind, number = SAID.search(page.text).groups()
    send(client, "/board/A1", "/undo", kind=kind, id=number)
    assert "25 × 190 × 1500 mm" in words(client.get("/board/A1"))


def test_a_resawn_board_has_two_pages_that_name_each_other(client):
    send(client, "/board/A1", "/board/A1/resaw", kerf_mm="3", depth_mm="", piece="A1-b", piece_name="Left half")
    first, second = client.get("/board/A1"), client.get("/board/A1-b")
    assert "Resawn: 27 → 12 mm thick, the piece at the marked face; the other is A1-b" in words(first)
    assert "Sawn off A1, its 15 to 27 mm of 27 mm: 12 mm thick" in words(second)
    assert "at first it was" not in words(first)  # one cut says itself what was before
    assert "Left half" in words(second) and "12 × 190 × 1500 mm" in words(second)
    number = re.search(r'<li id="entry-cut-(\d+)">', second.text).group(1)
    undone = send(client, "/board/A1-b", "/undo", kind="cut", id=number)
    assert undone.headers["location"] == "/board/A1#top"
    assert "there is no A1-b" in words(client.get("/board/A1"))
    assert client.get("/board/A1-b").status_code == 404


@pytest.mark.parametrize(
    ("act", "typed", "field", "told"),
    [
        ("rest", {"rest": "flat on a bench", "case_air_l": "9"}, "case_air_l", "air in the case is 9 litres"),
        ("plane", {"off_marked_mm": "x"}, "off_marked_mm", "taken off the marked face is x"),
        ("resaw", {"kerf_mm": "", "piece": "A1-b"}, "kerf_mm", "saw kerf is empty"),
        ("resaw", {"kerf_mm": "3", "depth_mm": "40", "piece": "A1-b"}, "depth_mm", "depth of the cut is 40"),
        ("resaw", {"kerf_mm": "3", "piece": "a b"}, "piece", "code of the new piece is a b"),
        ("resaw", {"kerf_mm": "3", "piece": "c", "true_at": "2001-01-01T10:00"}, "true_at", "time is 1 Jan 2001"),
    ],
)
def test_a_form_not_accepted_comes_back_open_with_the_sentence_at_its_field(client, act, typed, field, told):
    page = send(client, "/board/A1", f"/board/A1/{act}", **typed)
    assert page.status_code == 422
    assert re.search(rf'id="{act}-{field}-told" role="alert">{told}', page.text)
    assert f'<details class="form" id="{act}" open>' in page.text


def test_a_place_asks_for_the_speed_of_its_air_and_the_sun(client):
    send(client, "/add", "/add/place", code="lane", kind="yard", altitude_m="0", air_speed_m_s="1,2", in_sun="yes")
    page = client.get("/place/lane")
    assert "air at 1.2 m/s over the wood · sun reaches the wood" in words(page)
    assert re.search(r'name="air_speed_m_s" value="1.2"', page.text)
    assert re.search(r'name="in_sun" value="yes" checked', page.text)
    same = {"name": "lane", "kind": "yard", "altitude_m": "0"}
    wrong = send(client, "/place/lane", "/place/lane/change", air_speed_m_s="9", **same)
    assert wrong.status_code == 422 and "speed of the air is 9; accepted: 0 to 5 m/s" in words(wrong)
    send(client, "/place/lane", "/place/lane/change", air_speed_m_s="", **same)
    assert "over the wood ·" not in words(client.get("/place/lane"))
    assert client.get("/api/air/lane").json()["place"]["fact"]["in_sun"] is False


def test_a_board_as_json_says_how_it_lies_and_how_it_was_cut(client, yard):
    yard.act(entries.say_rest, "A1", rest="in a closed case", case_air_l=20, days_ago=3)
    yard.act(entries.say_coat, "A1", coat="bare", ends_sealed=True, days_ago=3)
    yard.act(entries.resaw_board, "A1", kerf_mm=3, piece="A1-b", days_ago=2)
    held = client.get("/api/board/A1").json()
    assert (held["rest"]["rest"], held["rest"]["case_air_m3"]) == ("in a closed case", 0.02)
    assert held["coat"]["ends_sealed"] is True and len(held["coats"]) == len(held["rests"]) == 1
    (cut,) = held["cuts"]
    assert (cut["kind"], cut["other"], cut["before_m"]) == ("resawn", "A1-b", 0.027)
    assert (cut["cut"]["near_m"], cut["cut"]["far_m"], held["fact"]["thickness_m"]) == (0.0, 0.012, 0.012)


def test_the_story_of_a_board_names_each_cut_for_what_it_was(yard):
    yard.act(entries.plane_board, "A1", off_other_mm=2, days_ago=5)
    yard.act(entries.resaw_board, "A1", kerf_mm=3, piece="A1-b", days_ago=4)
    yard.act(entries.plane_board, "A1-b", off_marked_mm=1, days_ago=3)
    with yard.store.reading() as connection:
        first, second = (facts.subject(connection, r.SubjectKind.BOARD, code) for code in ("A1", "A1-b"))
    told = [
        [(one.kind.value, one.other, one.before_m) for one in cut_story.read(yard.store, board, yard.now_ms).cuts]
        for board in (first, second)
    ]
    assert told[0] == [("planed", "", 0.027), ("resawn", "A1-b", 0.025)]
    with yard.store.reading() as connection:
        fact = facts.standing(connection, r.BoardFact, first.id)[-1]
    said = cut_forms.cut_now(cut_story.read(yard.store, first, yard.now_ms), fact)
    assert said.startswith("Resawn: 25 → 11 mm thick, the piece at the marked face; the other is A1-b. That was on ")
    assert said.endswith("; at first it was 27 mm thick.")
    assert told[1] == [("sawn off another board", "A1", 0.025), ("planed", "", 0.011)]


# --- ripping, cross-cutting, trimming ----------------------------------------------------------------


def test_a_ripped_board_has_two_pages_that_name_each_other_and_a_set_of_both(client):
    typed = {"kerf_mm": "2", "width_mm": "", "piece": "A1-b", "new_set": "pair", "role": "left half"}
    sent = send(client, "/board/A1", "/board/A1/rip", **typed, piece_role="right half")
    assert sent.status_code == 303 and sent.headers["location"] == "/board/A1#top"
    first, second = client.get("/board/A1"), client.get("/board/A1-b")
    assert "In set pair: A1 as left half (twin), and A1-b as right half (twin)." in words(first)
    assert "Ripped: 190 → 94 mm wide; the other piece is A1-b. That was on" in words(first)
    assert "Ripped off A1, which was 190 mm wide: 94 mm wide. That was on" in words(second)
    assert "27 × 94 × 1500 mm" in words(first) and "27 × 94 × 1500 mm" in words(second)
    assert "set pair" in words(first) and "set pair" in words(second)
    assert '<option value="pair"' in first.text
    number = re.search(r'<li id="entry-cut-(\d+)">', second.text).group(1)
    undone = send(client, "/board/A1-b", "/undo", kind="cut", id=number)
    assert undone.headers["location"] == "/board/A1#top"
    page = client.get("/board/A1")
    assert "it is 27 × 190 × 1500 mm again, and there is no A1-b" in words(page)
    assert client.get("/board/A1-b").status_code == 404 and client.get("/set/pair").status_code == 404


def test_a_cross_cut_and_a_trimming_say_what_they_left(client, yard):
    send(client, "/board/A1", "/board/A1/crosscut", kerf_mm="4", length_mm="1000", piece="A1-b")
    page = client.get("/board/A1")
    assert "The sawn ends are open: say so anew once they are sealed." in words(page)
    assert "Cross-cut: 1500 → 1000 mm long; the other piece is A1-b. That was on" in words(page)
    told = "Cross-cut off A1, which was 1500 mm long: 496 mm long"
    assert told in words(client.get("/board/A1-b"))
    yard.now_ms += 60_000
    send(client, "/board/A1", "/board/A1/trim", width_mm="150", length_mm="")
    page = client.get("/board/A1")
    assert "Board A1 is trimmed: 190 × 1000 mm → 150 × 1000 mm in width and length." in words(page)
    assert "Trimmed: 190 → 150 mm wide. That was on" in words(page)
    assert "; at first it was 27 × 190 × 1500 mm." in words(page)
    yard.now_ms += 60_000
    send(client, "/board/A1", "/board/A1/trim", width_mm="140", length_mm="900")
    assert "Trimmed: 150 → 140 mm wide and 1000 → 900 mm long." in words(client.get("/board/A1"))


@pytest.mark.parametrize(
    ("act", "typed", "field", "told"),
    [
        ("rip", {"kerf_mm": "", "piece": "A1-b"}, "kerf_mm", "saw kerf is empty"),
        ("rip", {"kerf_mm": "3", "width_mm": "188", "piece": "A1-b"}, "width_mm", "width of the piece is 188"),
        ("rip", {"kerf_mm": "3", "piece": "A1-b", "new_set": "a b"}, "new_set", "code of a new set is a b"),
        ("rip", {"kerf_mm": "3", "piece": "A1-b", "role": "left half"}, "set_code", "set is empty"),
        ("crosscut", {"kerf_mm": "3", "length_mm": "5", "piece": "A1-b"}, "length_mm", "length of the piece is 5"),
        ("crosscut", {"kerf_mm": "3", "piece": "a b"}, "piece", "code of the new piece is a b"),
        ("trim", {"width_mm": "", "length_mm": ""}, "width_mm", "width left is 190 × 1500 mm"),
        ("trim", {"length_mm": "1600"}, "length_mm", "length left is 1600"),
    ],
)
def test_a_sawing_not_accepted_comes_back_open_with_the_sentence_at_its_field(client, act, typed, field, told):
    page = send(client, "/board/A1", f"/board/A1/{act}", **typed)
    assert page.status_code == 422
    assert re.search(rf'id="{act}-{field}-told" role="alert">{told}', page.text)
    assert f'<details class="form" id="{act}" open>' in page.text


def test_a_piece_leaves_its_set_and_goes_into_another_on_its_page(client, yard):
    yard.act(entries.add_set, "other", days_ago=3)
    send(client, "/board/A1", "/board/A1/resaw", kerf_mm="3", piece="A1-b", new_set="pair")
    yard.now_ms += 60_000
    send(client, "/board/A1-b", "/board/A1-b/set", set_code="other", role="brace")
    assert "set other" in words(client.get("/board/A1-b")) and "set pair" in words(client.get("/board/A1"))
    yard.now_ms += 60_000
    send(client, "/board/A1", "/board/A1/set", set_code="", role="")
    assert "Board A1 is in no set." in words(client.get("/board/A1"))


def test_a_board_as_json_says_which_sizes_a_cut_across_left(client, yard):
    yard.act(entries.rip_board, "A1", kerf_mm=2, piece="A1-b", days_ago=2)
    (cut,) = client.get("/api/board/A1").json()["cuts"]
    assert (cut["kind"], cut["other"]) == ("ripped", "A1-b")
    assert (cut["before_face_m"], cut["left_face_m"]) == ([0.19, 1.5], [0.094, 1.5])
    (cut,) = client.get("/api/board/A1-b").json()["cuts"]
    assert (cut["kind"], cut["before_face_m"]) == ("ripped off another board", [0.19, 1.5])


def test_the_density_audit_takes_no_mass_from_before_a_cut(client, yard):
    def mass():
        found = re.search(r'name="mass_g" value="([^"]*)"', client.get("/work-out/density?board=A1").text)
        return found.group(1)

    assert mass() == "4700"
    yard.act(entries.trim_board, "A1", length_mm=1000, days_ago=1)
    assert mass() == ""
    yard.act(entries.add_weigh_in, "A1", mass_g=3100)
    assert mass() == "3100"


# --- commands ----------------------------------------------------------------------------------------


def benchdry(*typed, folder, code=0):
    """Run one command and return what it said; ``code`` is the exit it must have."""
    said, left = io.StringIO(), 0
    with (
        mock.patch.dict(os.environ, {"COLUMNS": "250"}),
        mock.patch.object(sys, "argv", ["benchdry", *typed, "--folder", str(folder)]),
        contextlib.redirect_stdout(said),
        contextlib.redirect_stderr(said),
    ):
        try:
            main()
        except SystemExit as ended:
            left = ended.code or 0
    assert left == code, said.getvalue()
    return said.getvalue()


@pytest.fixture
def folder(tmp_path):
    """A yard made by commands alone."""
    sizes = ["--thickness", "52", "--width", "150", "--length", "900"]
    benchdry("init", folder=tmp_path)
    benchdry("place", "add", "lane", "--kind", "yard", "--air-speed", "0.6", "--in-sun", folder=tmp_path)
    board = ["board", "add", "W1", "--species", "Juglans nigra", *sizes, "--place", "lane"]
    benchdry(*board, "--when", "2026-03-01", folder=tmp_path)
    return tmp_path


def held(folder, record):
    store = home.find(folder).store()
    with store.reading() as connection:
        found = facts.standing(connection, record)
    store.close()
    return found


def undo_of(said):
    return re.search(r"benchdry (undo \S+ \d+)", said).group(1).split()


def test_everything_about_lying_and_cutting_can_be_entered_and_undone_in_the_terminal(folder):
    (lane,) = held(folder, r.PlaceFact)
    assert (lane.air_speed_m_s, lane.in_sun) == (0.6, True)
    said = benchdry("board", "rest", "W1", "in a closed case", "--litres", "45", "--when", "2026-03-02", folder=folder)
    assert "lies in a closed case with 45 litres of air, until it is moved." in said
    assert held(folder, r.BoardRest)[0].case_air_m3 == pytest.approx(0.045)
    said = benchdry("board", "coat", "W1", "bare", "--ends-sealed", "--when", "2026-03-02", folder=folder)
    assert "Board W1 is bare, its ends sealed." in said
    said = benchdry("board", "plane", "W1", "--marked", "2", "--when", "2026-03-03", folder=folder)
    assert "52 → 50 mm thick, 2 mm off the marked face." in said
    sawn = benchdry("board", "resaw", "W1", "W1-b", "--kerf", "2", "--when", "2026-03-04", folder=folder)
    assert "50 → 24 mm thick; the new piece W1-b, 24 mm, lies where it lies." in sawn
    listed = benchdry("board", "show", "W1", folder=folder)
    for words in (
        "In a closed case with 45 litres of air",
        "Bare, its ends sealed",
        "Planed: 52 → 50 mm thick, 2 mm off the marked face",
        "Resawn: 50 → 24 mm thick",
    ):
        assert words in listed
    assert not re.search(r"[a-z]_[a-z]|True|False", listed), "a name of the store, not a word of the user"
    piece = " ".join(benchdry("board", "show", "W1-b", folder=folder).split())
    assert "Sawn off W1, its 26 to 50 mm of 50 mm: 24 mm thick" in piece
    assert "it is 50 mm thick again" in benchdry(*undo_of(sawn), folder=folder)
    assert "it is 52 mm thick again" in benchdry(*undo_of(said), folder=folder)
    assert [round(one.thickness_m, 6) for one in held(folder, r.BoardFact)] == [0.052]


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        (["board", "rest", "W1", "upright"], "how it lies is upright; accepted: one of free on all sides"),
        (["board", "coat", "W1", "waxed"], "finish is waxed; accepted: one of bare"),
        (["board", "plane", "W1"], "taken off is 0 mm"),
        (["board", "plane", "W1", "--marked", "60"], "taken off is 60 mm; accepted: up to 51 mm in all"),
        (["board", "resaw", "W1", "W1", "--kerf", "2"], "There is already a board called W1"),
        (["place", "add", "x", "--air-speed", "6"], "speed of the air is 6; accepted: 0 to 5 m/s"),
    ],
)
def test_what_cannot_be_is_one_sentence_in_the_terminal(folder, typed, told):
    said = benchdry(*typed, folder=folder, code=2)
    assert said.startswith(told) and said.count("\n") == 1


def test_sawing_across_and_trimming_can_be_entered_and_undone_in_the_terminal(folder):
    into = ["--new-set", "pair", "--role", "left half", "--piece-role", "right half"]
    ripped = benchdry("board", "rip", "W1", "W1-b", "--kerf", "2", *into, "--when", "2026-03-03", folder=folder)
    assert "150 → 74 mm wide; the new piece W1-b, 74 mm, lies where it lies." in ripped
    assert "In set pair: W1 as left half (twin), and W1-b as right half (twin)." in ripped
    cut = ["board", "crosscut", "W1-b", "W1-c", "--kerf", "4", "--length", "500", "--name", "Offcut"]
    said = benchdry(*cut, "--set", "pair", "--when", "2026-03-04", folder=folder)
    assert "900 → 500 mm long; the new piece W1-c, 396 mm, lies where it lies." in said
    assert benchdry("board", "show", "W1-c", folder=folder).count("off W1-b") == 1
    moved = benchdry("set", "take-out", "W1-c", "--when", "2026-03-05", folder=folder)
    assert "Board W1-c is in no set." in moved
    benchdry(*undo_of(moved), folder=folder)
    trimmed = benchdry("board", "trim", "W1", "--width", "70", "--when", "2026-03-05", folder=folder)
    assert "74 × 900 mm → 70 × 900 mm in width and length." in trimmed
    assert "it is 52 × 74 × 900 mm again" in benchdry(*undo_of(trimmed), folder=folder)
    assert "it is 52 × 74 × 900 mm again, and there is no W1-c" in benchdry(*undo_of(said), folder=folder)
    assert "it is 52 × 150 × 900 mm again, and there is no W1-b" in benchdry(*undo_of(ripped), folder=folder)
    assert held(folder, r.SetMember) == [] and held(folder, r.SetFact) == []


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        (["board", "rip", "W1", "W1-b", "--kerf", "40"], "saw kerf is 40; accepted: 0 to 20 mm"),
        (["board", "crosscut", "W1", "W1", "--kerf", "2"], "There is already a board called W1"),
        (["board", "trim", "W1"], "width left is 150 × 900 mm; accepted: less than that"),
        (["board", "rip", "W1", "x", "--kerf", "2", "--role", "left half"], "set is empty; accepted: a set that is"),
    ],
)
def test_a_sawing_that_cannot_be_is_one_sentence_in_the_terminal(folder, typed, told):
    said = benchdry(*typed, folder=folder, code=2)
    assert said.startswith(told) and said.count("\n") == 1
