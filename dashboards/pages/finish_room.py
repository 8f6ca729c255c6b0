"""One finish room: its vapour over time and against every limit, the dew point of the work, what is entered there.

Nothing that is over, not known, or to be done before the work is folded away; and no line of it clears the room.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from urllib.parse import urlencode

from markupsafe import Markup

from dashboards import acknowledging, control_marks, dew_gaps, display, finish_entries, finish_now, safety, vapours
from dashboards.dew_gaps import DewGap
from dashboards.heard import PlaceNow
from dashboards.pages import finish_forms
from dashboards.pages.forms import Attempt, Form, shown_again
from dashboards.pages.parts import EntryLine, Link
from dashboards.pages.records import KIND_OF
from dashboards.situation import Situation
from dashboards.vapour_records import Vapour
from dashboards.vapour_words import BESIDE
from kiln.control import Control
from kiln.sentences import capital
from shared.errors import Refused
from shared.store import Connection, facts
from shared.store.records import Fact, FinishRoom, PlaceKind, Sprayed, Subject, SurfaceReading

ENTRIES_SHOWN = 8
NOTHING = (
    f"Nothing that is entered as sprayed here counts still. That says nothing about this air: only what is entered is "
    f"known. {vapours.LOOKED_BACK}"
)


@dataclass(frozen=True)
class FinishRoomPage:
    """Everything that finish_room.html may use."""

    name: str = field(metadata={"help": "What the room is called"})
    code: str = field(metadata={"help": "Its code"})
    first_line: str = field(metadata={"help": "What this page does not replace, said first"})
    last_line: str = field(metadata={"help": "The same, said last"})
    devices: tuple[str, ...] = field(metadata={"help": "That nobody has said that no unrated device is in it"})
    vapour: Vapour | None = field(metadata={"help": "What can be said of vapour; None: nothing sprayed is entered"})
    key: str = field(metadata={"help": "The word without a spraying as a style"})
    mark: Markup = field(metadata={"help": "The mark of that word"})
    word: str = field(metadata={"help": "That word"})
    nothing: str = field(metadata={"help": "What it means that nothing sprayed is entered"})
    aside: tuple[str, ...] = field(metadata={"help": "What was sprayed and is not counted, where nothing else is"})
    beside: tuple[str, ...] = field(metadata={"help": "What stands beside every figure"})
    ways: tuple[Link, ...] = field(metadata={"help": "What can be asked and entered of this room"})
    gap: DewGap = field(metadata={"help": "How near the surface of the work stands to the dew point"})
    gap_open: bool = field(metadata={"help": "Whether its rules stand open: one is missed, or can't be said"})
    gap_told: str = field(metadata={"help": "How many rules there are, said where they are folded"})
    figures: str = field(metadata={"help": "Size, extraction and mixing of the room; empty: not entered"})
    no_figures: str = field(metadata={"help": "What is missing where they are not entered"})
    entries: tuple[EntryLine, ...] = field(metadata={"help": "What was entered here, newest first"})
    entries_told: str = field(metadata={"help": "How many those are, and the newest, said where they are folded"})
    forms: tuple[Form, ...] = field(metadata={"help": "Sprayed, surface, figures, and the acknowledgement"})


def finish_room_page(now: Situation, place: PlaceNow, by: str, attempt: Attempt | None) -> FinishRoomPage:
    """Fill the page of one finish room; raises Refused for a place that is none."""
    if place.fact.kind is not PlaceKind.FINISH_ROOM:
        raise Refused(f"The place {place.subject.code} is not entered as a finish room; correct its kind first.")
    code, one = place.subject.code, place.subject
    with now.store.reading() as connection:
        shelf = finish_now.finishes(connection)
        figures = finish_now.room_of(connection, one.id, now.now_ms)
        entries = _entries(connection, one)
        devices = _devices(connection, place)
    forms = (
        *((finish_forms.sprayed(code, shelf, by),) if shelf else ()),
        finish_forms.surface(code, by),
        finish_forms.finish_room(code, by, figures),
        *((finish_forms.acknowledge(code, by),) if devices else ()),
    )
    unsaid, gap = Control.CANT_SAY, dew_gaps.gap_of(now, place)
    return FinishRoomPage(
        name=place.fact.name,
        code=code,
        first_line=safety.FIRST_LINE,
        last_line=safety.LAST_LINE,
        devices=devices,
        vapour=vapours.vapour_of(now, place),
        key=control_marks.KEYS[unsaid],
        mark=control_marks.drawn(unsaid),
        word=control_marks.WORDS[unsaid],
        nothing=NOTHING,
        aside=vapours.aside(now, place),
        beside=BESIDE,
        ways=_ways(code, sprayed=bool(shelf)),
        gap=gap,
        gap_open=gap.key != control_marks.KEYS[Control.NOT_SHOWN],
        gap_told=f"{len(gap.rules)} rules; one that is not missed gives no leave",
        figures=f"{capital(finish_entries.room_words(figures))}." if figures else "",
        no_figures=vapours.NO_FIGURES,
        entries=entries,
        entries_told=f"{len(entries)}, the newest {entries[0].when}" if entries else "",
        forms=tuple(shown_again(form, attempt) for form in forms),
    )


def _ways(code: str, *, sprayed: bool) -> tuple[Link, ...]:
    ask = f"/work-out/vapour?{urlencode({'place': code})}"
    enter = Link("Enter what was sprayed", "#sprayed") if sprayed else Link("Enter a finish first", "/add#finish")
    return (
        Link("Before spraying: work it out for this room", ask),
        enter,
        Link("Enter a surface temperature", "#surface"),
        Link("What to do before and after; the shelf", "/finish"),
    )


def _devices(connection: Connection, place: PlaceNow) -> tuple[str, ...]:
    """Of which devices nobody has said that they may hang there."""
    found = []
    if acknowledging.said_of(connection, place.subject, place.subject) is None:
        found.append(f"Nobody has said that nothing unrated is in the spray area of this room. {acknowledging.RULE}")
    unsaid = [
        one.fact.name for one in place.probes if acknowledging.said_of(connection, one.subject, place.subject) is None
    ]
    if unsaid and not found:
        they = "it hangs" if len(unsaid) == 1 else "they hang"
        found.append(f"Nobody has said of {display.listed(unsaid)} that {they} outside the spray area or is rated.")
    return tuple(found)


def _entries(connection: Connection, place: Subject) -> tuple[EntryLine, ...]:
    """What was sprayed and measured here, and the room's figures, newest first."""
    names = {one.subject.id: one.fact.name for one in finish_now.finishes(connection, closed=True)}
    found: list[tuple[Fact, str, str]] = []
    for sprayed in facts.standing(connection, Sprayed, place.id):
        words = finish_entries.sprayed_words(sprayed, names.get(sprayed.finish_id, "a finish taken back"))
        found.append((sprayed, words, "sprayed"))
    for surface in facts.standing(connection, SurfaceReading, place.id):
        found.append((surface, finish_entries.surface_words(surface), "surface measured"))
    for room in facts.standing(connection, FinishRoom, place.id):
        found.append((room, finish_entries.room_words(room), "figures of the room"))
    newest = sorted(found, key=lambda each: -each[0].true_at_ms)[:ENTRIES_SHOWN]
    return tuple(_line(*one) for one in newest)


def _line(fact: Fact, words: str, word: str) -> EntryLine:
    when = display.moment(fact.true_at_ms)
    return EntryLine(KIND_OF[type(fact)], fact.id, capital(words), when, fact.entered_by, "", word)
