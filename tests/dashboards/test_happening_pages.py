"""Water, outcomes, planned moves, usual months and all boards of a stack, on the pages and in the terminal."""

import contextlib
import csv
import html
import io
import os
import re
import sys
from unittest import mock

import pytest
from starlette.testclient import TestClient

from dashboards.app import create_app
from dashboards.auth import SECRETS_NAME
from dashboards.pages import event_forms
from dashboards.terminal import home, main
from shared.store import facts
from shared.store import records as r
from shared.units import MS_PER_DAY

MONTHS = {f"t_{month}": str(month - 4) for month in range(1, 13)} | {f"rh_{month}": "80" for month in range(1, 13)}


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


def undo(client, page, kind):
    """Take back the one entry of a kind that a page lists."""
    (number,) = re.findall(rf'<li id="entry-{kind}-(\d+)">', client.get(page).text)
    return send(client, page, "/undo", kind=kind, id=number)


def test_water_is_entered_listed_and_taken_back(client):
    sent = send(client, "/board/A1", "/board/A1/water", kind="glued", water_g="38", faces="marked face")
    assert sent.status_code == 303 and sent.headers["location"] == "/board/A1#top"
    assert "Glued: 38.0 g of water on the marked face water ·" in words(client.get("/board/A1"))
    assert client.get("/api/board/A1").json()["waters"][0]["water_kg"] == pytest.approx(0.038)
    undo(client, "/board/A1", "water")
    page = client.get("/board/A1")
    assert "The water entry of board A1 is taken back." in words(page) and 'id="entry-water-' not in page.text


def test_findings_are_chosen_from_mould_on_and_that_there_is_none_comes_after_what_there_is():
    found = [one.value for one in event_forms.outcome("A1", "Ida").fields[0].options]
    assert found[1:10] == [
        *("mould:slight", "mould:bad", "mould:none", "stain:slight", "stain:bad", "stain:none"),
        *("checks:slight", "checks:bad", "checks:none"),
    ]
    assert {one.partition(":")[0] for one in found[1:]} == set(r.OutcomeKind) and len(found) == len(set(found))


def test_an_outcome_is_one_choice_and_a_thickness_one_figure(client):
    assert "Nothing yet. What is found when it is dry" in words(client.get("/board/A1"))
    send(client, "/board/A1", "/board/A1/outcome", found="checks:slight", note="both ends, 40 mm deep")
    send(client, "/board/A1", "/board/A1/outcome", found="thickness:", thickness_mm="25.5")
    send(client, "/board/A1", "/board/A1/outcome", found="finished:well")
    page = client.get("/board/A1")
    assert "Finished well; 25.5 mm thick as measured; checks, slight." in words(page)
    assert "Checks, slight: both ends, 40 mm deep outcome ·" in words(page)
    kinds = [(one["kind"], one["degree"]) for one in client.get("/api/board/A1").json()["outcomes"]]
    assert kinds == [("checks", "slight"), ("thickness", None), ("finished", "well")]
    rows = list(csv.DictReader(io.StringIO(client.get("/export/outcomes.csv").text)))
    assert [(row["code"], row["kind"]) for row in rows] == [("A1", kind) for kind, _degree in kinds]


def test_every_choice_of_the_outcome_form_can_be_sent_as_it_stands(client):
    page = client.get("/board/A1").text
    choices = re.search(r'<select id="outcome-found".*?</select>', page, re.DOTALL).group(0)
    values = [html.unescape(value) for value in re.findall(r'<option value="([^"]+)"', choices)]
    assert len(values) == 6 * 3 + 3 + 1 + 2  # six that may be bad, the prong test, the thickness, the end
    for value in values:
        figure = {"thickness_mm": "26"} if value.startswith("thickness") else {}
        assert send(client, "/board/A1", "/board/A1/outcome", found=value, **figure).status_code == 303


def test_a_planned_move_is_told_at_the_head_of_the_board_and_ends_with_the_move(client, yard):
    day = "2027-03-03"
    sent = send(client, "/board/A1", "/board/A1/plan-move", place="room", day=day)
    assert sent.headers["location"] == "/board/A1#top"
    page = client.get("/board/A1")
    assert "Planned: to room on Wed 3 Mar 2027 " in words(page)
    assert re.search(r'name="day" value="2027-03-03"', page.text) and "Plan another move instead" in words(page)
    yard.now_ms += MS_PER_DAY
    send(client, "/board/A1", "/board/A1/move", where="place:room")
    page = words(client.get("/board/A1"))
    assert "Was planned: to room on Wed 3 Mar 2027; moved there " in page and "Plan a move" in page
    assert "Planned: to room" not in page


def test_a_stacks_planned_move_is_told_on_its_page_and_on_its_boards(client, yard):
    sent = send(client, "/stack/S1", "/stack/S1/plan-move", place="room", day="2027-03-03")
    assert sent.headers["location"] == "/stack/S1#top"
    assert "Planned moves Planned: to room on Wed 3 Mar 2027 plan ·" in words(client.get("/stack/S1"))
    assert "Planned: to room on Wed 3 Mar 2027 with its stack" in words(client.get("/board/A2"))
    send(client, "/board/A1", "/board/A1/plan-move", place="shed", day="2027-05-05")
    both = "Planned: to room on Wed 3 Mar 2027 with its stack, then to shed on Wed 5 May 2027 "
    assert both in words(client.get("/board/A1"))
    yard.now_ms += 500 * MS_PER_DAY
    assert "no move there was entered" in words(client.get("/stack/S1"))
    assert "with its stack" not in words(client.get("/board/A2"))
    undo(client, "/stack/S1", "planned-move")
    assert "Planned moves" not in words(client.get("/stack/S1"))


def test_how_many_boards_lie_in_a_stack_is_asked_and_shown(client):
    send(client, "/add", "/add/stack", code="S2", place="shed", boards_in_all="80")
    assert "80 boards in all, 0 of them entered" in words(client.get("/stack/S2"))
    wrong = send(client, "/stack/S1", "/stack/S1/change", name="S1", boards_in_all="1")
    assert wrong.status_code == 422
    assert re.search(r'id="change-boards_in_all-told" role="alert">boards in all is 1; accepted: 2 to', wrong.text)
    send(client, "/stack/S1", "/stack/S1/change", name="Ash", boards_in_all="30", note="by the door")
    page = client.get("/stack/S1")
    assert "30 boards in all, 2 of them entered" in words(page) and "by the door" in words(page)
    held = {one["fact"]["name"]: one["fact"]["boards_in_all"] for one in client.get("/api/situation").json()["stacks"]}
    assert held == {"Ash": 30, "S2": 80}


def test_the_usual_months_of_a_place_are_entered_shown_and_taken_back(client):
    sent = send(client, "/place/shed", "/place/shed/climate", source="Invented normals", **MONTHS)
    assert sent.status_code == 303 and sent.headers["location"] == "/place/shed#top"
    page = client.get("/place/shed")
    assert "Usual months Invented normals usual months ·" in words(page)
    assert "January −3.0 °C 80 % February −2.0 °C 80 %" in words(page)
    assert re.search(r'name="t_1" value="-3"', page.text) and "Correct its usual months" in words(page)
    assert client.get("/api/air/shed").json()["climate"]["temperature_c"] == [month - 3.0 for month in range(12)]
    undo(client, "/place/shed", "climate")
    assert client.get("/api/air/shed").json()["climate"] is None


@pytest.mark.parametrize(
    ("page", "act", "typed", "field", "told"),
    [
        ("board/A1", "water", {"kind": "glued", "water_g": "-2"}, "faces", "wetted faces is empty"),
        ("board/A1", "water", {"kind": "bent", "faces": "both faces", "water_g": "-2"}, "water_g", "water is -2"),
        ("board/A1", "outcome", {"found": ""}, "found", "outcome is empty"),
        ("board/A1", "outcome", {"found": "thickness:"}, "thickness_mm", "measured thickness is empty"),
        ("board/A1", "plan-move", {"place": "room", "day": "2020-01-01"}, "day", "day of the move is 1 Jan 2020"),
        ("stack/S1", "plan-move", {"place": "room", "day": ""}, "day", "day of the move is empty"),
        ("place/shed", "climate", MONTHS | {"rh_3": "0"}, "rh_3", "humidity of March is 0; accepted: 1 to 100 %RH"),
        ("place/shed", "climate", MONTHS | {"t_12": ""}, "t_12", "temperature of December is empty"),
        ("place/shed", "climate", MONTHS, "source", "source is empty"),
    ],
)
def test_a_form_not_accepted_comes_back_open_with_the_sentence_at_its_field(client, page, act, typed, field, told):
    back = send(client, f"/{page}", f"/{page}/{act}", **typed)
    assert back.status_code == 422
    assert re.search(rf'id="{act}-{field}-told" role="alert">{re.escape(told)}', back.text)
    assert f'<details class="form" id="{act}" open>' in back.text


@pytest.mark.parametrize("kinds", ["weigh-ins", "outcomes", "waters", "planned-moves", "climates", "stacks"])
def test_each_kind_of_entry_can_be_had_as_csv(client, kinds):
    got = client.get(f"/export/{kinds}.csv")
    assert got.status_code == 200 and got.text.startswith("code,true_at,entered_at,entered_by,")


def test_a_kind_that_there_is_not_is_refused_in_a_sentence(client):
    got = client.get("/export/secrets.csv")
    assert got.status_code == 404 and got.json()["sentence"].startswith("entries is secrets; accepted: one of places, ")


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
    """A yard made by commands alone, and a file of months in it."""
    sizes = ["--thickness", "52", "--width", "150", "--length", "900"]
    benchdry("init", folder=tmp_path)
    for place in ("lane", "loft"):
        benchdry("place", "add", place, "--kind", "yard", folder=tmp_path)
    benchdry("stack", "add", "K7", "--place", "lane", "--boards-in-all", "60", folder=tmp_path)
    board = ["board", "add", "W1", "--species", "Juglans nigra", *sizes, "--stack", "K7"]
    benchdry(*board, "--when", "2026-03-01", folder=tmp_path)
    lines = [f"{month},{month - 4},80" for month in range(1, 13)]
    (tmp_path / "months.csv").write_text("\n".join(["month,temperature_c,rh_pct", *lines]), encoding="utf-8")
    return tmp_path


def held(folder, record):
    store = home.find(folder).store()
    with store.reading() as connection:
        found = facts.standing(connection, record)
    store.close()
    return found


def undo_of(said):
    return said[said.index("benchdry undo") : said.index(")", said.index("benchdry undo"))].split()[1:]


def test_everything_can_be_entered_and_undone_in_the_terminal(folder):
    months = str(folder / "months.csv")
    assert held(folder, r.StackFact)[0].boards_in_all == 60
    for typed, told, record in (
        (["board", "water", "W1", "rained on", "--g", "250"], "250.0 g of water on both faces", r.WaterEvent),
        (["outcome", "W1", "checks", "bad", "--note", "butt"], "Board W1: checks, bad.", r.Outcome),
        (["outcome", "W1", "thickness", "--mm", "50.5"], "Board W1: 50.5 mm thick as measured.", r.Outcome),
        (["outcome", "W1", "case-hardening", "turned in"], "prong test: turned in (case-hardened)", r.Outcome),
        (["board", "plan-move", "W1", "loft", "2050-03-03"], "W1: planned: to loft on Thu 3 Mar 2050.", r.PlannedMove),
        (["stack", "plan-move", "K7", "loft", "2050-03-03"], "K7: planned: to loft on Thu 3 Mar 2050.", r.PlannedMove),
        (["climate", "lane", months, "--source", "Invented"], "The usual months of place lane", r.PlaceClimate),
    ):
        said = benchdry(*typed, folder=folder)
        assert told in said and len(held(folder, record)) == 1
        if "W1" in typed:
            assert undo_of(said)[1] in benchdry("board", "show", "W1", folder=folder)
        assert "is taken back." in benchdry(*undo_of(said), folder=folder)
        assert held(folder, record) == []


def test_a_stack_is_corrected_in_the_terminal_by_what_is_said_alone(folder):
    benchdry("stack", "change", "K7", "--name", "Walnut", folder=folder)
    said = benchdry("stack", "change", "K7", "--boards-in-all", "55", folder=folder)
    (fact,) = held(folder, r.StackFact)
    assert (fact.name, fact.boards_in_all) == ("Walnut", 55)
    benchdry(*undo_of(said), folder=folder)
    benchdry("stack", "change", "K7", "--boards-in-all", "", folder=folder)
    assert held(folder, r.StackFact)[0].boards_in_all is None


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        (["board", "water", "W1", "soaked", "--g", "5"], "how it got wet is soaked; accepted: one of glued, bent"),
        (["board", "water", "W1", "bent", "--g", "90000", "--faces", "both faces"], "water is 90000; accepted: 0 to "),
        (["outcome", "W1", "checks"], "degree of checks is empty; accepted: one of none, slight, bad."),
        (["outcome", "W1", "thickness", "--mm", "2"], "measured thickness is 2; accepted: 26 to 57.2 mm, of 52 mm"),
        (["board", "plan-move", "W1", "loft", "2020-03-03"], "day of the move is 3 Mar 2020; accepted: a day "),
        (["stack", "plan-move", "K7", "barn", "2050-03-03"], "place is barn; accepted: lane, loft."),
        (["stack", "change", "K7", "--boards-in-all", "0"], "boards in all is 0; accepted: 1 to 100000 in a whole"),
        (["climate", "lane", "none.csv", "--source", "x"], "none.csv cannot be read: No such file or directory."),
    ],
)
def test_what_cannot_be_is_one_sentence_in_the_terminal(folder, typed, told):
    said = benchdry(*typed, folder=folder, code=2)
    assert said.startswith(told) and said.count("\n") == 1


def test_a_bad_cell_of_a_file_is_one_sentence_naming_month_and_column(folder):
    path = folder / "months.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("\n7,3,80", "\n7,3,dry"), encoding="utf-8")
    said = benchdry("climate", "lane", str(path), "--source", "Invented", folder=folder, code=2)
    assert said == "humidity of July is dry; accepted: a number, 1 to 100 %RH.\n"
    assert held(folder, r.PlaceClimate) == []
