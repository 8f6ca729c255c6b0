"""The yard: every stack, set and loose board in the order they were entered, and what to do today."""

from __future__ import annotations

from dataclasses import dataclass, field

from markupsafe import Markup

from dashboards import by_date, display, pile
from dashboards.heard import ProbeNow
from dashboards.pages import parts
from dashboards.pages.parts import Link, VerdictView
from dashboards.situation import BoardNow, SetNow, Situation, StackNow
from kiln.harm import FOUL
from kiln.records import Standing, Word
from shared.units import MS_PER_DAY

MOST_TASKS = 12
WEIGH_AFTER_DAYS = 31
MOST_NAMED = 4


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
    drawing: Markup = field(metadata={"help": "The pile seen from its end; empty for a single board"})


@dataclass(frozen=True)
class YardPage:
    """Everything that yard.html may use."""

    empty: bool = field(metadata={"help": "Whether nothing has been entered, so that the first steps are taught"})
    has_place: bool = field(metadata={"help": "Whether there is a place: the first step is done"})
    trouble: tuple[Link, ...] = field(metadata={"help": "Silent and stuck probes, and we ourselves when we fail"})
    tasks: tuple[Link, ...] = field(metadata={"help": "What to do today, most pressing first"})
    more_tasks: int = field(metadata={"help": "How many tasks did not fit"})
    cards: tuple[Card, ...] = field(metadata={"help": "Stacks, sets and loose boards in yard order"})
    by_date: tuple[by_date.Due, ...] = field(metadata={"help": "Boards by the day on which they are likely fit"})
    by_date_lead: str = field(metadata={"help": "What these days are"})


def yard_page(situation: Situation) -> YardPage:
    """Fill the yard page."""
    loose = [board for board in situation.boards if board.stack_id is None and board.set_id is None]
    things: list[StackNow | SetNow | BoardNow] = [*situation.stacks, *situation.sets, *loose]
    things.sort(key=lambda thing: thing.subject.id)
    tasks = _tasks(situation, things)
    return YardPage(
        empty=not things,
        has_place=bool(situation.open_places),
        trouble=tuple(_trouble(situation)),
        tasks=tuple(tasks[:MOST_TASKS]),
        more_tasks=max(0, len(tasks) - MOST_TASKS),
        cards=tuple(_card(situation, thing) for thing in things),
        by_date=by_date.boards(situation),
        by_date_lead=by_date.LEAD,
    )


def _card(situation: Situation, thing: StackNow | SetNow | BoardNow) -> Card:
    boards = [thing] if isinstance(thing, BoardNow) else thing.boards
    kind = thing.subject.kind.value
    place_id = boards[0].place_id if boards else getattr(thing, "place_id", None)
    if isinstance(thing, BoardNow):
        holds, drawing = thing.fact.species, Markup()
    else:
        word = "piece" if kind == "set" else "board"
        holds = f"{len(boards)} {word}{'' if len(boards) == 1 else 's'}"
        drawing = pile.pile(pile.ends(boards), f"p{thing.subject.id}") if boards else Markup()
    weighed = display.age(parts.newest_weigh_in_ms(boards), situation.now_ms)
    return Card(
        kind=kind,
        name=thing.fact.name,
        link=f"/{kind}/{thing.subject.code}",
        where=parts.place_link(situation, place_id).text,
        holds=holds,
        verdict=parts.verdict_view(thing.verdict, getattr(thing, "override", None)),
        ages=f"weighed {weighed} · {parts.air_age(situation, place_id)}" if boards else "nothing in it yet",
        drawing=drawing,
    )


def _trouble(situation: Situation) -> list[Link]:
    found = [Link(note, "/probes") for note in (situation.recorder_note, situation.watch_note) if note]
    for probe in situation.probes:
        if probe.state in ("silent", "stuck"):
            found.append(Link(f"{probe.fact.name}: {probe.sentence}", f"/probes#{probe.subject.code}"))
    for place in situation.open_places:
        if place.air is not None and place.air.note:
            found.append(Link(place.air.note, f"/place/{place.subject.code}"))
    return found


def _tasks(situation: Situation, things: list[StackNow | SetNow | BoardNow]) -> list[Link]:
    """Return what to do, harm first, then what keeps verdicts from being given, then what has waited long."""
    found = sorted(_steps(things, Word.STOP), key=lambda one: one.to not in _foul(things))
    found += _looks(situation)
    found += [_probe_task(probe) for probe in situation.probes if probe.state in ("silent", "stuck", "unplaced")]
    found += _steps([thing for thing in things if isinstance(thing, BoardNow) or thing.boards], Word.CANT_SAY)
    named = {task.to for task in found}
    found += [task for task in _weighings(situation) if task.to not in named]
    return list({(task.text, task.to): task for task in found}.values())


def _foul(things: list[StackNow | SetNow | BoardNow]) -> set[str]:
    """Where there may be poisonous gas: told before all else."""
    return {f"/{one.subject.kind.value}/{one.subject.code}" for one in things if one.verdict.number == FOUL}


def _steps(things: list[StackNow | SetNow | BoardNow], word: Word) -> list[Link]:
    return [
        Link(f"{thing.fact.name}: {thing.verdict.next_step}", f"/{thing.subject.kind.value}/{thing.subject.code}")
        for thing in things
        if thing.verdict.word is word and thing.verdict.next_step
    ]


def _looks(situation: Situation) -> list[Link]:
    """Dangers over their limit that stop nothing by themselves: somebody has to look. One line a stack and danger."""
    stacks = {stack.subject.id: stack for stack in situation.stacks}
    told: dict[tuple[str, int | None], list[BoardNow]] = {}
    for board in situation.boards:
        for name in over(board):
            told.setdefault((name, board.stack_id), []).append(board)
    found = []
    for (name, stack_id), boards in told.items():
        first = boards[0]
        names = display.listed([board.fact.name for board in boards[:MOST_NAMED]])
        where = f"{stacks[stack_id].fact.name}: look for" if stack_id in stacks else "Look for"
        found.append(Link(f"{where} {name} on {names}.", f"/board/{first.subject.code}#harms"))
    return found


def over(board: BoardNow) -> list[str]:
    """The dangers of a board that are over their limit, but for those that have stopped it already."""
    made = board.projection
    if made is None or made.dangers is None:
        return []
    stops = made.dangers.stops if board.verdict.word is Word.STOP else ()
    return [one.name for one in made.dangers.dangers if one.standing is Standing.OVER and one.name not in stops]


def _probe_task(probe: ProbeNow) -> Link:
    doing = {
        "silent": "look at its battery and reach",
        "stuck": "look at it: it shows one figure and no more",
        "unplaced": "say which place it measures",
    }[probe.state]
    return Link(f"Probe {probe.fact.name}: {doing}.", f"/probes#{probe.subject.code}")


def _weighings(situation: Situation) -> list[Link]:
    limit_ms = situation.now_ms - WEIGH_AFTER_DAYS * MS_PER_DAY
    by_stack: dict[int | None, list[BoardNow]] = {}
    for board in situation.boards:
        last = parts.newest_weigh_in_ms([board])
        if board.verdict.word is Word.WAIT and (last is None or last < limit_ms):
            by_stack.setdefault(board.stack_id, []).append(board)
    loose = [_weighing(situation, [board], f"/board/{board.subject.code}#weigh-in") for board in by_stack.pop(None, [])]
    stacks = {stack.subject.id: stack for stack in situation.stacks}
    return loose + [
        _weighing(situation, boards, f"/stack/{stacks[stack_id].subject.code}#boards")
        for stack_id, boards in by_stack.items()
    ]


def _weighing(situation: Situation, boards: list[BoardNow], link: str) -> Link:
    names = [board.fact.name for board in boards[:MOST_NAMED]]
    rest = len(boards) - len(names)
    last = parts.newest_weigh_in_ms(boards)
    told = "never weighed yet" if last is None else f"last weighed {display.age(last, situation.now_ms)}"
    return Link(f"Weigh {display.listed(names + ([f'{rest} more'] if rest else []))}: {told}.", link)
