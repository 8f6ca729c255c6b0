"""How fast a board loses water, beside what its wood is known to survive."""

from __future__ import annotations

from dataclasses import dataclass

from kiln import stress
from kiln.evidence import Case, now_index, weighed_ms
from kiln.records import Projection
from kiln.standing import Standing


@dataclass(frozen=True)
class Pace:
    """The loss of the last day of logged air, and the limit that it is held against."""

    loss_pct_per_day: tuple[float, float, float]  # p10, p50, p90 [%MC/day]; below 0: it gains
    limit: stress.LossLimit | None  # None: no figure was found for this wood
    counts_above_mc_pct: float  # moisture from which the limit counts [%MC]
    counts: bool  # whether the board is as wet as that
    standing: Standing | None  # over, near or under the limit; None: there is none, or it does not count


def pace_of(case: Case, projection: Projection) -> Pace:
    """Return how fast a board loses, and how that stands to its limit."""
    loss, limit, above = projection.loss_pct_per_day, case.most_loss, case.limits.loss_counts_above
    counts = float(projection.mean.p50[now_index(projection)]) > above
    standing = _standing(projection, limit.pct_per_day) if limit is not None and counts else None
    return Pace(loss, limit, above, counts, standing)


def _standing(projection: Projection, most_pct_per_day: float) -> Standing:
    if stress.too_fast(projection.loss_pct_per_day, weighed_ms(projection), most_pct_per_day):
        return Standing.OVER
    return Standing.NEAR if projection.loss_pct_per_day[2] > most_pct_per_day else Standing.UNDER
