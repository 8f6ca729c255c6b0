"""Verdicts on their way out, through kills and a broker that is away: none is lost, none overtakes another.

A recorder that spares the disk marks what was acknowledged up to twenty seconds later: it is killed in between.
"""

from __future__ import annotations

import threading
from collections.abc import Callable

import paho.mqtt.client as mqtt
from harness import Publisher, Yard, check, wait_until

from shared.store import outbox

Yards = Callable[..., Yard]
ROOT = "benchdry/verdict"


class Listener:
    """Hears every verdict in its order, through whatever happens to the broker."""

    def __init__(self, port: int) -> None:
        self.heard: list[tuple[str, str]] = []
        self._granted = threading.Event()
        client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id="shop", clean_session=False)
        client.reconnect_delay_set(1, 1)
        client.on_connect = lambda *_: client.subscribe(f"{ROOT}/board/#", 1)
        client.on_subscribe = lambda *_: self._granted.set()
        client.on_message = self._hear
        client.connect("127.0.0.1", port)
        client.loop_start()
        self.client = client
        assert self._granted.wait(60)

    def _hear(self, _client: mqtt.Client, _data: object, one: mqtt.MQTTMessage) -> None:
        if not one.retain:  # the broker's copy for one who subscribes again: its session has heard it already
            self.heard.append((one.topic[len(ROOT) + 7 :], one.payload.decode()))

    def of(self, code: str) -> list[str]:
        return [payload for one, payload in self.heard if one == code]

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


def post(yard: Yard, code: str, payload: str) -> None:
    with yard.store.writing() as connection:
        outbox.put(connection, topic=f"{ROOT}/board/{code}", payload=payload, retain=True, made_ms=1)


def waiting(yard: Yard) -> int:
    with yard.store.reading() as connection:
        return outbox.waiting(connection)


def test_a_recorder_killed_between_acknowledgement_and_mark_publishes_once_more_and_marks_in_the_end(
    yards: Yards,
) -> None:
    yard = yards("mosquitto", "commit_every_s=30.0")
    listener = Listener(yard.port)
    post(yard, "A1", "first")
    for kills in range(1, 4):
        yard.kill_recorder()
        wait_until(lambda kills=kills: len(listener.of("A1")) == kills, yard.is_running)  # type: ignore[misc]
        assert waiting(yard) == 1, "it went out, and is not yet marked"
    yard.settings = ()
    yard.kill_recorder()
    wait_until(lambda: waiting(yard) == 0, yard.is_running)
    heard = listener.of("A1")
    assert heard == ["first"] * 4, "once more for each kill, and the same each time"
    yard.kill_recorder()
    post(yard, "A2", "second")
    wait_until(lambda: listener.of("A2") == ["second"], yard.is_running)
    assert listener.of("A1") == heard, "what was marked is never published again"
    listener.close()


def test_while_the_broker_is_away_the_newest_of_each_waits_and_comes_when_it_is_back(yards: Yards) -> None:
    yard = yards()
    listener = Listener(yard.port)
    yard.broker.stop()
    for number in range(5):
        for code in ("A1", "A2"):
            post(yard, code, f"{code} {number}")
    assert waiting(yard) == 2
    yard.start_broker()
    wait_until(lambda: waiting(yard) == 0, yard.is_running)
    wait_until(lambda: listener.of("A1") and listener.of("A2"), yard.is_running)
    assert [listener.of(code) for code in ("A1", "A2")] == [["A1 4"], ["A2 4"]]
    listener.close()


def test_under_load_and_kills_readings_are_stored_once_and_the_last_verdict_of_each_board_is_the_one_kept(
    yards: Yards,
) -> None:
    yard = yards()
    listener = Listener(yard.port)
    publisher = Publisher(yard.broker.port, untimed=True, per_second=300)
    publisher.start()
    for number in range(12):
        for board in range(8):
            post(yard, f"B{board}", f"{number}")
        yard.wait_for(yard.count() + 50)
        if number % 4 == 3:
            yard.kill_recorder()
    publisher.finish()
    yard.wait_for(len(publisher.acknowledged))
    wait_until(lambda: waiting(yard) == 0, yard.is_running)
    wait_until(lambda: all(listener.of(f"B{one}")[-1:] == ["11"] for one in range(8)), yard.is_running)
    for board in range(8):
        numbers = [int(payload) for payload in listener.of(f"B{board}")]
        assert numbers == sorted(numbers), "an older verdict came after a newer one"
    check(yard.store, publisher.acknowledged, said="3 kills beside verdicts")
    listener.close()
