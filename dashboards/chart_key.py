"""What the lines and marks of a chart are, drawn beside their names: shown, read aloud and printed without script.

The chart library's own list of names takes more room than a phone has beside a chart, and would have to be scrolled.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from markupsafe import Markup

MIDDLE = 'transform="translate(20 13)"'
SHAPES = {  # the marks of the charts, about the middle of the swatch
    "square": "M-6-6H6V6H-6Z",
    "diamond": "M0-8L8 0 0 8-8 0Z",
    "circle": "M-7 0A7 7 0 1 1 7 0 7 7 0 1 1-7 0Z",
    "triangle-up": "M0-8L8 6H-8Z",
    "triangle-down": "M0 8L8-6H-8Z",
    "hexagon": "M-4-7H4L8 0 4 7H-4L-8 0Z",
    "pentagon": "M0-8L8-2 5 7H-5L-8-2Z",
    "cross": "M-3-8H3V-3H8V3H3V8H-3V3H-8V-3H-3Z",
}
DASHES = {"dashdot": "9 3 2 3", "solid": ""}


@dataclass(frozen=True)
class ChartKey:
    """One line or mark of a chart."""

    swatch: Markup = field(metadata={"help": "As it is drawn"})
    name: str = field(metadata={"help": "What it is"})


def chart_keys(figure: dict[str, Any]) -> tuple[ChartKey, ...]:
    """Return the named lines, bands and marks of a figure, in its order."""
    return tuple(ChartKey(_swatch(one), one["name"]) for one in figure["data"] if one.get("showlegend", True))


def _swatch(trace: dict[str, Any]) -> Markup:
    return Markup(f'<svg class="swatch" viewBox="0 0 40 26" aria-hidden="true">{_drawn(trace)}</svg>')


def _drawn(trace: dict[str, Any]) -> str:
    if trace["mode"] == "markers":
        marker = trace["marker"]
        edge = f'stroke="{marker["line"]["color"]}" stroke-width="2"'
        return f'<path d="{SHAPES[marker["symbol"]]}" {MIDDLE} fill="{marker["color"]}" {edge}/>'
    line = trace["line"]
    if trace.get("fill") == "toself":
        return f'<path d="M2 5H38V21H2Z" fill="{trace["fillcolor"]}" stroke="{line["color"]}" stroke-width="1"/>'
    dash = line.get("dash", "solid")
    dashes = DASHES.get(dash, dash.replace("px", "").replace(",", " "))
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return f'<path d="M2 13H38" stroke="{line["color"]}" stroke-width="{line["width"]}"{dashed}/>'
