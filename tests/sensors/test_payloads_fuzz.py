"""Whatever is sent, on whatever topic: finite values with a plausible time, or a reason; never anything else."""

from __future__ import annotations

import json
import math
import struct
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensors.messages import NAME_LENGTH
from sensors.payload_rules import rules_from
from sensors.payloads import LATEST_MS, MAX_BIRTH_BYTES, MAX_PAYLOAD_BYTES, BadPayload, Learned, decode_all, read
from shared.store.records import Quantity
from shared.units import datetime_from_ms

NOW_MS = 1_795_000_000_000
ZONE = ZoneInfo("Europe/Berlin")
LEARNED = Learned()  # one for all: what a stranger teaches must do no harm either
OWN = rules_from('[[rule]]\ntopic = "own/{quantity}"\npath = "*.[].{value}"\nquantity = "rh_pct"\nunit = "fraction"\n')
TOPICS = st.sampled_from(
    [
        "workshop/a/temperature", "workshop/a/humidity", "workshop/a/battery/state", "workshop/a", "", "/", "//",
        "a//rh", "homie/5/dev/node/temperature", "homie/dev/$state", "homie/5/dev/$description", "homie/dev/n/rh/$unit",
        "own/x", "spBv1.0/g/NDATA/n", "spBv1.0/g/DDATA/n/d", "spBv1.0/g/NBIRTH/n", "spBv1.0/g/DBIRTH/n/d",
        "spBv1.0/g/NDEATH/n", "spBv1.0", "spBv1.0/", "spBv1.0/STATE/x", "$SYS/x", "x/" * 300,
    ]
)  # fmt: skip


def check(topic: str, payload: bytes) -> None:
    """Decode; assert that what comes out is fit to be stored."""
    try:
        heard = read(topic, payload, NOW_MS, zone=ZONE, learned=LEARNED, rules=OWN)
    except BadPayload as error:
        assert 0 < len(str(error).encode("utf-8")) < 1000
        return
    for note in heard.notes:
        note.encode("utf-8")
    for message in heard.messages:
        assert message.values
        assert len(message.probe_topic) <= len(topic) + 8 * NAME_LENGTH
        message.probe_topic.encode("utf-8")
        for one in message.values:
            assert isinstance(one.quantity, Quantity)
            assert type(one.value) is float and math.isfinite(one.value)
            assert one.value != 0 or math.copysign(1, one.value) == 1
            assert one.at_ms is None or (type(one.at_ms) is int and one.at_ms <= LATEST_MS)
            assert one.at_ms is None or datetime_from_ms(one.at_ms).year >= 2015


NAMES = st.sampled_from(
    [
        "temperature", "humidity", "rh", "temp_f", "mass", "weight_g", "battery", "rain", "pm2.5", "pin_mc", "time",
        "ts", "unit", "units", "TempUnit", "value", "v", "name", "type", "device", "data", "inside", "metrics",
        "battery_unit", "u", "t", "n", "bn", "bt", "bu", "bv", "bver", "vs", "s", "x_", "", "nodes", "properties",
    ]
)  # fmt: skip
LEAVES = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=8),
    st.sampled_from(["Cel", "K", "%RH", "/", "%", "°F", "V", "kg", "nan", "21,5", "21.5", "18,400", "-0"]),
    st.sampled_from(["unavailable", "2026-10-25T02:30:00", "2026-03-29T02:30:00", "1795000000", "rh"]),
    st.integers(-(10**40), 10**40), st.floats(1e8, 2e9), st.datetimes().map(lambda moment: moment.isoformat() + "Z"),
    st.datetimes().map(lambda moment: moment.isoformat()),
)  # fmt: skip
STRUCTURES = st.recursive(
    LEAVES, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(NAMES, inner, max_size=5), max_leaves=14
)


@settings(max_examples=500, deadline=None)
@given(topic=TOPICS, payload=st.binary(max_size=200))
def test_any_bytes(topic: str, payload: bytes) -> None:
    check(topic, payload)


@settings(max_examples=800, deadline=None)
@given(topic=TOPICS, content=STRUCTURES)
def test_any_json(topic: str, content: Any) -> None:
    check(topic, json.dumps(content).encode("utf-8"))


@settings(max_examples=300, deadline=None)
@given(topic=TOPICS, text=st.text(max_size=60))
def test_any_text(topic: str, text: str) -> None:
    check(topic, text.encode("utf-8", "surrogatepass"))


@settings(max_examples=300, deadline=None)
@given(records=st.lists(st.dictionaries(NAMES, LEAVES, max_size=6), max_size=4))
def test_any_senml(records: list[dict[str, Any]]) -> None:
    check("workshop/a", json.dumps(records).encode("utf-8"))


@settings(max_examples=300, deadline=None)
@given(pairs=st.lists(st.tuples(NAMES, LEAVES), max_size=8))
def test_any_object_with_names_that_stand_twice(pairs: list[tuple[str, Any]]) -> None:
    inner = ", ".join(f"{json.dumps(name)}: {json.dumps(value)}" for name, value in pairs)
    check("workshop/a", ("{" + inner + "}").encode("utf-8"))


def tagged(number: int, kind: int, rest: bytes) -> bytes:
    return varint(number << 3 | kind) + rest


def varint(value: int) -> bytes:
    out = bytearray()
    while value > 0x7F:
        out.append(value & 0x7F | 0x80)
        value >>= 7
    return bytes([*out, value])


def framed(number: int, content: bytes) -> bytes:
    return tagged(number, 2, varint(len(content)) + content)


FIELDS = st.one_of(
    st.tuples(st.integers(1, 20), st.integers(0, 2**64 - 1)).map(lambda f: tagged(f[0], 0, varint(f[1]))),
    st.tuples(st.integers(1, 20), st.floats()).map(lambda f: tagged(f[0], 1, struct.pack("<d", f[1]))),
    st.tuples(st.integers(1, 20), st.floats(width=32)).map(lambda f: tagged(f[0], 5, struct.pack("<f", f[1]))),
    st.tuples(st.integers(1, 20), st.binary(max_size=20)).map(lambda f: framed(*f)),
    st.sampled_from([b"temperature", b"A/humidity", b"Stack/weight", b"bdSeq"]).map(lambda name: framed(1, name)),
    st.integers(0, 4).map(lambda alias: tagged(2, 0, varint(alias))),
    st.just(framed(9, framed(1, b"engUnit") + framed(2, framed(8, b"kg")))),
)
METRICS = st.lists(FIELDS, max_size=8).map(lambda parts: framed(2, b"".join(parts)))
SPARKPLUG_TOPICS = st.sampled_from(
    ["spBv1.0/g/NDATA/n", "spBv1.0/g/DDATA/n/d", "spBv1.0/g/NBIRTH/n", "spBv1.0/g/DBIRTH/n/d", "spBv1.0/g/NDEATH/n"]
)


@settings(max_examples=800, deadline=None)
@given(topic=SPARKPLUG_TOPICS, parts=st.lists(METRICS | FIELDS, max_size=4))
def test_any_sparkplug(topic: str, parts: list[bytes]) -> None:
    check(topic, b"".join(parts))


# --- the worst of its size -------------------------------------------------------------------------


@pytest.mark.parametrize(
    "topic", ["workshop/a", "workshop/a/temperature", "spBv1.0/g/NDATA/n", "homie/5/d/$description"]
)
def test_a_megabyte_is_refused_by_its_size_before_it_is_looked_at(topic: str) -> None:
    for payload in (b"\xff" * 2**20, b"[" * 2**20, b'{"temperature": 1}' + b" " * 2**20, b"1" * 2**20):
        with pytest.raises(BadPayload, match=r"message of 10[0-9]+ bytes; at most"):
            decode_all(topic, payload, NOW_MS)


def fill(start: str, again: str, end: str, most: int = MAX_PAYLOAD_BYTES) -> bytes:
    count = (most - len(start.encode()) - len(end.encode())) // len(again.encode())
    return (start + again * count + end).encode()


@pytest.mark.parametrize(
    "payload",
    [
        fill("", "[", ""), fill("", '{"data":', ""), fill("{", '"unit":1,"rh":1,', '"rh":1}'),
        fill("{", '"temp_unit":"C","Temp":1,"tEmp":1,', '"rh":1}'), fill("[", '{"v":1,"u":"K"},', '{"v":1,"u":"K"}]'),
        fill("[", '{"name":"rh","value":1},', "1]"), fill('{"a":{', '"b":{"rh":{"v":1}},', '"c":1}}'),
        fill('{"rh":"', "9", '"}'), fill('{"rh":"', "1,", '"}'), fill("", "1,", ""), fill('{"rh":1e', "9", "}"),
        fill('{"', "rh", '":1}'), fill('{"unit":"', "\ufb03", '","rh":1}'), fill('{"time":"', "2", '","rh":1}'),
        fill("[", '{"bn":"aaaaaaaa","v":1,"u":"K"},', "1]"), fill('[{"n":"', ":a", '","v":1,"u":"K"}]'),
    ],
)  # fmt: skip
def test_the_worst_text_of_the_size_that_is_read(payload: bytes) -> None:
    assert len(payload) <= MAX_PAYLOAD_BYTES
    for topic in ("workshop/a", "workshop/a/temperature", "own/rh", "homie/5/d/$description"):
        check(topic, payload)


@pytest.mark.parametrize(
    "part",
    [
        b"\x12\x00", b"\x12\x02\x0a\x00", b"\x12\x04\x10\x01\x50\x01", b"\xff",
        b"\x12\x0f\x0a\x02rh\x69" + bytes(8) + b"\x18\x01",
    ],
)  # fmt: skip
def test_the_worst_bytes_of_the_size_that_is_read(part: bytes) -> None:
    for kind in ("NDATA", "NBIRTH", "NDEATH"):
        check(f"spBv1.0/g/{kind}/n", part * (MAX_BIRTH_BYTES // len(part)))


def test_what_strangers_teach_does_not_fill_the_memory() -> None:
    learned = Learned()
    births = [
        b"".join(framed(2, framed(1, b"m") + tagged(2, 0, varint(1500 * part + alias))) for alias in range(1500))
        for part in range(2)
    ]
    for number in range(700):
        decode_all(f"spBv1.0/g/NBIRTH/n{number}", b"", NOW_MS, learned=learned)
        decode_all(f"homie/d{number}/$unit", b"K", NOW_MS, learned=learned)
    assert len(learned.nodes._held) == 500
    for birth in births:
        assert decode_all("spBv1.0/g/DBIRTH/n/d", birth, NOW_MS, learned=learned) == []
    taught = learned.nodes.get(("g", "n"))
    assert taught is not None and len(taught.aliases._held) == 2000
    for number in range(6000):
        decode_all(f"homie/e{number}/$unit", b"K", NOW_MS, learned=learned)
    assert len(learned.units._held) == 5000
