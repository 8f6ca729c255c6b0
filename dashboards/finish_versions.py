"""What stood of a finish or a finish room while its vapour lasts: what is entered later never makes it less.

A version stood while it was what a look at the store would have shown. Of a finish every version counts that stood
since the spraying was first entered; of a room all figures in force since the first spraying that counts, but for what
was taken back, unless nothing else is left. A spraying that is taken back and entered anew rests on what stands then.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TypeVar

from shared.store import Connection, facts
from shared.store.records import ExtractionKnown, Fact, FinishFact, FinishRoom, MixedBy
from shared.tables.drying_oils import drying_oil
from shared.tables.no_dilution import no_dilution_group

KEPT = 256  # finishes whose words were looked through

F = TypeVar("F", bound=Fact)


def every(connection: Connection, record: type[F], subject_ids: Iterable[int]) -> list[F]:
    """Return every entry of a kind about some things, corrected and taken back ones too."""
    return facts.having(connection, record, "subject_id", list(subject_ids))


def first_entered_ms(rows: Sequence[Fact], entry: Fact) -> int:
    """When an entry was entered at first, before it was corrected, taken back or put back."""
    by_id = {one.id: one for one in rows}
    while entry.supersedes in by_id:
        entry = by_id[entry.supersedes]
    return entry.entered_at_ms


def newest_since(rows: Sequence[F], since_ms: int) -> tuple[F, ...]:
    """Return each version that was the newest at any moment of knowing since then, the oldest first."""
    seen = (_standing(rows, known_ms) for known_ms in _moments(rows, since_ms))
    return tuple({held[-1].id: held[-1] for held in seen if held}.values())


def in_force_since(rows: Sequence[F], known_since_ms: int, since_ms: int, now_ms: int) -> tuple[F, ...]:
    """Return what was in force at any time since a moment, by what was known then or since; not what was taken back."""
    gone = _taken_back(rows)
    found: dict[int, F] = {}
    for known_ms in _moments(rows, known_since_ms):
        held = _standing(rows, known_ms)
        begun = facts.at(held, since_ms)
        later = [one for one in held if since_ms < one.true_at_ms <= now_ms]
        found |= {one.id: one for one in ([begun] if begun else []) + later if one.id not in gone}
    return tuple(found.values())


def _moments(rows: Sequence[Fact], since_ms: int) -> tuple[int, ...]:
    """Moments of knowing since then at which something else may have stood."""
    return (since_ms - 1, since_ms, *sorted({one.entered_at_ms for one in rows if one.entered_at_ms > since_ms}))


def _standing(rows: Sequence[F], known_ms: int) -> list[F]:
    known = [one for one in rows if one.entered_at_ms <= known_ms]
    corrected = {one.supersedes for one in known}
    return sorted(
        (one for one in known if one.id not in corrected and not one.withdrawn),
        key=lambda one: (one.true_at_ms, one.id),
    )


def _taken_back(rows: Sequence[Fact]) -> set[int]:
    """The entries that are withdrawn now, with all that they had corrected."""
    by_id = {one.id: one for one in rows}
    corrected = {one.supersedes for one in rows}
    found: set[int] = set()
    for one in rows:
        if one.id not in corrected and one.withdrawn:
            number: int | None = one.id
            while number in by_id:
                found.add(number)
                number = by_id[number].supersedes
    return found


# --- finishes --------------------------------------------------------------------------------------


@lru_cache(maxsize=KEPT)
def heard(name: str, ingredients: str) -> dict[str, bool]:
    """Return what the name and the ingredients of a finish tell of it, whatever was ticked."""
    texts = (name, *ingredients.splitlines())
    groups = {group.group for text in texts if (group := no_dilution_group(text))}
    return {
        "isocyanate": "isocyanates" in groups,
        "formaldehyde": "formaldehyde" in groups,
        "self_heating": any(drying_oil(text) for text in texts),
    }


def as_judged(fact: FinishFact) -> FinishFact:
    """Return a finish with what its name and ingredients tell put in place of a no, or of nobody having looked."""
    told = {flag: True for flag, yes in heard(fact.name, fact.ingredients).items() if yes}
    return replace(fact, **told) if told else fact


def worse_of(versions: Sequence[FinishFact]) -> FinishFact:
    """Return the newest version with the worse of each flag, the longest drying and the lowest flash point of all."""
    judged = [as_judged(one) for one in versions]
    drying = [one.dry_after_s for one in judged]
    flashes = [one.flash_point_c for one in judged if one.flash_point_c is not None]
    return replace(
        judged[-1],
        isocyanate=worse_flag(one.isocyanate for one in judged),
        formaldehyde=worse_flag(one.formaldehyde for one in judged),
        self_heating=worse_flag(one.self_heating for one in judged),
        dry_after_s=None if None in drying else max(one for one in drying if one is not None),
        flash_point_c=min(flashes, default=None),
    )


def worse_flag(said: Iterable[bool | None]) -> bool | None:
    """Return a yes before nobody having looked, and that before a no."""
    held = list(said)
    return True if True in held else None if None in held else False


def differently_made(versions: Sequence[FinishFact]) -> tuple[FinishFact, ...]:
    """Return the last of the versions that are made of the same, for each; the newest last."""
    last = {_made_of(one): one for one in versions}
    return tuple(sorted(last.values(), key=versions.index))


def made_as(fact: FinishFact, other: FinishFact) -> FinishFact:
    """Return a finish as if it were made of what another version names."""
    basis, ingredients, density = _made_of(other)
    return replace(fact, basis=basis, ingredients=ingredients, density_kg_m3=density)


def _made_of(one: FinishFact) -> tuple[MixedBy, str, float | None]:
    return one.basis, one.ingredients, one.density_kg_m3


# --- rooms -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class RoomFigures:
    """The figures that a room's vapour is reckoned with."""

    now: FinishRoom  # what stands now; where nothing does, the last that was taken back
    worst: FinishRoom  # the smallest room, the least air drawn out, the worst mixing of all that count
    widest: FinishRoom  # the same in the largest room: its vapour is thinner, and may stay longer
    taken_back: tuple[FinishRoom, ...]  # the entries by which figures were withdrawn since


def room_figures(rows: Sequence[FinishRoom], known_since_ms: int, since_ms: int, now_ms: int) -> RoomFigures | None:
    """Return the figures in force since a moment, the worst of them first; None: none are, and none were taken back."""
    counted = in_force_since(rows, known_since_ms, since_ms, now_ms)
    corrected = {one.supersedes for one in rows}
    gone = [one for one in rows if one.withdrawn and one.id not in corrected and one.entered_at_ms >= since_ms]
    standing = facts.at(_standing(rows, now_ms), now_ms)
    now = standing or max(gone, key=lambda one: (one.entered_at_ms, one.id), default=None)
    if now is None:
        return None
    counted = counted or (now,)
    drawn = [one.extraction_m3_s for one in counted]
    worst = replace(
        now,
        volume_m3=min(one.volume_m3 for one in counted),
        extraction_m3_s=None if None in drawn else min(one for one in drawn if one is not None),
        extraction_known=ExtractionKnown.UNSAID if None in drawn else _least_known(counted),
        mixing_factor=max(one.mixing_factor for one in counted),
    )
    widest = replace(worst, volume_m3=max(one.volume_m3 for one in counted))
    return RoomFigures(now, worst, widest, tuple(gone))


def _least_known(counted: Sequence[FinishRoom]) -> ExtractionKnown:
    said = [one.extraction_known for one in counted]
    order = (ExtractionKnown.UNSAID, ExtractionKnown.PRINTED, ExtractionKnown.MEASURED)
    return next(one for one in order if one in said)
