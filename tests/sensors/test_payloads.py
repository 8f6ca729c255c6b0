"""Message shapes: what is read, and that nothing a stranger sends gets further than a reason."""

from __future__ import annotations

import json

import pytest

from sensors.payloads import MAX_PAYLOAD_BYTES, BadPayload, decode, decode_all
from shared.store.records import Quantity

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
    assert "does not end in what it is" in reason("71", topic)


def test_a_senml_pack_in_kelvin_is_read_in_celsius() -> None:
    assert read('[{"u": "K", "v": 293.15}]') == [("temperature_c", pytest.approx(20.0), None)]


def test_a_plain_ratio_is_not_taken_for_humidity() -> None:
    assert "without a quantity" in reason('[{"n": "tank", "u": "/", "v": 0.71}]')


def test_a_byte_order_mark_is_no_part_of_the_message() -> None:
    assert read(b'\xef\xbb\xbf{"humidity": 71}') == [("rh_pct", 71.0, None)]


# --- no value this time ----------------------------------------------------------------------------

EMPTY = ["null", "NaN", '"nan"', '"NaN"', '"unavailable"', '"Unavailable"', '"unknown"', '""', '"  "', '"--"', '"N/A"']


@pytest.mark.parametrize("empty", EMPTY)
def test_a_value_left_out_this_time_leaves_the_others(empty: str) -> None:
    assert read('{"temperature": ' + empty + ', "humidity": 71}') == [("rh_pct", 71.0, None)]


@pytest.mark.parametrize("empty", EMPTY)
def test_a_message_of_nothing_else_is_refused_with_that_reason(empty: str) -> None:
    assert reason('{"temperature": ' + empty + "}") == "temperature has no value this time"
    assert reason(empty, "workshop/shed/humidity") == "humidity has no value this time"


@pytest.mark.parametrize("empty", ["", "nan", "NaN", "unavailable", "unknown", " ", "\x00", "-"])
def test_a_bare_word_in_place_of_a_figure_is_told_apart_from_nonsense(empty: str) -> None:
    assert reason(empty, "workshop/shed/humidity") == "humidity has no value this time"
    assert reason("warm", "workshop/shed/humidity") == 'humidity is "warm", which is not a number'


# --- figures written as text -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("21.5", 21.5), ("21,5", 21.5), (" 21.5 ", 21.5), ("-3,25", -3.25), ("+4", 4.0), ("0,715", 0.715),
        ("1e1", 10.0), ("2.15E1", 21.5), (",5", 0.5), ("21,", 21.0), ("-0", 0.0), ("0021", 21.0),
    ],
)  # fmt: skip
def test_a_figure_written_as_text_is_read(written: str, value: float) -> None:
    assert read(json.dumps({"temperature": written})) == [("temperature_c", value, None)]
    assert read(written, "workshop/shed/temperature") == [("temperature_c", value, None)]


@pytest.mark.parametrize(
    "written", ["21.5.1", "1_000", "0x1F", "21 5", "\u0662\u0661", "1e999", "--1", "e5", "21.5 C", "Inf", "1e"]
)
def test_a_text_that_is_no_figure_is_refused(written: str) -> None:
    assert "which is not a" in reason(json.dumps({"temperature": written}))


def test_a_comma_that_may_part_thousands_is_not_guessed_at() -> None:
    assert "decimal comma or thousands" in reason('{"mass_g": "18,400"}')
    assert "decimal comma or thousands" in reason("-1,234", "workshop/shed/temperature")


def test_decimal_points_and_commas_in_one_message_are_ambiguous() -> None:
    assert "in one message" in reason('{"temperature": "21,5", "humidity": "71.5"}')
    assert read('{"temperature": "21,5", "humidity": "71"}') == [("temperature_c", 21.5, None), ("rh_pct", 71.0, None)]
    # A JSON number has a point by JSON's own rules; it says nothing of how the texts beside it are written.
    assert len(read('{"temperature": 21.5, "humidity": "71,5"}')) == 2


# --- the same thing said twice ---------------------------------------------------------------------


def test_celsius_and_fahrenheit_of_one_reading_are_one_value() -> None:
    assert read('{"temperature_c": 18.4, "temperature_f": 65}') == [("temperature_c", 18.4, None)]


@pytest.mark.parametrize(
    "payload",
    [
        '{"temperature": 65.1, "temperature_f": 65.1}',
        '{"temperature": 18, "temperature": 19}',
        '{"temperature": 18, "Temperature": 19}',
        '{"data": {"temperature": 18}, "state": {"temperature": 20}}',
    ],
)
def test_two_values_that_contradict_each_other_are_refused(payload: str) -> None:
    assert "is said twice" in reason(payload)


def test_a_field_that_is_nobodys_business_may_stand_twice() -> None:
    assert read('{"x": 1, "x": 2, "rh": 71, "rh": 71}') == [("rh_pct", 71.0, None)]


# --- what is no reading ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("payload", "complaint"),
    [
        ("", "neither JSON nor a number"),
        ("   ", "neither JSON nor a number"),
        ("unavailable", "neither JSON nor a number"),
        ("warm and dry", "neither JSON nor a number"),
        ("21,5", "neither JSON nor a number"),
        ('{"temperature": 18.4', "neither JSON nor a number"),
        (b"\xff\xfe\x00", "not text"),
        (b'{"temperature": 18.4, "note": "\xff"}', "not text"),
        ("nan", "neither JSON nor a number"),
        ("NaN", "a single value"),
        ('{"temperature": -Infinity}', "temperature is -Infinity, which is not a usable number"),
        ('{"temperature": 1e999}', "temperature is Infinity, which is not a usable number"),
        ('{"temperature": 1e13}', "not a usable number"),
        ('{"temperature": true}', "temperature is true, which is not a number"),
        ('{"temperature": "warm"}', 'temperature is "warm", which is not a number'),
        ('{"temperature": [18.4]}', "not a number"),
        ('{"temperature": {"value": [18.4]}}', "not a number"),
        ('{"temperature": {"mean": 18.4}}', "temperature has no value this time"),
        ('{"mass": 18.4}', "mass says no unit"),
        ('{"rain": 1.2}', "rain says no unit"),
        ('{"battery": 3.1}', "battery says no unit"),
        ('{"temperature": 1' + "0" * 4000 + "}", "not a usable number"),
        ('{"temperature": 1' + "0" * 5000 + "}", "neither JSON nor a number"),
        ("{}", "no field whose name is known"),
        ('{"cpu_temperature": 48, "moisture": 12}', "no field whose name is known"),
        ("null", "a single value"),
        ("true", "a single value"),
        ("[]", "not a SenML pack"),
        ("[1, 2]", "not a SenML pack"),
        ('[{"u": "Cel", "vs": "warm"}]', "without a quantity"),
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


@pytest.mark.parametrize(
    ("topic", "payload"),
    [("homie/dev/$state", b"ready"), ("spBv1.0/STATE/host", b"{}"), ("spBv1.0/g/NCMD/n", b"\xff")],
)
def test_what_holds_no_reading_by_design_is_no_fault_but_no_message_either(topic: str, payload: bytes) -> None:
    assert decode_all(topic, payload, NOW_MS) == []
    with pytest.raises(BadPayload):
        decode(topic, payload, NOW_MS)


def test_several_probes_in_one_message_are_several_messages_and_not_one() -> None:
    payload = b'{"inside": {"temperature": 20}, "outside": {"temperature": 5}}'
    said = {message.probe_topic: message.values[0].value for message in decode_all(TOPIC, payload, NOW_MS)}
    assert said == {"workshop/shed/inside": 20.0, "workshop/shed/outside": 5.0}
    assert "2 probes in one message" in reason(payload)
