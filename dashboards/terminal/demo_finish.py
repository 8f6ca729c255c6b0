"""The shelf of Oxlip Weir and what was sprayed there: invented finishes, as their invented data sheets tell of them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from dashboards import finish_entries
from dashboards.terminal.demo_boards import PEOPLE
from shared.store import Connection, facts
from shared.store.records import FinishRoom, Sprayed, SubjectKind, SurfaceReading
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE

ROOM = "finish-room"
ROOM_FIGURES: dict[str, str] = {
    "volume": "4.2 x 3.6 x 2.6 m",
    "extraction": "1900",
    "extraction_known": "measured",
    "mixing_factor": "5",
}
SHELF_SINCE_DAYS = 60
INVENTED = "invented for the demo: no such finish exists"
FINISHES: dict[str, dict[str, Any]] = {
    "plane-lacquer": {
        "name": "Plane lacquer with thinner",
        "ingredients": "n-butyl acetate 30-40\nethanol 10-20\nisopropyl alcohol 5-10\nacetone 5-15\nsolids 20-30",
        "density_kg_l": "0.92",
        "flash_point_c": "-4",
        "isocyanate": "no",
        "formaldehyde": "no",
        "self_heating": "no",
        "dry_after_h": "45 min",
        "dew_gap_c": "3",
        "rh_max_pct": "65",
        "surface_min_c": "15",
        "sheet": "invented sheet, 3 February 2026",
    },
    "linseed": {
        "name": "Linseed oil with thinner",
        "ingredients": "Stoddard solvent 20-30\nsolids 70-80",
        "density_kg_l": "0.88",
        "flash_point_c": "40",
        "isocyanate": "no",
        "formaldehyde": "no",
        "self_heating": "yes",
        "dry_after_h": "24 h",
        "sheet": "invented sheet, 14 June 2025",
    },
    "two-part": {
        "name": "Two-part gloss with hardener",
        "ingredients": "n-butyl acetate 25-35\nxylene 5-10\nHDI homopolymer 15-25\nsolids 40-50",
        "density_kg_l": "1.02",
        "flash_point_c": "24",
        "isocyanate": "yes",
        "formaldehyde": "no",
        "self_heating": "no",
        "dry_after_h": "6 h",
        "sheet": "invented sheet, 21 August 2025",
    },
}


@dataclass(frozen=True)
class Coat:
    """What is sprayed or wiped on, so many hours before the demo was first started and every so many days after."""

    finish: str
    litres: float
    minutes: float
    hours_ago: float
    again_every_days: int


COATS = (
    Coat("linseed", 0.15, 20, 26.0, 2),
    Coat("plane-lacquer", 0.3, 12, 1.4, 1),
    Coat("plane-lacquer", 0.25, 10, 0.5, 1),
)
SURFACE_MINUTES_AGO = 15
SURFACE: dict[str, str] = {"surface_c": "18.6", "what": "Mahogany neck blank 2"}


def enter(connection: Connection, first_run_ms: int, now_ms: int) -> Iterator[str]:
    """Enter whatever of it has happened by now and is not in the store yet; yield what was entered."""
    yield from _shelf(connection, first_run_ms)
    room = facts.subject(connection, SubjectKind.PLACE, ROOM)
    if not facts.standing(connection, FinishRoom, room.id):
        said = _said(first_run_ms - SHELF_SINCE_DAYS * MS_PER_DAY)
        finish_entries.say_finish_room(connection, ROOM, **ROOM_FIGURES, **said)
        yield ROOM
    yield from _coats(connection, room.id, first_run_ms, now_ms)
    if not facts.standing(connection, SurfaceReading, room.id):
        read = _said(first_run_ms - SURFACE_MINUTES_AGO * MS_PER_MINUTE)
        finish_entries.add_surface_reading(connection, ROOM, **SURFACE, **read)
        yield SURFACE["what"]


def _shelf(connection: Connection, first_run_ms: int) -> Iterator[str]:
    held = {one.code for one in facts.subjects(connection, SubjectKind.FINISH)}
    for code, sheet in FINISHES.items():
        if code not in held:
            said = _said(first_run_ms - SHELF_SINCE_DAYS * MS_PER_DAY)
            finish_entries.add_finish(connection, code, note=INVENTED, **sheet, **said)
            yield code


def _coats(connection: Connection, room_id: int, first_run_ms: int, now_ms: int) -> Iterator[str]:
    held = {one.true_at_ms for one in facts.standing(connection, Sprayed, room_id)}
    for coat in COATS:
        first_ms = first_run_ms - round(coat.hours_ago * MS_PER_HOUR)
        for at_ms in range(first_ms, now_ms, coat.again_every_days * MS_PER_DAY):
            said = _said(at_ms)
            if said["true_at_ms"] not in held:
                put_on = {"finish": coat.finish, "litres": coat.litres, "minutes": coat.minutes}
                finish_entries.add_sprayed(connection, ROOM, **put_on, extraction_on=True, **said)
                yield coat.finish


def _said(at_ms: float) -> dict[str, Any]:
    """The second of the invented people sprays, and enters it a few minutes later."""
    moment = int(at_ms) // MS_PER_MINUTE * MS_PER_MINUTE
    return {"by": PEOPLE[1], "now_ms": moment + 4 * MS_PER_MINUTE, "true_at_ms": moment}
