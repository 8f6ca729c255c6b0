"""When a batch is written: after its time, or sooner when many wait.

A broker sends only so many messages that are not acknowledged (our Receive Maximum, or less where it has
a limit of its own, which it does not tell), and an acknowledgement waits for the commit. A window that is
full before the batch's time would make each such wait a standstill: so a batch is due when half of our own
window waits, and a narrower one is found out from what the broker does: it sends a crowd at the moment
in which a batch that was written for its age is acknowledged.
"""

from __future__ import annotations

from sensors.client import RECEIVE_MAXIMUM
from shared.settings import Settings

GENTLE_FROM_S = 1.0  # from this commit_every_s on, a lull is no reason to write early
MANY_WAITING = 50
CROWD_S = 0.1
CROWD_ROWS = 10


class Due:
    """Decides when the waiting messages are written."""

    def __init__(self, settings: Settings) -> None:
        """Take the longest wait and the most rows from the settings."""
        self._every_s = settings.commit_every_s
        self._most = min(settings.commit_rows, RECEIVE_MAXIMUM // 2)
        self.limit = self._most
        self._oldest_s = 0.0
        self._aged, self._written_s, self._crowd = 0, 0.0, 0

    @property
    def gentle(self) -> bool:
        """Whether few large writes are asked for, to spare the disk."""
        return self._every_s >= GENTLE_FROM_S

    def new_connection(self) -> None:
        """Forget what was learnt of the broker's window."""
        self.limit, self._aged = self._most, 0

    def took(self, waiting: int, now_s: float) -> None:
        """Take note of a message that has come; ``waiting`` counts it."""
        if waiting == 1:
            self._oldest_s = now_s
        if not self._aged or now_s - self._written_s > CROWD_S:
            return
        self._crowd += 1
        if self._crowd >= max(CROWD_ROWS, self._aged // 2):
            self.limit, self._aged = min(self.limit, max(1, self._aged // 2)), 0

    def wrote(self, count: int, now_s: float) -> None:
        """Take note of a batch that is on disk."""
        by_age = now_s - self._oldest_s >= self._every_s and count < self.limit
        self._aged, self._written_s, self._crowd = count if by_age else 0, now_s, 0

    def is_due(self, waiting: int, now_s: float, *, quiet: bool) -> bool:
        """Tell whether what waits is to be written now; ``quiet``: nothing has come for a moment."""
        # Many waiting and nothing more coming: the broker's window is full, it waits for us.
        enough = min(MANY_WAITING, self.limit) if quiet and not self.gentle else self.limit
        return waiting >= enough or now_s - self._oldest_s >= self._every_s
