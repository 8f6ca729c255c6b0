"""The commands that say what was told of a board or set at an earlier time."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Annotated, Any

import typer

from dashboards import api, display, fields, replay
from dashboards.replay import Then
from dashboards.situation import BoardNow
from dashboards.terminal import home, showing
from dashboards.terminal.home import HERE, FolderOption
from dashboards.terminal.output import console
from shared.errors import BadInput
from shared.store import Store
from shared.store.records import SubjectKind

LATER = "For what was entered or imported only later, ask again with --hindsight."


def then(kind: SubjectKind) -> Callable[..., None]:
    """Return the command about a board or a set."""

    def then(
        code: Annotated[str, typer.Argument(help="Its code.")],
        at: Annotated[str, typer.Argument(help='The time, "2026-04-04 12:00", by the clock of this machine.')],
        folder: FolderOption = HERE,
        hindsight: Annotated[
            bool, typer.Option("--hindsight", help="As it is known now, whenever it was entered or arrived.")
        ] = False,
        as_json: Annotated[bool, typer.Option("--json", help="The same, for programs.")] = False,
    ) -> None:
        """Work out again what was told at an earlier time, from what was known then; takes some seconds."""
        here = home.find(folder)
        store, at_ms = here.store(), fields.moment_ms("time", at)
        if at_ms is None:
            raise BadInput("time", "", fields.MOMENT_ACCEPTED)
        try:
            found = replay.of_thing(store, kind, code, at_ms, home.now_ms(), here.settings, hindsight=hindsight)
        except replay.NothingKnown as error:
            raise error if hindsight else replay.NothingKnown(f"{error}\n{LATER}") from error
        if as_json:
            typer.echo(json.dumps(_plain(store, found), indent=1, ensure_ascii=False))
        else:
            _tell(store, kind, found)

    return then


def _tell(store: Store, kind: SubjectKind, found: Then) -> None:
    _say(f"{display.moment(found.at_ms)}:")
    showing._tell(str(kind), found.thing)
    showing._tell_all(found.thing)
    for line in (replay.told_sentence(found), found.how, replay.NOT_KEPT, *_later(found)):
        _say(line)
    changes = replay.journal(store, found.thing.subject)
    if changes:
        _say("When the word that was told changed:")
    for one in changes:
        _say(f"  {display.moment(one.at_ms)}: {replay.change_words(one)}")


def _later(found: Then) -> tuple[str, ...]:
    """Where there was nothing to judge by: how to look with what came later."""
    boards = [found.thing] if isinstance(found.thing, BoardNow) else found.thing.boards
    known = found.hindsight or (boards and all(one.projection is not None for one in boards))
    return () if known else (LATER,)


def _plain(store: Store, found: Then) -> dict[str, Any]:
    subject = found.thing.subject
    return {
        "kind": str(subject.kind),
        "code": subject.code,
        "at_ms": found.at_ms,
        "hindsight": found.hindsight,
        "verdict": api.as_json(found.thing.verdict),
        "told": None if found.told is None else api.as_json(found.told, without=("body",)),
        "changes": [api.as_json(one) for one in replay.journal(store, subject)],
        "rests_on": found.how,
        "not_kept": replay.NOT_KEPT,
    }


def _say(line: str) -> None:
    console.print(line, highlight=False, markup=False)
