"""Sparkplug B messages (Eclipse Sparkplug 3.0.0, 2022, chapters 4 and 6), as far as they hold readings.

``spBv1.0/group/NBIRTH|DBIRTH|NDATA|DDATA/node[/device]``: the probe goes by ``spBv1.0/group/node[/device]``, and by
a folder of the metric's name below that, if it has one. A birth teaches which name, type and unit an alias stands
for; a node's next birth or its death (with the same bdSeq) ends that. A message with an alias that no birth has
taught is refused: the node must be asked for a rebirth. A metric whose quality is bad or stale, that is null or
transient is left out. Deaths, commands and host states hold no readings.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from sensors import protobuf
from sensors.learned import Learned, Metric, Node
from sensors.messages import BadPayload, Gathering, below
from sensors.names import named, plain
from sensors.payload_times import plausible
from sensors.shapes import WRAPPERS

NAMESPACE = "spBv1.0"
BIRTHS, DATA, DEATHS, COMMANDS = ("NBIRTH", "DBIRTH"), ("NDATA", "DDATA"), ("NDEATH", "DDEATH"), ("NCMD", "DCMD")
# Section 6.4.17, "Datatype Details": signed integers travel in unsigned fields; their width by type.
SIGNED_BITS = {1: 8, 2: 16, 3: 32, 4: 64}
UNKNOWN = 0
UNSIGNED_BITS = {UNKNOWN: 64, 5: 8, 6: 16, 7: 32, 8: 64}
GOOD = 192  # section 6.4.9, "Quality Codes"; 0 is bad, 500 stale
QUALITY = "Quality"
UNIT = "engUnit"  # common practice, no source: the specification leaves a property's names open
SESSION = "bdSeq"
MOST_METRICS = 2000  # of one message


@dataclass
class Said:
    """One metric as it stands in a message."""

    name: str = ""
    alias: int | None = None
    timestamp_ms: int | None = None
    datatype: int = 0
    is_null: bool = False
    is_transient: bool = False
    is_historical: bool = False
    quality: int = GOOD
    unit: str | None = None
    value: Any = None
    raw_integer: int | None = None


def address(topic: str) -> tuple[str, str, str, str]:
    """Return (group, type, node, device) of a topic, a node with device ""; raises BadPayload for another form."""
    levels = topic.split("/")
    if levels[:2] == [NAMESPACE, "STATE"] and len(levels) == 3:
        return "", "STATE", levels[2], ""
    kind = levels[2] if len(levels) > 2 else ""
    wanted = 5 if kind.startswith("D") else 4
    if levels[0] != NAMESPACE or kind not in (*BIRTHS, *DATA, *DEATHS, *COMMANDS) or len(levels) != wanted:
        raise BadPayload("a Sparkplug B topic with levels that it cannot have")
    return levels[1], levels[2], levels[3], levels[4] if wanted == 5 else ""


def gather(topic: str, payload: bytes, gathering: Gathering, learned: Learned) -> bool:
    """Take the readings of one message and learn from it; False: it holds none by design.

    Raises BadPayload where the bytes are no such payload, and for an alias that nobody taught.
    """
    group, kind, node, device = address(topic)
    if kind == "STATE" or kind in COMMANDS:
        gathering.note("the state of a host" if kind == "STATE" else "a command")
        return False
    try:
        sent_ms, metrics = _payload(payload)
    except ValueError as error:  # a text that is no UTF-8 is one too
        raise BadPayload(f"not a Sparkplug B payload: {error}") from None
    if kind in DEATHS:
        _end(learned, group, node, device, metrics)
        gathering.note(f"{device or node} is offline")
        return False
    if kind in BIRTHS:
        _learn(learned, group, node, device, metrics)
    taught = learned.nodes.get((group, node))
    base = "/".join((NAMESPACE, group, node, *([device] if device else [])))
    for metric in metrics:
        _resolve(metric, device, taught)
        _take(base, metric, sent_ms, gathering)
    if kind in BIRTHS and not gathering.found:
        gathering.note("a birth without a reading")
        return False
    return True


def _end(learned: Learned, group: str, node: str, device: str, metrics: list[Said]) -> None:
    known = learned.nodes.get((group, node))
    session = next((one.raw_integer for one in metrics if one.name == SESSION), None)
    if known is None or device:
        return
    # The will of an earlier session may arrive after the next birth; its number tells.
    if session is None or known.session is None or session == known.session:
        learned.nodes.drop((group, node))


def _learn(learned: Learned, group: str, node: str, device: str, metrics: list[Said]) -> None:
    if not device:
        session = next((one.raw_integer for one in metrics if one.name == SESSION), None)
        learned.nodes.put((group, node), Node(session))
    known = learned.nodes.get((group, node)) or Node(None)
    learned.nodes.put((group, node), known)
    for one in metrics:
        if one.alias is not None and one.name:
            known.aliases.put((device, one.alias), Metric(one.name[:200], one.datatype, one.unit))


def _resolve(metric: Said, device: str, node: Node | None) -> None:
    """Give a metric that is only an alias its name, type and unit."""
    if metric.name:
        return
    if metric.alias is None:
        raise BadPayload("a Sparkplug B metric with neither name nor alias")
    taught = node.aliases.get((device, metric.alias)) if node is not None else None
    if taught is None:
        raise BadPayload(f"alias {metric.alias} is not known: the node must send its birth again (rebirth)")
    metric.name, metric.unit = taught.name, metric.unit or taught.unit
    metric.datatype = metric.datatype or taught.datatype


def _take(base: str, metric: Said, sent_ms: int | None, gathering: Gathering) -> None:
    *folders, last = metric.name.split("/")
    meant = named(last)
    if meant is None:
        return
    if metric.is_transient:
        gathering.note(f"{last} is transient: not to be kept")
        return
    if metric.quality != GOOD:
        gathering.note(f"{last} has no value this time (its quality is {metric.quality})")
        return
    at_ms = metric.timestamp_ms if metric.timestamp_ms is not None else sent_ms
    if metric.is_historical and metric.timestamp_ms is None:
        raise BadPayload(f"{last} is historical and has no time of its own")
    probe = base
    for folder in folders:
        probe = below(probe, "" if plain(folder) in WRAPPERS else folder)
    raw = None if metric.is_null else _figure(metric)
    unit = None if meant.unit is not None else metric.unit
    gathering.add(probe, last, meant, raw, unit, None if at_ms is None else plausible(at_ms))


def _figure(metric: Said) -> Any:
    """Return the value with the sign that its type gives it."""
    raw = metric.raw_integer
    if raw is None:
        return metric.value
    if metric.datatype in SIGNED_BITS:
        bits = SIGNED_BITS[metric.datatype]
        low = raw & ((1 << bits) - 1)
        return low - (1 << bits) if low >> (bits - 1) else low
    if metric.datatype == UNKNOWN and raw >= 2**31:
        raise BadPayload(f"{metric.name[:40]} is of no type that a birth has told, and may be negative")
    if metric.datatype in UNSIGNED_BITS:
        return raw & ((1 << UNSIGNED_BITS[metric.datatype]) - 1)
    raise BadPayload(f"{metric.name[:40]} is of type {metric.datatype}, which is not a number")


def _payload(data: bytes) -> tuple[int | None, list[Said]]:
    """Read message Payload: timestamp (1), metrics (2)."""
    sent_ms: int | None = None
    metrics: list[Said] = []
    for number, value in protobuf.fields(data):
        if number == 1:
            sent_ms = protobuf.integer(value)
        elif number == 2:
            if len(metrics) == MOST_METRICS:
                raise ValueError(f"more than {MOST_METRICS} metrics")
            metrics.append(_metric(protobuf.octets(value)))
    return sent_ms, metrics


def _whole(said: Said, value: int | bytes) -> None:
    said.raw_integer, said.value = protobuf.integer(value), None


def _other(read: Callable[[int | bytes], Any]) -> Callable[[Said, int | bytes], None]:
    def put(said: Said, value: int | bytes) -> None:
        said.raw_integer, said.value = None, read(value)

    return put


def _set(name: str, read: Callable[[int | bytes], Any]) -> Callable[[Said, int | bytes], None]:
    return lambda said, value: setattr(said, name, read(value))


def _properties(said: Said, value: int | bytes) -> None:
    """Read PropertySet: keys (1) beside PropertyValues (2), of those integer (3) and text (8)."""
    keys, values = [], []
    for number, part in protobuf.fields(protobuf.octets(value)):
        if number == 1:
            keys.append(protobuf.text(part))
        elif number == 2:
            values.append(dict(protobuf.fields(protobuf.octets(part))))
    for key, held in zip(keys, values, strict=False):
        if key == QUALITY and 3 in held:
            said.quality = protobuf.integer(held[3])
        elif key == UNIT and 8 in held:
            said.unit = protobuf.text(held[8]).strip() or None


# Message Metric (section 6.4.1), by field number.
METRIC: dict[int, Callable[[Said, int | bytes], None]] = {
    1: _set("name", protobuf.text),
    2: _set("alias", protobuf.integer),
    3: _set("timestamp_ms", protobuf.integer),
    4: _set("datatype", protobuf.integer),
    5: _set("is_historical", lambda value: bool(protobuf.integer(value))),
    6: _set("is_transient", lambda value: bool(protobuf.integer(value))),
    7: _set("is_null", lambda value: bool(protobuf.integer(value))),
    9: _properties,
    10: _whole,
    11: _whole,
    12: _other(protobuf.single),
    13: _other(protobuf.double),
    14: _other(lambda value: bool(protobuf.integer(value))),
    15: _other(protobuf.text),
}


def _metric(data: bytes) -> Said:
    said = Said()
    for number, value in protobuf.fields(data):
        if number in METRIC:
            METRIC[number](said, value)
    return said
