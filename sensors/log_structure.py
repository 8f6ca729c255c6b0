"""Where a log file's heading is and what it says: which column is the time, which holds what.

A preamble of any kind may stand above the heading, a row of units below it. Of all the ways to see a
file (separators, sheets) the one is taken whose heading has readings below it.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import timezone
from pathlib import Path

from sensors import log_cells, log_headings, log_times
from sensors.log_cells import Cell, Row, Source
from sensors.log_headings import Measured, Part, Unit
from sensors.log_numbers import NoNumber, number, shown
from sensors.log_times import DateOrder, NoTime
from shared.errors import BadInput
from shared.store.records import Quantity

HEADING_WITHIN = 200  # rows, however long a preamble
TRIED_ROWS = 50  # behind a row that may be the heading
TEMPERATURE_UNITS = "CFK"
Rank = tuple[bool, int, int]  # readings at once below a heading, readings further down, columns
HEADING_ACCEPTED = (
    "a heading that names the time (such as Date, Time, Timestamp) and what is measured, with its unit "
    "(such as Temperature (°C), Humidity (%))"
)


@dataclass(frozen=True)
class Column:
    """A column that is taken."""

    index: int
    heading: str
    quantity: Quantity
    unit: Unit
    unit_said: bool


@dataclass(frozen=True)
class Heading:
    """Where a file's heading is and what it says."""

    source: Source
    row: Row
    data_after: int  # the number of the last row above the readings
    moment: int | None  # the column with date and time, or else those of the day and of the clock
    day: int | None
    clock: int | None
    columns: tuple[Column, ...]
    not_taken: tuple[tuple[str, str], ...]  # heading and why
    zone: timezone | None
    order: DateOrder | None

    def time_cell(self, row: Row) -> Cell:
        """Return the cell of a row that says when, or what its day and its clock say together."""
        cells = row.cells
        if self.moment is not None:
            return cells[self.moment] if self.moment < len(cells) else None
        day, clock = self.day, self.clock
        whole = day is not None and clock is not None and max(day, clock) < len(cells)
        return log_times.joined(cells[day], cells[clock]) if whole else None  # type: ignore[index]

    @property
    def time_name(self) -> str:
        """How the file calls the time."""
        used = [self.moment] if self.moment is not None else [self.day, self.clock]
        return " and ".join(shown(self.row.cells[one]) for one in used if one is not None)

    def data(self) -> Iterator[Row]:
        """Give the rows below the heading; empty rows and a heading that comes again are left out."""
        for row in self.source.rows():
            if row.number > self.data_after and not _is_empty(row) and row.cells != self.row.cells:
                yield row


def find_heading(path: Path, temperature_unit: str = "", sheet: str = "") -> Heading:
    """Return the heading of the file at ``path``, in whichever way of seeing the file fits best.

    ``temperature_unit``: C, F or K, where the file names none; ``sheet``: which one of a workbook, in
    place of the one that fits best. Raises BadInput or Refused, one sentence.
    """
    if temperature_unit and temperature_unit.upper() not in TEMPERATURE_UNITS:
        raise BadInput("temperature unit", shown(temperature_unit), "C, F or K")
    found: list[tuple[Rank, Heading]] = []
    for source in _wanted(log_cells.sources(path), sheet):
        sample = [row for row in itertools.islice(source.rows(), HEADING_WITHIN + TRIED_ROWS) if not _is_empty(row)]
        one = _heading_in(source, sample, temperature_unit)
        found += [one] if one else []
    if not found:
        raise BadInput(f"heading of {shown(path.name)}", "not found", HEADING_ACCEPTED)
    best = max(found, key=lambda one: one[0])[1]
    others = [one.source.sheet for rank, one in found if rank[0] and one is not best and one.source.sheet]
    also = tuple((f"sheet {shown(name)}", "it has readings too; --sheet imports it") for name in others)
    return replace(best, not_taken=best.not_taken + also)


def _wanted(sources: list[Source], sheet: str) -> list[Source]:
    wanted = [one for one in sources if not sheet or one.sheet == sheet]
    if not wanted:
        names = ", ".join(shown(one.sheet) for one in sources if one.sheet)
        raise BadInput("sheet", shown(sheet), names or "none: the file is no workbook")
    return wanted


def _heading_in(source: Source, rows: list[Row], unit: str) -> tuple[Rank, Heading] | None:
    """Return the heading among these rows with its rank; None where there is none."""
    found: list[tuple[Rank, Heading]] = []
    for index, row in enumerate(rows):
        heading = None if row.fault else _as_heading(source, rows[:index], rows[index : index + 2], unit)
        if heading is None:
            continue
        below = [one for one in rows[index + 1 :] if one.number > heading.data_after][:TRIED_ROWS]
        good = [_is_data(heading, one) for one in below]
        rank = (good[:1] == [True], sum(good), len(heading.columns))
        if rank[0]:  # the first is it: one further down comes again after a restart of the logger
            return rank, heading
        found.append((rank, heading))
    return max(found, key=lambda one: one[0], default=None)


def _as_heading(source: Source, above: list[Row], rows: list[Row], temperature_unit: str) -> Heading | None:
    """Return what a row says if it is a heading, together with a row of units below it; None if it is none."""
    row = rows[0]
    names = [cell if isinstance(cell, str) else "" for cell in row.cells]
    parts = [log_headings.time_part(name) for name in names]
    moment, day, clock = (parts.index(one) if one in parts else None for one in Part)
    if moment is None and (day is None or clock is None):
        moment, day, clock = (clock if day is None else day), None, None
    if moment is None and day is None:
        return None
    units = _units(rows[1:], names)
    told = [f"{name} ({unit})" if unit else name for name, unit in zip(names, units, strict=True)]
    columns, not_taken = _columns(told, parts, temperature_unit)
    if not columns:
        return None
    of_time = [names[one] for one in (moment, day, clock) if one is not None]
    preamble = [" ".join(cell for cell in one.cells if isinstance(cell, str)) for one in above]
    zones = [*of_time, *(text for text in preamble if "zone" in text.lower())]
    return Heading(
        source=source,
        row=row,
        data_after=rows[1].number if any(units) else row.number,
        moment=moment,
        day=None if moment is not None else day,
        clock=None if moment is not None else clock,
        columns=columns,
        not_taken=not_taken,
        zone=next((found for text in zones if (found := log_headings.zone_said(text))), None),
        order=next((said for text in of_time if (said := log_headings.order_said(text))), None),
    )


def _units(below: list[Row], names: list[str]) -> list[str]:
    """Return the unit that the row below a heading gives each column, where that row is one of units."""
    cells = [cell if isinstance(cell, str) else "" for cell in below[0].cells] if below else []
    cells = (cells + [""] * len(names))[: len(names)]
    numbers = any(not isinstance(cell, str | None) for cell in below[0].cells) if below else True
    figures = any(any(letter.isdigit() for letter in cell) and not log_headings.unit_of(cell) for cell in cells)
    units = [cell if log_headings.unit_of(cell) else "" for cell in cells]
    return [""] * len(names) if numbers or figures else units


def _columns(
    names: list[str], parts: Sequence[Part | None], temperature_unit: str
) -> tuple[tuple[Column, ...], tuple[tuple[str, str], ...]]:
    taken: dict[Quantity, Column] = {}
    not_taken = []
    for index, (name, part) in enumerate(zip(names, parts, strict=True)):
        found = log_headings.measured(name, temperature_unit) if name.strip() and part is None else None
        if isinstance(found, Measured) and found.quantity not in taken:
            taken[found.quantity] = Column(index, shown(name), found.quantity, found.unit, found.unit_said)
        elif isinstance(found, Measured):
            not_taken.append((shown(name), f"a second column of {found.quantity}"))
        elif name.strip() and part is None:
            not_taken.append((shown(name), found or "nothing that is kept here"))
    return tuple(taken.values()), tuple(not_taken)


def _is_empty(row: Row) -> bool:
    return not row.fault and all(cell is None or (isinstance(cell, str) and not cell.strip()) for cell in row.cells)


def _is_data(heading: Heading, row: Row) -> bool:
    """Tell whether a row could be read, whichever order and decimal sign turn out to be the file's."""
    wide = len(row.cells) > len(heading.row.cells) and not heading.source.ragged
    if row.fault or (wide and any(str(cell).strip() for cell in row.cells[len(heading.row.cells) :])):
        return False
    cells = [row.cells[one.index] for one in heading.columns if one.index < len(row.cells)]
    when = any(_reads_time(heading.time_cell(row), order) for order in DateOrder)
    return when and any(_reads_number(cell, sign) for cell in cells for sign in ".,")


def _reads_time(cell: Cell, order: DateOrder | None) -> bool:
    try:
        log_times.moment(cell, order)
    except NoTime:
        return False
    return True


def _reads_number(cell: Cell, sign: str) -> bool:
    try:
        return number(cell, sign) is not None
    except NoNumber:
        return False
