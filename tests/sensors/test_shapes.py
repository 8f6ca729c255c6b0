"""Names, units and rules: what counts as which quantity, where it may stand, and to which probe it belongs."""

from __future__ import annotations

import json
from typing import Any

import pytest

from sensors.names import NAMES, UNITS, named
from sensors.payload_rules import rules_from
from sensors.payloads import BadPayload, decode_all, read
from shared.errors import BadInput
from shared.store.records import QUANTITY_UNITS, Quantity

NOW_MS = 1_795_000_000_000
TOPIC = "workshop/shed"


def said(content: Any, topic: str = TOPIC, rules: str = "") -> dict[str, dict[str, float]]:
    """Return the values by probe and quantity."""
    payload = content if isinstance(content, str) else json.dumps(content)
    messages = decode_all(topic, payload.encode(), NOW_MS, rules=rules_from(rules))
    return {one.probe_topic: {str(v.quantity): pytest.approx(v.value) for v in one.values} for one in messages}


def reason(content: Any, topic: str = TOPIC) -> str:
    with pytest.raises(BadPayload) as caught:
        said(content, topic)
    return str(caught.value)


# --- names and units -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "figure", "quantity", "value"),
    [
        ("temp_f", 212, "temperature_c", 100.0), ("temperature_K", 293.15, "temperature_c", 20.0),
        ("temperature_C", 18.4, "temperature_c", 18.4), ("airTemperature", 18.4, "temperature_c", 18.4),
        ("relativeHumidity", 71, "rh_pct", 71.0), ("humidity_fraction", 0.71, "rh_pct", 71.0),
        ("rh_ratio", 1, "rh_pct", 100.0),
        ("mass_kg", 18.4, "mass_kg", 18.4), ("weight_g", 18400, "mass_kg", 18.4),
        ("weight_lb", 10, "mass_kg", 4.5359237), ("weight_oz", 16, "mass_kg", 0.45359237),
        ("pin_mc_pct", 12.5, "pin_mc_pct", 12.5), ("pin_mc_fraction", 0.125, "pin_mc_pct", 12.5),
        ("capacitance_mc", 11, "capacitance_mc_pct", 11.0),
        ("pm2_5", 9, "pm2_5_ug_m3", 9.0), ("pm2.5", 9, "pm2_5_ug_m3", 9.0), ("PM25", 9, "pm2_5_ug_m3", 9.0),
        ("pm10", 20, "pm10_ug_m3", 20.0), ("pm10_ug_m3", 20, "pm10_ug_m3", 20.0),
        ("rain_mm", 1.2, "rain_mm", 1.2), ("rain_in", 0.5, "rain_mm", 12.7),
        ("battery_pct", 87, "battery_pct", 87.0), ("battery_level", 87, "battery_pct", 87.0),
        ("battery_v", 3.1, "battery_v", 3.1), ("battery_mv", 3100, "battery_v", 3.1),
        ("batteryVoltage", 3, "battery_v", 3.0), ("battery", 87, "battery_pct", 87.0),
        ("battery", 4, "battery_pct", 4.0), ("battery", 96.5, "battery_pct", 96.5),
    ],
)  # fmt: skip
def test_a_name_says_quantity_and_unit(name: str, figure: float, quantity: str, value: float) -> None:
    """Pound, ounce and inch: NIST Special Publication 811 (2008), Appendix B.8."""
    assert said({name: figure}) == {TOPIC: {quantity: value}}


@pytest.mark.parametrize(
    "name",
    ["cpu_temperature", "temperature_setpoint", "dew_point", "t", "soil_moisture", "moisture", "voltage", "pressure",
     "temperature" * 10, "", "temperature_bar", "absolute_humidity"],
)  # fmt: skip
def test_a_name_that_only_holds_one_of_ours_is_none(name: str) -> None:
    assert named(name) is None


def test_every_quantity_has_names_units_and_a_word() -> None:
    named_ones = {one for meant in NAMES.values() for one in meant.quantities}
    assert named_ones == set(Quantity) == set(UNITS) == set(QUANTITY_UNITS)


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        ({"temperature": 65, "unit": "°F"}, {"temperature_c": 18.3333333}),
        ({"temperature": 65, "temperature_unit": "F"}, {"temperature_c": 18.3333333}),
        ({"temperature": 65, "TempUnit": "F"}, {"temperature_c": 18.3333333}),
        ({"temperature": 65, "units": {"temperature": "fahrenheit"}}, {"temperature_c": 18.3333333}),
        ({"temperature": 291.55, "unit": "K", "humidity": 71}, {"temperature_c": 18.4, "rh_pct": 71.0}),
        ({"humidity": 0.71, "unit": "fraction"}, {"rh_pct": 71.0}),
        ({"temperature": 18.4, "humidity": 71, "unit": "%"}, {"temperature_c": 18.4, "rh_pct": 71.0}),
        ({"weight": 18.4, "unit": "kg"}, {"mass_kg": 18.4}),
        ({"rain": 0.5, "unit": "in"}, {"rain_mm": 12.7}),
        ({"battery": 3.1, "unit": "V"}, {"battery_v": 3.1}),
        ({"pm10": 0.02, "unit": "mg/m3"}, {"pm10_ug_m3": 20.0}),
        ({"pm10": 20, "unit": "µg/m³"}, {"pm10_ug_m3": 20.0}),
        ({"temperature": 18.4, "unit": ""}, {"temperature_c": 18.4}),
        ({"temperature": 18.4, "unit": "℃"}, {"temperature_c": 18.4}),
    ],
)
def test_a_unit_beside_the_figure_counts(content: dict[str, Any], expected: dict[str, float]) -> None:
    assert said(content) == {TOPIC: expected}


@pytest.mark.parametrize(
    ("content", "complaint"),
    [
        ({"temperature": 18.4, "unit": "imperial"}, "temperature is in 'imperial'"),
        ({"temperature": {"value": 18.4, "unit": "%"}}, "temperature is in '%'"),
        ({"temperature": 18.4, "temperature_unit": "bar"}, "temperature is in 'bar'"),
        ({"weight": 18.4}, "weight says no unit"),
        ({"battery": 3.1}, "battery says no unit"),
    ],
)
def test_a_unit_that_cannot_be_is_refused_and_none_is_made_up(content: dict[str, Any], complaint: str) -> None:
    assert complaint in reason(content)


def test_a_bare_fraction_of_humidity_is_not_turned_into_per_cent() -> None:
    assert said({"humidity": 0.71}) == {TOPIC: {"rh_pct": 0.71}}  # and is flagged as outside what can be measured


# --- where a figure may stand ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("topic", "content", "shape", "expected"),
    [
        (TOPIC, {"temperature": 18.4, "humidity": 71}, "flat JSON", {TOPIC: {"temperature_c": 18.4, "rh_pct": 71}}),
        (TOPIC, {"sensor": {"temperature": 18.4}}, "nested JSON", {TOPIC: {"temperature_c": 18.4}}),
        (TOPIC, {"data": {"sensor": {"temperature": 18.4}}}, "nested JSON", {TOPIC: {"temperature_c": 18.4}}),
        (TOPIC, {"temperature": {"value": 65, "unit": "F"}}, "nested JSON", {TOPIC: {"temperature_c": 18.3333333}}),
        (TOPIC, {"data": {"rh": {"val": 71}}}, "nested JSON", {TOPIC: {"rh_pct": 71}}),
        (TOPIC, {"metrics": [{"name": "temperature", "value": 18.4}, {"name": "humidity", "value": 71}]},
         "list of named values", {TOPIC: {"temperature_c": 18.4, "rh_pct": 71}}),
        (TOPIC, [{"type": "temp", "value": 65, "unit": "F"}],
         "list of named values", {TOPIC: {"temperature_c": 18.3333333}}),
        ("a/b/temperature", 18.4, "one value a topic", {"a/b": {"temperature_c": 18.4}}),
        ("a/b/temperature", "18.4", "one value a topic", {"a/b": {"temperature_c": 18.4}}),
        ("a/sensor/temperature/state", 18.4, "one value a topic", {"a/sensor": {"temperature_c": 18.4}}),
        ("a/b/weight_g", 18400, "one value a topic", {"a/b": {"mass_kg": 18.4}}),
        ("a/b/temperature", {"value": 65, "unit": "F"}, "one value a topic", {"a/b": {"temperature_c": 18.3333333}}),
        ("a/b/temperature", {"value": 18.4, "battery": 90}, "one value a topic",
         {"a/b": {"temperature_c": 18.4, "battery_pct": 90}}),
        ("a/b/temperature", {"temperature": 18.4}, "flat JSON", {"a/b/temperature": {"temperature_c": 18.4}}),
    ],
)  # fmt: skip
def test_the_built_in_rules(topic: str, content: Any, shape: str, expected: dict[str, dict[str, float]]) -> None:
    assert said(content, topic) == expected
    assert read(topic, json.dumps(content).encode(), NOW_MS).shape == shape


def test_a_time_is_taken_from_the_nearest_object_around_a_figure() -> None:
    content = {"Time": "2026-11-18T11:06:40Z", "A": {"Temperature": 8, "ts": 1795000001}, "B": {"Temperature": 9}}
    messages = decode_all(TOPIC, json.dumps(content).encode(), NOW_MS)
    assert [one.values[0].at_ms for one in messages] == [1_795_000_001_000, 1_795_000_000_000]


def test_a_list_may_hold_one_quantity_at_several_times() -> None:
    content = [{"name": "temperature", "value": 18.4 + i, "time": 1795000000 + i} for i in range(3)]
    (message,) = decode_all(TOPIC, json.dumps(content).encode(), NOW_MS)
    assert [one.value for one in message.values] == [pytest.approx(18.4 + i) for i in range(3)]


def test_deeper_than_two_levels_nothing_is_looked_for() -> None:
    assert (
        reason({"a": {"b": {"c": {"temperature": 1}}}})
        == "no field whose name is known (temperature, humidity, mass_kg …)"
    )


# --- which probe it belongs to ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "probes"),
    [
        ({"inside": {"temperature": 20}, "outside": {"temperature": 5}},
         ["workshop/shed/inside", "workshop/shed/outside"]),
        ({"inside": {"temperature": 20}}, ["workshop/shed/inside"]),
        ({"data": {"inside": {"temperature": 20}}}, ["workshop/shed/inside"]),
        ({"device": "north", "temperature": 20}, ["workshop/shed/north"]),
        ({"device_id": 7, "temperature": 20}, ["workshop/shed/7"]),
        ({"device": "shed", "temperature": 20}, [TOPIC]),
        ({"device": {"model": "x"}, "temperature": 20}, [TOPIC]),
        ({"id": 8123, "temperature": 20}, [TOPIC]),
        ([{"device": "a", "name": "temp", "value": 1}, {"device": "b", "name": "temp", "value": 9}],
         ["workshop/shed/a", "workshop/shed/b"]),
        ({"a/+#$b\n\u202e": {"temperature": 20}}, ["workshop/shed/a----b--"]),
    ],
)  # fmt: skip
def test_two_devices_on_one_topic_never_become_one(content: Any, probes: list[str]) -> None:
    """A message with one device goes by the same name as when it comes with others."""
    assert list(said(content)) == probes


# --- rules of one's own ----------------------------------------------------------------------------


def test_a_rule_of_ones_own_maps_what_no_built_in_one_can_know() -> None:
    rules = """
        [[rule]]
        name = "scale"
        topic = "plant/{probe}/raw"
        path = "channels.AI3"
        quantity = "mass_kg"
        unit = "lb"
        time = "when"
        time_unit = "s"
        [[rule]]
        topic = "plant/{probe}/raw"
        path = "channels.AI4"
        quantity = "rh_pct"
        unit = "fraction"
        time = "arrival"
    """
    content = {"when": 1_795_000_000, "temperature": 99, "channels": {"AI3": 10, "AI4": 0.5}}
    (message,) = decode_all("plant/rack/raw", json.dumps(content).encode(), NOW_MS, rules=rules_from(rules))
    assert message.probe_topic == "rack"
    assert [(str(v.quantity), v.value, v.at_ms) for v in message.values] == [
        ("mass_kg", pytest.approx(4.5359237), 1_795_000_000_000),
        ("rh_pct", pytest.approx(50), None),
    ]
    assert said({"temperature": 18.4}, "elsewhere", rules) == {"elsewhere": {"temperature_c": 18.4}}


def test_a_rule_may_name_the_device_and_a_figure_without_json() -> None:
    device = '[[rule]]\ntopic = "gateway/events"\npath = "{quantity}"\ndevice = "id"\n'
    assert list(said({"id": 42, "temperature_C": 8}, "gateway/events", device)) == ["gateway/events/42"]
    plain = '[[rule]]\ntopic = "+/AI0"\nquantity = "temperature_c"\nunit = "F"\n'
    assert said("65", "plc/AI0", plain) == {"plc/AI0": {"temperature_c": 18.3333333}}
    each = '[[rule]]\ntopic = "{probe}"\npath = "log.[].deep.t"\nquantity = "temperature_c"\nunit = "c"\n'
    assert said({"log": [{"deep": {"t": 5}}, 3]}, "x", each) == {"x": {"temperature_c": 5}}


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("rule = 3", "file of payload rules"),
        ("[[rule]", "file of payload rules"),
        ("[[rule]]\nquantity = 'mass_kg'\nunit = 'lb'\n[other]\n", "file of payload rules"),
        ("[[rule]]\ncolour = 'red'", "colour of payload rule 1"),
        ("[[rule]]\npath = 3", "path of payload rule 1"),
        ("[[rule]]\npath = 'x'", "quantity of payload rule 1"),
        ("[[rule]]\nquantity = 'warmth'", "quantity of payload rule 1"),
        ("[[rule]]\nquantity = 'mass_kg'", "unit of payload rule 1"),
        ("[[rule]]\nquantity = 'mass_kg'\nunit = '°C'", "unit of payload rule 1"),
        ("[[rule]]\nquantity = 'mass_kg'\nunit = 'g'\ntime_unit = 'h'", "time_unit of payload rule 1"),
        ("[[rule]]\nquantity = 'mass_kg'\nunit = 'g'\ntopic = '{probe}/{probe}'", "topic of payload rule 1"),
        ("[[rule]]\nquantity = 'mass_kg'\nunit = 'g'\ntopic = 'a/#'", "topic of payload rule 1"),
    ],
)
def test_a_rule_that_is_none_is_refused_naming_what_is_wrong(text: str, complaint: str) -> None:
    with pytest.raises(BadInput, match=complaint):
        rules_from(text)
