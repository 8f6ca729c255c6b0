"""The drawing of what boards weigh beside the published figures: a line, and at its end a block from light to heavy.

Equal steps to the right are equal multiples of weight, so that a plank and a log stand in one drawing. The strip in
which published figures lie is hatched; what lies to the right of it is over all of them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from markupsafe import Markup, escape

from dashboards import heavy, marks
from dashboards.heavy import Mass
from kiln import lifting
from shared.tables import constants

WIDTH, EDGE = 360.0, 14.0
HEAD, ROW, FOOT = 26.0, 46.0, 28.0
LETTER, WRITING = 7.6, 14.0
BAR = 12.0
MOST_DRAWN = 8
LEAST_KG = 5.0  # the left end
BEYOND = 1.15  # how far the axis goes past the heaviest
LEAST_RIGHT_KG = 60.0
TICKS_KG = (5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000)
TICKS_APART = 34.0


def scale(boards: Sequence[tuple[str, Mass]]) -> Markup:
    """Return the drawing of some boards by name, the heaviest first; empty where none has a figure."""
    some = [(name, one) for name, one in boards if one.kg is not None and one.most_kg is not None][:MOST_DRAWN]
    if not some:
        return Markup("")
    right_kg = max(LEAST_RIGHT_KG, BEYOND * max(one.most_kg or 0.0 for _name, one in some))
    height = HEAD + ROW * len(some) + FOOT
    parts = [_hatch(), _strip(right_kg, height), _axis(right_kg, height)]
    for at, (name, one) in enumerate(some):
        parts.append(_board(name, one, right_kg, HEAD + ROW * at))
    told = "; ".join(f"{name} {heavy.drawn(one)}" for name, one in some)
    return Markup(
        f'<svg class="weights" viewBox="0 0 {WIDTH:g} {height:g}" role="img" '
        f'aria-label="{escape(f"{told}. Published figures lie between {_figures()}.")}">{"".join(parts)}</svg>'
    )


def _x(kg: float, right_kg: float) -> float:
    share = math.log(max(kg, LEAST_KG) / LEAST_KG) / math.log(right_kg / LEAST_KG)
    return EDGE + share * (WIDTH - 2 * EDGE)


def _ends() -> tuple[float, float]:
    return lifting.looked_at_kg(), constants("reclaimed")["lift_most"].value


def _figures() -> str:
    low, high = _ends()
    return f"{low:g} and {high:g} kg"


def _hatch() -> str:
    return (
        '<defs><pattern id="weights-hatch" width="6" height="6" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><path d="M0 0V6" stroke="currentColor" stroke-width="1.4"/></pattern></defs>'
    )


def _strip(right_kg: float, height: float) -> str:
    """Where the published figures lie."""
    left, right = (_x(one, right_kg) for one in _ends())
    low, high = _ends()
    sides = "".join(
        f'<path d="M{x:.1f} {HEAD - 6:g}V{height - FOOT:g}" stroke="currentColor" stroke-width="1.5"/>'
        for x in (left, right)
    )
    return (
        f'<rect x="{left:.1f}" y="{HEAD - 6:g}" width="{right - left:.1f}" height="{height - FOOT - HEAD + 6:g}" '
        f'fill="url(#weights-hatch)" opacity="0.35"/>{sides}'
        f'<text x="{left:.1f}" y="14" font-size="{WRITING - 1:g}" fill="currentColor">published: {low:g} to {high:g} kg'
        "</text>"
    )


def _axis(right_kg: float, height: float) -> str:
    foot = height - FOOT
    parts = [f'<path d="M{EDGE:g} {foot:g}H{WIDTH - EDGE:g}" stroke="currentColor" stroke-width="2"/>']
    last = -TICKS_APART
    for kg in TICKS_KG:
        if kg > right_kg:
            break
        x = _x(kg, right_kg)
        parts.append(f'<path d="M{x:.1f} {foot:g}v6" stroke="currentColor" stroke-width="1.5"/>')
        if x - last < TICKS_APART:
            continue
        last = x
        anchor = "start" if kg == TICKS_KG[0] else "middle"
        shown = f"{kg} kg" if kg == TICKS_KG[0] else f"{kg}"
        parts.append(
            f'<text x="{x if anchor == "middle" else x - 6:.1f}" y="{foot + 21:g}" text-anchor="{anchor}" '
            f'font-size="{WRITING - 1:g}" fill="currentColor">{shown}</text>'
        )
    return "".join(parts)


def _board(name: str, one: Mass, right_kg: float, top: float) -> str:
    """A board's name with its heaviest end, on a plate of paper, over its bar; a soaked end is drawn hollow."""
    low, _middle, high = one.kg or (0.0, 0.0, 0.0)
    most = one.most_kg or high
    shown = _cut(name, heavy.drawn(one))
    left, right, end = _x(low, right_kg), _x(high, right_kg), _x(most, right_kg)
    middle = top + 30
    parts = [
        f'<rect x="{EDGE:g}" y="{top + 4:g}" width="{min(LETTER * len(shown), WIDTH - 2 * EDGE):.1f}" height="18" '
        f'fill="{marks.PAPER}"/>',
        f'<text x="{EDGE:g}" y="{top + 18:g}" font-size="{WRITING:g}" font-weight="650" fill="currentColor">'
        f"{escape(shown)}</text>",
        f'<path d="M{EDGE:g} {middle:g}H{left:.1f}" stroke="currentColor" stroke-width="3"/>',
        f'<rect x="{left:.1f}" y="{middle - BAR / 2:g}" width="{max(5.0, right - left):.1f}" height="{BAR:g}" '
        'fill="currentColor"/>',
    ]
    if end > right + 1:
        parts.append(
            f'<rect x="{right:.1f}" y="{middle - BAR / 2:g}" width="{end - right:.1f}" height="{BAR:g}" '
            f'fill="{marks.PAPER}" stroke="currentColor" stroke-width="2" stroke-dasharray="5 3"/>'
        )
    return "".join(parts)


def _cut(name: str, figure: str) -> str:
    """Name and figure within the width of the drawing."""
    room = math.floor((WIDTH - 2 * EDGE) / LETTER) - len(figure) - 2
    return f"{name if len(name) <= room else f'{name[: room - 1]}…'}, {figure}"
