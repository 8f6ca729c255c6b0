"""Everything as CSV: readings of a probe, and entries of each kind; the readings as Parquet too, if wanted.

Times are UTC, ISO 8601 in CSV and a timestamp in Parquet; column names carry the unit. A cell of a CSV that a
spreadsheet would take for a formula is written with a leading apostrophe. A year of months is twelve numbers in
brackets, January first.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np

from dashboards import calibrations
from shared.errors import Refused
from shared.store import Connection, Store, facts, readings
from shared.store import records as r
from shared.units import datetime_from_ms

CHUNK = 20_000
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠", "'")
BOARDS = ("board_id", "from_board_id", "a_board_id", "b_board_id")
SUBJECTS = ("place_id", "stack_id", "set_id", "meter_id", "probe_id", "finish_id", *BOARDS)
READING_COLUMNS = ["time", "quantity", "value", "quality", "as_checked"]


def cell(value: Any) -> Any:
    """Return a value as it may stand in a CSV that a spreadsheet opens: no text in it is worked out there.

    A text that begins with an apostrophe gets one too, so that reading back is without doubt (``from_cell``).
    """
    if isinstance(value, str) and value.startswith(FORMULA_STARTS):
        return f"'{value}"
    return value


def from_cell(text: str) -> str:
    """Return what ``cell`` was given, from a cell of our own CSV."""
    return text[1:] if text.startswith("'") else text


def iso(at_ms: int | None) -> str:
    """Return a moment as ISO 8601 in UTC; empty for none."""
    return "" if at_ms is None else datetime_from_ms(at_ms).isoformat().replace("+00:00", "Z")


def reading_rows(connection: Connection, probe_id: int) -> Iterator[list[Any]]:
    """Give a probe's readings, one row each under READING_COLUMNS, series by series in order of time.

    ``value`` is what the probe said; ``as_checked`` what the check in force then makes of a humidity.
    """
    for quantity, found, checked in _reading_chunks(connection, probe_id):
        for one, told in zip(found, checked, strict=True):
            yield [iso(one.at_ms), str(quantity), one.value, r.QUALITY_WORDS[one.quality], told]


def _reading_chunks(connection: Connection, probe_id: int) -> Iterator[tuple[r.Quantity, list[r.Reading], list[float]]]:
    """Give a probe's readings by the thousand: the quantity, the readings, and each as its check makes it."""
    checks = calibrations.checks_of(connection, probe_id)
    for series in readings.all_series(connection):
        if series.probe_id != probe_id:
            continue
        start_ms = 0
        while found := readings.raw(connection, series.id, start_ms, 2**62, CHUNK):
            raw = np.array([one.value for one in found])
            humid = series.quantity is r.Quantity.RH_PCT
            checked = checks.corrected_pct(np.array([one.at_ms for one in found]), raw) if humid else raw
            told = zip(found, checked.tolist(), strict=True)
            yield series.quantity, found, [one.value if new == one.value else round(new, 3) for one, new in told]
            start_ms = found[-1].at_ms + 1


def entry_columns(record: type[r.Fact]) -> list[str]:
    """Return the columns of one kind of entry: what it is about, when, by whom, then its values."""
    own = [field.name for field in fields(record) if field.name not in r.Fact.__dataclass_fields__]
    return ["code", "true_at", "entered_at", "entered_by", *own]


def entry_rows(connection: Connection, record: type[r.Fact]) -> Iterator[list[Any]]:
    """Give the standing entries of one kind, one row each under ``entry_columns``."""
    codes = {one.id: one.code for kind in r.SubjectKind for one in facts.subjects(connection, kind)}
    for entry in facts.standing(connection, record):
        own = [_value(name, getattr(entry, name), codes) for name in entry_columns(record)[4:]]
        yield [codes[entry.subject_id], iso(entry.true_at_ms), iso(entry.entered_at_ms), entry.entered_by, *own]


def _value(name: str, value: Any, codes: dict[int, str]) -> Any:
    if name in SUBJECTS:
        return "" if value is None else codes[value]
    if name.endswith("_ms"):
        return iso(value)
    if isinstance(value, tuple):
        return json.dumps(value)
    return str(value) if isinstance(value, str) else value


def write_all(store: Store, folder: Path, *, parquet: bool = False) -> Iterator[tuple[Path, int]]:
    """Write every file into ``folder``; give each file's path and number of rows as it is done.

    ``parquet``: write the readings as Parquet beside their CSV.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with store.reading() as connection:
            for record, table in facts.TABLES.items():
                path = folder / f"{table.name.replace('_', '-')}.csv"
                yield path, _write(path, entry_columns(record), entry_rows(connection, record))
            for one in facts.subjects(connection, r.SubjectKind.PROBE):
                path = folder / f"readings-{one.code}.csv"
                yield path, _write(path, READING_COLUMNS, reading_rows(connection, one.id))
                if parquet:
                    path = folder / f"readings-{one.code}.parquet"
                    yield path, _write_parquet(path, _reading_chunks(connection, one.id))
    except OSError as error:
        raise Refused(f"Nothing can be written into {folder}: {error.strerror or error}.") from error


def _write_parquet(path: Path, chunks: Iterator[tuple[r.Quantity, list[r.Reading], list[float]]]) -> int:
    """Write readings under READING_COLUMNS, a row group each chunk; ``time`` is a timestamp in UTC, to the ms."""
    import pyarrow as pa  # late: only this needs it
    from pyarrow import parquet

    kinds = (pa.timestamp("ms", tz="UTC"), pa.string(), pa.float64(), pa.string(), pa.float64())
    schema = pa.schema(list(zip(READING_COLUMNS, kinds, strict=True)))
    count = 0
    with parquet.ParquetWriter(path, schema) as writer:
        for quantity, found, checked in chunks:
            columns: list[list[Any]] = [
                [one.at_ms for one in found],
                [str(quantity)] * len(found),
                [one.value for one in found],
                [r.QUALITY_WORDS[one.quality] for one in found],
                checked,
            ]
            arrays = [pa.array(values, kind) for values, kind in zip(columns, kinds, strict=True)]
            writer.write_table(pa.Table.from_arrays(arrays, schema=schema))
            count += len(found)
    return count


def _write(path: Path, columns: list[str], rows: Iterator[list[Any]]) -> int:
    count = 0
    with path.open("w", newline="", encoding="utf-8") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(columns)
        for row in rows:
            writer.writerow([cell(value) for value in row])
            count += 1
    return count
