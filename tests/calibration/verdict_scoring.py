"""What the product said of a synthetic board on fixed days in its room, held against how that board truly stood.

Days are fixed and the same for all of a kind (``verdict_boards.EVERY_DAYS``), never a share of the true time. What is
stated is ``Projection.chance_fit_now``, beside the share of members that it comes from; what is asked for is the
verdict, alone and in its set, with and without a booking. Truly fit is a board that meets every condition of its use
(``verdict_truth``), those too of which the product says that nothing is known yet.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from verdict_boards import BOOKED_AHEAD_DAYS, EVERY_DAYS, PLATE, ROOM_DAYS, Piece
from verdict_truth import first_fit_day, true_fitness, twins_agree

from kiln import drying, ensemble, forecast, lots, readiness, together, twins
from kiln.limits import SURE
from kiln.question import Believed, Question
from kiln.records import Projection, Standing, Verdict, Word
from shared.units import MS_PER_DAY, MS_PER_HOUR

LOOK_AHEAD_DAYS = 25  # past every booking; further on nothing here is asked
CONDITIONS = ("moisture", "level", "steady", "room")
OWN_SEED = 100_003


class Asked(NamedTuple):
    """One board on one day. Days in the room; %MC."""

    board: int
    lot: int
    kind: str
    use: str
    origin: str
    checked: bool
    day: int
    word: str
    chance: float
    chances: tuple[float | None, ...]  # of CONDITIONS; None: not known
    unmet: tuple[str, ...]  # gates that were not met
    fit: bool  # in truth
    true: tuple[bool, ...]  # of CONDITIONS
    over_pct: float  # wetter than the use takes, truly; below nought: drier
    apart_pct: float
    drift_pct: float
    off_pct: float
    said_off_pct: tuple[float, float, float]
    rest_pct: float
    said_rest_pct: tuple[float, float, float] | None
    warned: bool  # STOP, were it booked for so many days later
    wet_when_booked: bool  # in truth
    grounds: tuple[str, ...]  # beside weights, what its wood was ever measured by
    share: float  # of members that meet every condition of which something is known


class AskedSet(NamedTuple):
    """One set of plates on one day."""

    lot: int
    pieces: int
    day: int
    word: str
    chance: float | None
    together: bool  # all truly fit, and the twins truly alike
    share: float  # of members in which all pieces are fit


class Course(NamedTuple):
    """When a board first was truly fit, day by day, and when it was first called so on a day on which it was asked."""

    board: int
    kind: str
    checked: bool
    fit_day: float
    ready_day: float  # infinite: not called so on any of the days
    sure_day: float  # when the stated chance alone first reached what READY takes


def asked_days(kind: str) -> range:
    """The days in the room on which boards of a kind are asked about."""
    return range(EVERY_DAYS[kind], ROOM_DAYS[kind] + 1, EVERY_DAYS[kind])


def lot_scores(some: list[Piece], days: list[int] | None = None) -> tuple[list[Asked], list[AskedSet], list[Course]]:
    """Ask about all boards of a lot; ``days`` None: on all their days."""
    kind = some[0].shared.kind
    alone: list[Asked] = []
    sets: list[AskedSet] = []
    for day in asked_days(kind) if days is None else days:
        said = [forecast.project(one, days=LOOK_AHEAD_DAYS) for one in questions(some, day)]
        verdicts = [readiness.judge(case_of(one, made, day)) for one, made in zip(some, said, strict=True)]
        alone += [asked(*each, day) for each in zip(some, said, verdicts, strict=True)]
        if len(some) > 1:
            sets += [asked_set(some[:n], said[:n], verdicts[:n], day) for n in (2, len(some))]
    return alone, sets, [course_of(one, alone) for one in some]


def questions(some: list[Piece], day: int) -> list[Question]:
    """What is asked of each board of a lot; where there are several, with what the others teach, as in a yard."""
    alone = [one.question(day) for one in some]
    if len(some) == 1:
        return alone
    priors = [drying.prior(one.piece) for one in alone]
    lessons = [lots.lesson(prior, ensemble.refit(one)) for prior, one in zip(priors, alone, strict=True)]
    found = []
    for k, (one, prior) in enumerate(zip(alone, priors, strict=True)):
        shared = lots.of_lot(prior, lots.of_yard(prior, []), [lesson for j, lesson in enumerate(lessons) if j != k])
        seed = OWN_SEED + some[k].number
        told = Believed(lots.believed(prior, shared), lots.common_share(prior, shared), seed, len(some) - 1)
        found.append(Question(**{**vars(one), "believed": told}))
    return found


def case_of(one: Piece, made: Projection, day: int, *, booked: bool = False) -> readiness.Case:
    """One board before the judge, place and air in order."""
    shared, piece = one.shared, one.piece
    now_ms = shared.moved_ms + day * MS_PER_DAY
    return readiness.Case(
        now_ms=now_ms,
        botanical_name=piece.species.botanical_name,
        thickness_m=piece.thickness_m,
        origin=piece.origin,
        use=shared.use,
        use_chosen=True,
        booked_ms=now_ms + BOOKED_AHEAD_DAYS[shared.kind] * MS_PER_DAY if booked else None,
        projection=made,
        missing="",
        place="the bench room",
        air_at_ms=now_ms,
        air_believed=True,
        air_limit_ms=3 * MS_PER_HOUR,
        air_temperature_c=float(shared.known(day, outdoors=False).temperature_c[-1]),
        air_checked_since_ms=shared.moved_ms if shared.checked else None,
        fsp_remembered=drying.fsp_remembered(piece.species),
    )


def asked(one: Piece, made: Projection, verdict: Verdict, day: int) -> Asked:
    """Hold what is said of a board against how it truly stands."""
    true, shared = true_fitness(one, day), one.shared
    then = true_fitness(one, day + BOOKED_AHEAD_DAYS[shared.kind])
    booked = readiness.judge(case_of(one, made, day, booked=True))
    harmed = verdict.word is Word.STOP
    return Asked(
        one.number, one.lot, shared.kind, shared.use.name, one.piece.origin, shared.checked, day,
        str(verdict.word), made.chance_fit_now,
        (made.chance_moisture, made.chance_level, made.chance_steady, made.chance_room),
        tuple(gate.name for gate in verdict.gates if gate.standing is not Standing.MET),
        true.fit, tuple(getattr(true, name) for name in CONDITIONS),
        true.over_pct, true.apart_pct, true.drift_pct,
        true.off_pct, made.off_target_mc_pct, true.rest_pct, made.rest_mc_pct,
        booked.word is Word.STOP and not harmed, then.too_wet,
        tuple(sorted({m.kind for m in made.measured if m.kind != "weigh-in"})),
        float(made.fit_members.mean()),
    )  # fmt: skip


def asked_set(some: list[Piece], made: list[Projection], verdicts: list[Verdict], day: int) -> AskedSet:
    """Ask about plates of a lot together; the first two of them are the twins."""
    judged = [
        together.Judged(str(one.number), projection, verdict, one.lot, twin=k < 2)
        for k, (one, projection, verdict) in enumerate(zip(some, made, verdicts, strict=True))
    ]
    said = together.judge_set(judged, in_one_air=True)
    true = all(true_fitness(one, day).fit for one in some) and twins_agree(some[:2], day)
    share = float(np.logical_and.reduce([one.fit_members for one in made]).mean())
    # A set that is stopped, or of which nothing can be said, states no chance; scored is what it would be.
    agree = next((gate for gate in said.gates if gate.name == twins.NAME), None)
    return AskedSet(some[0].lot, len(some), day, str(said.word), together.chance_of_all(judged, agree), true, share)


def course_of(one: Piece, alone: list[Asked]) -> Course:
    """When a board first was fit, when it was first called so, and when that was first sure."""
    own = [each for each in alone if each.board == one.number]
    ready = [each.day for each in own if is_ready(each.word)]
    sure = [each.day for each in own if each.chance >= SURE]
    kind = one.shared.kind
    return Course(
        one.number,
        kind,
        one.shared.checked,
        first_fit_day(one, ROOM_DAYS[kind]),
        float(min(ready, default=np.inf)),
        float(min(sure, default=np.inf)),
    )


def is_ready(word: str) -> bool:
    """Whether a verdict says fit."""
    return word in (str(Word.READY), str(Word.DRY_ENOUGH))


__all__ = ["PLATE", "Asked", "AskedSet", "Course", "asked_days", "is_ready", "lot_scores"]
