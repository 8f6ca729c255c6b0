"""The yard: every stack, set and loose board in the order they were entered, and what to do today."""

from __future__ import annotations

from dataclasses import dataclass, field

from markupsafe import Markup

from dashboards import by_date, page_warnings, pile, small_marks
from dashboards.pages import due_lines, in_few_words, parts, room_warnings
from dashboards.pages.due_lines import DueLine
from dashboards.pages.first_steps import Step, first_steps
from dashboards.pages.in_few_words import Thing, boards_of
from dashboards.pages.parts import Link, VerdictView
from dashboards.pages.room_warnings import WarningLine
from dashboards.pages.today import Today, today, trouble
from dashboards.situation import BoardNow, Situation


@dataclass(frozen=True)
class Card:
    """One stack, set or loose board."""

    kind: str = field(metadata={"help": "stack, set or board"})
    name: str = field(metadata={"help": "What it is called"})
    code: str = field(metadata={"help": "Its code, as it is written on the wood"})
    link: str = field(metadata={"help": "Path of its page"})
    where: str = field(metadata={"help": "Place it is in"})
    holds: str = field(metadata={"help": "How many boards, or the species"})
    verdict: VerdictView = field(metadata={"help": "The verdict on it"})
    line: str = field(metadata={"help": "Why, made to be short: moisture and what is wanted, or the cause"})
    ages: str = field(metadata={"help": "Age of the weigh-in that it rests on and of the air"})
    drawing: Markup = field(metadata={"help": "The pile seen from its end, as a sign; empty for a single board"})


@dataclass(frozen=True)
class YardPage:
    """Everything that yard.html may use."""

    steps: tuple[Step, ...] = field(metadata={"help": "The first stack step by step; empty once a board was measured"})
    warnings: tuple[WarningLine, ...] = field(metadata={"help": "What is over or can't be said in a finish room now"})
    alarm: str = field(metadata={"help": "That these lines are no alarm system"})
    trouble: tuple[Link, ...] = field(metadata={"help": "Silent and stuck probes, and we ourselves when we fail"})
    today: Today = field(metadata={"help": "What to do today"})
    cards: tuple[Card, ...] = field(metadata={"help": "Stacks, sets and loose boards in yard order"})
    by_date: tuple[DueLine, ...] = field(metadata={"help": "Boards by the day on which they are likely fit"})
    by_date_lead: str = field(metadata={"help": "What these days are"})
    by_date_told: str = field(metadata={"help": "The first of these days, told while the list is folded away"})


def yard_page(situation: Situation) -> YardPage:
    """Fill the yard page."""
    things = in_yard_order(situation)
    due = by_date.boards(situation)
    return YardPage(
        steps=first_steps(situation),
        warnings=room_warnings.lines(page_warnings.warnings_of(situation), situation.now_ms),
        alarm=page_warnings.NO_ALARM,
        trouble=trouble(situation),
        today=today(situation, things),
        cards=tuple(_card(situation, thing) for thing in things),
        by_date=due_lines.lines(due),
        by_date_lead=by_date.LEAD,
        by_date_told=due_lines.first_due(due),
    )


def in_yard_order(situation: Situation) -> list[Thing]:
    """Return stacks, sets and loose boards in the order in which they were entered, so that hands find them."""
    loose = [board for board in situation.boards if board.stack_id is None and board.set_id is None]
    things: list[Thing] = [*situation.stacks, *situation.sets, *loose]
    return sorted(things, key=lambda thing: thing.subject.id)


def _card(situation: Situation, thing: Thing) -> Card:
    boards, kind = boards_of(thing), thing.subject.kind.value
    if isinstance(thing, BoardNow):
        holds, drawing = thing.fact.species, Markup()
    else:
        word = "piece" if kind == "set" else "board"
        holds = f"{len(boards)} {word}{'' if len(boards) == 1 else 's'}"
        drawing = small_marks.small_pile(pile.ends(boards), f"p{thing.subject.id}")
    return Card(
        kind=kind,
        name=thing.fact.name,
        code=thing.subject.code,
        link=f"/{kind}/{thing.subject.code}",
        where=parts.place_link(situation, in_few_words.where_id(thing)).text,
        holds=holds,
        verdict=parts.verdict_view(thing.verdict, getattr(thing, "override", None)),
        line=in_few_words.line(thing, situation.now_ms),
        ages=ages(situation, thing),
        drawing=drawing,
    )


def ages(situation: Situation, thing: Thing) -> str:
    """Return how old what the word rests on is: the weigh-in of what decides, and the air."""
    if not boards_of(thing):
        return "nothing in it yet"
    told = in_few_words.weighed(thing, situation.now_ms)
    return f"{told} · {parts.air_age(situation, in_few_words.where_id(thing))}"
