"""What every entry shares: who enters it, when, from when it is true, and the look-up of what it is about."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeVar

from dashboards import display, fields
from shared.errors import BadInput, Refused
from shared.store import Connection, facts
from shared.store import records as r
from shared.store.records import BoardFact, Fact, PlaceFact, SetFact, StackFact, Subject, SubjectKind

F = TypeVar("F", bound=Fact)
DESCRIPTIONS: dict[SubjectKind, type[Fact]] = {
    SubjectKind.PLACE: PlaceFact,
    SubjectKind.PROBE: r.ProbeFact,
    SubjectKind.STACK: StackFact,
    SubjectKind.SET: SetFact,
    SubjectKind.BOARD: BoardFact,
    SubjectKind.METER: r.MeterFact,
    SubjectKind.LIMIT: r.OwnLimit,
    SubjectKind.FINISH: r.FinishFact,
}
NAME_LENGTH = 60
NOTE_LENGTH = 400


@dataclass(frozen=True)
class Entered:
    """What was entered: about what, under which number, said in a sentence."""

    subject: Subject
    kind: str
    fact_id: int
    sentence: str


@dataclass(frozen=True)
class Hand:
    """The person at work: the transaction, their name, the time now, and the time that they speak of."""

    connection: Connection
    by: str
    now_ms: int
    true_at_ms: int

    def write(self, record: type[F], subject: Subject, *, supersedes: int | None = None, **values: Any) -> int:
        """Enter one fact about ``subject`` and return its number."""
        return facts.add(
            self.connection,
            record,
            subject.id,
            true_at_ms=self.true_at_ms,
            entered_at_ms=self.now_ms,
            by=self.by,
            supersedes=supersedes,
            **values,
        )


def hand(connection: Connection, by: str, now_ms: int, true_at_ms: int | None = None) -> Hand:
    """Return the person at work, their name and the time they speak of checked."""
    name = fields.text("your name", by, 40, needed=True)
    return Hand(connection, name, now_ms, fields.past_ms("time", true_at_ms, now_ms))


def checked_code(kind: SubjectKind, typed: str) -> str:
    """Return the code of a new thing, well formed."""
    return fields.code(f"{kind} code", typed)


def new_subject(connection: Connection, kind: SubjectKind, typed: str) -> Subject:
    """Give a new thing its code; codes that differ only in capitals would be mixed up, so are refused."""
    wanted = checked_code(kind, typed)
    for one in facts.subjects(connection, kind):
        if one.code.lower() == wanted.lower():
            raise Refused(f"There is already a {kind} called {one.code}; choose another code.")
    return facts.add_subject(connection, kind, wanted)


def latest(connection: Connection, record: type[F], subject: Subject, moment_ms: int) -> F | None:
    """Return the entry about ``subject`` in force at a moment."""
    return facts.at(facts.standing(connection, record, subject.id), moment_ms)


def described(connection: Connection, record: type[F], subject: Subject) -> F:
    """Return the newest description of a thing; raises Refused when it was taken back."""
    standing = facts.standing(connection, record, subject.id)
    if not standing:
        raise Refused(f"The {subject.kind} {subject.code} was taken back; put it back before you change it.")
    return standing[-1]


def open_place(connection: Connection, typed: str) -> Subject:
    """Return a place that is in use; raises BadInput for an unknown one, Refused for a closed one."""
    place = facts.subject(connection, SubjectKind.PLACE, typed)
    if described(connection, PlaceFact, place).closed:
        raise Refused(f"The place {place.code} is closed; open it again before you put anything there.")
    return place


def stack(connection: Connection, typed: str) -> Subject:
    """Return a stack by its code."""
    found = facts.subject(connection, SubjectKind.STACK, typed)
    described(connection, StackFact, found)
    return found


def board(connection: Connection, typed: str) -> tuple[Subject, BoardFact]:
    """Return a board and what it is."""
    found = facts.subject(connection, SubjectKind.BOARD, typed)
    return found, described(connection, BoardFact, found)


def board_at(connection: Connection, typed: str, at_ms: int) -> tuple[Subject, BoardFact]:
    """Return a board in the sizes that it had at a moment (UTC ms); raises BadInput when that is before its first."""
    found, _newest = board(connection, typed)
    history = facts.standing(connection, BoardFact, found.id)
    fact = facts.at(history, at_ms)
    if fact is None:
        accepted = f"from {display.moment(history[0].true_at_ms)} on, since when {found.code} is entered"
        raise BadInput("time", display.moment(at_ms), accepted)
    return found, fact


def matched_set(connection: Connection, typed: str) -> Subject:
    """Return a set by its code."""
    found = facts.subject(connection, SubjectKind.SET, typed)
    described(connection, SetFact, found)
    return found


def pieces_of(connection: Connection, matched: Subject, at_ms: int) -> list[Subject]:
    """Return the boards that are pieces of a set at a moment (UTC ms)."""
    found = []
    for one in in_use(connection, SubjectKind.BOARD):
        member = latest(connection, r.SetMember, one, at_ms)
        if member is not None and member.set_id == matched.id:
            found.append(one)
    return found


def location(connection: Connection, stack_code: str, place_code: str) -> tuple[dict[str, int | None], str]:
    """Return where a board is to lie, in a stack or else straight in a place, and that in words."""
    in_stack, in_place = (stack_code or "").strip(), (place_code or "").strip()
    if in_stack and in_place:
        raise BadInput("where it lies", f"stack {in_stack} and place {in_place}", "a stack or a place, not both")
    if in_stack:
        found = stack(connection, in_stack)
        return {"stack_id": found.id, "place_id": None}, f"in stack {found.code}"
    if in_place:
        found = open_place(connection, in_place)
        return {"stack_id": None, "place_id": found.id}, f"in {found.code}"
    raise BadInput("where it lies", "", "the code of a stack or of a place")


def in_use(connection: Connection, kind: SubjectKind) -> list[Subject]:
    """Return the things of one kind that were not taken back."""
    described = {fact.subject_id for fact in facts.standing(connection, DESCRIPTIONS[kind])}
    return [one for one in facts.subjects(connection, kind) if one.id in described]


def contents(connection: Connection, holder: Subject, now_ms: int) -> list[str]:
    """Name everything that is in a place, stack or set now, was read by a meter, or was sprayed of a finish."""
    records = {
        SubjectKind.PLACE: [(r.ProbePosition, "probe"), (r.StackPosition, "stack"), (r.BoardPosition, "board")],
        SubjectKind.STACK: [(r.BoardPosition, "board")],
        SubjectKind.SET: [(r.SetMember, "board")],
    }
    found = []
    for record, kind in records.get(holder.kind, []):
        for one in in_use(connection, SubjectKind(kind)):
            position = latest(connection, record, one, now_ms)
            if position is not None and getattr(position, f"{holder.kind}_id") == holder.id:
                found.append(f"{kind} {one.code}")
    if holder.kind is SubjectKind.METER:
        read = {pin.subject_id for pin in facts.standing(connection, r.PinReading) if pin.meter_id == holder.id}
        found += [
            f"a pin reading of {one.code}" for one in facts.subjects(connection, SubjectKind.BOARD) if one.id in read
        ]
    if holder.kind is SubjectKind.FINISH:
        rooms = {spray.subject_id for spray in facts.standing(connection, r.Sprayed) if spray.finish_id == holder.id}
        found += [
            f"a spraying in {one.code}" for one in facts.subjects(connection, SubjectKind.PLACE) if one.id in rooms
        ]
    return found


def refuse_in_use(holder: Subject, used_by: list[str]) -> None:
    """Raise Refused, naming what is there, when a place, stack, set, meter or finish is in use."""
    if not used_by:
        return
    named = ", ".join(used_by[:6]) + (f" and {len(used_by) - 6} more" if len(used_by) > 6 else "")
    out = "rests on it" if holder.kind in (SubjectKind.METER, SubjectKind.FINISH) else "must be moved out of it first"
    raise Refused(f"The {holder.kind} {holder.code} is in use: {named} {out}.")
