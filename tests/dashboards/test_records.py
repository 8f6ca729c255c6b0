"""The page of all that was entered: order, pages, filters, what was taken back, what is no longer in use, exports."""

from __future__ import annotations

import html
import re
from dataclasses import fields

import pytest
from starlette.testclient import TestClient

from dashboards import entries
from dashboards.app import create_app
from dashboards.auth import SECRETS_NAME
from dashboards.pages import entry_words, records
from dashboards.records_routes import back_to
from dashboards.undoing import UNDOABLE
from shared.settings import Settings
from shared.store import facts, verdicts
from shared.store import records as r


def client_of(yard):
    app = create_app(yard.store, Settings(), yard.folder / SECRETS_NAME, lambda: yard.now_ms)
    return TestClient(app, base_url="http://localhost", client=("127.0.0.1", 50000), follow_redirects=False)


def words(text):
    plain = html.unescape(re.sub(r"<[^>]+>", " ", text)).replace("\u00a0", " ").replace("\u2060", "")
    return " ".join(plain.split())


def lines(page):
    """The entries of a page: kind and number of each, in order."""
    return re.findall(r'<li id="entry-([\w-]+)-(\d+)">', page.text)


def send(client, page, **typed):
    token = re.search(r'name="csrf" value="(\w+)"', client.get(page).text).group(1)
    return client.post("/undo", data={"csrf": token, **typed})


def weigh(yard, code, grams, minutes):
    """A weigh-in entered so many minutes from now."""
    yard.now_ms += minutes * 60_000
    return yard.act(entries.add_weigh_in, code, mass_g=grams)


def test_the_log_shows_what_was_entered_last_first_with_who_and_when(yard):
    first, second = weigh(yard, "A1", 4600, 1), weigh(yard, "A2", 4500, 1)
    page = client_of(yard).get("/records")
    assert lines(page)[:2] == [("weigh-in", str(second.fact_id)), ("weigh-in", str(first.fact_id))]
    shown = words(page.text)
    assert "4500.0 g" in shown and "by Ida" in shown and "True from" in shown
    assert 'href="/board/A2"' in page.text


def test_fifty_stand_on_a_page_and_every_entry_stands_on_one(yard):
    for number in range(120):
        weigh(yard, "A1", 4600 - number, 1)
    client, seen, path = client_of(yard), [], "/records?kind=weigh-ins"
    while path:
        page = client.get(path)
        assert page.status_code == 200
        seen += lines(page)
        older = re.search(r'href="([^"]+)" rel="next"', page.text)
        assert len(lines(page)) == (50 if older else len(lines(page)))
        path = html.unescape(older.group(1)) if older else ""
    with yard.store.reading() as connection:
        every = {str(one.id) for one in facts.standing(connection, r.WeighIn)}
    assert len(seen) == len(every) == 123 and {number for _kind, number in seen} == every
    assert "Nothing is older than this" in words(client.get("/records?kind=weigh-ins&page=9").text)


def test_it_can_be_narrowed_to_a_kind_and_to_a_thing_that_is_named(yard):
    client = client_of(yard)
    assert {kind for kind, _ in lines(client.get("/records?kind=moves"))} <= {
        "board-move",
        "stack-move",
        "probe-move",
        "planned-move",
    }
    about = client.get("/records?about=s1")  # a stack, and the boards laid in it
    assert {kind for kind, _ in lines(about)} == {"stack", "stack-move", "board-move"}
    assert lines(client.get("/records?kind=outcomes")) == []


@pytest.mark.parametrize("query", ["about=nobody", "kind=nothing", "page=0", "page=x"])
def test_what_is_not_there_is_said_in_one_sentence(yard, query):
    page = client_of(yard).get(f"/records?{query}")
    assert page.status_code == 422 and "accepted" in words(page.text) and lines(page) == []


def test_an_entry_that_was_taken_back_is_struck_through_says_so_and_can_be_put_back(yard):
    made = weigh(yard, "A1", 4600, 1)
    client = client_of(yard)
    yard.now_ms += 60_000
    answer = send(client, "/records", kind="weigh-in", id=made.fact_id, by="Bo", back="/records?kind=weigh-ins")
    assert answer.status_code == 303 and answer.headers["location"] == "/records?kind=weigh-ins#top"
    page = client.get("/records?kind=weigh-ins")
    assert "<s>4600.0 g" in page.text and "Taken back by Bo" in words(page.text)
    undo = re.search(
        r'name="id" value="(\d+)">\s*<input type="hidden" name="back"[^>]*>\s*<button class="plain">Put', page.text
    )
    yard.now_ms += 60_000
    send(client, "/records", kind="weigh-in", id=undo.group(1), by="Bo")
    after = words(client.get("/records?kind=weigh-ins").text)
    assert "Puts back what was taken back" in after and "Takes back the entry of" in after
    with yard.store.reading() as connection:
        assert 4.6 in [one.mass_kg for one in facts.standing(connection, r.WeighIn)]


def test_a_correction_says_in_place_of_what(yard):
    yard.now_ms += 60_000
    yard.act(entries.change_stack, "S1", name="north pile", note="")
    page = client_of(yard).get("/records?kind=descriptions&about=S1")
    shown = words(page.text)
    assert "In place of: S1" in shown and "Replaced by Ida" in shown and page.text.count("<s>") == 1


def bar(page):
    return re.search(r'<div class="said".*?</div>', page.text, re.S).group(0)


def test_one_tap_takes_back_and_only_where_no_name_is_known_it_is_asked_once(yard):
    client = client_of(yard)
    page = client.get("/records")
    assert 'name="by"' not in page.text and page.text.count('action="/undo"') == len(lines(page)) > 0
    made = weigh(yard, "A1", 4600, 1)
    asked = send(client, "/records", kind="weigh-in", id=made.fact_id, back="/records?kind=weigh-ins")
    assert asked.status_code == 422 and "Who takes this back?" in words(asked.text)
    assert 'name="back" value="/records?kind=weigh-ins"' in asked.text
    assert send(client, "/records", kind="weigh-in", id=made.fact_id, by=" Bo  K ").status_code == 303
    again = weigh(yard, "A1", 4590, 0.5)
    assert send(client, "/records", kind="weigh-in", id=again.fact_id).status_code == 303  # it is known now


def test_what_was_taken_back_can_be_put_back_from_the_bar_and_the_page_stays(yard):
    made = weigh(yard, "A1", 4600, 1)
    client, here = client_of(yard), "/records?kind=weigh-ins"
    sent = send(client, here, kind="weigh-in", id=made.fact_id, by="Bo", back=here)
    for words_of_it, button in (("is taken back.", "Put it back"), ("is put back.", "Take it back")):
        assert sent.headers["location"] == f"{here}#top"
        told = bar(client.get(here))
        assert words_of_it in told and f'<button class="plain">{button}</button>' in told
        held = dict(re.findall(r'name="(kind|id|back)" value="([^"]+)"', told))
        yard.now_ms += 60_000
        sent = send(client, here, **(held | {"back": html.unescape(held["back"])}))
    assert "is taken back." in bar(client.get(here))


def test_who_puts_something_back_is_asked_in_those_words(yard):
    made = weigh(yard, "A1", 4600, 1)
    undone = yard.act(entries.undo, "weigh-in", made.fact_id)
    asked = send(client_of(yard), "/records", kind="weigh-in", id=undone.fact_id)
    assert "Who puts this back?" in words(asked.text) and ">Put it back</button>" in asked.text


@pytest.mark.parametrize(("kind", "number"), [("chair", "1"), ("weigh-in", "9" * 40), ("weigh-in", "x"), ("pin", "7")])
def test_what_is_no_entry_is_said_before_a_name_is_asked(yard, kind, number):
    answer = send(client_of(yard), "/records", kind=kind, id=number)
    assert answer.status_code in (404, 409) and "That did not work" in words(answer.text)


def test_nothing_leads_away_from_here():
    assert back_to("/records?page=2") == "/records?page=2"
    for elsewhere in ("//elsewhere.example", "https://elsewhere.example", "/records.evil", "/recordsx", "/", ""):
        assert back_to(elsewhere) == ""


def test_the_journal_shows_only_changes_of_the_word(yard):
    with yard.store.writing() as connection:
        board = facts.subject(connection, r.SubjectKind.BOARD, "A1")
        for minute, (word, number) in enumerate([("WAIT", "9 days"), ("WAIT", "8 days"), ("READY", "8.1 %")]):
            verdicts.put(
                connection,
                board.id,
                at_ms=yard.now_ms + minute * 60_000,
                word=word,
                number=number,
                reason=f"Told {minute}.",
                next_step="",
                probability=None,
                known_entry=1,
                known_until_ms=None,
                body="{}",
            )
    client = client_of(yard)
    shown = words(client.get("/records?view=words").text)
    assert "Told 2." in shown and "Told 0." in shown and "Told 1." not in shown
    assert shown.index("Told 2.") < shown.index("Told 0.")
    assert "Told" not in words(client.get("/records?view=words&about=A2").text)
    link = re.search(r'href="(/board/A1/then\?at=[^"]+)"', client.get("/records?view=words").text)
    assert link is not None


def test_what_is_no_longer_in_use_stands_there_with_the_way_to_it(yard):
    yard.act(entries.add_outcome, "A1", kind="finished", degree="well", days_ago=0)
    yard.act(entries.add_set, "gone")
    with yard.store.reading() as connection:
        (described,) = facts.standing(connection, r.SetFact)
    client = client_of(yard)
    send(client, "/records", kind="set", id=described.id, by="Bo")
    page = client.get("/records")
    shown = words(page.text)
    assert "No longer in use: 1 finished, 1 taken back" in shown
    assert "board A1 Finished well on" in shown and "set gone Taken back by Bo" in shown


def test_every_export_that_is_offered_can_be_had(yard):
    client = client_of(yard)
    offered = re.findall(r'href="(/export/[^"]+\.csv)"', client.get("/records").text)
    assert len(offered) == len(UNDOABLE) + 2  # two probes
    assert all(client.get(path).status_code == 200 for path in offered)


def test_every_kind_of_entry_has_words_a_group_and_a_way_back():
    assert set(entry_words.WORDS) == set(facts.TABLES) == set(records.KIND_OF)
    assert {record for _title, some in records.GROUPS.values() for record in some} == set(facts.TABLES)


@pytest.mark.parametrize(
    "record", [records.RecordsPage, records.RecordLine, records.WordLine, records.Ended], ids=lambda one: one.__name__
)
def test_every_field_of_the_page_is_explained(record):
    assert all(len(one.metadata.get("help", "")) > 5 for one in fields(record))


def test_what_it_is_about_may_be_named_by_its_name_or_a_part_of_it(yard):
    wood = {"species": "Fraxinus americana", "thickness_mm": 27, "width_mm": 190, "length_mm": 1500}
    wood |= {"cut": "flat-sawn", "origin": "fresh-sawn", "stack": "S1"}
    yard.act(entries.add_board, "Q1", name="Long ash by the door", **wood)
    client = client_of(yard)
    by_code = lines(client.get("/records?about=Q1"))
    assert len(by_code) == 2  # what it is, and where it lies
    for named in ("Long%20ash%20by%20the%20door", "long+ash", "BY+the+door"):
        assert lines(client.get(f"/records?about={named}")) == by_code
    page = client.get("/records").text
    assert '<option value="Long ash by the door"></option>' in page and '<option value="Q1"></option>' in page


def test_exports_stand_at_the_top_folded_with_weigh_ins_first(yard):
    page = client_of(yard).get("/records").text
    assert page.index('id="exports"') < page.index('id="log"') and '<details class="told-short" id="exports">' in page
    offered = re.findall(r'href="(/export/[^"]+\.csv)"', page)
    assert offered[0] == "/export/weigh-ins.csv" and offered[1].startswith("/export/readings/")
    assert (
        offered.index("/export/pins.csv") < offered.index("/export/outcomes.csv") < offered.index("/export/boards.csv")
    )
