"""What a recorder remarks on: said once in its log, and kept beside its state for an hour."""

from __future__ import annotations

import logging
from collections.abc import Callable

from shared.units import MS_PER_S

log = logging.getLogger("benchdry.recorder")

KEPT_S = 3600.0
CLOCK_STEP_MS = 10 * MS_PER_S


class Remarks:
    """Remarks with the time until which each stands."""

    def __init__(self, clock_s: Callable[[], float], now_ms: int) -> None:
        """Begin without any; ``clock_s`` measures spans, ``now_ms`` is what this machine's clock says (UTC ms)."""
        self._clock_s = clock_s
        self._until_s: dict[str, float] = {}
        self._clock_offset_ms = now_ms - clock_s() * MS_PER_S

    def add(self, words: str) -> None:
        """Remark on something, or remark on it again."""
        if words not in self._until_s:
            log.warning(words)
        self._until_s[words] = self._clock_s() + KEPT_S

    def standing(self) -> list[str]:
        """Return what is remarked, the oldest first."""
        return list(self._until_s)

    def look(self, now_ms: int, now_s: float) -> None:
        """Let go of what is old, and remark on this machine's clock when it was set."""
        self._watch_the_clock(now_ms, now_s)
        self._until_s = {words: until_s for words, until_s in self._until_s.items() if now_s < until_s}

    def _watch_the_clock(self, now_ms: int, now_s: float) -> None:
        offset_ms = now_ms - now_s * MS_PER_S
        step_s = (offset_ms - self._clock_offset_ms) / MS_PER_S
        self._clock_offset_ms = offset_ms
        if abs(step_s) * MS_PER_S >= CLOCK_STEP_MS:
            self.add(f"this machine's clock was set {'on' if step_s > 0 else 'back'} by {abs(step_s):.0f} s")
