"""What is said of the vapour of a finish in a room: one limit at a time, and the whole."""

from __future__ import annotations

from dataclasses import dataclass

from kiln.control import Control
from shared.tables import NoDilution
from shared.units import Array


@dataclass(frozen=True)
class Against:
    """One limit that the vapour is held against."""

    name: str
    control: Control
    peak_share: float | None  # of the limit (1: at it), all evaporating as it is sprayed; None: can't be said
    at_most_share: float | None  # the most that late drying can make it
    limit_text: str
    basis_text: str
    source: str
    status: str
    sentence: str
    at_least: bool = False  # the shares are of the known part alone: there is more
    explosive: bool = False  # a share of the lower explosive limit; else a limit of breathed air


@dataclass(frozen=True)
class FinishAir:
    """The whole judgement of what was or is to be sprayed in a room."""

    control: Control
    headline: str
    refused: NoDilution | None  # no figure is given, and why
    unknowns: tuple[str, ...]
    against: tuple[Against, ...]
    times_s: Array  # from the first spraying; empty, as the others, where nothing can be said
    as_sprayed_lel: Array  # of the lower explosive limit (1: at it)
    at_most_lel: Array
    as_sprayed_mg_m3: Array  # all vapours together
    at_most_mg_m3: Array
    not_before_s: float | None  # after the same moment as the sprayings' start; None: can't be said
    not_before_why: str
    air_needed_health_m3_s: float | None
    air_needed_fire_m3_s: float | None
    formula: tuple[str, ...]
    beside: tuple[str, ...]  # stand beside every figure
    flash: str
    at_least: bool = False  # curves and shares of the explosive limit are of the known part alone
    acts: tuple[str, ...] = ()  # what to do at once: the same where it is over and where nobody can say
