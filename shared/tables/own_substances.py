"""Ingredients that a user adds in a file of their own, from sections 3, 8 and 9 of a data sheet."""

from __future__ import annotations

from pathlib import Path

from shared.errors import BadInput
from shared.tables.loading import check_row
from shared.tables.no_dilution import no_dilution_group
from shared.tables.own_files import OwnFile
from shared.tables.substances import (
    BETWEEN_NAMES,
    EVERYWHERE,
    Average,
    ExposureLimit,
    Substance,
    folded,
    hold_own,
    is_cas_number,
    published_substances,
)

REQUIRED = ("name", "cas", "molar_mass_g_mol", "source")
FIGURES = ("density_kg_m3", "flash_point_c", "lel_vol_pct", "uel_vol_pct")
LIMITS = {Average.TWA: "limit_8_h", Average.SHORT: "limit_15_min", Average.CEILING: "limit_ceiling"}
LIMIT_UNITS = ("ppm", "mg_m3")
COLUMNS = (
    *REQUIRED,
    "other_names",
    *FIGURES,
    *(f"{prefix}_{unit}" for prefix in LIMITS.values() for unit in LIMIT_UNITS),
)
OWN_FILE = OwnFile("file of own substances", REQUIRED, COLUMNS)
STATUS = "from memory"  # a data sheet is a copy of what the bodies print


def use_own_substances(path: Path | None) -> None:
    """Add the substances of the CSV file at ``path`` to those of the tables in this process; None takes them away.

    The columns are those of ``own_substances_header``; any but the first four may be empty or absent: what is empty is
    not known. The file is read now, not again. Raises BadInput, in one sentence naming file, row, column, value and
    what is accepted; the substances in use then stay as they were.
    """
    found: list[Substance] = []
    limits: list[ExposureLimit] = []
    for where, given in [] if path is None else OWN_FILE.rows(path):
        row = {column: given.get(column, "") for column in COLUMNS}
        substance = _substance(where, row)
        _refuse_known(where, substance, found)
        found.append(substance)
        limits.extend(_limits(where, row))
    hold_own(tuple(found), tuple(limits))


def own_substances_header() -> str:
    """Return the first line of a file of one's own substances, ready for rows below it."""
    return OWN_FILE.header


def _substance(where: str, row: dict[str, str]) -> Substance:
    for column in REQUIRED:
        if not row[column]:
            raise BadInput(f"{where} {column}", row[column], "not left empty")
    if not is_cas_number(row["cas"]):
        raise BadInput(f"{where} cas", row["cas"], "a CAS number whose last digit checks the others")
    check_row(where, {**row, "status": STATUS})
    figures = {column: float(row[column]) if row[column] else None for column in FIGURES}
    lel, uel = figures["lel_vol_pct"], figures["uel_vol_pct"]
    if lel is not None and uel is not None and lel >= uel:
        raise BadInput(f"{where} uel_vol_pct", row["uel_vol_pct"], f"above the lower limit, {row['lel_vol_pct']}")
    return Substance(
        name=row["name"],
        cas=row["cas"],
        other_names=tuple(name for name in row["other_names"].split(BETWEEN_NAMES) if name),
        molar_mass_kg_mol=float(row["molar_mass_g_mol"]) / 1e3,
        density_kg_m3=figures["density_kg_m3"],
        flash_point_c=figures["flash_point_c"],
        lel_vol_fraction=None if lel is None else lel / 1e2,
        uel_vol_fraction=None if uel is None else uel / 1e2,
        gives_vapour=True,
        identity_source=row["source"],
        identity_status=STATUS,
        fire_source=row["source"],
        fire_status=STATUS,
        lel_source=row["source"] if lel is not None else "",
        lel_status=STATUS if lel is not None else "none",
    )


def _refuse_known(where: str, substance: Substance, before: list[Substance]) -> None:
    """Refuse what is held already, for a sheet puts no published figure aside, and what no amount of air answers."""
    names = (substance.name, *substance.other_names)
    held = [(name, one) for one in (*published_substances(), *before) for name in (one.name, one.cas, *one.other_names)]
    for name in (substance.cas, *names):
        other = next((one for known, one in held if known and folded(known) == folded(name)), None)
        if other is not None:
            column = "cas" if name == substance.cas else "name"
            raise BadInput(f"{where} {column}", name, f"a substance that is not held yet: {other.name} has it")
        group = no_dilution_group(name)
        if group is not None:
            raise BadInput(f"{where} name", name, f"nothing of the group {group.group}, for which no air is worked out")


def _limits(where: str, row: dict[str, str]) -> list[ExposureLimit]:
    """Return the limits that a row gives, as of the data sheet."""
    found = []
    for average, prefix in LIMITS.items():
        printed = {unit: row[f"{prefix}_{unit}"] for unit in LIMIT_UNITS}
        check_row(f"{where} {prefix}", {**printed, "source": row["source"], "status": STATUS})
        ppm, mg_m3 = (float(printed[unit]) if printed[unit] else None for unit in LIMIT_UNITS)
        if ppm is not None or mg_m3 is not None:
            found.append(_limit(row, average, ppm, mg_m3))
    return found


def _limit(row: dict[str, str], average: Average, ppm: float | None, mg_m3: float | None) -> ExposureLimit:
    return ExposureLimit(
        cas=row["cas"],
        region=EVERYWHERE,
        body="data sheet",
        average=average,
        ppm=ppm,
        mg_m3=mg_m3,
        year="as the sheet says",
        legal="as the sheet says",
        source=row["source"],
        status=STATUS,
    )
