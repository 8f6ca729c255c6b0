"""A full store, a store that another holds, a clock that is set: nothing lost, nothing doubled, and it is said."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from harness import Publisher, Yard, check, stop_and_leave, wait_until

from sensors.broker import Broker
from sensors.recorder import Recorder
from shared.settings import Settings
from shared.store import Store, readings

Yards = Callable[..., Yard]
Start = Callable[..., Broker]
Publish = Callable[..., None]
Until = Callable[..., None]
Connected = Callable[[Recorder], None]
SettingsFor = Callable[..., Settings]
T0 = 1_775_023_200_000


def numbered(start: int, count: int) -> list[tuple[str, str]]:
    return [
        ("workshop/t0", f'{{"temperature": {n / 1000}, "ts": {T0 + n * 1000}}}') for n in range(start, start + count)
    ]


def allow_pages(store: Store, pages: int) -> None:
    """Let the store's one writing connection take no more than so many pages: what a full disk looks like."""
    with store._writer.connect() as connection:
        raw = connection.connection.dbapi_connection
        assert raw is not None
        raw.execute(f"PRAGMA max_page_count={pages}")


def test_a_full_store_acknowledges_nothing_says_so_and_goes_on_when_there_is_room(
    start_broker: Start, store: Store, publish: Publish, until: Until, connected: Connected, settings_for: SettingsFor
) -> None:
    broker = start_broker()
    recorder = Recorder(settings_for(broker), store)
    connected(recorder)
    publish(broker, numbered(0, 100))
    until(recorder.step, lambda: recorder.stored == 100)
    allow_pages(store, 1)  # never fewer than there are: no further page
    publish(broker, numbered(100, 2000))
    until(recorder.step, lambda: recorder._failed_writes >= 3)
    assert "database or disk is full" in recorder._note()
    held = recorder.stored
    assert held < 2100
    with store.reading() as connection:  # pages can still be read
        assert readings.count(connection) == held
    allow_pages(store, 1_000_000)
    until(recorder.step, lambda: recorder.stored == 2100)
    stop_and_leave(recorder, broker)
    assert recorder._write_note == ""
    check(store, set(range(2100)), said="a full store")
    again = Recorder(settings_for(broker), store)
    connected(again)
    assert again._waiting == [] and again.stored == again.repeated == 0, "something was left unacknowledged"


@pytest.mark.slow
def test_a_store_that_another_holds_for_longer_than_the_timeout_delays_readings_and_loses_none(yards: Yards) -> None:
    yard = yards()
    publisher = Publisher(yard.broker.port, untimed=True)
    publisher.start()
    yard.wait_for(100)
    holder = sqlite3.connect(yard.store.path, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    log = Path(yard.folder / "recorder.log")
    wait_until(lambda: "database is locked" in log.read_text(encoding="utf-8"), yard.is_running)
    holder.execute("ROLLBACK")
    holder.close()
    yard.wait_for(yard.count() + 100)
    publisher.finish()
    yard.wait_for(len(publisher.acknowledged))
    check(yard.store, publisher.acknowledged, said="the store held for longer than its timeout")


@pytest.mark.parametrize("step_s", [-3600, 86_400])
def test_a_clock_that_is_set_under_way_loses_and_doubles_nothing(
    step_s: int,
    start_broker: Start,
    store: Store,
    publish: Publish,
    until: Until,
    connected: Connected,
    settings_for: SettingsFor,
) -> None:
    offset_ms = 0
    broker = start_broker()
    recorder = Recorder(settings_for(broker), store, clock_ms=lambda: time.time_ns() // 1_000_000 + offset_ms)
    connected(recorder)
    untimed = [("workshop/u1/temperature", repr(n / 1000)) for n in range(1000, 1400)]
    publish(broker, numbered(0, 200) + untimed[:200])
    until(recorder.step, lambda: recorder.stored == 400)
    offset_ms = step_s * 1000
    publish(broker, numbered(200, 200) + untimed[200:])
    until(recorder.step, lambda: recorder.stored == 800)
    recorder._beat_at_s = 0.0
    recorder.step()
    assert f"clock was set {'back' if step_s < 0 else 'on'} by {abs(step_s)} s" in recorder._note()
    recorder.run(stop=lambda: True)
    check(store, {*range(400), *range(1000, 1400)}, said=f"clock set by {step_s} s")
