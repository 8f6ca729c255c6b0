"""A verdict in few words, for a card or a strip: where it stands or what it is about, and what to do; never cut."""

from __future__ import annotations

import re

from dashboards import display
from dashboards.pages import parts
from dashboards.situation import BoardNow, SetNow, StackNow
from kiln.doubts import is_of_now
from kiln.evidence import banded, now_index, wanted
from kiln.harm import FOUL
from kiln.reclaimed import FOUL_INDOORS, TARRED
from kiln.records import Verdict, Word
from kiln.sentences import capital

Thing = StackNow | SetNow | BoardNow

LONG = 80  # letters: about two lines of a phone
WITH_FIGURES = re.compile(r" \([^()]*\d[^()]*\)")
SENTENCE_END = re.compile(r"(?<=[a-z)%\d])\. (?=[A-Z])")
CLAUSE_END = re.compile(r"[;:] ")
ACT_END = re.compile(r"[,;:] |\. (?=[A-Z])")
BY_FIGURES = (Word.READY, Word.DRY_ENOUGH, Word.WAIT)  # of these the moisture says why


def in_short(step: str) -> str:
    """Return the first of what is to be done, without its figures, which stand on the page that it leads to."""
    first = _first_sentence(WITH_FIGURES.sub("", step))
    if len(first) > LONG:
        first = CLAUSE_END.split(first, maxsplit=1)[0]
    return first if first.endswith("?") else f"{first}."


def _first_of_all(step: str) -> tuple[str, str]:
    """Return what stands before any step, whole, and the step: what is told of tar and gas is never left out."""
    first = ""
    for one in (FOUL_INDOORS, TARRED):
        if step.startswith(one):
            first, step = f"{first}{one} ", step.removeprefix(one).lstrip()
    return first, step


def step_of(verdict: Verdict) -> str:
    """Return the next step without the danger's name before it, which the verdict has said already."""
    named = f"{capital(verdict.number)}: "
    step = _first_of_all(verdict.next_step)[1]
    return capital(step.removeprefix(named)) if step.startswith(named) else step


def doing(verdict: Verdict) -> str:
    """Return what is to be done, in short; of poison nothing is left out."""
    if verdict.number == FOUL:
        return verdict.next_step
    return f"{_first_of_all(verdict.next_step)[0]}{in_short(step_of(verdict))}"


def act(verdict: Verdict) -> str:
    """Return what is to be done in the fewest words: the first thing that hands do."""
    if verdict.number == FOUL:
        return verdict.next_step
    first = ACT_END.split(in_short(step_of(verdict)), maxsplit=1)[0].rstrip(".")
    return f"{_first_of_all(verdict.next_step)[0]}{first}"


def boards_of(thing: Thing) -> list[BoardNow]:
    """Return the boards that a thing is made of."""
    return [thing] if isinstance(thing, BoardNow) else thing.boards


def decider(thing: Thing) -> BoardNow | None:
    """Return the board whose verdict stands for the thing; None where all its pieces decide together."""
    if isinstance(thing, BoardNow):
        return thing
    return None if thing.verdict.decides is None else thing.boards[thing.verdict.decides]


def line(thing: Thing, now_ms: int) -> str:
    """Return why the word is what it is, made to be short: the moisture and what is wanted, or the cause."""
    board = decider(thing)
    if board is None:
        return _cause(thing.verdict.reason)
    made, word = board.projection, board.verdict.word
    if word not in BY_FIGURES or made is None or not is_of_now(made, now_ms):
        return _cause(board.verdict.reason)
    return f"{banded(made, now_index(made))}, wanted {wanted(made).removesuffix(' %')}"


def _cause(reason: str) -> str:
    """Return the first sentence of a reason that is not what the model makes of it; no figure of it is cut."""
    told = [one for one in SENTENCE_END.split(reason) if not one.startswith("The model puts it at")]
    return in_whole(told[0]) if told else in_whole(reason)


def in_whole(sentence: str) -> str:
    """Return a sentence with its end; of a long one the first clause."""
    first = sentence if len(sentence) <= LONG else CLAUSE_END.split(sentence, maxsplit=1)[0]
    return first if first.endswith(("?", ".")) else f"{first}."


def _first_sentence(text: str) -> str:
    return SENTENCE_END.split(text, maxsplit=1)[0].rstrip(".")


def weighed(thing: Thing, now_ms: int) -> str:
    """Return when that was weighed on which the word rests: what decides, or of several the one longest ago."""
    boards, board = boards_of(thing), decider(thing)
    if isinstance(thing, BoardNow) or board is None:
        return _weighed_all(boards, now_ms)
    return f"decides: {board.fact.name}, {_weighed_all([board], now_ms)}"


def _weighed_all(boards: list[BoardNow], now_ms: int) -> str:
    """Of several the one that was weighed longest ago is told, for the word rests on all of them."""
    last = [parts.newest_weigh_in_ms([one]) for one in boards]
    known = [one for one in last if one is not None]
    if len(known) < len(last):
        return "never weighed" if not known else "not all weighed yet"
    told = display.age(min(known), now_ms)
    return f"weighed {told}" if len({display.age(one, now_ms) for one in known}) == 1 else f"weighed {told} or later"


def where_id(thing: Thing) -> int | None:
    """Return the place that a thing is in; None of one that has none, or of an empty set."""
    boards = boards_of(thing)
    return boards[0].place_id if boards else getattr(thing, "place_id", None)
