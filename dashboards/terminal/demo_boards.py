"""Oxlip Weir's stacks, boards and sets: an invented story, told as data."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from shared.units import MS_PER_DAY, datetime_from_ms

PEOPLE = ("Maren", "Tobias")  # invented


@dataclass(frozen=True)
class Lie:
    """Where a board lies from a day on (days before the demo was first started)."""

    days_ago: float
    place: str
    stack: str = ""


@dataclass(frozen=True)
class Board:
    """A board of the story; times are days before the demo was first started."""

    code: str
    species: str
    sizes_mm: tuple[float, float, float]
    origin: str
    cut: str
    way: tuple[Lie, ...]
    weighed_days_ago: tuple[float, ...] = ()
    weighed_again_every_days: float = 0.0  # after the demo was started; 0: nobody does
    start_mc_pct: float | None = None  # the truth; None: drawn around what is usual
    matched_to: str = ""  # twins are of one board, so share its truth
    pins_days_ago: tuple[float, ...] = ()
    section_days_ago: float | None = None
    bags_days_ago: tuple[float, ...] = ()
    meter: str = ""  # that its pin readings are taken with
    use: str = ""
    note: str = ""
    name: str = ""
    lifted_days_ago: float | None = None  # when its log came out of the water
    looked_days_ago: float | None = None  # when it was last looked at for mould, and none found

    @property
    def born_days_ago(self) -> float:
        """When it came into these sizes."""
        return self.way[0].days_ago


@dataclass(frozen=True)
class Set:
    """A matched set of the story."""

    code: str
    name: str
    pieces: dict[str, str]
    use: str
    booked_in_days: float | None = None
    joint_mm: float = 0.0  # of its halves, along the grain of both; 0: nobody entered it


@dataclass(frozen=True)
class Check:
    """What a probe read over two saturated salts."""

    probe: str
    days_ago: float
    temperature_c: float
    magnesium_chloride_pct: float
    table_salt_pct: float


@dataclass(frozen=True)
class Meter:
    """A pin meter on a lot of wood, and the moistures of the offcuts that it was calibrated with."""

    code: str
    name: str
    species: str
    days_ago: float
    offcuts_mc_pct: tuple[float, ...]


@dataclass(frozen=True)
class Story:
    """Everything, at the dates that follow from when the demo was first started."""

    stacks: dict[str, tuple[str, str]]  # code: (name, place)
    boards: tuple[Board, ...]
    sets: tuple[Set, ...] = field(default=())
    checks: tuple[Check, ...] = field(default=())
    meters: tuple[Meter, ...] = field(default=())


def _often(first: float, step: float, last: float = 1.0) -> tuple[float, ...]:
    return tuple(np.arange(first, last, -step).tolist())


def story(first_run_ms: int) -> Story:
    """Return the story: the ash was stacked on the latest 1 March that lies at least 60 days back."""
    stacked = _days_since_march(first_run_ms)
    ash = {"species": "Fraxinus americana", "sizes_mm": (27, 190, 2100), "origin": "fresh-sawn", "cut": "flat-sawn"}
    plane = {"species": "Platanus occidentalis", "origin": "water-reclaimed", "cut": "quarter-sawn"}
    plane |= {"lifted_days_ago": 42, "looked_days_ago": 4}
    maple = {"species": "Acer saccharum", "sizes_mm": (32, 180, 1200), "origin": "part-seasoned", "cut": "quarter-sawn"}
    raised = (Lie(38, "log-shed", "raised-plane"),)
    yard = (Lie(stacked, "yard", "spring-ash"),)
    loft = (Lie(230, "log-shed"), Lie(170, "loft", "loft-maple"))
    boards = (
        Board(
            "RP-1",
            sizes_mm=(34, 230, 1600),
            way=raised,
            weighed_days_ago=(37.5, *_often(33, 5)),
            section_days_ago=37.5,
            weighed_again_every_days=5,
            note="sample board, end-sealed",
            name="Raised plane 1",
            use="machine",
            **plane,
        ),
        Board(
            "RP-2",
            sizes_mm=(34, 215, 1600),
            way=raised,
            weighed_days_ago=(37.5, 26, 12, 3),
            name="Raised plane 2",
            note="lies on a load cell in the stack",
            use="machine",
            **plane,
        ),
        Board(
            "RP-3",
            sizes_mm=(34, 240, 1500),
            way=raised,
            name="Raised plane 3",
            use="machine",
            note="never weighed: judged by species, size and air alone",
            **plane,
        ),
        Board(
            "SA-1",
            way=yard,
            weighed_days_ago=(stacked - 1, *_often(stacked - 8, 7, stacked - 100), *_often(stacked - 110, 21, 4), 4),
            weighed_again_every_days=7,
            name="Spring ash 1",
            note="sample board",
            use="machine",
            **ash,
        ),
        Board(
            "SA-2",
            way=yard,
            weighed_days_ago=(*_often(stacked - 3, 30, 40), 11),
            name="Spring ash 2",
            use="machine",
            **ash,
        ),
        Board(
            "SA-3",
            way=yard,
            weighed_days_ago=(stacked - 3,),
            pins_days_ago=(6,),
            name="Spring ash 3",
            use="machine",
            **ash,
        ),
        Board(
            "LM-1",
            way=loft,
            weighed_days_ago=(*_often(225, 25, 10), 3),
            pins_days_ago=(30, 3),
            meter="pm-maple",
            name="Loft maple 1",
            weighed_again_every_days=7,
            use="machine",
            **maple,
        ),
        Board(
            "LM-2",
            way=(*loft, Lie(125, "bench-room")),
            weighed_days_ago=(200, 126, 74),
            name="Loft maple 2",
            use="machine",
            note="in the bench room for months and long not weighed",
            **{**maple, "sizes_mm": (22, 180, 1200)},
        ),
        Board(
            "WO-7",
            "Quercus alba",
            (28, 210, 1400),
            "fresh-sawn",
            "flat-sawn",
            (Lie(16, "log-shed"), Lie(1.6, "bench-room")),
            weighed_days_ago=(15.8, 11, 5, 1.7, 0.7, 0.1),
            weighed_again_every_days=1,
            name="White oak 7",
            use="machine",
            note="brought in beside the stove too early",
        ),
        Board(
            "ST-L",
            "Picea sitchensis",
            (4.2, 205, 560),
            "re-sawn",
            "quarter-sawn",
            (Lie(75, "loft"), Lie(48, "bench-room")),
            weighed_days_ago=_often(47, 6),
            weighed_again_every_days=3,
            bags_days_ago=(2,),
            start_mc_pct=11.5,
            name="Spruce top, left",
        ),
        Board(
            "ST-R",
            "Picea sitchensis",
            (4.2, 205, 560),
            "re-sawn",
            "quarter-sawn",
            (Lie(75, "loft"), Lie(48, "bench-room")),
            weighed_days_ago=_often(47, 6),
            weighed_again_every_days=3,
            start_mc_pct=11.5,
            bags_days_ago=(2,),
            matched_to="ST-L",
            name="Spruce top, right",
        ),
        Board(
            "PB-L",
            "Platanus occidentalis",
            (30, 200, 540),
            "re-sawn",
            "quarter-sawn",
            (Lie(9, "loft"), Lie(4, "bench-room")),
            weighed_days_ago=(8.5, 5.5, 3.2, 0.6),
            weighed_again_every_days=2,
            start_mc_pct=34.0,
            name="Plane back, left",
        ),
        Board(
            "PB-R",
            "Platanus occidentalis",
            (30, 200, 540),
            "re-sawn",
            "quarter-sawn",
            (Lie(9, "loft"), Lie(4, "bench-room")),
            weighed_days_ago=(8.5, 5.5, 3.2, 0.6),
            weighed_again_every_days=2,
            start_mc_pct=37.0,
            matched_to="PB-L",
            name="Plane back, right",
        ),
        Board(
            "MN-2",
            "Swietenia macrophylla",
            (65, 90, 720),
            "part-seasoned",
            "quarter-sawn",
            (Lie(120, "finish-room"),),
            weighed_days_ago=(118, 90, 52),
            start_mc_pct=15.0,
            name="Mahogany neck blank 2",
            use="machine",
        ),
    )
    return Story(
        {
            "raised-plane": ("Raised plane", "log-shed"),
            "spring-ash": ("Spring ash", "yard"),
            "loft-maple": ("Loft maple", "loft"),
        },
        boards,
        (
            Set("top-14", "Spruce top 14", {"ST-L": "left half", "ST-R": "right half"}, "glue", joint_mm=520),
            Set("back-15", "Plane back 15", {"PB-L": "left half", "PB-R": "right half"}, "glue", booked_in_days=3),
        ),
        checks=(
            Check("loft-beam", 75, 19.0, 34.1, 76.3),
            Check("bench-wall", 60, 20.5, 32.6, 75.0),
            Check("bench-rack", 60, 20.5, 38.9, 81.3),
            Check("finish-door", 410, 20.0, 35.0, 77.2),
        ),
        meters=(Meter("pm-maple", "Pin meter on the loft maple", "Acer saccharum", 70, (9.6, 12.8, 16.9)),),
    )


def _days_since_march(first_run_ms: int) -> float:
    today = datetime_from_ms(first_run_ms)
    march = today.replace(month=3, day=1, hour=9, minute=0, second=0, microsecond=0)
    if (today - march).days < 60:
        march = march.replace(year=march.year - 1)
    return (today - march).total_seconds() / 86_400


def moment_ms(first_run_ms: int, days_ago: float) -> int:
    """Return a moment of the story, to the minute: so many days before the demo was first started."""
    return int(first_run_ms - days_ago * MS_PER_DAY) // 60_000 * 60_000
