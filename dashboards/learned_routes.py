"""Addresses of what this yard has learned."""

from __future__ import annotations

import threading

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from dashboards import api, learned, projection
from dashboards.desk import Desk
from dashboards.pages.learned import learned_page


def add(app: FastAPI, desk: Desk) -> None:
    """Add the addresses."""
    memory, one_at_a_time = projection.Memory(), threading.Lock()

    def found() -> learned.AllLearned:
        with one_at_a_time:
            return learned.read(desk.store, desk.clock_ms(), desk.settings, memory)

    @app.get("/learned", include_in_schema=False, response_class=HTMLResponse)
    def shown(request: Request) -> Response:
        return desk.render(request, "learned.html", learned_page(found()), "how")

    @app.get("/api/learned")
    def data() -> JSONResponse:
        """Return what finished and harmed boards have taught, wood by wood: factors as p10, p50, p90."""
        return JSONResponse(api.as_json(found()))
