"""What a mosquitto.conf means for the readings, read by the doctor and tried on the broker itself.

Meanings and defaults: mosquitto.conf(5), mosquitto 2.0.11.
"""

from __future__ import annotations

import os
import re
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
import psutil
import pytest
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from sensors import broker as brokers
from sensors import broker_config, doctor_queue
from sensors.findings import Finding, Level
from shared.errors import BadInput

PROJECT = Path(__file__).resolve().parent.parent.parent
SHIPPED = PROJECT / "sensors" / "mosquitto.conf"
PATIENCE_S = 60.0
A_DAY = 5760.0  # readings: two quantities of two probes, each minute


def judged(tmp_path: Path, *lines: str, per_day: float | None = A_DAY) -> list[Finding]:
    """What gives rise to worry in a configuration that is otherwise in order."""
    order = {
        "persistence": "persistence true",
        "autosave_interval": "autosave_interval 30",
        "max_queued_messages": "max_queued_messages 2000000",
        "max_packet_size": "max_packet_size 65536",
        "acl_file": "acl_file /etc/mosquitto/benchdry.acl",
        "listener": "listener 1883 127.0.0.1",
    }
    for line in lines:
        order[line.lstrip("-").split()[0]] = "" if line.startswith("-") else line
    file = tmp_path / "mosquitto.conf"
    file.write_text("\n".join(order.values()) + "\n", encoding="utf-8")
    found = doctor_queue.examine_config(broker_config.read(file), per_day)
    for one in found:
        assert one.sentence.endswith(".") and bool(one.remedy) == (one.level is not Level.FINE), one
    return [one for one in found if one.level is not Level.FINE]


# --- what the file says ----------------------------------------------------------------------------


def test_nothing_in_the_shipped_file_gives_rise_to_worry() -> None:
    config = broker_config.read(SHIPPED)
    found = doctor_queue.examine_config(config, A_DAY)
    assert {one.level for one in found} == {Level.FINE}, found
    assert config.session_days == 30.0
    assert [(one.port, one.address) for one in broker_config.doors(config)] == [(1883, "127.0.0.1")]
    assert any("queues 2,000,000 messages" in one.sentence and "347 days" in one.sentence for one in found)


def test_an_empty_file_means_the_defaults_that_lose_readings(tmp_path: Path) -> None:
    (tmp_path / "mosquitto.conf").touch()
    config = broker_config.read(tmp_path / "mosquitto.conf")
    told = {one.sentence: one.level for one in doctor_queue.examine_config(config, A_DAY)}
    # 1,000 messages at 5,760 a day: 4 h 10 min.
    queue = (
        "The broker queues 1,000 messages for a recorder that is away (max_queued_messages 1,000, mosquitto's default)"
        ": at this yard's 5,760 readings a day at least 4 hours, then each is dropped."
    )
    assert told[queue] is Level.WRONG
    (memory,) = (one for one in told if "in memory alone (persistence false, mosquitto's default)" in one)
    assert told[memory] is Level.WRONG
    assert not any("other machines" in one for one in told)  # without a listener: this machine alone


@pytest.mark.parametrize(
    ("lines", "level", "told"),
    [
        (
            ["-max_queued_messages"],
            Level.WRONG,
            r"1,000, mosquitto's default\): at this yard's 5,760 .* at least 4 hours",
        ),
        (["max_queued_messages 10000"], Level.CARE, "at least 42 hours, then each is dropped"),
        (["max_queued_messages 0"], Level.CARE, "has no limit"),
        (["max_queued_bytes 57600"], Level.WRONG, "queues 576 messages .*max_queued_bytes 57,600, roughly"),
        (["-persistence"], Level.WRONG, "in memory alone .*mosquitto's default"),
        (["-autosave_interval"], Level.CARE, "every 30 minutes .*1800, mosquitto's default.* up to 120 readings here"),
        (["autosave_interval 0"], Level.WRONG, "only when it ends"),
        (["autosave_on_changes true"], Level.CARE, "after every 30 changes"),
        (["persistent_client_expiration 12h"], Level.WRONG, "forgets a recorder after 12 hours"),
        (["persistent_client_expiration 3d"], Level.CARE, "forgets a recorder after 3 days"),
        (["message_size_limit 500"], Level.WRONG, "acknowledges messages that are too long and drops them"),
        (["-max_packet_size"], Level.CARE, "up to 256 MB"),
        (["max_packet_size 200"], Level.CARE, "more than 200 bytes"),
        (["allow_anonymous true"], Level.WRONG, "lets in whoever comes"),
        (["-acl_file"], Level.CARE, "each probe may write as every other"),
        (["listener 1883"], Level.CARE, r"without encryption \(port 1883\)"),
        (["listener 1884 192.0.2.7"], Level.CARE, r"without encryption \(port 1884\)"),
    ],
)
def test_each_line_that_loses_readings_is_named_with_what_mends_it(
    lines: list[str], level: Level, told: str, tmp_path: Path
) -> None:
    (found,) = judged(tmp_path, *lines)
    assert found.level is level and re.search(told, found.sentence), found
    assert "sensors/mosquitto.conf" in found.remedy


@pytest.mark.parametrize(
    "line",
    [
        "max_inflight_messages 20",  # the recorder asks for its own
        "persistent_client_expiration 2w",
        "listener 8883\ncertfile /etc/yard.crt",
        "listener 0 /run/mosquitto.sock",
        "# max_queued_messages 5",
        "max_queued_bytes 536870912",
    ],
)
def test_lines_that_lose_nothing_give_no_rise_to_worry(line: str, tmp_path: Path) -> None:
    assert judged(tmp_path, line) == []


def test_before_readings_have_come_no_length_of_time_is_made_up(tmp_path: Path) -> None:
    assert judged(tmp_path, per_day=None) == []
    (found,) = judged(tmp_path, "-max_queued_messages", per_day=None)
    assert found.level is Level.CARE and "is known after a day" in found.sentence
    assert "hold 1,000 messages and drop" in doctor_queue.queue_without_file(None).sentence


def test_files_beside_the_main_one_are_read_in_the_broker_s_order(tmp_path: Path) -> None:
    beside = tmp_path / "conf.d"
    beside.mkdir()
    # mosquitto.conf(5), include_dir: 00.conf, 01.conf, A.conf, a.conf, B.conf, b.conf.
    for name, number in {"b.conf": 5, "A.conf": 2, "01.conf": 1, "a.conf": 3, "B.conf": 4, "note.txt": 9}.items():
        (beside / name).write_text(f"max_queued_messages\t{number}\ninclude_dir {tmp_path}\n", encoding="utf-8")
    (tmp_path / "main").write_text(f"persistence true\ninclude_dir {beside}\n", encoding="utf-8")
    taken = [value for _, name, value in broker_config._lines(tmp_path / "main", main=True) if "queued" in name]
    assert taken == ["1", "2", "3", "4", "5"]
    assert broker_config.read(tmp_path / "main").number("max_queued_messages") == 5


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"max_queued_messages many", r"max_queued_messages in .*mosquitto\.conf is many; accepted: a whole number"),
        (b"listener here", "listener in .* is here; accepted: a port number"),
        (b"\xff\xfe\x00", r"\(not text\); accepted: a mosquitto\.conf that can be read"),
    ],
)
def test_a_file_that_cannot_be_understood_is_named(content: bytes, told: str, tmp_path: Path) -> None:
    (tmp_path / "mosquitto.conf").write_bytes(content)
    with pytest.raises(BadInput, match=told):
        broker_config.read(tmp_path / "mosquitto.conf")
    with pytest.raises(BadInput, match=r"\(No such file or directory\)"):
        broker_config.read(tmp_path / "none.conf")


# --- what the broker does --------------------------------------------------------------------------


@pytest.fixture
def run_mosquitto(tmp_path: Path) -> Iterator[Callable[[str], int]]:
    """Run mosquitto under these lines on a free port of this machine; gives the port."""
    running: list[subprocess.Popen[bytes]] = []

    def run(lines: str) -> int:
        mosquitto = brokers.find_mosquitto()
        assert mosquitto, "mosquitto is not installed: make setup-test"
        port = brokers.free_port()
        text = lines.replace("listener 1883", f"listener {port}") + ("\nuser root\n" if os.geteuid() == 0 else "\n")
        (tmp_path / "run.conf").write_text(text, encoding="utf-8")
        process = subprocess.Popen([mosquitto, "-c", str(tmp_path / "run.conf")], stderr=subprocess.DEVNULL)
        running.append(process)
        brokers._wait_until_it_listens(brokers.Broker("mosquitto", port, port, process), PATIENCE_S)
        return port

    yield run
    for process in running:
        process.terminate()
        process.wait()


class Caller:
    """A client that can be away while its session is kept, and notes what it hears."""

    def __init__(self, port: int, name: str, password: str = "", fresh: bool = True) -> None:
        self.heard: list[tuple[str, str]] = []
        self.subscribed = False
        self.client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id=name, protocol=mqtt.MQTTv5)
        if password:
            self.client.username_pw_set(name, password)
        self.client.on_message = self._note
        self.client.on_subscribe = self._on_subscribe
        kept = Properties(PacketTypes.CONNECT)
        kept.SessionExpiryInterval = 3600
        self.client.connect("127.0.0.1", port, clean_start=fresh, properties=kept)
        self.until(self.client.is_connected)

    def _note(self, _client: Any, _data: Any, message: mqtt.MQTTMessage) -> None:
        self.heard.append((message.topic, message.payload.decode()))

    def _on_subscribe(self, *_: Any) -> None:
        self.subscribed = True

    def until(self, holds: Callable[[], bool]) -> None:
        deadline_s = time.monotonic() + PATIENCE_S
        while not holds():
            assert time.monotonic() < deadline_s, "waited in vain"
            self.client.loop(0.02)

    def subscribe(self, topic: str) -> None:
        self.client.subscribe(topic, qos=1)
        self.until(lambda: self.subscribed)

    def publish(self, topic: str, count: int = 1) -> None:
        sent = [self.client.publish(topic, str(number), qos=1) for number in range(count)]
        self.until(lambda: all(one.is_published() for one in sent))


def test_a_broker_by_its_defaults_drops_all_after_the_first_thousand(
    run_mosquitto: Callable[[str], int],
) -> None:
    port = run_mosquitto("listener 1883 127.0.0.1\nallow_anonymous true")
    away = Caller(port, "recorder")
    away.subscribe("workshop/#")
    away.client.disconnect()
    probe = Caller(port, "shed")
    probe.publish("workshop/shed", 1500)  # each acknowledged, as if it were kept
    probe.publish("workshop/last")
    back = Caller(port, "recorder", fresh=False)
    Caller(port, "end").publish("workshop/end")
    back.until(lambda: ("workshop/end", "0") in back.heard)
    assert [int(value) for topic, value in back.heard if topic == "workshop/shed"] == list(range(1000))
    assert ("workshop/last", "0") not in back.heard


def test_under_the_shipped_rules_a_probe_hears_nothing_and_the_recorder_says_nothing_but_verdicts(
    run_mosquitto: Callable[[str], int], tmp_path: Path
) -> None:
    text = SHIPPED.read_text(encoding="utf-8")
    rules = re.findall(r"^#\s+((?:user|topic|pattern) .*)$", text, re.M)
    (tmp_path / "benchdry.acl").write_text("\n".join(rules) + "\n", encoding="utf-8")
    passwords = tmp_path / "benchdry.passwd"
    passwords.touch(mode=0o600)
    for name in ("recorder", "shed", "loft", "shop"):
        subprocess.run(["mosquitto_passwd", "-b", str(passwords), name, f"{name}-word"], check=True)
    text = text.replace("/etc/mosquitto/", f"{tmp_path}/").replace("/var/lib/mosquitto/", f"{tmp_path}/")
    port = run_mosquitto(text.replace("log_dest syslog", "log_dest none"))
    recorder, shed, loft, shop = (Caller(port, name, f"{name}-word") for name in ("recorder", "shed", "loft", "shop"))
    recorder.subscribe("workshop/#")
    loft.subscribe("#")
    shop.subscribe("benchdry/verdict/#")
    recorder.publish("workshop/shed/set")
    shed.publish("benchdry/verdict/board/A1")
    recorder.publish("benchdry/verdict/board/A2")
    shop.until(lambda: bool(shop.heard))
    shed.publish("workshop/shed/air")
    recorder.until(lambda: bool(recorder.heard))
    loft.publish("workshop/loft/air")
    recorder.until(lambda: len(recorder.heard) == 2)
    assert recorder.heard == [("workshop/shed/air", "0"), ("workshop/loft/air", "0")]
    assert loft.heard == []
    assert shop.heard == [("benchdry/verdict/board/A2", "0")]


# --- the private brokers ---------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["mosquitto", "embedded"])
def test_a_private_broker_listens_on_this_machine_alone(kind: str, start_broker: Callable[..., brokers.Broker]) -> None:
    broker = start_broker(kind)
    every = psutil.Process(broker.process.pid).net_connections(kind="tcp")
    listening = {one.laddr for one in every if one.status == psutil.CONN_LISTEN}
    assert {address.ip for address in listening} == {"127.0.0.1"}
    assert {address.port for address in listening} == {broker.port, broker.port_v5}
