"""Drawings of air made on the server: a place's EMC over a day, and temperature against humidity.

The second has the lines on which wood holds the same moisture drawn across it, so that a person sees at one glance
what the air does to wood. Text is text, everything is drawn in the colour of the text around it, and what is told by
place and shape is told beside the drawing in words too.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from markupsafe import Markup, escape

from dashboards import display
from dashboards.air_wanted import Wanted
from kiln import sorption
from shared.units import MS_PER_HOUR

EMC_LEVELS_PCT = (6.0, 8.0, 10.0, 12.0, 14.0, 16.0, 20.0)
WIDE, HIGH = 400.0, 420.0
LEFT, RIGHT, TOP, BOTTOM = 46.0, 396.0, 26.0, 384.0
LETTER_WIDTH, LINE_HEIGHT = 7.0, 15.0  # of the drawing's text, so that no name lies on another
LEAST_WIDTH_C, STEP_C = 20.0, 5.0
LOWEST_SHOWN_RH_PCT = 20.0
LONGEST_NAME = 18  # letters of a place's name on the drawing; beside it stands all of it
LEAST_TICK = 4.0  # hours nearer to each other than this have a tick only every third
HATCHES = ("45", "-45", "0")
SHAPES = {  # of other places, about the point 0 0
    "square": "M-6-6H6V6H-6z",
    "triangle": "M0-8L7 6H-7z",
    "diamond": "M0-8L8 0 0 8-8 0z",
    "cross": "M-2.5-7h5v4.5H7v5H2.5V7h-5V2.5H-7v-5h4.5z",
    "hourglass": "M-7-7H7L-7 7H7z",
    "tent": "M-8 6V0L0-8 8 0V6z",
}


@dataclass(frozen=True)
class Spot:
    """Air at one moment, somewhere."""

    name: str
    link: str
    temperature_c: float
    rh_pct: float


@dataclass(frozen=True)
class Course:
    """The hours of a place's air: an hour that is not known is not there."""

    at_ms: Sequence[int]
    temperature_c: Sequence[float]
    rh_pct: Sequence[float]


@dataclass(frozen=True)
class _Paper:
    """Where temperature and humidity lie on the drawing."""

    low_c: float
    high_c: float
    low_rh_pct: float

    def x(self, t_c: float) -> float:
        return LEFT + (RIGHT - LEFT) * (t_c - self.low_c) / (self.high_c - self.low_c)

    def y(self, rh_pct: float) -> float:
        return TOP + (BOTTOM - TOP) * (100.0 - rh_pct) / (100.0 - self.low_rh_pct)

    def path(self, t_c: Sequence[float], rh_pct: Sequence[float]) -> str:
        return "M" + "L".join(f"{self.x(t):.1f} {self.y(rh):.1f}" for t, rh in zip(t_c, rh_pct, strict=True))


class _Names:
    """Places names where they lie on none that stands already."""

    def __init__(self) -> None:
        self.boxes: list[tuple[float, float, float, float]] = []

    def put(self, text: str, x: float, y: float, size: float = 13.0) -> str:
        """Return a name near a point: right of it, or left where that is full or the drawing ends, else up or down."""
        width = len(text) * LETTER_WIDTH * size / 13.0
        sides = [x + 11, x - 11 - width] if x + 11 + width <= RIGHT else [x - 11 - width]
        around = [(left, y + shift) for shift in _shifts() for left in sides if left >= LEFT]
        left, at = next((one for one in around if self._free(*one, width)), (sides[0], y))
        self.boxes.append((left, at, width, LINE_HEIGHT))
        anchor, begin = ("start", left) if left > x else ("end", left + width)
        return _text(text, begin, at + 4.5, anchor, size)

    def take(self, x: float, y: float, width: float) -> None:
        """Keep a place free of names."""
        self.boxes.append((x, y, width, LINE_HEIGHT))

    def _free(self, x: float, y: float, width: float) -> bool:
        inside = TOP + 6 <= y <= BOTTOM - 6
        return inside and all(
            x + width < bx or bx + bw < x or abs(y - by) >= LINE_HEIGHT for bx, by, bw, _ in self.boxes
        )


def _shifts() -> Sequence[float]:
    return (0.0, *(sign * LINE_HEIGHT * step for step in (1, 2, 3, 4, 5) for sign in (1, -1)))


def short(name: str) -> str:
    """Return a place's name as the drawing has room for it: up to a comma, and whole words."""
    first = name.partition(",")[0].strip()
    if len(first) <= LONGEST_NAME:
        return first
    cut = first[:LONGEST_NAME].rpartition(" ")[0] or first[: LONGEST_NAME - 1]
    return f"{cut}…"


def _text(text: str, x: float, y: float, anchor: str = "start", size: float = 13.0, kind: str = "") -> str:
    style = f' class="{kind}"' if kind else ""
    return f'<text{style} x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size:g}">{escape(text)}</text>'


@lru_cache(maxsize=200)
def contour(level_pct: float, low_c: float, high_c: float) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return the air in which wood rests at ``level_pct``: temperatures and humidities, one for each degree.

    It begins at the least temperature for which the sorption equation stands.
    """
    begin = max(low_c, sorption.LOWEST_C)
    t = np.linspace(begin, high_c, max(2, round(high_c - begin) + 1))
    return tuple(t.tolist()), tuple(sorption.rh_pct_from_emc(t, level_pct).tolist())


def shape_of(index: int) -> str:
    """Return the path of the shape that another place is drawn as."""
    return tuple(SHAPES.values())[index % len(SHAPES)]


def shape_name(index: int) -> str:
    """Return what that shape is called."""
    return tuple(SHAPES)[index % len(SHAPES)]


def sign(index: int) -> Markup:
    """Return the shape alone, to stand in a list."""
    return Markup(
        f'<svg class="sign" viewBox="-10 -10 20 20" aria-hidden="true">'
        f'<path fill="currentColor" d="{shape_of(index)}"/></svg>'
    )


def trade_view(here: Spot | None, day: Course, others: Sequence[Spot], wanted: Sequence[Wanted], label: str) -> Markup:
    """Return temperature against humidity with the lines of equal moisture; ``label`` says the same in words."""
    paper, names = _paper(here, day, others, wanted), _Names()
    body = [_frame(paper), *(_strip(paper, one, index) for index, one in enumerate(wanted))]
    body += [_contour(paper, names, level) for level in EMC_LEVELS_PCT]
    body.append(_worm(paper, names, day))
    if here is not None:
        body.append(_here(paper, names, here))
    body += [_other(paper, names, spot, index) for index, spot in enumerate(others)]
    hatches = "".join(_hatch(index) for index in range(min(len(wanted), len(HATCHES))))
    return Markup(
        f'<svg class="trade" viewBox="0 0 {WIDE:g} {HIGH:g}" role="img" aria-label="{escape(label)}">'
        f"<defs>{hatches}</defs>{''.join(body)}</svg>"
    )


def _paper(here: Spot | None, day: Course, others: Sequence[Spot], wanted: Sequence[Wanted]) -> _Paper:
    spots = [*others] if here is None else [here, *others]
    t = [*day.temperature_c, *(one.temperature_c for one in (*spots, *wanted))] or [20.0]
    rh = [*day.rh_pct, *(one.rh_pct for one in (*spots, *wanted)), LOWEST_SHOWN_RH_PCT]
    low, high = STEP_C * math.floor((min(t) - 1) / STEP_C), STEP_C * math.ceil((max(t) + 1) / STEP_C)
    while high - low < LEAST_WIDTH_C:
        low, high = (low - STEP_C, high) if (high - low) % (2 * STEP_C) else (low, high + STEP_C)
    return _Paper(low, high, 10.0 * math.floor(min(rh) / 10.0))


def _frame(paper: _Paper) -> str:
    step_c = STEP_C if paper.high_c - paper.low_c <= 6 * STEP_C else 2 * STEP_C
    rows = np.arange(paper.low_rh_pct, 101.0, 20.0 if paper.low_rh_pct <= 20 else 10.0)
    columns = np.arange(step_c * math.ceil(paper.low_c / step_c), paper.high_c + 0.1, step_c)
    grid = "".join(f"M{LEFT:g} {paper.y(rh):.1f}H{RIGHT:g}" for rh in rows)
    grid += "".join(f"M{paper.x(t):.1f} {TOP:g}V{BOTTOM:g}" for t in columns)
    marks = [_text(f"{rh:.0f} %", LEFT - 5, paper.y(rh) + 4.5, "end") for rh in rows]
    marks += [
        _text(display.with_unit(float(t), "°C", 0), min(paper.x(t), RIGHT - 18), BOTTOM + 17, "middle") for t in columns
    ]
    marks.append(_text("temperature", (LEFT + RIGHT) / 2, BOTTOM + 33, "middle"))
    marks.append(_text("relative humidity", 2, 12))
    edge = f'<path class="edge" d="M{LEFT:g} {TOP:g}V{BOTTOM:g}H{RIGHT:g}"/>'
    return f'<path class="grid" d="{grid}"/>{edge}{"".join(marks)}'


def _hatch(index: int) -> str:
    return (
        f'<pattern id="hatch-{index}" width="9" height="9" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate({HATCHES[index]})"><path d="M0 0V9" class="hatch"/></pattern>'
    )


def _strip(paper: _Paper, one: Wanted, index: int) -> str:
    """The air in which a piece at rest suits a use, between two lines of equal moisture; a ring at what is asked."""
    t, low = contour(one.emc_low_pct, paper.low_c, paper.high_c)
    _, high = contour(one.emc_high_pct, paper.low_c, paper.high_c)
    low, high = (np.clip(rh, paper.low_rh_pct, 100.0).tolist() for rh in (low, high))
    d = paper.path([*t, *reversed(t)], [*high, *reversed(low)])
    ring = f'<circle class="asked" cx="{paper.x(one.temperature_c):.1f}" cy="{paper.y(one.rh_pct):.1f}" r="7"/>'
    return f'<path class="wanted" fill="url(#hatch-{index % len(HATCHES)})" d="{d}z"/>{ring}'


def _contour(paper: _Paper, names: _Names, level_pct: float) -> str:
    t, rh = contour(level_pct, paper.low_c, paper.high_c)
    kept = [(one, humid) for one, humid in zip(t, rh, strict=True) if paper.low_rh_pct <= humid <= 99.9]
    if len(kept) < 2:
        return ""
    text = f"{level_pct:g} %"
    x, y, width = RIGHT - 3, paper.y(kept[-1][1]), (len(text) + 1) * LETTER_WIDTH
    names.take(x - width, y, width)
    # The curve ends where its figure begins.
    drawn = [one for one in kept if paper.x(one[0]) <= x - width] or kept[:2]
    line = paper.path(*zip(*drawn, strict=True))
    return f'<path class="contour" d="{line}"/>{_text(text, x, y + 4.5, "end", 13.0, "on-line")}'


def _worm(paper: _Paper, names: _Names, day: Course) -> str:
    """The way of the air from hour to hour, thicker and darker towards its end, with a tick at each hour."""
    drawn, count = [], len(day.at_ms)
    for index in range(1, count):
        if day.at_ms[index] - day.at_ms[index - 1] > MS_PER_HOUR:
            continue  # an hour in between is not known
        share = index / max(count - 1, 1)
        ends = [(paper.x(day.temperature_c[one]), paper.y(day.rh_pct[one])) for one in (index - 1, index)]
        drawn.append(
            f'<path class="worm" stroke-width="{1 + 3.5 * share:.1f}" stroke-opacity="{0.35 + 0.65 * share:.2f}" '
            f'd="M{ends[0][0]:.1f} {ends[0][1]:.1f}L{ends[1][0]:.1f} {ends[1][1]:.1f}"/>'
        )
        every_third = display.local(day.at_ms[index]).hour % 3 == 0
        if every_third or math.dist(*ends) >= LEAST_TICK:
            drawn.append(_tick(*ends, share))
    labelled: list[tuple[float, float]] = []
    for at_ms, t, rh in zip(day.at_ms, day.temperature_c, day.rh_pct, strict=True):
        at, spot = display.local(at_ms), (paper.x(t), paper.y(rh))
        # Where the air hardly moves one hour's name would stand for all.
        if at.hour % 6 == 0 and at.minute == 0 and all(math.dist(spot, one) >= LINE_HEIGHT for one in labelled):
            labelled.append(spot)
            drawn.append(names.put(f"{at:%H} h", *spot, 12.0))
    return "".join(drawn)


def _tick(begin: tuple[float, float], end: tuple[float, float], share: float) -> str:
    dx, dy = end[0] - begin[0], end[1] - begin[1]
    length = math.hypot(dx, dy)
    across, along = (-dy / length, dx / length) if length > 0.5 else (0.0, 1.0)
    half = 3.0 + 1.5 * share
    a, b = (end[0] - half * across, end[1] - half * along), (end[0] + half * across, end[1] + half * along)
    return f'<path class="hour" d="M{a[0]:.1f} {a[1]:.1f}L{b[0]:.1f} {b[1]:.1f}"/>'


def _here(paper: _Paper, names: _Names, here: Spot) -> str:
    x, y = paper.x(here.temperature_c), paper.y(here.rh_pct)
    return f'<circle class="now" cx="{x:.1f}" cy="{y:.1f}" r="8"/>{names.put(short(here.name), x + 2, y)}'


def _other(paper: _Paper, names: _Names, spot: Spot, index: int) -> str:
    x, y = paper.x(spot.temperature_c), paper.y(spot.rh_pct)
    shape = f'<path class="spot" transform="translate({x:.1f} {y:.1f})" d="{shape_of(index)}"/>'
    return shape + names.put(short(spot.name), x, y)


LINE_WIDE, LINE_HIGH = 100.0, 30.0
EDGE = 3.0  # of paper around the line
FLATTEST_MC_PCT = 1.0  # a day that moves less is drawn as flat as it is


def emc_of(day: Course) -> list[float]:
    """Return the EMC of each hour of a course [%MC]; below the equation's least temperature that of the least."""
    t = np.clip(np.asarray(day.temperature_c), sorption.LOWEST_C, sorption.HIGHEST_C)
    return [float(one) for one in sorption.emc_pct(t, np.asarray(day.rh_pct))]


def day_line(day: Course, start_ms: int, end_ms: int) -> Markup:
    """Return the EMC of a place over a day as a line; a gap stays a gap. Empty where nothing is on record."""
    if not day.at_ms:
        return Markup("")
    emc = emc_of(day)
    middle, reach = (min(emc) + max(emc)) / 2, max(max(emc) - min(emc), FLATTEST_MC_PCT)
    x = [LINE_WIDE * (at_ms - start_ms) / (end_ms - start_ms) for at_ms in day.at_ms]
    y = [LINE_HIGH / 2 - (LINE_HIGH - 2 * EDGE) * (one - middle) / reach for one in emc]
    d = ""
    for index, at_ms in enumerate(day.at_ms):
        joined = index > 0 and at_ms - day.at_ms[index - 1] <= MS_PER_HOUR
        d += f"{'L' if joined else 'M'}{x[index]:.1f} {y[index]:.1f}" + ("" if joined else "h.1")
    return Markup(
        f'<svg class="day-line" viewBox="0 0 {LINE_WIDE:g} {LINE_HIGH:g}" aria-hidden="true">'
        f'<path class="foot-line" d="M0 {LINE_HIGH:g}H{LINE_WIDE:g}"/><path class="emc-line" d="{d}"/></svg>'
    )


def day_reach(day: Course) -> str:
    """Return the least and greatest EMC of a day in words; empty where nothing is on record."""
    if not day.at_ms:
        return ""
    emc = emc_of(day)
    return f"{display.number(min(emc))}–{display.number(max(emc))} %"
