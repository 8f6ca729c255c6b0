"""The session of one browser: who is signed in, in a signed cookie, and the tokens on forms.

Until a password is set the pages answer this machine alone. What a session may do is asked anew at each request
(`Secrets.role_signed_in`): the cookie says only under which password or link it signed in, when, and as which session,
so that a new password, a revoked link and a sign-out each end it at once, whoever kept a copy of the cookie.
"""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import secrets
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from itsdangerous import BadSignature, URLSafeTimedSerializer

from dashboards.secret_file import SECRETS_NAME, Secrets
from shared.errors import Refused
from shared.settings import Settings
from shared.units import S_PER_DAY

__all__ = ["SECRETS_NAME", "Secrets", "Session", "is_loopback", "read_session", "session_cookie"]

COOKIE_NAME = "benchdry"
Undo = tuple[str, int, str, str]  # kind and number of an entry, words of the button, page to come back to
NO_UNDO = ("", "", "", "")
COOKIE_DAYS = 400  # as long as browsers keep one; a sign-in by password counts for SESSION_DAYS of secret_file


def require_binding_allowed(settings: Settings, has_password: bool) -> None:
    """Raise Refused when the pages are to listen beyond this machine while no password is set."""
    if has_password or is_loopback(settings.web_host):
        return
    raise Refused(
        f"web_host is {settings.web_host}: set a password with `benchdry password` before the pages listen "
        "beyond this machine, or leave web_host at 127.0.0.1."
    )


def is_loopback(host: str | None) -> bool:
    """Return whether an address or name means this machine."""
    bare = (host or "").strip("[]")
    if bare.lower() == "localhost":
        return True
    try:
        address = ipaddress.ip_address(bare)
    except ValueError:
        return False
    mapped = getattr(address, "ipv4_mapped", None)
    return (mapped or address).is_loopback


@dataclass
class Session:
    """What one browser carries in its signed cookie."""

    key: str
    signed_in_under: str = ""  # mark of the password or link; see Secrets.mark
    by: str = ""
    said: list[Any] = field(default_factory=list)  # what to tell on the next page, see ``say``
    session_id: str = ""
    signed_in_ms: int = 0
    changed: bool = False

    def csrf(self, signing_key: str) -> str:
        """Return the token that every form of this session carries."""
        self.changed = self.changed or not self.key
        self.key = self.key or secrets.token_urlsafe(16)
        return hmac.new(signing_key.encode(), b"form " + self.key.encode(), hashlib.sha256).hexdigest()

    def csrf_fits(self, token: str, signing_key: str) -> bool:
        """Return whether a form's token belongs to this session."""
        return bool(self.key) and hmac.compare_digest(self.csrf(signing_key).encode(), token.encode())

    def take_said(self) -> list[Any]:
        """Return what is to be told, once."""
        said, self.said = self.said, []
        self.changed = self.changed or bool(said)
        return said

    def say(self, sentence: str, undo: Undo | None = None, leads: Sequence[tuple[str, str]] = ()) -> None:
        """Keep a sentence for the next page, the entry that can be taken back, and links (words, path) that lead on."""
        self.said, self.changed = [sentence, *(undo or NO_UNDO), list(leads)], True

    def sign_in(self, mark: str, now_ms: int) -> None:
        """Remember under what somebody signed in; all marks are fresh, so that older ones are of no use."""
        self.key, self.session_id = secrets.token_urlsafe(16), secrets.token_urlsafe(16)
        self.signed_in_under, self.signed_in_ms, self.changed = mark, now_ms, True

    def sign_out(self) -> None:
        """Forget the sign-in and all that was said to whoever it was."""
        self.key = self.signed_in_under = self.session_id = self.by = ""
        self.said, self.signed_in_ms, self.changed = [], 0, True


def read_session(cookie: str | None, signing_key: str) -> Session:
    """Return the session of a cookie; a missing, forged or outworn one gives a new session."""
    try:
        held = _serializer(signing_key).loads(cookie or "", max_age=COOKIE_DAYS * S_PER_DAY)
        kept = Session(str(held["k"]), str(held["in"]), str(held["by"]), list(held["said"]))
        kept.session_id, kept.signed_in_ms = str(held.get("id", "")), int(held.get("at", 0))
        return kept
    except (BadSignature, KeyError, TypeError, ValueError):
        return Session(key="")


def session_cookie(session: Session, signing_key: str, *, https: bool) -> str:
    """Return the cookie header's value for a session: HttpOnly, SameSite=Lax, over HTTPS Secure too.

    Lax and not Strict: a link in a message of the broker's shall open its page signed in. Nothing is entered by GET.
    """
    held = {"k": session.key, "in": session.signed_in_under, "by": session.by, "said": session.said}
    held |= {"id": session.session_id, "at": session.signed_in_ms}
    value = _serializer(signing_key).dumps(held)
    kept = f"{cookie_name(https=https)}={value}; Path=/; Max-Age={COOKIE_DAYS * S_PER_DAY}; HttpOnly; SameSite=Lax"
    return f"{kept}; Secure" if https else kept


def cookie_name(*, https: bool) -> str:
    """Return the cookie's name; browsers take one that begins with __Host- from this very server and HTTPS alone."""
    return f"__Host-{COOKIE_NAME}" if https else COOKIE_NAME


def _serializer(signing_key: str) -> URLSafeTimedSerializer:
    return URLSafeTimedSerializer(signing_key, salt="benchdry-session")
