"""A stack's page: what each board loses a day, against what its wood survives."""

from __future__ import annotations

from dataclasses import dataclass, field

from markupsafe import Markup

from dashboards import display, stack_drawings
from dashboards.pages.parts import Link
from dashboards.situation import BoardNow, StackNow
from kiln.pace import Pace
from kiln.records import Standing
from kiln.stress import LossLimit


@dataclass(frozen=True)
class PaceLine:
    """One board's loss a day."""

    board: Link = field(metadata={"help": "The board"})
    figure: str = field(metadata={"help": "Its loss over the last day of logged air, with band"})
    bar: Markup = field(metadata={"help": "The same as a bar, with a notch at the limit; empty where none counts"})
    said: str = field(metadata={"help": "How that stands to the limit, or why there is none"})
    source: str = field(metadata={"help": "Where the limit stands; empty without one"})


@dataclass(frozen=True)
class Paces:
    """Every board's loss a day, the one nearest to its limit first."""

    first: PaceLine = field(metadata={"help": "The board that loses most for what it survives"})
    others: tuple[PaceLine, ...] = field(metadata={"help": "The other boards, in the same order"})
    folded: str = field(metadata={"help": "What the others come to, in a line; empty: there are none"})
    told: str = field(metadata={"help": "The first in a line, where no limit counts for any of them; else empty"})


def paces(stack: StackNow) -> Paces | None:
    """Return the losses of a stack's boards; None where none is projected."""
    known = [(one, one.pace) for one in stack.boards if one.pace is not None]
    if not known:
        return None
    known.sort(key=lambda pair: _pressing(pair[1]), reverse=True)
    top = stack_drawings.scale_of([pace for _board, pace in known])
    first, *others = (_line(board, pace, top) for board, pace in known)
    paces = [pace for _board, pace in known]
    told = (
        ""
        if any(pace.counts for pace in paces)
        else f"{'at most ' if others else ''}{_figure(paces[0])}. {said(paces[0])}"
    )
    return Paces(first, tuple(others), _folded(paces[1:]), told)


def _pressing(pace: Pace) -> tuple[bool, float]:
    """By what a board is told first: its share of a limit that counts, else its loss."""
    middle = pace.loss_pct_per_day[1]
    if pace.limit is not None and pace.counts:
        return True, middle / pace.limit.pct_per_day
    return False, middle


def _line(board: BoardNow, pace: Pace, top: float) -> PaceLine:
    counted = pace.limit if pace.counts else None
    return PaceLine(
        Link(board.fact.name, f"/board/{board.subject.code}"),
        _figure(pace) + ("" if board.weigh_ins else "; never weighed, by the model alone"),
        stack_drawings.loss_bar(pace, top, f"pace-{board.subject.id}") if pace.counts else Markup(),
        said(pace),
        "" if counted is None else _source(counted),
    )


def _source(limit: LossLimit) -> str:
    return limit.source if limit.status in limit.source else f"{limit.source} ({limit.status})"


def _figure(pace: Pace) -> str:
    low, middle, high = pace.loss_pct_per_day
    if middle < 0:
        return f"gains {_number(-middle)} % a day ({_ends(-high, -low)})"
    return f"{_number(middle)} % a day ({_ends(low, high)})"


def _ends(low: float, high: float) -> str:
    return f"{_number(low)}{' to ' if low < 0 else '–'}{_number(high)}"


def _number(value: float) -> str:
    return display.number(value, 2)


def said(pace: Pace) -> str:
    """Say how a loss stands to what the wood survives."""
    if not pace.counts:
        return f"Below {pace.counts_above_mc_pct:g} % no limit counts."
    if pace.limit is None:
        return "No limit was found for this wood: nothing says how fast is too fast."
    most = f"{display.number(pace.limit.pct_per_day)} % a day"
    return {
        Standing.OVER: f"Over what this wood survives at this thickness, {most}.",
        Standing.NEAR: f"Perhaps over what this wood survives at this thickness, {most}.",
    }.get(pace.standing, f"Under what this wood survives at this thickness, {most}.")  # type: ignore[arg-type]


def _folded(others: list[Pace]) -> str:
    if not others:
        return ""
    losses = [pace.loss_pct_per_day[1] for pace in others]
    span = _number(losses[0]) if len(losses) == 1 else f"{_number(min(losses))} to {_number(max(losses))}"
    over = sum(pace.standing is Standing.OVER for pace in others)
    told = f"; {over} over the limit" if over else ""
    return f"The other {'board' if len(others) == 1 else f'{len(others)} boards'}: {span} % a day{told}"
