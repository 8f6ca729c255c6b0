"""A stack's drying chart: its weighed boards, its wettest behind and ahead, and what bears on them; no queries."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dashboards import display
from dashboards.board_charts import floor_lines, note, wanted_ground, wanted_lines
from dashboards.charts import (
    CONFIG,
    INK,
    PAPER,
    VIOLET,
    Figure,
    banded,
    base_layout,
    heading,
    line,
    thinned,
    times,
    values_of,
)
from dashboards.situation import BoardNow, StackNow
from kiln.records import WEIGHED, Z80, Band, Measured, Projection
from shared.units import MS_PER_DAY, MS_PER_HOUR, Array

OLD_MS = 6 * MS_PER_HOUR  # of air, from which on the line at its end is no longer called now; ours
LEAST_AHEAD_MS = 45 * MS_PER_DAY
AFTER_LAST_MS = 14 * MS_PER_DAY
WEEKS_SHOWN = (2, 4, 8, 13, 26, 39, 52)
ROWS_BEHIND = 24
SYMBOLS = ("square", "diamond", "circle", "triangle-up", "hexagon", "triangle-down", "pentagon", "cross")
HEAD = ("When", "Of what", "Moisture")


@dataclass(frozen=True)
class Course:
    """How a stack dries: the likeliest wettest board until now, and the wettest of all from now on."""

    board: BoardNow  # the likeliest wettest
    projection: Projection  # its own
    ahead_ms: NDArray[np.int64]  # now and every week from then on
    ahead: Band  # of the wettest at those moments [%MC]
    of: int  # how many boards it is the wettest of


def course_of(stack: StackNow) -> Course | None:
    """Return how a stack dries; None where no board of it has been projected."""
    known = [one for one in stack.boards if one.projection is not None]
    if not known:
        return None
    wet = stack.wettest
    named = [one for one in known if wet is not None and one.fact.name == wet.likeliest]
    board = named[0] if named else max(known, key=lambda one: _now_pct(one.projection))
    made: Projection = board.projection  # type: ignore[assignment]
    if wet is None:
        return Course(board, made, made.member_ms, Band.of(made.member_mc_pct), 1)
    return Course(board, made, wet.at_ms, wet.mc_pct, wet.boards)


def _now_pct(made: Projection | None) -> float:
    return -1.0 if made is None else float(made.member_mc_pct[:, 0].mean())


def stack_figure(stack: StackNow, course: Course, now_ms: int) -> Figure:
    """Return a stack's moisture against time [%MC]."""
    made = course.projection
    known_ms = min(made.known_until_ms, now_ms)
    past = _past(made)
    until = _worth_showing(stack, course)
    x_behind, x_ahead = times(made.at_ms[past]), times(course.ahead_ms[until])
    begin, now, end = (x_behind or x_ahead)[0], display.for_chart(known_ms), x_ahead[-1]
    data = _band(made.mean, past, x_behind, "8 in 10") + _band(course.ahead, until, x_ahead, "8 in 10")
    data = _one_name(data)
    data += [*_floor(made, [begin, now, end]), *_holds_now(made, now, end), wanted_lines(made, [begin, end])]
    past_line = line(x_behind, values_of(made.mean.p50, past), course.board.fact.name, INK, "solid", 2.6)
    data.append({**past_line, "showlegend": not _weights(course.board)})
    name = f"wettest of {course.of}" if course.of > 1 else "to come"
    data.append(line(x_ahead, values_of(course.ahead.p50, until), name, INK, "9px,4px", 2.6))
    data += weighed(stack.boards)
    layout = base_layout()
    layout["margin"] |= {"t": 34, "b": 50}
    layout["hovermode"] = "closest"
    layout["showlegend"] = False  # ``chart_key`` draws it, so that it needs no script and no scrolling
    moments = _moments(stack, course, now_ms)
    layout["shapes"] = [wanted_ground(made), *(_upright(at_ms, dash) for at_ms, dash, _words in moments)]
    layout["annotations"] = _words(moments, int(made.at_ms[0]), int(course.ahead_ms[until[-1]]))
    layout["annotations"].append(heading("mean, % of oven-dry mass", INK, 1.0) | {"yanchor": "bottom", "yshift": 8})
    return {"data": data, "layout": layout, "config": CONFIG}


def _past(made: Projection) -> list[int]:
    """Which moments of a board's projection lie behind."""
    return thinned(int(np.searchsorted(made.at_ms, made.known_until_ms, side="right")))


def _worth_showing(stack: StackNow, course: Course) -> list[int]:
    """As much time ahead as behind, or until the wettest is down and all that is planned is past; at least 45 days."""
    made, at_ms = course.projection, course.ahead_ms
    known_ms = made.known_until_ms
    down_ms = stack.wettest.below_ms[1] if stack.wettest is not None else made.ready_ms[1]
    planned = [at for at, _dash, _words in _moments(stack, course, known_ms)]
    last_ms = max([known_ms + max(LEAST_AHEAD_MS, known_ms - int(made.at_ms[0])), *planned])
    last_ms = max(last_ms, (down_ms or 0) + AFTER_LAST_MS)
    return list(range(max(2, int(np.searchsorted(at_ms, last_ms, side="right"))))[: len(at_ms)])


def _band(band: Band, keep: Sequence[int], x: list[str], name: str) -> list[Figure]:
    return banded(x, values_of(band.p10, keep), values_of(band.p90, keep), name)


def _one_name(bands: list[Figure]) -> list[Figure]:
    return [{**one, "showlegend": number == 0} for number, one in enumerate(bands)]


def _floor(made: Projection, ahead: list[str]) -> list[Figure]:
    """The air's floor as on a board's chart, named shortly enough for two names a line on a phone."""
    *band, middle = floor_lines(made, ahead)
    return [*band, {**middle, "name": f"floor {display.number(made.floor_mc_pct[1])} %"}]


def _holds_now(made: Projection, now: str, end: str) -> list[Figure]:
    """Where a piece at rest in the air as it is now would stand."""
    if made.rest_mc_pct is None:
        return []
    middle = round(made.rest_mc_pct[1], 2)
    name = f"air now {display.number(middle)} %"
    return [line([now, end], [middle, middle], name, VIOLET, "dashdot", 1.6)]


def weighed(boards: Sequence[BoardNow]) -> list[Figure]:
    """Return the weights of each board as moisture, each board with a shape of its own; the most weighed ones."""
    some = [(one, _weights(one)) for one in boards]
    told = sorted((pair for pair in some if pair[1]), key=lambda pair: -len(pair[1]))[: len(SYMBOLS)]
    drawn = [pair for pair in some if any(pair[0] is one for one, _weights in told)]
    return [_squares(one, found, symbol) for (one, found), symbol in zip(drawn, SYMBOLS, strict=False)]


def _weights(board: BoardNow) -> list[Measured]:
    made = board.projection
    return [] if made is None else [one for one in made.measured if one.kind in WEIGHED]


def _squares(board: BoardNow, found: Sequence[Measured], symbol: str) -> Figure:
    return {
        "type": "scatter",
        "mode": "markers",
        "name": board.fact.name,
        "x": times([one.at_ms for one in found]),
        "y": [round(one.mc_pct, 2) for one in found],
        "hovertemplate": "%{y:.1f} %<extra>%{fullData.name}, weighed</extra>",
        "error_y": {
            "type": "data",
            "array": [round(Z80 * one.error_mc_pct, 2) for one in found],
            "color": INK,
            "thickness": 0.8,
            "width": 0,
        },
        "marker": {"symbol": symbol, "size": 10, "color": PAPER, "line": {"color": INK, "width": 2}},
    }


Moment = tuple[int, str, str]


def _moments(stack: StackNow, course: Course, now_ms: int) -> list[Moment]:
    """Now, each planned move, and the first day for which a board is booked: when, its dash, its words."""
    made = course.projection
    booked = [
        (one.plan.booked_ms, one.plan.use)
        for one in stack.boards
        if one.plan is not None and one.plan.booked_ms is not None and one.plan.booked_ms > now_ms
    ]
    known_ms = min(made.known_until_ms, now_ms)
    found = [(known_ms, "solid", "now" if now_ms - known_ms < OLD_MS else f"known to {display.day(known_ms, now_ms)}")]
    found += [(at_ms, "4px,3px", f"to {name}") for at_ms, name in made.legs]
    found += [(at_ms, "1px,3px", f"booked to {use}") for at_ms, use in sorted(booked)[:1]]
    return found


def _upright(at_ms: int, dash: str) -> Figure:
    x = display.for_chart(at_ms)
    place = {"type": "line", "x0": x, "x1": x, "yref": "paper", "y0": 0, "y1": 1}
    return {**place, "line": {"color": INK, "dash": dash, "width": 1.6}}


def _words(moments: Sequence[Moment], first_ms: int, last_ms: int) -> list[Figure]:
    """Words beside each upright, on the side that has room, one row below the other."""
    return [
        note(f" {words} ", at_ms, 1.0 - 0.09 * row, "right" if at_ms - first_ms > (last_ms - first_ms) / 2 else "left")
        for row, (at_ms, _dash, words) in enumerate(moments)
    ]


def rows(stack: StackNow, course: Course, now_ms: int) -> tuple[tuple[str, ...], ...]:
    """Return the chart as rows of text: what is to come, then what was weighed, the newest first."""
    of = f"wettest of {course.of}" if course.of > 1 else course.board.fact.name
    ahead = [
        (f"in {week} weeks, {display.day(int(course.ahead_ms[week]), now_ms)}", of, _banded(course.ahead, week))
        for week in WEEKS_SHOWN
        if week < len(course.ahead_ms)
    ]
    behind = [(one.at_ms, board.fact.name, one) for board in stack.boards for one in _weights(board)]
    behind.sort(key=lambda row: -row[0])
    told = [
        (display.day(at_ms, now_ms), f"{name}, weighed", f"{display.number(one.mc_pct)} % ± {_error(one)}")
        for at_ms, name, one in behind[:ROWS_BEHIND]
    ]
    now = ("now", of, _banded(course.ahead, 0))
    return (*reversed(ahead), now, *told)


def _banded(band: Band, index: int) -> str:
    ends: tuple[Array, ...] = band.p10, band.p50, band.p90
    return display.band(*(float(one[index]) for one in ends))


def _error(one: Measured) -> str:
    return display.number(Z80 * one.error_mc_pct)
