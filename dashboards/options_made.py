"""What could be done about a board, worked out when somebody asks, and how each is told."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace

from dashboards import display, foretold, projection, teaching
from dashboards.projection_json import from_json
from dashboards.yard_entries import Entries, read_entries
from kiln import ensemble, learning, options, stress
from kiln.ensemble import LOOK_AHEAD_DAYS
from kiln.question import Question
from kiln.records import Option, Projection
from kiln.spans import ahead_words
from shared.errors import Refused
from shared.settings import Settings
from shared.store import Connection, Store, cache, facts
from shared.store.records import SubjectKind

LEAVE, TO, RESAW, PLANNED = "leave it here", "to ", "resaw it", "as planned"  # as ``kiln.options`` names them
MOST_HELD = 64  # answers kept in memory


@dataclass(frozen=True)
class Options:
    """What could be done about a board, leaving it first, and what its wood is known to survive."""

    board: str
    known_until_ms: int  # the last hour of logged air
    options: tuple[Option, ...]
    loss_limit: stress.LossLimit | None  # published for its wood, or the yard's own; None: none was found
    counts_above_mc_pct: float  # moisture above which that limit counts [%MC]


@dataclass
class Worker:
    """Works out one board at a time, and keeps what it found until an entry or an hour changes it."""

    memory: projection.Memory = field(default_factory=projection.Memory)
    _held: OrderedDict[tuple[int, str], Options] = field(default_factory=OrderedDict)
    _one_at_a_time: threading.Lock = field(default_factory=threading.Lock)

    def of(self, store: Store, code: str, now_ms: int, settings: Settings | None = None) -> Options:
        """Return the options of a board; raises BenchdryError, in words, where there is too little to say any."""
        with self._one_at_a_time:
            with store.reading() as connection:
                board = facts.subject(connection, SubjectKind.BOARD, code)
                entries = read_entries(connection, now_ms, settings)
                key = board.id, projection.input_key(entries, board.id, now_ms)
                if key in self._held:
                    return self._held[key]
                with _in_words(board.code):
                    asked = self._asked(connection, entries, board.id, now_ms)
            with _in_words(board.code):
                self._held[key] = _made(board.code, asked)
            while len(self._held) > MOST_HELD:
                self._held.popitem(last=False)
            return self._held[key]

    def _asked(self, connection: Connection, entries: Entries, board_id: int, now_ms: int) -> Question:
        """The question that the board's projection answers, with what other boards teach of it."""
        known: dict[int, str] = {}

        def of(other: int) -> Question:
            return projection.question(connection, entries, other, now_ms, self.memory.records)

        def key(other: int) -> str:
            return projection.input_key(entries, other, now_ms, known).partition(".")[0]

        asked = of(board_id)
        taught = teaching.believed(entries, board_id, asked, self.memory.lessons, of, key)
        return replace(asked, believed=taught, own_loss=_own_loss(connection, entries, board_id))


@contextmanager
def _in_words(code: str) -> Iterator[None]:
    """Where physics says in words why it cannot, say the same with the board's code."""
    try:
        yield
    except ValueError as error:
        raise Refused(f"Nothing can be said of what could be done about board {code}: {error}.") from error


def _own_loss(connection: Connection, entries: Entries, board_id: int) -> stress.LossLimit | None:
    """The loss at which boards of this one's wood were harmed in this yard, by their projections as kept last."""
    fact, kept = entries.boards[board_id].fact, cache.projections(connection)
    bodies = {one: from_json(kept[one].body) for one in teaching.harmed_boards(entries, fact.species) if one in kept}
    made = {one: body for one, body in bodies.items() if isinstance(body, Projection)}
    return learning.own_safe_loss(fact.species, fact.thickness_m, teaching.harmed(entries, made))


def _made(code: str, asked: Question) -> Options:
    piece = asked.piece
    most = stress.survived(piece.species.botanical_name, piece.thickness_m, asked.own_loss)
    found = options.options(ensemble.ensemble(asked))
    return Options(code, asked.way.end_ms, found, most, stress.APPLIES_ABOVE_MC_PCT)


def date_of(one: Option, known_until_ms: int, now_ms: int) -> str:
    """Return when a board is fit by an option, with the band of that date."""
    return foretold.date_band(one.ready_ms, known_until_ms, now_ms, "now")


def loss_of(one: Option) -> str:
    """Return the greatest loss in the days after, with its band; what gains loses nothing."""
    low, middle, high = (max(end, 0.0) for end in one.loss_pct_per_day)
    return f"{middle:.1f} % a day ({low:.1f}–{high:.1f})"


def survived(one: Option, found: Options) -> str:
    """Return how that loss stands to what the wood is known to survive."""
    if one.mc_pct[1] <= found.counts_above_mc_pct:
        return f"no limit counts below {found.counts_above_mc_pct:g} %"
    if found.loss_limit is None:
        return f"no limit is known for this wood{_sudden(one, found)}"
    most = found.loss_limit
    told = f"{most.pct_per_day:.1f} is survived ({most.status})"
    _low, middle, high = one.loss_pct_per_day
    if middle > most.pct_per_day:
        return f"over: {told}"
    return f"perhaps over: {told}" if high > most.pct_per_day else told


def _sudden(one: Option, found: Options) -> str:
    """Say it where nothing limits a loss, and it is many times that of leaving the board where it is."""
    left = next((other.loss_pct_per_day[1] for other in found.options if other.name == LEAVE), 0.0)
    told = options.sudden(one.loss_pct_per_day[1], left)
    return f". {told}" if told else ""


def _at(one: Option) -> str:
    """What the moisture at which an option finds the board is called: of a move, what it goes there with."""
    if one.name.startswith((TO, PLANNED)):
        return "At the move"
    return "Now"


def figures(one: Option, found: Options, now_ms: int) -> tuple[tuple[str, str], ...]:
    """Return what an option comes to, as names with their figures."""
    return (
        ("Fit", date_of(one, found.known_until_ms, now_ms)),
        ("Chance within a year", display.chance(one.chance_ready)),
        (_at(one), display.band(*one.mc_pct)),
        ("Greatest loss then", f"{loss_of(one)}; {survived(one, found)}"),
        ("Core over shell at most", display.band(*(max(end, 0.0) for end in one.gradient_mc_pct))),
        (f"After {ahead_words(LOOK_AHEAD_DAYS)}", display.band(*one.end_mc_pct)),
    )
