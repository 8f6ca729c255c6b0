"""How long what was sprayed counts: until its film is dry to handle by every version of its sheet, and longer.

A film still wet never drops out; where nothing is drawn out, or nobody knows that it is, it counts for a week at the
least.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dashboards import data_sheet, finish_versions
from shared.store import Connection, facts
from shared.store.records import FinishFact, FinishRoom, Sprayed
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_S, S_PER_HOUR

AFTER_DRY_H = 48  # so long it counts after it is dry to handle, by the longest of what its sheets say; ours
UNKNOWN_DAYS = 7  # so long a film counts as wet whose sheet's drying time nobody has entered; ours
UNDRAWN_DAYS = 7  # so long it counts at the least where nothing is drawn out, or nobody knows that it is; ours
_LONGEST_DRY_S = max(data_sheet.DRY_AFTER_H[1] * S_PER_HOUR, UNKNOWN_DAYS * 24 * S_PER_HOUR)
LONGEST_MS = round(_LONGEST_DRY_S * MS_PER_S) + AFTER_DRY_H * MS_PER_HOUR
SAID = (
    f"Counted is what was entered as sprayed here until {AFTER_DRY_H} hours after it is dry to handle, "
    f"{UNDRAWN_DAYS} days at the least where no extraction is known to run; what was not entered is not."
)


@dataclass(frozen=True)
class Held:
    """A spraying, each version of its finish that stood since it was entered, and until when it counts."""

    entry: Sprayed
    entered_ms: int
    versions: tuple[FinishFact, ...]
    until_ms: int


def held_of(connection: Connection, place_id: int, entries: Sequence[Sprayed]) -> tuple[Held, ...]:
    """Return these sprayings of a room, in their order, with what counts of each."""
    if not entries:
        return ()
    rows = finish_versions.every(connection, Sprayed, [place_id])
    sheets = finish_versions.every(connection, FinishFact, {one.finish_id for one in entries})
    rooms = finish_versions.every(connection, FinishRoom, [place_id])
    return tuple(_held(one, rows, sheets, rooms) for one in entries)


def _held(entry: Sprayed, rows: Sequence[Sprayed], sheets: Sequence[FinishFact], rooms: Sequence[FinishRoom]) -> Held:
    entered_ms = finish_versions.first_entered_ms(rows, entry)
    own = [one for one in sheets if one.subject_id == entry.finish_id]
    versions = finish_versions.newest_since(own, entered_ms)
    drawn_out = entry.extraction_on and _drawn_out(rooms, entered_ms, entry.true_at_ms)
    return Held(entry, entered_ms, versions, end_ms(entry) + _counts_ms(versions, drawn_out=drawn_out))


def _counts_ms(versions: Sequence[FinishFact], *, drawn_out: bool) -> int:
    unknown_ms = UNKNOWN_DAYS * MS_PER_DAY
    dry = [unknown_ms if one.dry_after_s is None else round(one.dry_after_s * MS_PER_S) for one in versions]
    after_dry_ms = max(dry, default=unknown_ms) + AFTER_DRY_H * MS_PER_HOUR
    return after_dry_ms if drawn_out else max(after_dry_ms, UNDRAWN_DAYS * MS_PER_DAY)


def _drawn_out(rooms: Sequence[FinishRoom], known_since_ms: int, since_ms: int) -> bool:
    """Whether by all that was said of the room since then air is drawn out of it."""
    last_ms = max((one.true_at_ms for one in rooms), default=since_ms)
    said = finish_versions.in_force_since(rooms, known_since_ms, since_ms, last_ms)
    return bool(said) and all(one.extraction_m3_s for one in said)


def end_ms(one: Sprayed) -> int:
    """When the gun was laid down."""
    return one.true_at_ms + round(one.duration_s * MS_PER_S)


def standing(connection: Connection, place_id: int, since_ms: int) -> list[Sprayed]:
    """Return what was sprayed in a room since a moment, and what is about to be, in order of time."""
    return [one for one in facts.standing(connection, Sprayed, place_id) if end_ms(one) >= since_ms]
