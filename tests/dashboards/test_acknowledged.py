"""No unrated device in a spray area: a finish room and a probe in one are not entered before somebody has said so."""

from __future__ import annotations

import re

import pytest

from dashboards import acknowledging, entries, finish_now, situation
from dashboards.terminal import demo_story
from shared.errors import BadInput, Refused
from shared.store import facts
from shared.store.records import Acknowledged, FinishFact, PlaceFact, ProbePosition, SubjectKind
from tests.dashboards import finish_yards
from tests.dashboards.commands import benchdry
from tests.dashboards.refusals import everything, refused, rows
from tests.dashboards.test_app import client_of, send, words

ROOM = {"kind": "finish room", "altitude_m": 0}
UNSAID = ("", None, False, "no")


@pytest.fixture
def client(yard):
    return client_of(yard)


def said(yard):
    """Return what was acknowledged: of what, in which room, by whom, from when."""
    with yard.store.reading() as connection:
        codes = {one.id: one.code for kind in SubjectKind for one in facts.subjects(connection, kind)}
        found = facts.standing(connection, Acknowledged)
    return [(codes[one.subject_id], one.what, one.entered_by, one.true_at_ms) for one in found]


def rooms(yard):
    return finish_now.finish_rooms(situation.read(yard.store, yard.now_ms, yard.settings))


@pytest.mark.parametrize("typed", UNSAID)
def test_a_finish_room_is_not_entered_before_it_is_said(yard, typed):
    told = refused(yard, BadInput, entries.add_place, "spray", acknowledged=typed, **ROOM)
    assert told.startswith("acknowledged is empty; accepted: ticked, once it is so: Nothing that is not rated for it")
    assert "a heated gas sensor is itself an ignition source" in told
    assert "your fire authority says" in told


def test_what_was_said_stands_with_the_room_in_one_transaction(yard):
    yard.act(entries.add_place, "spray", acknowledged="yes", days_ago=3, **ROOM)
    with yard.store.reading() as connection:
        made = facts.standing(connection, PlaceFact)[-1]
        (held,) = facts.standing(connection, Acknowledged)
    assert (held.subject_id, held.true_at_ms, held.entered_at_ms) == (made.subject_id, made.true_at_ms, yard.now_ms)
    assert held.sentence == acknowledging.OF_ROOM
    (room,) = rooms(yard)
    assert room.acknowledged == held and room.unsaid_probes == ()


def test_no_other_place_is_asked(yard):
    for kind in ("yard", "shed", "room", "kiln"):
        yard.act(entries.add_place, f"a-{kind}", kind=kind)
    yard.act(entries.move_probe, "warm", place="a-room")
    assert said(yard) == []
    assert "no finish room" in refused(yard, Refused, entries.acknowledge, "room", acknowledged=True)


def test_a_room_that_becomes_one_is_asked_for_itself_and_the_probes_in_it(yard):
    same = {"name": "room", "altitude_m": 0}
    refused(yard, BadInput, entries.change_place, "room", kind="finish room", **same)
    yard.act(entries.change_place, "room", kind="finish room", acknowledged=True, **same)
    assert [(of, room) for of, room, _by, _at in said(yard)] == [("room", "room"), ("warm", "room")]
    yard.act(entries.change_place, "room", kind="finish room", name="Spray room", altitude_m=10)  # it was said before
    assert len(said(yard)) == 2


@pytest.mark.parametrize("typed", UNSAID)
def test_a_probe_is_not_put_into_one_before_it_is_said(yard, typed):
    yard.act(entries.add_place, "spray", acknowledged=True, days_ago=3, **ROOM)
    new = {"topic": "workshop/door", "place": "spray", "acknowledged": typed}
    assert "hangs outside the spray area" in refused(yard, BadInput, entries.add_probe, "door", **new)
    assert "hangs outside" in refused(yard, BadInput, entries.move_probe, "warm", place="spray", acknowledged=typed)


def test_of_a_probe_it_is_said_from_the_moment_that_it_is_there(yard):
    yard.act(entries.add_place, "spray", acknowledged=True, days_ago=30, **ROOM)
    yard.act(entries.add_probe, "door", topic="workshop/door", place="spray", acknowledged=True, days_ago=20)
    yard.act(entries.move_probe, "warm", place="spray", acknowledged=True, days_ago=10)
    yard.act(entries.move_probe, "north", place="")  # nowhere: nothing to say
    of = {code: at for code, _room, _by, at in said(yard)}
    with yard.store.reading() as connection:
        placed = {one.subject_id: one.true_at_ms for one in facts.standing(connection, ProbePosition)}
        door, warm = (facts.subject(connection, SubjectKind.PROBE, code).id for code in ("door", "warm"))
    assert (of["door"], of["warm"]) == (placed[door], placed[warm])
    assert rooms(yard)[0].unsaid_probes == ()


def test_it_is_said_of_one_room_and_not_of_another(yard):
    for code in ("spray", "booth"):
        yard.act(entries.add_place, code, acknowledged=True, days_ago=30, **ROOM)
    yard.act(entries.move_probe, "warm", place="spray", acknowledged=True, days_ago=10)
    refused(yard, BadInput, entries.move_probe, "warm", place="booth")


def test_a_room_from_before_keeps_all_that_it_has_and_nobody_has_said_so(yard):
    yard.act(entries.add_place, "spray", acknowledged=True, days_ago=30, **ROOM)
    yard.act(entries.move_probe, "warm", place="spray", acknowledged=True, days_ago=10)
    with yard.store.reading() as connection:
        held = facts.standing(connection, Acknowledged)
    for one in held:  # as a store of an earlier program has them: none
        yard.act(entries.undo, "acknowledgement", one.id)
    before = everything(yard)
    (room,) = rooms(yard)
    assert room.acknowledged is None
    assert [one.subject.code for one in room.unsaid_probes] == ["warm"]
    assert everything(yard) == before
    made = yard.act(entries.acknowledge, "spray", acknowledged="yes")
    assert made.sentence == "Ida has said that nothing unrated is in the spray area of spray."
    (room,) = rooms(yard)
    assert room.acknowledged is not None and room.unsaid_probes == ()


def test_what_was_said_is_taken_back_and_put_back(yard):
    yard.act(entries.add_place, "spray", acknowledged=True, **ROOM)
    with yard.store.reading() as connection:
        (held,) = facts.standing(connection, Acknowledged)
    gone = yard.act(entries.undo, "acknowledgement", held.id)
    assert gone.sentence == "The acknowledgement of place spray is taken back."
    assert rooms(yard)[0].acknowledged is None
    yard.act(entries.undo, "acknowledgement", gone.fact_id)
    assert rooms(yard)[0].acknowledged is not None


# --- forms -----------------------------------------------------------------------------------------


def test_the_form_of_a_place_asks_and_is_shown_again_with_the_sentence_at_its_box(yard, client):
    before = rows(yard)
    page = send(client, "/add", "/add/place", code="spray", kind="finish room", altitude_m="0")
    assert page.status_code == 422 and rows(yard) == before
    form = re.search(r'<details class="form" id="place".*?</details>', page.text, re.S).group(0)
    assert " open" in form.split(">")[0]
    box = re.search(r'<input type="checkbox" id="place-acknowledged".*?>', form, re.S).group(0)
    assert 'aria-invalid="true"' in box and "checked" not in box
    assert 'aria-describedby="place-acknowledged-told place-acknowledged-hint"' in box
    assert 'id="place-acknowledged-told" role="alert">the box is not ticked; tick it once' in form
    assert 'id="place-acknowledged-hint">Nothing that is not rated for it belongs in the spray area' in form
    assert 'value="finish room" selected' in form
    made = send(client, "/add", "/add/place", code="spray", kind="finish room", altitude_m="0", acknowledged="yes")
    assert made.status_code == 303 and [of for of, *_rest in said(yard)] == ["spray"]
    assert "Enter its figures" in client.get(made.headers["location"]).text


def test_the_form_of_a_place_that_is_one_already_does_not_ask(yard, client):
    assert "place-acknowledged" in client.get("/add").text
    assert "change-acknowledged" in client.get("/place/room").text
    yard.act(entries.add_place, "spray", acknowledged=True, **ROOM)
    assert "change-acknowledged" not in client.get("/place/spray").text


def test_the_forms_of_probes_ask_once_there_is_a_finish_room(yard, client):
    assert "probe-acknowledged" not in client.get("/add").text
    assert "probe-warm-acknowledged" not in client.get("/probes").text
    yard.act(entries.add_place, "spray", name="Spray room", acknowledged=True, **ROOM)
    assert "If put into Spray room: it hangs outside the spray area" in words(client.get("/add"))
    assert "probe-warm-acknowledged" in client.get("/probes").text
    assert send(client, "/add", "/probe/warm/move", place="spray").status_code == 422
    assert send(client, "/add", "/probe/warm/move", place="spray", acknowledged="yes").status_code == 303
    assert send(client, "/add", "/probe/warm/move", place="room").status_code == 303
    door = {"code": "door", "topic": "workshop/door", "place": "spray"}
    assert send(client, "/add", "/add/probe", **door).status_code == 422
    assert send(client, "/add", "/add/probe", **door, acknowledged="yes").status_code == 303
    assert [of for of, *_rest in said(yard)] == ["spray", "warm", "door"]


def test_a_finish_is_added_by_its_form_and_a_line_that_is_wrong_is_shown_again(yard, client):
    sheet = {
        "basis": "by mass",
        "ingredients": "acetone 30-60\r\nxylene",
        "isocyanate": "no",
        "formaldehyde": "not read",
    }
    page = send(client, "/add", "/add/finish", code="lacquer", **sheet)
    assert page.status_code == 422
    form = re.search(r'<details class="form" id="finish".*?</details>', page.text, re.S).group(0)
    assert "ingredients line 2 is xylene; accepted: a name or CAS number" in form
    assert re.search(r"<textarea[^>]*>\s*acetone 30-60\r?\nxylene</textarea>", form)
    made = send(
        client, "/add", "/add/finish", code="lacquer", **(sheet | {"ingredients": "acetone 30-60\r\nxylene <10"})
    )
    assert made.headers["location"].startswith("/finish/product/lacquer")
    with yard.store.reading() as connection:
        (held,) = facts.standing(connection, FinishFact)
    assert (held.ingredients, held.isocyanate, held.formaldehyde) == ("acetone 30-60\nxylene <10", False, None)
    assert client.get("/finish/product/lacquer").status_code == 200


def test_the_forms_of_a_finish_room_lead_back_to_it_and_are_shown_there_when_refused(yard, client):
    yard.act(entries.add_place, "spray", acknowledged=True, **ROOM)
    yard.act(entries.add_finish, "lacquer", ingredients="acetone 30-60\nsolids 40-70")
    sent = {
        "finish-room": ({"volume": "4 x 3 x 2.5 m", "extraction": "900"}, {"volume": "4 x 3"}, "room volume is 4 x 3"),
        "sprayed": (
            {"finish": "lacquer", "litres": "0.5", "minutes": "8", "extraction_on": "yes"},
            {"finish": "lacquer", "litres": "0.5", "minutes": "0"},
            "minutes of spraying is 0",
        ),
        "surface": ({"surface_c": "14.5", "what": "top"}, {"surface_c": "14.5"}, "what was measured is empty"),
        "acknowledge": ({"acknowledged": "yes"}, {}, "the box is not ticked"),
    }
    for act, (right, _wrong, _told) in sent.items():
        made = send(client, "/add", f"/place/spray/{act}", **right)
        assert (made.status_code, made.headers["location"]) == (303, "/finish/room/spray#top"), act
    with yard.store.reading() as connection:  # so that the form to say it is there
        for one in facts.standing(connection, Acknowledged):
            yard.act(entries.undo, "acknowledgement", one.id)
    for act, (_right, wrong, told) in sent.items():
        page = send(client, "/add", f"/place/spray/{act}", **wrong)
        assert page.status_code == 422 and told in words(page), act
    assert client.get("/finish/room/spray").status_code == 200


# --- commands and the demo -------------------------------------------------------------------------


def test_the_commands_ask_too(yard):
    finish_yards.commanded(yard)
    place = (yard, "place", "add", "spray", "--kind", "finish room")
    assert "acknowledged is empty" in benchdry(*place, code=2)
    benchdry(*place, "--acknowledged")
    assert "acknowledged is empty" in benchdry(yard, "probe", "move", "warm", "spray", code=2)
    benchdry(yard, "probe", "move", "warm", "spray", "--acknowledged")
    new = (yard, "probe", "add", "door", "--topic", "workshop/door", "--place", "spray")
    assert "acknowledged is empty" in benchdry(*new, code=2)
    benchdry(*new, "--acknowledged")
    assert "acknowledged is empty" in benchdry(yard, "finish", "acknowledge", "spray", code=2)
    assert "has said" in benchdry(yard, "finish", "acknowledge", "spray", "--acknowledged")


def test_in_the_demo_it_is_said_of_the_finish_room_and_its_probe(empty_yard):
    demo_story.enter(empty_yard.store, empty_yard.now_ms, empty_yard.now_ms)
    assert [(of, room) for of, room, _by, _at in said(empty_yard)] == [
        ("finish-room", "finish-room"),
        ("finish-door", "finish-room"),
    ]
    (room,) = rooms(empty_yard)
    assert room.acknowledged is not None and room.unsaid_probes == ()


def test_the_page_of_its_air_leads_to_what_is_sprayed_there_and_no_other_does(yard, client):
    yard.act(entries.add_place, "spray", acknowledged=True, **ROOM)
    yard.act(entries.add_place, "loft", kind="room", altitude_m=0)
    assert 'href="/finish/room/spray"' in client.get("/place/spray").text
    assert "/finish/room/" not in client.get("/place/loft").text
