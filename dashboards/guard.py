"""What stands before every page: host name, origin, sign-in, session cookie, and headers on the way out."""

from __future__ import annotations

import socket
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response

from dashboards import auth
from shared.errors import Refused
from shared.settings import Settings

# Plotly sets inline styles on what it draws; scripts come from this server alone.
SECURITY_HEADERS = {
    "content-security-policy": (
        "default-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; connect-src 'self'; "
        "object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "x-frame-options": "DENY",
}
OPEN_PATHS = ("/static/", "/sign-in")
FORWARDED = ("forwarded", "x-forwarded-for", "x-real-ip")


class Guard:
    """ASGI layer around the pages; the session it read is at ``request.state.session``."""

    def __init__(self, app: Any, settings: Settings, secrets: auth.Secrets) -> None:
        self.app = app
        self.secrets = secrets
        self.names = allowed_names(settings)

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Let a request through, or answer it with why not."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        session = auth.read_session(_cookie(headers), self.secrets.signing_key)
        scope.setdefault("state", {})["session"] = session

        async def send_guarded(message: Any) -> None:
            if message["type"] == "http.response.start":
                out = MutableHeaders(scope=message)
                for name, value in SECURITY_HEADERS.items():
                    out[name] = value
                if session.changed:
                    out.append("set-cookie", auth.session_cookie(session, self.secrets.signing_key))
            await send(message)

        answer = self._refusal(scope, headers, session)
        await (answer or self.app)(scope, receive, send_guarded)

    def _refusal(self, scope: Any, headers: Headers, session: auth.Session) -> Response | None:
        if _name_of(headers.get("host", "")) not in self.names:
            named = "Open the pages under one of this machine's own names, or add the name to the setting web_names."
            return PlainTextResponse(named, 421)
        if scope["method"] not in ("GET", "HEAD", "OPTIONS") and not _same_origin(headers):
            return PlainTextResponse("This form was sent from another site; open the page here and send it again.", 403)
        if not self.secrets.has_password:
            return (
                None
                if _from_this_machine(scope, headers)
                else PlainTextResponse(
                    "Until a password is set, the pages answer only the machine that they run on. "
                    "Set one there with `benchdry password`.",
                    403,
                )
            )
        if scope["path"].startswith(OPEN_PATHS) or session.signed_in_under == self.secrets.password_mark:
            return None
        if scope["path"].startswith(("/api/", "/live", "/export/", "/openapi")):
            return JSONResponse({"sentence": "Sign in first."}, 401)
        return RedirectResponse("/sign-in", 303)


def allowed_names(settings: Settings) -> frozenset[str]:
    """Return the host names under which a browser may open the pages."""
    machine = socket.gethostname().lower()
    own = {"localhost", "127.0.0.1", "[::1]", machine, machine.split(".", maxsplit=1)[0] + ".local"}
    if settings.web_host not in ("0.0.0.0", "::", ""):
        own.add(f"[{settings.web_host}]" if ":" in settings.web_host else settings.web_host.lower())
    return frozenset(own | {name.lower() for name in settings.web_names.split()})


def _name_of(host: str) -> str:
    """Return a Host header's name without its port."""
    bare = host.strip().lower()
    if bare.startswith("["):
        return bare.split("]", maxsplit=1)[0] + "]"
    return bare.split(":", maxsplit=1)[0].rstrip(".")


def _same_origin(headers: Headers) -> bool:
    if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return False
    origin = headers.get("origin")
    return origin is None or urlsplit(origin).netloc.lower() == headers.get("host", "").strip().lower()


def _from_this_machine(scope: Any, headers: Headers) -> bool:
    """A forwarding server on this machine speaks for strangers, so what it forwards is not local."""
    client = scope.get("client")
    forwarded = any(name in headers for name in FORWARDED)
    return client is not None and auth.is_loopback(client[0]) and not forwarded


def _cookie(headers: Headers) -> str | None:
    jar: SimpleCookie = SimpleCookie()
    try:
        jar.load(headers.get("cookie", ""))
    except CookieError:
        return None
    return jar[auth.COOKIE_NAME].value if auth.COOKIE_NAME in jar else None


def require_token(session: auth.Session, token: str, secrets: auth.Secrets) -> None:
    """Raise Refused when a form does not carry this session's token."""
    if not session.csrf_fits(token, secrets.signing_key):
        raise Refused("This form has grown old: open the page again and send it once more; nothing was entered.")
