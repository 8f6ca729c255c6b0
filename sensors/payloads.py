"""Message shapes: bytes and topic in, values in the program's units out.

Shapes are told apart by structure, never by brand:

* flat object: ``{"temperature": 18.4, "humidity": 71, "time": "2026-04-01T06:00:00Z"}``
* one number on a topic that ends in the quantity: ``workshop/shed/humidity`` with ``71``
* SenML pack (RFC 8428): ``[{"bn": "p1:", "bt": 1780000000, "n": "t", "u": "Cel", "v": 18.4}]``

Only this module knows what others call a quantity and in which unit they send it.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from shared.errors import BenchdryError
from shared.store.records import Quantity
from shared.units import MS_PER_S, c_from_f, c_from_k, ms_from_datetime

MAX_PAYLOAD_BYTES = 16_384
EARLIEST_MS = ms_from_datetime(datetime(2015, 1, 1, tzinfo=UTC))
LATEST_MS = ms_from_datetime(datetime(5000, 1, 1, tzinfo=UTC))  # no clock that is merely wrong gets there
LARGEST = 1e12  # of any number but a time
SENML_RELATIVE_BELOW_S = 2**28  # RFC 8428, section 4.5.3: smaller times are relative to now


class BadPayload(BenchdryError):
    """A message that holds no reading; its text is the reason kept beside the raw bytes."""


@dataclass(frozen=True)
class Value:
    """One value out of a message; ``at_ms`` is None when the message names no time."""

    quantity: Quantity
    value: float
    at_ms: int | None


@dataclass(frozen=True)
class Message:
    """What a message says: the topic of the probe it belongs to, and its values."""

    probe_topic: str
    values: list[Value]


def _same(value: float) -> float:
    return value


FIELDS: dict[str, tuple[Quantity, Callable[[float], float]]] = {
    "temperature": (Quantity.TEMPERATURE_C, _same),
    "temperature_c": (Quantity.TEMPERATURE_C, _same),
    "temp": (Quantity.TEMPERATURE_C, _same),
    "temp_c": (Quantity.TEMPERATURE_C, _same),
    "temperature_f": (Quantity.TEMPERATURE_C, c_from_f),
    "temp_f": (Quantity.TEMPERATURE_C, c_from_f),
    "humidity": (Quantity.RH_PCT, _same),
    "humidity_pct": (Quantity.RH_PCT, _same),
    "relative_humidity": (Quantity.RH_PCT, _same),
    "rh": (Quantity.RH_PCT, _same),
    "rh_pct": (Quantity.RH_PCT, _same),
}
SENML_UNITS: dict[str, tuple[Quantity, Callable[[float], float]]] = {
    "Cel": (Quantity.TEMPERATURE_C, _same),
    "K": (Quantity.TEMPERATURE_C, c_from_k),
    "%RH": (Quantity.RH_PCT, _same),  # "/" is any ratio, a battery's or a tank's too: never taken for humidity
}
TIME_FIELDS = ("time", "timestamp", "ts", "at")


def decode(topic: str, payload: bytes, now_ms: int) -> Message:
    """Return what a message says.

    Raises BadPayload, in words fit to show, when it holds no reading.
    """
    if len(payload) > MAX_PAYLOAD_BYTES:
        raise BadPayload(f"message of {len(payload)} bytes; at most {MAX_PAYLOAD_BYTES} are read")
    try:
        return _message(topic, _content(payload), now_ms)
    except RecursionError:  # on the way in, or while a nested value is written into the reason
        raise BadPayload("nested too deeply") from None


def _content(payload: bytes) -> Any:
    try:
        return json.loads(payload.decode("utf-8-sig").strip(), parse_constant=_refuse_constant)
    except UnicodeDecodeError:
        raise BadPayload("not text (UTF-8)") from None
    except ValueError:
        raise BadPayload("neither JSON nor a number") from None


def _message(topic: str, content: Any, now_ms: int) -> Message:
    if isinstance(content, dict):
        return Message(topic, _flat(content))
    if isinstance(content, list):
        return Message(topic, _senml(content, now_ms))
    return _plain(topic, content)


def _refuse_constant(name: str) -> float:
    raise BadPayload(f"value is {name}, which is not a number")


def _number(name: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise BadPayload(f"{name} is {_short(value)}, which is not a number")
    if not abs(value) <= LARGEST:  # so written that infinity and an integer beyond any float fall out too
        raise BadPayload(f"{name} is {_short(value)}, which is not a usable number")
    return float(value)


def _short(value: Any) -> str:
    text = _storable(json.dumps(value, ensure_ascii=False))
    return text if len(text) <= 40 else text[:37] + "…"


def _storable(text: str) -> str:
    """Half a surrogate pair, which JSON can spell, is no text that a store or a page takes."""
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def _flat(content: dict[str, Any]) -> list[Value]:
    at_ms = next((_time_ms(content[name]) for name in TIME_FIELDS if content.get(name) is not None), None)
    values: dict[Quantity, Value] = {}
    for name, raw in content.items():
        known = FIELDS.get(name.lower())
        if known is None or raw is None:  # another device's extra field, or a value left out this time
            continue
        quantity, convert = known
        values.setdefault(quantity, Value(quantity, convert(_number(name, raw)), at_ms))
    if not values:
        raise BadPayload("no field called temperature or humidity")
    return list(values.values())


def _plain(topic: str, content: Any) -> Message:
    probe_topic, _, last = topic.rpartition("/")
    known = FIELDS.get(last.lower())
    if known is None or not probe_topic:
        raise BadPayload("a single value, on a topic that does not end in temperature or humidity")
    quantity, convert = known
    return Message(probe_topic, [Value(quantity, convert(_number(last, content)), None)])


def _time_ms(raw: Any) -> int:
    """Return UTC ms from an epoch (its unit told by its size) or an ISO 8601 time with an offset."""
    if isinstance(raw, str):
        try:
            moment = datetime.fromisoformat(raw)
        except ValueError:
            raise BadPayload(f"time is {_short(raw)}, which is not an ISO 8601 time") from None
        if moment.tzinfo is None:
            raise BadPayload(f"time is {_short(raw)}, which names no time zone: end it in Z or an offset like +01:00")
        return _plausible_time(ms_from_datetime(moment))
    if isinstance(raw, bool) or not isinstance(raw, int | float):
        raise BadPayload(f"time is {_short(raw)}, which is neither a number nor an ISO 8601 time")
    for limit, per_ms in ((1e11, 1 / MS_PER_S), (1e14, 1.0), (1e17, 1e3), (1e20, 1e6)):
        if abs(raw) < limit:
            return _plausible_time(round(raw / per_ms))
    raise BadPayload(f"time is {_short(raw)}, which is no epoch in s, ms, µs or ns")


def _plausible_time(at_ms: int) -> int:
    if at_ms < EARLIEST_MS:
        raise BadPayload("time lies before 2015: the probe's clock is not set")
    if at_ms > LATEST_MS:
        raise BadPayload("time lies after the year 5000: the probe's clock is not set, or this is no time")
    return at_ms


def _senml(records: list[Any], now_ms: int) -> list[Value]:
    """Resolve a SenML pack (RFC 8428, section 4.6): base fields hold until they are given again."""
    base_time_s, base_value, base_unit = 0.0, 0.0, ""
    values = []
    for record in records:
        if not isinstance(record, dict):
            raise BadPayload("a list that is not a SenML pack")
        must_understand = [name for name in record if name.endswith("_")]
        if must_understand:
            raise BadPayload(f"SenML field {_short(must_understand[0])} must be understood and is not")
        if _number("bver", record.get("bver", 10)) > 10:
            raise BadPayload("SenML of a version after 10")
        base_time_s = _number("bt", record.get("bt", base_time_s))
        base_value = _number("bv", record.get("bv", base_value))
        base_unit = str(record.get("bu", base_unit))
        known = SENML_UNITS.get(str(record.get("u", base_unit)))
        if known is None or "v" not in record:
            continue
        quantity, convert = known
        time_s = base_time_s + _number("t", record.get("t", 0))
        values.append(Value(quantity, convert(base_value + _number("v", record["v"])), _senml_ms(time_s, now_ms)))
    if not values:
        raise BadPayload("a SenML pack without a temperature (Cel, K) or relative humidity (%RH)")
    return values


def _senml_ms(time_s: float, now_ms: int) -> int | None:
    if time_s == 0:
        return None
    if time_s < SENML_RELATIVE_BELOW_S:
        return _plausible_time(now_ms + round(time_s * MS_PER_S))
    return _plausible_time(round(time_s * MS_PER_S))
