"""What people type, as checked values: each refusal is one sentence that names the field and what is accepted."""

from __future__ import annotations

import math
import re
from datetime import datetime
from enum import StrEnum
from typing import TypeVar

from dashboards import display, typed_units
from dashboards.shown_units import MM
from shared import tables
from shared.errors import BadInput
from shared.units import MS_PER_DAY, MS_PER_MINUTE, ms_from_datetime

CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9.\-]{0,23}")
CODE_ACCEPTED = "1 to 24 letters, digits, dashes and dots, beginning with a letter or digit"
MOMENT_FORMS = (
    *("%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M", "%Y-%m-%d %H:%M:%S", "%Y-%m-%d"),
    *("%d %b %Y, %H:%M", "%d %b %Y"),  # as moments are written here
)
MOMENT_ACCEPTED = "a date such as 2026-11-25 or 2026-11-25 09:40"
FUTURE_TOLERANCE_MS = 5 * MS_PER_MINUTE
OLDEST_MS = ms_from_datetime(datetime.fromisoformat("1900-01-01T00:00:00+00:00"))
LEAST_LETTERS = 3  # of a reason
THOUSANDS_OR_DECIMALS = re.compile(r"\d{1,3},\d{3}")

Word = TypeVar("Word", bound=StrEnum)


def code(field: str, typed: str) -> str:
    """Return the short name of a new thing."""
    trimmed = typed.strip()
    if CODE.fullmatch(trimmed):
        return trimmed
    proposal = re.sub(r"[^A-Za-z0-9.\-]+", "-", trimmed).strip("-.")
    if CODE.fullmatch(proposal):
        raise BadInput(field, trimmed, f"letters, digits, dashes and dots, no spaces, so {proposal}", proposal)
    raise BadInput(field, trimmed, CODE_ACCEPTED)


def text(field: str, typed: str, longest: int, *, needed: bool = False) -> str:
    """Return text of at most ``longest`` characters, its spaces tidied."""
    tidy = " ".join(str(typed or "").split())
    if needed and not tidy:
        raise BadInput(field, tidy, f"1 to {longest} characters")
    if len(tidy) > longest or not tidy.isprintable():
        raise BadInput(field, tidy[:40] + "…", f"up to {longest} characters of plain text")
    return tidy


def reason(field: str, typed: str, longest: int) -> str:
    """Return a reason: text of some letters, so that whoever reads it later learns something."""
    tidy = text(field, typed, longest)
    if sum(one.isalpha() for one in tidy) < LEAST_LETTERS:
        raise BadInput(field, tidy, f"why, in some words: {LEAST_LETTERS} letters or more, up to {longest} characters")
    return tidy


def number(field: str, typed: str | float | None, low: float, high: float, unit: str) -> float:
    """Return a number from ``low`` to ``high``; a comma is taken as the decimal sign where it can only be that."""
    told, accepted = typed_units.told(typed), typed_units.accepted(typed, low, high, unit)
    if typed is None or isinstance(typed, bool) or (isinstance(typed, str) and not typed.strip()):
        raise BadInput(field, "", accepted)
    if isinstance(typed, str):
        typed = typed.strip().replace("\u00a0", "").replace(" ", "")
        typed = typed.removesuffix(MM) if unit.startswith(MM) else typed
        if THOUSANDS_OR_DECIMALS.fullmatch(typed):
            whole, decimals = typed.replace(",", ""), typed.replace(",", ".")
            raise BadInput(field, typed, f"a number without a comma, {whole} or {decimals}")
        typed = typed.replace(",", ".") if typed.count(",") == 1 and "." not in typed else typed
    try:
        value = float(typed)
    except ValueError:
        raise BadInput(field, told, f"a number, {accepted}") from None
    if not math.isfinite(value) or not low <= value <= high:
        raise BadInput(field, told, accepted)
    return value


def choice(field: str, typed: str, words: type[Word]) -> Word:
    """Return the word of ``words`` that was chosen."""
    wanted = str(typed or "").strip().lower()
    for word in words:
        if wanted == word.value:
            return word
    raise BadInput(field, typed, "one of " + ", ".join(words))


def use(typed: str | None) -> str:
    """Return the name of a use of the table."""
    known, wanted = tables.uses(), str(typed or "").strip().lower()
    if wanted not in known:
        raise BadInput("use", typed, "one of " + ", ".join(known))
    return wanted


def yes(typed: str | bool | None) -> bool:
    """Return whether a box was ticked."""
    return typed is True or str(typed or "").strip().lower() in ("yes", "on", "true", "1")


def moment_ms(field: str, typed: str | int | None) -> int | None:
    """Return a time typed in the clock of this machine as UTC ms; None when nothing was typed."""
    if isinstance(typed, int) or typed is None:
        return typed
    trimmed = typed.strip()
    if not trimmed:
        return None
    for form in MOMENT_FORMS:
        try:
            local = datetime.strptime(trimmed, form)  # noqa: DTZ007 - typed in local time, made aware below
            return ms_from_datetime(local.astimezone())
        except (ValueError, OverflowError):
            continue
    raise BadInput(field, trimmed, MOMENT_ACCEPTED)


def past_ms(field: str, true_at_ms: int | None, now_ms: int) -> int:
    """Return the time from which an entry is true: now when not given, never in the future."""
    if true_at_ms is None:
        return now_ms
    if true_at_ms > now_ms + FUTURE_TOLERANCE_MS:
        raise BadInput(field, _shown(true_at_ms), f"a time that has come: until {_shown(now_ms)}")
    if true_at_ms < OLDEST_MS:
        raise BadInput(field, _shown(true_at_ms), "a time after 1900")
    return true_at_ms


def day_ahead_ms(field: str, moment: int | None, now_ms: int) -> int | None:
    """Return a booked day: today or up to 30 years ahead."""
    if moment is not None and not now_ms - MS_PER_DAY <= moment <= now_ms + 30 * 366 * MS_PER_DAY:
        raise BadInput(field, _shown(moment), "today or a date within the next 30 years")
    return moment


def ahead_ms(field: str, typed: str | int | None, now_ms: int) -> int:
    """Return a day ahead of now, by up to 30 years, as it was typed or in UTC ms."""
    moment = moment_ms(field, typed)
    if moment is None:
        raise BadInput(field, "", "a day ahead, such as 2027-03-03")
    if moment <= now_ms:
        raise BadInput(field, _shown(moment), "a day ahead; if it was moved already, enter it as a move instead")
    if moment > now_ms + 30 * 366 * MS_PER_DAY:
        raise BadInput(field, _shown(moment), "a day within the next 30 years")
    return moment


def _shown(at_ms: int) -> str:
    try:
        return display.moment(at_ms).removesuffix(", 00:00")  # a date alone was typed as one
    except (ValueError, OverflowError, OSError):
        return str(at_ms)
