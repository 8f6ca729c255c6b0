"""Commands in the units of the yard's settings; their options, refusals and JSON in °C and mm always."""

import json
import re

import pytest

from dashboards.terminal.output import console
from shared.settings import Settings
from tests.dashboards.commands import benchdry

US = 'temperature_unit = "F"\nlength_unit = "in"\nstore = "yard.sqlite3"\n'


@pytest.fixture
def abroad(yard):
    (yard.folder / "benchdry.toml").write_text(US, encoding="utf-8")
    yield yard
    console.use(Settings())


def test_status_tells_the_air_in_fahrenheit_and_its_json_in_celsius(abroad):
    said = benchdry(abroad, "status")
    assert re.search(r"place\s+°F\s+%RH", said)
    shed = next(line for line in said.splitlines() if line.startswith("shed"))
    north = json.loads(benchdry(abroad, "status", "--json"))["probes"]
    assert 30.0 < float(shed.split()[1]) < 80.0 and north  # an autumn shed in °F; in °C it would be below 20
    assert "°C" not in said and not re.search(r"\d mm\b", said)


def test_an_answer_is_told_in_inches_and_its_source_as_it_says_it(abroad):
    asked = ("--species", "Quercus rubra", "--finished-mm", "19.05", "--cut", "flat-sawn")
    said = benchdry(abroad, "work-out", "saw-plan", *asked)
    assert re.match(r"saw at 1\.\d+ in", said)
    figures = said.partition("Formula:")[0]
    assert not re.search(r"\d mm\b", figures)


def test_an_entry_is_told_in_inches_and_a_refusal_in_the_unit_of_its_option(abroad):
    board = ("board", "add", "Q1", "--species", "Fraxinus americana", "--place", "shed", "--width", "152.4")
    rest = ("--length", "914.4", "--cut", "flat-sawn", "--origin", "fresh-sawn", "--by", "Ida")
    refused = benchdry(abroad, *board, "--thickness", "0.1", *rest, code=2)
    assert re.search(r"thickness is 0\.1; accepted: [\d.]+ to [\d.]+ mm", refused)
    assert "°C" not in benchdry(abroad, *board, "--thickness", "25.4", *rest)
    assert "1 × 6 × 36 in" in benchdry(abroad, "board", "show", "Q1")
