"""Which boards of a stack to take as its sample boards: those that dry slowest, and the one that dries fastest.

What the choice goes by is common practice, no source: of the boards the thickest, quarter-sawn ones before others, the
wettest by its projection, those in the middle of the pile; and the driest, which is harmed first.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from dashboards import display
from dashboards.situation import BoardNow, StackNow
from kiln.evidence import now_index
from kiln.wettest import mean_of_all
from shared.store.records import Cut
from shared.units import mm_from_m

COMMON = "common practice, no source"
HARMED = "it is the first to be harmed"
Pick = Callable[..., BoardNow]


@dataclass(frozen=True)
class Sample:
    """One board to take, and why."""

    board: BoardNow
    why: str


@dataclass(frozen=True)
class Samples:
    """The boards to take, and how well they alone would tell the mean of the stack."""

    boards: tuple[Sample, ...]
    of: int  # boards in the stack, entered or not
    mean_pct: tuple[float, float, float] | None  # p10, p50, p90 of the mean of all by these [%MC]; None: not known


def samples(stack: StackNow) -> Samples | None:
    """Return the boards of a stack to take as sample boards; None of fewer than two, where nothing is to be chosen."""
    boards = stack.boards
    if len(boards) < 2:
        return None
    slow = max(boards, key=lambda one: _slowness(boards, one))
    taken = [Sample(slow, _why_slow(boards, slow))]
    wet, dry = _by_water(boards, taken, max), None
    if wet is not None:
        taken.append(Sample(wet, f"the wettest {_among(boards, wet, max)}"))
        dry = _by_water(boards, taken, min)
    if dry is not None:
        taken.append(Sample(dry, f"the driest {_among(boards, dry, min)}: {HARMED}"))
    if len(taken) == 1:
        fast = min(boards, key=lambda one: _slowness(boards, one))
        taken.append(Sample(fast, _why_fast(boards, fast)))
    told = [_mc_pct(one.board) for one in taken]
    in_all = max(stack.fact.boards_in_all or 0, len(boards))
    known = [one for one in told if one is not None]
    return Samples(tuple(taken), in_all, mean_of_all(known, in_all) if len(known) == len(told) else None)


def _by_water(boards: list[BoardNow], taken: list[Sample], pick: Pick) -> BoardNow | None:
    """The wettest or the driest of the boards that are left; None where none is left, or nothing known of them."""
    held = [one.board for one in taken]
    left = [one for one in boards if all(one is not other for other in held) and _mc_pct(one) is not None]
    return pick(left, key=_mc_pct) if left else None


def _among(boards: list[BoardNow], one: BoardNow, pick: Pick) -> str:
    """Whether it is that of all of them, or only of the others; and its figure."""
    known = [board for board in boards if _mc_pct(board) is not None]
    others = "" if pick(known, key=_mc_pct) is one else " of the others"
    return f"now{others}, {display.with_unit(_mc_pct(one), '%')}"


def _slowness(boards: list[BoardNow], one: BoardNow) -> tuple[float, bool, float, float]:
    """By what a board dries slowly, what counts most first."""
    from_middle = abs(boards.index(one) - (len(boards) - 1) / 2)
    wet = _mc_pct(one)
    return one.fact.thickness_m, one.fact.cut is Cut.QUARTER, -1.0 if wet is None else wet, -from_middle


def _why_slow(boards: list[BoardNow], slow: BoardNow) -> str:
    """In what a board stands out among the others."""
    others = [one for one in boards if one is not slow]
    found = []
    thick = [one.fact.thickness_m for one in others]
    if slow.fact.thickness_m > min(thick):
        shared = "one of " if slow.fact.thickness_m in thick else ""
        found.append(f"{shared}the thickest, {mm_from_m(slow.fact.thickness_m):g} mm")
    if slow.fact.cut is Cut.QUARTER and any(one.fact.cut is not Cut.QUARTER for one in others):
        found.append("quarter-sawn")
    wet = [_mc_pct(one) for one in others]
    own = _mc_pct(slow)
    if own is not None and all(one is None or one <= own for one in wet):
        found.append(f"the wettest now, {display.with_unit(own, '%')}")
    if not found:
        return "in the middle of the pile, where the air is slowest; all are alike otherwise"
    return f"{display.listed(found)}: it dries slowest"


def _why_fast(boards: list[BoardNow], fast: BoardNow) -> str:
    """Why a board of which no moisture is known is the one to dry fastest."""
    if fast.fact.thickness_m < max(one.fact.thickness_m for one in boards):
        return f"of the thinnest, {mm_from_m(fast.fact.thickness_m):g} mm: {HARMED}"
    if fast.fact.cut is not Cut.QUARTER and any(one.fact.cut is Cut.QUARTER for one in boards):
        return f"{fast.fact.cut}: {HARMED}"
    return f"at an end of the pile, where the air is fastest: {HARMED}"


def _mc_pct(board: BoardNow) -> float | None:
    """A board's mean moisture now [%MC]; None without a projection."""
    made = board.projection
    return None if made is None else float(made.mean.p50[now_index(made)])


def names(stack: StackNow) -> str:
    """Return the names of the boards to take, in a line; empty where nothing is to be chosen."""
    found = samples(stack)
    return "" if found is None else display.listed([one.board.fact.name for one in found.boards])


def sentences(found: Samples) -> tuple[str, ...]:
    """Say which boards to take and why, and how well they tell the rest."""
    names = display.listed([one.board.fact.name for one in found.boards])
    taken = f"Take {names} as sample boards, and weigh them each time ({COMMON})."
    return taken, *(f"{one.board.fact.name}: {one.why}." for one in found.boards), _tells(found)


def _tells(found: Samples) -> str:
    count = len(found.boards)
    if count < found.of and found.mean_pct is not None:
        low, middle, high = (max(one, 0.0) for one in found.mean_pct)
        figure = f"{middle:.1f} % ({low:.1f}–{high:.1f})"
        return (
            f"By these {count} alone the mean of all {found.of} would be {figure}, if they "
            "had been picked without looking (Student's t, finite population); picked for the wettest and the driest, "
            "they hold the others between them."
        )
    if found.mean_pct is None:
        return "Lift each board once before you choose: the heaviest for its size holds the most water."
    return "These are all boards of the stack."
