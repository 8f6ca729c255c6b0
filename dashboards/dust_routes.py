"""Addresses about wood dust: the page, and its limits and harmful woods as JSON."""

from __future__ import annotations

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from dashboards import api
from dashboards.desk import Desk
from dashboards.pages.dust import dust_page
from shared import tables


def add(app: FastAPI, desk: Desk) -> None:
    """Add the addresses."""

    @app.get("/dust", include_in_schema=False, response_class=HTMLResponse)
    def shown(request: Request) -> Response:
        now = desk.now(request)
        return desk.render(request, "dust.html", dust_page(now, now.region), "finish")

    @app.get("/api/dust/limits")
    def limits() -> JSONResponse:
        """Return every limit for wood dust as printed: body, fraction, year, legal standing, source and its status.

        Figures of different fractions (inhalable, total, respirable) are not comparable.
        """
        return JSONResponse(api.as_json(tables.dust_limits()))
