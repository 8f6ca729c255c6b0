"""`benchdry listen` against a real broker: what is shown, what is marked, and a probe added in one step."""

from __future__ import annotations

import contextlib
import io
import os
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from unittest import mock

import paho.mqtt.client as mqtt
import pytest
from rich.console import Console

from dashboards.terminal import entering, listening
from sensors.broker import Broker, free_port
from sensors.listener import Traffic
from shared.errors import BadInput, Refused
from shared.store import Store, facts
from shared.store.records import PlaceFact, ProbeFact, ProbePosition, SubjectKind

Start = Callable[..., Broker]
PATIENCE_S = 60.0


class Screen:
    """What a command printed so far."""

    def __init__(self) -> None:
        self._file = io.StringIO()
        self.console = Console(file=self._file, width=200)

    def __str__(self) -> str:
        return self._file.getvalue()


@pytest.fixture
def screen(monkeypatch: pytest.MonkeyPatch) -> Screen:
    made = Screen()
    monkeypatch.setattr(listening, "console", made.console)
    monkeypatch.setattr(entering, "console", made.console)
    return made


@pytest.fixture
def yard(tmp_path: Path, start_broker: Start) -> Iterator[tuple[Path, Broker, Store]]:
    broker = start_broker()
    folder = tmp_path / "yard"
    folder.mkdir()
    (folder / "benchdry.toml").write_text(f'broker_port = {broker.port_v5}\nlocal_zone = "Europe/Berlin"\n')
    store = Store(folder / "benchdry.sqlite3")
    store.create_or_upgrade()
    with store.writing() as connection:
        place = facts.add_subject(connection, SubjectKind.PLACE, "shed")
        values = {"name": "Shed", "kind": "shed", "altitude_m": 0.0, "closed": False}
        facts.add(connection, PlaceFact, place.id, true_at_ms=0, entered_at_ms=0, by="test", **values)
    yield folder, broker, store
    store.close()


class Sender:
    """Sends the same messages again and again, until it is closed: whenever one listens, something comes."""

    def __init__(self, broker: Broker, messages: list[tuple[str, bytes]]) -> None:
        self._client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
        self._client.connect("127.0.0.1", broker.port)
        self._client.loop_start()
        self._messages, self._stop = messages, threading.Event()
        self._thread = threading.Thread(target=self._send, daemon=True)
        self._thread.start()

    def _send(self) -> None:
        while not self._stop.wait(0.05):
            for topic, payload in self._messages:
                self._client.publish(topic, payload)

    def close(self) -> None:
        self._stop.set()
        self._thread.join()
        self._client.disconnect()
        self._client.loop_stop()


@contextlib.contextmanager
def sending(broker: Broker, *messages: tuple[str, bytes]) -> Iterator[None]:
    sender = Sender(broker, list(messages))
    try:
        yield
    finally:
        sender.close()


def listen_until(screen: Screen, folder: Path, *words: str) -> str:
    """Listen until every word was shown, then press Ctrl-C; return the whole screen."""

    def now_ms() -> int:  # asked for at each message
        if all(word in str(screen) for word in words):
            raise KeyboardInterrupt
        return time.time_ns() // 1_000_000

    with mock.patch.object(listening.home, "now_ms", now_ms):
        listening.listen(seconds=PATIENCE_S, folder=folder)
    assert [word for word in words if word not in str(screen)] == []
    return str(screen)


def test_each_shape_is_named_with_its_values_and_what_is_not_understood_with_its_reason(
    screen: Screen, yard: tuple[Path, Broker, Store]
) -> None:
    folder, broker, _ = yard
    messages = [
        ("workshop/flat", b'{"temperature": 18.4, "humidity": 71}'),
        ("workshop/single/weight_g", b"18400"),
        ("workshop/pack", b'[{"bn": "p1:", "u": "Cel", "v": 5}, {"bn": "p2:", "u": "Cel", "v": 9}]'),
        ("workshop/none", b"open"),
    ]
    with sending(broker, *messages):
        said = listen_until(
            screen,
            folder,
            "live  workshop/flat  flat JSON  18.4 °C, 71 %RH",
            "live  workshop/single/weight_g  one value a topic  workshop/single: 18.4 kg",
            "live  workshop/pack  SenML  workshop/pack/p1: 5 °C; workshop/pack/p2: 9 °C",
            "live  workshop/none  one value a topic  not understood: neither JSON nor a number",
        )
    table = said[said.rindex("last reason") :]
    assert "workshop/pack/p1, workshop/pack/p2" in table


def test_a_retained_copy_is_marked_and_a_live_message_of_the_same_topic_is_not(
    screen: Screen, yard: tuple[Path, Broker, Store], publish: Callable[..., None]
) -> None:
    folder, broker, _ = yard
    publish(broker, [("workshop/homie/node/temperature", "3")], retain=True)
    with sending(broker, ("workshop/homie/node/temperature", b"4")):
        said = listen_until(screen, folder, "workshop/homie/node: 3 °C", "workshop/homie/node: 4 °C")
    kinds = {
        line.split("node: ")[1][:1]: "retained, of unknown age" in line
        for line in said.splitlines()
        if ": " in line and "°C" in line
    }
    assert kinds == {"3": True, "4": False}


def test_what_a_stranger_sends_does_not_steer_the_terminal(screen: Screen, yard: tuple[Path, Broker, Store]) -> None:
    folder, broker, _ = yard
    with sending(broker, ("workshop/[red]\u202ex[/b]", b'{"temperature": "\\u001b[31m"}')):
        said = listen_until(screen, folder, "workshop/[red]")
    assert "\x1b" not in said and "\u202e" not in said
    traffic = Traffic("a\x1b[2J\n\x07", False, "\x9b", None, "\x1b]0;x\x07")
    assert listening._line(traffic).isprintable()


def test_it_ends_by_itself_after_the_time_given(screen: Screen, yard: tuple[Path, Broker, Store]) -> None:
    listening.listen(seconds=0.1, folder=yard[0])
    assert "Listening to workshop/#" in str(screen)


def probes(store: Store) -> dict[str, tuple[str, str, int | None]]:
    """By topic: code, name and place of each probe."""
    with store.reading() as connection:
        codes = {one.id: one.code for one in facts.subjects(connection, SubjectKind.PROBE)}
        places = {one.subject_id: one.place_id for one in facts.standing(connection, ProbePosition)}
        return {
            fact.topic: (codes[fact.subject_id], fact.name, places.get(fact.subject_id))
            for fact in facts.standing(connection, ProbeFact)
        }


@pytest.mark.parametrize(
    ("topic", "becomes"),
    [
        ("workshop/flat", "workshop/flat"),
        ("workshop/a/humidity", "workshop/a"),
        ("workshop/pack/p2", "workshop/pack/p2"),
    ],
)
def test_a_probe_is_added_from_a_topic_that_was_seen(
    screen: Screen, yard: tuple[Path, Broker, Store], topic: str, becomes: str
) -> None:
    folder, broker, store = yard
    messages = [
        ("workshop/flat", b'{"temperature": 18.4}'),
        ("workshop/a/humidity", b"71"),
        ("workshop/pack", b'[{"bn": "p1:", "u": "Cel", "v": 5}, {"bn": "p2:", "u": "Cel", "v": 9}]'),
    ]
    with sending(broker, *messages):
        listening.listen(add="north", topic=topic, place="shed", folder=folder, by="Ida")
    (place,) = (found[2] for found in probes(store).values())
    assert probes(store) == {becomes: ("north", "north", place)}
    assert place is not None
    assert "Probe north is entered. (undo: benchdry undo probe" in str(screen)


def test_one_that_the_recorder_entered_by_itself_is_named_and_placed(
    screen: Screen, yard: tuple[Path, Broker, Store]
) -> None:
    folder, broker, store = yard
    with store.writing() as connection:
        made = facts.add_subject(connection, SubjectKind.PROBE, "flat")
        values = {"name": "flat", "topic": "workshop/flat"}
        facts.add(connection, ProbeFact, made.id, true_at_ms=1, entered_at_ms=1, by="recorder", **values)
    with sending(broker, ("workshop/flat", b'{"temperature": 18.4}')):
        listening.listen(add="north", topic="workshop/flat", place="shed", folder=folder, by="Ida")
    ((code, name, place),) = probes(store).values()
    assert (code, name) == ("flat", "north") and place is not None
    assert "Probe flat is in shed." in str(screen)


def test_a_topic_that_is_not_heard_is_refused_naming_those_that_were(
    screen: Screen, yard: tuple[Path, Broker, Store]
) -> None:
    folder, broker, store = yard
    with sending(broker, ("workshop/flat", b'{"temperature": 18.4}')), pytest.raises(Refused) as caught:
        listening.listen(seconds=3.0, add="north", topic="workshop/typo", place="shed", folder=folder)
    assert str(caught.value).startswith("No reading came on workshop/typo; ")
    assert probes(store) == {}


def test_a_topic_with_several_probes_is_refused_naming_them(screen: Screen, yard: tuple[Path, Broker, Store]) -> None:
    folder, broker, _ = yard
    pack = b'[{"bn": "p1:", "u": "Cel", "v": 5}, {"bn": "p2:", "u": "Cel", "v": 9}]'
    with sending(broker, ("workshop/pack", pack)), pytest.raises(Refused, match=r"workshop/pack/p1, workshop/pack/p2"):
        listening.listen(add="north", topic="workshop/pack", folder=folder)


def test_a_place_that_is_not_there_is_refused_before_anything_is_listened_to(yard: tuple[Path, Broker, Store]) -> None:
    with pytest.raises(BadInput, match="place is loft"):
        listening.listen(add="north", topic="workshop/flat", place="loft", folder=yard[0])


@pytest.mark.parametrize("options", [{"add": "north"}, {"topic": "workshop/flat"}, {"topics": "a#"}])
def test_options_that_do_not_fit_are_refused(options: dict[str, str], tmp_path: Path) -> None:
    with pytest.raises(BadInput):
        listening.listen(folder=tmp_path, **options)


def test_without_a_broker_it_says_so_in_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "benchdry.toml").write_text(f"broker_port = {free_port()}\n")
    with (
        mock.patch.dict(os.environ),
        pytest.raises(Refused, match=r"^Cannot listen: there is no broker at 127\.0\.0\.1"),
    ):
        listening.listen(folder=tmp_path)


def test_the_recorders_session_is_not_touched(screen: Screen, yard: tuple[Path, Broker, Store]) -> None:
    """Two that listen at once, and a client with the recorder's own id, all stay connected."""
    folder, broker, _ = yard
    lost = threading.Event()
    recorder = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id="benchdry-recorder", protocol=mqtt.MQTTv5)
    recorder.on_disconnect = lambda *_: lost.set()
    recorder.connect("127.0.0.1", broker.port_v5)
    recorder.loop_start()
    with sending(broker, ("workshop/flat", b'{"temperature": 18.4}')):
        listen_until(screen, folder, "18.4 °C")
    assert not lost.is_set()
    recorder.disconnect()
    recorder.loop_stop()
