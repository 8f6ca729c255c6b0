"""Addresses of what was known at an earlier time."""

from __future__ import annotations

import threading

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, Response

from dashboards import fields, replay
from dashboards.desk import Desk
from dashboards.pages.then import then_page
from shared.errors import BenchdryError
from shared.store import facts
from shared.store.records import BoardFact, SetFact, Subject, SubjectKind

FACTS: dict[SubjectKind, type[BoardFact] | type[SetFact]] = {SubjectKind.BOARD: BoardFact, SubjectKind.SET: SetFact}


def add(app: FastAPI, desk: Desk) -> None:
    """Add the addresses; before those that fit any kind of thing."""
    one_at_a_time = threading.Lock()  # each keeps the solver busy for some seconds

    @app.get("/board/{code}/then", include_in_schema=False, response_class=HTMLResponse)
    def board(request: Request, code: str, at: str = "", hindsight: str = "") -> Response:
        with one_at_a_time:
            return _shown(desk, request, SubjectKind.BOARD, code, at, fields.yes(hindsight))

    @app.get("/set/{code}/then", include_in_schema=False, response_class=HTMLResponse)
    def matched_set(request: Request, code: str, at: str = "", hindsight: str = "") -> Response:
        with one_at_a_time:
            return _shown(desk, request, SubjectKind.SET, code, at, fields.yes(hindsight))


def _shown(desk: Desk, request: Request, kind: SubjectKind, code: str, at: str, hindsight: bool) -> Response:
    # Not read again with news, as other pages are: the past stays as it was.
    with desk.store.reading() as connection:
        subject = facts.subject(connection, kind, code)
        called = facts.standing(connection, FACTS[kind], subject.id)
    changes, found, error, nothing = replay.journal(desk.store, subject), None, None, ""
    changes = sorted([*changes, *replay.uses(desk.store, subject)], key=lambda one: one.at_ms)
    try:
        found = _found(desk, subject, at, hindsight)
    except replay.NothingKnown as unknown:
        nothing = str(unknown)
    except BenchdryError as refused:
        error = refused
    name = called[-1].name if called else ""
    shown = then_page(subject, changes, found, (at, hindsight), error, name, nothing)
    return desk.render(request, "then.html", shown, "yard", 422 if error else 200)


def _found(desk: Desk, subject: Subject, at: str, hindsight: bool) -> replay.Then | None:
    at_ms = fields.moment_ms("time", at)
    if at_ms is None:
        return None
    return replay.of_thing(
        desk.store, subject.kind, subject.code, at_ms, desk.clock_ms(), desk.settings, hindsight=hindsight
    )
