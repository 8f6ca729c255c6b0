"""How each number is worked out: the formula, its range, and every constant with its source."""

from __future__ import annotations

from dataclasses import dataclass, field

from dashboards import display
from dashboards.pages.how_ahead import AHEAD
from dashboards.pages.how_movement import MOVEMENT
from dashboards.pages.how_room import ROOM
from dashboards.pages.how_verdicts import VERDICTS
from dashboards.pages.method import Method
from shared import tables


@dataclass(frozen=True)
class Constant:
    """A published or judged value that the program uses."""

    name: str = field(metadata={"help": "Its name in the table"})
    value: str = field(metadata={"help": "Value and unit"})
    source: str = field(metadata={"help": "Where it stands"})
    status: str = field(metadata={"help": "How it is known"})


@dataclass(frozen=True)
class HowPage:
    """Everything that how.html may use."""

    methods: tuple[Method, ...] = field(metadata={"help": "How each number comes about"})
    uses: tuple[tables.Use, ...] = field(metadata={"help": "The uses with their limits"})
    constants: dict[str, tuple[Constant, ...]] = field(metadata={"help": "Every constant, by table"})


METHODS = (
    Method(
        "emc",
        "EMC: where the air would bring the wood",
        "EMC = (1800 / W) · [ K·h / (1 − K·h) + (K₁·K·h + 2·K₁·K₂·K²·h²) / (1 + K₁·K·h + K₁·K₂·K²·h²) ]",
        (
            "h is the relative humidity as a fraction; W, K, K₁ and K₂ are quadratics of the temperature.",
            "One curve for all woods: a single timber, and wood that was wetter before, lies up to about 2 % MC "
            "beside it.",
            "A humidity probe that nobody has checked against a saturated salt may be several %RH off; the band shown "
            "beside an EMC carries that. From 98 %RH on the figure is “at least”.",
            "About ± 1 % MC is the best that any EMC formula can promise.",
        ),
        "Wood Handbook FPL-GTR-282, 2021, Equation 4-5",
    ),
    Method(
        "moisture",
        "Moisture from a weigh-in",
        "MC = 100 · (m − m₀) / m₀",
        (
            "m is the mass on the scale, m₀ the oven-dry mass of the same board, which nobody knows exactly.",
            "m₀ begins as basic density times volume and is sharpened by every weigh-in, pin reading and "
            "oven-dried section.",
            "Weight loss in % is not moisture content in %: this is always % of oven-dry mass.",
        ),
        "definition; Wood Handbook FPL-GTR-282, 2021, chapter 4",
    ),
    Method(
        "projection",
        "The projection of a board",
        "∂u/∂t = ∂/∂x ( D(u, T) · ∂u/∂x )",
        (
            "Moisture moves through the thickness, from face to face, driven hour by hour by the air logged where "
            "the board "
            "lay. The board takes its history with it when it is moved.",
            "Many boards with slightly different properties are carried along; those that agree with what was "
            "measured count. "
            "The band holds 8 in 10 of them: one in ten lies below it, one in ten above. It narrows when the board is "
            "weighed and widens over time without news.",
            "Ahead of now the air is that of earlier years and weeks in the same place, so the date "
            "has a band too. Checks and warp are not in it.",
        ),
        "Fick's law in one dimension, finite volumes; checked against Crank, The Mathematics of Diffusion, 1975",
    ),
    *AHEAD,
    *MOVEMENT,
    Method(
        "lying",
        "How a board lies, and what was cut off it",
        "flux = β · (a · p_sat − p_air), through film, coat, wrap and the stack's air one behind the other",
        (
            "The film of air at a face is a usual one for the kind of place; with a measured air speed, or at the edge "
            "or in the middle of a stack, it is that of a flat plate, and in the middle the air that the other boards "
            "have made stands before it. On a bench one face gives nothing. In plastic or a case the board makes its "
            "own air. Sun warms a board that lies free or on top, by a usual clearness of the sky.",
            "Open edges and ends make the whole board drier than its middle. Mean is that of the whole, as a scale has "
            "it; shell, core, the drawing through the thickness and the chance of being fit are those of the middle.",
            "A planed or sawn board goes on from the water that its part had: weigh-ins of before the cut count too, "
            "by the sizes of then, which are taken to be known to 2 %. A ripped, cross-cut or trimmed piece keeps one "
            "dry edge or end and has a fresh one; a sawn end is open until it is said to be sealed.",
            "All of these are usual figures with a wide spread; weigh-ins teach how the very board fares.",
        ),
        "films: Incropera and DeWitt (from memory); edges and ends: ours, held to finite elements in two dimensions",
    ),
    Method(
        "shell",
        "Shell and core",
        "",
        (
            "Shell is the outer tenth of the thickness at each face, core the middle third, both in the middle of the "
            "board's length and width."
            " The difference between them is what moves a board after it is cut.",
        ),
        "our choice",
    ),
    *VERDICTS,
    Method(
        "known-by",
        "Known by: what READY rests on",
        "",
        (
            "Much that is believed of a wood beforehand (how dense it is, how fast water moves in it, where its cell "
            "wall is full) was never read in print by anybody here: it stands in the tables as from memory. Such "
            "figures alone never make a verdict READY.",
            "Within the last month there must be a pin reading or an oven-dried section, or a bag test; or weigh-ins "
            "over the steady days of the use that differ by half a % at most: wood that keeps its weight is at rest in "
            "its air, and then that air's hygrometer must have been checked. Where the saturation point itself is "
            "remembered, only a bag test or wood at rest will do.",
        ),
        "our choice",
    ),
    Method(
        "hygrometer",
        "Checks of a hygrometer",
        "true = offset + gain · read",
        (
            "What it read over one or two saturated salts gives the line; from the moment of the check on every "
            "reading is corrected when it is looked at, and its error told. What the probe sent is kept as it came.",
            "A check counts for a year, its error growing meanwhile. How wrong the hygrometer may be is one of the "
            "unknowns of every projection: an unchecked one makes bands wider.",
        ),
        "L. Greenspan, Journal of Research of the National Bureau of Standards 81A, 89, 1977; the rest our choice",
    ),
    Method(
        "bag-test",
        "Bag test",
        "EMC of the bag's air, times this piece's own scale",
        (
            "A piece shut in a bag makes the humidity of the bag's air itself. After some hours that tells of its "
            "faces, after days of its mean; which, the thickness and the wood decide.",
            "On which branch of its sorption loop the wood stands is not seen: one that has been drying counts by the "
            "printed curve, one that has been gaining by 0.85 of it, else between, with the difference in its error.",
        ),
        "Wood Handbook FPL-GTR-282, 2021, Equation 4-5; 0.85 from memory",
    ),
    Method(
        "pins",
        "Pin readings",
        "MC = reading + 0.5 · (scale's temperature − wood's temperature) / 5.6 °C, then the lot's own line",
        (
            "A reading counts at its depth, with the bias of a meter that nobody has calibrated for this wood, one "
            "bias for all readings of a board. Oven-dried offcuts of the lot take most of that away.",
            "Below 6 % it only says “at most”, from 27 % “at least”. In wood from the water salt and minerals make it "
            "read too wet.",
        ),
        "Wood Handbook FPL-GTR-190, 2010, chapter 13; FPL-GTR-6, 1988",
    ),
    Method(
        "dew-point",
        "Dew point and wet bulb",
        "p_s(dew point) = h · p_s(t)",
        (
            "p_s is the saturation pressure of water vapour, h the relative humidity as a fraction, t the dry-bulb "
            "temperature.",
            "The temperature at which this air would begin to wet a surface. Surfaces are often colder than the air: "
            "the gap shown is to the air.",
            "The wet bulb is that of a wetted thermometer in a draught, at the standard pressure of the place's height "
            "above the sea.",
        ),
        "ASHRAE Handbook Fundamentals, 2017, chapter 1",
    ),
    *ROOM,
    Method(
        "probes",
        "Silent and stuck probes",
        "",
        (
            "Silent: nothing good for the time set in silent_after_minutes. Stuck: the same figure, to the last "
            "digit, hour "
            "after hour. Neither counts as air; what it said is kept.",
            "A value outside what a workshop probe can measure, or stamped later than it arrived, is "
            "kept with a flag and "
            "not used.",
        ),
        "our choice",
    ),
)


CONSTANTS = (
    ("Limits", "limits"),
    ("Stated chances", "chance"),
    ("Sorption", "sorption"),
    ("Drying", "drying"),
    ("Lots", "lots"),
    ("Wood", "wood"),
    ("Movement", "promise"),
    ("Plateau", "plateau"),
    ("Strength", "strength"),
    ("Hygrometers", "hygrometers"),
    ("Pin meters", "meters"),
    ("Bag test", "bag"),
    ("Oven-drying", "oven_dry"),
    ("Density audit", "audit"),
    ("Vapour of a finish", "fire"),
    ("Dew gap", "dew_gap"),
    ("Warming of a cold piece", "warming"),
    ("Dust that burns", "combustible_dust"),
)


def how_page() -> HowPage:
    """Fill the page of methods."""
    held = {title: tuple(_constants(name)) for title, name in CONSTANTS}
    held["What a board survives a day"] = tuple(_daily_losses())
    return HowPage(methods=METHODS, uses=tuple(tables.uses().values()), constants=held)


def _constants(name: str) -> list[Constant]:
    return [
        Constant(key, f"{one.value:g}" if one.unit == "1" else f"{one.value:g} {one.unit}", one.source, one.status)
        for key, one in tables.constants(name).items()
    ]


def _daily_losses() -> list[Constant]:
    named = tables.species()
    return [
        Constant(
            f"{named[row.botanical_name].label}, {display.millimetres(row.thickness_m)} mm thick",
            f"{row.loss_pct_per_day:g} % MC a day",
            row.source,
            row.status,
        )
        for row in tables.safe_losses()
    ]
