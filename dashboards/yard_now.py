"""The yard as pages see it: read for one request, shared with those that come in the same moment.

When a reading comes in, every open page asks anew within a second. What they would all be told is the same, so it is
read once. Nothing is kept longer than ``share_ms``, and not at all once somebody has entered something.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field

from dashboards import live, situation
from dashboards.live import Beat
from dashboards.situation import Situation
from shared.settings import Settings
from shared.store import Store

SHARED_BY_SERVER_MS = 1000


@dataclass
class YardNow:
    """Reads the yard; ``share_ms``: how old a reading of it may be that is handed out again, 0: always anew."""

    store: Store
    settings: Settings
    clock_ms: Callable[[], int]
    share_ms: int = 0
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _held: tuple[Beat, Situation] | None = None

    def read(self) -> tuple[Beat, Situation]:
        """Return what the live stream said just before, and the yard read after it."""
        if not self.share_ms:
            return self._anew()
        with self._lock:  # whoever waits here is served by the one before
            if self._held is None or self._outworn(*self._held):
                self._held = self._anew()
            return self._held

    def _anew(self) -> tuple[Beat, Situation]:
        beat = live.look(self.store)
        return beat, situation.read(self.store, self.clock_ms(), self.settings)

    def _outworn(self, beat: Beat, held: Situation) -> bool:
        if not 0 <= self.clock_ms() - held.now_ms <= self.share_ms:
            return True
        return live.look(self.store)[1:] != beat[1:]  # somebody entered something, or a projection is new
