"""The limits by which a verdict is reached; each is a default of ``limits.csv`` that a yard can move."""

from __future__ import annotations

from dataclasses import dataclass

from shared.tables import limit

SURE = limit("sure")  # where no yard's own limit is at hand


@dataclass(frozen=True)
class Limits:
    """What is taken as enough, and as too much. The fields are named after the rows of the table."""

    sure: float = SURE  # least chance at which all conditions together count as met, 0 to 1
    measured_within: float = limit("measured_within")  # how lately the wood itself must have been measured [day]
    steady: float = limit("steady")  # most change over the steady days, beyond the air's own swing [%MC]
    twins_apart: float = limit("twins_apart")  # by which twins may differ [%MC]
    pieces_apart: float = limit("pieces_apart")  # by which pieces of one set may differ from their own rest [%MC]
    plateau: float = limit("plateau")  # how near its own resting mass a twin must stand [% of mass]
    loss_counts_above: float = limit("loss_counts_above")  # moisture content from which daily losses count [%MC]
    move_in_below: float = limit("move_in_below")  # moisture content at which wood may be brought in [%MC]


USUAL = Limits()
