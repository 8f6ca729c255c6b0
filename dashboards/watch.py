"""The watch: keeps every board's projection fresh.

One process beside the recorder and the pages. Twice a second it looks whether anything was entered, and
re-projects the boards on which the entry bears; every ``project_every_s`` it looks whether a full hour
of air has been added, and re-projects what has moved on. Boards with a new entry come first, then those
whose projection is oldest. When it falls behind, nothing is dropped: pages go on showing the older
projection with its age, and say that it is behind. Once all is worked out, ``dashboards.judge`` tells the verdicts.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable

from dashboards import projection
from dashboards.judge import Judge
from dashboards.yard_entries import Entries, read_entries
from shared.settings import Settings
from shared.store import Store, cache, facts

log = logging.getLogger("benchdry.watch")

LOOK_EVERY_S = 0.5


class Watch:
    """Looks, works out what is due, and remembers only what it has seen."""

    def __init__(self, store: Store, settings: Settings, clock_ms: Callable[[], int]) -> None:
        """Prepare; ``clock_ms`` gives the time now in UTC ms."""
        self._store, self._settings, self._clock_ms = store, settings, clock_ms
        self._memory = projection.Memory()
        self._judge = Judge(store, settings, clock_ms)
        self._seen_entry = -1
        self._looked_s = float("-inf")

    def run(self, stop: Callable[[], bool]) -> None:
        """Watch until ``stop`` says so."""
        while not stop():
            for board_id in self.due():
                self._refresh(board_id)
                self._judge.look(busy=True)
                if stop() or self._something_entered():
                    break  # look again: what has just been entered comes first
            else:
                self._judge.look()
            time.sleep(LOOK_EVERY_S)

    def _refresh(self, board_id: int) -> None:
        """Project one board; whatever goes wrong with it, the other boards are still watched."""
        try:
            projection.refresh(self._store, board_id, self._clock_ms(), self._settings, self._memory)
        except Exception:
            log.exception("the projection of board number %d failed", board_id)
            projection.keep_failure(self._store, board_id, self._clock_ms(), self._settings)

    def due(self) -> list[int]:
        """Return the boards whose projection no longer rests on what is stored, most pressing first."""
        now_s = time.monotonic()
        if not self._something_entered() and now_s - self._looked_s < self._settings.project_every_s:
            return []
        now_ms = self._clock_ms()
        with self._store.reading() as connection:
            self._seen_entry = facts.newest_entry(connection)
            entries = read_entries(connection, now_ms, self._settings)
            held = cache.projections(connection)
        found, known = [], {}  # type: ignore[var-annotated]
        for board_id in entries.boards:
            key = projection.input_key(entries, board_id, now_ms, known)
            if board_id not in held:
                found.append((0, board_id))
            elif held[board_id].input_key != key:
                found.append((held[board_id].computed_at_ms, board_id))
        self._looked_s = now_s if not found else float("-inf")
        return [board_id for _, board_id in sorted(found, key=lambda item: self._pressing(item, held, entries, now_ms))]

    def _pressing(self, item: tuple[int, int], held: dict, entries: Entries, now_ms: int) -> tuple[bool, int]:  # type: ignore[type-arg]
        """Boards with an entry since their projection first, then the oldest."""
        computed_ms, board_id = item
        board = entries.boards[board_id]
        said = [
            board.fact,
            *board.weigh_ins,
            *board.pins,
            *board.oven_dry,
            *board.bags,
            *board.rests,
            *board.coats,
            *board.cuts,
            *board.waters,
            *([board.plan] if board.plan else []),
        ]
        return not any(entry.entered_at_ms > computed_ms for entry in said), computed_ms

    def _something_entered(self) -> bool:
        with self._store.reading() as connection:
            return facts.newest_entry(connection) != self._seen_entry
