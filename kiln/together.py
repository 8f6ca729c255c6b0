"""Verdicts on what belongs together: matched sets and stacks. The gravest piece decides."""

from __future__ import annotations

import numpy as np

from kiln.readiness import now_index
from kiln.records import Gate, Projection, Verdict, Word

TWIN_DIFFERENCE_MC_PCT = 0.5  # the twins of one joint; ours, no published limit found
GRAVEST_FIRST = (Word.STOP, Word.CANT_SAY, Word.WAIT, Word.READY)

Judged = tuple[str, Projection | None, Verdict]  # a piece's name, projection and verdict


def worst(words: list[Word]) -> Word:
    """The gravest of some words."""
    return min(words, key=GRAVEST_FIRST.index)


def judge_set(members: list[Judged]) -> Verdict:
    """Return the verdict on a matched set from its pieces' (name, projection, verdict).

    The gravest piece decides; twins that differ by more than half a % are not at rest together.
    """
    if not members:
        return Verdict(Word.CANT_SAY, "?", "There is nothing in this set yet.", "Put its pieces into the set.", None, (), ())
    word = worst([verdict.word for _, _, verdict in members])
    name, _, chosen = next(member for member in members if member[2].word is word)
    gates = tuple(Gate(piece, verdict.word, verdict.reason, verdict.probability) for piece, _, verdict in members)
    apart = _difference(members)
    evidence = tuple(dict.fromkeys(line for _, _, verdict in members for line in verdict.evidence))
    if apart is not None:
        agreed = apart[0] <= TWIN_DIFFERENCE_MC_PCT
        sentence = (
            f"Pieces lie {apart[0]:.1f} % apart (± {apart[1]:.1f}); {TWIN_DIFFERENCE_MC_PCT:.1f} is our limit for twins."
        )
        gates = (Gate("pieces agree", Word.READY if agreed else Word.WAIT, sentence, None), *gates)
        if word is Word.READY and not agreed:
            return Verdict(Word.WAIT, f"{apart[0]:.1f} % apart", sentence, "Leave the pieces together in one air.",
                           chosen.probability, evidence, gates)
    if word is Word.READY:
        reason = f"All {len(members)} pieces are fit. {chosen.reason}"
        return Verdict(word, chosen.number, reason, chosen.next_step, chosen.probability, evidence, gates)
    return Verdict(word, chosen.number, f"{name} decides. {chosen.reason}", chosen.next_step, chosen.probability, evidence, gates)


def _difference(members: list[Judged]) -> tuple[float, float] | None:
    """Greatest difference of the pieces' moisture [%MC] and half the width of its 80 % band."""
    known = [projection for _, projection, _ in members if projection is not None]
    if len(known) < 2:
        return None
    middle = [float(p.mean.p50[now_index(p)]) for p in known]
    half = [float(p.mean.p90[now_index(p)] - p.mean.p10[now_index(p)]) / 2 for p in known]
    return max(middle) - min(middle), float(np.hypot(half[int(np.argmax(middle))], half[int(np.argmin(middle))]))


def judge_stack(members: list[Judged], measured: int) -> Verdict:
    """Return the verdict on a stack: its gravest board decides, and how many were measured is said."""
    if not members:
        return Verdict(Word.CANT_SAY, "?", "There is no board in this stack yet.", "Add the first board.", None, (), ())
    word = worst([verdict.word for _, _, verdict in members])
    of_word = [member for member in members if member[2].word is word]
    name, _, chosen = max(of_word, key=lambda member: _wetness(member[1]))
    counted = f"{measured} of {len(members)} boards have been measured."
    reason = f"{name} decides. {chosen.reason}"
    gates = tuple(Gate(board, verdict.word, verdict.reason, verdict.probability) for board, _, verdict in members)
    return Verdict(word, chosen.number, reason, chosen.next_step, chosen.probability, (counted, *chosen.evidence), gates)


def _wetness(projection: Projection | None) -> float:
    return float(projection.mean.p50[now_index(projection)]) if projection is not None else -1.0
