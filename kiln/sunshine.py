"""Sun on a board: what falls on a level face, from the time and the place on the map alone, and what the wood keeps.

What reaches the top of the air is astronomy and known to a tenth of a percent. What of it reaches the ground is one
number, the clearness index, here the same at every hour: it holds over weeks, not on any one day, and says too much
for the first and last hour of a day. Roofs, trees and hills are not known here; nor is the heat that a board loses
to a clear sky at night. Constants and sources stand in ``shared/tables/sunshine.csv``.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kiln.errors import check_range
from kiln.runs import in_runs
from shared.errors import BadInput
from shared.tables import constants
from shared.units import MS_PER_DAY, Array

J2000_MS = 946_728_000_000  # noon of 1 January 2000, from which the almanac counts its days
FIRST_MS, LAST_MS = -631_152_000_000, 2_556_144_000_000  # 1950 to the end of 2050, for which the almanac vouches
DEGREES_PER_HOUR = 15.0
FACES = 2.0  # of a board: one looks up, both give and take heat


def horizontal_w_m2(
    at_ms: NDArray[np.int64], latitude_deg: float, longitude_deg: float, clearness: float | Array | None = None
) -> Array:
    """Sun on a level square metre [W/m²], direct and diffuse together; 0 while the sun is down.

    ``at_ms``: UTC [ms since 1970], any shape, 1950 to 2050; for an hour's air, its middle. ``latitude_deg``: north
    is positive, -90 to 90. ``longitude_deg``: east is positive, -180 to 180. ``clearness``: share that reaches the
    ground, 0 to 1, a number or one for each time; None: the table's usual value.
    Raises OutOfRange, or BadInput for a time outside those years.
    Source: the clearness index is that of Liu and Jordan, Solar Energy 4, 1960 (from memory).
    """
    share = np.asarray(_value("clearness") if clearness is None else clearness, dtype=float)
    check_range("clearness", share, 0.0, 1.0, "of the sun above the air")
    return np.asarray(share * top_of_air_w_m2(at_ms, latitude_deg, longitude_deg))


def absorbed_w_m2(
    at_ms: NDArray[np.int64],
    latitude_deg: float,
    longitude_deg: float,
    clearness: float | Array | None = None,
    absorptance: float | None = None,
) -> Array:
    """Heat that sun puts into a board lying flat in the open [W per m² of face, averaged over both faces].

    One face looks up and takes in ``absorptance`` (0 to 1; None: the table's, for bare wood) of what falls on it,
    the other none; the board is at one temperature and both faces carry heat away, so each is given half.
    Other arguments and errors as ``horizontal_w_m2``.
    """
    share = _value("absorptance") if absorptance is None else absorptance
    check_range("absorptance", np.asarray(share, dtype=float), 0.0, 1.0, "of the sun that falls on it")
    return np.asarray(share / FACES * horizontal_w_m2(at_ms, latitude_deg, longitude_deg, clearness))


def top_of_air_w_m2(at_ms: NDArray[np.int64], latitude_deg: float, longitude_deg: float) -> Array:
    """Sun on a level square metre on top of the atmosphere [W/m²]; arguments and errors as ``horizontal_w_m2``.

    The sun's place to about 0.01°. Source: Astronomical Almanac 1990, page C24, low-precision formulas.
    """
    _refuse_times(at_ms)
    check_range("latitude_deg", np.asarray(latitude_deg, dtype=float), -90.0, 90.0, "°")
    check_range("longitude_deg", np.asarray(longitude_deg, dtype=float), -180.0, 180.0, "°")
    latitude = np.deg2rad(latitude_deg)

    def work(ms: Array) -> Array:
        days = (ms - J2000_MS) / MS_PER_DAY
        right_ascension, declination = _sun_rad(days)
        sidereal_h = _value("sidereal") + _value("sidereal_per_day") * days
        hour_angle = np.deg2rad(DEGREES_PER_HOUR * sidereal_h + longitude_deg) - right_ascension
        upright = np.sin(latitude) * np.sin(declination)
        height = upright + np.cos(latitude) * np.cos(declination) * np.cos(hour_angle)  # sine of the sun's height
        return np.asarray(_value("solar_constant") / _distance_au(days) ** 2 * np.maximum(height, 0.0))

    return in_runs(work, np.asarray(at_ms, dtype=float))


def _sun_rad(days: Array) -> tuple[Array, Array]:
    """Right ascension and declination of the sun, at days after J2000."""
    anomaly = _anomaly_rad(days)
    mean_deg = _value("mean_longitude") + _value("mean_longitude_per_day") * days
    centre_deg = _value("centre_1") * np.sin(anomaly) + _value("centre_2") * np.sin(2.0 * anomaly)
    longitude = np.deg2rad(mean_deg + centre_deg)
    obliquity = np.deg2rad(_value("obliquity") + _value("obliquity_per_day") * days)
    right_ascension = np.arctan2(np.cos(obliquity) * np.sin(longitude), np.cos(longitude))
    return right_ascension, np.arcsin(np.sin(obliquity) * np.sin(longitude))


def _distance_au(days: Array) -> Array:
    anomaly = _anomaly_rad(days)
    swing = _value("distance_1") * np.cos(anomaly) + _value("distance_2") * np.cos(2.0 * anomaly)
    return np.asarray(_value("distance") + swing)


def _anomaly_rad(days: Array) -> Array:
    return np.asarray(np.deg2rad(_value("anomaly") + _value("anomaly_per_day") * days))


def _refuse_times(at_ms: NDArray[np.int64]) -> None:
    wrong = np.atleast_1d((np.asarray(at_ms) < FIRST_MS) | (np.asarray(at_ms) >= LAST_MS))
    if np.any(wrong):
        raise BadInput("at_ms", int(np.atleast_1d(at_ms)[wrong].flat[0]), "UTC milliseconds from 1950 to 2050")


def _value(name: str) -> float:
    return constants("sunshine")[name].value
