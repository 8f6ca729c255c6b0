"""When a cold piece has come to the temperature of a room, and when its face is past the dew point there."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dashboards import dew_rule_words, display
from dashboards.answers.boards import board_of, known_of, thing_of
from dashboards.answers.records import Answer, Asked, Basis, Line, Question, bases_of, options
from dashboards.pages.forms import Field, Option
from dashboards.warming_drawings import Warming, drawing
from kiln import dew_gap, psychrometrics, warming
from kiln.evidence import now_index
from kiln.warming import FACE, MIDDLE, Faces, Slabs
from shared.tables import Species, constants
from shared.units import S_PER_HOUR, S_PER_MINUTE, m_from_mm

PIECE_C, ROOM_C = (-30.0, 60.0), (-20.0, 50.0)
USUAL_MC_PCT = 10.0
SHOWN_S = (900.0, 1800.0, 3600.0, 7200.0, 14_400.0, 28_800.0)
HALF_HOUR_S, LONGEST_DRAWN_S = 1800.0, 172_800.0
NEVER = "not in this air"
LEAST_S, LITTLE = 300.0, "under 5 min"  # the step that such a reckoning is worth

FIELDS = (
    Field("board", "A board of the yard", "board", hint="Fills in its wood, thickness and moisture."),
    Field("species", "Wood", "species", spoken="species"),
    Field("thickness_mm", "Thickness", "number", unit="mm", spoken="thickness"),
    Field(
        "mc_pct",
        "Moisture",
        "number",
        unit="%MC",
        spoken="moisture content",
        hint="Empty: 10. Up to 25: wetter wood evaporates and stays colder.",
    ),
    Field(
        "from_place",
        "It comes from the air of a place",
        "place",
        hint="Takes it for as warm as that air is now: lain there for a day, not wrapped.",
    ),
    Field("piece_c", "or it is now at", "signed", unit="°C", spoken="temperature of the piece"),
    Field("place", "It goes into the air of a place", "place", hint="Fills in what its probes say now."),
    Field("room_c", "or into air of", "signed", unit="°C", spoken="temperature of the room"),
    Field("rh_pct", "Humidity there", "number", unit="%RH", spoken="humidity", hint="Empty: no dew point is told."),
    Field("faces", "It has", "choice", options=(Option("", "nobody said"), *options(Faces)), spoken="faces"),
)


def answer(asked: Asked) -> Answer:
    """Answer it; raises BadInput naming what is missing or impossible."""
    wood = asked.species()
    piece_c = asked.number("piece_c", "temperature of the piece", *PIECE_C, "°C")
    room_c = asked.number("room_c", "temperature of the room", *ROOM_C, "°C")
    slabs = _slabs(asked, wood, (piece_c + room_c) / 2.0)
    near = constants("warming")["near_room"].value
    near_words = display.with_unit(near, "C°", 0)
    face = _near_room(slabs, piece_c, room_c, near, FACE)
    return Answer(
        headline=_headline(asked, face),
        band=f"{duration(face[2])} in a good draught to {duration(face[0])} in air that stands still{_slowest(asked)}",
        sentence=f"Until its face is within {near_words} of the room.{_dew_told(asked, slabs, piece_c, room_c)}",
        lines=(
            Line(f"Its middle is within {near_words} after", _span(_near_room(slabs, piece_c, room_c, near, MIDDLE))),
            *_dew_lines(asked, slabs, piece_c, room_c),
            *(_at(slabs, piece_c, room_c, t_s) for t_s in SHOWN_S),
        ),
        flags=_flags(wood),
        next_step="Measure its surface with a thermometer before any finish is open: this is a reckoning.",
        formula=(
            "T(x, t) = T_room + (T₀ − T_room) Σ Cₙ cos(ζₙ x/L) exp(−ζₙ² a t/L²), ζ tan ζ = h L/k",
            "Cₙ = 4 sin ζₙ / (2 ζₙ + sin 2ζₙ); L half the thickness, all of it where only one face is free",
        ),
        bases=_bases(wood),
        validity="one piece free in the room, 0.5 to 500 mm thick, up to 25 % MC; not in a stack, not wrapped. "
        "Edges and ends warm it sooner; water that evaporates or condenses is left out.",
        drawing=drawing(Warming(slabs, piece_c, room_c, _dew_c(asked, room_c), _drawn_s(face))),
        drawing_words="Full line with its band: the face. Broken line: the middle of the piece.",
    )


def _slabs(asked: Asked, wood: Species, mean_c: float) -> Slabs:
    thickness = m_from_mm(asked.number("thickness_mm", "thickness", 0.5, 500.0, "mm"))
    mc = asked.or_else("mc_pct", "moisture content", 0.0, warming.MOST_MC_PCT, "% MC", USUAL_MC_PCT)
    faces = asked.choice("faces", "faces", Faces, Faces.BOTH) if asked.given("faces") else None
    return warming.slabs_of(wood.basic_specific_gravity, mc, thickness, mean_c, faces)


def _headline(asked: Asked, face: tuple[float | None, ...]) -> str:
    """How long, as the usual piece takes; where nobody said how it lies, the whole span: the slowest is as likely."""
    slow, usual, fast = (duration(one) for one in face)
    if asked.given("faces"):
        return f"about {usual}" if face[1] and usual != LITTLE else usual
    return usual if slow == usual == fast else f"{fast} to {slow} or more"


def _drawn_s(face: tuple[float | None, ...]) -> float:
    """How long is drawn: until the usual piece is near the room, and half as long again, in whole half hours."""
    usual = face[1] or 0.0
    return min(max(2, round(1.5 * usual / HALF_HOUR_S)) * HALF_HOUR_S, LONGEST_DRAWN_S)


def _slowest(asked: Asked) -> str:
    return "" if asked.given("faces") else ", lying on one face"


def _near_room(slabs: Slabs, piece_c: float, room_c: float, near: float, depth: float) -> tuple[float | None, ...]:
    if abs(piece_c - room_c) <= near:
        return (0.0,) * len(slabs)
    return _times(slabs, piece_c, room_c, room_c - near if piece_c < room_c else room_c + near, depth)


def _times(slabs: Slabs, piece_c: float, room_c: float, goal_c: float, depth: float) -> tuple[float | None, ...]:
    return tuple(warming.time_until_s(one, piece_c, room_c, goal_c, depth) for one in slabs)


def duration(t_s: float | None) -> str:
    """A time in minutes, or in hours from two on; in steps that such a reckoning is worth."""
    if t_s is None:
        return NEVER
    if 0.0 < t_s < LEAST_S:
        return LITTLE
    if t_s < 2.0 * S_PER_HOUR:
        return f"{5 * round(t_s / S_PER_MINUTE / 5.0)} min" if t_s > 0.0 else "at once"
    return f"{t_s / S_PER_HOUR:.1f} h" if t_s < 10.0 * S_PER_HOUR else f"{t_s / S_PER_HOUR:.0f} h"


def _span(times: tuple[float | None, ...]) -> str:
    slow, usual, fast = (duration(one) for one in times)
    return usual if slow == usual == fast else f"{usual} ({fast} to {slow})"


def _dew_c(asked: Asked, room_c: float) -> float | None:
    rh = asked.maybe("rh_pct", "humidity", 5.0, 100.0, "%RH")
    return None if rh is None else float(psychrometrics.dew_point_c(room_c, rh))


def _dew_told(asked: Asked, slabs: Slabs, piece_c: float, room_c: float) -> str:
    dew_c = _dew_c(asked, room_c)
    if dew_c is None or piece_c > dew_c:
        return ""
    past = _times(slabs, piece_c, room_c, dew_c, FACE)
    return (
        f" It comes in below the dew point of {display.with_unit(dew_c, '°C')}: water condenses on it for "
        f"{_span(past)}, and the wood takes it up. Leave it wrapped until it is warm, which takes longer than this."
    )


def _dew_lines(asked: Asked, slabs: Slabs, piece_c: float, room_c: float) -> tuple[Line, ...]:
    """When its face is past each rule's gap; a room nearer to its own dew point than that never brings it there."""
    dew_c = _dew_c(asked, room_c)
    if dew_c is None:
        return ()
    found = []
    for rule in dew_gap.rules():
        if rule.asks is not dew_gap.Asks.GAP:
            continue
        words = f"Its face is {dew_rule_words.limit_of(rule)} above the dew point after"
        goal_c = dew_c + rule.value
        told = "at once" if piece_c >= goal_c else _span(_times(slabs, piece_c, room_c, goal_c, FACE))
        if room_c < goal_c:
            told = NEVER
        found.append(Line(words, told, rule.words))
    return tuple(found)


def _at(slabs: Slabs, piece_c: float, room_c: float, t_s: float) -> Line:
    face, middle = (
        sorted(float(warming.after(one, piece_c, room_c, t_s, depth)) for one in slabs) for depth in (FACE, MIDDLE)
    )
    return Line(f"After {duration(t_s)}", f"face {_three(face)}", f"middle {_three(middle)}")


def _three(of: list[float]) -> str:
    low, middle, high = (display.number(one) for one in of)
    return f"{middle} °C ({low} to {high} °C)"


def _flags(wood: Species) -> tuple[str, ...]:
    told = ["A wrapped piece takes longer than this; so does one in a stack, under a cover or on a cold bench."]
    if wood.basic_status == "from memory":
        told.append(f"The basic specific gravity of {wood.common_name} is known from memory, not read in print.")
    return tuple(told)


def _bases(wood: Species) -> tuple[Basis, ...]:
    return (
        Basis(
            "series of the slab: Carslaw and Jaeger, Conduction of Heat in Solids, 2nd edition, section 3.11",
            "from memory",
        ),
        *bases_of("wood", "conductivity_dry_slope", of="conductivity"),
        *bases_of("wood", "heat_dry_base", of="heat capacity"),
        Basis(f"basic specific gravity of {wood.common_name}: {wood.basic_source}", wood.basic_status),
        *bases_of("warming", "film_least", "film_usual", "film_most", of="film"),
    )


def place_in(yard: Any, key: str, typed: Mapping[str, str]) -> Any | None:
    """Return the place that was chosen in one of the two fields."""
    return thing_of(yard.open_places, "place", {"place": typed.get(key, "")})


def fill(yard: Any, typed: Mapping[str, str]) -> dict[str, str]:
    """Fill in a board's wood, thickness and moisture now, and the air of the places it comes from and goes to."""
    known: dict[str, str] = {}
    board = board_of(yard, typed)
    if board is not None:
        known |= {key: value for key, value in known_of(board).items() if key in ("species", "thickness_mm")}
        if board.projection is not None:
            known["mc_pct"] = f"{board.projection.mean.p50[now_index(board.projection)]:.1f}"
    whence = place_in(yard, "from_place", typed)
    if whence is not None and whence.air is not None and whence.air.good:
        known["piece_c"] = f"{whence.air.temperature_c:.1f}"
    place = place_in(yard, "place", typed)
    if place is not None and place.air is not None and place.air.good:
        known |= {"room_c": f"{place.air.temperature_c:.1f}", "rh_pct": f"{place.air.rh_pct:.1f}"}
    return known


QUESTION = Question(
    name="warming",
    title="When a cold piece is warm",
    lead="How long a piece from the cold takes to come to the temperature of a room, and past its dew point.",
    fields=FIELDS,
    answer=answer,
    fill=fill,
    wanted=("from_place", "piece_c"),
    defers=True,
)
