"""The address of the other ways to get hurt."""

from __future__ import annotations

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, Response

from dashboards.desk import Desk
from dashboards.pages.hurt import hurt_page


def add(app: FastAPI, desk: Desk) -> None:
    """Add the address."""

    @app.get("/hurt", include_in_schema=False, response_class=HTMLResponse)
    def hurt(request: Request) -> Response:
        return desk.render(request, "hurt.html", hurt_page(desk.now(request)), "finish")
