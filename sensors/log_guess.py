"""What only a whole log file can tell: the order of day and month, the decimal sign, which way its rows run.

Three steps, so that a person can be asked in between: ``log_structure.find_heading`` looks at the first
rows, ``gather`` goes through the whole file and notes what speaks for which order and sign, and
``layout`` puts together what was told and what was chosen. What cannot be told stays open (``Told.value``
None) and is never guessed.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import median

from sensors import log_times
from sensors.log_cells import Cell
from sensors.log_numbers import decimal_sign, shown
from sensors.log_structure import Heading
from sensors.log_times import DateOrder, NoTime
from shared.errors import BadInput

SAMPLED_TIMES = 2000
TELL_EVERY = 1000  # rows between two words of progress


@dataclass(frozen=True)
class Told:
    """Something told from the file or chosen; ``value`` None: it cannot be told. ``why`` says it in words."""

    value: str | None
    why: str


@dataclass
class Evidence:
    """What a whole file shows; a number is that of the first row that shows it, 0 where none does."""

    rows: int = 0
    day_first: int = 0
    month_first: int = 0
    either_order: int = 0  # 03/04: both readings are dates, and they differ
    small_numbers: int = 0  # any date whose order matters for reading it
    comma: int = 0
    point: int = 0
    either_sign: int = 0
    local: int = 0
    times: tuple[Cell, ...] = ()


@dataclass(frozen=True)
class Layout:
    """Everything that reading the file rests on."""

    heading: Heading
    rows: int
    order: DateOrder | None
    decimal: str
    local_times: bool
    newest_first: bool
    usual_step_ms: int


def gather(heading: Heading, progress: Callable[[int], None] | None = None) -> Evidence:
    """Go through the whole file and return what it shows; ``progress`` is told how many rows were seen."""
    seen = Evidence()
    times: list[Cell] = []
    for row in heading.data():
        seen.rows += 1
        if progress and seen.rows % TELL_EVERY == 0:
            progress(seen.rows)
        cell = heading.time_cell(row)
        _note_order(seen, row.number, cell)
        for column in heading.columns:
            if column.index < len(row.cells):
                _note_sign(seen, row.number, decimal_sign(row.cells[column.index], column.quantity))
        if len(times) < SAMPLED_TIMES:
            times.append(cell)
        if not seen.local and any(_is_local(cell, order) for order in DateOrder):
            seen.local = row.number
    seen.times = tuple(times)
    return seen


def _note_order(seen: Evidence, row_number: int, cell: Cell) -> None:
    numbers = log_times.small_numbers(cell)
    if numbers is None:
        return
    a, b = numbers
    seen.small_numbers = seen.small_numbers or row_number
    if a > 12 >= b:
        seen.day_first = seen.day_first or row_number
    elif b > 12 >= a:
        seen.month_first = seen.month_first or row_number
    elif a != b and max(a, b) <= 12:
        seen.either_order = seen.either_order or row_number


def _note_sign(seen: Evidence, row_number: int, sign: str) -> None:
    if sign == ",":
        seen.comma = seen.comma or row_number
    elif sign == ".":
        seen.point = seen.point or row_number
    elif sign:
        seen.either_sign = seen.either_sign or row_number


def _is_local(cell: Cell, order: DateOrder) -> bool:
    try:
        return isinstance(log_times.moment(cell, order), datetime)
    except NoTime:
        return False


def order_of(heading: Heading, seen: Evidence, day_first: bool | None = None) -> Told:
    """Return the order of day and month: chosen, told by a day after the 12th, or said in the heading."""
    if day_first is not None:
        return Told(DateOrder.DAY_FIRST if day_first else DateOrder.MONTH_FIRST, "chosen")
    if not seen.small_numbers:
        return Told("", "every date says its year first or names its month")
    if seen.day_first and seen.month_first:
        why = f"row {seen.day_first} can only be day first, row {seen.month_first} only month first"
        return Told(None, why)
    if seen.day_first or seen.month_first:
        order = DateOrder.DAY_FIRST if seen.day_first else DateOrder.MONTH_FIRST
        return Told(order, f"row {seen.day_first or seen.month_first} can be nothing else")
    if heading.order is not None:
        return Told(heading.order, "said in the heading")
    if seen.either_order:
        return Told(None, f"no day after the 12th tells the order; row {seen.either_order} can be read both ways")
    return Told(DateOrder.DAY_FIRST, "day and month are the same number in every date")


def sign_of(seen: Evidence, chosen: str = "") -> Told:
    """Return the decimal sign: chosen, or told by the numbers. Raises BadInput for a choice that is none."""
    if chosen:
        if chosen not in (".", ","):
            raise BadInput("decimal sign", shown(chosen), "a point or a comma")
        return Told(chosen, "chosen")
    if seen.comma and seen.point:
        return Told(None, f"row {seen.comma} has a decimal comma, row {seen.point} a decimal point")
    if seen.comma or seen.point:
        return Told("," if seen.comma else ".", f"as in row {seen.comma or seen.point}")
    if seen.either_sign:
        return Told(None, f"row {seen.either_sign} has a figure that can mean thousands or thousandths")
    return Told(".", "no number has decimals, or the file keeps numbers as numbers")


def layout(heading: Heading, seen: Evidence, order: str, sign: str) -> Layout:
    """Return what reading the file rests on, once order (may be empty) and decimal sign are known."""
    chosen = DateOrder(order) if order else None
    steps = _steps_ms(seen.times, chosen)
    return Layout(
        heading=heading,
        rows=seen.rows,
        order=chosen,
        decimal=sign,
        local_times=bool(seen.local),
        newest_first=sum(step < 0 for step in steps) > sum(step > 0 for step in steps),
        usual_step_ms=round(median(map(abs, steps))) if steps else 0,
    )


def _steps_ms(times: Sequence[Cell], order: DateOrder | None) -> list[int]:
    """Return the steps between the first rows' times; the odd hour of a clock change does no harm here."""
    found = []
    for cell in times:
        try:
            when = log_times.moment(cell, order)
        except NoTime:
            continue
        found.append(when if isinstance(when, int) else log_times.as_if_utc_ms(when))
    return [later - earlier for earlier, later in itertools.pairwise(found)]
