"""Verdicts: READY, WAIT, STOP or CAN'T SAY for a board, each with its reason.

Pure judgement of a projection and its evidence. Order: harm first, then evidence that is too thin to
speak, then fitness. A projection alone never makes a verdict READY: the wood itself must have been
measured lately, and the air must be heard now.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from kiln import stress
from kiln.records import Gate, Projection, Verdict, Word
from kiln.spans import days_words, span_words
from shared.tables import Use, limit
from shared.units import MS_PER_DAY, MS_PER_HOUR

SURE = 0.9
LIKELY = 0.5
MEASURED_WITHIN_DAYS = limit("measured_within")
AIR_SHARE_NEEDED = 0.6  # of the hours since the wood was last measured; judgement
FROZEN_SHARE_LIMIT, FROZEN_HOURS_LEAST = 0.1, 6  # judgement
PROJECTION_LIMIT_MS = 6 * MS_PER_HOUR  # a projection that ends earlier is no longer of now
CONTRADICTS_SE = 4.0
RECLAIMED_HEAT_LIMIT_C = limit("reclaimed_heat")
FIBRE_SATURATION_MC_PCT = 30.0
LONG_WAIT_DAYS = 45  # beyond this a way to be sooner is told; ours
MOVE_IN_BELOW_MC_PCT = limit("move_in_below")


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
    newest_measurement_ms: int | None  # newest weigh-in, pin reading or oven-dry result


@dataclass(frozen=True)
class Doubt:
    """Why nothing can be said, and what would change that."""

    number: str  # in two or three words
    reason: str
    next_step: str


def judge(case: Case) -> Verdict:
    """Return the verdict on one board."""
    silent = _silent(case)
    if case.projection is None:
        return _cant_say(silent or _missing(case))
    gates = _gates(case, case.projection)
    evidence = _evidence(case, case.projection)
    if silent is None:
        harm = _harm(case, case.projection)
        if harm is not None:
            return replace(harm, gates=gates, evidence=evidence, probability=case.projection.chance_fit_now)
    doubt = silent or _doubt(case, case.projection)
    if doubt is not None:
        return replace(_cant_say(doubt), gates=gates, evidence=evidence)
    verdict = _fitness(case, case.projection, gates)
    return replace(verdict, evidence=evidence)


def _at(projection: Projection, moment_ms: int) -> int:
    return int(np.clip(np.searchsorted(projection.at_ms, moment_ms), 0, len(projection.at_ms) - 1))


def now_index(projection: Projection) -> int:
    """Return the index of a projection's present: the last hour of logged air."""
    return _at(projection, projection.known_until_ms)


def _silent(case: Case) -> Doubt | None:
    look = f"Look at the probes in {case.place}: battery, reach, or moved away?"
    if not case.place:
        return Doubt("where?", "Nobody has said where it is.", "Say which stack or place it is in.")
    if case.air_at_ms is None:
        step = f"Put a probe in {case.place}, or say which probe is there."
        return Doubt("no air", f"No probe has ever been heard in {case.place}.", step)
    age_ms = case.now_ms - case.air_at_ms
    if age_ms > case.air_limit_ms:
        age = span_words(age_ms)
        return Doubt(f"no air for {age}", f"The air in {case.place} has not been heard for {age}.", look)
    if not case.air_believed:
        reason = f"No probe in {case.place} is believed: what is heard from there has stopped moving."
        return Doubt("no air", reason, look)
    return None


def _missing(case: Case) -> Doubt:
    reason = f"{case.missing[:1].upper()}{case.missing[1:]}." if case.missing else "There is nothing to go by."
    return Doubt("?", reason, "Leave the recorder running: the first full hour of air is the least to go by.")


def _harm(case: Case, projection: Projection) -> Verdict | None:
    now = now_index(projection)
    mean, core = float(projection.mean.p50[now]), float(projection.core.p50[now])
    limit = stress.safe_loss(case.botanical_name, case.thickness_m)
    low, loss, high = projection.loss_pct_per_day
    if limit is not None and mean > stress.APPLIES_ABOVE_MC_PCT and loss > limit.pct_per_day:
        reason = (
            f"It is losing {loss:.1f} % a day ({low:.1f}–{high:.1f}); this wood at this thickness survives about "
            f"{limit.pct_per_day:.1f} % ({limit.status})."
        )
        return Verdict(
            Word.STOP, f"{loss:.1f} %/day", reason, "Cover it, close the vents or move it to damper air today."
        )
    hot = case.air_temperature_c is not None and case.air_temperature_c > RECLAIMED_HEAT_LIMIT_C
    if case.origin == "water-reclaimed" and core > FIBRE_SATURATION_MC_PCT and hot:
        reason = (
            f"The air is at {case.air_temperature_c:.0f} °C and the core still holds {core:.0f} %: water-reclaimed "
            f"wood can collapse above {RECLAIMED_HEAT_LIMIT_C:.0f} °C (from memory)."
        )
        return Verdict(Word.STOP, f"{case.air_temperature_c:.0f} °C", reason, "Cool it down and keep the air damp.")
    return _too_wet_when_booked(case, projection)


def _too_wet_when_booked(case: Case, projection: Projection) -> Verdict | None:
    if case.booked_ms is None or case.booked_ms < case.now_ms - MS_PER_DAY:
        return None
    then = _at(projection, case.booked_ms)
    target = projection.target_mc_pct + case.use.tolerance_mc_pct
    if projection.chance_fit[then] >= LIKELY or float(projection.mean.p50[then]) <= target:
        return None
    days = max(0, round((case.booked_ms - case.now_ms) / MS_PER_DAY))
    mc = f"{projection.mean.p50[then]:.1f} % ({projection.mean.p10[then]:.1f}–{projection.mean.p90[then]:.1f})"
    when = f"{case.use.name} in {days_words(days)}"
    reason = f"It is booked to {when} and would then be at {mc}; {target:.1f} % at most is wanted."
    return Verdict(Word.STOP, when, reason, f"Put the booking off. {_ready_sentence(case, projection)}")


def _doubt(case: Case, projection: Projection) -> Doubt | None:
    weigh = "Weigh it: a measurement of the wood starts the account afresh."
    age_ms = case.now_ms - projection.known_until_ms
    if age_ms > PROJECTION_LIMIT_MS:
        reason = f"Its projection ends {span_words(age_ms)} ago: the watch is behind, or not running."
        return Doubt("old figures", reason, "See that `benchdry run` is running.")
    if projection.measured and abs(projection.measured[-1].misfit) > CONTRADICTS_SE:
        newest = projection.measured[-1]
        reason = f"The newest {newest.kind} ({newest.mc_pct:.1f} %) {newest.note}."
        return Doubt("does not fit", reason, "Weigh it again, and undo the entry that was wrong.")
    if projection.air_measured_share < AIR_SHARE_NEEDED:
        share = f"{projection.air_measured_share:.0%}"
        reason = f"Only {share} of the air since it was last measured is on record."
        return Doubt("air missing", reason, weigh)
    since_ms = case.newest_measurement_ms or int(projection.at_ms[0])
    hours = max((projection.known_until_ms - since_ms) / MS_PER_HOUR, 1.0)
    if projection.frozen_hours > FROZEN_SHARE_LIMIT * hours and projection.frozen_hours >= FROZEN_HOURS_LEAST:
        since = f"{projection.frozen_hours} hours since it was last measured"
        return Doubt("frost or heat", f"{since} were in frost or heat that the model does not cover.", weigh)
    return None


def _fitness(case: Case, projection: Projection, gates: tuple[Gate, ...]) -> Verdict:
    now = now_index(projection)
    mc = _banded(projection, now)
    chance = projection.chance_fit_now
    fit = all(gate.word is Word.READY for gate in gates)
    if fit:
        what = case.use.label if case.use_chosen else f"{case.use.label} (no use was chosen)"
        reason = f"{what}: {mc}; wanted {projection.target_mc_pct:.1f} ± {case.use.tolerance_mc_pct:.1f} %."
        return Verdict(Word.READY, f"{projection.mean.p50[now]:.1f} %", reason, _ready_next(case), chance, gates=gates)
    thin = next((gate for gate in gates if gate.word is Word.CANT_SAY), None)
    if chance >= SURE and thin is not None:
        doubt = Doubt("weigh it", f"The model puts it at {mc}. {thin.sentence}", "Weigh it today.")
        return replace(_cant_say(doubt), gates=gates)
    return _wait(case, projection, gates, mc)


def _wait(case: Case, projection: Projection, gates: tuple[Gate, ...], mc: str) -> Verdict:
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
    reason = f"It stands at {mc}. About {days_words(days)} to go ({soon}–{late})."
    step = "Weigh it within the week: the band narrows with every weigh-in." if _age_days(case) > 7 else "Leave it be."
    if days > LONG_WAIT_DAYS and float(projection.mean.p50[now_index(projection)]) <= MOVE_IN_BELOW_MC_PCT:
        step = (
            f"It is dry enough to bring into air near {case.use.destination_rh_pct:.0f} %RH, where it would be sooner."
        )
    return Verdict(Word.WAIT, days_words(days), reason, step, chance, gates=gates)


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
            f"It is dry enough to bring {indoors}.",
            projection.chance_fit_now,
            gates=gates,
        )
    days = [_days_to(projection, band, case.now_ms) for band in ("p10", "p50", "p90")]
    if days[1] is None:
        step = f"Leave it: it does not fall to {MOVE_IN_BELOW_MC_PCT:.0f} % here within a year; look for drier air."
        return Verdict(Word.WAIT, "not here", reason, step, projection.chance_fit_now, gates=gates)
    until = f"{days[0]}–{days[2] if days[2] is not None else 'over 365'}"
    goal = f"{MOVE_IN_BELOW_MC_PCT:.0f} %"
    step = f"Leave it until it is at {goal}, in about {days_words(days[1])} ({until}); then bring it {indoors}."
    number = f"{days_words(days[1])} to {goal}"
    return Verdict(Word.WAIT, number, reason, step, projection.chance_fit_now, gates=gates)


def _days_to(projection: Projection, band: str, now_ms: int) -> int | None:
    """Days until the mean falls to the moisture content at which wood may be brought in; None within a year."""
    now = now_index(projection)
    below = np.flatnonzero(getattr(projection.mean, band)[now:] <= MOVE_IN_BELOW_MC_PCT)
    if len(below) == 0:
        return None
    return max(0, round((int(projection.at_ms[now + below[0]]) - now_ms) / MS_PER_DAY))


def _gates(case: Case, projection: Projection) -> tuple[Gate, ...]:
    now = now_index(projection)
    core, shell = float(projection.core.p50[now]), float(projection.shell.p50[now])
    target, tolerance = projection.target_mc_pct, case.use.tolerance_mc_pct
    chance = projection.chance_fit_now
    gap = core - shell
    spread = float(projection.core.p90[now] - projection.core.p10[now]) / 2
    gap_ok = abs(gap) <= case.use.gradient_mc_pct
    age = _age_days(case)
    measured = age <= MEASURED_WITHIN_DAYS
    gates = [
        Gate(
            "moisture",
            _word(chance),
            f"At {_banded(projection, now)}; wanted {target:.1f} ± {tolerance:.1f} %.",
            chance,
        ),
        Gate(
            "through the thickness",
            Word.READY if gap_ok else Word.WAIT,
            f"Core {core:.1f} %, shell {shell:.1f} % (core ± {spread:.1f}): {abs(gap):.1f} apart, "
            f"{case.use.gradient_mc_pct:.1f} allowed.",
            None,
        ),
        Gate(
            "steady",
            _word(projection.chance_steady),
            f"Wanted: no more than half a % of change in {case.use.steady_days:.0f} days.",
            projection.chance_steady,
        ),
        Gate(
            "measured",
            Word.READY if measured else Word.CANT_SAY,
            _age_sentence(case)
            if measured
            else f"{_age_sentence(case)} READY needs one within {MEASURED_WITHIN_DAYS:.0f} days.",
            None,
        ),
    ]
    return tuple(gates)


def _word(chance: float) -> Word:
    return Word.READY if chance >= SURE else Word.WAIT


def _evidence(case: Case, projection: Projection) -> tuple[str, ...]:
    said = [_age_sentence(case)]
    kinds = [m.kind for m in projection.measured]
    counted = ", ".join(f"{kinds.count(kind)} × {kind}" for kind in ("weigh-in", "pin", "oven-dry") if kind in kinds)
    said.append(f"Refitted to {counted}." if counted else "Not yet measured: species, size and origin only.")
    if case.air_at_ms is not None:
        said.append(f"Air in {case.place} heard {span_words(case.now_ms - case.air_at_ms)} ago.")
    said.append(f"Projected from air up to {span_words(case.now_ms - projection.known_until_ms)} ago.")
    said += [f"{note[0].upper()}{note[1:]}." for note in projection.notes]
    said += [f"{m.kind} {m.mc_pct:.1f} %: {m.note}" for m in projection.measured if abs(m.misfit) > CONTRADICTS_SE]
    return tuple(said)


def _banded(projection: Projection, index: int) -> str:
    mean = projection.mean
    return f"{mean.p50[index]:.1f} % ({mean.p10[index]:.1f}–{mean.p90[index]:.1f})"


def _ready_sentence(case: Case, projection: Projection) -> str:
    middle = projection.ready_ms[1]
    if middle is None:
        return "In this air it does not come to its target within a year."
    return (
        f"In this air it comes to its target in about {days_words(max(0, round((middle - case.now_ms) / MS_PER_DAY)))}."
    )


def _ready_next(case: Case) -> str:
    return f"Use it, or keep it in air near {case.use.destination_rh_pct:.0f} %RH."


def _age_days(case: Case) -> float:
    if case.newest_measurement_ms is None:
        return np.inf
    return (case.now_ms - case.newest_measurement_ms) / MS_PER_DAY


def _age_sentence(case: Case) -> str:
    if case.newest_measurement_ms is None:
        return "The wood itself has never been measured."
    return f"Last measured {span_words(case.now_ms - case.newest_measurement_ms)} ago."


def _cant_say(doubt: Doubt) -> Verdict:
    return Verdict(Word.CANT_SAY, doubt.number, doubt.reason, doubt.next_step)
