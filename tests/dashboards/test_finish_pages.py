"""The pages of a finish room and of a finish: what is over or unknown in the open, both sentences beside a figure."""

import html
import re
from dataclasses import fields
from pathlib import Path

import pytest

from dashboards import entries, safety, vapour_words
from dashboards.pages.finish_product import FinishProductPage, IngredientView
from dashboards.pages.finish_room import NOTHING, FinishRoomPage
from dashboards.substance_words import LimitLine, SubstanceView
from dashboards.vapours_taken_back import STILL_THERE
from kiln import finish_told
from shared.store import facts
from shared.store.records import Sprayed
from tests.dashboards import finish_yards
from tests.dashboards.doors import token
from tests.dashboards.test_app import client_of, plain, shown

# A share of a limit, a concentration or a flow of air that the program has reckoned.
FIGURE = re.compile(
    r"\d[\d.,]* (?:times the limit|times it|% of the limit|% of it)|(?:up to|at least) [\d.]+ % of the LEL"
    r"|\d mg/m³</td>|up to \d[\d.]* %"
)
# The two blocks that figures of vapour stand in: the card with its drawing, and the fold with all limits.
BLOCK = re.compile(r'<(section|details)\b[^>]* id="(?:vapour|all-figures)".*?</\1>', re.DOTALL)
WITH_ROOM = [one for one in finish_yards.YARDS if one is not finish_yards.nothing]


@pytest.fixture
def client(yard):
    return client_of(yard)


def room(client):
    return shown(client, "/finish/room/spray")


def folded(page):
    """What stands inside folds."""
    return " ".join(re.findall(r"<details.*?</details>", page, re.DOTALL))


@pytest.mark.parametrize("record", [FinishRoomPage, FinishProductPage, IngredientView, SubstanceView, LimitLine])
def test_every_field_that_a_template_may_use_carries_help(record):
    assert all(len(one.metadata.get("help", "")) > 5 for one in fields(record))


@pytest.mark.parametrize("make", WITH_ROOM)
def test_who_decides_is_said_first_and_last_of_every_room(yard, client, make):
    make(yard)
    page = room(client)
    main = page[page.index("<main") : page.index("</main>")]
    assert main.count('class="decides"') == 2
    first, last = (plain(html.unescape(one)) for one in (safety.FIRST_LINE, safety.LAST_LINE))
    assert main.index(first) < main.index('id="vapour"') < main.index(last)
    assert not re.search(r"<(section|form|details|p|ul)\b", main[main.index(last) + len(last) :])


@pytest.mark.parametrize("make", WITH_ROOM)
def test_beside_every_figure_stand_the_plume_and_the_person_at_the_gun(yard, client, make):
    make(yard)
    page = room(client)
    blocks = [found[0] for found in BLOCK.finditer(page)]
    figured = [one for one in blocks if FIGURE.search(one)]
    for block in figured:
        assert block.count("explosive limit whatever") == block.count("the person at the gun") == 1, block[:200]
    assert not FIGURE.search(BLOCK.sub("", page)), "no figure of vapour stands outside of the two"
    if make is finish_yards.over:
        assert len(figured) == 2, "the figures of this yard were looked at"


def test_the_words_stand_in_the_open_and_the_word_first(yard, client):
    finish_yards.over(yard)
    page = room(client)
    word = page.index('class="control-word">OVER')
    acts = page.index(finish_told.ACTS[0])
    assert word < acts < page.index('class="vapour-figures"') < page.index("Not before") < page.index('id="over"')
    hidden = folded(page)
    for text in ("Over these limits", "Only a test tells", *finish_told.ACTS, "What is not known"):
        assert text not in hidden
    assert "15-minute limit" in page and "ACGIH TLV" in page


def test_what_is_unknown_stands_in_the_open(yard, client):
    finish_yards.unlisted(yard)
    page = room(client)
    assert "petrified moonlight is not in the tables" in page
    assert "petrified moonlight" not in folded(page).replace("petrified moonlight 60-90", "")


@pytest.mark.parametrize("make", [finish_yards.refused_isocyanate, finish_yards.refused_formaldehyde])
def test_a_refused_finish_has_no_figure_of_vapour(yard, client, make):
    make(yard)
    page = room(client)
    block = page[page.index('id="vapour"') : page.index('id="dew-gap"')]
    assert "air-fed" in block and "licensed" in block
    assert not FIGURE.search(block)
    assert "vapour-chart" not in page and '<dl class="air-needed"' not in page
    assert not re.search(r"Not before \d", page)


def test_without_a_spraying_the_page_says_that_this_is_no_statement(yard, client):
    finish_yards.bare(yard)
    page = room(client)
    assert NOTHING in page
    assert "CAN'T SAY" in page
    assert "NOT SHOWN TO BE UNDER CONTROL" not in page[page.index('id="vapour"') : page.index('id="dew-gap"')]
    assert "Nobody has entered how large this room is" in page


def test_limits_that_are_not_passed_are_folded_under_what_that_does_not_show(yard, client):
    finish_yards.late(yard)
    page = room(client)
    summary = re.search(r'id="all-figures"><summary>(.*?)</summary>', page, re.DOTALL).group(1)
    assert re.search(r"\d+ limits; this reckoning shows no control", summary)
    folded = page[page.index('id="other-limits"') :]
    told = "limits are not passed by this reckoning; it shows no control."
    assert page.count(told) == 1 and told in folded, "in the fold alone"
    card = page[page.index('id="vapour"') : page.index('id="holds-anyway"')]
    assert card.index("Before a can is opened: no flame") < card.index('class="vapour-figures"')
    css = (Path(vapour_words.__file__).parent / "static/styles/46-finish.css").read_text(encoding="utf-8")
    assert re.findall(r"([^\n]*)\.vapour-figures dd \{[^}]*clamp", css) == [".is-over "], "large only where it is over"


def test_nobody_has_said_that_no_unrated_device_hangs_there(yard, client):
    finish_yards.unread(yard)
    page = room(client)
    assert "Nobody has said that nothing unrated is in the spray area" in page
    assert 'action="/place/spray/acknowledge"' in page
    sent = {"csrf": token(client.get("/finish/room/spray")), "acknowledged": "yes", "by": "Ida"}
    assert client.post("/place/spray/acknowledge", data=sent).status_code == 303
    assert "Nobody has said that nothing unrated" not in room(client)


def test_what_was_sprayed_is_entered_from_the_page_and_can_be_taken_back_there(yard, client):
    finish_yards.shelved(finish_yards.room(yard, **finish_yards.SMALL), "lacquer", finish_yards.LACQUER)
    page = client.get("/finish/room/spray")
    sent = {
        "csrf": token(page),
        "finish": "lacquer",
        "litres": "1",
        "minutes": "20",
        "extraction_on": "no",
        "by": "Ida",
    }
    made = client.post("/place/spray/sprayed", data=sent)
    assert made.status_code == 303
    assert made.headers["location"].startswith("/finish/room/spray")
    after = room(client)
    assert 'class="control-word">OVER' in after
    entry = r'id="entry-(\w+)-(\d+)"><div><b>1 litres of Invented lacquer sprayed in 20 min'
    kind, number = re.search(entry, after).groups()
    undone = {"csrf": token(client.get("/finish/room/spray")), "kind": kind, "id": number, "by": "Ida"}
    assert client.post("/undo", data=undone).status_code == 303
    after = room(client)
    assert 'class="control-word">CAN' in after and "taken back by Ida" in after and STILL_THERE in after
    assert "taken back by Ida" in after[after.index('id="vapour"') : after.index('id="dew-gap"')]
    with yard.store.reading() as connection:
        assert not facts.standing(connection, Sprayed)


def test_a_refused_spraying_is_shown_again_on_the_rooms_own_page(yard, client):
    finish_yards.shelved(finish_yards.room(yard, **finish_yards.SMALL), "lacquer", finish_yards.LACQUER)
    sent = {"csrf": token(client.get("/finish/room/spray")), "finish": "lacquer", "litres": "1000", "minutes": "20"}
    refused = client.post("/place/spray/sprayed", data=sent | {"by": "Ida"})
    assert refused.status_code == 422
    assert 'id="sprayed-litres-told"' in refused.text
    assert 'value="1000"' in refused.text
    assert safety.FIRST_LINE in plain(refused.text)


def test_a_place_that_is_no_finish_room_and_one_that_is_not_there_are_told(yard, client):
    assert "not entered as a finish room" in shown(client, "/finish/room/shed", 409)
    assert "nowhere" in shown(client, "/finish/room/nowhere", 404)
    assert "nothing" in shown(client, "/finish/product/nothing", 404)


def test_a_refused_finish_heads_the_card_also_where_the_room_has_no_figures(yard, client):
    finish_yards.sprayed(finish_yards.shelved(finish_yards.room(yard), "hard", finish_yards.HARDENED), "hard")
    page = room(client)
    card = page[page.index('id="vapour"') : page.index('id="holds-anyway"')]
    assert "air-fed" in card and card.index("air-fed") < card.index(finish_told.ACTS[0])
    assert "Nobody has entered how large this room is" in card


TWO_PART = finish_yards.LACQUER | {"name": "Invented 2K polyurethane with isocyanate hardener"}


def test_a_name_is_refused_alike_on_every_page_though_its_tick_denies_it(yard, client):
    finish_yards.sprayed(finish_yards.shelved(finish_yards.room(yard, **finish_yards.SMALL), "hard", TWO_PART), "hard")
    asked = "/work-out/vapour?finish=hard&place=spray&litres=0.1&minutes=5&extraction_on=yes"
    for path in ("/finish/room/spray", "/finish/product/hard", asked):
        page = shown(client, path)
        main = page[page.index("<main") : page.index("</main>")]
        assert "air-fed" in main, path
        assert not FIGURE.search(re.sub(r'<section id="ingredients".*?</section>', "", main, flags=re.DOTALL)), path


def test_what_stands_on_the_card_of_entries_that_were_changed_or_are_not_counted(yard, client):
    finish_yards.shelved(finish_yards.room(yard, **finish_yards.SMALL), "lacquer", finish_yards.LACQUER)
    finish_yards.sprayed(yard, "lacquer", minutes_ago=70 * 60)
    finish_yards.sprayed(yard, "lacquer")
    made = finish_yards.sprayed(yard, "lacquer", minutes_ago=30, litres=0.25)
    yard.act(entries.undo, made.kind, made.fact_id)
    yard.act(entries.say_finish_room, "spray", **finish_yards.SMALL | {"volume": "60", "sure": True})
    page = room(client)
    card = page[page.index('id="vapour"') : page.index('id="holds-anyway"')]
    assert re.search(r"Reckoned with 30 m³", card), "the worse of what was entered counts, and says so"
    assert "0.25 litres" in card and "taken back by" in card
    assert "not counted any more" in card
    assert "Invented lacquer" in card and not re.search(r"litres of lacquer", page)


def test_links_that_stand_alone_are_as_large_as_a_thumb(yard, client):
    finish_yards.over(yard)
    page = room(client)
    main = page[page.index("<header") : page.index('id="dew-gap"')]
    for target in ("/place/spray", "/finish", "/finish#before-spraying", "/how#vapour"):
        assert f'<a class="wide-tap" href="{target}"' in main, target


# --- a finish --------------------------------------------------------------------------------------


def test_a_finish_shows_each_ingredient_with_its_limits_by_body_and_year(yard, client):
    finish_yards.shelved(yard, "lacquer", finish_yards.LACQUER)
    page = shown(client, "/finish/product/lacquer")
    assert page.count('class="decides"') == 2
    # NIOSH Pocket Guide, 2007: acetone LEL 2.5 %; REL 250 ppm. 29 CFR 1910.1000 Table Z-1: PEL 1000 ppm.
    acetone = page[page.index("<h3>Acetone") :]
    acetone = acetone[: acetone.index("</li>\n<li") if "</li>\n<li" in acetone else None]
    assert "2.5 % of the air" in acetone
    assert re.search(r"OSHA PEL, US \([^)]*\)", acetone) and "1000 ppm" in acetone and "250 ppm" in acetone
    assert re.search(r"ACGIH TLV, US \(\d{4}", acetone)
    assert "8-hour mean" in acetone and "15-minute mean" in acetone
    assert "NOT SHOWN TO BE UNDER CONTROL" in page
    assert "explosive limit whatever" in page and "person at the gun" in page


def test_a_finish_of_which_something_is_unknown_says_so_in_the_open(yard, client):
    finish_yards.shelved(yard, "secret", finish_yards.UNLISTED)
    finish_yards.shelved(yard, "unread", finish_yards.UNREAD)
    secret, unread = (shown(client, f"/finish/product/{code}") for code in ("secret", "unread"))
    assert "petrified moonlight is not in the tables" in secret
    assert "unknown, which never counts as nought" in secret
    assert "CAN'T SAY" in secret and "CAN'T SAY" in unread
    assert "Nobody has said whether it holds isocyanate" in unread
    assert "the sheet has not been read for it" in unread
    assert "Rags and" in unread, "an oil that nobody has looked up may heat its rags"


def test_a_refused_finish_says_what_it_asks_for(yard, client):
    finish_yards.shelved(yard, "hard", finish_yards.HARDENED)
    page = shown(client, "/finish/product/hard")
    known = page[page.index('id="known"') : page.index('id="ingredients"')]
    assert "air-fed" in known and "CAN'T SAY" in known
    told = known[known.index("control-word") :]
    assert re.search(r'^control-word">CAN\'T SAY</p></div>\s*<p class="reason"><b>[^<]*air-fed', told), "first of all"


def test_a_finish_is_corrected_and_taken_off_the_shelf_on_its_page(yard, client):
    finish_yards.shelved(yard, "unread", finish_yards.UNREAD)
    page = client.get("/finish/product/unread")
    form = page.text[page.text.index('action="/finish/unread/change"') :]
    held = dict(re.findall(r'name="([\w-]+)" value="([^"]*)"', form[: form.index("</form>")]))
    lines = html.unescape(re.search(r"<textarea[^>]*>\n?(.*?)</textarea>", form, re.DOTALL).group(1))
    sent = held | {
        "ingredients": lines,
        "basis": "by mass",
        "isocyanate": "no",
        "formaldehyde": "no",
        "self_heating": "no",
    }
    made = client.post("/finish/unread/change", data=sent | {"by": "Ida"})
    assert (made.status_code, made.headers["location"].partition("#")[0]) == (303, "/finish/product/unread")
    after = shown(client, "/finish/product/unread")
    assert "Nobody has said whether" not in after
    wrong = client.post("/finish/unread/change", data=sent | {"by": "Ida", "ingredients": "acetone lots"})
    assert wrong.status_code == 422
    assert "change-ingredients-told" in wrong.text and "acetone lots" in wrong.text
    yard.act(entries.close_finish, "unread")
    closed = shown(client, "/finish/product/unread")
    assert "Off the shelf" in closed and 'action="/finish/unread/close"' not in closed


@pytest.mark.parametrize("make", [finish_yards.over, finish_yards.unlisted, finish_yards.refused_isocyanate])
def test_pages_hold_no_style_attribute_and_no_script_of_their_own(yard, client, make):
    make(yard)
    for path in ("/finish/room/spray", "/work-out/vapour?place=spray&litres=1&minutes=5&ingredients=acetone+100"):
        page = shown(client, path)
        main = page[page.index("<main") : page.index("</main>")]
        assert " style=" not in main and "<script" not in main and " onclick" not in main
