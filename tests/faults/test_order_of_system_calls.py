"""What the kernel sees: no acknowledgement leaves before its reading is on the disk, whatever the code looks like.

A recorder runs under strace. Each PUBLISH that is read, each write to the store's write-ahead log, each fdatasync
of it and each PUBACK that is sent stand in the trace in their order.
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from harness import RUNNER, Publisher, check, wait_until

from sensors.broker import Broker
from shared.store import Store, readings

Start = Callable[..., Broker]
CALL = re.compile(r"^\d+ +(\w+)\(\d+<(.*?)>(?:, \"((?:\\x[0-9a-f]{2})*)\"|[,)])")


class Trace:
    """Goes through a trace and notes every PUBACK that left too early."""

    def __init__(self) -> None:
        self.on_disk: set[int] = set()  # packet ids read before the last fdatasync that followed a write
        self.in_log: set[int] = set()
        self.read: set[int] = set()
        self.unsynced = False
        self.acknowledged = 0
        self.syncs = 0
        self.too_early: list[str] = []
        self._incoming = b""

    def line(self, line: str) -> None:
        found = CALL.match(line)
        if found is None:
            return
        name, shown, quoted = found.groups()
        path = re.sub(r"\\x([0-9a-f]{2})", lambda two: chr(int(two[1], 16)), shown)
        data = bytes.fromhex((quoted or "").replace("\\x", ""))
        if name in ("pwrite64", "write", "pwritev") and path.endswith("-wal"):
            self.unsynced = True
            self.in_log = set(self.read)
        elif name in ("fdatasync", "fsync") and path.endswith("-wal"):
            self.unsynced = False
            self.on_disk = set(self.in_log)
            self.syncs += 1
        elif path.startswith(("TCP", "socket")) and name in ("recvfrom", "recv", "read"):
            self._receive(line, data)
        elif path.startswith(("TCP", "socket")) and name in ("sendto", "send", "write"):
            self._send(line, data)

    def _receive(self, line: str, data: bytes) -> None:
        size = int(line.rsplit("= ", 1)[1].split()[0])
        self._incoming += data[: max(size, 0)]
        while len(self._incoming) >= 2:
            length, used = self._incoming[1] & 0x7F, 2
            if self._incoming[1] & 0x80:
                if len(self._incoming) < 3:
                    return
                length, used = length + 128 * self._incoming[2], 3
            if len(self._incoming) < used + length:
                return
            packet, self._incoming = self._incoming[: used + length], self._incoming[used + length :]
            if packet[0] & 0xF0 == 0x30:  # PUBLISH of quality 1: topic, then the id (MQTT 5, section 3.3.2)
                topic = int.from_bytes(packet[used : used + 2], "big")
                at = used + 2 + topic
                mid = int.from_bytes(packet[at : at + 2], "big")
                self.read.add(mid)
                self.in_log.discard(mid)
                self.on_disk.discard(mid)

    def _send(self, line: str, data: bytes) -> None:
        if not data or data[0] != 0x40:
            return
        for at in range(0, len(data), 4):  # PUBACKs, any number in one piece (section 3.4)
            assert data[at : at + 2] == b"\x40\x02", line
            self.acknowledged += 1
            if self.unsynced or int.from_bytes(data[at + 2 : at + 4], "big") not in self.on_disk:
                self.too_early.append(line)


def traced(text: str) -> Trace:
    trace = Trace()
    for line in text.splitlines():
        trace.line(line)
    return trace


def end(store: Store) -> None:
    """End the recorder that runs under strace."""
    with store.reading() as connection:
        state = readings.recorder_state(connection)
    assert state is not None, "no recorder has come up under strace"
    os.kill(state.pid, signal.SIGKILL)


def test_no_acknowledgement_leaves_before_its_reading_is_on_the_disk(
    start_broker: Start, store: Store, tmp_path: Path
) -> None:
    strace = shutil.which("strace")
    assert strace, "strace is not installed: make setup-test"
    broker = start_broker()
    log = tmp_path / "trace"
    calls = "trace=recvfrom,recv,read,sendto,send,write,pwrite64,pwritev,fsync,fdatasync"
    environment = os.environ | {"PYTHONPATH": str(RUNNER.parent.parent.parent)}
    command = [strace, "-f", "-yy", "-xx", "-s", "20000", "-e", calls, "-e", "signal=none", "-o", str(log)]
    command += [sys.executable, str(RUNNER), str(store.path), str(broker.port_v5)]
    process = subprocess.Popen(command, env=environment)

    def count() -> int:
        with store.reading() as connection:
            return readings.count(connection)

    def is_connected() -> bool:
        with store.reading() as connection:
            state = readings.recorder_state(connection)
        return state is not None and state.connected

    try:
        wait_until(is_connected, lambda: process.poll() is None)
        time.sleep(1.0)
        publisher = Publisher(broker.port, per_second=300, untimed=True)
        publisher.start()
        wait_until(lambda: count() >= 600, lambda: process.poll() is None)
        publisher.finish()
        wait_until(lambda: count() >= len(publisher.acknowledged), lambda: process.poll() is None)
        time.sleep(0.5)
    finally:
        end(store)  # strace ends with what it watches, and not before
        process.wait(60)
    check(store, publisher.acknowledged, said="under strace")
    trace = traced(log.read_text(encoding="utf-8", errors="replace"))
    print(f"{trace.acknowledged} PUBACKs, {trace.syncs} syncs, {len(trace.too_early)} too early")
    assert trace.too_early == []
    assert trace.acknowledged == len(publisher.acknowledged)
    assert trace.syncs > 10


PUBLISH = '1 recvfrom(5<TCP:[1]>, "\\x32\\x08\\x00\\x01\\x61\\x00\\x07\\x00\\x31\\x32", 10, 0, NULL, NULL) = 10'
WRITE = '1 pwrite64(4</t/s-wal>, "\\x00", 1, 0) = 1'
SYNC = "1 fdatasync(4</t/s-wal>) = 0"
PUBACK = '1 sendto(5<TCP:[1]>, "\\x40\\x02\\x00\\x07", 4, 0, NULL, 0) = 4'


def test_a_trace_in_the_wrong_order_is_seen_to_be_wrong() -> None:
    right = traced("\n".join([PUBLISH, WRITE, SYNC, PUBACK]))
    assert (right.acknowledged, right.syncs, right.too_early) == (1, 1, [])
    for wrong in ([PUBLISH, WRITE, PUBACK, SYNC], [PUBLISH, PUBACK], [WRITE, SYNC, PUBLISH, PUBACK]):
        assert traced("\n".join(wrong)).too_early == [PUBACK]
    both = PUBACK.replace("\\x07", "\\x07\\x40\\x02\\x00\\x08")  # the second of them was never read
    assert traced("\n".join([PUBLISH, WRITE, SYNC, both])).too_early == [both]
    again = [PUBLISH, WRITE, SYNC, PUBACK, PUBLISH, PUBACK]  # the id is used a second time
    assert traced("\n".join(again)).too_early == [PUBACK]
