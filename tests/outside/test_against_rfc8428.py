"""SenML packs against RFC 8428 (Sensor Measurement Lists, August 2018): the worked examples of section 5.1.

Read in the final proof of July 2018; values, units and names stand as there. The dated examples are of 2010 and
2011, before any probe that we accept (2015), so 15 years (a whole number of seconds, SHIFT_S) are added to each base
time on the way in and taken off again on the way out. The streaming example of section 5.1.2 is printed with
"..." at its end.
"""

from __future__ import annotations

import json
from typing import Any

import pytest

from sensors.payloads import BadPayload, decode, decode_all
from shared.store.records import Quantity

SHIFT_S = 15 * 366 * 86_400
NOW_MS = 1_795_000_000_000
TOPIC = "workshop/rfc"
Resolved = list[tuple[Quantity, float, float | None]]


def resolve_all(pack: list[dict[str, Any]]) -> dict[str, Resolved]:
    """Decode a pack moved by SHIFT_S: by device, (quantity, value, seconds since 1970 as the RFC writes them)."""
    moved = [record | ({"bt": record["bt"] + SHIFT_S} if "bt" in record else {}) for record in pack]
    messages = decode_all(TOPIC, json.dumps(moved).encode(), NOW_MS)
    return {
        message.probe_topic.removeprefix(TOPIC + "/"): [
            (one.quantity, one.value, None if one.at_ms is None else one.at_ms / 1000 - SHIFT_S)
            for one in message.values
        ]
        for message in messages
    }


def resolve(pack: list[dict[str, Any]]) -> Resolved:
    (values,) = resolve_all(pack).values()
    return values


def test_5_1_1_a_single_data_point_without_a_time_is_now() -> None:
    pack = [{"n": "urn:dev:ow:10e2073a01080063", "u": "Cel", "v": 23.1}]
    assert resolve_all(pack) == {"urn:dev:ow:10e2073a01080063": [(Quantity.TEMPERATURE_C, 23.1, None)]}


def test_5_1_2_voltage_and_current_are_nobodys_battery() -> None:
    now = [
        {"bn": "urn:dev:ow:10e2073a01080063:", "n": "voltage", "u": "V", "v": 120.1},
        {"n": "current", "u": "A", "v": 1.2},
    ]
    with pytest.raises(BadPayload, match="without a quantity"):
        resolve(now)


def test_5_1_2_a_stream_of_humidity_counts_from_the_base_time() -> None:
    rest = [(10, 21.3), (20, 21.4), (30, 21.4), (40, 21.5), (50, 21.5), (60, 21.5), (70, 21.6), (80, 21.7)]
    base = {"bn": "urn:dev:ow:10e2073a01080063", "bt": 1.320067464e09, "bu": "%RH", "v": 21.2}
    resolved = resolve([base, *({"t": t, "v": v} for t, v in rest)])
    assert resolved == [(Quantity.RH_PCT, v, 1320067464 + t) for t, v in [(0, 21.2), *rest]]


def test_5_1_3_and_5_1_4_position_is_left_alone_and_the_rest_resolves_as_printed() -> None:
    pack = [
        {"bn": "urn:dev:ow:10e2073a01080063", "bt": 1.320067464e09, "bu": "%RH", "v": 20},
        {"u": "lon", "v": 24.30621},
        {"u": "lat", "v": 60.07965},
        {"t": 60, "v": 20.3},
        {"u": "lon", "t": 60, "v": 24.30622},
        {"u": "lat", "t": 60, "v": 60.07965},
        {"t": 120, "v": 20.7},
        {"u": "lon", "t": 120, "v": 24.30623},
        {"u": "lat", "t": 120, "v": 60.07966},
        {"u": "%EL", "t": 150, "v": 98},
        {"t": 180, "v": 21.2},
        {"u": "lon", "t": 180, "v": 24.30628},
        {"u": "lat", "t": 180, "v": 60.07967},
    ]
    assert resolve(pack) == [
        (Quantity.RH_PCT, 20.0, 1.320067464e09),
        (Quantity.RH_PCT, 20.3, 1.320067524e09),
        (Quantity.RH_PCT, 20.7, 1.320067584e09),
        (Quantity.BATTERY_PCT, 98.0, 1.320067614e09),
        (Quantity.RH_PCT, 21.2, 1.320067644e09),
    ]


def test_5_1_5_other_types_of_data_are_left_alone() -> None:
    pack = [
        {"bn": "urn:dev:ow:10e2073a01080063:", "n": "temp", "u": "Cel", "v": 23.1},
        {"n": "label", "vs": "Machine Room"},
        {"n": "open", "vb": False},
        {"n": "nfv-reader", "vd": "aGkgCg"},
    ]
    assert resolve_all(pack) == {"urn:dev:ow:10e2073a01080063": [(Quantity.TEMPERATURE_C, 23.1, None)]}


def test_5_1_6_two_devices_in_one_pack_stay_two() -> None:
    """The last record uses the base name of the third and the base time of the first."""
    pack = [
        {"bn": "2001:db8::2/", "bt": 1.320078429e09, "n": "temperature", "u": "Cel", "v": 25.2},
        {"n": "humidity", "u": "%RH", "v": 30},
        {"bn": "2001:db8::1/", "n": "temperature", "u": "Cel", "v": 12.3},
        {"n": "humidity", "u": "%RH", "v": 67},
    ]
    assert resolve_all(pack) == {
        "2001:db8::2": [(Quantity.TEMPERATURE_C, 25.2, 1320078429), (Quantity.RH_PCT, 30.0, 1320078429)],
        "2001:db8::1": [(Quantity.TEMPERATURE_C, 12.3, 1320078429), (Quantity.RH_PCT, 67.0, 1320078429)],
    }


def test_5_1_7_a_light_that_is_switched_is_no_reading() -> None:
    pack = [{"bt": 1.320078429e09, "bu": "/", "n": "2001:db8::3", "v": 1}, {"n": "2001:db8::4", "v": 1}]
    with pytest.raises(BadPayload, match="without a quantity"):
        resolve(pack)


def test_4_5_4_a_base_value_is_added_to_each_value() -> None:
    pack = [{"bv": 20, "bu": "Cel", "v": 1.5, "t": -1}, {"v": -0.5}]
    assert [value for _, value, _ in resolve(pack)] == [21.5, 19.5]


def test_4_5_3_small_times_are_relative_to_now() -> None:
    message = decode(TOPIC, b'[{"bu": "Cel", "t": -60, "v": 20}, {"t": 5, "v": 21}]', NOW_MS)
    assert [one.at_ms for one in message.values] == [NOW_MS - 60_000, NOW_MS + 5_000]


def test_4_5_3_from_two_to_the_28th_on_a_time_is_absolute() -> None:
    """The smallest absolute time is in 1978, so that it is refused as a clock that is not set; one less is relative."""
    pack = '[{"u": "Cel", "v": 1, "t": %d}]'
    assert decode(TOPIC, (pack % (2**28 - 1)).encode(), NOW_MS).values[0].at_ms == NOW_MS + (2**28 - 1) * 1000
    with pytest.raises(BadPayload, match="before 2015"):
        decode(TOPIC, (pack % 2**28).encode(), NOW_MS)


def test_4_4_a_field_that_must_be_understood_is_an_error_when_it_is_not() -> None:
    with pytest.raises(BadPayload, match="must be understood"):
        resolve([{"n": "x", "u": "Cel", "v": 1, "new_": 1}])


def test_4_4_a_later_version_is_not_used() -> None:
    with pytest.raises(BadPayload, match="version"):
        resolve([{"bver": 11, "n": "x", "u": "Cel", "v": 1}])


@pytest.mark.parametrize("name", ["a b", "-a", "ä", "a+b", "a#", "$a", "a\u0000b"])
def test_4_5_1_a_name_with_other_characters_is_refused(name: str) -> None:
    with pytest.raises(BadPayload, match="SenML name"):
        resolve([{"n": name, "u": "Cel", "v": 1}])


def test_12_1_note_2_per_cent_is_a_ratio_and_no_percentage() -> None:
    assert resolve([{"n": "humidity", "u": "%", "v": 0.71}]) == [(Quantity.RH_PCT, pytest.approx(71), None)]
    assert resolve([{"n": "humidity", "u": "/", "v": 0.71}]) == [(Quantity.RH_PCT, pytest.approx(71), None)]
    with pytest.raises(BadPayload, match="no percentage"):
        resolve([{"n": "humidity", "u": "%", "v": 71}])


def test_12_1_kilograms_grams_kelvin_and_battery_are_read_by_their_units() -> None:
    pack = [
        {"bn": "scale-1", "u": "kg", "v": 18.4, "t": -2},
        {"u": "g", "v": 18500, "t": -1},
        {"u": "%EL", "v": 87},
        {"u": "K", "v": 293.15},
    ]
    assert [(quantity, value) for quantity, value, _ in resolve(pack)] == [
        (Quantity.MASS_KG, 18.4),
        (Quantity.MASS_KG, 18.5),
        (Quantity.BATTERY_PCT, 87.0),
        (Quantity.TEMPERATURE_C, pytest.approx(20.0)),
    ]


def test_a_device_that_the_topic_names_goes_by_the_topic() -> None:
    (message,) = decode_all("workshop/p1", b'[{"bn": "p1:", "n": "t", "u": "Cel", "v": 1}]', NOW_MS)
    assert message.probe_topic == "workshop/p1"


def test_another_temperature_of_the_same_device_is_not_mixed_into_its_air() -> None:
    pack = [{"bn": "p1:", "n": "temperature", "u": "Cel", "v": 18}, {"n": "dewpoint", "u": "Cel", "v": 9}]
    assert sorted(resolve_all(pack)) == ["p1", "p1:dewpoint"]
