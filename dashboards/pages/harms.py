"""What may harm a board, and what to measure next."""

from __future__ import annotations

from dataclasses import dataclass, field

from dashboards import danger_charts, display, marks
from dashboards.pages.parts import GateLine
from kiln import telling
from kiln.oven_dry import BEFORE
from kiln.records import Projection, Standing
from kiln.sentences import capital
from kiln.standing import DATE, LEVEL, MOISTURE, STEADY, Danger
from kiln.telling import Measurement

CONDITIONS = {
    MOISTURE: "how wet it is",
    LEVEL: "how far core and shell differ",
    STEADY: "whether it keeps still",
    DATE: "the date",
}


@dataclass(frozen=True)
class HarmLine:
    """One danger."""

    key: str = field(metadata={"help": "How it stands as a style: ready, wait, stop, unsure"})
    line: GateLine = field(metadata={"help": "Its name, how it stands and why"})
    figure: str = field(metadata={"help": "Its figure with its band"})
    trend: str = field(metadata={"help": "Which way it goes; empty when that is not told"})
    next_step: str = field(metadata={"help": "What to do"})
    status: str = field(metadata={"help": "How the limit is known"})


@dataclass(frozen=True)
class Harms:
    """Everything that _harms.html may use."""

    code: str = field(metadata={"help": "The board's code"})
    over: tuple[HarmLine, ...] = field(metadata={"help": "The dangers over a limit: never folded away"})
    near: tuple[HarmLine, ...] = field(metadata={"help": "Those near a limit, or not known, the worst first"})
    under: tuple[HarmLine, ...] = field(metadata={"help": "The others"})
    told: str = field(metadata={"help": "Which is how, in a few words: in sight while the rest is folded"})
    near_told: str = field(metadata={"help": "The same of those that are not over a limit"})
    balance: str = field(metadata={"help": "How fast and slow air pull against each other on this wood"})
    notes: tuple[str, ...] = field(metadata={"help": "What this rests on"})
    revision: str = field(metadata={"help": "Changes whenever the chart has to be drawn anew"})
    table: tuple[tuple[str, ...], ...] = field(metadata={"help": "The chart as rows of text"})


@dataclass(frozen=True)
class TellsLine:
    """What one measurement would do."""

    name: str = field(metadata={"help": "What is measured"})
    figures: tuple[str, ...] = field(metadata={"help": "What would be left not known, for each of the conditions"})


@dataclass(frozen=True)
class TellsView:
    """What to measure next."""

    conditions: tuple[str, ...] = field(metadata={"help": "What it is about, with what is not known of it now"})
    lines: tuple[TellsLine, ...] = field(metadata={"help": "Each measurement with what it would leave"})
    left_out: tuple[str, ...] = field(metadata={"help": "Which measurements are not told, and why"})
    best: tuple[str, ...] = field(metadata={"help": "The best measurement of each condition that one narrows"})
    told: str = field(metadata={"help": "Those measurements in a few words, in sight while the rest is folded"})


def harms(made: Projection, code: str, revision: str, now_ms: int) -> Harms | None:
    """Fill it from a projection; None where nothing was worked out."""
    found = made.dangers
    if found is None:
        return None
    order = (Standing.OVER, Standing.NEAR, Standing.NOT_KNOWN, Standing.UNDER)
    lines = sorted(found.dangers, key=lambda one: order.index(one.standing))
    notes = tuple(f"{capital(note)}." for note in found.notes)
    table = danger_charts.harms_table(found, now_ms)
    by = {standing: [one for one in lines if one.standing is standing] for standing in order}
    near = [*by[Standing.NEAR], *by[Standing.NOT_KNOWN]]
    return Harms(
        code=code,
        over=tuple(map(_line, by[Standing.OVER])),
        near=tuple(map(_line, near)),
        under=tuple(map(_line, by[Standing.UNDER])),
        told=how_they_stand([*by[Standing.OVER], *near]) or "nothing is near a limit that is known",
        near_told=capital(how_they_stand(near)),
        balance=found.balance,
        notes=notes,
        revision=revision,
        table=table,
    )


def how_they_stand(some: list[Danger]) -> str:
    """Say which dangers stand how: "blue stain over the limit; mould and collapse near the limit"."""
    told: dict[Standing, list[str]] = {}
    for one in some:
        told.setdefault(one.standing, []).append(one.name)
    return "; ".join(f"{display.listed(names)} {standing.value}" for standing, names in told.items())


def _line(danger: Danger) -> HarmLine:
    key = marks.standing_key(danger.standing)
    chance = display.chance(danger.probability)
    line = GateLine(key, marks.standing(danger.standing), danger.standing.value, danger.name, danger.reason, chance)
    return HarmLine(key, line, danger.figure, danger.trend, danger.next_step, danger.status)


def tells(made: Projection) -> TellsView | None:
    """Fill what to measure next; None where no measurement tells anything."""
    asked = [name for name in CONDITIONS if any(one.condition == name for one in made.tells)]
    if not asked:
        return None
    by = {(one.condition, one.measurement): one for one in made.tells}
    heads = tuple(f"{CONDITIONS[name]}: now ± {_figure(name, _before(made, name))}" for name in asked)
    lines = []
    for measurement in Measurement:
        found = [by.get((name, measurement.value)) for name in asked]
        if any(found):
            figures = ("" if one is None else f"± {_figure(one.condition, one.after)}" for one in found)
            lines.append(TellsLine(f"{capital(measurement.value)}", tuple(figures)))
    chosen = [one for name in asked if (one := telling.best(made.tells, name)) is not None]
    best = tuple(telling.sentence(one) for one in chosen)
    told = "; ".join(dict.fromkeys(one.measurement for one in chosen))
    if any(one.measurement == Measurement.SECTION for one in chosen):  # in sight while the rest is folded
        told = f"{told}. {BEFORE}"
    return TellsView(heads, tuple(lines), _left_out(made), best, told or "none would narrow its figures much")


def _left_out(made: Projection) -> tuple[str, ...]:
    """Say why a measurement that people would think of is not among those compared."""
    told = {one.measurement for one in made.tells}
    pins = "Pins are left out: of wood so wet, or out of the water, they say no more than “at least” or “at most”."
    bag = "A bag is left out: so thick a piece takes weeks to even out in it."
    missing = ((Measurement.PIN.value, pins), (Measurement.BAG.value, bag))
    return tuple(why for name, why in missing if name not in told)


def _before(made: Projection, condition: str) -> float:
    return next(one.before for one in made.tells if one.condition == condition)


def _figure(condition: str, value: float) -> str:
    return f"{value:.0f} days" if condition == DATE else f"{value:.1f} %"
