"""The vapour of a finish in a room, in words: over, can't say, or not shown to be under control.

The judgement (``kiln.finish_air``) is asked twice: with air that mixes as badly as is published, which is what is
shown; and with air that mixes better, which is shown only where it is over too, for it may comfort nobody.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from markupsafe import Markup

from dashboards import display, vapour_drawings, vapour_figures
from dashboards.bases import Line
from dashboards.share_words import span
from dashboards.vapour_drawings import Course
from dashboards.vapour_figures import SHORT, SPELT, TABLE_HEAD, is_together, word
from dashboards.vapour_records import Vapour, refused_by
from kiln import finish_air, finish_amounts, finish_told
from kiln.control import Control
from kiln.finish_air import Against, FinishAir
from kiln.mixtures import Mixture
from kiln.room_air import Room, Spraying
from kiln.sentences import lower
from shared.tables import FIRE, Region
from shared.units import MS_PER_S, S_PER_HOUR

LONGEST_H = 720.0
KEPT = 64  # judgements
FIRST_LOOK_H = 96.0  # to see how long the vapour stays
LEAST_H, TAIL = 0.5, 0.1  # of the time that is drawn, and what is drawn beyond it
MOST_CAUTIONS = 5
TEST = "then test with a calibrated instrument"
GRAVE = re.compile("isocyanate|hlorinated|through the skin|not measured|No extraction")
ONLY_A_TEST = "Only a test tells; the hour alone gives no leave."
DRAWN = (
    "Thick line: the most that there can be while the film dries. Thin dashes: all evaporates as it leaves the gun. "
    "Hatched: above a tenth of the LEL. Blocks at the foot: the gun was on. The foot is not nought."
)
NOT_SO = (
    "Do not spray so much, so fast, in this room as it is. Whoever plans spray spaces by licence, and the fire "
    "authority, say what it takes."
)
BREATHE = (
    "Nobody breathes this air: the data sheet (section 8) says which protection, and whoever is trained for it fits it."
)
FIND_OUT = "Take it for over until what is missing is known: section 3 and 9 of the data sheet, or its maker."
INSTRUMENT = "with a calibrated instrument that is rated for such a place"
BESIDE = (finish_told.PLUME, finish_told.OPERATOR)
NO_CONTROL = "The mean of the room shows no control."
BEFORE_A_CAN = (
    "Before a can is opened: no flame, spark, heater or unrated device; for the lungs what section 8 of the data sheet "
    "asks, fitted by whoever is trained for it; the way out free."
)
ALONE = "No amount of air is an answer to it. Its solvents alone pass a limit of fire."


@dataclass(frozen=True)
class Told:
    """What is known beside the sprayings themselves."""

    sprayed: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    zero_ms: int | None = None  # the moment from which the sprayings' times count; None: it is only asked
    now_ms: int | None = None
    asked_ms: int | None = None  # the same where it is only asked, of a room with its own clock
    first: tuple[str, ...] = ()
    aside: tuple[str, ...] = ()
    reckoned: str = ""
    latest: FinishAir | None = None  # whose hour is told in place of its own: a case of a corrected finish or room


def shown(room: Room, sprayings: Sequence[Spraying], region: Region, told: Told) -> Vapour:
    """Judge the vapour and return it in words; raises BadInput and OutOfRange as the judgement does."""
    worst = replace(room, mixing_factor=FIRE["mixing_factor_high"].value, mixing_said=room.mixing_factor)
    judged = _judged(worst, sprayings, region)
    if told.latest is not None:
        hour = {"not_before_s": told.latest.not_before_s, "not_before_why": told.latest.not_before_why}
        judged = replace(judged, **hour)
    milder = FIRE["mixing_factor_low"].value if room.mixing_factor == worst.mixing_factor else room.mixing_factor
    mild = _judge(replace(worst, mixing_factor=milder), sprayings, region)
    made = _vapour(judged, vapour_figures.by_name(mild), milder, worst, sprayings, told, region)
    if region is Region.LOWEST:
        return made
    lowest = _judge(worst, sprayings, Region.LOWEST)
    return _with_lower(made, vapour_figures.passed_elsewhere(judged, lowest, region))


def _with_lower(made: Vapour, told: str) -> Vapour:
    """Say beside the word which limit that others list is passed, where the chosen region's are not."""
    if not told:
        return made
    doing = (*made.doing, *(() if BREATHE in made.doing else (BREATHE,)))
    first_told = (told, made.headline) if made.control is Control.NOT_SHOWN else (made.headline, told)
    return replace(made, headline=" ".join(first_told), doing=doing)


def cant_say(
    headline: str, unknowns: tuple[str, ...], told: Told, at_ms: int | None, mixtures: Sequence[Mixture] = ()
) -> Vapour:
    """Return that nothing can be reckoned, and what is missing; a finish that is refused heads it all the same."""
    refused = finish_air.refusal_of(mixtures)
    return Vapour(
        **word(Control.CANT_SAY),
        first=told.first,
        headline=headline,
        figures=(),
        doing=(*(() if told.zero_ms is None else finish_told.ACTS), *((BREATHE,) if refused else ()), FIND_OUT),
        refused=refused_by(refused),
        unknowns=unknowns,
        over=(),
        cant_say=(),
        over_each=(),
        worst_each=(),
        not_shown=(),
        not_before=f"From when on it can be tested can't be said. Whoever goes in tests first: {INSTRUMENT}.",
        not_before_note="",
        not_before_ms=None,
        air=(),
        air_why="",
        amounts=(),
        beside=BESIDE,
        cautions=(),
        more_cautions=(),
        drawing=Markup(),
        drawn="",
        table_head=TABLE_HEAD,
        table=(),
        sprayed=told.sprayed,
        aside=told.aside,
        reckoned=told.reckoned,
        assumed=told.assumed,
        formula=(),
        bases=(),
        at_ms=at_ms,
    )


def limits_of(region: Region) -> str:
    """Say whose limits count, and that others can be chosen."""
    return f"Limits of what is breathed: {vapour_figures.whose(region)}; the settings choose."


def mixing() -> str:
    """Say how badly the air is reckoned to mix, whatever was entered."""
    worst = FIRE["mixing_factor_high"]
    return f"The air is reckoned to mix as badly as is published, K = {worst.value:g} ({worst.status})."


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
    mild: Mapping[str, Against],
    milder: float,
    room: Room,
    sprayings: Sequence[Spraying],
    told: Told,
    region: Region,
) -> Vapour:
    given = judged.refused is None
    held = [(one, vapour_figures.held(one, mild.get(one.name), milder, given=given)) for one in judged.against]
    zero_ms = told.zero_ms
    drawn = _course(judged, sprayings, told) if given else None
    air, air_why = vapour_figures.air(judged)
    cautions = _cautions(judged)
    return Vapour(
        **word(judged.control),
        first=told.first,
        headline=_headline(judged),
        figures=vapour_figures.figures(judged, region),
        doing=_doing(judged, asked=zero_ms is None),
        refused=refused_by(judged.refused),
        unknowns=judged.unknowns,
        over=tuple(line for one, line in held if one.control is Control.OVER and is_together(one)),
        cant_say=tuple(line for one, line in held if one.control is Control.CANT_SAY),
        over_each=tuple(line for one, line in held if one.control is Control.OVER and not is_together(one)),
        worst_each=vapour_figures.worst_of_each(judged),
        not_shown=tuple(line for one, line in held if one.control is Control.NOT_SHOWN),
        not_before=_not_before(judged, zero_ms),
        not_before_note="" if judged.not_before_s is None else judged.not_before_why,
        not_before_ms=_moment_ms(told.asked_ms if zero_ms is None else zero_ms, judged.not_before_s),
        air=air,
        air_why=air_why,
        amounts=_amounts(judged, room, sprayings),
        beside=BESIDE,
        cautions=cautions[:MOST_CAUTIONS],
        more_cautions=cautions[MOST_CAUTIONS:],
        drawing=vapour_drawings.drawing(drawn) if drawn else Markup(),
        drawn=DRAWN,
        table_head=TABLE_HEAD,
        table=vapour_figures.table(judged, drawn) if drawn else (),
        sprayed=told.sprayed,
        aside=told.aside,
        reckoned=told.reckoned,
        assumed=told.assumed,
        formula=judged.formula,
        bases=vapour_figures.bases(judged),
        at_ms=_moment_ms(zero_ms, max(one.end_s for one in sprayings)),
    )


def _amounts(judged: FinishAir, room: Room, sprayings: Sequence[Spraying]) -> tuple[Line, ...]:
    """Mass and concentrations, where all that evaporates is known and none of it is refused."""
    if judged.refused or judged.unknowns:
        return ()
    return vapour_figures.amounts(finish_amounts.amounts(room, sprayings))


def _headline(judged: FinishAir) -> str:
    """What is over, or why it can't be said: without a figure, which stand below it."""
    over = [one for one in judged.against if one.control is Control.OVER]
    if judged.refused is not None:
        return ALONE if over else "No amount of air is an answer to it."
    if not over:
        cant_say = judged.control is Control.CANT_SAY
        return judged.headline.removeprefix(f"{judged.control.value.capitalize()}. ") if cant_say else NO_CONTROL
    explosive = [one for one in over if one.explosive]
    one = explosive[-1] if explosive else max(over, key=lambda each: each.at_most_share or 0.0)
    what = one.name.replace(SPELT, f"{SPELT} ({SHORT})") if one.explosive else f"the {lower(one.name)}"
    if (one.peak_share or 0.0) >= 1.0:
        said = f"The mean of the room passes {what} as it is sprayed."
    else:
        said = f"While the film dries the mean of the room may pass {what}: it counts as passed."
    unread = [text for text in judged.unknowns[:1] if "isocyanate" in text]
    return " ".join((said, *unread))


def _doing(judged: FinishAir, *, asked: bool) -> tuple[str, ...]:
    """What to do, and never nothing; the same where it is over and can't be said. ``asked``: nothing is sprayed."""
    over = [one for one in judged.against if one.control is Control.OVER]
    found = []
    if judged.control is Control.NOT_SHOWN:
        found.append(BEFORE_A_CAN)
    else:
        found += [NOT_SO] if asked else judged.acts
    if judged.refused or any(not one.explosive for one in over):
        found.append(BREATHE)
    if judged.unknowns or (judged.control is Control.CANT_SAY and not judged.refused):
        found.append(FIND_OUT)
    return tuple(found)


def _cautions(judged: FinishAir) -> tuple[str, ...]:
    """What else holds, the gravest first, without what stands on the card already."""
    said = {finish_told.PLUME, finish_told.OPERATOR, finish_told.INSTRUMENT, finish_told.NO_AIR_FIRE, *judged.unknowns}
    mist = {finish_told.MIST} if "mist burns" in judged.flash.lower() else set()
    rest = [one for one in judged.beside if one not in said | mist]
    graver = [one for one in rest if GRAVE.search(one)]
    return tuple(dict.fromkeys(one for one in (*graver, judged.flash, *rest) if one))


def _not_before(judged: FinishAir, zero_ms: int | None) -> str:
    """A test, and from when on it has any point; nothing says that one may go in then."""
    if judged.not_before_s is None or judged.refused:
        return judged.not_before_why
    if zero_ms is None:
        when = f"{span(judged.not_before_s)} after spraying begins"
    else:
        when = display.moment(vapour_drawings.moment_ms(zero_ms, judged.not_before_s))
    return f"{ONLY_A_TEST} Not before {when}, {TEST}."


def _moment_ms(zero_ms: int | None, at_s: float | None) -> int | None:
    return None if zero_ms is None or at_s is None else vapour_drawings.moment_ms(zero_ms, at_s)


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
