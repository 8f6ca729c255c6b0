"""How far will it move: a plate or board between two moisture contents, or between two airs."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from dashboards import display
from dashboards.answers.boards import board_of, known_of
from dashboards.answers.records import Answer, Asked, Basis, Line, Question, bases_of, remembered
from dashboards.pages.forms import Field, Option
from kiln import movement, promise, sorption, stiffness
from kiln.evidence import now_index
from kiln.records import Z80
from shared.errors import BadInput
from shared.tables import Species
from shared.units import gpa_from_pa, m_from_mm, mm_from_m

MC_PCT = (0.0, 300.0)
RING_ANGLE = {"flat-sawn": 0.0, "rift-sawn": 45.0, "quarter-sawn": 90.0}
ALONG, ACROSS = "along", "across"
GRAINS = (Option("", "–"), Option(ALONG, "grain along the joint (a brace)"), Option(ACROSS, "grain across the joint"))

FIELDS = (
    Field("board", "A board of the yard", "board", hint="Fills in what is known of it."),
    Field("species", "Wood", "species", spoken="species"),
    Field("width_mm", "Width", "number", unit="mm", spoken="width"),
    Field("thickness_mm", "Thickness", "number", unit="mm", spoken="thickness"),
    Field("length_mm", "Length", "number", unit="mm", spoken="length"),
    Field(
        "ring_angle_deg",
        "Rings to the face",
        "number",
        unit="°",
        spoken="rings to the face",
        hint="0 flat-sawn, 45 rift, 90 quarter-sawn.",
    ),
    Field("from_mc_pct", "Moisture now", "number", unit="%MC", spoken="moisture now"),
    Field(
        "from_error_pct",
        "known to ±",
        "number",
        unit="%MC",
        spoken="error of the moisture now",
        hint="One standard error. Empty: 1.",
    ),
    Field("to_mc_pct", "Moisture then", "number", unit="%MC", spoken="moisture then", hint="Or give the air:"),
    Field("to_rh_pct", "Air then", "number", unit="%RH", spoken="air then", hint="A heated house in winter: 30."),
    Field("to_temperature_c", "Temperature then", "number", unit="°C", spoken="temperature then", hint="Empty: 20 °C."),
    Field(
        "pith_mm",
        "Middle of the face to the pith",
        "number",
        unit="mm",
        spoken="middle of the face to the pith",
        hint="For the cup; the radius of the rings there.",
    ),
    Field("other_species", "Glued to it: wood", "species", spoken="other species", hint="A brace, a second board."),
    Field(
        "other_grain",
        "Glued to it: its grain runs",
        "choice",
        options=GRAINS,
        spoken="grain of the other piece",
    ),
    Field(
        "other_ring_angle_deg",
        "Glued to it: its rings",
        "number",
        unit="°",
        spoken="rings of the other piece",
        hint="Only when its grain runs across the joint.",
    ),
    Field(
        "other_from_mc_pct",
        "Glued to it: its moisture",
        "number",
        unit="%MC",
        spoken="moisture of the other piece",
        hint="Empty: as wet as the first.",
    ),
)


def answer(asked: Asked) -> Answer:
    """Answer it; raises BadInput naming what is missing or impossible."""
    wood = asked.species()
    radial, tangential = _shrinkages(wood)
    width = m_from_mm(asked.number("width_mm", "width", 1, 3000, "mm"))
    angle = asked.number("ring_angle_deg", "rings to the face", 0, 90, "°")
    start = asked.number("from_mc_pct", "moisture now", *MC_PCT, "% MC")
    start_sd = asked.or_else("from_error_pct", "error of the moisture now", 0, 20, "% MC", 1.0)
    ending = _end(asked, wood, start)
    end = ending.mc_pct
    across = float(movement.shrinkage_at_angle_pct(radial, tangential, angle))
    low, middle, high = movement.change_band_m(
        width, across, start, end, start_sd, ending.sd_mc_pct, fsp_pct=wood.fsp_pct
    )
    return Answer(
        headline=f"{_mm(middle)} mm",
        band=f"{_mm(low)} to {_mm(high)} mm holds eight in ten",
        sentence=_sentence(start, ending, width, middle),
        lines=(
            *_sizes(asked, wood, angle, start, ending, width),
            *_handbook(wood, width, angle, start, end),
            *_cup(asked, wood, width, angle, start, end),
            *_joint(asked, wood, across, width, start, end),
            *_stiffness(wood, start, end),
        ),
        flags=(
            *remembered((f"The shrinkage of {wood.common_name}", wood.shrinkage_source, wood.shrinkage_status)),
            *(
                ("Above fibre saturation nothing moves; shrinkage begins at the faces before the mean is below it.",)
                if max(start, end) >= wood.fsp_pct
                else ()
            ),
        ),
        formula=(
            "change = size × (S(from) − S(to)) / (100 − S(from)); S(M) = S₀ (1 − M/FSP), 0 above fibre saturation",
            "S₀ across the width = S_T cos²θ + S_R sin²θ, θ the angle of the rings to the face",
        ),
        bases=(
            Basis("Wood Handbook FPL-GTR-282, 2021, Equation 4-9", "published"),
            Basis(
                f"shrinkage of {wood.label}, radial {radial:g} %, tangential {tangential:g} %: {wood.shrinkage_source}",
                wood.shrinkage_status,
            ),
            *bases_of("wood", "shrinkage_cv"),
            *_air_bases(ending),
        ),
        validity="Sound, straight-grained wood, free to move, evenly moist before and after; boards differ.",
    )


def _sentence(start: float, ending: _End, width_m: float, change_m: float) -> str:
    if ending.between:
        return (
            f"At {start:g} % it lies between where drying and where gaining wood rests in that air: it may stay, or go "
            "part of the way to either. No figure of how far was found; the band reaches to both."
        )
    if start == ending.mc_pct:
        return f"It stays at {start:g} % {ending.told}: nothing moves, as far as both figures are known."
    way = "narrower" if change_m < 0 else "wider"
    at = f"From {start:g} % to {ending.mc_pct:.1f} % {ending.told}"
    return f"{at}, a width of {mm_from_m(width_m):g} mm comes out {_size(change_m)} mm {way}."


def _shrinkages(wood: Species) -> tuple[float, float]:
    if wood.shrinkage_radial_pct is None or wood.shrinkage_tangential_pct is None:
        raise BadInput("species", wood.label, "a timber whose shrinkage is in the tables; add it in a file of your own")
    return wood.shrinkage_radial_pct, wood.shrinkage_tangential_pct


@dataclass(frozen=True)
class _End:
    """The moisture at the end, how well it is known, and how it was given, in words."""

    mc_pct: float
    sd_mc_pct: float
    told: str
    between: bool = False  # between the curves of drying and of gaining wood: it may stay, or go part of the way


def _end(asked: Asked, wood: Species, start_pct: float) -> _End:
    if asked.given("to_mc_pct") and asked.given("to_rh_pct"):
        both = f"{asked.text('to_mc_pct')} %MC and {asked.text('to_rh_pct')} %RH"
        raise BadInput("moisture then", both, "the moisture or the air then, not both")
    if asked.given("to_mc_pct"):
        return _End(asked.number("to_mc_pct", "moisture then", *MC_PCT, "% MC"), 0.5, "moisture")
    if not asked.given("to_rh_pct"):
        raise BadInput("moisture then", "", "a moisture content, or the humidity of the air it will live in")
    rh = asked.number("to_rh_pct", "air then", 1, 97, "%RH")
    t = asked.or_else("to_temperature_c", "temperature then", sorption.LOWEST_C, 60, "°C", 20.0)
    told = f"moisture, where it rests in air of {rh:g} %RH and {t:g} °C"
    found = promise.rest(start_pct, promise.air_of(told, t, rh), wood.fsp_pct)
    return _End(found.mc_pct, found.sd_mc_pct, told, found.stays)


def _sizes(asked: Asked, wood: Species, angle: float, start: float, ending: _End, width: float) -> tuple[Line, ...]:
    radial, tangential = _shrinkages(wood)
    sd = asked.or_else("from_error_pct", "error of the moisture now", 0, 20, "% MC", 1.0)

    def shown(size_m: float, total_pct: float) -> str:
        low, middle, high = movement.change_band_m(
            size_m, total_pct, start, ending.mc_pct, sd, ending.sd_mc_pct, fsp_pct=wood.fsp_pct
        )
        return f"{_mm(middle)} mm ({_mm(low)} to {_mm(high)})"

    lines = [
        Line("The same width flat-sawn", shown(width, tangential)),
        Line("The same width quarter-sawn", shown(width, radial)),
    ]
    if asked.given("thickness_mm"):
        thickness = m_from_mm(asked.number("thickness_mm", "thickness", 0.5, 500, "mm"))
        total = float(movement.thickness_shrinkage_at_angle_pct(radial, tangential, angle))
        lines.append(Line("Thickness", shown(thickness, total)))
    if asked.given("length_mm"):
        length = m_from_mm(asked.number("length_mm", "length", 1, 10_000, "mm"))
        ends = movement.longitudinal_change_m(length, start, ending.mc_pct, wood.fsp_pct)
        least, most = (float(v) for v in ends)
        lines.append(
            Line("Length", f"{_mm(least)} to {_mm(most)} mm", "ten times as much in reaction or juvenile wood")
        )
    return tuple(lines)


def _handbook(wood: Species, width: float, angle: float, start: float, end: float) -> tuple[Line, ...]:
    low, high = movement.HANDBOOK_MC_PCT
    if not (low <= start <= high and low <= end <= high):
        return (Line("By the handbook's coefficient", "not for this", f"it holds from {low:g} to {high:g} % MC only"),)
    radial, tangential = _coefficients(wood)
    c = float(movement.shrinkage_at_angle_pct(100 * radial, 100 * tangential, angle)) / 100.0
    change = float(movement.handbook_change_m(width, c, start, end))
    held = wood.coefficient_tangential_per_pct is not None
    known = f"{wood.coefficient_source}, {wood.coefficient_status}" if held else "derived from the shrinkage"
    note = f"FPL-GTR-190, 2010, Equation 13-2; C = {c:.5f} per % MC of the size at 10 % MC ({known})"
    return (Line("By the handbook's coefficient", f"{_mm(change)} mm", note),)


def _coefficients(wood: Species) -> tuple[float, float]:
    radial, tangential = _shrinkages(wood)
    if wood.coefficient_radial_per_pct is not None and wood.coefficient_tangential_per_pct is not None:
        return wood.coefficient_radial_per_pct, wood.coefficient_tangential_per_pct
    return float(movement.handbook_coefficient(radial)), float(movement.handbook_coefficient(tangential))


def _cup(asked: Asked, wood: Species, width: float, angle: float, start: float, end: float) -> tuple[Line, ...]:
    if not asked.given("pith_mm"):
        return ()
    pith = m_from_mm(asked.number("pith_mm", "middle of the face to the pith", 1, 5000, "mm"))
    radial, tangential = _shrinkages(wood)
    cup = float(movement.cup_m(width, pith, angle, radial, tangential, start, end, wood.fsp_pct))
    side = "" if abs(mm_from_m(cup)) < 0.005 else f", hollow on the {'bark' if cup > 0 else 'pith'} side"
    return (
        Line(
            "Cup of a face that was flat",
            f"{_size(cup)} mm{side}",
            "free to move, evenly dry; drying from one side is not in it. Our own geometry.",
        ),
    )


def _joint(asked: Asked, wood: Species, across_pct: float, width: float, start: float, end: float) -> tuple[Line, ...]:
    if not asked.given("other_species", "other_grain"):
        return ()
    other = asked.species("other_species") if asked.given("other_species") else wood
    other_start = asked.or_else("other_from_mc_pct", "moisture of the other piece", *MC_PCT, "% MC", start)
    grain = asked.text("other_grain")
    if grain not in (ALONG, ACROSS):
        raise BadInput("grain of the other piece", grain, f"{ALONG} or {ACROSS}")
    if grain == ALONG:
        total = sum(movement.longitudinal_shrinkage_pct()) / 2.0
    else:
        turned = asked.or_else("other_ring_angle_deg", "rings of the other piece", 0, 90, "°", 90.0)
        total = float(movement.shrinkage_at_angle_pct(*_shrinkages(other), turned))
    ending = _end(asked, other, other_start)
    one = movement.GluedPiece(across_pct, start, end, wood.fsp_pct)
    two = movement.GluedPiece(total, other_start, ending.mc_pct, other.fsp_pct)
    apart = movement.joint_mismatch_m(width, one, two)
    half = math.hypot(*(_half_band_m(width, piece, ending.sd_mc_pct) for piece in (one, two)))
    which = "shorter" if apart < 0 else "longer"
    known = "" if other.shrinkage_status == "published" else f"; its shrinkage {other.shrinkage_status}"
    note = f"{mm_from_m(width):g} mm of joint; the glue line carries it as stress{known}"
    name = f"{wood.common_name} against {other.common_name} glued to it"
    return (Line(name, f"comes out {_size(apart)} ± {_size(half)} mm {which}", note),)


def _half_band_m(width: float, piece: movement.GluedPiece, end_sd_mc_pct: float) -> float:
    shrinkage, fsp = piece.shrinkage_along_joint_pct, piece.fsp_pct
    low, _middle, high = movement.change_band_m(
        width, shrinkage, piece.from_mc_pct, piece.to_mc_pct, 1.0, end_sd_mc_pct, fsp_pct=fsp
    )
    return (high - low) / 2.0


def _air_bases(ending: _End) -> tuple[Basis, ...]:
    """What the moisture at the end rests on when it was worked out from air."""
    if ending.told == "moisture":
        return ()
    gaining = bases_of("sorption", "adsorption_ratio", of="the share of the curve for wood that takes up water")
    return (*bases_of("sorption", "hh_c_molar"), *gaining)


def _stiffness(wood: Species, start: float, end: float) -> tuple[Line, ...]:
    if wood.moe_12_pa is None or wood.moe_green_pa is None:
        return (Line("Stiffness along the grain", "not known", "no value of this wood green and dry in the tables"),)
    before, after = (gpa_from_pa(float(stiffness.species_modulus_pa(wood, mc))) for mc in (start, end))
    spread = Z80 * stiffness.modulus_cv()
    statuses = dict.fromkeys(s for s in (wood.moe_status, wood.moe_green_status) if s != "published")
    status = f", its values {' and '.join(statuses)}" if statuses else ""
    note = f"mean of the species ± {spread:.0%} for one piece; FPL-GTR-282, 2021, Equation 5-3{status}"
    return (Line("Stiffness along the grain", f"{before:.1f} → {after:.1f} GPa", note),)


def _mm(length_m: float) -> str:
    shown = mm_from_m(length_m)
    return display.number(shown if abs(shown) >= 0.005 else 0.0, 2)


def _size(length_m: float) -> str:
    return _mm(abs(length_m))


def fill(yard: Any, typed: Mapping[str, str]) -> dict[str, str]:
    """Fill in a board's wood, sizes, cut and moisture now."""
    board = board_of(yard, typed)
    if board is None:
        return {}
    known = known_of(board)
    known["ring_angle_deg"] = f"{RING_ANGLE[board.fact.cut.value]:g}"
    made = board.projection
    if made is not None:
        mc, low, high = (float(band[now_index(made)]) for band in (made.mean.p50, made.mean.p10, made.mean.p90))
        known |= {"from_mc_pct": f"{mc:.1f}", "from_error_pct": f"{(high - low) / 2 / Z80:.2g}"}
    if not any(typed.get(key, "").strip() for key in ("to_mc_pct", "to_rh_pct")) and board.plan is not None:
        known["to_rh_pct"] = f"{board.plan.destination_rh_pct:g}"
        known["to_temperature_c"] = f"{board.plan.destination_temperature_c:g}"
    return known


QUESTION = Question(
    name="movement",
    title="How far will it move",
    lead="Shrinking and swelling, cup, and what two glued pieces want from each other, between two moistures or airs.",
    fields=FIELDS,
    answer=answer,
    fill=fill,
    wanted=("board", "species", "width_mm"),
)
