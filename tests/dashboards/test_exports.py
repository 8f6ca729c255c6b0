"""Everything comes out as CSV, and no cell is a formula to a spreadsheet."""

import csv

import pandas as pd

from dashboards import entries, exports


def test_everything_is_written_and_reads_back(yard):
    yard.act(entries.add_place, "odd", name="=1+1", kind="room")
    counts = {path.name: rows for path, rows in exports.write_all(yard.store, yard.folder / "out")}
    assert counts["weigh-in.csv"] == 3
    assert counts["board-fact.csv"] == 2
    table = pd.read_csv(yard.folder / "out" / "readings-north.csv")
    assert len(table) == counts["readings-north.csv"] == 2 * (40 * 24 + 1)
    assert set(table["quality"]) == {"good"}
    weighed = pd.read_csv(yard.folder / "out" / "weigh-in.csv", parse_dates=["true_at"])
    assert sorted(weighed["mass_kg"]) == [4.7, 5.6, 6.9]
    with (yard.folder / "out" / "place-fact.csv").open(encoding="utf-8") as file:
        names = [row["name"] for row in csv.DictReader(file)]
    assert "'=1+1" in names


def test_an_undone_entry_is_not_exported(yard):
    made = yard.act(entries.add_weigh_in, "A1", mass_g=4600)
    yard.act(entries.undo, made.kind, made.fact_id)
    counts = {path.name: rows for path, rows in exports.write_all(yard.store, yard.folder / "out")}
    assert counts["weigh-in.csv"] == 3


def test_readings_come_as_parquet_beside_their_csv_and_say_the_same(yard):
    yard.log("north", 0.5, 0.4, rh=140.0)  # repeats and conflicts, and a few out of range
    counts = {path.name: rows for path, rows in exports.write_all(yard.store, yard.folder / "out", parquet=True)}
    table = pd.read_parquet(yard.folder / "out" / "readings-north.parquet")
    same = pd.read_csv(yard.folder / "out" / "readings-north.csv", parse_dates=["time"])
    assert list(table.columns) == list(same.columns) == exports.READING_COLUMNS
    assert len(table) == counts["readings-north.parquet"] == counts["readings-north.csv"]
    assert str(table["time"].dtype) == "datetime64[ms, UTC]"
    assert (table["time"].astype("int64") == same["time"].dt.as_unit("ms").astype("int64")).all()
    for name in exports.READING_COLUMNS[1:]:
        assert (table[name].to_numpy() == same[name].to_numpy()).all(), name
    assert "readings-warm.parquet" in counts


def test_a_probe_that_has_said_nothing_gives_an_empty_parquet_with_its_columns(yard):
    yard.act(entries.add_probe, "mute", topic="workshop/shed/mute")
    list(exports.write_all(yard.store, yard.folder / "out", parquet=True))
    table = pd.read_parquet(yard.folder / "out" / "readings-mute.parquet")
    assert list(table.columns) == exports.READING_COLUMNS
    assert len(table) == 0


def test_many_readings_come_in_several_pieces_none_lost(yard, monkeypatch):
    monkeypatch.setattr(exports, "CHUNK", 100)
    counts = {path.name: rows for path, rows in exports.write_all(yard.store, yard.folder / "out", parquet=True)}
    table = pd.read_parquet(yard.folder / "out" / "readings-north.parquet")
    assert len(table) == counts["readings-north.csv"] == 2 * (40 * 24 + 1)
    assert not table.duplicated(["time", "quantity"]).any()


def test_a_corrected_humidity_stands_beside_the_raw_one_in_parquet(yard):
    one_salt = {"low_salt": "", "low_read_rh_pct": None, "high_salt": "NaCl", "high_read_rh_pct": 80.0}
    yard.act(entries.check_hygrometer, "north", temperature_c=20, days_ago=60, **one_salt)
    list(exports.write_all(yard.store, yard.folder / "out", parquet=True))
    table = pd.read_parquet(yard.folder / "out" / "readings-north.parquet")
    humid = table[table["quantity"] == "rh_pct"]
    # Saturated sodium chloride at 20 °C: 75.47 ± 0.14 %RH (Greenspan, J. Res. NBS 81A, 1977, Table 2).
    assert ((humid["value"] - humid["as_checked"]) - (80.0 - 75.47)).abs().max() <= 0.14
    warm = table[table["quantity"] == "temperature_c"]
    assert (warm["value"] == warm["as_checked"]).all()
