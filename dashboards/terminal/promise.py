"""Commands that say how far a board, or the pieces of a set, will move."""

from __future__ import annotations

import json
from typing import Annotated, TypeVar

import typer
from rich.markup import escape
from rich.padding import Padding

from dashboards import api, promise_made, situation
from dashboards.pages import promise as pages
from dashboards.pages.promise import PromiseView
from dashboards.situation import BoardNow, SetNow
from dashboards.terminal import home
from dashboards.terminal.home import HERE, FolderOption
from dashboards.terminal.output import console
from shared.errors import BadInput

Thing = TypeVar("Thing", BoardNow, SetNow)
JsonOption = Annotated[bool, typer.Option("--json", help="The same, for programs; lengths in m.")]


def board_movement(
    code: Annotated[str, typer.Argument(help="The board.")], folder: FolderOption = HERE, as_json: JsonOption = False
) -> None:
    """Say how far a board will move: to the driest and wettest week on record, to a house, to where it is to live."""
    here = home.find(folder)
    now = situation.read(here.store(), home.now_ms(), here.settings)
    board = _one(now.boards, "board", code)
    if as_json:
        _as_json(promise_made.of_board(now, board))
    else:
        _tell(pages.of_board(now, board))


def set_movement(
    code: Annotated[str, typer.Argument(help="The set.")], folder: FolderOption = HERE, as_json: JsonOption = False
) -> None:
    """Say how far the halves of a set move together, and what its pieces want from each other through the year."""
    here = home.find(folder)
    now = situation.read(here.store(), home.now_ms(), here.settings)
    matched = _one(now.sets, "set", code)
    if as_json:
        _as_json(promise_made.of_set(now, matched))
        return
    view = pages.of_set(now, matched)
    if view is None:
        _say("It has neither two halves nor a joint that was entered: nothing is glued to anything yet.")
    else:
        _tell(view)


def _one(things: list[Thing], kind: str, code: str) -> Thing:
    for one in things:
        if one.subject.code.lower() == code.strip().lower():
            return one
    raise BadInput(kind, code, ", ".join(one.subject.code for one in things) or f"none yet; add a {kind} first")


def _as_json(told: object) -> None:
    typer.echo(json.dumps(api.as_json(told), indent=1, ensure_ascii=False))


def _tell(view: PromiseView) -> None:
    for line in (view.headline, view.lead, view.why_none):
        if line:
            _say(line)
    for row in view.rows:
        console.print(f"[bold]{escape(row.name[:1].upper() + row.name[1:])}[/bold]  {escape(row.air)}", highlight=False)
        for name, figure in row.figures:
            _say(f"{name}: {figure}", indent=2)
    for joint in view.joints:
        console.print(f"[bold]{escape(joint.name)}[/bold]", highlight=False)
        for line in joint.sentences:
            _say(line, indent=2)
    for line in (*view.flags, *view.limits):
        _say(line)


def _say(text: str, indent: int = 0) -> None:
    console.print(Padding(escape(text), (0, 0, 0, indent)), highlight=False)
