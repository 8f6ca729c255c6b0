"""`benchdry import`: a logger's or spreadsheet's file into the store, shown first and stored when confirmed."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
from rich.table import Table
from rich.text import Text

from dashboards.terminal import home
from dashboards.terminal.home import HERE, FolderOption
from dashboards.terminal.output import console
from sensors import log_files, log_guess, log_structure, log_times
from sensors.log_files import Stored, Survey
from sensors.log_guess import Evidence, Layout, Told
from sensors.log_structure import Heading
from sensors.log_times import Zone
from shared.errors import BadInput, Refused
from shared.store import Store
from shared.units import MS_PER_DAY, datetime_from_ms

SHOWN_BAD = 20
BAR_AFTER_S = 1.0
SIGN_WORDS = {".": "point", ",": "comma"}


@dataclass(frozen=True)
class Choices:
    """What was said on the command line, in place of what the file tells."""

    zone: str
    day_first: bool | None
    decimal: str
    temperature_unit: str


def import_log(
    file: Annotated[Path, typer.Argument(help="CSV or TSV text, an Excel workbook (.xlsx) or JSON lines.")],
    probe: Annotated[str, typer.Option("--probe", help="The probe whose readings they are.")],
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Show what is in the file and store nothing.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Store it without asking.")] = False,
    zone: Annotated[str, typer.Option(help="Zone of its local times, such as Europe/Berlin or +01:00.")] = "",
    day_first: Annotated[
        bool | None, typer.Option("--day-first/--month-first", help="How to read dates such as 03/04/2026.")
    ] = None,
    decimal: Annotated[str, typer.Option(help="Decimal sign, a comma or a point.")] = "",
    temperature_unit: Annotated[str, typer.Option(help="C, F or K, where the file names none.")] = "",
    sheet: Annotated[str, typer.Option(help="The sheet of a workbook, where another one fits best.")] = "",
    list_all: Annotated[bool, typer.Option("--list-all", help="List every bad row, not the first few.")] = False,
    folder: FolderOption = HERE,
) -> None:
    """Import a log file; what was understood is shown first, and a second import adds nothing."""
    here = home.find(folder)
    store = _store(here, dry_run)
    subject = log_files.probe_of(store, probe)
    heading = log_structure.find_heading(file, temperature_unit, sheet)
    zone_ = log_times.zone(zone, heading.zone, here.settings.local_zone)
    layout = _layout(heading, Choices(zone, day_first, decimal, temperature_unit), zone_)
    now_ms = home.now_ms()
    with _bar("Reading", layout.rows) as tell:
        seen = log_files.survey(log_files.read(layout, zone_.tz, tell), now_ms)
    _show_survey(seen, zone_, list_all)
    if not seen.readings:
        raise Refused(f"No row of {file.name} holds a reading; nothing was imported.")
    if dry_run:
        _say("Nothing was stored (--dry-run).")
        return
    if not yes and not _agreed(f"Store {_readings(seen.readings)} for probe {subject.code}?"):
        _say("Nothing was stored.")
        return
    with _bar("Storing", layout.rows) as tell:
        rows = log_files.read(layout, zone_.tz, tell)
        made = log_files.store_rows(store, subject.id, rows, now_ms, kept_from_ms=_kept_from_ms(here, now_ms))
    _say(_outcome(made, subject.code))


def _store(here: home.Home, dry_run: bool) -> Store:
    """Open the store; a dry run does not even bring it to this program's version."""
    if not dry_run:
        return here.store()
    store = Store(here.store_path)
    store.require()
    return store


def _kept_from_ms(here: home.Home, now_ms: int) -> int:
    """Return the time before which single readings may have been deleted; 0: none were."""
    days = here.settings.keep_raw_days
    return now_ms - days * MS_PER_DAY if days else 0


def _layout(heading: Heading, chosen: Choices, zone: Zone) -> Layout:
    """Return what reading the file rests on, shown; what cannot be told is asked for."""
    with _bar("Looking", None) as tell:
        seen = log_guess.gather(heading, tell)
    order = log_guess.order_of(heading, seen, chosen.day_first)
    sign = log_guess.sign_of(seen, chosen.decimal)
    _show_heading(heading, seen, order, sign, zone)
    if order.value is None:
        first = _asked("order of day and month", order.why, "day or month", "--day-first or --month-first")
        order = log_guess.order_of(heading, seen, _one_of("order of day and month", first, ("day", "month")) == "day")
    if sign.value is None:
        typed = _asked("decimal sign", sign.why, "comma or point", '--decimal "," or --decimal "."')
        sign = log_guess.sign_of(seen, "," if _one_of("decimal sign", typed, ("comma", "point")) == "comma" else ".")
    return log_guess.layout(heading, seen, order.value or "", sign.value or ".")


# --- asking ------------------------------------------------------------------------------------------


def has_terminal() -> bool:
    """Tell whether somebody is there to answer."""
    return sys.stdin is not None and sys.stdin.isatty()


def _asked(field: str, why: str, accepted: str, option: str) -> str:
    if not has_terminal():
        raise Refused(f"The {field} cannot be told from the file ({why}); say it with {option}.")
    _say(f"The {field} cannot be told from the file: {why}.")
    return str(typer.prompt(f"Which is it, {accepted}?"))


def _one_of(field: str, typed: str, words: tuple[str, str]) -> str:
    found = [word for word in words if typed.strip() and word.startswith(typed.strip().lower())]
    if len(found) != 1:
        raise BadInput(field, typed, " or ".join(words))
    return found[0]


def _agreed(question: str) -> bool:
    if not has_terminal():
        raise Refused("Nobody is there to confirm what was understood, and nothing was stored; say --yes to store it.")
    return typer.confirm(question)


# --- showing -----------------------------------------------------------------------------------------


def _say(sentence: str) -> None:
    console.print(sentence, highlight=False, markup=False, soft_wrap=True)


def _show_heading(heading: Heading, seen: Evidence, order: Told, sign: Told, zone: Zone) -> None:
    shown = Table(box=None, padding=(0, 2, 0, 0), show_header=False)
    shown.add_column(no_wrap=True)
    shown.add_column(overflow="fold")
    rows = [
        ("file", f"{heading.source.name}: {heading.source.form}"),
        ("heading", f"row {heading.row.number or 'none, names in every line'}; {seen.rows} rows below it"),
        ("time", f"{heading.time_name}; {_zone_words(heading, seen, zone)}"),
        ("dates", f"{order.value or 'no order needed' if order.value is not None else 'UNCLEAR'}; {order.why}"),
        ("decimal sign", f"{SIGN_WORDS.get(sign.value or '', 'UNCLEAR')}; {sign.why}"),
    ]
    for column in heading.columns:
        assumed = "" if column.unit_said else " ASSUMED: neither the heading nor an option names the unit"
        rows.append((str(column.quantity), f"{column.heading}, in {column.unit.name}{assumed}"))
    rows += [("not taken", f"{name}: {why}") for name, why in heading.not_taken]
    for name, told in rows:
        shown.add_row(Text(name), Text(told))  # as it stands: what a file says is no markup
    console.print(shown, highlight=False)


def _zone_words(heading: Heading, seen: Evidence, zone: Zone) -> str:
    return f"local times taken as {zone.said}" if seen.local else "each time names its own zone"


def _show_survey(seen: Survey, zone: Zone, list_all: bool) -> None:
    for bad in seen.bad if list_all else seen.bad[:SHOWN_BAD]:
        _say(str(bad))
    told = len(seen.bad) if list_all else min(SHOWN_BAD, len(seen.bad))
    if seen.bad_count > told:
        more = "" if list_all or len(seen.bad) == told else " (--list-all lists them)"
        _say(f"… and {seen.bad_count - told} more that cannot be taken{more}.")
    if seen.first_ms is not None and seen.last_ms is not None:
        _say(f"From {_when(seen.first_ms, zone)} to {_when(seen.last_ms, zone)}:")
    for quantity, span in seen.spans.items():
        flagged = f", {span.flagged} of them kept but flagged as not to be believed" if span.flagged else ""
        _say(f"  {quantity}: {_readings(span.count)} from {span.low:.6g} to {span.high:.6g}{flagged}")
    empty = f", {seen.empty_rows} without a value" if seen.empty_rows else ""
    _say(f"{seen.rows} rows: {_readings(seen.readings)}, {seen.bad_count} bad cells or rows{empty}.")


def _when(at_ms: int, zone: Zone) -> str:
    utc = datetime_from_ms(at_ms)
    return f"{utc.astimezone(zone.tz):%Y-%m-%d %H:%M:%S} ({utc:%Y-%m-%dT%H:%M:%SZ})"


def _outcome(made: Stored, code: str) -> str:
    there = f"; {made.repeated} already there" if made.repeated else ""
    against = "with another value than the one stored for that time: both are kept, the first counts"
    conflicts = f"; {made.conflicting} {against}" if made.conflicting else ""
    if made.summed_up:
        conflicts += f"; {made.summed_up} left out: of their time only summaries are kept (keep_raw_days)"
    if not made.new:
        return f"Nothing new for probe {code}{there}{conflicts}."
    return f"{_readings(made.new)} stored for probe {code}{there}{conflicts}."


def _readings(count: int) -> str:
    return f"{count} reading{'' if count == 1 else 's'}"


@contextmanager
def _bar(what: str, total: int | None) -> Iterator[Callable[[int], None]]:
    """Give a function to be told how many rows are done; a bar is seen once it has taken over a second."""
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TextColumn("rows"))
    began_s = time.monotonic()
    with_bar = Progress(*columns, console=console, transient=True)
    task = with_bar.add_task(what, total=total)

    def tell(done: int) -> None:
        if not with_bar.live.is_started and time.monotonic() - began_s > BAR_AFTER_S:
            with_bar.start()
        with_bar.update(task, completed=done)

    try:
        yield tell
    finally:
        if with_bar.live.is_started:
            with_bar.stop()
