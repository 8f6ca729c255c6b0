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
