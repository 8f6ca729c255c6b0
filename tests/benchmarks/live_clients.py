"""Fifty open pages beside a recorder that takes in 500 readings a second: how late does each hear of a reading?"""

from __future__ import annotations

import asyncio
import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import httpx
import numpy as np

from sensors import broker as brokers
from sensors.replay import Outgoing, Sender
from shared.store import Store, readings

CLIENTS, MESSAGES_A_S, PROBES = 50, 250, 50  # two readings in each message
PATIENCE_S = 1.2  # as page.js waits between two askings
STORED_WITHIN_S = 30.0


@dataclass
class Told:
    """What was sent and stored, and how long it took."""

    sent: int
    stored: int
    refused: int
    heard_ms: list[float] = field(default_factory=list)  # from a batch's arrival to the event at a client
    page_ms: list[float] = field(default_factory=list)  # of a page asked for because of it
    stored_ms: list[float] = field(default_factory=list)  # age of a probe's newest reading when a batch is on disk

    @property
    def sentence(self) -> str:
        """The figures in a line."""

        def of(values: list[float]) -> str:
            return (
                "nothing"
                if not values
                else f"{np.median(values):.0f} ms (95th percentile {np.percentile(values, 95):.0f})"
            )

        return (
            f"{CLIENTS} open pages, {2 * MESSAGES_A_S} readings/s: {self.stored:,} of {self.sent:,} stored,"
            f" a probe's newest on disk is {of(self.stored_ms)} old, heard of by a page after {of(self.heard_ms)} more,"
            f" the page itself in {of(self.page_ms)}; {len(self.page_ms):,} pages, {self.refused} refused"
        )


def fifty_clients(folder: Path, store: Store, seconds: float) -> Told:
    """Run broker, recorder and pages on the yard of ``folder``, and fifty clients, for so long."""
    carrier = brokers.start(folder / "broker")
    port = brokers.free_port()
    held = {"BENCHDRY_BROKER_PORT": str(carrier.port_v5), "BENCHDRY_FOLDER": str(folder)}
    with store.reading() as connection:
        before = readings.count(connection)
    children = [
        subprocess.Popen([sys.executable, "-m", "dashboards.terminal", *words], env={**os.environ, **held})
        for words in (["record"], ["serve", "--port", str(port)])
    ]
    try:
        time.sleep(12)
        told = asyncio.run(_run(carrier.port, f"http://127.0.0.1:{port}", store, seconds))
        deadline_s = time.monotonic() + STORED_WITHIN_S
        while time.monotonic() < deadline_s and told.stored < told.sent:
            with store.reading() as connection:
                told.stored = readings.count(connection) - before
            time.sleep(0.2)
        return told
    finally:
        for child in children:
            child.terminate()
        for child in children:
            child.wait(30)
        carrier.stop()


async def _run(broker_port: int, address: str, store: Store, seconds: float) -> Told:
    told, end_s = Told(0, 0, 0), time.monotonic() + seconds
    sender = threading.Thread(target=lambda: Sender("127.0.0.1", broker_port).send(_messages(told, end_s)))
    watcher = asyncio.create_task(asyncio.to_thread(_watch, store, told, end_s))
    sender.start()
    async with httpx.AsyncClient(base_url=address, timeout=60, limits=httpx.Limits(max_connections=200)) as client:
        await asyncio.gather(*(_open_page(client, told, end_s) for _ in range(CLIENTS)))
    arrived = await watcher
    await asyncio.to_thread(sender.join)
    told.heard_ms = [heard - arrived[batch] for batch, heard in told.heard_ms if batch in arrived]  # type: ignore[misc]
    return told


def _messages(told: Told, end_s: float) -> Iterator[Outgoing]:
    """Messages at their pace, each with the time of its sending."""
    began_s, number = time.monotonic(), 0
    while time.monotonic() < end_s:
        if number > (time.monotonic() - began_s) * MESSAGES_A_S:
            time.sleep(0.002)
            continue
        values = {"temperature": 18 + number % 37 * 0.1, "humidity": 60 + number % 41 * 0.1}
        content = json.dumps(values | {"time": time.time_ns() // 1_000_000})
        yield Outgoing(f"workshop/bench/many-{number % PROBES}", content, 2)
        number += 1
        told.sent += 2


def _watch(store: Store, told: Told, end_s: float) -> dict[int, float]:
    """Note when each batch is first seen on disk, and how old its newest reading is then."""
    arrived: dict[int, float] = {}
    with store.reading() as connection:
        seen = readings.newest_batch(connection)
    while time.monotonic() < end_s:
        with store.reading() as connection:
            newest = readings.newest_batch(connection)
            if newest != seen:
                now_ms = time.time() * 1000
                series = readings.all_series(connection)[-1].id
                last = readings.latest(connection, series)
                arrived |= dict.fromkeys(range(seen + 1, newest + 1), now_ms)
                seen = newest
                if last is not None:
                    told.stored_ms.append(max(0.0, now_ms - last.at_ms))
        time.sleep(0.02)
    return arrived


async def _open_page(client: httpx.AsyncClient, told: Told, end_s: float) -> None:
    """Do as an open page does: listen, and ask for the page again at most every so often."""
    asked_s = 0.0
    async with client.stream("GET", "/live") as stream:
        async for line in stream.aiter_lines():
            now_s = time.monotonic()
            if now_s > end_s:
                return
            if not line.startswith("data: "):
                continue
            told.heard_ms.append((int(line[6:].split("-")[0]), time.time() * 1000))  # type: ignore[arg-type]
            if now_s - asked_s >= PATIENCE_S:
                asked_s = now_s
                answer = await client.get("/")
                told.page_ms.append((time.monotonic() - now_s) * 1000)
                told.refused += answer.status_code != 200
