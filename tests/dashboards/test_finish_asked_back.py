"""Figures of a room that are rarely so are asked back; what was taken back, or counts no more, stays to be seen."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dashboards import display, entries, finish_now, room_figures
from shared.errors import BadInput, Refused
from shared.store import facts
from shared.store.records import FinishRoom
from shared.units import MS_PER_DAY, MS_PER_MINUTE
from tests.dashboards import finish_yards
from tests.dashboards.finish_yards import room_now
from tests.dashboards.refusals import refused
from tests.dashboards.test_app import client_of


@pytest.fixture
def client(yard):
    return client_of(yard)


# --- figures of a room -------------------------------------------------------------------------------


@pytest.mark.parametrize("typed", ["13 x 10 x 8", "13x10x8", "4 m x 10 ft x 8 ft"])
def test_three_lengths_without_one_unit_are_refused(typed):
    with pytest.raises(BadInput, match="accepted: three lengths with their unit"):
        room_figures.volume_m3(typed)


def test_a_room_in_feet_is_one_in_feet():
    # 1 ft³ = 2.831 685 E-02 m³: NIST SP 811 (2008), B.8
    assert room_figures.volume_m3("13 x 10 x 8 ft") == pytest.approx(1040 * 0.02831685, rel=1e-6)
    assert room_figures.height_m("13 x 10 x 8 ft") == pytest.approx(8 * 0.3048)
    assert room_figures.height_m("31.5 m³") is None


@pytest.mark.parametrize("typed", ["none", "No", "0", "nothing"])
def test_no_extraction_is_typed_as_a_word_or_nought(typed):
    assert room_figures.extraction_m3_s(typed) == 0.0


@pytest.mark.parametrize(
    ("figures", "told"),
    [
        (
            {"volume": "10 x 4 x 7 m"},
            "room volume is 7 m high; accepted: a height of up to 6 m, unless you have looked",
        ),
        ({"volume": "100"}, "room volume is 100 m³; accepted: 10 m³ to 90 m³, within three times the 30 m³ entered"),
        ({"volume": "9"}, "room volume is 9 m³; accepted: 10 m³ to 90 m³"),
        ({"volume": "30", "extraction": "1900"}, "extraction is 1900 m³/h; accepted: 200 m³/h to 1800 m³/h, within"),
        ({"volume": "10", "extraction": "1500"}, "extraction is 1500 m³/h; accepted: up to 1200 m³/h, 120 times the"),
    ],
)
def test_figures_that_are_rarely_so_are_asked_back_and_kept_when_sure(yard, figures, told):
    finish_yards.room(yard, **finish_yards.SMALL)
    sentence = refused(yard, BadInput, entries.say_finish_room, "spray", **figures)
    assert sentence.startswith(told) and "say that you are sure" in sentence
    yard.act(entries.say_finish_room, "spray", sure="yes", **figures)
    with yard.store.reading() as connection:
        assert len(facts.standing(connection, FinishRoom)) == 2


def test_what_no_fan_does_is_refused_though_somebody_is_sure(yard):
    finish_yards.room(yard, **finish_yards.SMALL)
    figures = {"volume": "30", "extraction": "31000", "sure": True}
    told = refused(yard, BadInput, entries.say_finish_room, "spray", **figures)
    assert told == ("extraction is 31000 m³/h; accepted: up to 30000 m³/h, 1000 times the room's air in an hour.")


def test_a_figure_is_never_told_as_a_power_of_ten(yard):
    finish_yards.room(yard)
    made = yard.act(entries.say_finish_room, "spray", **finish_yards.VAST)
    assert made.sentence == ("Finish room spray: 20000 m³, extraction 200000 m³/h (measured), mixing factor 3.")
    assert room_figures.two_decimals(1234567.0) == "1234567" and room_figures.two_decimals(31.456) == "31.46"


def test_a_form_asked_back_says_so_on_top_and_at_its_field_and_takes_the_tick(yard, client):
    finish_yards.room(yard, **finish_yards.SMALL)
    csrf = client.get("/finish/room/spray").text.partition('name="csrf" value="')[2].partition('"')[0]
    typed = {"volume": "400", "extraction": "none", "by": "Ida", "csrf": csrf}
    wrong = client.post("/place/spray/finish-room", data=typed)
    assert wrong.status_code == 422
    top = wrong.text[: wrong.text.index('id="finish-room"')]
    assert "Not entered: room volume is 400 m³" in top, "said above all else"
    assert 'id="finish-room-volume-told"' in wrong.text and 'name="sure"' in wrong.text
    assert client.post("/place/spray/finish-room", data=typed | {"sure": "yes"}).status_code == 303
    assert room_now(yard).room.extraction_m3_s == 0.0


def test_dry_to_handle_within_five_minutes_is_refused(yard):
    told = refused(yard, BadInput, entries.add_finish, "l", **(finish_yards.LACQUER | {"dry_after_h": "0.05"}))
    assert told == "dry to handle is 0.05; accepted: 0.08 to 720 h."


def test_solids_and_water_alone_are_kept_as_typed_and_can_t_be_said(yard):
    sheet = finish_yards.LACQUER | {"ingredients": "water 60\nsolids 40"}
    yard.act(entries.add_finish, "stain", **sheet)
    with yard.store.reading() as connection:
        assert finish_now.finishes(connection)[0].entered.ingredients == "water 60\nsolids 40"


@pytest.mark.parametrize(
    ("sheet", "told"),
    [
        ({"name": "Two-part with isocyanate"}, "tells of isocyanate: it is judged so."),
        ({"name": "Danish oil", "ingredients": "formaldehyde 1\nsolids 99"}, "tells of formaldehyde and a drying oil"),
    ],
)
def test_what_the_words_of_a_sheet_tell_is_said_when_it_is_entered(yard, sheet, told):
    assert told in yard.act(entries.add_finish, "l", **(finish_yards.LACQUER | sheet)).sentence


# --- back on the shelf -------------------------------------------------------------------------------


def test_a_finish_is_put_back_on_the_shelf_from_its_page(yard, client):
    finish_yards.shelved(yard, "lacquer", finish_yards.LACQUER)
    yard.act(entries.close_finish, "lacquer")
    page = client.get("/finish/product/lacquer").text
    assert 'action="/finish/lacquer/reopen"' in page and "Put it back on the shelf" in page
    csrf = page.partition('name="csrf" value="')[2].partition('"')[0]
    assert client.post("/finish/lacquer/reopen", data={"by": "Ida", "csrf": csrf}).status_code == 303
    with yard.store.reading() as connection:
        (one,) = finish_now.finishes(connection)
    assert one.fact.ingredients == finish_yards.LACQUER["ingredients"].replace("\r", "")
    assert "on the shelf already" in refused(yard, Refused, entries.reopen_finish, "lacquer")
    yard.act(entries.change_finish, "lacquer", note="again")


# --- what was taken back, and what counts no more ----------------------------------------------------


def test_a_spraying_that_was_taken_back_is_told_for_a_day(yard):
    finish_yards.shelved(finish_yards.room(yard), "lacquer", finish_yards.LACQUER)
    made = finish_yards.sprayed(yard, "lacquer", litres=0.25)
    assert room_now(yard).taken_back == ()
    on = replace(yard, now_ms=yard.now_ms + 51 * MS_PER_MINUTE)
    gone = on.act(entries.undo, "spraying", made.fact_id, by="Bo")
    (line,) = room_now(on).taken_back
    assert line.startswith(f"0.25 litres of {finish_yards.LACQUER['name']}, 25 Nov 2026, ")
    assert "taken back by Bo at 25 Nov 2026, " in line
    assert room_now(replace(on, now_ms=on.now_ms + MS_PER_DAY - 1)).taken_back == (line,)
    assert room_now(replace(on, now_ms=on.now_ms + MS_PER_DAY + 1)).taken_back == ()
    on.act(entries.undo, "spraying", gone.fact_id)
    assert room_now(on).taken_back == (), "put back, it counts again"


def test_what_counts_no_more_is_told_for_some_days(yard):
    finish_yards.shelved(finish_yards.room(yard, **finish_yards.SMALL), "lacquer", finish_yards.LACQUER)
    for days, litres in ((1, 1), (3, 5), (6, 2), (9, 4)):
        finish_yards.sprayed(yard, "lacquer", minutes_ago=days * 24 * 60, litres=litres)
    lines = room_now(yard).counted_no_more
    assert [line.split()[0] for line in lines] == ["5", "2"]
    assert all(line.endswith(finish_now.NO_MORE) for line in lines) and "22 Nov 2026" in lines[0]


# --- another day ------------------------------------------------------------------------------------

SPRAYED = (entries.add_sprayed, {"finish": "lacquer", "litres": 1, "minutes": 5})
SURFACE = (entries.add_surface_reading, {"surface_c": 18, "what": "top"})


def spray(yard):
    return finish_yards.shelved(finish_yards.room(yard, **finish_yards.SMALL), "lacquer", finish_yards.LACQUER)


@pytest.mark.parametrize(("act", "said"), [SPRAYED, SURFACE])
def test_an_entry_of_another_day_tells_its_date_and_hour(yard, act, said):
    spraying = spray(yard)
    today = spraying.act(act, "spray", **said)
    assert today.sentence.startswith("Entered for spray: ")
    yesterday = spraying.act(act, "spray", days_ago=0.99, **said)
    when = display.moment(yard.now_ms - int(0.99 * MS_PER_DAY))
    assert yesterday.sentence.startswith(f"Entered for spray, {when}: ")


@pytest.mark.parametrize(("act", "said"), [SPRAYED, SURFACE])
def test_an_entry_of_more_than_a_day_ago_is_asked_back(yard, act, said):
    spraying = spray(yard)
    sentence = refused(spraying, BadInput, act, "spray", days_ago=31, **said)
    assert sentence.startswith(f"time is {display.moment(yard.now_ms - 31 * MS_PER_DAY)}; accepted: a time since ")
    assert "say that you are sure" in sentence
    assert "Entered for spray, " in spraying.act(act, "spray", days_ago=31, sure="yes", **said).sentence


@pytest.mark.parametrize(
    ("form", "typed"),
    [
        ("sprayed", {"finish": "lacquer", "litres": "1", "minutes": "5", "extraction_on": "no"}),
        ("surface", {"surface_c": "18", "what": "top"}),
    ],
)
def test_a_form_asks_an_old_date_back_and_takes_the_tick(yard, client, form, typed):
    spray(yard)
    page = client.get("/finish/room/spray").text
    old = display.local(yard.now_ms - 31 * MS_PER_DAY).strftime("%Y-%m-%dT%H:%M")
    sent = typed | {"true_at": old, "by": "Ida", "csrf": page.partition('name="csrf" value="')[2].partition('"')[0]}
    wrong = client.post(f"/place/spray/{form}", data=sent)
    assert wrong.status_code == 422 and "say that you are sure" in wrong.text
    assert f'id="{form}-sure"' in wrong.text
    assert client.post(f"/place/spray/{form}", data=sent | {"sure": "yes"}).status_code == 303
