"""A board's life: whose wood it was before it was sawn off, where it lay and how, and which sizes it had when."""

from __future__ import annotations

from dataclasses import dataclass, replace

from dashboards import airs, resting
from dashboards.yard_entries import BoardEntries, Entries
from kiln import lying
from kiln.lying import Lying, Spell
from shared.store import facts
from shared.store.records import BoardFact, Coat, Faces
from shared.units import MS_PER_HOUR


@dataclass(frozen=True)
class Part:
    """A time, begin ≤ t < end, in which the wood was part of one board."""

    board_id: int
    begin_ms: int
    end_ms: int


def parts(entries: Entries, board_id: int, now_ms: int) -> list[Part]:
    """Return the boards that a board's wood was part of, the oldest first, and itself last."""
    found = [Part(board_id, entries.boards[board_id].start_ms, now_ms)]
    while (origin := _sawn_from(entries.boards[found[0].board_id])) is not None:
        source, at_ms = origin
        if source not in entries.boards or any(part.board_id == source for part in found):
            break
        found[0] = Part(found[0].board_id, at_ms, found[0].end_ms)
        found.insert(0, Part(source, entries.boards[source].start_ms, at_ms))
    return found


def _sawn_from(board: BoardEntries) -> tuple[int, int] | None:
    return next(((cut.from_board_id, cut.true_at_ms) for cut in board.cuts if cut.from_board_id is not None), None)


def stays(entries: Entries, life: list[Part]) -> list[airs.Stay]:
    """Return where the wood was, one stay after the other."""
    return [stay for part in life for stay in entries.where.board_stays(part.board_id, part.begin_ms, part.end_ms)]


def sizes_at(entries: Entries, board_id: int, at_ms: int) -> BoardFact:
    """Return what a board was at a moment: its sizes above all."""
    board = entries.boards[board_id]
    return facts.at(board.sizes, at_ms) or board.sizes[0]


def spells(entries: Entries, life: list[Part], way_start_ms: int, hours: int | None = None) -> tuple[Spell, ...]:
    """Return how the wood lay and which sizes it had, by the hour of its way that each spell begins with.

    ``hours`` of the way's air: what was entered since the last full hour counts from its end on.
    """
    found: list[Spell] = []
    now_m = _face_m(sizes_at(entries, life[-1].board_id, life[-1].end_ms))
    for part in life:
        for at_ms in _changes(entries, part):
            hour = max(0, -(-(at_ms - way_start_ms) // MS_PER_HOUR)) if found else 0
            hour = hour if hours is None else min(hour, hours)
            size = sizes_at(entries, part.board_id, at_ms)
            spell = Spell(
                hour,
                size.thickness_m,
                _lying(entries, part.board_id, at_ms),
                _slice_left(entries, part.board_id, at_ms),
                _wetted(entries, part.board_id, at_ms),
                None if _face_m(size) == now_m else _face_m(size),
            )
            _put(found, spell)
    return tuple(found)


def _face_m(size: BoardFact) -> tuple[float, float]:
    return size.width_m, size.length_m


def _changes(entries: Entries, part: Part) -> list[int]:
    """Moments of a part at which something changed about how the board lay or its sizes."""
    board = entries.boards[part.board_id]
    moments = {stay.start_ms for stay in entries.where.board_stays(part.board_id, part.begin_ms, part.end_ms)}
    moments |= {one.true_at_ms for one in entries.where.boards.get(part.board_id, [])}
    moments |= {one.true_at_ms for one in (*board.rests, *board.coats, *board.cuts, *board.waters)}
    return sorted({part.begin_ms} | {at_ms for at_ms in moments if part.begin_ms < at_ms < part.end_ms})


def _put(found: list[Spell], spell: Spell) -> None:
    """Add a spell: one that changes nothing goes on with the last, and of two within one hour the later counts."""
    last = found[-1] if found else None
    alike = last is not None and (last.thickness_m, last.face_m) == (spell.thickness_m, spell.face_m)
    same = alike and last is not None and last.lying == spell.lying
    if same and spell.slice_left is None and spell.wetted_kg_m2 is None:
        return
    if last is not None and last.first_hour == spell.first_hour:
        found.pop()
        left = _one_slice(last.slice_left, spell.slice_left)
        # Of one hour the cut is taken to come first: wood is cut dry and glued after.
        wetted = _both(last.wetted_kg_m2, spell.wetted_kg_m2)
        spell = replace(spell, slice_left=left, wetted_kg_m2=wetted)
    found.append(spell)


def _one_slice(first: tuple[float, float] | None, second: tuple[float, float] | None) -> tuple[float, float] | None:
    if first is None or second is None:
        return first or second
    near, far = (first[0] + (first[1] - first[0]) * share for share in second)
    return near, far


def _both(first: tuple[float, float] | None, second: tuple[float, float] | None) -> tuple[float, float] | None:
    if first is None or second is None:
        return first or second
    return first[0] + second[0], first[1] + second[1]


def _wetted(entries: Entries, board_id: int, at_ms: int) -> tuple[float, float] | None:
    """Water that came to the marked and the other face at this very moment [kg/m²]; None: none did."""
    events = [one for one in entries.boards[board_id].waters if one.true_at_ms == at_ms]
    if not events:
        return None
    size = sizes_at(entries, board_id, at_ms)
    near, far = (
        sum(one.water_kg * (0.5 if one.faces is Faces.BOTH else float(one.faces is face)) for one in events)
        / (size.width_m * size.length_m)
        for face in (Faces.MARKED, Faces.OTHER)
    )
    return near, far


def _slice_left(entries: Entries, board_id: int, at_ms: int) -> tuple[float, float] | None:
    """What a cut at this very moment left, as shares of the thickness that was cut; None where that was all of it."""
    cut = next((one for one in entries.boards[board_id].cuts if one.true_at_ms == at_ms), None)
    if cut is None:
        return None
    source = board_id if cut.from_board_id is None else cut.from_board_id
    if source not in entries.boards:
        return None
    before_m = max(sizes_at(entries, source, at_ms - 1).thickness_m, cut.far_m)
    if (cut.near_m, cut.far_m) == (0.0, before_m):
        return None  # ripped, cross-cut or trimmed: its faces are the old ones
    return cut.near_m / before_m, cut.far_m / before_m


def _lying(entries: Entries, board_id: int, at_ms: int) -> Lying:
    board, where = entries.boards[board_id], entries.where
    stay = where.board_stays(board_id, at_ms, at_ms + 1)
    place = entries.places.get(stay[0].place_id) if stay and stay[0].place_id is not None else None
    position = where.board_at(board_id, at_ms)
    rest = resting.rest_at(board.rests, where.boards.get(board_id, []), at_ms)
    coat = resting.coat_at(board.coats, at_ms)
    unsaid = lying.STACK if position is not None and position.stack_id is not None else lying.FREE
    return Lying(
        place_kind=str(place.kind) if place else "shed",  # nobody knows where: the usual place of wood
        rest=str(rest.rest) if rest else unsaid,
        coat=str(coat.coat if coat else Coat.BARE),
        ends_sealed=coat.ends_sealed if coat else False,
        air_speed_m_s=place.air_speed_m_s if place else None,
        case_air_m3=rest.case_air_m3 if rest else None,
        in_sun=place.in_sun if place else False,
    )
