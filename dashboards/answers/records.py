"""A question and its answer, as a page or the terminal shows them: the figure with its band, and all behind it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any, TypeVar

from markupsafe import Markup

from dashboards import fields, typed_units
from dashboards.bases import Basis as Basis
from dashboards.bases import Line as Line
from dashboards.pages.forms import Field, Option
from shared import tables
from shared.errors import BadInput

Word = TypeVar("Word", bound=StrEnum)


@dataclass(frozen=True)
class Answer:
    """What was asked, answered; its formula, sources and range stand beside it."""

    headline: str = field(metadata={"help": "The one figure, with its unit"})
    band: str = field(metadata={"help": "Its uncertainty, in words"})
    sentence: str = field(metadata={"help": "What it means"})
    lines: tuple[Line, ...] = field(default=(), metadata={"help": "The figures behind it and beside it"})
    flags: tuple[str, ...] = field(default=(), metadata={"help": "Where it is weak, or beyond what can be known"})
    next_step: str = field(default="", metadata={"help": "What to do next; empty when nothing"})
    formula: tuple[str, ...] = field(default=(), metadata={"help": "How it was worked out"})
    bases: tuple[Basis, ...] = field(default=(), metadata={"help": "Where formula and constants are from"})
    validity: str = field(default="", metadata={"help": "The range in which it holds"})
    topics: tuple[str, ...] = field(default=(), metadata={"help": "Cautions that belong to it, by topic"})
    beside: tuple[str, ...] = field(default=(), metadata={"help": "What stands beside every figure of it"})
    vapour: Any = field(
        default=None, metadata={"help": "What there is to say of vapour, whole; None: of another question"}
    )
    drawing: Markup = field(default=Markup(), metadata={"help": "Its figures drawn; empty: they are not"})
    drawing_words: str = field(default="", metadata={"help": "What the lines and marks of the drawing are"})
    key: str = field(
        default="", metadata={"help": "Of what can hurt: its word as a style; empty of any other question"}
    )


@dataclass(frozen=True)
class Asked:
    """What was typed, and the yard it was asked in (None: nowhere)."""

    typed: Mapping[str, str]
    yard: Any | None  # dashboards.situation.Situation

    def text(self, key: str) -> str:
        """Return what was typed, its spaces tidied."""
        return typed_units.tidy(self.typed.get(key))

    def given(self, *keys: str) -> bool:
        """Return whether anything was typed into any of these."""
        return any(self.text(key) for key in keys)

    def number(self, key: str, spoken: str, low: float, high: float, unit: str) -> float:
        """Return a number that must be there; raises BadInput naming the field."""
        return fields.number(spoken, self.text(key), low, high, unit)

    def maybe(self, key: str, spoken: str, low: float, high: float, unit: str) -> float | None:
        """Return a number, or None where nothing was typed."""
        return self.number(key, spoken, low, high, unit) if self.given(key) else None

    def or_else(self, key: str, spoken: str, low: float, high: float, unit: str, usual: float) -> float:
        """Return a number, or the usual one where nothing was typed."""
        return self.number(key, spoken, low, high, unit) if self.given(key) else usual

    def choice(self, key: str, spoken: str, words: type[Word], usual: Word) -> Word:
        """Return the word chosen, or the usual one."""
        return fields.choice(spoken, self.text(key), words) if self.given(key) else usual

    def species(self, key: str = "species") -> tables.Species:
        """Return the timber that was named."""
        if not self.given(key):
            raise BadInput("species", "", "a timber's common or botanical name")
        return tables.find_species(self.text(key))


@dataclass(frozen=True)
class Question:
    """Something that can be asked: on the page /work-out/<name>, and as `benchdry work-out <name>`."""

    name: str
    title: str
    lead: str
    fields: tuple[Field, ...]
    answer: Callable[[Asked], Answer]
    fill: Callable[[Any, Mapping[str, str]], dict[str, str]]  # what the yard already knows of a board or place
    wanted: tuple[str, ...]  # any of these typed: it was asked
    topics: tuple[str, ...] = ()  # cautions that stand on its page before anything is asked
    defers: bool = False  # of what can hurt someone: who decides is said first and last


def filled(question: Question, asked: Asked) -> Asked:
    """Return what was typed, with what the yard already knows where nothing was."""
    if asked.yard is None:
        return asked
    known = question.fill(asked.yard, asked.typed)
    return replace(asked, typed={**known, **{key: value for key, value in asked.typed.items() if str(value).strip()}})


def nothing_known(_yard: Any, _typed: Mapping[str, str]) -> dict[str, str]:
    """Fill in nothing: this question is about nothing in the yard."""
    return {}


def options(words: type[StrEnum], labels: Mapping[str, str] | None = None) -> tuple[Option, ...]:
    """Return the words of a list as choices."""
    return tuple(Option(word.value, (labels or {}).get(word.value, word.value)) for word in words)


def bases_of(table: str, *names: str, of: str = "") -> tuple[Basis, ...]:
    """Return the sources of some constants of a table, each document once; ``of`` says what they are."""
    held = tables.constants(table)
    found = dict.fromkeys((held[name].source, held[name].status) for name in names)
    return tuple(Basis(f"{of}: {source}" if of else source, status) for source, status in found)


def remembered(*pairs: tuple[str, str, str]) -> tuple[str, ...]:
    """Name the figures, (name, source, status), that nobody has read in print: somebody could act on them."""
    return tuple(
        f"{name} is known from memory, not read in print." for name, _source, status in pairs if status == "from memory"
    )
