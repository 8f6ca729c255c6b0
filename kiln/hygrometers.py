"""Checking a hygrometer over saturated salts: fixed points, a straight correction, and its honest error.

A saturated salt holds the air above it at a known humidity (Greenspan, 1977). What is read over one or more
salts gives the line   true = offset + gain · read   and its covariance. The error of a corrected humidity
holds that of the fixed points and of the readings, the display's last digit, what the line cannot know
outside the checked span, and the drift since the check.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kiln.errors import OutOfRange
from shared.errors import BadInput
from shared.tables import constants, limit
from shared.tables.instruments import Salt
from shared.tables.instruments import salts as salt_table
from shared.units import MS_PER_DAY, Array

UNCHECKED_ERROR_RH_PCT = limit("unchecked_hygrometer")  # one standard error of one that was never checked
_SAME_SE = 2.0  # two readings over one salt further apart than so many standard errors contradict each other
_ROUNDS = 3  # the reading's share of a point's error scales with the gain; it settles at once
_UNIFORM = float(np.sqrt(12.0))  # width of a uniform distribution over its standard deviation


def _value(name: str) -> float:
    return constants("hygrometers")[name].value


def salts() -> dict[str, Salt]:
    """Return the saturated salts by formula, driest first, each with plain name, caution, note and source."""
    return salt_table()


def find_salt(text: str) -> Salt:
    """Return the salt whose formula, or plain name, is ``text``; case does not matter.

    Raises BadInput naming the salts that are known.
    """
    wanted = " ".join(text.split()).casefold()
    for salt in salts().values():
        plain = salt.name.casefold().replace("(", "").replace(")", "")
        names = {salt.formula.casefold(), salt.name.casefold(), plain, salt.name.casefold().split(" (")[0]}
        if wanted in names or (wanted and wanted == salt.name.casefold().partition("(")[2].rstrip(")")):
            return salt
    raise BadInput("salt", text, "one of " + "; ".join(f"{s.formula}, {s.name}" for s in salts().values()))


def salt_rh_pct(salt: str, temperature_c: float) -> float:
    """Relative humidity [%RH] of the air over a saturated solution of ``salt`` at ``temperature_c`` [°C].

    Valid 5 to 40 °C, potassium carbonate 5 to 30 °C: OutOfRange outside; BadInput for an unknown salt.
    Source: L. Greenspan, J. Res. NBS 81A, 89 (1977); magnesium nitrate from memory.
    """
    known = find_salt(salt)
    if not known.lowest_c <= temperature_c <= known.highest_c:
        raise OutOfRange("temperature_c", temperature_c, known.lowest_c, known.highest_c, "°C")
    a0, a1, a2, a3 = known.coefficients
    return a0 + temperature_c * (a1 + temperature_c * (a2 + temperature_c * a3))


@dataclass(frozen=True)
class Point:
    """What a hygrometer read over one salt, after it came to rest."""

    salt: str
    temperature_c: float
    read_rh_pct: float
    read_error_rh_pct: float  # one standard error of the reading: not quite settled, last digit


@dataclass(frozen=True)
class Calibration:
    """The line from read to true humidity, and how well it is known."""

    offset_rh_pct: float
    gain: float
    covariance: tuple[tuple[float, float], tuple[float, float]]  # of offset [%RH] and gain
    low_rh_pct: float  # least reading that was checked
    high_rh_pct: float  # greatest reading that was checked
    resolution_rh_pct: float  # last digit of the display
    salts: tuple[str, ...]  # formulas, driest first

    def apply(self, rh_pct: float | Array) -> Array:
        """Return the corrected humidity [%RH] for readings ``rh_pct`` [%RH, any shape]; NaN stays NaN.

        A reading near saturation may come out a little above 100: nothing is cut off here.
        """
        return np.asarray(self.offset_rh_pct + self.gain * np.asarray(rh_pct, dtype=float))

    def error_rh_pct(self, rh_pct: float | Array, age_years: float = 0.0) -> Array:
        """Return one standard error [%RH] of the corrected humidity for readings ``rh_pct`` [%RH, any shape].

        ``age_years`` [year]: time since the check, for the drift. NaN stays NaN. Raises OutOfRange for a
        negative age. Sources: ``hygrometers.csv`` (drift common practice; bend outside the span ours).
        """
        if not age_years >= 0.0:
            raise OutOfRange("age_years", age_years, 0.0, np.inf, "years")
        read = np.asarray(rh_pct, dtype=float)
        (var_offset, both), (_, var_gain) = self.covariance
        line = np.maximum(var_offset + 2.0 * both * read + var_gain * read**2, 0.0)
        outside = np.maximum(self.low_rh_pct - read, 0.0) + np.maximum(read - self.high_rh_pct, 0.0)
        bend = _value("bend_outside") * outside
        digit = self.gain * self.resolution_rh_pct / _UNIFORM
        drift = _value("drift_rh_pct_per_year") * age_years
        return np.asarray(np.sqrt(line + bend**2 + digit**2 + drift**2))


def due_ms(checked_ms: int) -> int:
    """Return when the next check is due [ms since 1970, UTC]: a year after (common practice, no source)."""
    return checked_ms + round(_value("due_after_days") * MS_PER_DAY)


@dataclass(frozen=True)
class _Fixed:
    """All that was read over one salt, as one point."""

    salt: Salt
    true_rh_pct: float
    read_rh_pct: float
    read_error_rh_pct: float


def calibrate(points: Sequence[Point], resolution_rh_pct: float | None = None) -> Calibration:
    """Return the line through what was read over one or more saturated salts.

    One salt gives an offset, its gain 1 as uncertain as ``hygrometers.csv`` says; two give offset and gain
    exactly; more the weighted least squares, whose covariance widens when they do not lie on a line.
    ``resolution_rh_pct`` [%RH]: last digit of the display; the table's default when None.
    Raises BadInput without points, for readings outside 0 to 100 %RH or more than 15 %RH off their salt, for
    two answers over one salt, for salts closer than 20 %RH to each other, and for a gain outside 0.8 to
    1.25; OutOfRange for a temperature outside its salt's range.
    """
    if not points:
        raise BadInput("points", "empty", "at least one reading over a saturated salt")
    fixed = sorted((_merged(group) for group in _by_salt(points)), key=lambda one: one.true_rh_pct)
    resolution = _value("resolution_rh_pct") if resolution_rh_pct is None else resolution_rh_pct
    offset, gain, covariance = _offset_only(fixed[0]) if len(fixed) == 1 else _line(fixed)
    return Calibration(
        offset_rh_pct=offset,
        gain=gain,
        covariance=covariance,
        low_rh_pct=min(one.read_rh_pct for one in fixed),
        high_rh_pct=max(one.read_rh_pct for one in fixed),
        resolution_rh_pct=resolution,
        salts=tuple(one.salt.formula for one in fixed),
    )


def _by_salt(points: Sequence[Point]) -> list[list[Point]]:
    groups: dict[str, list[Point]] = {}
    for point in points:
        _check(point)
        groups.setdefault(find_salt(point.salt).formula, []).append(point)
    return list(groups.values())


def _check(point: Point) -> None:
    salt = find_salt(point.salt)
    if not 0.0 <= point.read_rh_pct <= 100.0:
        raise OutOfRange("read_rh_pct", point.read_rh_pct, 0.0, 100.0, "%RH")
    if not 0.0 < point.read_error_rh_pct <= _value("furthest_off_rh_pct"):
        raise OutOfRange("read_error_rh_pct", point.read_error_rh_pct, 0.0, _value("furthest_off_rh_pct"), "%RH")
    true = salt_rh_pct(point.salt, point.temperature_c)
    furthest = _value("furthest_off_rh_pct")
    if abs(point.read_rh_pct - true) > furthest:
        raise BadInput(
            f"reading over {salt.name}",
            f"{point.read_rh_pct:g} %RH",
            f"{true - furthest:.0f} to {true + furthest:.0f} %RH ({salt.formula} holds {true:.1f}); "
            "further off it is the wrong salt, not settled, or a broken sensor",
        )


def _merged(group: list[Point]) -> _Fixed:
    """One point of all readings over a salt: they share the salt's own error."""
    salt = find_salt(group[0].salt)
    true = np.array([salt_rh_pct(salt.formula, point.temperature_c) for point in group])
    read = np.array([point.read_rh_pct for point in group])
    error = np.array([point.read_error_rh_pct for point in group])
    off = read - true
    far, near = int(np.argmax(off)), int(np.argmin(off))
    if off[far] - off[near] > _SAME_SE * np.hypot(error[far], error[near]):
        raise BadInput(
            f"readings over {salt.name}",
            f"{read[near]:g} and {read[far]:g} %RH",
            "the same answer within their errors; wait until it has settled and read again",
        )
    weight = 1.0 / error**2
    share = weight / weight.sum()
    return _Fixed(salt, float(share @ true), float(share @ read), float(weight.sum() ** -0.5))


def _variance(one: _Fixed, gain: float) -> float:
    return one.salt.error.value**2 + (gain * one.read_error_rh_pct) ** 2


_Line = tuple[float, float, tuple[tuple[float, float], tuple[float, float]]]


def _offset_only(one: _Fixed) -> _Line:
    """Gain 1, known no better than the table says, turning about the one point."""
    var_gain = _value("gain_sd") ** 2
    read = one.read_rh_pct
    both = -var_gain * read
    return one.true_rh_pct - read, 1.0, ((_variance(one, 1.0) + var_gain * read**2, both), (both, var_gain))


def _line(fixed: list[_Fixed]) -> _Line:
    closest = _value("closest_points_rh_pct")
    if fixed[-1].true_rh_pct - fixed[0].true_rh_pct < closest:
        named = " and ".join(one.salt.name for one in (fixed[0], fixed[-1]))
        raise BadInput(
            "salts", named, f"one salt, or salts at least {closest:g} %RH apart, such as MgCl2 (33) and NaCl (75)"
        )
    read = np.array([one.read_rh_pct for one in fixed])
    true = np.array([one.true_rh_pct for one in fixed])
    design = np.stack([np.ones_like(read), read], axis=1)
    offset, gain, spread, weight = 0.0, 1.0, np.eye(2), np.ones_like(read)
    for _ in range(_ROUNDS):
        weight = np.array([1.0 / _variance(one, gain) for one in fixed])
        normal = design.T @ (weight[:, None] * design)
        if not np.linalg.det(normal) > 0.0:
            raise BadInput("readings", f"{read[0]:g} %RH over every salt", "readings that follow the salts")
        spread = np.linalg.inv(normal)
        offset, gain = (float(one) for one in spread @ design.T @ (weight * true))
    _check_gain(gain)
    spread = spread * _widening(true - offset - gain * read, weight)
    both = float(spread[0, 1])
    return offset, gain, ((float(spread[0, 0]), both), (both, float(spread[1, 1])))


def _widening(residual: Array, weight: Array) -> float:
    """How much wider the covariance is when more than two points do not lie on a line (Birge ratio, never below 1)."""
    spare = len(residual) - 2
    return max(1.0, float(weight @ residual**2) / spare) if spare > 0 else 1.0


def _check_gain(gain: float) -> None:
    low, high = _value("lowest_gain"), _value("highest_gain")
    if not low <= gain <= high:
        raise BadInput(
            "gain",
            f"{gain:.2f}",
            f"{low:g} to {high:g}; beyond, a salt was mistaken, had not settled, or the sensor is broken",
        )
