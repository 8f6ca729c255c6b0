"""Shapes of plain JSON and of single figures as declarative rules, told by structure.

A rule says where a reading stands: a template for the topic, a path into the message, and, if the message
does not say them, the quantity, the unit and where the time is.

* topic: levels as they are; ``{probe}`` one or more levels, by which the probe goes (the whole topic, when the
  template has none); ``{quantity}`` a level that names a quantity; ``+`` any one level.
* path: steps with dots between. A word is a key; ``*`` any key; ``{quantity}`` a key that names a quantity;
  ``[]`` each thing in a list; ``[{quantity}]`` each thing in a list that names a quantity in a field of its own;
  ``{value}`` the value beside a name or a unit. Empty: the whole message is the figure.
* time: empty: a field called time, timestamp, ts … beside the figure or around it, else the message has none;
  ``arrival``: never; else the key to take. ``time_unit``: s, ms, us or ns; empty: told by the size.
* device: a key that tells devices on one topic apart.

A key that ``*`` passes (``inside``, ``outside``) is a device of its own, ``topic/inside``, unless it is one of the
words that only wrap (``sensor``, ``data`` …): so two devices in one message never become one.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, NamedTuple

from sensors import payload_times
from sensors.messages import BadPayload, Gathering, below, short
from sensors.names import LONGEST_NAME, Named, fits, is_unit, named, plain
from sensors.payload_times import Clock
from shared.store.records import Quantity

WRAPPERS = frozenset(
    re.findall(
        r"\w+",
        "sensor sensors data values payload reading readings measurement measurements metrics state status params "
        "fields decoded decoded_payload object message attributes environment air climate weather",
    )
)
VALUE_FIELDS = ("value", "val", "v", "reading")
NAME_FIELDS = ("name", "metric", "quantity", "type", "measurement", "parameter", "kind", "key", "n")
DEVICE_FIELDS = frozenset(
    {"device", "device_id", "dev_id", "dev_eui", "sensor_id", "node_id", "probe", "station", "serial"}
)
UNIT_FIELDS = frozenset({"unit", "units"})
MOST_UNITS = 20  # of one object: each figure looks through them
CACHED_TOPIC = 200  # a longer one is worked out each time: what a stranger sends must not fill the memory
LARGEST_NUMBER = 10**18  # of a device
CONTAINERS = (dict, list)  # named once: a union written in place is made anew at each look
SINGLE = "one value a topic"
FLAT = (("named key", "{quantity}"),)
STEPS = {"*": "any", "{quantity}": "named key", "{value}": "value", "[]": "each", "[{quantity}]": "named thing"}


@dataclass(frozen=True)
class Rule:
    """Where in a message a reading stands; the words are explained at the head of this file."""

    name: str
    topic: str = "{probe}"
    path: str = ""
    quantity: str = ""
    unit: str = ""
    time: str = ""
    time_unit: str = ""
    device: str = ""


BUILT_IN = (
    Rule(SINGLE, topic="{probe}/{quantity}"),
    Rule(SINGLE, topic="{probe}/{quantity}/state"),
    Rule(SINGLE, topic="{probe}/{quantity}", path="{value}"),
    Rule("flat JSON", path="{quantity}"),
    Rule("nested JSON", path="{quantity}.{value}"),
    Rule("nested JSON", path="*.{quantity}"),
    Rule("nested JSON", path="*.{quantity}.{value}"),
    Rule("nested JSON", path="*.*.{quantity}"),
    Rule("list of named values", path="[{quantity}].{value}"),
    Rule("list of named values", path="*.[{quantity}].{value}"),
)


@lru_cache(maxsize=256)
def _steps(path: str) -> tuple[tuple[str, str], ...]:
    return tuple((STEPS.get(word, "key"), word) for word in path.split(".")) if path else ()


@lru_cache(maxsize=256)
def _template(topic: str) -> re.Pattern[str]:
    words = {"{probe}": "(?P<probe>.+)", "{quantity}": "(?P<quantity>[^/]+)", "+": "[^/]+"}
    return re.compile("/".join(words.get(level, re.escape(level)) for level in topic.split("/")), re.DOTALL)


@dataclass(frozen=True)
class Matched:
    """A rule that speaks of a topic: by which name the probe goes, and what the topic says of the quantity."""

    rule: Rule
    steps: tuple[tuple[str, str], ...]
    probe: str
    name: str
    meant: Named | None


class Word(NamedTuple):
    """What a key of an object is good for."""

    meant: Named | None
    is_time: bool
    is_device: bool
    unit_of: str | None  # "temp" of temp_unit, "" of unit


@lru_cache(maxsize=4096)
def _word_of(key: str) -> Word:
    owner, _, last = plain(key).rpartition("_")
    return Word(
        named(key), key.lower() in payload_times.FIELDS, key in DEVICE_FIELDS, owner if last in UNIT_FIELDS else None
    )


NO_WORD = Word(None, False, False, None)


class Scan:
    """One object of a message, looked through once."""

    __slots__ = ("content", "deep", "device", "is_deep", "named", "time_key", "units")

    def __init__(self, content: dict[str, Any]) -> None:
        """Sort the object's keys by what they are good for."""
        self.content = content
        self.named: list[tuple[str, Named, Any]] = []
        self.deep: list[tuple[str, Any]] = []
        self.units: list[tuple[str, Any]] = []
        self.time_key: str | None = None
        self.device: Any = None
        self.is_deep = False
        for key, value in content.items():
            word = _word_of(key) if len(key) <= LONGEST_NAME else NO_WORD
            if word.meant is not None:
                self.named.append((key, word.meant, value))
            elif isinstance(value, CONTAINERS) and word.unit_of is None:
                self.deep.append((key, value))
            if value is None:
                continue
            if isinstance(value, CONTAINERS):
                self.is_deep = True
            if word.is_time and self.time_key is None:
                self.time_key = key
            if word.is_device and self.device is None:
                self.device = value
            if word.unit_of is not None and len(self.units) < MOST_UNITS:
                self.units.append((word.unit_of, value))


class Place(NamedTuple):
    """A figure found in a message: its name, what that stands for, the objects around it, the keys passed."""

    name: str
    meant: Named
    raw: Any
    around: tuple[Scan, ...]  # innermost first
    branch: tuple[str, ...]


class Walk:
    """Follows paths through one message; each object is looked through once."""

    def __init__(self) -> None:
        """Start with nothing seen."""
        self._seen: dict[int, Scan] = {}

    def scan(self, node: dict[str, Any]) -> Scan:
        """Return an object's scan."""
        found = self._seen.get(id(node))  # the message outlives this walk, so no id is used twice
        if found is None:
            found = self._seen[id(node)] = Scan(node)
        return found

    def places(self, matched: Matched, content: Any) -> Iterable[Place]:
        """Give each figure that a rule finds."""
        scan = self.scan(content) if isinstance(content, dict) and matched.steps == FLAT else None
        if scan is not None and not scan.is_deep:  # nearly every message
            return [Place(name, meant, raw, (scan,), ()) for name, meant, raw in scan.named]
        return self.follow(matched.steps, content, matched.name, matched.meant)

    def follow(
        self,
        steps: tuple[tuple[str, str], ...],
        node: Any,
        name: str,
        meant: Named | None,
        around: tuple[Scan, ...] = (),
        branch: tuple[str, ...] = (),
    ) -> Iterator[Place]:
        """Give each figure that the steps lead to."""
        if not steps:
            if meant is not None:
                yield Place(name, meant, node, around, branch)
            return
        (kind, word), rest = steps[0], steps[1:]
        if kind in ("each", "named thing"):
            for one in node if isinstance(node, list) else ():
                found = _name_in(one) if kind == "named thing" else (name, meant)
                if found is not None and isinstance(one, dict):
                    yield from self.follow(rest, one, *found, around, branch)
            return
        if not isinstance(node, dict):
            return
        scan = self.scan(node)
        inside = (scan, *around)
        if kind == "value":
            key = next((one for one in VALUE_FIELDS if one in node), None)
            if key is not None:
                yield from self.follow(rest, node[key], name, meant, inside, branch)
        elif kind == "key":
            if word in node:
                yield from self.follow(rest, node[word], name or word, meant, inside, branch)
        elif kind == "any":
            for key, one in scan.deep:
                wrapped = () if plain(key) in WRAPPERS else (key,)
                yield from self.follow(rest, one, name, meant, inside, branch + wrapped)
        else:
            for key, known, one in scan.named:
                # A name over an object is a matter for the rule that goes on inside it, and so the other way round.
                if isinstance(one, dict) != bool(rest):
                    continue
                if rest and not any(field in one for field in VALUE_FIELDS):
                    yield Place(key, known, None, inside, branch)
                    continue
                yield from self.follow(rest, one, key, known, inside, branch)


def _name_in(thing: Any) -> tuple[str, Named] | None:
    for one in NAME_FIELDS if isinstance(thing, dict) else ():
        said = thing.get(one)
        known = named(said) if isinstance(said, str) else None
        if known is not None:
            return said, known
    return None


def matching(topic: str, rules: Sequence[Rule]) -> list[Matched]:
    """Return those of a yard's own rules that speak of a topic."""
    found = []
    for rule in rules:
        match = _template(rule.topic).fullmatch(topic)
        if match is None:
            continue
        level = match.groupdict().get("quantity")
        name, meant = (level, named(level)) if level else ("", None)
        if rule.quantity:
            name, meant = rule.quantity, Named((Quantity(rule.quantity),))
        found.append(Matched(rule, _steps(rule.path), match.groupdict().get("probe") or topic, name or "", meant))
    return found


@lru_cache(maxsize=1024)
def _built_in(topic: str) -> tuple[list[Matched], list[Matched], list[Matched]]:
    """Return the built-in rules that can apply on a topic: to a single figure, a flat object, a deeper message."""
    rules = [one for one in matching(topic, BUILT_IN) if "{quantity}" not in one.rule.topic or one.meant is not None]
    single = [one for one in rules if not one.steps]
    flat = [one for one in rules if one.rule.path in ("{value}", "{quantity}")]
    return single, flat, [one for one in rules if one.steps]


def _rules_for(topic: str, content: Any, walk: Walk) -> list[Matched]:
    chosen = _built_in(topic) if len(topic) <= CACHED_TOPIC else _built_in.__wrapped__(topic)
    if not isinstance(content, CONTAINERS):
        return chosen[0]
    return chosen[1] if isinstance(content, dict) and not walk.scan(content).is_deep else chosen[2]


def gather(
    topic: str, content: Any, clock: Clock, gathering: Gathering, own: Sequence[Matched] = (), unit: str | None = None
) -> None:
    """Take every reading out of a message, by the yard's ``own`` rules where any match, else by the built-in ones.

    ``unit`` is that of a topic with one value, learned elsewhere. Sets ``gathering.shape``. Raises BadPayload for
    a known name with a value that cannot be one.
    """
    gathering.shape = "flat JSON" if isinstance(content, dict) else "list" if isinstance(content, list) else SINGLE
    walk, base, unnamed = Walk(), topic, True
    for one in own or _rules_for(topic, content, walk):
        for place in walk.places(one, content):
            if unnamed:
                gathering.shape, unnamed = one.rule.name, False
            if not own and one.meant is not None:
                base = one.probe  # further fields of an object on a topic of its own belong to the same probe
            _take(one.rule, one.probe if own else base, place, clock, gathering, None if one.steps else unit)


def _take(rule: Rule, probe: str, place: Place, clock: Clock, gathering: Gathering, learned: str | None) -> None:
    name, meant, raw, around, branch = place
    if isinstance(raw, CONTAINERS) and "{value}" not in rule.path and not rule.quantity:
        raise BadPayload(f"{name} is {short(raw)}, which is not a number")
    unit = rule.unit or learned
    if not unit and meant.unit is None and around:
        unit = _unit(meant, around, strict="{value}" in rule.path)
    device = _device(rule, around)
    for word in (*branch, device) if branch or device else ():
        probe = below(probe, word)
    gathering.add(probe, name, meant, raw, unit or None, _time(rule, around, clock))


def _device(rule: Rule, around: tuple[Scan, ...]) -> str:
    for scan in around:
        said = scan.content.get(rule.device) if rule.device else scan.device
        if isinstance(said, str):
            return said
        if isinstance(said, int) and not isinstance(said, bool) and abs(said) < LARGEST_NUMBER:
            return str(said)
    return ""


def _time(rule: Rule, around: tuple[Scan, ...], clock: Clock) -> int | None:
    if rule.time == "arrival":
        return None
    for scan in around:
        key = rule.time or scan.time_key
        said = None if key is None else scan.content.get(key)
        if said is not None:
            return clock.ms(said, rule.time_unit)
    return None


def _unit(meant: Named, around: tuple[Scan, ...], *, strict: bool) -> str | None:
    """Return the unit that a message says for a figure; ``strict``: the nearest ``unit`` is this figure's own."""
    for depth, scan in enumerate(around):
        for owner, said in scan.units:
            if isinstance(said, dict):
                said = next((one for other, one in said.items() if named(other) == meant), None)
            if not isinstance(said, str) or not said.strip():
                continue
            if owner:
                known = named(owner)
                if known is not None and set(known.quantities) & set(meant.quantities):
                    return said
            elif fits(meant, said) or (strict and depth == 0) or not is_unit(said):
                return said
    return None
