"""An override: somebody uses a board or set whatever the verdict on it says, under their name and with a reason."""

from __future__ import annotations

from dashboards import entering, fields
from dashboards.entering import Connection, Entered, hand
from shared import tables
from shared.errors import BadInput
from shared.store import records as r


def add_override(
    connection: Connection,
    code: str,
    *,
    use: str,
    reason: str,
    by: str,
    now_ms: int,
    kind: str = "board",
    true_at_ms: int | None = None,
) -> Entered:
    """Enter that a board or set is used for this whatever the verdict says: by whom, and why. The verdict stays."""
    at = hand(connection, by, now_ms, true_at_ms)
    if kind not in ("board", "set"):
        raise BadInput("kind", kind, "board or set")
    about = entering.board(connection, code)[0] if kind == "board" else entering.matched_set(connection, code)
    wanted = fields.use(use)
    why = fields.reason("reason", reason, entering.NOTE_LENGTH)
    made = at.write(r.Override, about, use=wanted, reason=why)
    told = f"{kind.capitalize()} {about.code}, {override_words(wanted, at.by, why)} The verdict is shown as it is."
    return Entered(about, "override", made, told)


def override_words(use: str, by: str, reason: str) -> str:
    """Return an override as the end of a sentence that begins with what it is about."""
    return (
        f"{tables.uses()[use].label.lower()}: {by} goes ahead whatever the verdict says, because: {reason.rstrip('.')}."
    )
