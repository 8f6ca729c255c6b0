"""Figures as plain dictionaries in Plotly's own form, from records already read; no queries, no physics.

Every line differs from the others by colour, dash and label. Arrays are thinned, since a screen has
fewer columns than a year has hours. Times are given in the clock of this machine.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from dashboards import display

INK, PAPER, GRID = "#1b1b1b", "#fffdf7", "#e4dfd0"
BLUE, BAND, ORANGE, VIOLET = "#0b5e8a", "#b9d3e0", "#b45309", "#5b3f8c"
MOST_POINTS = 600
# showSendToCloud is on by default in the bundle and would offer to upload the chart.
CONFIG = {"displayModeBar": False, "showSendToCloud": False, "responsive": True, "scrollZoom": False}
FONT = {"family": "system-ui, -apple-system, 'Segoe UI', Roboto, sans-serif", "size": 14, "color": INK}
Figure = dict[str, Any]


def thinned(length: int, most: int = MOST_POINTS) -> list[int]:
    """Return the indices of at most ``most`` evenly spaced points, first and last among them."""
    if length <= most:
        return list(range(length))
    return sorted({round(index) for index in np.linspace(0, length - 1, most)})


def times(at_ms: Sequence[int]) -> list[str]:
    """Return moments [UTC ms] as the charts take them."""
    return [display.for_chart(int(one)) for one in at_ms]


def values_of(values: Any, keep: Sequence[int], decimals: int = 2) -> list[float | None]:
    """Return the kept values rounded; a gap stays a gap, since JSON knows no NaN."""
    picked = np.asarray(values, dtype=float)[list(keep)]
    return [round(float(one), decimals) if np.isfinite(one) else None for one in picked]


def line(
    x: list[str], y: list[float | None], name: str, color: str, dash: str, width: float = 2.2, unit: str = "%"
) -> Figure:
    """Return one line; a gap in it stays a gap."""
    return {
        "type": "scatter",
        "mode": "lines",
        "x": x,
        "y": y,
        "name": name,
        "connectgaps": False,
        "hovertemplate": f"%{{y:.1f}} {unit}<extra>%{{fullData.name}}</extra>",
        "line": {"color": color, "dash": dash, "width": width},
    }


def banded(
    x: list[str],
    low: list[float | None],
    high: list[float | None],
    name: str,
    fill: str = BAND,
    edge: str = BLUE,
    width: float = 0.8,
) -> list[Figure]:
    """Return a filled band with a drawn edge, one piece for each unbroken run of values."""
    traces: list[Figure] = []
    for run in _runs(low, high):
        times = [x[index] for index in run]
        lower, upper = ([values[index] for index in run] for values in (low, high))
        traces.append(
            {
                "type": "scatter",
                "mode": "lines",
                "x": times + times[::-1],
                "y": upper + lower[::-1],
                "fill": "toself",
                "fillcolor": fill,
                "line": {"color": edge, "width": width},
                "name": name,
                "hoverinfo": "skip",
                "showlegend": not traces,
                "legendgroup": name,
            }
        )
    return traces


def _runs(low: Sequence[float | None], high: Sequence[float | None]) -> list[list[int]]:
    runs: list[list[int]] = []
    for index, (a, b) in enumerate(zip(low, high, strict=True)):
        if a is None or b is None:
            continue
        if runs and runs[-1][-1] == index - 1:
            runs[-1].append(index)
        else:
            runs.append([index])
    return runs


def heading(text: str, color: str, y: float) -> Figure:
    """Return a heading above an axis: a title along the axis would collide with its figures on a phone."""
    return {
        "text": text,
        "xref": "paper",
        "yref": "paper",
        "x": 0,
        "y": y,
        "showarrow": False,
        "xanchor": "left",
        "yanchor": "top",
        "font": {"size": 14, "color": color, "weight": 700},
    }


def base_layout() -> Figure:
    """Return what all charts over time share."""
    axis = {
        "gridcolor": GRID,
        "linecolor": INK,
        "ticks": "outside",
        "tickcolor": INK,
        "fixedrange": True,
        "zeroline": False,
    }
    return {
        "font": FONT,
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": PAPER,
        "hovermode": "x unified",
        "dragmode": False,  # so that a finger on the chart scrolls the page
        "margin": {"l": 44, "r": 14, "t": 34, "b": 40},
        "legend": {"orientation": "h", "y": -0.14, "x": 0, "font": {"size": 13}},
        "xaxis": {
            **axis,
            "type": "date",
            "nticks": 5,
            "tickangle": 0,
            "tickformat": "%-d %b\n%Y",
            "hoverformat": "%-d %b %Y, %H:%M",
        },
        "yaxis": {**axis, "rangemode": "tozero"},
    }
