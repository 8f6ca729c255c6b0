"""The clock of wood out of the water: how much of the time before decay it has used, by the temperature since.

Long-submerged wood keeps for less than a week out of the water in warm weather, for one to two weeks in cold (E. M.
Wengert). Each hour uses up one part in as many hours as its temperature allows; between what we call cold and warm
along a straight line, beyond them no more and no less. An hour that nobody logged may have been either.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kiln.errors import refuse_unless
from kiln.spans import days_words
from shared.tables import constants
from shared.units import MS_PER_DAY, MS_PER_HOUR, Array

HOURS_A_DAY = MS_PER_DAY / MS_PER_HOUR
SHORT_HOURS = 48.0  # from here on a span is told in days
_ROUNDING = 1e-9  # of sums over many hours


@dataclass(frozen=True)
class Clock:
    """How far the clock has run; least and most, from what the source leaves open and from hours that nobody logged."""

    hours_out: float
    used_share: tuple[float, float]  # 1: all of the time before decay
    hours_left: tuple[float, float]  # at the temperature now, or at any where that is not known; 0: none
    known_share: float  # of its hours out of the water, those with logged air
    now_c: float | None
    stopped: bool  # it was sawn and laid in a stack

    @property
    def used_up(self) -> bool:
        """Whether even the longest time that the source gives is over."""
        return self.used_share[0] >= 1.0 - _ROUNDING

    @property
    def may_be_used_up(self) -> bool:
        """Whether the shortest time that the source gives is over."""
        return self.used_share[1] >= 1.0 - _ROUNDING


def allowed_days(temperature_c: float | Array) -> tuple[Array, Array]:
    """Return the least and most days out of the water before decay at ``temperature_c`` [°C]; any shape.

    NaN: not known, so the shortest and the longest of all. Source: E. M. Wengert, in ``reclaimed.csv``; what warm and
    cold stand for is ours. In warm weather he says less than a week: both are then at most that.
    """
    t, warm = np.asarray(temperature_c, dtype=float), _value("warm_days")
    least, most = _value("cold_least_days"), _value("cold_most_days")
    cold_c = _value("cold_c")
    warmth = np.clip((t - cold_c) / (_value("warm_c") - cold_c), 0.0, 1.0)
    unknown = np.isnan(t)
    shortest, longest = min(warm, least), max(warm, most)
    return (
        np.where(unknown, shortest, least + warmth * (warm - least)),
        np.where(unknown, longest, most + warmth * (warm - most)),
    )


def clock(temperature_c: Array, hours_out: float, now_c: float | None, *, stopped: bool = False) -> Clock:
    """Return how far the clock has run.

    ``temperature_c``: means of the hours since the wood was lifted [°C; hours], NaN where nobody logged; hours out of
    the water beyond them count as not logged. ``now_c``: the temperature at which the rest is to be told; None: not
    known. Raises OutOfRange for fewer than 0 hours, or more readings than whole hours begun.
    """
    t = np.asarray(temperature_c, dtype=float)
    begun = float(np.ceil(hours_out))
    refuse_unless(0.0 <= hours_out < np.inf, "hours_out", np.asarray(hours_out), 0.0, np.inf, "h")
    refuse_unless(len(t) <= begun, "hours of temperature", np.asarray(float(len(t))), 0.0, begun, "h")
    lengths = np.append(np.minimum(1.0, hours_out - np.arange(len(t))), max(0.0, hours_out - len(t)))
    least_days, most_days = allowed_days(np.append(t, np.nan))
    used = tuple(float(np.sum(lengths / HOURS_A_DAY / days)) for days in (most_days, least_days))
    now_least, now_most = (float(days) for days in allowed_days(np.nan if now_c is None else now_c))
    known = float(np.sum(lengths[:-1][~np.isnan(t)]))
    return Clock(
        hours_out=hours_out,
        used_share=(used[0], used[1]),
        hours_left=(_left(used[1], now_least), _left(used[0], now_most)),
        known_share=known / hours_out if hours_out > 0 else 1.0,
        now_c=now_c,
        stopped=stopped,
    )


def headline(one: Clock) -> str:
    """Say the one figure: the time left, or that there is none."""
    if one.stopped:
        over = ", perhaps all of it" if one.may_be_used_up else ""
        return f"used {used_words(one)} of the days before decay begins{over}; then stacked"
    if one.used_up:
        return "its time is used up"
    low, high = one.hours_left
    if low == 0.0:
        return f"at most {_span(high)} left, perhaps none"
    return f"{_span_band(low, high)} left"


def used_words(one: Clock) -> str:
    """Say the share used, with its band."""
    low, high = (round(100.0 * share) for share in one.used_share)
    return f"{low} %" if low == high else f"{low}–{high} %"


def sentence(one: Clock) -> str:
    """Say what the clock means."""
    used = f"{_span(one.hours_out)} out of the water used {used_words(one)} of the time before decay"
    if one.stopped:
        over = " It may have begun to rot before that." if one.may_be_used_up else ""
        return f"{used}; then it was sawn and laid in a stack. From there on stain and mould are what to watch.{over}"
    if one.used_up:
        return f"{used}: decay may have begun. Nothing here shows whether it has."
    at = "at any weather" if one.now_c is None else f"at {one.now_c:.0f} °C as now"
    perhaps = " By the shorter of the two it is over already." if one.may_be_used_up else ""
    return f"{used}; {at} that leaves {_span_band(*one.hours_left)}.{perhaps}"


def next_step(one: Clock) -> str:
    """Say what to do about it."""
    if one.stopped:
        return "Look at the first boards for soft or discoloured wood." if one.may_be_used_up else ""
    if one.used_up:
        return "Saw it today, or sink it again; look for soft or discoloured wood as it opens."
    frozen = one.now_c is not None and one.now_c <= _value("frost_c")
    if frozen:
        return (
            "Frozen through it keeps. The clock still counts it as cold, for a log freezes slowly: have it sawn or "
            "sunk again before the thaw."
        )
    return (
        f"Saw it within {_span(one.hours_left[0])}, or sink it again; until then keep it wet under a cover."
        if one.hours_left[0] > 0.0
        else "Saw it today, or sink it again; until then keep it wet under a cover."
    )


def _left(used_share: float, days: float) -> float:
    left = 1.0 - used_share
    return left * HOURS_A_DAY * days if left > _ROUNDING else 0.0


def _span(hours: float) -> str:
    hours += _ROUNDING * SHORT_HOURS
    if hours < 1.0:
        return "less than an hour"
    if hours < SHORT_HOURS:
        whole = int(hours)
        return f"{whole} hour{'s' if whole > 1 else ''}"
    return days_words(int(hours / HOURS_A_DAY))


def _span_band(low: float, high: float) -> str:
    first, last = _span(low), _span(high)
    if first == last:
        return f"about {first}"
    if low < 1.0:
        return f"at most {last}"
    number, unit = first.split(" ", 1)
    other, last_unit = last.split(" ", 1)
    return f"{number}–{other} {last_unit}" if unit.rstrip("s") == last_unit.rstrip("s") else f"{first} to {last}"


def _value(name: str) -> float:
    return constants("reclaimed")[name].value
