"""The figures of the vapour in a room: against each limit, as concentrations, over time, and the air that is asked for.

Shares of explosive limits are told of the lower explosive limit itself, never of a tenth of it. An upper figure is
rounded up; what is known of more than is known, down.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil
from typing import Any

import numpy as np

from dashboards import control_marks, vapour_drawings
from dashboards.bases import Basis, Line
from dashboards.share_words import UNDER, at_most, digits_near, flow, percent, rounded_up, times
from dashboards.vapour_drawings import Course
from dashboards.vapour_records import Held
from kiln import finish_told
from kiln.control import Control
from kiln.finish_air import Against, FinishAir
from kiln.finish_amounts import Amounts, Concentration
from kiln.finish_limits import ALL_TOGETHER
from kiln.sentences import capital, lower
from shared.tables import FIRE, Region

TOGETHER = "all vapours together"  # as the judgement names what is held against a sum
TABLE_ROWS = 12
TABLE_HEAD = ("Time", "At most, of the LEL", "As it is sprayed, of the LEL", "At most", "As it is sprayed")
SUMMED = (ALL_TOGETHER, "from memory")
PLAIN = ("published", "none")  # how a limit is known, where nothing is added to it
OF_LEL = "Of the lower explosive limit (LEL)"
OF_BREATHED = "Of the limits for what is breathed"
SPELT, SHORT = "lower explosive limit", "LEL"
ADDED_UP = "each vapour's share of its own limit (by ingredient), added up: 29 CFR 1910.1000(d)(2)(i)"
WHILE_SPRAYED = "while it is sprayed, in air that mixes as badly as is published"
NO_AIR = "No air is worked out: not all that it gives off is known."
NO_AIR_REFUSED = "No air is worked out: no amount of it is an answer to this finish."
LEAST_MG_M3 = 1.0


def word(control: Control) -> dict[str, Any]:
    """Return a word as the records carry it."""
    return {
        "control": control,
        "key": control_marks.KEYS[control],
        "mark": control_marks.drawn(control),
        "word": control_marks.WORDS[control],
    }


def is_together(one: Against) -> bool:
    """Whether it speaks of all vapours, and not of one ingredient alone."""
    return one.explosive or one.name.endswith(TOGETHER)


def held(one: Against, mild: Against | None, milder: float, *, given: bool) -> Held:
    """Return a limit in words; what the milder reckoning says only where it is over too; ``given``: with figures."""
    figure = _figure(one)
    return Held(
        **{key: value for key, value in word(one.control).items() if key != "control"},
        name=one.limit_text if one.explosive else one.name,
        brief=one.limit_text.replace(SPELT, SHORT) if one.explosive else one.name,
        figure=figure,
        beside=_beside(one, mild, milder) if is_together(one) else "",
        limit=_limit(one, given=given),
        sentence="" if figure else _why(one),
        source=Basis(one.source, one.status).shown,
    )


def _figure(one: Against) -> str:
    if one.at_most_share is None:
        return ""
    told = _share(one, one.at_most_share)
    return f"at least {told}" if one.at_least else at_most(told)


def _may_be_passed(one: Against) -> str:
    """What is told of an explosive limit that the known part alone does not reach; empty where it does."""
    known_share = one.at_most_share or 0.0
    short_of_it = one.explosive and known_share < 1.0 and (one.at_least or one.control is Control.CANT_SAY)
    return f"{percent(level(one))} may be passed: not all of it is known" if short_of_it else ""


def _share(one: Against, share: float) -> str:
    """A share in words: of the explosive limit itself, or of a limit of breathed air."""
    digits = digits_near(share)
    if not one.explosive:
        return times(share, digits, up=not one.at_least)
    return f"{percent(share * level(one), digits, up=not one.at_least)} of the {SHORT}"


def level(one: Against) -> float:
    """Return which share of the lower explosive limit a limit is: its name begins with it."""
    return float(one.name.split(" %")[0]) / 100.0


def _beside(one: Against, mild: Against | None, milder: float) -> str:
    found = [text for text in (_may_be_passed(one),) if text]
    if one.peak_share is not None and one.peak_share != one.at_most_share:
        found.append(f"as it is sprayed {_share(one, one.peak_share)}")
    if one.control is Control.OVER and mild is not None and mild.control is Control.OVER and mild.at_most_share:
        found.append(f"even with better mixed air (K = {milder:g}) {_share(one, mild.at_most_share)}")
    return "; ".join(found)


def _limit(one: Against, *, given: bool) -> str:
    """The limit as printed, with body, year and status; of a sum, that each ingredient's own stands below."""
    words = one.limit_text
    if one.explosive:
        words = one.basis_text
    elif given and is_together(one):
        words = f"{ADDED_UP}; {one.basis_text}"
    return words if one.status in PLAIN else f"{words} · {one.status}"


def _why(one: Against) -> str:
    """Why there is no figure, without the limit's name that stands before it."""
    return capital(one.sentence.removeprefix(f"{one.name}: ").removeprefix(f"{one.control.value}. "))


def figures(judged: FinishAir, region: Region) -> tuple[Line, ...]:
    """Return the share of the explosive limit, and the worst of what is breathed: also where neither is over."""
    if judged.refused or judged.control is Control.CANT_SAY:
        return ()
    found = []
    tenth = next((one for one in judged.against if one.explosive), None)
    if tenth is not None:
        found.append(Line(OF_LEL, _figure(tenth).removesuffix(f" of the {SHORT}") or "can't say", _of_lel(tenth)))
    breathed = [one for one in judged.against if not one.explosive and is_together(one) and one.at_most_share]
    if breathed:
        worst = max(breathed, key=lambda each: each.at_most_share or 0.0)
        known = (capital(worst.name.removesuffix(f" of {TOGETHER}")), whose(region), _known(worst))
        found.append(Line(OF_BREATHED, _figure(worst), "; ".join(one for one in known if one)))
    return tuple(found)


def _of_lel(one: Against) -> str:
    sprayed = "" if one.peak_share is None else f"as it is sprayed {_share(one, one.peak_share)}"
    people = _may_be_passed(one) or f"people leave at {percent(level(one))}"
    return "; ".join(part for part in (people, sprayed.removesuffix(f" of the {SHORT}"), _known(one)) if part)


def _known(one: Against) -> str:
    return "" if one.status in PLAIN else one.status


def worst_of_each(judged: FinishAir) -> tuple[Line, ...]:
    """Return of each ingredient that is over a limit by itself the one that it is over most."""
    found: dict[str, Against] = {}
    for one in judged.against:
        if one.control is Control.OVER and not is_together(one):
            whose_name = one.name.rpartition(", ")[0]
            if (one.at_most_share or 0.0) > (found[whose_name].at_most_share or 0.0 if whose_name in found else -1.0):
                found[whose_name] = one
    return tuple(Line(capital(one.name), _figure(one)) for one in found.values())


def whose(region: Region) -> str:
    """Return whose limits count."""
    return "the lowest of all listed" if region is Region.LOWEST else f"limits of {region.label}"


def passed_elsewhere(judged: FinishAir, lowest: FinishAir, region: Region) -> str:
    """Return which of the lowest limits listed anywhere are passed where the chosen region's are not; empty: none.

    Of each ingredient one, the one that is passed most; of all together only where no ingredient does so by itself.
    """
    if judged.refused is not None:
        return ""
    not_over = {one.name for one in judged.against if one.control is not Control.OVER}
    passed = [one for one in lowest.against if one.control is Control.OVER and one.name in not_over]
    passed.sort(key=lambda one: -(one.at_most_share or 0.0))
    alone = {one.name.rpartition(", ")[0]: one for one in reversed(passed) if not is_together(one)}
    if alone:
        told = "; ".join(f"{one.name}: {limit_in_short(one)}" for one in alone.values())
    elif passed:
        told = lower(passed[0].name)
    else:
        return ""
    return f"The lowest listed of all is passed, though no such limit of {region.label} is: {told}."


def limit_in_short(one: Against) -> str:
    """Return a limit as printed, its body and year, of all that is told of it."""
    printed, *rest = one.limit_text.split(" · ")
    body_and_year = [part for part in rest if not part.startswith("mean")][:2]
    return f"{printed} of {', '.join((*body_and_year, *((_known(one),) if _known(one) else ())))}"


def air(judged: FinishAir) -> tuple[tuple[Line, ...], str]:
    """Return the air that the formula asks for, and why one of the two is not given."""
    asked = (
        ("To dilute it to the limits of what is breathed", judged.air_needed_health_m3_s),
        (f"To dilute it below the {SHORT}", judged.air_needed_fire_m3_s),
    )
    found = tuple(Line(name, flow(one), WHILE_SPRAYED) for name, one in asked if one)
    if judged.refused:
        return (), NO_AIR_REFUSED
    if judged.unknowns:
        return found, NO_AIR
    return found, "" if judged.air_needed_fire_m3_s is not None else finish_told.NO_AIR_FIRE


def amounts(made: Amounts) -> tuple[Line, ...]:
    """Return mass and concentrations as lines; at most first, as it is sprayed beside it."""
    return (
        Line("Vapour of all that was sprayed", mass(made.mass_kg), "at the worst composition that its sheets allow"),
        _concentration("Highest mean of the room", made.highest),
        _concentration("Highest mean of 15 minutes", made.short),
        _concentration("Highest mean of 8 hours", made.eight_hours),
    )


def mass(mass_kg: float) -> str:
    """Return a mass of vapour, rounded up to the gram, or to two digits that count."""
    grams = ceil(1000.0 * mass_kg - 1e-9)
    return f"{grams} g" if grams < 1000 else f"{ceil(100.0 * mass_kg - 1e-9) / 100.0:.2f} kg"


def _concentration(name: str, one: Concentration) -> Line:
    most, ppm = mg_m3(one.at_most_mg_m3), f"{rounded_up(one.at_most_ppm, 3)} ppm"
    return Line(
        name,
        f"{most}, {at_most(ppm)}" if most.startswith(UNDER) else f"{at_most(most)}, {ppm}",
        f"as it is sprayed {mg_m3(one.as_sprayed_mg_m3)}, {rounded_up(one.as_sprayed_ppm, 3)} ppm",
    )


def mg_m3(value: float) -> str:
    """Return a concentration, rounded up; what is next to nothing is told as less than the least."""
    return f"{UNDER} {LEAST_MG_M3:g} mg/m³" if value < LEAST_MG_M3 else f"{rounded_up(value, 3)} mg/m³"


def table(judged: FinishAir, drawn: Course) -> tuple[tuple[str, ...], ...]:
    """Return some moments of the course, its highest among them."""
    count = len(judged.times_s)
    even = np.linspace(0, count - 1, min(TABLE_ROWS, count)).round().astype(int)
    rows = sorted({*even.tolist(), int(np.argmax(judged.as_sprayed_lel)), int(np.argmax(judged.at_most_lel))})
    return tuple(
        (
            vapour_drawings.moment(drawn, float(judged.times_s[row])),
            percent(float(judged.at_most_lel[row])),
            percent(float(judged.as_sprayed_lel[row])),
            mg_m3(float(judged.at_most_mg_m3[row])),
            mg_m3(float(judged.as_sprayed_mg_m3[row])),
        )
        for row in rows
    )


def bases(judged: FinishAir) -> tuple[Basis, ...]:
    """Return every document that a limit or a formula rests on, each once."""
    constants = (FIRE[name] for name in ("mixing_factor_low", "mixing_factor_high", "safety_factor_high"))
    alone = [one for one in judged.against if one.explosive or judged.refused or not is_together(one)]
    pairs = [(one.source, one.status) for one in (*alone, *constants) if one.source]
    return tuple(Basis(source, status) for source, status in dict.fromkeys([SUMMED, *pairs]))


def by_name(judged: FinishAir) -> Mapping[str, Against]:
    """Return what a judgement holds, by the name of each limit."""
    return {one.name: one for one in judged.against}
