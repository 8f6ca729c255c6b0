"""Message shapes: what is read, and that nothing a stranger sends gets further than a reason."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensors.payloads import LATEST_MS, MAX_PAYLOAD_BYTES, BadPayload, decode
from shared.store.records import Quantity
from shared.units import datetime_from_ms

NOW_MS = 1_795_000_000_000
TOPIC = "workshop/shed"


def read(payload: str | bytes, topic: str = TOPIC) -> list[tuple[str, float, int | None]]:
    raw = payload.encode() if isinstance(payload, str) else payload
    return [(one.quantity.value, one.value, one.at_ms) for one in decode(topic, raw, NOW_MS).values]


def reason(payload: str | bytes, topic: str = TOPIC) -> str:
    with pytest.raises(BadPayload) as caught:
        read(payload, topic)
    return str(caught.value)


# --- shapes ----------------------------------------------------------------------------------------


def test_a_flat_object_gives_both_quantities_without_a_time() -> None:
    assert read('{"temperature": 18.4, "humidity": 71}') == [("temperature_c", 18.4, None), ("rh_pct", 71.0, None)]


@pytest.mark.parametrize("name", ["temperature", "Temperature", "temp", "temp_c", "temperature_c"])
def test_celsius_goes_by_several_names(name: str) -> None:
    assert read(json.dumps({name: 18.4})) == [("temperature_c", 18.4, None)]


@pytest.mark.parametrize("name", ["humidity", "RH", "rh_pct", "relative_humidity", "humidity_pct"])
def test_humidity_goes_by_several_names(name: str) -> None:
    assert read(json.dumps({name: 71})) == [("rh_pct", 71.0, None)]


def test_a_field_named_fahrenheit_is_converted() -> None:
    assert read('{"temperature_f": 212}') == [("temperature_c", pytest.approx(100.0), None)]


def test_fields_of_the_device_and_values_left_out_are_passed_over() -> None:
    payload = '{"battery": 3.1, "linkquality": "weak", "humidity": null, "temperature": 18.4}'
    assert read(payload) == [("temperature_c", 18.4, None)]


def test_a_number_alone_takes_its_quantity_from_the_topic_and_belongs_to_the_topic_above() -> None:
    message = decode("workshop/shed/humidity", b" 71.5\n", NOW_MS)
    assert message.probe_topic == "workshop/shed"
    assert [(one.quantity, one.value, one.at_ms) for one in message.values] == [(Quantity.RH_PCT, 71.5, None)]


@pytest.mark.parametrize("topic", ["workshop/shed", "humidity", "/humidity", ""])
def test_a_number_alone_elsewhere_is_not_guessed_at(topic: str) -> None:
    assert "does not end in temperature or humidity" in reason("71", topic)


def test_a_senml_pack_in_kelvin_is_read_in_celsius() -> None:
    assert read('[{"u": "K", "v": 293.15}]') == [("temperature_c", pytest.approx(20.0), None)]


def test_a_plain_ratio_is_not_taken_for_humidity() -> None:
    assert "without a temperature" in reason('[{"n": "tank", "u": "/", "v": 0.71}]')


def test_a_byte_order_mark_is_no_part_of_the_message() -> None:
    assert read(b'\xef\xbb\xbf{"humidity": 71}') == [("rh_pct", 71.0, None)]


# --- times -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "written",
    [
        1_795_000_000, 1_795_000_000.0, 1_795_000_000_000, 1_795_000_000_000.0, 1_795_000_000_000_000,
        1_795_000_000_000_000_000, 1.795e18, "2026-11-18T11:06:40Z", "2026-11-18T11:06:40+00:00",
        "2026-11-18T12:06:40.000+01:00", "20261118T110640Z",
    ],
)  # fmt: skip
@pytest.mark.parametrize("name", ["time", "timestamp", "ts", "at"])
def test_a_time_is_told_by_its_size_or_its_form(name: str, written: float | str) -> None:
    assert read(json.dumps({"humidity": 71, name: written})) == [("rh_pct", 71.0, 1_795_000_000_000)]


def test_a_time_keeps_its_milliseconds() -> None:
    assert read('{"rh": 71, "time": "2026-11-18T11:06:40.123Z"}')[0][2] == 1_795_000_000_123
    assert read('{"rh": 71, "ts": 1795000000.123}')[0][2] == 1_795_000_000_123


def test_a_time_left_out_counts_as_no_time() -> None:
    assert read('{"rh": 71, "time": null}') == [("rh_pct", 71.0, None)]


def test_a_future_time_is_kept_for_the_flag_to_judge() -> None:
    assert read('{"rh": 71, "ts": 1895000000}')[0][2] == 1_895_000_000_000


@pytest.mark.parametrize(
    ("written", "complaint"),
    [
        ('"2026-11-18T11:06:40"', "names no time zone"),
        ('"yesterday"', "not an ISO 8601 time"),
        ('""', "not an ISO 8601 time"),
        ("true", "neither a number nor an ISO 8601 time"),
        ("[1795000000]", "neither a number nor an ISO 8601 time"),
        ("0", "before 2015"),
        ("-5", "before 2015"),
        ("1400000000", "before 2015"),
        ('"1970-01-01T00:00:07Z"', "before 2015"),
        ('"0001-01-01T00:00:00+14:00"', "before 2015"),
        ('"9999-12-31T23:59:59-14:00"', "after the year 5000"),
        ("1e30", "no epoch in s, ms, µs or ns"),
        ("1e999", "no epoch in s, ms, µs or ns"),
        ("1" + "0" * 4000, "no epoch in s, ms, µs or ns"),
    ],
)
def test_a_time_that_cannot_be_one_is_refused_with_its_reason(written: str, complaint: str) -> None:
    assert complaint in reason('{"rh": 71, "time": ' + written + "}")


@pytest.mark.parametrize("base", ["-1e12", "-1e9", "1e12", "9.9e11"])
def test_a_senml_time_in_another_age_is_refused(base: str) -> None:
    assert "clock is not set" in reason('[{"u": "Cel", "v": 1, "bt": ' + base + "}]")


# --- what is no reading ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("payload", "complaint"),
    [
        ("", "neither JSON nor a number"),
        ("   ", "neither JSON nor a number"),
        ("unavailable", "neither JSON nor a number"),
        ("21,5", "neither JSON nor a number"),
        ('{"temperature": 18.4', "neither JSON nor a number"),
        (b"\xff\xfe\x00", "not text"),
        (b'{"temperature": 18.4, "note": "\xff"}', "not text"),
        ("nan", "neither JSON nor a number"),
        ("NaN", "which is not a number"),
        ('{"temperature": NaN}', "value is NaN"),
        ('{"temperature": -Infinity}', "value is -Infinity"),
        ('{"temperature": 1e999}', "temperature is Infinity, which is not a usable number"),
        ('{"temperature": 1e13}', "not a usable number"),
        ('{"temperature": true}', "temperature is true, which is not a number"),
        ('{"temperature": "18.4"}', 'temperature is "18.4", which is not a number'),
        ('{"temperature": [18.4]}', "not a number"),
        ('{"temperature": {"value": 18.4}}', "not a number"),
        ('{"temperature": 1' + "0" * 4000 + "}", "not a usable number"),
        ('{"temperature": 1' + "0" * 5000 + "}", "neither JSON nor a number"),
        ("{}", "no field called temperature or humidity"),
        ('{"temperature": null}', "no field called temperature or humidity"),
        ("null", "a single value"),
        ("true", "a single value"),
        ("[]", "without a temperature"),
        ("[1, 2]", "not a SenML pack"),
        ('[{"u": "Cel", "vs": "warm"}]', "without a temperature"),
        ('[{"u": "Cel", "v": 18.4, "bver": 11}]', "version after 10"),
        ('[{"u": "Cel", "v": 18.4, "must_": 1}]', "must be understood and is not"),
        ('[{"u": "Cel", "v": 18.4, "bt": "now"}]', "bt is"),
        ('[{"u": "Cel", "v": true}]', "v is true"),
    ],
)
def test_a_message_without_a_reading_is_refused_with_its_reason(payload: str | bytes, complaint: str) -> None:
    assert complaint in reason(payload)


@pytest.mark.parametrize("depth", [10, 900, *range(960, 1000), 4000, 8000])
@pytest.mark.parametrize("around", ['{"temperature": %s}', '[{"u": %s, "v": 1}]', '[{"bu": %s, "v": 1}]', "%s"])
def test_any_depth_of_nesting_is_refused_and_survived(depth: int, around: str) -> None:
    assert reason(around % ("[" * depth + "]" * depth))


def test_a_hundred_thousand_brackets_are_refused_by_their_size() -> None:
    assert f"at most {MAX_PAYLOAD_BYTES}" in reason("[" * 100_000)


def test_half_a_surrogate_pair_comes_out_as_text_that_a_store_takes() -> None:
    for payload in ('{"temperature": "\\ud800"}', '{"rh": 1, "time": "\\udfff"}', '[{"\\ud800_": 1}]'):
        reason(payload).encode("utf-8")


def test_a_reason_stays_short_whatever_was_sent() -> None:
    assert len(reason(json.dumps({"temperature": "x" * 10_000}))) < 120
    assert len(reason(json.dumps([{"x" * 10_000 + "_": 1}]))) < 120


# --- anything at all -------------------------------------------------------------------------------

names = st.sampled_from(
    ["temperature", "humidity", "rh", "temp_f", "time", "ts", "u", "v", "t", "n", "bn", "bt", "bu", "bv", "bver", "x_"]
)
leaves = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=8),
    st.sampled_from(["Cel", "K", "%RH", "/"]),
    st.integers(-(10**40), 10**40), st.floats(1e8, 2e9), st.datetimes().map(lambda moment: moment.isoformat() + "Z"),
)  # fmt: skip
structures = st.recursive(
    leaves, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(names, inner, max_size=5), max_leaves=12
)
topics = st.sampled_from(["workshop/a/temperature", "workshop/a/humidity", "workshop/a", "", "/"])


def assert_decoded_or_refused(topic: str, payload: bytes) -> None:
    try:
        message = decode(topic, payload, NOW_MS)
    except BadPayload as error:
        assert str(error).encode("utf-8")
        return
    assert message.values
    for one in message.values:
        assert isinstance(one.quantity, Quantity)
        assert math.isfinite(one.value)
        assert one.at_ms is None or (isinstance(one.at_ms, int) and one.at_ms <= LATEST_MS)
        assert one.at_ms is None or datetime_from_ms(one.at_ms).year >= 2015


@settings(max_examples=400, deadline=None)
@given(topic=topics, payload=st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(topic: str, payload: bytes) -> None:
    assert_decoded_or_refused(topic, payload)


@settings(max_examples=600, deadline=None)
@given(topic=topics, content=structures)
def test_any_json_is_read_or_refused(topic: str, content: Any) -> None:
    assert_decoded_or_refused(topic, json.dumps(content).encode("utf-8"))


@settings(max_examples=300, deadline=None)
@given(records=st.lists(st.dictionaries(names, leaves, max_size=6), max_size=4))
def test_any_list_of_records_is_read_or_refused(records: list[dict[str, Any]]) -> None:
    assert_decoded_or_refused("workshop/a", json.dumps(records).encode("utf-8"))
