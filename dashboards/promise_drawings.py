"""Movement as it is drawn: a bar of mm with its band for each air, all on one scale; a mismatch through the year."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup, escape

from dashboards import display
from kiln.joints import Mismatch
from kiln.records import Three
from shared.units import mm_from_m

WIDE, BAR_TALL = 360.0, 34.0
SIDE = 6.0  # left clear at both ends
BAND, BAND_EDGE = "#b9d3e0", "#0b5e8a"
YEAR_TALL, YEAR_LEFT, YEAR_FOOT = 150.0, 74.0, 126.0
LEAST_MM = 0.1  # a scale that holds less would make a mountain of nothing
ROUND = (1.0, 2.0, 5.0)
FIGURE_WIDE = 52.0  # that a figure takes on the scale


@dataclass(frozen=True)
class Scale:
    """What a drawing holds, in mm."""

    low_mm: float
    high_mm: float

    def x(self, mm: float) -> float:
        """Where a figure lies across the drawing."""
        return SIDE + (WIDE - 2 * SIDE) * (mm - self.low_mm) / (self.high_mm - self.low_mm)


def scale_of(changes_m: Sequence[Three]) -> Scale:
    """Return a scale that holds all bands and nought, in round figures."""
    low = min([0.0, *(mm_from_m(one[0]) for one in changes_m)])
    high = max([0.0, *(mm_from_m(one[2]) for one in changes_m)])
    step = _step(max(high - low, LEAST_MM))
    return Scale(step * np.floor(low / step), step * max(np.ceil(high / step), np.floor(low / step) + 1.0))


def _step(span: float) -> float:
    """A round step, of which a span takes four or so."""
    power = 10.0 ** np.floor(np.log10(span / 4.0))
    return float(next((one * power for one in ROUND if one * power >= span / 4.0), 10.0 * power))


def bar(change_m: Three, scale: Scale) -> Markup:
    """Return a change as a bar from nought to its middle, in its band; the figure stands beside it in words."""
    low, middle, high = (scale.x(mm_from_m(one)) for one in change_m)
    zero = scale.x(0.0)
    left, right = min(zero, middle), max(zero, middle)
    return Markup(
        f'<svg class="move-bar" viewBox="0 0 {WIDE:g} {BAR_TALL:g}" aria-hidden="true">'
        f'<rect x="{low:.1f}" y="5" width="{max(high - low, 1.0):.1f}" height="24" fill="{BAND}" '
        f'stroke="{BAND_EDGE}" stroke-width="1.5"/>'
        f'<rect x="{left:.1f}" y="12" width="{max(right - left, 0.1):.1f}" height="10" fill="currentColor"/>'
        f'<path d="M{middle:.1f} 5V29" stroke="currentColor" stroke-width="3.5"/>'
        f'<path d="M{zero:.1f} 0V{BAR_TALL:g}" stroke="currentColor" stroke-width="1.5"/></svg>'
    )


def axis(scale: Scale) -> Markup:
    """Return the scale over the bars: its ends, nought, and which way is narrower."""
    zero = scale.x(0.0)
    ends = []
    for at_mm, anchor, word in ((scale.low_mm, "start", "narrower"), (scale.high_mm, "end", "wider")):
        if at_mm != 0.0:
            x = SIDE if anchor == "start" else WIDE - SIDE
            ends.append(_text(x, 14, f"{word}, {display.number(at_mm, _decimals(scale))} mm", anchor))
    near = "start" if zero < 20 else "end" if zero > WIDE - 20 else "middle"
    between = _between(scale)
    figures = [
        _text(scale.x(mm), 31, f"{display.number(mm, _decimals(scale))} mm", "middle")
        for mm in between
        if min(abs(scale.x(mm) - one) for one in (zero, scale.x(scale.low_mm), scale.x(scale.high_mm))) > FIGURE_WIDE
    ]
    ticks = "".join(f"M{scale.x(mm):.1f} 34V38" for mm in (scale.low_mm, *between, scale.high_mm))
    return Markup(
        f'<svg class="move-bar" viewBox="0 0 {WIDE:g} 38" aria-hidden="true">{"".join(ends)}{"".join(figures)}'
        f'{_text(zero, 31, "0", near)}<path d="{ticks}M{SIDE} 37H{WIDE - SIDE}" stroke="currentColor" '
        'stroke-width="1.5"/></svg>'
    )


def _between(scale: Scale) -> list[float]:
    """The round figures between the ends of a scale, in mm."""
    step = _step(scale.high_mm - scale.low_mm)
    first, last = round(scale.low_mm / step) + 1, round(scale.high_mm / step)
    return [step * count for count in range(first, last)]


def _decimals(scale: Scale) -> int:
    span = scale.high_mm - scale.low_mm
    return 0 if span >= 8.0 else 1 if span >= 0.8 else 2


def through_year(name: str, mismatch: Mismatch) -> Markup:
    """Return a mismatch from week to week, middle and band around nought, with its months."""
    band = mismatch.mismatch_m
    low, middle, high = (np.array([mm_from_m(float(v)) for v in one]) for one in (band.p10, band.p50, band.p90))
    scale = scale_of([(float(low.min()) / 1000.0, 0.0, float(high.max()) / 1000.0)])
    at = mismatch.at_ms.astype(float)
    x = YEAR_LEFT + (WIDE - YEAR_LEFT - SIDE) * (at - at[0]) / max(at[-1] - at[0], 1.0)

    def y(mm: float) -> float:
        return YEAR_FOOT - (YEAR_FOOT - 10.0) * (mm - scale.low_mm) / (scale.high_mm - scale.low_mm)

    def path(values: np.ndarray) -> str:
        return "L".join(f"{a:.1f} {y(float(b)):.1f}" for a, b in zip(x, values, strict=True))

    back = "L".join(f"{a:.1f} {y(float(b)):.1f}" for a, b in zip(x[::-1], low[::-1], strict=True))
    marks = {scale.low_mm, 0.0, scale.high_mm}
    lines = [
        f'<path d="M{YEAR_LEFT} {y(one):.1f}H{WIDE - SIDE}" stroke="currentColor" '
        f'stroke-width="{0.6 if one else 1.5}"/>'
        + _text(YEAR_LEFT - 6, y(one) + 5, f"{display.number(one, _decimals(scale))} mm" if one else "0", "end")
        for one in sorted(marks)
    ]
    told = f"{name}: how far its pieces come to differ, week by week, from {_mm(low.min())} to {_mm(high.max())}."
    return Markup(
        f'<svg class="move-year" viewBox="0 0 {WIDE:g} {YEAR_TALL:g}" role="img" aria-label="{escape(told)}">'
        f'<path d="M{path(high)}L{back}Z" fill="{BAND}" stroke="{BAND_EDGE}" stroke-width="1.2"/>{"".join(lines)}'
        f'<path d="M{path(middle)}" fill="none" stroke="currentColor" stroke-width="2.6"/>{_months(mismatch, x)}</svg>'
    )


def _mm(value: float) -> str:
    return f"{display.number(float(value), 2)} mm"


def _months(mismatch: Mismatch, x: np.ndarray) -> str:
    """The first week of each month with a tick; every second one named."""
    found, named = [], 0
    before = display.local(int(mismatch.at_ms[0])).month
    for at_ms, where in zip(mismatch.at_ms, x, strict=True):
        moment = display.local(int(at_ms))
        if moment.month == before:
            continue
        before = moment.month
        named += 1
        found.append(f'<path d="M{where:.1f} {YEAR_FOOT}v6" stroke="currentColor"/>')
        if named % 2 and where < WIDE - 24:
            found.append(_text(float(where), YEAR_FOOT + 20, f"{moment:%b}", "middle"))
    return "".join(found)


def _text(x: float, y: float, text: str, anchor: str) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="14" fill="currentColor">{escape(text)}</text>'
    )
