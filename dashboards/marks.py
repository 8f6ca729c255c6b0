"""The drawings: joint marks for verdicts, a board's shell and core.

Each is one SVG of our own, drawn in the colour of the text around it, with words for those who cannot
see it. Shape and texture carry the meaning; colour only repeats it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from markupsafe import Markup, escape

from dashboards.display import NOTHING, number
from kiln.records import Standing, Word

PAPER = "#fffdf7"
WORD_KEYS = {
    Word.READY: "ready",
    Word.DRY_ENOUGH: "ready",
    Word.WAIT: "wait",
    Word.STOP: "stop",
    Word.CANT_SAY: "unsure",
}
QUIET = "quiet"
# A whole block, not cut and not closed on anything: a danger under its limit is no clearance.
UNDER_A_LIMIT = '<path fill="none" stroke="currentColor" stroke-width="7" d="M9 34h82v32H9z"/>'
STANDING_WORDS = {  # the mark that a condition shares with a verdict
    Standing.MET: Word.READY,
    Standing.NOT_YET: Word.WAIT,
    Standing.NOT_SURE: Word.WAIT,
    Standing.NEAR: Word.WAIT,
    Standing.OVER: Word.STOP,
    Standing.NOT_KNOWN: Word.CANT_SAY,
}

JOINTS = {
    # Two plates closed on each other: the seam is the one thin line, the tick lies across it.
    Word.READY: (
        '<path fill="currentColor" d="M5 10h44v80H5zM51 10h44v80H51z"/>'
        f'<path fill="none" stroke="{PAPER}" stroke-width="14" d="M22 50l20 20 36-44"/>'
    ),
    # Two hollow plates that have still to come together.
    Word.WAIT: (
        '<path fill="none" stroke="currentColor" stroke-width="9" d="M9.5 14.5h17v71h-17zM73.5 14.5h17v71h-17z"/>'
        '<path fill="none" stroke="currentColor" stroke-width="6.5" '
        'd="M39 50h22M47 38.5L36.5 50 47 61.5M53 38.5L63.5 50 53 61.5"/>'
    ),
    # One solid block split by a crack.
    Word.STOP: (
        '<path fill="currentColor" d="M5 10h90v80H5z"/>'
        f'<path fill="none" stroke="{PAPER}" stroke-width="12" stroke-linejoin="bevel" '
        'd="M57 3L42 34l19 12-21 19 15 12-9 21"/>'
    ),
    # Only an outline, broken, with a question in it.
    Word.CANT_SAY: (
        '<path fill="none" stroke="currentColor" stroke-width="6" stroke-dasharray="16 9.2" d="M8 12h84v76H8z"/>'
        '<path fill="none" stroke="currentColor" stroke-width="9" d="M37 41c0-19 28-19 28-2 0 12-14 11-14 23"/>'
        '<circle cx="51" cy="74" r="5.5" fill="currentColor"/>'
    ),
}


def joint(word: Word) -> Markup:
    """Return the mark of a verdict; its size is set where it stands."""
    return _mark(word, word.value)


def standing(of: Standing) -> Markup:
    """Return the mark of how a condition stands, or a danger: one that is under its limit has no tick."""
    if of is Standing.UNDER:
        return _drawn(QUIET, UNDER_A_LIMIT, of.value)
    return _mark(STANDING_WORDS[of], of.value)


def standing_key(of: Standing) -> str:
    """Return how a standing is styled."""
    return QUIET if of is Standing.UNDER else WORD_KEYS[STANDING_WORDS[of]]


def _mark(word: Word, label: str) -> Markup:
    return _drawn(WORD_KEYS[word], JOINTS[Word.READY if word is Word.DRY_ENOUGH else word], label)


def _drawn(key: str, body: str, label: str) -> Markup:
    return Markup(
        f'<svg class="mark mark-{key}" viewBox="0 0 100 100" role="img" aria-label="{escape(label)}">{body}</svg>'
    )


# More ink is more water. Steps are the drawing's own: about fibre saturation, air-dry outdoors, room-dry.
TEXTURES = ((28.0, "dots"), (20.0, "close"), (13.0, "open"))
PATTERNS = (
    '<pattern id="{id}-dots" width="6" height="6" patternUnits="userSpaceOnUse">'
    '<circle cx="1.5" cy="1.5" r="1.5"/><circle cx="4.5" cy="4.5" r="1.5"/></pattern>'
    '<pattern id="{id}-close" width="4" height="4" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<path d="M0 0V4" stroke="currentColor" stroke-width="1.6"/></pattern>'
    '<pattern id="{id}-open" width="9" height="9" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<path d="M0 0V9" stroke="currentColor" stroke-width="1.2"/></pattern>'
)


def fill(identity: str, mc_pct: float | None) -> str:
    """Return what a board of this moisture is filled with; ``identity``: of the drawing that holds the patterns."""
    if mc_pct is None or not math.isfinite(mc_pct):
        return "none"
    for least, name in TEXTURES:
        if mc_pct >= least:
            return f"url(#{identity}-{name})"
    return PAPER


def shown_mc(mc_pct: float | None) -> str:
    """Return a moisture as it is written into a drawing."""
    shown = number(mc_pct, 0 if mc_pct is not None and mc_pct >= 20 else 1)
    return shown if shown == NOTHING else shown + " %"


LEFT, RIGHT = 42.0, 332.0  # where the two faces of a board stand, in the section and in the profile under it
SHELL_SHARE = 0.1  # of the thickness, at each face: what kiln.diffusion takes for the shell, and for the core
CORE_FROM, CORE_TO = 1.0 / 3.0, 2.0 / 3.0
SLICES = 30
NEAR_WORDS = 20.0  # in the profile's own units, a line of words and a little more


def split_tile(
    depth_fraction: Sequence[float], middle: Sequence[float], shell_pct: float, core_pct: float, identity: str
) -> Markup:
    """Return a board cut through, face to face, on one scale with its profile: more ink is more water.

    ``depth_fraction`` and ``middle`` [%MC] as in ``profile``. Shell and core stand over their parts with their figures.
    """
    top, foot, wide = 30.0, 84.0, RIGHT - LEFT
    whole = _face_to_face(depth_fraction, middle)
    places, wet = [one for one, _mc in whole], [mc for _one, mc in whole]
    fills = [fill(identity, float(np.interp((at + 0.5) / SLICES, places, wet))) for at in range(SLICES)]
    parts = [f"<defs>{PATTERNS.format(id=identity)}</defs>"]
    for texture, first, last in _runs(fills):
        x = LEFT + wide * first / SLICES
        width = wide * (last - first) / SLICES
        parts.append(f'<rect x="{x:.1f}" y="{top:g}" width="{width:.1f}" height="{foot - top:g}" fill="{texture}"/>')
    for share in (SHELL_SHARE, CORE_FROM, CORE_TO, 1.0 - SHELL_SHARE):
        line = f'd="M{LEFT + wide * share:.1f} {top:g}V{foot:g}"'
        parts.append(f'<path {line} stroke="{PAPER}" stroke-width="4"/>')
        parts.append(f'<path {line} stroke="currentColor" stroke-width="1.6" stroke-dasharray="7 4"/>')
    parts.append(
        f'<rect x="{LEFT:g}" y="{top:g}" width="{wide:g}" height="{foot - top:g}" fill="none" '
        'stroke="currentColor" stroke-width="3"/>'
    )
    shell, core = f"shell {shown_mc(shell_pct)}", f"core {shown_mc(core_pct)}"
    parts += [_over(0.0, SHELL_SHARE, top), _over(CORE_FROM, CORE_TO, top), _over(1.0 - SHELL_SHARE, 1.0, top)]
    words = f'y="{top - 13:g}" font-size="16" font-weight="700" fill="currentColor"'
    parts.append(f'<text x="2" {words}>{shell}</text>')
    parts.append(f'<text x="{LEFT + wide / 2:g}" {words} text-anchor="middle">{core}</text>')
    told = f"Section of the board, face to face: {shell}, {core}"
    return Markup(f'<svg class="tile" viewBox="0 0 340 88" role="img" aria-label="{told}">{"".join(parts)}</svg>')


def _face_to_face(depth_fraction: Sequence[float], values: Sequence[float]) -> list[tuple[float, float]]:
    """Return values by their share of the thickness, 0 to 1; what was told of one half is mirrored to the other."""
    told = sorted(zip(depth_fraction, values, strict=True))
    whole = [(fraction / 2, value) for fraction, value in told]
    return whole if told[-1][0] > 1.0 else whole + [(1 - fraction / 2, value) for fraction, value in reversed(told)]


def _runs(fills: Sequence[str]) -> list[tuple[str, int, int]]:
    """Return what is alike side by side as one: its fill, its first slice and the one after its last."""
    found: list[tuple[str, int, int]] = []
    for at, texture in enumerate(fills):
        if found and found[-1][0] == texture:
            found[-1] = (texture, found[-1][1], at + 1)
        else:
            found.append((texture, at, at + 1))
    return found


def _over(first: float, last: float, top: float) -> str:
    """A line over a part of the section, as lengths are drawn: which part a figure is of."""
    from_x, to_x = LEFT + (RIGHT - LEFT) * first, LEFT + (RIGHT - LEFT) * last
    d = f"M{from_x:.1f} {top - 8:g}V{top - 2:g}M{from_x:.1f} {top - 5:g}H{to_x:.1f}M{to_x:.1f} {top - 8:g}V{top - 2:g}"
    return f'<path d="{d}" stroke="currentColor" stroke-width="1.4" fill="none"/>'


def profile(
    depth_fraction: Sequence[float],
    low: Sequence[float],
    middle: Sequence[float],
    high: Sequence[float],
    target_pct: float,
    top_pct: float,
    thickness_mm: float,
) -> Markup:
    """Return the moisture through the thickness from face to face, in %MC.

    ``depth_fraction``: 0 at the face to 1 at mid-thickness, which is mirrored to the other face; or on to 2 there,
    where the two fare differently.
    ``top_pct``: what the scale must hold, so that drawings of several moments can be compared.
    """
    width, height, left, bottom = 340.0, 176.0, LEFT, 148.0
    top_pct = _round_up(max(top_pct, target_pct) * 1.08)
    both_told = max(depth_fraction) > 1.0
    first, second = ("marked face", "other face") if both_told else ("face", "face")

    def points(values: Sequence[float]) -> list[tuple[float, float]]:
        whole = _face_to_face(depth_fraction, values)
        return [(left + x * (width - left - 8), bottom - (bottom - 10) * v / top_pct) for x, v in whole]

    def path(pairs: Sequence[tuple[float, float]]) -> str:
        return "L".join(f"{x:.1f} {y:.1f}" for x, y in pairs)

    target_y = bottom - (bottom - 10) * target_pct / top_pct
    least_y = points(low)[-1][1]  # where the band is lowest, beside the words: they go under the line if it is near
    words_y = target_y + 14 if 0.0 <= target_y - least_y < NEAR_WORDS else target_y - 5
    lines = []
    for share in (0.0, 0.5, 1.0):
        y = bottom - (bottom - 10) * share
        lines.append(
            f'<path d="M{left} {y:.1f}H{width - 8}" stroke="#1b1b1b" stroke-width=".6" opacity=".35"/>'
            f'<text x="{left - 6}" y="{y + 5:.1f}" text-anchor="end" font-size="13">'
            f"{top_pct * share:g}</text>"
        )
    band = f"M{path(points(high))}L{path(points(low)[::-1])}Z"
    middle_x, foot = (left + width - 8) / 2, bottom + 18
    through = f"{thickness_mm:g} mm through"
    body = (
        "".join(lines)
        + f'<path d="{band}" fill="#b9d3e0" stroke="#0b5e8a" stroke-width=".8"/>'
        + f'<path d="M{path(points(middle))}" fill="none" stroke="#1b1b1b" stroke-width="2.6"/>'
        + f'<path d="M{left} {target_y:.1f}H{width - 8}" stroke="#1b1b1b" stroke-width="1.6" stroke-dasharray="2 4"/>'
        + f'<text x="{width - 10}" y="{words_y:.1f}" text-anchor="end" font-size="13">'
        + f"target {number(target_pct)} %</text>"
        + f'<text x="{left}" y="{foot}" font-size="13">{first}</text>'
        + f'<text x="{middle_x}" y="{foot}" text-anchor="middle" font-size="13">{through}</text>'
        + f'<text x="{width - 8}" y="{foot}" text-anchor="end" font-size="13">{second}</text>'
    )
    at = [middle[0], *(middle[len(middle) // 2 :: len(middle) // 2] if both_told else middle[-1:])]
    where = (f"at the {first}", "in the middle", f"at the {second}")
    told = "Moisture through the thickness: " + ", ".join(
        f"{shown_mc(mc)} {there}" for mc, there in zip(at, where, strict=False)
    )
    frame = f'<svg class="profile" viewBox="0 0 {width:g} {height:g}" role="img" aria-label="{told}">'
    return Markup(f"{frame}{body}</svg>")


def _round_up(value: float) -> float:
    """Return the next round figure above a value, for the top of a scale."""
    for step in (8, 10, 12, 16, 20, 30, 40, 60, 80, 100, 120, 160, 200, 300):
        if value <= step:
            return float(step)
    return 100.0 * math.ceil(value / 100)
