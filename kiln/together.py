"""Verdicts on what belongs together: matched sets and stacks. The gravest piece decides."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from kiln import calibrated, twins
from kiln.doubts import MOMENT, Doubt, is_of_now
from kiln.evidence import now_index
from kiln.limits import USUAL, Limits
from kiln.records import FIT, Apart, Gate, OnTheDay, PieceSaid, Projection, Standing, Verdict, Word
from kiln.sentences import lower
from kiln.spans import ahead_words, days_to, days_words
from kiln.standing import MOISTURE
from kiln.wettest import Wettest, mean_of_all, wettest
from shared.units import MS_PER_DAY

WORST_FIRST = (
    Standing.OVER,
    Standing.NOT_KNOWN,
    Standing.NOT_YET,
    Standing.NOT_SURE,
    Standing.NEAR,
    Standing.MET,
    Standing.UNDER,
)
UNSAID = (Word.STOP, Word.CANT_SAY)  # beside which a chance of being fit would only mislead
GRAVEST_FIRST = (Word.STOP, Word.CANT_SAY, Word.WAIT, Word.DRY_ENOUGH, Word.READY)


class Judged(NamedTuple):
    """A piece that belongs together with others, and what is said of it alone."""

    name: str
    projection: Projection | None
    verdict: Verdict
    lot: object = None  # pieces of one lot are drawn alike, member for member, in what the lot shares
    twin: bool = False  # one of the halves of a joint


def worst(words: list[Word]) -> Word:
    """The gravest of some words."""
    return min(words, key=GRAVEST_FIRST.index)


def judge_set(
    members: list[Judged], *, in_one_air: bool = False, limits: Limits = USUAL, working: Doubt | None = None
) -> Verdict:
    """Return the verdict on a matched set from its pieces.

    The gravest piece decides. The chance is that all pieces meet all their conditions and the twins agree, in one
    member after another. Where nobody said which pieces are twins, all of one set are. ``in_one_air``: they lie
    together, so that a hygrometer that misreads does so for all of them. ``working``: what to say while nothing but an
    entry that is being worked in keeps the pieces from being judged.
    """
    if not members:
        return _empty("There is nothing in this set yet.", "Put its pieces into the set.")
    word = worst([one.verdict.word for one in members])
    decides = _deciding_of_set(members, word)
    name, _, chosen, *_ = members[decides]
    pieces = _pieces_of_set(members, in_one_air, limits)
    agree = twins.agreement(_twins_of(members), in_one_air=in_one_air, limits=limits)
    gate = None if agree is None else agree.gate
    others = _others(members, in_one_air, limits)
    chance = None if word in UNSAID else chance_of_all(members, gate)
    gates = (*(one for one in (gate, others) if one is not None), *_gates_of_all(members))
    evidence = _evidence(members)
    said = Verdict(word, chosen.number, "", chosen.next_step, chance, evidence, gates, pieces)
    if waits_for_a_moment(chosen):
        doubt = working or Doubt(MOMENT, chosen.reason, chosen.next_step)
        return replace(said, reason=doubt.reason, next_step=doubt.next_step)
    if word not in FIT:
        return replace(said, reason=f"{name} decides{_why(members, word)}. {chosen.reason}", decides=decides)
    if agree is not None and agree.gate.standing is Standing.NOT_YET:
        step = "Leave the pieces together in one air."
        return replace(said, word=Word.WAIT, number=agree.number, reason=agree.gate.sentence, next_step=step)
    if agree is not None and agree.gate.standing is Standing.NOT_KNOWN:
        step = "Weigh all pieces on one scale, three times over a week or more; or test each in a bag."
        return replace(said, word=Word.CANT_SAY, number="?", reason=agree.gate.sentence, next_step=step)
    if others is not None and others.standing is not Standing.MET:
        unlike = Word.CANT_SAY if others.standing is Standing.NOT_KNOWN else Word.WAIT
        step = "Leave all pieces together in one air, and weigh them again in a week."
        return replace(said, word=unlike, number="pieces apart", reason=others.sentence, next_step=step)
    if chance is not None and chance < limits.sure:
        reason = (
            f"Each piece by itself is fit, but all together with {100 * chance:.0f} in 100; "
            f"{100 * limits.sure:.0f} in 100 are wanted."
        )
        step = "Leave them in this air, and weigh them again in a few days."
        return replace(said, word=Word.WAIT, number=f"{100 * chance:.0f} in 100", reason=reason, next_step=step)
    everything = {1: "The piece is", 2: "Both pieces are"}.get(len(members), f"All {len(members)} pieces are")
    fit = "dry enough" if word is Word.DRY_ENOUGH else "fit"
    agreed = f" {agree.gate.sentence}" if agree is not None else ""
    reason = f"{name}, for {lower(chosen.reason)}" if word is Word.READY else chosen.reason
    return replace(
        said, number=_numbers(members), reason=f"{everything} {fit}.{agreed} {reason}", on_the_day=_on_the_day(members)
    )


def waits_for_a_moment(verdict: Verdict) -> bool:
    """Whether nothing but a projection that is being made keeps it from being told."""
    return verdict.word is Word.CANT_SAY and verdict.number == MOMENT


def _deciding_of_set(members: list[Judged], word: Word) -> int:
    """Of the gravest word the piece least likely to be fit; a doubt comes before a mere moment's wait."""

    def order(number: int) -> tuple[bool, float, float]:
        one = members[number]
        return waits_for_a_moment(one.verdict), _moisture_chance(one), -_wetness(one.projection)

    return min((number for number, one in enumerate(members) if one.verdict.word is word), key=order)


def _moisture_chance(one: Judged) -> float:
    gates = [gate for gate in one.verdict.gates if gate.name == MOISTURE]
    return next((gate.probability for gate in gates if gate.probability is not None), 1.0)


def _why(members: list[Judged], word: Word) -> str:
    """Why this piece and no other: where others have its word too, it is the least likely to be fit."""
    if sum(one.verdict.word is word for one in members) < 2 or word is Word.CANT_SAY:
        return ""
    return f", the {'less' if len(members) == 2 else 'least'} likely to be fit"


def _numbers(members: list[Judged]) -> str:
    """The figures of all pieces as one: "7.9 and 8.3 %", of more than two "7.9–8.6 %"."""
    cut = [one.verdict.number.partition(" %") for one in members]
    if not all(unit for _figure, unit, _rest in cut):
        return members[0].verdict.number
    figures, tail = sorted({figure for figure, _unit, _rest in cut}, key=float), cut[0][2]
    if len(members) == 2 and len(figures) == 2:
        return f"{cut[0][0]} and {cut[1][0]} %{tail}"
    return f"{figures[0]} %{tail}" if len(figures) == 1 else f"{figures[0]}–{figures[-1]} %{tail}"


def _on_the_day(members: list[Judged]) -> OnTheDay | None:
    """Of all pieces the one least likely to be fit on the day for which they are booked, by name."""
    said = [(one.name, one.verdict.on_the_day) for one in members]
    known = [(name, day) for name, day in said if day is not None]
    if not known:
        return None
    name, day = min(known, key=lambda one: -1.0 if one[1].probability is None else one[1].probability)
    return replace(day, sentence=f"{name} is the least likely. {day.sentence}") if len(known) > 1 else day


def _gates_of_all(members: list[Judged]) -> tuple[Gate, ...]:
    """Each condition once for all pieces: as it stands with the piece with which it stands worst."""
    names = dict.fromkeys(gate.name for one in members for gate in one.verdict.gates)
    return tuple(_worst_gate(members, name) for name in names)


def _worst_gate(members: list[Judged], name: str) -> Gate:
    own = [(one.name, gate) for one in members for gate in one.verdict.gates if gate.name == name]
    piece, gate = min(own, key=lambda one: (WORST_FIRST.index(one[1].standing), one[1].probability or 0.0))
    if len({one.sentence for _, one in own}) == 1 and len(own) == len(members):
        return gate
    return replace(gate, sentence=f"{piece}: {gate.sentence}")


def _others(members: list[Judged], in_one_air: bool, limits: Limits) -> Gate | None:
    """Whether all pieces lie near one another, where there are others than twins among them."""
    if not any(one.twin for one in members) or all(one.twin for one in members):
        return None
    known = [twins.Twin(one.name, one.projection) for one in members if one.projection is not None]
    return twins.spread(known, in_one_air=in_one_air, limits=limits)


def chance_of_all(members: list[Judged], agree: Gate | None = None) -> float | None:
    """Chance that all pieces meet all their conditions, and the twins agree; None where a piece has no projection.

    Within a lot member for member, as often as such a share of them has held; pieces of different lots are drawn each
    by itself, and their chances multiplied.
    """
    by_lot: dict[object, list[Projection]] = {}
    for number, one in enumerate(members):
        if one.projection is None:
            return None
        by_lot.setdefault(number if one.lot is None else one.lot, []).append(one.projection)
    apart = 1.0 if agree is None or agree.probability is None else agree.probability
    return float(np.prod([_chance_of_lot(made) for made in by_lot.values()])) * apart


def _chance_of_lot(made: list[Projection]) -> float:
    share = float(_all_of([one.fit_members for one in made]).mean())
    return calibrated.of_all(share, [one.chance_fit_now for one in made])


def _all_of(met: list[NDArray[np.bool_]]) -> NDArray[np.bool_]:
    count = min(len(one) for one in met)
    return np.asarray(np.logical_and.reduce([one[:count] for one in met]))


def _twins_of(members: list[Judged]) -> list[twins.Twin]:
    said = [one for one in members if one.twin] or members
    return [twins.Twin(one.name, one.projection) for one in said if one.projection is not None]


def _pieces(members: list[Judged]) -> tuple[PieceSaid, ...]:
    return tuple(PieceSaid(one.name, one.verdict.word, one.verdict.reason, one.verdict.probability) for one in members)


def _pieces_of_set(members: list[Judged], in_one_air: bool, limits: Limits) -> tuple[PieceSaid, ...]:
    """Each piece's own verdict; of one that is no half of a joint also how far it lies from the halves."""
    halves = [twins.Twin(one.name, one.projection) for one in members if one.twin and one.projection is not None]

    def apart(one: Judged) -> Apart | None:
        if one.twin or one.projection is None:
            return None
        piece = twins.Twin(one.name, one.projection)
        return twins.from_halves(piece, halves, in_one_air=in_one_air, limits=limits)

    return tuple(replace(said, apart=apart(one)) for said, one in zip(_pieces(members), members, strict=True))


def _evidence(members: list[Judged]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(line for one in members for line in one.verdict.evidence))


def _empty(reason: str, next_step: str) -> Verdict:
    return Verdict(Word.CANT_SAY, "?", reason, next_step)


def judge_stack(members: list[Judged], measured: int, in_all: int = 0, wet: Wettest | None = None) -> Verdict:
    """Return the verdict on a stack: its gravest board decides; of how many it is known, and the wettest, is said.

    ``in_all``: how many boards lie in it, where more do than are entered. ``wet``: its wettest board, where known now.
    """
    if not members:
        return _empty("There is no board in this stack yet.", "Add the first board.")
    decides = _deciding_of_stack(members)
    name, _, chosen, *_ = members[decides]
    word = chosen.word
    reason = f"{name} decides. {chosen.reason}"
    by_kin = sum(one.projection is not None and bool(one.projection.measured) for one in members)
    told = (*_counted(members, max(measured, by_kin), max(in_all, len(members)), wet), *chosen.evidence)
    chance = None if word in UNSAID else chance_of_all(members)
    return Verdict(
        word, chosen.number, reason, chosen.next_step, chance, told, pieces=_pieces(members), decides=decides
    )


def _deciding_of_stack(members: list[Judged]) -> int:
    """Return the number of the board whose verdict stands for its stack: of the gravest word, the wettest."""
    word = worst([one.verdict.word for one in members])
    of_word = [number for number, one in enumerate(members) if one.verdict.word is word]
    return max(of_word, key=lambda number: _wetness(members[number].projection))


def _counted(members: list[Judged], measured: int, in_all: int, wet: Wettest | None) -> list[str]:
    """Of how many boards it is known, how wet the wettest of them is, and what they say of all."""
    said = [f"{measured} of {in_all} boards {'has' if measured == 1 else 'have'} been measured."]
    if wet is not None:
        said.append(wettest_sentence(wet))
    if in_all > len(members):
        said.append(f"Nothing is known of the {in_all - len(members)} that nobody entered but what these tell.")
    sampled = [_wetness(made) for _, made, *_ in members if made is not None and made.measured]
    by_sample = mean_of_all(sampled, in_all, _common_sd(members))
    if wet is not None and by_sample is not None and len(sampled) < in_all:
        low, middle, high = by_sample
        said.append(
            f"By the {len(sampled)} measured, the mean of all {in_all} is {middle:.1f} % ({low:.1f}–{high:.1f}) "
            "if they were picked without looking (Student's t, finite population)."
        )
    return said


def _common_sd(members: list[Judged]) -> float:
    """What the mean of the measured boards may be wrong by, member for member [%MC]."""
    now = [one.projection.member_mc_pct[:, 0] for one in members if one.projection and one.projection.measured]
    if not now:
        return 0.0
    count = min(len(one) for one in now)
    return float(np.std(np.mean([one[:count] for one in now], axis=0)))


def wettest_of(members: list[Judged], now_ms: int, limits: Limits = USUAL) -> Wettest | None:
    """Return the wettest of the boards whose projection is of now; None of fewer than two."""
    of_now = [(name, made) for name, made, *_ in members if made is not None and is_of_now(made, now_ms)]
    return wettest(of_now, limits)


def wettest_sentence(found: Wettest) -> str:
    """Say how wet the wettest board is, and which it may be."""
    band = found.mc_pct
    figure = f"{band.p50[0]:.1f} % ({band.p10[0]:.1f}–{band.p90[0]:.1f})"
    return f"The wettest of {found.boards} boards now: {figure}; most likely {found.likeliest} ({found.share:.0%})."


def below_sentence(found: Wettest) -> str:
    """Say when the wettest board is as dry as it is to become next; empty where it is."""
    if found.goal_mc_pct is None:
        return ""
    early, middle, late = (days_to(one, int(found.at_ms[0])) for one in found.below_ms)
    goal = f"{found.goal_mc_pct:.1f}".removesuffix(".0")
    if middle is None:
        sooner = "" if early is None else f"; 1 time in 10 it does within {days_words(early)}"
        return f"The wettest does not come below {goal} % within {ahead_words(_looked_days(found))}{sooner}."
    told = f"The wettest is below {goal} % in about {days_words(middle)}"
    if late is None:
        return f"{told} ({early or 0}, or later than {ahead_words(_looked_days(found))} from now)."
    return f"{told} ({early or 0}–{late})."


def _looked_days(found: Wettest) -> float:
    return float(found.at_ms[-1] - found.at_ms[0]) / MS_PER_DAY


def _wetness(projection: Projection | None) -> float:
    return float(projection.mean.p50[now_index(projection)]) if projection is not None else -1.0
