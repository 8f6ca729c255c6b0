"""A load cell among the probes: what it carries, what that weighs, what happened to it, and its two forms."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from dashboards import display
from dashboards.heard import ProbeNow
from dashboards.pages.forms import Attempt, Field, Form, Option, name_field, shown_again, when_field
from dashboards.pages.parts import EntryLine, Link
from dashboards.situation import Situation
from kiln.load_cell import Continuous, Kind
from shared.store.records import CellLoad, Quantity

EVENTS_SHOWN = 3


@dataclass(frozen=True)
class CellView:
    """A load cell."""

    carries: Link = field(metadata={"help": "What it carries"})
    net: str = field(metadata={"help": "What that weighs, short; empty where nobody can say"})
    net_age: str = field(metadata={"help": "How old that is; empty without it"})
    gross: str = field(metadata={"help": "What the cell itself says, with hooks, pallet and cover, and how old it is"})
    weight: str = field(metadata={"help": "What that weighs, with its error, or why nobody can say"})
    tared: str = field(metadata={"help": "When it was tared, and what it read"})
    events: tuple[str, ...] = field(metadata={"help": "What happened to the weight, newest first"})
    notes: tuple[str, ...] = field(metadata={"help": "What must be known of it"})
    entries: tuple[EntryLine, ...] = field(metadata={"help": "Load and tare, to take back"})
    forms: tuple[Form, ...] = field(metadata={"help": "Saying what it carries, and taring it"})


def cell_view(
    situation: Situation, probe: ProbeNow, told: Continuous | None, by: str, attempt: Attempt | None
) -> CellView | None:
    """Return what is shown of a load cell; None for a probe that weighs nothing."""
    if Quantity.MASS_KG not in probe.others:
        return None
    forms = (carry(situation, probe, by), tare(probe.subject.code, by))
    now_ms, read = situation.now_ms, probe.others[Quantity.MASS_KG]
    net = _net(told, now_ms)
    return CellView(
        carries=_carries(situation, probe.load),
        net=net[0] if net else "",
        net_age=net[2] if net else "",
        gross=f"Gross, with all that hangs or stands on it: {read.value:g} kg, {display.age(read.at_ms, now_ms)}.",
        weight=_weight(told, now_ms),
        tared=f"Tared {display.age(probe.tare.true_at_ms, now_ms)}: it read {probe.tare.reading_kg:g} kg empty."
        if probe.tare
        else "Never tared.",
        events=_events(told, now_ms),
        notes=told.notes if told else (),
        entries=_entries(situation, probe),
        forms=tuple(shown_again(form, attempt) for form in forms),
    )


def _carries(situation: Situation, load: CellLoad | None) -> Link:
    for kind, things, wanted in (
        ("board", situation.boards, load.board_id if load else None),
        ("stack", situation.stacks, load.stack_id if load else None),
    ):
        for one in things:  # type: ignore[attr-defined]
            if wanted is not None and one.subject.id == wanted:
                return Link(f"{kind} {one.fact.name}", f"/{kind}/{one.subject.code}")
    return Link("nobody has said what" if load is None else "nothing", "")


def _weight(told: Continuous | None, now_ms: int) -> str:
    if told is None:
        return "Until it is said what it carries, its weight is not used."
    net = _net(told, now_ms)
    if net is None:
        return "Only its changes count so far; its weight needs a tare, or a weigh-in of everything on it."
    mass, error, age = net
    return f"{mass} ± {error}, {age}."


def _net(told: Continuous | None, now_ms: int) -> tuple[str, str, str] | None:
    """Return what it weighs by itself, the error and the age of that; None where nobody can say."""
    good = [] if told is None else np.flatnonzero(told.usable & told.absolute)
    if told is None or not len(good):
        return None
    last = int(good[-1])
    mass = display.mass(float(told.mass_kg[last]))  # of a whole hour, the newest of which is not over yet
    return mass, display.mass(told.band_kg(last)), display.age(min(int(told.at_ms[last]), now_ms), now_ms)


def _events(told: Continuous | None, now_ms: int) -> tuple[str, ...]:
    shown = [one for one in told.events if one.kind is not Kind.UNLOADED] if told else []  # each is a tare too
    newest = sorted(shown, key=lambda one: -one.start_ms)[:EVENTS_SHOWN]
    return tuple(f"{display.age(one.start_ms, now_ms)}: {one.sentence}" for one in newest)


def _entries(situation: Situation, probe: ProbeNow) -> tuple[EntryLine, ...]:
    lines = []
    if probe.load is not None:
        said = f"carries {_carries(situation, probe.load).text}, ± {display.mass(probe.load.cell_error_kg)}"
        when = display.moment(probe.load.true_at_ms)
        lines.append(EntryLine("cell-load", probe.load.id, said, when, probe.load.entered_by, ""))
    if probe.tare is not None:
        said, when = f"reads {probe.tare.reading_kg:g} kg with nothing on it", display.moment(probe.tare.true_at_ms)
        lines.append(EntryLine("tare", probe.tare.id, said, when, probe.tare.entered_by, ""))
    return tuple(lines)


def carry(situation: Situation, probe: ProbeNow, by: str) -> Form:
    """Return the form that says what a load cell carries."""
    return Form(
        f"carry-{probe.subject.code}",
        "Say what it carries",
        f"/probe/{probe.subject.code}/carry",
        "Enter it",
        (
            Field("load", "It carries", "choice", options=_load_options(situation), spoken="what it carries"),
            Field(
                "cell_error_g",
                "The cell is good to ±",
                "number",
                value=f"{1000 * probe.load.cell_error_kg:g}" if probe.load else "",
                unit="g",
                spoken="error of the cell",
                hint="One standard error: half of the largest error its maker states; half a division at least.",
            ),
            when_field(),
            name_field(by),
        ),
        intro="A board that hangs on it, or a whole stack that stands on it. Tare it with pallet, hooks and cover on.",
    )


def _load_options(situation: Situation) -> tuple[Option, ...]:
    def of(kind: str, things: Sequence) -> list[Option]:  # type: ignore[type-arg]
        return [Option(f"{kind}:{one.subject.code}", f"{kind} {one.fact.name}") for one in things]

    return (*of("stack", situation.stacks), *of("board", situation.boards), Option("", "nothing"))


def tare(code: str, by: str) -> Form:
    """Return the form that enters what a load cell reads empty."""
    return Form(
        f"tare-{code}",
        "Tare it",
        f"/probe/{code}/tare",
        "It is empty",
        (
            Field(
                "reading_kg",
                "It reads",
                "number",
                unit="kg",
                spoken="reading of the empty cell",
                hint="Empty: what it says just now.",
            ),
            when_field(),
            name_field(by),
        ),
        intro="With nothing on it but its own hooks, pallet and cover. The zero of every cell wanders: tare it again "
        "whenever it is empty.",
    )
