"""What strangers send: each message is a reading or a reject, and its neighbours are not touched."""

from __future__ import annotations

import subprocess
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from harness import check, stop_and_leave, summed
from sqlalchemy import text

from sensors import broker as brokers
from sensors.broker import Broker
from sensors.recorder import Recorder
from sensors.topics import MAX_PROBES
from shared.settings import Settings
from shared.store import Store, readings

Start = Callable[..., Broker]
Publish = Callable[..., None]
Until = Callable[..., None]
Connected = Callable[[Recorder], None]
SettingsFor = Callable[..., Settings]
T0 = 1_775_023_200_000


def numbered(start: int, count: int) -> list[tuple[str, str | bytes]]:
    return [
        ("workshop/t0", f'{{"temperature": {n / 1000}, "ts": {T0 + n * 1000}}}') for n in range(start, start + count)
    ]


@pytest.fixture
def liberal(start_broker: Start) -> Iterator[Broker]:
    """A broker that passes on messages of any size."""
    first = start_broker()
    first.stop()
    config = Path(first.process.args[-1])  # type: ignore[index, arg-type]
    words = config.read_text(encoding="utf-8").replace("max_packet_size 65536\n", "")
    config.write_text(words, encoding="utf-8")
    process = subprocess.Popen(first.process.args, stderr=subprocess.DEVNULL)
    broker = Broker("mosquitto", first.port, first.port, process)
    brokers._wait_until_it_listens(broker)
    yield broker
    broker.stop()


BOMBS: list[bytes] = [
    b"9" * 1_000_000,
    b'{"temperature": 21.5, "x": "' + b"x" * 1_000_000 + b'"}',
    b"[" * 100_000,
    b'{"a":' * 9000 + b"1" + b"}" * 9000,
    b"[" * 8000 + b"]" * 8000,
    b'{"temperature": 1e999}',
    b'{"temperature": NaN}',
    b'{"temperature": ' + b"9" * 5000 + b"}",
    b'{"temperature": 21.5, "ts": 1e30}',
    b'{"temperature": "\\ud800"}',
    b"\xff\xfe\x00",
    b"\x00",
    b"",
]


def test_large_deep_and_broken_messages_are_rejects_and_every_reading_among_them_is_stored(
    liberal: Broker, store: Store, publish: Publish, until: Until, connected: Connected, settings_for: SettingsFor
) -> None:
    recorder = Recorder(settings_for(liberal), store)
    connected(recorder)
    messages: list[tuple[str, str | bytes]] = []
    for n, bomb in enumerate(BOMBS):
        messages += [*numbered(n * 10, 10), ("workshop/t0", bomb)]
    publish(liberal, messages)
    until(recorder.step, lambda: recorder.stored + recorder.rejected >= len(messages))
    recorder.run(stop=lambda: True)
    found = check(store, set(range(len(BOMBS) * 10)), rejected=len(BOMBS), said="1 MB messages and nesting bombs")
    assert found.sent == len(messages)
    with store.reading() as connection:
        kept = readings.recent_rejects(connection, 100)
    assert max(len(one.payload) for one in kept) <= readings.REJECT_PAYLOAD_BYTES
    assert all(one.reason for one in kept)


def test_one_bad_reading_in_a_batch_of_five_hundred_costs_no_other(
    start_broker: Start,
    store: Store,
    publish: Publish,
    until: Until,
    connected: Connected,
    settings_for: SettingsFor,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """One that passes every check and that the database still does not take: the fault is found by halves."""
    append = readings.append

    def fussy(connection, new, arrived_ms):  # type: ignore[no-untyped-def]
        if any(one.value == 0.321 for one in new):
            raise OverflowError("Python int too large to convert to SQLite INTEGER")
        return append(connection, new, arrived_ms)

    monkeypatch.setattr(readings, "append", fussy)
    broker = start_broker()
    recorder = Recorder(replace(settings_for(broker), commit_every_s=60.0), store)
    connected(recorder)
    publish(broker, numbered(0, 500))
    until(recorder.step, lambda: recorder.stored + recorder.rejected == 500)
    stop_and_leave(recorder, broker)
    check(store, set(range(500)) - {321}, rejected=1, said="one bad reading in a batch of 500")
    with store.reading() as connection:
        (one,) = readings.recent_rejects(connection, 10)
    assert one.reason == "could not be stored (OverflowError)"
    assert one.payload.decode() == numbered(321, 1)[0][1]
    again = Recorder(settings_for(broker), store)
    connected(again)
    assert again._waiting == [], "something was left unacknowledged"


def test_ten_thousand_unknown_topics_neither_fill_the_store_with_probes_nor_stop_a_known_one(
    start_broker: Start, store: Store, publish: Publish, until: Until, connected: Connected, settings_for: SettingsFor
) -> None:
    broker = start_broker()
    recorder = Recorder(settings_for(broker), store)
    connected(recorder)
    publish(broker, numbered(0, 1))
    until(recorder.step, lambda: recorder.stored == 1)
    flood: list[tuple[str, str | bytes]] = [
        (f"workshop/flood/{n}", f'{{"temperature": {n / 1000}, "ts": {T0 + n * 1000}}}') for n in range(1, 10_001)
    ]
    began_s = time.monotonic()
    publish(broker, [*flood, *numbered(20_000, 50)])
    until(recorder.step, lambda: recorder.stored + recorder.rejected == 10_051)
    print(f"{time.monotonic() - began_s:.1f} s for 10,050 messages")
    recorder.run(stop=lambda: True)
    found = summed(store, 10_051)
    print(f"10,000 unknown topics: {found}")
    assert found.sent == found.stored + found.rejected
    assert found.stored == MAX_PROBES + 50
    with store.reading() as connection:
        assert len(readings.all_series(connection)) == MAX_PROBES
        reasons = connection.execute(text("SELECT DISTINCT reason FROM reject")).scalars().all()
    assert reasons == [f"a new topic, and there are already {MAX_PROBES} probes"]
