"""Where a board may be in the time ahead: the places' records, the moves planned, and the other places of the yard."""

from __future__ import annotations

from dataclasses import dataclass, field

from dashboards import airs
from dashboards.airs import Stay
from dashboards.yard_entries import Entries
from kiln import lying
from kiln.air import AirHours
from kiln.air_ahead import Climate
from kiln.lying import Lying, Spell
from kiln.question import Leg
from shared.store import Connection
from shared.units import MS_PER_DAY, MS_PER_HOUR

RECORD_DAYS = 3 * 366  # how much of a place's air is drawn on for the time ahead


@dataclass
class Records:
    """The places' airs on record, each read once in an hour however many boards ask for it."""

    _held: dict[tuple[int, int, str], AirHours] = field(default_factory=dict)
    _hour: int = -1

    def of(self, connection: Connection, entries: Entries, place_id: int, now_ms: int) -> AirHours:
        """Return all that is known of a place's air, for drawing on."""
        hour = now_ms // MS_PER_HOUR
        if hour != self._hour:
            self._held, self._hour = {}, hour
        spans = entries.where.probes_of(place_id)
        checks = [str(entries.checks.get(probe_id)) for probe_id, _begin, _finish in spans]
        key = (place_id, hour, f"{spans} {checks}")
        if key not in self._held:
            self._held[key] = _read(connection, entries, place_id, now_ms)
        return self._held[key]


def _read(connection: Connection, entries: Entries, place_id: int, now_ms: int) -> AirHours:
    start_ms = airs.first_air_ms(connection, entries.where, place_id)
    start_ms = max(start_ms or now_ms - MS_PER_HOUR, now_ms - RECORD_DAYS * MS_PER_DAY)
    return airs.place_air(connection, entries.where, place_id, min(start_ms, now_ms - MS_PER_HOUR), now_ms)


def climate(entries: Entries, place_id: int) -> Climate | None:
    """Return the usual months of a place, where somebody entered them."""
    said = entries.climates.get(place_id)
    return Climate(said.temperature_c, said.rh_pct) if said else None


def planned(
    connection: Connection, entries: Entries, board_id: int, last: Spell, end_ms: int, records: Records
) -> tuple[Leg, ...]:
    """Return the stretches of the time ahead by the moves that are planned; ``end_ms``: of the logged air.

    Raises ValueError, in words, where no air was ever logged at the place that it is to go to.
    """
    found = []
    now_ms = end_ms + MS_PER_HOUR - 1
    position = entries.where.board_at(board_id, now_ms)
    for move in entries.moves_ahead(board_id, now_ms):
        name = entries.places[move.place_id].name
        record = records.of(connection, entries, move.place_id, now_ms)
        if not record.known.any():
            raise ValueError(f"it is planned to go to {name}, where no air was ever logged")
        with_stack = position is not None and move.subject_id == position.stack_id
        first_day = max(1, round((move.true_at_ms - end_ms) / MS_PER_DAY))
        spell = _there(entries, move.place_id, last, last.lying.rest if with_stack else lying.FREE)
        found.append(Leg(first_day, record, spell, name, climate(entries, move.place_id)))
    return tuple(found)


def elsewhere(
    connection: Connection, entries: Entries, here: Stay, last: Spell, end_ms: int, records: Records
) -> tuple[Leg, ...]:
    """Return the other open places of the yard whose air was logged, each as a place to move a board to now."""
    found = []
    for place_id, fact in entries.places.items():
        if place_id == here.place_id or fact.closed or str(fact.kind) not in ("room", "shed", "kiln"):
            continue
        record = records.of(connection, entries, place_id, end_ms + MS_PER_HOUR - 1)
        if record.known.any():
            spell = _there(entries, place_id, last, lying.FREE)
            found.append(Leg(0, record, spell, fact.name, climate(entries, place_id)))
    return tuple(found)


def _there(entries: Entries, place_id: int, last: Spell, rest: str) -> Spell:
    place = entries.places[place_id]
    told = Lying(
        place_kind=str(place.kind),
        rest=rest,
        coat=last.lying.coat,
        ends_sealed=last.lying.ends_sealed,
        air_speed_m_s=place.air_speed_m_s,
        in_sun=place.in_sun,
    )
    return Spell(0, last.thickness_m, told)
