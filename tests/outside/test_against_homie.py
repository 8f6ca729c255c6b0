"""Homie topics against the Homie Convention: 4.0.0 (27 August 2019) and 5.0.0 (11 May 2025), read in working texts.

Topics, units and payloads are those of the conventions' own example, a car with an engine that has a temperature.
"""

from __future__ import annotations

import json

import pytest

from sensors.payloads import BadPayload, Learned, decode, decode_all, learn, read
from shared.store.records import Quantity

# Version 5.0.0, "Properties": the description of the property; the document around it as in "Devices" and "Nodes".
PROPERTY = {"name": "Engine temperature", "unit": "°C", "datatype": "float", "format": "-20:120"}


def description(unit: str) -> bytes:
    nodes = {"wheels": {}, "engine": {"name": "Car engine", "properties": {"temperature": PROPERTY | {"unit": unit}}}}
    return json.dumps({"homie": "5.0", "name": "Supercar", "version": 7, "nodes": nodes}).encode()


def value(topic: str, payload: bytes, learned: Learned | None = None) -> tuple[str, Quantity, float]:
    (message,) = decode_all(topic, payload, 0, learned=learned)
    (one,) = message.values
    assert one.at_ms is None
    return message.probe_topic, one.quantity, one.value


@pytest.mark.parametrize("base", ["homie/super-car", "homie/5/super-car"])
def test_a_property_is_one_value_that_belongs_to_its_node(base: str) -> None:
    """4.0.0 and 5.0.0, "Properties": engine/temperature → "21.5"."""
    topic = base + "/engine/temperature"
    assert value(topic, b"21.5") == (base + "/engine", Quantity.TEMPERATURE_C, 21.5)
    assert read(topic, b"21.5", 0).shape == "Homie"


def test_5_the_description_teaches_the_unit() -> None:
    learned = Learned()
    heard = read("homie/5/super-car/$description", description("°F"), 0, learned=learned)
    assert (heard.shape, heard.messages, heard.notes) == ("Homie", [], ("describes 1 units",))
    assert value("homie/5/super-car/engine/temperature", b"212", learned)[2] == pytest.approx(100)
    assert value("homie/5/other-car/engine/temperature", b"21.5", learned)[2] == 21.5


def test_4_an_attribute_teaches_the_unit() -> None:
    learned = Learned()
    assert decode_all("homie/super-car/engine/temperature/$unit", "°F".encode(), 0, learned=learned) == []
    assert value("homie/super-car/engine/temperature", b"212", learned)[2] == pytest.approx(100)


def test_a_retained_description_teaches_and_a_retained_value_is_no_reading() -> None:
    """4.0.0 and 5.0.0, "QoS and retained messages": all messages are retained unless stated otherwise."""
    learned = Learned()
    learn("homie/5/super-car/$description", description("°F"), learned)
    learn("homie/5/super-car/engine/temperature", b"212", learned)
    learn("homie/5/super-car/$description", b"x" * 10**6, learned)
    assert value("homie/5/super-car/engine/temperature", b"212", learned)[2] == pytest.approx(100)


def test_another_root_is_a_root_too() -> None:
    """4.0.0 and 5.0.0, "Base Topic": another root may be chosen."""
    learned = Learned()
    decode_all("workshop/5/super-car/$description", description("K"), 0, learned=learned)
    topic = "workshop/5/super-car/engine/temperature"
    assert value(topic, b"293.15", learned)[2] == pytest.approx(20)
    assert read(topic, b"293.15", 0, learned=learned).shape == "Homie"


def test_a_unit_that_the_quantity_cannot_have_is_refused() -> None:
    learned = Learned()
    decode_all("homie/5/super-car/$description", description("psi"), 0, learned=learned)
    with pytest.raises(BadPayload, match="temperature is in 'psi'"):
        value("homie/5/super-car/engine/temperature", b"21.5", learned)


@pytest.mark.parametrize(
    ("topic", "payload", "note"),
    [
        ("homie/5/super-car/$state", b"ready", "the device is ready"),
        ("homie/5/super-car/$state", b"lost", "the device is lost"),
        ("homie/super-car/$state", b"alert", "the device is alert"),
        ("homie/super-car/$homie", b"4.0.0", "an attribute"),
        ("homie/super-car/$nodes", b"wheels,engine,lights", "an attribute"),
        ("homie/5/super-car/$log/warn", b"hot", "an attribute"),
        ("homie/5/super-car/$alert/battery", b"Battery is low, at 8%", "an attribute"),
        ("homie/5/kitchen-light/light/brightness/$target", b"100", "an attribute"),
        ("homie/5/kitchen-light/light/power/set", b"true", "a command"),
        ("homie/5/$broadcast/alert", b"Intruder detected", "an attribute"),
        ("homie/5/super-car/$description", b"{", "describes 0 units"),
        ("homie/5/super-car/$description", b"[" * 9000, "describes 0 units"),
        ("homie/5/super-car/$description", b'{"nodes": {"a": 1, "b": {"properties": [2]}}}', "describes 0 units"),
        ("homie/5/super-car/$description", b"\xff", "an attribute that is not text (UTF-8)"),
    ],
)
def test_attributes_and_commands_are_known_and_hold_no_reading(topic: str, payload: bytes, note: str) -> None:
    assert read(topic, payload, 0).notes == (note,)
    assert read(topic, payload, 0).messages == []


@pytest.mark.parametrize("payload", [b"", b"\x00"])
def test_5_nothing_and_the_byte_that_stands_for_an_empty_text_are_no_value(payload: bytes) -> None:
    """5.0.0, "Empty string values": a text of one zero byte; an empty payload deletes the topic."""
    with pytest.raises(BadPayload, match="temperature has no value this time"):
        decode("homie/5/super-car/engine/temperature", payload, 0)


def test_a_set_command_to_a_measured_property_is_not_taken_for_its_value() -> None:
    assert decode_all("homie/5/oven/air/temperature/set", b"60", 0) == []
