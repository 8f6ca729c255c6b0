"""Sends Oxlip Weir's invented history, or a sample log, to a broker as real MQTT messages at QoS 1.

A replayed message always carries its own time. A second run needs only what is missing: give
``messages`` what ``last_stored`` found. A live message carries no time, as a real probe's.
"""

from __future__ import annotations

import csv
import json
import math
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import paho.mqtt.client as mqtt
from sqlalchemy import Connection

from sensors.demo_air import NO_FAULTS, PROBES, Faults, Probe, Readings, iso_time, probe_readings
from sensors.demo_weather import SEED, Times
from shared.errors import BadInput, Refused
from shared.store import facts, readings
from shared.store.records import ProbeFact
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE

FINE_STEP_MS = 10 * MS_PER_MINUTE
DAYS_PER_MONTH = 365.25 / 12
COLUMNS = ["time", "temperature_c", "rh_pct"]
# What a probe sends when it is live; the same shape all its life. The others send a flat object.
SENML, PLAIN = ("shed-low", "shed-high"), ("loft-beam", "bench-rack")
TELL_EVERY = 50  # messages between two words of progress
CONNECT_WITHIN_S = 10.0
LOOK_EVERY_S = 0.02


class Outgoing(NamedTuple):
    """One message to publish, and how many readings are in it."""

    topic: str
    payload: str
    readings: int


@dataclass(frozen=True)
class Messages:
    """A history ready to be sent, in time order over all probes; go through it as often as you like."""

    probes: tuple[Probe, ...]
    kept: tuple[Readings, ...]

    def __len__(self) -> int:
        """Return how many messages there are."""
        return sum(len(one.at_ms) for one in self.kept)

    @property
    def readings(self) -> int:
        """Return how many readings are in them: a temperature and a humidity each."""
        return 2 * len(self)

    def __iter__(self) -> Iterator[Outgoing]:
        """Give one message after the other."""
        which = np.concatenate([np.full(len(one.at_ms), i) for i, one in enumerate(self.kept)])
        at_ms, temperature_c, rh_pct = (
            np.concatenate([getattr(one, name) for one in self.kept]) for name in ("at_ms", "temperature_c", "rh_pct")
        )
        for row in np.lexsort((which, at_ms)):
            yield _timed(self.probes[which[row]].topic, iso_time(at_ms[row]), temperature_c[row], rh_pct[row])


def _timed(topic: str, time_text: str, temperature_c: float, rh_pct: float) -> Outgoing:
    content = {"temperature": float(temperature_c), "humidity": float(rh_pct), "time": time_text}
    return Outgoing(topic, json.dumps(content), 2)


def history_times(now_ms: int, months: float = 14, fine_days: float = 14) -> Times:
    """Return the times (UTC ms) of a history: whole hours, then every ten minutes over the last ``fine_days``.

    All are whole multiples of ten minutes since 1970, so that later histories repeat the same times.
    """
    fine_ms = (now_ms - round(fine_days * MS_PER_DAY)) // MS_PER_HOUR * MS_PER_HOUR
    start_ms = (now_ms - round(months * DAYS_PER_MONTH * MS_PER_DAY)) // MS_PER_HOUR * MS_PER_HOUR
    coarse = np.arange(start_ms, fine_ms, MS_PER_HOUR, dtype=np.int64)
    fine = np.arange(max(fine_ms, start_ms), now_ms + 1, FINE_STEP_MS, dtype=np.int64)
    return np.concatenate([coarse, fine])


def messages(
    now_ms: int,
    since_ms: Mapping[str, int] | None = None,
    faults: Faults = NO_FAULTS,
    *,
    months: float = 14,
    fine_days: float = 14,
    seed: int = SEED,
    probes: tuple[Probe, ...] = PROBES,
) -> Messages:
    """Return the history up to ``now_ms`` (UTC ms), merged over the probes in time order.

    ``since_ms`` gives, by probe code, the time of the last reading already stored: only later ones are sent.
    """
    times = history_times(now_ms, months, fine_days)
    kept = []
    for probe in probes:
        after_ms = (since_ms or {}).get(probe.code)
        wanted = times if after_ms is None else times[times > after_ms]
        kept.append(probe_readings(probe, wanted, seed, faults))
    return Messages(tuple(probes), tuple(kept))


def last_stored(connection: Connection, probes: tuple[Probe, ...] = PROBES) -> dict[str, int]:
    """Return, by probe code, the time (UTC ms) up to which both quantities are stored; unknown probes are left out.

    Flagged readings count as well: a probe whose figure stands still has sent, and sends nothing new twice.
    """
    codes = {probe.topic: probe.code for probe in probes}
    named = facts.standing(connection, ProbeFact)
    by_id = {fact.subject_id: codes[fact.topic] for fact in named if fact.topic in codes}
    found: dict[str, list[int]] = {}
    for series in readings.all_series(connection):
        newest = readings.latest(connection, series.id) if series.probe_id in by_id else None
        if newest is not None:
            found.setdefault(by_id[series.probe_id], []).append(newest.at_ms)
    return {code: min(times) for code, times in found.items() if len(times) == 2}


def live(now_ms: int, faults: Faults = NO_FAULTS, *, seed: int = SEED) -> list[Outgoing]:
    """Return what every probe that is not silent says at ``now_ms`` (UTC ms), each in its shape, without a time."""
    sent = []
    for probe in PROBES:
        got = probe_readings(probe, np.array([now_ms], dtype=np.int64), seed, faults)
        if len(got.at_ms):
            sent += _live_shape(probe, float(got.temperature_c[0]), float(got.rh_pct[0]))
    return sent


def _live_shape(probe: Probe, temperature_c: float, rh_pct: float) -> list[Outgoing]:
    if probe.code in PLAIN:
        return [
            Outgoing(f"{probe.topic}/temperature", f"{temperature_c:.1f}", 1),
            Outgoing(f"{probe.topic}/humidity", f"{rh_pct:.1f}", 1),
        ]
    if probe.code in SENML:
        pack = [
            {"bn": f"{probe.code}:", "n": "temperature", "u": "Cel", "v": temperature_c},
            {"n": "humidity", "u": "%RH", "v": rh_pct},
        ]
        return [Outgoing(probe.topic, json.dumps(pack), 2)]
    return [Outgoing(probe.topic, json.dumps({"temperature": temperature_c, "humidity": rh_pct}), 2)]


def plausible_next(now_ms: int) -> Outgoing:
    """Return what a person may send as the loft's next reading: a little warmer than it is, so that it is believed."""
    probe = next(probe for probe in PROBES if probe.code == "loft-beam")
    got = probe_readings(probe, np.array([now_ms], dtype=np.int64), SEED, NO_FAULTS)
    warmer_c, drier_pct = round(float(got.temperature_c[0]) + 1.5, 1), round(float(got.rh_pct[0]) - 4.0, 1)
    return Outgoing(probe.topic, json.dumps({"temperature": warmer_c, "humidity": drier_pct}), 2)


def read_log(path: Path) -> Iterator[Outgoing]:
    """Give the messages of a sample log: comment lines (one of them ``# topic: …``), column names, rows.

    Raises BadInput naming the line, where the file is not such a log; Refused where it cannot be read.
    """
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "not UTF-8 text"
        raise Refused(f"The log {path} cannot be read: {reason}.") from error
    comments = [line for line in lines if line.startswith("#")]
    topic = next((line.partition("topic:")[2].strip() for line in comments if line.startswith("# topic:")), "")
    if not topic:
        raise BadInput(f"topic in {path.name}", "", "a comment line like # topic: workshop/yard/yard-north")
    rows = ((number, line) for number, line in enumerate(lines, 1) if line.strip() and not line.startswith("#"))
    heading = next(rows, (0, ""))[1]
    if heading.split(",") != COLUMNS:
        raise BadInput(f"column names in {path.name}", heading, ",".join(COLUMNS))
    for number, line in rows:
        yield _row_message(f"line {number} of {path.name}", topic, line)


def _row_message(where: str, topic: str, line: str) -> Outgoing:
    cells = next(csv.reader([line]))
    try:
        time_text, temperature_c, rh_pct = cells[0], float(cells[1]), float(cells[2])
    except (IndexError, ValueError):
        raise BadInput(where, line, "time,temperature_c,rh_pct with two numbers") from None
    if len(cells) != 3 or not (math.isfinite(temperature_c) and math.isfinite(rh_pct)):
        raise BadInput(where, line, "time,temperature_c,rh_pct with two numbers")
    return _timed(topic, time_text, temperature_c, rh_pct)


class Sender:
    """Publishes messages no faster than they are acknowledged and, when told what is stored, than they are kept.

    ``stored`` returns how many readings have been committed (only its growth counts); the sender stays at
    most ``ahead`` readings before it. Start the recorder first: a broker keeps nothing for a client that
    has never subscribed.
    """

    def __init__(
        self,
        host: str,
        port: int,
        *,
        prepare: Callable[[mqtt.Client], None] = lambda _: None,
        in_flight: int = 400,
        ahead: int = 5000,
        stored: Callable[[], int] | None = None,
        progress: Callable[[int], None] | None = None,
        patience_s: float = 30.0,
    ) -> None:
        """Prepare; ``prepare`` gives the client what the broker asks for before it connects.

        ``progress`` is told how many readings have been sent; ``patience_s`` is how long a halt may last.
        """
        self._where = f"{host}:{port}"
        self._host, self._port, self._prepare = host, port, prepare
        self._in_flight, self._ahead, self._patience_s = in_flight, ahead, patience_s
        self._stored, self._progress = stored, progress
        self._changed = threading.Condition()
        self._unacknowledged = 0
        self._answer: Any = None

    def send(self, outgoing: Iterable[Outgoing]) -> int:
        """Publish all, wait until the broker has acknowledged all, and return how many readings that were.

        Raises Refused when the broker cannot be reached, does not let us in or stops answering, and when
        the recorder stops storing. What was acknowledged stays sent.
        """
        self._unacknowledged, self._answer = 0, None
        client = self._connected()
        try:
            sent = self._publish_all(client, outgoing)
            self._wait_for_broker(0)
        finally:
            client.disconnect()
            client.loop_stop()
        self._tell(sent)
        return sent

    def _connected(self) -> mqtt.Client:
        client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv311)
        self._prepare(client)
        client.max_inflight_messages_set(self._in_flight)
        client.on_connect, client.on_publish = self._on_connect, self._on_publish
        try:
            client.connect(self._host, self._port)
        except OSError as error:
            reason = error.strerror or str(error)
            raise Refused(f"There is no broker at {self._where} ({reason}); start it, then send again.") from error
        client.loop_start()
        with self._changed:
            self._changed.wait_for(lambda: self._answer is not None, CONNECT_WITHIN_S)
        if self._answer is None or self._answer.is_failure:
            client.loop_stop()
            said = "no answer" if self._answer is None else str(self._answer)
            raise Refused(f"The broker at {self._where} did not let us in: {said}.")
        return client

    def _publish_all(self, client: mqtt.Client, outgoing: Iterable[Outgoing]) -> int:
        sent = 0
        base = self._stored() if self._stored else 0
        allowed = self._ahead  # how far we may go before we have to look at the store again
        for number, one in enumerate(outgoing):
            self._wait_for_broker(self._in_flight - 1)
            if self._stored and sent + one.readings > allowed:
                allowed = self._wait_for_store(self._stored, sent + one.readings, base)
            with self._changed:
                self._unacknowledged += 1
            client.publish(one.topic, one.payload, qos=1)
            sent += one.readings
            if number % TELL_EVERY == 0:
                self._tell(sent)
        return sent

    def _wait_for_broker(self, at_most: int) -> None:
        """Wait until at most so many messages are unacknowledged; give up when no acknowledgement comes."""
        with self._changed:
            while self._unacknowledged > at_most:
                before = self._unacknowledged
                moved = self._changed.wait_for(lambda was=before: self._unacknowledged < was, self._patience_s)
                if not moved:
                    raise Refused(
                        f"The broker at {self._where} has acknowledged nothing for {self._patience_s:g} s; "
                        "see that it runs, then send again: readings already stored are not doubled."
                    )

    def _wait_for_store(self, stored: Callable[[], int], wanted: int, base: int) -> int:
        """Wait until ``wanted`` readings are at most ``ahead`` of the store; return how far we may now go."""
        kept, moved_s = stored() - base, time.monotonic()
        while wanted > kept + self._ahead:
            time.sleep(LOOK_EVERY_S)
            now_kept = stored() - base
            if now_kept > kept:
                kept, moved_s = now_kept, time.monotonic()
            elif time.monotonic() - moved_s > self._patience_s:
                raise Refused(
                    f"The recorder has stored nothing for {self._patience_s:g} s; "
                    "see that it runs, then send again: readings already stored are not doubled."
                )
        return kept + self._ahead

    def _tell(self, sent: int) -> None:
        if self._progress:
            self._progress(sent)

    def _on_connect(self, _client: Any, _data: Any, _flags: Any, reason: Any, _props: Any) -> None:
        with self._changed:
            self._answer = reason
            self._changed.notify_all()

    def _on_publish(self, _client: Any, _data: Any, _mid: int, _reason: Any, _props: Any) -> None:
        with self._changed:
            self._unacknowledged -= 1
            self._changed.notify_all()
