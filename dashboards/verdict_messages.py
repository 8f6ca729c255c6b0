"""What is told outside of a board, set or stack: its message, and which of it makes it another verdict.

The form of a message is docs/verdict_message.schema.json; docs/verdict_messages.md says how to read one.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dashboards.shown_units import METRIC, text
from dashboards.situation import BoardNow, SetNow, Situation
from dashboards.yard_entries import DEFAULT_USE
from kiln.evidence import now_index
from kiln.records import FIT, Projection, Verdict, Word
from shared.settings import Settings
from shared.store.records import Override, Subject, UsePlan
from shared.units import MS_PER_MINUTE, datetime_from_ms

SCHEMA_VERSION = 1
HOLDS_FOR_RENEWALS = 3  # a verdict outlasts two renewals that did not come
FINISH = "finish"  # never READY: of spraying, coats and dust nothing is known here
# What is told anew when it changes; the rest moves on with each renewal.
STATE, TEXTS = ("name", "word", "number", "use", "booked", "overridden"), ("reason", "next_step")
FIGURE = re.compile(r"\d+(?:[.,:]\d+)*")


@dataclass(frozen=True)
class Told:
    """A thing and what is said of it now."""

    subject: Subject
    name: str
    verdict: Verdict
    use: str | None  # None of a stack, whose boards may be for several
    dry_enough: bool  # it is, or holds, wood to be finished: fit is said of its water alone
    booked_ms: int | None
    overridden: Override | None
    mc_pct: tuple[float, float, float] | None  # p10, p50, p90 of a board's mean now
    known_until_ms: int | None  # the last hour of logged air that it rests on
    stale_ms: int | None  # from when on its newest air is too old to speak of it

    @property
    def word(self) -> Word:
        """The verdict's word as it is told: of what holds wood to be finished it is never READY."""
        return Word.DRY_ENOUGH if self.dry_enough and self.verdict.word in FIT else self.verdict.word


def told(now: Situation, settings: Settings, closed: Iterable[int] = ()) -> list[Told]:
    """Return what is said of each board, set and stack; boards whose drying is ``closed`` are left out."""
    left = set(closed)
    found = [_board(one, now, settings) for one in now.boards if one.subject.id not in left]
    for group in now.sets:
        pieces = [_board(one, now, settings) for one in group.boards]
        found.append(_group(group.subject, group.fact.name, group.verdict, pieces, group))
    for stack in now.stacks:
        pieces = [_board(one, now, settings) for one in stack.boards]
        found.append(_group(stack.subject, stack.fact.name, stack.verdict, pieces))
    return found


def _use(plan: UsePlan | None) -> str:
    return plan.use if plan else DEFAULT_USE


def _board(board: BoardNow, now: Situation, settings: Settings) -> Told:
    use, made = _use(board.plan), board.projection
    place = next((one for one in now.places if one.subject.id == board.place_id), None)
    air = place.air if place else None
    return Told(
        board.subject,
        board.fact.name,
        board.verdict,
        use,
        use == FINISH,
        board.plan.booked_ms if board.plan else None,
        board.override,
        _mc_pct(made) if made else None,
        made.known_until_ms if made else None,
        air.at_ms + settings.silent_after_minutes * MS_PER_MINUTE if air else None,
    )


def _mc_pct(made: Projection) -> tuple[float, float, float]:
    now = now_index(made)
    return float(made.mean.p10[now]), float(made.mean.p50[now]), float(made.mean.p90[now])


def _group(
    subject: Subject, name: str, verdict: Verdict, pieces: Sequence[Told], planned: SetNow | None = None
) -> Told:
    """What belongs together rests on all that its pieces rest on: on the oldest of it. A set is ``planned`` as one."""
    known = [one.known_until_ms for one in pieces if one.known_until_ms is not None]
    stale = [one.stale_ms for one in pieces if one.stale_ms is not None]
    use = _use(planned.plan) if planned else None
    return Told(
        subject,
        name,
        verdict,
        use,
        use == FINISH or any(one.dry_enough for one in pieces),
        planned.plan.booked_ms if planned and planned.plan else None,
        planned.override if planned else None,
        None,
        min(known, default=None),
        min(stale, default=None),
    )


def message(one: Told, at_ms: int, settings: Settings) -> dict[str, Any]:
    """Return the message of a verdict that is told at ``at_ms`` (UTC ms), as JSON knows it."""
    # For another use than the one that is told it says nothing of this verdict.
    override = one.overridden if one.overridden and one.overridden.use == one.use else None
    return {
        "schema_version": SCHEMA_VERSION,
        "kind": str(one.subject.kind),
        "code": one.subject.code,
        "name": one.name,
        "word": str(one.word),
        "number": one.verdict.number,
        "reason": text(one.verdict.reason, METRIC),
        "next_step": text(one.verdict.next_step, METRIC),
        "probability": None if one.verdict.probability is None else round(one.verdict.probability, 3),
        "at": moment(at_ms),
        "known_until": moment(one.known_until_ms),
        "valid_until": moment(valid_until_ms(one, at_ms, settings)),
        "use": one.use,
        "booked": moment(one.booked_ms),
        "overridden": {"by": override.entered_by, "reason": override.reason} if override else None,
        "moisture_mc_pct": None if one.mc_pct is None else _band(one.mc_pct),
    }


def _band(mc_pct: tuple[float, float, float]) -> dict[str, float]:
    return {name: round(value, 2) for name, value in zip(("p10", "p50", "p90"), mc_pct, strict=True)}


def valid_until_ms(one: Told, at_ms: int, settings: Settings) -> int:
    """Return until when a verdict told at ``at_ms`` holds unless it is renewed (UTC ms).

    Never for longer than its newest air does: else it would outlast its own evidence when the watch has ended.
    """
    until_ms = at_ms + HOLDS_FOR_RENEWALS * settings.verdict_every_minutes * MS_PER_MINUTE
    return until_ms if one.stale_ms is None or one.stale_ms <= at_ms else min(until_ms, one.stale_ms)


def moment(at_ms: int | None) -> str | None:
    """Return a moment [UTC ms] as RFC 3339 has it, in UTC; None as it is."""
    return None if at_ms is None else f"{datetime_from_ms(at_ms):%Y-%m-%dT%H:%M:%S}Z"


def says_the_same(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Whether two messages of one thing say the same, whenever they were told."""
    return all(one.get(name) == other.get(name) for name in (*STATE, *TEXTS))


def differs_in_figures_alone(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Whether two messages of one thing differ at most in figures within their reason and next step."""
    texts = ([FIGURE.sub("#", str(text.get(name))) for name in TEXTS] for text in (one, other))
    return all(one.get(name) == other.get(name) for name in STATE) and next(texts) == next(texts)
