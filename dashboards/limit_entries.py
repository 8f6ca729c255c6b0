"""A limit that is set for this yard in place of the table's, and why."""

from __future__ import annotations

from dashboards import entering, fields, limits_now
from dashboards.entering import Connection, Entered, hand
from dashboards.limits_now import LimitNow, shown
from shared.errors import BadInput, Refused
from shared.store import facts
from shared.store import records as r
from shared.store.records import SubjectKind


def set_limit(
    connection: Connection, name: str, *, value: str | float | None, reason: str, by: str, now_ms: int
) -> Entered:
    """Set a limit for this yard from now on, in the unit of its table, and say why.

    What was judged before keeps the limit of then; undoing the entry puts back what stood before it.
    Raises Refused for a limit that no verdict asks a yard for.
    """
    at = hand(connection, by, now_ms)
    held = limits_now.named(limits_now.own_limits(connection, now_ms), name)
    if not held.settable:
        raise Refused(f"{held.name} is part of how readings are worked out: it is the same for every yard.")
    wanted = _value(held, value)
    why = fields.reason("reason", reason, entering.NOTE_LENGTH)
    about = _subject(connection, held.name)
    made = at.write(r.OwnLimit, about, value=wanted, reason=why)
    told = f"{shown(wanted, held.unit)} now, instead of {shown(held.value, held.unit)}"
    return Entered(about, "limit", made, f"The limit {held.name} is {told}.")


def _value(held: LimitNow, typed: str | float | None) -> float:
    accepted = held.accepted
    unit = "days" if accepted.unit == "day" else accepted.unit
    how = f"{unit} in whole numbers" if accepted.whole else unit
    wanted = fields.number(held.name, typed, accepted.low, accepted.high, how)
    if accepted.whole and wanted != int(wanted):
        raise BadInput(held.name, typed, f"{accepted.low:g} to {accepted.high:g} {how}")
    return wanted


def _subject(connection: Connection, name: str) -> r.Subject:
    """Return the subject of a limit, made when it is first set; its code is the name in the table."""
    known = (one for one in facts.subjects(connection, SubjectKind.LIMIT) if one.code == name)
    return next(known, None) or facts.add_subject(connection, SubjectKind.LIMIT, name)
