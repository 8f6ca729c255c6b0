"""Verdicts: READY, WAIT, STOP or CAN'T SAY for a board, each with its reason.

Pure judgement of a projection and its evidence. Order: harm first, then evidence that is too thin to
speak, then fitness. A projection alone never makes a verdict READY: the wood itself must have been
measured lately, and the air must be heard now.
"""

from __future__ import annotations

from dataclasses import replace

from kiln import ahead, telling
from kiln.doubts import Doubt, doubt_of, missing, out_of_date, remembered, silent
from kiln.evidence import Case, at, banded, evidence_of, now_index, wanted
from kiln.gates import (
    GROUND,
    HYGROMETER,
    LEVEL,
    MEASURED,
    MOISTURE,
    ROOM,
    STEADY,
    WATER,
    gates_of,
    named,
    water_days_left,
)
from kiln.harm import TOO_SOON, harm_of, out_of_water
from kiln.meanwhile import NOT_HERE, elsewhere, sooner
from kiln.reclaimed import first_of_all
from kiln.records import Gate, OnTheDay, Projection, Standing, Verdict, Word
from kiln.sentences import in_100
from kiln.spans import calendar_days, date_words, days_to, days_words

__all__ = ["Case", "judge"]

WAITING = (Standing.NOT_YET, Standing.NOT_SURE)
THIN = {  # what to do when the model is content but a condition has nothing to stand on
    MEASURED: ("weigh it", "Weigh it today."),
    STEADY: ("too soon", "Leave it in this air, and weigh it again when that time is over."),
    LEVEL: ("core?", "Read pins near the face and at mid-thickness."),
    GROUND: ("measure it", "Do a bag test, oven-dry a section, or check the hygrometer and weigh on."),
    ROOM: ("no air", "Keep the air of this room on record until then."),
    HYGROMETER: ("hygrometer?", "Check the hygrometer over two salts."),
}
GROUNDS = (telling.Measurement.BAG, telling.Measurement.SECTION, telling.Measurement.CHECK)
BY_PINS = (telling.Measurement.PIN, telling.Measurement.TWO_PINS)
COARSE = ("scale?", "Weigh it on a finer scale, on two days a week apart.")


def judge(case: Case) -> Verdict:
    """Return the verdict on one board; what it smelt of stands before any step, whatever the word."""
    waiting = out_of_water(case)
    if waiting is not None:
        return waiting
    verdict, first = _of_moisture(case), first_of_all(case.out_of_water)
    return replace(verdict, next_step=f"{first} {verdict.next_step}".strip()) if first else verdict


def _of_moisture(case: Case) -> Verdict:
    unheard = silent(case)
    if case.projection is None:
        return _cant_say(unheard or missing(case))
    gates = gates_of(case, case.projection)
    evidence = evidence_of(case, case.projection)
    harm = harm_of(case, case.projection)
    stale = unheard or out_of_date(case, case.projection)
    if stale is not None:
        told = remembered(case, case.projection, harm, stale)
        return replace(_cant_say(told), gates=gates, evidence=evidence)
    if harm is not None:
        step = _and_measure(case, case.projection, harm.next_step, gates)
        return replace(harm, next_step=step, gates=gates, evidence=evidence, probability=case.projection.chance_fit_now)
    doubt = doubt_of(case, case.projection)
    if doubt is not None:
        return replace(_cant_say(doubt), gates=gates, evidence=evidence)
    verdict = _fitness(case, case.projection, gates)
    return replace(verdict, evidence=evidence)


def _and_measure(case: Case, projection: Projection, step: str, gates: tuple[Gate, ...]) -> str:
    """Beside a booking that comes too soon, what to measure where a condition is not known."""
    thin = _thinnest(tuple(gate for gate in gates if gate.name in (MEASURED, LEVEL, GROUND)))
    if thin is None or not step.startswith(TOO_SOON):
        return step
    _number, measure = _what_tells(case, projection, thin)
    return f"{step} {measure}"


def _fitness(case: Case, projection: Projection, gates: tuple[Gate, ...]) -> Verdict:
    now = now_index(projection)
    mc = banded(projection, now)
    chance = projection.chance_fit_now
    met = all(gate.standing is Standing.MET for gate in gates)
    if met and chance >= case.limits.sure:
        return _fit(case, projection, gates, mc)
    thin = _thinnest(gates)
    waiting = any(gate.standing in WAITING for gate in gates)
    if thin is not None and chance >= case.limits.sure and not waiting:
        number, step = _what_tells(case, projection, thin)
        doubt = Doubt(number, f"The model puts it at {mc}. {thin.sentence}", step)
        return replace(_cant_say(doubt), gates=gates)
    return _wait(case, projection, gates, mc)


def _thinnest(gates: tuple[Gate, ...]) -> Gate | None:
    """The condition of which nothing is known; where one measurement would do for two, the one that asks for it."""
    thin = [gate for gate in gates if gate.standing is Standing.NOT_KNOWN]
    old = [gate for gate in thin if gate.name == MEASURED]
    return next(iter((*old, *thin)), None)


def _what_tells(case: Case, projection: Projection, thin: Gate) -> tuple[str, str]:
    """What to measure about a condition of which nothing is known: what would narrow it most."""
    if thin.name == STEADY and projection.chance_steady is not None:
        return COARSE
    number, usual = THIN[thin.name]
    if thin.name == MEASURED:
        return number, _weigh_and(case, projection)
    if thin.name == HYGROMETER and case.unchecked:
        return number, f"Check {' and '.join(case.unchecked)} over two salts."
    if thin.name not in (LEVEL, GROUND):
        return number, usual
    told = projection.tells
    if thin.name == GROUND:
        grounds = (*GROUNDS, *(() if case.fsp_remembered else BY_PINS))
        told = tuple(one for one in told if one.measurement in grounds)
    best = telling.best(told, LEVEL if thin.name == LEVEL else MOISTURE)
    return number, usual if best is None else telling.sentence(best)


def _weigh_and(case: Case, projection: Projection) -> str:
    """Weighing tells that it is as it was; where nothing else lately measured the wood, more is asked at once."""
    kinds = {m.kind for m in projection.measured}
    if kinds & {"bag test", "oven-dry"} or (case.fsp_remembered and not projection.tells):
        return "Weigh it today."
    by_pin = "" if case.fsp_remembered else " and read a pin on it, or"
    return f"Weigh it today{by_pin or ' and'} test it in a bag: a weight alone does not show how wet it is."


def _fit(case: Case, projection: Projection, gates: tuple[Gate, ...], mc: str) -> Verdict:
    """READY; of wood to be finished, that it is dry enough: nothing is said of spraying."""
    what = case.use.label if case.use_chosen else f"{case.use.label} (no use was chosen)"
    number, chance = f"{projection.mean.p50[now_index(projection)]:.1f} %", projection.chance_fit_now
    if case.use.name == "finish":
        reason = f"Its wood is at {mc}; wanted for a finish {wanted(projection)}."
        step = (
            "This is no leave to spray: what the air of a spray room holds is not judged here. The data sheet of the "
            "finish, local code and the page Finish come first."
        )
        return Verdict(Word.DRY_ENOUGH, f"{number}, spraying not judged", reason, step, chance, gates=gates)
    reason = f"{what}: {mc}; wanted {wanted(projection)}."
    step = f"Use it, or keep it in air near {case.use.destination_rh_pct:.0f} %RH."
    if case.use.room_tolerance_mc_pct is not None:
        ahead_days = days_words(round(case.use.room_ahead_days))
        step = f"Use it within {ahead_days}, for so long its air is judged; after that look again."
    if projection.holds_mc_pct[1] > projection.wanted_mc_pct[1]:
        held = ahead.three(projection.holds_mc_pct)
        step = f"Use it now, or move it: this air makes it damper, and holds it at {held}."
    return Verdict(Word.READY, number, reason, step, chance, gates=gates, on_the_day=on_the_day(case, projection))


def on_the_day(case: Case, projection: Projection) -> OnTheDay | None:
    """Say whether its wood will be fit on the day for which it is booked; None: it is not, or for today."""
    if case.booked_ms is None or calendar_days(case.booked_ms, case.now_ms) < 1:
        return None
    days = calendar_days(case.booked_ms, case.now_ms)
    booked = f"Booked for {date_words(case.booked_ms, case.now_ms)}, in {days_words(days)}"
    if case.booked_ms > int(projection.at_ms[-1]):
        return OnTheDay(f"{booked}: too far ahead to tell whether it will be fit then.", None)
    chance = float(projection.chance_fit[at(projection, case.booked_ms)])
    stays = "moved as planned" if projection.legs else "if it stays here"
    air = " The air of that day's room is not judged in it: look again then." if case.use.room_ahead_days else ""
    return OnTheDay(f"{booked}: {stays}, its wood is fit that day with {in_100(chance)}.{air}", chance)


def _wait(case: Case, projection: Projection, gates: tuple[Gate, ...], mc: str) -> Verdict:
    if float(projection.mean.p90[now_index(projection)]) < projection.wanted_mc_pct[0]:
        return _too_dry(case, projection, gates, mc)
    held_up = [gate for gate in gates if gate.standing in WAITING]
    if held_up and all(gate.name in (ROOM, WATER) for gate in held_up):
        return _for_room_or_water(case, projection, gates)
    middle = projection.ready_ms[1]
    if middle is None:
        return _not_here(case, projection, gates, mc)
    chance = projection.chance_fit_now
    days = max(days_to(middle, case.now_ms) or 0, water_days_left(case))
    if water_days_left(case) > 0 and water_days_left(case) >= days:
        water = named(gates, WATER)
        reason = f"It stands at {mc}. {water.sentence if water else ''}".strip()
        step = f"Leave it as it lies for {days_words(days)}; no heat, no fan on one face."
        return Verdict(Word.WAIT, days_words(days), reason, step, chance, gates=gates)
    if days == 0 and projection.holds_mc_pct[1] > projection.wanted_mc_pct[1]:
        return _going_damp(case, projection, gates, mc)
    if days == 0:
        told = " ".join(gate.sentence for gate in held_up) or _together(case, projection)
        return Verdict(
            Word.WAIT, "days", f"Nearly there. {told}", _settle(case, held_up, projection), chance, gates=gates
        )
    reason = f"It stands at {mc}. {ahead.date_sentence(projection, case.now_ms)}"
    return Verdict(Word.WAIT, days_words(days), reason, sooner(case, projection, days), chance, gates=gates)


def _going_damp(case: Case, projection: Projection, gates: tuple[Gate, ...], mc: str) -> Verdict:
    """Perhaps fit today, in air that takes it the wrong way."""
    chance = projection.chance_fit_now
    held = ahead.three(projection.holds_mc_pct)
    reason = (
        f"It stands at {mc}; wanted {wanted(projection)}. Fit today with {100 * chance:.0f} in 100, but this air makes "
        f"it damper: it holds it at {held} over the next month."
    )
    step = f"Bring it into air near {case.use.destination_rh_pct:.0f} %RH now. {_settle(case, list(gates), projection)}"
    return Verdict(Word.WAIT, "not in this air", reason, step, chance, gates=gates)


def _settle(case: Case, held_up: list[Gate], projection: Projection) -> str:
    """What to do about wood that may be fit or not: measure what is least sure, if that can be told better."""
    unclear = [gate for gate in held_up if gate.standing is Standing.NOT_SURE]
    best = telling.best(projection.tells, unclear[0].name) if unclear else None
    return "Leave it in this air and weigh it again in a few days." if best is None else telling.sentence(best)


def _together(case: Case, projection: Projection) -> str:
    return (
        "Each condition by itself is likely, but all of them together with "
        f"{100 * projection.chance_fit_now:.0f} in 100; {100 * case.limits.sure:.0f} in 100 are wanted."
    )


def _for_room_or_water(case: Case, projection: Projection, gates: tuple[Gate, ...]) -> Verdict:
    """The wood itself is fit: the room is not, or what gluing or bending brought has not left yet."""
    room, water = named(gates, ROOM), named(gates, WATER)
    chance = projection.chance_fit_now
    if room is None or room.standing not in WAITING:
        left = days_words(max(1, water_days_left(case)))
        reason = f"The wood itself is fit. {water.sentence if water else ''}".strip()
        return Verdict(Word.WAIT, left, reason, f"Leave it in this air for {left}.", chance, gates=gates)
    step = (
        f"Bring the room to {case.use.destination_rh_pct:.0f} %RH and keep it there for "
        f"{days_words(round(case.use.room_days))}; keep the wood wrapped until then."
    )
    return Verdict(Word.WAIT, "room", f"The wood itself is fit. {room.sentence}", step, chance, gates=gates)


def _too_dry(case: Case, projection: Projection, gates: tuple[Gate, ...], mc: str) -> Verdict:
    reason = f"It stands at {mc}, drier than the {wanted(projection)} that this use takes."
    step = f"Let it take up water in air near {case.use.destination_rh_pct:.0f} %RH."
    return Verdict(Word.WAIT, "too dry", reason, step, projection.chance_fit_now, gates=gates)


def _not_here(case: Case, projection: Projection, gates: tuple[Gate, ...], mc: str) -> Verdict:
    """It does not come to its target in this air: say what the air holds it at, and when to move it."""
    reason = ahead.not_here_sentence(projection, mc)
    number, step = elsewhere(case, projection)
    if ahead.stalled(projection) and number == NOT_HERE:
        number = "no drier here"
    return Verdict(Word.WAIT, number, reason, step, projection.chance_fit_now, gates=gates)


def _cant_say(doubt: Doubt) -> Verdict:
    return Verdict(Word.CANT_SAY, doubt.number, doubt.reason, doubt.next_step)
