"""The same records for other programs: as JSON, and as CSV for a spreadsheet."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import fields, is_dataclass
from enum import Enum
from typing import Any

import numpy as np

from dashboards import exports, shown_units
from dashboards.shown_units import METRIC
from dashboards.undoing import UNDOABLE, many
from shared.errors import BadInput
from shared.store import Store
from shared.store.records import Fact, Subject

# A projection is many arrays: it is given with its board, not for the whole yard at once; the store is no data.
HEAVY = ("projection", "store")


def as_json(value: Any, without: Sequence[str] = ()) -> Any:
    """Return a record as JSON knows it; a number that is none becomes null."""
    if is_dataclass(value) and not isinstance(value, type):
        names = [one.name for one in fields(value) if one.name not in without]
        return {name: as_json(getattr(value, name), without) for name in names}
    if isinstance(value, dict):
        return {str(key): as_json(one, without) for key, one in value.items()}
    if isinstance(value, np.ndarray):
        return [as_json(one) for one in value.tolist()]
    if isinstance(value, list | tuple):
        return [as_json(one, without) for one in value]
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, str):
        return shown_units.text(value, METRIC)
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, np.generic):
        return as_json(value.item())
    return value


def csv_lines(rows: Iterable[Sequence[object]]) -> Iterator[str]:
    """Yield CSV text, some rows at a time."""
    out = io.StringIO()
    writer = csv.writer(out)
    for number, row in enumerate(rows, start=1):
        writer.writerow([exports.cell(value) for value in row])
        if number % 500 == 0:
            yield out.getvalue()
            out.seek(0)
            out.truncate()
    yield out.getvalue()


def reading_rows(store: Store, probe: Subject) -> Iterator[Sequence[object]]:
    """Yield every stored reading of a probe, flagged ones too, a header first."""
    yield exports.READING_COLUMNS
    with store.reading() as connection:
        yield from exports.reading_rows(connection, probe.id)


def entry_rows(store: Store, kinds: str) -> Iterator[Sequence[object]]:
    """Return every standing entry of one kind, named as undo names it, in the plural, a header first.

    Raises BadInput for a kind that there is not.
    """
    known = {many(kind): record for kind, record in UNDOABLE.items()}
    if kinds not in known:
        raise BadInput("entries", kinds, f"one of {', '.join(known)}")
    return _entry_rows(store, known[kinds])


def _entry_rows(store: Store, record: type[Fact]) -> Iterator[Sequence[object]]:
    yield exports.entry_columns(record)
    with store.reading() as connection:
        yield from exports.entry_rows(connection, record)
