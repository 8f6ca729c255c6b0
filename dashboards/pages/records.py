"""Records: all that was entered, when the word changed, what is no longer in use, and what can be taken along."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from urllib.parse import quote, urlencode

from markupsafe import Markup

from dashboards import display, marks
from dashboards.pages.entered import Names
from dashboards.pages.entry_words import words
from dashboards.pages.forms import Field, Form, Option
from dashboards.pages.parts import Link
from dashboards.pages.then import NOTHING_MORE, just_after
from dashboards.undoing import SPOKEN, UNDOABLE, many
from kiln.records import Word
from kiln.sentences import capital
from shared.store import records as r
from shared.store.log import Logged
from shared.store.records import KeptVerdict, Subject, SubjectKind
from shared.units import MS_PER_MINUTE

PAGE = 50
WORDS_VIEW = "words"
KIND_OF = {record: kind for kind, record in UNDOABLE.items()}
GROUPS: dict[str, tuple[str, tuple[type[r.Fact], ...]]] = {
    "weigh-ins": ("Weigh-ins", (r.WeighIn,)),
    "measurements": ("Pins, bag tests, oven-dried sections", (r.PinReading, r.BagTest, r.OvenDryResult)),
    "moves": ("Moves and plans", (r.BoardPosition, r.StackPosition, r.ProbePosition, r.PlannedMove)),
    "lying": ("How boards lie, finish, water", (r.BoardRest, r.BoardCoat, r.WaterEvent, r.Lifted)),
    "cuts": ("Cuts", (r.BoardCut,)),
    "outcomes": ("Outcomes", (r.Outcome,)),
    "uses": ("Wanted uses", (r.UsePlan,)),
    "sets": ("Pieces of sets, and joints", (r.SetMember, r.Joint)),
    "overrides": ("Going ahead whatever the verdict", (r.Override,)),
    "checks": ("Checks of hygrometers and meters", (r.HygrometerCheck, r.MeterPair)),
    "cells": ("Load cells", (r.CellLoad, r.CellTare)),
    "limits": ("Limits of this yard", (r.OwnLimit, r.AirRegion)),
    "sprayings": ("What was sprayed, surfaces measured", (r.Sprayed, r.SurfaceReading)),
    "finish-rooms": ("Finish rooms, and what was said of unrated devices", (r.FinishRoom, r.Acknowledged)),
    "climates": ("Usual months", (r.PlaceClimate,)),
    "descriptions": (
        "What things are",
        (r.BoardFact, r.StackFact, r.SetFact, r.PlaceFact, r.ProbeFact, r.MeterFact, r.FinishFact),
    ),
}
LISTED = {SubjectKind.PROBE: "/probes", SubjectKind.METER: "/meters", SubjectKind.LIMIT: "/limits"}


@dataclass(frozen=True)
class RecordLine:
    """One entry of the log."""

    kind: str = field(metadata={"help": "Kind of entry, as undo knows it"})
    number: int = field(metadata={"help": "Number of the entry"})
    about: Link = field(metadata={"help": "What it is about"})
    word: str = field(metadata={"help": "What people call this kind of entry"})
    figure: str = field(metadata={"help": "What was entered"})
    when: str = field(metadata={"help": "From when it is true, and when and by whom it was entered"})
    told: str = field(metadata={"help": "What it replaced or what became of it; empty: it stands by itself"})
    struck: bool = field(metadata={"help": "Whether it no longer counts"})
    act: str = field(metadata={"help": "What can be done about it: Undo, Put back; empty: nothing"})
    act_number: int = field(metadata={"help": "Number of the entry that this takes back"})


@dataclass(frozen=True)
class WordLine:
    """One change of the word that was told."""

    key: str = field(metadata={"help": "Its word as a style; empty: nothing more was told"})
    mark: Markup = field(metadata={"help": "Its joint mark"})
    about: str = field(metadata={"help": "Of what it was told"})
    word: str = field(metadata={"help": "The word told from then on"})
    number: str = field(metadata={"help": "The one figure, with its unit"})
    when: str = field(metadata={"help": "From when on"})
    reason: str = field(metadata={"help": "Why, as it was told"})
    link: str = field(metadata={"help": "Where it leads: to what was known then"})


@dataclass(frozen=True)
class Ended:
    """Something that is no longer in use."""

    about: Link = field(metadata={"help": "What it is; leads to its page where it has one"})
    told: str = field(metadata={"help": "How it ended, and how to see it again"})
    kind: str = field(default="", metadata={"help": "Kind of the entry that takes it back; empty: none"})
    number: int = field(default=0, metadata={"help": "Number of that entry"})
    act: str = field(default="", metadata={"help": "What the button says that does it"})


@dataclass(frozen=True)
class RecordsPage:
    """Everything that records.html may use."""

    view: str = field(metadata={"help": "entries or words"})
    views: tuple[Link, ...] = field(metadata={"help": "The two views; the one shown leads nowhere"})
    form: Form = field(metadata={"help": "What to show; sent as an address, so that it can be kept and shared"})
    shown: str = field(metadata={"help": "What is shown, in a line"})
    lines: tuple[RecordLine, ...] = field(metadata={"help": "Entries, those entered last first"})
    changes: tuple[WordLine, ...] = field(metadata={"help": "Changes of the word, newest first"})
    newer: str = field(metadata={"help": "Address of the page before; empty: this is the first"})
    older: str = field(metadata={"help": "Address of the next page; empty: this is the last"})
    number: int = field(metadata={"help": "Number of this page"})
    here: str = field(metadata={"help": "Address of this page, to come back to after taking something back"})
    ended: tuple[Ended, ...] = field(metadata={"help": "Finished boards, closed places, things taken back"})
    ended_told: str = field(metadata={"help": "How many of each"})
    exports: tuple[Link, ...] = field(metadata={"help": "Every table that can be had as CSV"})


@dataclass(frozen=True)
class Asked:
    """What is asked for in the address."""

    view: str = "entries"
    kind: str = ""
    about: str = ""
    page: int = 1
    error: str = ""

    def address(self, page: int) -> str:
        """Return the address of a page of this."""
        said = {"view": self.view if self.view == WORDS_VIEW else "", "kind": self.kind, "about": self.about}
        query = urlencode({key: value for key, value in said.items() if value} | ({"page": page} if page > 1 else {}))
        return f"/records?{query}" if query else "/records"


@dataclass(frozen=True)
class Found:
    """What was read for one page; one line more than it shows tells that there is another."""

    entries: Sequence[Logged] = ()
    changes: Sequence[KeptVerdict] = ()


def kinds_of(asked: Asked) -> list[type[r.Fact]]:
    """Return the kinds of entry that are asked for."""
    groups = [GROUPS[asked.kind]] if asked.kind else list(GROUPS.values())
    return [record for _title, some in groups for record in some]


def records_page(
    asked: Asked,
    found: Found,
    subjects: Sequence[Subject],
    names: Names,
    ended: Sequence[Ended],
    called: Mapping[int, str],
) -> RecordsPage:
    """Fill the page; ``called``: what things are called, by subject."""
    by_id = {one.id: one for one in subjects}
    more = len(found.entries) > PAGE or len(found.changes) > PAGE
    return RecordsPage(
        view=asked.view,
        views=_views(asked),
        form=_form(asked, subjects, called),
        shown=_shown(asked),
        lines=tuple(_line(one, by_id, names) for one in found.entries[:PAGE]),
        changes=tuple(_change(one, by_id) for one in found.changes[:PAGE]),
        newer=asked.address(asked.page - 1) if asked.page > 1 else "",
        older=asked.address(asked.page + 1) if more else "",
        number=asked.page,
        here=asked.address(asked.page),
        ended=tuple(ended),
        ended_told=_ended_told(ended),
        exports=exports([one.code for one in subjects if one.kind is SubjectKind.PROBE]),
    )


def _views(asked: Asked) -> tuple[Link, ...]:
    about = {"about": asked.about} if asked.about else {}
    both = (
        ("entries", "All that was entered", about),
        (WORDS_VIEW, "When the word changed", {"view": WORDS_VIEW} | about),
    )
    return tuple(
        Link(text, "" if view == asked.view else f"/records{'?' + urlencode(query) if query else ''}")
        for view, text, query in both
    )


def _form(asked: Asked, subjects: Sequence[Subject], called: Mapping[int, str]) -> Form:
    known = {one.code for one in subjects if one.kind is not SubjectKind.LIMIT} | set(called.values())
    hint = "A code or a name, or a part of a name. Empty: all."
    about = Field("about", "About", value=asked.about, hint=hint, suggestions=tuple(sorted(known)))
    view = (Field("view", "", "hidden", value=WORDS_VIEW),) if asked.view == WORDS_VIEW else ()
    kinds = (Option("", "everything"), *(Option(key, title) for key, (title, _some) in GROUPS.items()))
    kind = () if view else (Field("kind", "Show", "choice", value=asked.kind, options=kinds),)
    return Form("show", "Show only", "/records", "Show", (*view, *kind, about), error=asked.error)


def _shown(asked: Asked) -> str:
    what = GROUPS[asked.kind][0] if asked.kind else "everything"
    if asked.view == WORDS_VIEW:
        what = "every change"
    return f"{what}{f' about {asked.about}' if asked.about else ''}"


def page_of(subject: Subject) -> str:
    """Return the page of a thing, or the list in which it stands."""
    if subject.kind in LISTED:
        return f"{LISTED[subject.kind]}#{quote(subject.code)}"
    if subject.kind is SubjectKind.FINISH:
        return f"/finish/product/{quote(subject.code)}"
    return f"/{subject.kind}/{quote(subject.code)}"


def _line(one: Logged, by_id: dict[int, Subject], names: Names) -> RecordLine:
    entry, subject = one.entry, by_id[one.entry.subject_id]
    kind = KIND_OF[type(entry)]
    act, number = _act(one)
    return RecordLine(
        kind=kind,
        number=entry.id,
        about=Link(f"{subject.kind} {subject.code}", page_of(subject)),
        word=SPOKEN.get(kind, kind),
        figure=words(entry, names),
        when=_when(entry),
        told=_told(one, names),
        struck=one.later is not None or entry.withdrawn,
        act=act,
        act_number=number,
    )


def _act(one: Logged) -> tuple[str, int]:
    """What can be done: an entry that stands is taken back, one that was taken back is put back by undoing that."""
    if one.later is None:
        return ("Put back" if one.entry.withdrawn else "Undo"), one.entry.id
    if one.later.withdrawn and one.later_stands and not one.entry.withdrawn:
        return "Put back", one.later.id
    return "", 0


def _when(entry: r.Fact) -> str:
    entered = f"{display.moment(entry.entered_at_ms)} by {entry.entered_by}"
    if abs(entry.true_at_ms - entry.entered_at_ms) < MS_PER_MINUTE:
        return f"Entered {entered}"
    return f"True from {display.moment(entry.true_at_ms)}; entered {entered}"


def _told(one: Logged, names: Names) -> str:
    told = [_replaced(one, names)]
    if one.later is not None:
        done = "Taken back" if one.later.withdrawn else "Put back" if one.entry.withdrawn else "Replaced"
        told.append(f"{done} by {one.later.entered_by} on {display.moment(one.later.entered_at_ms)}.")
    return " ".join(line for line in told if line)


def _replaced(one: Logged, names: Names) -> str:
    entry, before = one.entry, one.before
    if before is None:
        return ""
    when = display.moment(before.entered_at_ms)
    if entry.withdrawn:
        return f"Takes back the entry of {when}."
    if before.withdrawn:
        return f"Puts back what was taken back on {when}."
    earlier, now = words(before, names), words(entry, names)
    if earlier == now:
        return f"In place of the entry of {when}, from {display.moment(before.true_at_ms)} on."
    return f"In place of: {earlier} ({when})."


def _change(one: KeptVerdict, by_id: dict[int, Subject]) -> WordLine:
    subject = by_id[one.subject_id]
    word = Word(one.word) if one.word else None
    then = f"{page_of(subject)}/then?at={just_after(one.at_ms)}"
    return WordLine(
        key=marks.WORD_KEYS[word] if word else "",
        mark=marks.joint(word) if word else Markup('<span class="mark"></span>'),
        about=f"{subject.kind} {subject.code}",
        word=one.word or NOTHING_MORE,
        number=one.number,
        when=display.moment(one.at_ms),
        reason=one.reason,
        link=then if subject.kind in (SubjectKind.BOARD, SubjectKind.SET) else page_of(subject),
    )


def _ended_told(ended: Sequence[Ended]) -> str:
    if not ended:
        return "Nothing."
    counted = {word: sum(one.told.startswith(word) for one in ended) for word in ("Finished", "Closed", "Taken back")}
    return ", ".join(f"{count} {word.lower()}" for word, count in counted.items() if count)


def exports(probes: Sequence[str]) -> tuple[Link, ...]:
    """Return every table of entries, named as people call it, and the readings of each probe; weigh-ins come first."""
    kinds = [KIND_OF[record] for _title, some in GROUPS.values() for record in some]
    weigh_ins, *others = [Link(capital(_plural(kind)), f"/export/{many(kind)}.csv") for kind in kinds]
    return (
        weigh_ins,
        *(Link(f"Readings of {code}", f"/export/readings/{quote(code)}.csv") for code in probes),
        *others,
    )


def _plural(kind: str) -> str:
    spoken = SPOKEN.get(kind, kind)
    if spoken in ("description", "move"):
        return f"{spoken}s of {many(kind.removesuffix('-move'))}"
    if spoken.startswith("table of"):
        return {"climate": "usual months of places", "finish-room": "figures of finish rooms"}[kind]
    if spoken == "place in a set":
        return "places in sets"
    return f"{spoken[:-1]}ies" if spoken.endswith("ry") else f"{spoken}s"
