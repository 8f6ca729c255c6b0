"""The vapour in a finish room now: what was sprayed there lately, judged by what its data sheets and figures say."""

from __future__ import annotations

from dataclasses import replace

from dashboards import display, finish_entries, finish_now, vapour_words
from dashboards.finish_now import SprayedNow
from dashboards.heard import PlaceNow
from dashboards.situation import Situation
from dashboards.vapour_records import Vapour
from dashboards.vapour_words import Told
from kiln.room_air import Room
from shared.errors import BenchdryError
from shared.store.records import ExtractionKnown, FinishRoom
from shared.tables import FIRE
from shared.units import MS_PER_HOUR, MS_PER_S

LOOKED_BACK_H = 48
LOOKED_BACK = (
    f"Counted is what was entered as sprayed here in the last {LOOKED_BACK_H} hours; what was not entered is not."
)
NO_FIGURES = "Nobody has entered how large this room is and how much air is drawn out of it."


def vapour_of(situation: Situation, place: PlaceNow) -> Vapour | None:
    """Return what can be said of the vapour in a finish room; None: nothing was entered as sprayed there lately."""
    since_ms = situation.now_ms - LOOKED_BACK_H * MS_PER_HOUR
    with situation.store.reading() as connection:
        sprayed = finish_now.sprayed_of(connection, place.subject.id, since_ms)
        figures = finish_now.room_of(connection, place.subject.id, situation.now_ms)
    if not sprayed:
        return None
    zero_ms = min(one.entry.true_at_ms for one in sprayed)
    last_ms = max(one.entry.true_at_ms + round(one.entry.duration_s * MS_PER_S) for one in sprayed)
    told = Told(_sprayed_words(sprayed), (), zero_ms, situation.now_ms)
    if figures is None:
        return vapour_words.cant_say(NO_FIGURES, (NO_FIGURES,), told, last_ms)
    told = replace(told, assumed=assumed(place, figures))
    try:
        room = room_air(place, figures)
        return vapour_words.shown(room, finish_now.sprayings_of(sprayed, zero_ms), situation.region, told)
    except BenchdryError as error:
        return vapour_words.cant_say("It cannot be reckoned.", (str(error),), told, last_ms)


def room_air(place: PlaceNow, figures: FinishRoom) -> Room:
    """Return a finish room as the judgement takes it, and whether its extraction was measured."""
    measured = figures.extraction_known is ExtractionKnown.MEASURED
    return replace(finish_now.room_air(place, figures), extraction_measured=measured)


def assumed(place: PlaceNow, figures: FinishRoom) -> tuple[str, ...]:
    """Return with which figures of a room it is reckoned, and how far they were measured."""
    worst = FIRE["mixing_factor_high"]
    return (
        f"{figures.volume_m3:.4g} m³; {finish_entries.extraction_words(figures)}.",
        f"The air is reckoned to mix as badly as is published, K = {worst.value:g} ({worst.status}); "
        f"{figures.mixing_factor:g} was entered.",
        finish_now.temperature_said(place),
        LOOKED_BACK,
    )


def _sprayed_words(sprayed: tuple[SprayedNow, ...]) -> tuple[str, ...]:
    return tuple(
        f"{display.moment(one.entry.true_at_ms)}: {finish_entries.sprayed_words(one.entry, one.finish.subject.code)}."
        for one in sprayed
    )
