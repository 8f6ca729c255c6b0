"""The conditions of a use, one by one, each as a sentence with how it stands.

A condition that is a matter of chance counts as met by itself from the chance ``Limits.sure`` on; a verdict asks for
all of them together in one member after another (``Projection.fit_members``), so that a gate only explains it.
"""

from __future__ import annotations

import numpy as np

from kiln.evidence import Case, age_days, age_sentence, banded, now_index, wanted
from kiln.pace import pace_of
from kiln.records import Z80, Gate, Measured, Projection, Standing
from kiln.spans import days_words
from kiln.standing import LEVEL as LEVEL
from kiln.standing import MOISTURE as MOISTURE
from kiln.standing import ROOM as ROOM
from kiln.standing import STEADY as STEADY
from shared.units import MS_PER_DAY

WATER, MEASURED, GROUND, HYGROMETER, LOSS = "added water", "measured", "known by", "hygrometer", "loss a day"
READ_LATELY_DAYS = 90  # for how long glue or steam is spoken of at all; ours


def gates_of(case: Case, projection: Projection) -> tuple[Gate, ...]:
    """Return the conditions of the use, each with how it stands; one of harm first."""
    found = [
        *_rate_gate(case, projection),
        _moisture_gate(case, projection),
        _measured_gate(case),
        _level_gate(case, projection),
        _steady_gate(case, projection),
        *_room_gates(case, projection),
        *_water_gate(case),
        _ground_gate(case, projection),
    ]
    return tuple(found)


def named(gates: tuple[Gate, ...], name: str) -> Gate | None:
    """Return the gate of a name."""
    return next((gate for gate in gates if gate.name == name), None)


def _by_chance(case: Case, chance: float) -> Standing:
    if chance >= case.limits.sure:
        return Standing.MET
    return Standing.NOT_YET if chance <= 1.0 - case.limits.sure + 1e-9 else Standing.NOT_SURE


def _moisture_gate(case: Case, projection: Projection) -> Gate:
    """How wet it is beside what is wanted; where it is not fit, also where its air is taking it."""
    chance = projection.chance_moisture
    # The air of a use holds drying wood at its target; wood that gained its water rests lower in the same air.
    around = f"{projection.target_mc_pct:.1f} % ± {case.use.tolerance_mc_pct:g}"
    around = f"{around}, and lower for wood that gained its water"
    told = f"At {banded(projection, now_index(projection))}; wanted {wanted(projection)}: {around}."
    high_now = float(projection.mean.p90[now_index(projection)])
    if _by_chance(case, chance) is Standing.MET and high_now > projection.wanted_mc_pct[1]:
        told = f"{told} A board that holds more water in that air than others is allowed more."
    if _by_chance(case, chance) is not Standing.MET:
        low, middle, high = projection.holds_mc_pct
        told = f"{told} This air holds it at {middle:.1f} % ({low:.1f}–{high:.1f}) over the next month."
    return Gate(MOISTURE, _by_chance(case, chance), told, chance)


def _level_gate(case: Case, projection: Projection) -> Gate:
    now = now_index(projection)
    core, shell = float(projection.core.p50[now]), float(projection.shell.p50[now])
    apart = f"{abs(core - shell):.1f} apart, {case.use.gradient_mc_pct:.1f} allowed"
    told = f"Core {core:.1f} %, shell {shell:.1f} %: {apart}."
    if projection.chance_level is None:
        told = "Nobody knows its core yet: it began with a gradient of its own. Pin readings at two depths tell."
        return Gate(LEVEL, Standing.NOT_KNOWN, told, None)
    if projection.pin_gap_mc_pct is not None:
        gap, sd = projection.pin_gap_mc_pct
        apart = f"{abs(gap):.1f} apart (± {Z80 * sd:.1f}), {case.use.gradient_mc_pct:.1f} allowed"
        told = f"By its pins core and shell lie {apart}."
    return Gate(LEVEL, _by_chance(case, projection.chance_level), told, projection.chance_level)


def _steady_gate(case: Case, projection: Projection) -> Gate:
    """Whether it keeps still, but for what the air's own swing explains; and whether its scale could see it move."""
    days, most = days_words(round(case.use.steady_days)), case.limits.steady
    chance = projection.chance_steady
    if chance is None:
        told = f"It has not been followed for the {days} yet in which it must keep still."
        return Gate(STEADY, Standing.NOT_KNOWN, told, None)
    age = age_days(case)
    if age > case.limits.measured_within:
        told = f"By reckoning only: {'never measured' if np.isinf(age) else f'not measured for {age:.0f} days'}."
        return Gate(STEADY, Standing.NOT_KNOWN, told, None)
    coarse = _too_coarse(case, projection)
    if coarse:
        return Gate(STEADY, Standing.NOT_KNOWN, coarse, None)
    told = f"Wanted: no more than {most:g} % of change in {days}, beyond what the air's own swing explains."
    return Gate(STEADY, _by_chance(case, chance), told, chance)


def _too_coarse(case: Case, projection: Projection) -> str:
    """Say it when the scale cannot see so small a change in so light a piece; empty when it can, or none was used."""
    weighed = [m for m in projection.measured if m.kind == "weigh-in"]
    if not weighed or sees(weighed[-1], case.limits.steady):
        return ""
    gram = 10.0 * projection.oven_dry_mass_kg[1]  # of one %MC
    need = case.limits.steady * gram / (Z80 * np.sqrt(2.0))
    return (
        f"1 % of moisture in this piece is {_grams(gram)}: too little for the scale it was weighed on. "
        f"One that is right to {_grams(need)} would tell whether it keeps still."
    )


def sees(weighed: Measured, change_mc_pct: float) -> bool:
    """Whether two weighings on such a scale can tell a change of moisture content [%MC]."""
    return float(weighed.scale_error_mc_pct) * Z80 * float(np.sqrt(2.0)) <= change_mc_pct


def _grams(value: float) -> str:
    return f"{value:.0f} g" if value >= 10.0 else f"{value:.2g} g"


def _room_gates(case: Case, projection: Projection) -> tuple[Gate, ...]:
    """Whether the room has been right and stays so, by what a piece at rest in it would hold; and who says so."""
    if case.use.room_tolerance_mc_pct is None:
        return ()
    past, ahead = days_words(round(case.use.room_days)), days_words(round(case.use.room_ahead_days))
    checked = case.air_checked_since_ms is not None
    said = f"Each hygrometer there (place: {case.place}) was checked, and is in date."
    if not checked:
        which = " and ".join(case.unchecked) or "a hygrometer"
        said = f"Never checked, or overdue for it: {which} (place: {case.place}). Check it over salt."
    hygrometer = Gate(HYGROMETER, Standing.MET if checked else Standing.NOT_KNOWN, said, None)
    if projection.chance_room is None or projection.room_mc_pct is None:
        told = f"The air in {case.place} is not on record for the {past} that count."
        return Gate(ROOM, Standing.NOT_KNOWN, told, None), hygrometer
    low, high = projection.room_mc_pct
    target, off = projection.target_mc_pct, case.use.room_tolerance_mc_pct
    told = (
        f"Over the past {past} and the next {ahead} this room holds such a piece at {low:.1f}–{high:.1f} %; "
        f"air of {case.use.destination_rh_pct:.0f} %RH holds it at {target:.1f} %, and {off:g} % either way is allowed."
    )
    if case.use.name == "finish":
        told = f"{told} It suits the wood; it says nothing of spraying."
    standing = _by_chance(case, projection.chance_room)
    return Gate(ROOM, standing, told, projection.chance_room), hygrometer


def _water_gate(case: Case) -> tuple[Gate, ...]:
    """Whether what gluing or bending brought has had its time to leave."""
    wait = case.use.water_wait_days
    if case.watered_ms is None or wait <= 0.0:
        return ()
    since = (case.now_ms - case.watered_ms) / MS_PER_DAY
    if since > READ_LATELY_DAYS:
        return ()
    left = max(0, int(np.ceil(wait - since)))
    ago = days_words(int(since)) if since >= 1.0 else "less than a day"
    told = f"It was glued or wetted {ago} ago; that water is given {days_words(round(wait))} to leave."
    return (Gate(WATER, Standing.NOT_YET if left else Standing.MET, told, None),)


def water_days_left(case: Case) -> int:
    """Days until water from gluing or bending has had its time."""
    if case.watered_ms is None:
        return 0
    return max(0, int(np.ceil(case.use.water_wait_days - (case.now_ms - case.watered_ms) / MS_PER_DAY)))


def _measured_gate(case: Case) -> Gate:
    within = case.limits.measured_within
    if age_days(case) <= within:
        return Gate(MEASURED, Standing.MET, age_sentence(case), None)
    told = f"{age_sentence(case)} Called fit, it must have been measured within {within:.0f} days."
    return Gate(MEASURED, Standing.NOT_KNOWN, told, None)


def _ground_gate(case: Case, projection: Projection) -> Gate:
    """What its moisture is known by: never by remembered densities, rates and saturation points alone."""
    since_ms = case.now_ms - case.limits.measured_within * MS_PER_DAY
    kinds = {m.kind for m in projection.measured if m.at_ms >= since_ms and m.ground}
    if "bag test" in kinds:
        return Gate(GROUND, Standing.MET, "The air that it makes itself, sealed in a bag, was read.", None)
    told = [kind for kind in ("oven-dry", "pin") if kind in kinds]
    if told and not case.fsp_remembered:
        return Gate(GROUND, Standing.MET, f"Its moisture was measured ({', '.join(told)}).", None)
    return _rest_gate(case, projection, measured=bool(told))


def _rest_gate(case: Case, projection: Projection, *, measured: bool) -> Gate:
    """Wood that keeps its weight is known by its air, if that air was known all the while."""
    span = _rest_span(case, projection)
    if span is None:
        what = "the saturation point of this wood" if measured else "density and drying rate of this wood"
        sentence = f"So far it rests on what is remembered of {what}; weigh-ins at rest, or a bag test, tell."
        return Gate(GROUND, Standing.NOT_KNOWN, sentence, None)
    if not sees(max(span, key=lambda m: m.scale_error_mc_pct), case.limits.steady):
        sentence = "It seems to keep its weight, but this scale is too coarse for so small a piece to tell."
        return Gate(GROUND, Standing.NOT_KNOWN, sentence, None)
    if case.air_checked_since_ms is None or span[0].at_ms < case.air_checked_since_ms:
        sentence = (
            f"It keeps its weight, so the air it lay in tells; but not all of that was {case.place}'s with a checked "
            "hygrometer."
        )
        return Gate(GROUND, Standing.NOT_KNOWN, sentence, None)
    told = f"It keeps its weight in the air of {case.place}; that hygrometer was checked."
    return Gate(GROUND, Standing.MET, told, None)


def _rest_span(case: Case, projection: Projection) -> list[Measured] | None:
    """The newest weigh-ins, over the steady days of its use or longer, if its mass no longer changed over them."""
    weighed = [m for m in projection.measured if m.kind == "weigh-in"]
    if not weighed or case.now_ms - weighed[-1].at_ms > case.limits.measured_within * MS_PER_DAY:
        return None
    until_ms = weighed[-1].at_ms - case.use.steady_days * MS_PER_DAY
    before = [m for m in weighed if m.at_ms <= until_ms]
    if not before:
        return None
    span = [m for m in weighed if m.at_ms >= before[-1].at_ms]
    moved = max(m.mc_pct for m in span) - min(m.mc_pct for m in span)
    return span if moved <= case.limits.steady else None


def _rate_gate(case: Case, projection: Projection) -> tuple[Gate, ...]:
    """The loss a day against what the wood survives, while that counts and a limit is known."""
    pace = pace_of(case, projection)
    most = pace.limit
    if most is None or pace.standing is None:
        return ()
    low, middle, high = pace.loss_pct_per_day
    standing = Standing.MET if pace.standing is Standing.UNDER else pace.standing
    told = (
        f"Loses {middle:.1f} % a day ({low:.1f}–{high:.1f}); about {most.pct_per_day:.1f} is survived ({most.status})."
    )
    return (Gate(LOSS, standing, told, None),)
