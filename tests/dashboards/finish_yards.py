"""Finish rooms for the tests: invented finishes with sheets that tell all, too little, or what no air answers to."""

from __future__ import annotations

from typing import Any

from dashboards import entries, finish_now, situation, vapours
from shared.settings import FILE_NAME
from shared.store import facts
from shared.store.records import Acknowledged, SubjectKind
from shared.units import MS_PER_DAY, MS_PER_MINUTE

A_DAY = float(MS_PER_DAY)
MINUTE = MS_PER_MINUTE / A_DAY  # in days

LACQUER: dict[str, Any] = {
    "name": "Invented lacquer",
    "ingredients": "n-butyl acetate 40-50\nacetone 20-30\nsolids 20-40",
    "density_kg_l": "0.92",
    "flash_point_c": "-5",
    "isocyanate": "no",
    "formaldehyde": "no",
    "self_heating": "no",
    "dry_after_h": "0.5",
    "dew_gap_c": "3",
    "sheet": "Invented sheet, 2 March 2026",
}
UNLISTED = LACQUER | {"name": "Invented secret", "ingredients": "ethanol 10-20\npetrified moonlight 60-90"}
UNREAD = LACQUER | {"name": "Invented and unread", "isocyanate": None, "formaldehyde": None, "self_heating": None}
HARDENED = LACQUER | {"name": "Invented two-part", "isocyanate": "yes"}
ACID = LACQUER | {"name": "Invented acid-curing", "formaldehyde": "yes"}
OIL = LACQUER | {"name": "Invented oil", "self_heating": "yes", "ingredients": "solids 100"}
SMALL = {"volume": "30", "extraction": "600", "extraction_known": "measured", "mixing_factor": "10"}
VAST = {"volume": "20000", "extraction": "200000", "extraction_known": "measured", "mixing_factor": "3"}


def room(yard, **figures):
    """A finish room that was acknowledged; with figures where some are given."""
    yard.act(entries.add_place, "spray", kind="finish room", altitude_m=0, acknowledged=True, days_ago=50)
    if figures:
        yard.act(entries.say_finish_room, "spray", days_ago=40, **figures)
    return yard


def shelved(yard, code, sheet):
    """Put a finish on the shelf."""
    yard.act(entries.add_finish, code, days_ago=30, **sheet)
    return yard


def sprayed(yard, code, *, minutes_ago=60.0, litres=1.0, minutes=20, extraction_on=True):
    """Enter a spraying."""
    typed = {"finish": code, "litres": litres, "minutes": minutes, "extraction_on": extraction_on, "sure": True}
    return yard.act(entries.add_sprayed, "spray", days_ago=minutes_ago * MINUTE, **typed)


def unacknowledged(yard):
    """Take back what was acknowledged: a store from before anybody was asked."""
    with yard.store.reading() as connection:
        held = facts.standing(connection, Acknowledged)
    for one in held:
        yard.act(entries.undo, "acknowledgement", one.id)
    return yard


def now(yard):
    """Read the yard."""
    return situation.read(yard.store, yard.now_ms, yard.settings)


def nothing(yard):
    """No finish room, no finish."""
    return yard


def bare(yard):
    """A finish room and nothing else."""
    return room(yard)


def no_figures(yard):
    """Sprayed in a room of which nobody entered a figure."""
    sprayed(shelved(room(yard), "lacquer", LACQUER), "lacquer")
    return yard


def unlisted(yard):
    """Most of what was sprayed is in no table."""
    sprayed(shelved(room(yard, **VAST), "secret", UNLISTED), "secret", litres=0.01)
    return yard


def unread(yard):
    """Nobody has looked up what matters, and nobody has acknowledged anything."""
    sprayed(shelved(room(yard, **SMALL), "unread", UNREAD), "unread", litres=0.05)
    return unacknowledged(yard)


def refused_isocyanate(yard):
    """A finish that no amount of air is an answer to."""
    sprayed(shelved(room(yard, **SMALL), "hard", HARDENED), "hard")
    return yard


def refused_formaldehyde(yard):
    """Another."""
    sprayed(shelved(room(yard, **VAST), "acid", ACID), "acid", litres=0.01)
    return yard


def over(yard):
    """A litre in a small room, an hour ago; a cold surface beside it."""
    sprayed(shelved(room(yard, **SMALL), "lacquer", LACQUER), "lacquer")
    read = {"surface_c": "9", "air_c": "20", "rh_pct": "60", "what": "a cold top"}
    yard.act(entries.add_surface_reading, "spray", days_ago=10 * MINUTE, **read)
    return yard


def early(yard):
    """Next to nothing in a hall, just now: before its hour."""
    sprayed(shelved(room(yard, **VAST), "lacquer", LACQUER), "lacquer", minutes_ago=10, litres=0.01, minutes=5)
    return yard


def late(yard):
    """Next to nothing in a hall, hours ago: over no limit."""
    sprayed(shelved(room(yard, **VAST), "lacquer", LACQUER), "lacquer", minutes_ago=600, litres=0.01, minutes=5)
    return yard


def oily(yard):
    """Oil rubbed on a day and a half ago."""
    sprayed(shelved(room(yard, **VAST), "oil", OIL), "oil", minutes_ago=36 * 60, litres=0.1)
    return yard


YARDS = (
    nothing,
    bare,
    no_figures,
    unlisted,
    unread,
    refused_isocyanate,
    refused_formaldehyde,
    over,
    early,
    late,
    oily,
)
SPRAYED_YARDS = tuple(one for one in YARDS if one not in (nothing, bare))


def vapour_of(yard):
    """What is said of the vapour in the finish room."""
    read = now(yard)
    return vapours.vapour_of(read, next(one for one in read.open_places if one.subject.code == "spray"))


def room_now(yard):
    """The one finish room as it stands."""
    (found,) = finish_now.finish_rooms(now(yard))
    return found


def commanded(yard):
    """Let commands find the yard."""
    (yard.folder / FILE_NAME).write_text('store = "yard.sqlite3"\n', encoding="utf-8")
    return yard


def finish_codes(yard):
    """The codes on the shelf."""
    with yard.store.reading() as connection:
        return [one.code for one in facts.subjects(connection, SubjectKind.FINISH)]
