"""How thick to saw wood out of the water, so that it still comes out after shrinkage, collapse and planing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dashboards import display, out_of_water
from dashboards.answers.boards import board_of
from dashboards.answers.movement import RING_ANGLE
from dashboards.answers.records import Answer, Asked, Basis, Line, Question, bases_of, options, remembered
from dashboards.pages.forms import Field, Option
from kiln import sawing, sorption
from kiln.reclaimed import Grade
from kiln.sawing import SawPlan
from shared.errors import BadInput
from shared.store.records import Cut
from shared.tables import Species, constants, safe_losses, species
from shared.units import m_from_mm, mm_from_m

NOBODY_SAID = "–"

FIELDS = (
    Field("board", "A board or log of the yard", "board", hint="Fills in what is known of it."),
    Field("species", "Wood", "species", spoken="species"),
    Field("finished_mm", "Finished thickness", "number", unit="mm", spoken="finished thickness"),
    Field("final_mc_pct", "When it is at", "number", unit="%MC", spoken="final moisture", hint="Empty: 8."),
    Field("cut", "To be sawn", "choice", options=(Option("", NOBODY_SAID), *options(Cut)), spoken="cut"),
    Field(
        "seen",
        "What was seen of it",
        "choice",
        options=(Option("", NOBODY_SAID), *options(Grade)),
        spoken="what was seen",
        hint="Foul smell and splits along the rings together: marks of bacterial wood.",
    ),
    Field("planing_mm", "Planed off, both faces", "number", unit="mm", spoken="planing", hint="Empty: 6.35 mm."),
)


def answer(asked: Asked) -> Answer:
    """Answer it; raises BadInput naming what is missing or impossible."""
    wood = asked.species()
    finished = m_from_mm(asked.number("finished_mm", "finished thickness", 1, 200, "mm"))
    mc = asked.or_else("final_mc_pct", "final moisture", 3, 30, "% MC", 8.0)
    grade = asked.choice("seen", "what was seen", Grade, Grade.UNSEEN)
    usual = mm_from_m(constants("reclaimed")["planing"].value)
    planing = m_from_mm(asked.or_else("planing_mm", "planing", 0, 50, "mm", usual))
    shrinkage, angle = _shrinkages(wood), _angle_deg(asked, wood)
    plan = sawing.saw_plan(finished, shrinkage, angle, mc, sawing.reserve_share(grade), planing, wood.fsp_pct)
    uncollapsed = plan.saw_m * (1.0 - plan.shrinkage_pct / 100.0)
    return Answer(
        headline=f"saw at {_mm(plan.saw_m)} mm",
        band=f"dry, before planing, it may come out anywhere from {_mm(plan.rough_m)} mm to {_mm(uncollapsed)} mm",
        sentence="Nine boards in ten that collapse by no more than the reserve come out at "
        f"{display.millimetres(finished)} mm, planed, at {mc:g} % moisture. "
        "Thinner than this is a risk; thicker only dries longer.",
        lines=_lines(plan, grade),
        flags=_flags(asked, plan, grade, wood),
        next_step="Saw as thin as this allows, dry slowly, and measure the first boards: they tell what the rest need.",
        formula=(
            "wet = (finished + planing) / (1 − S) / (1 − reserve)",
            "S = S₀ (1 − M/FSP) across the thickness, so large that nine boards in ten shrink less; "
            "S₀ = S_R cos²θ + S_T sin²θ, θ the angle of the rings to the face",
        ),
        bases=(
            Basis("Wood Handbook FPL-GTR-282, 2021, Equation 4-9", "published"),
            Basis(
                f"shrinkage of {wood.label}, radial {shrinkage[0]:g} %, tangential {shrinkage[1]:g} %: "
                f"{wood.shrinkage_source}",
                wood.shrinkage_status,
            ),
            Basis("E. M. Wengert, Salvaging lumber from submerged wood, 1998: as thin as possible", "published"),
            *bases_of("wood", "shrinkage_cv"),
            *bases_of("reclaimed", sawing.RESERVES[grade], of="reserve"),
            *bases_of("reclaimed", "planing", of="planing"),
        ),
        validity="Soaked wood sawn at once, above fibre saturation all through. The saw's own wandering is not in it.",
        topics=("dust", "heavy-boards"),
    )


def _lines(plan: SawPlan, grade: Grade) -> tuple[Line, ...]:
    share = f"{100 * sawing.reserve_share(grade):.0f} % of the wet thickness: ours, for wood with: {grade.value}"
    return (
        Line("Finished", f"{display.millimetres(plan.finished_m)} mm"),
        Line("Planed off, both faces", f"{display.millimetres(plan.planing_m)} mm"),
        Line("Normal shrinkage", f"{_mm(plan.shrinkage_m)} mm", f"{plan.shrinkage_pct:.1f} % in the mean of its kind"),
        Line("Kept for collapse", f"{_mm(plan.collapse_m)} mm", share),
        Line("Without that reserve", f"{_mm(plan.saw_m - plan.collapse_m)} mm", "enough only if nothing collapses"),
    )


def _flags(asked: Asked, plan: SawPlan, grade: Grade, wood: Species) -> tuple[str, ...]:
    thickest = max(row.thickness_m for row in safe_losses())
    said = ["How much wood collapses is known of no log beforehand: the reserve is our judgement, no published figure."]
    if grade is Grade.BACTERIAL:
        said.append("Wood with these marks can hardly be dried without honeycomb: try a few boards first.")
    if not asked.given("cut"):
        said.append("Nobody said how it will be sawn: the greater of its two shrinkages is taken.")
    if plan.saw_m > thickest:
        said.append(
            f"Thicker than any board whose safe daily loss is published ({mm_from_m(thickest):.0f} mm): "
            "two thin ones dry sooner and with less harm than one thick one."
        )
    return (
        *said,
        *remembered((f"The shrinkage of {wood.common_name}", wood.shrinkage_source, wood.shrinkage_status)),
    )


def _shrinkages(wood: Species) -> tuple[float, float]:
    if wood.shrinkage_radial_pct is None or wood.shrinkage_tangential_pct is None:
        raise BadInput("species", wood.label, "a timber whose shrinkage is in the tables")
    return wood.shrinkage_radial_pct, wood.shrinkage_tangential_pct


def _angle_deg(asked: Asked, wood: Species) -> float:
    """Rings to the face [°]; where nobody said, as the thickness shrinks most."""
    radial, tangential = _shrinkages(wood)
    worst = Cut.QUARTER if tangential >= radial else Cut.FLAT
    return RING_ANGLE[asked.choice("cut", "cut", Cut, worst).value]


def _mm(length_m: float) -> str:
    return display.number(mm_from_m(length_m), 1)


def fill(yard: Any, typed: Mapping[str, str]) -> dict[str, str]:
    """Fill in a board's or log's wood, what was seen when it was lifted, and the moisture that it is planned for."""
    board = board_of(yard, typed)
    if board is None:
        return {}
    known = {"species": board.fact.species}
    found = out_of_water.read(yard, board)
    if found is not None:
        known["seen"] = found.triage.grade.value
    wood = species().get(board.fact.species)
    if board.plan is not None and wood is not None:
        rh, t = board.plan.destination_rh_pct, board.plan.destination_temperature_c
        known["final_mc_pct"] = f"{float(sorption.emc_pct(t, rh, wood.fsp_pct)):.1f}"
    return known


QUESTION = Question(
    name="saw-plan",
    title="How thick to saw",
    lead="Wood out of the water: the sawn thickness that leaves enough after shrinkage, collapse and planing.",
    fields=FIELDS,
    answer=answer,
    fill=fill,
    wanted=("board", "species", "finished_mm"),
)
