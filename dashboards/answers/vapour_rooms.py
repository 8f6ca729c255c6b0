"""A finish room of the yard that a question about vapour names: its own figures, and the vapour that is in it already.

What is typed makes nothing of that better: the room as it is is reckoned with its own figures, and no answer is milder
than what is said of it, nor its hour earlier.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from dashboards import finish_cases, finish_now, room_figures, vapour_figures, vapours
from dashboards.answers.boards import thing_of
from dashboards.answers.records import Asked
from dashboards.finish_cases import Case
from dashboards.heard import PlaceNow
from dashboards.situation import Situation
from dashboards.vapour_records import Vapour
from kiln.control import worst
from kiln.room_air import Room, Spraying
from shared.errors import BadInput
from shared.store.records import PlaceKind

AS_IT_HAS = "empty, as the room has it, or no more than that ({}): its own entries are corrected on its page"
OF_THE_ROOM = "What is said here is no milder than what is said of the room as it is."


@dataclass(frozen=True)
class There:
    """The room that a question names, as the yard knows it."""

    own: Room | None  # None: no room was named, or nobody has entered its figures
    told: tuple[str, ...] = ()  # with which figures it is reckoned
    already: vapours.Already = vapours.NOTHING_YET
    cases: tuple[Case, ...] = ()  # the room as it is, by each version of what was entered; their times from now
    now: Vapour | None = None  # what is said of the room as it is; None: nothing is entered as sprayed there
    asked_ms: int | None = None  # when it is asked

    def with_asked(self, room: Room, spraying: Spraying) -> tuple[Case, ...]:
        """Return what is asked on top of what is there: with the figures as typed, and with the room's own."""
        bases = self.cases or (Case(self.own or room, self.already.sprayings),)
        # What is typed is reckoned too, for it may make the highest worse; the own figures may give the later hour.
        typed = [Case(room, one.sprayings) for one in bases]
        every = dict.fromkeys((*typed, *bases))
        return tuple(Case(one.room, (*one.sprayings, spraying)) for one in every)

    def no_better(self, made: Vapour) -> Vapour:
        """Return an answer that is no milder than what is said of the room as it is, and names no hour before its."""
        now = self.now
        if now is None:
            return made
        if made.refused is None and _sooner(made, now):
            hour = {"not_before": now.not_before, "not_before_note": now.not_before_note}
            made = replace(made, **hour, not_before_ms=now.not_before_ms)
        control = worst(made.control, now.control)
        if control is made.control and (now.refused is None or made.refused is not None):
            return made
        told = replace(now, **vapour_figures.word(control), first=(*made.first, OF_THE_ROOM), sprayed=made.sprayed)
        if control is now.control:
            return told
        doing = tuple(dict.fromkeys((*now.doing, *made.doing)))
        return replace(told, headline=f"{made.headline} {now.headline}", doing=doing)


def _sooner(one: Vapour, other: Vapour) -> bool:
    """Whether one has an hour, and the other a later one or none."""
    if one.not_before_ms is None:
        return False
    return other.not_before_ms is None or one.not_before_ms < other.not_before_ms


NOWHERE = There(None)


def place_of(asked: Asked) -> PlaceNow | None:
    """Return the finish room that was named; None: none was. Raises BadInput for a place that is none."""
    place: PlaceNow | None = thing_of(asked.yard.open_places, "place", asked.typed) if asked.yard is not None else None
    if place is not None and place.fact.kind is not PlaceKind.FINISH_ROOM:
        raise BadInput("place", place.subject.code, "a place that is entered as a finish room")
    return place


def there_of(asked: Asked, place: PlaceNow | None) -> There:
    """Return what the yard knows of the room that was named."""
    if asked.yard is None or place is None:
        return NOWHERE
    already, now = vapours.already(asked.yard, place), vapours.vapour_of(asked.yard, place)
    with asked.yard.store.reading() as connection:
        figures = finish_now.room_of(connection, place.subject.id, asked.yard.now_ms)
    if figures is None:
        return There(None, (vapours.NO_FIGURES,), already, (), now, asked.yard.now_ms)
    told = f"Figures of {place.fact.name}, but for what was typed here."
    cases = _cases(asked.yard, place)
    return There(finish_now.room_air(place, figures), (told,), already, cases, now, asked.yard.now_ms)


def _cases(yard: Situation, place: PlaceNow) -> tuple[Case, ...]:
    """The room as it is: each version of its figures and of what was sprayed there since, as its own page judges."""
    with yard.store.reading() as connection:
        sprayed = finish_now.counted(connection, place.subject.id, yard.now_ms)
        if not sprayed:
            return ()
        figures = finish_cases.figures_of(connection, place.subject.id, sprayed, yard.now_ms)
    if figures is None:
        return ()
    return finish_cases.cases_of(figures, place, sprayed, yard.now_ms)


def refuse_larger(room: Room, own: Room) -> None:
    """Raise BadInput for a size or an extraction that a room of the yard does not have."""
    if room.volume_m3 > own.volume_m3:
        has = room_figures.volume_told(own.volume_m3)
        raise BadInput(room_figures.VOLUME, room_figures.volume_told(room.volume_m3), AS_IT_HAS.format(has))
    if (room.extraction_m3_s or 0.0) > (own.extraction_m3_s or 0.0):
        has = "none known" if own.extraction_m3_s is None else room_figures.extraction_told(own.extraction_m3_s)
        typed = room_figures.extraction_told(room.extraction_m3_s or 0.0)
        raise BadInput(room_figures.EXTRACTION, typed, AS_IT_HAS.format(has))
