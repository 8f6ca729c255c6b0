"""SenML packs against the worked examples of RFC 8428 (Sensor Measurement Lists, August 2018), section 5.1.

Read in the example files of the editors' working repository, checked against the draft that became the
RFC; the RFC's printed form itself was not read again. The values and units stand as there. The examples
are dated 2010 and 2011, before any probe that we accept (2015), so 15 years (a whole number of seconds,
SHIFT_S) are added to each base time on the way in and taken off again on the way out.
"""

from __future__ import annotations

import json
from typing import Any

import pytest

from sensors.payloads import BadPayload, decode
from shared.store.records import Quantity

SHIFT_S = 15 * 366 * 86_400
NOW_MS = 1_795_000_000_000


def resolve(pack: list[dict[str, Any]]) -> list[tuple[Quantity, float, float | None]]:
    """Decode a pack moved by SHIFT_S; give (quantity, value, seconds since 1970 as the RFC writes them)."""
    moved = [record | ({"bt": record["bt"] + SHIFT_S} if "bt" in record else {}) for record in pack]
    message = decode("workshop/rfc", json.dumps(moved).encode(), NOW_MS)
    return [
        (one.quantity, one.value, None if one.at_ms is None else one.at_ms / 1000 - SHIFT_S) for one in message.values
    ]


def test_5_1_1_a_single_datapoint_without_a_time_is_now() -> None:
    pack = [{"n": "urn:dev:ow:10e2073a01080063", "u": "Cel", "v": 23.1}]
    assert resolve(pack) == [(Quantity.TEMPERATURE_C, 23.1, None)]


def test_5_1_2_a_stream_of_humidity_counts_from_the_base_time() -> None:
    rest = [(10, 21.3), (20, 21.4), (30, 21.4), (40, 21.5), (50, 21.5), (60, 21.5), (70, 21.6), (80, 21.7), (90, 21.5),
            (91, 21.5), (92, 21.5)]  # fmt: skip
    base = {"bn": "urn:dev:ow:10e2073a01080063", "bt": 1.320067464e09, "bu": "%RH", "v": 21.2}
    resolved = resolve([base, *({"t": t, "v": v} for t, v in rest)])
    assert resolved == [(Quantity.RH_PCT, v, 1320067464 + t) for t, v in [(0, 21.2), *rest]]


def test_5_1_3_and_5_1_4_other_units_of_a_pack_are_left_alone_and_the_rest_resolves_as_printed() -> None:
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
        (Quantity.RH_PCT, 20.0, 1320067464),
        (Quantity.RH_PCT, 20.3, 1320067524),
        (Quantity.RH_PCT, 20.7, 1320067584),
        (Quantity.RH_PCT, 21.2, 1320067644),
    ]


def test_5_1_6_temperature_and_humidity_of_one_device_share_the_base_time() -> None:
    pack = [
        {"bn": "http://[2001:db8::2]/", "bt": 1.320078429e09, "bver": 5, "n": "temperature", "u": "Cel", "v": 27.2},
        {"n": "humidity", "u": "%RH", "v": 80},
    ]
    assert resolve(pack) == [(Quantity.TEMPERATURE_C, 27.2, 1320078429), (Quantity.RH_PCT, 80.0, 1320078429)]


def test_4_1_a_base_value_is_added_to_each_value() -> None:
    pack = [{"bv": 20, "bu": "Cel", "v": 1.5}, {"v": -0.5}]
    assert [value for _, value, _ in resolve(pack)] == [21.5, 19.5]


def test_4_5_3_small_times_are_relative_to_now() -> None:
    message = decode("workshop/rfc", b'[{"bu": "Cel", "t": -60, "v": 20}, {"t": 5, "v": 21}]', NOW_MS)
    assert [one.at_ms for one in message.values] == [NOW_MS - 60_000, NOW_MS + 5_000]


def test_4_4_a_field_that_must_be_understood_is_an_error_when_it_is_not() -> None:
    with pytest.raises(BadPayload, match="must be understood"):
        resolve([{"n": "x", "u": "Cel", "v": 1, "new_": 1}])


def test_4_4_a_later_version_is_not_used() -> None:
    with pytest.raises(BadPayload, match="version"):
        resolve([{"bver": 11, "n": "x", "u": "Cel", "v": 1}])
