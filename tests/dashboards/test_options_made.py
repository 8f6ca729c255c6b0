"""What could be done about a board: worked out when asked for, told alike on the page, as JSON and in the terminal."""

import html
import json
import re
from dataclasses import replace
from unittest import mock

import pytest
from starlette.testclient import TestClient

from dashboards import api, entries, options_made, projection
from dashboards.app import create_app
from dashboards.auth import SECRETS_NAME
from dashboards.pages import options as options_pages
from kiln.records import Option
from kiln.stress import LossLimit
from shared.errors import BadInput, Refused
from shared.settings import Settings
from shared.store import facts
from shared.store.records import SubjectKind
from shared.units import MS_PER_DAY, MS_PER_HOUR
from tests.dashboards.commands import benchdry

FOUND = []


@pytest.fixture
def found(yard):
    """The options of board A1, worked out once: every test begins with the same yard."""
    if not FOUND:
        FOUND.append(options_made.Worker().of(yard.store, "A1", yard.now_ms, yard.settings))
    return FOUND[0]


def client_of(yard):
    app = create_app(yard.store, Settings(), yard.folder / SECRETS_NAME, lambda: yard.now_ms)
    return TestClient(app, base_url="http://localhost", client=("127.0.0.1", 50000), follow_redirects=False)


def words(text):
    plain = html.unescape(re.sub(r"<[^>]+>", " ", text)).replace("\u00a0", " ").replace("\u2060", "")
    return " ".join(plain.split())


def option(loss=(1.0, 2.0, 3.0), mc=(38.0, 40.0, 42.0), ready=(None, None, None)):
    return Option("to the loft now", 0, ready, 0.5, mc, loss, (1.0, 2.0, 3.0), (8.0, 9.0, 10.0))


# --- worked out ------------------------------------------------------------------------------------


def test_leaving_it_comes_first_and_the_yards_other_place_is_among_them(found):
    names = [one.name for one in found.options]
    assert names[0] == "leave it here"
    assert any(name.startswith("to room") for name in names) and any("resaw" in name for name in names)


def test_leaving_it_is_what_the_boards_projection_says(yard, found):
    """The same question, the same members: what the page says of now must not differ from what it says here."""
    with yard.store.reading() as connection:
        board_id = facts.subject(connection, SubjectKind.BOARD, "A1").id
    projection.refresh(yard.store, board_id, yard.now_ms)
    made = client_of(yard).get("/api/board/A1").json()["projection"]
    stay = found.options[0]
    assert stay.ready_ms == tuple(made["ready_ms"])
    assert stay.chance_ready == pytest.approx(made["chance_ready"], abs=0.002)
    assert stay.mc_pct[1] == pytest.approx(made["mean"]["p50"][made["at_ms"].index(made["known_until_ms"])], abs=0.01)


def test_an_answer_is_kept_until_an_entry_or_the_hour_changes_it(yard, found):
    worker = options_made.Worker()
    with mock.patch.object(options_made.options, "options", return_value=found.options) as asked:
        first = worker.of(yard.store, "A1", yard.now_ms)
        assert worker.of(yard.store, "A1", yard.now_ms + 60_000) is first and asked.call_count == 1
        yard.act(entries.add_weigh_in, "A1", mass_g=4690, days_ago=1)
        worker.of(yard.store, "A1", yard.now_ms)
        worker.of(yard.store, "A1", yard.now_ms + MS_PER_HOUR)
        assert asked.call_count == 3


def test_what_cannot_be_said_is_said_in_a_sentence(empty_yard):
    yard = empty_yard
    yard.act(entries.add_place, "shed", kind="shed", days_ago=100)
    size = {"thickness_mm": 27, "width_mm": 190, "length_mm": 1500}
    wood = {"species": "Fraxinus americana", "cut": "flat-sawn", "origin": "fresh-sawn"}
    yard.act(entries.add_board, "B1", place="shed", days_ago=5, **wood, **size)
    with pytest.raises(Refused, match="board B1: no air has been logged"):
        options_made.Worker().of(yard.store, "B1", yard.now_ms)
    with pytest.raises(BadInput):
        options_made.Worker().of(yard.store, "B2", yard.now_ms)
    client = client_of(yard)
    assert "no air has been logged" in words(client.get("/board/B1/options").text)
    assert client.get("/api/board/B1/options").status_code == 409
    assert client.get("/board/B2/options").status_code == 404


# --- told ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("loss", "mc", "most", "words_"),
    [
        ((1.0, 2.0, 3.0), (9.0, 10.0, 11.0), 2.5, r"no limit counts below 25 %"),
        ((1.0, 2.0, 3.0), (38.0, 40.0, 42.0), None, r"no limit is known for this wood.*"),
        ((1.0, 2.0, 3.0), (38.0, 40.0, 42.0), 3.5, r"3\.5 is survived \(from memory\)"),
        ((1.0, 2.0, 3.0), (38.0, 40.0, 42.0), 2.5, r"perhaps over: 2\.5 is survived .*"),
        ((1.0, 2.0, 3.0), (38.0, 40.0, 42.0), 1.5, r"over: 1\.5 is survived .*"),
    ],
)
def test_a_loss_stands_beside_what_is_survived_or_beside_that_nothing_was_found(found, loss, mc, most, words_):
    limit = None if most is None else LossLimit(most, "a table", "from memory")
    told = options_made.survived(option(loss, mc), replace(found, loss_limit=limit, counts_above_mc_pct=25.0))
    assert re.fullmatch(words_, told)


def test_a_loss_many_times_that_of_leaving_it_is_told_where_no_limit_is_known(found):
    slow = replace(option((0.8, 1.0, 1.2), (110.0, 115.3, 120.0)), name=options_made.LEAVE)
    sudden = replace(option((6.0, 7.0, 8.0), (110.0, 115.3, 120.0)), name="to Bench room in 14 days")
    both = replace(found, options=(slow, sudden), loss_limit=None, counts_above_mc_pct=25.0)
    told = options_made.survived(sudden, both)
    assert told.startswith("no limit is known for this wood. That is 7 times its pace if left here: likely to check")
    assert options_made.survived(slow, both) == "no limit is known for this wood"
    assert dict(options_made.figures(sudden, both, 0))["At the move"].startswith("115.3 %")
    assert dict(options_made.figures(slow, both, 0))["Now"].startswith("115.3 %")


def test_a_board_that_gains_water_loses_none(found):
    assert options_made.loss_of(option((-0.4, -0.2, 0.1))) == "0.0 % a day (0.0–0.1)"


def test_the_page_tells_every_option_with_every_figure(yard, found):
    page = options_pages.options_page(found, "The wide one", yard.now_ms)
    assert (page.name, page.code) == ("The wide one", found.board)
    assert [one.name.lower() for one in page.options] == [one.name.lower() for one in found.options]
    with mock.patch.object(options_made.Worker, "of", return_value=found):
        shown = words(client_of(yard).get("/board/A1/options").text)
        data = client_of(yard).get("/api/board/A1/options").json()
    for one in found.options:
        for name, figure in options_made.figures(one, found, yard.now_ms):
            assert name in shown and figure in shown
    assert not re.search(r"\bsafe\b|None", shown)
    assert data == json.loads(json.dumps(api.as_json(found)))


def test_the_board_leads_there_without_script_too(yard):
    with yard.store.reading() as connection:
        board_id = facts.subject(connection, SubjectKind.BOARD, "A1").id
    projection.refresh(yard.store, board_id, yard.now_ms)
    page = client_of(yard).get("/board/A1").text
    assert 'href="/board/A1/options" hx-get="/board/A1/options"' in page
    shown = words(client_of(yard).get("/board/A1?band=core").text)
    assert "Fan of the core" in shown and "95 in 100" in shown and "What was said, and what came" in shown
    assert client_of(yard).get("/board/A1?band=bark").status_code == 404


# --- in the terminal -------------------------------------------------------------------------------


@pytest.fixture
def folder(yard):
    """The yard's store where the commands look for it."""
    settings = yard.folder / "benchdry.toml"
    settings.write_text('store = "yard.sqlite3"\n', encoding="utf-8")
    return yard


def test_ahead_says_the_dates_the_bands_and_the_history(folder):
    assert "A1" in benchdry(folder, "board", "ahead", "A1", code=2)  # not projected yet: said in a sentence
    with folder.store.reading() as connection:
        board_id = facts.subject(connection, SubjectKind.BOARD, "A1").id
    projection.refresh(folder.store, board_id, folder.now_ms)
    made = client_of(folder).get("/api/board/A1").json()["projection"]
    shown = benchdry(folder, "board", "ahead", "a1")
    assert all(one in shown for one in ("as likely as not:", "8 in 10:", "95 in 100:", "The floor here: "))
    assert all(f"\n{name}, % of oven-dry mass" in shown for name in ("Mean", "Shell", "Core"))
    assert shown.count("\n180 days") == 3 and "What was said, and what came" in shown
    told = json.loads(benchdry(folder, "board", "ahead", "A1", "--json"))
    assert list(told["ready_by_ms"].values()) == made["ready_by_ms"]
    for name in ("mean", "shell", "core"):
        rows = told["bands_mc_pct"][name]
        assert [row["days"] for row in rows] == [0, 7, 14, 30, 60, 90, 180, 365]
        for row in rows:
            at = made["at_ms"].index(made["known_until_ms"] + row["days"] * MS_PER_DAY)
            assert row["p50"] == pytest.approx(made[name]["p50"][at], abs=0.006)
            assert row["p025"] <= row["p10"] <= row["p25"] <= row["p50"] <= row["p75"] <= row["p90"] <= row["p975"]
    assert len(told["history"]) == len(made["history"])


def test_options_are_told_in_the_terminal_as_on_the_page(folder, found):
    with mock.patch.object(options_made.Worker, "of", return_value=found):
        shown = " ".join(benchdry(folder, "board", "options", "A1").split())
        told = json.loads(benchdry(folder, "board", "options", "A1", "--json"))
    for one in found.options:
        for name, figure in options_made.figures(one, found, folder.now_ms):
            assert f"{name}: {figure}" in shown
    assert [one["name"] for one in told["options"]] == [one.name for one in found.options]


def test_a_board_that_is_not_there_is_said_in_a_sentence(folder):
    assert "board is A9" in benchdry(folder, "board", "ahead", "A9", code=2)
