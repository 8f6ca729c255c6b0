"""What every route works with: the store, the settings, the clock, the templates; and how a page is rendered."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import quote

import jinja2
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse

from dashboards import assets, auth, display, figure_text, guard, live, roles, shown_units, typed_units
from dashboards.pages import more
from dashboards.pages.forms import picked
from dashboards.pages.parts import Frame, Link
from dashboards.shown_units import METRIC, Units
from dashboards.sign_in_limit import SignInLimit
from dashboards.situation import Situation
from dashboards.yard_now import YardNow
from shared.errors import BadInput, Refused
from shared.settings import Settings, Source
from shared.store import Store

HERE = Path(__file__).parent
LONGEST_FORM_BYTES = 64_000
MOST_FIELDS = 60
NOTHING_SAID = ("", *auth.NO_UNDO, ())


class TooLong(Refused):
    """A form longer than any of ours."""


class OldForm(Refused):
    """A form without this session's token."""


class NotAllowed(Refused):
    """A form that this role may not send."""


@dataclass
class Desk:
    """What the routes share; nothing in it changes from request to request but the sign-in limit."""

    store: Store
    settings: Settings
    secrets: auth.Secrets
    clock_ms: Callable[[], int]
    demo: bool
    yard: YardNow
    closing: threading.Event = field(default_factory=threading.Event)
    limit: SignInLimit = field(default_factory=SignInLimit)
    sources: Sequence[Source] = ()  # where each setting came from

    def units(self, request: Request) -> Units:
        """Return the units that this browser has chosen, or the yard's."""
        return shown_units.chosen(request.cookies.get(shown_units.COOKIE_NAME), self.settings)

    def may_look(self, request: Request) -> bool:
        """Return whether whoever asked may still look: asked anew, for an answer that goes on for hours."""
        role = guard.role_of(self.secrets, request.state.session, self.clock_ms())
        return role is not roles.Role.NOBODY

    def now(self, request: Request | None = None) -> Situation:
        """Read the whole yard at this moment; the request remembers what the live stream said just before."""
        beat, yard = self.yard.read()
        if request is not None:
            request.state.beat = live.text_of(beat)
        return yard

    def render(self, request: Request, template: str, page: Any, section: str, status: int = 200) -> HTMLResponse:
        """Return a page: the template, its record, and the frame around it."""
        session: auth.Session = request.state.session
        csrf = session.csrf(self.secrets.signing_key)
        told = session.take_said()
        said, undo_kind, undo_id, undo_words, undo_back, leads = (*told, *NOTHING_SAID[len(told) :])
        query = f"?{request.url.query}" if request.url.query else ""
        frame = Frame(
            path=quote(request.url.path) + query if request.method == "GET" else "",
            beat=getattr(request.state, "beat", ""),
            section=section,
            demo=self.demo,
            csrf=csrf,
            by=session.by,
            said=str(said),
            undo_kind=str(undo_kind),
            undo_id=str(undo_id),
            undo_words=str(undo_words),
            undo_back=str(undo_back),
            leads=tuple(Link(*one) for one in leads),
            may=roles.may(request.state.role),
            may_sign_out=self.secrets.has_password and request.state.role is not roles.Role.NOBODY,
            read_at=display.moment(self.clock_ms()),
        )
        text = templates(self.units(request)).get_template(template).render(page=page, frame=frame)
        return HTMLResponse(text, status, headers={"cache-control": "no-store"})

    def part(self, request: Request, template: str, one: Any) -> HTMLResponse:
        """Return a part of a page by itself, for a page that is open already."""
        text = templates(self.units(request)).get_template(template).render(one=one)
        return HTMLResponse(text, headers={"cache-control": "no-store"})

    def figure(self, request: Request, drawn: dict[str, Any]) -> JSONResponse:
        """Return a chart as its page fetches it, in the units of that page."""
        return JSONResponse(figure_text.plain(shown_units.figure(drawn, self.units(request))))

    async def typed(self, request: Request) -> dict[str, str]:
        """Return what a form holds; raises Refused without this session's token."""
        length = request.headers.get("content-length", "")
        if not length.isdigit() or int(length) > LONGEST_FORM_BYTES:
            raise TooLong("This form is longer than any of ours; nothing was entered.")
        form = await request.form(max_files=0, max_fields=MOST_FIELDS)
        held = {key: value for key, value in form.items() if isinstance(value, str)}
        try:
            guard.require_token(request.state.session, held.get("csrf", ""), self.secrets)
        except Refused as error:
            raise OldForm(str(error)) from error
        return picked(typed_units.kept(held))


@cache
def templates(units: Units = METRIC) -> jinja2.Environment:
    """Return the templates, which tell figures in these units; a name that a page record does not have is an error."""
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=shown_units.finalizer(units),
    )
    environment.globals["units"] = units
    environment.filters["in_units"] = typed_units.in_units(units)
    environment.filters["as_held"] = shown_units.AsWritten
    environment.filters["as_written"] = shown_units.as_written(units)
    environment.globals["static"] = assets.static_path
    environment.globals["is_far"] = more.is_far
    environment.globals["menu"] = more.in_bar
    environment.filters["tight"] = display.tight
    return environment


def found(things: list[Any], kind: str, code: str) -> Any:
    """Return the thing with this code; raises BadInput naming the kind."""
    for one in things:
        if one.subject.code.lower() == code.lower():
            return one
    raise BadInput(kind, code, f"the code of a {kind} on the yard page")
