"""Mould on the faces of a board, by the index of Hukka and Viitanen.

The index runs from 0 to 6: 1 is a start that a microscope shows, 3 what the eye sees first. What drives it is the
humidity at the wood's own face: a wet board in a dry room keeps its faces near saturation.
Source: Hukka and Viitanen, Wood Science and Technology 33, 1999, in its four-class form of 2011, in which the kind of
wood and its surface no longer count but by the class. Constants: mould.csv and mould_growth.csv.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kiln.errors import check_range
from shared.errors import BadInput
from shared.tables import constants
from shared.tables.harms import MouldClass, mould_classes
from shared.units import Array

DAYS_A_WEEK, HOURS_A_DAY = 7.0, 24.0
UNPLANED = "very sensitive"  # of unplaned wood of any kind, where nothing else is said: on the cautious side


def class_of(name: str = UNPLANED) -> MouldClass:
    """Return a class by its name; raises BadInput for one that is not there."""
    found = mould_classes().get(name)
    if found is None:
        raise BadInput("mould class", name, ", ".join(mould_classes()))
    return found


def critical_rh_pct(temperature_c: float | Array, kind: MouldClass) -> Array:
    """Humidity [%RH] below which nothing grows at ``temperature_c`` [°C], any shape; 100 at frost.

    Above 20 °C it is the class's least. NaN stays NaN.
    """
    k, t = _k(), np.asarray(temperature_c, dtype=float)
    curve = k["critical_base"] + t * (k["critical_linear"] + t * (k["critical_square"] + t * k["critical_cubic"]))
    above = np.where(t > k["critical_floor_from_c"], kind.least_rh_pct, np.maximum(curve, kind.least_rh_pct))
    return np.where(t <= k["coldest"], k["critical_base"], above)


def weeks_to_start(temperature_c: float | Array, rh_pct: float | Array) -> Array:
    """Weeks until the index of sawn pine comes to 1 in lasting air [°C, %RH; any shapes].

    Raises OutOfRange outside 0 to 50 °C or 1 to 100 %RH. At 0 °C it is endless. Growth of every class goes by it.
    """
    k, t, rh = _k(), np.asarray(temperature_c, dtype=float), np.asarray(rh_pct, dtype=float)
    check_range("temperature_c", t.reshape(-1), k["coldest"], k["warmest"], "°C")
    check_range("rh_pct", rh.reshape(-1), 1.0, 100.0, "%RH")
    with np.errstate(divide="ignore"):
        logarithm = k["weeks_temperature"] * np.log(t) + k["weeks_humidity"] * np.log(rh) + k["weeks_base"]
    return np.asarray(np.exp(logarithm))


def most_index(temperature_c: float | Array, rh_pct: float | Array, kind: MouldClass) -> Array:
    """The index at which growth ends in lasting air [°C, %RH; any shapes]; 0 where nothing grows."""
    critical, rh = critical_rh_pct(temperature_c, kind), np.asarray(rh_pct, dtype=float)
    full = _k()["critical_base"]
    room = np.where(critical < full, critical - full, -1.0)
    x = (critical - rh) / room
    most = kind.a + kind.b * x - kind.c * x * x
    return np.where((rh >= critical) & (critical < full), np.maximum(most, 0.0), 0.0)


def growth_per_day(
    mould_index: float | Array, temperature_c: float | Array, rh_pct: float | Array, kind: MouldClass
) -> Array:
    """By how much the index grows in a day [1/day] from ``mould_index`` on in this air [°C, %RH]; any shapes.

    Nought below the critical humidity and outside 0 to 50 °C: what it then declines by hangs on how long that lasts
    (``course``).
    """
    pace, most = _pace_and_most(np.asarray(temperature_c, dtype=float), np.asarray(rh_pct, dtype=float), kind)
    return _growth(np.asarray(mould_index, dtype=float), pace, most, kind)


def decline(dry_from_h: Array, dry_to_h: Array) -> Array:
    """By how much the index falls between two moments of a dry time, both in hours from its beginning [h; any shape].

    Fast in its first six hours, not at all until a day is over, then slowly for as long as it lasts.
    """
    k = _k()
    early = np.minimum(dry_to_h, k["early_until"]) - np.minimum(dry_from_h, k["early_until"])
    late = np.maximum(dry_to_h, k["late_from"]) - np.maximum(dry_from_h, k["late_from"])
    return np.asarray((k["early_decline"] * early + k["late_decline"] * late) / HOURS_A_DAY)


def course(temperature_c: Array, rh_pct: Array, hours: Array, kind: MouldClass, start: float | Array = 0.0) -> Array:
    """The index after each step of the air at a face [..., steps].

    ``temperature_c`` [°C] and ``rh_pct`` [%RH] of one shape [..., steps], that of the face itself; ``hours`` the length
    of each step [steps; h]: growth and decline go by it. ``start`` the index before the first step [...]. In frost and
    above 50 °C, where the model does not hold, and where the air is NaN, the index stays. Raises BadInput for a
    negative start or steps that are not longer than nought.
    """
    if np.any(np.asarray(hours) <= 0.0):
        raise BadInput("hours", float(np.min(hours)), "steps longer than 0 h")
    if np.any(np.asarray(start) < 0.0):
        raise BadInput("start", float(np.min(start)), "a mould index from 0 on")
    t, rh = np.asarray(temperature_c, dtype=float), np.asarray(rh_pct, dtype=float)
    pace, most = _pace_and_most(t, rh, kind)
    days = np.asarray(hours) / HOURS_A_DAY
    falls = _falls(t, rh, np.asarray(hours, dtype=float), kind)
    steps = np.moveaxis(pace * days, -1, 0), np.moveaxis(most, -1, 0), np.moveaxis(falls, -1, 0)
    gain, most_each, fall = (np.ascontiguousarray(one) for one in steps)
    found = np.empty_like(gain)
    now = np.broadcast_to(np.asarray(start, dtype=float), gain.shape[1:]).copy()
    for i in range(len(gain)):
        now = np.maximum(now + _growth(now, gain[i], most_each[i], kind) - fall[i], 0.0)
        found[i] = now
    return np.moveaxis(found, 0, -1)


def _k() -> dict[str, float]:
    return {name: one.value for name, one in constants("mould_growth").items()}


def _pace_and_most(t: Array, rh: Array, kind: MouldClass) -> tuple[Array, Array]:
    """Growth per day of an index of nought in the pine's class, without its end; and where growth ends."""
    k = _k()
    grows = _grows(t, rh, kind)
    weeks = weeks_to_start(np.where(grows, t, k["critical_floor_from_c"]), np.where(grows, rh, k["critical_base"]))
    return np.where(grows, 1.0 / (DAYS_A_WEEK * weeks), 0.0), most_index(t, rh, kind)


def _grows(t: Array, rh: Array, kind: MouldClass) -> NDArray[np.bool_]:
    k = _k()
    return np.asarray((t > k["coldest"]) & (t < k["warmest"]) & (rh >= critical_rh_pct(t, kind)))


def _growth(now: Array, pace: Array, most: Array, kind: MouldClass) -> Array:
    """One step's or one day's growth; it ends where the index comes to its most."""
    factor = np.where(now < 1.0, kind.k1_below_1, kind.k1_from_1)
    left = np.maximum(1.0 - np.exp(np.minimum(_approach() * (now - most), 0.0)), 0.0)
    return np.asarray(factor * left * pace)


def _approach() -> float:
    return constants("mould_growth")["approach"].value


def _falls(t: Array, rh: Array, hours: Array, kind: MouldClass) -> Array:
    """The decline of each step [..., steps], by how long it has been too dry for growth."""
    k = _k()
    grows = _grows(t, rh, kind)
    valid = (t > k["coldest"]) & (t < k["warmest"]) & ~np.isnan(rh)
    ends = np.cumsum(hours)
    damp_until = np.maximum.accumulate(np.where(grows, ends, 0.0), axis=-1)
    fall = decline(np.maximum(ends - hours - damp_until, 0.0), np.maximum(ends - damp_until, 0.0))
    return np.where(valid & ~grows, fall, 0.0)
