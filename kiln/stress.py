"""How fast is too fast: the published safe daily loss by species and thickness.

The figures hold while the wood is above about 25 %MC and for a single day, not for a weekly mean; harm
can be done within hours of a day that looks acceptable.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shared.tables import SafeLoss, limit, safe_losses
from shared.units import MS_PER_DAY

APPLIES_ABOVE_MC_PCT = limit("loss_counts_above")
FOLLOWED_MS = MS_PER_DAY // 2  # between first and last weigh-in, before they speak of a rate; judgement


@dataclass(frozen=True)
class LossLimit:
    """The greatest daily loss for one board, and where the figure stands."""

    pct_per_day: float
    source: str
    status: str


def safe_loss(botanical_name: str, thickness_m: float) -> LossLimit | None:
    """Return the safe daily loss [%MC a day]; None where no figure was found: do not invent one.

    Between the two published thicknesses, and above them, by the power law through both. A thinner board
    keeps the limit of the thinner published one, although it could bear more.
    """
    rows = _published(botanical_name)
    if not rows:
        return None
    thin = rows[0]
    loss = at_thickness(thin.loss_pct_per_day, thin.thickness_m, thickness_m, botanical_name)
    return LossLimit(loss, thin.source, thin.status)


def survived(botanical_name: str, thickness_m: float, own: LossLimit | None) -> LossLimit | None:
    """Return the lower of the published safe daily loss and a yard's own, with where it stands; None: there is none."""
    published = safe_loss(botanical_name, thickness_m)
    if published is None or own is None:
        return own or published
    return own if own.pct_per_day < published.pct_per_day else published


def at_thickness(loss_pct_per_day: float, seen_at_m: float, thickness_m: float, botanical_name: str) -> float:
    """Carry a daily loss [%MC a day] from the thickness at which it was seen to another.

    By the power law through the wood's two published figures, or, where it has none, the middle one of all woods
    (two inches lose 2.5 times more slowly than one). To a thinner board as it is.
    """
    if thickness_m <= seen_at_m:
        return loss_pct_per_day
    return float(loss_pct_per_day * (thickness_m / seen_at_m) ** _power(botanical_name))


def _published(botanical_name: str) -> list[SafeLoss]:
    rows = (row for row in safe_losses() if row.botanical_name == botanical_name)
    return sorted(rows, key=lambda row: row.thickness_m)


def _power(botanical_name: str) -> float:
    rows = _published(botanical_name)
    if len(rows) > 1:
        thin, thick = rows[0], rows[-1]
        return float(
            np.log(thick.loss_pct_per_day / thin.loss_pct_per_day) / np.log(thick.thickness_m / thin.thickness_m)
        )
    return float(np.median([_power(name) for name in {row.botanical_name for row in safe_losses()}]))


def too_fast(loss_pct_per_day: tuple[float, float, float], weighed_ms: list[int], most_pct_per_day: float) -> bool:
    """Whether a loss (p10, p50, p90) is over the limit: as likely as not by the board's own weigh-ins, else surely.

    Before the second weigh-in the loss is the model's alone, and its first days are its weakest.
    """
    low, middle, _high = loss_pct_per_day
    followed = len(weighed_ms) >= 2 and max(weighed_ms) - min(weighed_ms) >= FOLLOWED_MS
    return (middle if followed else low) > most_pct_per_day
