"""The page that adds things: what its address chooses, what comes next, and refusals that offer what was meant."""

from __future__ import annotations

import html
import re

import pytest
from starlette.testclient import TestClient

from dashboards import entries, fields
from dashboards.app import create_app
from dashboards.pages.forms import picked
from shared.errors import BadInput
from shared.store import facts
from shared.store.records import BoardFact, SetMember, SubjectKind

WOOD = {"species": "Fraxinus americana", "thickness_mm": "27", "width_mm": "190", "length_mm": "1500"}
BOARD = WOOD | {"cut": "flat-sawn", "origin": "fresh-sawn", "where": "stack:S1", "by": "Ida"}


@pytest.fixture
def client(yard):
    app = create_app(yard.store, yard.settings, yard.folder / "secrets.json", lambda: yard.now_ms)
    return TestClient(app, base_url="http://127.0.0.1", client=("127.0.0.1", 5000), follow_redirects=False)


def send(client, action, **typed):
    token = re.search(r'name="csrf" value="([0-9a-f]+)"', client.get("/add").text).group(1)
    return client.post(action, data={"csrf": token, **typed})


def words(page):
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page.text)).split())


def form(page, kind):
    return re.search(rf'<details class="form" id="{kind}".*?</details>', page.text, re.S).group(0)


def links(page):
    said = re.search(r'<div class="said".*?</div>', page.text, re.S).group(0)
    return [(html.unescape(to), text) for to, text in re.findall(r'<a href="([^"]+)">([^<]+)</a>', said)]


def chosen(text, key):
    menu = re.search(rf'<select [^>]*name="{key}".*?</select>', text, re.S).group(0)
    return re.search(r'value="([^"]*)" selected', menu).group(1)


def test_the_address_chooses_the_stack_the_place_or_the_set(yard, client):
    yard.act(entries.add_stack, "S2", place="room")
    yard.act(entries.add_set, "T1")
    assert chosen(form(client.get("/add?stack=s2"), "board"), "where") == "stack:S2"
    of_place = client.get("/add?place=room")
    assert chosen(form(of_place, "board"), "where") == "place:room"
    assert chosen(form(of_place, "stack"), "place") == chosen(form(of_place, "probe"), "place") == "room"
    assert chosen(form(client.get("/add?set=T1"), "board"), "set_code") == "T1"
    assert client.get("/add?stack=nobody&place=<x>&set=%00").status_code == 200


def test_after_adding_the_bar_leads_on(client):
    send(client, "/add/place", code="loft", kind="shed", altitude_m="0", by="Ida")
    to = [("/add?place=loft#stack", "Now a stack here"), ("/add?place=loft#probe", "Hang a probe")]
    assert links(client.get("/place/loft")) == to
    send(client, "/add/stack", code="K9", place="loft", by="Ida")
    assert links(client.get("/stack/K9")) == [("/add?stack=K9#board", "Add its first board")]
    send(client, "/add/board", code="K9-1", **(BOARD | {"where": "stack:K9"}))
    seen = links(client.get("/board/K9-1"))
    assert seen == [("/weigh?board=K9-1", "Weigh it now"), ("/add?stack=K9#board", "Add another")]
    assert all(client.get(path).status_code == 200 for path, _text in seen)


def test_a_board_has_a_name_and_can_be_a_piece_of_a_set_at_once(yard, client):
    yard.act(entries.add_set, "T1")
    send(client, "/add/board", code="Q1", name="Long ash by the door", set_code="T1", **BOARD)
    assert "<h1>Long ash by the door" in client.get("/board/Q1").text
    with yard.store.reading() as connection:
        board = facts.subject(connection, SubjectKind.BOARD, "Q1")
        member = facts.standing(connection, SetMember, board.id)[-1]
        assert member.set_id == facts.subject(connection, SubjectKind.SET, "T1").id


def test_what_a_board_came_as_is_chosen_and_never_taken_for_granted(yard, client):
    assert chosen_nothing(form(client.get("/add"), "board"))
    refused = send(client, "/add/board", code="Q1", **(BOARD | {"origin": ""}))
    assert refused.status_code == 422 and "origin is empty; accepted: one of" in words(refused)
    with yard.store.reading() as connection:
        assert len(facts.standing(connection, BoardFact)) == 2


def chosen_nothing(text):
    menu = re.search(r'<select [^>]*name="origin" required.*?</select>', text, re.S).group(0)
    return menu.index('value=""') < menu.index("fresh-sawn")


def test_a_name_of_several_timbers_is_answered_by_a_few_to_tap(yard, client):
    refused = send(client, "/add/board", code="Q1", **(BOARD | {"species": "oak"}))
    offered = re.findall(r'name="picked-species" value="([^"]+)"', refused.text)
    assert refused.status_code == 422 and 1 < len(offered) <= 6
    told = re.search(r'id="board-species-told" role="alert">([^<]+)<', refused.text).group(1)
    assert re.fullmatch(r"species is oak, which can be \d+ timbers, and their numbers differ; choose one below\.", told)
    assert "Quercus" not in told and 'href="/work-out/timber?name=oak"' in refused.text
    assert client.get("/work-out/timber?name=oak").status_code == 200
    typed = BOARD | {"species": "oak", "picked-species": offered[0]}
    assert send(client, "/add/board", code="Q1", **typed).status_code == 303
    with yard.store.reading() as connection:
        board = facts.subject(connection, SubjectKind.BOARD, "Q1")
        assert facts.standing(connection, BoardFact, board.id)[0].species == offered[0]


def test_what_is_no_timber_at_all_is_still_said(client):
    refused = send(client, "/add/board", code="Q1", **(BOARD | {"species": "qqqq"}))
    assert refused.status_code == 422 and "species is qqqq; accepted:" in words(refused)
    assert "picked-species" not in refused.text


@pytest.mark.parametrize(
    ("typed", "proposal", "told"),
    [
        ("mud yard", "mud-yard", "letters, digits, dashes and dots, no spaces, so mud-yard."),
        ("K7/3", "K7-3", "letters, digits, dashes and dots, no spaces, so K7-3."),
    ],
)
def test_a_code_that_cannot_be_is_answered_by_one_that_can(client, typed, proposal, told):
    with pytest.raises(BadInput) as refused:
        fields.code("place code", typed)
    assert (
        str(refused.value) == f"place code is {typed}; accepted: {told}"
        and fields.code("place code", proposal) == proposal
    )
    page = send(client, "/add/place", code=typed, kind="shed", altitude_m="0", by="Ida")
    assert f'name="picked-code" value="{proposal}"' in page.text


def test_what_was_tapped_stands_in_place_of_what_was_typed_and_nothing_else_does():
    assert picked({"species": "oak", "picked-species": "Quercus robur"}) == {"species": "Quercus robur"}
    assert picked({"species": "oak", "picked-species": ""}) == {"species": "oak"}
