"""The yard: every stack, set and loose board in the order they were entered, and what to do today."""

from __future__ import annotations

from dataclasses import dataclass, field

from markupsafe import Markup

from dashboards import by_date, display, pile, small_marks
from dashboards.pages import parts
from dashboards.pages.first_steps import Step, first_steps
from dashboards.pages.parts import Link, VerdictView
from dashboards.pages.today import Thing, Today, today, trouble
from dashboards.situation import BoardNow, Situation


@dataclass(frozen=True)
class Card:
    """One stack, set or loose board."""

    kind: str = field(metadata={"help": "stack, set or board"})
    name: str = field(metadata={"help": "What it is called"})
    link: str = field(metadata={"help": "Path of its page"})
    where: str = field(metadata={"help": "Place it is in"})
    holds: str = field(metadata={"help": "How many boards, or the species"})
    verdict: VerdictView = field(metadata={"help": "The verdict on it"})
    ages: str = field(metadata={"help": "Age of the last weigh-in and of the air"})
    drawing: Markup = field(metadata={"help": "The pile seen from its end, as a sign; empty for a single board"})


@dataclass(frozen=True)
class YardPage:
    """Everything that yard.html may use."""

    steps: tuple[Step, ...] = field(metadata={"help": "The first stack step by step; empty once a board was measured"})
    trouble: tuple[Link, ...] = field(metadata={"help": "Silent and stuck probes, and we ourselves when we fail"})
    today: Today = field(metadata={"help": "What to do today"})
    cards: tuple[Card, ...] = field(metadata={"help": "Stacks, sets and loose boards in yard order"})
    by_date: tuple[by_date.Due, ...] = field(metadata={"help": "Boards by the day on which they are likely fit"})
    by_date_lead: str = field(metadata={"help": "What these days are"})
    by_date_told: str = field(metadata={"help": "The first of these days, told while the list is folded away"})


def yard_page(situation: Situation) -> YardPage:
    """Fill the yard page."""
    things = in_yard_order(situation)
    due = by_date.boards(situation)
    return YardPage(
        steps=first_steps(situation),
        trouble=trouble(situation),
        today=today(situation, things),
        cards=tuple(_card(situation, thing) for thing in things),
        by_date=due,
        by_date_lead=by_date.LEAD,
        by_date_told=_first_due(due),
    )


def in_yard_order(situation: Situation) -> list[Thing]:
    """Return stacks, sets and loose boards in the order in which they were entered, so that hands find them."""
    loose = [board for board in situation.boards if board.stack_id is None and board.set_id is None]
    things: list[Thing] = [*situation.stacks, *situation.sets, *loose]
    return sorted(things, key=lambda thing: thing.subject.id)


def _first_due(due: tuple[by_date.Due, ...]) -> str:
    """Say how many are likely fit now, and which comes next."""
    now = sum(one.likely == "now" for one in due)
    dated = next((one for one in due if one.likely.startswith("by ")), None)
    told = [f"{now} now"] if now else []
    told += [f"{dated.name} {dated.likely}"] if dated else []
    return display.listed(told) or "none within a year"


def _card(situation: Situation, thing: Thing) -> Card:
    boards = [thing] if isinstance(thing, BoardNow) else thing.boards
    kind = thing.subject.kind.value
    place_id = boards[0].place_id if boards else getattr(thing, "place_id", None)
    if isinstance(thing, BoardNow):
        holds, drawing = thing.fact.species, Markup()
    else:
        word = "piece" if kind == "set" else "board"
        holds = f"{len(boards)} {word}{'' if len(boards) == 1 else 's'}"
        drawing = small_marks.small_pile(pile.ends(boards), f"p{thing.subject.id}")
    return Card(
        kind=kind,
        name=thing.fact.name,
        link=f"/{kind}/{thing.subject.code}",
        where=parts.place_link(situation, place_id).text,
        holds=holds,
        verdict=parts.verdict_view(thing.verdict, getattr(thing, "override", None)),
        ages=ages(situation, thing),
        drawing=drawing,
    )


def ages(situation: Situation, thing: Thing) -> str:
    """Return how old what the word rests on is: the last weigh-in, and the air."""
    boards = [thing] if isinstance(thing, BoardNow) else thing.boards
    if not boards:
        return "nothing in it yet"
    weighed = display.age(parts.newest_weigh_in_ms(boards), situation.now_ms)
    return f"weighed {weighed} · {parts.air_age(situation, boards[0].place_id)}"
