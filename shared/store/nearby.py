"""What lies around stored readings: many stretches of many series, each question asked in one statement."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from functools import cache
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, Connection, ScalarSelect, Select, bindparam, func, select

from shared.store import schema as s
from shared.store.records import Quality, Quantity, Series

_FLAGS = {int(flag): flag for flag in Quality}  # in thousands of rows, quicker than Quality(…)


class Span(NamedTuple):
    """A stretch of one series, first to last [UTC ms], and how far to look around it at the most."""

    series_id: int
    first_ms: int
    last_ms: int
    from_ms: int
    to_ms: int


def listed(width: int) -> tuple[ColumnElement[int], list[ColumnElement[int]]]:
    """Return what a statement sees of the rows given to it by ``these``: the position of each, and its columns."""
    each = func.json_each(bindparam("listed")).table_valued("key", "value")
    return each.c.key, [func.json_extract(each.c.value, f"$[{i}]") for i in range(width)]


def these(rows: Iterable[Sequence[int]]) -> dict[str, str]:
    """Return the parameters that give rows of whole numbers to a statement that is made with ``listed``."""
    return {"listed": json.dumps(list(rows))}


def series_beside(connection: Connection, series_ids: Iterable[int]) -> list[Series]:
    """Return every series of the probes that these series belong to."""
    rows = connection.execute(_series_beside(), these([one] for one in series_ids))
    return [Series(row.id, row.probe_id, Quantity(row.quantity)) for row in rows]


@cache
def _series_beside() -> Select[Any]:
    _, (wanted,) = listed(1)
    named = s.series.alias()
    return select(s.series).where(s.series.c.probe_id.in_(select(named.c.probe_id).where(named.c.id == wanted)))


def around(
    connection: Connection, spans: Sequence[Span], flags: Iterable[Quality], count: int
) -> list[list[tuple[int, float, Quality]]]:
    """Return for each span its readings (UTC ms, value, flag), and ``count`` more (≥ 1) on either side, in order.

    Only readings with one of ``flags`` are looked at, and none before ``from_ms`` or after ``to_ms``.
    """
    found: list[list[tuple[int, float, Quality]]] = [[] for _ in spans]
    for position, at_ms, value, flag in connection.execute(_around(tuple(flags), count), these(spans)).all():
        found[position].append((at_ms, value, _FLAGS[flag]))
    for rows in found:
        rows.sort()  # they come in order already, which nothing promises
    return found


@cache
def _around(flags: tuple[Quality, ...], count: int) -> Select[Any]:
    number, (series, first, last, start, end) = listed(5)
    near = s.reading.alias()

    def furthest(order: Any, *side: ColumnElement[bool]) -> ScalarSelect[int]:
        mine = (near.c.series_id == series, near.c.quality.in_(flags), *side)
        query = select(near.c.at_ms).where(*mine).order_by(order).limit(1).offset(count - 1)
        return query.correlate_except(near).scalar_subquery()

    before = furthest(near.c.at_ms.desc(), near.c.at_ms < first, near.c.at_ms >= start)
    after = furthest(near.c.at_ms, near.c.at_ms > last, near.c.at_ms <= end)
    row = s.reading.c
    inside = row.at_ms.between(func.coalesce(before, start), func.coalesce(after, end))
    query = select(number, row.at_ms, row.value, row.quality)
    return query.where(row.series_id == series, inside, row.quality.in_(flags))


class Steady(NamedTuple):
    """How far a series has been, and stays, at the figures it shows right before and right after a span."""

    from_ms: int  # when the figure before it was last another
    to_ms: int  # when the one after it next is
    before: Quality | None  # flag of the reading right before it
    after: Quality | None


def steady(connection: Connection, spans: Sequence[Span], flags: Iterable[Quality]) -> list[Steady]:
    """Return for each span how far its series has been, and stays, at the figures on either side of it.

    Where it never was at another, within ``from_ms`` to ``to_ms``: the first and last reading there, or else the
    span's own ends. Only readings with one of ``flags`` are looked at.
    """
    rows = connection.execute(_steady(tuple(flags)), these(spans))
    found = {row[0]: Steady(row[1], row[2], *(_FLAGS.get(flag) for flag in row[3:])) for row in rows}
    return [found[position] for position in range(len(spans))]


@cache
def _steady(flags: tuple[Quality, ...]) -> Select[Any]:
    number, columns = listed(5)
    names = ("series", "first", "last", "start", "end")
    # The figures beside each span are looked up first, and once: not again for every reading that has them.
    given = select(number.label("number"), *(one.label(name) for one, name in zip(columns, names, strict=True)))
    span = given.cte("span").prefix_with("MATERIALIZED")
    sides = (("before", True), ("after", False))
    figures = [_beside(span, flags, back, "value").label(name) for name, back in sides]
    judged = [_beside(span, flags, back, "quality").label(f"{name}_flag") for name, back in sides]
    told = select(span, *figures, *judged).cte("told").prefix_with("MATERIALIZED")
    ends = []
    for name, back in sides:
        another = _beside(told, flags, back, "at_ms", other_than=told.c[name])
        ends.append(func.coalesce(another, _beside(told, flags, back, "at_ms", furthest=True), _edge(told, back)))
    return select(told.c.number, *ends, told.c.before_flag, told.c.after_flag)


def _edge(span: Any, back: bool) -> Any:
    return span.c.first if back else span.c.last


def _beside(
    span: Any, flags: tuple[Quality, ...], back: bool, column: str, other_than: Any = None, furthest: bool = False
) -> ScalarSelect[Any]:
    """Select from the reading next to a span, before it (``back``) or after: the nearest, or the one furthest off."""
    near = s.reading.alias()
    at_ms = near.c.at_ms
    side = (at_ms < span.c.first, at_ms >= span.c.start) if back else (at_ms > span.c.last, at_ms <= span.c.end)
    query = select(near.c[column]).where(near.c.series_id == span.c.series, near.c.quality.in_(flags), *side)
    if other_than is not None:
        query = query.where(near.c.value != other_than)
    query = query.order_by(at_ms.desc() if back != furthest else at_ms).limit(1)
    return query.correlate_except(near).scalar_subquery()
