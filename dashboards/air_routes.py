"""The addresses of air: the page of all places, and a place's air as JSON and as a chart over any span."""

from __future__ import annotations

from fastapi import FastAPI, Query, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from dashboards import air_spans, api
from dashboards.desk import Desk, found
from dashboards.heard import PlaceNow
from dashboards.pages import air, air_views
from dashboards.pages.forms import Attempt
from dashboards.situation import Situation

FIRST = Query("", alias="from")  # a word that Python keeps for itself


def add(app: FastAPI, desk: Desk) -> None:
    """Add the addresses."""

    @app.get("/air", include_in_schema=False, response_class=HTMLResponse)
    def all_air(request: Request) -> Response:
        return desk.render(request, "air.html", air.air_page(desk.now(request)), "air")

    @app.get("/api/air/{code}")
    def place(code: str, days: str = "", first: str = FIRST, to: str = "") -> JSONResponse:
        """Return the air of a place now, over a span, and its usual months.

        The span: the last 1, 7, 30, 365 or 3652 days, or all; or from one date to another, both days included.
        """
        now = desk.now()
        one = found(now.places, "place", code)
        history = air.history_of(desk.store, one, _span(desk, now, one, days, first, to))
        told = {"place": one, "history": history, "climate": air.climate_of(desk.store, one)}
        return JSONResponse(api.as_json(told))

    @app.get("/api/figure/air/{code}.json", include_in_schema=False)
    def chart(request: Request, code: str, days: str = "", first: str = FIRST, to: str = "") -> JSONResponse:
        now = desk.now()
        one = found(now.places, "place", code)
        return desk.figure(request, air.air_figure(desk.store, one, _span(desk, now, one, days, first, to)))


def place_page(
    desk: Desk, request: Request, now: Situation, code: str, by: str, attempt: Attempt | None
) -> tuple[str, air.PlacePage]:
    """Return the template and the record of a place's page, over the span that its address asks for."""
    asked = request.query_params
    year = air_views.year_asked(asked.get("year", ""))
    place = found(now.places, "place", code)
    span = _span(desk, now, place, asked.get("days", ""), asked.get("from", ""), asked.get("to", ""))
    return "place.html", air.place_page(now, place, desk.store, air.Asked(span, year), by, attempt)


def _span(desk: Desk, now: Situation, place: PlaceNow, days: str, first: str, last: str) -> air_spans.Span:
    return air_spans.span_of(desk.store, place.subject.id, now.now_ms, days, first, last)
