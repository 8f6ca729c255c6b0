"""What a stack on a load cell tells of each board in it: its loss, shared out by the water that each can still lose.

The cell knows the sum alone. Boards that were all weighed at about one time begin from what each weighed then; of
the loss since, each is taken to have its part of the water that it had above what it will keep. Boards do not keep to
that: how far they differ is judgement (``uneven_share`` in ``load_cell.csv``), and is in each board's error.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shared.errors import BadInput
from shared.tables import constants
from shared.units import Array

KEPT_MC_PCT = 12.0  # what a board is taken to keep; only the relation between boards rests on it; judgement
LEAST_FREE_SHARE = 0.02  # of its mass: a board that is dry already takes some part in what the stack does; judgement


@dataclass(frozen=True)
class Member:
    """A board of the stack when its loss begins to count: mass, its error, and about its oven-dry mass [kg]."""

    mass_kg: float
    error_kg: float
    oven_dry_kg: float


def shared_out(members: Sequence[Member], which: int, stack_kg: Array, stack_sd_kg: Array) -> tuple[Array, Array]:
    """Return the mass of one board [kg], and one standard error each, from the mass of its stack.

    ``stack_kg`` and ``stack_sd_kg``: float[n], boards alone (what else lies on the cell is tared), since the time at
    which the members were weighed. Errors that all n have in common (the board's own mass at the start, its uneven
    share) count n times in each square, as in ``weight.thinned``. Raises BadInput without members, or for masses
    that are not positive. Method ours.
    """
    if not members or not all(one.mass_kg > 0.0 and one.oven_dry_kg > 0.0 for one in members):
        raise BadInput("members", len(members), "one board or more, each of a mass above 0")
    share = _free_kg(members[which]) / sum(_free_kg(one) for one in members)
    lost = sum(one.mass_kg for one in members) - np.asarray(stack_kg, dtype=float)
    uneven = constants("load_cell")["uneven_share"].value * share * np.sqrt(1.0 - share) * lost
    common = members[which].error_kg ** 2 + uneven**2
    sd = np.sqrt((share * np.asarray(stack_sd_kg)) ** 2 + lost.size * common)
    return members[which].mass_kg - share * lost, np.asarray(sd, dtype=float)


def _free_kg(one: Member) -> float:
    return max(one.mass_kg - one.oven_dry_kg * (1.0 + KEPT_MC_PCT / 100.0), LEAST_FREE_SHARE * one.mass_kg)
