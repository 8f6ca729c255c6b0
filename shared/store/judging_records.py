"""What bears on verdicts: limits of the yard's own, overrides, lifted wood, joints; the verdicts kept, and messages."""

from __future__ import annotations

from dataclasses import dataclass

from shared.store.entry_base import Fact
from shared.store.words import Sapwood, Smell, WaterBody


@dataclass(frozen=True)
class OwnLimit(Fact):
    """A limit that somebody has set for this yard, in the unit of the table, and why."""

    value: float
    reason: str


@dataclass(frozen=True)
class Override(Fact):
    """Whoever entered it uses a board or set for this, whatever the verdict, and says why."""

    use: str
    reason: str


@dataclass(frozen=True)
class Lifted(Fact):
    """A board or log as it was when it came out of the water, at this moment; ``shake`` None: nobody looked."""

    water: WaterBody
    sapwood: Sapwood
    shake: bool | None
    smell: Smell
    washed: bool
    metal_searched: bool
    note: str


@dataclass(frozen=True)
class Joint(Fact):
    """A joint of a set, where two of its boards meet along a line.

    ``grain_a_deg`` and ``grain_b_deg`` are the angles of each board's grain to that line, 0 to 90 degrees.
    """

    a_board_id: int
    b_board_id: int
    length_m: float
    grain_a_deg: float
    grain_b_deg: float
    name: str


@dataclass(frozen=True)
class KeptVerdict:
    """What was said of a board or set from a moment on, until the next row of it.

    ``known_entry`` is ``facts.newest_entry`` of then; ``known_until_ms`` the newest reading it rests on, None: none.
    ``body`` is all of it as JSON.
    """

    id: int
    subject_id: int
    at_ms: int
    word: str
    number: str
    reason: str
    next_step: str
    probability: float | None
    known_entry: int
    known_until_ms: int | None
    body: str


@dataclass(frozen=True)
class Outgoing:
    """A message to be told outside: when it was made and sent (None: not yet), how often tried, when to try next."""

    id: int
    topic: str
    payload: str
    retain: bool
    made_ms: int
    sent_ms: int | None
    tries: int
    next_try_ms: int
    note: str
