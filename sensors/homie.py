"""Homie topics (the Homie Convention 4.0.0 of 2019 and 5.0.0 of 2025): values, and what describes them.

``homie/device/node/property`` (version 4) and ``homie/5/device/node/property`` (version 5) hold one value each, without
a time, retained by design: what a broker hands out on subscribing is of unknown age. A level that begins with ``$``
is an attribute: ``$description`` and ``…/$unit`` teach units, ``$state`` and the others are known and hold no reading.
``…/set`` is a command to the device.
"""

from __future__ import annotations

import json
from typing import Any

from sensors.learned import Learned
from sensors.messages import Gathering, short

ROOT = "homie"
STATES = frozenset({"init", "ready", "disconnected", "sleeping", "lost", "alert"})
SET, TARGET = "set", "$target"
MOST_PROPERTIES = 500  # of one device


def is_attribute(topic: str) -> bool:
    """Tell whether a topic holds an attribute or a command and no value."""
    if "$" not in topic and not topic.startswith(ROOT):  # nearly every one
        return False
    first, *levels = topic.split("/")
    return any(level.startswith("$") for level in levels) or (first == ROOT and levels[-1:] == [SET])


def gather(topic: str, payload: bytes, gathering: Gathering, learned: Learned) -> None:
    """Learn from an attribute, and note in words what it says; never raises."""
    try:
        text = payload.decode("utf-8").strip("\x00")
    except UnicodeDecodeError:
        gathering.note("an attribute that is not text (UTF-8)")
        return
    device, _, attribute = topic.partition("/$")
    if attribute == "description":
        gathering.note(f"describes {_learn(device, text, learned)} units")
    elif attribute == "unit":
        _put(learned, device, text)
        gathering.note(f"the unit is {short(text)}")
    elif attribute == "state":
        gathering.note(f"the device is {text if text in STATES else short(text)}")
    else:
        gathering.note("a command" if topic.endswith("/" + SET) else "an attribute")


def _put(learned: Learned, topic: str, unit: Any) -> bool:
    if not isinstance(unit, str) or not unit.strip():
        return False
    learned.units.put(topic, unit.strip()[:20])
    return True


def _learn(device: str, text: str, learned: Learned) -> int:
    """Learn the unit of each property that a description names; return how many."""
    try:
        content = json.loads(text)
    except (ValueError, RecursionError):
        return 0
    count = 0
    for node, its in _named(content, "nodes"):
        for key, its_own in _named(its, "properties"):
            if count < MOST_PROPERTIES and isinstance(its_own, dict):
                count += _put(learned, f"{device}/{node}/{key}", its_own.get("unit"))
    return count


def _named(content: Any, key: str) -> list[tuple[str, Any]]:
    """Return the members of an object by their ids."""
    held = content.get(key) if isinstance(content, dict) else None
    return list(held.items()) if isinstance(held, dict) else []
