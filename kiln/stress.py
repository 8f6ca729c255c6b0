"""How fast is too fast: the published safe daily loss by species and thickness.

The figures hold while the wood is above about 25 %MC and for a single day, not for a weekly mean; harm
can be done within hours of a day that looks acceptable.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shared.tables import limit, safe_losses
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
    rows = sorted((row for row in safe_losses() if row.botanical_name == botanical_name), key=lambda r: r.thickness_m)
    if not rows:
        return None
    thin, thick = rows[0], rows[-1]
    if thickness_m <= thin.thickness_m or thick is thin:
        return LossLimit(thin.loss_pct_per_day, thin.source, thin.status)
    power = np.log(thick.loss_pct_per_day / thin.loss_pct_per_day) / np.log(thick.thickness_m / thin.thickness_m)
    loss = thin.loss_pct_per_day * (thickness_m / thin.thickness_m) ** power
    return LossLimit(float(loss), thin.source, thin.status)


def too_fast(loss_pct_per_day: tuple[float, float, float], weighed_ms: list[int], most_pct_per_day: float) -> bool:
    """Whether a loss (p10, p50, p90) is over the limit: as likely as not by the board's own weigh-ins, else surely.

    Before the second weigh-in the loss is the model's alone, and its first days are its weakest.
    """
    low, middle, _high = loss_pct_per_day
    followed = len(weighed_ms) >= 2 and max(weighed_ms) - min(weighed_ms) >= FOLLOWED_MS
    return (middle if followed else low) > most_pct_per_day
