"""Verdicts on what belongs together: matched sets and stacks. The gravest piece decides."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from kiln.evidence import SURE, now_index
from kiln.records import Z80, Gate, Projection, Verdict, Word
from shared.tables import limit

TWIN_DIFFERENCE_MC_PCT = limit("twins_apart")
LEAST_SD_MC_PCT = 0.1  # no two pieces are compared better than that; judgement
GRAVEST_FIRST = (Word.STOP, Word.CANT_SAY, Word.WAIT, Word.READY)

Judged = tuple[str, Projection | None, Verdict]  # a piece's name, projection and verdict


def worst(words: list[Word]) -> Word:
    """The gravest of some words."""
    return min(words, key=GRAVEST_FIRST.index)


def judge_set(members: list[Judged], *, in_one_air: bool = False) -> Verdict:
    """Return the verdict on a matched set from its pieces' (name, projection, verdict).

    The gravest piece decides; pieces that lie further apart than twins may are not at rest together, and
    where the measurements cannot tell whether they do, neither can we. ``in_one_air``: they lie together, so
    that a hygrometer that misreads does so for all of them.
    """
    if not members:
        return _empty("There is nothing in this set yet.", "Put its pieces into the set.")
    word = worst([verdict.word for _, _, verdict in members])
    name, _, chosen = next(member for member in members if member[2].word is word)
    gates = tuple(Gate(piece, verdict.word, verdict.reason, verdict.probability) for piece, _, verdict in members)
    evidence = tuple(dict.fromkeys(line for _, _, verdict in members for line in verdict.evidence))
    agree = _agreement(members, in_one_air)
    if agree is not None:
        gates = (agree, *gates)
    if word is not Word.READY:
        reason = f"{name} decides. {chosen.reason}"
        return Verdict(word, chosen.number, reason, chosen.next_step, chosen.probability, evidence, gates)
    if agree is not None and agree.word is Word.WAIT:
        number = f"{_difference(members, in_one_air)[0]:.1f} % apart"
        step = "Leave the pieces together in one air."
        return Verdict(Word.WAIT, number, agree.sentence, step, agree.probability, evidence, gates)
    if agree is not None and agree.word is Word.CANT_SAY:
        step = "Weigh all pieces on one scale, on two days a week apart."
        return Verdict(Word.CANT_SAY, "?", agree.sentence, step, agree.probability, evidence, gates)
    everything = {1: "The piece is", 2: "Both pieces are"}.get(len(members), f"All {len(members)} pieces are")
    reason = f"{everything} fit. {chosen.reason}"
    return Verdict(word, chosen.number, reason, chosen.next_step, chosen.probability, evidence, gates)


def _empty(reason: str, next_step: str) -> Verdict:
    return Verdict(Word.CANT_SAY, "?", reason, next_step)


def _agreement(members: list[Judged], in_one_air: bool) -> Gate | None:
    """Whether the pieces are at rest together; None with fewer than two projections."""
    if sum(projection is not None for _, projection, _ in members) < 2:
        return None
    apart, sd = _difference(members, in_one_air)
    limit = TWIN_DIFFERENCE_MC_PCT
    chance = float(ndtr((limit - apart) / sd) - ndtr((-limit - apart) / sd))
    told = f"Pieces lie {apart:.1f} % apart (± {Z80 * sd:.1f}); {limit:.1f} is our limit for twins."
    if chance >= SURE:
        return Gate("pieces agree", Word.READY, told, chance)
    if apart > limit and apart > Z80 * sd:
        return Gate("pieces agree", Word.WAIT, told, chance)
    told = f"Whether the pieces agree within {limit:.1f} % cannot be told: {apart:.1f} apart, ± {Z80 * sd:.1f}."
    return Gate("pieces agree", Word.CANT_SAY, told, chance)


def _difference(members: list[Judged], in_one_air: bool) -> tuple[float, float]:
    """Greatest difference of the pieces' distance from their own rest [%MC], and its standard deviation."""
    off = "off_target_together_mc_pct" if in_one_air else "off_target_mc_pct"
    known = [getattr(projection, off) for _, projection, _ in members if projection is not None]
    low, high = min(known, key=lambda off: off[1]), max(known, key=lambda off: off[1])
    sd = np.hypot(high[2] - high[0], low[2] - low[0]) / (2.0 * Z80)
    return high[1] - low[1], max(float(sd), LEAST_SD_MC_PCT)


def judge_stack(members: list[Judged], measured: int) -> Verdict:
    """Return the verdict on a stack: its gravest board decides, and how many were measured is said."""
    if not members:
        return _empty("There is no board in this stack yet.", "Add the first board.")
    word = worst([verdict.word for _, _, verdict in members])
    of_word = [member for member in members if member[2].word is word]
    name, _, chosen = max(of_word, key=lambda member: _wetness(member[1]))
    counted = f"{measured} of {len(members)} boards have been measured."
    reason = f"{name} decides. {chosen.reason}"
    gates = tuple(Gate(board, verdict.word, verdict.reason, verdict.probability) for board, _, verdict in members)
    return Verdict(
        word, chosen.number, reason, chosen.next_step, chosen.probability, (counted, *chosen.evidence), gates
    )


def _wetness(projection: Projection | None) -> float:
    return float(projection.mean.p50[now_index(projection)]) if projection is not None else -1.0
