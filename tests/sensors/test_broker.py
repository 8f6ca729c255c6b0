"""Private brokers, and the configuration shipped for a real yard."""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest

from sensors import broker as brokers
from shared.errors import Refused

PROJECT = Path(__file__).resolve().parent.parent.parent
SHIPPED = PROJECT / "sensors" / "mosquitto.conf"


def listens(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


@pytest.mark.parametrize("kind", ["mosquitto", "embedded"])
def test_a_broker_listens_on_loopback_until_it_is_stopped(
    kind: str, start_broker: Callable[..., brokers.Broker]
) -> None:
    broker = start_broker(kind)
    assert broker.name == ("mosquitto" if kind == "mosquitto" else "embedded broker")
    assert listens(broker.port) and listens(broker.port_v5)
    broker.stop()
    assert not listens(broker.port) and not listens(broker.port_v5)


def test_without_mosquitto_the_embedded_broker_is_started(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(brokers, "find_mosquitto", lambda: None)
    broker = brokers.start(tmp_path / "made" / "here")
    assert broker.name == "embedded broker"
    broker.stop()


def test_mosquitto_is_found_where_a_user_s_path_does_not_look(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    there = tmp_path / "mosquitto"
    there.write_text("#!/bin/sh\n", encoding="utf-8")
    there.chmod(0o755)
    monkeypatch.setenv("PATH", "")
    monkeypatch.setattr(brokers, "SBIN", (str(tmp_path),))
    assert brokers.find_mosquitto() == str(there)


def test_a_taken_port_is_left_to_its_owner_and_another_is_used() -> None:
    with socket.socket() as owner:
        owner.bind(("127.0.0.1", 0))
        owner.listen()
        taken = owner.getsockname()[1]
        assert brokers.free_port(taken) not in (0, taken)


def test_a_port_that_was_just_left_is_free_again(start_broker: Callable[..., brokers.Broker]) -> None:
    first = start_broker()
    with socket.create_connection(("127.0.0.1", first.port)):
        first.stop()  # the broker closes first: its side of this connection lingers
    assert start_broker(port=first.port).port == first.port


def test_a_broker_that_cannot_start_is_told_in_a_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(brokers, "find_mosquitto", lambda: shutil.which("false"))
    with pytest.raises(Refused, match=r"The mosquitto did not start on port \d+"):
        brokers.start(tmp_path)


def test_the_embedded_broker_ends_when_the_program_that_started_it_is_killed(tmp_path: Path) -> None:
    program = (
        "import sys, time; from pathlib import Path; from sensors.broker import start\n"
        "print(start(Path(sys.argv[1]), embedded=True).port, flush=True); time.sleep(300)"
    )
    environment = os.environ | {"PYTHONPATH": str(PROJECT)}
    command = [sys.executable, "-c", program, str(tmp_path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, env=environment) as parent:
        assert parent.stdout is not None
        port = int(parent.stdout.readline())
        assert listens(port)
        parent.send_signal(signal.SIGKILL)
    deadline_s = time.monotonic() + 60
    while listens(port):
        assert time.monotonic() < deadline_s, "the broker outlived its program"
        time.sleep(0.05)


# --- the shipped configuration ---------------------------------------------------------------------


def acl_in_comments() -> str:
    """The access list that the shipped file's own comments give."""
    return "\n".join(re.findall(r"^#\s+((?:user|topic|pattern) .*)$", SHIPPED.read_text(encoding="utf-8"), re.M)) + "\n"


@pytest.fixture
def yard(tmp_path: Path) -> Iterator[int]:
    """A mosquitto under the shipped configuration, its paths and port moved here; gives the port."""
    mosquitto = brokers.find_mosquitto()
    assert mosquitto, "mosquitto is not installed: make setup-test"
    port = brokers.free_port()
    text = SHIPPED.read_text(encoding="utf-8").replace("/etc/mosquitto/", f"{tmp_path}/")
    text = text.replace("/var/lib/mosquitto/", f"{tmp_path}/").replace("listener 1883", f"listener {port}")
    text = text.replace("log_dest syslog", "log_dest stderr")
    if os.geteuid() == 0:
        text += "user root\n"
    (tmp_path / "yard.conf").write_text(text, encoding="utf-8")
    (tmp_path / "benchdry.acl").write_text(acl_in_comments(), encoding="utf-8")
    passwords = tmp_path / "benchdry.passwd"
    passwords.touch(mode=0o600)
    for name in ("recorder", "shed", "loft"):
        subprocess.run(["mosquitto_passwd", "-b", str(passwords), name, f"{name}-word"], check=True)
    with subprocess.Popen([mosquitto, "-c", str(tmp_path / "yard.conf")], stderr=subprocess.PIPE) as process:
        deadline_s = time.monotonic() + 30
        while not listens(port):
            assert process.poll() is None, process.stderr and process.stderr.read().decode()
            assert time.monotonic() < deadline_s
            time.sleep(0.05)
        try:
            yield port
        finally:
            process.terminate()


def connect(port: int, name: str | None, password: str = "") -> tuple[mqtt.Client, int]:
    """Connect, and give the broker's answer (0: welcome)."""
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    if name is not None:
        client.username_pw_set(name, password or f"{name}-word")
    answers: list[int] = []
    client.on_connect = lambda _client, _data, _flags, reason, _properties: answers.append(reason.value)
    client.connect("127.0.0.1", port)
    deadline_s = time.monotonic() + 30
    while not answers and time.monotonic() < deadline_s:
        client.loop(0.1)
    return client, answers[0]


def test_the_shipped_broker_lets_nobody_in_without_the_right_password(yard: int) -> None:
    assert connect(yard, None)[1] == 135  # not authorised
    assert connect(yard, "shed", "guess")[1] == 135
    assert connect(yard, "shed")[1] == 0


def test_under_the_shipped_access_list_a_probe_writes_below_its_own_name_only(yard: int) -> None:
    heard: list[str] = []
    recorder, _ = connect(yard, "recorder")
    recorder.on_message = lambda _client, _data, message: heard.append(message.topic)
    recorder.subscribe("workshop/#", qos=1)
    recorder.loop(0.2)
    shed, _ = connect(yard, "shed")
    for topic in ("workshop/loft/air", "workshop/air", "elsewhere/shed/air", "workshop/shed/air"):
        shed.publish(topic, "1", qos=1)
    deadline_s = time.monotonic() + 30
    while "workshop/shed/air" not in heard:
        assert time.monotonic() < deadline_s
        shed.loop(0.05)
        recorder.loop(0.05)
    assert heard == ["workshop/shed/air"]


def test_the_shipped_file_says_nothing_twice_and_undoes_the_defaults_that_lose_readings() -> None:
    lines = [line.split(None, 1) for line in SHIPPED.read_text(encoding="utf-8").splitlines()]
    said = [line for line in lines if line and not line[0].startswith("#") and line[0] not in ("log_type", "listener")]
    assert len({name for name, _ in said}) == len(said)
    values = dict(said)
    assert values["persistence"] == "true" and values["allow_anonymous"] == "false"
    assert int(values["max_queued_messages"]) > 1_000_000
    assert int(values["autosave_interval"]) <= 30
    assert int(values["max_inflight_messages"]) >= 1000
