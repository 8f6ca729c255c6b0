"""Pin meters: from what a resistance meter shows to the wood's moisture content, with its limits.

A reading is corrected for the wood's temperature, then by a line through pairs of readings and oven-dried
offcuts of the same lot. Without such pairs it carries the bias of an uncalibrated meter. Below 6 % it only
says "at most", above 27 % only "at least" (Wood Handbook FPL-GTR-190, 2010, chapter 13; FPL-GTR-6, 1988).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kiln.errors import OutOfRange
from kiln.records import Z80
from kiln.sentences import capital
from shared.errors import BadInput
from shared.tables import constants, limit
from shared.tables.instruments import pin_depths
from shared.units import Array, mm_from_m

AT_LEAST, AT_MOST = "at least", "at most"
NO_SPECIES_CORRECTION = "no published correction for this species: calibrate with an oven-dried offcut"
_HALVING = 3  # pairs to add for each one there is, before the line is twice as well known


def _value(name: str) -> float:
    return constants("meters")[name].value


def temperature_corrected_pct(
    reading_pct: float | Array, wood_temperature_c: float | Array, calibration_temperature_c: float | None = None
) -> Array:
    """Return the reading [%MC, any shape] as it would be with the wood at the meter's calibration temperature [°C].

    ±0.5 %MC per 5.6 °C, added when the wood is colder. ``calibration_temperature_c`` None: 21.1 °C (70 °F, from
    memory; the meter's manual decides). Good for 6 to 25 %MC and 0 to 50 °C: ``temperature_rule_holds`` tells
    where; outside, the figure is still returned. NaN stays NaN.
    Source: Wood Handbook FPL-GTR-190, 2010, chapter 13.
    """
    scale_c = _value("calibration_temperature_c") if calibration_temperature_c is None else calibration_temperature_c
    away_c = np.asarray(wood_temperature_c, dtype=float) - scale_c
    return np.asarray(np.asarray(reading_pct, dtype=float) - _per_c() * away_c)


def temperature_rule_holds(reading_pct: float | Array, wood_temperature_c: float | Array) -> NDArray[np.bool_]:
    """Whether the straight temperature rule may be used: 6 to 25 %MC and 0 to 50 °C, any shape (judgement)."""
    reading, wood_c = np.asarray(reading_pct, dtype=float), np.asarray(wood_temperature_c, dtype=float)
    moist = (reading >= _value("rule_lowest_mc_pct")) & (reading <= _value("rule_highest_mc_pct"))
    warm = (wood_c >= _value("rule_lowest_c")) & (wood_c <= _value("rule_highest_c"))
    return np.asarray(moist & warm)


def _per_c() -> float:
    return _value("temperature_step_mc_pct") / _value("temperature_step_c")


def species_correction(botanical_name: str) -> float | None:
    """Return the correction [%MC] for a species: always None, for none was found that may be carried.

    Whoever shows the reading shows ``NO_SPECIES_CORRECTION`` with it.
    """
    del botanical_name
    return None


@dataclass(frozen=True)
class Pair:
    """One offcut of a lot: what the meter read, temperature corrected, and what the oven found."""

    reading_pct: float
    oven_dry_mc_pct: float
    error_mc_pct: float  # one standard error of the oven-dried figure


@dataclass(frozen=True)
class LotCalibration:
    """A line from readings to moisture content for one lot: true = middle + slope · (reading − reading's middle)."""

    middle_reading_pct: float
    middle_mc_pct: float
    slope: float
    middle_error_mc_pct: float  # one standard error of the line at its middle
    slope_error: float
    scatter_mc_pct: float  # of a single reading about the line
    low_reading_pct: float
    high_reading_pct: float
    pairs: int
    pairs_to_halve: int  # further pairs until the line at its middle is known twice as well
    sentence: str  # what the pairs can and cannot tell

    def apply(self, reading_pct: float | Array) -> tuple[Array, Array]:
        """Return moisture content and one standard error of a single reading [%MC, any shape]; NaN stays NaN.

        ``reading_pct``: temperature corrected [%MC].
        """
        away = np.asarray(reading_pct, dtype=float) - self.middle_reading_pct
        line = np.hypot(self.middle_error_mc_pct, self.slope_error * away)
        return np.asarray(self.middle_mc_pct + self.slope * away), np.asarray(np.hypot(line, self.scatter_mc_pct))


def fit_pairs(pairs: Sequence[Pair]) -> LotCalibration:
    """Return a lot's line through one or more pairs.

    The slope is believed to be 1 ± 0.15 beforehand, the level is not believed at all: one pair gives an
    offset, several over a span move the slope. The scatter of single readings is that of the pairs and of
    ``drying.csv`` (pin_noise) together. Raises BadInput without pairs; OutOfRange for a pair outside
    6 to 25 %MC or an oven-dried figure without an error. Source: Bayesian straight line, ours.
    """
    if not pairs:
        raise BadInput("pairs", "empty", "at least one reading with its oven-dried offcut")
    for pair in pairs:
        _check(pair)
    x = np.array([pair.reading_pct for pair in pairs])
    y = np.array([pair.oven_dry_mc_pct for pair in pairs])
    oven = np.array([pair.error_mc_pct for pair in pairs])
    noise = constants("drying")["pin_noise_mc_pct"].value
    scatter = _scatter(x, y, oven, noise)
    x0, y0, slope, spread = _line(x, y, np.hypot(scatter, oven))
    return LotCalibration(
        middle_reading_pct=x0,
        middle_mc_pct=y0,
        slope=slope,
        middle_error_mc_pct=spread[0],
        slope_error=spread[1],
        scatter_mc_pct=scatter,
        low_reading_pct=float(x.min()),
        high_reading_pct=float(x.max()),
        pairs=len(pairs),
        pairs_to_halve=_HALVING * len(pairs),
        sentence=_sentence(x, spread[0], scatter),
    )


def _check(pair: Pair) -> None:
    low, high = _value("rule_lowest_mc_pct"), _value("rule_highest_mc_pct")
    for name, value in (("reading_pct", pair.reading_pct), ("oven_dry_mc_pct", pair.oven_dry_mc_pct)):
        if not low <= value <= high:
            raise OutOfRange(name, value, low, high, "%MC")
    if not 0.0 < pair.error_mc_pct <= high:
        raise OutOfRange("error_mc_pct", pair.error_mc_pct, 0.0, high, "%MC")


def _line(x: Array, y: Array, error: Array) -> tuple[float, float, float, tuple[float, float]]:
    """Middle of the readings, the line there, its slope, and the errors of both, which do not hang together."""
    weight = 1.0 / error**2
    x0, y0 = float(weight @ x / weight.sum()), float(weight @ y / weight.sum())
    prior = 1.0 / _value("slope_sd") ** 2
    held = float(weight @ (x - x0) ** 2) + prior
    slope = (float(weight @ ((x - x0) * (y - y0))) + prior) / held
    return x0, y0, slope, (float(weight.sum() ** -0.5), float(held**-0.5))


def _scatter(x: Array, y: Array, oven: Array, noise: float) -> float:
    """Scatter of single readings: the tabled one, counted as some pairs, and what these pairs show."""
    x0, y0, slope, _ = _line(x, y, np.hypot(noise, oven))
    shown = np.sum(np.maximum((y - y0 - slope * (x - x0)) ** 2 - oven**2, 0.0))
    counted, spare = _value("scatter_weight"), max(len(x) - 1, 0)
    return float(np.sqrt((counted * noise**2 + shown) / (counted + spare)))


def _sentence(x: Array, error: float, scatter: float) -> str:
    span, narrow, more = float(np.ptp(x)), _value("narrow_span_mc_pct"), _HALVING * len(x)
    line, single, spread = (Z80 * one for one in (error, float(np.hypot(error, scatter)), scatter))
    known = f"The line is known to ± {line:.1f} %MC, a single reading to ± {single:.1f} (eight in ten); "
    halved = f"{more} more pairs would halve the line's error, not the scatter of readings (± {spread:.1f})."
    if span < narrow:
        told = f"They tell an offset only: their readings span {span:.1f} %MC, a slope needs {narrow:g} or more. "
        return told + known + halved
    return known + halved


@dataclass(frozen=True)
class PinAnswer:
    """A pin reading as the wood's moisture content."""

    mc_pct: float
    error_mc_pct: float  # one standard error
    censored: str  # "", "at least" or "at most"
    flags: tuple[str, ...]  # sentences


@dataclass(frozen=True)
class Pin:
    """One reading and what is known of how it was taken; None where nobody said."""

    reading_pct: float  # as the meter showed it
    wood_temperature_c: float | None = None
    calibration_temperature_c: float | None = None
    thickness_m: float | None = None
    origin: str = ""  # as in the board's record: "water-reclaimed" warns of minerals
    waited_s: float | None = None  # between driving the pins and reading


def read(pin: Pin, lot: LotCalibration | None = None) -> PinAnswer:
    """Return what one reading says: corrected for temperature and lot, cut off at the meter's limits, flagged.

    Beyond a limit ``mc_pct`` is the limit itself (after the lot's line), never the figure shown. The error is
    the lot's, or the bias and noise of an uncalibrated meter (``drying.csv``), widened when the wood's temperature
    is unknown. Raises OutOfRange unless the reading is above 0. Source: as ``temperature_corrected_pct``.
    """
    if not 0.0 < pin.reading_pct < np.inf:
        raise OutOfRange("reading_pct", pin.reading_pct, 0.0, np.inf, "%MC")
    corrected, wider = _at_scale(pin)
    low, high = _value("at_most_mc_pct"), limit("pin_at_least")
    censored = AT_MOST if corrected < low else AT_LEAST if corrected > high else ""
    mc, error = _by_lot(float(np.clip(corrected, low, high)), lot)
    return PinAnswer(mc, float(np.hypot(error, wider)), censored, _flags(pin, corrected, censored, lot))


def _at_scale(pin: Pin) -> tuple[float, float]:
    """The reading at the calibration temperature [%MC], and the error when the wood's temperature is unknown."""
    if pin.wood_temperature_c is None:
        return pin.reading_pct, _per_c() * _value("unknown_temperature_sd_c")
    scale_c = pin.calibration_temperature_c
    return float(temperature_corrected_pct(pin.reading_pct, pin.wood_temperature_c, scale_c)), 0.0


def _by_lot(corrected_pct: float, lot: LotCalibration | None) -> tuple[float, float]:
    if lot is not None:
        mc, error = lot.apply(corrected_pct)
        return float(mc), float(error)
    drying = constants("drying")
    return corrected_pct, float(np.hypot(drying["pin_bias_mc_pct"].value, drying["pin_noise_mc_pct"].value))


def _flags(pin: Pin, corrected_pct: float, censored: str, lot: LotCalibration | None) -> tuple[str, ...]:
    said = []
    if censored == AT_LEAST:
        said.append(f"Above {limit('pin_at_least'):g} % a pin meter only says “at least”: weigh it, or dry a section.")
    if censored == AT_MOST:
        said.append(f"Below {_value('at_most_mc_pct'):g} % a pin meter only says “at most”.")
    if pin.wood_temperature_c is None:
        said.append("The wood's temperature is not known: the reading stands uncorrected.")
    elif not temperature_rule_holds(pin.reading_pct, pin.wood_temperature_c):
        said.append("Outside 6 to 25 %MC or 0 to 50 °C the temperature correction is not to be relied on.")
    if pin.origin == "water-reclaimed":
        said.append(
            "Salt and minerals from the water make pins read falsely wet: check with an oven-dried offcut, or take "
            "the reading as the most it can be."
        )
    if pin.thickness_m is not None and pin.thickness_m < _value("thin_m"):
        said.append(f"Pins do not serve in a plate of {mm_from_m(pin.thickness_m):.1f} mm: do a bag test.")
    if pin.waited_s is not None and pin.waited_s > _value("early_s"):
        said.append("Read late: the figure drifts for 15 to 20 minutes after the pins are in; the early one counts.")
    return (*said, *_lot_flags(corrected_pct, lot))


def _lot_flags(corrected_pct: float, lot: LotCalibration | None) -> tuple[str, ...]:
    if lot is None:
        return (f"{capital(NO_SPECIES_CORRECTION)}.",)
    if lot.low_reading_pct <= corrected_pct <= lot.high_reading_pct:
        return ()
    return (f"Outside the lot's pairs ({lot.low_reading_pct:.1f} to {lot.high_reading_pct:.1f} %): less certain.",)


def convention_of(depth_m: float, thickness_m: float) -> str:
    """Return the convention that a pin depth [m] follows in a board of ``thickness_m`` [m]: its name, or "".

    "fifth to quarter": reads the mean of a parabolic profile; "three tenths": reads a little wetter in drying
    stock. Raises OutOfRange unless 0 ≤ depth ≤ thickness and thickness > 0. Source: ``pin_depths.csv``.
    """
    if not 0.0 < thickness_m < np.inf:
        raise OutOfRange("thickness_m", thickness_m, 0.0, np.inf, "m")
    if not 0.0 <= depth_m <= thickness_m:
        raise OutOfRange("depth_m", depth_m, 0.0, thickness_m, "m")
    return _named(depth_m / thickness_m)


def _named(share: float) -> str:
    near = min(share, 1.0 - share)  # driven past the middle it nears the other face
    return next((one.name for one in pin_depths() if one.low_share <= near <= one.high_share), "")


def mixed(depth_shares: Sequence[float]) -> bool:
    """Whether readings at these depths [shares of the thickness, 0 to 1] follow both conventions: keep them apart."""
    return len({name for share in depth_shares if (name := _named(share))}) > 1
