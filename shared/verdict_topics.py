"""Where verdicts stand at the broker: one root below the prefix that was set, one topic for each thing judged.

``<prefix>/verdict/<kind>/<code>`` for a thing and ``<prefix>/verdict/status`` for the recorder's own connection.
What a topic may hold is in MQTT 5, section 4.7; a code's other characters are written as in RFC 3986, section 2.1.
"""

from __future__ import annotations

from urllib.parse import quote

from shared.errors import BadInput
from shared.settings import Settings

BRANCH = "verdict"
STATUS = "status"
ONLINE, OFFLINE = "online", "offline"
LONGEST_PREFIX = 100
ACCEPTED = f"up to {LONGEST_PREFIX} characters like benchdry or yard/benchdry, without spaces, +, # or a $ in front"


def root(settings: Settings) -> str:
    """Return the topic below which all verdicts stand, without a slash at its end; empty: nothing is published.

    Raises BadInput for a prefix that MQTT does not allow.
    """
    prefix = settings.verdict_topic_prefix.strip()
    if not prefix:
        return ""
    barred = any(letter in "+#" or letter.isspace() or not letter.isprintable() for letter in prefix)
    if barred or prefix.startswith("$") or "" in prefix.split("/") or len(prefix) > LONGEST_PREFIX:
        raise BadInput("setting verdict_topic_prefix", prefix, ACCEPTED)
    return f"{prefix}/{BRANCH}"


def topic_of(root_topic: str, kind: str, code: str) -> str:
    """Return the topic of one thing: letters, digits and ``-._~`` of its code as they are, others as %XX of UTF-8."""
    return f"{root_topic}/{quote(kind, safe='')}/{quote(code, safe='')}"


def status_of(root_topic: str) -> str:
    """Return the topic on which the recorder says whether it is connected."""
    return f"{root_topic}/{STATUS}"


def is_own(root_topic: str, topic: str) -> bool:
    """Whether a topic lies below ``root_topic``, where only verdicts stand; never where that is empty."""
    return bool(root_topic) and topic.startswith(f"{root_topic}/")


def takes_in(topic_filter: str, root_topic: str) -> bool:
    """Whether a topic filter (MQTT 5, section 4.7.1) covers the status or the topic of some thing below the root."""
    below = root_topic.split("/")
    return bool(root_topic) and any(_meets(topic_filter.split("/"), [*below, *rest]) for rest in ([STATUS], ["+", "+"]))


def _meets(wanted: list[str], topics: list[str]) -> bool:
    """Whether a filter has a topic in common with another that holds no ``#``; both as levels."""
    for place, level in enumerate(wanted):
        if level == "#":
            return True
        if place >= len(topics):
            return False
        if "+" not in (level, topics[place]) and level != topics[place]:
            return False
    return len(wanted) == len(topics)
