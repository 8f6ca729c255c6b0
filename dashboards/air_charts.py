"""The chart of a place's air against time: temperature with dew point, humidity, EMC, one above the other.

Every step shows its lowest and highest as a band with a drawn edge, as long as the step lasts, and its mean as a line.
A gap stays a gap. The range of time is the one asked for, whatever was heard in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dashboards import air_history, display
from dashboards.air_history import AirHistory
from dashboards.charts import BAND, BLUE, CONFIG, INK, ORANGE, VIOLET, Figure, base_layout, heading, line
from kiln import sorption
from shared.units import MS_PER_DAY, MS_PER_HOUR, Array

EDGE_WIDTH = 0.8
DEW_DASH = "7px,4px"
NEAR_SHARE = 0.06  # of the chart's width: a letter in its box on a phone


@dataclass(frozen=True)
class Track:
    """One quantity of a place's air against time."""

    title: str
    unit: str
    color: str
    band: str  # colour of the fill between lowest and highest
    dash: str
    mean: Array
    low: Array
    high: Array
    beside: Array | None = None  # a second line on the same axis: the dew point


@dataclass(frozen=True)
class Mark:
    """A moment at which a probe came, went or was checked: a letter on the chart, a sentence beneath it."""

    letter: str
    at_ms: int
    sentence: str


def tracks(history: AirHistory) -> tuple[Track, ...]:
    """Return a place's air as three tracks."""
    return (
        Track(
            "temperature; dew point dashed, °C",
            "°C",
            ORANGE,
            "#f0dcc3",
            "2px,3px",
            history.temperature_c,
            history.temperature_low_c,
            history.temperature_high_c,
            history.dew_point_c,
        ),
        Track(
            "relative humidity, %", "%", BLUE, BAND, "solid", history.rh_pct, history.rh_low_pct, history.rh_high_pct
        ),
        Track(
            "EMC of the air, %",
            "%",
            VIOLET,
            "#d9cfe8",
            "dashdot",
            history.emc_pct,
            history.emc_low_pct,
            history.emc_high_pct,
        ),
    )


def air_figure(history: AirHistory, marks: Sequence[Mark] = ()) -> Figure:
    """Return the chart of a place's air, with its marks."""
    layout = base_layout()
    layout["margin"]["t"], layout["margin"]["b"] = (28 if marks else 10), 44
    layout["showlegend"] = False
    data: list[Figure] = []
    shown = tracks(history)
    height = 1.0 / len(shown)
    for number, track in enumerate(shown):
        axis = "y" if number == 0 else f"y{number + 1}"
        top = 1.0 - number * height
        key = axis.replace("y", "yaxis")
        layout[key] = {
            **layout["yaxis"],
            "domain": [top - height + 0.05, top - 0.055],
            "rangemode": "normal",
            "nticks": 5,
        }
        data += _track_lines(history, track, axis)
        layout.setdefault("annotations", []).append(heading(track.title, track.color, top))
    layout["xaxis"]["anchor"] = f"y{len(shown)}"
    layout["xaxis"]["range"] = [display.for_chart(history.start_ms), display.for_chart(history.end_ms)]
    layout["xaxis"]["tickformat"] = _ticks(history.end_ms - history.start_ms)
    layout["shapes"] = [_mark_line(mark) for mark in marks]
    near_ms = (history.end_ms - history.start_ms) * NEAR_SHARE
    layout["annotations"] += [_mark_letters(some) for some in _near(marks, near_ms)]
    return {"data": data, "layout": layout, "config": CONFIG}


def _ticks(length_ms: int) -> str:
    """How moments are written on the axis: hours within two days, else dates."""
    return "%H:%M\n%-d %b" if length_ms <= 2 * MS_PER_DAY else "%-d %b\n%Y"


def _track_lines(history: AirHistory, track: Track, axis: str) -> list[Figure]:
    lines = [*_band(history, track), _mean(history, track.mean, track, track.color, track.dash)]
    if track.beside is not None:
        lines.append(_mean(history, track.beside, track, INK, DEW_DASH, "dew point, °C", 1.6))
    return [{**one, "yaxis": axis} for one in lines]


def _mean(
    history: AirHistory, values: Array, track: Track, color: str, dash: str, name: str = "", width: float = 2.2
) -> Figure:
    x: list[str] = []
    y: list[float | None] = []
    for run in air_history.runs(history, np.isfinite(values)):
        if x:  # a break between two runs
            x.append(x[-1])
            y.append(None)
        x += [display.for_chart(int(history.at_ms[one] + history.span_ms // 2)) for one in run]
        y += [round(float(values[one]), 2) for one in run]
    return line(x, y, name or track.title, color, dash, width, track.unit)


def _band(history: AirHistory, track: Track) -> list[Figure]:
    """Return for each run its lowest and its highest, in steps, the second filled down to the first."""
    if not np.any(track.high > track.low):
        return []
    found: list[Figure] = []
    for run in air_history.runs(history, np.isfinite(track.low)):
        ends_ms = [int(one) for one in history.at_ms[run]] + [int(history.at_ms[run[-1]]) + history.span_ms]
        x = [display.for_chart(one) for one in ends_ms]
        for values, fill in ((track.low, {}), (track.high, {"fill": "tonexty", "fillcolor": track.band})):
            kept = [float(values[one]) for one in run]
            found.append(
                {
                    "type": "scatter",
                    "mode": "lines",
                    "x": x,
                    "y": [*kept, kept[-1]],
                    "name": f"{track.title}, {'highest' if fill else 'lowest'}",
                    "line": {"color": track.color, "width": EDGE_WIDTH, "shape": "hv"},
                    "hoverinfo": "skip",
                    "showlegend": False,
                    **fill,
                }
            )
    return found


def _mark_line(mark: Mark) -> Figure:
    at = display.for_chart(mark.at_ms)
    ends = {"x0": at, "x1": at, "y0": 0, "y1": 1}
    return {"type": "line", "xref": "x", "yref": "paper", **ends, "line": {"color": INK, "width": 1, "dash": "1px,4px"}}


def _near(marks: Sequence[Mark], near_ms: float) -> list[list[Mark]]:
    """The marks in groups so near each other that their letters would lie on one another."""
    groups: list[list[Mark]] = []
    for mark in marks:
        if groups and mark.at_ms - groups[-1][0].at_ms < near_ms:
            groups[-1].append(mark)
        else:
            groups.append([mark])
    return groups


def _mark_letters(some: Sequence[Mark]) -> Figure:
    first, last = some[0].letter, some[-1].letter
    return {
        "text": first if first == last else f"{first}–{last}",
        "x": display.for_chart(some[0].at_ms),
        "y": 1,
        "xref": "x",
        "yref": "paper",
        "yanchor": "bottom",
        "showarrow": False,
        "bordercolor": INK,
        "borderwidth": 1,
        "borderpad": 2,
        "font": {"size": 13, "color": INK, "weight": 700},
    }


def how_drawn(history: AirHistory) -> str:
    """Say what the lines and bands of a chart are."""
    steps = {air_history.TEN_MINUTES_MS: "ten minutes", MS_PER_HOUR: "an hour", MS_PER_DAY: "a day"}
    step = steps.get(history.span_ms, f"{history.span_ms // MS_PER_DAY} days")
    unit = {air_history.TEN_MINUTES_MS: "each ten minutes", MS_PER_HOUR: "each hour", MS_PER_DAY: "each day (by UTC)"}
    told = f"A step is {step}: its mean is the line, its lowest and highest single reading are the band."
    emc = f"EMC and dew point come from the mean temperature and humidity of {unit[history.unit_ms]}"
    end = "" if history.unit_ms == history.span_ms else "; EMC's band is the lowest and highest of these means"
    cold = bool(np.any(history.temperature_low_c < sorption.LOWEST_C))
    least = display.with_unit(sorption.LOWEST_C, "°C", 0)
    return f"{told} {emc}{end}." + (f" Where it was colder than {least}, EMC is that of {least}." if cold else "")
