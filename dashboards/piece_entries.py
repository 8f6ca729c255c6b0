"""Putting a board into a set, as what, and what that is to the set."""

from __future__ import annotations

import re

from dashboards import entering, fields
from dashboards.entering import Connection, Entered, hand
from shared.store import records as r
from shared.store.records import PieceKind

ROLE_LENGTH = 30
# Of a role's words, the first line that fits; a joint's halves go before what they are halves of.
ROLE_WORDS: dict[PieceKind, str] = {
    PieceKind.TWIN: r"hal(f|ves)|left|right|twins?",
    PieceKind.BRACE: r"brac(es?|ing)|bars?",
    PieceKind.BLOCK: r"blocks?",
    PieceKind.NECK: r"necks?",
    PieceKind.PLATE: r"tops?|backs?|plates?",
}


def put_in_set(
    connection: Connection,
    board: str,
    *,
    set_code: str,
    by: str,
    now_ms: int,
    role: str = "",
    piece_kind: str = "",
    true_at_ms: int | None = None,
) -> Entered:
    """Make a board a piece of a set, as what (left half, brace …); an empty set takes it out.

    ``piece_kind`` is what that is to the set, a word of ``PieceKind``; empty: as the role's words say.
    """
    at = hand(connection, by, now_ms, true_at_ms)
    piece, _fact = entering.board(connection, board)
    found = entering.matched_set(connection, set_code) if set_code.strip() else None
    as_what = fields.text("role", role, ROLE_LENGTH)
    kind = (
        fields.choice("kind of piece", piece_kind, PieceKind) if (piece_kind or "").strip() else kind_of_role(as_what)
    )
    made = at.write(r.SetMember, piece, set_id=None if found is None else found.id, role=as_what, kind=kind)
    told = "in no set" if found is None else f"in set {found.code}{as_piece(as_what, kind)}"
    return Entered(piece, "set-member", made, f"Board {piece.code} is {told}.")


def kind_of_role(role: str) -> PieceKind:
    """Guess from its words what a role is to its set; what says nothing is another piece."""
    words = re.split(r"[^a-z]+", role.lower())
    fits = (kind for kind, pattern in ROLE_WORDS.items() if any(re.fullmatch(pattern, word) for word in words))
    return next(fits, PieceKind.OTHER)


def as_piece(role: str, kind: PieceKind) -> str:
    """Return what a piece is to its set, as the end of a sentence; empty where nobody has said."""
    if kind is PieceKind.OTHER:
        return f" as {role}" if role else ""
    return f" as {role} ({kind})" if role and role.lower() != kind else f" as {kind}"
