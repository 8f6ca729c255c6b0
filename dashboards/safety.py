"""Cautions about dust, finish, heavy wood, heat and mould: reminders with their source, never a clearance.

No probe of temperature and humidity can show that a place is under control, so nothing here depends on
a reading: a caution is shown wherever its subject applies.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from shared import tables
from shared.store.records import Origin, PlaceKind

FIRST_LINE = (
    "Reminders only. Your local law and building code, the fire authority, and the product's safety data sheet decide."
)
LAST_LINE = (
    "Nothing on this page shows that a room is under control. Ask your local authority, and leave electrical, "
    "extraction, spray-booth and kiln work to licensed people."
)
TOPIC_TITLES = {
    "dust": "Dust",
    "finish-spray": "Spraying finish",
    "rags": "Oily rags",
    "heavy-boards": "Heavy boards",
    "kiln-heat": "Kiln heat",
    "mould": "Mould",
    "oven-drying": "Oven-drying",
    "salts": "Salts",
    "foul-smell": "Foul smell from wet wood",
    "tar": "Tar or creosote",
}


@dataclass(frozen=True)
class Caution:
    """One reminder."""

    topic: str = field(metadata={"help": "What it is about, a key of TOPIC_TITLES"})
    applies_to: str = field(metadata={"help": "To which work or wood it applies"})
    sentence: str = field(metadata={"help": "The reminder"})
    source: str = field(metadata={"help": "The document that it rests on, with its year"})
    status: str = field(metadata={"help": "published, from memory, or common practice without a source"})


def cautions(*topics: str) -> dict[str, tuple[Caution, ...]]:
    """Return the reminders on these topics, by topic title."""
    found: dict[str, tuple[Caution, ...]] = {}
    for topic in topics:
        rows = [row for row in tables.rows("cautions") if row["topic"] == topic]
        found[TOPIC_TITLES[topic]] = tuple(
            Caution(topic, row["applies_to"], row["sentence"], row["source"], row["status"]) for row in rows
        )
    return found


def topics_for_board(origin: Origin, use: str | None, place_kind: PlaceKind | None) -> tuple[str, ...]:
    """Return the topics that bear on a board by where it came from, what it is for and where it lies."""
    chosen = ["dust"]
    if use == "finish":
        chosen += ["finish-spray", "rags"]
    if origin in (Origin.RECLAIMED, Origin.FRESH):
        chosen += ["heavy-boards", "mould"]
    if place_kind is PlaceKind.KILN:
        chosen.append("kiln-heat")
    return tuple(chosen)
