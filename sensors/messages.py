"""What every payload shape hands over: values in the program's units, or the reason why there are none.

Nothing here knows a shape. A figure may be a number or a number written as text; a text that says "no value
this time" (``nan``, ``unavailable``, nothing at all) is told apart from one that is simply wrong.
"""

from __future__ import annotations

import json
import math
import re
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from sensors.names import Named, in_our_unit
from shared.errors import BenchdryError
from shared.store.records import Quantity

NUMBERS = (int, float)
LARGEST = 1e12  # of any number but a time
NO_VALUE = frozenset({"", "nan", "null", "none", "na", "n/a", "unavailable", "unknown", "-", "--", "---"})
NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}", re.ASCII)  # a decimal comma, or a thousand: nobody can tell
MOST_NOTES = 5
NAME_LENGTH = 100  # of a device among several on one topic
FIGURE_LENGTH = 40
# Two figures for one thing (°C and °F, both rounded) may differ by this much and still say the same.
SAME_WITHIN, SAME_SHARE = 0.6, 0.01


class BadPayload(BenchdryError):
    """A message that holds no reading; its text is the reason kept beside the raw bytes."""

    shape = ""  # the shape that it seemed to have, for whoever watches


class Value(NamedTuple):
    """One value out of a message; ``at_ms`` is None when the message names no time."""

    quantity: Quantity
    value: float
    at_ms: int | None


class Message(NamedTuple):
    """What a message says of one probe: the topic that the probe goes by, and its values."""

    probe_topic: str
    values: list[Value]


@dataclass(frozen=True)
class Heard:
    """A message that was understood: its shape, its readings, and what else it says.

    No ``messages``: it holds no reading by design (a state, a description, a command), which is no fault.
    """

    shape: str
    messages: list[Message]
    notes: tuple[str, ...] = ()


class Twice:
    """A JSON field that stands twice in one object with different values."""

    def __init__(self, first: Any, second: Any) -> None:
        """Keep both; neither is the right one."""
        self.first, self.second = first, second


def short(value: Any) -> str:
    """Return a value as text fit for a sentence: short, and such that any store and page takes it."""
    text = storable(json.dumps(value, ensure_ascii=False, default=_told))
    return text if len(text) <= 40 else text[:37] + "…"


def _told(value: Any) -> str:
    return "two values" if isinstance(value, Twice) else str(value)


def storable(text: str) -> str:
    """Return text without halves of surrogate pairs, which JSON can spell and no store or page takes."""
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def number(name: str, value: Any) -> float:
    """Return a JSON number as a usable float; raises BadPayload naming the field."""
    if isinstance(value, Twice):
        raise BadPayload(f"{name} is said twice: {short(value.first)} and {short(value.second)}")
    if isinstance(value, bool) or not isinstance(value, NUMBERS):
        raise BadPayload(f"{name} is {short(value)}, which is not a number")
    if not abs(value) <= LARGEST:  # so written that infinity and an integer beyond any float fall out too
        raise BadPayload(f"{name} is {short(value)}, which is not a usable number")
    return float(value) + 0.0  # -0 becomes 0


def below(topic: str, device: str) -> str:
    """Return the topic that a device goes by which is one of several on ``topic``.

    A device that the topic already names goes by the topic itself. ``+``, ``#``, ``$``, ``/`` and what does
    not print become ``-``, so that the result could be a topic.
    """
    if not device or device in topic.split("/"):
        return topic
    clean = "".join("-" if c in "+#$/" or not c.isprintable() else c for c in device[:NAME_LENGTH])
    return f"{topic}/{clean}"


@dataclass
class Gathering:
    """The values of one message as they are found, each judged before it is taken."""

    shape: str = ""
    found: dict[str, dict[tuple[Quantity, int | None], Value]] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    marks: set[str] = field(default_factory=set)  # the decimal marks of figures written as text

    def note(self, text: str) -> None:
        """Keep a word on what was left out."""
        if len(self.notes) < MOST_NOTES and text not in self.notes:
            self.notes.append(text)

    def add(self, probe_topic: str, name: str, named: Named, raw: Any, unit: str | None, at_ms: int | None) -> None:
        """Take one figure of ``named``, said in ``unit`` (None: not said beside it)."""
        figure = self._figure(name, raw)
        if figure is None:
            self.note(f"{name} has no value this time")
            return
        whole = isinstance(raw, int) or (isinstance(raw, str) and raw.strip().isdecimal())
        try:
            quantity, value = in_our_unit(name, named, figure, unit, whole=whole)
        except ValueError as error:
            raise BadPayload(str(error)) from None
        if quantity is None:
            self.note(f"{name} says no unit")
            return
        self._keep(probe_topic, name, Value(quantity, value + 0.0, at_ms))

    def _keep(self, probe_topic: str, name: str, new: Value) -> None:
        if not math.isfinite(new.value):
            raise BadPayload(f"{name} is not a usable number")
        values = self.found.setdefault(probe_topic, {})
        old = values.setdefault((new.quantity, new.at_ms), new)
        if abs(old.value - new.value) > max(SAME_WITHIN, SAME_SHARE * abs(old.value)):
            raise BadPayload(f"{name} is said twice: {old.value:g} and {new.value:g} (as {new.quantity})")

    def _figure(self, name: str, raw: Any) -> float | None:
        if raw is None or (isinstance(raw, float) and math.isnan(raw)):
            return None
        if not isinstance(raw, str):
            return number(name, raw)
        text = raw.strip()
        if text.lower() in NO_VALUE:
            return None
        if len(text) > FIGURE_LENGTH or not NUMBER.fullmatch(text):
            raise BadPayload(f"{name} is {short(raw)}, which is not a number")
        if THOUSANDS.fullmatch(text):
            raise BadPayload(f"{name} is {short(raw)}: decimal comma or thousands cannot be told")
        self.marks |= {mark for mark in ".," if mark in text}
        return number(name, float(text.replace(",", ".")))

    def messages(self, nothing: str) -> list[Message]:
        """Return what was found, a message for each probe; raises BadPayload, saying ``nothing``, if nothing was."""
        if len(self.marks) > 1:
            raise BadPayload("figures with a decimal point and with a decimal comma in one message")
        if not self.found:
            raise BadPayload("; ".join(self.notes) or nothing)
        return [Message(topic, list(values.values())) for topic, values in self.found.items()]
