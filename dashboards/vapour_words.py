"""The vapour of a finish in a room, in words: over, can't say, or not shown to be under control.

The judgement (``kiln.finish_air``) is asked twice: with air that mixes as badly as is published, which is what is
shown; and with air that mixes better, which is shown only where it is over too, for it may comfort nobody.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from markupsafe import Markup

from dashboards import control_marks, display, vapour_drawings
from dashboards.bases import Basis, Line
from dashboards.share_words import flow, percent, span, times
from dashboards.vapour_drawings import Course
from dashboards.vapour_records import Held, Refused
from dashboards.vapour_records import Vapour as Vapour
from kiln import finish_air
from kiln.control import Control
from kiln.finish_air import Against, FinishAir
from kiln.finish_limits import ALL_TOGETHER
from kiln.room_air import Room, Spraying
from kiln.sentences import capital
from shared.tables import FIRE, Region
from shared.units import MS_PER_S, S_PER_HOUR

LONGEST_H = 720.0
KEPT = 64  # judgements
FIRST_LOOK_H = 96.0  # to see how long the vapour stays
LEAST_H, TAIL = 0.5, 0.1  # of the time that is drawn, and what is drawn beyond it
TOGETHER = "all vapours together"  # as the judgement names what is held against a sum
TABLE_ROWS = 12
TABLE_HEAD = ("Time", "As it is sprayed, of the LEL", "At most, of the LEL", "As it is sprayed", "At most")
TEST = "then test with a calibrated instrument"
SUMMED = (ALL_TOGETHER, "from memory")
PLAIN = ("published", "none")  # how a limit is known, where nothing is added to it
WHILE_SPRAYED = "while it is sprayed, in air that mixes as badly as is published"
ADDED_UP = "each vapour's share of its own limit (below, by ingredient), added up: 29 CFR 1910.1000(d)(2)(i)"
DRAWN = (
    "The line: all evaporates as it leaves the gun. Dashes: the most that there can be while the film dries. Hatched: "
    "above a tenth of the lower explosive limit (LEL). Blocks at the foot: the gun was on. The foot is not nought."
)
STAY_OUT = (
    "Stop spraying. Leave the extraction as it runs and switch nothing inside. Keep flames, sparks and hot things "
    "away, and stay out until it was tested with a calibrated instrument."
)
NOT_SO = (
    "Do not spray so much, so fast, in this room as it is. Whoever plans spray spaces by licence, and the fire "
    "authority, say what it takes."
)
BREATHE = (
    "Nobody breathes this air: the data sheet (section 8) says which protection, and whoever is trained for it fits it."
)
INSTRUMENT = "with a calibrated instrument that is rated for such a place"
BESIDE = (
    "The plume and the wet surface can exceed the explosive limit whatever the mean of the room is.",
    "This is not what the person at the gun breathes.",
)
FIND_OUT = "Take it for over until what is missing is known: section 3 and 9 of the data sheet, or its maker."


@dataclass(frozen=True)
class Told:
    """What is known beside the sprayings themselves."""

    sprayed: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    zero_ms: int | None = None  # the moment from which the sprayings' times count; None: it is only asked
    now_ms: int | None = None


def shown(room: Room, sprayings: Sequence[Spraying], region: Region, told: Told) -> Vapour:
    """Judge the vapour and return it in words; raises BadInput and OutOfRange as the judgement does."""
    worst = replace(room, mixing_factor=FIRE["mixing_factor_high"].value)
    judged = _judged(worst, sprayings, region)
    milder = FIRE["mixing_factor_low"].value if room.mixing_factor == worst.mixing_factor else room.mixing_factor
    mild = _judge(replace(room, mixing_factor=milder), sprayings, region)
    return _vapour(judged, {one.name: one for one in mild.against}, milder, room, sprayings, told)


def cant_say(headline: str, unknowns: tuple[str, ...], told: Told, at_ms: int | None) -> Vapour:
    """Return that nothing can be reckoned, and what is missing."""
    return Vapour(
        **_word(Control.CANT_SAY),
        headline=headline,
        figures=(),
        doing=(FIND_OUT,),
        refused=None,
        unknowns=unknowns,
        over=(),
        cant_say=(),
        over_each=(),
        not_shown=(),
        not_before=f"From when on it can be tested can't be said. Whoever goes in tests first: {INSTRUMENT}.",
        not_before_note="",
        not_before_ms=None,
        air=(),
        beside=BESIDE,
        cautions=(),
        drawing=Markup(),
        drawn="",
        table_head=TABLE_HEAD,
        table=(),
        sprayed=told.sprayed,
        assumed=told.assumed,
        formula=(),
        bases=(),
        at_ms=at_ms,
    )


def _judge(room: Room, sprayings: Sequence[Spraying], region: Region, hours: float = finish_air.SHOWN_H) -> FinishAir:
    return _kept(room, tuple(sprayings), region, hours)


@lru_cache(maxsize=KEPT)
def _kept(room: Room, sprayings: tuple[Spraying, ...], region: Region, hours: float) -> FinishAir:
    """What was judged is kept: the yard's page and open pages ask for the same one again with every reading."""
    return finish_air.judge(room, sprayings, region, hours)


def _judged(room: Room, sprayings: Sequence[Spraying], region: Region) -> FinishAir:
    """Judge, and draw as long as there is anything to be seen."""
    first = _judge(room, sprayings, region, hours=FIRST_LOOK_H)
    if not len(first.times_s):
        return first
    seen = np.flatnonzero(first.at_most_lel > vapour_drawings.FOOT_SHARE)
    last_s = float(first.times_s[min(int(seen[-1]) + 1, len(first.times_s) - 1)]) if len(seen) else 0.0
    begun_s, latest_s = (end(one.start_s for one in sprayings) for end in (min, max))
    wanted_s = max(last_s, first.not_before_s or 0.0, *(one.end_s for one in sprayings)) - begun_s
    tail_s = TAIL * (wanted_s + begun_s - latest_s)
    hours = min(max((wanted_s + tail_s) / S_PER_HOUR, LEAST_H), LONGEST_H)
    return _judge(room, sprayings, region, hours=hours)


def _vapour(
    judged: FinishAir,
    mild: dict[str, Against],
    milder: float,
    room: Room,
    sprayings: Sequence[Spraying],
    told: Told,
) -> Vapour:
    held = [(one, _held(one, mild.get(one.name), milder, given=judged.refused is None)) for one in judged.against]
    together = [pair for pair in held if _is_together(pair[0])]
    each = [pair for pair in held if not _is_together(pair[0])]
    zero_ms = told.zero_ms
    drawn = None if judged.refused else _course(judged, sprayings, told)
    return Vapour(
        **_word(judged.control),
        headline=_headline(judged),
        figures=_figures(judged),
        doing=_doing(judged, asked=zero_ms is None),
        refused=_refused(judged),
        unknowns=judged.unknowns,
        over=tuple(line for one, line in together if one.control is Control.OVER),
        cant_say=tuple(line for one, line in held if one.control is Control.CANT_SAY),
        over_each=tuple(line for one, line in each if one.control is Control.OVER),
        not_shown=tuple(line for one, line in held if one.control is Control.NOT_SHOWN),
        not_before=_not_before(judged, zero_ms),
        not_before_note="" if judged.not_before_s is None else judged.not_before_why,
        not_before_ms=_moment_ms(zero_ms, judged.not_before_s),
        air=_air(judged, room),
        beside=judged.beside[:2],
        cautions=tuple(one for one in (*judged.beside[2:], judged.flash) if one),
        drawing=vapour_drawings.drawing(drawn) if drawn else Markup(),
        drawn=DRAWN,
        table_head=TABLE_HEAD,
        table=_table(judged, drawn) if drawn else (),
        sprayed=told.sprayed,
        assumed=told.assumed,
        formula=judged.formula,
        bases=_bases(judged),
        at_ms=_moment_ms(zero_ms, max(one.end_s for one in sprayings)),
    )


def _word(control: Control) -> dict[str, Any]:
    return {
        "control": control,
        "key": control_marks.KEYS[control],
        "mark": control_marks.drawn(control),
        "word": control_marks.WORDS[control],
    }


def _headline(judged: FinishAir) -> str:
    """The judgement's own line, without the word that stands above it."""
    return judged.headline.removeprefix(f"{judged.control.value.capitalize()}. ")


def _is_together(one: Against) -> bool:
    """Whether it speaks of all vapours, and not of one ingredient alone."""
    return one.explosive or one.name.endswith(TOGETHER)


def _held(one: Against, mild: Against | None, milder: float, *, given: bool) -> Held:
    """Return a limit in words; what the milder reckoning says only where it is over too; ``given``: with figures."""
    figure = "" if one.at_most_share is None else times(one.at_most_share)
    return Held(
        **{key: value for key, value in _word(one.control).items() if key != "control"},
        name=one.limit_text if one.explosive else one.name,
        figure=f"at least {figure}" if figure and one.at_least else figure,
        beside=_beside(one, mild, milder) if _is_together(one) else "",
        limit=_limit(one, given=given),
        sentence="" if figure else _why(one),
        source=Basis(one.source, one.status).shown,
    )


def _beside(one: Against, mild: Against | None, milder: float) -> str:
    found = []
    if one.peak_share is not None and one.peak_share != one.at_most_share:
        found.append(f"as it is sprayed {times(one.peak_share)}")
    if one.control is Control.OVER and mild is not None and mild.control is Control.OVER and mild.at_most_share:
        found.append(f"even with better mixed air (K = {milder:g}) {times(mild.at_most_share)}")
    return "; ".join(found)


def _limit(one: Against, *, given: bool) -> str:
    """The limit as printed, with body, year and status; of a sum, that each ingredient's own stands below."""
    words = one.limit_text
    if one.explosive:
        words = one.basis_text
    elif given and _is_together(one):
        words = f"{ADDED_UP}; {one.basis_text}"
    return words if one.status in PLAIN else f"{words} · {one.status}"


def _why(one: Against) -> str:
    """Why there is no figure, without the limit's name that stands before it."""
    return capital(one.sentence.removeprefix(f"{one.name}: ").removeprefix(f"{one.control.value}. "))


def _figures(judged: FinishAir) -> tuple[Line, ...]:
    """The share of the explosive limit, and the worst of what is breathed; large only where something is over."""
    if judged.refused or judged.control is not Control.OVER:
        return ()
    found = []
    if len(judged.at_most_lel):
        most = percent(float(judged.at_most_lel.max()))
        least = "at least" if judged.at_least else "up to"
        found.append(Line("Of the lower explosive limit", f"{least} {most}", judged.against[0].basis_text))
    breathed = [one for one in judged.against if not one.explosive and _is_together(one) and one.at_most_share]
    if breathed:
        one = max(breathed, key=lambda each: each.at_most_share or 0.0)
        least = "at least" if one.at_least else "up to"
        found.append(Line("Of the limits for what is breathed", f"{least} {times(one.at_most_share or 0.0)}", one.name))
    return tuple(found)


def _doing(judged: FinishAir, *, asked: bool) -> tuple[str, ...]:
    """What to do, by what is over; ``asked``: nothing was sprayed yet."""
    found = []
    over = [one for one in judged.against if one.control is Control.OVER]
    if any(one.explosive for one in over):
        found.append(NOT_SO if asked else STAY_OUT)
    if judged.refused or any(not one.explosive for one in over):
        found.append(BREATHE)
    if judged.unknowns or (judged.control is Control.CANT_SAY and not judged.refused):
        found.append(FIND_OUT)
    return tuple(found)


def _refused(judged: FinishAir) -> Refused | None:
    one = judged.refused
    return None if one is None else Refused(one.group, one.sentence, Basis(one.source, one.status).shown)


def _not_before(judged: FinishAir, zero_ms: int | None) -> str:
    """From when on it is to be tested; nothing says that one may go in then."""
    if judged.not_before_s is None or judged.refused:
        return judged.not_before_why
    if zero_ms is None:
        when = f"{span(judged.not_before_s)} after spraying begins"
    else:
        when = display.moment(vapour_drawings.moment_ms(zero_ms, judged.not_before_s))
    return f"Not before {when}, {TEST}."


def _moment_ms(zero_ms: int | None, at_s: float | None) -> int | None:
    return None if zero_ms is None or at_s is None else vapour_drawings.moment_ms(zero_ms, at_s)


def _air(judged: FinishAir, room: Room) -> tuple[Line, ...]:
    """Air that the formula asks for; beside it the air that is said to be drawn out, where that is too little."""
    asked = (
        ("To dilute it to the limits of what is breathed", judged.air_needed_health_m3_s),
        ("To dilute it below the explosive limit", judged.air_needed_fire_m3_s),
    )
    needed = [(name, one) for name, one in asked if one]
    found = tuple(Line(name, flow(one), WHILE_SPRAYED) for name, one in needed)
    if not needed or (room.extraction_m3_s or 0.0) >= max(one for _name, one in needed):
        return found
    said = "none known, counted as none" if room.extraction_m3_s is None else flow(room.extraction_m3_s)
    measured = "" if room.extraction_m3_s is None else "measured" if room.extraction_measured else "not measured"
    return (*found, Line("Said to be drawn out, which is less", said, measured))


def _course(judged: FinishAir, sprayings: Sequence[Spraying], told: Told) -> Course | None:
    if not len(judged.times_s):
        return None
    now_s = None
    if told.zero_ms is not None and told.now_ms is not None:
        now_s = (told.now_ms - told.zero_ms) / MS_PER_S
    return Course(
        judged.times_s,
        judged.as_sprayed_lel,
        judged.at_most_lel,
        tuple((one.start_s, one.end_s) for one in sprayings),
        told.zero_ms,
        now_s,
        judged.not_before_s,
    )


def _table(judged: FinishAir, drawn: Course) -> tuple[tuple[str, ...], ...]:
    """Some moments of the course, its highest among them."""
    count = len(judged.times_s)
    even = np.linspace(0, count - 1, min(TABLE_ROWS, count)).round().astype(int)
    rows = sorted({*even.tolist(), int(np.argmax(judged.as_sprayed_lel)), int(np.argmax(judged.at_most_lel))})
    return tuple(
        (
            vapour_drawings.moment(drawn, float(judged.times_s[row])),
            percent(float(judged.as_sprayed_lel[row])),
            percent(float(judged.at_most_lel[row])),
            f"{np.ceil(judged.as_sprayed_mg_m3[row]):,.0f} mg/m³",
            f"{np.ceil(judged.at_most_mg_m3[row]):,.0f} mg/m³",
        )
        for row in rows
    )


def _bases(judged: FinishAir) -> tuple[Basis, ...]:
    """Every document that a limit or a formula rests on, each once."""
    constants = (FIRE[name] for name in ("mixing_factor_low", "mixing_factor_high", "safety_factor_high"))
    alone = [one for one in judged.against if one.explosive or judged.refused or not _is_together(one)]
    pairs = [(one.source, one.status) for one in (*alone, *constants) if one.source]
    return tuple(Basis(source, status) for source, status in dict.fromkeys([SUMMED, *pairs]))
