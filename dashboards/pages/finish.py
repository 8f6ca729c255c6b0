"""The finish room: how far the air is from its dew point, as information, and reminders before the work."""

from __future__ import annotations

from dataclasses import dataclass, field

from dashboards import display, safety
from dashboards.situation import Situation
from shared.store.records import PlaceKind


@dataclass(frozen=True)
class RoomLine:
    """One finish room now."""

    name: str = field(metadata={"help": "What the room is called"})
    code: str = field(metadata={"help": "Its code"})
    air: str = field(metadata={"help": "Temperature and humidity"})
    gap: str = field(metadata={"help": "How many degrees the air stands above its dew point"})
    age: str = field(metadata={"help": "Age of these readings"})
    note: str = field(metadata={"help": "Why they are doubted; empty otherwise"})


@dataclass(frozen=True)
class FinishPage:
    """Everything that finish.html may use."""

    first_line: str = field(metadata={"help": "Who decides, said first"})
    last_line: str = field(metadata={"help": "What this page does not show, said last"})
    rooms: tuple[RoomLine, ...] = field(metadata={"help": "Every finish room"})
    cautions: dict[str, tuple[safety.Caution, ...]] = field(metadata={"help": "Reminders by topic"})


def finish_page(situation: Situation) -> FinishPage:
    """Fill the finish page."""
    return FinishPage(
        first_line=safety.FIRST_LINE,
        last_line=safety.LAST_LINE,
        rooms=tuple(_rooms(situation)),
        cautions=safety.cautions("dust", "finish-spray", "rags"),
    )


def _rooms(situation: Situation) -> list[RoomLine]:
    lines = []
    for place in situation.open_places:
        if place.fact.kind is not PlaceKind.FINISH_ROOM:
            continue
        air = place.air
        if air is None:
            lines.append(RoomLine(place.fact.name, place.subject.code, "no air logged", display.NOTHING, "", ""))
            continue
        lines.append(
            RoomLine(
                name=place.fact.name,
                code=place.subject.code,
                air=f"{display.with_unit(air.temperature_c, '°C')}, {display.with_unit(air.rh_pct, '%', 0)} RH",
                gap=display.with_unit(air.temperature_c - air.dew_point_c, "C°"),
                age=display.age(air.at_ms, situation.now_ms),
                note="" if air.good else "No probe in this room is believed at the moment.",
            )
        )
    return lines
