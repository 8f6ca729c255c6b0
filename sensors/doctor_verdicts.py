"""What the doctor says of the verdicts that are published: whether they get out, and whether they come back to us."""

from __future__ import annotations

from collections.abc import Iterator

from sensors.findings import Finding, Level, time_words
from shared import verdict_topics
from shared.errors import BadInput
from shared.settings import Settings
from shared.store import Connection, outbox
from shared.store.records import Outgoing
from shared.units import MS_PER_DAY, MS_PER_MINUTE

WAITS_LONG_MS = 5 * MS_PER_MINUTE  # the recorder publishes within seconds, and asks again after five minutes
ALL_TIMES_MS = 2**62


def oldest_waiting(connection: Connection) -> Outgoing | None:
    """Return the message that has waited longest to be published; None: none waits."""
    rows = outbox.due(connection, ALL_TIMES_MS, 1)
    return rows[0] if rows else None


def examine(settings: Settings, waits: Outgoing | None, now_ms: int) -> Iterator[Finding]:
    """Yield what is found of the topics and of the message that has waited longest; ``now_ms`` is UTC ms."""
    try:
        root = verdict_topics.root(settings)
    except BadInput as error:
        yield Finding(Level.WRONG, str(error), "mend that setting; `benchdry settings` shows where it comes from")
        return
    if not root:
        yield Finding(Level.FINE, "Verdicts are not published (verdict_topic_prefix is empty).")
        return
    yield _topics(settings, root)
    yield _on_their_way(waits, now_ms)


def _topics(settings: Settings, root: str) -> Finding:
    taken_in = [one for one in settings.broker_topics.split() if verdict_topics.takes_in(one, root)]
    if not taken_in:
        return Finding(Level.FINE, f"Verdicts are published below {root}, beside what the recorder listens to.")
    told = (
        f"The recorder listens to {taken_in[0]}, and so to its own verdicts below {root}; it takes none for a reading."
    )
    return Finding(Level.CARE, told, "set broker_topics to where the probes publish, or another verdict_topic_prefix")


def _on_their_way(waits: Outgoing | None, now_ms: int) -> Finding:
    if waits is None or (not waits.note and now_ms - waits.made_ms <= WAITS_LONG_MS):
        return Finding(Level.FINE, "Every verdict that was to be published has been, or is on its way.")
    if waits.note:
        told = f"The broker does not take the verdict on {waits.topic}: {waits.note.rstrip('.')}."
        return Finding(Level.CARE, told, "let the recorder write below verdict_topic_prefix, in the broker's acl_file")
    ago = time_words((now_ms - waits.made_ms) / MS_PER_DAY)
    told = f"A verdict on {waits.topic} has waited for {ago} to be published."
    return Finding(Level.CARE, told, "see that the recorder runs and is connected; it publishes what waits by itself")
