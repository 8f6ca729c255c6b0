"""Commands about what is ahead of a board: its dates and bands, and what could be done about it."""

from __future__ import annotations

import json
from typing import Annotated, Any

import numpy as np
import typer
from rich.markup import escape
from rich.padding import Padding
from rich.table import Table

from dashboards import api, board_charts, display, foretold, options_made, situation
from dashboards.pages import event_forms
from dashboards.situation import BoardNow
from dashboards.terminal import home
from dashboards.terminal.home import HERE, FolderOption
from dashboards.terminal.output import console
from kiln.records import Band, Projection
from shared.errors import BadInput, Refused
from shared.units import MS_PER_DAY

DAYS = (0, 7, 14, 30, 60, 90, 180, 365)  # from now on, at which bands are told
ENDS = tuple(Band.__dataclass_fields__)
Code = Annotated[str, typer.Argument(help="The board.")]
JsonOption = Annotated[bool, typer.Option("--json", help="The same, for programs.")]


def ahead(code: Code, folder: FolderOption = HERE, as_json: JsonOption = False) -> None:
    """Show where a board is going: its dates by chance, its bands, what limits them, and what was said before."""
    here = home.find(folder)
    now = situation.read(here.store(), home.now_ms(), here.settings)
    board = _board(now, code)
    made = board.projection
    if made is None:
        raise Refused(f"Board {board.subject.code}: {board.verdict.reason}")
    if as_json:
        typer.echo(json.dumps(_plain(board, made, now.now_ms), indent=1, ensure_ascii=False))
        return
    _say(f"[bold]{board.verdict.word:<9}[/bold] {escape(board.verdict.number)}   board {escape(board.subject.code)}")
    for line in (board.verdict.reason, board.verdict.next_step):
        _under(line)
    _say("\n[bold]When it is fit[/bold]")
    for chance, date in foretold.dates_by_chance(made, now.now_ms):
        _under(f"{chance}: {date}")
    for line in (event_forms.planned(now, board), *foretold.limits(made, now.now_ms)):
        if line:
            _under(line)
    for name in board_charts.DASHES:
        _say(f"\n[bold]{name.capitalize()}, % of oven-dry mass[/bold]")
        console.print(_bands(made, board_charts.band_of(made, name), now.now_ms), highlight=False)
    _history(made, now.now_ms)


def options(code: Code, folder: FolderOption = HERE, as_json: JsonOption = False) -> None:
    """Work out what could be done about a board: leave it, move it, more air, resaw; takes some seconds."""
    here, now_ms = home.find(folder), home.now_ms()
    told = options_made.Worker().of(here.store(), code, now_ms, here.settings)
    if as_json:
        typer.echo(json.dumps(api.as_json(told), indent=1, ensure_ascii=False))
        return
    for one in told.options:
        _say(f"[bold]{escape(one.name[:1].upper() + one.name[1:])}[/bold]")
        for name, figure in options_made.figures(one, told, now_ms):
            _under(f"{name}: {figure}")
    _say(f"From air logged until {display.moment(told.known_until_ms)}. Bands hold 8 in 10.")


def _board(now: situation.Situation, code: str) -> BoardNow:
    for one in now.boards:
        if one.subject.code.lower() == code.lower():
            return one
    raise BadInput("board", code, "the code of a board that `benchdry status` shows")


def _say(line: str) -> None:
    console.print(line, highlight=False)


def _under(line: str) -> None:
    console.print(Padding(escape(line), (0, 0, 0, 10)), highlight=False)


def _moments(made: Projection) -> list[tuple[int, int]]:
    """The days from now on, each with the index of its moment; those beyond the look-ahead left out."""
    at_ms = [made.known_until_ms + days * MS_PER_DAY for days in DAYS]
    places = np.searchsorted(made.at_ms, at_ms)
    return [(days, int(place)) for days, place in zip(DAYS, places, strict=True) if place < len(made.at_ms)]


def _bands(made: Projection, band: Band, now_ms: int) -> Table:
    shown = Table(box=None, padding=(0, 2, 0, 0))
    for column in ("in", "on", "middle", "half", "8 in 10", "95 in 100"):
        shown.add_column(column)
    for days, place in _moments(made):
        day = display.day(int(made.at_ms[place]), now_ms)
        shown.add_row(f"{days} days" if days else "now", day, *board_charts.fan_words(band, place))
    return shown


def _history(made: Projection, now_ms: int) -> None:
    if not made.history:
        return
    _say("\n[bold]What was said, and what came[/bold]")
    for one in reversed(foretold.history(made, now_ms)):
        _under(f"{one.weighed}: at {one.mean}; {foretold.fit_words(one)}; {foretold.next_words(one)}.")
    for line in (*reversed(foretold.moves(made, now_ms)), foretold.score(made)):
        if line:
            _under(line)


def _plain(board: BoardNow, made: Projection, now_ms: int) -> dict[str, Any]:
    """Everything that the command says, with figures as numbers."""
    verdict = board.verdict
    return {
        "board": board.subject.code,
        "now_ms": now_ms,
        "known_until_ms": made.known_until_ms,
        "verdict": str(verdict.word),
        "number": verdict.number,
        "ready_by_ms": dict(zip(("50", "80", "95"), made.ready_by_ms, strict=True)),
        "date_floor_days": made.date_floor_days,
        "holds_mc_pct": made.holds_mc_pct,
        "floor_mc_pct": made.floor_mc_pct,
        "floor_ms": made.floor_ms,
        "chance_at_rest": made.chance_at_rest,
        "boards_taught": made.boards_taught,
        "plan": [{"from_ms": at_ms, "place": name} for at_ms, name in made.legs],
        "bands_mc_pct": {name: _numbers(made, board_charts.band_of(made, name)) for name in board_charts.DASHES},
        "history": [api.as_json(one) for one in made.history],
        "moves": list(foretold.moves(made, now_ms)),
    }


def _numbers(made: Projection, band: Band) -> list[dict[str, float]]:
    return [
        {"days": days, **{end: round(float(getattr(band, end)[place]), 2) for end in ENDS}}
        for days, place in _moments(made)
    ]
