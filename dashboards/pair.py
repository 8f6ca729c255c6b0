"""Two halves laid open like a book: their grain mirrored across the joint, how far they lie apart written over it.

Sizes are to scale, long halves cut short. The joint is closed where the halves agree, open in proportion where they do
not, broken where nobody can tell. Small marks stand for the other pieces of a set.
"""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup, escape

from dashboards import display
from dashboards.marks import PAPER
from kiln.records import Apart, JudgedBy, Standing
from shared.store.records import Cut, PieceKind

WIDE, TALL, EDGE = 360.0, 280.0, 6.0
LEAST_WIDE = 205.0  # of both halves, so that their figures find room; longer ones are cut short
OPEN_LEAST, OPEN_MOST, OPEN_AT_ALLOWED = 12.0, 72.0, 12.0
RINGS = 9  # lines of grain in a half
BELOW_CODE, ABOVE_FIGURES = 54.0, 90.0  # where the figure across the joint covers nothing

JUDGED = {
    JudgedBy.WEIGHTS: "By their weights: how far the farther half still is from its own resting weight, in % of it.",
    JudgedBy.BAGS: "By the air that each made in its bag.",
    JudgedBy.MODEL: (
        "By the model, how far each still is from its own rest: that need not be what their two figures differ by. "
        "Weights at rest, or a bag test of each, would tell more."
    ),
}
AGREE = {Standing.MET: "They agree.", Standing.NOT_YET: "They do not agree yet."}
AGREED = {Standing.MET: "They agreed then.", Standing.NOT_YET: "They did not agree then."}
NOBODY_KNOWS = "Whether they agree is not known."

PIECES = {  # each as it looks from the side or the end
    PieceKind.TWIN: "M8 8h30v24H8zM42 8h30v24H42z",
    PieceKind.PLATE: "M8 8h64v24H8z",
    PieceKind.BRACE: "M4 30C18 30 22 14 40 14S62 30 76 30v4H4z",
    PieceKind.BLOCK: "M26 6h28v28H26zM32 12c10 0 16 6 16 16M26 20c6 0 14 4 14 14",
    PieceKind.NECK: "M4 15l56 3 12-6 4 6-4 12-12-6-56 3z",
    PieceKind.OTHER: "M14 12h52v16H14z",
}


@dataclass(frozen=True)
class Leaf:
    """One half, as it is drawn."""

    code: str
    link: str
    mc_pct: tuple[float, float, float] | None  # p10, p50, p90 of its mean; None: not known
    width_m: float
    length_m: float
    cut: Cut


@dataclass(frozen=True)
class _Place:
    """Where a half lies in the drawing: its corner at the joint, which way it reaches from there, its size."""

    joint: float
    top: float
    way: int  # −1 to the left, 1 to the right
    wide: float
    tall: float
    short: bool  # longer than drawn

    @property
    def middle(self) -> float:
        return self.joint + self.way * self.wide / 2


def pair(left: Leaf, right: Leaf, apart: Apart | None) -> Markup:
    """Return two halves laid open, with how far they lie apart across their joint; ``apart`` None: not known."""
    scale, tallest = _scale(left, right)
    gap = opening(apart)
    middle = WIDE / 2 + scale * (left.width_m - right.width_m) / 2
    places = [_place(leaf, middle + way * gap / 2, way, scale, tallest) for leaf, way in ((left, -1), (right, 1))]
    known = apart is not None and apart.standing is not Standing.NOT_KNOWN
    drawn = [_leaf(leaf, at, known) for leaf, at in zip((left, right), places, strict=True)]
    if gap == 0.0:
        drawn.append(f'<path d="M{middle:.1f} {EDGE}V{EDGE + tallest:.1f}" stroke="currentColor" stroke-width="2"/>')
    head, below = across_words(apart)
    clear = min(tallest / 2, tallest - ABOVE_FIGURES)
    drawn.append(_label(middle, EDGE + max(BELOW_CODE, clear), head, below))
    told = "; ".join(f"{leaf.code} {_mean(leaf)} {_band(leaf)}".strip() for leaf in (left, right))
    words = f"Two halves laid open: {told}. Across the joint: {head}, {below}. {agree_words(apart)}"
    frame = f'<svg class="pair" viewBox="0 0 {WIDE:g} {tallest + 2 * EDGE:.0f}" role="group"'
    return Markup(f'{frame} aria-label="{escape(words)}">{"".join(drawn)}</svg>')


def opening(apart: Apart | None) -> float:
    """Return how far the joint stands open in the drawing: nothing where the halves agree, else in proportion."""
    if apart is None or apart.standing is Standing.NOT_KNOWN:
        return OPEN_LEAST
    if apart.standing is Standing.MET:
        return 0.0
    return min(OPEN_MOST, max(OPEN_LEAST, OPEN_AT_ALLOWED * apart.pct[1] / apart.allowed_pct))


def scale_words(left: Leaf, right: Leaf) -> str:
    """Say in which sizes the halves are drawn: "205 × 520 mm each", and whether they are cut short."""
    sizes = [f"{display.millimetres(one.width_m)} × {display.millimetres(one.length_m)} mm" for one in (left, right)]
    told = f"{sizes[0]} each" if sizes[0] == sizes[1] else f"{left.code} {sizes[0]}, {right.code} {sizes[1]}"
    scale, tallest = _scale(left, right)
    cut = " and cut short" if scale * max(left.length_m, right.length_m) > tallest + 0.5 else ""
    return f"Drawn to scale{cut}: {told}."


def across_words(apart: Apart | None) -> tuple[str, str]:
    """Return what is written across the joint: how far apart, then the band and what is allowed."""
    if apart is None:
        return "not known", "how far they lie apart"
    by_weight = apart.by is JudgedBy.WEIGHTS
    low, middle, high = (display.number(one, 2 if by_weight else 1) for one in apart.pct)
    what = "from rest" if by_weight else "apart"
    return f"{middle} % {what}", f"{low} to {high}; allowed {apart.allowed_pct:g}"


def agree_words(apart: Apart | None, *, before: bool = False) -> str:
    """Say whether the halves agree, and by what that was judged; ``before``: whether they did before an entry."""
    if apart is None:
        return NOBODY_KNOWS
    return f"{(AGREED if before else AGREE).get(apart.standing, NOBODY_KNOWS)} {JUDGED[apart.by]}"


def piece_mark(kind: PieceKind) -> Markup:
    """Return the small mark of a piece of a set."""
    return Markup(
        f'<svg class="piece-mark" viewBox="0 0 80 40" role="img" aria-label="{kind}">'
        f'<path d="{PIECES[kind]}" fill="none" stroke="currentColor" stroke-width="3" stroke-linejoin="round"/></svg>'
    )


def from_halves_words(apart: Apart) -> str:
    """Say how far a piece lies from the halves: "1.2 % damper than the halves (0.4 to 2.0); allowed 2"."""
    low, middle, high = apart.pct
    side = "damper" if middle >= 0.0 else "drier"
    sign = 1.0 if middle >= 0.0 else -1.0
    near, far = sorted((sign * low, sign * high))
    band = f"{display.number(near)} to {display.number(far)}"
    return f"{display.number(abs(middle))} % {side} than the halves ({band}); allowed {apart.allowed_pct:g}"


# --- the drawing -----------------------------------------------------------------------------------


def _scale(left: Leaf, right: Leaf) -> tuple[float, float]:
    """Units of the drawing a metre, and how tall the longer half is drawn."""
    wide_m, long_m = left.width_m + right.width_m, max(left.length_m, right.length_m)
    scale = min((WIDE - OPEN_MOST - 2 * EDGE) / wide_m, max(TALL / long_m, LEAST_WIDE / wide_m))
    return scale, min(TALL, scale * long_m)


def _place(leaf: Leaf, joint: float, way: int, scale: float, tallest: float) -> _Place:
    tall = min(tallest, scale * leaf.length_m)
    return _Place(
        joint, EDGE + (tallest - tall) / 2, way, scale * leaf.width_m, tall, scale * leaf.length_m > tallest + 0.5
    )


def _leaf(leaf: Leaf, at: _Place, known: bool) -> str:
    name = "leaf-left" if at.way < 0 else "leaf-right"
    dash = ' stroke-dasharray="9 6"' if leaf.mc_pct is None or not known else ""
    outline = _outline(at)
    turned = f'transform="translate({at.joint:.1f} {at.top:.1f}) scale({at.way} 1)"'
    return (
        f'<clipPath id="{name}"><path d="{outline}" {turned}/></clipPath>'
        f'<a href="{escape(leaf.link)}"><path d="{outline}" {turned} fill="{PAPER}"/>'
        f'<g clip-path="url(#{name})"><path d="{_grain(leaf.cut, at)}" {turned} fill="none" stroke="currentColor" '
        f'stroke-width="1.1" opacity=".45"/></g>'
        f'<path d="{outline}" {turned} fill="none" stroke="currentColor" stroke-width="3" '
        f'stroke-linejoin="round"{dash}/>'
        + _text(at.middle, at.top + 24, leaf.code, 16, 600)
        + _text(at.middle, at.top + at.tall - 38, _mean(leaf), 23, 700)
        + _text(at.middle, at.top + at.tall - 16, _band(leaf), 14, 400)
        + "</a>"
    )


def _outline(at: _Place) -> str:
    """The half from its corner at the joint outward; one that is cut short ends in a break."""
    w, h = at.wide, at.tall
    if not at.short:
        return f"M0 0H{w:.1f}V{h:.1f}H0Z"
    step = w / 4
    return f"M0 0H{w:.1f}V{h - 5:.1f}l{-step:.1f} 5 {-step:.1f} -5 {-step:.1f} 5 {-step:.1f} -5Z"


def _grain(cut: Cut, at: _Place) -> str:
    """Lines of grain from the joint outward: arches of a flat-sawn face, straight lines of a quarter-sawn one."""
    w, h = at.wide, at.tall
    if cut is Cut.FLAT:
        return "".join(_arch(w, h, number) for number in range(RINGS))
    if cut is Cut.RIFT:
        return "".join(f"M{w * (k - 1.5) / RINGS:.1f} 0l{w * 0.22:.1f} {h:.1f}" for k in range(RINGS + 3))
    # Quarter-sawn: narrow rings at the joint, wider outward, as halves are usually turned (common practice, no source)
    return "".join(f"M{w * (k / RINGS) ** 1.4:.1f} 0l2 {h:.1f}" for k in range(1, RINGS + 1))


def _arch(w: float, h: float, number: int) -> str:
    """One growth ring as a flat-sawn face shows it: an arch that stands over those before it."""
    middle, half, apex = 0.44 * w, w * (0.06 + 0.085 * number), h * (0.74 - 0.135 * number)
    bend = apex + 0.4 * (h - apex)
    return (
        f"M{middle - half:.1f} {h:.1f}C{middle - half:.1f} {bend:.1f} {middle - 0.3 * half:.1f} {apex:.1f} "
        f"{middle:.1f} {apex:.1f}S{middle + half:.1f} {bend:.1f} {middle + half:.1f} {h:.1f}"
    )


def _text(x: float, y: float, text: str, size: int, weight: int) -> str:
    """Text on a slip of paper, so that no grain runs through it."""
    if not text:
        return ""
    wide = 0.58 * size * len(text) + 8
    return (
        f'<rect x="{x - wide / 2:.1f}" y="{y - 0.82 * size:.1f}" width="{wide:.1f}" height="{1.1 * size:.1f}" '
        f'fill="{PAPER}"/><text x="{x:.1f}" y="{y:.1f}" text-anchor="middle" font-size="{size}" '
        f'font-weight="{weight}" fill="currentColor">{escape(text)}</text>'
    )


def _label(x: float, y: float, head: str, below: str) -> str:
    wide = max(11.0 * len(head), 7.6 * len(below)) + 20
    return (
        f'<rect x="{x - wide / 2:.1f}" y="{y - 26:.1f}" width="{wide:.1f}" height="50" fill="currentColor"/>'
        f'<text x="{x:.1f}" y="{y - 4:.1f}" text-anchor="middle" font-size="19" font-weight="700" '
        f'fill="{PAPER}">{escape(head)}</text>'
        f'<text x="{x:.1f}" y="{y + 15:.1f}" text-anchor="middle" font-size="14" fill="{PAPER}">{escape(below)}</text>'
    )


def _mean(leaf: Leaf) -> str:
    return "?" if leaf.mc_pct is None else f"{display.number(leaf.mc_pct[1])} %"


def _band(leaf: Leaf) -> str:
    if leaf.mc_pct is None:
        return ""
    return f"({display.number(leaf.mc_pct[0])}–{display.number(leaf.mc_pct[2])})"
