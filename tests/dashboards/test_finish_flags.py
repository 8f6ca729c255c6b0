"""What makes ill or sets fire is not taken from a finish unasked, and its page tells who took it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dashboards import display, entries, finish_now
from shared.errors import BadInput
from shared.units import MS_PER_DAY, MS_PER_HOUR
from tests.dashboards import finish_yards as yards
from tests.dashboards.commands import benchdry
from tests.dashboards.refusals import refused
from tests.dashboards.test_app import client_of, words

TAKEN_AWAY = [
    ("isocyanate", "isocyanate", {"isocyanate": "yes"}, {"isocyanate": "no"}),
    ("isocyanate", "isocyanate", {"isocyanate": "yes"}, {"isocyanate": "not read"}),
    ("formaldehyde", "formaldehyde", {"formaldehyde": "yes"}, {"formaldehyde": "no"}),
    ("drying oil", "a drying oil", {"self_heating": "yes"}, {"self_heating": "no"}),
    ("isocyanate", "isocyanate", {"name": "Invented polyisocyanate lacquer"}, {"name": "Invented lacquer"}),
    ("drying oil", "a drying oil", {"ingredients": "tung oil 50\nsolids 50"}, {"ingredients": "solids 100"}),
]


def shelf(yard, **sheet):
    """A finish that was entered a month ago, and the yard an hour later."""
    yards.shelved(yards.room(yard), "l", yards.LACQUER | sheet)
    return replace(yard, now_ms=yard.now_ms + MS_PER_HOUR)


def page(yard):
    return words(client_of(yard).get("/finish/product/l"))


@pytest.mark.parametrize(("field", "told", "before", "after"), TAKEN_AWAY)
def test_a_correction_that_takes_it_away_is_asked_back_and_told_of_for_a_month(yard, field, told, before, after):
    yard = shelf(yard, **before)
    sentence = refused(yard, BadInput, entries.change_finish, "l", **after)
    assert sentence.startswith(f"{field} is ") and f"as it told of {told} until now" in sentence
    assert "unless you have read section 3 and 15 of its data sheet" in sentence
    yard.act(entries.change_finish, "l", by="Bo", sure="yes", **after)
    line = f"It told of {told} until Bo changed that at {display.moment(yard.now_ms)}. Read section 3 and 15 of"
    assert line in page(yard)
    assert line in page(replace(yard, now_ms=yard.now_ms + 29 * MS_PER_DAY))
    assert line not in page(replace(yard, now_ms=yard.now_ms + 31 * MS_PER_DAY))


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ({}, {"name": "Another name"}),
        ({"isocyanate": "yes"}, {"name": "Another name"}),
        ({}, {"isocyanate": "yes"}),
        ({"isocyanate": "not read"}, {"isocyanate": "no"}),
        ({"name": "Two-part with isocyanate", "isocyanate": "yes"}, {"name": "Two-part"}),
    ],
)
def test_what_takes_nothing_away_is_not_asked_back(yard, before, after):
    yard = shelf(yard, **before)
    yard.act(entries.change_finish, "l", **after)
    assert "It told of" not in page(yard)


def test_a_yes_that_is_undone_is_told_of_too(yard):
    yard = shelf(yard)
    made = yard.act(entries.change_finish, "l", isocyanate="yes")
    later = replace(yard, now_ms=yard.now_ms + MS_PER_HOUR)
    later.act(entries.undo, "finish", made.fact_id, by="Bo")
    with later.store.reading() as connection:
        assert finish_now.finishes(connection)[0].fact.isocyanate is False
    assert "It told of isocyanate until Bo changed that" in page(later)


def test_the_form_and_the_command_ask_and_take_the_word(yard):
    yard = yards.commanded(shelf(yard, isocyanate="yes"))
    client = client_of(yard)
    text = client.get("/finish/product/l").text
    with yard.store.reading() as connection:
        held = finish_now.finishes(connection)[0].entered
    csrf = text.partition('name="csrf" value="')[2].partition('"')[0]
    sent = yards.LACQUER | {
        "isocyanate": "no",
        "supersedes": str(held.id),
        "by": "Ida",
        "csrf": csrf,
        "basis": "by mass",
    }
    wrong = client.post("/finish/l/change", data=sent)
    assert wrong.status_code == 422 and "it names none" in wrong.text and 'name="sure"' in wrong.text
    assert "unless you have read" in benchdry(
        yard, "finish", "change", "l", "--isocyanate", "no", "--by", "Ida", code=2
    )
    assert client.post("/finish/l/change", data=sent | {"sure": "yes"}).status_code == 303
