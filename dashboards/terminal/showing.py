"""Commands that show and export."""

from __future__ import annotations

import json
from contextlib import nullcontext
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.markup import escape
from rich.padding import Padding
from rich.table import Table

from dashboards import (
    api,
    by_date,
    control_marks,
    display,
    exports,
    fields,
    page_warnings,
    safety,
    sample_boards,
    situation,
    vapours,
)
from dashboards.heard import PlaceNow
from dashboards.pages import entered, harms
from dashboards.pages.finish import NOTHING_SPRAYED
from dashboards.terminal import home
from dashboards.terminal.home import HERE, FolderOption
from dashboards.terminal.output import console
from kiln import telling
from kiln.records import Standing
from kiln.spans import span_words
from shared.errors import BadInput
from shared.store import facts
from shared.store.as_known import AsKnown
from shared.store.records import PlaceKind, SubjectKind


def status(
    code: Annotated[
        str, typer.Argument(help="A board, set, stack or finish room, to see more of it; empty: all.")
    ] = "",
    folder: FolderOption = HERE,
    as_json: Annotated[bool, typer.Option("--json", help="The same, for programs.")] = False,
    dated: Annotated[bool, typer.Option("--by-date", help="Boards by the day they are likely fit.")] = False,
) -> None:
    """Show every stack, set and board with its verdict, and every place with its air."""
    here = home.find(folder)
    now = situation.read(here.store(), home.now_ms(), here.settings)
    if dated:
        _tell_by_date(now, as_json)
        return
    if as_json:
        typer.echo(json.dumps(_as_plain(now, code), indent=1, ensure_ascii=False))
        return
    if code:
        of_room = _room_called(now, code)
        if of_room is not None:
            _tell_room(now, of_room)
        for kind, thing in _called(now, code, needed=of_room is None):
            _tell(kind, thing)
            _tell_all(thing)
        return
    _tell_warnings(now)
    for note in (now.recorder_note, now.watch_note):
        if note:
            console.print(note, style="bold")
    for kind, things in (("stack", now.stacks), ("set", now.sets), ("board", now.boards)):
        for thing in things:
            _tell(kind, thing)
    console.print(_airs(now))


def _room_called(now: situation.Situation, code: str) -> PlaceNow | None:
    """The finish room of that code, whatever the case; None: there is none."""
    wanted = code.strip().casefold()
    rooms = (one for one in now.open_places if one.fact.kind is PlaceKind.FINISH_ROOM)
    return next((one for one in rooms if one.subject.code.casefold() == wanted), None)


def _tell_room(now: situation.Situation, place: PlaceNow) -> None:
    """Print what is said of a finish room: what that does not replace first and last, warnings before vapour."""
    made = vapours.vapour_of(now, place)
    console.print(safety.FIRST_LINE, highlight=False)
    _tell_warnings(now, f"/finish/room/{place.subject.code}")
    word, why = (made.word, made.headline) if made is not None else ("CAN'T SAY", NOTHING_SPRAYED)
    console.print(f"[bold]{word}[/bold]  {escape(place.fact.name)}: {escape(why)}", highlight=False)
    for line in (*made.beside, *made.sprayed, made.not_before) if made is not None else ():
        console.print(Padding(escape(line), (0, 0, 0, 10)), highlight=False)
    console.print(safety.LAST_LINE, highlight=False)


def _tell_warnings(now: situation.Situation, path: str = "") -> None:
    """Print what is over or can't be said in the finish rooms, before all else; ``path``: those of one page alone."""
    found = [one for one in page_warnings.warnings_of(now) if one.path.startswith(path)]
    for one in found:
        console.print(f"[bold]{control_marks.WORDS[one.control]}[/bold]  {escape(one.sentence)}", highlight=False)
        console.print(Padding(escape(one.what_to_do), (0, 0, 0, 10)), highlight=False)
    if found:
        console.print(page_warnings.NOT_AN_ALARM, highlight=False)


def _tell_by_date(now: situation.Situation, as_json: bool) -> None:
    due = by_date.boards(now)
    if as_json:
        typer.echo(json.dumps([api.as_json(one) for one in due], indent=1, ensure_ascii=False))
        return
    _tell_warnings(now)
    console.print(by_date.LEAD, highlight=False)
    for one in due:
        console.print(f"[bold]{one.word:<9}[/bold] {escape(one.name)} ({escape(one.code)})", highlight=False)
        console.print(Padding(escape(f"{one.use}: {by_date.words(one)}."), (0, 0, 0, 10)), highlight=False)


def board(
    code: Annotated[str, typer.Argument(help="The board.")],
    folder: FolderOption = HERE,
    known_at: Annotated[str, typer.Option("--known-at", help="Show what was known at this date, 2026-04-04.")] = "",
) -> None:
    """Show everything entered about a board, as it stands now or stood at an earlier date."""
    store, moment = home.find(folder).store(), fields.moment_ms("known at", known_at)
    with store.reading() as connection:
        found = facts.subject(connection, SubjectKind.BOARD, code)
    now_ms = home.now_ms()
    known = nullcontext(store) if moment is None else AsKnown(store, moment).held()
    with known as past:
        lines = entered.every(past, found, now_ms)
    for line in lines:
        console.print(f"{line.when}  {line.kind} {line.number}, by {line.by}", highlight=False, markup=False)
        console.print(Padding(escape(line.figure), (0, 0, 0, 10)), highlight=False)
    if lines:
        console.print("`benchdry undo` with a kind and number as above takes one back.", highlight=False)


def _tell(kind: str, thing: Any) -> None:
    """Print one verdict: the word and the number on a line, then why and what next."""
    verdict = thing.verdict
    console.print(f"[bold]{verdict.word:<9}[/bold] {verdict.number}   {kind} {thing.subject.code}", highlight=False)
    for line in (verdict.reason, verdict.next_step):
        console.print(Padding(escape(line), (0, 0, 0, 10)), highlight=False)


def _called(now: situation.Situation, code: str, *, needed: bool = True) -> list[tuple[str, Any]]:
    """Everything of that code; raises BadInput when there is nothing, and there should be."""
    kinds = (("stack", now.stacks), ("set", now.sets), ("board", now.boards))
    found = [
        (kind, thing) for kind, things in kinds for thing in things if thing.subject.code.casefold() == code.casefold()
    ]
    if not found and needed:
        raise BadInput("code", code, "that of a board, set, stack or finish room that `benchdry status` shows")
    return found


def _tell_all(thing: Any) -> None:
    """Print what a verdict rests on: conditions, pieces, dangers, what would tell more, evidence."""
    verdict, made = thing.verdict, getattr(thing, "projection", None)
    override = getattr(thing, "override", None)
    if override is not None:
        _line("overridden", override.entered_by, override.reason)
    for gate in verdict.gates:
        chance = "" if gate.probability is None else f" ({display.chance(gate.probability)})"
        _line(gate.name, gate.standing.value, f"{gate.sentence}{chance}")
    for piece in verdict.pieces:
        _line(piece.name, piece.word.value, piece.reason)
    dangers = made.dangers.dangers if made is not None and made.dangers is not None else ()
    for danger in (one for one in dangers if one.standing is not Standing.UNDER):
        told = " ".join(part for part in (f"{danger.figure}.", danger.reason, danger.trend, danger.next_step) if part)
        _line(danger.name, danger.standing.value, told)
    under = [one.name for one in dangers if one.standing is Standing.UNDER]
    if under:
        _line("under their limits", "", f"{', '.join(under)}. Look at the wood all the same.")
    best = [telling.best(made.tells, name) for name in harms.CONDITIONS] if made is not None else []
    for one in best:
        if one is not None:
            _line("measure next", harms.CONDITIONS[one.condition], telling.sentence(one))
    for line in verdict.evidence:
        _line("rests on", "", line)
    samples = sample_boards.samples(thing) if isinstance(thing, situation.StackNow) else None
    for line in sample_boards.sentences(samples) if samples is not None else ():
        _line("sample boards", "", line)


def _line(name: str, word: str, sentence: str) -> None:
    head = f"[bold]{escape(name)}[/bold]" + (f", {escape(word)}" if word else "")
    console.print(Padding(f"{head}: {escape(sentence)}", (0, 0, 0, 2)), highlight=False)


def _airs(now: situation.Situation) -> Table:
    shown = Table(box=None, padding=(0, 2, 0, 0))
    for column in ("place", console.unit("°C"), "%RH", "EMC %", "heard", "probes"):
        shown.add_column(column, overflow="fold")
    for place in now.open_places:
        probes = "; ".join(f"{probe.subject.code}: {probe.state}" for probe in place.probes) or "none"
        air = place.air
        if air is None:
            shown.add_row(place.subject.code, "–", "–", "–", "never", probes)
            continue
        age = span_words(now.now_ms - air.at_ms) + " ago" + ("" if air.good else ", not believed")
        emc = f"{air.emc_pct:.1f} ± {air.emc_error_pct:.1f}"
        shown.add_row(
            place.subject.code, console.number(air.temperature_c, 1, "°C"), f"{air.rh_pct:.0f}", emc, age, probes
        )
    return shown


def _as_plain(now: situation.Situation, code: str = "") -> dict[str, object]:
    if code:
        _called(now, code, needed=_room_called(now, code) is None)

    def judged(things: list) -> list[dict[str, object]]:  # type: ignore[type-arg]
        return [
            {
                "code": thing.subject.code,
                "verdict": str(thing.verdict.word),
                "number": thing.verdict.number,
                "reason": thing.verdict.reason,
                "next_step": thing.verdict.next_step,
                "probability": thing.verdict.probability,
                "gates": api.as_json(thing.verdict.gates),
                "pieces": api.as_json(thing.verdict.pieces),
                "evidence": list(thing.verdict.evidence),
                "overridden": api.as_json(getattr(thing, "override", None)),
            }
            for thing in things
            if not code or thing.subject.code.casefold() == code.casefold()
        ]

    return {
        "now_ms": now.now_ms,
        **page_warnings.as_plain(now),
        "stacks": judged(now.stacks),
        "sets": judged(now.sets),
        "boards": judged(now.boards),
        "probes": [{"code": p.subject.code, "state": p.state, "sentence": p.sentence} for p in now.probes],
    }


def export(
    to: Annotated[Path, typer.Argument(help="Folder to write into.")],
    parquet: Annotated[bool, typer.Option("--parquet", help="Readings as Parquet too.")] = False,
    folder: FolderOption = HERE,
) -> None:
    """Write everything as CSV: a file of readings for each probe, one for each kind of entry."""
    store = home.find(folder).store()
    for path, rows in exports.write_all(store, to, parquet=parquet):
        console.print(f"{path}: {rows} rows", highlight=False, soft_wrap=True)
