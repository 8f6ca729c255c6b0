"""Message shapes: bytes and topic in, values in the program's units out.

Shapes are told apart by structure or by an open standard, never by brand:

* flat JSON: ``{"temperature": 18.4, "humidity": 71, "time": "2026-04-01T06:00:00Z"}``
* nested JSON, a list of named values, one value on a topic of its own: ``sensors.shapes``
* SenML pack (RFC 8428): ``[{"bn": "p1:", "bt": 1780000000, "n": "t", "u": "Cel", "v": 18.4}]``: ``sensors.senml``
* Sparkplug B on ``spBv1.0/…``: ``sensors.sparkplug``; Homie's attributes: ``sensors.homie``

A value left out this time (null, ``nan``, ``unavailable``, nothing) is no fault; a message that holds nothing else is
one. A known name with a value that cannot be one (true, text, infinity) is a fault of the whole message: its
bytes are kept with the reason. Nothing that a stranger sends makes any of this raise anything but BadPayload.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import tzinfo
from typing import Any

from sensors import homie, senml, shapes, sparkplug
from sensors.learned import Learned
from sensors.messages import BadPayload, Gathering, Heard, Message, Twice, Value
from sensors.payload_times import EARLIEST_MS, LATEST_MS, Clock
from sensors.shapes import Matched, Rule

__all__ = [
    "EARLIEST_MS",
    "LATEST_MS",
    "MAX_PAYLOAD_BYTES",
    "BadPayload",
    "Heard",
    "Learned",
    "Message",
    "Value",
    "decode",
    "decode_all",
    "learn",
    "read",
]

MAX_PAYLOAD_BYTES = 16_384
MAX_BIRTH_BYTES = 65_536  # a Sparkplug B birth or a Homie description names everything that a device has
AROUND = "\ufeff\x00 \t\r\n"  # a byte order mark; the single zero by which Homie writes an empty text
KNOWN = "temperature, humidity, mass_kg …"


def decode(topic: str, payload: bytes, now_ms: int, *, zone: tzinfo | None = None) -> Message:
    """Return what a message says of one probe.

    Raises BadPayload, in words fit to show, when it holds no reading, or those of several probes.
    """
    heard = read(topic, payload, now_ms, zone=zone)
    if not heard.messages:
        raise BadPayload("; ".join(heard.notes) or "no reading")
    if len(heard.messages) > 1:
        raise BadPayload(f"readings of {len(heard.messages)} probes in one message")
    return heard.messages[0]


def decode_all(
    topic: str,
    payload: bytes,
    now_ms: int,
    *,
    zone: tzinfo | None = None,
    learned: Learned | None = None,
    rules: Sequence[Rule] = (),
) -> list[Message]:
    """Return what a message says, of each probe that it speaks of; empty when it holds no reading by design.

    ``zone`` is that of local times (None: they are refused), ``learned`` what earlier messages taught (kept and
    added to), ``rules`` the yard's own. Raises BadPayload, in words fit to show.
    """
    return read(topic, payload, now_ms, zone=zone, learned=learned, rules=rules).messages


def read(
    topic: str,
    payload: bytes,
    now_ms: int,
    *,
    zone: tzinfo | None = None,
    learned: Learned | None = None,
    rules: Sequence[Rule] = (),
) -> Heard:
    """Do what ``decode_all`` does, and tell the shape and what was left out; BadPayload carries the shape too."""
    learned = Learned() if learned is None else learned
    gathering = Gathering()
    try:
        if topic.startswith(sparkplug.NAMESPACE + "/"):
            return _sparkplug(topic, payload, gathering, learned)
        if homie.is_attribute(topic):
            return _homie(topic, payload, gathering, learned)
        clock = Clock(now_ms, zone, learned.local_ms.get(topic))
        heard = _text(topic, payload, clock, gathering, learned, shapes.matching(topic, rules))
    except BadPayload as error:
        error.shape = gathering.shape
        raise
    except RecursionError:  # on the way in, or while a nested value is written into the reason
        raise BadPayload("nested too deeply") from None
    if clock.last_local_ms is not None:
        learned.local_ms.put(topic, clock.last_local_ms)
    return heard


def learn(topic: str, payload: bytes, learned: Learned) -> None:
    """Learn what a retained message teaches, the units of Homie's attributes, and take no reading; never raises."""
    if homie.is_attribute(topic) and len(payload) <= MAX_BIRTH_BYTES:
        homie.gather(topic, payload, Gathering(), learned)


def _sparkplug(topic: str, payload: bytes, gathering: Gathering, learned: Learned) -> Heard:
    gathering.shape = "Sparkplug B"
    _bounded(payload, MAX_BIRTH_BYTES)
    holds = sparkplug.gather(topic, payload, gathering, learned)
    messages = gathering.messages(f"no metric whose name is known ({KNOWN})") if holds else []
    return Heard(gathering.shape, messages, tuple(gathering.notes))


def _homie(topic: str, payload: bytes, gathering: Gathering, learned: Learned) -> Heard:
    gathering.shape = "Homie"
    _bounded(payload, MAX_BIRTH_BYTES)
    homie.gather(topic, payload, gathering, learned)
    return Heard(gathering.shape, [], tuple(gathering.notes))


def _text(
    topic: str, payload: bytes, clock: Clock, gathering: Gathering, learned: Learned, own: list[Matched]
) -> Heard:
    """Read what is JSON, a figure, or a word in place of a figure."""
    _bounded(payload, MAX_PAYLOAD_BYTES)
    content, is_json = _content(payload)
    if isinstance(content, list) and not own and senml.looks_like(content):
        gathering.shape = "SenML"
        senml.gather(topic, content, clock, gathering)
        nothing = "a SenML pack without a quantity in a unit that is known (Cel, %RH, kg …)"
    else:
        unit = learned.units.get(topic)
        shapes.gather(topic, content, clock, gathering, own, unit)
        if gathering.shape == shapes.SINGLE and (unit is not None or topic.startswith(homie.ROOT + "/")):
            gathering.shape = "Homie"
        nothing = _nothing(content, is_json=is_json)
    return Heard(gathering.shape, gathering.messages(nothing), tuple(gathering.notes))


def _bounded(payload: bytes, most: int) -> None:
    if len(payload) > most:
        raise BadPayload(f"message of {len(payload)} bytes; at most {most} are read")


def _content(payload: bytes) -> tuple[Any, bool]:
    """Return what a text holds, and whether it is JSON; a bare word is a text too."""
    try:
        text = payload.decode("utf-8").strip(AROUND)
    except UnicodeDecodeError:
        raise BadPayload("not text (UTF-8)") from None
    try:
        return _DECODER.decode(text), True
    except ValueError:
        if text[:1] in ("{", "["):
            raise BadPayload("neither JSON nor a number") from None
        return text, False


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Make a JSON object; a name that stands twice with different values has neither."""
    content = dict(pairs)
    if len(content) < len(pairs):
        first: dict[str, Any] = {}
        for name, value in pairs:
            if first.setdefault(name, value) != value:
                content[name] = Twice(first[name], value)
    return content


_DECODER = json.JSONDecoder(parse_constant=float, object_pairs_hook=_object)


def _nothing(content: Any, *, is_json: bool) -> str:
    """Return the reason for a message in which nothing was found."""
    if isinstance(content, dict):
        return f"no field whose name is known ({KNOWN})"
    if isinstance(content, list):
        return "a list that is not a SenML pack and names no value"
    if not is_json:
        return "neither JSON nor a number"
    return f"a single value, on a topic that does not end in what it is ({KNOWN})"
