"""The finish room: what is over or can't be said now, each room, what to do before and after, the shelf.

It gives no green light. What it does not replace is said first and last; what is over, unknown or to be done before the
work is never folded.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from markupsafe import Markup

from dashboards import control_marks, dew_gaps, finish_now, page_warnings, region_entries, safety, tasks, vapours
from dashboards.dew_gaps import DewGap
from dashboards.finish_now import FinishNow, FinishRoomNow
from dashboards.pages import room_warnings
from dashboards.pages.finish_product import NO_SHEET
from dashboards.pages.parts import Link
from dashboards.pages.room_warnings import WarningLine
from dashboards.safety import Caution
from dashboards.situation import Situation
from kiln.control import Control
from kiln.sentences import capital
from shared.tables.substances import Substance

NOTHING_SPRAYED = (
    "Nothing that is entered as sprayed here counts still. That shows nothing of this air: only what is entered is "
    "known."
)
NO_ROOM = (
    "No place is entered as a finish room, so nothing can be said of the air that finish is sprayed in, nor of the dew "
    "point of the work. The reminders below hold all the same."
)
SAID_ABOVE = "Which limits, and what to do, stands above, under Now."
REFUSED = "air-fed protection and licensed practice. No amount of air is worked out."
EMPTY_SHELF = "No finish is entered. With its safety data sheet at hand, enter what section 3 says is in it."
MOST_UNKNOWNS = 2
MOST_LINES = 7  # of a list of reminders, before what may be folded is
NEVER_FOLDED = frozenset({tasks.ISOCYANATE, tasks.FORMALDEHYDE, tasks.UNREAD, tasks.DRYING_OIL, tasks.NITROCELLULOSE})
LIT_OR_SENSITIZED = re.compile(
    r"data sheets|spark|flame|\blit\b|\blight|burn|ignit|smok|static|earth|isocyanate|formaldehyde|air-fed|\brags?\b"
    r"|\boily\b|heat by themselves|switch|unrated|peroxide|alone",
    re.IGNORECASE,
)
RAGS_TOLD: dict[bool | None, tuple[str, ...]] = {
    True: ("A drying oil: its rags, filters and dust can heat themselves.",),
    False: (),
    None: ("Nobody has said whether its rags can heat themselves: take it that they can.",),
}
WAYS = (
    Link("Dust and harmful woods", "/dust"),
    Link("Other ways to get hurt: lifting, heat, mould, gas", "/hurt"),
    Link("Work out a vapour without entering anything", "/work-out/vapour"),
    Link("A solvent and its limits", "/work-out/substance"),
    Link("A surface and the dew point", "/work-out/dew-gap"),
    Link("When a cold piece is warm", "/work-out/warming"),
)


@dataclass(frozen=True)
class RoomView:
    """One finish room."""

    name: str = field(metadata={"help": "What the room is called"})
    code: str = field(metadata={"help": "Its code"})
    key: str = field(metadata={"help": "The word on its vapour as a style: over, cant-say, not-shown"})
    mark: Markup = field(metadata={"help": "The mark of that word"})
    word: str = field(metadata={"help": "That word"})
    headline: str = field(metadata={"help": "Why that word, in a sentence without a figure"})
    beside: tuple[str, ...] = field(metadata={"help": "What stands beside every figure of vapour, and here too"})
    sprayed: tuple[str, ...] = field(metadata={"help": "What was sprayed and counts, a line each"})
    sprayed_told: str = field(metadata={"help": "How much that is, told while it is folded; empty: nothing"})
    aside: tuple[str, ...] = field(metadata={"help": "What was taken back, or is not counted any more, a line each"})
    gap: DewGap = field(metadata={"help": "How near the surface of the work stands to the dew point"})


@dataclass(frozen=True)
class ShelfLine:
    """One finish on the shelf."""

    name: str = field(metadata={"help": "What it is called"})
    code: str = field(metadata={"help": "Its code"})
    sheet: str = field(metadata={"help": "Its data sheet, or that none was named"})
    word: str = field(metadata={"help": "CAN'T SAY where its vapour can't be reckoned; empty otherwise"})
    told: tuple[str, ...] = field(metadata={"help": "What has to be known before it is opened, a sentence each"})


@dataclass(frozen=True)
class TaskList:
    """What to do before or after work."""

    anchor: str = field(metadata={"help": "Name to link to"})
    title: str = field(metadata={"help": "Before or after what"})
    lines: tuple[Caution, ...] = field(metadata={"help": "What to do, in order, never folded"})
    folded: tuple[Caution, ...] = field(metadata={"help": "What stands folded under them"})
    folded_told: str = field(metadata={"help": "How many are folded; empty: none"})


@dataclass(frozen=True)
class FinishPage:
    """Everything that finish.html may use."""

    first_line: str = field(metadata={"help": "What this page does not replace, said first"})
    last_line: str = field(metadata={"help": "The same, said last"})
    warnings: tuple[WarningLine, ...] = field(metadata={"help": "What is over or can't be said now, the worst first"})
    not_an_alarm: str = field(metadata={"help": "That these lines are no alarm system"})
    held_against: str = field(metadata={"help": "Whose limits for breathed air count"})
    lower: tuple[str, ...] = field(metadata={"help": "Limits of what stands on the shelf that others list lower"})
    rooms: tuple[RoomView, ...] = field(metadata={"help": "Every finish room"})
    no_room: str = field(metadata={"help": "What to enter where there is no finish room; empty otherwise"})
    tasks: tuple[TaskList, ...] = field(metadata={"help": "Before spraying, before sanding, afterwards"})
    shelf: tuple[ShelfLine, ...] = field(metadata={"help": "The finishes on the shelf"})
    empty_shelf: str = field(metadata={"help": "What to enter where no finish is; empty otherwise"})
    ways: tuple[Link, ...] = field(metadata={"help": "Pages that belong to it"})


def finish_page(situation: Situation) -> FinishPage:
    """Fill the finish page."""
    with situation.store.reading() as connection:
        shelf = finish_now.finishes(connection)
    rooms = finish_now.finish_rooms(situation)
    found = page_warnings.warnings_of(situation)
    told = {one.path for one in found if one.kind == "vapour"}
    return FinishPage(
        first_line=safety.FIRST_LINE,
        last_line=safety.LAST_LINE,
        warnings=room_warnings.lines(found, situation.now_ms),
        not_an_alarm=page_warnings.NOT_AN_ALARM,
        held_against=f"Limits for breathed air: {region_entries.said(situation.region)}.",
        lower=region_entries.lower_elsewhere(_solvents(shelf), situation.region),
        rooms=tuple(_room(situation, one, told=f"/finish/room/{one.code}" in told) for one in rooms),
        no_room="" if rooms else NO_ROOM,
        tasks=_tasks(situation),
        shelf=tuple(_on_shelf(one) for one in shelf),
        empty_shelf="" if shelf else EMPTY_SHELF,
        ways=WAYS,
    )


def _solvents(shelf: Sequence[FinishNow]) -> tuple[Substance, ...]:
    every = [each.substance for one in shelf for each in finish_now.mixture_of(one.fact).ingredients]
    return tuple(dict.fromkeys(one for one in every if one is not None and one.gives_vapour))


def _room(situation: Situation, room: FinishRoomNow, *, told: bool) -> RoomView:
    """``told``: a warning of its vapour stands on the page already."""
    vapour = vapours.vapour_of(situation, room.place)
    control = vapour.control if vapour is not None else Control.CANT_SAY
    sprayed = () if vapour is None else vapour.sprayed
    return RoomView(
        name=room.place.fact.name,
        code=room.code,
        key=control_marks.KEYS[control],
        mark=control_marks.drawn(control),
        word=control_marks.WORDS[control],
        headline=NOTHING_SPRAYED if vapour is None else SAID_ABOVE if told else capital(page_warnings.in_short(vapour)),
        beside=() if vapour is None else vapour.beside,
        sprayed=sprayed,
        sprayed_told=f"What is counted as sprayed: {len(sprayed)}" if sprayed else "",
        aside=_aside(room),
        gap=dew_gaps.gap_of(situation, room.place),
    )


def _aside(room: FinishRoomNow) -> tuple[str, ...]:
    """What was entered as sprayed and is not counted: taken back, or too long ago."""
    back = tuple(f"{line} {page_warnings.STILL_THERE}" for line in room.taken_back)
    return (*back, *room.counted_no_more)


def _tasks(situation: Situation) -> tuple[TaskList, ...]:
    found = tasks.of_yard(situation)
    return (
        _list("before-spraying", "Before spraying", found.before_spraying),
        _list("before-sanding", "Before sanding", found.before_sanding),
        _list("afterwards", "Afterwards", found.afterwards),
    )


def _list(anchor: str, title: str, lines: tuple[Caution, ...]) -> TaskList:
    shown = kept_open(lines)
    folded = tuple(one for one in lines if one not in shown)
    more = "1 more reminder" if len(folded) == 1 else f"{len(folded)} more reminders"
    return TaskList(anchor, title, shown, folded, more if folded else "")


def kept_open(lines: Sequence[Caution]) -> tuple[Caution, ...]:
    """Return the reminders that are never folded: the grave ones, and others up to the most lines."""
    graver = [one for one in lines if is_grave(one)]
    room = max(MOST_LINES - len(graver), 0)
    others = [one for one in lines if one not in graver][:room]
    return tuple(one for one in lines if one in graver or one in others)


def is_grave(one: Caution) -> bool:
    """Whether a reminder is about what can set fire or make somebody ill for life."""
    return one.applies_to in NEVER_FOLDED or LIT_OR_SENSITIZED.search(one.sentence) is not None


def _on_shelf(finish: FinishNow) -> ShelfLine:
    mixture = finish_now.mixture_of(finish.fact)
    refused, unknowns = mixture.refusal(), mixture.unknowns()
    told = [f"{capital(refused.group)}: {REFUSED}"] if refused is not None else list(unknowns[:MOST_UNKNOWNS])
    if refused is None and len(unknowns) > MOST_UNKNOWNS:
        told.append(f"And {len(unknowns) - MOST_UNKNOWNS} more that is not known.")
    return ShelfLine(
        name=finish.fact.name,
        code=finish.subject.code,
        sheet=finish.fact.sheet or NO_SHEET,
        word=control_marks.WORDS[Control.CANT_SAY] if refused is not None or unknowns else "",
        told=(*told, *RAGS_TOLD[finish.fact.self_heating]),
    )
