"""The broker is restarted and killed, the network flaps or goes dead: what the broker acknowledged is stored once.

A broker that is killed keeps what it had saved; the recorder's session is saved once it has been there for one
autosave_interval, which the tests do not wait for but ask for.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import suppress

import pytest
from harness import Proxy, Publisher, Yard, check

from sensors import client as client_module
from sensors.broker import Broker
from sensors.recorder import Recorder
from shared.settings import Settings
from shared.store import Store, readings
from shared.store.records import Reading

Yards = Callable[..., Yard]
Start = Callable[..., Broker]
Publish = Callable[..., None]
Until = Callable[..., None]
Connected = Callable[[Recorder], None]
Stored = Callable[[Store], list[Reading]]
SettingsFor = Callable[..., Settings]
TOPIC = "workshop/t0"
T0 = 1_775_023_200_000


def kill_brokers_under_load(yard: Yard, publisher: Publisher, kills: int, steady_s: float) -> None:
    yard.save_broker()
    publisher.start()
    for _ in range(kills):
        yard.wait_for(yard.count() + 100)
        time.sleep(steady_s)  # so that the recorder's connection counts as a good one, and it is back at once
        yard.catch_up(publisher)
        time.sleep(0.2)
        yard.kill_broker()
    yard.wait_for(yard.count() + 100)
    publisher.finish()
    yard.wait_for(len(publisher.acknowledged))


def test_a_broker_killed_twice_under_load_loses_nothing_that_the_recorder_was_there_to_take(yards: Yards) -> None:
    yard = yards()
    publisher = Publisher(yard.broker.port, per_second=400)
    kill_brokers_under_load(yard, publisher, 2, steady_s=0.0)
    check(yard.store, publisher.acknowledged, said="2 kills of the broker")


@pytest.mark.slow
@pytest.mark.timeout(1800)
def test_a_broker_killed_ten_times_under_load_loses_nothing_that_the_recorder_was_there_to_take(yards: Yards) -> None:
    yard = yards()
    publisher = Publisher(yard.broker.port, per_second=400)
    kill_brokers_under_load(yard, publisher, 10, steady_s=client_module.STEADY_S)
    check(yard.store, publisher.acknowledged, said="10 kills of the broker")


def test_a_broker_ended_in_order_under_load_and_a_network_that_flaps_lose_nothing(yards: Yards) -> None:
    yard = yards(wired=True)
    publisher = Publisher(yard.broker.port, untimed=False)
    publisher.start()
    for _ in range(3):
        yard.wait_for(yard.count() + 100)
        yard.wire.cut()
    yard.wait_for(yard.count() + 100)
    yard.broker.stop()
    yard.start_broker()
    publisher.finish()
    yard.wait_for(len(publisher.acknowledged))
    check(yard.store, publisher.acknowledged, said="3 cuts of the network, the broker restarted")


def test_a_network_that_flaps_doubles_no_reading_without_a_time(yards: Yards) -> None:
    yard = yards(wired=True)
    publisher = Publisher(yard.broker.port, untimed=True)
    publisher.start()
    for _ in range(3):
        yard.wait_for(yard.count() + 100)
        yard.wire.cut()
    publisher.finish()
    yard.wait_for(len(publisher.acknowledged))
    check(yard.store, publisher.acknowledged, said="3 cuts of the network, every second reading without a time")


def numbered(start: int, count: int) -> list[tuple[str, str]]:
    return [(TOPIC, f'{{"temperature": {n / 1000}, "ts": {T0 + n * 1000}}}') for n in range(start, start + count)]


def test_a_connection_that_goes_dead_without_a_word_is_noticed_and_made_anew(
    start_broker: Start,
    store: Store,
    publish: Publish,
    until: Until,
    connected: Connected,
    settings_for: SettingsFor,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(client_module, "KEEPALIVE_S", 2)
    broker = start_broker()
    wire = Proxy(broker.port)
    wire.start()
    recorder = Recorder(settings_for(Broker("wire", wire.port, wire.port, broker.process)), store)
    connected(recorder)
    publish(broker, numbered(0, 50))
    until(recorder.step, lambda: recorder.stored == 50)
    wire.go_dead()
    publish(broker, numbered(50, 50))  # sent into the dead wire
    until(recorder.step, lambda: recorder._client.life == 2)
    until(recorder.step, lambda: recorder.stored == 100)
    recorder.run(stop=lambda: True)
    wire.close()
    check(store, set(range(100)), said="a dead wire")


def test_two_recorders_with_one_id_do_not_fight_and_what_either_takes_is_stored_once(
    start_broker: Start, store: Store, publish: Publish, until: Until, connected: Connected, settings_for: SettingsFor
) -> None:
    broker = start_broker()
    both = [Recorder(settings_for(broker), store) for _ in range(2)]
    connected(both[0])

    def step() -> None:
        for one in both:
            one.step(0.01)

    until(step, lambda: both[1]._client.life >= 1 and both[0]._client.life >= 2)
    ends_s = time.monotonic() + 8
    for start in range(0, 400, 20):
        publish(broker, numbered(start, 20))
        step()
    while time.monotonic() < ends_s:
        step()
    until(step, lambda: both[0].stored + both[1].stored >= 400)
    lives = sum(one._client.life for one in both)
    print(f"{lives} connections in 8 s")
    assert lives <= 14, "they take the name from each other without a pause"  # 8,000 in ten seconds without one
    check(store, set(range(400)), said="two recorders, one id")


def test_a_hundred_connections_with_forty_retained_topics_store_nothing(
    start_broker: Start,
    store: Store,
    publish: Publish,
    until: Until,
    connected: Connected,
    settings_for: SettingsFor,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(client_module, "RETRY_S", (0.0,))
    broker = start_broker()
    for topic in range(40):
        publish(broker, [(f"workshop/r{topic}/temperature", "21.5")], retain=True)
    recorder = Recorder(settings_for(broker), store)
    connected(recorder)
    for life in range(1, 101):
        with suppress(OSError):
            recorder._client.close()
        until(lambda: recorder.step(0.01), lambda life=life: recorder._client.life > life)  # type: ignore[misc]
    for _ in range(10):
        recorder.step()
    publish(broker, numbered(0, 1))
    until(recorder.step, lambda: recorder.stored == 1)
    check(store, {0}, said="100 connections, 40 retained topics")
    with store.reading() as connection:
        assert len(readings.all_series(connection)) == 1
