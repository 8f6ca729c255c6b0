"""The command that says what this yard has learned."""

from __future__ import annotations

import json
from typing import Annotated

import typer
from rich.markup import escape
from rich.padding import Padding

from dashboards import api, display, projection
from dashboards import learned as found
from dashboards.terminal import home
from dashboards.terminal.home import HERE, FolderOption
from dashboards.terminal.output import console


def learned(
    folder: FolderOption = HERE,
    as_json: Annotated[bool, typer.Option("--json", help="The same, for programs.")] = False,
) -> None:
    """Say what finished and harmed boards have taught of their wood, by which boards, and how to undo it."""
    here = home.find(folder)
    told = found.read(here.store(), home.now_ms(), here.settings, projection.Memory())
    if as_json:
        typer.echo(json.dumps(api.as_json(told), indent=1, ensure_ascii=False))
    elif not told.on:
        _say("Nothing is learned: the setting learn_from_finished is off.")
    elif not told.woods:
        _say("Nothing yet. Close a board that was weighed while it dried with: benchdry outcome CODE finished well")
    else:
        for wood in told.woods:
            _tell(wood)
        _say("A board teaches no more once its outcome is undone; the setting learn_from_finished switches all off.")


def _tell(wood: found.Learned) -> None:
    console.print(f"[bold]{wood.label}, {wood.origin}[/bold]  {wood.botanical_name}", highlight=False)
    for line in found.sentences(wood):
        _say(line, indent=2)
    for one in wood.teachers:
        _say(f"{one.subject.code}: {one.outcome}, {display.moment(one.at_ms)}; {one.taught}", indent=4)
        _say(f"benchdry undo outcome {one.outcome_id}", indent=6)


def _say(text: str, indent: int = 0) -> None:
    console.print(Padding(escape(text), (0, 0, 0, indent)), highlight=False)
