"""An invented stack on a load cell: what it truly weighs, and what the cell says of it."""

import numpy as np

from kiln.load_cell import Cell, Kind, Tare
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE

T0 = 20_454 * MS_PER_DAY
NO_DISTURBANCE = (Kind.TARE, Kind.GAP)
STACK = Cell(0.3, tares=(Tare(T0 - MS_PER_HOUR, 0.0),))


def day(at_ms):
    return (np.asarray(at_ms) - T0) / MS_PER_DAY


def dried(at_ms, dry_kg=500.0, water_kg=300.0, days=60.0):
    return dry_kg + water_kg * np.exp(-day(at_ms) / days)


def times(days, minutes):
    return T0 + np.arange(0, int(days * MS_PER_DAY), minutes * MS_PER_MINUTE)


def read(at_ms, seed=0, noise_kg=0.1, diurnal_kg=0.1):
    """A stack that dries on a cell with noise and a zero that goes with the warmth of the day."""
    chance = np.random.default_rng(seed)
    warmth = diurnal_kg * np.sin(2.0 * np.pi * (day(at_ms) + chance.uniform())) * (1.0 + 0.4 * np.sin(0.9 * day(at_ms)))
    return dried(at_ms) + warmth + noise_kg * chance.normal(size=at_ms.size)
