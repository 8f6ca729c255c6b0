"""A yard of one's own: `init`, `run` against one's own broker, entries by command, and what runs on when it falls."""

import json
import os
import signal
import subprocess
import sys
import time
import urllib.request
from contextlib import contextmanager
from pathlib import Path

import paho.mqtt.client as mqtt
import paho.mqtt.publish as publish
import psutil

from sensors.broker import free_port

PATIENCE_S = 300
PROJECT = Path(__file__).resolve().parents[2]


def benchdry(folder, *words):
    command = [sys.executable, "-m", "dashboards.terminal", *words, "--folder", str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@contextmanager
def running(folder):
    command = [sys.executable, "-m", "dashboards.terminal", "run", "--folder", str(folder)]
    process = subprocess.Popen(command, start_new_session=True, env={**os.environ, "COLUMNS": "200"})
    try:
        yield psutil.Process(process.pid)
    finally:
        family = psutil.Process(process.pid).children(recursive=True)
        os.killpg(process.pid, signal.SIGINT)
        process.wait(30)
        _, alive = psutil.wait_procs(family, timeout=15)
        for one in alive:
            one.kill()
        assert not alive


def situation(port):
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/api/situation", timeout=30) as answer:
        return json.loads(answer.read())


def eventually(question, what):
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline:
        try:
            found = question()
        except OSError:
            found = None
        if found:
            return found
        time.sleep(0.2)
    raise AssertionError(f"never happened: {what}")


def temperature(port, code):
    """The last temperature of a probe, as the pages have it."""
    for probe in situation(port)["probes"]:
        if probe["subject"]["code"] == code and probe["temperature"]:
            return probe["temperature"]["value"]
    return None


def child(parent, name):
    return next((c for c in parent.children() if name in c.cmdline()), None)


def test_from_an_empty_folder_to_a_verdict_and_through_falls(tmp_path, start_broker):
    broker, port = start_broker("mosquitto"), free_port()
    folder = tmp_path / "yard"
    benchdry(folder, "init")
    (folder / "benchdry.toml").write_text(f"broker_port = {broker.port}\nweb_port = {port}\n")
    with running(folder) as parent:
        eventually(lambda: not situation(port)["recorder_note"], "the recorder is connected")
        message = '{"temperature": 18.4, "humidity": 71}'
        where = {"qos": 1, "hostname": "127.0.0.1", "port": broker.port}
        publish.single("workshop/shed/north", message, protocol=mqtt.MQTTv311, **where)
        eventually(lambda: temperature(port, "shed-north") == 18.4, "a 3.1.1 client is heard")
        publish.single("workshop/shed/north", message.replace("18.4", "19.5"), protocol=mqtt.MQTTv5, **where)
        eventually(lambda: temperature(port, "shed-north") == 19.5, "a 5 client is heard")

        sample = PROJECT / "sample_logs" / "shed-low.csv"
        subprocess.run(
            [sys.executable, "-m", "dashboards.terminal", "replay", str(sample), "--folder", str(folder)], check=True
        )
        benchdry(folder, "place", "add", "log-shed", "--kind", "shed", "--when", "2026-04-01")
        eventually(lambda: temperature(port, "log-shed-shed-low") is not None, "the sample log is recorded")
        benchdry(folder, "probe", "move", "log-shed-shed-low", "log-shed", "--when", "2026-04-01")
        benchdry(folder, "board", "add", "B1", "--species", "Platanus occidentalis", "--thickness", "30", "--width",
                 "200", "--length", "1500", "--origin", "water-reclaimed", "--place", "log-shed", "--when",
                 "2026-05-01")  # fmt: skip
        benchdry(folder, "board", "weigh", "B1", "--kg", "9.6", "--when", "2026-05-02")

        def projected():
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/api/board/B1", timeout=30) as answer:
                board = json.loads(answer.read())
            return board["projection"] and board["verdict"]["word"]

        # The log ended long ago: there is a projection, and it is not passed off as known.
        assert eventually(projected, "the board is projected") == "CAN'T SAY"

        # A process that falls is started again, and what came meanwhile is not lost.
        child(parent, "record").kill()
        publish.single("workshop/shed/north", message.replace("18.4", "20.6"), **where)
        eventually(lambda: temperature(port, "shed-north") == 20.6, "the recorder is back and took up the queue")
