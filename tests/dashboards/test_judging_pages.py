"""Limits, overrides, lifted wood, joints, pieces and wanted moisture, on the pages and in the terminal."""

import csv
import io
import json
import re

import pytest
from starlette.testclient import TestClient

from dashboards import entries, limits_now
from dashboards.app import create_app
from dashboards.auth import SECRETS_NAME
from shared import tables
from shared.store import facts
from shared.store import records as r
from tests.dashboards.test_happening_pages import benchdry, held, send, undo, undo_of, words

FOR_LIFTED = {"water": "salt", "sapwood": "sound", "shake": "yes", "smell": "tar or creosote"}


@pytest.fixture
def client(yard):
    app = create_app(yard.store, yard.settings, yard.folder / SECRETS_NAME, lambda: yard.now_ms)
    return TestClient(app, client=("127.0.0.1", 1), base_url="http://localhost", follow_redirects=False)


@pytest.fixture
def folder(tmp_path):
    """A yard made by commands alone: two boards, of which one is in a set."""
    sizes = ("--thickness", "52", "--width", "150", "--length", "900", "--place", "loft")
    benchdry("init", folder=tmp_path)
    benchdry("place", "add", "loft", folder=tmp_path)
    for code in ("W1", "W2"):
        add = ("board", "add", code, "--species", "Juglans nigra", *sizes, "--when", "2026-03-01")
        benchdry(*add, folder=tmp_path)
    benchdry("set", "add", "T1", folder=tmp_path)
    benchdry("set", "put", "T1", "W1", "--role", "left half", folder=tmp_path)
    return tmp_path


def standing(yard, record):
    with yard.store.reading() as connection:
        return facts.standing(connection, record)


@pytest.fixture
def paired(yard):
    """The yard with its two boards in a set."""
    yard.act(entries.add_set, "T1")
    for code, role in (("A1", "left half"), ("A2", "right half")):
        yard.act(entries.put_in_set, code, set_code="T1", role=role)
    return yard


# --- limits ----------------------------------------------------------------------------------------


def test_every_limit_stands_on_the_page_with_its_figure_its_source_and_a_form(client):
    page = client.get("/limits")
    told = words(page)
    assert page.status_code == 200 and "Nothing is set otherwise here." in told
    for one in limits_now.every({}):
        shown = limits_now.shown(one.value, one.unit)
        assert f"{one.label[:1].upper()}{one.label[1:]}: {shown} {one.name}." in told
        assert (f'action="/limit/{one.name}/set"' in page.text) is one.settable
    for use in tables.uses().values():
        assert use.source.partition(" (")[0] in told
    assert 'href="/limits"' in client.get("/how").text


def test_a_limit_is_set_shown_with_name_and_reason_and_taken_back(client):
    sent = send(client, "/limits", "/limit/glue.tolerance_mc_pct/set", value="1.5", reason="Thick plates")
    assert sent.status_code == 303 and sent.headers["location"] == "/limits#glue.tolerance_mc_pct"
    told = words(client.get("/limits"))
    assert "The limit glue.tolerance_mc_pct is 1.5 %MC now, instead of 1 %MC." in told
    assert "by: 1.5 %MC glue.tolerance_mc_pct. The table has 1 %MC. To" in told
    assert "Set it for this yard 1.5 %MC: Thick plates set here ·" in told
    held = {one["name"]: one for one in client.get("/api/limits").json()}
    assert held["glue.tolerance_mc_pct"]["value"] == 1.5 and held["glue.tolerance_mc_pct"]["own"]["entered_by"] == "Ida"
    assert held["brace.tolerance_mc_pct"]["own"] is None
    rows = list(csv.DictReader(io.StringIO(client.get("/export/limits.csv").text)))
    assert [(row["code"], row["value"]) for row in rows] == [("glue.tolerance_mc_pct", "1.5")]
    undo(client, "/limits", "limit")
    assert "Nothing is set otherwise here." in words(client.get("/limits"))


def test_a_limit_that_is_not_accepted_is_told_at_its_own_field(client):
    wrong = send(client, "/limits", "/limit/steady/set", value="50", reason="Because")
    assert wrong.status_code == 422
    told = 'id="limit-steady-value-told" role="alert">steady is 50; accepted: 0.05 to 3 %MC.'
    assert told in wrong.text and wrong.text.count('role="alert"') == 1
    empty = send(client, "/limits", "/limit/steady/set", value="0.4", reason="?")
    assert 'id="limit-steady-reason-told" role="alert">reason is ?; accepted: why' in empty.text
    nowhere = send(client, "/limits", "/limit/sure/set", value="0.95", reason="A careful buyer", by="")
    assert 'id="limit-sure-by-told"' in nowhere.text


# --- a board ---------------------------------------------------------------------------------------


def test_an_override_is_entered_under_a_name_listed_and_taken_back(client):
    send(client, "/board/A1", "/board/A1/use", use="glue")
    page = client.get("/board/A1")
    assert re.search(r'id="override-use".*?value="glue" selected', page.text, re.DOTALL)
    sent = send(client, "/board/A1", "/board/A1/override", use="glue", reason="A mock-up, to be burnt")
    assert sent.headers["location"] == "/board/A1#top"
    told = words(client.get("/board/A1"))
    assert "Glue up: Ida goes ahead whatever the verdict says, because: A mock-up, to be burnt. override ·" in told
    (held,) = client.get("/api/board/A1").json()["overrides"]
    assert (held["use"], held["entered_by"]) == ("glue", "Ida")
    refused = send(client, "/board/A1", "/board/A1/override", use="glue", reason="")
    assert 'id="override-reason-told" role="alert">reason is empty' in refused.text
    undo(client, "/board/A1", "override")
    assert "The override of board A1 is taken back." in words(client.get("/board/A1"))


def test_how_a_board_came_out_of_the_water_is_asked_of_reclaimed_wood_and_corrected(client, yard):
    assert 'action="/board/A1/lifted"' not in client.get("/board/A1").text
    sizes = {"thickness_mm": "30", "width_mm": "200", "length_mm": "1000", "cut": "flat-sawn"}
    yard.act(entries.add_board, "W1", species="Quercus alba", origin="water-reclaimed", place="shed", **sizes)
    silent = send(client, "/board/W1", "/board/W1/lifted", **FOR_LIFTED, washed="yes")
    assert silent.status_code == 422 and "when it was lifted: its clock runs from then on" in words(silent)
    assert client.get("/api/board/W1").json()["liftings"] == []
    sent = send(client, "/board/W1", "/board/W1/lifted", **FOR_LIFTED, true_at="2026-11-01T09:30", washed="yes")
    assert sent.status_code == 303
    page = client.get("/board/W1")
    line = "Out of salt water; sapwood sound; shakes seen; smells of tar or creosote; washed; not searched for metal"
    assert line in words(page) and "Empty: 1 Nov 2026, 09:30, as entered." in words(page)
    assert re.search(r'name="washed" value="yes" checked', page.text)
    send(client, "/board/W1", "/board/W1/lifted", **FOR_LIFTED, washed="yes", metal_searched="yes", note="two nails")
    (held,) = client.get("/api/board/W1").json()["liftings"]
    assert (held["metal_searched"], held["note"]) == (True, "two nails")
    assert "washed; searched for metal: two nails lifting · 1 Nov 2026, 09:30" in words(client.get("/board/W1"))


def test_the_moisture_that_is_also_wanted_is_kept_shown_and_held_against_the_air(client):
    sent = send(client, "/board/A1", "/board/A1/use", use="glue", wanted_mc_low_pct="6", wanted_mc_high_pct="8")
    assert sent.status_code == 303
    page = client.get("/board/A1")
    odd = "45 %RH at 20 °C is 8.5 %MC; 6–8 %MC would need 29–42 %RH. Both cannot hold: choose one."
    assert words(page).count(odd) >= 2  # said once, and standing at the head of the board
    assert "Glue up, for air of 45 %RH at 20 °C, also wanted at 6–8 %MC. 45 %RH" in words(page)
    assert re.search(r'name="wanted_mc_low_pct" value="6"', page.text)
    send(client, "/board/A1", "/board/A1/use", use="glue", begun="yes")
    page = client.get("/board/A1")
    assert "Glue up, for air of 45 %RH at 20 °C; the work has begun." in words(page) and odd not in words(page)
    half = send(client, "/board/A1", "/board/A1/use", use="glue", wanted_mc_low_pct="6")
    assert 'id="use-wanted_mc_high_pct-told" role="alert">wanted moisture to is empty' in half.text


# --- a set -----------------------------------------------------------------------------------------


def test_a_joint_is_entered_on_the_set_listed_and_taken_back(client, paired):
    page = client.get("/set/T1").text
    second = re.search(r'<select id="joint-b".*?</select>', page, re.DOTALL).group(0)
    assert re.search(r'value="A2" selected', second)
    sent = send(client, "/set/T1", "/set/T1/joint", a="A1", b="A2", length_mm="480", grain_a_deg="2", name="centre")
    assert sent.headers["location"] == "/set/T1#top"
    told = "Joint centre, 480 mm between A1 and A2; grain of A1 at 2°, of A2 at 0° to it joint ·"
    assert told in words(client.get("/set/T1"))
    held = client.get("/api/set/T1").json()
    assert [(one["a"], one["b"], one["joint"]["length_m"]) for one in held["joints"]] == [("A1", "A2", 0.48)]
    wrong = send(client, "/set/T1", "/set/T1/joint", a="A1", b="A1", length_mm="480")
    assert 'id="joint-b-told" role="alert">second piece is A1' in wrong.text
    undo(client, "/set/T1", "joint")
    assert "The joint of set T1 is taken back." in words(client.get("/set/T1"))


def test_a_set_is_overridden_and_its_pieces_have_kinds(client, paired):
    sent = send(client, "/set/T1", "/set/T1/override", use="brace", reason="Only a trial")
    assert sent.headers["location"] == "/set/T1#top"
    assert "Brace: Ida goes ahead whatever the verdict says, because: Only a trial. override" in words(
        client.get("/set/T1")
    )
    send(client, "/set/T1", "/set/T1/put", board="A2", role="strut", piece_kind="brace")
    assert [one.kind for one in standing(paired, r.SetMember)] == ["twin", "twin", "brace"]
    send(client, "/board/A2", "/board/A2/set", set_code="T1", role="end block", piece_kind="")
    assert standing(paired, r.SetMember)[-1].kind is r.PieceKind.BLOCK


# --- the terminal ----------------------------------------------------------------------------------


def test_limits_are_listed_and_set_by_command(folder):
    listed = benchdry("limits", folder=folder)
    assert all(f"\n{one.name}: " in f"\n{listed}" for one in limits_now.every({})), "a name is broken into pieces"
    said = benchdry("limit", "twins_apart", "0.4", "--reason", "a bad joint", "--by", "Ada", folder=folder)
    assert "The limit twins_apart is 0.4 %MC now, instead of 0.5 %MC. (undo: benchdry undo limit 1)" in said
    assert "Ada, " in benchdry("limits", folder=folder)
    told = {one["name"]: one for one in json.loads(benchdry("limits", "--json", folder=folder))}
    assert told["twins_apart"]["value"] == 0.4 and told["twins_apart"]["own"]["reason"] == "a bad joint"
    assert set(told) == {one.name for one in limits_now.every({})}
    said = benchdry("limit", "twins_apart", "40", "--reason", "a bad joint", folder=folder, code=2)
    assert "twins_apart is 40; accepted: 0.1 to 3 %MC." in said
    assert "is taken back" in benchdry("undo", "limit", "1", folder=folder)
    assert held(folder, r.OwnLimit) == []


def test_everything_else_can_be_entered_and_undone_in_the_terminal(folder):
    for typed, told, record in (
        (["board", "lifted", "W1", "--water", "fresh", "--shake", "no", "--washed"], "out of fresh water", r.Lifted),
        (["board", "override", "W1", "glue", "--reason", "a mock-up"], "whatever the verdict says", r.Override),
        (["set", "override", "T1", "glue", "--reason", "a mock-up"], "whatever the verdict says", r.Override),
        (["board", "use", "W1", "glue", "--mc-from", "6", "--mc-to", "8", "--begun"], "Both cannot hold", r.UsePlan),
        (["set", "use", "T1", "brace"], "Set T1 is wanted for: brace.", r.UsePlan),
    ):
        said = benchdry(*typed, folder=folder)
        assert told in said and len(held(folder, record)) == 1
        if "W1" in typed:
            assert undo_of(said)[1] in benchdry("board", "show", "W1", folder=folder)
        assert "is taken back." in benchdry(*undo_of(said), folder=folder)
        assert held(folder, record) == []
    assert "as lining (brace)" in benchdry(
        "set", "put", "T1", "W2", "--role", "lining", "--kind", "brace", folder=folder
    )
    said = benchdry("set", "joint", "T1", "W1", "W2", "--mm", "480", "--grain-b", "90", folder=folder)
    assert "joint W1 to W2, 480 mm between W1 and W2; grain of W1 at 0°, of W2 at 90° to it" in said
    assert "is taken back." in benchdry(*undo_of(said), folder=folder)


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        (["board", "lifted", "W1", "--water", "pond"], "water is pond; accepted: one of fresh, brackish, salt"),
        (["board", "override", "W1", "glue", "--reason", "x"], "reason is x; accepted: why, in some words"),
        (["board", "use", "W1", "glue", "--mc-from", "6"], "wanted moisture to is empty"),
        (["limit", "nothing", "1", "--reason", "because"], "limit is nothing; accepted: a name from the list"),
    ],
)
def test_what_is_not_accepted_is_said_in_one_sentence(folder, typed, told):
    assert told in benchdry(*typed, folder=folder, code=2)
