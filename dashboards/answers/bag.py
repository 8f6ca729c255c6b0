"""The bag test: a piece and a checked hygrometer, sealed in; how long to wait, and what the figure means."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dashboards import display
from dashboards.answers.boards import board_of, known_of
from dashboards.answers.records import Answer, Asked, Basis, Line, Question, bases_of, options, remembered
from dashboards.pages.forms import Field
from kiln import bag, sorption, wood
from kiln.records import Z80
from shared import tables
from shared.store.records import LastMoved
from shared.tables import Species, limit
from shared.units import g_from_kg, m3_from_l, m_from_mm

WENT = {
    LastMoved.DRIED.value: "it has been drying",
    LastMoved.GAINED.value: "it has been taking up water",
    LastMoved.UNKNOWN.value: "nobody knows",
}
ROUGH_MC_PCT = 10.0  # for the waiting time, before anything was read

WENT_OPTIONS = options(LastMoved, WENT)[::-1]
ROUGHLY = "this needs no curve and no mark on the wood"

FIELDS = (
    Field("board", "A board of the yard", "board", hint="Fills in what is known of it."),
    Field("species", "Wood", "species", spoken="species"),
    Field("thickness_mm", "Thickness", "number", unit="mm", spoken="thickness"),
    Field("width_mm", "Width", "number", unit="mm", spoken="width", hint="Empty: 200 mm."),
    Field("length_mm", "Length", "number", unit="mm", spoken="length", hint="Empty: 500 mm."),
    Field("bag_l", "Air in the bag", "number", unit="l", spoken="air in the bag", hint="Press it out: a litre or two."),
    Field("start_rh_pct", "Air sealed in", "number", unit="%RH", spoken="humidity at the start", hint="Empty: 50."),
    Field("temperature_c", "Temperature", "number", unit="°C", spoken="temperature", hint="Of the bag. Empty: 20 °C."),
    Field(
        "rh_pct",
        "In the bag it reads",
        "number",
        unit="%RH",
        spoken="humidity in the bag",
        hint="Empty: how long to wait.",
    ),
    Field(
        "rh_error_pct",
        "The hygrometer is known to ±",
        "number",
        unit="%RH",
        spoken="error of the hygrometer",
        hint="One standard error. Empty: 3, never checked.",
    ),
    Field("waited_h", "After", "number", unit="h", spoken="hours in the bag"),
    Field(
        "last_moved", "Before that", "choice", options=options(LastMoved, WENT)[::-1], spoken="which way it last went"
    ),
)


def answer(asked: Asked) -> Answer:
    """Answer it; raises BadInput naming what is missing or impossible."""
    timber = asked.species()
    piece = _piece(asked, timber)
    read = asked.maybe("rh_pct", "humidity in the bag", 0.0, 100.0, "%RH")
    if read is None:
        return _wait(timber, piece)
    error = asked.or_else("rh_error_pct", "error of the hygrometer", 0.1, 20.0, "%RH", limit("unchecked_hygrometer"))
    went = asked.choice("last_moved", "which way it last went", LastMoved, LastMoved.UNKNOWN)
    said = bag.mc_from_bag(read, piece.temperature_c, error, went.value, timber.fsp_pct)
    wait = bag.wait_hours(piece, timber, max(said.mc_pct, 1.0))
    waited = asked.maybe("waited_h", "hours in the bag", 0.1, 10_000.0, "h")
    at_least = "at least " if said.at_least else ""
    if waited is not None and waited < wait.faces_hours:
        return _too_soon(timber, waited, wait)
    return Answer(
        headline=f"{at_least}{said.mc_pct:.1f} % MC",
        band=f"± {Z80 * said.error_mc_pct:.1f} holds eight in ten",
        sentence=f"{_reach(waited, wait)} "
        f"In air of {read:.0f} %RH at {piece.temperature_c:g} °C it neither gains nor loses.",
        lines=(
            Line(
                "Its own humidity", f"{read:.1f} ± {Z80 * error:.1f} %RH", "this needs no curve and no mark on the wood"
            ),
            *_uses(read, error),
            Line("Faces have made the air after", f"{wait.faces_hours:.1f} h"),
            Line(
                "It is even through its thickness after",
                f"{wait.even_hours[1]:.0f} h ({wait.even_hours[0]:.0f}–{wait.even_hours[2]:.0f})",
            ),
            Line(
                "Water that the bag drew from it",
                display.with_unit(g_from_kg(bag.water_drawn_kg(piece, read)), "g", 2),
                f"{display.number(bag.drawn_mc_pct(piece, read), 2)} % MC of the piece",
            ),
        ),
        flags=(*_flags(timber), *bag.flags(piece, read)),
        formula=(
            "MC = EMC(T, RH) of the printed curve if it last dried, 0.85 of it if it last gained, else between",
            "error² = (slope · hygrometer)² + (curve, 1 %)² + (which branch)²",
        ),
        bases=_bases(timber),
        validity=f"2 to {sorption.NEAR_SATURATION_RH_PCT:g} %RH; a bag that lets no vapour through; "
        "the hygrometer off the wood.",
    )


def _piece(asked: Asked, timber: Species) -> bag.Bag:
    thickness = m_from_mm(asked.number("thickness_mm", "thickness", 0.5, 300, "mm"))
    width = m_from_mm(asked.or_else("width_mm", "width", 5, 2000, "mm", 200.0))
    length = m_from_mm(asked.or_else("length_mm", "length", 20, 10_000, "mm", 500.0))
    return bag.Bag(
        dry_mass_kg=wood.oven_dry_mass_kg(timber.basic_specific_gravity, thickness * width * length),
        thickness_m=thickness,
        face_area_m2=2.0 * width * length,
        air_volume_m3=m3_from_l(asked.or_else("bag_l", "air in the bag", 0.05, 2000, "litres", 2.0)),
        temperature_c=asked.or_else("temperature_c", "temperature", 2.0, 45.0, "°C", 20.0),
        start_rh_pct=asked.or_else("start_rh_pct", "humidity at the start", 0.0, 100.0, "%RH", 50.0),
    )


def _wait(timber: Species, piece: bag.Bag) -> Answer:
    wait = bag.wait_hours(piece, timber, ROUGH_MC_PCT)
    low, middle, high = wait.even_hours
    return Answer(
        headline=f"wait {middle:.0f} h" if middle >= 1 else "wait an hour",
        band=f"{low:.0f}–{high:.0f} h holds eight in ten",
        sentence=wait.sentence,
        flags=_flags(timber),
        next_step="Seal it in with a checked hygrometer, away from sun and stove; "
        "write down %RH and °C when both stand still.",
        formula=("τ = L² / (4 π² D), three of them; L the thickness, D the diffusion of this wood at this moisture",),
        bases=_bases(timber),
        validity="A bag that lets no vapour through, at one temperature.",
    )


def _uses(rh_pct: float, error_rh_pct: float) -> list[Line]:
    """How its own humidity stands to the air that each use is meant for: no curve comes between."""
    lines = []
    for use in tables.uses().values():
        apart, half = rh_pct - use.destination_rh_pct, Z80 * error_rh_pct
        told = f"{abs(apart):.0f} ± {half:.0f} %RH {'wetter' if apart > 0 else 'drier'} than its air"
        word = "at rest there, as far as this tells" if abs(apart) <= half else "it would still move there"
        lines.append(Line(f"{use.label}, {use.destination_rh_pct:g} %RH", told, word))
    return lines


def _too_soon(timber: Species, waited: float, wait: bag.Wait) -> Answer:
    faces, mean = wait.faces_hours, wait.even_hours[2]
    return Answer(
        headline="too soon",
        band=f"closed for {waited:g} h, where its faces need {faces:.1f} h to make the air",
        sentence="What it reads is still the air that was sealed in: it tells nothing of the wood.",
        next_step=f"Leave it closed: it tells of the faces from {faces:.1f} h on, of the mean after {mean:.0f} h.",
        formula=("τ = L² / (4 π² D), three of them; L the thickness, D the diffusion of this wood at this moisture",),
        bases=_bases(timber),
        validity="A bag that lets no vapour through, at one temperature.",
    )


def _reach(waited: float | None, wait: bag.Wait) -> str:
    if waited is None:
        return "If it was closed long enough, that is the mean of the piece; before, that of its faces."
    return (
        "That is the mean of the piece."
        if waited >= wait.even_hours[2]
        else (
            "That is its faces, perhaps the mean."
            if waited >= wait.even_hours[0]
            else "That is its faces, not the mean."
        )
    )


def _flags(timber: Species) -> tuple[str, ...]:
    saturation = f"The fibre saturation of {timber.common_name}, {timber.fsp_pct:g} %,"
    return remembered((saturation, timber.fsp_source, timber.fsp_status))


def _bases(timber: Species) -> tuple[Basis, ...]:
    return (
        *bases_of("sorption", "hh_c_molar", "adsorption_ratio", "emc_standard_error_mc_pct"),
        Basis(f"fibre saturation of {timber.common_name}: {timber.fsp_source}", timber.fsp_status),
        *bases_of("bag", "hygrometer_settles_s", "drawn_limit_mc_pct"),
        Basis("diffusion by kind of wood: see How", "from memory"),
    )


def fill(yard: Any, typed: Mapping[str, str]) -> dict[str, str]:
    """Fill in a board's wood and sizes."""
    board = board_of(yard, typed)
    return {} if board is None else known_of(board)


QUESTION = Question(
    name="bag-test",
    title="Bag test",
    lead="Sealed in a bag, the wood makes the air: how long to wait, and how wet it is, without a mark on it.",
    fields=FIELDS,
    answer=answer,
    fill=fill,
    wanted=("board", "species", "rh_pct", "thickness_mm"),
)
