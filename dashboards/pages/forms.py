"""Forms as records: one template draws them all, works without script, and shows an error at its field."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from urllib.parse import urlencode

from dashboards.acknowledging import FIELD as ACKNOWLEDGED
from shared import tables
from shared.errors import BadInput, BenchdryError

SPECIES = "species"
PICKED = "picked-"  # before the key of the field that a likely value is tapped for
MOST_LIKELY = 6
ALL_TIMBERS = "/work-out/timber"
UNTICKED = "the box is not ticked; tick it once what stands under it is so."


@dataclass(frozen=True)
class Option:
    """One choice of a list."""

    value: str = field(metadata={"help": "What is sent"})
    label: str = field(metadata={"help": "What is read"})


@dataclass(frozen=True)
class Field:
    """One thing to fill in."""

    key: str = field(metadata={"help": "Name under which it is sent"})
    label: str = field(metadata={"help": "What is asked"})
    kind: str = field(
        default="text", metadata={"help": "text, lines, number, signed, choice, moment, day, tick, password or hidden"}
    )
    value: str = field(default="", metadata={"help": "What it holds when shown"})
    unit: str = field(default="", metadata={"help": "Unit written behind it"})
    sent_in: str = field(
        default="", metadata={"help": "Unit in which it is sent, and the figure it was shown for; empty: as it is kept"}
    )
    hint: str = field(default="", metadata={"help": "One line under it"})
    options: tuple[Option, ...] = field(default=(), metadata={"help": "Choices, for a list"})
    suggestions: tuple[str, ...] = field(default=(), metadata={"help": "Suggestions while typing"})
    needed: bool = field(default=False, metadata={"help": "Whether it may not stay empty"})
    spoken: str = field(default="", metadata={"help": "What an error message calls it"})
    error: str = field(default="", metadata={"help": "What is wrong with it, in one sentence"})
    likely: tuple[Option, ...] = field(
        default=(), metadata={"help": "What may have been meant, to tap in place of what was typed"}
    )
    all_of_them: str = field(default="", metadata={"help": "Path to all that it could be; empty: those are all"})


@dataclass(frozen=True)
class Form:
    """A form to send."""

    name: str = field(metadata={"help": "Which form of its page it is"})
    title: str = field(metadata={"help": "What it enters"})
    action: str = field(metadata={"help": "Path that it is sent to"})
    submit: str = field(metadata={"help": "Words on its button"})
    fields: tuple[Field, ...] = field(metadata={"help": "What to fill in"})
    intro: str = field(default="", metadata={"help": "A line above the fields"})
    before: str = field(default="", metadata={"help": "What to mind before the work that it asks about; or empty"})
    error: str = field(default="", metadata={"help": "What is wrong with it as a whole"})
    open: bool = field(default=False, metadata={"help": "Whether it is shown unfolded"})


@dataclass(frozen=True)
class Attempt:
    """A form that was sent and not accepted: shown again as it was typed."""

    name: str
    typed: Mapping[str, str]
    error: BenchdryError


def shown_again(form: Form, attempt: Attempt | None) -> Form:
    """Return a form with what was typed and the error at its field, when it is the one that was sent."""
    if attempt is None or attempt.name != form.name:
        return form
    kept = [replace(one, value=attempt.typed.get(one.key, "")) for one in form.fields]
    sentence = sentence_of(attempt.error)
    index = at_fault(kept, attempt.error)
    if index is None:
        return replace(form, fields=tuple(kept), error=sentence, open=True)
    likely, every = _likely(attempt.error)
    kept[index] = replace(kept[index], error=sentence, likely=likely[:MOST_LIKELY], all_of_them=every)
    return replace(form, fields=tuple(kept), open=True)


def picked(typed: Mapping[str, str]) -> dict[str, str]:
    """Return what a form holds, what was tapped among the likely put in place of what was typed."""
    tapped = {key.removeprefix(PICKED): value for key, value in typed.items() if key.startswith(PICKED) and value}
    return {key: value for key, value in typed.items() if not key.startswith(PICKED)} | tapped


def sentence_of(error: BenchdryError) -> str:
    """Return what a refusal says above a form: without what stands under its field anyway."""
    if isinstance(error, BadInput) and error.field == ACKNOWLEDGED:
        return UNTICKED
    likely, _every = _likely(error)
    if not (isinstance(error, BadInput) and error.field == SPECIES and likely):
        return str(error)
    if len(likely) == 1:
        return f"species is {error.value}, which the table does not have by that name; choose the one below if it is."
    return f"species is {error.value}, which can be {len(likely)} timbers, and their numbers differ; choose one below."


def _likely(error: BenchdryError) -> tuple[tuple[Option, ...], str]:
    """What a refused value may have meant, and where all of it stands."""
    if not isinstance(error, BadInput):
        return (), ""
    if error.proposal:
        return (Option(error.proposal, error.proposal),), ""
    if error.field != SPECIES:
        return (), ""
    found = tables.likely_species(str(error.value))
    options = tuple(Option(one.species.botanical_name, _timber(one)) for one in found)
    return options, f"{ALL_TIMBERS}?{urlencode({'name': str(error.value)})}" if options else ALL_TIMBERS


def _timber(one: tables.Likely) -> str:
    return f"{one.species.label}: {one.where}" if one.where else one.species.label


def at_fault(fields: list[Field], error: BenchdryError) -> int | None:
    """Return which field an error speaks of: the one whose name begins it, the longest name first."""
    if not isinstance(error, BadInput):
        return None
    order = sorted(range(len(fields)), key=lambda index: -len(fields[index].spoken or fields[index].label))
    for index in order:
        spoken = (fields[index].spoken or fields[index].label).lower()
        if error.field.lower() == spoken or error.field.lower().startswith(spoken + " "):
            return index
    return None


def name_field(by: str) -> Field:
    """Return the field that asks who enters this; the browser remembers it."""
    return Field("by", "Your name", value=by, needed=True, spoken="your name")


def when_field() -> Field:
    """Return the field that asks from when an entry is true."""
    return Field("true_at", "When", "moment", hint="Empty: now.", spoken="time")
