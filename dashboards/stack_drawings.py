"""Two small drawings of a stack's page: a loss a day against what it survives, and a week of its air."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta

import numpy as np
from markupsafe import Markup, escape

from dashboards import display
from kiln.pace import Pace
from shared.units import Array, ms_from_datetime

BAND, BLUE, VIOLET = "#b7d2e1", "#0b5e8a", "#5b3f8c"
WIDTH, LEFT = 340.0, 2.0
ROOM_BEYOND = 1.25  # of the greatest figure drawn, so that what lies beyond the limit can be seen
LEAST_SCALE = 0.5  # %MC a day: a board that loses next to nothing has a short bar


def scale_of(paces: Sequence[Pace]) -> float:
    """Return the loss at the end of the scale that several bars share [%MC a day]."""
    ends = [end for pace in paces for end in pace.loss_pct_per_day]
    ends += [pace.limit.pct_per_day for pace in paces if pace.limit is not None and pace.counts]
    return ROOM_BEYOND * max(*ends, LEAST_SCALE)


def x_of(loss_pct_per_day: float, top_pct_per_day: float) -> float:
    """Return where a loss stands on the scale; what gains stands at its beginning."""
    share = min(max(loss_pct_per_day / top_pct_per_day, 0.0), 1.0)
    return LEFT + share * (WIDTH - 2 * LEFT)


def loss_bar(pace: Pace, top_pct_per_day: float, identity: str) -> Markup:
    """Return a bar as long as the loss, its band as a bracket across it, and a notch at the limit.

    The figures beside it say the same: it is hidden from those who cannot see it.
    """
    low, middle, high = (x_of(one, top_pct_per_day) for one in pace.loss_pct_per_day)
    limit = pace.limit if pace.counts else None
    body, foot = "", 34
    if limit is not None:
        at = x_of(limit.pct_per_day, top_pct_per_day)
        body += (
            f'<defs><pattern id="{identity}-over" width="7" height="7" patternUnits="userSpaceOnUse" '
            'patternTransform="rotate(45)"><path d="M0 0V7" stroke="currentColor" stroke-width="1.2"/></pattern></defs>'
            f'<path d="M{at:.1f} 10H{WIDTH - LEFT:g}V32H{at:.1f}Z" fill="url(#{identity}-over)" opacity=".45"/>'
        )
    body += f'<path d="M{LEFT:g} 32H{WIDTH - LEFT:g}" stroke="currentColor" stroke-width="1.4"/>'
    body += (
        f'<path class="lost" d="M{LEFT:g} 14H{middle:.1f}V28H{LEFT:g}Z" fill="{BAND}" stroke="{BLUE}" '
        'stroke-width="1.6"/>'
        f'<path class="band" d="M{low:.1f} 16v10M{low:.1f} 21H{high:.1f}M{high:.1f} 16v10" fill="none" '
        'stroke="currentColor" stroke-width="2.4"/>'
    )
    if limit is not None:
        at, foot = x_of(limit.pct_per_day, top_pct_per_day), 52
        side = ("end", -3) if at > WIDTH / 2 else ("start", 3)
        body += (
            f'<path class="notch" d="M{at - 8:.1f} 2h16L{at:.1f} 13Z" fill="currentColor"/>'
            f'<path d="M{at:.1f} 10V38" stroke="currentColor" stroke-width="3"/>'
            f'<text x="{at + side[1]:.1f}" y="50" text-anchor="{side[0]}" font-size="15" fill="currentColor">'
            f"survives {display.number(limit.pct_per_day)} % a day</text>"
        )
    return Markup(f'<svg class="loss-bar" viewBox="0 0 {WIDTH:g} {foot + 4}" aria-hidden="true">{body}</svg>')


def week_line(at_ms: Array, emc_pct: Array, now_ms: int) -> Markup:
    """Return the EMC of a week of air as a line with days and figures; a gap in the record stays a gap."""
    known = np.isfinite(emc_pct)
    if not known.any():
        return Markup()
    top, foot, left, right = 10.0, 82.0, 34.0, 332.0
    low, high = float(np.floor(np.nanmin(emc_pct))), float(np.ceil(np.nanmax(emc_pct)))
    high = max(high, low + 2.0)
    first_ms, last_ms = float(at_ms[0]), float(max(at_ms[-1], now_ms))

    def x(moment_ms: float) -> float:
        return left + (right - left) * (moment_ms - first_ms) / (last_ms - first_ms)

    def y(pct: float) -> float:
        return foot - (foot - top) * (pct - low) / (high - low)

    body = ""
    for pct in (low, high):
        body += f'<path d="M{left} {y(pct):.1f}H{right}" stroke="currentColor" stroke-width=".6" opacity=".4"/>'
        body += _text(left - 5, y(pct) + 5, f"{pct:g}", "end")
    body += _days(int(first_ms), int(last_ms), foot, x)
    line = ""
    for moment_ms, pct, is_known, before in zip(at_ms, emc_pct, known, [False, *known[:-1]], strict=True):
        line += f"{'L' if before else 'M'}{x(float(moment_ms)):.1f} {y(float(pct)):.1f}" if is_known else ""
    body += f'<path d="{line}" fill="none" stroke="{VIOLET}" stroke-width="2.4" stroke-dasharray="9 3 2 3"/>'
    last = float(emc_pct[known][-1])
    told = escape(
        f"EMC over seven days: lowest {display.number(float(np.nanmin(emc_pct)))} %, "
        f"highest {display.number(float(np.nanmax(emc_pct)))} %, {display.number(last)} % at the end"
    )
    return Markup(f'<svg class="week-line" viewBox="0 0 340 104" role="img" aria-label="{told}">{body}</svg>')


def _days(first_ms: int, last_ms: int, foot: float, x: Callable[[float], float]) -> str:
    """A tick at each local midnight, and the day's name between it and the next."""
    begin = display.local(first_ms).replace(hour=0, minute=0, second=0, microsecond=0)
    found = ""
    for number in range(9):
        day = begin + timedelta(days=number)
        at_ms, noon_ms = _ms(day), _ms(day + timedelta(hours=12))
        if first_ms <= at_ms <= last_ms:
            found += f'<path d="M{x(at_ms):.1f} {foot}v6" stroke="currentColor" stroke-width="1.2"/>'
        if first_ms <= noon_ms <= last_ms:
            found += _text(x(noon_ms), foot + 18, f"{day:%a}", "middle")
    return found


def _ms(moment: datetime) -> int:
    return ms_from_datetime(moment.replace(tzinfo=None).astimezone())


def _text(x: float, y: float, text: str, anchor: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="14" fill="currentColor">{text}</text>'
