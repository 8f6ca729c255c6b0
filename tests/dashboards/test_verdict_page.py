"""The page on verdicts: its example keeps to the schema, and it names every field, word and setting there is."""

import json
import re
from pathlib import Path

import pytest

from kiln.records import Word
from sensors.outbox import RETRY_S, UNDER_WAY
from shared.settings import Settings
from shared.verdict_topics import root, status_of, topic_of

DOCS = Path(__file__).resolve().parents[2] / "docs"


@pytest.fixture(scope="module")
def page():
    return (DOCS / "verdict_messages.md").read_text(encoding="utf-8")


def test_its_example_keeps_to_the_schema(page, valid_message):
    (example,) = re.findall(r"```json\n(.*?)```", page, re.DOTALL)
    assert valid_message(example)["word"] == "WAIT"


def test_it_tells_of_every_field_and_word_of_the_schema(page):
    schema = json.loads((DOCS / "verdict_message.schema.json").read_text(encoding="utf-8"))
    table = page[page.index("| field |") :]
    assert all(f"`{name}`" in table for name in schema["properties"])
    assert all(f"`{word}`" in table for word in schema["properties"]["word"]["enum"])
    assert set(schema["properties"]["word"]["enum"]) == {str(word) for word in Word}


def test_its_topics_and_figures_are_those_of_the_program(page):
    base = root(Settings())
    for topic in (topic_of(base, "board", "A-12"), topic_of(base, "set", "T-3"), status_of(base)):
        assert f"`{topic}`" in page
    assert topic_of("…", "board", "1/2 b") in page
    assert f"({Settings().verdict_every_minutes} at first)" in page
    assert RETRY_S == (10.0, 60.0, 300.0) and UNDER_WAY == 20
