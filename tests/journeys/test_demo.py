"""`benchdry demo` from nothing, as a newcomer: history, live, a second start, and an end that leaves no process."""

import json
import os
import signal
import subprocess
import sys
import time
import urllib.request
from contextlib import contextmanager

import paho.mqtt.publish as publish
import psutil
import pytest

from sensors.broker import find_mosquitto, free_port
from shared.store import Store, readings

PATIENCE_S = 600


@contextmanager
def demo(folder, port, *options):
    """Start the demo; give its process, and end it as Ctrl-C does."""
    command = [sys.executable, "-u", "-m", "dashboards.terminal", "demo", "--folder", str(folder), "--port", str(port)]
    process = subprocess.Popen(
        [*command, *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        start_new_session=True,
        env={**os.environ, "COLUMNS": "200"},
    )
    try:
        yield process
    finally:
        family = psutil.Process(process.pid).children(recursive=True) if process.poll() is None else []
        os.killpg(process.pid, signal.SIGINT) if process.poll() is None else None
        process.wait(30)
        _, alive = psutil.wait_procs(family, timeout=15)
        for one in alive:
            one.kill()
        assert not alive, f"still running: {alive}"


def lines_until(process, wanted):
    said = []
    for line in process.stdout:
        said.append(line)
        if wanted in line:
            return "".join(said)
    raise AssertionError("".join(said))


def page(port, path):
    with urllib.request.urlopen(f"http://127.0.0.1:{port}{path}", timeout=30) as answer:
        return answer.read().decode()


def eventually(question, what):
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline:
        found = question()
        if found:
            return found
        time.sleep(0.25)
    raise AssertionError(f"never happened: {what}")


def stored(folder):
    store = Store(folder / "benchdry.sqlite3")
    with store.reading() as connection:
        found = readings.count(connection), readings.count_conflicts(connection)
    store.close()
    return found


@pytest.mark.parametrize("kind", ["mosquitto", "embedded"])
def test_the_demo_tells_its_whole_story(tmp_path, kind):
    assert kind == "embedded" or find_mosquitto(), "mosquitto is not installed: make setup-test"
    options = ["--embedded-broker"] if kind == "embedded" else []
    port = free_port()
    with demo(tmp_path, port, *options) as running:
        said = lines_until(running, "Ctrl-C ends everything")
        assert f"http://127.0.0.1:{port}" in said
        assert "made up" in said
        broker_port = int(said.split("Broker: ")[1].split(" on port ")[1].split(",")[0])
        first, conflicts = stored(tmp_path)
        assert first > 180_000
        assert conflicts == 0
        eventually(lambda: "Raised plane" in page(port, "/"), "the yard is shown")

        def verdicts():
            boards = json.loads(page(port, "/api/situation"))["boards"]
            words = {board["verdict"]["word"] for board in boards}
            return words if all("being worked out" not in b["verdict"]["reason"] for b in boards) else None

        assert eventually(verdicts, "every board is projected") == {"READY", "WAIT", "STOP", "CAN'T SAY"}
        # Any client: here MQTT 3.1.1, without a time of its own.
        topic, _, message = said.split("topic ")[1].split("\n")[0].partition("   message ")
        publish.single(topic, message, qos=1, port=broker_port, hostname="127.0.0.1")
        shown = f"{json.loads(message)['temperature']:.1f}"
        eventually(lambda: shown in page(port, "/probes"), "a reading that was sent is seen")
    after_first, _ = stored(tmp_path)
    with demo(tmp_path, port, *options) as running:
        lines_until(running, "Ctrl-C ends everything")
        second, conflicts = stored(tmp_path)
    assert conflicts == 0
    # Only the ten-minute readings of the time between, and a live round or two.
    assert after_first <= second < after_first + 200


def test_a_taken_port_is_one_sentence(tmp_path):
    import socket

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        command = [sys.executable, "-m", "dashboards.terminal", "demo", "--folder", str(tmp_path), "--port", str(port)]
        done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 2
    assert f"Port {port}" in done.stderr and "web_port" in done.stderr
    assert done.stderr.strip().count("\n") == 0


def test_a_folder_that_cannot_be_written_is_one_sentence(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    command = [sys.executable, "-m", "dashboards.terminal", "demo", "--folder", str(blocked / "demo")]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 2
    assert "Nothing can be written into" in done.stderr
    assert done.stderr.strip().count("\n") == 0
