"""What somebody saw or measured on a board that tells of harm: thickness, sapwood, mould, the prongs of a slice."""

from __future__ import annotations

from dashboards import lives
from dashboards.yard_entries import BoardEntries, Entries
from kiln.collapse import Thickness
from shared.store.records import Degree, OutcomeKind, Sapwood


def thicknesses(entries: Entries, life: list[lives.Part]) -> tuple[Thickness, ...]:
    """Thicknesses measured since a board came into its present thickness."""
    board = entries.boards[life[-1].board_id]
    since_ms = max([life[-1].begin_ms, *(cut.true_at_ms for cut in board.cuts)])
    return tuple(
        Thickness(one.true_at_ms, one.thickness_m)
        for one in board.outcomes
        if one.kind is OutcomeKind.THICKNESS and one.thickness_m is not None and one.true_at_ms >= since_ms
    )


def sapwood(entries: Entries, life: list[lives.Part]) -> bool | None:
    """Whether a board has sapwood, by what was seen when it was lifted out of the water; None: nobody said."""
    said = [entries.lifted[part.board_id].sapwood for part in life if part.board_id in entries.lifted]
    return {Sapwood.SOUND: True, Sapwood.NONE: False}.get(said[-1]) if said else None


def clean_since_ms(board: BoardEntries) -> int | None:
    """When somebody last looked for mould on a board and found none; None: never."""
    looked = [one for one in board.outcomes if one.kind is OutcomeKind.MOULD and one.degree is Degree.NONE]
    return looked[-1].true_at_ms if looked else None


def prongs(board: BoardEntries) -> str:
    """How the prongs of a board's slice turned when it was last tested; "" when it never was."""
    tested = [one.degree for one in board.outcomes if one.kind is OutcomeKind.CASE_HARDENING and one.degree]
    return tested[-1].value if tested else ""


def mould_found_ms(board: BoardEntries) -> int | None:
    """When mould was found on a board, if it was there when somebody last looked for it; None: it was not."""
    looked = sorted((one for one in board.outcomes if one.kind is OutcomeKind.MOULD), key=lambda one: one.true_at_ms)
    return looked[-1].true_at_ms if looked and looked[-1].degree is not Degree.NONE else None
