"""Addresses for the choice of units, which each browser makes for itself."""

from __future__ import annotations

from fastapi import Depends, FastAPI, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from dashboards import shown_units
from dashboards.desk import Desk
from dashboards.look_links import own_path
from dashboards.pages.units import chosen_words, units_page
from shared.units import S_PER_DAY

HERE = "/units"
KEPT_DAYS = 400  # as long as browsers keep a cookie at the most; from memory


def add(app: FastAPI, desk: Desk) -> None:
    """Add the addresses."""

    @app.get(HERE, include_in_schema=False, response_class=HTMLResponse)
    def ask(request: Request) -> Response:
        return desk.render(request, "units.html", units_page(desk.units(request)), "settings")

    @app.post(HERE, include_in_schema=False)
    def choose(request: Request, typed: dict[str, str] = Depends(desk.typed)) -> Response:  # noqa: B008
        units = shown_units.checked(typed.get("temperature", ""), typed.get("length", ""))
        request.state.session.say(chosen_words(units))
        answer = RedirectResponse(own_path(typed["to"]) if typed.get("to") else HERE, 303)
        answer.set_cookie(
            shown_units.COOKIE_NAME,
            shown_units.cookie_of(units),
            max_age=KEPT_DAYS * S_PER_DAY,
            httponly=True,
            samesite="lax",
            secure=request.url.scheme == "https",
        )
        return answer
