"""What a board's page keeps in sight: the way to each entry, what to mind before work, and what it is in a line."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from dashboards import heavy, smelt, wood_warnings
from dashboards.pages.forms import Form
from dashboards.situation import BoardNow
from kiln import reclaimed
from kiln.records import Standing
from kiln.standing import MOULD
from shared.store.records import Origin

WHAT_LIFTING_ASKS = "/hurt#lifting"
MOST_SHOWN = 3
NEEDLESS = re.compile("^(enter|say) (a |an |its )?| (into|in width) .*$")  # of a form's title, where several are listed
MOULD_TOPIC = "mould"
MOULD_DONE = "Clean it off damp, outdoors, with breathing protection."


@dataclass(frozen=True)
class Mind:
    """One thing to mind before work begins."""

    topic: str = field(metadata={"help": "The caution that it goes back to, as the table of cautions knows it"})
    name: str = field(metadata={"help": "What it is about"})
    sentence: str = field(metadata={"help": "What is so, and what to do"})
    to: str = field(default="", metadata={"help": "Path to who says so; empty where the reminders below say it"})


@dataclass(frozen=True)
class FormGroup:
    """Forms that belong together, folded away under their names."""

    key: str = field(metadata={"help": "Where it stands on the page"})
    title: str = field(metadata={"help": "What is entered there"})
    told: str = field(metadata={"help": "Which forms it holds"})
    lead: str = field(metadata={"help": "How things stand now; empty: nothing to say"})
    forms: tuple[Form, ...] = field(metadata={"help": "The forms"})
    open: bool = field(metadata={"help": "Whether one of them was refused, so that it must be seen"})


def group(key: str, title: str, forms: tuple[Form, ...], lead: str = "") -> FormGroup:
    """Return forms as a group, told by their titles."""
    names = [NEEDLESS.sub("", one.title[:1].lower() + one.title[1:]) for one in forms]
    return FormGroup(key, title, ", ".join(names), lead, forms, any(one.open for one in forms))


def to_mind(board: BoardNow, now_ms: int) -> tuple[Mind, ...]:
    """Return what bears on this board by what it is and how it stands, the most pressing first; dust always last.

    Its weight is never left out: it is to be known before it is lifted.
    """
    all_of_it = (_heavy(board, now_ms), _mould(board), _metal(board))
    found = [one for one in all_of_it if one is not None]
    return (*found[: MOST_SHOWN - 1], _dust(board))


def first_of_all(board: BoardNow) -> tuple[Mind, ...]:
    """Return what comes before the hands, its verdict and every button: gas and tar, by what it or its log smelt of."""
    return tuple(Mind(topic, smelt.NAMES[topic], smelt.AT_HAND[topic]) for topic in smelt.topics(board))


def use_qualified(board: BoardNow, told: str) -> str:
    """Return what a board is wanted for, with what stands before it where it is tarred."""
    return f"{told} · tarred, so ask first" if reclaimed.TAR_TOPIC in smelt.topics(board) else told


def _mould(board: BoardNow) -> Mind | None:
    dangers = board.projection.dangers if board.projection is not None else None
    one = next((one for one in dangers.dangers if one.name == MOULD), None) if dangers is not None else None
    if one is None or one.standing not in (Standing.OVER, Standing.NEAR):
        return None
    how = "Found on it." if one.figure == "found" else f"{one.standing.value.capitalize()}: look at its faces."
    return Mind(MOULD_TOPIC, "Mould", f"{how} {MOULD_DONE}")


def _heavy(board: BoardNow, now_ms: int) -> Mind | None:
    told = heavy.before_lifting(heavy.of_board(board, now_ms), now_ms)
    return Mind(reclaimed.HEAVY_TOPIC, "Heavy", told, WHAT_LIFTING_ASKS) if told else None


def _metal(board: BoardNow) -> Mind | None:
    if board.fact.origin is not Origin.RECLAIMED or (board.lifted is not None and board.lifted.metal_searched):
        return None
    told = "Nobody entered that it was searched. Wash and search it before a blade touches it."
    return Mind(reclaimed.METAL_TOPIC, "Metal and grit", told)


def _dust(board: BoardNow) -> Mind:
    told = f"Wood dust harms lungs and nose: catch it at the tool. {wood_warnings.line_of(board.fact.species)}"
    return Mind(reclaimed.DUST_TOPIC, "Dust", told, wood_warnings.path_of(board.fact.species))
