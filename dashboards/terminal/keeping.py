"""`benchdry backup`, `restore`, `check-store`, `compact` and `doctor`: keeping what was recorded."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn
from rich.table import Table
from rich.text import Text

from dashboards.terminal import home, services
from dashboards.terminal.home import HERE, FolderOption, Home
from dashboards.terminal.output import console
from shared.errors import Refused
from shared.store import Store, compaction, keeping, retention
from shared.store.keeping import megabytes

if TYPE_CHECKING:
    from sensors.findings import Finding


def backup(
    to: Annotated[Path, typer.Argument(help="A new file, or a folder in which one is named after this moment.")],
    folder: FolderOption = HERE,
) -> None:
    """Copy the store while the recorder writes on, and prove the copy by opening it."""
    here = home.find(folder)
    with _opened(here) as store, _bar("Copying") as progress:
        copied = keeping.backup(store, to, home.now_ms(), progress)
    _say(f"{copied.path}: {megabytes(copied.size_bytes)}, {_held(copied.contents)}; opened, examined and found whole.")


def restore(
    saved: Annotated[Path, typer.Argument(help="What `benchdry backup` wrote.")],
    to: Annotated[Path | None, typer.Option("--to", help="The new store; the settings' own, if not said.")] = None,
    folder: FolderOption = HERE,
) -> None:
    """Make a store out of a backup; nothing is ever written over a store that is there."""
    here = home.find(folder)
    target = here.store_path if to is None else to
    with _without_recorder(target), _bar("Restoring") as progress:
        copied = keeping.restore(saved, target, progress)
    _say(f"{copied.path}: {megabytes(copied.size_bytes)}, {_held(copied.contents)}; opened, examined and found whole.")
    if to is None:
        _say("Next: `benchdry run`; what the broker has kept since is stored then, and nothing twice.")


def check_store(folder: FolderOption = HERE) -> None:
    """Examine the whole store: its pages, its references and its summaries."""
    here = home.find(folder)
    with _opened(here) as store:
        checked = keeping.check(store)
    if checked.faults:
        for fault in checked.faults:
            _say(fault)
        raise Refused(f"The store {here.store_path} is not whole; `benchdry restore` brings a backup back.")
    _say(f"The store {here.store_path} is whole: {_held(checked.contents)}.")


def compact(
    yes: Annotated[bool, typer.Option("--yes", help="Do it without asking.")] = False,
    folder: FolderOption = HERE,
) -> None:
    """Delete single readings older than keep_raw_days (their summaries stay), and give the room back to the disk."""
    here = home.find(folder)
    days = here.settings.keep_raw_days
    with _opened(here) as store:
        keeping.refuse_newer(store)
        if days and not yes and not _agreed(f"Delete single readings older than {days} days for ever?"):
            _say("Nothing was deleted.")
            return
        _tell_trimmed(retention.trim(store, home.now_ms(), days), days)
        made = _compacted(here, store)
    _say(f"The store had {megabytes(made.before_bytes)} and has {megabytes(made.after_bytes)}.")


def _agreed(question: str) -> bool:
    if not sys.stdin.isatty():
        raise Refused("There is no terminal to ask: give --yes to have older single readings deleted.")
    return typer.confirm(question)


def _compacted(here: Home, store: Store) -> compaction.Compacted:
    if not compaction.needs_store_alone(store):
        return compaction.compact(store)
    with _without_recorder(here.store_path):  # the first time it would have to wait for all of it
        return compaction.compact(store)


def _tell_trimmed(done: retention.Trimmed, days: int) -> None:
    if not days:
        _say("No reading was deleted: keep_raw_days is 0, which keeps them for ever.")
        return
    _say(f"{done.deleted:,} single readings older than {days} days were deleted; their summaries stay.")
    if done.mended:
        _say(f"{done.mended:,} summaries were missing or wrong and were made anew first.")
    if done.kept:
        _say(f"{done.kept:,} came late, after their neighbours had been deleted, and were left.")


def doctor(
    broker_config: Annotated[
        Path | None, typer.Option("--broker-config", help="The broker's mosquitto.conf, to work out what it holds.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="The same, for programs.")] = False,
    folder: FolderOption = HERE,
) -> None:
    """Look at store, clock, recorder and broker: what can lose readings, and what mends it. Ends with 1 if any can."""
    from sensors import doctor as examining

    here = home.find(folder)
    store = Store(here.store_path)
    try:
        found = examining.examine(here.settings, store, home.now_ms(), here.folder, broker_config)
    finally:
        store.close()
    if as_json:
        typer.echo(json.dumps([asdict(one) for one in found], indent=1, ensure_ascii=False))
    else:
        console.print(_findings(found), highlight=False)
    if any(one.level is examining.Level.WRONG for one in found):
        raise typer.Exit(1)


def _findings(found: list[Finding]) -> Table:
    shown = Table.grid(padding=(0, 2, 0, 0))
    for one in found:
        shown.add_row(Text(one.level, style="bold"), Text(one.sentence))
        if one.remedy:
            shown.add_row("", Text(f"→ {one.remedy}"))
    return shown


@contextmanager
def _opened(here: Home) -> Iterator[Store]:
    """Name the store without bringing it to this version: a backup is best taken before that."""
    store = Store(here.store_path)
    store.require()
    try:
        yield store
    finally:
        store.close()


@contextmanager
def _bar(what: str) -> Iterator[keeping.Progress]:
    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn())
    with Progress(*columns, console=console, transient=True) as shown:
        task = shown.add_task(what, total=None)
        yield lambda done, total: shown.update(task, completed=done, total=total)


def _held(contents: keeping.Contents) -> str:
    return f"{contents.readings:,} readings and {contents.entries:,} entries"


@contextmanager
def _without_recorder(store_path: Path) -> Iterator[None]:
    """Keep recorders from this store meanwhile; raises Refused when one is at work."""
    store_path.parent.mkdir(parents=True, exist_ok=True)
    lock = services._only_one(store_path.with_suffix(".recorder-lock"))
    try:
        lock.__enter__()
    except Refused:
        raise Refused(
            f"A recorder is writing to {store_path}; end `benchdry run` (or `benchdry record`) first: "
            "the broker holds what comes meanwhile."
        ) from None
    try:
        yield
    finally:
        lock.__exit__()


def _say(sentence: str) -> None:
    console.print(sentence, highlight=False, soft_wrap=True, markup=False)
