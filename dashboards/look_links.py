"""Read-only links: an address that opens the pages for looking, for a tablet on a nail or a customer, until revoked.

Whoever has the address may look, so it is shown once, when it is made; kept is only its hash.
"""

from __future__ import annotations

import hashlib
import hmac
import logging
import secrets as random
from dataclasses import dataclass
from urllib.parse import urlsplit

from dashboards.secret_file import Held, Secrets
from shared.errors import BadInput, Refused
from shared.units import MS_PER_DAY, MS_PER_HOUR

USUAL_DAYS = 365
MOST_DAYS = 3650
MOST_LINKS = 100
LONGEST_NAME = 60
LONGEST_PATH = 500
USE_NOTED_EVERY_MS = MS_PER_HOUR
log = logging.getLogger("benchdry.links")


@dataclass(frozen=True)
class Link:
    """A read-only link, without the address that nobody keeps."""

    name: str
    made_ms: int
    until_ms: int
    used_ms: int | None


def make(secrets: Secrets, name: str, days: int, now_ms: int) -> str:
    """Make a link that holds for so many days and return its path; raises Refused or BadInput."""
    tidy = " ".join(name.split())
    if not 1 <= len(tidy) <= LONGEST_NAME or not tidy.isprintable():
        raise BadInput("name of the link", tidy[:LONGEST_NAME], f"1 to {LONGEST_NAME} characters of plain text")
    if not 1 <= days <= MOST_DAYS:
        raise BadInput("days", days, f"1 to {MOST_DAYS}")
    if not secrets.has_password:
        raise Refused("Set a password first, with `benchdry password`: until then only this machine is answered.")
    token = random.token_urlsafe(32)
    fresh = {"name": tidy, "hash": _hash(token), "made_ms": now_ms, "until_ms": now_ms + days * MS_PER_DAY}

    def add(held: Held) -> Held:
        kept = [one for one in held.get("links", []) if one["until_ms"] > now_ms]
        if any(one["name"].casefold() == tidy.casefold() for one in kept):
            raise Refused(f"There is a link named {tidy} already: revoke it first, or choose another name.")
        if len(kept) >= MOST_LINKS:
            raise Refused(f"There are {MOST_LINKS} links already: revoke one first.")
        return held | {"links": [*kept, fresh | {"used_ms": None}]}

    secrets.update(add)
    return f"/look/{token}"


def listed(secrets: Secrets, now_ms: int) -> list[Link]:
    """Return the links that count, oldest first."""
    held = secrets.current().get("links", [])
    known = [Link(one["name"], one["made_ms"], one["until_ms"], one.get("used_ms")) for one in held]
    return [one for one in known if one.until_ms > now_ms]


def revoke(secrets: Secrets, name: str) -> None:
    """End a link, and with it every session that it opened; raises BadInput when there is none of this name."""
    wanted = " ".join(name.split()).casefold()
    names = [one["name"] for one in secrets.current().get("links", [])]
    if wanted not in (one.casefold() for one in names):
        raise BadInput("name of the link", name, f"one of {', '.join(names)}" if names else "nothing: there is no link")
    secrets.update(lambda held: held | {"links": [one for one in held["links"] if one["name"].casefold() != wanted]})


def mark_of(secrets: Secrets, token: str, now_ms: int) -> str:
    """Return the mark to sign in under; empty for an address that opens nothing (any more)."""
    tried, found = _hash(token), ""
    for one in secrets.current().get("links", []):  # all of them, whichever fits
        if hmac.compare_digest(one["hash"], tried) and now_ms < one["until_ms"]:
            found = f"link:{one['hash'][:16]}"
    return found


def note_use(secrets: Secrets, mark: str, now_ms: int) -> None:
    """Keep when a link was last used, to the hour; a disk that cannot be written does not close the pages."""
    for one in secrets.current().get("links", []):
        fits = f"link:{one['hash'][:16]}" == mark
        if fits and now_ms - (one.get("used_ms") or 0) >= USE_NOTED_EVERY_MS:
            try:
                secrets.update(lambda held: _used(held, mark, now_ms))
            except OSError as error:
                log.warning("the last use of link %s was not noted: %s", one["name"], error)


def own_path(wanted: str) -> str:
    """Return where to go after opening a link: a path of these pages; the yard for anything else."""
    plain = wanted.isascii() and wanted.isprintable() and "\\" not in wanted and len(wanted) <= LONGEST_PATH
    if not plain or not wanted.startswith("/") or wanted.startswith(("//", "/look/")):
        return "/"
    parts = urlsplit(wanted)
    return wanted if not parts.scheme and not parts.netloc else "/"


def _used(held: Held, mark: str, now_ms: int) -> Held:
    links = [one | {"used_ms": now_ms} if f"link:{one['hash'][:16]}" == mark else one for one in held.get("links", [])]
    return held | {"links": links}


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
