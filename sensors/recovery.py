"""What a recorder says when it starts, once it has caught up, and when it stops: what was kept, and what was not."""

from __future__ import annotations

from typing import NamedTuple

from shared.store.records import RecorderState
from shared.units import datetime_from_ms

STOPPED = "stopped"  # the last word of a recorder that ended in order


class Counts(NamedTuple):
    """What became of the messages since the recorder was started."""

    stored: int
    repeated: int
    conflicting: int
    rejected: int
    late: int


def begun(before: RecorderState | None) -> str:
    """Say how the recorder before ended."""
    if before is None:
        return "the first recorder on this store"
    when = f"{datetime_from_ms(before.beat_ms):%Y-%m-%d %H:%M:%S} UTC"
    if before.note == STOPPED:
        return f"the recorder before stopped in order at {when}"
    waiting = f" with {_of(before.waiting, 'message')} waiting" if before.waiting else ""
    return (
        f"the recorder before ended without a word; its last sign of life{waiting} is of {when}: what it had not "
        "acknowledged comes again from the broker"
    )


def caught_up(before: Counts, now: Counts, took_s: float, *, session_kept: bool) -> str:
    """Say what came in the first rush after the connection was made."""
    if not session_kept:
        return "connected; the broker had kept nothing for us"
    new, again, refused, late = (
        now.stored - before.stored,
        now.repeated - before.repeated,
        now.rejected - before.rejected,
        now.late - before.late,
    )
    if not (new or again or refused):
        return "connected; nothing had waited at the broker"
    told = f"connected; what had waited at the broker came in {took_s:.0f} s: {_of(new, 'reading')} stored"
    told += f", {again} were stored already" if again else ""
    told += f", {_of(refused, 'message')} refused" if refused else ""
    return told + (f", {late} without a time of their own flagged as late" if late else "")


def ended(counts: Counts, waiting: int, commit_failed: str) -> str:
    """Say what was done in all, and what is left behind."""
    told = (
        f"stopped: {_of(counts.stored, 'reading')} stored, {counts.repeated} came again, {counts.conflicting} "
        f"contradicted what was stored, {_of(counts.rejected, 'message')} refused"
    )
    if not waiting:
        return f"{told}; nothing is left waiting"
    why = f" ({commit_failed})" if commit_failed else ""
    left = f"{_of(waiting, 'message')} could not be stored{why}"
    return f"{told}; {left}: not acknowledged, so the broker keeps what it holds for us"


def _of(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"
