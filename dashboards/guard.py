"""What stands before every page: host name, origin, sign-in, role, session cookie, and headers on the way out.

What each of these keeps off, and what none of them does, stands in docs/security.md.
"""

from __future__ import annotations

import socket
from collections.abc import Callable
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import quote, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response

from dashboards import auth, look_links, roles
from dashboards.roles import Role
from shared.errors import Refused
from shared.settings import Settings

CONTENT_POLICY = {
    "default-src": "'none'",
    "script-src": "'self'",
    # The chart's library makes an empty <style> and fills it by rules: the hash is that of nothing, nothing else fits.
    "style-src": "'self' 'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='",
    "img-src": "'self' data:",
    "font-src": "'self'",
    "connect-src": "'self'",
    "worker-src": "'self'",
    "manifest-src": "'self'",
    "form-action": "'self'",
    "base-uri": "'none'",
    "frame-ancestors": "'none'",
}
NOT_WANTED = ("camera", "microphone", "geolocation", "payment", "usb", "serial", "midi", "display-capture")
SECURITY_HEADERS = {
    "content-security-policy": "; ".join(f"{what} {whence}" for what, whence in CONTENT_POLICY.items()),
    "permissions-policy": ", ".join(f"{one}=()" for one in NOT_WANTED),
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
}
USUAL_HEADERS = {"referrer-policy": "same-origin", "cache-control": "no-store"}  # where an answer has none of its own
OPEN_PATHS = ("/static/", "/sign-in", "/look/")
FOR_PROGRAMS = ("/api/", "/live", "/export/", "/openapi")
FORWARDED = ("forwarded", "x-forwarded-for", "x-forwarded-proto", "x-real-ip")
ASKING = ("GET", "HEAD", "OPTIONS")


class Guard:
    """ASGI layer around the pages; session and role are at ``request.state.session`` and ``request.state.role``."""

    def __init__(self, app: Any, settings: Settings, secrets: auth.Secrets, clock_ms: Callable[[], int]) -> None:
        self.app = app
        self.secrets = secrets
        self.names = allowed_names(settings)
        self.proxies = frozenset(settings.web_proxies.split())
        self.clock_ms = clock_ms

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Let a request through, or answer it with why not."""
        if scope["type"] == "lifespan":  # the server's own start and end
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return  # no page speaks anything else
        headers = Headers(scope=scope)
        forwarded_by_ours = self._believe_proxy(scope, headers)
        https = scope.get("scheme") == "https"
        session = auth.read_session(_cookie(headers, auth.cookie_name(https=https)), self.secrets.signing_key)
        role = role_of(self.secrets, session, self.clock_ms())
        if role is not Role.NOBODY and session.signed_in_under.startswith("link:"):
            look_links.note_use(self.secrets, session.signed_in_under, self.clock_ms())
        scope.setdefault("state", {}).update(session=session, role=role)

        async def send_guarded(message: Any) -> None:
            if message["type"] == "http.response.start":
                out = MutableHeaders(scope=message)
                out.update(SECURITY_HEADERS)
                for name, value in USUAL_HEADERS.items():
                    out.setdefault(name, value)
                if session.changed:
                    out.append("set-cookie", auth.session_cookie(session, self.secrets.signing_key, https=https))
            await send(message)

        local = _from_this_machine(scope, headers) and not forwarded_by_ours
        answer = self._refusal(scope, headers, role, local=local)
        await (answer or self.app)(scope, receive, send_guarded)

    def _believe_proxy(self, scope: Any, headers: Headers) -> bool:
        """Take scheme and sender as told by a forwarding server that the settings name; nobody else is believed."""
        client = scope.get("client")
        if client is None or client[0] not in self.proxies:
            return False
        if headers.get("x-forwarded-proto", "").strip().lower() == "https":
            scope["scheme"] = "https"
        sender = headers.get("x-forwarded-for", "").rsplit(",", maxsplit=1)[-1].strip()
        if sender:
            scope["client"] = (sender, 0)
        return True

    def _refusal(self, scope: Any, headers: Headers, role: Role, *, local: bool) -> Response | None:
        asking, path = scope["method"] in ASKING, scope["path"]
        if _name_of(headers.get("host", "")) not in self.names:
            named = "Open the pages under one of this machine's own names, or add the name to the setting web_names."
            return PlainTextResponse(named, 421)
        if not asking and not _same_origin(headers):
            return PlainTextResponse("This form was sent from another site; open the page here and send it again.", 403)
        if not self.secrets.has_password and not local:
            alone = "Until a password is set, the pages answer only the machine that they run on. "
            return PlainTextResponse(alone + "Set one there with `benchdry password`.", 403)
        needed = Role.LOOK if asking else roles.to_send(path)
        if role >= needed or (asking and path.startswith(OPEN_PATHS)):
            return None
        programs = path.startswith(FOR_PROGRAMS) or "application/json" in headers.get("content-type", "")
        if role is not Role.NOBODY:
            told = roles.refusal(needed)
            return JSONResponse({"sentence": told}, 403) if programs else PlainTextResponse(told, 403)
        if programs:
            return JSONResponse({"sentence": "Sign in first."}, 401)
        return RedirectResponse(_sign_in_for(scope) if asking else "/sign-in", 303)


def role_of(secrets: auth.Secrets, session: auth.Session, now_ms: int) -> Role:
    """Return what a session may do at this moment; until a password is set, everything."""
    if not secrets.has_password:
        return Role.MANAGE
    return secrets.role_signed_in(session.signed_in_under, session.session_id, session.signed_in_ms, now_ms)


def _sign_in_for(scope: Any) -> str:
    """Return the address that asks for the password and then goes on to the page that was asked for."""
    query = scope.get("query_string", b"").decode("ascii", "replace")
    wanted = quote(scope["path"]) + (f"?{query}" if query else "")
    return "/sign-in" if wanted == "/" else f"/sign-in?to={quote(wanted, safe='/')}"


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


def _cookie(headers: Headers, name: str) -> str | None:
    jar: SimpleCookie = SimpleCookie()
    try:
        jar.load(headers.get("cookie", ""))
    except CookieError:
        return None
    return jar[name].value if name in jar else None


def require_token(session: auth.Session, token: str, secrets: auth.Secrets) -> None:
    """Raise Refused when a form does not carry this session's token."""
    if not session.csrf_fits(token, secrets.signing_key):
        raise Refused("This form has grown old: open the page again and send it once more; nothing was entered.")
