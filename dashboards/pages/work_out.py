"""What can be worked out at the bench: the list of questions, and one question with its answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any
from urllib.parse import urlencode

from dashboards import finish_now, safety
from dashboards.answers import QUESTIONS
from dashboards.answers.records import Answer, Asked, Question, filled
from dashboards.pages.board_forms import species_field
from dashboards.pages.forms import Field, Form, Option, at_fault
from dashboards.pages.parts import Link
from shared import tables
from shared.errors import BadInput, BenchdryError

MOST_TIMBERS = 8
BEFORE_SHOWN = 3  # of a topic, the lines that come before the work; all stand below with who says so


@dataclass(frozen=True)
class Asking:
    """A question in the list."""

    name: str = field(metadata={"help": "Its name in the address"})
    title: str = field(metadata={"help": "What it asks"})
    lead: str = field(metadata={"help": "What it tells, in a sentence"})


@dataclass(frozen=True)
class WorkOutPage:
    """Everything that work_out.html may use."""

    asking: tuple[Asking, ...] = field(metadata={"help": "Every question"})


@dataclass(frozen=True)
class QuestionPage:
    """Everything that question.html may use."""

    name: str = field(metadata={"help": "Its name in the address"})
    title: str = field(metadata={"help": "What it asks"})
    lead: str = field(metadata={"help": "What it tells, in a sentence"})
    form: Form = field(metadata={"help": "What to fill in; sent as an address, so that it can be kept and shared"})
    answer: Answer | None = field(metadata={"help": "The answer; None until something was asked"})
    before: tuple[str, ...] = field(metadata={"help": "What to mind before anything is asked, never folded; or empty"})
    cautions: dict[str, tuple[safety.Caution, ...]] = field(metadata={"help": "Cautions that belong to it, by topic"})
    others: tuple[Asking, ...] = field(metadata={"help": "The other questions"})
    timbers: tuple[Link, ...] = field(metadata={"help": "What an ambiguous name can mean, to choose from"})
    refused: bool = field(metadata={"help": "Whether what was typed could not be answered"})
    first_line: str = field(metadata={"help": "Who decides, of a question of what can hurt someone; else empty"})
    last_line: str = field(metadata={"help": "The same, said last; else empty"})


def work_out_page() -> WorkOutPage:
    """Fill the list of questions."""
    return WorkOutPage(_asking(""))


def _asking(without: str) -> tuple[Asking, ...]:
    return tuple(Asking(one.name, one.title, one.lead) for one in QUESTIONS.values() if one.name != without)


def question_page(yard: Any, name: str, typed: Mapping[str, str]) -> QuestionPage:
    """Fill the page of one question, with its answer when it was asked."""
    if name not in QUESTIONS:
        raise BadInput("question", name, "one of " + ", ".join(QUESTIONS))
    question = QUESTIONS[name]
    asked, found, error = _answered(question, Asked(typed, yard))
    return QuestionPage(
        name=name,
        title=question.title,
        lead=question.lead,
        form=_form(question, asked, error),
        answer=found,
        before=tuple(one.sentence for topic in question.topics for one in safety.on_topic(topic)[:BEFORE_SHOWN]),
        cautions=safety.cautions(*(found.topics if found else question.topics)),
        others=_asking(name),
        timbers=_timbers(question, asked, error),
        refused=error is not None,
        first_line=safety.FIRST_LINE if question.defers else "",
        last_line=safety.LAST_LINE if question.defers else "",
    )


def _answered(question: Question, asked: Asked) -> tuple[Asked, Answer | None, BenchdryError | None]:
    try:
        asked = filled(question, asked)
        return asked, question.answer(asked) if asked.given(*question.wanted) else None, None
    except BenchdryError as error:
        return asked, None, error


def _timbers(question: Question, asked: Asked, error: BenchdryError | None) -> tuple[Link, ...]:
    """The timbers that a name can mean, each leading to the same question asked of it."""
    if not isinstance(error, BadInput) or error.field != "species":
        return ()
    key = next(one.key for one in question.fields if one.kind == "species" and asked.text(one.key) == error.value)
    meant = [match for match in tables.search_species(str(error.value)) if match.species is not None]
    typed = {name: value for name, value in asked.typed.items() if name != key}
    address = f"/work-out/{question.name}?"
    return tuple(
        Link(one.label, address + urlencode({**typed, key: one.botanical_name})) for one in meant[:MOST_TIMBERS]
    )


def _form(question: Question, asked: Asked, error: BenchdryError | None) -> Form:
    shown = [_shown(one, asked) for one in question.fields]
    index = at_fault(shown, error) if error else None
    if index is not None:
        shown[index] = replace(shown[index], error=str(error))
    told = str(error) if error is not None and index is None else ""
    return Form(question.name, "", f"/work-out/{question.name}", "Work it out", tuple(shown), error=told, open=True)


def _shown(one: Field, asked: Asked) -> Field:
    """Return a field as it is drawn: what was typed, and the yard's own things as choices."""
    value = asked.text(one.key)
    if one.kind == "species":
        return replace(
            species_field(value), key=one.key, label=one.label, needed=False, hint=one.hint, spoken=one.spoken
        )
    if one.kind == "lines":
        return replace(one, value=str(asked.typed.get(one.key) or ""))
    if one.kind == "finish":
        return replace(one, kind="choice", value=value, options=(Option("", "–"), *_shelf(asked.yard)))
    things = {"place": "open_places", "board": "boards", "stack": "stacks", "meter": "meters"}.get(one.kind)
    if things is None:
        return replace(one, value=value or (one.options[0].value if one.options else ""))
    known = tuple(Option(thing.subject.code, thing.fact.name) for thing in getattr(asked.yard, things, ()))
    return replace(one, kind="choice", value=value, options=(Option("", "–"), *known))


def _shelf(yard: Any) -> tuple[Option, ...]:
    with yard.store.reading() as connection:
        return tuple(Option(one.subject.code, one.fact.name) for one in finish_now.finishes(connection))
