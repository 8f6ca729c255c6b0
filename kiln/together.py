"""Verdicts on what belongs together: matched sets and stacks. The gravest piece decides."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from kiln.doubts import is_of_now
from kiln.evidence import SURE, now_index
from kiln.records import Z80, Gate, Projection, Verdict, Word
from kiln.spans import days_to, days_words
from kiln.wettest import Wettest, mean_of_all, wettest
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


def judge_stack(members: list[Judged], measured: int, in_all: int = 0, wet: Wettest | None = None) -> Verdict:
    """Return the verdict on a stack: its gravest board decides; of how many it is known, and the wettest, is said.

    ``in_all``: how many boards lie in it, where more do than are entered. ``wet``: its wettest board, where known now.
    """
    if not members:
        return _empty("There is no board in this stack yet.", "Add the first board.")
    word = worst([verdict.word for _, _, verdict in members])
    of_word = [member for member in members if member[2].word is word]
    name, _, chosen = max(of_word, key=lambda member: _wetness(member[1]))
    reason = f"{name} decides. {chosen.reason}"
    gates = tuple(Gate(board, verdict.word, verdict.reason, verdict.probability) for board, _, verdict in members)
    told = (*_counted(members, measured, max(in_all, len(members)), wet), *chosen.evidence)
    return Verdict(word, chosen.number, reason, chosen.next_step, chosen.probability, told, gates)


def _counted(members: list[Judged], measured: int, in_all: int, wet: Wettest | None) -> list[str]:
    """Of how many boards it is known, how wet the wettest of them is, and what they say of all."""
    said = [f"{measured} of {in_all} boards {'has' if measured == 1 else 'have'} been measured."]
    if wet is not None:
        said.append(wettest_sentence(wet))
    if in_all > len(members):
        said.append(f"Nothing is known of the {in_all - len(members)} that nobody entered but what these tell.")
    sampled = [_wetness(made) for _, made, _ in members if made is not None and made.measured]
    by_sample = mean_of_all(sampled, in_all)
    if wet is not None and by_sample is not None and len(sampled) < in_all:
        low, middle, high = by_sample
        said.append(
            f"By the {len(sampled)} measured, the mean of all {in_all} is {middle:.1f} % ({low:.1f}–{high:.1f}) "
            "if they were picked without looking (Student's t, finite population)."
        )
    return said


def wettest_of(members: list[Judged], now_ms: int) -> Wettest | None:
    """Return the wettest of the boards whose projection is of now; None of fewer than two."""
    of_now = [(name, made) for name, made, _ in members if made is not None and is_of_now(made, now_ms)]
    return wettest(of_now)


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
        return f"The wettest does not come below {goal} % within the look-ahead{sooner}."
    until = "beyond the look-ahead" if late is None else f"{late}"
    return f"The wettest is below {goal} % in about {days_words(middle)} ({early or 0}–{until})."


def _wetness(projection: Projection | None) -> float:
    return float(projection.mean.p50[now_index(projection)]) if projection is not None else -1.0
