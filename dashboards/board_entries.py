"""Entries about a board's wood: what it is, where it lies, its weigh-ins, pin and oven-dry results."""

from __future__ import annotations

from typing import Any

from dashboards import board_history, display, entering, fields, instrument_entries, resting
from dashboards.entering import Connection, Entered, hand
from kiln import wood
from shared import tables
from shared.errors import BadInput
from shared.store import facts
from shared.store import records as r
from shared.store.records import SubjectKind
from shared.units import MS_PER_DAY, g_from_kg, kg_from_g, m_from_mm, mm_from_m

THICKNESS_MM = (1.0, 300.0)
WIDTH_MM = (5.0, 2000.0)
LENGTH_MM = (20.0, 10_000.0)
HEAVIEST_KG = 2000.0
PIN_MC_PCT = (4.0, 120.0)
DEFAULT_SCALE_SHARE = 0.001  # of the mass, when nobody said how good the scale is

# Ours, wide on purpose: species vary, boards are measured roughly, and wood lying in water loses substance.
LIGHTEST_SHARE, HEAVIEST_SHARE = 0.5, 1.25
SMALLEST_M3 = 2e-6  # smaller than the smallest brace: sizes typed in inches
JUMP_SHARE, JUMP_SHARE_PER_DAY, JUMP_SHARE_MOST = 0.12, 0.04, 0.6  # of the last mass; more is asked about. Ours


def add_board(
    connection: Connection,
    code: str,
    *,
    species: str,
    thickness_mm: str | float,
    width_mm: str | float,
    length_mm: str | float,
    cut: str,
    origin: str,
    by: str,
    now_ms: int,
    stack: str = "",
    place: str = "",
    name: str = "",
    note: str = "",
    true_at_ms: int | None = None,
) -> Entered:
    """Enter a board in these sizes (mm) and lay it in a stack or a place."""
    at = hand(connection, by, now_ms, true_at_ms)
    entering.checked_code(SubjectKind.BOARD, code)
    values = _board_values(name or code, species, thickness_mm, width_mm, length_mm, cut, origin, note)
    where, told = entering.location(connection, stack, place)
    made_board = entering.new_subject(connection, SubjectKind.BOARD, code)
    made = at.write(r.BoardFact, made_board, **values)
    at.write(r.BoardPosition, made_board, **where)
    return Entered(made_board, "board", made, f"Board {made_board.code} lies {told}.")


def correct_board(
    connection: Connection,
    code: str,
    *,
    species: str,
    thickness_mm: str | float,
    width_mm: str | float,
    length_mm: str | float,
    cut: str,
    origin: str,
    by: str,
    now_ms: int,
    name: str = "",
    note: str = "",
    supersedes: int | None = None,
) -> Entered:
    """Correct what a board is, for the whole time since it came into these sizes.

    What is corrected besides the thickness was as wrong before the board was planed or sawn, and after: it is
    corrected there too, where the same was said. The thickness of a board that was cut is what was left, so it is not
    corrected here.
    ``supersedes`` is the entry that the person was looking at; when someone else has corrected it
    meanwhile, Refused says so and nothing is overwritten.
    """
    board, newest = entering.board(connection, code)
    before = newest if supersedes is None else _looked_at(connection, board, supersedes)
    at = hand(connection, by, now_ms, before.true_at_ms)
    values = _board_values(name or code, species, thickness_mm, width_mm, length_mm, cut, origin, note)
    values |= board_history.same_sizes(before, values)
    board_history.refuse_other_thickness(connection, board, before.thickness_m, values["thickness_m"])
    board_history.refuse_grown(connection, board, before, values)
    made = at.write(r.BoardFact, board, supersedes=before.id, **values)
    board_history.correct_alike(at, before, facts.get(connection, r.BoardFact, made))
    return Entered(board, "board", made, f"Board {board.code} is corrected.")


def _looked_at(connection: Connection, board: r.Subject, fact_id: int) -> r.BoardFact:
    fact = facts.get(connection, r.BoardFact, fact_id)
    if fact.subject_id != board.id:
        raise BadInput("entry that was opened", fact_id, f"the number of an entry about board {board.code}")
    return fact


def _board_values(
    name: str,
    species: str,
    thickness_mm: str | float,
    width_mm: str | float,
    length_mm: str | float,
    cut: str,
    origin: str,
    note: str,
) -> dict[str, Any]:
    values = {
        "name": fields.text("name", name, entering.NAME_LENGTH, needed=True),
        "species": tables.find_species(species).botanical_name,
        "thickness_m": m_from_mm(fields.number("thickness", thickness_mm, *THICKNESS_MM, "mm")),
        "width_m": m_from_mm(fields.number("width", width_mm, *WIDTH_MM, "mm")),
        "length_m": m_from_mm(fields.number("length", length_mm, *LENGTH_MM, "mm")),
        "cut": fields.choice("cut", cut, r.Cut),
        "origin": fields.choice("origin", origin, r.Origin),
        "note": fields.text("note", note, entering.NOTE_LENGTH),
    }
    if values["thickness_m"] * values["width_m"] * values["length_m"] < SMALLEST_M3:
        sizes = f"{thickness_mm} × {width_mm} × {length_mm} mm"
        raise BadInput("sizes", sizes, "mm; that is less than 2 cm³ of wood: were they inches?")
    return values


def move_board(
    connection: Connection,
    code: str,
    *,
    by: str,
    now_ms: int,
    stack: str = "",
    place: str = "",
    true_at_ms: int | None = None,
) -> Entered:
    """Say in which stack or place a board lies from a moment on."""
    at = hand(connection, by, now_ms, true_at_ms)
    board, _fact = entering.board(connection, code)
    where, told = entering.location(connection, stack, place)
    rests = facts.standing(connection, r.BoardRest, board.id)
    positions = facts.standing(connection, r.BoardPosition, board.id)
    anew = " Say anew how it lies." if resting.rest_at(rests, positions, at.true_at_ms) else ""
    made = at.write(r.BoardPosition, board, **where)
    return Entered(board, "board-move", made, f"Board {board.code} lies {told}.{anew}")


def add_weigh_in(
    connection: Connection,
    code: str,
    *,
    by: str,
    now_ms: int,
    mass_g: str | float | None = None,
    mass_kg: str | float | None = None,
    scale_error_g: str | float | None = None,
    sure: bool = False,
    true_at_ms: int | None = None,
) -> Entered:
    """Enter a board's mass, in g or in kg, and the error of the scale in g (default: a thousandth of the mass).

    A mass that this wood in these sizes cannot have is refused, unless ``sure``.
    """
    at = hand(connection, by, now_ms, true_at_ms)
    board, fact = entering.board_at(connection, code, at.true_at_ms)
    mass = _mass_kg(mass_g, mass_kg)
    if not sure:
        _refuse_unbelievable(board.code, fact, mass)
        _refuse_jump(at, board, fact, mass)
    if scale_error_g is None or str(scale_error_g).strip() == "":
        error = mass * DEFAULT_SCALE_SHARE
    else:
        error = kg_from_g(fields.number("scale error", scale_error_g, 0.001, g_from_kg(mass), "g"))
    made = at.write(r.WeighIn, board, mass_kg=mass, scale_error_kg=error)
    return Entered(board, "weigh-in", made, f"Board {board.code} weighs {shown_mass(mass)}.")


def _mass_kg(mass_g: str | float | None, mass_kg: str | float | None) -> float:
    in_g, in_kg = (value is not None and str(value).strip() != "" for value in (mass_g, mass_kg))
    if in_g and in_kg:
        raise BadInput("mass", f"{mass_g} g and {mass_kg} kg", "grams or kilograms, not both")
    if in_kg:
        mass = fields.number("mass", mass_kg, 0.0, HEAVIEST_KG, "kg, above 0")
    else:
        mass = kg_from_g(fields.number("mass", mass_g, 0.0, g_from_kg(HEAVIEST_KG), "g, above 0"))
    if mass == 0.0:
        raise BadInput("mass", "0", "more than 0; an empty scale is not a weigh-in")
    return mass


def believable_mass_kg(fact: r.BoardFact) -> tuple[float, float]:
    """Return the least and the greatest mass in kg that a board of this timber and these sizes can have.

    From half the oven-dry mass by basic density to a quarter more than with every cell full of water.
    """
    basic = tables.held_species(fact.species).basic_specific_gravity
    oven_dry = wood.oven_dry_mass_kg(basic, fact.volume_m3)
    full = oven_dry * (1.0 + float(wood.maximum_mc_pct(basic)) / 100.0)
    return LIGHTEST_SHARE * oven_dry, HEAVIEST_SHARE * full


def _refuse_unbelievable(code: str, fact: r.BoardFact, mass_kg: float) -> None:
    low, high = believable_mass_kg(fact)
    if low <= mass_kg <= high:
        return
    why = "lighter than oven-dry wood" if mass_kg < low else "heavier than wood full of water"
    sizes = " × ".join(f"{mm_from_m(size):g}" for size in (fact.thickness_m, fact.width_m, fact.length_m))
    accepted = f"{shown_mass(low)} to {shown_mass(high)} for {fact.species} of {sizes} mm"
    advice = f"{shown_mass(mass_kg)} is {why}, so look again, or say that you are sure"
    raise BadInput(f"mass of {code}", shown_mass(mass_kg), f"{accepted}; {advice}")


def usual_mass_kg(before: r.WeighIn, was: r.BoardFact, fact: r.BoardFact, at_ms: int) -> tuple[float, float]:
    """Return the least and the greatest mass in kg that is entered without asking, after an earlier weigh-in.

    ``was``: the board in the sizes that it then had; ``fact``: in those that it has at ``at_ms`` (UTC ms).
    """
    expected_kg = before.mass_kg * fact.volume_m3 / was.volume_m3
    days = (at_ms - before.true_at_ms) / MS_PER_DAY
    share = min(JUMP_SHARE + JUMP_SHARE_PER_DAY * days, JUMP_SHARE_MOST)
    return expected_kg * (1.0 - share), expected_kg * (1.0 + share)


def _refuse_jump(at: entering.Hand, board: r.Subject, fact: r.BoardFact, mass_kg: float) -> None:
    """Ask about a mass far from the last: the wrong board on the scale is the commonest slip."""
    before = facts.at(facts.standing(at.connection, r.WeighIn, board.id), at.true_at_ms)
    if before is None:
        return
    was = facts.at(facts.standing(at.connection, r.BoardFact, board.id), before.true_at_ms) or fact
    low, high = usual_mass_kg(before, was, fact, at.true_at_ms)
    if low <= mass_kg <= high:
        return
    accepted = f"{shown_mass(low)} to {shown_mass(high)}, after {shown_mass(before.mass_kg)}"
    cut = " and what was cut off since" if fact.volume_m3 < was.volume_m3 else ""
    asked = f"{accepted} on {display.moment(before.true_at_ms)}{cut}; is this the right board?"
    raise BadInput(f"mass of {board.code}", shown_mass(mass_kg), f"{asked} If so, say that you are sure")


def shown_mass(mass_kg: float) -> str:
    """Return a mass as a refusal says it, in g below 10 kg, else in kg."""
    return f"{mass_kg:.2f} kg" if mass_kg >= 10 else f"{g_from_kg(mass_kg):.4g} g"


def add_pin_reading(
    connection: Connection,
    code: str,
    *,
    mc_pct: str | float,
    by: str,
    now_ms: int,
    depth_mm: str | float | None = None,
    temperature_c: str | float | None = None,
    meter: str = "",
    true_at_ms: int | None = None,
) -> Entered:
    """Enter a pin meter's figure (%MC as it was read) at a depth in mm, by default a quarter of the thickness.

    How warm the wood was (°C) and which calibrated meter read it correct the figure when it is used.
    """
    at = hand(connection, by, now_ms, true_at_ms)
    board, fact = entering.board_at(connection, code, at.true_at_ms)
    value = fields.number("pin reading", mc_pct, *PIN_MC_PCT, "%")
    warm = instrument_entries.wood_temperature_c(temperature_c)
    read_by = instrument_entries.meter_for(connection, meter, fact) if meter.strip() else None
    thickness_mm = mm_from_m(fact.thickness_m)
    if depth_mm is None or str(depth_mm).strip() == "":
        depth_mm = thickness_mm / 4
    depth = fields.number("depth of the pins", depth_mm, 0.0, thickness_mm / 2, "mm, half the thickness")
    values = {"mc_pct": value, "depth_m": m_from_mm(depth), "wood_temperature_c": warm, "meter_id": read_by}
    made = at.write(r.PinReading, board, **values)
    return Entered(board, "pin", made, f"Board {board.code} reads {value:g} % at {depth:.3g} mm.")


def add_oven_dry(
    connection: Connection,
    code: str,
    *,
    wet_g: str | float,
    dry_g: str | float,
    by: str,
    now_ms: int,
    true_at_ms: int | None = None,
) -> Entered:
    """Enter a section cut from a board at this moment: its mass in g wet, and after oven-drying."""
    at = hand(connection, by, now_ms, true_at_ms)
    board, _fact = entering.board_at(connection, code, at.true_at_ms)
    wet, dry = instrument_entries.section_kg(wet_g, dry_g)
    made = at.write(r.OvenDryResult, board, wet_mass_kg=wet, dry_mass_kg=dry)
    told = f"Board {board.code}: a section of {shown_mass(wet)} dried to {shown_mass(dry)}."
    return Entered(board, "oven-dry", made, told)
