"""With what the vapour in a room is reckoned where something was corrected since: each case, the worst of them first.

A case is a room and what was sprayed in it, by one version of each finish. All are judged; the worst is shown.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import product

from dashboards import display, finish_entries, finish_now, finish_versions
from dashboards.finish_now import SprayedNow
from dashboards.finish_versions import RoomFigures
from dashboards.heard import PlaceNow
from kiln import finish_air
from kiln.control import WORST_FIRST
from kiln.finish_air import FinishAir
from kiln.mixtures import Mixture
from kiln.room_air import Room, Spraying
from shared.store import Connection
from shared.store.records import FinishRoom
from shared.tables import FIRE, Region

MOST_CASES = 8  # of finishes that were corrected; beyond it the first versions are taken together, and the later ones
KEPT = 64  # judgements
LEFT = "and not reckoned with"


@dataclass(frozen=True)
class Case:
    """A room and what was sprayed in it, as the judgement takes them."""

    room: Room
    sprayings: tuple[Spraying, ...]


def figures_of(connection: Connection, place_id: int, sprayed: Sequence[SprayedNow], now_ms: int) -> RoomFigures | None:
    """Return the figures that what was sprayed in a room is reckoned with; None: nobody has entered any."""
    rows = finish_versions.every(connection, FinishRoom, [place_id])
    known_since_ms = min(one.first_entered_ms for one in sprayed)
    since_ms = min(one.entry.true_at_ms for one in sprayed)
    return finish_versions.room_figures(rows, known_since_ms, since_ms, now_ms)


def told_of(figures: RoomFigures, sprayed: Sequence[SprayedNow]) -> tuple[str, ...]:
    """Say where the worse of what was entered counts, and which figures were taken back since: a sentence each."""
    return (*_of_room(figures), *_of_finishes(sprayed))


def _of_room(figures: RoomFigures) -> Iterator[str]:
    if _figures(figures.worst) != _figures(figures.now):
        worst, now = (finish_entries.room_words(one) for one in (figures.worst, figures.now))
        yield (
            f"Reckoned with {worst}: the worst of what stood since the first spraying that counts. What was entered at "
            f"{display.moment(figures.now.entered_at_ms)} ({now}) counts alone once no spraying from before it counts."
        )
    for one in figures.taken_back:
        counts = one is figures.now
        what = "and reckoned with all the same: no other figures stand, and what was sprayed counts" if counts else LEFT
        yield (
            f"{finish_entries.room_words(one)}: taken back by {one.entered_by} at {display.moment(one.entered_at_ms)}, "
            f"{what}."
        )


def _figures(one: FinishRoom) -> tuple[float, float | None, float]:
    return one.volume_m3, one.extraction_m3_s, one.mixing_factor


def _of_finishes(sprayed: Sequence[SprayedNow]) -> Iterator[str]:
    for name in dict.fromkeys(one.finish.fact.name for one in sprayed if one.corrected):
        yield (
            f"{name} was corrected since it was sprayed: the worse of what was entered of it counts while the spraying "
            "does. Only a test tells."
        )


def cases_of(figures: RoomFigures, place: PlaceNow, sprayed: Sequence[SprayedNow], zero_ms: int) -> tuple[Case, ...]:
    """Return every case: the worst room and the widest, with each version of each finish that stood since."""
    rooms = dict.fromkeys(finish_now.room_air(place, one) for one in (figures.worst, figures.widest))
    return tuple(
        Case(room, finish_now.sprayings_of(sprayed, zero_ms, chosen)) for room in rooms for chosen in _chosen(sprayed)
    )


def _chosen(sprayed: Sequence[SprayedNow]) -> list[dict[int, Mixture]]:
    """Of each finish that was sprayed one of its versions, in every combination."""
    versions: dict[int, list[Mixture]] = {}
    for one in sprayed:
        held = versions.setdefault(one.finish.subject.id, [])
        held += [mixture for mixture in one.mixtures if mixture not in held]
    every = list(product(*versions.values()))
    if len(every) > MOST_CASES:
        longest = max(len(held) for held in versions.values())
        every = [tuple(held[min(turn, len(held) - 1)] for held in versions.values()) for turn in range(longest)]
    return [dict(zip(versions, one, strict=True)) for one in every]


def worst_of(cases: Sequence[Case], region: Region) -> tuple[Case, FinishAir | None]:
    """Return the worst of the cases, and what was judged of the one with the latest hour, or with none, where that is
    another; raises as the judgement does.
    """
    if len(cases) == 1:
        return cases[0], None
    judged = {one: _judged(one, region) for one in cases}
    worst = min(cases, key=lambda one: _badness(judged[one]))
    latest = _latest(judged.values())
    told_by_worst = judged[worst].not_before_s in (None, latest.not_before_s)
    return worst, None if told_by_worst else latest


def latest_of(cases: Sequence[Case], region: Region) -> FinishAir:
    """Return what was judged of the case with the latest hour, or with none; raises as the judgement does."""
    return _latest([_judged(one, region) for one in cases])


def _latest(judged: Iterable[FinishAir]) -> FinishAir:
    return max(judged, key=lambda one: (one.not_before_s is None, one.not_before_s or 0.0))


@lru_cache(maxsize=KEPT)
def _judged(case: Case, region: Region) -> FinishAir:
    """What was judged is kept: open pages ask for the same one again with every reading."""
    worst = FIRE["mixing_factor_high"].value
    return finish_air.judge(replace(case.room, mixing_factor=worst), case.sprayings, region)


def _badness(judged: FinishAir) -> tuple[bool, int, float, float]:
    shares = [(one.explosive, one.at_most_share or 0.0) for one in judged.against]
    explosive = max((share for burns, share in shares if burns), default=0.0)
    return (
        judged.refused is None,
        WORST_FIRST.index(judged.control),
        -explosive,
        -max((s for _, s in shares), default=0.0),
    )
