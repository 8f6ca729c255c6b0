"""Replay through a real broker and the real recorder: all stored, once; a second run sends what is missing."""

from __future__ import annotations

import json
import threading
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from sensors import broker as brokers
from sensors import payloads
from sensors.demo_air import NO_FAULTS, PROBES, Faults, demo_faults, probe_readings
from sensors.quality import limits
from sensors.recorder import Recorder
from sensors.replay import Outgoing, Sender, history_times, last_stored, live, messages, plausible_next, read_log
from shared.errors import BadInput, Refused
from shared.settings import Settings
from shared.store import Store, readings
from shared.store.records import AIR, Quality, Quantity
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE, ms_from_datetime

NOW_MS = ms_from_datetime(datetime(2026, 4, 20, 9, 17, 31, tzinfo=UTC))
SHORT = {"months": 0.05, "fine_days": 0.2}  # a day and a half: a few hundred messages
FAULTS = Faults({"yard-south": NOW_MS - 12 * MS_PER_HOUR}, {"shed-high": ((NOW_MS - 6 * MS_PER_HOUR, None),)})
FINE_MS = 10 * MS_PER_MINUTE


class Logger:
    """A broker, a store, and the recorder between them in a thread."""

    def __init__(self, folder: Path, embedded: bool):
        self.broker = brokers.start(folder / "broker", embedded=embedded)
        self.store = Store(folder / "store.sqlite3")
        self.store.create_or_upgrade()
        self.recorder = Recorder(Settings(broker_port=self.broker.port_v5), self.store)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self.recorder.run, args=(self._stop.is_set,), daemon=True)
        self._thread.start()
        self._wait_until_it_records()

    def _wait_until_it_records(self) -> None:
        deadline_s = time.monotonic() + 30
        while self.recorder.rejected == 0 and time.monotonic() < deadline_s:
            self.sender().send([Outgoing("workshop/none", "not a reading", 0)])
            time.sleep(0.1)
        assert self.recorder.rejected

    def sender(self, **more) -> Sender:
        return Sender("127.0.0.1", self.broker.port, **more)

    def settled(self, wanted: int) -> int:
        deadline_s = time.monotonic() + 60
        while self.recorder.stored < wanted and time.monotonic() < deadline_s:
            time.sleep(0.05)
        self.sender().send([])
        time.sleep(0.6)  # a commit later: anything too many would be in by now
        return self.recorder.stored

    def stop(self) -> None:
        self._stop.set()
        self._thread.join(20)
        self.broker.stop()
        self.store.close()


@pytest.fixture(params=[False, True], ids=["broker", "embedded"])
def logger(request, tmp_path):
    made = Logger(tmp_path, request.param)
    yield made
    made.stop()


def test_a_history_is_stored_exactly_once_and_a_second_run_sends_what_is_missing(logger):
    first = messages(NOW_MS, faults=FAULTS, **SHORT)
    told: list[int] = []
    sent = logger.sender(stored=lambda: logger.recorder.stored, ahead=200, progress=told.append).send(first)
    assert sent == first.readings == 2 * len(first)
    assert len(first) > 300
    assert told == sorted(told) and told[-1] == sent
    assert logger.settled(sent) == sent
    with logger.store.reading() as connection:
        assert readings.count(connection) == sent
        since_ms = last_stored(connection)
    assert set(since_ms) == {probe.code for probe in PROBES}
    again = messages(NOW_MS, since_ms, FAULTS, **SHORT)
    assert len(again) == 0 and logger.sender().send(again) == 0
    later = messages(NOW_MS + MS_PER_HOUR, since_ms, FAULTS, **SHORT)
    assert len(later) == 7 * 6  # yard-south is silent
    logger.sender().send(later)
    assert logger.settled(sent + later.readings) == sent + later.readings
    with logger.store.reading() as connection:
        assert readings.count_conflicts(connection) == 0


def test_what_a_stuck_probe_said_last_is_not_sent_again(logger):
    still = Faults(stuck_ms={"shed-high": ((NOW_MS - 40 * MS_PER_DAY, None),)})
    span = {"months": 0.2, "fine_days": 0.2}  # six days of one figure: the newer ones are stored, but flagged
    probe = tuple(probe for probe in PROBES if probe.code == "shed-high")
    history = messages(NOW_MS, faults=still, probes=probe, **span)
    logger.sender().send(history)
    assert logger.settled(history.readings) == history.readings
    with logger.store.reading() as connection:
        flags = {readings.latest(connection, series.id).quality for series in readings.all_series(connection)}
        since_ms = last_stored(connection, probe)
    assert flags == {Quality.STUCK}
    assert len(messages(NOW_MS, since_ms, still, probes=probe, **span)) == 0


def test_sending_the_same_again_adds_nothing_and_contradicts_nothing(logger):
    history = messages(NOW_MS, faults=FAULTS, **SHORT)
    for _ in range(2):
        logger.sender().send(history)
    assert logger.settled(history.readings) == history.readings
    with logger.store.reading() as connection:
        assert readings.count(connection) == history.readings
        assert readings.count_conflicts(connection) == 0


def test_the_sender_stays_near_the_store(logger):
    furthest = 0
    history = messages(NOW_MS, **SHORT)

    def watched():
        nonlocal furthest
        for number, one in enumerate(history):
            # Drawn when all before it are published.
            furthest = max(furthest, 2 * number - logger.recorder.stored)
            yield one

    sent = logger.sender(stored=lambda: logger.recorder.stored, ahead=60).send(watched())
    assert sent == history.readings
    assert furthest <= 60


def test_live_messages_reach_the_probes_that_the_history_made(logger):
    now_ms = time.time_ns() // 1_000_000
    faults = demo_faults(now_ms)
    history = messages(now_ms, faults=faults, months=0.01, fine_days=0)
    logger.sender().send(history)
    logger.sender().send(live(now_ms, faults))
    wanted = history.readings + 14
    assert logger.settled(wanted) == wanted
    with logger.store.reading() as connection:
        assert len(readings.all_series(connection)) == 14
        assert not [one for one in readings.recent_rejects(connection, 9) if one.topic != "workshop/none"]


def test_a_sample_log_can_be_sent(logger, tmp_path):
    whole = Path(__file__).parents[2] / "sample_logs" / "shed-low.csv"
    part = tmp_path / "part.csv"
    part.write_text("\n".join(whole.read_text(encoding="utf-8").splitlines()[:205]) + "\n", encoding="utf-8")
    sent = logger.sender().send(read_log(part))
    assert sent == 400
    assert logger.settled(sent) == sent
    with logger.store.reading() as connection:
        assert set(last_stored(connection)) == {"shed-low"}


def test_what_a_person_is_told_to_send_is_believed_whatever_the_probe_says_next():
    probe = next(probe for probe in PROBES if probe.code == "loft-beam")
    for day in range(0, 365, 7):
        at_ms = NOW_MS + day * MS_PER_DAY
        told = plausible_next(at_ms)
        said = json.loads(told.payload)
        usual = probe_readings(probe, np.array([at_ms], dtype=np.int64))
        assert told.topic == probe.topic
        away_c, away_pct = said["temperature"] - usual.temperature_c[0], usual.rh_pct[0] - said["humidity"]
        assert 0.5 < away_c < limits()[Quantity.TEMPERATURE_C].jumps.per_minute
        assert 0.5 < away_pct < limits()[Quantity.RH_PCT].jumps.per_minute


def test_without_a_broker_the_sender_says_so():
    port = brokers.free_port()
    with pytest.raises(Refused, match=f"no broker at 127.0.0.1:{port}"):
        Sender("127.0.0.1", port).send([])


def test_a_broker_that_goes_away_is_not_waited_for_for_ever(tmp_path):
    broker = brokers.start(tmp_path)

    def one_then_gone():
        yield Outgoing("workshop/a", "{}", 0)
        broker.stop()
        yield Outgoing("workshop/a", "{}", 0)

    with pytest.raises(Refused, match="acknowledged nothing for 1 s"):
        Sender("127.0.0.1", broker.port, patience_s=1).send(one_then_gone())


def test_a_recorder_that_stores_nothing_is_not_outrun(tmp_path):
    broker = brokers.start(tmp_path)
    told: list[int] = []
    sender = Sender("127.0.0.1", broker.port, stored=lambda: 7, ahead=20, patience_s=0.5, progress=told.append)
    try:
        with pytest.raises(Refused, match="recorder has stored nothing"):
            sender.send(messages(NOW_MS, **SHORT))
    finally:
        broker.stop()
    assert max(told) <= 20


def test_history_times_are_hours_then_tens_of_minutes_and_repeat_later():
    times = history_times(NOW_MS)
    steps = np.diff(times)
    assert set(steps) == {MS_PER_HOUR, FINE_MS}
    assert np.all(steps[:-1] >= steps[1:])
    assert not np.any(times % FINE_MS)
    assert NOW_MS - FINE_MS < times[-1] <= NOW_MS
    assert 425 < (NOW_MS - times[0]) / MS_PER_DAY < 428
    assert 14 <= (NOW_MS - times[np.argmax(steps == FINE_MS)]) / MS_PER_DAY < 14.05
    later = history_times(NOW_MS + 3 * MS_PER_DAY)
    hourly = times[(times % MS_PER_HOUR == 0) & (times >= later[0])]
    assert np.all(np.isin(hourly, later))


def test_messages_are_merged_in_time_order_and_carry_their_time():
    history = messages(NOW_MS, **SHORT)
    seen = []
    for one in history:
        said = payloads.decode(one.topic, one.payload.encode(), NOW_MS)
        assert {value.quantity for value in said.values} == set(AIR)
        seen.append((said.values[0].at_ms, said.probe_topic))
        assert json.loads(one.payload)["time"].endswith("Z")
    assert [at_ms for at_ms, _ in seen] == sorted(at_ms for at_ms, _ in seen)
    assert len(set(seen)) == len(seen) == len(history)
    assert {topic for _, topic in seen} == {probe.topic for probe in PROBES}


def test_live_shapes_are_mixed_timeless_and_always_the_same_for_a_probe():
    shapes = [{one.topic: one.payload[0] in "{[" and one.payload[0] for one in live(at)} for at in (NOW_MS, NOW_MS + 7)]
    assert shapes[0] == shapes[1]
    assert set(shapes[0].values()) == {"{", "[", False}
    found: dict[str, set[Quantity]] = {}
    for one in live(NOW_MS, NO_FAULTS):
        said = payloads.decode(one.topic, one.payload.encode(), NOW_MS)
        assert all(value.at_ms is None for value in said.values)
        assert len(said.values) == one.readings
        found.setdefault(said.probe_topic, set()).update(value.quantity for value in said.values)
    assert found == {probe.topic: set(AIR) for probe in PROBES}


def test_a_silent_probe_is_not_heard_live():
    topics = {one.topic for one in live(NOW_MS, demo_faults(NOW_MS))}
    assert "workshop/yard/yard-south" not in topics and "workshop/yard/yard-north" in topics


HEAD = "# topic: workshop/a/b\ntime,temperature_c,rh_pct\n"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("time,temperature_c,rh_pct\n", "topic in log.csv"),
        ("# topic: workshop/a/b\nwhen,t,rh\n", "column names in log.csv"),
        (HEAD + "2026-04-20T00:00:00Z,7.2\n", "line 3 of log.csv"),
        (HEAD + "2026-04-20T00:00:00Z,7.2,80\n2026-04-20T00:10:00Z,seven,80\n", "line 4 of log.csv"),
        (HEAD + "2026-04-20T00:00:00Z,nan,80\n", "line 3 of log.csv"),
        (HEAD + "2026-04-20T00:00:00Z,7.2,80,1\n", "line 3 of log.csv"),
    ],
)
def test_a_log_that_is_none_is_refused_naming_the_line(tmp_path, text, said):
    path = tmp_path / "log.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadInput, match=said):
        list(read_log(path))


def test_a_log_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(Refused, match="cannot be read"):
        list(read_log(tmp_path / "none.csv"))
