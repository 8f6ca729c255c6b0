"""What this yard's finished and harmed boards have taught, wood by wood, in figures and in sentences."""

from __future__ import annotations

from dataclasses import dataclass

from dashboards import projection, teaching
from dashboards.outcome_entries import outcome_words
from dashboards.projection_json import from_json
from dashboards.yard_entries import BoardEntries, Entries, read_entries
from kiln import drying, learning, lots, stress
from kiln.question import Question
from kiln.records import Projection, Three
from shared.errors import BenchdryError
from shared.settings import Settings
from shared.store import Connection, Store, cache, facts
from shared.store.records import OutcomeKind, Subject, SubjectKind
from shared.tables import species
from shared.units import mm_from_m

# Of what is learned: what it is called, and what less and more of it mean.
TOLD = {
    "ln_diffusion": ("pace of drying", "dries {} slower", "dries {} faster"),
    "ln_oven_dry_mass": ("dry weight", "is {} lighter when oven-dry", "is {} heavier when oven-dry"),
    "ln_film": (
        "how fast the air takes its water",
        "gives its water {} more slowly to the air",
        "gives its water {} faster to the air",
    ),
    "ln_isotherm_scale": (
        "water held in the same air",
        "holds {} less water in the same air",
        "holds {} more water in the same air",
    ),
}


@dataclass(frozen=True)
class Teacher:
    """An outcome by which a board teaches: it was finished, or harm was found on it."""

    subject: Subject
    name: str
    outcome_id: int  # of the entry by which it teaches: undone, it teaches no more
    outcome: str
    at_ms: int
    entered_by: str
    taught: str  # what it has taught, or why nothing


@dataclass(frozen=True)
class Learned:
    """What boards of one wood and origin taught."""

    label: str
    botanical_name: str
    origin: str
    boards: int  # finished ones that taught
    factors: dict[str, Three]  # p10, p50, p90 of what the tables' figures are multiplied by, by TOLD; empty: none
    lapse_factor: float  # of the model's error
    measurements: int  # that it rests on
    own_loss: stress.LossLimit | None  # at the thickness of the board that was harmed at least; None: none was
    own_loss_at_m: float | None
    published: stress.LossLimit | None  # at that thickness
    teachers: tuple[Teacher, ...]


@dataclass(frozen=True)
class AllLearned:
    """What a yard has taught."""

    on: bool  # the setting
    woods: tuple[Learned, ...]


def read(store: Store, now_ms: int, settings: Settings, memory: projection.Memory) -> AllLearned:
    """Work out what the yard's boards have taught; what ``memory`` holds is not worked out again."""
    with store.reading() as connection:
        entries = read_entries(connection, now_ms, settings)
        if not entries.learn_from_finished:
            return AllLearned(False, ())
        subjects = {one.id: one for one in facts.subjects(connection, SubjectKind.BOARD)}
        teaching_ids = [
            one for one, board in entries.boards.items() if teaching.is_finished(board) or teaching.was_harmed(board)
        ]
        alike: dict[tuple[str, str], list[int]] = {}
        for one in teaching_ids:
            fact = entries.boards[one].fact
            alike.setdefault((fact.species, str(fact.origin)), []).append(one)
        told = _Yard(connection, entries, subjects, now_ms, memory)
        return AllLearned(True, tuple(told.wood(*wood, ids) for wood, ids in alike.items()))


class _Yard:
    """One reading of the store, and what is asked of it."""

    def __init__(
        self,
        connection: Connection,
        entries: Entries,
        subjects: dict[int, Subject],
        now_ms: int,
        memory: projection.Memory,
    ) -> None:
        self._connection, self._entries, self._subjects = connection, entries, subjects
        self._now_ms, self._memory = now_ms, memory
        self._keys: dict[int, str] = {}
        bodies = {one: from_json(kept.body) for one, kept in cache.projections(connection).items()}
        self._harmed = teaching.harmed(entries, {k: one for k, one in bodies.items() if isinstance(one, Projection)})

    def wood(self, botanical_name: str, origin: str, ids: list[int]) -> Learned:
        """Return what boards of one wood and origin taught."""
        finished = [one for one in ids if teaching.is_finished(self._entries.boards[one])]
        taught = {one: teaching.taught_by(one, self._memory.lessons, self._of, self._key) for one in finished}
        lessons = {one: told for one, told in taught.items() if told is not None}
        own, at_m = self._own(botanical_name)
        known = species().get(botanical_name)
        return Learned(
            known.common_name.capitalize() if known else botanical_name,
            botanical_name,
            origin,
            len(lessons),
            self._factors(lessons),
            learning.lapse_factor([told.misfits for told in lessons.values()]),
            sum(len(told.misfits) for told in lessons.values()),
            own,
            at_m,
            stress.safe_loss(botanical_name, at_m) if at_m is not None else None,
            tuple(
                told
                for one in ids
                for told in _teachers(self._subjects[one], self._entries.boards[one], one in lessons)
            ),
        )

    def _of(self, board_id: int) -> Question:
        return projection.question(self._connection, self._entries, board_id, self._now_ms, self._memory.records)

    def _key(self, board_id: int) -> str:
        return projection.input_key(self._entries, board_id, self._now_ms, self._keys).partition(".")[0]

    def _factors(self, lessons: dict[int, teaching.Taught]) -> dict[str, Three]:
        """After all of them, by what is expected of the board that was finished last."""
        for board_id in sorted(lessons, reverse=True):
            try:
                prior = drying.prior(self._of(board_id).piece)
            except (ValueError, BenchdryError):
                continue
            found = lots.factors(lots.of_yard(prior, teaching.by_lot(self._entries, lessons)))
            return {name: found[name] for name in TOLD}
        return {}

    def _own(self, botanical_name: str) -> tuple[stress.LossLimit | None, float | None]:
        """The yard's own limit, at the thickness of the board that was harmed at the least loss."""
        of_wood = [one for one in self._harmed if one.botanical_name == botanical_name]
        if not of_wood:
            return None, None
        at_m = min(of_wood, key=lambda one: one.loss_pct_per_day).thickness_m
        return learning.own_safe_loss(botanical_name, at_m, of_wood), at_m


def _teachers(subject: Subject, board: BoardEntries, taught: bool) -> list[Teacher]:
    """Every outcome by which a board teaches, or would."""
    found = []
    for one in board.outcomes:
        if one.kind is OutcomeKind.FINISHED:
            why = "taught" if taught else "taught nothing: it was never measured, or its air is not on record"
        elif one in teaching.harms(board):
            why = "tells of the loss that this wood survives"
        else:
            continue
        told = outcome_words(one.kind, one.degree, one.thickness_m)
        found.append(Teacher(subject, board.fact.name, one.id, told, one.true_at_ms, one.entered_by, why))
    return found


# --- in sentences ----------------------------------------------------------------------------------


def sentences(wood: Learned) -> tuple[str, ...]:
    """Return what boards of a wood taught, a sentence each."""
    by = "1 finished board" if wood.boards == 1 else f"{wood.boards} finished boards"
    each = [(name, factor_sentence(wood.label, name, one, by)) for name, one in wood.factors.items()]
    said = [told for _name, told in each if told]
    open_yet = [f"{TOLD[name][0]} {_signed_band(wood.factors[name])}" for name, told in each if not told]
    if open_yet:
        said.append(f"Not told apart from the table by {by}: {'; '.join(open_yet)}.")
    if wood.boards:
        said.append(_lapse_sentence(wood))
    if wood.own_loss is not None:
        said.append(_loss_sentence(wood))
    return tuple(said)


def factor_sentence(label: str, name: str, factor: Three, by: str) -> str:
    """Say by how much a wood differs here from what the tables say; empty where its band holds the table's figure."""
    _what, less, more = TOLD[name]
    low, middle, high = (100.0 * (one - 1.0) for one in factor)
    if round(high) < 0:
        return f"{label} {less.format(_pct(middle))} here than the table says ({-high:.0f} to {-low:.0f} %), by {by}."
    if round(low) > 0:
        return f"{label} {more.format(_pct(middle))} here than the table says ({low:.0f} to {high:.0f} %), by {by}."
    return ""


def _pct(value: float) -> str:
    return f"{abs(value):.0f} %"


def _signed_band(factor: Three) -> str:
    low, middle, high = (_signed(100.0 * (one - 1.0)) for one in factor)
    return f"{middle} % ({low} to {high})"


def _signed(value: float) -> str:
    sign = "+" if round(value) > 0 else "−" if round(value) < 0 else "± "
    return f"{sign}{abs(value):.0f}"


def _lapse_sentence(wood: Learned) -> str:
    count = f"{wood.measurements} measurements" if wood.measurements != 1 else "1 measurement"
    told = f"by {count} after the first of each board"
    off = 100.0 * (wood.lapse_factor - 1.0)
    if round(off) == 0:
        return f"The forecast missed these boards by about as much as it says it may, {told}."
    near, counts = ("farther from", "more") if off > 0 else ("nearer to", "less")
    counts = f"its own error counts {_pct(off)} {counts}"
    return f"The forecast came {near} these boards than it says it does, {told}: {counts}."


def _loss_sentence(wood: Learned) -> str:
    own, published = wood.own_loss, wood.published
    assert own is not None and wood.own_loss_at_m is not None
    at = f"at {mm_from_m(wood.own_loss_at_m):g} mm"
    whose = own.status.partition(": ")[2]
    if published is None:
        return (
            f"No more than {own.pct_per_day:.1f} % a day {at} is taken to be survived: {whose}. Nothing is published."
        )
    if own.pct_per_day < published.pct_per_day:
        instead = f"instead of the {published.pct_per_day:.1f} ({published.status})"
        return f"No more than {own.pct_per_day:.1f} % a day {at} is taken to be survived, {instead}: {whose}."
    kept = f"{published.pct_per_day:.1f} % a day {at} ({published.status})"
    return f"{whose}; the limit of {kept} is lower than that teaches, and stays."
