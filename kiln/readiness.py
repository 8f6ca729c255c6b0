"""Verdicts: READY, WAIT, STOP or CAN'T SAY for a board, each with its reason.

Pure judgement of a projection and its evidence. Order: harm first, then evidence that is too thin to
speak, then fitness. A projection alone never makes a verdict READY: the wood itself must have been
measured lately, and the air must be heard now.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kiln import ahead, stress
from kiln.doubts import Doubt, doubt_of, missing, out_of_date, remembered, silent
from kiln.evidence import SURE, Case, age_days, banded, evidence_of, gates_of, now_index, wanted
from kiln.harm import harm_of
from kiln.records import Gate, Option, Projection, Verdict, Word
from kiln.spans import days_to, days_words, month
from shared.tables import limit
from shared.units import MS_PER_DAY

__all__ = ["Case", "judge"]

WEIGH_AGAIN_DAYS = 7
LEAVE = "Leave it be."
NOT_HERE = "not here"
LONG_WAIT_DAYS = 45  # beyond this a way to be sooner is told; ours
MOVE_IN_BELOW_MC_PCT = limit("move_in_below")
THIN = {  # what to do when the model is content but a condition has nothing to stand on
    "measured": ("weigh it", "Weigh it today."),
    "steady": ("too soon", "Leave it in this air, and weigh it again when that time is over."),
    "through the thickness": ("core?", "Read pins near the face and at mid-thickness."),
    "known by": ("measure it", "Do a bag test, oven-dry a section, or check the hygrometer and weigh on."),
}


def judge(case: Case) -> Verdict:
    """Return the verdict on one board."""
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
        return replace(harm, gates=gates, evidence=evidence, probability=case.projection.chance_fit_now)
    doubt = doubt_of(case, case.projection)
    if doubt is not None:
        return replace(_cant_say(doubt), gates=gates, evidence=evidence)
    verdict = _fitness(case, case.projection, gates)
    return replace(verdict, evidence=evidence)


def _fitness(case: Case, projection: Projection, gates: tuple[Gate, ...]) -> Verdict:
    now = now_index(projection)
    mc = banded(projection, now)
    chance = projection.chance_fit_now
    fit = all(gate.word is Word.READY for gate in gates)
    if fit:
        what = case.use.label if case.use_chosen else f"{case.use.label} (no use was chosen)"
        reason = f"{what}: {mc}; wanted {wanted(projection)}."
        return Verdict(Word.READY, f"{projection.mean.p50[now]:.1f} %", reason, _ready_next(case), chance, gates=gates)
    thin = next((gate for gate in gates if gate.word is Word.CANT_SAY), None)
    if chance >= SURE and thin is not None:
        number, step = THIN[thin.name]
        doubt = Doubt(number, f"The model puts it at {mc}. {thin.sentence}", step)
        return replace(_cant_say(doubt), gates=gates)
    return _wait(case, projection, gates, mc)


def _wait(case: Case, projection: Projection, gates: tuple[Gate, ...], mc: str) -> Verdict:
    if float(projection.mean.p90[now_index(projection)]) < projection.wanted_mc_pct[0]:
        return _too_dry(case, projection, gates, mc)
    middle = projection.ready_ms[1]
    if middle is None:
        return _not_here(case, projection, gates, mc)
    chance = projection.chance_fit_now
    days = days_to(middle, case.now_ms) or 0
    if days == 0:
        held_up = " ".join(gate.sentence for gate in gates if gate.word is not Word.READY)
        step = "Leave it in this air and weigh it again in a few days."
        return Verdict(Word.WAIT, "days", f"Nearly there. {held_up}", step, chance, gates=gates)
    reason = f"It stands at {mc}. {ahead.date_sentence(projection, case.now_ms)}"
    return Verdict(Word.WAIT, days_words(days), reason, _sooner(case, projection, days), chance, gates=gates)


def _sooner(case: Case, projection: Projection, days: int) -> str:
    """What to do while it dries on, or where it would be dry sooner."""
    if projection.move is not None:
        return _then_move(case, projection, projection.move)
    if days > LONG_WAIT_DAYS and float(projection.mean.p50[now_index(projection)]) <= MOVE_IN_BELOW_MC_PCT:
        near = f"{case.use.destination_rh_pct:.0f} %RH"
        return f"It is dry enough to bring into air near {near}, where it would be sooner."
    return _meanwhile(case, projection)


def _then_move(case: Case, projection: Projection, move: Option) -> str:
    """What to do until a move, and what the move does."""
    tend, later = _meanwhile(case, projection), move.from_ms - case.now_ms >= MS_PER_DAY
    return f"{tend} {ahead.move_sentence(case, move)}" if later and tend != LEAVE else ahead.move_sentence(case, move)


def _meanwhile(case: Case, projection: Projection) -> str:
    """What to do while it dries on."""
    mean, loss = float(projection.mean.p50[now_index(projection)]), projection.loss_pct_per_day
    most = case.most_loss
    losing = f"It loses {loss[1]:.1f} % a day ({loss[0]:.1f}–{loss[2]:.1f})"
    if mean > stress.APPLIES_ABOVE_MC_PCT and most is None:
        return (
            f"{losing}, and no limit for this wood was found: "
            "look at its ends and faces for checks, and slow it down when in doubt."
        )
    if most is not None and mean > stress.APPLIES_ABOVE_MC_PCT and loss[2] > most.pct_per_day:
        return f"{losing}, perhaps more than the {most.pct_per_day:.1f} that it survives: slow it down, weigh it daily."
    if age_days(case) > WEIGH_AGAIN_DAYS:
        return "Weigh it within the week: the band narrows with every weigh-in."
    return LEAVE


def _too_dry(case: Case, projection: Projection, gates: tuple[Gate, ...], mc: str) -> Verdict:
    reason = f"It stands at {mc}, drier than the {wanted(projection)} that this use takes."
    step = f"Let it take up water in air near {case.use.destination_rh_pct:.0f} %RH."
    return Verdict(Word.WAIT, "too dry", reason, step, projection.chance_fit_now, gates=gates)


def _not_here(case: Case, projection: Projection, gates: tuple[Gate, ...], mc: str) -> Verdict:
    """It does not come to its target in this air: say what the air holds it at, and when to move it."""
    reason = ahead.not_here_sentence(projection, mc)
    number, step = _elsewhere(case, projection)
    if ahead.stalled(projection) and number == NOT_HERE:
        number = "stalled"
    return Verdict(Word.WAIT, number, reason, step, projection.chance_fit_now, gates=gates)


def _elsewhere(case: Case, projection: Projection) -> tuple[str, str]:
    """What to do about a board that does not become fit where it is, with the figure to be read from two metres."""
    if projection.move is not None:
        away = days_to(projection.move.from_ms, case.now_ms) or 0
        number = f"move in {days_words(away)}" if away else NOT_HERE
        return number, _then_move(case, projection, projection.move)
    if projection.floor_mc_pct[1] <= projection.wanted_mc_pct[1] < projection.holds_mc_pct[1]:
        driest = month(projection.floor_ms)
        return f"until {driest}", f"Wait until {driest}, the driest month to come here. {_meanwhile(case, projection)}"
    indoors = f"into air near {case.use.destination_rh_pct:.0f} %RH"
    if float(projection.mean.p50[now_index(projection)]) <= MOVE_IN_BELOW_MC_PCT:
        return NOT_HERE, f"It is dry enough for indoors: bring it {indoors} now."
    days = [_days_until(projection, band, case.now_ms) for band in ("p10", "p50", "p90")]
    if days[1] is None:
        step = f"Leave it: it does not fall to {MOVE_IN_BELOW_MC_PCT:.0f} % here within a year; look for drier air."
        return NOT_HERE, step
    until = f"{days[0]}–{days[2] if days[2] is not None else 'over 365'}"
    goal = f"{MOVE_IN_BELOW_MC_PCT:.0f} %"
    wait = f"Bring it {indoors} once it is at {goal}, in about {days_words(days[1])} ({until})."
    return f"{days_words(days[1])} to {goal}", f"{_meanwhile(case, projection)} {wait}"


def _days_until(projection: Projection, band: str, now_ms: int) -> int | None:
    """Days until the mean falls to the moisture content at which wood may be brought in; None within a year."""
    now = now_index(projection)
    below = np.flatnonzero(getattr(projection.mean, band)[now:] <= MOVE_IN_BELOW_MC_PCT)
    if len(below) == 0:
        return None
    return days_to(int(projection.at_ms[now + below[0]]), now_ms)


def _ready_next(case: Case) -> str:
    return f"Use it, or keep it in air near {case.use.destination_rh_pct:.0f} %RH."


def _cant_say(doubt: Doubt) -> Verdict:
    return Verdict(Word.CANT_SAY, doubt.number, doubt.reason, doubt.next_step)
