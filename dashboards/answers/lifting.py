"""What a board, a log or a stack weighs before anybody lifts it, soaked or as wet as it is."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dashboards import display, full_of_water, heavy
from dashboards.answers.boards import board_of, known_of, thing_of
from dashboards.answers.records import Answer, Asked, Basis, Line, Question, bases_of, remembered
from dashboards.pages.forms import Field
from kiln import sawing
from kiln.evidence import now_index
from kiln.records import Z80
from kiln.sawing import Mass
from kiln.sentences import capital
from shared.errors import BadInput
from shared.tables import Species, constants, species
from shared.units import m_from_mm

SIZES = (("thickness", 0.5, 1500.0), ("width", 5.0, 2000.0), ("length", 20.0, 20_000.0))
MOST_PIECES = 5000
KG, WET = "kg", "% MC"

FIELDS = (
    Field("board", "A board or log of the yard", "board", hint="Fills in what is known of it."),
    Field("stack", "or a stack", "stack", hint="Adds up its boards; nothing else is needed then."),
    Field("species", "Wood", "species", spoken="species"),
    Field("thickness_mm", "Thickness", "number", unit="mm", spoken="thickness"),
    Field("width_mm", "Width", "number", unit="mm", spoken="width"),
    Field("diameter_mm", "or a log: across its middle", "number", unit="mm", spoken="diameter", hint="Without bark."),
    Field("length_mm", "Length", "number", unit="mm", spoken="length"),
    Field(
        "mc_pct",
        "Moisture",
        "number",
        unit="%MC",
        spoken="moisture content",
        hint="Empty: as it comes out of the water after decades, nearly full.",
    ),
    Field("mc_error_pct", "known to ±", "number", unit="%MC", spoken="error of the moisture", hint="Empty: 0."),
    Field("pieces", "How many alike", "number", unit="", spoken="how many", hint="Empty: one."),
)


def answer(asked: Asked) -> Answer:
    """Answer it; raises BadInput naming what is missing or impossible."""
    stack = thing_of(asked.yard.stacks, "stack", asked.typed) if asked.yard is not None else None
    return _of_stack(stack, asked.yard.now_ms) if stack is not None else _of_piece(asked)


def _of_piece(asked: Asked) -> Answer:
    wood = asked.species()
    volume = _volume_m3(asked)
    mc = asked.maybe("mc_pct", "moisture content", 0.0, 300.0, WET)
    error = asked.or_else("mc_error_pct", "error of the moisture", 0.0, 100.0, WET, 0.0)
    pieces = round(asked.or_else("pieces", "how many", 1, MOST_PIECES, "pieces", 1))
    one = sawing.mass(volume, wood, mc, error)
    full = sawing.full_of_water_kg(volume, wood)
    wet = f"{one.mc_pct[1]:.0f} % ({one.mc_pct[0]:.0f}–{one.mc_pct[2]:.0f})"
    return Answer(
        headline=f"{_kg(one.kg[1])}{' each' if pieces > 1 else ''}",
        band=f"{_band(one.kg)} holds eight in ten",
        sentence=f"{wood.common_name}, {volume:.3g} m³, at {wet} moisture: {one.density_kg_m3:.0f} kg/m³. "
        f"{_heavier_than_water(one)}Mud, bark and metal come on top.",
        lines=(
            *((Line(f"{pieces} together", _band(tuple(pieces * kg for kg in one.kg)), ALIKE),) if pieces > 1 else ()),
            Line("Net volume" if pieces == 1 else f"Net volume of {pieces}", display.volume(pieces * volume), NET),
            Line("With every cavity full of water", _kg(full), "the most that sound wood of its mean density weighs"),
            *_guides(),
        ),
        flags=(*_flags(one, wood), *_too_heavy(asked)),
        next_step=_handling(one.kg[2]),
        formula=(
            "mass = volume × 1000 G (1 + u/100) / (1 − S(u)/100): G basic gravity, u water",
            "full of water: u = 100 (1.54 − G) / (1.54 G); soaked for decades: about nine tenths of that",
        ),
        bases=_bases(wood, soaked=mc is None),
        validity="Solid wood at its sizes now. A log by the diameter at half its length (common practice).",
        topics=("heavy-boards",),
    )


def _too_heavy(asked: Asked) -> tuple[str, ...]:
    """Of a board of the yard, that it was weighed heavier than sound wood can be."""
    board = board_of(asked.yard, asked.typed) if asked.yard is not None else None
    told = full_of_water.remark(board.fact, board.weigh_ins) if board is not None else ""
    return (f"{capital(told)}.",) if told else ()


NET = "at these sizes; the trade may count a board at the sizes it was sawn to (common practice, no source)"
ALIKE = "as if all were light, or all heavy, together"


def _of_stack(stack: Any, now_ms: int) -> Answer:
    """Add up the boards of a stack, each as it was weighed or as wet as it is projected, or soaked where it may be."""
    found = heavy.of_stack(stack, now_ms)
    if found is None:
        raise BadInput("stack", stack.subject.code, "a stack with boards in it")
    whole, boards = found.mass, stack.boards
    if whole.kg is None or found.heaviest is None:
        raise BadInput("stack", stack.subject.code, f"a stack of which something can be said: {whole.how}")
    scale = max(stack.fact.boards_in_all or 0, len(boards)) / len(boards)
    heaviest = heavy.of_board(found.heaviest, now_ms)
    woods = [one for name in dict.fromkeys(board.fact.species for board in boards) if (one := species().get(name))]
    return Answer(
        headline=_kg(whole.kg[1]),
        band=f"{_band(whole.kg)}, {ALIKE}{f'; up to {_kg(whole.most_kg)} if still soaked' if whole.soaked else ''}",
        sentence=f"{stack.fact.name}: {found.counted}. Stickers, roof and weights come on top.",
        lines=(
            Line("Net volume", display.volume(scale * _volume_of(stack)), NET),
            Line("Its heaviest board", f"up to {_kg(heaviest.most_kg)}", f"{found.heaviest.fact.name}: {heaviest.how}"),
            *_guides(),
        ),
        flags=(*_flags(None, *woods), *((f"{capital(whole.doubt)}.",) if whole.doubt else ())),
        next_step=_handling(heaviest.most_kg),
        formula=("mass = Σ volume × 1000 G (1 + u/100) / (1 − S(u)/100), over its boards; a weighed one as it weighs",),
        bases=(
            *(basis for wood in woods for basis in _bases(wood, soaked=True)[:1]),
            *(_bases(woods[0], soaked=True)[1:] if woods else ()),
        ),
        validity="Boards at the sizes entered, as they were weighed and dried since, or as wet as they are projected; "
        "where nothing is projected, as they came.",
        topics=("heavy-boards",),
    )


def _volume_of(stack: Any) -> float:
    return float(sum(board.fact.volume_m3 for board in stack.boards))


def _volume_m3(asked: Asked) -> float:
    length = m_from_mm(asked.number("length_mm", *SIZES[2], "mm"))
    if asked.given("diameter_mm"):
        return sawing.log_volume_m3(m_from_mm(asked.number("diameter_mm", "diameter", 20.0, 3000.0, "mm")), length)
    thickness, width = (m_from_mm(asked.number(f"{name}_mm", name, low, high, "mm")) for name, low, high in SIZES[:2])
    return thickness * width * length


def _heavier_than_water(one: Mass) -> str:
    if one.density_kg_m3 > 1000.0:
        return "That is heavier than water: it sinks. "
    return ""


def _handling(kg: float) -> str:
    table = constants("reclaimed")
    if kg >= table["lift_least"].value:
        return (
            f"Use gear: a hoist, a loader, or enough people with straps. It may weigh {_kg(kg)}; weigh one first. "
            "Your local rules decide."
        )
    return "No weight is called free of harm: a wet board is long and slippery. Your local rules decide."


def _guides() -> tuple[Line, ...]:
    least, most, constant = (constants("reclaimed")[name] for name in ("lift_least", "lift_most", "lift_constant"))
    return (
        Line(
            "One public guide wants a closer look from",
            f"{least.value:g} to {most.value:g} kg on",
            f"HSE INDG143, {least.status}: close to the body, between knuckle and elbow height, the less for women",
        ),
        Line(
            "Another takes as the most, under ideal conditions",
            f"{constant.value:g} kg",
            f"NIOSH 94-110, 1994, {constant.status}; a long wet board is never ideal",
        ),
    )


def _flags(one: Mass | None, *woods: Species) -> tuple[str, ...]:
    full = one is not None and one.mc_pct[1] >= 1.0 and one.density_kg_m3 > 1000.0
    return (
        *(("Weigh one before you trust this: the water it holds is the greater part of it.",) if full else ()),
        *remembered(
            *((f"The basic density of {wood.common_name}", wood.basic_source, wood.basic_status) for wood in woods)
        ),
    )


def _bases(wood: Species, *, soaked: bool) -> tuple[Basis, ...]:
    gravity = f"basic specific gravity of {wood.label}, {wood.basic_specific_gravity:g}: {wood.basic_source}"
    return (
        Basis(gravity, wood.basic_status),
        Basis("Wood Handbook FPL-GTR-282, 2021, Equations 4-3, 4-11 and 4-14", "published"),
        *bases_of("wood", "basic_board_cv"),
        *(bases_of("drying", "reclaimed_mc") if soaked else ()),
        *bases_of("reclaimed", "lift_least", "lift_constant"),
    )


def _kg(kg: float) -> str:
    return f"{kg:.0f} {KG}" if kg >= 10.0 else display.with_unit(kg, KG)


def _band(kg: tuple[float, ...]) -> str:
    low, high = (f"{one:.0f}" if kg[2] >= 10.0 else f"{one:.1f}" for one in (kg[0], kg[2]))
    return f"{low}–{high} {KG}"


def fill(yard: Any, typed: Mapping[str, str]) -> dict[str, str]:
    """Fill in a board's wood, sizes and moisture now."""
    board = board_of(yard, typed)
    if board is None:
        return {}
    known = {key: value for key, value in known_of(board).items() if key != "origin"}
    if board.projection is not None and not str(typed.get("mc_pct") or "").strip():
        now = now_index(board.projection)
        mean = board.projection.mean
        known["mc_pct"] = f"{mean.p50[now]:.1f}"
        known["mc_error_pct"] = f"{(mean.p90[now] - mean.p10[now]) / 2 / Z80:.2g}"
    return known


QUESTION = Question(
    name="lifting",
    title="What does it weigh",
    lead="A board, a log or a stack before anybody lifts it: soaked from the water, or as wet as it is.",
    fields=FIELDS,
    answer=answer,
    fill=fill,
    wanted=("board", "stack", "species"),
)
