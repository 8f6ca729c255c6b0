"""What was foretold of a board after each of its weigh-ins, beside what came: its refits, one after the other.

Told again by today's rules from what had been measured and logged by then; of the air to come no more is used than the
record held at that time.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kiln import ensemble, fitness, sorption
from kiln.air import AirHours
from kiln.diffusion import core_of, mean_of, shell_of
from kiln.question import Question
from kiln.records import Said, three
from shared.units import MS_PER_DAY, MS_PER_HOUR, Array

MEMBERS = 32
MOST = 16  # of a board's weigh-ins are told again: the first, and the newest
LEAST_HOURS = 24  # of logged air before anything is foretold


def history(question: Question) -> tuple[Said, ...]:
    """Return what was foretold after each weigh-in, the oldest first; empty where there was no air yet."""
    weighed = [k for k, datum in enumerate(question.data) if datum.kind == "weigh-in"]
    if len(weighed) > MOST:
        weighed = [weighed[0], *weighed[-MOST + 1 :]]
    told = [_said(question, k, weighed[i + 1] if i + 1 < len(weighed) else None) for i, k in enumerate(weighed)]
    return tuple(one for one in told if one is not None)


def _said(question: Question, which: int, following: int | None) -> Said | None:
    datum = question.data[which]
    until_ms = datum.at_ms // MS_PER_HOUR * MS_PER_HOUR + MS_PER_HOUR
    way, record = _until(question.way, until_ms), _until(question.record, until_ms)
    if len(way.at_ms) < LEAST_HOURS or not way.known.any() or not record.known.any():
        return None
    spells = tuple(spell for spell in question.piece.spells if spell.first_hour <= len(way.at_ms))
    known = replace(
        question,
        piece=replace(question.piece, spells=spells),
        way=way,
        record=record,
        data=question.data[: which + 1],
        plan=(),
        elsewhere=(),
    )
    crowd = ensemble.ensemble(known, MEMBERS)
    two = known.piece.two_faces
    middle, gap = 100.0 * mean_of(crowd.profiles, two_faces=two), _gap(crowd.profiles, two)
    target = float(sorption.emc_pct(question.destination_temperature_c, question.destination_rh_pct))
    fit = fitness.fit_each(middle, gap, crowd.isotherm_scale * target, question.use)
    first, half, last = fitness.ready_by_ms(fitness.ready_ms(crowd.at_ms, fit, crowd.now), (0.1, 0.5, 0.9))
    mean = crowd.mean_mc_pct
    later = question.data[following] if following is not None else None
    comparable = later is not None and later.mass_share == datum.mass_share and later.cut_dry_kg == datum.cut_dry_kg
    foretold = _foretold(crowd, later.at_ms, later.mass_share, later.cut_dry_kg) if later and comparable else None
    return Said(
        datum.at_ms,
        (first, half, last),
        three(mean[:, crowd.now]),
        later.at_ms if later else None,
        foretold,
        later.value if later and comparable else None,
    )


def _until(air: AirHours, until_ms: int) -> AirHours:
    count = int(np.searchsorted(air.at_ms, until_ms))
    return AirHours(*(getattr(air, name)[:count] for name in AirHours.__dataclass_fields__))


def _gap(profiles: Array, two_faces: bool) -> Array:
    return 100.0 * (core_of(profiles, two_faces=two_faces) - shell_of(profiles, two_faces=two_faces))


def _foretold(
    crowd: ensemble.Ensemble, at_ms: int, mass_share: float, cut_dry_kg: float
) -> tuple[float, float, float] | None:
    """The weight that the members have at a moment [kg]; None beyond the time ahead."""
    if at_ms > int(crowd.at_ms[-1]):
        return None
    days = crowd.at_ms / MS_PER_DAY
    mean = np.array([np.interp(at_ms / MS_PER_DAY, days, one) for one in crowd.mean_mc_pct]) / 100.0
    return three((np.exp(crowd.boards[:, 0]) * mass_share - cut_dry_kg) * (1.0 + mean))
