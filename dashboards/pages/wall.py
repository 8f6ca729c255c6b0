"""The wall view: for a tablet on a nail, one thing at a time, read from two metres: mark, word, one number."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from urllib.parse import quote

from dashboards import control_marks, page_warnings
from dashboards.pages import in_few_words, parts
from dashboards.pages.in_few_words import Thing
from dashboards.pages.parts import Link, VerdictView
from dashboards.pages.yard import ages, in_yard_order
from dashboards.situation import Situation
from kiln.control import Control
from kiln.records import Word
from kiln.sentences import capital, lower
from shared.errors import BadInput

EACH_S = 12  # how long a thing stands there before the next one comes
HOME = "/?wall=1"
BETWEEN_STOPS = 3  # after so many others all that is STOP comes round again
LONG_NUMBER = 10  # letters of the number that still fit when they are drawn largest


@dataclass(frozen=True)
class Face:
    """The one thing that is shown."""

    name: str = field(metadata={"help": "What it is called"})
    about: str = field(metadata={"help": "Kind and place"})
    verdict: VerdictView = field(metadata={"help": "The verdict on it"})
    long_word: bool = field(metadata={"help": "Whether the word is three words, which stand in two lines"})
    long_number: bool = field(metadata={"help": "Whether the number is words that need two lines"})
    ages: str = field(metadata={"help": "Age of the weigh-in that it rests on and of the air"})
    doing: str = field(metadata={"help": "What to do now where the word is STOP; else empty"})


@dataclass(frozen=True)
class WarningStrip:
    """The worst of the warnings of finish rooms, and how many more there are."""

    key: str = field(metadata={"help": "Its word as a style: over, cant-say, not-shown"})
    word: str = field(metadata={"help": "OVER, CAN'T SAY or NOT SHOWN TO BE UNDER CONTROL"})
    lines: tuple[Link, ...] = field(metadata={"help": "What and where, and the first thing to do"})


@dataclass(frozen=True)
class WallPage:
    """Everything that wall.html may use."""

    face: Face | None = field(metadata={"help": "What is shown now; None while nothing has been entered"})
    turn: str = field(metadata={"help": "Which of how many cards of the yard it is"})
    to_next: str = field(metadata={"help": "Path of the one that comes after it"})
    next_name: str = field(metadata={"help": "What comes after it is called"})
    stay: Link = field(metadata={"help": "Staying on this one, or going round again"})
    goes_round: bool = field(metadata={"help": "Whether the next one comes by itself"})
    each_s: int = field(metadata={"help": "After how long the next one comes [s]"})
    stops: tuple[Link, ...] = field(metadata={"help": "All else of which the word is STOP, and what to do"})
    warnings: tuple[WarningStrip, ...] = field(metadata={"help": "What is over or can't be said in finish rooms"})
    notes: tuple[str, ...] = field(metadata={"help": "What is wrong with recorder or watch"})


def wall_page(situation: Situation, asked: Mapping[str, str]) -> WallPage:
    """Fill the wall view; ``asked``: ``only`` is the one thing to stay on, ``at`` which of the others is due."""
    things = in_yard_order(situation)
    turns, only = _turns(things), asked.get("only", "")
    at = _number_of(turns, things, only) if only else _turn(asked.get("at", "0"))
    notes = tuple(note for note in (situation.recorder_note, situation.watch_note) if note)
    if not things:
        nowhere = Link("The yard", "/")
        return WallPage(None, "", HOME, "", nowhere, False, EACH_S, (), strips(situation), notes)
    at, after = at % len(turns), (at + 1) % len(turns)
    thing, following = turns[at], turns[after]
    here = f"{HOME}&at={at}"
    return WallPage(
        face=_face(situation, thing),
        turn=f"card {things.index(thing) + 1} of {len(things)}",
        to_next=f"{HOME}&at={after}",
        next_name=following.fact.name,
        stay=Link("Go round", here) if only else Link("Stay here", f"{HOME}&only={quote(_key(thing))}"),
        goes_round=not only,
        each_s=EACH_S,
        stops=_stops(situation, thing),
        warnings=strips(situation),
        notes=notes,
    )


def strips(situation: Situation) -> tuple[WarningStrip, ...]:
    """Return the warnings of the finish rooms in one line, however many: the face below needs the room."""
    found = page_warnings.warnings_of(situation)
    if not found:
        return ()
    first = found[0]  # the worst
    more = len({(one.control, one.short) for one in found}) - 1
    told = f"{capital(first.short)}{f' and {more} more' if more else ''}"
    if first.control is not Control.NOT_SHOWN:
        told = f"{told}: {lower(first.acts[0]).split('. ')[0].rstrip('.')}."
    line = Link(told, "/finish#now" if more else first.path)
    return (WarningStrip(control_marks.KEYS[first.control], control_marks.WORDS[first.control], (line,)),)


def _turns(things: list[Thing]) -> list[Thing]:
    """Return what the view goes round: all that has a card; first what is STOP, and again after every third other."""
    stops = [one for one in things if one.verdict.word is Word.STOP]
    others = [one for one in things if one.verdict.word is not Word.STOP]
    found = [] if others else list(stops)
    for start in range(0, len(others), BETWEEN_STOPS):
        found += [*stops, *others[start : start + BETWEEN_STOPS]]
    return found


def _key(thing: Thing) -> str:
    return f"{thing.subject.kind.value}:{thing.subject.code}"


def _number_of(turns: list[Thing], things: list[Thing], only: str) -> int:
    for number, thing in enumerate(turns):
        if _key(thing).lower() == only.lower():
            return number
    keys = ", ".join(map(_key, things)) or "something once there is something in the yard"
    raise BadInput("only", only, keys)


def _turn(typed: str) -> int:
    if not (typed.isascii() and typed.isdigit() and len(typed) < 7):
        raise BadInput("at", typed, "which one in the order of the yard: 0, 1, 2 and so on")
    return int(typed)


def _face(situation: Situation, thing: Thing) -> Face:
    where = parts.place_link(situation, in_few_words.where_id(thing)).text
    view = parts.verdict_view(thing.verdict)
    kind = thing.subject.kind.value
    return Face(
        name=thing.fact.name,
        about=f"{kind}, {where}",
        verdict=view,
        long_word=thing.verdict.word is Word.DRY_ENOUGH,
        long_number=len(view.number) > LONG_NUMBER,
        ages=ages(situation, thing),
        doing=in_few_words.act(thing.verdict) if thing.verdict.word is Word.STOP else "",
    )


def _stops(situation: Situation, but: Thing) -> tuple[Link, ...]:
    return tuple(
        Link(
            f"{one.fact.name}: {lower(in_few_words.act(one.verdict))}", f"/{one.subject.kind.value}/{one.subject.code}"
        )
        for one in in_yard_order(situation)
        if one.verdict.word is Word.STOP and one is not but
    )
