"""What is published of wood dust: limits in breathed air, what the dust of which wood does, and when it burns.

Limits stand as printed, by body, fraction and year. None is a default and none is hidden: a rule that stands no more,
or was only foretold, says so. Figures of different fractions are never put on one scale.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from functools import cache

from shared.tables.loading import rows
from shared.tables.substances import Average, Region
from shared.tables.timber_names import plain_name


class Fraction(StrEnum):
    """Which part of the dust a sampler catches; each has samplers of its own."""

    INHALABLE = "inhalable"
    TOTAL = "total"
    RESPIRABLE = "respirable"


class Covers(StrEnum):
    """Which wood a limit is for."""

    ANY = "any"
    HARDWOOD = "hardwood"
    SOFTWOOD = "softwood"
    REDCEDAR = "redcedar"
    NOT_REDCEDAR = "not redcedar"


class Standing(StrEnum):
    """Whether a limit stands; one that does not is shown all the same."""

    STANDS = "stands"
    GONE = "gone"
    FORETOLD = "foretold"


class HarmKind(StrEnum):
    """What the dust of a wood is said to do."""

    CANCER = "cancer"
    SENSITISER = "sensitiser"
    POISON = "poison"
    IRRITANT = "irritant"
    NAMED = "named"  # implicated in effects on health, without saying which


REDCEDAR = "Thuja plicata"
EVERY_WOOD, HARDWOOD = "wood", "hardwood"  # in place of a botanical name


@dataclass(frozen=True)
class DustLimit:
    """One body's limit for wood dust in breathed air."""

    body: str
    region: Region
    scope: str  # which dust, in the body's words
    wood: Covers
    value_mg_m3: float
    fraction: Fraction
    average: Average
    year: str
    standing: Standing
    legal: str
    note: str
    source: str
    status: str


@dataclass(frozen=True)
class WoodHarm:
    """One thing that is said of one wood's dust."""

    wood: str  # botanical name, genus, "hardwood" or "wood"
    kind: HarmKind
    part: str  # of the body; empty where the source does not say
    told: str
    source: str
    status: str


@dataclass(frozen=True)
class DustHarms:
    """What is said of one wood's dust; empty tuples: nothing was found, which is no sign that it is harmless."""

    listed: tuple[WoodHarm, ...]  # by its own name or its genus
    kin: tuple[WoodHarm, ...]  # of other woods of its genus
    of_all: tuple[WoodHarm, ...]  # of all wood, and of all hardwood where it is one


@cache
def dust_limits() -> tuple[DustLimit, ...]:
    """Return every limit, in the order of the table."""
    return tuple(
        DustLimit(
            body=row["body"],
            region=Region(row["region"]),
            scope=row["scope"],
            wood=Covers(row["wood"]),
            value_mg_m3=float(row["value_mg_m3"]),
            fraction=Fraction(row["fraction"]),
            average=Average(row["average"]),
            year=row["year"],
            standing=Standing(row["standing"]),
            legal=row["legal"],
            note=row["note"],
            source=row["source"],
            status=row["status"],
        )
        for row in rows("dust_limits")
    )


def names_wood(limit: DustLimit, botanical_name: str, group: str) -> bool:
    """Return whether a limit is for this wood, hardwood or softwood; a mixture falls under the hardwood's."""
    covered = {Covers.ANY: True, Covers.REDCEDAR: is_redcedar(botanical_name)}
    covered |= {Covers.NOT_REDCEDAR: not is_redcedar(botanical_name)}
    covered |= {Covers.HARDWOOD: group != "softwood", Covers.SOFTWOOD: group == "softwood"}
    return covered[limit.wood]


def is_redcedar(botanical_name: str) -> bool:
    """Return whether a wood is western redcedar, which has limits of its own."""
    return _plain(botanical_name) == _plain(REDCEDAR)


def dust_harms(botanical_name: str, group: str) -> DustHarms:
    """Return what is said of a wood's dust; a lot of it, named "wood, lot", is the wood; group: hardwood, softwood.

    A source that names a genus means all of its woods; one that names a species means that wood alone, and stands
    with the others of the genus as kin.
    """
    wanted, genus = _plain(botanical_name), _plain(botanical_name).split(" ")[0]
    every = _wood_harms()
    listed = [one for one in every if _plain(one.wood) in (wanted, genus)]
    kin = [one for one in every if _plain(one.wood).startswith(f"{genus} ") and _plain(one.wood) != wanted]
    general = (EVERY_WOOD,) if group == "softwood" else (EVERY_WOOD, HARDWOOD)
    return DustHarms(_gravest_first(listed), _gravest_first(kin), tuple(one for one in every if one.wood in general))


@cache
def _wood_harms() -> tuple[WoodHarm, ...]:
    return tuple(
        WoodHarm(row["wood"], HarmKind(row["kind"]), row["part"], row["told"], row["source"], row["status"])
        for row in rows("wood_harms")
    )


def _gravest_first(some: Iterable[WoodHarm]) -> tuple[WoodHarm, ...]:
    order = list(HarmKind)
    return tuple(sorted(some, key=lambda one: order.index(one.kind)))


def _plain(name: str) -> str:
    return plain_name(name.split(",")[0])
