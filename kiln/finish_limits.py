"""What the vapour of a finish is held against: explosive limits, limits of breathed air, all together and one by one.

Explosive limits of a mixture follow Le Chatelier: the shares of each vapour's own limit add up. So do the shares of
limits of breathed air, by the rule of 29 CFR 1910.1000(d)(2)(i) and of ACGIH for what works on the same organ; it is
taken to work on the same organ. Each is reckoned at the worst composition that the sheet allows, by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from kiln.mixtures import Ingredient, Mixture
from kiln.room_air import Room, Spraying
from kiln.vapour import mg_m3_from_ppm, ppm_from_mg_m3, vapour_volume_m3
from shared.tables import FIRE, STATUSES, Average, ExposureLimit, Region, Substance, lowest_limit
from shared.units import MG_PER_KG, S_PER_HOUR, S_PER_MINUTE

WINDOWS_S = {Average.TWA: 8.0 * S_PER_HOUR, Average.SHORT: 15.0 * S_PER_MINUTE, Average.CEILING: None}
LIMIT_WORDS = {Average.TWA: "8-hour limit", Average.SHORT: "15-minute limit", Average.CEILING: "ceiling"}
ALL_TOGETHER = "29 CFR 1910.1000(d)(2)(i): C₁/L₁ + C₂/L₂ + … of a mixture is at most 1"
LE_CHATELIER = "Le Chatelier's rule: the shares of the vapours' own explosive limits add up"
_FROM_MEMORY = "from memory"

Counts = Callable[[Substance], float | None]  # what a kg of its vapour in a m³ of air comes to; None: not known


@dataclass(frozen=True)
class Held:
    """One limit before the room is asked: how much of it a cubic metre of each liquid makes in a cubic metre of air."""

    name: str
    per_m3: tuple[float, ...]  # one a spraying, of the limit (1: at it)
    average: Average | None  # of a limit of breathed air; None: the peak counts
    limit_text: str
    basis_text: str
    source: str
    status: str
    explosive: bool = False
    lacking: tuple[str, ...] = ()  # why more than this may be there, a sentence each; empty: no more than this is

    @property
    def window_s(self) -> float | None:
        """The time whose mean counts [s]; None: the peak does."""
        return None if self.average is None else WINDOWS_S[self.average]


@dataclass(frozen=True)
class Counted:
    """A limit of breathed air as it is counted: whose, how many times it, and why where that is not plain."""

    limit: ExposureLimit
    factor: float = 1.0
    note: str = ""

    def share_per_kg_m3(self, substance: Substance, room: Room) -> float | None:
        """How many times the limit a kg of vapour a m³ is; the greater, where ppm and mg/m³ say different things."""
        molar_mass, mg, ppm = substance.molar_mass_kg_mol, self.limit.mg_m3, self.limit.ppm
        if molar_mass is None:
            return None
        if mg is None and ppm is not None:
            mg = mg_m3_from_ppm(ppm, molar_mass)
        if ppm is None and mg is not None:
            ppm = ppm_from_mg_m3(mg, molar_mass)
        if not mg or not ppm:
            return None
        as_ppm = ppm_from_mg_m3(MG_PER_KG, molar_mass, room.temperature_c, room.pressure_pa) / ppm
        return max(MG_PER_KG / mg, as_ppm) / self.factor

    @property
    def text(self) -> str:
        """The limit as printed, whose it is and of which year."""
        one = self.limit
        printed = [f"{value:g} {unit}" for value, unit in ((one.ppm, "ppm"), (one.mg_m3, "mg/m³")) if value is not None]
        hours = f" · {one.average_words}" if one.average_words != one.average else ""
        whose = f"{' or '.join(printed)}{hours} · {one.body} · {one.year} · {one.legal}"
        return f"{whose} · {self.note}" if self.note else whose


def explosive(room: Room, sprayings: Sequence[Spraying]) -> tuple[Held, ...]:
    """Return the vapour of all ingredients held against 10 % and 25 % of the lower explosive limit."""
    whole = per_m3(sprayings, lel_share_per_kg_m3(room))
    lacking = _unique((*_unknowns(sprayings), *_without(sprayings, lel_share_per_kg_m3(room), "explosive limit")))
    figures = [one for _, one in _solvents(sprayings)]
    sources = _unique((LE_CHATELIER, *(one.lel_source for one in figures if one.lel_source)))
    found = []
    for name, words in (("share_alarm", "people leave"), ("share_spray_area", "of a spray area")):
        share = FIRE[name]
        percent = f"{100 * share.value:.0f} % of the lower explosive limit"
        status = worst_status((share.status, _FROM_MEMORY, *(one.lel_status for one in figures if one.lel_source)))
        held = tuple(each / share.value for each in whole)
        source = "; ".join((share.source, *sources))
        limit = f"{percent} ({words})"
        basis = "highest mean of the room at any time"
        found.append(Held(percent, held, None, limit, basis, source, status, explosive=True, lacking=lacking))
    return tuple(found)


def breathed(room: Room, sprayings: Sequence[Spraying], region: Region) -> tuple[Held, ...]:
    """Return all vapours together held against limits of breathed air, 8 hours, 15 minutes and ceiling."""
    return tuple(held for average in Average if (held := _together(room, sprayings, region, average)) is not None)


def by_ingredient(room: Room, sprayings: Sequence[Spraying], region: Region) -> tuple[Held, ...]:
    """Return each solvent by itself held against each of its limits of breathed air."""
    found = []
    for name, substance in _solvents(sprayings):
        for average in Average:
            counted = limit_of(substance, average, region, room)
            if counted is not None:
                found.append(_alone(room, sprayings, name, substance, average, counted))
        if not any(limit_of(substance, average, region, room) for average in Average):
            found.append(_unlimited(sprayings, name, "its limits of breathed air are not known here"))
    unlisted = _unique(one.name for spraying in sprayings for one in spraying.mixture.unlisted())
    return (*found, *(_unlimited(sprayings, name, "it is not in the tables") for name in unlisted))


def limit_of(substance: Substance, average: Average, region: Region, room: Room) -> Counted | None:
    """Return the limit that counts: the region's lowest, else the lowest listed anywhere; None: none is listed.

    Where no 15-minute limit is, three times the 8-hour limit stands in (ACGIH's rule for excursions).
    """
    own = None if region is Region.LOWEST else lowest_limit(substance.cas, average, region)
    if own is not None:
        return Counted(own)
    anywhere = [one for each in Region if (one := lowest_limit(substance.cas, average, each)) is not None]
    if anywhere:
        note = "" if region is Region.LOWEST else f"{region.label} lists none: the lowest of all stands in"
        return max(
            (Counted(one, note=note) for one in anywhere), key=lambda one: one.share_per_kg_m3(substance, room) or 0.0
        )
    if average is not Average.SHORT or (mean := limit_of(substance, Average.TWA, region, room)) is None:
        return None
    rule = FIRE["excursion_factor"]
    note = f"no 15-minute limit is listed: {rule.value:g} times the 8-hour limit stands in ({rule.source})"
    return Counted(mean.limit, rule.value, note)


def lel_share_per_kg_m3(room: Room) -> Counts:
    """Return how many times its lower explosive limit a kg of a vapour is in a m³ of this room's air."""

    def counts(substance: Substance) -> float | None:
        if substance.molar_mass_kg_mol is None or not substance.lel_vol_fraction:
            return None
        volume = vapour_volume_m3(1.0, substance.molar_mass_kg_mol, room.temperature_c, room.pressure_pa)
        return volume / substance.lel_vol_fraction

    return counts


def per_m3(sprayings: Sequence[Spraying], counts: Counts) -> tuple[float, ...]:
    """Return the most that a m³ of each liquid comes to; what is not known adds nothing."""
    worst = {
        id(mixture): mixture.worst([_weight(mixture, one, counts) for one in mixture.ingredients])
        for mixture in {id(one.mixture): one.mixture for one in sprayings}.values()
    }
    return tuple(worst[id(one.mixture)] for one in sprayings)


def mg_per_kg(_substance: Substance) -> float:
    """Count every vapour alike, in mg."""
    return MG_PER_KG


def worst_status(statuses: Iterable[str]) -> str:
    """Return the least certain of some statuses."""
    return max(statuses, key=STATUSES.index)


def _weight(mixture: Mixture, one: Ingredient, counts: Counts) -> float | None:
    if one.substance is None:
        return None
    if not one.substance.gives_vapour:
        return 0.0
    mass_kg_m3, figure = mixture.mass_per_share_kg_m3(one), counts(one.substance)
    return None if mass_kg_m3 is None or figure is None else mass_kg_m3 * figure


def _together(room: Room, sprayings: Sequence[Spraying], region: Region, average: Average) -> Held | None:
    counted = {name: limit_of(substance, average, region, room) for name, substance in _solvents(sprayings)}
    limits = [one for one in counted.values() if one is not None]
    if average is Average.CEILING and not limits:
        return None
    counts = _breathed_share(room, average, region)
    lacking = _unknowns(sprayings)
    if average is not Average.CEILING:  # what has no ceiling has none; its 15-minute mean is held against another limit
        lacking = _unique((*lacking, *_without(sprayings, counts, f"limit of breathed air ({average})")))
    texts = [f"{name}: {one.text}" for name, one in counted.items() if one is not None]
    text = "; ".join(texts) or "Nothing that gives vapour is named with a limit."
    return Held(
        name=f"{LIMIT_WORDS[average]} of all vapours together",
        per_m3=per_m3(sprayings, counts),
        average=average,
        limit_text=f"the sum of each vapour's share of its limit is 1. {text}",
        basis_text=_basis(average),
        source="; ".join(_unique((ALL_TOGETHER, *(one.limit.source for one in limits)))),
        status=worst_status((_FROM_MEMORY, *(one.limit.status for one in limits))),
        lacking=lacking,
    )


def _alone(
    room: Room, sprayings: Sequence[Spraying], name: str, substance: Substance, average: Average, counted: Counted
) -> Held:
    def counts(other: Substance) -> float | None:
        return counted.share_per_kg_m3(other, room) if other == substance else 0.0

    mixtures = [one.mixture for one in sprayings]
    lacking = [text for mixture in mixtures for text in mixture.unread()]
    lacking += [text for mixture in mixtures for text in mixture.lacking_of(substance)]
    return Held(
        name=f"{name}, {LIMIT_WORDS[average]}",
        per_m3=per_m3(sprayings, counts),
        average=average,
        limit_text=counted.text,
        basis_text=_basis(average),
        source=counted.limit.source,
        status=counted.limit.status,
        lacking=_unique(lacking),
    )


def _unlimited(sprayings: Sequence[Spraying], name: str, why: str) -> Held:
    """What nothing is listed of: held against no limit, and said."""
    lacking = (f"{name}: {why}, which does not mean that there is no harm in it.",)
    return Held(f"{name}, any limit", (0.0,) * len(sprayings), None, "none is listed", "", "", "none", lacking=lacking)


def _breathed_share(room: Room, average: Average, region: Region) -> Counts:
    def counts(substance: Substance) -> float | None:
        counted = limit_of(substance, average, region, room)
        if counted is None:
            return 0.0 if average is Average.CEILING else None
        return counted.share_per_kg_m3(substance, room)

    return counts


def _without(sprayings: Sequence[Spraying], counts: Counts, what: str) -> tuple[str, ...]:
    """Return which solvents have no figure of some kind, a sentence each."""
    return tuple(
        f"{name}: no {what} is listed here, which does not mean that there is no harm in it."
        for name, substance in _solvents(sprayings)
        if counts(substance) is None
    )


def _unknowns(sprayings: Sequence[Spraying]) -> tuple[str, ...]:
    return _unique(text for one in sprayings for text in one.mixture.unknowns())


def _solvents(sprayings: Sequence[Spraying]) -> tuple[tuple[str, Substance], ...]:
    """Return the listed ingredients that give vapour, once each, as the sheet names them first."""
    found: dict[Substance, str] = {}
    for one in sprayings:
        for each in one.mixture.ingredients:
            if each.substance is not None and each.substance.gives_vapour:
                found.setdefault(each.substance, each.name)
    return tuple((name, substance) for substance, name in found.items())


def _basis(average: Average) -> str:
    return "highest mean of the room at any time" if average is Average.CEILING else f"highest {average} of the room"


def _unique(texts: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(texts))
