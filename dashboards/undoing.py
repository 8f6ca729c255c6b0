"""Taking an entry back: itself an entry, so that it can be taken back too."""

from __future__ import annotations

from dashboards import board_history, climate_entries, cut_undoing, entering, fields, planning_entries
from dashboards.entering import Connection, Entered, hand
from shared.errors import BadInput, Refused
from shared.store import facts
from shared.store import records as r
from shared.store.records import Subject, SubjectKind

UNDOABLE: dict[str, type[r.Fact]] = {
    "place": r.PlaceFact,
    "probe": r.ProbeFact,
    "probe-move": r.ProbePosition,
    "stack": r.StackFact,
    "stack-move": r.StackPosition,
    "set": r.SetFact,
    "board": r.BoardFact,
    "board-move": r.BoardPosition,
    "rest": r.BoardRest,
    "coat": r.BoardCoat,
    "cut": r.BoardCut,
    "water": r.WaterEvent,
    "outcome": r.Outcome,
    "planned-move": r.PlannedMove,
    "climate": r.PlaceClimate,
    "set-member": r.SetMember,
    "weigh-in": r.WeighIn,
    "pin": r.PinReading,
    "oven-dry": r.OvenDryResult,
    "bag-test": r.BagTest,
    "meter": r.MeterFact,
    "meter-pair": r.MeterPair,
    "hygrometer-check": r.HygrometerCheck,
    "cell-load": r.CellLoad,
    "tare": r.CellTare,
    "use": r.UsePlan,
    "limit": r.OwnLimit,
    "override": r.Override,
    "lifting": r.Lifted,
    "joint": r.Joint,
    "finish": r.FinishFact,
    "finish-room": r.FinishRoom,
    "spraying": r.Sprayed,
    "surface": r.SurfaceReading,
    "acknowledgement": r.Acknowledged,
    "region": r.AirRegion,
}

SPOKEN = {  # how an entry is called where its kind alone would not be understood
    "place": "description",
    "probe": "description",
    "stack": "description",
    "set": "description",
    "board": "description",
    "probe-move": "move",
    "stack-move": "move",
    "board-move": "move",
    "rest": "resting entry",
    "coat": "finish entry",
    "water": "water entry",
    "planned-move": "planned move",
    "climate": "table of months",
    "set-member": "place in a set",
    "pin": "pin reading",
    "oven-dry": "oven-dried section",
    "bag-test": "bag test",
    "meter": "description",
    "meter-pair": "calibration pair",
    "hygrometer-check": "hygrometer check",
    "cell-load": "load",
    "use": "wanted use",
    "limit": "own figure",
    "region": "choice of region",
    "lifting": "lifting entry",
    "finish": "description",
    "finish-room": "table of figures",
    "surface": "surface reading",
}


def many(kind: str) -> str:
    """Return what several entries of a kind are called, in addresses of exports."""
    return f"{kind}es" if kind.endswith("sh") else f"{kind}s"


def undo(connection: Connection, kind: str, fact_id: str | int, *, by: str, now_ms: int) -> Entered:
    """Take an entry back; the undo is an entry too, so undoing it puts the first one back.

    A cut goes with everything that it left, and a corrected description with what was corrected alike.
    Raises Refused for the entry that a thing in use rests on.
    """
    if kind not in UNDOABLE:
        raise BadInput("kind of entry", kind, "one of " + ", ".join(UNDOABLE))
    number = int(fields.number("number of the entry", fact_id, 1, 2**53, ""))
    at = hand(connection, by, now_ms)
    record = UNDOABLE[kind]
    entry = facts.get(connection, record, number)
    about = _subject_of(connection, entry.subject_id)
    if isinstance(entry, r.BoardCut):
        return cut_undoing.undo_cut(at, about, entry)
    if isinstance(entry, r.BoardFact):
        board_history.refuse_undo(connection, about, entry)
    if isinstance(entry, r.PlannedMove):
        planning_entries.refuse_second(connection, about, entry, now_ms)
    if isinstance(entry, r.PlaceClimate):
        climate_entries.refuse_second(connection, about, entry)
    if isinstance(entry, r.Sprayed):
        entering.described(connection, r.FinishFact, _subject_of(connection, entry.finish_id))  # is there to be shown
    if _would_vanish(connection, record, entry):
        if about.kind is SubjectKind.PROBE:
            raise Refused(f"The probe {about.code} keeps its first entry: its readings hang on it.")
        entering.refuse_in_use(about, entering.contents(connection, about, now_ms))
        if about.kind is SubjectKind.PLACE:
            planning_entries.refuse_planned_to(connection, about, now_ms)
    made = facts.undo(connection, record, number, entered_at_ms=now_ms, by=at.by)
    if isinstance(entry, r.BoardFact) and entry.supersedes is not None:
        board_history.correct_alike(at, entry, facts.get(connection, r.BoardFact, made))
    told = "put back" if entry.withdrawn else "taken back"
    return Entered(about, kind, made, f"The {SPOKEN.get(kind, kind)} of {about.kind} {about.code} is {told}.")


def puts_back(connection: Connection, kind: str, fact_id: str | int) -> bool:
    """Tell whether undoing this entry puts something back: it is itself a taking back."""
    if kind not in UNDOABLE:
        raise BadInput("kind of entry", kind, "one of " + ", ".join(UNDOABLE))
    number = int(fields.number("number of the entry", fact_id, 1, 2**53, ""))
    return facts.get(connection, UNDOABLE[kind], number).withdrawn


def _would_vanish(connection: Connection, record: type[r.Fact], entry: r.Fact) -> bool:
    descriptions = (r.PlaceFact, r.ProbeFact, r.StackFact, r.SetFact, r.BoardFact, r.MeterFact, r.FinishFact)
    if record not in descriptions or entry.supersedes is not None:
        return False
    standing = facts.standing(connection, record, entry.subject_id)
    return [one.id for one in standing] == [entry.id]


def _subject_of(connection: Connection, subject_id: int) -> Subject:
    for kind in SubjectKind:
        for one in facts.subjects(connection, kind):
            if one.id == subject_id:
                return one
    raise BadInput("entry about", subject_id, "something that is in the store")
