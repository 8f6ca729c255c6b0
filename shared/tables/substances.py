"""What stands in section 3 of a finish's data sheet: fire data of each solvent, and its limits in breathed air.

An empty cell is not known, never nought. Where sources or grades differ the table holds the lowest flash point and
the lowest explosive limit that is printed; limits in air stand one a row, by body, year and kind of mean.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from enum import StrEnum
from functools import cache

from shared.errors import BadInput
from shared.tables.loading import rows
from shared.units import GAS_CONSTANT_J_MOL_K, MG_PER_KG, PPM_PER_FRACTION, STANDARD_C, STANDARD_PA, k_from_c

BETWEEN_NAMES = "; "
EVERYWHERE = "everywhere"  # the region of a limit that a user's own file gives: it counts whatever region is chosen
GONE = ("withdrawn", "vacated", "replaced")  # what the column legal begins with where a limit stands no more
NIOSH_REL, NIOSH_TWA = "NIOSH REL", "mean of up to 10 hours"  # NIOSH Pocket Guide, 2007, introduction (from memory)
THROUGH_SKIN = {"yes": True, "no": False, "": None}
M3_PER_MOL = GAS_CONSTANT_J_MOL_K * k_from_c(STANDARD_C) / STANDARD_PA  # at which a limit's ppm and mg/m³ are compared
CAS_NUMBER = re.compile(r"(?<!\d)(\d{2,7})-(\d{2})-(\d)(?!\d)")
DASHES = str.maketrans(dict.fromkeys("‐‑‒–—−­", "-"))


class Region(StrEnum):
    """Whose limits are looked at."""

    LOWEST = "lowest"
    US = "US"
    GB = "GB"
    EU = "EU"
    DE = "DE"

    @property
    def label(self) -> str:
        """The region in words."""
        return _REGION_LABELS[self]


_REGION_LABELS = {
    Region.LOWEST: "the lowest listed",
    Region.US: "United States",
    Region.GB: "Great Britain",
    Region.EU: "European Union",
    Region.DE: "Germany",
}


class Average(StrEnum):
    """Over which time a limit is the mean."""

    TWA = "8-hour mean"
    SHORT = "15-minute mean"
    CEILING = "ceiling"


@dataclass(frozen=True)
class Substance:
    """One ingredient as the tables know it; None where nothing was found."""

    name: str
    cas: str
    other_names: tuple[str, ...]
    molar_mass_kg_mol: float | None  # None: no vapour to reckon with; the lowest where a cut varies
    density_kg_m3: float | None  # of the liquid near 20 °C
    flash_point_c: float | None  # the lowest printed, of the worst grade
    lel_vol_fraction: float | None  # the lowest printed; None of a solvent: unknown, never nought
    uel_vol_fraction: float | None
    gives_vapour: bool
    identity_source: str
    identity_status: str
    fire_source: str  # of flash point and upper limit
    fire_status: str
    lel_source: str = ""
    lel_status: str = "none"
    through_skin: bool | None = None  # whether a body marks it so; None: not known
    skin_source: str = ""
    skin_status: str = "none"
    molar_mass_most_kg_mol: float | None = None  # of a cut whose molar mass varies, the greatest


@dataclass(frozen=True)
class ExposureLimit:
    """One body's limit for one substance in breathed air, as printed: ppm, mg/m³, or both."""

    cas: str
    region: str
    body: str
    average: Average
    ppm: float | None
    mg_m3: float | None
    year: str
    legal: str
    source: str
    status: str

    @property
    def stands(self) -> bool:
        """Whether it has been neither withdrawn, vacated nor replaced by a later value."""
        return not self.legal.startswith(GONE)

    @property
    def average_words(self) -> str:
        """Over which time it is a mean, as its body has it: what NIOSH recommends holds for up to 10 hours."""
        return NIOSH_TWA if self.body == NIOSH_REL and self.average is Average.TWA else self.average.value


_own: list[Substance] = []
_own_limits: list[ExposureLimit] = []


def substances() -> tuple[Substance, ...]:
    """Return every substance of the table, in its order, then those of a user's own file."""
    return (*published_substances(), *_own)


@cache
def published_substances() -> tuple[Substance, ...]:
    """Return the substances of the table alone."""
    return tuple(_substance(number, row) for number, row in enumerate(rows("substances"), start=2))


def hold_own(own: tuple[Substance, ...], limits: tuple[ExposureLimit, ...]) -> None:
    """Put these beside the table's in this process, in place of any that were there before."""
    _own[:], _own_limits[:] = own, limits
    for cached in (_by_cas, _by_name, _limits):
        cached.cache_clear()


def find_substance(text: str) -> Substance | None:
    """Return the substance that a name, another name or a CAS number means, or None: not listed, or not one alone.

    Capitals, accents, hyphens and spaces are forgiven, and nothing else: a part of a name finds nothing. A text that
    holds CAS numbers is read by them alone; two of different substances find nothing.
    """
    numbers = cas_numbers(text)
    if numbers:
        found = {_by_cas().get(number) for number in numbers}
        return found.pop() if len(found) == 1 else None
    named = _by_name().get(folded(text), ())
    return named[0] if len(named) == 1 else None


def ambiguous(text: str) -> tuple[Substance, ...]:
    """Return what ``text`` may mean where it does not name one substance alone; empty where it names one or none."""
    named = _by_name().get(folded(text), ())
    return named if len(named) > 1 else ()


def cas_numbers(text: str) -> tuple[str, ...]:
    """Return the CAS numbers in a text, whatever dash they are written with; the check digit is not looked at."""
    plain = unicodedata.normalize("NFKC", text).translate(DASHES)
    return tuple("-".join((str(int(first)), *rest)) for first, *rest in CAS_NUMBER.findall(plain))


def is_cas_number(text: str) -> bool:
    """Whether a text is a CAS number whose last digit checks the others (weighted sum, modulo 10)."""
    if not CAS_NUMBER.fullmatch(text):
        return False
    *digits, check = (int(one) for one in text.replace("-", ""))
    return sum(place * digit for place, digit in enumerate(reversed(digits), start=1)) % 10 == check


def exposure_limits(cas: str) -> tuple[ExposureLimit, ...]:
    """Return every limit listed for the substance, in the order of the table; withdrawn ones too."""
    substance = _by_cas().get(cas)
    return _limits().get(substance.cas, ()) if substance else ()


def lowest_limit(cas: str, average: Average, region: Region) -> ExposureLimit | None:
    """Return the lowest limit of the region, of all where it is LOWEST; None: none is listed.

    One that is withdrawn counts only where no other is listed.
    """
    listed = [one for one in exposure_limits(cas) if one.average is average]
    listed = [one for one in listed if region is Region.LOWEST or one.region in (region, EVERYWHERE)]
    counting = [one for one in listed if one.stands] or listed
    return min(counting, key=limit_mg_m3) if counting else None


def limit_mg_m3(limit: ExposureLimit) -> float:
    """Return a limit in mg/m³ at 25 °C and 101.325 kPa: the lower, where ppm and mg/m³ are printed and differ."""
    printed = [] if limit.mg_m3 is None else [limit.mg_m3]
    substance = _by_cas()[limit.cas]
    if limit.ppm is not None and substance.molar_mass_kg_mol is not None:
        printed.append(limit.ppm / PPM_PER_FRACTION * substance.molar_mass_kg_mol / M3_PER_MOL * MG_PER_KG)
    return min(printed)


@cache
def _by_cas() -> dict[str, Substance]:
    """Return the substances by every CAS number that they have: isomers stand in one row."""
    found: dict[str, Substance] = {}
    for one in substances():
        for number in cas_numbers(BETWEEN_NAMES.join((one.cas, *one.other_names))):
            if number in found or not is_cas_number(number):
                raise BadInput("substances.csv cas", number, "a CAS number whose last digit checks the others, once")
            found[number] = one
    return found


@cache
def _by_name() -> dict[str, tuple[Substance, ...]]:
    """Return what each folded name can mean; a name that stands in several rows means none of them alone."""
    found: dict[str, tuple[Substance, ...]] = {}
    for one in substances():
        for name in {folded(name) for name in (one.name, *one.other_names)}:
            found[name] = (*found.get(name, ()), one)
    return found


def folded(text: str) -> str:
    """Return a name without capitals, accents, hyphens and spaces."""
    apart = unicodedata.normalize("NFKD", text).translate(DASHES).casefold()
    return "".join(letter for letter in apart if not unicodedata.combining(letter) and letter not in "- \t\n")


def _substance(number: int, row: dict[str, str]) -> Substance:
    def value(column: str, scale: float = 1.0) -> float | None:
        return float(row[column]) * scale if row[column] else None

    where = f"substances.csv row {number}"
    if row["cas"] and not is_cas_number(row["cas"]):
        raise BadInput(f"{where} cas", row["cas"], "a CAS number whose last digit checks the others")
    if row["gives_vapour"] not in ("yes", "no"):
        raise BadInput(f"{where} gives_vapour", row["gives_vapour"], "yes or no")
    if row["skin"] not in THROUGH_SKIN:
        raise BadInput(f"{where} skin", row["skin"], "yes, no, or empty where it is not known")
    if row["gives_vapour"] == "yes" and not row["molar_mass_g_mol"]:
        raise BadInput(f"{where} molar_mass_g_mol", "", "a molar mass for what gives vapour")
    return Substance(
        name=row["name"],
        cas=row["cas"],
        other_names=tuple(name for name in row["other_names"].split(BETWEEN_NAMES) if name),
        molar_mass_kg_mol=value("molar_mass_g_mol", 1e-3),
        density_kg_m3=value("density_kg_m3"),
        flash_point_c=value("flash_point_c"),
        lel_vol_fraction=value("lel_vol_pct", 1e-2),
        uel_vol_fraction=value("uel_vol_pct", 1e-2),
        gives_vapour=row["gives_vapour"] == "yes",
        identity_source=row["identity_source"],
        identity_status=row["identity_status"],
        fire_source=row["fire_source"],
        fire_status=row["fire_status"],
        lel_source=row["lel_source"],
        lel_status=row["lel_status"],
        through_skin=THROUGH_SKIN[row["skin"]],
        skin_source=row["skin_source"],
        skin_status=row["skin_status"],
        molar_mass_most_kg_mol=value("molar_mass_most_g_mol", 1e-3),
    )


@cache
def _limits() -> dict[str, tuple[ExposureLimit, ...]]:
    found: dict[str, tuple[ExposureLimit, ...]] = {}
    for number, row in enumerate(rows("exposure_limits"), start=2):
        one = _limit(f"exposure_limits.csv row {number}", row)
        found[one.cas] = (*found.get(one.cas, ()), one)
    for one in _own_limits:
        found[one.cas] = (*found.get(one.cas, ()), one)
    return found


def _limit(where: str, row: dict[str, str]) -> ExposureLimit:
    substance = _by_cas().get(row["cas"])
    if substance is None:
        raise BadInput(f"{where} cas", row["cas"], "the number of a substance in substances.csv")
    if row["average"] not in tuple(Average):
        raise BadInput(f"{where} average", row["average"], f"one of {', '.join(Average)}")
    if row["region"] not in tuple(Region) or row["region"] == Region.LOWEST:
        raise BadInput(f"{where} region", row["region"], "a region of its own")
    if not row["mg_m3"] and not (row["ppm"] and substance.molar_mass_kg_mol):
        raise BadInput(f"{where} mg_m3", "", "a figure in mg/m³, or in ppm of a substance whose molar mass is known")
    return ExposureLimit(
        cas=row["cas"],
        region=row["region"],
        body=row["body"],
        average=Average(row["average"]),
        ppm=float(row["ppm"]) if row["ppm"] else None,
        mg_m3=float(row["mg_m3"]) if row["mg_m3"] else None,
        year=row["year"],
        legal=row["legal"],
        source=row["source"],
        status=row["status"],
    )
