"""Hour by hour along the weight: what lies on the line of the drying, and what left it.

Each hour is compared with a robust line through the two days before it. One that leaves the line is judged by how
it left and by what the next hours up to ``aftermath_h`` show, never by more: what was said of an hour stands.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kiln.load_cell import words
from kiln.load_cell.line import Line, Trail
from kiln.load_cell.records import Times, value
from shared.units import Array

_SLOW_HANDLING_H, _LEVEL_H, _RESTING_HOURS, _DAY_H = 3.0, 6.0, 3, 24.0


class Walk(Trail):
    """The walk and what it leaves: for each hour its epoch, whether usable, its scatter; and the events."""

    def run(self) -> None:
        """Go through all hours."""
        i = 0
        while i < self.hour.size:
            i = self._step(i)

    def _step(self, i: int) -> int:
        line = self._line(i)
        departed = self.kg[i] - line.of(self.hour[i])
        more = self._window and self._slack(i, line, line.gain) - (line.base / 2.0 if self._rained(i) else 0.0)
        if not self._window or -self._slack(i, line, line.loss) <= departed <= more:
            self._accept(i, line)
            return i + 1
        return self._depart(i, line, float(departed))

    def _depart(self, i: int, line: Line, departed: float) -> int:
        end = int(np.searchsorted(self.hour, self.hour[i] + value("aftermath_h"), "right"))
        off = self.kg[i:end] - line.of(self.hour[i:end])
        if self._between(self.site.tare_hours, self._window[-1], i):
            return self._changed(i, line)  # it was unloaded in between: no need to wonder
        sharp = self._sharp(i, off)
        if departed < 0.0 and not sharp:
            return self._follow(i, line)
        if departed > 0.0:
            recorded, gradual = self._rained(i), self._gradual(i, off)
            if gradual is True or (recorded and gradual is None):
                return self._wet(i, line)
            if not sharp:
                return self._wet(i, line) if self._risen(i, line) else self._follow(i, line)
        back = self._back(i, line, off)
        if back is not None and self._went_at_once(back, off[: back - i + 1]):
            return self._excursion(i, back, line, off)
        if back is not None and departed > 0.0:
            return self._wet(i, line)
        if self.hour[-1] - self.hour[i] < value("aftermath_h" if departed > 0.0 else "excursion_h"):
            return self._undecided(i, line, off)
        if departed > 0.0 and self._fell_back(off):
            return self._wet(i, line)
        return self._changed(i, line)

    def _sharp(self, i: int, off: Array) -> bool:
        """Whether most of the departure came within one hour."""
        before = self.kg[self._window[-1]] - (self.kg[i] - off[0])
        steps = np.abs(np.diff(np.r_[before, off[:2]]))
        share = value("sharp_share")
        if np.any(steps >= share * np.abs(off[:2])):
            return True
        return self._between_two(i, share * float(np.abs(off[:2]).max()), np.sign(off[0]))

    def _between_two(self, i: int, size: float, sign: float) -> bool:
        """Whether two readings in succession, in hour ``i`` or beside it, are ``size`` apart and noise is not."""
        if size < value("noise_multiple") * self.hours.noise_kg[i]:
            return False
        start, stop = self._span(max(i - 1, 0))[0], self._span(min(i + 1, self.hour.size - 1))[1]
        return bool((sign * np.diff(self.site.raw_kg[start:stop])).max(initial=0.0) >= size)

    def _rained(self, i: int) -> bool:
        hour = int(self.hours.number[i])
        return bool({hour - 1, hour} & self.site.rain_hours)

    def _gradual(self, i: int, off: Array) -> bool | None:
        """Whether a rise came little by little, as rain does, or all at once; None where the readings cannot tell."""
        share, noise = value("one_reading_share"), float(self.hours.noise_kg[i])
        rise = float(off[:2].max())
        start = self._span(max(i - 1, 0))[0]
        stop = self._span(min(i + 1, self.hour.size - 1))[1]
        steps = np.abs(np.diff(self.site.raw_kg[start:stop]))
        if self.hours.count[i] < 1.0 / share or share * rise < value("noise_multiple") * noise:
            return None
        return bool(steps.max() < share * rise + value("noise_multiple") * noise)

    def _risen(self, i: int, line: Line) -> bool:
        """Whether the rise of the last hours is more than regain."""
        within = value("rise_within_h")
        near = [k for k in self._window if self.hour[i] - self.hour[k] <= within] or self._window[-1:]
        return bool(self.kg[i] - self.kg[near].min() > line.base + within * line.gain)

    def _back(self, i: int, line: Line, off: Array) -> int | None:
        """The hour at which the weight is at its old level again, within ``excursion_h``."""
        waited = self.hour[i : i + off.size] - self.hour[i]
        slack = line.base + value("undried_share") * abs(line.rate) * waited
        home = (np.abs(off) <= slack) & (waited <= value("excursion_h"))
        return i + int(np.argmax(home)) if home.any() else None

    def _went_at_once(self, back: int, off: Array) -> bool:
        """Whether a step went as it came, mostly within one hour, as neither water nor drying does."""
        step = np.sign(off[0]) * off
        most = value("sharp_share") * step.max()
        return bool(-np.diff(step).min() >= most) or self._between_two(back, most, -np.sign(off[0]))

    def _fell_back(self, off: Array) -> bool:
        """Whether a rise has gone down again by more than a load put on would."""
        most = float(off[: int(_LEVEL_H)].max())
        return bool(most - np.median(off[-3:]) > value("fall_back_share") * most)

    def _excursion(self, i: int, back: int, line: Line, off: Array) -> int:
        away = off[: back - i]
        size = float(away[np.argmax(np.abs(away))])
        start_ms = self._onset_ms(i, line, size)
        self._put(i, back)
        self.events.append(words.excursion(start_ms, self._end_ms(back, line, size), size, np.sqrt(2.0) * line.sd))
        self._accept(back, self._line(back))
        return back + 1

    def _undecided(self, i: int, line: Line, off: Array) -> int:
        size, n = float(np.median(off)), self.hour.size
        start_ms = self._onset_ms(i, line, size)
        self._put(i, n)
        self.events.append(words.undecided(start_ms, int(self.site.at_ms[-1]), size, np.sqrt(2.0) * line.sd))
        return n

    def _changed(self, i: int, line: Line) -> int:
        """Begin a new epoch with the first hour at rest after the handling."""
        n, k = self.hour.size, i
        while (
            k + 1 < n
            and self.hour[k + 1] - self.hour[i] <= _SLOW_HANDLING_H
            and abs(self.kg[k + 1] - self.kg[k]) > line.base / 2.0
        ):
            k += 1
        after = slice(k, int(np.searchsorted(self.hour, self.hour[k] + _LEVEL_H)))
        size = float(np.median(self.kg[after] - line.of(self.hour[after])))
        last = self._window[-1] if self._window else i
        start_ms = self._onset_ms(i, line, size)
        self._put(i, k)
        end_ms = self._settled_ms(start_ms, i, k, line, size)
        self.events.append(words.changed(start_ms, end_ms, size, np.sqrt(2.0) * line.sd))
        self._new_epoch(last, k, line, size)
        self._accept(k, self._line(k))
        return k + 1

    def _new_epoch(self, last: int, k: int, line: Line, size: float) -> None:
        """Another load: its rate is at first that of the old one, by mass; unknown where all was taken off."""
        empty = self._between(self.site.tare_hours, last, k)
        share = self._load(k) / max(self._load(k) - size, self.site.cell.error_kg)
        self._rate = None if empty or self._rate is None else line.rate * min(max(share, 0.1), 10.0)
        self._sd = line.sd
        self._window = []
        self._now += 1

    def _wet(self, i: int, line: Line) -> int:
        """Leave out what follows until it is back on the line of the drying; the wood may have dried meanwhile."""
        line = replace(line, sd=min(line.sd, float(self.sd[self._window[-1]])))  # the rise itself is no scatter
        size, recorded = float(self.kg[i] - line.level), self._rained(i)
        start_ms = self._onset_ms(i, line, size)
        self._unmark_rise(i, line)
        most, shift, since = size, 0.0, i
        for j in range(i + 1, self.hour.size):
            recorded = recorded or self._rained(j)
            waited = float(self.hour[j] - self.hour[i])
            off = float(self.kg[j] - line.of(self.hour[j])) - shift
            fell = float(self.kg[j] - self.kg[j - 1])
            if off < -line.slack(waited) and -fell > line.base + line.loss * (self.hour[j] - self.hour[j - 1]):
                self._taken_off_wet(since, j, fell, line)
                shift, since = shift + fell, j
                continue
            most = max(most, off if waited <= value("undried_h") else 0.0)
            vouched = self._between(self.site.anchor_hours, i, j) or self._between(self.site.tare_hours, i, j)
            if vouched or self._dry_again(i, j, off, line):
                self._put(since, j)
                end_ms = int(self.site.at_ms[self._span(j)[0]])
                self.events.append(words.rain(start_ms, end_ms, most, np.sqrt(2.0) * line.sd, recorded=recorded))
                return self._resume(i, j, off, waited, line)
        self._put(since, self.hour.size)
        last_ms = int(self.site.at_ms[-1])
        self.events.append(words.wet_since(start_ms, last_ms, most, np.sqrt(2.0) * line.sd, recorded=recorded))
        return self.hour.size

    def _unmark_rise(self, i: int, line: Line) -> None:
        """Leave out the hours before ``i`` in which the rise had begun without being plain."""
        for k in reversed(self._window[-int(value("rise_within_h")) :]):
            if self.kg[k] - line.of(self.hour[k]) <= 2.0 * line.sd or len(self._window) <= 2:
                return
            self._leave_out(k)

    def _between(self, marks: Times, i: int, j: int) -> bool:
        """Whether one of the rising hours ``marks`` lies after hour ``i`` and up to hour ``j``."""
        return bool(np.searchsorted(marks, self.hour[i]) < np.searchsorted(marks, self.hour[j], "right"))

    def _dry_again(self, i: int, j: int, off: float, line: Line) -> bool:
        """Whether it is back on the line, or beside it, where the wood had not dried while wet, and dries as before."""
        near, rate = value("back_multiple") * line.sd, abs(line.rate)
        waited = float(self.hour[j] - self.hour[i])
        k = max(j - _RESTING_HOURS, 0)
        usual = value("own_change_multiple") * rate * (self.hour[j] - self.hour[k])
        if off <= near and self.kg[k] - self.kg[j] <= usual + near:
            return True
        day = int(np.searchsorted(self.hour, self.hour[j] - _DAY_H))
        fell, dried = self.kg[day] - self.kg[j], rate * (self.hour[j] - self.hour[day])
        undried = value("undried_share") * rate * min(waited, value("undried_h"))
        return bool(day > i and off <= undried + near and fell <= value("as_before") * dried + near)

    def _taken_off_wet(self, i: int, j: int, fell: float, line: Line) -> None:
        """Something was taken off a wet load: a new epoch, as wet as before."""
        self._put(i, j)
        self._now += 1
        start_ms = int(self.site.at_ms[self._span(j - 1)[1] - 1])
        self.events.append(words.changed(start_ms, int(self.site.at_ms[self._span(j)[0]]), fell, 2.0 * line.sd))

    def _resume(self, i: int, j: int, off: float, waited: float, line: Line) -> int:
        """Go on from hour ``j``; where a person vouches for a weight that is off the line, from a new line."""
        if self._between(self.site.tare_hours, i, j) and abs(off) > line.slack(waited):
            return self._changed(j, line)
        if abs(off) > line.base / 2.0:
            self._window = []
        self._accept(j, self._line(j))
        return j + 1
