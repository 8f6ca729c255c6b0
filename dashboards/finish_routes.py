"""The addresses of one finish room and of one finish on the shelf."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, Response

from dashboards import finish_now
from dashboards.desk import Desk, found
from dashboards.entries import Entered
from dashboards.pages.finish_product import FinishProductPage, finish_product_page
from dashboards.pages.finish_room import FinishRoomPage, finish_room_page
from dashboards.pages.forms import Attempt
from dashboards.situation import Situation
from shared.store.records import SubjectKind

SECTION = "finish"


def add(app: FastAPI, desk: Desk) -> None:
    """Add the addresses; before those that fit any kind of thing."""
    page: dict[str, Any] = {"include_in_schema": False, "response_class": HTMLResponse}

    @app.get("/finish/room/{code}", **page)
    def room(request: Request, code: str) -> Response:
        template, filled = of_room(desk, request, desk.now(request), code, request.state.session.by)
        return desk.render(request, template, filled, SECTION)

    @app.get("/finish/product/{code}", **page)
    def product(request: Request, code: str) -> Response:
        template, filled = of_product(desk, request, desk.now(request), code, request.state.session.by)
        return desk.render(request, template, filled, SECTION)


def of_room(
    _desk: Desk, _request: Request, now: Situation, code: str, by: str, attempt: Attempt | None = None
) -> tuple[str, FinishRoomPage]:
    """Return the template and the record of a finish room's page, with a form that was not accepted."""
    return "finish_room.html", finish_room_page(now, found(now.open_places, "place", code), by, attempt)


def of_product(
    desk: Desk, _request: Request, now: Situation, code: str, by: str, attempt: Attempt | None = None
) -> tuple[str, FinishProductPage]:
    """Return the template and the record of a finish's page, with a form that was not accepted."""
    with desk.store.reading() as connection:
        finish = found(list(finish_now.finishes(connection, closed=True)), "finish", code)
    return "finish_product.html", finish_product_page(now, finish, by, attempt)


def home_of(desk: Desk, made: Entered) -> str:
    """Return the page of the finish or of the finish room that an entry is about."""
    code = quote(made.subject.code)
    if made.subject.kind is not SubjectKind.FINISH:
        return f"/finish/room/{code}"
    with desk.store.reading() as connection:
        held = any(one.subject.id == made.subject.id for one in finish_now.finishes(connection, closed=True))
    return f"/finish/product/{code}" if held else "/finish"
