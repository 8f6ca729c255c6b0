"""The vapour of a finish in a room, judged: what is over a limit, what cannot be said, what is not shown to be under.

A limit counts as passed as soon as the most that late drying can make of the vapour (``room_air``) passes it, and where
no drying time is known that is everything sprayed: what is not known makes no warning weaker. Of a finish with unnamed,
unlisted or unmeasured ingredients the known part alone may be over; else nothing can be said, and no figure is given
that could be taken for all there is. No answer clears a room: the least that is said is "not shown to be under
control", for the mean of the room is no bound on what the person at the gun breathes.

Of isocyanates and of what gives off formaldehyde no figure is given at all; that the solvent beside them makes the air
explosive is still said.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from kiln import finish_told as told
from kiln.control import Control, worst
from kiln.dilution import heat_factor
from kiln.finish_limits import (
    Held,
    breathed,
    by_ingredient,
    explosive,
    lel_share_per_kg_m3,
    mg_per_kg,
    per_m3,
)
from kiln.finish_records import Against, FinishAir
from kiln.mixtures import ISOCYANATE_UNREAD, Mixture
from kiln.room_air import Course, Room, Spraying, course, greatest_rate
from shared.errors import BadInput
from shared.tables import FIRE, NoDilution, Region
from shared.units import S_PER_HOUR, Array

__all__ = ["Against", "FinishAir", "concentration_of", "judge", "refusal_of"]

POINTS = 400  # of a curve, its knots beside them
SHOWN_H = 8.0


def judge(
    room: Room, sprayings: Sequence[Spraying], region: Region = Region.LOWEST, hours: float = SHOWN_H
) -> FinishAir:
    """Return what can be said of the vapour of some sprayings in a room.

    ``hours``: how far the curves run from the first spraying [h, 0.1 to 720]; the judgement itself looks at all time.
    Raises BadInput without sprayings, and OutOfRange as ``Room`` and ``Spraying``.
    """
    if not sprayings:
        raise BadInput("sprayings", "", "at least one spraying")
    if not 0.1 <= hours <= 720.0:
        raise BadInput("hours", hours, "0.1 to 720")
    sprayings = tuple(_as_counted(one) for one in sorted(sprayings, key=lambda one: (one.start_s, one.end_s)))
    refused = refusal_of(one.mixture for one in sprayings)
    limits = (*explosive(room, sprayings), *breathed(room, sprayings, region))
    together = tuple(_against(room, sprayings, held) for held in limits)
    if refused is not None:
        return _refusal(room, sprayings, refused, together)
    each = tuple(_against(room, sprayings, held) for held in by_ingredient(room, sprayings, region))
    return _judged(room, sprayings, limits, (*together, *each), hours)


def refusal_of(mixtures: Iterable[Mixture]) -> NoDilution | None:
    """Return why no amount of air is worked out for some finishes; None: nothing that is known of them forbids it."""
    return next((found for one in mixtures if (found := one.refusal())), None)


def concentration_of(room: Room, sprayings: Sequence[Spraying], *, late: bool) -> Course:
    """Return the course of all known vapour together in the room's air [mg/m³]; ``late``: the most it can be."""
    sprayings = tuple(_as_counted(one) for one in sprayings)
    return course(room, sprayings, per_m3(sprayings, mg_per_kg), late=late)


def _as_counted(one: Spraying) -> Spraying:
    """Return a spraying whose film counts as wet for half an hour at least, however soon it can be touched."""
    if one.dry_after_s is None:
        return one
    return replace(one, dry_after_s=max(one.dry_after_s, FIRE["drying_least"].value))


def _judged(
    room: Room, sprayings: tuple[Spraying, ...], limits: Sequence[Held], against: tuple[Against, ...], hours: float
) -> FinishAir:
    lacking = dict.fromkeys(text for held in limits for text in held.lacking)
    unknowns = tuple(sorted(lacking, key=lambda text: text != ISOCYANATE_UNREAD))
    known = against[0].peak_share is not None  # of the explosive limit
    times_s, as_sprayed_lel, at_most_lel, as_sprayed_mg, at_most_mg = _curves(room, sprayings, hours if known else 0.0)
    not_before_s, why = _not_before(room, sprayings, limits, unknowns)
    control = worst(*(one.control for one in against), Control.CANT_SAY if unknowns else Control.NOT_SHOWN)
    late = any(one.explosive and one.control is Control.OVER for one in against)
    return FinishAir(
        control=control,
        headline=told.headline(control, against, unknowns),
        refused=None,
        unknowns=unknowns,
        against=against,
        times_s=times_s,
        as_sprayed_lel=as_sprayed_lel,
        at_most_lel=at_most_lel,
        as_sprayed_mg_m3=as_sprayed_mg,
        at_most_mg_m3=at_most_mg,
        not_before_s=not_before_s,
        not_before_why=why,
        air_needed_health_m3_s=None if unknowns else _health_air(room, sprayings, limits),
        air_needed_fire_m3_s=None if unknowns or late else _fire_air(room, sprayings),
        formula=told.formula(room),
        beside=(*told.beside(room, sprayings), *((told.NO_AIR_FIRE,) if late else ())),
        flash=told.flash(room, sprayings),
        at_least=known and against[0].at_least,
        acts=() if control is Control.NOT_SHOWN else told.ACTS,
    )


def _refusal(room: Room, sprayings: Sequence[Spraying], refused: NoDilution, together: Sequence[Against]) -> FinishAir:
    """Return the judgement of a finish that air is no answer to: what its solvents pass, without a figure."""
    nothing = np.zeros(0)
    passed = tuple(told.without_figures(one) for one in together if one.control is Control.OVER)
    return FinishAir(
        control=worst(*(one.control for one in passed)),
        headline=told.refusal(refused, passed),
        refused=refused,
        unknowns=(),
        against=passed,
        times_s=nothing,
        as_sprayed_lel=nothing,
        at_most_lel=nothing,
        as_sprayed_mg_m3=nothing,
        at_most_mg_m3=nothing,
        not_before_s=None,
        not_before_why=told.NO_TIME_REFUSED,
        air_needed_health_m3_s=None,
        air_needed_fire_m3_s=None,
        formula=(),
        beside=told.beside(room, sprayings),
        flash=told.flash(room, sprayings),
        acts=told.ACTS,
    )


def _against(room: Room, sprayings: Sequence[Spraying], held: Held) -> Against:
    """Hold the vapour against one limit; a share is given where it is all there is, or already over."""
    as_sprayed, at_most = (course(room, sprayings, held.per_m3, late=late) for late in (False, True))
    peak = _statistic(as_sprayed, held)
    most = max(peak, _statistic(at_most, held))
    over, complete = told.reached(most), not held.lacking
    control = Control.OVER if over else Control.NOT_SHOWN if complete else Control.CANT_SAY
    said = over or complete
    return Against(
        name=held.name,
        control=control,
        peak_share=peak if said else None,
        at_most_share=most if said else None,
        limit_text=held.limit_text,
        basis_text=held.basis_text,
        source=held.source,
        status=held.status,
        sentence=told.sentence(held.name, control, (peak, most), held.lacking),
        at_least=over and not complete,
        explosive=held.explosive,
    )


def _statistic(one: Course, held: Held) -> float:
    return one.peak() if held.window_s is None else one.greatest_mean(held.window_s)


def _curves(room: Room, sprayings: Sequence[Spraying], hours: float) -> tuple[Array, Array, Array, Array, Array]:
    """Times from the first spraying on, shares of the explosive limit and mg/m³ at them; all empty for 0 hours."""
    if hours <= 0.0:
        nothing = np.zeros(0)
        return nothing, nothing, nothing, nothing, nothing
    whole = per_m3(sprayings, lel_share_per_kg_m3(room))
    courses = [course(room, sprayings, whole, late=late) for late in (False, True)]
    courses += [concentration_of(room, sprayings, late=late) for late in (False, True)]
    first_s, last_s = sprayings[0].start_s, sprayings[0].start_s + hours * S_PER_HOUR
    knots_s = courses[1].knots_s
    times_s = np.union1d(np.linspace(first_s, last_s, POINTS), knots_s[knots_s <= last_s])
    as_sprayed, at_most, as_sprayed_mg, at_most_mg = (one.at(times_s) for one in courses)
    return times_s, as_sprayed, at_most, as_sprayed_mg, at_most_mg


def _not_before(
    room: Room, sprayings: Sequence[Spraying], limits: Sequence[Held], unknowns: Sequence[str]
) -> tuple[float | None, str]:
    """When the most that can be there is below every limit, never before the last film is dry; or why nobody knows."""
    if unknowns:
        return None, told.NO_TIME_UNKNOWN
    if any(one.dry_after_s is None for one in sprayings):
        return None, told.NO_TIME_DRYING
    below_s = [course(room, sprayings, held.per_m3, late=True).below_s(told.REACHED) for held in limits]
    known_s = [one for one in below_s if one is not None]
    if len(known_s) < len(below_s):
        return None, told.NO_TIME_EXTRACTION
    return max(known_s), told.not_before(room)  # none lies before the last knot, when the last film is dry


def _health_air(room: Room, sprayings: Sequence[Spraying], limits: Sequence[Held]) -> float:
    """Air [m³/s] for the greatest rate of spraying, the airs of all vapours added: Q = K Σ Gᵢ/Lᵢ at the strictest."""
    return room.mixing_factor * max(
        (greatest_rate(sprayings, held.per_m3) for held in limits if not held.explosive), default=0.0
    )


def _fire_air(room: Room, sprayings: Sequence[Spraying]) -> float:
    """Air [m³/s] for the greatest rate of spraying, the airs of all vapours added: Q = K Σ Gᵢ/(0.10 LELᵢ B).

    The published form has Sf, 12 at most, in place of K/0.10 (30 to 100): it keeps the mean of the whole room at a
    twelfth of the limit, which is no bound near the gun. This one asks for a tenth where air mixes as badly as K says.
    """
    shares_m3_s = greatest_rate(sprayings, per_m3(sprayings, lel_share_per_kg_m3(room)))
    tenth = FIRE["share_alarm"].value
    return room.mixing_factor * shares_m3_s / (tenth * heat_factor(room.temperature_c))
