"""Small drawings beside a line: how a probe stands, what kind of task it is, a stack no larger than a thumb.

As with the marks of verdicts, shape carries the meaning and the line beside it says it in words.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from markupsafe import Markup, escape

from dashboards import marks
from dashboards.pile import BoardEnd
from kiln.records import Word

_INK = 'fill="none" stroke="currentColor" stroke-width="8"'
_STRING = '<path d="M50 4v24" stroke="currentColor" stroke-width="5"/>'
_CASE = "M34 30h32v60H34z"
# A probe hangs on its string: solid when it is heard, hollow and crossed out when nothing comes from it.
PROBES = {
    "heard": f'{_STRING}<path d="{_CASE}" fill="currentColor"/><path {_INK} d="M16 42q-9 18 0 36M84 42q9 18 0 36"/>',
    "silent": f'{_STRING}<path {_INK} d="{_CASE}"/><path {_INK} d="M10 92L90 28"/>',
    "stuck": f'{_STRING}<path {_INK} d="{_CASE}"/><path {_INK} d="M4 50h26M4 70h26M70 50h26M70 70h26"/>',
    "not believed": f'{_STRING}<path {_INK} d="{_CASE}"/>'
    f'<path {_INK} d="M8 46l18 30M26 46L8 76M74 46l18 30M92 46L74 76"/>',
    # Off its string, on its side.
    "unplaced": f'<path {_INK} d="M20 60h60v32H20z"/><path {_INK} d="M38 22c0-19 26-17 24 0 0 9-12 9-12 20"/>',
    "never heard": f'{_STRING}<path {_INK} stroke-dasharray="11 8" d="{_CASE}"/>',
}
TASKS = {
    # A beam with two pans.
    "weigh": f'<path {_INK} d="M50 12v74M26 88h48M12 30h76M12 30v18M88 30v18M0 50h24q-2 16-12 16T0 50z'
    'M76 50h24q-2 16-12 16t-12-16z"/>',
    # A board's face, and what may be on it.
    "look": f'<path {_INK} d="M6 18h88v64H6z"/><circle cx="36" cy="46" r="11" fill="currentColor"/>'
    '<circle cx="64" cy="58" r="7" fill="currentColor"/>',
}


def probe(state: str) -> Markup:
    """Return the mark of how a probe stands; the word stands beside it."""
    return _small(PROBES.get(state, PROBES["never heard"]))


def task(kind: str) -> Markup:
    """Return the mark of a task that is no verdict's."""
    return _small(TASKS[kind])


def _small(body: str) -> Markup:
    return Markup(f'<svg class="small-mark" viewBox="0 0 100 100" aria-hidden="true">{body}</svg>')


MOST_ROWS = 4
MOST_IN_A_ROW = 6
WIDE, TALL, STICKER = 100.0, 15.0, 4.0
_PATTERNS = (
    '<pattern id="{id}-dots" width="5" height="5" patternUnits="userSpaceOnUse">'
    '<circle cx="1.3" cy="1.3" r="1.3"/><circle cx="3.8" cy="3.8" r="1.3"/></pattern>'
    '<pattern id="{id}-close" width="3.4" height="3.4" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<path d="M0 0V4" stroke="currentColor" stroke-width="1.6"/></pattern>'
    '<pattern id="{id}-open" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<path d="M0 0V7" stroke="currentColor" stroke-width="1.3"/></pattern>'
)


def small_pile(ends: Sequence[BoardEnd], identity: str) -> Markup:
    """Return a stack from its end as a sign: as wet as its boards, without figures and without links."""
    shown = ends[: MOST_ROWS * MOST_IN_A_ROW]
    if not shown:
        return Markup()
    in_row = max(1, math.ceil(len(shown) / MOST_ROWS), min(2, len(shown)))
    rows = [shown[start : start + in_row] for start in range(0, len(shown), in_row)]
    height = len(rows) * (TALL + STICKER) + 3
    parts = [f"<defs>{_PATTERNS.format(id=identity)}</defs>"]
    for number, row in enumerate(rows):
        top = height - 5 - (number + 1) * (TALL + STICKER) + STICKER
        wide = WIDE / in_row
        parts += [_end(end, identity, column * wide + 2, top, wide - 4) for column, end in enumerate(row)]
        parts.append(
            f'<path d="M0 {top + TALL + 2:.1f}H{WIDE:g}" stroke="currentColor" stroke-width="2" opacity=".5"/>'
        )
    parts.append(f'<path d="M0 {height - 2:.1f}H{WIDE:g}" stroke="currentColor" stroke-width="4"/>')
    return Markup(
        f'<svg class="small-pile" viewBox="0 0 {WIDE:g} {height:g}" role="img" '
        f'aria-label="{escape(_told(ends))}">{"".join(parts)}</svg>'
    )


def _end(end: BoardEnd, identity: str, left: float, top: float, width: float) -> str:
    thick = 3.5 if end.word is Word.STOP else 1.6
    dash = ' stroke-dasharray="4 3"' if end.mc_pct is None else ""
    return (
        f'<rect x="{left:.1f}" y="{top:.1f}" width="{width:.1f}" height="{TALL:g}" '
        f'fill="{marks.fill(identity, end.mc_pct)}" stroke="currentColor" stroke-width="{thick}"{dash}/>'
    )


def _told(ends: Sequence[BoardEnd]) -> str:
    known = [end.mc_pct for end in ends if end.mc_pct is not None and math.isfinite(end.mc_pct)]
    if not known:
        return "Boards seen from the end, how wet is not known"
    low, high = f"{min(known):.0f}", f"{max(known):.0f}"
    return f"Boards seen from the end, {low if low == high else f'{low} to {high}'} % moisture"
