"""What harms a board now, or would: STOP."""

from __future__ import annotations

from kiln import water_clock
from kiln.ahead import days_three
from kiln.evidence import Case, at, now_index
from kiln.pace import pace_of
from kiln.reclaimed import FOUL_TOPIC, OUT_FIRST, first_of_all
from kiln.records import Projection, Standing, Verdict, Word
from kiln.sentences import capital, lower
from kiln.spans import calendar_days, date_words, days_words
from shared.tables import constants, limit
from shared.units import MS_PER_DAY

LIKELY = 0.5
FOUL = "foul smell"  # of wood out of the water: before all else
HEAVY_KG = constants("reclaimed")["lift_constant"].value  # above it no lift by hand is foreseen, however it is held
RECLAIMED_HEAT_LIMIT_C = limit("reclaimed_heat")
FIBRE_SATURATION_MC_PCT = 30.0
TOO_SOON = "Put the booking off."


def harm_of(case: Case, projection: Projection) -> Verdict | None:
    """Return STOP when the board is being harmed, or a booking would take it too wet; None otherwise."""
    now = now_index(projection)
    core = float(projection.core.p50[now])
    pace = pace_of(case, projection)
    low, loss, high = pace.loss_pct_per_day
    if pace.standing is Standing.OVER and pace.limit is not None:
        limit = pace.limit
        reason = (
            f"It is losing {loss:.1f} % a day ({low:.1f}–{high:.1f}); this wood at this thickness survives about "
            f"{limit.pct_per_day:.1f} % ({limit.status})."
        )
        return Verdict(Word.STOP, f"{loss:.1f} %/day", f"{reason}{_stretched(projection)}", _slower(projection))
    hot = case.air_temperature_c is not None and case.air_temperature_c > RECLAIMED_HEAT_LIMIT_C
    if case.origin == "water-reclaimed" and core > FIBRE_SATURATION_MC_PCT and hot:
        reason = (
            f"The air is at {case.air_temperature_c:.0f} °C and the core still holds {core:.0f} %: water-reclaimed "
            f"wood can collapse above {RECLAIMED_HEAT_LIMIT_C:.0f} °C (from memory)."
        )
        return Verdict(Word.STOP, f"{case.air_temperature_c:.0f} °C", reason, "Cool it down and keep the air damp.")
    return _danger(projection) or _too_wet_when_booked(case, projection)


def out_of_water(case: Case) -> Verdict | None:
    """STOP for wood that lies out of the water and is not stacked: every day counts, and what it smells of first."""
    if case.waiting is None:
        return None
    clock, found = case.waiting.clock, case.out_of_water
    foul = found is not None and FOUL_TOPIC in found.topics
    gas = "Foul smell: it may be a gas that poisons, and no smell left does not mean no gas left. " if foul else ""
    marks = f" {found.reason}" if found is not None else ""
    most_kg = case.waiting.mass_kg[2]
    heavy = f" It may weigh {most_kg:.0f} kg: use gear, not backs." if most_kg > HEAVY_KG else ""
    step = f"{first_of_all(found, OUT_FIRST)} {water_clock.next_step(clock)}{heavy}".lstrip()
    number = FOUL if foul else water_clock.headline(clock)
    return Verdict(Word.STOP, number, f"{gas}{water_clock.sentence(clock)}{marks}", step)


def _stretched(projection: Projection) -> str:
    """What its surface bears, where that is harm by itself too."""
    found = projection.dangers
    one = next((one for one in found.dangers if one.name in found.stops), None) if found else None
    return f" {capital(one.name)}, {one.figure}: {one.trend}" if one is not None else ""


def _slower(projection: Projection) -> str:
    """How to slow a board down today, and where, if a place of the yard is known to be mild enough."""
    cover = "over it loosely, away from heat and draught; look at its faces and ends for checks."
    if projection.refuge is None:
        return f"Slow it down now: c{cover}"
    low, loss, high = projection.refuge.loss_pct_per_day
    there = f"about {max(loss, 0.0):.1f} % a day there, {max(low, 0.0):.1f}–{high:.1f}"
    return f"Move it to {projection.refuge.name.removeprefix('to ')} now ({there}), then c{cover}"


def _danger(projection: Projection) -> Verdict | None:
    """STOP for the first of the dangers that is harm now."""
    found = projection.dangers
    if found is None or not found.stops:
        return None
    one = next(danger for danger in found.dangers if danger.name == found.stops[0])
    reason = f"{capital(one.name)}, {one.figure}. {one.reason}"
    return Verdict(Word.STOP, one.name, reason, f"{capital(one.name)}: {lower(one.next_step)}")


def _too_wet_when_booked(case: Case, projection: Projection) -> Verdict | None:
    """STOP where the work has begun, or is booked, and the wood is or would then be wetter than the use takes."""
    if case.begun:
        return _too_wet(case, projection, case.now_ms, "The work has begun")
    if case.booked_ms is None or not case.now_ms - MS_PER_DAY <= case.booked_ms <= int(projection.at_ms[-1]):
        return None  # not booked, over, or beyond what is looked ahead
    return _too_wet(case, projection, case.booked_ms, "")


def _too_wet(case: Case, projection: Projection, when_ms: int, begun: str) -> Verdict | None:
    then = now_index(projection) if begun else at(projection, when_ms)
    target = projection.wanted_mc_pct[1]
    if projection.chance_fit[then] >= LIKELY or float(projection.mean.p50[then]) <= target:
        return None
    mc = f"{projection.mean.p50[then]:.1f} % ({projection.mean.p10[then]:.1f}–{projection.mean.p90[then]:.1f})"
    ready = _ready_sentence(case, projection)
    if begun:
        reason = f"{begun}, and it stands at {mc}; {target:.1f} % at most is wanted."
        return Verdict(Word.STOP, f"too wet to {case.use.name}", reason, f"Stop, and let it dry first. {ready}")
    days = max(0, calendar_days(when_ms, case.now_ms))
    when = f"{case.use.name} {f'in {days_words(days)}' if days else 'today'}"
    reason = f"It is booked to {when} and would then be at {mc}; {target:.1f} % at most is wanted."
    return Verdict(Word.STOP, f"too wet to {case.use.name}", reason, f"{TOO_SOON} {ready}")


def _ready_sentence(case: Case, projection: Projection) -> str:
    if projection.ready_ms[1] is None:
        return "In this air it does not come to its target within a year."
    when, days = date_words(projection.ready_ms[1], case.now_ms), days_three(projection.ready_ms, case.now_ms)
    return f"In this air it comes to its target about {when}, in {days}."
