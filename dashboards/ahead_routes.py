"""Addresses about a board's forecast: its charts, and what could be done about it."""

from __future__ import annotations

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from dashboards import api, board_charts, danger_charts, options_made, stack_routes
from dashboards.desk import Desk, found
from dashboards.pages.options import no_options, options_page
from kiln.records import Projection
from shared.errors import BadInput, Refused


def add(app: FastAPI, desk: Desk) -> None:
    """Add the addresses; before those that fit any kind of thing."""
    worker = options_made.Worker()
    _charts(app, desk)
    stack_routes.add(app, desk, worker)

    @app.get("/api/board/{code}/options")
    def options_data(code: str) -> JSONResponse:
        """Return what could be done about a board, worked out now: dates, losses, gradients, each p10, p50, p90."""
        one = found(desk.now().boards, "board", code).subject
        return JSONResponse(api.as_json(worker.of(desk.store, one.code, desk.clock_ms(), desk.settings)))

    @app.get("/board/{code}/options", include_in_schema=False, response_class=HTMLResponse)
    def options_shown(request: Request, code: str) -> Response:
        # Not read again with news, as other pages are: it takes some seconds.
        now = desk.now()
        board = found(now.boards, "board", code)
        one, name = board.subject, board.fact.name
        try:
            page = options_page(worker.of(desk.store, one.code, now.now_ms, desk.settings), name, now.now_ms)
        except Refused as error:
            page = no_options(one.code, name, str(error))
        return desk.render(request, "options.html", page, "yard")


def _charts(app: FastAPI, desk: Desk) -> None:
    @app.get("/api/figure/board/{code}.json", include_in_schema=False)
    def board_chart(request: Request, code: str, band: str = "mean") -> JSONResponse:
        made, now_ms = _projection(desk, code)
        return desk.figure(request, board_charts.board_figure(made, now_ms, band))

    @app.get("/api/figure/harms/{code}.json", include_in_schema=False)
    def harms_chart(request: Request, code: str) -> JSONResponse:
        made, now_ms = _projection(desk, code)
        if made.dangers is None:
            raise BadInput("chart of what may harm board", code, "a board whose faces could be followed")
        return desk.figure(request, danger_charts.harms_figure(made.dangers, now_ms))

    @app.get("/api/figure/dates/{code}.json", include_in_schema=False)
    def dates_chart(request: Request, code: str) -> JSONResponse:
        return desk.figure(request, board_charts.dates_figure(*_projection(desk, code)))


def _projection(desk: Desk, code: str) -> tuple[Projection, int]:
    now = desk.now()
    made: Projection | None = found(now.boards, "board", code).projection
    if made is None:
        raise BadInput("chart of board", code, "a board that has been projected")
    return made, now.now_ms
