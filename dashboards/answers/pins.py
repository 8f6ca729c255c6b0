"""What a pin reading is worth: corrected for temperature and lot, or beyond what pins can tell."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dashboards.answers.boards import board_of, known_of
from dashboards.answers.records import Answer, Asked, Line, Question, bases_of, options
from dashboards.pages.forms import Field, Option
from kiln import meters
from kiln.records import Z80
from shared.errors import BadInput
from shared.store.records import Origin
from shared.tables.instruments import pin_depths
from shared.units import m_from_mm

FIELDS = (
    Field("board", "A board of the yard", "board", hint="Fills in its wood and thickness."),
    Field("reading_pct", "Meter shows", "number", unit="%", spoken="pin reading"),
    Field("wood_c", "Wood at", "number", unit="°C", spoken="wood temperature"),
    Field(
        "scale_c",
        "Its scale is made for",
        "number",
        unit="°C",
        spoken="calibration temperature",
        hint="Empty: 21.1 °C, as most are; its manual says.",
    ),
    Field(
        "meter",
        "Calibrated on a lot",
        "meter",
        spoken="meter",
        hint="A meter of the yard; its offcuts correct the figure.",
    ),
    Field("species", "Wood", "species", spoken="species"),
    Field("thickness_mm", "Thickness", "number", unit="mm", spoken="thickness"),
    Field("depth_mm", "Depth of the pins", "number", unit="mm", spoken="depth of the pins"),
    Field("origin", "Came as", "choice", options=(Option("", "–"), *options(Origin)), spoken="origin"),
    Field("waited_s", "Read after", "number", unit="s", spoken="seconds until it was read"),
)


def answer(asked: Asked) -> Answer:
    """Answer it; raises BadInput naming what is missing or impossible."""
    meter = _meter(asked)
    thickness_mm = asked.maybe("thickness_mm", "thickness", 0.5, 300.0, "mm")
    pin = meters.Pin(
        reading_pct=asked.number("reading_pct", "pin reading", 1.0, 200.0, "%"),
        wood_temperature_c=asked.maybe("wood_c", "wood temperature", -40.0, 100.0, "°C"),
        calibration_temperature_c=_scale_c(asked, meter),
        thickness_m=None if thickness_mm is None else m_from_mm(thickness_mm),
        origin=asked.choice("origin", "origin", Origin, Origin.FRESH).value if asked.given("origin") else "",
        waited_s=asked.maybe("waited_s", "seconds until it was read", 0.0, 86_400.0, "s"),
    )
    lot = meter.lot if meter else None
    said = meters.read(pin, lot)
    spread = Z80 * said.error_mc_pct
    headline, band = _told(said, spread, minerals=pin.origin == Origin.RECLAIMED.value and lot is None)
    return Answer(
        headline=headline,
        band=band,
        sentence=_sentence(asked, said.censored),
        lines=(*_lines(asked, pin, lot), *_depth(asked, thickness_mm)),
        flags=said.flags,
        next_step=""
        if lot is not None
        else "Read two or three offcuts of this lot, oven-dry them, and enter them under Pin meters.",
        formula=(
            "reading + 0.5 % MC for every 5.6 °C that the wood is colder than the scale wants",
            *(("then the straight line through this lot's oven-dried offcuts",) if lot else ()),
        ),
        bases=(
            *bases_of("meters", "temperature_step_mc_pct", "at_most_mc_pct"),
            *bases_of("limits", "pin_at_least"),
            *bases_of("drying", "pin_bias_mc_pct", "pin_noise_mc_pct"),
        ),
        validity="6 to 25 % MC and 0 to 50 °C; below only “at most”, from 27 % “at least”: not data.",
    )


def _told(said: meters.PinAnswer, spread: float, *, minerals: bool) -> tuple[str, str]:
    """The figure and its band; in wood from the water a reading is the most that it can be."""
    if minerals and said.censored == meters.AT_LEAST:
        return "tells nothing", "minerals from the water can make any wood read so"
    if minerals and not said.censored:
        return f"at most {said.mc_pct + spread:.1f} % MC", "minerals from the water make pins read too wet"
    if said.censored:
        return f"{said.censored} {said.mc_pct:.1f} % MC", "beyond what pins can tell"
    return f"{said.mc_pct:.1f} % MC", f"± {spread:.1f} holds eight in ten"


def _meter(asked: Asked) -> Any | None:
    if not asked.given("meter"):
        return None
    held = {one.subject.code.lower(): one for one in getattr(asked.yard, "meters", ())}
    if asked.text("meter").lower() not in held:
        raise BadInput("meter", asked.text("meter"), ", ".join(held) or "none yet: enter one under Pin meters")
    found = held[asked.text("meter").lower()]
    if asked.given("species") and asked.species().botanical_name != found.fact.species:
        accepted = f"a meter calibrated on that wood; this one was on {found.fact.species}"
        raise BadInput("meter", found.subject.code, accepted)
    return found


def _scale_c(asked: Asked, meter: Any | None) -> float | None:
    if asked.given("scale_c") or meter is None:
        return asked.maybe("scale_c", "calibration temperature", 0.0, 50.0, "°C")
    return float(meter.fact.calibration_temperature_c)


def _sentence(asked: Asked, censored: str) -> str:
    if censored:
        return "Weigh it and oven-dry a section, or do a bag test."
    where = (
        "at the depth of the pins" if not asked.given("depth_mm") else f"at {asked.text('depth_mm')} mm below the face"
    )
    return f"That is the wood {where}, between the two pins; it says nothing of the rest."


def _lines(asked: Asked, pin: meters.Pin, lot: meters.LotCalibration | None) -> tuple[Line, ...]:
    lines = []
    if pin.wood_temperature_c is not None:
        warm = float(
            meters.temperature_corrected_pct(pin.reading_pct, pin.wood_temperature_c, pin.calibration_temperature_c)
        )
        lines.append(
            Line("Corrected for temperature", f"{warm:.1f} %", f"{warm - pin.reading_pct:+.1f} % as the wood is")
        )
    if asked.given("species"):
        wood = asked.species()
        lines.append(Line(f"Correction for {wood.common_name}", "none", meters.NO_SPECIES_CORRECTION))
    if lot is not None:
        lines.append(Line("This lot", f"{lot.pairs} offcut{'s' if lot.pairs > 1 else ''}", lot.sentence))
    return tuple(lines)


def _depth(asked: Asked, thickness_mm: float | None) -> tuple[Line, ...]:
    told = [
        Line(
            f"Pins at {one.name}",
            f"{one.low_share:g}–{one.high_share:g} of the thickness",
            f"{one.sentence} {one.source} ({one.status})",
        )
        for one in pin_depths()
    ]
    if not asked.given("depth_mm") or thickness_mm is None:
        return tuple(told)
    depth = asked.number("depth_mm", "depth of the pins", 0.0, thickness_mm, "mm, within the thickness")
    named = meters.convention_of(m_from_mm(depth), m_from_mm(thickness_mm))
    mine = Line(
        "Yours",
        f"{depth / thickness_mm:.2f} of the thickness",
        f"that is {named}" if named else "neither convention: say the depth with the figure",
    )
    return (
        mine,
        *told,
        Line("Keep them apart", "one depth in a series", "a reading at 0.3 lies above one at 1/4 in drying wood"),
    )


def fill(yard: Any, typed: Mapping[str, str]) -> dict[str, str]:
    """Fill in a board's wood, thickness and origin."""
    board = board_of(yard, typed)
    if board is None:
        return {}
    known = known_of(board)
    return {key: known[key] for key in ("species", "thickness_mm", "origin")}


QUESTION = Question(
    name="pins",
    title="Pin meter",
    lead="What a pin reading is worth: corrected for temperature and lot, or beyond what pins can tell.",
    fields=FIELDS,
    answer=answer,
    fill=fill,
    wanted=("reading_pct",),
)
