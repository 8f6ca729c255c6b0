"""A place's usual months: typed or from a file, all twelve or none. Their figures are invented."""

import csv
import json

import pytest

from dashboards import climate_entries, entries, exports
from dashboards.climate_entries import MONTHS, read_file
from dashboards.yard_entries import read_entries
from shared.errors import BadInput, Refused
from shared.store import facts
from shared.store import records as r

TEMPERATURE_C = (-1.5, 0.5, 4, 8.5, 13, 16, 18, 17.5, 14, 9.5, 4, 0)
RH_PCT = (86, 82, 77, 71, 70, 71, 71, 73, 78, 83, 87, 88)
SOURCE = "Invented weather service, means of thirty years"


def typed(**other):
    return {month: (str(TEMPERATURE_C[month - 1]), str(RH_PCT[month - 1])) for month in range(1, 13)} | other


def say(yard, months=None, **values):
    given = {"months": typed() if months is None else months, "source": SOURCE} | values
    return yard.act(entries.say_climate, "shed", **given)


def held(yard, place="shed"):
    with yard.store.reading() as connection:
        return climate_entries.held(connection, facts.subject(connection, r.SubjectKind.PLACE, place).id)


def written(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "months.csv"
    path.write_bytes(text.encode(encoding))
    return path


def lines(names=range(1, 13), sign=".", delimiter=","):
    rows = [
        f"{name}{delimiter}{t}{delimiter}{rh}".replace(".", sign)
        for name, t, rh in zip(names, TEMPERATURE_C, RH_PCT, strict=True)
    ]
    return "\n".join([delimiter.join(climate_entries.COLUMNS), *rows]) + "\n"


def test_twelve_months_are_kept_in_their_order_with_their_source(yard):
    made = say(yard)
    assert made.sentence == "The usual months of place shed are entered."
    found = held(yard)
    assert (found.temperature_c, found.rh_pct, found.source) == (TEMPERATURE_C, RH_PCT, SOURCE)
    assert held(yard, "room") is None
    with yard.store.reading() as connection:
        entered = read_entries(connection, yard.now_ms)
    assert entered.climates == {found.subject_id: found}


def test_months_entered_again_stand_instead_and_their_undo_brings_the_first_back(yard):
    say(yard)
    second = say(yard, typed() | {7: ("19", "68")})
    assert held(yard).temperature_c[6] == 19.0
    yard.act(entries.undo, "climate", second.fact_id)
    assert held(yard).temperature_c == TEMPERATURE_C
    with yard.store.reading() as connection:
        assert len(facts.standing(connection, r.PlaceClimate)) == 1


def test_months_that_were_taken_back_are_put_back_only_where_no_others_stand(yard):
    made = say(yard)
    undone = yard.act(entries.undo, "climate", made.fact_id)
    assert undone.sentence == "The table of months of place shed is taken back." and held(yard) is None
    other = say(yard)
    with pytest.raises(Refused, match="Other months of place shed are entered by now: take those back first"):
        yard.act(entries.undo, "climate", undone.fact_id)
    yard.act(entries.undo, "climate", other.fact_id)
    yard.act(entries.undo, "climate", undone.fact_id)
    assert held(yard).temperature_c == TEMPERATURE_C


@pytest.mark.parametrize(
    ("month", "cells", "begins"),
    [
        (3, ("warm", "70"), "temperature of March is warm; accepted: a number, -45 to 125 °C."),
        (3, ("", "70"), "temperature of March is empty; accepted: -45 to 125 °C."),
        (3, (None, "70"), "temperature of March is empty"),
        (8, ("17", "0.7"), "humidity of August is 0.7; accepted: 1 to 100 %RH."),
        (8, ("17", "101"), "humidity of August is 101; accepted: 1 to 100 %RH."),
        (12, ("-46", "70"), "temperature of December is -46; accepted: -45 to 125 °C."),
        (12, ("nan", "70"), "temperature of December is nan"),
        (1, ("1,234", "70"), "temperature of January is 1,234; accepted: a number without a comma"),
    ],
)
def test_a_bad_cell_is_named_by_month_and_column_and_nothing_is_entered(yard, month, cells, begins):
    with pytest.raises(BadInput) as caught:
        say(yard, typed() | {month: cells})
    assert str(caught.value).startswith(begins)
    assert held(yard) is None


def test_a_month_or_a_source_that_is_missing_is_asked_for(yard):
    months = {month: cells for month, cells in typed().items() if month not in (3, 11)}
    with pytest.raises(BadInput) as caught:
        say(yard, months)
    assert str(caught.value) == (
        "months is without March, November; accepted: all twelve, each with temperature and humidity."
    )
    with pytest.raises(BadInput, match="source is empty"):
        say(yard, source=" ")
    with pytest.raises(BadInput, match="place is barn; accepted: shed, room"):
        yard.act(entries.say_climate, "barn", months=typed(), source=SOURCE)


# --- the file --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "names", [range(1, 13), MONTHS, [name[:3].upper() for name in MONTHS], [f" {name} " for name in MONTHS]]
)
def test_a_file_names_its_months_by_number_or_by_name(yard, tmp_path, names):
    say(yard, read_file(written(tmp_path, lines(names))))
    assert (held(yard).temperature_c, held(yard).rh_pct) == (TEMPERATURE_C, RH_PCT)


@pytest.mark.parametrize(
    "text",
    [
        lines(sign=",", delimiter=";"),
        lines().replace("\n", "\r\n"),
        "\ufeff" + lines(),
        "\n".join([lines().splitlines()[0], *reversed(lines().splitlines()[1:])]),
        lines().replace("temperature_c", " Temperature_C "),
        lines().replace(",rh_pct", ",rh_pct,rain_mm"),
    ],
)
def test_a_file_may_come_from_any_spreadsheet(yard, tmp_path, text):
    say(yard, read_file(written(tmp_path, text)))
    assert (held(yard).temperature_c, held(yard).rh_pct) == (TEMPERATURE_C, RH_PCT)


@pytest.mark.parametrize(
    ("text", "begins"),
    [
        ("", "first line of the file is empty; accepted: month,temperature_c,rh_pct."),
        ("month,t,rh\n1,2,3\n", "first line of the file is month,t,rh; accepted: month,temperature_c,rh_pct."),
        (lines().replace("\n4,", "\n13,"), "month in line 5 is 13; accepted: 1 to 12, or a name such as March."),
        (lines().replace("\n4,", "\n,"), "month in line 5 is empty"),
        (lines().replace("\n4,", "\n3,"), "month is March again in line 5; accepted: each month once."),
        (lines() + "x" * 30_000, "file is "),
    ],
)
def test_a_file_that_is_none_of_months_is_refused_in_a_sentence(tmp_path, text, begins):
    with pytest.raises(BadInput) as caught:
        read_file(written(tmp_path, text))
    assert str(caught.value).startswith(begins) and "\n" not in str(caught.value)


def test_a_short_line_is_a_bad_cell_of_its_month(yard, tmp_path):
    months = read_file(written(tmp_path, lines().replace("\n4,8.5,71\n", "\n4,8.5\n")))
    with pytest.raises(BadInput, match="humidity of April is empty; accepted: 1 to 100 %RH"):
        say(yard, months)


def test_a_file_that_is_not_there_or_no_text_is_refused(tmp_path):
    with pytest.raises(Refused, match=r"none\.csv cannot be read: No such file"):
        read_file(tmp_path / "none.csv")
    with pytest.raises(BadInput, match="accepted: a text file in UTF-8"):
        read_file(written(tmp_path, lines([*MONTHS[:2], "März", *MONTHS[3:]]), "latin-1"))


def test_the_export_has_the_twelve_of_each_in_one_cell(yard, tmp_path):
    say(yard)
    dict(exports.write_all(yard.store, tmp_path / "out"))
    with (tmp_path / "out" / "place-climate.csv").open(encoding="utf-8", newline="") as file:
        (row,) = csv.DictReader(file)
    assert json.loads(row["temperature_c"]) == list(TEMPERATURE_C)
    assert json.loads(row["rh_pct"]) == list(RH_PCT)
    assert (row["code"], row["source"]) == ("shed", SOURCE)
