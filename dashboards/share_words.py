"""Shares of a limit, spans and flows of air in words: two digits that count, rounded up, as a danger is."""

from __future__ import annotations

import numpy as np

from shared.units import m3_h_from_m3_s

MINUTE_S, HOUR_S = 60.0, 3600.0
UNDER = "under"
LEAST_PCT = 0.1  # what is less is told as less than this
DIGITS = 2
NEAR = 1.1
SLACK = 1e-9  # of a step: what a sum of floats is beside a figure


def percent(share: float, digits: int = 2, *, up: bool = True) -> str:
    """Return a share as a figure with two digits that count; rounded up, as a danger is, or what is known down."""
    value = 100.0 * share
    if value < LEAST_PCT:
        return f"{UNDER} {LEAST_PCT:g} %"
    told, step = _rounded(value, digits, LEAST_PCT, up=up)
    return f"{told:.{1 if step < 1.0 and told % 1.0 else 0}f} %"


def times(share: float, digits: int = 2, *, up: bool = True) -> str:
    """Return a share of a limit as "4.2 times the limit" or "62 % of the limit", rounded as ``percent``."""
    if share < 1.0:
        return f"{percent(share, digits, up=up)} of the limit"
    told, step = _rounded(share, digits, 10.0 ** (1 - digits), up=up)
    return f"{told:,.{max(0, -round(np.log10(step)))}f} times the limit"


def at_most(told: str) -> str:
    """Return an upper figure as "up to" so much; what is told as under something is that already."""
    return told if told.startswith(f"{UNDER} ") else f"up to {told}"


def digits_near(share: float) -> int:
    """Return with how many digits a share of a limit is told: one more just above it, where two would tell too much."""
    return DIGITS + 1 if 1.0 <= share < NEAR else DIGITS


def amount(value: float) -> str:
    """Return a figure with four digits that count, and never as a power of ten."""
    return f"{float(f'{value:.4g}'):,.10g}"


def rounded_up(value: float, digits: int = DIGITS) -> str:
    """Return a figure rounded up to so many digits that count, in whole numbers."""
    return f"{_rounded(value, digits, 1.0, up=True)[0]:,.0f}"


def _rounded(value: float, digits: int, least: float, *, up: bool) -> tuple[float, float]:
    """A figure with so many digits that count, and the step between two such."""
    step = max(10.0 ** (np.floor(np.log10(max(value, least))) - digits + 1), least)
    steps = np.ceil(value / step - SLACK) if up else np.floor(value / step + SLACK)
    return float(steps * step), float(step)


def span(at_s: float) -> str:
    """Return a span as "40 min" or "2 h 30 min", up to the next whole minute."""
    minutes = int(np.ceil(at_s / MINUTE_S - 1e-6))
    hours, rest = divmod(minutes, 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def flow(flow_m3_s: float) -> str:
    """Return a flow of air in m³/h, rounded up."""
    per_hour = m3_h_from_m3_s(flow_m3_s)
    return f"{rounded_up(per_hour)} m³/h"
