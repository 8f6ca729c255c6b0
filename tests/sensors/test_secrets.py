"""Passwords: where they come from, which files are refused, and that they are told to nobody but the broker."""

from __future__ import annotations

import logging
import os
import subprocess
import time
import traceback
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest

from sensors import broker as brokers
from sensors import doctor_broker, secure
from shared.errors import BadInput
from shared.settings import Settings

SECRET = "Quercus-robur-7"
PATIENCE_S = 60.0


@pytest.fixture
def port(tmp_path: Path) -> Iterator[int]:
    """The port of a mosquitto that lets in the user recorder with the secret, and nobody else."""
    mosquitto = brokers.find_mosquitto()
    assert mosquitto, "mosquitto is not installed: make setup-test"
    passwords, port = tmp_path / "passwd", brokers.free_port()
    passwords.touch(mode=0o600)
    subprocess.run(["mosquitto_passwd", "-b", str(passwords), "recorder", SECRET], check=True)
    lines = [f"listener {port} 127.0.0.1", "allow_anonymous false", f"password_file {passwords}"]
    lines += ["user root"] if os.geteuid() == 0 else []
    (tmp_path / "mosquitto.conf").write_text("\n".join(lines) + "\n", encoding="utf-8")
    command = [mosquitto, "-c", str(tmp_path / "mosquitto.conf")]
    with subprocess.Popen(command, stderr=subprocess.DEVNULL) as process:
        brokers._wait_until_it_listens(brokers.Broker("mosquitto", port, port, process), PATIENCE_S)
        yield port
        process.terminate()


def call(chosen: Settings) -> int:
    """Connect, with paho telling the log all that it can; return the broker's answer (0: welcome)."""
    answers: list[int] = []
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5, reconnect_on_failure=False)
    client.on_connect = lambda _client, _data, _flags, reason, _properties: answers.append(reason.value)
    client.enable_logger(logging.getLogger("paho"))
    secure.apply(client, chosen)
    client.connect(chosen.broker_host, chosen.broker_port)
    deadline_s = time.monotonic() + PATIENCE_S
    while not answers:
        assert time.monotonic() < deadline_s
        client.loop(0.05)
    client.disconnect()
    return answers[0]


def password_file(folder: Path, content: bytes = SECRET.encode() + b"\n", mode: int = 0o600) -> Path:
    path = folder / "broker-password"
    path.write_bytes(content)
    path.chmod(mode)
    return path


def with_file(path: Path) -> Settings:
    return replace(Settings(), broker_username="recorder", broker_password_file=str(path))


@pytest.mark.parametrize("content", [SECRET.encode(), SECRET.encode() + b"\n", SECRET.encode() + b"\r\n"])
def test_a_password_comes_from_its_file_without_the_end_of_its_line(content: bytes, tmp_path: Path) -> None:
    password_file(tmp_path, content)
    assert secure.broker_password(with_file(Path("broker-password")), tmp_path) == SECRET


@pytest.mark.parametrize("mode", [0o644, 0o640, 0o604, 0o620, 0o777])
def test_a_password_file_that_others_can_reach_is_refused_with_the_command_that_mends_it(
    mode: int, tmp_path: Path
) -> None:
    path = password_file(tmp_path, mode=mode)
    with pytest.raises(BadInput) as refused:
        secure.broker_password(with_file(path))
    assert str(refused.value).endswith(f"accepted: a file that nobody else can read: chmod 600 {path}.")
    subprocess.run(str(refused.value).removesuffix(".").rpartition(": ")[2].split(), check=True)
    assert secure.broker_password(with_file(path)) == SECRET


@pytest.mark.parametrize("content", [b"", b"\n", b"two\nlines\n", b"\xff\xfe", b"x" * 5000, b"nul\0"])
def test_a_password_file_with_anything_but_one_line_is_refused_without_showing_it(
    content: bytes, tmp_path: Path
) -> None:
    path = password_file(tmp_path, content)
    with pytest.raises(BadInput, match="the password, and nothing else, on one line") as refused:
        secure.broker_password(with_file(path))
    assert str(path) in str(refused.value) and "two" not in str(refused.value) and "xxx" not in str(refused.value)


def test_a_password_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"broker_password_file is .*none \(No such file or directory\)"):
        secure.broker_password(with_file(tmp_path / "none"))


def test_two_passwords_and_a_password_without_a_name_are_refused(tmp_path: Path) -> None:
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    both = replace(with_file(password_file(tmp_path)), broker_password=SECRET)
    with pytest.raises(BadInput, match="one of broker_password and broker_password_file, not both") as refused:
        secure.apply(client, both)
    assert SECRET not in str(refused.value)
    with pytest.raises(BadInput, match="setting broker_username is empty") as refused:
        secure.apply(client, replace(Settings(), broker_password=SECRET))
    assert SECRET not in str(refused.value)


@pytest.mark.parametrize("kind", ["setting", "file"])
def test_no_secret_is_logged_or_told_whatever_the_broker_answers(
    kind: str,
    tmp_path: Path,
    caplog: pytest.LogCaptureFixture,
    capfd: pytest.CaptureFixture[str],
    port: int,
) -> None:
    chosen = with_file(password_file(tmp_path))
    if kind == "setting":
        chosen = replace(Settings(), broker_username="recorder", broker_password=SECRET)
    caplog.set_level(logging.DEBUG)
    chosen = replace(chosen, broker_port=port)
    assert call(chosen) == 0
    assert call(replace(chosen, broker_username="loft")) == 135  # not authorised
    told = [str(one) for one in doctor_broker.examine_broker(chosen)]
    told += [str(one) for one in doctor_broker.examine_broker(replace(chosen, broker_username="loft"))]
    try:
        call(replace(chosen, broker_port=brokers.free_port()))
    except OSError as error:
        told += [secure.explain(error, chosen), *traceback.format_exception(error)]
    assert "Sending CONNECT" in caplog.text and any("does not let in the user loft" in one for one in told)
    assert SECRET not in caplog.text and SECRET not in "".join(told) and SECRET not in "".join(capfd.readouterr())
