"""A private MQTT broker for a first run: mosquitto where it is installed, otherwise the embedded one.

A real yard runs its own broker, with a password and with queues that hold days of readings;
``sensors/mosquitto.conf`` is such a configuration.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from shared.errors import Refused

SBIN = ("/usr/sbin", "/usr/local/sbin", "/opt/homebrew/sbin")
LOOPBACK = "127.0.0.1"


@dataclass(frozen=True)
class Broker:
    """A running private broker: any client may use ``port``; ``port_v5`` speaks MQTT 5."""

    name: str
    port: int
    port_v5: int
    process: subprocess.Popen[bytes]

    def stop(self) -> None:
        """End it and wait until it has gone."""
        self.process.terminate()
        try:
            self.process.wait(5)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()


def find_mosquitto() -> str | None:
    """Return where mosquitto is, also in the sbin folders that a user's path leaves out."""
    return shutil.which("mosquitto", path=os.pathsep.join([os.environ.get("PATH", ""), *SBIN]))


def free_port(wanted: int = 0) -> int:
    """Return a free port on loopback, ``wanted`` if that is free."""
    with socket.socket() as probe:
        if os.name == "posix":  # a port that our last broker has just left is free, though its connections linger
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((LOOPBACK, wanted))
        except OSError:
            if wanted == 0:
                raise
            return free_port()
        return int(probe.getsockname()[1])


def start(folder: Path, *, embedded: bool = False, port: int = 0) -> Broker:
    """Start a private broker whose files lie in ``folder``; ``embedded`` asks for the built-in one."""
    folder.mkdir(parents=True, exist_ok=True)
    path = None if embedded else find_mosquitto()
    broker = _start_mosquitto(path, folder, port) if path else _start_embedded(folder, port)
    _wait_until_it_listens(broker)
    return broker


def _start_mosquitto(path: str, folder: Path, port: int) -> Broker:
    port = free_port(port)
    lines = [
        f"listener {port} {LOOPBACK}",
        "allow_anonymous true",
        "persistence true",
        f"persistence_location {folder.resolve()}/",
        "autosave_interval 30",
        "max_queued_messages 200000",
        "max_inflight_messages 1000",
        "max_packet_size 65536",
        "set_tcp_nodelay true",
        f"log_dest file {folder.resolve() / 'mosquitto.log'}",
    ]
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        lines.append("user root")  # mosquitto would otherwise drop to a user that cannot write here
    config = folder / "mosquitto.conf"
    config.write_text("\n".join(lines) + "\n", encoding="utf-8")
    # In a session of its own: Ctrl-C in the terminal is for us, who end it last and in order.
    process = subprocess.Popen(
        [path, "-c", str(config)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
    )
    return Broker("mosquitto", port, port, process)


def _start_embedded(folder: Path, port: int) -> Broker:
    port, port_v5 = free_port(port), free_port()
    config = folder / "embedded-broker.toml"
    config.write_text(_embedded_config(port, port_v5), encoding="utf-8")
    # Its working folder is ours and it reads its standard input: when we go, it goes.
    process = subprocess.Popen(
        [sys.executable, "-m", "sensors.broker", str(config)],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        start_new_session=True,
        stderr=(folder / "embedded-broker.log").open("wb"),
    )
    return Broker("embedded broker", port, port_v5, process)


def _embedded_config(port: int, port_v5: int) -> str:
    limits = """
    next_connection_delay_ms = 1
    [{0}.connections]
    connection_timeout_ms = 60000
    max_payload_size = 65536
    max_inflight_count = 2000
    dynamic_filters = true
"""
    return f"""id = 0
[router]
id = 0
max_connections = 1000
max_outgoing_packet_count = 4000
max_segment_size = 104857600
max_segment_count = 10
[v4.1]
name = "v4-1"
listen = "{LOOPBACK}:{port}"
{limits.format("v4.1")}
[v5.1]
name = "v5-1"
listen = "{LOOPBACK}:{port_v5}"
{limits.format("v5.1")}
"""


def _wait_until_it_listens(broker: Broker, limit_s: float = 15.0) -> None:
    deadline_s = time.monotonic() + limit_s
    while time.monotonic() < deadline_s:
        if broker.process.poll() is not None:
            break
        try:
            for port in {broker.port, broker.port_v5}:
                socket.create_connection((LOOPBACK, port), timeout=1).close()
            return
        except OSError:
            time.sleep(0.05)
    broker.process.kill()
    raise Refused(f"The {broker.name} did not start on port {broker.port} of this machine.")


def _serve_embedded(config: Path) -> None:
    """Run the embedded broker until our parent is gone."""
    import threading

    from iotcore import IotCoreBroker

    threading.Thread(target=IotCoreBroker(str(config)).run_forever, daemon=True).start()
    sys.stdin.buffer.read()
    os._exit(0)


if __name__ == "__main__":
    _serve_embedded(Path(sys.argv[1]))
