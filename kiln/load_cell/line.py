"""The line of the drying through the hours that count, and what wood can do beyond it in an hour."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kiln.load_cell.hours import MAD_TO_SD, middle
from kiln.load_cell.records import Cell, Event, Flags, Hours, Indices, Times, value
from shared.units import MS_PER_HOUR, Array

_HALVES_LEAST, _EVER_LEAST, _SCATTER_LEAST = 8, 6, 12  # hours: for a rate, kept across a silence, for a scatter
_CORRELATED = 4.0  # readings of gusts or one slow sway that tell as much as one
_SLOPE_SPAN_H = 24.0


@dataclass(frozen=True)
class Line:
    """The line of the drying: level [kg] at hour ``at``, rate [kg/h], scatter [kg], and what wood can do beyond it."""

    at: float
    level: float
    rate: float
    sd: float
    base: float  # a departure begins beyond this
    loss: float  # kg in one hour
    gain: float

    def of(self, hour: float | Array) -> float | Array:
        """Return the line's level [kg] at ``hour``."""
        return self.level + self.rate * (hour - self.at)

    def slack(self, waited_h: float | Array) -> float | Array:
        """How far [kg] the line may be missed that was not looked at for ``waited_h``, without a step."""
        return self.base + value("own_change_multiple") * abs(self.rate) * waited_h


@dataclass(frozen=True)
class Site:
    """What the walk goes by besides the hours: single readings, the zero of each hour, hours of rain, of knowing."""

    at_ms: Times
    raw_kg: Array
    cell: Cell
    zero_kg: Array
    rain_hours: frozenset[int]
    anchor_hours: Times  # rising
    tare_hours: Times  # rising


class Trail:
    """The hours that count so far, the line through them, and where single readings left it."""

    def __init__(self, hours: Hours, site: Site) -> None:
        self.hours, self.site = hours, site
        self.hour, self.kg = hours.number.astype(float), hours.median_kg
        n = self.hour.size
        self.usable: Flags = np.zeros(n, dtype=bool)
        self.epoch: Indices = np.zeros(n, dtype=np.intp)
        self.sd, self.base = np.full(n, np.nan), np.full(n, np.nan)
        self.events: list[Event] = []
        self._window: list[int] = []
        self._rate: float | None = None
        self._sd = 0.0
        self._now = 0

    def _slack(self, i: int, line: Line, in_one_hour: float) -> float:
        """What may be missed at hour ``i`` when the last one that counts lies some hours back."""
        waited = self.hour[i] - self.hour[self._window[-1]]
        idle = value("idle_loss_share_h") * self._load(i)
        later = max(value("own_change_multiple") * abs(line.rate), idle) if self._rate is not None else in_one_hour
        return float(line.base + in_one_hour * min(waited, 2.0) + later * max(waited - 2.0, 0.0))

    def _load(self, i: int) -> float:
        return max(abs(float(self.kg[i] - self.site.zero_kg[i])), self.site.cell.error_kg)

    def _line(self, i: int) -> Line:
        now, kept = self.hour[i], self._window
        rate = self._rate or 0.0
        level, scatter = float(self.kg[i]), self._sd
        if kept:
            t, y = self.hour[kept], self.kg[kept]
            rate = self._own_rate(t, y, rate)
            flat = y - rate * (t - now)
            level = middle(flat)
            scatter = max(MAD_TO_SD * middle(np.abs(flat - level)), self._sd if len(kept) < _SCATTER_LEAST else 0.0)
        one = self.hours.noise_kg[i] / np.sqrt(max(self.hours.count[i] / _CORRELATED, 1.0))
        sd = float(np.hypot(scatter * (1.0 + _CORRELATED / max(len(kept), 1)), one))
        return self._bounded(i, level, rate, sd)

    def _own_rate(self, t: Array, y: Array, before: float) -> float:
        """Rate [kg/h] between the medians of the window's halves: a day each, so that day and night cancel."""
        span = t[-1] - t[0]
        known = self._rate is not None
        if t.size < _HALVES_LEAST or (known and span < _SLOPE_SPAN_H):
            return before
        late = t > t[0] + span / 2.0
        if not late.any() or late.all():
            return before
        return (middle(y[late]) - middle(y[~late])) / (middle(t[late]) - middle(t[~late]))

    def _bounded(self, i: int, level: float, rate: float, sd: float) -> Line:
        """Add what the wood can do in an hour: by its area or as a share, and by what it has done so far."""
        cell, load = self.site.cell, self._load(i)
        scale = min(cell.oven_dry_kg or load, load)
        area = cell.area_m2
        loss = value("fastest_loss_flux") * area if area else value("fastest_loss_share_h") * scale
        gain = value("fastest_regain_flux") * area if area else value("fastest_regain_share_h") * scale
        if self._rate is not None:
            loss = min(loss, value("own_loss_multiple") * abs(rate) + value("idle_loss_share_h") * load)
            gain = min(gain, value("own_change_multiple") * max(rate, 0.0) + value("idle_regain_share_h") * load)
        base = max(value("noise_multiple") * sd, cell.error_kg, value("least_step_share") * load)
        return Line(float(self.hour[i]), level, rate, sd, base, loss, gain)

    def _accept(self, i: int, line: Line) -> None:
        self.usable[i], self.epoch[i], self.sd[i], self.base[i] = True, self._now, line.sd, line.base
        self._window.append(i)
        old = int(np.count_nonzero(self.hour[self._window] <= self.hour[i] - value("window_h")))
        self._window = self._window[min(old, max(len(self._window) - _EVER_LEAST, 0)) :]
        t = self.hour[self._window]
        if t[-1] - t[0] >= _SLOPE_SPAN_H - 1.0 and t.size >= _HALVES_LEAST:
            self._rate, self._sd = line.rate, line.sd

    def _follow(self, i: int, line: Line) -> int:
        """Wood that dries or gains at a new rate: the line will turn with it."""
        self._accept(i, line)
        return i + 1

    def _span(self, i: int) -> tuple[int, int]:
        return int(self.hours.first[i]), int(self.hours.first[i] + self.hours.count[i])

    def _onset_ms(self, i: int, line: Line, size: float) -> int:
        """When the departure at hour ``i`` began; an hour half of which it takes is not used."""
        before = i - 1 if i and self.hour[i] - self.hour[i - 1] < 2.0 else i
        start, stop = self._span(before)[0], self._span(i)[1]
        noise = float(self.hours.noise_kg[i])
        off = np.sign(size) * (self.site.raw_kg[start:stop] - line.of(self.site.at_ms[start:stop] / MS_PER_HOUR - 0.5))
        far = np.flatnonzero(off > max(abs(size) / 2.0, 4.0 * noise))
        first = int(far[0]) if far.size else self._span(i)[0] - start
        near = np.flatnonzero(off[:first] <= max(abs(size) / 8.0, 2.0 * noise))
        onset = int(near[-1]) + 1 if near.size else 0
        if before < i and onset <= self.hours.count[before] / 2.0:
            self._leave_out(before)
        return int(self.site.at_ms[start + onset])

    def _leave_out(self, i: int) -> None:
        self.usable[i] = False
        if i in self._window:
            self._window.remove(i)

    def _end_ms(self, back: int, line: Line, size: float) -> int:
        """When the weight came back, at hour ``back`` or in the one before."""
        start, stop = self._span(back - 1)[0], self._span(back)[1]
        off = np.sign(size) * (self.site.raw_kg[start:stop] - line.of(self.site.at_ms[start:stop] / MS_PER_HOUR - 0.5))
        far = np.flatnonzero(off > max(abs(size) / 2.0, 4.0 * float(self.hours.noise_kg[back])))
        last = start + int(far[-1]) if far.size else self._span(back)[0] - 1
        return int(self.site.at_ms[last])

    def _put(self, i: int, end: int) -> None:
        self.epoch[i:end] = self._now

    def _settled_ms(self, start_ms: int, i: int, k: int, line: Line, size: float) -> int:
        """When the handling ended: the first reading near the new level."""
        start, stop = self._span(i)[0], self._span(k)[1]
        short = size - (self.site.raw_kg[start:stop] - line.of(self.site.at_ms[start:stop] / MS_PER_HOUR - 0.5))
        far = np.flatnonzero(np.sign(size) * short > max(abs(size) / 8.0, 4.0 * float(self.hours.noise_kg[k])))
        return max(int(self.site.at_ms[start + int(far[-1]) if far.size else start]), start_ms)
