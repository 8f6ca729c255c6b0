"""The timbers: what the published table holds of each, and those that a user adds in a file of their own."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

from shared.errors import BadInput
from shared.tables.loading import STATUSES, check_row, rows
from shared.tables.own_files import OwnFile

OWN_STATUSES = (*STATUSES, "own measurement")
WOOD_GROUPS = ("hardwood", "softwood")
VALUES = {  # what stands behind each pair of source and status columns
    "basic": ("basic_specific_gravity",),
    "shrinkage": ("shrinkage_radial_pct", "shrinkage_tangential_pct", "shrinkage_volumetric_pct"),
    "green": ("green_mc_heart_pct", "green_mc_sap_pct"),
    "fsp": ("fsp_pct",),
    "moe": ("moe_12_pa",),
    "moe_green": ("moe_green_pa",),
    "hardness": ("side_hardness_12_n",),
    "coefficient": ("coefficient_radial_per_pct", "coefficient_tangential_per_pct"),
}
NAMES = ("botanical_name", "common_name", "group")
COLUMNS = (*NAMES, *(c for prefix, own in VALUES.items() for c in (*own, f"{prefix}_source", f"{prefix}_status")))
REQUIRED = (*NAMES, "basic_specific_gravity", "basic_source", "basic_status")
OWN_FILE = OwnFile("file of own timbers", REQUIRED, COLUMNS)


@dataclass(frozen=True)
class Species:
    """A timber as the tables know it; None where no value was found, and its status then ``none``."""

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
    moe_12_pa: float | None = None  # along the grain, at 12 %MC
    moe_source: str = ""
    moe_status: str = "none"
    moe_green_pa: float | None = None
    moe_green_source: str = ""
    moe_green_status: str = "none"
    side_hardness_12_n: float | None = None
    hardness_source: str = ""
    hardness_status: str = "none"
    coefficient_radial_per_pct: float | None = None  # as printed; elsewhere it follows from the shrinkage
    coefficient_tangential_per_pct: float | None = None
    coefficient_source: str = ""
    coefficient_status: str = "none"

    @property
    def label(self) -> str:
        """Common and botanical name together: a common name alone is ambiguous."""
        return f"{self.common_name} ({self.botanical_name})"


@cache
def species() -> dict[str, Species]:
    """Return every timber by botanical name: the published table's, then those of a user's own file."""
    return {**_built_in(), **_own_timbers}


def held_species(botanical_name: str) -> Species:
    """Return the timber that an entry names; raises BadInput when it is in no table any more."""
    found = species().get(botanical_name)
    if found is None:
        accepted = "a timber of the tables, or of the file named by the setting species_file: there it no longer is"
        raise BadInput("species", botanical_name, accepted)
    return found


_own_timbers: dict[str, Species] = {}


def use_own_species(path: Path | None) -> None:
    """Add the timbers of the CSV file at ``path`` to ``species()`` in this process; None takes them away again.

    The columns are those of ``own_species_header``; any but the first six may be empty or absent. The file is read
    now, not again: after a change in it, call once more. Raises BadInput, in one sentence naming file, row, column,
    value and what is accepted; the timbers in use then stay as they were.
    """
    found = {} if path is None else _own(path)
    _own_timbers.clear()
    _own_timbers.update(found)
    species.cache_clear()


def own_species_header() -> str:
    """Return the first line of a file of one's own timbers, ready for rows below it."""
    return OWN_FILE.header


@cache
def _built_in() -> dict[str, Species]:
    return {row["botanical_name"]: _species(row) for row in rows("species")}


def _own(path: Path) -> dict[str, Species]:
    """Return the timbers of a user's own file, checked as the published table is."""
    found: dict[str, Species] = {}
    published = {name.casefold() for name in _built_in()}
    for where, given in OWN_FILE.rows(path):
        row = _completed(where, given)
        name = row["botanical_name"]
        if name.casefold() in published:
            lot = f'a name that the table does not hold: name the lot, as in "{name}, mill-pond lot"'
            raise BadInput(f"{where} botanical_name", name, lot)
        if name.casefold() in {one.casefold() for one in found}:
            raise BadInput(f"{where} botanical_name", name, "each timber in one row only")
        found[name] = _species(row)
    return found


def _completed(where: str, given: dict[str, str]) -> dict[str, str]:
    """Return an own row with every column, its absent values marked so, or refuse it."""
    row = {column: given.get(column, "") for column in COLUMNS}
    for column in REQUIRED:
        if not row[column]:
            raise BadInput(f"{where} {column}", row[column], "not left empty")
    if row["group"] not in WOOD_GROUPS:
        raise BadInput(f"{where} group", row["group"], f"one of {', '.join(WOOD_GROUPS)}")
    if not row["fsp_pct"]:
        row.update(_conventional_fsp())
    for prefix, columns in VALUES.items():
        status = f"{prefix}_status"
        held = any(row[column] for column in columns)
        if not held:
            row[status] = row[status] or "none"
        elif row[status] in ("", "none"):
            statuses = ", ".join(one for one in OWN_STATUSES if one != "none")
            raise BadInput(f"{where} {status}", row[status], f"one of {statuses}, with its source")
    check_row(where, row, OWN_STATUSES)
    return row


def _conventional_fsp() -> dict[str, str]:
    """Return the fibre saturation point of timbers for which none was measured, with its source."""
    first = next(iter(_built_in().values()))
    return {"fsp_pct": f"{first.fsp_pct:g}", "fsp_source": first.fsp_source, "fsp_status": first.fsp_status}


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
        moe_12_pa=number("moe_12_pa"),
        moe_source=row["moe_source"],
        moe_status=row["moe_status"],
        moe_green_pa=number("moe_green_pa"),
        moe_green_source=row["moe_green_source"],
        moe_green_status=row["moe_green_status"],
        side_hardness_12_n=number("side_hardness_12_n"),
        hardness_source=row["hardness_source"],
        hardness_status=row["hardness_status"],
        coefficient_radial_per_pct=number("coefficient_radial_per_pct"),
        coefficient_tangential_per_pct=number("coefficient_tangential_per_pct"),
        coefficient_source=row["coefficient_source"],
        coefficient_status=row["coefficient_status"],
    )
