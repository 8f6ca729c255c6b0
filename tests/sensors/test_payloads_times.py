"""Times: what a message may write, and local times across both switches of daylight saving."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensors import payload_times
from sensors.payload_times import Clock, zone_named
from sensors.payloads import BadPayload, Learned, decode, decode_all
from shared.errors import BadInput
from shared.units import MS_PER_MINUTE, datetime_from_ms, ms_from_datetime

NOW_MS = 1_795_000_000_000
TOPIC = "workshop/shed"
BERLIN = ZoneInfo("Europe/Berlin")
# The clocks of Germany in 2026: forward on 29 March at 01:00 UTC, back on 25 October at 01:00 UTC
# (Directive 2000/84/EC, 2001, articles 2 and 3, from memory: last Sundays of March and October, 1.00 a.m. GMT).
BACK_MS = ms_from_datetime(datetime(2026, 10, 25, 1, tzinfo=UTC))


def at_ms(written: float | str | None, zone: ZoneInfo | None = None, now_ms: int = NOW_MS) -> int | None:
    return decode(TOPIC, json.dumps({"rh": 71, "time": written}).encode(), now_ms, zone=zone).values[0].at_ms


def reason(written: str, zone: ZoneInfo | None = None) -> str:
    with pytest.raises(BadPayload) as caught:
        decode(TOPIC, ('{"rh": 71, "time": ' + written + "}").encode(), NOW_MS, zone=zone)
    return str(caught.value)


@pytest.mark.parametrize(
    "written",
    [
        1_795_000_000, 1_795_000_000.0, 1_795_000_000_000, 1_795_000_000_000.0, 1_795_000_000_000_000,
        1_795_000_000_000_000_000, 1.795e18, "2026-11-18T11:06:40Z", "2026-11-18T11:06:40+00:00",
        "2026-11-18T12:06:40.000+01:00", "20261118T110640Z", "2026-11-18 11:06:40Z", "1795000000", "1795000000000",
        "1795000000.0", "1795000000000000", "1795000000000000000",
    ],
)  # fmt: skip
@pytest.mark.parametrize("name", ["time", "Time", "timestamp", "ts", "at", "datetime", "last_seen"])
def test_a_time_is_told_by_its_size_or_its_form(name: str, written: float | str) -> None:
    payload = json.dumps({"humidity": 71, name: written}).encode()
    assert decode(TOPIC, payload, NOW_MS).values[0].at_ms == 1_795_000_000_000


def test_a_time_keeps_its_milliseconds() -> None:
    assert at_ms("2026-11-18T11:06:40.123Z") == 1_795_000_000_123
    assert at_ms(1795000000.123) == 1_795_000_000_123


def test_a_time_left_out_counts_as_no_time() -> None:
    assert at_ms(None) is None


def test_a_future_time_is_kept_for_the_flag_to_judge() -> None:
    assert at_ms(1895000000) == 1_895_000_000_000


@pytest.mark.parametrize(
    ("written", "complaint"),
    [
        ('"2026-11-18T11:06:40"', "names no time zone"),
        ('"yesterday"', "not an ISO 8601 time"),
        ('""', "not an ISO 8601 time"),
        ('"2026-11-18"', "names a day and no time of day"),
        ('"20261118"', "names a day and no time of day"),
        ('"17950000000"', "not an ISO 8601 time"),
        ('"' + "9" * 5000 + '"', "not an ISO 8601 time"),
        ('"2026-11-18T25:00:00Z"', "not an ISO 8601 time"),
        ("NaN", "no epoch"),
        ("Infinity", "no epoch"),
        ("{}", "neither a number nor an ISO 8601 time"),
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
    assert complaint in reason(written)


@pytest.mark.parametrize("base", ["-1e12", "-1e9", "1e12", "9.9e11"])
def test_a_senml_time_in_another_age_is_refused(base: str) -> None:
    payload = '[{"u": "Cel", "v": 1, "bt": ' + base + "}]"
    with pytest.raises(BadPayload, match="clock is not set"):
        decode(TOPIC, payload.encode(), NOW_MS)


# --- local times -----------------------------------------------------------------------------------


def local(text: str, *, now_ms: int = NOW_MS, learned: Learned | None = None, topic: str = TOPIC) -> str:
    """Return the UTC time of a local one in Germany, as HH:MM."""
    payload = json.dumps({"rh": 71, "time": text}).encode()
    (message,) = decode_all(topic, payload, now_ms, zone=BERLIN, learned=learned)
    found = message.values[0].at_ms
    assert found is not None
    return datetime_from_ms(found).strftime("%H:%M")


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2026-01-15T12:00:00", "11:00"),
        ("2026-07-15T12:00:00", "10:00"),
        ("2026-07-15 12:00:00", "10:00"),
        ("2026-03-29T01:59:00", "00:59"),
        ("2026-03-29T03:00:00", "01:00"),
        ("2026-10-25T01:59:00", "23:59"),
        ("2026-10-25T03:00:00", "02:00"),
    ],
)
def test_a_local_time_is_read_in_the_zone_of_the_yard(text: str, utc: str) -> None:
    assert local(text) == utc


@pytest.mark.parametrize("text", ["2026-03-29T02:00:00", "2026-03-29T02:30:00", "2026-03-29T02:59:59"])
def test_a_local_time_that_the_zone_skipped_is_refused_with_the_reason(text: str) -> None:
    assert "Europe/Berlin skipped: its clocks went forward" in reason(json.dumps(text), BERLIN)


def test_a_time_that_occurs_twice_is_the_first_when_nothing_tells() -> None:
    assert local("2026-10-25T02:30:00") == "00:30"


def test_it_is_the_second_when_the_topic_was_already_past_it() -> None:
    learned = Learned()
    said = [local(f"2026-10-25T02:{minute}:00", learned=learned) for minute in ("10", "30", "50", "10", "30", "50")]
    assert said == ["00:10", "00:30", "00:50", "01:10", "01:30", "01:50"]


def test_the_same_message_again_is_the_same_time_and_another_topic_is_not_touched() -> None:
    learned = Learned()
    assert [local("2026-10-25T02:30:00", learned=learned) for _ in range(2)] == ["00:30", "00:30"]
    assert local("2026-10-25T02:10:00", learned=learned, topic="workshop/loft") == "00:10"


def test_a_reading_of_another_day_says_nothing_of_this_one() -> None:
    learned = Learned()
    local("2026-11-03T12:00:00", learned=learned)
    assert local("2026-10-25T02:10:00", learned=learned) == "00:10"


@pytest.mark.parametrize(("minutes", "utc"), [(-35, "00:30"), (-28, "00:30"), (30, "01:30"), (32, "01:30")])
def test_a_message_that_comes_at_once_is_told_by_our_own_clock(minutes: int, utc: str) -> None:
    """So an hourly probe's second 02:30 is not taken for its first, and a restart forgets nothing."""
    learned = Learned()
    assert local("2026-10-25T02:30:00", now_ms=BACK_MS - 30 * MS_PER_MINUTE, learned=learned) == "00:30"
    assert local("2026-10-25T02:30:00", now_ms=BACK_MS + minutes * MS_PER_MINUTE, learned=learned) == utc


def test_two_figures_at_one_doubtful_time_are_one_time() -> None:
    payload = b'{"Time": "2026-10-25T02:30:00", "A": {"Temperature": 8, "Humidity": 90}, "B": {"Temperature": 9}}'
    said = decode_all(TOPIC, payload, NOW_MS, zone=BERLIN, learned=Learned())
    assert len({value.at_ms for message in said for value in message.values}) == 1


def test_a_zone_with_a_step_of_half_an_hour_is_read_too() -> None:
    """Lord Howe Island: back by half an hour on 5 April 2026 at 02:00 (tz database, from memory)."""
    zone = ZoneInfo("Australia/Lord_Howe")
    assert at_ms("2026-04-05T01:45:00", zone) == ms_from_datetime(datetime(2026, 4, 4, 14, 45, tzinfo=UTC))
    assert at_ms("2026-04-05T01:15:00", zone) == ms_from_datetime(datetime(2026, 4, 4, 14, 15, tzinfo=UTC))


@settings(max_examples=200, deadline=None)
@given(
    moment=st.datetimes(datetime(2015, 1, 2), datetime(2040, 1, 1)),  # noqa: DTZ001 - given a zone below
    zone=st.sampled_from(["Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "Asia/Kathmandu", "UTC"]),
)
def test_whatever_local_time_a_probe_shows_live_comes_back_as_it_was(moment: datetime, zone: str) -> None:
    true = moment.replace(microsecond=0, tzinfo=UTC)
    shown = true.astimezone(ZoneInfo(zone)).replace(tzinfo=None).isoformat()
    now_ms = ms_from_datetime(true)
    assert Clock(now_ms, ZoneInfo(zone)).ms(shown) == now_ms


def test_the_machines_own_zone_and_named_ones_are_found(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    assert str(zone_named("Europe/Berlin")) == "Europe/Berlin"
    monkeypatch.setenv("TZ", "America/New_York")
    assert str(zone_named("")) == "America/New_York"
    monkeypatch.delenv("TZ")
    monkeypatch.setattr(payload_times, "LOCALTIME", tmp_path / "localtime")
    with pytest.raises(BadInput, match="does not tell its own"):
        zone_named("")
    folder = tmp_path / "zoneinfo" / "Asia"
    folder.mkdir(parents=True)
    (folder / "Tokyo").write_bytes(b"")
    (tmp_path / "localtime").symlink_to(folder / "Tokyo")
    assert str(zone_named("")) == "Asia/Tokyo"


@pytest.mark.parametrize("name", ["Europe/Nowhere", "../etc/passwd", "/etc/passwd", "a" * 300, "\x00"])
def test_a_zone_that_nobody_knows_is_refused(name: str) -> None:
    with pytest.raises(BadInput, match="setting local_zone"):
        zone_named(name)
