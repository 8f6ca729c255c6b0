"""What a stack on a load cell tells of each board in it: its loss, shared out by the water that each can still lose.

The cell knows the sum alone. Boards that were all weighed at about one time begin from what each weighed then; of
the loss since, each is taken to have its part of the water that it had above what it will keep. Boards do not keep to
that: how far they differ is judgement (``uneven_share`` in ``load_cell.csv``), and is in each board's error.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kiln.load_cell.records import value
from kiln.load_cell.weight import Thinned
from shared.errors import BadInput
from shared.units import MS_PER_DAY


@dataclass(frozen=True)
class Member:
    """A board of the stack when its loss begins to count: mass, its error, and about its oven-dry mass [kg]."""

    mass_kg: float
    error_kg: float
    oven_dry_kg: float


def weighed_before(mass_kg: float, scale_error_kg: float, oven_dry_kg: float, waited_ms: int) -> Member:
    """Return a board as it counts ``waited_ms`` after it was weighed: the longer, the less is known of its mass."""
    changed = value("change_share_per_day") * mass_kg * waited_ms / MS_PER_DAY
    return Member(mass_kg, float(np.hypot(scale_error_kg, changed)), oven_dry_kg)


def shared_out(members: Sequence[Member], which: int, stack: Thinned) -> Thinned:
    """Return the weights of one board from those of its stack.

    ``stack``: boards alone (what else lies on the cell is tared), since the time at which the members were weighed.
    What the stack's weights are wrong by passes on by the board's share. In common they have besides how wrong the
    board's own mass was at the start, and how uneven its share is. Raises BadInput without members, or for masses
    that are not positive. Method ours.
    """
    if not members or not all(one.mass_kg > 0.0 and one.oven_dry_kg > 0.0 for one in members):
        raise BadInput("members", len(members), "one board or more, each of a mass above 0")
    share = _free_kg(members[which]) / sum(_free_kg(one) for one in members)
    lost = sum(one.mass_kg for one in members) - stack.mass_kg
    return stack._replace(
        mass_kg=members[which].mass_kg - share * lost,
        sd_kg=share * stack.sd_kg,
        common_sd_kg=np.hypot(members[which].error_kg, share * stack.common_sd_kg),
        uneven_kg=value("uneven_share") * share * np.sqrt(1.0 - share) * lost,
    )


def _free_kg(one: Member) -> float:
    kept_kg = one.oven_dry_kg * (1.0 + value("kept_mc_pct") / 100.0)
    return max(one.mass_kg - kept_kg, value("least_free_share") * one.mass_kg)
