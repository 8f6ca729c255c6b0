"""Signing in by a password or by a read-only link, and signing out."""

from __future__ import annotations

from fastapi import Depends, FastAPI, Request
from fastapi.responses import PlainTextResponse, RedirectResponse, Response

from dashboards import auth, look_links
from dashboards.desk import Desk
from dashboards.pages.sign_in import sign_in_page
from dashboards.roles import Role
from shared.errors import Refused

MAY_NOW = {
    Role.NOBODY: "",
    Role.LOOK: "You may look. Another password lets you enter things too.",
    Role.RECORD: "You may look and enter things. Another password lets you change places, probes and limits too.",
    Role.MANAGE: "You are signed in and may do everything.",
}
QUIET = {"cache-control": "no-store", "referrer-policy": "no-referrer"}
OPENS_NOTHING = "This link opens nothing (any more): ask whoever gave it to you for another."


def add(app: FastAPI, desk: Desk) -> None:
    """Add the addresses."""

    @app.get("/sign-in", include_in_schema=False)
    def ask(request: Request, to: str = "/") -> Response:
        return _asked(desk, request, to, "")

    @app.post("/sign-in", include_in_schema=False)
    def check(request: Request, typed: dict[str, str] = Depends(desk.typed)) -> Response:  # noqa: B008
        to = look_links.own_path(typed.get("to", "/"))
        try:
            role = _role_by_password(desk, request, typed.get("password", ""))
        except Refused as error:
            return _asked(desk, request, to, str(error))
        request.state.session.sign_in(desk.secrets.mark(role), desk.clock_ms())
        return RedirectResponse(to, 303)

    @app.post("/sign-out", include_in_schema=False)
    def leave(request: Request, typed: dict[str, str] = Depends(desk.typed)) -> Response:  # noqa: B008
        session: auth.Session = request.state.session
        desk.secrets.end_session(session.session_id, desk.clock_ms())
        session.sign_out()
        return RedirectResponse("/", 303)

    @app.get("/look/{token}", include_in_schema=False)
    def look(request: Request, token: str, to: str = "/") -> Response:
        mark = look_links.mark_of(desk.secrets, token, desk.clock_ms())
        if not mark:
            return PlainTextResponse(OPENS_NOTHING, 404, QUIET)
        if request.state.role is Role.NOBODY:  # whoever may more already keeps that
            request.state.session.sign_in(mark, desk.clock_ms())
            look_links.note_use(desk.secrets, mark, desk.clock_ms())
        return RedirectResponse(look_links.own_path(to), 303, QUIET)


def _asked(desk: Desk, request: Request, to: str, error: str) -> Response:
    now = MAY_NOW[request.state.role] if desk.secrets.has_password else "No password is set: nobody need sign in."
    page = sign_in_page(now, look_links.own_path(to), error)
    return desk.render(request, "sign_in.html", page, "", 403 if error else 200)


def _role_by_password(desk: Desk, request: Request, password: str) -> Role:
    """Return the role that a password belongs to; raises Refused for none, or after too many tries."""
    address, now_ms = request.client.host if request.client else "", desk.clock_ms()
    desk.limit.take(address, now_ms, from_here=auth.is_loopback(address))
    role = desk.secrets.role_by_password(password)
    if role is Role.NOBODY:
        raise Refused("This is not the password.")
    desk.limit.give_back(address, now_ms)
    return role
