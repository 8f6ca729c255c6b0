"""The first stack, step by step: what is done is noticed, and each step says what will be seen after it."""

from __future__ import annotations

from dataclasses import dataclass, field

from dashboards.pages.parts import Link
from dashboards.situation import Situation


@dataclass(frozen=True)
class Step:
    """One step on the way to the first verdict."""

    done: bool = field(metadata={"help": "Whether it is done"})
    is_next: bool = field(metadata={"help": "Whether it is the first that is not done"})
    state: str = field(metadata={"help": "Done, next or later, in a word"})
    link: Link = field(metadata={"help": "What to do, leading to its form; once done, to what came of it"})
    then: str = field(metadata={"help": "What will be seen next; once done, what is there"})


_Plain = tuple[bool, Link, str]


def first_steps(situation: Situation) -> tuple[Step, ...]:
    """Return the steps to a first weighed board; none once any board was measured: then the cards tell."""
    if any(board.weigh_ins or board.pins or board.oven_dry or board.bags for board in situation.boards):
        return ()
    plain = (_place(situation), _probe(situation), _stack(situation), _board(situation), _weigh_in(situation))
    first_open = next(number for number, (done, *_) in enumerate(plain) if not done)
    return tuple(
        Step(done, number == first_open, "Done" if done else "Next" if number == first_open else "Later", link, then)
        for number, (done, link, then) in enumerate(plain)
    )


def _place(situation: Situation) -> _Plain:
    places = situation.open_places
    if places:
        one = places[0]
        return True, Link(f"The place {one.fact.name}", f"/place/{one.subject.code}"), "Its air will stand there."
    then = "A shed, a loft, the yard: wherever the stack stands. It appears on the page Air, without figures yet."
    return False, Link("Add the place", "/add#place"), then


def _probe(situation: Situation) -> _Plain:
    placed = [probe for probe in situation.probes if probe.place_id is not None]
    if placed:
        return True, Link(f"The probe {placed[0].fact.name}", f"/probes#{placed[0].subject.code}"), placed[0].sentence
    then = "Its temperature and humidity, and the moisture that they hold wood at, then stand on the page Air."
    if situation.probes:
        one = situation.probes[0]
        return False, Link(f"Say which place {one.fact.name} measures", f"/probes#probe-{one.subject.code}"), then
    heard = "Or let it speak: whatever publishes temperature and humidity on the broker appears under Probes by itself."
    return False, Link("Add the probe that measures there", "/add#probe"), f"{heard} {then}"


def _stack(situation: Situation) -> _Plain:
    if situation.stacks:
        one = situation.stacks[0]
        return True, Link(f"The stack {one.fact.name}", f"/stack/{one.subject.code}"), "It has a card on this page."
    then = "By the code that you would chalk on it. It gets a card on this page, still without a word."
    return False, Link("Add the stack", "/add#stack"), then


def _board(situation: Situation) -> _Plain:
    if situation.boards:
        one = situation.boards[0]
        return True, Link(f"The board {one.fact.name}", f"/board/{one.subject.code}"), one.verdict.reason
    then = (
        "The wettest and the driest will do. From its wood, its sizes and the first full hour of air its moisture is "
        "guessed, in a wide band."
    )
    return False, Link("Add a board", "/add#board"), then


def _weigh_in(situation: Situation) -> _Plain:
    then = (
        "Within a minute or two its band narrows and its word stands on the card. Weigh it again in a week: "
        "two weights tell how fast it dries."
    )
    if not situation.boards:
        return False, Link("Weigh it", ""), then
    one = situation.boards[0]
    return False, Link(f"Weigh {one.fact.name}", f"/board/{one.subject.code}#weigh-in"), then
