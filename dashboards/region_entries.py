"""Whose limits for breathed air the finish room is held against: chosen for this yard, or by the setting."""

from __future__ import annotations

from dataclasses import dataclass

from dashboards import entering, fields
from dashboards.entering import Connection, Entered, hand
from shared.errors import BadInput
from shared.settings import Settings
from shared.store import facts
from shared.store import records as r
from shared.store.records import SubjectKind
from shared.tables import Average, Region, lowest_limit
from shared.tables.substances import Substance, limit_mg_m3

CODE = "breathed-air"  # the subject that every choice is about
FIELD = "region"


@dataclass(frozen=True)
class RegionNow:
    """Whose limits count, and who has chosen so; ``own`` None: nobody has, the setting counts."""

    region: Region
    own: r.AirRegion | None


def set_region(connection: Connection, *, region: str, by: str, now_ms: int, note: str = "") -> Entered:
    """Choose whose limits count from now on; undoing the entry puts back what counted before."""
    at = hand(connection, by, now_ms)
    wanted = _region(region)
    noted = fields.text("note", note, entering.NOTE_LENGTH)
    known = (one for one in facts.subjects(connection, SubjectKind.LIMIT) if one.code == CODE)
    about = next(known, None) or facts.add_subject(connection, SubjectKind.LIMIT, CODE)
    made = at.write(r.AirRegion, about, region=wanted.value, note=noted)
    return Entered(about, "region", made, f"For breathed air counts {said(wanted)} from now on.")


def _region(typed: str) -> Region:
    for one in Region:
        if (typed or "").strip().casefold() == one.value.casefold():
            return one
    raise BadInput(FIELD, (typed or "").strip(), ", ".join(one.value for one in Region))


def region_now(connection: Connection, now_ms: int, settings: Settings) -> RegionNow:
    """Return whose limits count now: what somebody chose for this yard, else the setting."""
    own = facts.at(facts.standing(connection, r.AirRegion), now_ms)
    return RegionNow(Region(settings.limits_region if own is None else own.region), own)


def said(region: Region) -> str:
    """Return which limit counts, in a few words that never hide that others list lower ones."""
    if region is Region.LOWEST:
        return "the lowest of all listed"
    return f"the lowest that is listed for {region.value}, where others may list lower ones"


def lower_elsewhere(substances: tuple[Substance, ...], region: Region) -> tuple[str, ...]:
    """Return, a sentence each, the limits that others list lower than the chosen region, or that it does not list."""
    if region is Region.LOWEST:
        return ()
    found = []
    for one in substances:
        for average in Average:
            lowest, here = (lowest_limit(one.cas, average, each) for each in (Region.LOWEST, region))
            if lowest is not None and (here is None or limit_mg_m3(lowest) < limit_mg_m3(here)):
                printed = f"{lowest.ppm:g} ppm" if lowest.ppm is not None else f"{lowest.mg_m3:g} mg/m³"
                than = f"{region.value} lists none" if here is None else f"lower than {region.value} lists"
                found.append(f"{one.name}, {average.value}: {printed} of {lowest.body} ({lowest.year}); {than}.")
    return tuple(found)
