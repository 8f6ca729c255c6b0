"""What earlier messages taught that later ones rest on; kept in memory, never more than a little."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Generic, TypeVar

MOST_TOPICS = 5000
MOST_NODES = 500
MOST_ALIASES = 2000  # of one node

K = TypeVar("K")
V = TypeVar("V")


class Few(Generic[K, V]):
    """A mapping that forgets what was put in first when it is full."""

    def __init__(self, most: int) -> None:
        """Hold ``most`` entries."""
        self._most, self._held = most, dict[K, V]()

    def get(self, key: K) -> V | None:
        """Return what is held for a key."""
        return self._held.get(key)

    def put(self, key: K, value: V) -> None:
        """Hold a value; the oldest goes when there are too many."""
        self._held[key] = value
        if len(self._held) > self._most:
            del self._held[next(iter(self._held))]

    def drop(self, key: K) -> None:
        """Forget a key."""
        self._held.pop(key, None)

    def clear(self) -> None:
        """Forget everything."""
        self._held.clear()


@dataclass(frozen=True)
class Metric:
    """What a Sparkplug B birth says of one alias."""

    name: str
    datatype: int
    unit: str | None


@dataclass
class Node:
    """A Sparkplug B edge node since its last birth; aliases by device ("": the node itself)."""

    session: int | None
    aliases: Few[tuple[str, int], Metric] = field(default_factory=lambda: Few(MOST_ALIASES))


@dataclass
class Learned:
    """Aliases of Sparkplug B nodes, units of Homie properties, the previous local time of each topic."""

    nodes: Few[tuple[str, str], Node] = field(default_factory=lambda: Few(MOST_NODES))
    units: Few[str, str] = field(default_factory=lambda: Few(MOST_TOPICS))
    local_ms: Few[str, int] = field(default_factory=lambda: Few(MOST_TOPICS))

    def session_lost(self) -> None:
        """Forget the aliases: a birth or a death may have passed while nobody listened for us."""
        self.nodes.clear()
