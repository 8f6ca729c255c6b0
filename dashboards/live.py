"""The stream that tells an open page that something new is in the store.

It looks twice a second, in a thread, at three numbers that grow with every batch of readings, entry
and projection; a page that hears of a change fetches its own regions again.
"""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import AsyncIterator, Awaitable, Callable

from shared.store import Store, cache, facts, readings

LOOK_EVERY_S = 0.5
PING_EVERY_S = 15.0

Beat = tuple[int, int, int]


def look(store: Store) -> Beat:
    """Return the numbers of the newest batch, entry and projection."""
    with store.reading() as connection:
        newest = cache.newest_projection_ms(connection)
        return readings.newest_batch(connection), facts.newest_entry(connection), newest


class Pulse:
    """Looks at the store for every open stream at once: fifty pages ask no more of it than one."""

    def __init__(self, store: Store, every_s: float = LOOK_EVERY_S) -> None:
        self._store = store
        self._every_s = every_s
        self._lock = threading.Lock()
        self._seen: tuple[float, Beat] | None = None

    def __call__(self) -> Beat:
        """Return the numbers of the newest batch, entry and projection, as they were at most half a beat ago."""
        with self._lock:
            now_s = time.monotonic()
            if self._seen is None or now_s - self._seen[0] >= self._every_s / 2:
                self._seen = now_s, look(self._store)
            return self._seen[1]


async def events(
    look_now: Callable[[], Beat],
    gone: Callable[[], Awaitable[bool]],
    every_s: float = LOOK_EVERY_S,
    ping_every_s: float = PING_EVERY_S,
) -> AsyncIterator[str]:
    """Yield server-sent events: ``news`` when a number changed, a comment as ping when nothing did.

    Ends when ``gone`` says that the reader left or the server is closing. A store that cannot be read
    ends the stream too; the browser asks again by itself.
    """
    seen = await asyncio.to_thread(look_now)
    yield _event(seen)
    waited_s = 0.0
    while not await gone():
        await asyncio.sleep(every_s)
        waited_s += every_s
        found = await asyncio.to_thread(look_now)
        if found != seen:
            seen, waited_s = found, 0.0
            yield _event(found)
        elif waited_s >= ping_every_s:
            waited_s = 0.0
            yield ": still here\n\n"


def text_of(beat: Beat) -> str:
    """Return the numbers as one word, which a page carries to know whether it has seen them."""
    return "-".join(map(str, beat))


def _event(beat: Beat) -> str:
    return f"event: news\ndata: {text_of(beat)}\n\n"
