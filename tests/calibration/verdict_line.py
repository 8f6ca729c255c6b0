"""What the line from shares of members to stated chances does: in each bin, to READY, and to the delay."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import verdict_held
from report import _share
from verdict_scoring import Asked, Course
from verdict_summary import Bin, reliability, said_ready

from kiln.calibrated import as_held
from kiln.limits import SURE
from kiln.records import Word

HEAD = (
    "| of it | share: n | truly so | apart, points | ± by lots | stated: n | truly so | apart, points | ± by lots |\n"
    "|---|---|---|---|---|---|---|---|---|"
)
DASH = " — | — | — | — |"


def by_shares(some: Sequence[Asked]) -> list[Asked]:
    """The same boards and days, were the shares of members stated as they are: READY only where those are enough."""
    return [
        one._replace(chance=one.share, word=str(Word.WAIT) if said_ready(one) and not _enough(one) else one.word)
        for one in some
    ]


def _enough(one: Asked) -> bool:
    moisture, _, _, room = one.chances  # level and steadiness are stated as they are anyhow
    stated = [chance for chance in (moisture, room) if chance is not None]
    return one.share >= SURE and min(stated) >= as_held(SURE)


def courses_of(some: Sequence[Asked], courses: Sequence[Course]) -> list[Course]:
    """The courses, with the days on which boards were first called fit and first sure taken from ``some``."""
    ready = {one.board: float(one.day) for one in reversed(some) if said_ready(one)}
    sure = {one.board: float(one.day) for one in reversed(some) if one.chance >= SURE}
    return [
        one._replace(ready_day=ready.get(one.board, np.inf), sure_day=sure.get(one.board, np.inf)) for one in courses
    ]


def of_this_run(some: Sequence[Asked]) -> str:
    """Bins of the share of members, and of what is stated of it, beside one another."""
    fit, lot = [one.fit for one in some], [one.lot for one in some]
    return _table(reliability([o.share for o in some], fit, lot), reliability([o.chance for o in some], fit, lot))


def crosswise() -> str:
    """The same over what the line was fitted on, each half by the line of the other; and both lines."""
    all_of = verdict_held.kept()
    first = verdict_held.halves(all_of.lot)
    lines = [verdict_held.fitted(all_of.share[half], all_of.fit[half]) for half in (first, ~first)]
    told = " and ".join(f"{a:.2f} + {b:.2f} · log-odds" for a, b in lines)
    said = verdict_held.crosswise(all_of)
    losses = [verdict_held.log_loss(one, all_of.fit) for one in (all_of.share, said)]
    loss = f"mean logarithmic loss {losses[0]:.3f} by the share, {losses[1]:.3f} as stated"
    table = _table(*(reliability(one, all_of.fit, all_of.lot) for one in (all_of.share, said)))
    return f"{table}\n\n{len(set(all_of.lot))} lots; the two halves give {told}; {loss}."


def of_other_lots(some: Sequence[Asked]) -> list[Bin]:
    """What is stated of all lots, by a line that was not fitted on them: of a run's own, and of the rest crosswise."""
    return reliability(*_union(some, by_share=False))


def union(some: Sequence[Asked]) -> str:
    """Both in one table, shares beside what is stated of them."""
    return _table(*(reliability(*_union(some, by_share=which)) for which in (True, False)))


def _union(some: Sequence[Asked], *, by_share: bool) -> tuple[list[float], list[bool], list[int]]:
    rest = verdict_held.kept()
    fitted_on = set(rest.lot.tolist())
    new = [one for one in some if one.lot not in fitted_on]
    said = rest.share if by_share else verdict_held.crosswise(rest)
    return (
        [*said.tolist(), *(one.share if by_share else one.chance for one in new)],
        [*(rest.fit > 0.5).tolist(), *(one.fit for one in new)],
        [*rest.lot.tolist(), *(one.lot for one in new)],
    )


def _table(shares: list[Bin], said: list[Bin]) -> str:
    by_low = [{one.low: one for one in some} for some in (shares, said)]
    ends = {one.low: one.high for some in (shares, said) for one in some}
    rows = [f"| {low:.1f}–{high:.1f} |" + "".join(_cells(found.get(low)) for found in by_low) for low, high in
            sorted(ends.items())]  # fmt: skip
    return "\n".join([HEAD, *rows])


def _cells(one: Bin | None) -> str:
    if one is None:
        return DASH
    return f" {one.n} | {_share(one.true)} | {100 * one.apart:+.0f} | {100 * one.clustered:.0f} |"
