"""Shares of a limit, spans and flows of air in words: two digits that count, rounded up, as a danger is."""

from __future__ import annotations

import numpy as np

from shared.units import m3_h_from_m3_s

MINUTE_S, HOUR_S = 60.0, 3600.0
LEAST_PCT = 0.1  # what is less is told as this


def percent(share: float) -> str:
    """Return a share as a figure with two digits that count; rounded up, as a danger is."""
    value = max(100.0 * share, LEAST_PCT)
    step = max(10.0 ** (np.floor(np.log10(value)) - 1.0), LEAST_PCT)
    up = float(np.ceil(value / step - 1e-9) * step)
    return f"{up:.{1 if up < 10.0 and up % 1.0 else 0}f} %"


def times(share: float) -> str:
    """Return a share of a limit as "4.2 times the limit" or "62 % of the limit", rounded up."""
    if share < 1.0:
        return f"{percent(share)} of the limit"
    step = 10.0 ** (np.floor(np.log10(share)) - 1.0)
    up = float(np.ceil(share / step - 1e-9) * step)
    return f"{up:,.{1 if up < 10.0 else 0}f} times the limit"


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
    step = 10.0 ** max(0.0, np.floor(np.log10(max(per_hour, 1.0))) - 1.0)
    return f"{np.ceil(per_hour / step - 1e-9) * step:,.0f} m³/h"
