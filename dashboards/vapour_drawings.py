"""The vapour of a finish in a room against time, as a share of its lower explosive limit.

Drawn on a logarithmic height, so that the tail is seen as well as the peak, and never comes down to nought: what the
drawing cuts off at its foot is not nothing. The thick line is the most that there can be while the film still dries;
the thin dashes below it are the reckoning in which everything evaporates as it leaves the gun. Both hold for an evenly
mixed room. Names lie on paper of their own, away from the lines where there is room, so that none is struck through.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from markupsafe import Markup, escape

from dashboards import display
from dashboards.share_words import HOUR_S, MINUTE_S, percent, span
from shared.units import MS_PER_MINUTE, MS_PER_S, Array

WIDE, TALL = 400.0, 320.0
LEFT, RIGHT, TOP, FOOT = 52.0, 394.0, 24.0, 258.0
SIZE, LETTER = 14.0, 7.6  # of the text, and about how wide a letter is
FOOT_SHARE = 0.01  # what stands at the foot: one hundredth of the limit
LEAST_TOP_SHARE = 1.0
LEAST_SPAN_S = 600.0
TOGETHER_S = 6 * 3600.0  # sprayings nearer to the last than this are drawn with it
MOST_POINTS = 160
DAY_S = 86_400.0
TICKS_S = (*(MINUTE_S * step for step in (1, 2, 5, 10, 15, 30)), *(HOUR_S * step for step in (1, 2, 3, 6, 12, 24, 48)))
MOST_TICKS = 5
HATCH = 9.0  # between its lines
PLACES = 9  # tried along a line for its name


@dataclass(frozen=True)
class Level:
    """A share of the lower explosive limit with a name."""

    share: float
    words: str


LEVELS = (
    Level(1.0, "the explosive limit itself"),
    Level(0.25, "from here: a spraying area"),
    Level(0.10, "where instruments are usually set"),
)


@dataclass(frozen=True)
class Course:
    """The vapour over time, from the first spraying on; shares of the lower explosive limit, 1 at it."""

    times_s: Array
    as_sprayed: Array
    at_most: Array
    sprayed_s: tuple[tuple[float, float], ...]  # when the gun was on: begin and end
    start_ms: int | None = None  # the moment at which ``times_s`` begins; None: it is only asked
    now_s: float | None = None
    not_before_s: float | None = None


@dataclass(frozen=True)
class _Paper:
    """Where a moment and a share lie on the drawing."""

    begin_s: float
    end_s: float
    top_share: float

    def x(self, at_s: float) -> float:
        return LEFT + (RIGHT - LEFT) * min(max((at_s - self.begin_s) / (self.end_s - self.begin_s), 0.0), 1.0)

    def y(self, share: float) -> float:
        held = min(max(share, FOOT_SHARE), self.top_share)
        part = np.log10(held / FOOT_SHARE) / np.log10(self.top_share / FOOT_SHARE)
        return float(FOOT - (FOOT - TOP) * part)


def drawing(course: Course, identity: str = "vapour") -> Markup:
    """Return the drawing; empty where nothing can be drawn."""
    if len(course.times_s) < 2 or not np.isfinite(course.at_most).all() or course.at_most.max() <= FOOT_SHARE:
        return Markup()
    course = lately(course)
    paper = _paper(course)
    return Markup(
        f'<svg class="vapour-chart" viewBox="0 0 {WIDE:g} {TALL:g}" role="img" aria-label="{escape(told(course))}">'
        f"{_hatch(paper, course, identity)}{_moments(paper, course)}{_levels(paper)}{_frame(paper)}"
        f"{_sprayed(paper, course)}{_curve(paper, course, course.as_sprayed, 'as-sprayed')}"
        f"{_curve(paper, course, course.at_most, 'at-most')}{_names(paper, course)}{_peak(paper, course)}</svg>"
    )


def lately(course: Course) -> Course:
    """Return the part that is drawn: the sprayings near the last, where the most that there can be is among them."""
    begins = sorted(begin for begin, _end in course.sprayed_s)
    first_s = min((one for one in begins if one >= begins[-1] - TOGETHER_S), default=0.0)
    kept = course.times_s >= first_s
    if kept.all() or course.at_most[kept].max() < course.at_most.max():
        return course
    return replace(
        course, times_s=course.times_s[kept], as_sprayed=course.as_sprayed[kept], at_most=course.at_most[kept]
    )


def told(course: Course) -> str:
    """Return in words what the drawing shows."""
    high, most = (float(np.nanmax(one)) for one in (course.as_sprayed, course.at_most))
    return (
        "Vapour over time as a share of the lower explosive limit, in an evenly mixed room: "
        f"{percent(high)} at its highest as it is sprayed, up to {percent(most)} while the film dries."
    )


def moment(course: Course, at_s: float) -> str:
    """Return a moment of the course: as the clock shows it, or how long after (or before) the spraying asked about."""
    if course.start_ms is not None:
        return f"{display.local(course.start_ms + round(at_s * MS_PER_S)):%H:%M}"
    return span(at_s) if at_s >= 0.0 else f"{span(-at_s)} before"


def moment_ms(start_ms: int, at_s: float) -> int:
    """Return the moment before which nobody tests, in UTC ms: up to the next whole minute, as a clock shows it."""
    return int(np.ceil((start_ms + round(at_s * MS_PER_S)) / MS_PER_MINUTE)) * MS_PER_MINUTE


def not_before(course: Course, at_s: float) -> str:
    """Return the same moment in the same words as the text beside the drawing has it."""
    if course.start_ms is None:
        return span(at_s)
    return f"{display.local(moment_ms(course.start_ms, at_s)):%H:%M}"


def _paper(course: Course) -> _Paper:
    begin = float(course.times_s[0])
    end = max(float(course.times_s[-1]), begin + LEAST_SPAN_S)
    most = max(LEAST_TOP_SHARE, float(np.nanmax(course.at_most)))
    return _Paper(begin, end, 1.6 * most)


def _text(x: float, y: float, words: str, anchor: str = "start", kind: str = "") -> str:
    named = f' class="{kind}"' if kind else ""
    return f'<text{named} x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{SIZE:g}">{escape(words)}</text>'


def _points(paper: _Paper, course: Course, shares: Array) -> list[tuple[float, float]]:
    """A curve as points: thinned, but for its highest, which always stays; it ends where it leaves the drawing."""
    seen = np.flatnonzero(shares > FOOT_SHARE)
    last = min(len(shares) - 1, int(seen[-1]) + 1) if len(seen) else 0
    every = max(1, last // MOST_POINTS)
    kept = sorted({*range(0, last, every), last, int(np.argmax(shares))})
    return [(paper.x(float(course.times_s[one])), paper.y(float(shares[one]))) for one in kept]


def _path(points: Sequence[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def _curve(paper: _Paper, course: Course, shares: Array, kind: str) -> str:
    if not len(shares) or not np.isfinite(shares).all():
        return ""
    return f'<path class="{kind}" d="{_path(_points(paper, course, shares))}"/>'


def _hatch(paper: _Paper, course: Course, identity: str) -> str:
    """What may stand above the lowest line, hatched."""
    floor = paper.y(LEVELS[-1].share)
    points = _points(paper, course, course.at_most)
    if min(y for _x, y in points) >= floor:
        return ""
    edge = [(points[0][0], FOOT), *points, (points[-1][0], FOOT)]
    lines = "".join(f"M{x:.1f} {floor:.1f}L{x + floor - TOP:.1f} {TOP:.1f}" for x in _steps(floor))
    return (
        f'<clipPath id="{identity}-over"><path d="{_path(edge)}Z"/></clipPath>'
        f'<path class="over-line" clip-path="url(#{identity}-over)" d="{lines}"/>'
    )


def _steps(floor: float) -> Array:
    return np.arange(LEFT - (floor - TOP), RIGHT, HATCH)


def _levels(paper: _Paper) -> str:
    """The lines, the figure of each at its left."""
    found = []
    for one in LEVELS:
        y = paper.y(one.share)
        found.append(f'<path class="level" d="M{LEFT:g} {y:.1f}H{RIGHT:g}"/>')
        found.append(_text(LEFT - 6, y + 5, f"{100 * one.share:.0f} %", "end"))
    return "".join(found)


def _frame(paper: _Paper) -> str:
    """The foot, broken to say that it is not nought, and the moments below it."""
    foot = f"M{LEFT:g} {TOP:g}V{FOOT - 16:g}l-6 4 12 4-6 4V{FOOT:g}H{RIGHT:g}"
    low = _text(LEFT - 6, paper.y(FOOT_SHARE) + 5, percent(FOOT_SHARE), "end")
    return f'<path class="edge" d="{foot}"/>{low}'


def _sprayed(paper: _Paper, course: Course) -> str:
    """When the gun was on, as blocks under the foot."""
    return "".join(
        f'<rect class="gun" x="{paper.x(begin):.1f}" y="{FOOT:g}" '
        f'width="{max(paper.x(end) - paper.x(begin), 2.0):.1f}" height="8"/>'
        for begin, end in course.sprayed_s
        if end > paper.begin_s
    )


def _names(paper: _Paper, course: Course) -> str:
    """The words of each line above or below it, where the curves and marks run least through them."""
    xs = np.linspace(LEFT, RIGHT, MOST_POINTS)
    drawn = []
    for shares in (course.at_most, course.as_sprayed):
        at = _points(paper, course, shares)
        drawn.append((xs, np.interp(xs, [x for x, _y in at], [y for _x, y in at])))
    heights = np.linspace(TOP, FOOT, MOST_POINTS)
    for at_s, _words, _kind in _marked(paper, course):
        drawn.append((np.full(MOST_POINTS, paper.x(at_s)), heights))
    peak_x, peak_y = _peak_at(paper, course)
    drawn.append((np.linspace(peak_x - 2 * SIZE, peak_x + 2 * SIZE, MOST_POINTS), np.full(MOST_POINTS, peak_y - SIZE)))
    return "".join(_name(one, paper.y(one.share), drawn) for one in LEVELS)


def _name(level: Level, line_y: float, drawn: Sequence[tuple[Array, Array]]) -> str:
    width = len(level.words) * LETTER

    def crossed(left: float, y: float) -> int:
        return sum(
            int(np.sum((xs > left - 4) & (xs < left + width + 4) & (ys > y - SIZE - 4) & (ys < y + 6)))
            for xs, ys in drawn
        )

    lefts = (RIGHT - width, LEFT + 8, *np.linspace(LEFT + 8, RIGHT - width, PLACES))
    left, y = min(((x, line_y + shift) for shift in (-5.0, 15.0) for x in lefts), key=lambda at: crossed(*at))
    paper = (
        f'<rect class="paper" x="{left - 3:.1f}" y="{y - SIZE + 2:.1f}" width="{width + 6:.1f}" height="{SIZE + 2:g}"/>'
    )
    return paper + _text(left, y, level.words, "start", "level-name")


def _peak(paper: _Paper, course: Course) -> str:
    """The most that there can be, as a figure at its place."""
    x, y = _peak_at(paper, course)
    words = percent(float(course.at_most.max()))
    return f'<circle class="gun" cx="{x:.1f}" cy="{y:.1f}" r="4"/>' + _text(x, y - 8, words, _anchor(x, words), "peak")


def _peak_at(paper: _Paper, course: Course) -> tuple[float, float]:
    at = int(np.argmax(course.at_most))
    return paper.x(float(course.times_s[at])), paper.y(float(course.at_most[at]))


def _moments(paper: _Paper, course: Course) -> str:
    ticks = "".join(
        f'<path class="edge" d="M{paper.x(at):.1f} {FOOT:g}v12"/>'
        + _text(paper.x(at), FOOT + 26, moment(course, at), _anchor(paper.x(at)))
        for at in _tick_times(course, paper)
    )
    return ticks + "".join(_mark(paper, *one, row=row) for row, one in enumerate(_marked(paper, course)))


def _marked(paper: _Paper, course: Course) -> list[tuple[float, str, str]]:
    """The moments that are marked from top to foot, with their words and style."""
    marks = []
    if course.now_s is not None and paper.begin_s <= course.now_s <= paper.end_s:
        marks.append((course.now_s, "now", "now-line"))
    if course.not_before_s is not None and course.not_before_s <= paper.end_s:
        marks.append((course.not_before_s, f"not before {not_before(course, course.not_before_s)}", "not-before-line"))
    return marks


def _mark(paper: _Paper, at_s: float, words: str, kind: str, row: int) -> str:
    x, below = paper.x(at_s), FOOT + 44 + 15 * row
    return f'<path class="{kind}" d="M{x:.1f} {TOP:g}V{below - 11:.1f}"/>' + _text(x, below, words, _anchor(x, words))


def _anchor(x: float, words: str = "00:00") -> str:
    half = len(words) * LETTER / 2
    return "start" if x - half < LEFT / 2 else "end" if x + half > WIDE - 2 else "middle"


def _tick_times(course: Course, paper: _Paper) -> list[float]:
    long_s = paper.end_s - paper.begin_s
    step = next((one for one in TICKS_S if long_s / one <= MOST_TICKS), DAY_S * np.ceil(long_s / DAY_S / MOST_TICKS))
    first = 0.0
    if course.start_ms is not None:  # full hours and quarters of the clock, not of the spraying
        local = display.local(course.start_ms)
        since_midnight = HOUR_S * local.hour + MINUTE_S * local.minute + local.second + local.microsecond / 1e6
        first = -since_midnight % step
    return [float(at) for at in np.arange(first, paper.end_s + 1.0, step) if at >= paper.begin_s]
