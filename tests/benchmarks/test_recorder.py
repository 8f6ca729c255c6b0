"""The recorder beside the stock MQTT client that only receives and acknowledges, on the same queue in the same run.

Both have a session of their own with the same broker; the same messages wait in both, and each is given the time
from its connection to its last message: for the recorder, all of them on disk and acknowledged. The stock client is
paho with its own acknowledgement and the same Receive Maximum. `make bench` prints the ratio, and beside it how fast
the bare database interface writes the same rows, and what the recorder costs while nothing comes.
"""

import json
import sqlite3
import statistics
import time

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from sensors import broker as brokers
from sensors.client import RECEIVE_MAXIMUM
from sensors.recorder import Recorder
from sensors.replay import Outgoing, Sender
from shared.settings import Settings
from shared.store import Store, readings

MESSAGES, ROUNDS, PROBES = 20_000, 5, 20
STEP_MS, START_MS = 60_000, 1_700_000_000_000
STOCK_ID, FILTER = "bench-stock", "workshop/#"
LONG_S = 120.0
LEAST = {1: 0.9, 2: 0.7}  # of the stock client, by readings in a message; each is decoded, judged and summed up
IDLE_S, MOST_IDLE = 20.0, 0.05  # of one core


@pytest.fixture(scope="module")
def broker(tmp_path_factory):
    assert brokers.find_mosquitto(), "mosquitto is not installed: make setup-test"
    started = brokers.start(tmp_path_factory.mktemp("broker"))
    yield started
    started.stop()


def messages(first, shape):
    """Numbered messages of twenty probes that report each minute, each with its own time."""
    for number in range(first, first + MESSAGES):
        at_ms = START_MS + number // PROBES * STEP_MS
        temperature = 18.0 + number % 37 * 0.1
        values = {"temperature": temperature, "humidity": 60.0 + number % 41 * 0.1} if shape == 2 else temperature
        content = values | {"time": at_ms} if shape == 2 else {"temperature": values, "time": at_ms}
        yield Outgoing(f"workshop/probe-{shape}-{number % PROBES}", json.dumps(content), shape)


def stock_client():
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, STOCK_ID, protocol=mqtt.MQTTv5)
    asked = Properties(PacketTypes.CONNECT)
    asked.SessionExpiryInterval, asked.ReceiveMaximum = 3600, RECEIVE_MAXIMUM
    return client, asked


def stock_drain(port, expected):
    """Receive and acknowledge so many with the stock client; return the seconds it took."""
    client, asked = stock_client()
    got = 0

    def count(*_):
        nonlocal got
        got += 1

    client.on_message = count
    client.on_connect = lambda client, *_: client.subscribe(FILTER, qos=1)
    began_s = time.perf_counter()
    client.connect("127.0.0.1", port, clean_start=False, properties=asked)
    while got < expected and time.perf_counter() - began_s < LONG_S:
        client.loop(0.1)
    took_s = time.perf_counter() - began_s
    client.disconnect()
    client.loop(0.1)
    assert got == expected
    return took_s


def recorder_drain(port, store, expected):
    """Let a recorder store and acknowledge so many readings; return the seconds it took."""
    began_s = time.perf_counter()
    recorder = Recorder(Settings(broker_port=port), store)
    recorder.run(lambda: recorder.stored >= expected or time.perf_counter() - began_s > LONG_S)
    took_s = time.perf_counter() - began_s
    assert recorder.stored == expected
    return took_s


def bare_rows_per_s(folder, rows):
    """Write the same rows with the bare interface in batches of 500, each in a durable transaction."""
    connection = sqlite3.connect(folder / "bare.sqlite3", isolation_level=None)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute(
        "CREATE TABLE reading (series INTEGER, at_ms INTEGER, value REAL, quality INTEGER, source INTEGER,"
        " PRIMARY KEY (series, at_ms)) WITHOUT ROWID"
    )
    began_s = time.perf_counter()
    for first in range(0, len(rows), 500):
        connection.execute("BEGIN")
        connection.executemany("INSERT INTO reading VALUES (?, ?, ?, 0, 0)", rows[first : first + 500])
        connection.execute("COMMIT")
    took_s = time.perf_counter() - began_s
    connection.close()
    return len(rows) / took_s


@pytest.mark.parametrize("shape", [1, 2], ids=["one reading a message", "two readings a message"])
def test_a_full_queue_is_drained_as_fast_as_by_a_client_that_keeps_nothing(tmp_path, broker, shape):
    port = broker.port_v5
    store = Store(tmp_path / "store.sqlite3")
    store.create_or_upgrade()
    Recorder(Settings(broker_port=port), store).run(_after(1.0))  # subscribed from here on
    client, asked = stock_client()
    client.on_connect = lambda client, *_: client.subscribe(FILTER, qos=1)
    client.connect("127.0.0.1", port, clean_start=False, properties=asked)
    for _ in range(20):
        client.loop(0.05)
    client.disconnect()
    stock_s, ours_s = [], []
    for round_ in range(ROUNDS):
        Sender("127.0.0.1", broker.port).send(messages(round_ * MESSAGES, shape))
        turns = [
            lambda: stock_s.append(stock_drain(port, MESSAGES)),
            lambda: ours_s.append(recorder_drain(port, store, MESSAGES * shape)),
        ]
        for turn in turns if round_ % 2 else reversed(turns):
            turn()
    with store.reading() as connection:
        assert readings.count(connection) == ROUNDS * MESSAGES * shape
    store.close()
    bare = bare_rows_per_s(tmp_path, [(n % PROBES, n // PROBES * STEP_MS, 18.0) for n in range(MESSAGES * shape)])
    ratio = statistics.median(stock / ours for stock, ours in zip(stock_s, ours_s, strict=True))
    stock, ours = (MESSAGES / statistics.median(times) for times in (stock_s, ours_s))
    print(
        f"\n{shape} reading(s) a message: recorder {ours:,.0f} messages/s on disk, stock client {stock:,.0f} kept"
        f" nowhere: {ratio:.2f}; bare executemany {bare:,.0f} rows/s"
    )
    assert ratio >= LEAST[shape]


def test_a_recorder_to_which_nothing_comes_costs_next_to_nothing(tmp_path, broker):
    store = Store(tmp_path / "store.sqlite3")
    store.create_or_upgrade()
    recorder = Recorder(Settings(broker_port=broker.port_v5, recorder_id="bench-idle", broker_topics="none/#"), store)
    recorder.run(_after(2.0))
    before_s = time.process_time()
    Recorder(Settings(broker_port=broker.port_v5, recorder_id="bench-idle", broker_topics="none/#"), store).run(
        _after(IDLE_S)
    )
    share = (time.process_time() - before_s) / IDLE_S
    store.close()
    print(f"\nidle recorder: {100.0 * share:.2f} % of one core over {IDLE_S:g} s")
    assert share <= MOST_IDLE


def _after(seconds):
    ends_s = time.monotonic() + seconds
    return lambda: time.monotonic() >= ends_s
