"""`benchdry demo`: an invented workshop, replayed through a real broker, then live."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from dashboards.terminal import demo_cell, demo_story, home, services
from dashboards.terminal.output import console
from sensors import broker, demo_air, replay
from shared.store import Store, readings

LIVE_EVERY_S = 20.0
LIVE_PATIENCE_S = 8.0  # a broker beside us that is silent for longer has gone
STORED_WITHIN_S = 60.0
USUAL_MQTT_PORT = 1883
DEMO_FOLDER = Path(".demo")


def demo(
    folder: Annotated[Path, typer.Option("--folder", "-f", help="Where the demo keeps its store.")] = DEMO_FOLDER,
    embedded: Annotated[
        bool, typer.Option("--embedded-broker", help="Use the built-in broker even where mosquitto is installed.")
    ] = False,
    port: Annotated[int | None, typer.Option("--port", help="Port of the pages, instead of 8321.")] = None,
) -> None:
    """Show Benchdry with an invented workshop: 14 months of air and boards, then live until Ctrl-C."""
    here = home.make(folder, web_port=port)
    services.require_port(here)
    first_run_ms = _first_run_ms(here.demo_path)
    stop = services.stop_signal()
    console.print("[bold]Oxlip Weir[/bold], an invented workshop: its people, boards and weather are made up.")
    carrier = broker.start(folder / "broker", embedded=embedded, port=USUAL_MQTT_PORT)
    here = home.find(folder, web_port=port, broker_host=broker.LOOPBACK, broker_port=carrier.port_v5)
    keeper = services.Supervisor(here)
    try:
        keeper.start("record")
        store = here.store()
        _wait_for_recorder(store, keeper, stop)
        demo_story.enter(store, first_run_ms, home.now_ms())
        faults = demo_air.demo_faults(first_run_ms)
        if not stop():
            _replay(store, carrier, faults, stop)
        if not stop():
            _weigh(store, carrier, first_run_ms, stop)
            keeper.start("watch")
            keeper.start("serve")
            keeper.wait_until_served(stop)
            _say_what_to_open(here, carrier, replay.plausible_next(home.now_ms()))
            _go_on_live(carrier, faults, first_run_ms, keeper, stop)
    finally:
        keeper.end()
        carrier.stop()


def _first_run_ms(file: Path) -> int:
    """Return when this demo was first started: its story hangs on it, however often it is started again."""
    if file.exists():
        return int(json.loads(file.read_text(encoding="utf-8"))["first_run_ms"])
    now = home.now_ms() // 60_000 * 60_000
    file.write_text(json.dumps({"demo": "invented data", "first_run_ms": now}), encoding="utf-8")
    return now


def _wait_for_recorder(store: Store, keeper: services.Supervisor, stop: Callable[[], bool]) -> None:
    """A broker keeps nothing for a client that has never subscribed, so the recorder comes first."""
    began_ms = home.now_ms()
    while not stop():
        keeper.tend()
        with store.reading() as connection:
            state = readings.recorder_state(connection)
        if state is not None and state.connected and state.beat_ms >= began_ms:
            return
        time.sleep(0.1)


def _replay(store: Store, carrier: broker.Broker, faults: demo_air.Faults, stop: Callable[[], bool]) -> None:
    with store.reading() as connection:
        since = replay.last_stored(connection)
    waiting = replay.messages(home.now_ms(), since, faults)
    if len(waiting) == 0:
        return

    def stored() -> int:
        with store.reading() as connection:
            return readings.count(connection)

    before = stored()
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("readings stored"),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=console) as progress:
        task = progress.add_task("Replaying the history", total=waiting.readings)

        def tell(_sent: int) -> None:
            if stop():
                raise KeyboardInterrupt
            progress.update(task, completed=min(stored() - before, waiting.readings))

        try:
            sent = replay.Sender(broker.LOOPBACK, carrier.port, stored=stored, progress=tell).send(waiting)
        except KeyboardInterrupt:
            return

        def come() -> bool:
            tell(sent)
            return stored() - before >= sent

        _wait_until(come, stop)
        tell(sent)


def _wait_until(come: Callable[[], bool], stop: Callable[[], bool]) -> None:
    """Wait for what the recorder should have stored by now; what was stored before is not counted again."""
    deadline_s = time.monotonic() + STORED_WITHIN_S
    while not come() and not stop() and time.monotonic() < deadline_s:
        time.sleep(0.1)


def _weigh(store: Store, carrier: broker.Broker, first_run_ms: int, stop: Callable[[], bool]) -> None:
    """Let the load cell catch up, and say what lies on it once it has been heard."""
    sent = demo_cell.messages(store, first_run_ms, home.now_ms())
    with store.reading() as connection:
        before = readings.count(connection)
    if sent:
        replay.Sender(broker.LOOPBACK, carrier.port).send(sent)

    def come() -> bool:
        with store.reading() as connection:
            return readings.count(connection) >= before + len(sent)

    _wait_until(come, stop)
    demo_cell.enter(store, first_run_ms)


def _say_what_to_open(here: home.Home, carrier: broker.Broker, example: replay.Outgoing) -> None:
    lines = (
        f"Broker: {carrier.name} on port {carrier.port}, private to this demo; a real yard wants mosquitto.",
        f"Open    {services.address(here)}",
        f"Or send a reading yourself, with any MQTT client, to {broker.LOOPBACK}:{carrier.port}:",
        f"        topic {example.topic}   message {example.payload}",
        "Ctrl-C ends everything; the next start is quick.",
    )
    for line in lines:
        console.print(line, highlight=False, soft_wrap=True)


def _go_on_live(
    carrier: broker.Broker,
    faults: demo_air.Faults,
    first_run_ms: int,
    keeper: services.Supervisor,
    stop: Callable[[], bool],
) -> None:
    sender = replay.Sender(broker.LOOPBACK, carrier.port, patience_s=LIVE_PATIENCE_S)
    due_s = 0.0
    while not stop():
        keeper.tend()
        if time.monotonic() >= due_s:
            sender.send([*replay.live(home.now_ms(), faults), demo_cell.live(first_run_ms, home.now_ms())])
            due_s = time.monotonic() + LIVE_EVERY_S
        time.sleep(0.2)
