"""Adding things: one page, a form for each kind."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any
from urllib.parse import quote

from dashboards.pages import add_forms
from dashboards.pages.add_forms import Chosen
from dashboards.pages.forms import Attempt, Form, shown_again
from dashboards.situation import Situation
from shared.store.records import PlaceKind, Subject, SubjectKind

PLACE_FIRST = "Add a place first: a stack stands in one, a board lies in one, a probe measures one."
ORDER = (
    *(SubjectKind.BOARD, SubjectKind.STACK, SubjectKind.SET, SubjectKind.PLACE, SubjectKind.PROBE),
    SubjectKind.FINISH,
)


@dataclass(frozen=True)
class AddPage:
    """Everything that add.html may use."""

    forms: tuple[Form, ...] = field(metadata={"help": "A form for each kind of thing"})
    waiting: tuple[str, ...] = field(metadata={"help": "Probes that are heard and wait for a place"})
    first: str = field(metadata={"help": "What to add first, when something is missing for the rest"})


def add_page(
    situation: Situation, by: str, attempt: Attempt | None, query: Mapping[str, str] = MappingProxyType({})
) -> AddPage:
    """Fill the page that adds things; ``query`` may name the stack, place or set that something is added to."""
    chosen = _chosen(situation, query)
    forms = tuple(shown_again(add_forms.add(kind, situation, by, chosen), attempt) for kind in ORDER)
    if attempt is None and (chosen.stack or chosen.set):
        forms = tuple(replace(one, open=one.name == SubjectKind.BOARD) for one in forms)
    waiting = tuple(probe.fact.name for probe in situation.probes if probe.state == "unplaced")
    return AddPage(forms=forms, waiting=waiting, first="" if situation.open_places else PLACE_FIRST)


def _chosen(situation: Situation, query: Mapping[str, str]) -> Chosen:
    """What an address names and the yard has; anything else is not chosen."""
    return Chosen(
        stack=_code_of(situation.stacks, query.get("stack", "")),
        place=_code_of(situation.open_places, query.get("place", "")),
        set=_code_of(situation.sets, query.get("set", "")),
    )


def _code_of(things: Sequence[Any], typed: str) -> str:
    return next((one.subject.code for one in things if one.subject.code.lower() == typed.strip().lower()), "")


def leads_on(made: Subject, typed: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """Return what comes next after adding something, each as words and path; ``typed``: the form that was sent."""
    code = quote(made.code)
    finishing = typed.get("kind") == PlaceKind.FINISH_ROOM
    after = {
        SubjectKind.PLACE: (
            *((("Enter its figures", f"/finish/room/{code}#finish-room"),) if finishing else ()),
            *(() if finishing else (("Now a stack here", f"/add?place={code}#stack"),)),
            ("Hang a probe", f"/add?place={code}#probe"),
        ),
        SubjectKind.STACK: (("Add its first board", f"/add?stack={code}#board"),),
        SubjectKind.SET: (("Add its first piece", f"/add?set={code}#board"),),
        SubjectKind.BOARD: (("Weigh it now", f"/weigh?board={code}"), *_another(typed)),
    }
    return after.get(made.kind, ())


def _another(typed: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    kind, _colon, code = typed.get("where", "").partition(":")
    return (("Add another", f"/add?{kind}={quote(code)}#board"),) if kind in ("stack", "place") and code else ()
