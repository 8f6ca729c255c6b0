"""The secrets file: the key that signs cookies, the passwords of the roles, read-only links, sessions that were ended.

Beside the settings, readable by its owner only. It holds no password and no link, only what proves one: argon2 hashes
of passwords, which people choose; plain SHA-256 of links, which are 256 random bits and cannot be guessed by trying.
"""

from __future__ import annotations

import fcntl
import hashlib
import json
import os
import secrets
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from dashboards.roles import ROLES, Role
from shared.errors import BadInput, Refused
from shared.units import MS_PER_DAY

SECRETS_NAME = "benchdry-secrets.json"
SHORTEST_PASSWORD = 8
LONGEST_PASSWORD = 200
SESSION_DAYS = 90
MOST_ENDED = 1000
HASH_KEYS = {Role.MANAGE: "password_hash", Role.RECORD: "record_password_hash", Role.LOOK: "look_password_hash"}
HASHER = PasswordHasher()  # argon2id with the library's parameters: 64 MiB and some tens of milliseconds a try
Held = dict[str, Any]


class Secrets:
    """The secrets file, read again whenever it has changed, so that a new password counts at once."""

    def __init__(self, path: Path) -> None:
        """Name the file; it is made when the first key is needed."""
        self.path = path
        self._read_as: tuple[int, int, int] | None = None
        self._held: Held = {}
        self._lock = threading.RLock()
        self._nobodys_hash = ""

    def current(self) -> Held:
        """Return what the file holds now; not to be changed."""
        with self._lock:
            if not self.path.exists():
                self.update(lambda held: held)
            stat = self.path.stat()
            seen = (stat.st_mtime_ns, stat.st_size, stat.st_ino)
            if self._read_as != seen:
                self._held, self._read_as = _read(self.path), seen
            return self._held

    def update(self, change: Callable[[Held], Held]) -> None:
        """Replace the file by what ``change`` makes of it; no other process writes meanwhile."""
        with self._lock, _folder_locked(self.path.parent):
            held = _read(self.path) if self.path.exists() else {"signing_key": secrets.token_urlsafe(48)}
            _write(self.path, change(dict(held)))

    @property
    def signing_key(self) -> str:
        """Return the key that signs cookies."""
        return str(self.current()["signing_key"])

    @property
    def has_password(self) -> bool:
        """Return whether a password is set; there is none for a smaller role without one for managing."""
        return bool(self.current().get(HASH_KEYS[Role.MANAGE]))

    def has_password_for(self, role: Role) -> bool:
        """Return whether this role has a password."""
        return bool(self.current().get(HASH_KEYS[role]))

    def set_password(self, password: str, role: Role = Role.MANAGE) -> None:
        """Set a role's password; raises BadInput when it is too short, Refused when it is another role's."""
        if not SHORTEST_PASSWORD <= len(password) <= LONGEST_PASSWORD:
            accepted = f"{SHORTEST_PASSWORD} to {LONGEST_PASSWORD} characters"
            raise BadInput("password", f"{len(password)} characters long", accepted)
        if role is not Role.MANAGE and not self.has_password:
            raise Refused("Set the password for managing first, with `benchdry password`; nothing was set.")
        if self.role_by_password(password) not in (Role.NOBODY, role):
            raise Refused("Another role has this password, and a sign-in tells roles by it: choose another.")
        made = HASHER.hash(password)
        self.update(lambda held: held | {HASH_KEYS[role]: made})

    def remove_password(self, role: Role) -> None:
        """Take a role's password away, which ends its sessions; raises Refused for managing."""
        if role is Role.MANAGE:
            raise Refused("The password for managing stays: without it the pages would be open; set another instead.")
        self.update(lambda held: {key: one for key, one in held.items() if key != HASH_KEYS[role]})

    def role_by_password(self, password: str) -> Role:
        """Return whose password this is; takes a noticeable moment, on purpose, and the same one for every answer."""
        held, tried = self.current(), password[:LONGEST_PASSWORD]
        fits = {role: self._fits(str(held.get(HASH_KEYS[role]) or self._no_ones()), tried) for role in ROLES}
        return next((role for role in ROLES if fits[role] and held.get(HASH_KEYS[role])), Role.NOBODY)

    def _fits(self, kept: str, tried: str) -> bool:
        try:
            return HASHER.verify(kept, tried)
        except (VerificationError, InvalidHashError):
            return False

    def _no_ones(self) -> str:
        """Return a hash that nobody knows the password of, so that a role without one costs as much to ask."""
        self._nobodys_hash = self._nobodys_hash or HASHER.hash(secrets.token_urlsafe(32))
        return self._nobodys_hash

    def mark(self, role: Role) -> str:
        """Return a short mark of a role's password in force: a sign-in made under another one counts no more."""
        kept = str(self.current().get(HASH_KEYS[role], ""))
        return f"{role.word}:{hashlib.sha256(kept.encode()).hexdigest()[:16]}"

    def role_signed_in(self, under: str, session_id: str, signed_in_ms: int, now_ms: int) -> Role:
        """Return what a session may do that signed in ``under`` this mark; NOBODY when it counts no more."""
        held = self.current()
        if not session_id or session_id in held.get("ended", {}) or signed_in_ms < held.get("none_before_ms", 0):
            return Role.NOBODY
        if under.startswith("link:"):
            return Role.LOOK if link_held(held, under, now_ms) is not None else Role.NOBODY
        if now_ms > signed_in_ms + SESSION_DAYS * MS_PER_DAY:
            return Role.NOBODY
        known = (role for role in ROLES if self.has_password_for(role) and under == self.mark(role))
        return next(known, Role.NOBODY)

    def end_session(self, session_id: str, now_ms: int) -> None:
        """Let a session count no more, whoever kept a copy of its cookie."""
        if session_id:
            self.update(lambda held: _ended(held, session_id, now_ms))


def link_held(held: Held, mark: str, now_ms: int) -> Held | None:
    """Return the read-only link with this mark; None when it is revoked or has run out."""
    for one in held.get("links", []):
        if f"link:{one['hash'][:16]}" == mark and now_ms < one["until_ms"]:
            return dict(one)
    return None


def _ended(held: Held, session_id: str, now_ms: int) -> Held:
    """Remember an ended session for as long as its cookie could be shown; too many, and every session ends."""
    oldest_ms = now_ms - SESSION_DAYS * MS_PER_DAY
    linked = any(one["until_ms"] > now_ms for one in held.get("links", []))
    kept = {key: at for key, at in held.get("ended", {}).items() if linked or at > oldest_ms}
    kept[session_id] = now_ms
    if len(kept) <= MOST_ENDED:
        return held | {"ended": kept}
    return held | {"ended": {}, "none_before_ms": now_ms + 1}


@contextmanager
def _folder_locked(folder: Path) -> Iterator[None]:
    """Keep other processes from writing: the folder itself is locked, so that no lock file is left lying."""
    folder.mkdir(parents=True, exist_ok=True)
    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def _write(path: Path, held: Held) -> None:
    fresh = path.with_suffix(f".{secrets.token_hex(4)}.new")
    handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as out:
        json.dump(held, out)
        out.flush()
        os.fsync(out.fileno())
    fresh.replace(path)


def _read(path: Path) -> Held:
    try:
        held = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise Refused(f"The secrets file {path} cannot be read: {error}.") from error
    if not isinstance(held, dict) or not isinstance(held.get("signing_key"), str):
        raise Refused(f"The secrets file {path} holds no signing key; remove it and set the password again.")
    return held
