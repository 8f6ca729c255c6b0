"""The vapour in a finish room now: what was sprayed there lately, judged by what its data sheets and figures say."""

from __future__ import annotations

from dataclasses import dataclass, replace

from dashboards import (
    display,
    finish_cases,
    finish_counted,
    finish_entries,
    finish_now,
    share_words,
    vapour_words,
    vapours_taken_back,
)
from dashboards.finish_now import SprayedNow
from dashboards.heard import PlaceNow
from dashboards.situation import Situation
from dashboards.vapour_records import Vapour
from dashboards.vapour_words import Told
from kiln import finish_told
from kiln.control import Control
from kiln.room_air import Spraying
from shared.errors import BenchdryError
from shared.store import Connection
from shared.store.records import FinishRoom
from shared.units import l_from_m3

LOOKED_BACK = finish_counted.SAID
NO_FIGURES = "Nobody has entered how large this room is and how much air is drawn out of it."


@dataclass(frozen=True)
class Already:
    """What is in the air of a room before something asked about comes on top of it."""

    sprayings: tuple[Spraying, ...]  # their times counted from now
    sprayed: tuple[str, ...]
    first: tuple[str, ...]
    aside: tuple[str, ...]


NOTHING_YET = Already((), (), (), ())


def vapour_of(situation: Situation, place: PlaceNow) -> Vapour | None:
    """Return what can be said of the vapour in a finish room; None: nothing entered as sprayed there counts."""
    with situation.store.reading() as connection:
        sprayed = _counted(connection, situation, place)
        gone = finish_now.gone_of(connection, place.subject.id, situation.now_ms)
    back = tuple(one.sprayed for one in gone)
    if not gone:
        return _vapour(situation, place, sprayed) if sprayed else None
    if not sprayed:
        return vapours_taken_back.alone(_vapour(situation, place, back), gone)
    return vapours_taken_back.beside(_vapour(situation, place, sprayed, back), gone)


def _vapour(
    situation: Situation, place: PlaceNow, sprayed: tuple[SprayedNow, ...], back: tuple[SprayedNow, ...] = ()
) -> Vapour:
    """``back``: what was taken back, which is told of by no figure, but by the hour."""
    every = tuple(sorted((*sprayed, *back), key=lambda one: one.entry.true_at_ms))
    with situation.store.reading() as connection:
        figures, of_every = (
            finish_cases.figures_of(connection, place.subject.id, each, situation.now_ms) for each in (sprayed, every)
        )
    zero_ms = every[0].entry.true_at_ms
    last_ms = max(finish_counted.end_ms(one.entry) for one in sprayed)
    mixtures = [each for one in every for each in one.mixtures]
    told = Told(_sprayed_words(sprayed), (), zero_ms, situation.now_ms, aside=aside(situation, place))
    if figures is None or of_every is None:
        return vapour_words.cant_say(NO_FIGURES, (NO_FIGURES,), told, last_ms, mixtures)
    assumed_too = (*assumed(place, figures.worst), vapour_words.limits_of(situation.region))
    told = replace(
        told,
        assumed=assumed_too,
        aside=(*finish_cases.told_of(figures, sprayed), *told.aside),
        reckoned=_in_short(figures.worst, len(sprayed)),
    )
    try:
        cases = finish_cases.cases_of(figures, place, sprayed, zero_ms)
        one, latest = finish_cases.worst_of(cases, situation.region)
        if back:
            with_it = finish_cases.cases_of(of_every, place, every, zero_ms)
            latest = finish_cases.latest_of((*cases, *with_it), situation.region)
        return vapour_words.shown(one.room, one.sprayings, situation.region, replace(told, latest=latest))
    except BenchdryError as error:
        return vapour_words.cant_say("It cannot be reckoned.", (str(error),), told, last_ms, mixtures)


def already(situation: Situation, place: PlaceNow) -> Already:
    """Return what was sprayed in a room and still counts, for a question about spraying there now."""
    with situation.store.reading() as connection:
        sprayed = _counted(connection, situation, place)
    made = vapour_of(situation, place)
    if made is None:
        return replace(NOTHING_YET, aside=aside(situation, place))
    first = []
    if sprayed:
        litres = share_words.amount(sum(l_from_m3(one.entry.liquid_m3) for one in sprayed))
        since = display.moment(min(one.entry.true_at_ms for one in sprayed))
        first.append(f"Reckoned on top of {litres} litres sprayed here since {since}.")
    if made.control is not Control.NOT_SHOWN:
        why = f" {made.refused.sentence}" if made.refused is not None else ""
        first.insert(0, f"The room as it is, before any of this: {made.word}.{why} {finish_told.ACTS[0]}")
    sprayings = finish_now.sprayings_of(sprayed, situation.now_ms)
    return Already(sprayings, made.sprayed, tuple(first), made.aside)


def aside(situation: Situation, place: PlaceNow) -> tuple[str, ...]:
    """Return what was entered as sprayed in a room and is not counted: taken back, or too long ago."""
    here = place.subject.id
    with situation.store.reading() as connection:
        back = finish_now.taken_back(connection, here, situation.now_ms)
        return (*back, *finish_now.counted_no_more(connection, here, situation.now_ms))


def _counted(connection: Connection, situation: Situation, place: PlaceNow) -> tuple[SprayedNow, ...]:
    return finish_now.counted(connection, place.subject.id, situation.now_ms)


def _in_short(figures: FinishRoom, sprayed: int) -> str:
    """With which room it is reckoned, where that is folded."""
    sprayings = "1 spraying" if sprayed == 1 else f"{sprayed} sprayings"
    return f"{share_words.amount(figures.volume_m3)} m³, {finish_entries.extraction_words(figures)}, {sprayings}"


def assumed(place: PlaceNow, figures: FinishRoom) -> tuple[str, ...]:
    """Return with which figures of a room it is reckoned, and how far they were measured."""
    return (
        f"{share_words.amount(figures.volume_m3)} m³; {finish_entries.extraction_words(figures)}.",
        vapour_words.mixing(),
        finish_now.temperature_said(place),
        LOOKED_BACK,
    )


def _sprayed_words(sprayed: tuple[SprayedNow, ...]) -> tuple[str, ...]:
    return tuple(
        f"{display.moment(one.entry.true_at_ms)}: {finish_entries.sprayed_words(one.entry, one.finish.fact.name)}."
        for one in sprayed
    )
