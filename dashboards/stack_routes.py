"""Addresses about a stack: its chart, and what could be done about it."""

from __future__ import annotations

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from dashboards import api, options_made, stack_charts
from dashboards.desk import Desk, found
from dashboards.pages.stack_options import NO_BOARD, no_options, stack_options_page
from shared.errors import BadInput, Refused


def add(app: FastAPI, desk: Desk, worker: options_made.Worker) -> None:
    """Add the addresses; before those that fit any kind of thing."""

    @app.get("/api/figure/stack/{code}.json", include_in_schema=False)
    def chart(request: Request, code: str) -> JSONResponse:
        now = desk.now()
        stack = found(now.stacks, "stack", code)
        course = stack_charts.course_of(stack)
        if course is None:
            raise BadInput("chart of stack", code, "a stack of which a board has been projected")
        return desk.figure(request, stack_charts.stack_figure(stack, course, now.now_ms))

    @app.get("/api/stack/{code}/options")
    def options_data(code: str) -> JSONResponse:
        """Return what could be done about a stack, worked out now for the board that decides: as for a board."""
        stack = found(desk.now().stacks, "stack", code)
        if stack.deciding is None:
            raise Refused(NO_BOARD)
        board = stack.deciding.subject.code
        return JSONResponse(api.as_json(worker.of(desk.store, board, desk.clock_ms(), desk.settings)))

    @app.get("/stack/{code}/options", include_in_schema=False, response_class=HTMLResponse)
    def options_shown(request: Request, code: str) -> Response:
        # Not read again with news, as other pages are: it takes some seconds.
        now = desk.now()
        stack = found(now.stacks, "stack", code)
        board = stack.deciding
        try:
            if board is None:
                raise Refused(NO_BOARD)
            told = worker.of(desk.store, board.subject.code, now.now_ms, desk.settings)
            page = stack_options_page(stack, board, told, now.now_ms)
        except Refused as error:
            page = no_options(stack, str(error))
        return desk.render(request, "stack_options.html", page, "yard")
