"""The vapour in a room as pages and commands show it: no field of it clears anything."""

from __future__ import annotations

from dataclasses import dataclass, field

from markupsafe import Markup

from dashboards.bases import Basis, Line
from kiln.control import Control
from shared.tables.no_dilution import NoDilution


@dataclass(frozen=True)
class Held:
    """One limit that the vapour is held against."""

    key: str = field(metadata={"help": "Its word as a style: over, cant-say, not-shown"})
    mark: Markup = field(metadata={"help": "The mark of its word"})
    word: str = field(metadata={"help": "OVER, CAN'T SAY or NOT SHOWN TO BE UNDER CONTROL"})
    name: str = field(metadata={"help": "Which limit"})
    brief: str = field(metadata={"help": "The same where the lower explosive limit is already spelt out: LEL"})
    figure: str = field(metadata={"help": "How many times the limit, or share of the LEL; empty: can't be said"})
    beside: str = field(metadata={"help": "As it is sprayed, and in better mixed air where that is over too"})
    limit: str = field(metadata={"help": "The limit as printed, with body, year and status"})
    sentence: str = field(metadata={"help": "Why there is no figure; empty where there is one"})
    source: str = field(metadata={"help": "Documents, and how they are known"})


@dataclass(frozen=True)
class Refused:
    """Why no figure is given."""

    group: str = field(metadata={"help": "What it belongs to"})
    sentence: str = field(metadata={"help": "Why, and what it asks for"})
    source: str = field(metadata={"help": "Document, and how it is known"})


def refused_by(row: NoDilution | None) -> Refused | None:
    """Return why no figure is given, of the row that a finish met; None: it met none."""
    return None if row is None else Refused(row.group, row.sentence, Basis(row.source, row.status).shown)


@dataclass(frozen=True)
class Vapour:
    """What can be said of the vapour in a room; no field of it clears anything."""

    control: Control = field(metadata={"help": "Its word"})
    key: str = field(metadata={"help": "Its word as a style: over, cant-say, not-shown"})
    mark: Markup = field(metadata={"help": "The mark of its word"})
    word: str = field(metadata={"help": "OVER, CAN'T SAY or NOT SHOWN TO BE UNDER CONTROL"})
    first: tuple[str, ...] = field(metadata={"help": "What is said before the word: of the room as it is already"})
    headline: str = field(metadata={"help": "What is over or can't be said, in a sentence"})
    figures: tuple[Line, ...] = field(metadata={"help": "The figures seen first; none where it can't be said"})
    doing: tuple[str, ...] = field(metadata={"help": "What to do, before anything else"})
    refused: Refused | None = field(metadata={"help": "Why no figure is given; None: some are"})
    unknowns: tuple[str, ...] = field(metadata={"help": "What is missing, a sentence each"})
    over: tuple[Held, ...] = field(metadata={"help": "The limits that it is over, all vapours together"})
    cant_say: tuple[Held, ...] = field(metadata={"help": "The limits of which it can't be said"})
    over_each: tuple[Held, ...] = field(metadata={"help": "The limits that one ingredient is over by itself"})
    worst_each: tuple[Line, ...] = field(metadata={"help": "Of each ingredient the limit that it is over most"})
    not_shown: tuple[Held, ...] = field(metadata={"help": "The other limits: that it is over none shows nothing"})
    not_before: str = field(metadata={"help": "From when on it is to be tested; or why that can't be said"})
    not_before_note: str = field(metadata={"help": "What that moment does not say; empty where there is none"})
    not_before_ms: int | None = field(metadata={"help": "That moment; None: it can't be said, or nothing was sprayed"})
    air: tuple[Line, ...] = field(metadata={"help": "Air that the published formula asks for"})
    air_why: str = field(metadata={"help": "Why one of them or both are not given; empty: both are"})
    amounts: tuple[Line, ...] = field(metadata={"help": "Mass of vapour, its peak and means; none where not known"})
    beside: tuple[str, ...] = field(metadata={"help": "What stands beside every figure"})
    cautions: tuple[str, ...] = field(metadata={"help": "What else holds whatever the figures are; five at most"})
    more_cautions: tuple[str, ...] = field(metadata={"help": "What holds beside them, folded with the reckoning"})
    drawing: Markup = field(metadata={"help": "The course of it, drawn; empty: it can't be said"})
    drawn: str = field(metadata={"help": "What the drawing's lines are"})
    table_head: tuple[str, ...] = field(metadata={"help": "Heads of the table"})
    table: tuple[tuple[str, ...], ...] = field(metadata={"help": "The drawing as rows of text"})
    sprayed: tuple[str, ...] = field(metadata={"help": "What was sprayed, a line each"})
    aside: tuple[str, ...] = field(metadata={"help": "What was taken back, or is not counted any more, a line each"})
    reckoned: str = field(metadata={"help": "With which room it is reckoned, in a few words"})
    assumed: tuple[str, ...] = field(metadata={"help": "What it was reckoned with, and what of that is not measured"})
    formula: tuple[str, ...] = field(metadata={"help": "How it was worked out"})
    bases: tuple[Basis, ...] = field(metadata={"help": "Where formula and constants are from"})
    at_ms: int | None = field(metadata={"help": "When the last spraying ended; None: nothing was sprayed"})

    @property
    def limits_told(self) -> str:
        """How many limits it is held against, and how many of them it is over."""
        passed = len(self.over) + len(self.over_each)
        every = passed + len(self.cant_say) + len(self.not_shown)
        over = f", {passed} over" if passed else ""
        return f"{every} limits{over}; this reckoning shows no control"
