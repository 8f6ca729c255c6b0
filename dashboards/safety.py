"""Cautions about dust, finish, heavy wood, heat and mould: reminders with their source, never a clearance.

No probe of temperature and humidity can show that a place is under control, so nothing here depends on
a reading: a caution is shown wherever its subject applies.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from shared import tables
from shared.errors import BadInput
from shared.store.records import Origin, PlaceKind

FIRST_LINE = (
    "Reminders and reckoned figures, nothing more. This page replaces neither the product's safety data sheet, nor "
    "local code, nor the fire authority, nor licensed practice: they decide."
)
LAST_LINE = (
    "Nothing on this page shows that a place or a piece of work is under control. It does not replace the product's "
    "safety data sheet, local code, the fire authority or licensed practice: ask them."
)
TOPIC_TITLES = {
    "dust": "Dust",
    "dust-work": "While dust is made, and after",
    "dust-fire": "Dust that burns",
    "dust-sensor": "Particle sensors",
    "finish-spray": "Spraying finish",
    "gun-hardener": "Gun, hardener, stripper, stove",
    "rags": "Oily rags",
    "finishing-waste": "Finishing waste",
    "heavy-boards": "Heavy boards",
    "kiln-heat": "Kiln heat",
    "oven-drying": "Oven-drying",
    "mould": "Mould",
    "grit-metal": "Grit and metal",
    "foul-smell": "Gas and foul smells from wet wood",
    "tar": "Tar or creosote",
    "salts": "Salts",
    "before-sanding": "Before sanding",
    "before-spraying": "Before spraying",
    "afterwards": "Afterwards",
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
    return {TOPIC_TITLES[topic]: on_topic(topic) for topic in topics}


def on_topic(topic: str) -> tuple[Caution, ...]:
    """Return the reminders on one topic, in the order of the table; raises BadInput for one that there is not."""
    if topic not in TOPIC_TITLES:
        raise BadInput("topic", topic, f"one of {', '.join(TOPIC_TITLES)}")
    return tuple(
        Caution(topic, row["applies_to"], row["sentence"], row["source"], row["status"])
        for row in tables.rows("cautions")
        if row["topic"] == topic
    )


def topics_for_board(origin: Origin, use: str | None, place_kind: PlaceKind | None) -> tuple[str, ...]:
    """Return the topics that bear on a board by where it came from, what it is for and where it lies."""
    chosen = ["dust"]
    if use == "finish":
        chosen += ["finish-spray", "rags", "finishing-waste"]
    if origin in (Origin.RECLAIMED, Origin.FRESH):
        chosen += ["heavy-boards", "mould"]
    if origin is Origin.RECLAIMED:
        chosen.append("grit-metal")
    if place_kind is PlaceKind.KILN:
        chosen.append("kiln-heat")
    return tuple(chosen)
