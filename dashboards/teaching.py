"""Which boards teach which, and what they teach: those of a lot one another, finished ones all of their wood."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from dashboards.yard_entries import BoardEntries, Entries
from kiln import drying, ensemble, learning, lots
from kiln.question import Believed, Question
from kiln.records import Projection
from shared.errors import BenchdryError
from shared.store.records import Degree, Outcome, OutcomeKind

OWN_SEED = 100_003  # added to a board's number: of what is its own in an ensemble
HARM = (OutcomeKind.CHECKS, OutcomeKind.HONEYCOMB, OutcomeKind.COLLAPSE)
HAPPENED = {
    OutcomeKind.CHECKS: "checked",
    OutcomeKind.HONEYCOMB: "honeycombed",
    OutcomeKind.COLLAPSE: "collapsed",
    OutcomeKind.FINISHED: "was spoilt",
}


@dataclass(frozen=True)
class Teachers:
    """Boards by their numbers: measured ones of the same lot, and finished ones of the same wood elsewhere."""

    lot: tuple[int, ...]
    finished: tuple[int, ...]
    in_lot: bool  # whether the board lies with others at all


@dataclass(frozen=True)
class Taught:
    """What one board teaches, and how far its measurements lay from what the others led to expect."""

    lesson: lots.Lesson
    misfits: tuple[float, ...]


Lessons = dict[tuple[int, str], Taught | None]  # by board and what its lesson rests on; None: it teaches nothing


def teachers(entries: Entries, board_id: int) -> Teachers:
    """Return the boards that teach one: of its species and origin, measured; of its stack or set, or finished."""
    board, lot = entries.boards[board_id], entries.lots[board_id]
    alike = entries.by_wood[board.fact.species, str(board.fact.origin)]
    mates = [one for one in alike if lot and one != board_id and entries.lots[one] == lot]
    measured = tuple(one for one in mates if _measured(entries.boards[one]))
    done: tuple[int, ...] = ()
    if entries.learn_from_finished:
        told = {board_id, *measured}
        seen = ((one, entries.boards[one]) for one in entries.looked_at if one not in told)
        done = tuple(one for one, other in seen if _alike(other, board) and is_finished(other))
    return Teachers(measured, done, lot is not None)


def _alike(one: BoardEntries, other: BoardEntries) -> bool:
    return one.fact.species == other.fact.species and one.fact.origin is other.fact.origin


def _measured(board: BoardEntries) -> bool:
    return bool(board.weigh_ins or board.pins or board.oven_dry or board.bags)


def is_finished(board: BoardEntries) -> bool:
    """Whether a board's drying was closed with an outcome."""
    return any(one.kind is OutcomeKind.FINISHED for one in board.outcomes)


def was_harmed(board: BoardEntries) -> bool:
    """Whether checks, honeycomb or collapse were found on a board, or it was spoilt."""
    return bool(harms(board))


def harms(board: BoardEntries) -> list[Outcome]:
    """The harm that was found on a board, the earliest first."""
    found = [
        one
        for one in board.outcomes
        if (one.kind in HARM and one.degree in (Degree.SLIGHT, Degree.BAD)) or one.degree is Degree.SPOILT
    ]
    return sorted(found, key=lambda one: one.true_at_ms)


def harmed_boards(entries: Entries, botanical_name: str) -> tuple[int, ...]:
    """Return the boards of a wood on which harm was found; none where the setting is off."""
    if not entries.learn_from_finished:
        return ()
    boards = entries.boards
    return tuple(one for one in entries.looked_at if boards[one].fact.species == botanical_name and harms(boards[one]))


def harmed(entries: Entries, projections: Mapping[int, Projection]) -> tuple[learning.Harmed, ...]:
    """Return the harmed boards of all woods, each with the most that it had lost in a day by its projection."""
    woods = {board.fact.species for board in entries.boards.values()}
    found = []
    for board_id in (one for wood in sorted(woods) for one in harmed_boards(entries, wood)):
        board = entries.boards[board_id]
        first = harms(board)[0]
        made = projections.get(board_id)
        lost = learning.greatest_loss(made, first.true_at_ms) if made is not None else None
        if lost is not None and lost > 0.0:
            fact = board.fact
            found.append(learning.Harmed(fact.name, fact.species, fact.thickness_m, HAPPENED[first.kind], lost))
    return tuple(found)


def believed(
    entries: Entries,
    board_id: int,
    asked: Question,
    lessons: Lessons,
    of: Callable[[int], Question],
    key: Callable[[int], str],
) -> Believed | None:
    """Return what is expected of a board after the others; None where none teaches it and it lies with no others.

    ``of`` and ``key``: another board's question, and what it rests on. A board that is not measured is not asked.
    """
    found = teachers(entries, board_id)
    lot = [one for one in (taught_by(other, lessons, of, key) for other in found.lot) if one]
    finished = {other: taught_by(other, lessons, of, key) for other in found.finished}
    done = {other: one for other, one in finished.items() if one is not None}
    if not (lot or done or found.in_lot):
        return None
    prior = drying.prior(asked.piece)
    yard = lots.of_yard(prior, by_lot(entries, done))
    shared = lots.of_lot(prior, yard, [one.lesson for one in lot])
    return Believed(
        lots.believed(prior, shared),
        lots.common_share(prior, shared),
        OWN_SEED + board_id,
        len(lot) + len(done),
        learning.lapse_factor([one.misfits for one in done.values()]),
    )


def by_lot(entries: Entries, finished: Mapping[int, Taught]) -> list[list[lots.Lesson]]:
    """Return the lessons of finished boards, those dried in one stack together: they are not so many lots."""
    found: dict[tuple[str, int], list[lots.Lesson]] = {}
    for board_id, one in finished.items():
        found.setdefault(_dried_in(entries, board_id), []).append(one.lesson)
    return list(found.values())


def _dried_in(entries: Entries, board_id: int) -> tuple[str, int]:
    """The stack that a board lay in last, or else its set, or else itself."""
    stacks = [one.stack_id for one in entries.where.boards.get(board_id, []) if one.stack_id is not None]
    return ("stack", stacks[-1]) if stacks else entries.lots[board_id] or ("board", board_id)


def taught_by(
    board_id: int, lessons: Lessons, of: Callable[[int], Question], key: Callable[[int], str]
) -> Taught | None:
    """What a board teaches, from memory while nothing that it rests on has changed."""
    place = board_id, key(board_id)
    if place not in lessons:
        for old in [one for one in lessons if one[0] == board_id]:
            del lessons[old]
        lessons[place] = _made(board_id, of)
    return lessons[place]


def _made(board_id: int, of: Callable[[int], Question]) -> Taught | None:
    try:
        asked = of(board_id)
    except (ValueError, BenchdryError):
        return None  # of a board whose own projection says why
    if not asked.data:
        return None
    fit = ensemble.refit(asked)
    return Taught(lots.lesson(drying.prior(asked.piece), fit), learning.misfits(fit.measured))
