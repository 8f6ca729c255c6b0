"""The chart of what pulls against each other on a drying board: stretched faces, and mould; no queries, no physics."""

from __future__ import annotations

from dashboards import display
from dashboards.charts import (
    BLUE,
    CONFIG,
    INK,
    ORANGE,
    Figure,
    banded,
    base_layout,
    heading,
    line,
    thinned,
    times,
    values_of,
)
from kiln.standing import Curve, Dangers
from shared.tables import constants

TABLE_ROWS = 16
MOST_POINTS = 240


def harms_figure(found: Dangers, now_ms: int) -> Figure:
    """Return the checking index and the mould index against time, each with its band and its limits."""
    data: list[Figure] = []
    for name, curve, colour, fill, dash in (
        ("surface stretch, 1 = at its limit", found.checking, ORANGE, "rgba(180,83,9,0.16)", "solid"),
        ("mould index, 3 = to be seen", found.mould, BLUE, "rgba(30,100,140,0.16)", "9px,4px"),
    ):
        if len(curve.at_ms):
            data += _drawn(name, curve, colour, fill, dash)
    layout = base_layout()
    layout["margin"] |= {"t": 40}
    layout["yaxis"] |= {"rangemode": "tozero"}
    layout["shapes"] = [_level(1.0), _level(constants("mould_growth")["visible"].value), _upright(now_ms)]
    layout["annotations"] = [heading("indices, 8 in 10 within the band", INK, 1.1)]
    return {"data": data, "layout": layout, "config": CONFIG}


def _drawn(name: str, curve: Curve, colour: str, fill: str, dash: str) -> list[Figure]:
    keep = thinned(len(curve.at_ms), MOST_POINTS)
    x = times(curve.at_ms[keep])
    low, middle, high = (values_of(band, keep) for band in (curve.p10, curve.p50, curve.p90))
    ground = banded(x, low, high, f"band of {name}", fill, colour, 0.5)
    return [*({**one, "showlegend": False} for one in ground), line(x, middle, name, colour, dash, 2.4, "")]


def _level(y: float) -> Figure:
    stroke = {"color": INK, "dash": "1px,5px", "width": 1.6}
    return {"type": "line", "xref": "paper", "x0": 0, "x1": 1, "y0": y, "y1": y, "line": stroke}


def _upright(at_ms: int) -> Figure:
    x = display.for_chart(at_ms)
    stroke = {"color": INK, "width": 1.6}
    return {"type": "line", "x0": x, "x1": x, "yref": "paper", "y0": 0, "y1": 1, "line": stroke}


def harms_table(found: Dangers, now_ms: int) -> tuple[tuple[str, ...], ...]:
    """Return the chart as rows of text: date, surface stretch, mould."""
    at_ms = found.mould.at_ms
    return tuple(
        (display.day(int(at_ms[i]), now_ms), _at(found.checking, int(at_ms[i])), _at(found.mould, int(at_ms[i])))
        for i in thinned(len(at_ms), TABLE_ROWS)
    )


def _at(curve: Curve, moment_ms: int) -> str:
    if not len(curve.at_ms):
        return display.NOTHING
    i = curve.index_at(moment_ms)
    low, middle, high = (display.number(float(band[i])) for band in (curve.p10, curve.p50, curve.p90))
    return f"{middle} ({low}–{high})"
