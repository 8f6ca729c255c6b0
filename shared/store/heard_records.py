"""What the store holds of what probes said, and of the recorder that listens to them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import NamedTuple

from shared.store.words import Quality, Quantity


class TimeSource(IntEnum):
    """Whose clock a reading's time is from."""

    PAYLOAD = 0
    RECEIVED = 1


class NewReading(NamedTuple):
    """A checked value on its way into the store."""

    series_id: int
    at_ms: int
    value: float
    quality: Quality
    time_source: TimeSource


@dataclass(frozen=True)
class Reading:
    """A stored value."""

    series_id: int
    at_ms: int
    value: float
    quality: Quality
    time_source: TimeSource


@dataclass(frozen=True)
class Appended:
    """What became of a batch: rows that are new, rows already there, same key with another value."""

    new: int
    repeated: int
    conflicting: int


@dataclass(frozen=True)
class Series:
    """One quantity of one probe."""

    id: int
    probe_id: int
    quantity: Quantity


@dataclass(frozen=True)
class Reject:
    """A message that held no reading, kept with the reason."""

    id: int
    arrived_ms: int
    topic: str
    payload: bytes
    reason: str


@dataclass(frozen=True)
class RecorderState:
    """What the recorder last said of itself."""

    beat_ms: int
    pid: int
    connected: bool
    broker: str
    session_kept: bool
    waiting: int
    stored: int
    rejected: int
    retained_ignored: int
    note: str
