"""The chance that is stated where a share of the members meets a condition: as often as that has held.

Members differ by more than boards do near rest: in synthetic yards with a known truth (``docs/verdicts.md``) wood was
fit more often than the share of members that said so. The map from the one to the other is one straight line in
log-odds (Cox, Two further applications of a model for binary regression, Biometrika 45, 1958, from memory), whose two
numbers stand in ``chance.csv``. It is laid over the shares that are stated, never over the members themselves.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from kiln.ensemble import MEMBERS
from kiln.errors import refuse_unless
from shared.tables import constants

LEAST_SHARE = 1.0 / (2 * MEMBERS + 2)  # none of the members is no proof of never, nor all of them of always
_TABLE = constants("chance")
INTERCEPT, SLOPE = _TABLE["held_intercept"].value, _TABLE["held_slope"].value


def as_held(share: float) -> float:
    """Return how often it has held where such a share of the members said so [0 to 1]; grows with ``share``.

    ``share`` 0 to 1; within ``LEAST_SHARE`` of either end it counts as that. Raises OutOfRange for any other. It holds
    for what hangs on where a board and its room stand beside their target: of the difference between core and shell,
    and of steadiness, the share of members is as good as it is (``docs/verdicts.md``).
    """
    value = np.asarray(share, dtype=float)
    refuse_unless((value >= 0.0) & (value <= 1.0), "share", value, 0.0, 1.0, "1")
    kept = min(max(float(share), LEAST_SHARE), 1.0 - LEAST_SHARE)
    return float(1.0 / (1.0 + np.exp(-(INTERCEPT + SLOPE * np.log(kept / (1.0 - kept))))))


def of_all(share: float, each: Iterable[float | None]) -> float:
    """Return the chance that all conditions hold, of the share of members that meet all of them [0 to 1].

    ``each``: the stated chances of conditions, or of pieces, that are part of it; None: not known. It is never above
    the least of those, for what holds together holds alone. Raises as ``as_held``.
    """
    return min(as_held(share), *(one for one in each if one is not None), 1.0)
