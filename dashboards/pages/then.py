"""What was known of a board or set at an earlier time: its verdict of then, and how the word changed over time."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from urllib.parse import quote, urlencode

from markupsafe import Markup

from dashboards import display, marks
from dashboards import replay as replays
from dashboards.pages import parts
from dashboards.pages.forms import Field, Form, at_fault
from dashboards.pages.parts import VerdictView
from dashboards.replay import Change, Then
from kiln.records import Word
from shared.errors import BenchdryError
from shared.store.records import Subject
from shared.units import MS_PER_S

NOTHING_MORE = "no more told"


@dataclass(frozen=True)
class ChangeLine:
    """One change of the word that was told."""

    key: str = field(metadata={"help": "Its word as a style: ready, wait, stop, unsure; empty: nothing more was told"})
    mark: Markup = field(metadata={"help": "Its joint mark"})
    word: str = field(metadata={"help": "The word told from then on"})
    number: str = field(metadata={"help": "The one figure, with its unit"})
    when: str = field(metadata={"help": "From when on it was told"})
    reason: str = field(metadata={"help": "Why, as it was told"})
    link: str = field(metadata={"help": "Address of what was known then"})


@dataclass(frozen=True)
class ThenPage:
    """Everything that then.html may use."""

    kind: str = field(metadata={"help": "board or set"})
    code: str = field(metadata={"help": "Its code"})
    form: Form = field(metadata={"help": "Asking for a time; sent as an address, so that it can be kept and shared"})
    when: str = field(metadata={"help": "The time that was asked for; empty: none was, or it was refused"})
    name: str = field(metadata={"help": "What it was called then, or is now where no time was asked for"})
    verdict: VerdictView | None = field(metadata={"help": "The verdict of then; None until a time was asked for"})
    was_told: bool = field(metadata={"help": "Whether the journal has anything that was told of it by then"})
    told: str = field(metadata={"help": "What the journal says was told of it last by then"})
    how: str = field(metadata={"help": "What the verdict rests on: what was known then, or what is known now"})
    not_kept: str = field(metadata={"help": "What is not kept from then"})
    changes: tuple[ChangeLine, ...] = field(metadata={"help": "When the word that was told changed, newest first"})
    nothing: str = field(default="", metadata={"help": "That nothing had been entered by the time asked for; or empty"})
    hindsight: str = field(default="", metadata={"help": "Address of that time in hindsight; empty: no need of it"})


def then_page(
    subject: Subject,
    changes: list[Change],
    found: Then | None,
    typed: tuple[str, bool] = ("", False),
    error: BenchdryError | None = None,
    name: str = "",
    nothing: str = "",
) -> ThenPage:
    """Fill the page; ``typed``: the time, and whether in hindsight; ``error``: why it was refused.

    ``name``: what it is called now; empty: its code. ``nothing``: that nothing was known of it then; empty: it was.
    """
    asked, looked = {"at": typed[0], "hindsight": "yes"}, nothing or _unsaid(found)
    verdict = found.thing.verdict if found else None
    return ThenPage(
        kind=str(subject.kind),
        code=subject.code,
        form=_form(subject, *typed, error),
        when=display.moment(found.at_ms) if found else "",
        name=found.thing.fact.name if found else name or subject.code,
        verdict=parts.verdict_view(verdict, found.thing.override) if found and verdict else None,
        was_told=found is not None and found.told is not None,
        told=replays.told_sentence(found) if found else "",
        how=found.how if found else "",
        not_kept=replays.NOT_KEPT,
        changes=tuple(_line(subject, one) for one in reversed(changes)),
        nothing=nothing,
        hindsight=f"/{subject.kind}/{quote(subject.code)}/then?{urlencode(asked)}" if looked and not typed[1] else "",
    )


def _unsaid(found: Then | None) -> bool:
    """Whether too little was known by then to say anything."""
    return found is not None and found.thing.verdict is not None and found.thing.verdict.word is Word.CANT_SAY


def _form(subject: Subject, at: str, hindsight: bool, error: BenchdryError | None) -> Form:
    asked = [
        Field("at", "At what time", "moment", value=at, needed=True, spoken="time"),
        Field("hindsight", "In hindsight: as it is known now", "tick", value="yes" if hindsight else ""),
    ]
    action = f"/{subject.kind}/{quote(subject.code)}/then"
    form = Form("then", "What was known on an earlier day", action, "Work it out", tuple(asked))
    if error is None:
        return form
    index = at_fault(asked, error)
    if index is None:
        return replace(form, error=str(error))
    asked[index] = replace(asked[index], error=str(error))
    return replace(form, fields=tuple(asked))


def _line(subject: Subject, one: Change) -> ChangeLine:
    word = Word(one.word) if one.word else None
    return ChangeLine(
        key=marks.WORD_KEYS[word] if word else "",
        mark=marks.joint(word) if word else Markup('<span class="mark"></span>'),
        word=f"Now wanted for: {one.use}" if one.use else one.word or NOTHING_MORE,
        number=one.number,
        when=display.moment(one.at_ms),
        reason=one.reason,
        link=f"/{subject.kind}/{quote(subject.code)}/then?at={just_after(one.at_ms)}",
    )


def just_after(at_ms: int) -> str:
    """Return the next full second as an address has it: by then it was told."""
    return f"{display.local(-(-at_ms // MS_PER_S) * MS_PER_S):%Y-%m-%dT%H:%M:%S}"
