"""Published values: CSV tables with a source in every row, checked when they are loaded.

A row's ``status`` is ``published`` (read in the document that its source names), ``from memory``
(known, not read again), or ``common practice, no source``. Whoever shows a value shows its status.
"""

from __future__ import annotations

import csv
import difflib
from dataclasses import dataclass
from functools import cache
from importlib import resources

from shared.errors import BadInput

STATUSES = ("published", "from memory", "common practice, no source", "none")

PLAUSIBLE = {  # lowest and highest believable value of each numeric column; a slip of the pen falls outside
    "basic_specific_gravity": (0.1, 1.3),
    "shrinkage_radial_pct": (1.0, 12.0),
    "shrinkage_tangential_pct": (2.0, 16.0),
    "shrinkage_volumetric_pct": (4.0, 25.0),
    "green_mc_heart_pct": (25.0, 280.0),
    "green_mc_sap_pct": (25.0, 280.0),
    "fsp_pct": (15.0, 40.0),
    "loss_pct_per_day": (0.2, 20.0),
    "thickness_m": (0.001, 0.3),
}


@dataclass(frozen=True)
class Sourced:
    """A published number, its unit, where it stands, and how it is known."""

    value: float
    unit: str
    source: str
    status: str
    sd_ln: float = 0.0


@dataclass(frozen=True)
class Species:
    """A timber as the tables know it; None where no value was found."""

    botanical_name: str
    common_name: str
    group: str
    basic_specific_gravity: float
    basic_source: str
    basic_status: str
    shrinkage_radial_pct: float | None
    shrinkage_tangential_pct: float | None
    shrinkage_volumetric_pct: float | None
    shrinkage_source: str
    shrinkage_status: str
    green_mc_heart_pct: float | None
    green_mc_sap_pct: float | None
    green_source: str
    green_status: str
    fsp_pct: float
    fsp_source: str
    fsp_status: str

    @property
    def label(self) -> str:
        """Common and botanical name together: a common name alone is ambiguous."""
        return f"{self.common_name} ({self.botanical_name})"


@dataclass(frozen=True)
class SafeLoss:
    """The greatest loss of moisture in one day that a board of this species and thickness survives."""

    botanical_name: str
    thickness_m: float
    loss_pct_per_day: float
    source: str
    status: str


def rows(name: str) -> list[dict[str, str]]:
    """Return the rows of ``shared/tables/<name>.csv``; every row must name its source and status."""
    text = resources.files(__name__).joinpath(f"{name}.csv").read_text(encoding="utf-8")
    found = list(csv.DictReader(text.splitlines()))
    for number, row in enumerate(found, start=2):
        _check(name, number, row)
    return found


def _check(name: str, number: int, row: dict[str, str]) -> None:
    where = f"{name}.csv row {number}"
    statuses = [key for key in row if key == "status" or key.endswith("_status")]
    if not statuses:
        raise BadInput(where, "without a status column", "a status in every row")
    for key in statuses:
        source = row[key.replace("status", "source")]
        if row[key] not in STATUSES or (row[key] != "none" and not source):
            raise BadInput(f"{where} {key}", row[key], f"one of {', '.join(STATUSES)}, with its source")
    for column, (low, high) in PLAUSIBLE.items():
        if row.get(column) and not low <= _number(row[column]) <= high:
            raise BadInput(f"{where} {column}", row[column], f"{low:g} to {high:g}")


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


@cache
def uses() -> dict[str, Use]:
    """Return the uses by name, in the order of the table; every limit is a default that a user can move."""
    numbers = (
        "destination_rh_pct",
        "destination_temperature_c",
        "tolerance_mc_pct",
        "gradient_mc_pct",
        "steady_days",
    )
    return {
        row["name"]: Use(
            name=row["name"],
            label=row["label"],
            source=row["source"],
            status=row["status"],
            **{name: float(row[name]) for name in numbers},
        )
        for row in rows("uses")
    }


def _number(text: str) -> float:
    """Return the number, or one that lies in no range."""
    try:
        return float(text)
    except ValueError:
        return float("nan")


@cache
def species() -> dict[str, Species]:
    """Return every timber by botanical name."""
    return {row["botanical_name"]: _species(row) for row in rows("species")}


def _species(row: dict[str, str]) -> Species:
    def number(column: str) -> float | None:
        return float(row[column]) if row[column] else None

    return Species(
        botanical_name=row["botanical_name"],
        common_name=row["common_name"],
        group=row["group"],
        basic_specific_gravity=float(row["basic_specific_gravity"]),
        basic_source=row["basic_source"],
        basic_status=row["basic_status"],
        shrinkage_radial_pct=number("shrinkage_radial_pct"),
        shrinkage_tangential_pct=number("shrinkage_tangential_pct"),
        shrinkage_volumetric_pct=number("shrinkage_volumetric_pct"),
        shrinkage_source=row["shrinkage_source"],
        shrinkage_status=row["shrinkage_status"],
        green_mc_heart_pct=number("green_mc_heart_pct"),
        green_mc_sap_pct=number("green_mc_sap_pct"),
        green_source=row["green_source"],
        green_status=row["green_status"],
        fsp_pct=float(row["fsp_pct"]),
        fsp_source=row["fsp_source"],
        fsp_status=row["fsp_status"],
    )


def find_species(text: str) -> Species:
    """Return the timber whose botanical, or whole common, name is ``text``; ask when it is not one timber.

    Raises BadInput naming the candidates when the text fits several, or none.
    """
    wanted = " ".join(text.split()).casefold()
    everything = species().values()
    for one in everything:
        if wanted in (one.botanical_name.casefold(), one.common_name.casefold(), one.label.casefold()):
            return one
    words = wanted.split()
    near = [one.label for one in everything if words and all(word in one.label.casefold() for word in words)]
    near = near or _spelt_like(wanted)
    if near:
        raise BadInput("species", text, "one timber; this could be " + "; ".join(near))
    raise BadInput("species", text, "a botanical name from the species table (`benchdry species` lists it)")


def _spelt_like(wanted: str) -> list[str]:
    """Labels of timbers whose common or botanical name is spelt much like ``wanted``."""
    names = {name.casefold(): one.label for one in species().values() for name in (one.common_name, one.botanical_name)}
    return [names[name] for name in difflib.get_close_matches(wanted, names, n=3, cutoff=0.75)]


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
