"""Verdicts: READY, WAIT, STOP or CAN'T SAY for a board, each with its reason.

Pure judgement of a projection and its evidence. Order: harm first, then evidence that is too thin to
speak, then fitness. A projection alone never makes a verdict READY: the wood itself must have been
measured lately, and the air must be heard now.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kiln import stress
from kiln.doubts import Doubt, doubt_of, missing, out_of_date, remembered, silent
from kiln.evidence import SURE, Case, age_days, banded, evidence_of, gates_of, now_index, wanted
from kiln.harm import harm_of
from kiln.records import Gate, Projection, Verdict, Word
from kiln.spans import days_words
from shared.tables import limit
from shared.units import MS_PER_DAY

__all__ = ["Case", "judge"]

WEIGH_AGAIN_DAYS = 7
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
    first, middle, last = projection.ready_ms
    if middle is None:
        return _not_here(case, projection, gates, mc)
    chance = projection.chance_fit_now
    days = max(0, round((middle - case.now_ms) / MS_PER_DAY))
    if days == 0:
        held_up = " ".join(gate.sentence for gate in gates if gate.word is not Word.READY)
        step = "Leave it in this air and weigh it again in a few days."
        return Verdict(Word.WAIT, "days", f"Nearly there. {held_up}", step, chance, gates=gates)
    soon = max(0, round(((first or middle) - case.now_ms) / MS_PER_DAY))
    late = f"{round((last - case.now_ms) / MS_PER_DAY)}" if last is not None else "over 365"
    reason = f"It stands at {mc}. As likely as not it is fit in about {days_words(days)} ({soon}–{late})."
    step = _meanwhile(case, projection)
    if days > LONG_WAIT_DAYS and float(projection.mean.p50[now_index(projection)]) <= MOVE_IN_BELOW_MC_PCT:
        step = (
            f"It is dry enough to bring into air near {case.use.destination_rh_pct:.0f} %RH, where it would be sooner."
        )
    return Verdict(Word.WAIT, days_words(days), reason, step, chance, gates=gates)


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
    return "Leave it be."


def _too_dry(case: Case, projection: Projection, gates: tuple[Gate, ...], mc: str) -> Verdict:
    reason = f"It stands at {mc}, drier than the {wanted(projection)} that this use takes."
    step = f"Let it take up water in air near {case.use.destination_rh_pct:.0f} %RH."
    return Verdict(Word.WAIT, "too dry", reason, step, projection.chance_fit_now, gates=gates)


def _not_here(case: Case, projection: Projection, gates: tuple[Gate, ...], mc: str) -> Verdict:
    """It does not come to its target in this air: say what the air holds it at, and when to move it."""
    now = now_index(projection)
    season = int(np.argmin(projection.emc.p50[now:])) + now
    floor = f"{projection.emc.p50[season]:.1f} % ({projection.emc.p10[season]:.1f}–{projection.emc.p90[season]:.1f})"
    chance = "no chance" if projection.chance_ready < 0.02 else f"a chance of {projection.chance_ready:.0%}"
    reason = f"It stands at {mc}. The driest air to come here would hold it at about {floor}: {chance} within a year."
    indoors = f"into air near {case.use.destination_rh_pct:.0f} %RH"
    if float(projection.mean.p50[now]) <= MOVE_IN_BELOW_MC_PCT:
        return Verdict(
            Word.WAIT,
            "not here",
            reason,
            f"It is dry enough for indoors: bring it {indoors} now.",
            projection.chance_fit_now,
            gates=gates,
        )
    days = [_days_to(projection, band, case.now_ms) for band in ("p10", "p50", "p90")]
    if days[1] is None:
        step = f"Leave it: it does not fall to {MOVE_IN_BELOW_MC_PCT:.0f} % here within a year; look for drier air."
        return Verdict(Word.WAIT, "not here", reason, step, projection.chance_fit_now, gates=gates)
    until = f"{days[0]}–{days[2] if days[2] is not None else 'over 365'}"
    goal = f"{MOVE_IN_BELOW_MC_PCT:.0f} %"
    wait = f"Bring it {indoors} once it is at {goal}, in about {days_words(days[1])} ({until})."
    step = f"{_meanwhile(case, projection)} {wait}"
    number = f"{days_words(days[1])} to {goal}"
    return Verdict(Word.WAIT, number, reason, step, projection.chance_fit_now, gates=gates)


def _days_to(projection: Projection, band: str, now_ms: int) -> int | None:
    """Days until the mean falls to the moisture content at which wood may be brought in; None within a year."""
    now = now_index(projection)
    below = np.flatnonzero(getattr(projection.mean, band)[now:] <= MOVE_IN_BELOW_MC_PCT)
    if len(below) == 0:
        return None
    return max(0, round((int(projection.at_ms[now + below[0]]) - now_ms) / MS_PER_DAY))


def _ready_next(case: Case) -> str:
    return f"Use it, or keep it in air near {case.use.destination_rh_pct:.0f} %RH."


def _cant_say(doubt: Doubt) -> Verdict:
    return Verdict(Word.CANT_SAY, doubt.number, doubt.reason, doubt.next_step)
