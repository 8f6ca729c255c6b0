"""A piece that warms, drawn: its face with the band of film and wood, its middle, the room and the dew point."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup, escape

from dashboards import display
from kiln import warming
from kiln.warming import FACE, MIDDLE, Slabs
from shared.units import S_PER_HOUR, S_PER_MINUTE, Array

WIDE, TALL = 360.0, 232.0
LEFT, RIGHT, TOP, FOOT = 58.0, 352.0, 14.0, 192.0
POINTS = 49
STEPS_S = (300.0, 900.0, 1800.0, 3600.0, 7200.0, 14_400.0, 28_800.0, 86_400.0)
MOST_TICKS = 5
LINE = 17.0
STEPS_C = (1.0, 2.0, 5.0, 10.0, 20.0)
MOST_LEVELS = 5


@dataclass(frozen=True)
class Warming:
    """What is drawn: a piece at ``piece_c`` in a room of ``room_c``, over ``span_s``. No ``dew_c``: not known."""

    slabs: Slabs
    piece_c: float
    room_c: float
    dew_c: float | None
    span_s: float


@dataclass(frozen=True)
class _Paper:
    span_s: float
    low_c: float
    high_c: float

    def x(self, t_s: float) -> float:
        return LEFT + (RIGHT - LEFT) * t_s / self.span_s

    def y(self, t_c: float) -> float:
        return FOOT - (FOOT - TOP) * (t_c - self.low_c) / (self.high_c - self.low_c)

    def path(self, t_s: Array, t_c: Array) -> str:
        return "L".join(f"{self.x(float(a)):.1f} {self.y(float(b)):.1f}" for a, b in zip(t_s, t_c, strict=True))


def drawing(shown: Warming) -> Markup:
    """Return the curves; the same stands in words and figures beside it."""
    paper = _paper(shown)
    t_s = np.linspace(0.0, shown.span_s, POINTS)
    faces = np.array([warming.after(one, shown.piece_c, shown.room_c, t_s, FACE) for one in shown.slabs])
    middle = warming.after(shown.slabs.usual, shown.piece_c, shown.room_c, t_s, MIDDLE)
    band = f"M{paper.path(t_s, faces.max(axis=0))}L{paper.path(t_s[::-1], faces.min(axis=0)[::-1])}Z"
    return Markup(
        f'<svg class="warming" viewBox="0 0 {WIDE:g} {TALL:g}" role="img" aria-label="{escape(_words(shown))}">'
        f'<path class="warm-band" d="{band}"/>{_frame(paper)}'
        f'<path class="warm-middle" d="M{paper.path(t_s, middle)}"/>'
        f'<path class="warm-face" d="M{paper.path(t_s, faces[1])}"/>{_levels(shown, paper)}</svg>'
    )


def _paper(shown: Warming) -> _Paper:
    told = [shown.piece_c, shown.room_c, *([] if shown.dew_c is None else [shown.dew_c])]
    return _Paper(shown.span_s, math.floor(min(told)) - 1.0, math.ceil(max(told)) + 2.0)


def _frame(paper: _Paper) -> str:
    """The edge, the hours along the foot, and temperatures at the left."""
    step_s = _round(STEPS_S, paper.span_s, MOST_TICKS)
    step_c = _round(STEPS_C, paper.high_c - paper.low_c, MOST_LEVELS)
    hours = [step_s * count for count in range(int(paper.span_s / step_s) + 1)]
    degrees = np.arange(step_c * math.ceil(paper.low_c / step_c), paper.high_c + 0.01, step_c)
    ticks = "".join(f"M{paper.x(t):.1f} {FOOT:g}v6" for t in hours)
    ticks += "".join(f"M{LEFT - 5:g} {paper.y(float(t)):.1f}h5" for t in degrees)
    names = [_text(_time(t), min(paper.x(t), RIGHT - 18), FOOT + 22, "middle") for t in hours]
    names += [_text(display.with_unit(float(t), "°C", 0), LEFT - 8, paper.y(float(t)) + 5, "end") for t in degrees]
    return f'<path class="dew-tick" d="M{LEFT:g} {TOP:g}V{FOOT:g}H{RIGHT:g}{ticks}"/>{"".join(names)}'


def _levels(shown: Warming, paper: _Paper) -> str:
    """The room and the dew point as lines with their names, the room's above its line."""
    found = [_level(paper, shown.room_c, "room", -6.0)]
    if shown.dew_c is not None:
        near = abs(paper.y(shown.dew_c) - paper.y(shown.room_c)) < 2 * LINE
        found.append(_level(paper, shown.dew_c, "dew point", LINE if near else -6.0))
    return "".join(found)


def _level(paper: _Paper, t_c: float, name: str, shift: float) -> str:
    y = paper.y(t_c)
    line = f'<path class="warm-{"room" if name == "room" else "dew"}" d="M{LEFT:g} {y:.1f}H{RIGHT:g}"/>'
    return line + _text(f"{name} {display.with_unit(t_c, '°C')}", RIGHT - 2, y + shift, "end")


def _round(steps: Sequence[float], span: float, most: int) -> float:
    return next((one for one in steps if span / one <= most), steps[-1])


def _time(t_s: float) -> str:
    if t_s == 0.0:
        return "0"
    return f"{t_s / S_PER_MINUTE:.0f} min" if t_s < S_PER_HOUR else f"{t_s / S_PER_HOUR:g} h"


def _words(shown: Warming) -> str:
    piece, room = (display.with_unit(one, "°C") for one in (shown.piece_c, shown.room_c))
    dew = "" if shown.dew_c is None else f", whose dew point is {display.with_unit(shown.dew_c, '°C')}"
    return (
        f"From {piece} towards the room's {room}{dew}, over {_time(shown.span_s)}: the face as a line in its band, the "
        "middle as a broken line behind it. The figures stand in the table."
    )


def _text(text: str, x: float, y: float, anchor: str) -> str:
    return f'<text class="dew-text" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="15">{escape(text)}</text>'
