"""What to do today: who it is about, why, and what to do, in a line or two each; the most pressing first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from markupsafe import Markup

from dashboards import display, marks, out_of_water, small_marks, smelt
from dashboards.heard import ProbeNow
from dashboards.pages import in_few_words, parts
from dashboards.pages.in_few_words import Thing
from dashboards.pages.parts import Link
from dashboards.situation import BoardNow, Situation, StackNow
from kiln.harm import FOUL
from kiln.records import Standing, Word
from kiln.sentences import capital
from kiln.spans import span_words
from kiln.together import waits_for_a_moment
from shared.store.records import Origin
from shared.units import MS_PER_DAY

MOST_TASKS = 12
IN_SIGHT = 5
WEIGH_AFTER_DAYS = 31
TO_WEIGH, TO_LOOK_AT, TO_PLACE, TO_ENTER = "to weigh", "to look at", "to place", "to enter"
TO_MIND = "to mind before a hand is laid on it"


@dataclass(frozen=True)
class Task:
    """One thing to do."""

    mark: Markup = field(metadata={"help": "Its drawing: the joint mark of the verdict behind it, a beam, a probe"})
    who: str = field(metadata={"help": "What it is about"})
    cause: str = field(metadata={"help": "Why it is to be done"})
    doing: str = field(metadata={"help": "What is to be done"})
    to: str = field(metadata={"help": "Path that it leads to"})
    why: str = field(metadata={"help": "Why, in a word or two, told while it is folded away"})


@dataclass(frozen=True)
class Today:
    """What to do today, and what only needs waiting."""

    tasks: tuple[Task, ...] = field(metadata={"help": "The most pressing, in sight"})
    folded: tuple[Task, ...] = field(metadata={"help": "The next ones, folded away"})
    folded_told: str = field(metadata={"help": "How many are folded away, and what they are about"})
    left_out: str = field(metadata={"help": "How many more there are that stand nowhere but on their cards; or empty"})
    waiting: str = field(metadata={"help": "What is being worked out just now, in one sentence; or empty"})


def today(situation: Situation, things: Sequence[Thing]) -> Today:
    """Return what to do: harm first, then what keeps verdicts from being given, then what has waited long."""
    full = [thing for thing in things if isinstance(thing, BoardNow) or thing.boards]
    found = sorted(_steps(full, Word.STOP), key=lambda one: one.to not in _foul(full))
    found += _smelt(situation, found)
    found += _looks(situation)
    found += [_unplaced(probe) for probe in situation.probes if probe.state == "unplaced"]
    found += _steps([thing for thing in full if not waits_for_a_moment(thing.verdict)], Word.CANT_SAY)
    found += _liftings(situation)
    named = {task.to.partition("#")[0] for task in found}
    found += [task for task in _weighings(situation) if task.to.partition("#")[0] not in named]
    first, rest = found[:IN_SIGHT], found[IN_SIGHT:MOST_TASKS]
    if len(rest) == 1:  # no fold around a single line
        first, rest = [*first, *rest], []
    left = max(0, len(found) - MOST_TASKS)
    return Today(
        tasks=tuple(first),
        folded=tuple(rest),
        folded_told=_folded_told(rest),
        left_out=f"And {left} more, on the cards below." if left else "",
        waiting=_waiting(full),
    )


def _folded_told(tasks: Sequence[Task]) -> str:
    """Say how many are folded away, why, and what they are about: "2 more to weigh: A and B"."""
    by_why: dict[str, list[str]] = {}
    for task in tasks:
        by_why.setdefault(task.why, []).append(task.who)
    if len(by_why) == 1:
        return "".join(f"{len(tasks)} more {why}: {display.first_few(names)}" for why, names in by_why.items())
    told = "; ".join(f"{len(names)} {why} ({display.first_few(names)})" for why, names in by_why.items())
    return f"{len(tasks)} more: {told}" if tasks else ""


def _waiting(things: Sequence[Thing]) -> str:
    names = [thing.fact.name for thing in things if waits_for_a_moment(thing.verdict)]
    if not names:
        return ""
    return (
        f"Being worked out: {display.first_few(names)}. It takes a minute or two; if it stays so, see that the watch "
        "is running."
    )


def _path(thing: Thing) -> str:
    return f"/{thing.subject.kind.value}/{thing.subject.code}"


def _foul(things: Sequence[Thing]) -> set[str]:
    """Where there may be poisonous gas: told before all else."""
    return {_path(one) for one in things if one.verdict.number == FOUL}


def _steps(things: Sequence[Thing], word: Word) -> list[Task]:
    """Return the next step of all that have this word; of several that want the very same, one line."""
    alike: dict[str, list[Thing]] = {}
    for thing in things:
        if thing.verdict.word is word and thing.verdict.next_step:
            alike.setdefault(thing.verdict.next_step, []).append(thing)
    return [_step(some, word) for some in alike.values()]


def _step(things: list[Thing], word: Word) -> Task:
    first = things[0]
    told = word.value if len(things) > 1 or word is Word.CANT_SAY else f"{word.value}, {first.verdict.number}"
    names, doing = display.first_few([one.fact.name for one in things]), in_few_words.doing(first.verdict)
    return Task(marks.joint(word), names, f"{told}.", doing, _path(first), word.value)


def _smelt(situation: Situation, told: Sequence[Task]) -> list[Task]:
    """Tar and foul smell: one line a stack, or a board by itself; not where the poison is told already."""
    stacks = {stack.subject.id: stack for stack in situation.stacks}
    above = {task.to for task in told}
    left = [one for one in situation.boards if one.verdict.number != FOUL or _path(one) not in above]
    found = []
    for topic, boards in smelt.by_topic(left).items():
        groups: dict[int, list[BoardNow]] = {}
        for board in boards:
            groups.setdefault(board.stack_id or -board.subject.id, []).append(board)
        for key, some in groups.items():
            stack = stacks.get(key)
            who = display.first_few([one.fact.name for one in some])
            where = "" if stack is None else f" in {stack.fact.name}"
            link = _path(some[0]) if stack is None or len(some) == 1 else _path(stack)
            doing = smelt.AT_HAND[topic].removeprefix(smelt.FOUL_IS).strip()
            told_of = f"{smelt.NAMES[topic]}{where}."
            found.append(Task(small_marks.task("look"), who, told_of, doing, link, TO_MIND))
    return found


def _looks(situation: Situation) -> list[Task]:
    """Dangers over their limit that stop nothing by themselves: somebody has to look. One line a stack and danger."""
    stacks = {stack.subject.id: stack for stack in situation.stacks}
    by_danger: dict[tuple[str, int | None], list[BoardNow]] = {}
    for board in situation.boards:
        for name in over(board):
            by_danger.setdefault((name, board.stack_id), []).append(board)
    found = []
    for (name, stack_id), boards in by_danger.items():
        names, stack = display.first_few([board.fact.name for board in boards]), stacks.get(stack_id or 0)
        who = names if stack is None else stack.fact.name
        doing = "Look for it." if stack is None else f"Look for it on {_of_all(boards, stack, names)}."
        link = f"/board/{boards[0].subject.code}#harms"
        told = f"{capital(name)} over its limit."
        found.append(Task(small_marks.task("look"), who, told, doing, link, TO_LOOK_AT))
    return found


def _of_all(boards: list[BoardNow], stack: StackNow, names: str) -> str:
    return "all its boards" if len(boards) == len(stack.boards) > 1 else names


def over(board: BoardNow) -> list[str]:
    """The dangers of a board that are over their limit, but for those that have stopped it already."""
    made = board.projection
    if made is None or made.dangers is None:
        return []
    stops = made.dangers.stops if board.verdict.word is Word.STOP else ()
    return [one.name for one in made.dangers.dangers if one.standing is Standing.OVER and one.name not in stops]


def _unplaced(probe: ProbeNow) -> Task:
    link = f"/probes#{probe.subject.code}"
    return Task(
        small_marks.probe(probe.state),
        probe.fact.name,
        "Heard, and has no place.",
        "Say which place it measures.",
        link,
        TO_PLACE,
    )


def _liftings(situation: Situation) -> list[Task]:
    """Wood out of the water of which nobody entered when it, or the log that it was sawn from, was lifted: one line."""
    unsaid = [
        board
        for board in situation.boards
        if board.fact.origin is Origin.RECLAIMED
        and board.lifted is None
        and out_of_water.read(situation, board) is None
    ]
    if not unsaid:
        return []
    it, was = ("it", "was") if len(unsaid) == 1 else ("they", "were")
    told, doing = f"Nobody entered when {it} {was} lifted out of the water.", "Enter it: the clock runs from then on."
    link, names = f"/board/{unsaid[0].subject.code}#lifted", display.first_few([board.fact.name for board in unsaid])
    return [Task(small_marks.task("look"), names, told, doing, link, TO_ENTER)]


def _weighings(situation: Situation) -> list[Task]:
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


def _weighing(situation: Situation, boards: list[BoardNow], link: str) -> Task:
    last = parts.newest_weigh_in_ms(boards)
    told = "Never weighed yet." if last is None else f"Last weighed {display.age(last, situation.now_ms)}."
    doing = "Weigh it." if len(boards) == 1 else "Weigh them."
    names = display.first_few([board.fact.name for board in boards])
    return Task(small_marks.task("weigh"), names, told, doing, link, TO_WEIGH)


def trouble(situation: Situation) -> tuple[Link, ...]:
    """Return what keeps the yard from being heard: ourselves, silent and stuck probes, probes that disagree."""
    found = [Link(note, "/probes") for note in (situation.recorder_note, situation.watch_note) if note]
    unheard = [probe for probe in situation.probes if probe.state in ("silent", "stuck", "not believed")]
    if situation.recorder_note and len(unheard) > display.FEW:  # then it is not their batteries
        told = f"{len(unheard)} probes are not heard or not believed: the recorder comes first."
        found.append(Link(told, "/probes"))
    elif len(unheard) == 1:
        probe = unheard[0]
        found.append(Link(f"Probe {_how_it_fails(probe, situation.now_ms)}", f"/probes#{probe.subject.code}"))
    elif unheard:
        told = display.first_few([_how_it_fails(probe, situation.now_ms) for probe in unheard])
        found.append(Link(f"{len(unheard)} probes fail: {told}", "/probes"))
    for place in situation.open_places:
        if place.air is not None and place.air.note:
            found.append(Link(place.air.note, f"/place/{place.subject.code}"))
    return tuple(found)


def _how_it_fails(probe: ProbeNow, now_ms: int) -> str:
    """Say how a probe fails, and for how long nothing good has come of it: "yard-south silent 9 days"."""
    last = oldest_ms(probe)
    long = "" if last is None or now_ms - last < probe.habit.silent_after_ms else f" {span_words(now_ms - last)}"
    return f"{probe.fact.name} {probe.state}{long}"


def oldest_ms(probe: ProbeNow) -> int | None:
    """When the older of its figures was read: what is told of it is no newer than that."""
    shown = [one.at_ms for one in (probe.temperature, probe.rh, *probe.others.values()) if one]
    return min(shown, default=None)
