"""Addresses of weighing: the round, its sheet, the door for entries kept in a phone, and what opens without signal."""

from __future__ import annotations

import json
from typing import Any

from fastapi import Depends, FastAPI, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from dashboards import assets, auth, guard, kept_entries
from dashboards.desk import Desk, NotAllowed, OldForm, TooLong
from dashboards.kept_entries import Kept
from dashboards.pages import weigh
from dashboards.pages.message import undo_words
from shared.errors import BadInput, BenchdryError, Refused

TOKEN_HEADER = "x-benchdry-token"
SAY_HEADER = "x-benchdry-say"  # the next page is to tell it, with the way to take it back
DOOR = "/weigh/enter"
LONGEST_ENTRY_BYTES = 8_000
# What the page Weigh needs beside itself to be opened where there is no signal.
SHELL = ("page.css", "page.js", "queue.js", "weigh.js", "icon.svg", "vendor/htmx.min.js")


def add(app: FastAPI, desk: Desk) -> None:
    """Add the addresses; before those that fit any kind of thing."""
    _pages(app, desk)
    _entering(app, desk)

    @app.get("/sw.js", include_in_schema=False)
    def without_signal() -> Response:
        """Return the script that opens the page Weigh without signal; browsers take it over HTTPS or on localhost."""
        worker = assets.content("sw.js") or b""
        shell = json.dumps([assets.static_path(name) for name in SHELL])
        headers = {"cache-control": "no-cache"}
        return Response(f"const SHELL = {shell};\n".encode() + worker, media_type="text/javascript", headers=headers)


def _pages(app: FastAPI, desk: Desk) -> None:
    page: dict[str, Any] = {"include_in_schema": False, "response_class": HTMLResponse}

    @app.get("/weigh", **page)
    def round_(request: Request) -> Response:
        # Not read again with news, as other pages are: a round goes on with what it was opened with.
        by = request.state.session.by
        return desk.render(request, "weigh.html", weigh.weigh_page(desk.now(), request.query_params, by), "weigh")

    @app.get("/weigh/sheet", **page)
    def sheet(request: Request) -> Response:
        return desk.render(request, "weigh_sheet.html", weigh.sheet_page(desk.now(), request.query_params), "weigh")


def _entering(app: FastAPI, desk: Desk) -> None:
    @app.get("/weigh/session", include_in_schema=False)
    def session(request: Request) -> JSONResponse:
        """Return what a phone needs before it sends what it has kept: this session's token, and the time here."""
        token = request.state.session.csrf(desk.secrets.signing_key)
        return JSONResponse({"token": token, "now_ms": desk.clock_ms()}, headers={"cache-control": "no-store"})

    async def sent(request: Request) -> Kept:
        length = request.headers.get("content-length", "")
        if not length.isdigit() or int(length) > LONGEST_ENTRY_BYTES:
            raise TooLong("This entry is longer than any of ours; nothing was entered.")
        try:
            guard.require_token(request.state.session, request.headers.get(TOKEN_HEADER, ""), desk.secrets)
        except Refused as error:
            raise OldForm(str(error)) from error
        try:
            told = json.loads(await request.body())
        except (ValueError, RecursionError):
            raise BadInput("entry", "no JSON", "an entry in JSON") from None
        return kept_entries.read(told)

    @app.post(DOOR, include_in_schema=False)
    def enter(request: Request, kept: Kept = Depends(sent)) -> JSONResponse:  # noqa: B008
        """Enter what a phone has kept, once for its key."""
        with desk.store.writing() as connection:
            made = kept_entries.enter(connection, kept, desk.clock_ms())
        session: auth.Session = request.state.session
        session.by, session.changed = " ".join(kept.by.split()), True
        if request.headers.get(SAY_HEADER):
            session.say(made.sentence, (made.kind, made.id, undo_words(puts_back=False), ""))
        return JSONResponse({"sentence": made.sentence, "kind": made.kind, "id": made.id, "again": made.again})


def refusal(error: BenchdryError) -> JSONResponse:
    """Return why an entry was not made; ``sure``: it is made when it is sent again with the word that it is right."""
    status = {OldForm: 403, NotAllowed: 403, TooLong: 413}.get(type(error), 422)
    sure = isinstance(error, BadInput) and error.field.startswith("mass of ")
    return JSONResponse({"sentence": str(error), "sure": sure}, status)
