"""What air the pieces in a place are meant for, and how long a place's air keeps to it or leaves it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from dashboards import air_history, display, limits_now
from dashboards.air_history import AirHistory
from dashboards.situation import BoardNow, Situation
from dashboards.yard_entries import DEFAULT_USE
from kiln import sorption
from kiln.spans import span_words
from shared.store.records import UsePlan
from shared.tables import Use


@dataclass(frozen=True)
class Wanted:
    """The air of one use: where a piece at rest in it holds what the use asks for."""

    label: str
    rh_pct: float
    temperature_c: float
    emc_low_pct: float
    emc_high_pct: float
    pieces: tuple[str, ...]  # that lie here and are meant for it; empty: no piece here is

    @property
    def span(self) -> str:
        """From least to most moisture, in words."""
        return f"{display.number(self.emc_low_pct)} to {display.number(self.emc_high_pct)} %"


def wanted(now: Situation, place_id: int) -> tuple[Wanted, ...]:
    """Return the air that the pieces in a place are meant for; where none lies, that of all pieces of the yard.

    A set's use holds for its pieces. Air that no piece is named for is that of the use everything begins with.
    """
    with now.store.reading() as connection:
        uses = limits_now.uses_now(limits_now.own_limits(connection, now.now_ms))
    by_set = {one.subject.id: one.plan for one in now.sets}
    here = [board for board in now.boards if board.place_id == place_id]
    found: dict[tuple[str, float, float], list[str]] = {}
    for board in here or now.boards:
        found.setdefault(_asked(uses, _plan(board, by_set)), []).append(board.fact.name)
    if not found:
        found[_asked(uses, None)] = []
    return tuple(_wanted(uses[use], rh, t, names if here else []) for (use, rh, t), names in found.items())


def _plan(board: BoardNow, by_set: dict[int, UsePlan | None]) -> UsePlan | None:
    return board.plan or (by_set.get(board.set_id) if board.set_id is not None else None)


def _asked(uses: dict[str, Use], plan: UsePlan | None) -> tuple[str, float, float]:
    if plan is not None:
        return plan.use, plan.destination_rh_pct, plan.destination_temperature_c
    usual = uses[DEFAULT_USE]
    return usual.name, usual.destination_rh_pct, usual.destination_temperature_c


def _wanted(use: Use, rh_pct: float, temperature_c: float, pieces: Iterable[str]) -> Wanted:
    may_miss = use.room_tolerance_mc_pct or use.tolerance_mc_pct
    middle = float(sorption.emc_pct(temperature_c, rh_pct))
    return Wanted(use.label, rh_pct, temperature_c, max(0.0, middle - may_miss), middle + may_miss, tuple(pieces))


@dataclass(frozen=True)
class Spell:
    """A time over which every step lay on one side of a limit."""

    start_ms: int
    end_ms: int

    @property
    def length_ms(self) -> int:
        """How long it was."""
        return self.end_ms - self.start_ms


def longest(history: AirHistory, beyond: np.typing.NDArray[np.bool_]) -> Spell | None:
    """Return the longest spell of steps that lie ``beyond`` something; a gap ends a spell. None: no step does."""
    best: Spell | None = None
    for run in air_history.runs(history, np.isfinite(history.emc_pct)):
        after = np.append(history.at_ms[run[1:]], history.at_ms[run[-1]] + history.span_ms)
        start_ms: int | None = None
        for one, until_ms in zip(run, after, strict=True):
            if not beyond[one]:
                start_ms = None
                continue
            start_ms = int(history.at_ms[one]) if start_ms is None else start_ms
            if best is None or until_ms - start_ms > best.length_ms:
                best = Spell(start_ms, int(until_ms))
    return best


def told(history: AirHistory, one: Wanted) -> str:
    """Say how a place's EMC over a span lay to what a use wants: the longest spells above and below, in words."""
    known = np.isfinite(history.emc_pct)
    whose = f"{one.label} wants air that holds wood at {one.span}"
    if not known.any():
        return f"{whose}. No air is on record in this span."
    for which, word in ((history.emc_pct > one.emc_high_pct, "above"), (history.emc_pct < one.emc_low_pct, "below")):
        if which[known].all():
            return f"{whose}. It was {word} all the time."
    above, below = known & (history.emc_pct > one.emc_high_pct), known & (history.emc_pct < one.emc_low_pct)
    share = _share(int(np.count_nonzero(known & ~above & ~below)), int(np.count_nonzero(known)))
    high, low = (_spell(history, which, word) for which, word in ((above, "above"), (below, "below")))
    return f"{whose}. So it was {share} of the time; {high}, {low}."


def _share(count: int, of: int) -> str:
    if count in (0, of):
        return "all" if count else "none"
    return f"{min(max(round(100 * count / of), 1), 99)} %"


def _spell(history: AirHistory, beyond: np.typing.NDArray[np.bool_], word: str) -> str:
    spell = longest(history, beyond)
    if spell is None:
        return f"never {word}"
    return f"{word} for up to {span_words(spell.length_ms)}"
