"""Packets read by hand: what a recorder hears is nearly all of one kind."""

from __future__ import annotations

import paho.mqtt.client as mqtt

SHORTEST = 5  # bytes of a PUBLISH: two of its header, two of an empty topic's length, one for no properties


def publish_at(held: bytes, at: int) -> tuple[int, int, bytes, int, bytes] | None:
    """Return the PUBLISH that begins at ``at`` (MQTT 5, section 3.3): where it ends, first byte, topic, id, payload.

    None where it does not lie there whole, where it is no PUBLISH of quality 0 or 1, where it has properties, and
    where it is malformed.
    """
    end = len(held)
    if end - at < SHORTEST or held[at] & 0xF4 != mqtt.PUBLISH:
        return None
    first = held[at]
    at += 1
    length = held[at] & 0x7F
    for shift in (7, 14):
        if held[at] < 0x80:
            break
        at += 1
        length |= (held[at] & 0x7F) << shift
    if held[at] >= 0x80:
        return None
    at += 1
    if not SHORTEST - 2 <= length <= end - at:
        return None
    end = at + length
    topic_end = at + 2 + (held[at] << 8 | held[at + 1])
    payload = topic_end + (3 if first & 0x02 else 1)
    if payload > end or held[payload - 1] != 0:
        return None
    mid = held[topic_end] << 8 | held[topic_end + 1] if first & 0x02 else 0
    return end, first, held[at + 2 : topic_end], mid, held[payload:end]
