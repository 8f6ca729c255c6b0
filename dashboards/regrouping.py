"""Putting the two pieces of a board that was just sawn into a set, an old or a new one: bookmatching them, say."""

from __future__ import annotations

from dataclasses import dataclass

from dashboards import entering, fields, piece_entries
from dashboards.entering import Connection, Hand
from dashboards.piece_entries import ROLE_LENGTH, as_piece, kind_of_role
from shared.errors import BadInput
from shared.store import facts
from shared.store import records as r
from shared.store.records import SubjectKind


@dataclass(frozen=True)
class Into:
    """As it was typed: the set that two pieces go into, and as what."""

    set_code: str = ""  # of a set that is there
    new_set: str = ""  # or of one that is made for them
    role: str = ""  # of the piece that keeps the board's code
    piece_role: str = ""  # of the new piece


NO_SET = Into()


def put_together(at: Hand, into: Into, board: r.Subject, other: r.Subject) -> str:
    """Put both pieces into the set from the moment of the cut on; return that as a sentence, empty without a set."""
    roles = [
        fields.text(field, typed, ROLE_LENGTH)
        for field, typed in (("role", into.role), ("role of the new piece", into.piece_role))
    ]
    found = _wanted(at, into)
    if found is None:
        if any(roles):
            raise BadInput("set", "", "a set that is there or the code of a new one, since a role was given")
        return ""
    told = []
    for one, role in zip((board, other), roles, strict=True):
        piece_entries.put_in_set(
            at.connection,
            one.code,
            set_code=found.code,
            role=role,
            by=at.by,
            now_ms=at.now_ms,
            true_at_ms=at.true_at_ms,
        )
        told.append(f"{one.code}{as_piece(role, kind_of_role(role))}")
    return f" In set {found.code}: {told[0]}, and {told[1]}."


def _wanted(at: Hand, into: Into) -> r.Subject | None:
    old, new = into.set_code.strip(), into.new_set.strip()
    if old and new:
        raise BadInput("code of a new set", new, f"nothing, since set {old} was chosen: one or the other")
    if old:
        return entering.matched_set(at.connection, old)
    if not new:
        return None
    made = subject(at.connection, SubjectKind.SET, fields.code("code of a new set", new))
    at.write(r.SetFact, made, name=made.code, note="")
    return made


def subject(connection: Connection, kind: SubjectKind, wanted: str) -> r.Subject:
    """Return a new thing under its code; one of which everything was taken back may be given again."""
    for one in facts.subjects(connection, kind):
        if one.code == wanted and not any(facts.standing(connection, record, one.id) for record in facts.TABLES):
            return one
    return entering.new_subject(connection, kind, wanted)
