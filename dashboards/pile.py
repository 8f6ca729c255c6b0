"""The drawing of a stack as it is seen from its end: board ends in rows on their stickers, each a link.

One SVG of our own in the colour of the text around it. More ink is more water; a board's figure stands in it, and a
board that has been weighed has a thick edge. Thickness and width are in proportion to each other as far as a finger
and the writing leave room: thin boards are all drawn taller by the same factor.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from markupsafe import Markup, escape

from dashboards import marks
from kiln.evidence import now_index
from kiln.records import Word

MOST_DRAWN = 24
WIDTH = 360.0
EDGE, GAP = 3.0, 6.0
STICKER, BEARER, GROUND = 18.0, 18.0, 4.0
LEAST_HIGH, MOST_HIGH = 42.0, 72.0  # with its sticker a board is 48 px high, a finger's width, on the narrowest phone
TWO_LINES_HIGH = 37.0
THICK = 4.0  # edge of a board that was weighed
THIN_HIGH = 26.0  # a thin one beside thick ones: its figure just fits
MANY = 8  # boards, beyond which three lie in a row
LETTER, WRITING = 8.9, 15.0  # width of a letter, and the size of the writing
BESIDE, ROUND = 18.0, 8.0  # room for a mark, and around the writing
EPSILON = 1e-6  # a board that is just wide enough for its writing is
CHALKED = (Word.STOP, Word.CANT_SAY)  # words whose mark stands in the drawing itself


@dataclass(frozen=True)
class BoardEnd:
    """One board as it is drawn in a pile."""

    code: str
    name: str
    link: str
    mc_pct: float | None  # None: not known, drawn as an outline
    word: Word
    thickness_m: float
    width_m: float
    weighed: bool


@dataclass(frozen=True)
class Key:
    """One line of what the drawing means."""

    swatch: Markup = field(metadata={"help": "The texture or mark itself"})
    text: str = field(metadata={"help": "What it stands for"})


def ends(boards: Sequence[Any]) -> list[BoardEnd]:
    """Return boards as they are drawn, the first one lowest; no more of them than can be told apart."""
    return [
        BoardEnd(
            code=one.subject.code,
            name=one.fact.name,
            link=f"/board/{one.subject.code}",
            mc_pct=_mean_pct(one.projection),
            word=one.verdict.word,
            thickness_m=one.fact.thickness_m,
            width_m=one.fact.width_m,
            weighed=bool(one.weigh_ins),
        )
        for one in boards[:MOST_DRAWN]
    ]


def _mean_pct(made: Any) -> float | None:
    return None if made is None or len(made.at_ms) == 0 else float(made.mean.p50[now_index(made)])


def pile(some: Sequence[BoardEnd], identity: str) -> Markup:
    """Return the drawing; ``identity`` tells its patterns from those of other drawings on the page."""
    rows = _rows(some)
    tall = [max(high for _end, _left, _wide, high in row) for row in rows]
    height = sum(tall) + STICKER * max(len(rows), 1) + BEARER + GROUND + 2 * EDGE
    parts = [f"<defs>{marks.PATTERNS.format(id=identity)}</defs>"] if rows else []
    foot = height - BEARER - GROUND - EDGE
    parts.append(_standing_on(foot))
    for number, (row, high) in enumerate(zip(rows, tall, strict=True)):
        if number:
            parts.append(_sticker(foot - STICKER))
            foot -= STICKER
        parts += [_end(end, identity, left, foot - own, wide, own) for end, left, wide, own in row]
        foot -= high
    return Markup(
        f'<svg class="pile" viewBox="0 0 {WIDTH:g} {height:.0f}" role="{"group" if rows else "img"}" '
        f'aria-label="{_told(some)}">{"".join(parts)}</svg>'
    )


def _told(some: Sequence[BoardEnd]) -> str:
    told = "; ".join(f"{end.code} {marks.shown_mc(end.mc_pct)}" for end in some)
    return escape(f"Boards from below: {told}") if told else escape("an empty stack")


Placed = tuple[BoardEnd, float, float, float]  # with its left edge, width and height


def _rows(some: Sequence[BoardEnd]) -> list[list[Placed]]:
    """Lay the boards, the first lowest and to the left."""
    if not some:
        return []
    in_row = 2 if len(some) <= MANY else 3
    column = (WIDTH - 2 * EDGE - (in_row - 1) * GAP) / in_row
    thickest, widest = max(end.thickness_m for end in some), max(end.width_m for end in some)
    across = min(column / widest, MOST_HIGH / thickest)
    up = min(max(across, LEAST_HIGH / min(end.thickness_m for end in some)), MOST_HIGH / thickest)
    found = []
    for start in range(0, len(some), in_row):
        left, row = EDGE, []
        for end in some[start : start + in_row]:
            wide = min(column, max(end.width_m * across, _least_wide(end, column)))
            row.append((end, left, wide, max(THIN_HIGH, end.thickness_m * up)))
            left += wide + GAP
        found.append(row)
    return found


def _least_wide(end: BoardEnd, column: float) -> float:
    """So wide that its figure can be read in it."""
    return min(column, LETTER * len(_text(end, column)) + ROUND + _mark_width(end))


def _mark_width(end: BoardEnd) -> float:
    return BESIDE if end.word in CHALKED else 0.0


def _text(end: BoardEnd, wide: float) -> str:
    """Code and, where it is known, figure; of a long code its end, which tells boards of one stack apart."""
    figure = "" if end.mc_pct is None else f" {marks.shown_mc(end.mc_pct)}"
    room = math.floor((wide - ROUND - _mark_width(end)) / LETTER + EPSILON) - len(figure)
    if len(end.code) <= room:
        return f"{end.code}{figure}"
    return f"…{end.code[-(room - 1) :]}{figure}" if room > 2 else figure.strip()


def _end(end: BoardEnd, identity: str, left: float, top: float, wide: float, high: float) -> str:
    dash = ' stroke-dasharray="7 5"' if end.mc_pct is None else ""
    label = escape(f"{_text(end, wide)}, {end.name}, {end.word.value}")
    return (
        f'<a href="{escape(end.link)}" aria-label="{label}">'
        f'<rect class="touch" x="{left - GAP / 2:.1f}" y="{top - STICKER:.1f}" width="{wide + GAP:.1f}" '
        f'height="{high + STICKER:.1f}" fill="none" pointer-events="all"/>'
        f'<rect class="end" x="{left:.1f}" y="{top:.1f}" width="{wide:.1f}" height="{high:.1f}" '
        f'fill="{marks.fill(identity, end.mc_pct)}" stroke="currentColor" '
        f'stroke-width="{THICK if end.weighed else 1.5}"{dash}/>{_written(end, left, top, wide, high)}</a>'
    )


def _written(end: BoardEnd, left: float, top: float, wide: float, high: float) -> str:
    """Mark, code and figure on a plate of paper, on two lines where one would hide the texture."""
    text, beside = _text(end, wide), _mark_width(end)
    code, _, figure = text.partition(" ")
    two = high >= TWO_LINES_HIGH and LETTER * len(text) + beside > wide * 0.7 and bool(figure)
    lines = (code, figure) if two else (text,)
    plate = min(wide - 5, LETTER * max(map(len, lines)) + ROUND + beside)
    tall = 17.0 * len(lines) + 3
    x, middle = left + (wide - plate) / 2, top + high / 2
    body = f'<rect x="{x:.1f}" y="{middle - tall / 2:.1f}" width="{plate:.1f}" height="{tall:g}" fill="{marks.PAPER}"/>'
    if beside:
        body += (
            f'<svg x="{x + 2:.1f}" y="{middle - 8:.1f}" width="16" height="16" viewBox="0 0 100 100">'
            f"{marks.JOINTS[end.word]}</svg>"
        )
    for number, line in enumerate(lines):
        y = middle + 5.4 + 17.0 * (number - (len(lines) - 1) / 2)
        body += (
            f' <text x="{x + beside + (plate - beside) / 2:.1f}" y="{y:.1f}" text-anchor="middle" '
            f'font-size="{WRITING:g}" font-weight="650" fill="currentColor">{escape(line)}</text>'
        )
    return body


def _sticker(top: float) -> str:
    """A sticker seen along its length, as it runs across all boards of a row."""
    return (
        f'<rect x="0.75" y="{top + 3.5:.1f}" width="{WIDTH - 1.5:g}" height="{STICKER - 7:g}" fill="{marks.PAPER}" '
        'stroke="currentColor" stroke-width="1.5"/>'
    )


def _standing_on(top: float) -> str:
    """The bearer under the lowest row, on its blocks and the ground."""
    blocks = "".join(f"M{x:g} {top + 9:.1f}h34v{BEARER - 9:g}h-34z" for x in (14, 163, 312))
    ground = top + BEARER
    return (
        f'<rect x="1" y="{top + 2.5:.1f}" width="{WIDTH - 2:g}" height="6.5" fill="currentColor"/>'
        f'<path d="{blocks}" fill="{marks.PAPER}" stroke="currentColor" stroke-width="1.5"/>'
        f'<path d="M0 {ground:.1f}H{WIDTH:g}" stroke="currentColor" stroke-width="2.5"/>'
    )


def key(some: Sequence[BoardEnd]) -> tuple[Key, ...]:
    """Return what the drawing means, drawn with the same textures; of marks only those that stand in it."""
    if not some:
        return ()
    limits = [f"{least:g}" for least, _name in marks.TEXTURES]
    below = [f"{least - 1:g}" for least, _name in marks.TEXTURES]
    told = [
        (f"from {limits[0]} %", marks.TEXTURES[0][0]),
        (f"{limits[1]} to {below[0]} %", marks.TEXTURES[1][0]),
        (f"{limits[2]} to {below[1]} %", marks.TEXTURES[2][0]),
        (f"below {limits[2]} %", 0.0),
    ]
    found = [Key(_swatch(marks.fill("key", mc_pct)), text) for text, mc_pct in told]
    if any(end.mc_pct is None for end in some):
        found.append(Key(_swatch("none", dash=' stroke-dasharray="7 5"'), "broken: not known"))
    if any(end.weighed for end in some):
        found.append(Key(_swatch(marks.PAPER, width=THICK), "thick: weighed"))
    for word in CHALKED:
        if any(end.word is word for end in some):
            found.append(Key(marks.joint(word), word.value))
    first = Key(Markup(f"{found[0].swatch}".replace(">", f"><defs>{marks.PATTERNS.format(id='key')}</defs>", 1)), "")
    return (Key(first.swatch, found[0].text), *found[1:])


def _swatch(fill: str, width: float = 1.5, dash: str = "") -> Markup:
    edge = f'stroke="currentColor" stroke-width="{width}"{dash}'
    return Markup(
        '<svg class="swatch" viewBox="0 0 48 26" aria-hidden="true">'
        f'<rect x="3" y="3" width="42" height="20" fill="{fill}" {edge}/></svg>'
    )


def not_drawn(boards: Sequence[Any]) -> str:
    """Say how many boards are left out of the drawing; empty: none."""
    left = len(boards) - MOST_DRAWN
    if left <= 0:
        return ""
    return f"The first {MOST_DRAWN} are drawn; {left} more {'is' if left == 1 else 'are'} listed below."
