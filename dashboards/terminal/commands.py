"""`benchdry`: every command, put together."""

from __future__ import annotations

import logging
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from dashboards.terminal import (
    access,
    ahead,
    cautions,
    cutting,
    demo,
    entering,
    finishing,
    happening,
    home,
    importing,
    instruments,
    judging,
    keeping,
    learned,
    listening,
    probing,
    promise,
    services,
    showing,
    work_out,
)
from dashboards.terminal import replay as looking_back
from dashboards.terminal.home import HERE, FolderOption
from dashboards.terminal.output import console
from shared import settings as settings_module
from shared import tables
from shared.errors import BadInput
from shared.store.records import SubjectKind

app = typer.Typer(
    name="benchdry",
    no_args_is_help=True,
    add_completion=True,
    pretty_exceptions_enable=False,
    help="How wet is each board, and when will it be fit to use in this air?",
)
app.add_typer(entering.place, name="place")
app.add_typer(entering.probe, name="probe")
app.add_typer(entering.stack, name="stack")
app.add_typer(entering.board, name="board")
app.add_typer(entering.matched_set, name="set")
app.add_typer(instruments.meter, name="meter")
app.add_typer(finishing.finish, name="finish")
app.add_typer(work_out.app, name="work-out")
app.add_typer(access.link, name="link")
app.command("password")(access.password)
app.command("undo")(entering.undo)
app.command("cautions")(cautions.cautions)
app.command("heavy")(cautions.heavy_things)
app.command("outcome")(happening.outcome)
app.command("climate")(happening.climate)
app.command("limit")(judging.limit)
app.command("limits")(judging.limits)
app.command("status")(showing.status)
app.command("learned")(learned.learned)
app.command("export")(showing.export)
app.command("probes")(probing.probes)
app.command("import")(importing.import_log)
app.command("listen")(listening.listen)
app.command("backup")(keeping.backup)
app.command("restore")(keeping.restore)
app.command("check-store")(keeping.check_store)
app.command("compact")(keeping.compact)
app.command("doctor")(keeping.doctor)
app.command("demo")(demo.demo)

entering.board.command("show")(showing.board)
entering.board.command("ahead")(ahead.ahead)
entering.board.command("then")(looking_back.then(SubjectKind.BOARD))
entering.board.command("options")(ahead.options)
entering.board.command("movement")(promise.board_movement)
entering.matched_set.command("then")(looking_back.then(SubjectKind.SET))
entering.matched_set.command("movement")(promise.set_movement)
entering.board.command("bag-test")(instruments.bag_test)
entering.board.command("rest")(cutting.rest)
entering.board.command("coat")(cutting.coat)
entering.board.command("plane")(cutting.plane)
entering.board.command("resaw")(cutting.resaw)
entering.board.command("rip")(cutting.rip)
entering.board.command("crosscut")(cutting.crosscut)
entering.board.command("trim")(cutting.trim)
entering.board.command("water")(happening.water)
entering.board.command("plan-move")(happening.plan_move("board"))
entering.board.command("use")(judging.plan_use("board"))
entering.board.command("lifted")(judging.lifted)
entering.board.command("override")(judging.override("board"))
entering.matched_set.command("use")(judging.plan_use("set"))
entering.matched_set.command("put")(judging.put_in_set)
entering.matched_set.command("take-out")(cutting.take_out)
entering.matched_set.command("joint")(judging.joint)
entering.matched_set.command("override")(judging.override("set"))
entering.stack.command("plan-move")(happening.plan_move("stack"))
entering.stack.command("change")(happening.change_stack)
entering.probe.command("check")(instruments.check)
entering.probe.command("carry")(instruments.carry)
entering.probe.command("tare")(instruments.tare)

PortOption = Annotated[int | None, typer.Option("--port", help="Port of the pages, instead of web_port.")]


@app.callback()
def prepare() -> None:
    """Log warnings in one plain line each."""
    logging.basicConfig(level=logging.INFO, format="%(name)s: %(message)s")
    for chatty in ("alembic", "numba", "httpx", "uvicorn"):
        logging.getLogger(chatty).setLevel(logging.WARNING)


@app.command()
def init(folder: FolderOption = HERE) -> None:
    """Write a commented settings file and make an empty store."""
    made = home.make(folder)
    console.print(
        f"Settings: {made.folder / 'benchdry.toml'}\nStore:    {made.store_path}", highlight=False, soft_wrap=True
    )
    console.print(
        "Next: say where your broker is in the settings "
        f"(now {made.settings.broker_host}:{made.settings.broker_port}), then `benchdry run`.",
        highlight=False,
    )


@app.command()
def run(folder: FolderOption = HERE, port: PortOption = None) -> None:
    """Record, project and serve the pages, until Ctrl-C."""
    here = home.find(folder, web_port=port)
    here.store().close()
    services.require_port(here)
    services.require_certificate(here)
    stop = services.stop_signal()
    keeper = services.Supervisor(here)
    try:
        for name in ("record", "watch", "serve"):
            keeper.start(name)
        keeper.wait_until_served(stop)
        settings = here.settings
        console.print(
            f"Recording {settings.broker_topics} from {settings.broker_host}:{settings.broker_port}.", highlight=False
        )
        console.print(f"Open {services.address(here)}   (Ctrl-C ends everything)", highlight=False)
        keeper.run(stop)
    finally:
        keeper.end()


@app.command()
def record(folder: FolderOption = HERE) -> None:
    """Only record, as a service of its own."""
    services.record(home.find(folder))


@app.command()
def watch(folder: FolderOption = HERE) -> None:
    """Only keep the projections fresh, as a service of its own."""
    services.watch(home.find(folder))


@app.command()
def serve(folder: FolderOption = HERE, port: PortOption = None) -> None:
    """Only serve the pages, as a service of their own."""
    services.serve(home.find(folder, web_port=port))


@app.command()
def replay(
    files: Annotated[list[Path], typer.Argument(help="Log files with the columns time, temperature_c, rh_pct.")],
    folder: FolderOption = HERE,
) -> None:
    """Publish log files, such as those in sample_logs, to your broker; a running recorder stores them."""
    from sensors import secure
    from sensors.replay import Sender, read_log

    here = home.find(folder)
    chosen = here.settings
    sender = Sender(
        chosen.broker_host, chosen.broker_port, prepare=lambda client: secure.apply(client, chosen, here.folder)
    )
    for file in files:
        sent = sender.send(read_log(file))
        console.print(f"{file}: {sent} readings sent", highlight=False, soft_wrap=True)


@app.command()
def settings(folder: FolderOption = HERE) -> None:
    """Show every setting, its value and where that comes from."""
    shown = Table(box=None, padding=(0, 2, 0, 0))
    for column in ("setting", "value", "from", "meaning"):
        shown.add_column(column, overflow="fold")
    for source in home.find(folder).sources:
        value = settings_module.shown_value(source.name, source.value)
        shown.add_row(source.name, f"{value} {source.unit}".strip(), source.origin, source.help)
    console.print(shown, highlight=False)


@app.command()
def species(
    text: Annotated[str, typer.Argument(help="Part of a name; all, if not given.")] = "",
    columns: Annotated[bool, typer.Option("--columns", help="Print the first line of a file of your own.")] = False,
    folder: FolderOption = HERE,
) -> None:
    """List the timbers, every name they go by, and what the tables and your own file hold of them."""
    if columns:
        typer.echo(tables.own_species_header())
        return
    home.find(folder)  # which names the file with timbers of one's own
    found = [match for match in tables.search_species(text) if text or match.species]
    if not found:
        raise BadInput("species", text, "part of a common or botanical name in the table")
    shown = Table(box=None, padding=(0, 2, 0, 0))
    for column in ("botanical name", "names", "basic specific gravity", "its source"):
        shown.add_column(column, overflow="fold")
    for match in found:
        own = [match.species.common_name] if match.species else []
        names = "; ".join(dict.fromkeys([*own, *(one.name for one in match.names)]))
        if match.species is None:
            shown.add_row(match.botanical_name, names, "no values held", "")
            continue
        one = match.species
        source = one.basic_source if one.basic_status == "published" else one.basic_status
        shown.add_row(one.botanical_name, names, f"{one.basic_specific_gravity:g}", source)
    console.print(shown, highlight=False)


@app.command()
def warm() -> None:
    """Compile the solver now, so that the first projection does not wait for it."""
    import numpy as np

    from kiln import diffusion

    one = np.ones(1)
    members = diffusion.Members(
        *(one * value for value in (0.01, 500, 1e-10, 1.15, 5280, 1, 3, 0, 1)), np.zeros(1, np.int64)
    )
    air = diffusion.AirSteps(one[None] * 20, one[None] * 50, one * 3600)
    diffusion.march(np.full((1, diffusion.NODES), 0.2), members, air, np.array([1]))
