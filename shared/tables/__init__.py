"""Published values: CSV tables with a source in every row, checked when they are loaded.

A row's ``status`` is ``published`` (read in the document that its source names), ``from memory``
(known, not read again), or ``common practice, no source``. Whoever shows a value shows its status.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from shared.tables.dust import DustHarms, DustLimit, Fraction, WoodHarm, dust_harms, dust_limits
from shared.tables.loading import PLAUSIBLE, STATUSES, rows
from shared.tables.no_dilution import NoDilution, no_dilution_group
from shared.tables.own_substances import own_substances_header, use_own_substances
from shared.tables.substances import (
    Average,
    ExposureLimit,
    Region,
    Substance,
    ambiguous,
    cas_numbers,
    exposure_limits,
    find_substance,
    is_cas_number,
    limit_mg_m3,
    lowest_limit,
    substances,
)
from shared.tables.timber_names import Likely, Match, Name, find_species, likely_species, other_names, search_species
from shared.tables.timbers import OWN_STATUSES, Species, held_species, own_species_header, species, use_own_species

__all__ = [
    "FIRE",
    "OWN_STATUSES",
    "PLAUSIBLE",
    "STATUSES",
    "Average",
    "DustHarms",
    "DustLimit",
    "ExposureLimit",
    "Fraction",
    "Likely",
    "Match",
    "Name",
    "NoDilution",
    "Region",
    "SafeLoss",
    "Sourced",
    "Species",
    "Substance",
    "Use",
    "WoodHarm",
    "ambiguous",
    "cas_numbers",
    "constants",
    "dust_harms",
    "dust_limits",
    "exposure_limits",
    "find_species",
    "find_substance",
    "held_species",
    "is_cas_number",
    "likely_species",
    "limit",
    "limit_mg_m3",
    "lowest_limit",
    "no_dilution_group",
    "other_names",
    "own_species_header",
    "own_substances_header",
    "rows",
    "safe_losses",
    "search_species",
    "species",
    "substances",
    "use_own_species",
    "use_own_substances",
    "uses",
]


@dataclass(frozen=True)
class Sourced:
    """A published number, its unit, where it stands, and how it is known."""

    value: float
    unit: str
    source: str
    status: str
    sd_ln: float = 0.0


@dataclass(frozen=True)
class SafeLoss:
    """The greatest loss of moisture in one day that a board of this species and thickness survives."""

    botanical_name: str
    thickness_m: float
    loss_pct_per_day: float
    source: str
    status: str


@dataclass(frozen=True)
class Use:
    """What a piece can be wanted for, the air it is to suit, and how near it must come."""

    name: str
    label: str
    destination_rh_pct: float
    destination_temperature_c: float
    tolerance_mc_pct: float
    gradient_mc_pct: float
    steady_days: float
    source: str
    status: str
    room_days: float = 0.0  # for how many days the room must have been right
    room_ahead_days: float = 0.0  # and must stay so
    room_tolerance_mc_pct: float | None = None  # by how much a piece at rest there may miss; None: no room is asked for
    water_wait_days: float = 0.0  # how long water from gluing or bending is given to leave


@cache
def uses() -> dict[str, Use]:
    """Return the uses by name, in the order of the table; every limit is a default that a user can move."""
    numbers = (
        "destination_rh_pct",
        "destination_temperature_c",
        "tolerance_mc_pct",
        "gradient_mc_pct",
        "steady_days",
        "water_wait_days",
    )
    return {
        row["name"]: Use(
            name=row["name"],
            label=row["label"],
            source=row["source"],
            status=row["status"],
            room_days=float(row["room_days"] or 0.0),
            room_ahead_days=float(row["room_ahead_days"] or 0.0),
            room_tolerance_mc_pct=float(row["room_tolerance_mc_pct"]) if row["room_tolerance_mc_pct"] else None,
            **{name: float(row[name]) for name in numbers},
        )
        for row in rows("uses")
    }


@cache
def constants(name: str) -> dict[str, Sourced]:
    """Return the named constants of one table (``sorption``, ``drying``, …) with their sources."""
    return {
        row["name"]: Sourced(
            value=float(row.get("value") or row["centre"]),
            unit=row["unit"],
            source=row["source"],
            status=row["status"],
            sd_ln=float(row.get("sd_ln") or 0.0),
        )
        for row in rows(name)
    }


FIRE = constants("fire")  # of vapour in a room: what share of the explosive limit counts, and what air is reckoned with


def limit(name: str) -> float:
    """Return one of the limits of ``limits.csv``, in the unit that its row names."""
    return constants("limits")[name].value


@cache
def safe_losses() -> tuple[SafeLoss, ...]:
    """Return the published safe daily losses, by species and thickness."""
    return tuple(
        SafeLoss(
            botanical_name=row["botanical_name"],
            thickness_m=float(row["thickness_m"]),
            loss_pct_per_day=float(row["loss_pct_per_day"]),
            source=row["source"],
            status=row["status"],
        )
        for row in rows("safe_daily_loss")
    )
