"""The drawing of a date on the year ahead: its band, its middle, and whether it is open at the end."""

from __future__ import annotations

from markupsafe import Markup

from shared.units import MS_PER_DAY

WIDTH, LEFT, TOP, HIGH = 320.0, 2.0, 6.0, 14.0
YEAR_DAYS = 365.0


def date_bar(dates_ms: tuple[int | None, int | None, int | None], now_ms: int) -> Markup:
    """Return the band of a date (p10, p50, p90 [UTC ms]; None: beyond the year) from now to a year ahead.

    The figures beside it say the same: it is hidden from those who cannot see it.
    """
    first, middle, last = dates_ms
    body = f'<path d="M{LEFT} {TOP + HIGH / 2}H{WIDTH - 2}" stroke="#1b1b1b" stroke-width="1.2"/>'
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        body += f'<path d="M{_x(share):.1f} {TOP + HIGH}v5" stroke="#1b1b1b" stroke-width="1.2"/>'
    if first is not None:
        begin, end = _at(first, now_ms), WIDTH - 2 if last is None else _at(last, now_ms)
        body += _band(begin, max(end, begin + 3.0), open_end=last is None)
    if middle is not None:
        body += f'<path d="M{_at(middle, now_ms):.1f} {TOP - 4}v{HIGH + 8}" stroke="#1b1b1b" stroke-width="4"/>'
    foot = TOP + HIGH + 19
    for share, text, anchor in ((0.0, "now", "start"), (0.5, "half a year", "middle"), (1.0, "a year", "end")):
        body += f'<text x="{_x(share):.1f}" y="{foot}" text-anchor="{anchor}" font-size="13">{text}</text>'
    return Markup(f'<svg class="date-bar" viewBox="0 0 {WIDTH:g} 44" aria-hidden="true">{body}</svg>')


def _band(begin: float, end: float, *, open_end: bool) -> str:
    bottom, point = TOP + HIGH, end - 8 if open_end and end - begin > 12 else end
    tip = f"L{end:.1f} {TOP + HIGH / 2}" if point < end else ""
    outline = f"M{begin:.1f} {TOP}H{point:.1f}{tip}L{point:.1f} {bottom}H{begin:.1f}Z"
    return f'<path d="{outline}" fill="#b7d2e1" stroke="#0b5e8a" stroke-width="1.2"/>'


def _at(at_ms: int, now_ms: int) -> float:
    return _x(min(max((at_ms - now_ms) / MS_PER_DAY / YEAR_DAYS, 0.0), 1.0))


def _x(share: float) -> float:
    return LEFT + share * (WIDTH - 2 * LEFT)
