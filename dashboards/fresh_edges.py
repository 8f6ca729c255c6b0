"""A reminder before glueing: edges bond best freshly planed. It bears on no verdict.

That an hour is fresh enough, and a day is not, is common practice, no source.
"""

from __future__ import annotations

from dashboards import cut_story, display
from dashboards.cut_story import CutKind
from dashboards.situation import BoardNow, SetNow
from shared.store import Store
from shared.units import MS_PER_HOUR

COMMON = "common practice, no source"
GLUE = "glue"
FRESH_MS = MS_PER_HOUR
OF_EDGES = {CutKind.PLANED, CutKind.TRIMMED, CutKind.RIPPED, CutKind.RIPPED_OFF}  # after which an edge may be fresh


def sentence(store: Store, matched: SetNow, now_ms: int) -> str:
    """Return which pieces of a set to be glued were not planed lately, in a sentence; empty where all were."""
    if matched.plan is None or matched.plan.use != GLUE:
        return ""
    found = [(one.fact.name, _planed_ms(store, one, now_ms)) for one in matched.boards]
    never = [name for name, at_ms in found if at_ms is None]
    old = [(name, at_ms) for name, at_ms in found if at_ms is not None and now_ms - at_ms > FRESH_MS]
    told = [f"{name} was planed {display.age(at_ms, now_ms)}" for name, at_ms in old]
    told += [f"no planing of {display.first_few(never)} was entered"] if never else []
    return f"Edges glue best within the hour after planing ({COMMON}): {'; '.join(told)}." if told else ""


def _planed_ms(store: Store, board: BoardNow, now_ms: int) -> int | None:
    """When a board was last planed, trimmed or ripped; None: nobody entered that it was."""
    cuts = cut_story.read(store, board.subject, now_ms).cuts
    return max(
        (one.cut.true_at_ms for one in cuts if one.kind in OF_EDGES and one.cut.true_at_ms <= now_ms), default=None
    )
