"""A scale of temperature drawn as a joiner's rule: over it the air and the surface, under it the dew point and rules.

Below the dew point the rule is wet: it is ruled with short strokes. What is measured ends in a solid point, what is
reckoned is a hatched span, what is missed is written so. Words stand in the text; the drawing needs no colour.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations, product

from markupsafe import Markup, escape

from dashboards import display
from kiln.control import Control
from kiln.records import Three

WIDE, SIDE = 360.0, 8.0
LETTER, BOLD = 7.8, 8.7  # width of a letter of the drawing's text
ROW, FIRST = 22.0, 16.0  # height of a line of text, and where the first one stands
RULE_TALL = 44.0
LEAST_SPAN_C = 16.0
STEPS_C = (5.0, 10.0, 20.0)
NUMBER_WIDE = 54.0  # that a figure on the rule takes
LINES = {
    Control.OVER: "dew-missed",
    Control.CANT_SAY: "dew-unsure",
    Control.NOT_SHOWN: "dew-mark",
    None: "dew-edge",  # the dew point
}
MISSED = {Control.OVER: ", missed", Control.CANT_SAY: ", can't say", Control.NOT_SHOWN: ""}


@dataclass(frozen=True)
class RuleMark:
    """Where a rule wants the surface or the air to stand at least."""

    name: str
    at_c: float
    control: Control


@dataclass(frozen=True)
class Scene:
    """Everything that is drawn. None: not known."""

    dew_c: Three
    air_c: float
    surface_c: Three | None
    measured: bool  # the surface was read, and not reckoned
    cooled_c: float | None  # under thinner that evaporates, at the least
    rules: tuple[RuleMark, ...]


@dataclass(frozen=True)
class _Scale:
    low_c: float
    high_c: float

    def x(self, t_c: float) -> float:
        return SIDE + (WIDE - 2 * SIDE) * (t_c - self.low_c) / (self.high_c - self.low_c)


def drawing(scene: Scene, label: str) -> Markup:
    """Return the rule; ``label`` says the same in words."""
    scale = _scale(scene)
    over, top = _over(scene, scale)
    under, foot = _under(scene, scale, top + RULE_TALL)
    return Markup(
        f'<svg class="dew-rule" viewBox="0 0 {WIDE:g} {foot:g}" role="img" aria-label="{escape(label)}">'
        f"{_rule(scene, scale, top)}{over}{under}</svg>"
    )


def _scale(scene: Scene) -> _Scale:
    """Hold everything, in whole degrees, with room for the names of the marks at the right."""
    told = [*scene.dew_c, scene.air_c, *(one.at_c for one in scene.rules)]
    told += [] if scene.surface_c is None else list(scene.surface_c)
    told += [] if scene.cooled_c is None else [scene.cooled_c]
    low = math.floor(min(told)) - 1.0
    wanted = (_high_for(one, low) for one in _marks(scene))
    return _Scale(low, max(math.ceil(max(*told, *wanted)) + 1.0, low + LEAST_SPAN_C))


def _marks(scene: Scene) -> list[tuple[float, str, Control | None]]:
    """What hangs under the rule, the one furthest right first so that no line runs through a name."""
    rules = [(one.at_c, f"{one.name}{MISSED[one.control]}", one.control) for one in scene.rules]
    low, middle, high = scene.dew_c
    dew = f"{'frost' if middle < 0.0 else 'dew'} point {_c(middle)} ({display.number(low)}–{display.number(high)})"
    return [*sorted(rules, key=lambda one: -one[0]), (middle, dew, None)]


def _high_for(mark: tuple[float, str, Control | None], low_c: float) -> float:
    """The end of the scale at which a mark's name still has room."""
    t_c, text, _control = mark
    return low_c + (t_c - low_c) * (WIDE - 2 * SIDE) / (WIDE - SIDE - 8.0 - BOLD * len(text))


def _rule(scene: Scene, scale: _Scale, top: float) -> str:
    foot = top + RULE_TALL
    dew_x = scale.x(scene.dew_c[1])
    strokes = "".join(f"M{x:.1f} {top + 33:.1f}v{RULE_TALL - 35:g}" for x in _every(SIDE + 3, dew_x, 4.0))
    ticks = "".join(
        f"M{scale.x(t):.1f} {top:.1f}v{12 if t % 5 == 0 else 7}" for t in range(int(scale.low_c), int(scale.high_c) + 1)
    )
    return (
        f'<rect class="dew-wood" x="{SIDE}" y="{top:.1f}" width="{WIDE - 2 * SIDE:g}" height="{RULE_TALL:g}"/>'
        f'<path class="dew-wet" d="{strokes}"/><path class="dew-tick" d="{ticks}"/>'
        f'<path class="dew-edge" d="M{dew_x:.1f} {top:.1f}V{foot:.1f}"/>{_numbers(scale, top, dew_x)}'
    )


def _numbers(scale: _Scale, top: float, dew_x: float) -> str:
    """The figures on the rule, none under the line of the dew point."""
    fits = (one for one in STEPS_C if scale.x(one) - scale.x(0.0) >= NUMBER_WIDE)
    step = next(fits, STEPS_C[-1])
    first = step * math.ceil(scale.low_c / step)
    found = []
    for count in range(int((scale.high_c - first) / step) + 1):
        t = first + step * count
        inside = SIDE + NUMBER_WIDE / 2 <= scale.x(t) <= WIDE - SIDE - NUMBER_WIDE / 2
        if inside and abs(scale.x(t) - dew_x) > NUMBER_WIDE / 2:
            found.append(_text(display.with_unit(t, "°C", 0), scale.x(t), top + 28.0, "middle"))
    return "".join(found)


def _over(scene: Scene, scale: _Scale) -> tuple[str, float]:
    """The air, the surface and the cooled surface, one above the other; and where the rule begins."""
    rows = [(scene.air_c, f"room air {_c(scene.air_c)}")]
    if scene.surface_c is not None:
        how = "read" if scene.measured else "reckoned"
        rows.append((scene.surface_c[1], f"surface {_c(scene.surface_c[1])}, {how}"))
    if scene.cooled_c is not None:
        rows.append((scene.cooled_c, f"wet film {_c(scene.cooled_c)}"))
    top = FIRST + ROW * len(rows) + 6.0
    found = []
    for index, one in enumerate(_arranged([(scale.x(t_c), text) for t_c, text in rows])):
        y = FIRST + ROW * index
        found.append(f'<path class="dew-lead" d="M{one.x:.1f} {y - 12:.1f}V{top:.1f}"/>')
        found.append(_text(one.text, one.left, y, "start"))
    if scene.surface_c is not None:
        found.append(_surface(scene, scale, top))
    return "".join(found), top


def _surface(scene: Scene, scale: _Scale, top: float) -> str:
    """A solid point on the rule where it was read; a hatched span where it is reckoned; both with their error."""
    low, middle, high = (scale.x(one) for one in scene.surface_c or ())
    ends = "".join(f"M{one:.1f} {top - 8:.1f}v7" for one in (low, high))
    span = f'<path class="dew-span" d="{ends}M{low:.1f} {top - 4:.1f}H{high:.1f}"/>'
    if scene.measured:
        return f'{span}<path class="dew-point" d="M{middle:.1f} {top:.1f}l-6 -10h12z"/>'
    strokes = "".join(f"M{x:.1f} {top - 1:.1f}l4 -7" for x in _every(low, high - 3, 5.0))
    return f'{span}<path class="dew-hatch" d="{strokes}"/>'


def _under(scene: Scene, scale: _Scale, foot: float) -> tuple[str, float]:
    """The marks with their names; and where the drawing ends."""
    dew, marks = scene.dew_c, _marks(scene)
    ends = "".join(f"M{scale.x(one):.1f} {foot + 1:.1f}v8" for one in (dew[0], dew[2]))
    found = [f'<path class="dew-span" d="M{scale.x(dew[0]):.1f} {foot + 5:.1f}H{scale.x(dew[2]):.1f}{ends}"/>']
    for index, (t_c, text, control) in enumerate(marks):
        y, x = foot + ROW * (index + 1), scale.x(t_c)
        found.append(f'<path class="{LINES[control]}" d="M{x:.1f} {foot:.1f}V{y:.1f}"/>')
        found.append(_text(text, x + 7, y, "start", bold=control in (Control.OVER, None)))
    return "".join(found), foot + ROW * len(marks) + 8.0


@dataclass(frozen=True)
class _Named:
    """A line down to the rule, and where its text begins."""

    x: float
    text: str
    left: float

    @property
    def right(self) -> float:
        return self.left + LETTER * len(self.text)


def _arranged(lines: Sequence[tuple[float, str]]) -> tuple[_Named, ...]:
    """Put texts above each other, each at a side of its line, so that as few lines as can be run through one."""
    sides = [(_at_left(*one), _at_right(*one)) for one in lines]
    ways = (way for order in permutations(sides) for way in product(*order))
    return min(ways, key=_crossings)


def _crossings(way: Sequence[_Named]) -> int:
    """How many lines run through a text: its own, and those of the rows above it."""
    return sum(one.left - 2.0 < other.x < one.right + 2.0 for at, one in enumerate(way) for other in way[: at + 1])


def _at_left(x: float, text: str) -> _Named:
    return _Named(x, text, max(2.0, x - 6.0 - LETTER * len(text)))


def _at_right(x: float, text: str) -> _Named:
    return _Named(x, text, min(x + 6.0, WIDE - 2.0 - LETTER * len(text)))


def _every(begin: float, end: float, step: float) -> Sequence[float]:
    return [begin + step * count for count in range(max(0, math.ceil((end - begin) / step)))]


def _c(t_c: float) -> str:
    return display.with_unit(t_c, "°C")


def _text(text: str, x: float, y: float, anchor: str, *, bold: bool = False) -> str:
    weight = ' font-weight="700"' if bold else ""
    return (
        f'<text class="dew-text" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="15"{weight}>'
        f"{escape(text)}</text>"
    )
