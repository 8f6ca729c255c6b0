"""What a verdict rests on: the case, its ages, and its conditions one by one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kiln import stress
from kiln.records import WEIGHED, Z80, Gate, Measured, Projection, Word
from kiln.spans import span_words
from shared.tables import Use, limit
from shared.units import MS_PER_DAY

SURE = 0.9
MEASURED_WITHIN_DAYS = limit("measured_within")
CONTRADICTS_SE = 4.0
KINDS = ("weigh-in", "load cell", "pin", "oven-dry", "bag test")
REST_MC_PCT = 0.5  # of change between the weigh-ins of a piece that is said to be at rest; judgement


@dataclass(frozen=True)
class Case:
    """One board as it comes before the judge."""

    now_ms: int
    botanical_name: str
    thickness_m: float
    origin: str
    use: Use
    use_chosen: bool  # False: nobody said what it is wanted for
    booked_ms: int | None
    projection: Projection | None
    missing: str  # why there is no projection, in words
    place: str  # where it is; "" when nobody said
    air_at_ms: int | None  # newest air of its place
    air_believed: bool  # False: every probe there is silent or stuck
    air_limit_ms: int
    air_temperature_c: float | None
    air_checked_since_ms: int | None = None  # since when it has lain in air of checked probes only, until now
    fsp_remembered: bool = False  # this wood's own fibre saturation point was never read in print
    pending: bool = False  # something was entered that the projection does not rest on yet
    own_loss: stress.LossLimit | None = None  # at which boards of this yard were harmed; None: none was

    @property
    def most_loss(self) -> stress.LossLimit | None:
        """The daily loss that this board is taken to survive; None where no figure was found."""
        return stress.survived(self.botanical_name, self.thickness_m, self.own_loss)


def at(projection: Projection, moment_ms: int) -> int:
    """Return the index of the first moment of a projection at or after ``moment_ms``."""
    return int(np.clip(np.searchsorted(projection.at_ms, moment_ms), 0, len(projection.at_ms) - 1))


def now_index(projection: Projection) -> int:
    """Return the index of a projection's present: the last hour of logged air."""
    return at(projection, projection.known_until_ms)


def banded(projection: Projection, index: int) -> str:
    """Return a moisture content with its band, in words."""
    mean = projection.mean
    return f"{mean.p50[index]:.1f} % ({mean.p10[index]:.1f}–{mean.p90[index]:.1f})"


def wanted(projection: Projection) -> str:
    """Return the moisture that the use takes, in words."""
    return f"{projection.wanted_mc_pct[0]:.1f}–{projection.wanted_mc_pct[1]:.1f} %"


def _newest_ms(projection: Projection) -> int | None:
    """When the wood was last measured, of what this projection rests on."""
    return max((measured.at_ms for measured in projection.measured), default=None)


def age_days(case: Case) -> float:
    """Return how long ago the wood was measured [day]; infinite when it never was."""
    newest_ms = _newest_ms(case.projection) if case.projection else None
    return np.inf if newest_ms is None else (case.now_ms - newest_ms) / MS_PER_DAY


def age_sentence(case: Case) -> str:
    """Say how long ago the wood was measured."""
    newest_ms = _newest_ms(case.projection) if case.projection else None
    if newest_ms is None:
        return "The wood itself has never been measured."
    return f"Last measured {span_words(case.now_ms - newest_ms)} ago."


def evidence_of(case: Case, projection: Projection) -> tuple[str, ...]:
    """Say what a verdict rests on."""
    said = [age_sentence(case)]
    kinds = [m.kind for m in projection.measured]
    counted = ", ".join(f"{kinds.count(kind)} × {kind}" for kind in KINDS if kind in kinds)
    said.append(f"Refitted to {counted}." if counted else "Not yet measured: species, size and origin only.")
    if case.air_at_ms is not None:
        said.append(f"Air in {case.place} heard {span_words(case.now_ms - case.air_at_ms)} ago.")
    said.append(f"Projected from air up to {span_words(case.now_ms - projection.known_until_ms)} ago.")
    said += [f"{note[0].upper()}{note[1:]}." for note in projection.notes]
    wrong = {(m.kind if m.kind == "load cell" else m.at_ms): m for m in projection.measured if _contradicts(m)}
    said += [f"{m.kind} {m.mc_pct:.1f} %: {m.note}" for m in wrong.values()]
    return tuple(said)


def _contradicts(measured: Measured) -> bool:
    return abs(measured.misfit) > CONTRADICTS_SE


def gates_of(case: Case, projection: Projection) -> tuple[Gate, ...]:
    """Return the conditions of the use, each with its own word."""
    now = now_index(projection)
    core, shell = float(projection.core.p50[now]), float(projection.shell.p50[now])
    chance = projection.chance_fit_now
    age = age_days(case)
    measured = age <= MEASURED_WITHIN_DAYS
    gates = [
        _moisture_gate(projection, chance),
        _level_gate(case, projection, core, shell),
        _steady_gate(case, projection),
        Gate(
            "measured",
            Word.READY if measured else Word.CANT_SAY,
            age_sentence(case)
            if measured
            else f"{age_sentence(case)} READY needs one within {MEASURED_WITHIN_DAYS:.0f} days.",
            None,
        ),
        _ground_gate(case, projection),
    ]
    return (*_rate_gate(case, projection), *gates)


def _moisture_gate(projection: Projection, chance: float) -> Gate:
    """How wet it is beside what is wanted; where it is not fit, also where its air is taking it."""
    told = f"At {banded(projection, now_index(projection))}; wanted {wanted(projection)}."
    if _word(chance) is not Word.READY:
        low, middle, high = projection.holds_mc_pct
        told = f"{told} This air holds it at {middle:.1f} % ({low:.1f}–{high:.1f}) over the next month."
    return Gate("moisture", _word(chance), told, chance)


def _ground_gate(case: Case, projection: Projection) -> Gate:
    """What its moisture is known by: never by remembered densities, rates and saturation points alone."""
    name = "known by"
    since_ms = case.now_ms - MEASURED_WITHIN_DAYS * MS_PER_DAY
    kinds = {m.kind for m in projection.measured if m.at_ms >= since_ms and m.ground}
    if "bag test" in kinds:
        return Gate(name, Word.READY, "The air that it makes itself, sealed in a bag, was read.", None)
    told = [kind for kind in ("oven-dry", "pin") if kind in kinds]
    if told and not case.fsp_remembered:
        return Gate(name, Word.READY, f"Its moisture was measured ({', '.join(told)}).", None)
    return _rest_gate(name, case, projection, measured=bool(told))


def _rest_gate(name: str, case: Case, projection: Projection, *, measured: bool) -> Gate:
    """Wood that keeps its weight is known by its air, if that air was known all the while."""
    span = _rest_span(case, projection)
    if span is None:
        what = "the saturation point of this wood" if measured else "density and drying rate of this wood"
        sentence = f"So far it rests on what is remembered of {what}; weigh-ins at rest, or a bag test, tell."
        return Gate(name, Word.CANT_SAY, sentence, None)
    if max(m.scale_error_mc_pct for m in span) * Z80 * np.sqrt(2.0) > REST_MC_PCT:
        sentence = "It seems to keep its weight, but this scale is too coarse for so small a piece to tell."
        return Gate(name, Word.CANT_SAY, sentence, None)
    if case.air_checked_since_ms is None or span[0].at_ms < case.air_checked_since_ms:
        sentence = (
            f"It keeps its weight, so the air it lay in tells; but not all of that was {case.place}'s with a checked "
            "hygrometer."
        )
        return Gate(name, Word.CANT_SAY, sentence, None)
    return Gate(name, Word.READY, f"It keeps its weight in the air of {case.place}; that hygrometer was checked.", None)


def _rest_span(case: Case, projection: Projection) -> list[Measured] | None:
    """The newest weigh-ins, over the steady days of its use or longer, if its mass no longer changed over them."""
    weighed = [m for m in projection.measured if m.kind == "weigh-in"]
    if not weighed or case.now_ms - weighed[-1].at_ms > MEASURED_WITHIN_DAYS * MS_PER_DAY:
        return None
    until_ms = weighed[-1].at_ms - case.use.steady_days * MS_PER_DAY
    before = [m for m in weighed if m.at_ms <= until_ms]
    if not before:
        return None
    span = [m for m in weighed if m.at_ms >= before[-1].at_ms]
    moved = max(m.mc_pct for m in span) - min(m.mc_pct for m in span)
    return span if moved <= REST_MC_PCT else None


def _rate_gate(case: Case, projection: Projection) -> tuple[Gate, ...]:
    """The loss a day against what the wood survives, while that counts and a limit is known."""
    most = case.most_loss
    if most is None or float(projection.mean.p50[now_index(projection)]) <= stress.APPLIES_ABOVE_MC_PCT:
        return ()
    low, middle, high = projection.loss_pct_per_day
    over = stress.too_fast(projection.loss_pct_per_day, weighed_ms(projection), most.pct_per_day)
    word = Word.STOP if over else (Word.WAIT if high > most.pct_per_day else Word.READY)
    told = (
        f"Loses {middle:.1f} % a day ({low:.1f}–{high:.1f}); about {most.pct_per_day:.1f} is survived ({most.status})."
    )
    return (Gate("loss a day", word, told, None),)


def weighed_ms(projection: Projection) -> list[int]:
    """Return when a board was weighed, of what its projection rests on."""
    return [measured.at_ms for measured in projection.measured if measured.kind in WEIGHED]


def _level_gate(case: Case, projection: Projection, core: float, shell: float) -> Gate:
    apart = f"{abs(core - shell):.1f} apart, {case.use.gradient_mc_pct:.1f} allowed"
    told = f"Core {core:.1f} %, shell {shell:.1f} %: {apart}."
    if projection.chance_level is None:
        told = "Nobody knows its core yet: it began with a gradient of its own. Pin readings at two depths tell."
        return Gate("through the thickness", Word.CANT_SAY, told, None)
    if projection.pin_gap_mc_pct is not None:
        gap, sd = projection.pin_gap_mc_pct
        apart = f"{abs(gap):.1f} apart (± {Z80 * sd:.1f}), {case.use.gradient_mc_pct:.1f} allowed"
        told = f"By its pins core and shell lie {apart}."
    return Gate("through the thickness", _word(projection.chance_level), told, projection.chance_level)


def _steady_gate(case: Case, projection: Projection) -> Gate:
    days = f"{case.use.steady_days:.0f} days"
    if projection.chance_steady is None:
        return Gate(
            "steady", Word.CANT_SAY, f"It has not been followed for the {days} yet in which it must keep still.", None
        )
    told = f"Wanted: no more than half a % of change in {days}."
    return Gate("steady", _word(projection.chance_steady), told, projection.chance_steady)


def _word(chance: float) -> Word:
    return Word.READY if chance >= SURE else Word.WAIT
