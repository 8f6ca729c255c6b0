"""What the tables hold of one ingredient, in words: fire data and every limit for breathed air, each with its source.

An ingredient that is not listed is said to be unknown; nothing that is missing is left out in silence.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from dashboards import display
from dashboards.bases import Basis
from shared.tables.substances import ExposureLimit, Substance, exposure_limits, limit_mg_m3
from shared.units import PPM_PER_FRACTION

NOT_LISTED = "not in the tables: unknown, which never counts as nought"
NONE_FOUND = "none found: unknown, which is not “none”"
NO_VAPOUR = "gives no vapour that is reckoned here"
NO_LIMITS = "No limit for breathed air was found for it. Not listed is not harmless."
FLASH_NOTE = "the lowest printed. A mist burns below its flash point: this may add a caution and never takes one away"
LEL_NOTE = "the lowest printed; less of it in air than this still burns in the plume and over wet work"


@dataclass(frozen=True)
class LimitLine:
    """One body's limit for one substance."""

    body: str = field(metadata={"help": "Who set it, and where it holds"})
    average: str = field(metadata={"help": "Over which time it is a mean"})
    figure: str = field(metadata={"help": "The limit as it is printed"})
    legal: str = field(metadata={"help": "Law, recommendation, withdrawn; with its year"})
    source: str = field(metadata={"help": "Document that it was read in, and how it is known"})


@dataclass(frozen=True)
class SubstanceView:
    """One ingredient as the tables know it."""

    name: str = field(metadata={"help": "What it is called here"})
    cas: str = field(metadata={"help": "Its CAS number; empty: not known"})
    listed: bool = field(metadata={"help": "Whether the tables have it"})
    note: str = field(metadata={"help": "What is unknown of it, or that it gives no vapour; empty: neither"})
    flash: str = field(metadata={"help": "Flash point, the lowest printed"})
    lel: str = field(metadata={"help": "Lower explosive limit, the lowest printed"})
    lowest: str = field(metadata={"help": "The lowest of its limits for breathed air, with body and year"})
    limits: tuple[LimitLine, ...] = field(metadata={"help": "Every limit listed, the lowest first"})
    bases: tuple[Basis, ...] = field(metadata={"help": "Where its fire data are from"})


def view_of(name: str, substance: Substance | None) -> SubstanceView:
    """Return what is known of an ingredient; ``name``: as the sheet writes it."""
    if substance is None:
        return SubstanceView(name, "", False, NOT_LISTED, NONE_FOUND, NONE_FOUND, NONE_FOUND, (), ())
    limits = limits_of(substance)
    return SubstanceView(
        name=substance.name,
        cas=substance.cas,
        listed=True,
        note="" if substance.gives_vapour else NO_VAPOUR,
        flash=flash_of(substance),
        lel=lel_of(substance),
        lowest=_lowest(limits, substance),
        limits=limits,
        bases=fire_bases(substance) if substance.gives_vapour else (),
    )


def _lowest(limits: tuple[LimitLine, ...], substance: Substance) -> str:
    if not substance.gives_vapour:
        return display.NOTHING
    if not limits:
        return NONE_FOUND
    first = limits[0]
    return f"{first.figure}, {first.average}, {first.body}"


def flash_of(substance: Substance) -> str:
    """Return its flash point in words."""
    if not substance.gives_vapour:
        return display.NOTHING
    return NONE_FOUND if substance.flash_point_c is None else display.with_unit(substance.flash_point_c, "°C")


def lel_of(substance: Substance) -> str:
    """Return its lower explosive limit in words."""
    if not substance.gives_vapour:
        return display.NOTHING
    lel = substance.lel_vol_fraction
    return NONE_FOUND if lel is None else f"{100.0 * lel:.2g} % of the air by volume"


def ppm_text(fraction: float) -> str:
    """Return a share by volume as ppm, to as many digits as such figures are printed with."""
    return f"{float(f'{fraction * PPM_PER_FRACTION:.3g}'):,.0f} ppm"


def limits_of(substance: Substance) -> tuple[LimitLine, ...]:
    """Return every limit listed of a substance, the lowest that stands first, withdrawn ones last."""
    return tuple(limit_line(one) for one in in_order(substance))


def in_order(substance: Substance) -> list[ExposureLimit]:
    """Return every limit listed of a substance, the lowest that stands first, withdrawn ones last."""
    return sorted(exposure_limits(substance.cas), key=lambda one: (not one.stands, limit_mg_m3(one)))


def limit_line(one: ExposureLimit) -> LimitLine:
    """Return a limit in words."""
    return LimitLine(
        body=f"{one.body}, {one.region} ({one.year})",
        average=one.average_words,
        figure=figure_of(one),
        legal=one.legal,
        source=Basis(one.source, one.status).shown,
    )


def figure_of(one: ExposureLimit) -> str:
    """Return a limit as printed; where only one of the two is printed, the other is not made up."""
    printed = [f"{one.ppm:g} ppm"] if one.ppm is not None else []
    printed += [f"{one.mg_m3:g} mg/m³"] if one.mg_m3 is not None else []
    return " = ".join(printed)


def fire_bases(substance: Substance) -> tuple[Basis, ...]:
    """Return where the fire data and the molar mass of a substance are from, each document once."""
    flash = Basis(f"flash point and upper limit of {substance.name}: {substance.fire_source}", substance.fire_status)
    lower = Basis(f"lower explosive limit of {substance.name}: {substance.lel_source}", substance.lel_status)
    mass = Basis(f"molar mass and density of {substance.name}: {substance.identity_source}", substance.identity_status)
    given = (substance.fire_source, substance.lel_source, substance.identity_source)
    return tuple(basis for basis, source in zip((flash, lower, mass), given, strict=True) if source)
