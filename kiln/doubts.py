"""When nothing can be said: air that is not heard, figures that are old, measurements that contradict."""

from __future__ import annotations

from dataclasses import dataclass, replace

from kiln.evidence import CONTRADICTS_SE, Case
from kiln.records import Measured, Projection, Verdict
from kiln.sentences import capital, lower
from kiln.spans import span_words
from shared.units import MS_PER_DAY, MS_PER_HOUR

AIR_SHARE_NEEDED = 0.8  # of the hours that still tell on the wood; judgement
MASS_STRAIN_SD = 3.0  # prior deviations of the oven-dry mass beyond which the masses are of something else; judgement
FROZEN_SHARE_LIMIT, FROZEN_HOURS_LEAST = 0.1, 6  # judgement
HARM_REMEMBERED_MS = MS_PER_DAY
PROJECTION_LIMIT_MS = 6 * MS_PER_HOUR  # a projection that ends earlier is no longer of now


MOMENT = "a moment"  # the number of a verdict that waits for nothing but a projection


@dataclass(frozen=True)
class Doubt:
    """Why nothing can be said, and what would change that."""

    number: str  # in two or three words
    reason: str
    next_step: str


def silent(case: Case) -> Doubt | None:
    """Doubt of a board whose air is not heard."""
    look = f"Look at the probes in {case.place}: battery, reach, or moved away?"
    if not case.place:
        return Doubt("where?", "Nobody has said where it is.", "Say which stack or place it is in.")
    if case.air_at_ms is None:
        step = f"Put a probe in {case.place}, or say which probe is there."
        return Doubt("no air", f"No probe is heard in {case.place}.", step)
    age_ms = case.now_ms - case.air_at_ms
    if age_ms > case.air_limit_ms:
        age = span_words(age_ms)
        return Doubt(f"no air for {age}", f"The air in {case.place} has not been heard for {age}.", look)
    if not case.air_believed:
        reason = f"No probe in {case.place} is believed: what is heard from there has stopped moving."
        return Doubt("no air", reason, look)
    return None


def is_of_now(projection: Projection, now_ms: int) -> bool:
    """Whether a projection reaches so near to now that it may be told of in the present."""
    return now_ms - projection.known_until_ms <= PROJECTION_LIMIT_MS


def out_of_date(case: Case, projection: Projection) -> Doubt | None:
    """Figures that no longer are of now: a verdict must not be told of them in the present."""
    age_ms = case.now_ms - projection.known_until_ms
    if not is_of_now(projection, case.now_ms):
        reason = f"Its projection ends {span_words(age_ms)} ago: the watch is behind, or not running."
        return Doubt("old figures", reason, "See that `benchdry run` is running.")
    if case.pending:
        return worked_in(case.now_ms, case.entered_ms, case.before)
    return None


def worked_in(now_ms: int, entered_ms: int | None, before: str) -> Doubt:
    """Say that an entry is being worked in; ``before``: what was told before it, empty: nothing."""
    entered = "entered last" if entered_ms is None else f"entered {span_words(now_ms - entered_ms)} ago"
    told = f"; before it: {before}" if before else ""
    step = "This page shows it by itself. If it has not in ten minutes, see that `benchdry run` is running."
    return Doubt(MOMENT, f"What was {entered} is being worked in{told}.", step)


def remembered(case: Case, projection: Projection, harm: Verdict | None, stale: Doubt) -> Doubt:
    """Add the harm that was seen last, if that is not long ago: silence must not hide it."""
    if harm is None or case.now_ms - projection.known_until_ms > HARM_REMEMBERED_MS:
        return stale
    when = span_words(case.now_ms - projection.known_until_ms)
    reason = f"{stale.reason} When last worked out, {when} ago: {lower(harm.reason)}"
    return replace(stale, reason=reason, next_step=f"{harm.next_step} {stale.next_step}")


def missing(case: Case) -> Doubt:
    """Doubt of a board that has no projection."""
    reason = f"{capital(case.missing)}." if case.missing else "There is nothing to go by."
    if case.being_made:
        step = "Look again in a minute or two; if it stays so, see that `benchdry run` is running."
        return Doubt(MOMENT, reason, step)
    return Doubt("?", reason, "Leave the recorder running: the first full hour of air is the least to go by.")


def doubt_of(case: Case, projection: Projection) -> Doubt | None:
    """Doubt of a projection that has holes or contradictions."""
    if case.contradiction:
        return Doubt("two targets", case.contradiction, "Say again what it is wanted for, with one of the two.")
    weigh = "Keep its air on record; an oven-dried section or pin readings at two depths tell the wood itself."
    wrong = [m for m in projection.measured if abs(m.misfit) > CONTRADICTS_SE and _recent(case, m)]
    if wrong:
        reason = f"The {wrong[-1].kind} of {span_words(case.now_ms - wrong[-1].at_ms)} ago ({wrong[-1].mc_pct:.1f} %) "
        step = "Weigh it again, and undo the entry that was wrong."
        if wrong[-1].kind == "load cell":
            step = "Weigh it by itself, look at what lies on the cell, and tare it when it is empty."
        return Doubt("does not fit", f"{reason}{wrong[-1].note.rstrip('?')}.", step)
    if projection.mass_strain_sd > MASS_STRAIN_SD:
        reason = "Its masses do not fit a board of this wood and these sizes."
        step = "Check the species, the sizes and the unit of the weigh-ins; an oven-dried section would settle it."
        return Doubt("does not fit", reason, step)
    window = f"the {projection.memory_days:.0f} days that still tell on it"
    if projection.air_measured_share < AIR_SHARE_NEEDED:
        reason = f"Only {projection.air_measured_share:.0%} of the air over {window} is on record."
        return Doubt("air missing", reason, weigh)
    hours = max(24.0 * projection.memory_days, 1.0)
    if projection.frozen_hours > FROZEN_SHARE_LIMIT * hours and projection.frozen_hours >= FROZEN_HOURS_LEAST:
        reason = f"{projection.frozen_hours} hours of {window} were in frost or heat that the model does not cover."
        return Doubt("frost or heat", reason, weigh)
    return None


def _recent(case: Case, measured: Measured) -> bool:
    return case.now_ms - measured.at_ms <= case.limits.measured_within * MS_PER_DAY
