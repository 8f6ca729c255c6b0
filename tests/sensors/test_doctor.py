"""The doctor: each way of losing readings is found, told in one sentence, with one remedy."""

from __future__ import annotations

import shutil
import socket
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from sensors import doctor, doctor_broker
from sensors.broker import Broker, free_port
from sensors.doctor import Finding, Level
from sensors.recorder import Recorder
from shared.settings import Settings
from shared.store import Store, condition, facts, outbox, readings
from shared.store.records import NewReading, Quality, Quantity, RecorderState, SubjectKind, TimeSource
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE

NOW_MS = 1_795_600_800_000
Start = Callable[..., Broker]
SILENT = RecorderState(NOW_MS - 5000, 1, True, "127.0.0.1:1883", True, 3, 10, 0, 0, "connected")


@pytest.fixture
def yard(store: Store) -> Store:
    """A probe that has said temperature and humidity each minute for two days, and a recorder that runs."""
    with store.writing() as connection:
        probe = facts.add_subject(connection, SubjectKind.PROBE, "north")
        times = range(NOW_MS - 2 * MS_PER_DAY, NOW_MS, MS_PER_MINUTE)
        for quantity in (Quantity.TEMPERATURE_C, Quantity.RH_PCT):
            series = readings.series_of(connection, probe.id, quantity)
            rows = [NewReading(series, at, 20.0, Quality.GOOD, TimeSource.PAYLOAD) for at in times]
            readings.append(connection, rows, NOW_MS)
        readings.set_recorder_state(connection, SILENT)
    return store


@pytest.fixture
def no_broker(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave the broker out of it."""
    monkeypatch.setattr(doctor_broker, "examine_broker", lambda *_: [])


def worrying(found: list[Finding]) -> list[Finding]:
    return [one for one in found if one.level is not Level.FINE]


def look(store: Store, now_ms: int = NOW_MS, folder: Path = Path("/nowhere")) -> list[Finding]:
    """Everything that gives rise to worry, but for the queue, of which nothing is known here."""
    found = worrying(doctor.examine(Settings(), store, now_ms, folder))
    return [one for one in found if "a recorder that is away is not known" not in one.sentence]


def say_of_recorder(store: Store, **others: object) -> None:
    with store.writing() as connection:
        readings.set_recorder_state(connection, replace(SILENT, **others))  # type: ignore[arg-type]


# --- all together ----------------------------------------------------------------------------------


def test_a_yard_on_a_real_broker_gives_no_rise_to_worry(
    yard: Store,
    tmp_path: Path,
    start_broker: Start,
    settings_for: Callable[..., Settings],
    connected: Callable[[Recorder], None],
) -> None:
    broker = start_broker()
    settings = settings_for(broker)
    recorder = Recorder(settings, yard, lambda: NOW_MS)
    connected(recorder)
    found = doctor.examine(settings, yard, NOW_MS, tmp_path, tmp_path / "mosquitto" / "mosquitto.conf")
    sentences = [one.sentence for one in found]
    assert [one.level for one in worrying(found)] == [Level.WRONG]  # the private broker lets in whoever comes
    assert "allow_anonymous true" in worrying(found)[0].sentence
    for told in ("can be written", "enough for about 100 years at 2,8", "The recorder runs, is connected"):
        assert any(told in one for one in sentences), told
    for told in ("speaks MQTT 5 with us, without TLS", "(QoS 1)", "keeps our session", "no retained messages"):
        assert any(told in one for one in sentences), told
    assert any("at least 69 days, then each is dropped" in one for one in sentences)
    for one in found:
        assert one.sentence[0].isupper() and one.sentence.endswith(".") and "\n" not in one.sentence
        assert bool(one.remedy) == (one.level is not Level.FINE)


def test_the_doctor_leaves_no_session_and_does_not_disturb_the_recorder_s(
    start_broker: Start, settings_for: Callable[..., Settings]
) -> None:
    settings = settings_for(start_broker())
    assert not worrying(doctor_broker.examine_broker(settings))
    call = doctor_broker._Call(settings, Path(), fresh=False, session_s=0)
    call.leave()
    assert call.let_in and not call.present


# --- store, machine, recorder ----------------------------------------------------------------------


@pytest.mark.usefixtures("no_broker")
def test_a_yard_in_order_has_nothing_wrong(yard: Store) -> None:
    assert look(yard) == []


@pytest.mark.usefixtures("no_broker")
def test_without_a_file_the_broker_s_defaults_are_worked_out_for_this_yard(yard: Store) -> None:
    (found,) = [one for one in doctor.examine(Settings(), yard, NOW_MS) if one.level is Level.CARE]
    # 1,000 messages at two series a minute: 1,000 / 2,880 of a day = 8.3 hours.
    assert "a queue of 1,000 messages" in found.sentence and "every 30 minutes" in found.sentence
    assert "would hold 8 hours of this yard's 2,8" in found.sentence and "--broker-config" in found.remedy


@pytest.mark.usefixtures("no_broker")
def test_a_store_that_is_not_there_or_is_newer_is_a_finding(yard: Store, tmp_path: Path) -> None:
    (found,) = look(Store(tmp_path / "none.sqlite3"))
    assert found.level is Level.WRONG and "There is no store at" in found.sentence
    with closing(sqlite3.connect(yard.path)) as raw, raw:
        raw.execute("UPDATE alembic_version SET version_num = '9999'")
    (found,) = look(yard)
    assert found.level is Level.WRONG and "written by a newer Benchdry (schema 9999)" in found.sentence


@pytest.mark.usefixtures("no_broker")
def test_a_store_that_cannot_be_written_is_a_finding(yard: Store) -> None:
    impatient = Store(yard.path)
    with closing(sqlite3.connect(yard.path, isolation_level=None)) as other, pytest.MonkeyPatch.context() as patch:
        patch.setattr("shared.store.engine.BUSY_TIMEOUT_MS", 50)
        impatient = Store(yard.path)
        other.execute("BEGIN IMMEDIATE")
        (found,) = look(impatient)
    assert found.level is Level.WRONG and "cannot be written: database is locked" in found.sentence


@pytest.mark.usefixtures("no_broker")
@pytest.mark.parametrize(("free", "level"), [(150_000_000, Level.WRONG), (800_000_000, Level.CARE)])
def test_a_disk_that_is_filling_is_a_finding(
    free: int, level: Level, yard: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(shutil, "disk_usage", lambda _path: SimpleNamespace(free=free))
    (found,) = look(yard)
    assert found.level is level and f"There are {free / 1e6:.1f} MB free" in found.sentence
    assert "keep_raw_days" in found.remedy


@pytest.mark.usefixtures("no_broker")
def test_a_log_that_does_not_shrink_is_a_finding(yard: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(condition, "log_bytes", lambda _store: 400_000_000)
    (found,) = look(yard)
    assert found.level is Level.CARE and "write-ahead log holds 400.0 MB" in found.sentence


@pytest.mark.usefixtures("no_broker")
def test_a_clock_that_was_set_back_is_told_from_probes_that_are_ahead(yard: Store) -> None:
    found = look(yard, NOW_MS - MS_PER_HOUR)
    assert [one.level for one in found] == [Level.WRONG]
    assert "clock stands 60 minutes before the newest reading came in" in found[0].sentence
    found = look(yard, 1_000_000_000_000)
    assert any("This machine's clock says 2001-09-09" in one.sentence for one in found)
    with yard.writing() as connection:
        ahead = NewReading(1, NOW_MS + MS_PER_DAY, 20.0, Quality.CLOCK_AHEAD, TimeSource.PAYLOAD)
        readings.append(connection, [ahead], NOW_MS)
    (one,) = look(yard)
    assert one.level is Level.CARE and "1 of 2 series hold readings stamped later than now" in one.sentence
    with yard.writing() as connection:
        readings.append(connection, [ahead._replace(series_id=2)], NOW_MS)
    (one,) = look(yard)
    assert one.level is Level.WRONG and "Every probe stamps its readings later" in one.sentence


@pytest.mark.usefixtures("no_broker")
@pytest.mark.parametrize(
    ("state", "level", "told"),
    [
        ({"beat_ms": NOW_MS - 7 * MS_PER_HOUR}, Level.WRONG, "has not been heard for 7 hours"),
        ({"beat_ms": NOW_MS - 90_000, "note": "stopped"}, Level.CARE, "was ended 2 minutes ago"),
        (
            {"connected": False, "note": "no broker at x:1; trying again"},
            Level.WRONG,
            "not connected: no broker at x:1",
        ),
    ],
)
def test_a_recorder_that_does_not_record_is_a_finding(
    state: dict[str, object], level: Level, told: str, yard: Store
) -> None:
    say_of_recorder(yard, **state)
    (found,) = look(yard)
    assert found.level is level and told in found.sentence and found.remedy


@pytest.mark.usefixtures("no_broker")
def test_a_store_without_a_recorder_says_so(store: Store) -> None:
    (found,) = look(store)
    assert found == Finding(Level.CARE, "No recorder has written to this store yet.", found.remedy)


@pytest.mark.usefixtures("no_broker")
@pytest.mark.parametrize(("mode", "worries"), [(0o600, 0), (0o644, 1)])
def test_a_password_in_a_settings_file_that_others_can_read_is_a_finding(
    mode: int, worries: int, yard: Store, tmp_path: Path
) -> None:
    file = tmp_path / "benchdry.toml"
    file.write_text('broker_password = "hornbeam"\n', encoding="utf-8")
    file.chmod(mode)
    found = look(yard, folder=tmp_path)
    assert len(found) == worries and all(one.remedy == f"chmod 600 {file}" for one in found)
    assert not any("hornbeam" in str(one) for one in found)


# --- the broker ------------------------------------------------------------------------------------


@dataclass
class Answers:
    """What a made-up broker answers, in bytes (MQTT 5, OASIS 2019, sections 3.2 and 3.9)."""

    connack: list[bytes] = field(default_factory=lambda: [b"\x20\x03\x00\x00\x00"])
    granted: int = 1
    asked: list[bytes] = field(default_factory=list)

    def serve(self, taken: socket.socket) -> None:
        while packet := taken.recv(4096):
            self.asked.append(packet)
            kind = packet[0] & 0xF0
            if kind == 0x10:
                taken.sendall(self.connack.pop(0) if len(self.connack) > 1 else self.connack[0])
            elif kind == 0x80:
                taken.sendall(b"\x90\x04" + packet[2:4] + b"\x00" + bytes([self.granted]))
            elif kind == 0xE0:
                return


@contextmanager
def made_up(answers: Answers) -> Iterator[Settings]:
    with socket.create_server(("127.0.0.1", 0)) as listening:
        ended = threading.Event()

        def take_each() -> None:
            with suppress(OSError):
                while not ended.is_set():
                    taken, _ = listening.accept()
                    with taken:
                        answers.serve(taken)

        threading.Thread(target=take_each, daemon=True).start()
        yield replace(Settings(), broker_port=listening.getsockname()[1])
        ended.set()


def test_a_broker_that_is_not_there_is_a_finding() -> None:
    port = free_port()
    (found,) = doctor_broker.examine_broker(replace(Settings(), broker_port=port))
    assert found.sentence == f"There is no broker at 127.0.0.1:{port} (Connection refused)."
    assert found.level is Level.WRONG and "broker_host" in found.remedy


def test_a_broker_of_the_older_protocol_alone_is_a_finding() -> None:
    # MQTT 3.1.1 (OASIS, 2014), 3.2.2.3: return code 1, unacceptable protocol version.
    with made_up(Answers([b"\x20\x02\x00\x01"])) as settings:
        (found,) = doctor_broker.examine_broker(settings)
    assert found.level is Level.WRONG and "does not speak MQTT 5" in found.sentence


def test_something_else_on_the_port_is_a_finding(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(doctor_broker, "ANSWER_WITHIN_S", 0.3)
    with made_up(Answers([b""])) as settings:
        (found,) = doctor_broker.examine_broker(settings)
    assert found.level is Level.WRONG and "closed the connection without an answer, or gave none" in found.sentence


@pytest.mark.parametrize(
    ("granted", "told"), [(0, "no acknowledged delivery of workshop/# (QoS 0)"), (0x87, "refuses the subscription")]
)
def test_a_subscription_below_what_was_asked_is_a_finding(granted: int, told: str) -> None:
    with made_up(Answers(granted=granted)) as settings:
        found = worrying(doctor_broker.examine_broker(settings))
    assert found[0].level is Level.WRONG and told in found[0].sentence


def test_a_broker_that_forgets_sessions_is_a_finding() -> None:
    with made_up(Answers()) as settings:  # session present: never
        (found,) = worrying(doctor_broker.examine_broker(settings))
    assert found.level is Level.WRONG and "keeps no session" in found.sentence


def test_a_broker_that_keeps_sessions_for_an_hour_only_is_a_finding() -> None:
    # 3.2.2.3.2: the server's own Session Expiry Interval (0x11), here 3,600 s; 3.2.2.1.1: session present.
    an_hour = b"\x20\x08\x00\x00\x05\x11\x00\x00\x0e\x10"
    with made_up(Answers([b"\x20\x03\x00\x00\x00", an_hour, b"\x20\x03\x01\x00\x00"])) as settings:
        (found,) = worrying(doctor_broker.examine_broker(settings))
    assert found.level is Level.CARE and "for 60 minutes only" in found.sentence


def test_a_flood_of_retained_messages_is_counted(
    start_broker: Start, settings_for: Callable[..., Settings], publish: Callable[..., None]
) -> None:
    broker = start_broker()
    publish(broker, [("workshop/shed", "18.5")], retain=True)
    (few,) = [one for one in doctor_broker.examine_broker(settings_for(broker)) if "retained" in one.sentence]
    assert few.level is Level.FINE and "1 retained message;" in few.sentence
    publish(broker, [(f"workshop/old/{number}", "18.5") for number in range(600)], retain=True)
    (many,) = [one for one in doctor_broker.examine_broker(settings_for(broker)) if "retained" in one.sentence]
    assert many.level is Level.CARE and "601 retained messages" in many.sentence


def test_a_password_that_would_travel_in_the_clear_is_a_finding() -> None:
    away = replace(Settings(), broker_host="yard.example", broker_username="recorder")
    (found,) = doctor_broker._in_the_clear(away)
    assert found.level is Level.CARE and "broker_tls" in found.remedy
    for settled in (replace(away, broker_tls=True), replace(away, broker_host="127.0.0.1")):
        assert doctor_broker._in_the_clear(settled) == []


def test_a_setting_that_cannot_be_used_is_a_finding(tmp_path: Path) -> None:
    settings = replace(Settings(), broker_username="recorder", broker_password_file="none")
    (found,) = doctor_broker.examine_broker(settings, tmp_path)
    assert found.level is Level.WRONG and "broker_password_file" in found.sentence


# --- verdicts on their way out -----------------------------------------------------------------------


def on_verdicts(store: Store, **settings: str) -> list[Finding]:
    """What is found of the verdicts alone (no test may have the word in its name: the store lies in a folder of it)."""
    found = doctor.examine(Settings(**settings), store, NOW_MS, Path("/nowhere"))  # type: ignore[arg-type]
    return [one for one in found if "erdict" in one.sentence]


def post_verdict(store: Store, age_ms: int) -> int:
    with store.writing() as connection:
        told = {"topic": "benchdry/verdict/board/A1", "payload": "{}", "retain": True}
        return outbox.put(connection, **told, made_ms=NOW_MS - age_ms)  # type: ignore[arg-type]


@pytest.mark.usefixtures("no_broker")
def test_what_gets_out_gives_no_rise_to_worry(yard: Store) -> None:
    post_verdict(yard, MS_PER_MINUTE)
    assert [one.level for one in on_verdicts(yard)] == [Level.FINE, Level.FINE]


@pytest.mark.usefixtures("no_broker")
@pytest.mark.parametrize("topics", ["#", "workshop/# benchdry/#", "+/verdict/status"])
def test_a_recorder_that_listens_to_itself_is_told_of(yard: Store, topics: str) -> None:
    (found,) = worrying(on_verdicts(yard, broker_topics=topics))
    assert found.level is Level.CARE and topics.split()[-1] in found.sentence
    assert "it takes none for a reading" in found.sentence and "broker_topics" in found.remedy


@pytest.mark.usefixtures("no_broker")
def test_one_that_waits_is_told_of_and_one_that_is_refused_with_the_brokers_words(yard: Store) -> None:
    number = post_verdict(yard, 2 * MS_PER_HOUR)
    (found,) = worrying(on_verdicts(yard))
    assert "has waited for 2 hours" in found.sentence
    with yard.writing() as connection:
        outbox.failed(connection, number, NOW_MS + MS_PER_HOUR, "Not authorized")
    (found,) = worrying(on_verdicts(yard))
    assert found.sentence == "The broker does not take the verdict on benchdry/verdict/board/A1: Not authorized."
    assert "acl_file" in found.remedy


@pytest.mark.usefixtures("no_broker")
def test_a_prefix_that_mqtt_forbids_is_wrong_and_none_is_fine(yard: Store) -> None:
    (found,) = on_verdicts(yard, verdict_topic_prefix="a/#")
    assert found.level is Level.WRONG and "verdict_topic_prefix" in found.sentence
    (found,) = on_verdicts(yard, verdict_topic_prefix="")
    assert found.level is Level.FINE
