"""What a verdict rests on: the case, its ages, and its conditions one by one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kiln import stress
from kiln.limits import USUAL, Limits
from kiln.reclaimed import Triage, milder_loss
from kiln.records import WEIGHED, Measured, Projection
from kiln.sentences import capital
from kiln.spans import span_words
from kiln.water_clock import Clock
from shared.tables import Use
from shared.units import MS_PER_DAY

CONTRADICTS_SE = 4.0
KINDS = ("weigh-in", "load cell", "pin", "oven-dry", "bag test")


@dataclass(frozen=True)
class Waiting:
    """Wood that came out of the water and waits for the saw: its clock runs, however wet it is kept."""

    clock: Clock
    mass_kg: tuple[float, float, float]  # p10, p50, p90 of what it may weigh soaked


@dataclass(frozen=True)
class Case:
    """One board as it comes before the judge."""

    now_ms: int
    botanical_name: str
    thickness_m: float
    origin: str
    use: Use
    use_chosen: bool  # False: nobody said what it is wanted for
    booked_ms: int | None
    projection: Projection | None
    missing: str  # why there is no projection, in words
    place: str  # where it is; "" when nobody said
    air_at_ms: int | None  # newest air of its place
    air_believed: bool  # False: every probe there is silent or stuck
    air_limit_ms: int
    air_temperature_c: float | None
    unchecked: tuple[str, ...] = ()  # the probes there that were never checked, or whose check is overdue, by name
    air_checked_since_ms: int | None = None  # since when it has lain in air of checked probes only, until now
    fsp_remembered: bool = False  # this wood's own fibre saturation point was never read in print
    being_made: bool = False  # there is none because it is being worked out
    pending: bool = False  # something was entered that the projection does not rest on yet
    entered_ms: int | None = None  # when that was entered; None: not told
    before: str = ""  # the word and number told last before it; empty: none
    own_loss: stress.LossLimit | None = None  # at which boards of this yard were harmed; None: none was
    limits: Limits = USUAL
    begun: bool = False  # the work that it is wanted for has begun
    contradiction: str = ""  # in words, when two things that are wanted of it cannot both be; "" when they can
    out_of_water: Triage | None = None  # what was seen of it when it was lifted; None: nothing was entered
    waiting: Waiting | None = None  # of wood out of the water that was not stacked yet; None: it is none
    refractory: bool | None = None  # whether its heartwood is slow to give off water and apt to check; None: not known
    watered_ms: int | None = None  # when it was last glued, or wetted for bending

    @property
    def most_loss(self) -> stress.LossLimit | None:
        """The daily loss that this board is taken to survive; None where no figure was found."""
        limit = stress.survived(self.botanical_name, self.thickness_m, self.own_loss)
        return milder_loss(limit, self.botanical_name, self.origin, self.out_of_water, refractory=self.refractory)


def at(projection: Projection, moment_ms: int) -> int:
    """Return the index of the first moment of a projection at or after ``moment_ms``."""
    return int(np.clip(np.searchsorted(projection.at_ms, moment_ms), 0, len(projection.at_ms) - 1))


def now_index(projection: Projection) -> int:
    """Return the index of a projection's present: the last hour of logged air."""
    return at(projection, projection.known_until_ms)


def banded(projection: Projection, index: int) -> str:
    """Return a moisture content with its band, in words."""
    mean = projection.mean
    return f"{mean.p50[index]:.1f} % ({mean.p10[index]:.1f}–{mean.p90[index]:.1f})"


def wanted(projection: Projection) -> str:
    """Return the moisture that the use takes, in words."""
    return f"{projection.wanted_mc_pct[0]:.1f}–{projection.wanted_mc_pct[1]:.1f} %"


def _newest_ms(projection: Projection) -> int | None:
    """When the wood was last measured, of what this projection rests on."""
    return max((measured.at_ms for measured in projection.measured), default=None)


def age_days(case: Case) -> float:
    """Return how long ago the wood was measured [day]; infinite when it never was."""
    newest_ms = _newest_ms(case.projection) if case.projection else None
    return np.inf if newest_ms is None else (case.now_ms - newest_ms) / MS_PER_DAY


def age_sentence(case: Case) -> str:
    """Say how long ago the wood was measured."""
    measured = case.projection.measured if case.projection else ()
    newest = max(measured, key=lambda one: one.at_ms, default=None)
    if newest is None:
        return "The wood itself has never been measured."
    return f"Last measured {span_words(case.now_ms - newest.at_ms)} ago: {newest.kind}."


def evidence_of(case: Case, projection: Projection) -> tuple[str, ...]:
    """Say what a verdict rests on."""
    said = [age_sentence(case)]
    kinds = [m.kind for m in projection.measured]
    counted = ", ".join(f"{kinds.count(kind)} × {kind}" for kind in KINDS if kind in kinds)
    said.append(f"Refitted to {counted}." if counted else "Not yet measured: species, size and origin only.")
    if case.air_at_ms is not None:
        said.append(f"Air in {case.place} heard {span_words(case.now_ms - case.air_at_ms)} ago.")
    said.append(f"Projected from air up to {span_words(case.now_ms - projection.known_until_ms)} ago.")
    said += [f"{capital(note)}." for note in projection.notes]
    wrong = {(m.kind if m.kind == "load cell" else m.at_ms): m for m in projection.measured if _contradicts(m)}
    said += [f"{m.kind} {m.mc_pct:.1f} %: {m.note}" for m in wrong.values()]
    return tuple(said)


def _contradicts(measured: Measured) -> bool:
    return abs(measured.misfit) > CONTRADICTS_SE


def weighed_ms(projection: Projection) -> list[int]:
    """Return when a board was weighed, of what its projection rests on."""
    return [measured.at_ms for measured in projection.measured if measured.kind in WEIGHED]
