"""Who may open the pages: the password, the signed session cookie, and the tokens on forms.

Until a password is set the pages answer this machine alone. The password's hash (argon2) and the key
that signs cookies lie in a file of their own beside the settings, readable by its owner only.
"""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import json
import os
import secrets
import threading
from collections import deque
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from itsdangerous import BadSignature, URLSafeTimedSerializer

from shared.errors import BadInput, Refused
from shared.settings import Settings
from shared.units import MS_PER_MINUTE, S_PER_DAY

SECRETS_NAME = "benchdry-secrets.json"
COOKIE_NAME = "benchdry"
COOKIE_DAYS = 90
SHORTEST_PASSWORD = 8
LONGEST_PASSWORD = 200
ATTEMPTS = 5
ATTEMPTS_WITHIN_MS = 5 * MS_PER_MINUTE
REMEMBERED_ADDRESSES = 1000
LOOPBACK_NAMES = ("localhost", "127.0.0.1", "::1", "[::1]")


class Secrets:
    """The secrets file, read again whenever it has changed, so that a new password counts at once."""

    def __init__(self, path: Path) -> None:
        """Name the file; it is made when the first key is needed."""
        self.path = path
        self._read_as: tuple[int, int] | None = None
        self._held: dict[str, str] = {}
        self._lock = threading.Lock()

    def _current(self) -> dict[str, str]:
        with self._lock:
            if not self.path.exists():
                self._write({"signing_key": secrets.token_urlsafe(48)})
            stat = self.path.stat()
            if self._read_as != (stat.st_mtime_ns, stat.st_size):
                self._held = _read_secrets(self.path)
                self._read_as = (stat.st_mtime_ns, stat.st_size)
            return self._held

    def _write(self, held: dict[str, str]) -> None:
        self.path.parent.mkdir(parents=True, exist_ok=True)
        fresh = self.path.with_suffix(f".{secrets.token_hex(4)}.new")
        handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as out:
            json.dump(held, out)
        fresh.replace(self.path)

    @property
    def signing_key(self) -> str:
        """Return the key that signs cookies."""
        return self._current()["signing_key"]

    @property
    def has_password(self) -> bool:
        """Return whether a password is set."""
        return bool(self._current().get("password_hash"))

    @property
    def password_mark(self) -> str:
        """Return a short mark of the password in force: a sign-in made under another one counts no more."""
        return hashlib.sha256(self._current().get("password_hash", "").encode()).hexdigest()[:16]

    def set_password(self, password: str) -> None:
        """Set the password; raises BadInput when it is too short."""
        if not SHORTEST_PASSWORD <= len(password) <= LONGEST_PASSWORD:
            accepted = f"{SHORTEST_PASSWORD} to {LONGEST_PASSWORD} characters"
            accepted = f"{SHORTEST_PASSWORD} to {LONGEST_PASSWORD} characters"
            raise BadInput("password", f"{len(password)} characters long", accepted)
        held = dict(self._current()) | {"password_hash": PasswordHasher().hash(password)}
        with self._lock:
            self._write(held)

    def verify(self, password: str) -> bool:
        """Return whether this is the password; takes a noticeable moment, on purpose."""
        try:
            return PasswordHasher().verify(self._current()["password_hash"], password[:LONGEST_PASSWORD])
        except (KeyError, VerificationError, InvalidHashError):
            return False


def _read_secrets(path: Path) -> dict[str, str]:
    try:
        held = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise Refused(f"The secrets file {path} cannot be read: {error}.") from error
    if not isinstance(held, dict) or not isinstance(held.get("signing_key"), str):
        raise Refused(f"The secrets file {path} holds no signing key; remove it and set the password again.")
    return held


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
    signed_in_under: str = ""
    by: str = ""
    said: list[Any] = field(default_factory=list)  # what to tell on the next page, and how to undo it
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

    def say(self, sentence: str, undo: tuple[str, int] | None = None) -> None:
        """Keep a sentence for the next page, and the entry that can be taken back."""
        self.said, self.changed = [sentence, *(undo or ())], True

    def sign_in(self, password_mark: str) -> None:
        """Remember that the password was given; a fresh key, so that an older form token is of no use."""
        self.key, self.signed_in_under, self.changed = secrets.token_urlsafe(16), password_mark, True

    def sign_out(self) -> None:
        """Forget the sign-in and the key."""
        self.key, self.signed_in_under, self.changed = "", "", True


def read_session(cookie: str | None, signing_key: str) -> Session:
    """Return the session of a cookie; a missing, forged or outworn one gives a new session."""
    try:
        held = _serializer(signing_key).loads(cookie or "", max_age=COOKIE_DAYS * S_PER_DAY)
        return Session(str(held["k"]), str(held["in"]), str(held["by"]), list(held["said"]))
    except (BadSignature, KeyError, TypeError):
        return Session(key="")


def session_cookie(session: Session, signing_key: str) -> str:
    """Return the cookie header's value for a session: HttpOnly, SameSite=Lax."""
    held = {"k": session.key, "in": session.signed_in_under, "by": session.by, "said": session.said}
    value = _serializer(signing_key).dumps(held)
    return f"{COOKIE_NAME}={value}; Path=/; Max-Age={COOKIE_DAYS * S_PER_DAY}; HttpOnly; SameSite=Lax"


def _serializer(signing_key: str) -> URLSafeTimedSerializer:
    return URLSafeTimedSerializer(signing_key, salt="benchdry-session")


class SignInLimit:
    """Slows down guessing: a handful of wrong passwords from one address, then a wait."""

    def __init__(self) -> None:
        self._wrong: dict[str, deque[int]] = {}

    def refuse_if_too_many(self, address: str, now_ms: int) -> None:
        """Raise Refused when this address has just guessed too often."""
        tried = self._wrong.get(address, deque())
        while tried and tried[0] < now_ms - ATTEMPTS_WITHIN_MS:
            tried.popleft()
        if len(tried) >= ATTEMPTS:
            raise Refused("Too many wrong passwords from here; wait five minutes and try again.")

    def note_wrong(self, address: str, now_ms: int) -> None:
        """Remember a wrong password."""
        if len(self._wrong) >= REMEMBERED_ADDRESSES:
            self._wrong.clear()
        self._wrong.setdefault(address, deque(maxlen=ATTEMPTS)).append(now_ms)

    def forget(self, address: str) -> None:
        """Forget an address that gave the right password."""
        self._wrong.pop(address, None)
