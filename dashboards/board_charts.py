"""A board's charts: the fan of what it was and will be, and how the date of being fit moved; no queries, no physics."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np

from dashboards import display
from dashboards.charts import (
    BLUE,
    CONFIG,
    INK,
    ORANGE,
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
from kiln.records import Band, Measured, Projection
from shared.errors import BadInput
from shared.units import MS_PER_DAY

TABLE_ROWS = 30
FIRST_WEEK_MS = 7 * MS_PER_DAY
FAR_ABOVE = 1.4  # times what came after it: a beginning that leaves the chart; ours
LEAST_AHEAD_MS = 45 * MS_PER_DAY
AFTER_LAST_MS = 14 * MS_PER_DAY
YEAR_MS = 365 * MS_PER_DAY
LINE_LETTERS = 14  # of a place's name beside its upright, on a phone
LATE_SHARE = 0.7  # of the time shown, from which on words stand to the left of an upright
SYMBOLS = {
    "load cell": "line-ew",
    "weigh-in": "square",
    "pin": "circle",
    "oven-dry": "diamond",
    "bag test": "triangle-up",
}
DASHES = {"mean": "solid", "shell": "2px,3px", "core": "9px,4px"}
# One hue, told apart by lightness and by the edge, so that they stay apart in print: name, ends, fill, edge
FAN = (
    ("95 in 100", "p025", "p975", "#e6f0f5", 0.6),
    ("8 in 10", "p10", "p90", "#b7d2e1", 0.9),
    ("half", "p25", "p75", "#7fb0ca", 1.2),
)


def band_of(projection: Projection, of: str) -> Band:
    """Return the band of a board's mean, shell or core; raises BadInput for anything else."""
    if of not in DASHES:
        raise BadInput("band", of, f"one of {', '.join(DASHES)}")
    band: Band = getattr(projection, of)
    return band


def board_figure(projection: Projection, now_ms: int, of: str = "mean") -> Figure:
    """Return a board's moisture against time [%MC]: the fan ``of`` mean, shell or core, and all that bears on it."""
    band = band_of(projection, of)
    keep = thinned(_worth_showing(projection))
    x = times(projection.at_ms[keep])
    data: list[Figure] = []
    for name, low, high, fill, edge in FAN:
        ends = (values_of(getattr(band, one), keep) for one in (low, high))
        data += banded(x, *ends, name, fill, BLUE, edge)
    known_ms = min(projection.known_until_ms, now_ms)
    ahead = [x[0], display.for_chart(known_ms), x[-1]]
    data += [*floor_lines(projection, ahead), *_medians(projection, keep, x, of), wanted_lines(projection, x)]
    data += _measured(projection.measured)
    layout = base_layout()
    layout["margin"] |= {"t": 40}
    layout["shapes"] = [wanted_ground(projection), *_uprights(projection, known_ms)]
    layout["annotations"] = _words(projection, known_ms, (int(projection.at_ms[0]), int(projection.at_ms[keep[-1]])))
    layout["annotations"].append(heading(f"{of}, % of oven-dry mass", INK, 1.1))
    top_pct = _in_sight_pct(projection, band)
    if top_pct is not None:
        layout["yaxis"] |= {"range": [0.0, top_pct]}
        layout["annotations"].append(_leaves(x[0], top_pct, float(band.p975.max())))
    return {"data": data, "layout": layout, "config": CONFIG}


def _in_sight_pct(projection: Projection, band: Band) -> float | None:
    """Up to where to draw where the first week stands so far above all after it as to press it flat; else None."""
    early = projection.at_ms < projection.at_ms[0] + FIRST_WEEK_MS
    if early.all() or not early.any():
        return None
    later = [float(one[~early].max()) for one in (band.p975, projection.core.p50, projection.shell.p50)]
    top = 1.25 * max(*later, float(projection.emc.p50.max()), projection.wanted_mc_pct[1])
    return top if float(band.p975[early].max()) > FAR_ABOVE * top else None


def _leaves(at: str, top_pct: float, most_pct: float) -> Figure:
    """Words where the line leaves the chart."""
    return {
        "x": at,
        "y": top_pct,
        "yanchor": "top",
        "xanchor": "left",
        "xshift": 14,
        "yshift": -5,
        "text": f"↑ its first days: up to {display.number(most_pct, 0)} %",
        "showarrow": False,
        "bgcolor": PAPER,
        "font": {"color": INK},
    }


def _worth_showing(projection: Projection) -> int:
    """Return how many moments to draw: as much time ahead as behind, or until it is fit, and at least 45 days."""
    known_ms, at_ms = projection.known_until_ms, projection.at_ms
    ahead_ms = max(LEAST_AHEAD_MS, known_ms - int(at_ms[0]))
    dates = [*projection.ready_ms, *projection.ready_by_ms, *(begin_ms for begin_ms, _name in projection.legs)]
    fit_ms = max((one for one in dates if one is not None), default=known_ms)
    last_ms = max(known_ms + ahead_ms, fit_ms + AFTER_LAST_MS)
    return max(2, int(np.searchsorted(at_ms, last_ms, side="right")))


def _medians(projection: Projection, keep: Sequence[int], x: list[str], of: str) -> list[Figure]:
    """The middle lines; that of the fan is the thick one, with its band to be read under a finger."""
    found = []
    for name, dash in DASHES.items():
        band: Band = getattr(projection, name)
        drawn = line(x, values_of(band.p50, keep), name, INK, dash, 3.0 if name == of else 1.8)
        if name == of:
            drawn["customdata"] = list(zip(values_of(band.p10, keep), values_of(band.p90, keep), strict=True))
            shown = "%{y:.1f} % (%{customdata[0]:.1f}–%{customdata[1]:.1f})"
            drawn["hovertemplate"] = f"{shown}<extra>%{{fullData.name}}</extra>"
        found.append(drawn)
    found.append(line(x, values_of(projection.emc.p50, keep), "EMC of its air", VIOLET, "dashdot", 1.8))
    return found


def floor_lines(projection: Projection, ahead: list[str]) -> list[Figure]:
    """What the driest month to come here holds it at, with its band: from now on, until it is to leave."""
    low, middle, high = (round(one, 2) for one in projection.floor_mc_pct)
    span = [ahead[1], display.for_chart(projection.legs[0][0]) if projection.legs else ahead[2]]
    ground = banded(span, [low] * 2, [high] * 2, "band of the floor", "rgba(91,63,140,0.14)", VIOLET, 0.5)
    name = f"floor here {display.number(middle)} %, {display.local(projection.floor_ms):%B}"
    drawn = line(span, [middle] * 2, name, VIOLET, "6px,2px", 2.2)
    return [*({**one, "showlegend": False} for one in ground), drawn]


def wanted_lines(projection: Projection, x: list[str]) -> Figure:
    """The edges of what the use takes, one line for both."""
    low, high = (round(one, 2) for one in projection.wanted_mc_pct)
    ends: list[str | None] = [x[0], x[-1]]
    name = f"wanted {display.number(low)}–{display.number(high)} %"
    drawn = line(x, [low, low, None, high, high], name, ORANGE, "1px,5px", 2.6)
    return {**drawn, "x": [*ends, None, *ends]}


def wanted_ground(projection: Projection) -> Figure:
    """Return what the use takes as a ground behind the lines."""
    low, high = projection.wanted_mc_pct
    place = {"xref": "paper", "x0": 0, "x1": 1, "y0": round(low, 2), "y1": round(high, 2)}
    return {"type": "rect", **place, "fillcolor": "rgba(180,83,9,0.10)", "line": {"width": 0}, "layer": "below"}


def _uprights(projection: Projection, known_ms: int) -> list[Figure]:
    """Now, and each planned move."""
    moments = [(known_ms, "solid", 1.6), *((begin_ms, "4px,3px", 1.4) for begin_ms, _name in projection.legs)]
    return [
        {
            "type": "line",
            "x0": display.for_chart(at_ms),
            "x1": display.for_chart(at_ms),
            "yref": "paper",
            "y0": 0,
            "y1": 1,
            "line": {"color": INK, "dash": dash, "width": width},
        }
        for at_ms, dash, width in moments
    ]


def _words(projection: Projection, known_ms: int, shown_ms: tuple[int, int]) -> list[Figure]:
    """What stands on the chart itself: now, and the moves."""
    first_ms, last_ms = shown_ms
    found = [note("now ", known_ms, 1.0, "right")]
    for row, (at_ms, name) in enumerate(projection.legs):
        late = at_ms - first_ms > LATE_SHARE * (last_ms - first_ms)
        lines = textwrap.wrap(f"to {name}", LINE_LETTERS, max_lines=2, placeholder="…")
        y = 1.0 - (0.06 if late else 0.0) - 0.12 * row
        found.append(note("<br>".join(f" {one} " for one in lines), at_ms, y, "right" if late else "left"))
    return found


def note(text: str, at_ms: int, y: float, side: str) -> Figure:
    """Return words on the chart beside a moment; ``y``: share of its height, ``side``: that end of them is there."""
    place = {"x": display.for_chart(at_ms), "align": side, "y": y, "yref": "paper", "xanchor": side, "yanchor": "top"}
    return {"text": text, **place, "showarrow": False, "font": {"size": 13}}


def _measured(measured: Sequence[Measured]) -> list[Figure]:
    traces = []
    for kind, symbol in SYMBOLS.items():
        some = [one for one in measured if one.kind == kind]
        if not some:
            continue
        traces.append(
            {
                "type": "scatter",
                "mode": "markers",
                "name": kind,
                "x": times([one.at_ms for one in some]),
                "y": [round(one.mc_pct, 2) for one in some],
                "hovertemplate": "%{y:.1f} %<extra>%{fullData.name}</extra>",
                "error_y": {
                    "type": "data",
                    "array": [round(one.error_mc_pct, 2) for one in some],
                    "color": INK,
                    "thickness": 0.6 if kind == "load cell" else 1.2,
                    "width": 0 if kind == "load cell" else 4,
                },
                "marker": {"symbol": symbol, "size": 10, "color": PAPER, "line": {"color": INK, "width": 2}},
            }
        )
    return traces


def board_table(projection: Projection, now_ms: int, of: str = "mean") -> tuple[tuple[str, ...], ...]:
    """Return the chart of a board as rows of text: date; middle, half, 8 in 10 and 95 in 100 of the fan; the rest."""
    others = [name for name in DASHES if name != of]
    return tuple(
        (
            display.day(int(projection.at_ms[index]), now_ms),
            *fan_words(band_of(projection, of), index),
            *(display.with_unit(float(getattr(projection, name).p50[index]), "%") for name in (*others, "emc")),
        )
        for index in thinned(len(projection.at_ms), TABLE_ROWS)
    )


def table_head(of: str) -> tuple[str, ...]:
    """Return what stands above the columns of ``board_table``."""
    others = [name.capitalize() for name in DASHES if name != of]
    return ("Date", of.capitalize(), "Half", "8 in 10", "95 in 100", *others, "EMC")


def fan_words(band: Band, index: int) -> tuple[str, str, str, str]:
    """Return the middle of a band at one moment, and its half, 8 in 10 and 95 in 100."""

    def at(low: str, high: str) -> str:
        return "–".join(display.number(float(getattr(band, end)[index])) for end in (low, high))

    middle = display.with_unit(float(band.p50[index]), "%")
    return middle, at("p25", "p75"), at("p10", "p90"), at("p025", "p975")


def dates_worth_drawing(projection: Projection) -> bool:
    """Whether a date was told more than once, and was one."""
    return len(projection.history) >= 2 and any(one.ready_ms[1] is not None for one in projection.history)


def dates_figure(projection: Projection, now_ms: int) -> Figure:
    """Return the date of being fit as it was foretold after each weigh-in and today, with its band, by day of telling.

    What lies beyond the look-ahead is drawn to its end, and its middle as an open triangle there.
    """
    told = [(one.at_ms, one.ready_ms) for one in projection.history] + [(now_ms, projection.ready_ms)]
    bars_x: list[str | None] = []
    bars_y: list[str | None] = []
    for at_ms, (first, _middle, last) in told:
        if first is not None:
            bars_x += [display.for_chart(at_ms)] * 2 + [None]
            bars_y += [display.for_chart(one) for one in (first, last or at_ms + YEAR_MS)] + [None]
    inside = [(at_ms, dates[1]) for at_ms, dates in told if dates[1] is not None]
    beyond = [(at_ms, at_ms + YEAR_MS) for at_ms, dates in told if dates[1] is None]
    band = {"type": "scatter", "mode": "lines", "name": "8 in 10", "x": bars_x, "y": bars_y, "hoverinfo": "skip"}
    data: list[Figure] = [{**band, "line": {"color": BLUE, "width": 7, "dash": "solid"}, "opacity": 0.55}]
    for name, symbol, points in (("as likely as not", "diamond", inside), ("not within a year", "triangle-up", beyond)):
        if points:
            data.append(_dates(name, symbol, points))
    ends = [display.for_chart(one) for one in (told[0][0], now_ms)]
    layout = base_layout()
    layout["hovermode"] = "closest"
    layout["margin"] |= {"l": 66, "t": 40}
    layout["legend"] |= {"y": -0.3}
    layout["yaxis"] |= {"type": "date", "rangemode": "normal", "tickformat": "%-d %b\n%Y", "nticks": 6}
    layout["annotations"] = [heading("fit for its use, by the day it was told", INK, 1.16)]
    data.append({**line(ends, [], "the day itself", INK, "4px,4px", 1.2), "y": ends, "hoverinfo": "skip"})
    return {"data": data, "layout": layout, "config": CONFIG}


def _dates(name: str, symbol: str, points: Sequence[tuple[int, int]]) -> Figure:
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "x": times([at_ms for at_ms, _date_ms in points]),
        "y": times([date_ms for _at_ms, date_ms in points]),
        "hovertemplate": "%{y|%-d %b %Y}<extra>told on %{x|%-d %b}</extra>",
        "marker": {"symbol": symbol, "size": 11, "color": PAPER, "line": {"color": INK, "width": 2}},
    }
