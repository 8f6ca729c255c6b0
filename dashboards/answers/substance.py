"""A solvent by name or number: where its vapour burns, every limit for breathed air, ppm and mg/m³ of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import isclose

from dashboards import control_marks, display, substance_words
from dashboards.answers.records import Answer, Asked, Basis, Line, Question, nothing_known
from dashboards.pages.forms import Field
from dashboards.share_words import times
from dashboards.substance_words import SubstanceView
from dashboards.vapour_words import BESIDE
from kiln.control import Control, worst
from kiln.finish_told import reached
from kiln.vapour import mg_m3_from_ppm, ppm_from_mg_m3
from shared.errors import BadInput
from shared.tables import (
    FIRE,
    ExposureLimit,
    NoDilution,
    Substance,
    ambiguous,
    exposure_limits,
    find_substance,
    no_dilution_group,
    substances,
)
from shared.tables.substances import limit_mg_m3
from shared.units import PPM_PER_FRACTION

HIGHEST_PPM, HIGHEST_MG_M3 = 1e6, 5e6
COLDEST_C, WARMEST_C, USUAL_C = 0.0, 40.0, 25.0
LONGEST = 120
NOT_LISTED = (
    "It is not in the tables. That does not mean that there is no harm in it: the data sheet, sections 8 and 9, says "
    "what is known."
)
AT_THE_LIMIT = "at the limit"
EXACT = 1e-6
NO_LEAVE = "A limit is where a body asks for something to be done. Below it somebody may come to harm all the same."

FIELDS = (
    Field(
        "name",
        "Substance",
        spoken="substance",
        hint="Name or CAS number, as section 3 of the data sheet writes it.",
        suggestions=tuple(one.name for one in substances() if one.gives_vapour),
    ),
    Field("ppm", "Of it in the air", "number", unit="ppm", spoken="concentration in ppm"),
    Field("mg_m3", "or", "number", unit="mg/m³", spoken="concentration in mg/m³"),
    Field(
        "temperature_c", "Air", "signed", unit="°C", spoken="temperature", hint="Empty: 25 °C, as limits are printed."
    ),
)


@dataclass(frozen=True)
class Amount:
    """Of a substance in the air, as typed and converted: the greater, where the molar mass of a cut varies."""

    ppm: float
    mg_m3: float
    up_to: bool  # what was converted is a most


@dataclass(frozen=True)
class Held:
    """The amount held against one limit."""

    share: float
    against: str

    @property
    def control(self) -> Control:
        """Over as soon as it is shown as all of the limit."""
        return Control.OVER if reached(self.share) else Control.NOT_SHOWN

    @property
    def line(self) -> Line:
        """The same in words."""
        figure = AT_THE_LIMIT if isclose(self.share, 1.0, rel_tol=EXACT) else times(self.share)
        return Line(self.control.value.upper(), figure, self.against)


def answer(asked: Asked) -> Answer:
    """Answer it; raises BadInput naming what is missing or impossible."""
    name = asked.text("name")
    if not name or len(name) > LONGEST:
        raise BadInput("substance", name[:LONGEST], f"a name or a CAS number, up to {LONGEST} characters")
    several = ambiguous(name)
    if several:
        raise BadInput("substance", name, "one substance: " + " or ".join(f"{one.name} {one.cas}" for one in several))
    refused, found = no_dilution_group(name), find_substance(name)
    if refused is not None:
        return _refused(name, refused)
    return _unlisted(name) if found is None else _listed(asked, found)


def _refused(name: str, refused: NoDilution) -> Answer:
    """Say that no figure of it is of any use, and what it asks for instead."""
    return replace(
        _unlisted(name),
        headline=Control.CANT_SAY.value.upper(),
        band=f"{name} belongs to the {refused.group}",
        sentence=refused.sentence,
        bases=(Basis(refused.source, refused.status),),
    )


def _unlisted(name: str) -> Answer:
    return Answer(
        headline=Control.CANT_SAY.value.upper(),
        band=f"{name} is not listed",
        sentence=NOT_LISTED,
        beside=BESIDE,
        key=control_marks.KEYS[Control.CANT_SAY],
        next_step="Read sections 8 and 9 of its data sheet, or ask its maker.",
        bases=(Basis("tables of solvents of this program", "published"),),
        validity="What is not known never counts as nought.",
        topics=("finish-spray",),
    )


def _listed(asked: Asked, found: Substance) -> Answer:
    view = substance_words.view_of(found.name, found)
    if found.molar_mass_kg_mol is None:
        return replace(_unlisted(found.name), band=f"{found.name} gives no vapour that is reckoned", sentence=NO_LEAVE)
    t_c = asked.or_else("temperature_c", "temperature", COLDEST_C, WARMEST_C, "°C", USUAL_C)
    amount = _amount(asked, found, t_c)
    held = _held(found, amount)
    return Answer(
        headline=_headline(view, amount, held),
        key=control_marks.KEYS[worst(*(one.control for one in held))] if held else "",
        band="the lowest limit listed" if amount is None else f"at {display.with_unit(t_c, '°C', 0)} and 101.325 kPa",
        sentence=NO_LEAVE,
        lines=(*(one.line for one in held), *_skin(found), *_fire_lines(found, view, amount), *_limit_lines(view)),
        flags=() if view.limits else (substance_words.NO_LIMITS,),
        beside=BESIDE,
        formula=(
            "mg/m³ = ppm × M × p / (R × T) / 1000; M in g/mol",
            "10 % of the LEL in ppm = LEL in % by volume × 1000",
            "Of a cut of petroleum, whose M varies: mg/m³ of ppm with the greatest M, ppm of mg/m³ with the least.",
        ),
        bases=(*view.bases, *_limit_bases(found), Basis("NIOSH Pocket Guide, introduction, 2007", "from memory")),
        validity="Vapour as a perfect gas, 0 to 40 °C. Limits change: look into the current edition of each document.",
        topics=("finish-spray",),
    )


def _amount(asked: Asked, found: Substance, t_c: float) -> Amount | None:
    """What was typed, in ppm and in mg/m³; None: nothing was."""
    least = found.molar_mass_kg_mol or 0.0
    most = found.molar_mass_most_kg_mol or least
    if asked.given("ppm") and asked.given("mg_m3"):
        raise BadInput("concentration in ppm", asked.text("ppm"), "either ppm or mg/m³, not both")
    if asked.given("ppm"):
        ppm = asked.number("ppm", "concentration in ppm", 0.0, HIGHEST_PPM, "ppm")
        return Amount(ppm, mg_m3_from_ppm(ppm, most, t_c), up_to=most > least)
    if asked.given("mg_m3"):
        mg_m3 = asked.number("mg_m3", "concentration in mg/m³", 0.0, HIGHEST_MG_M3, "mg/m³")
        return Amount(ppm_from_mg_m3(mg_m3, least, t_c), mg_m3, up_to=most > least)
    return None


def _headline(view: SubstanceView, amount: Amount | None, held: Sequence[Held]) -> str:
    if amount is not None:
        over = f"{Control.OVER.value.upper()}: " if any(one.control is Control.OVER for one in held) else ""
        most = ", the greater converted with the molar mass that errs high" if amount.up_to else ""
        return f"{over}{_figure(amount.ppm)} ppm = {_figure(amount.mg_m3)} mg/m³{most}"
    return view.limits[0].figure if view.limits else Control.CANT_SAY.value.upper()


def _figure(value: float) -> str:
    return f"{value:,.0f}" if value >= 1000.0 else f"{value:.3g}"


def _held(found: Substance, amount: Amount | None) -> tuple[Held, ...]:
    """The amount held against the lowest limit and the explosive limit: over, or not shown to be under control."""
    if amount is None:
        return ()
    held = []
    limits = exposure_limits(found.cas)
    counting = [one for one in limits if one.stands] or limits
    if counting:
        share, lowest = max(((_share(one, amount), one) for one in counting), key=lambda pair: pair[0])
        against = f"{substance_words.figure_of(lowest)}, {lowest.average_words}, {lowest.body} ({lowest.year})"
        held.append(Held(share, f"the lowest listed: {against}, {lowest.status}"))
    if found.lel_vol_fraction:
        share = amount.ppm / PPM_PER_FRACTION / (FIRE["share_alarm"].value * found.lel_vol_fraction)
        held.append(Held(share, f"10 % of the lower explosive limit, {FIRE['share_alarm'].status}"))
    return tuple(held)


def _share(limit: ExposureLimit, amount: Amount) -> float:
    """How many times a limit it is: the greater, by ppm and by mg/m³, which part where the air is not at 25 °C."""
    by_ppm = amount.ppm / limit.ppm if limit.ppm else 0.0
    return max(by_ppm, amount.mg_m3 / limit_mg_m3(limit))


def _skin(found: Substance) -> tuple[Line, ...]:
    """Whether it goes through the skin, as far as a body says so; what is not marked may do so all the same."""
    basis = Basis(found.skin_source, found.skin_status).shown if found.skin_source else ""
    words = {True: "yes: air alone does not tell", False: "not marked", None: "not known: take it that it does"}
    return (Line("Through the skin", words[found.through_skin], basis),)


def _fire_lines(found: Substance, view: SubstanceView, amount: tuple[float, float] | None) -> tuple[Line, ...]:
    lines = [Line("Flash point", view.flash, substance_words.FLASH_NOTE)]
    lines.append(Line("Lower explosive limit (LEL)", view.lel, substance_words.LEL_NOTE))
    if found.lel_vol_fraction:
        alarm, spray = (FIRE[name].value * found.lel_vol_fraction for name in ("share_alarm", "share_spray_area"))
        lines.append(Line("10 % of it", substance_words.ppm_text(alarm), "where people usually leave"))
        lines.append(Line("25 % of it", substance_words.ppm_text(spray), "from here on a space counts as a spray area"))
    if amount is None:
        lines.append(Line("1 ppm at 25 °C", f"{mg_m3_from_ppm(1.0, found.molar_mass_kg_mol or 1.0):.3g} mg/m³"))
    return tuple(lines)


def _limit_lines(view: SubstanceView) -> tuple[Line, ...]:
    return tuple(Line(f"{one.body}, {one.average}", one.figure, f"{one.legal}; {one.source}") for one in view.limits)


def _limit_bases(found: Substance) -> tuple[Basis, ...]:
    pairs = dict.fromkeys((one.source, one.status) for one in exposure_limits(found.cas))
    return tuple(Basis(source, status) for source, status in pairs)


QUESTION = Question(
    name="substance",
    title="A solvent and its limits",
    lead="Flash point, explosive limit, limits for breathed air by body and year; ppm and mg/m³ of it.",
    fields=FIELDS,
    answer=answer,
    fill=nothing_known,
    wanted=("name",),
    defers=True,
)
