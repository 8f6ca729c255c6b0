"""A stack: its verdict, the pile seen from its end, and its boards."""

from __future__ import annotations

from dataclasses import dataclass, field

from markupsafe import Markup

from dashboards import display, pile, sample_boards, volumes
from dashboards.pages import entry_forms, event_forms, parts
from dashboards.pages.forms import Attempt, Form, shown_again
from dashboards.pages.parts import EntryLine, Link, VerdictView
from dashboards.situation import BoardNow, Situation, StackNow
from kiln import together

WEEKS_SHOWN = (2, 4, 8, 13, 26, 39, 52)


@dataclass(frozen=True)
class BoardRow:
    """One board in a list."""

    name: str = field(metadata={"help": "What it is called"})
    link: str = field(metadata={"help": "Path of its page"})
    role: str = field(metadata={"help": "As what it belongs to a set; empty elsewhere"})
    verdict: VerdictView = field(metadata={"help": "The verdict on it"})
    mean: str = field(metadata={"help": "Its mean moisture with band; a dash without projection"})
    age: str = field(metadata={"help": "Age of the air that the figure uses"})
    weighed: str = field(metadata={"help": "Age of its last weigh-in"})


@dataclass(frozen=True)
class WettestWeek:
    """The wettest board of a stack at a moment to come."""

    when: str = field(metadata={"help": "How far ahead, and the date"})
    mean: str = field(metadata={"help": "Its mean moisture then, with band"})


@dataclass(frozen=True)
class StackPage:
    """Everything that stack.html may use."""

    name: str = field(metadata={"help": "What the stack is called"})
    code: str = field(metadata={"help": "Its code"})
    note: str = field(metadata={"help": "What was noted about it"})
    place: Link = field(metadata={"help": "Where it stands"})
    air: str = field(metadata={"help": "Age of the air of that place"})
    verdict: VerdictView = field(metadata={"help": "The verdict on it"})
    drawing: Markup = field(metadata={"help": "The pile seen from its end"})
    boards: tuple[BoardRow, ...] = field(metadata={"help": "Its boards in the order they were entered"})
    wettest: tuple[str, ...] = field(metadata={"help": "The wettest board now and when it is dry enough, in sentences"})
    weeks: tuple[WettestWeek, ...] = field(metadata={"help": "The wettest board in weeks to come"})
    holds: str = field(metadata={"help": "How many boards lie in it, where more do than are entered; else empty"})
    samples: tuple[str, ...] = field(
        metadata={"help": "Which boards to take as sample boards and why, and how well they tell the rest; else empty"}
    )
    volume: str = field(metadata={"help": "Net volume of its boards now, and when they came; empty without boards"})
    plans: tuple[EntryLine, ...] = field(metadata={"help": "Moves planned for it, the latest first"})
    forms: tuple[Form, ...] = field(metadata={"help": "Moving it, planning a move, correcting it"})


def board_row(board: BoardNow, now_ms: int, role: str = "") -> BoardRow:
    """Return one board as it stands in a list."""
    wet = parts.moisture(board.projection, now_ms) if board.projection is not None else None
    return BoardRow(
        name=board.fact.name,
        link=f"/board/{board.subject.code}",
        role=role,
        verdict=parts.verdict_view(board.verdict),
        mean=wet.mean if wet else display.NOTHING,
        age=wet.age if wet else "not projected yet",
        weighed=display.age(parts.newest_weigh_in_ms([board]), now_ms),
    )


def stack_page(situation: Situation, stack: StackNow, by: str, attempt: Attempt | None) -> StackPage:
    """Fill the page of a stack."""
    place = parts.place_by_id(situation, stack.place_id)
    code = stack.subject.code
    forms = (
        entry_forms.move_stack(situation, code, by, place.subject.code if place else ""),
        event_forms.plan(situation, "stack", code, by, stack.plans),
        entry_forms.change_stack(stack, by),
    )
    return StackPage(
        name=stack.fact.name,
        code=code,
        note=stack.fact.note,
        place=parts.place_link(situation, stack.place_id),
        air=parts.air_age(situation, stack.place_id),
        verdict=parts.verdict_view(stack.verdict),
        drawing=pile.pile(pile.ends(stack.boards), "pile"),
        boards=tuple(board_row(board, situation.now_ms) for board in stack.boards),
        wettest=_wettest(stack),
        weeks=_weeks(stack, situation.now_ms),
        holds=_holds(stack),
        samples=_samples(stack),
        volume=volumes.stack_words(situation.store, stack, situation.now_ms),
        plans=tuple(line for _at_ms, line in reversed(event_forms.plan_lines(situation, stack.plans))),
        forms=tuple(shown_again(form, attempt) for form in forms),
    )


def _holds(stack: StackNow) -> str:
    in_all, entered = stack.fact.boards_in_all or 0, len(stack.boards)
    return f"{in_all} boards in all, {entered} of them entered" if in_all > entered else ""


def _samples(stack: StackNow) -> tuple[str, ...]:
    found = sample_boards.samples(stack)
    return () if found is None else sample_boards.sentences(found)


def _wettest(stack: StackNow) -> tuple[str, ...]:
    if stack.wettest is None:
        return ()
    told = together.wettest_sentence(stack.wettest), together.below_sentence(stack.wettest)
    return tuple(one for one in told if one)


def _weeks(stack: StackNow, now_ms: int) -> tuple[WettestWeek, ...]:
    if stack.wettest is None:
        return ()
    at_ms, band = stack.wettest.at_ms, stack.wettest.mc_pct
    shown = [week for week in WEEKS_SHOWN if week < len(at_ms)]
    return tuple(
        WettestWeek(
            f"in {week} weeks, {display.day(int(at_ms[week]), now_ms)}",
            display.band(float(band.p10[week]), float(band.p50[week]), float(band.p90[week])),
        )
        for week in shown
    )
