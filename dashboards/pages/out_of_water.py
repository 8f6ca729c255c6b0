"""A board out of the water: its clock, what its marks change, what it weighs, and what comes before sawing."""

from __future__ import annotations

from dataclasses import dataclass, field
from urllib.parse import quote

from dashboards import display, out_of_water
from dashboards.lifted_entries import lifted_words
from dashboards.out_of_water import OutOfWater
from dashboards.pages.parts import Link
from dashboards.situation import BoardNow, Situation
from kiln import reclaimed, sawing, stress, water_clock
from shared.store.records import Origin, Smell
from shared.tables import species
from shared.tables.harms import degrade

NOT_ENTERED = (
    "Nobody entered when it was lifted out of the water, so no clock runs for it, and nobody entered what was seen and "
    "smelt of it."
)
ASK = "How did it come out of the water? Smell, tar, metal: enter it"
THICKEST_TOLD_M = 0.08  # no board: a published loss stretched so far from its thickness tells nothing; judgement


@dataclass(frozen=True)
class WaterLine:
    """One figure of the section."""

    name: str = field(metadata={"help": "What it is"})
    value: str = field(metadata={"help": "The figure with its unit and band"})
    note: str = field(default="", metadata={"help": "Where it stands, or what to bear in mind"})


@dataclass(frozen=True)
class OutOfWaterView:
    """What _out_of_water.html may use."""

    told: str = field(metadata={"help": "Its headline, or its class: in sight while the rest is folded"})
    presses: bool = field(metadata={"help": "Whether something about it is to be done now: then it is not folded"})
    headline: str = field(metadata={"help": "Time left before decay, or where the clock stopped; empty without entry"})
    sentence: str = field(metadata={"help": "What that means"})
    next_step: str = field(metadata={"help": "What to do about it; empty when nothing"})
    asks: str = field(metadata={"help": "What to enter about it, a link to its form; empty when it was"})
    grade: str = field(metadata={"help": "Its class by what was seen of it; empty without entry"})
    reason: str = field(metadata={"help": "Why that class"})
    then: str = field(metadata={"help": "What to do next by that class; empty when nothing"})
    changes: tuple[str, ...] = field(metadata={"help": "What the class and the water change"})
    lines: tuple[WaterLine, ...] = field(metadata={"help": "Figures: when lifted, mass, safe daily loss"})
    links: tuple[Link, ...] = field(metadata={"help": "Questions that go on from here"})
    topics: tuple[str, ...] = field(metadata={"help": "Cautions that belong to it, by topic; shown with the board's"})


def of_board(yard: Situation, board: BoardNow) -> OutOfWaterView | None:
    """Fill the section; None for a board that never lay in water."""
    if board.fact.origin is not Origin.RECLAIMED:
        return None
    found = out_of_water.read(yard, board)
    sawn = found is not None and found.stopped_ms is not None
    lines = (*_of_entry(found), *_mass(board, soaked=not sawn), *_loss(board, found))
    if found is None:
        told, links = "nobody entered when it was lifted", _links(board, sawn=True)
        return OutOfWaterView(told, True, "", NOT_ENTERED, "", ASK, "", "", "", (), lines, links, ())
    then = "" if sawn else found.triage.next_step
    before = () if sawn else tuple(one for one in found.triage.before_sawing if one.lower() not in then.lower())
    headline, step = water_clock.headline(found.clock), water_clock.next_step(found.clock)
    first = reclaimed.first_of_all(found.triage)
    return OutOfWaterView(
        told=headline or found.triage.grade.value,
        presses=bool(step),
        headline=headline,
        sentence=water_clock.sentence(found.clock),
        next_step=f"{first} {step}".strip() if step else "",
        asks=ASK if found.lifted.smell is Smell.UNKNOWN else "",
        grade=found.triage.grade.value,
        reason=found.triage.reason,
        then=then,
        changes=(*before, *found.triage.changes),
        lines=lines,
        links=_links(board, sawn=sawn),
        topics=found.triage.topics,
    )


def _of_entry(found: OutOfWater | None) -> tuple[WaterLine, ...]:
    if found is None:
        return ()
    lifted = found.lifted
    whose = "entered of the log it was sawn from" if found.of_log else ""
    again = "lifted before, and sunk again: the clock counts from the last time" if found.lifted_before else ""
    return (
        WaterLine("Lifted", display.moment(lifted.true_at_ms), "; ".join(one for one in (whose, again) if one)),
        *((WaterLine("Laid in a stack", display.moment(found.stopped_ms)),) if found.stopped_ms is not None else ()),
        WaterLine("As it came", lifted_words(lifted), lifted.note),
    )


def _mass(board: BoardNow, *, soaked: bool) -> tuple[WaterLine, ...]:
    """What it weighed last, or, while it may still be soaked, what to expect before it is lifted."""
    if board.weigh_ins:
        last = board.weigh_ins[-1]
        return (WaterLine("Last weighed", display.mass(last.mass_kg), display.moment(last.true_at_ms)),)
    wood = species().get(board.fact.species)
    if wood is None or not soaked:
        return ()
    low, middle, high = (
        display.number(kg, 0 if kg >= 10.0 else 1) for kg in sawing.mass(board.fact.volume_m3, wood).kg
    )
    told = f"about {middle} kg ({low}–{high})"
    return (WaterLine("Soaked it weighs", told, "weigh it before you trust that; mud, bark and metal come on top"),)


def _loss(board: BoardNow, found: OutOfWater | None) -> tuple[WaterLine, ...]:
    """The safe daily loss where this wood's heartwood is hard to dry; nothing where no figure was found."""
    if board.fact.thickness_m > THICKEST_TOLD_M:
        return ()
    name = board.fact.species
    refractory = degrade(name).refractory_heartwood
    limit = stress.safe_loss(name, board.fact.thickness_m)
    triage = found.triage if found is not None else None
    milder = reclaimed.milder_loss(limit, name, board.fact.origin.value, triage, refractory=refractory)
    if milder is None or milder == limit:
        return ()
    before = f"; fresh from the log about {display.number(limit.pct_per_day)}" if limit is not None else ""
    told = f"about {display.number(milder.pct_per_day)} % MC a day, while it is wet"
    return (WaterLine("Survives, as heartwood", told, f"{milder.status}{before}"),)


def _links(board: BoardNow, *, sawn: bool) -> tuple[Link, ...]:
    code = f"?board={quote(board.subject.code)}"
    return (
        *(
            ()
            if sawn
            else (
                Link("how thick to saw", f"/work-out/saw-plan{code}"),
                Link("the clock, hour by hour", f"/work-out/out-of-water{code}"),
            )
        ),
        Link("what it weighs", f"/work-out/lifting{code}"),
        Link("density: dense, wet or full of minerals", f"/work-out/density{code}"),
    )
