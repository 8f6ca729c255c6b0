"""The density audit: dense, wet, or laden with minerals? And which measurement would decide."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dashboards import calibrations, display
from dashboards.answers.boards import board_of, known_of, last_mass_g
from dashboards.answers.records import Answer, Asked, Basis, Line, Question, bases_of, options, remembered
from dashboards.pages.forms import Field, Option
from dashboards.pages.instrument_forms import LAST_MOVED
from kiln import audit, bag, meters, oven_dry
from kiln.likelihood import WEIGHING_SHARE
from shared.errors import BadInput
from shared.store.records import LastMoved, Origin
from shared.tables import Species, limit
from shared.units import MS_PER_DAY, kg_from_g, m_from_mm

WIDEST_TOLD_MC_PCT = 10.0  # a wider band is shown instead of its middle; judgement
LIGHTEST_KG_M3, HEAVIEST_KG_M3 = 60.0, 1600.0  # balsa dry, and nothing but wet cell wall; judgement
SAME_TIME_MS = 3 * MS_PER_DAY  # so close together, a weigh-in and a reading tell of the same wood; judgement
SIZES = (("thickness", 0.5, 300.0), ("width", 5.0, 2000.0), ("length", 20.0, 10_000.0))

FIELDS = (
    Field("board", "A board of the yard", "board", hint="Fills in what is known of it."),
    Field("species", "Wood", "species", spoken="species"),
    Field("mass_g", "Mass", "number", unit="g", spoken="mass"),
    Field("thickness_mm", "Thickness", "number", unit="mm", spoken="thickness"),
    Field("width_mm", "Width", "number", unit="mm", spoken="width"),
    Field("length_mm", "Length", "number", unit="mm", spoken="length"),
    Field(
        "size_error_mm", "Sizes are known to ±", "number", unit="mm", spoken="error of the sizes", hint="Empty: 0.3 mm."
    ),
    Field("origin", "Came as", "choice", options=(Option("", "–"), *options(Origin)), spoken="origin"),
    Field("pin_pct", "Pin meter shows", "number", unit="%", spoken="pin reading", hint="If it was read."),
    Field("bag_rh_pct", "Bag test", "number", unit="%RH", spoken="humidity in the bag", hint="If it was done."),
    Field("bag_c", "at", "number", unit="°C", spoken="temperature in the bag", hint="Empty: 20 °C."),
    Field(
        "bag_error_pct", "its hygrometer ±", "number", unit="%RH", spoken="error of the hygrometer", hint="Empty: 3."
    ),
    Field(
        "last_moved", "Before that", "choice", options=(LAST_MOVED[2], *LAST_MOVED[:2]), spoken="which way it last went"
    ),
    Field("pin_wood_c", "Wood under the pins", "number", unit="°C", spoken="wood temperature"),
    Field("section_pct", "Oven-dried section", "number", unit="%MC", spoken="moisture content of the section"),
)


def answer(asked: Asked) -> Answer:
    """Answer it; raises BadInput naming what is missing or impossible."""
    timber = asked.species()
    density, error = _density(asked)
    soaked = asked.given("origin") and asked.choice("origin", "origin", Origin, Origin.FRESH) is Origin.RECLAIMED
    evidence = _evidence(asked, timber, soaked)
    found = audit.audit(density, error, audit.stock_of(timber, soaked), evidence)
    low, middle, high = found.mc_pct[1:4]
    told = high - low <= WIDEST_TOLD_MC_PCT
    return Answer(
        headline=f"{middle:.0f} % MC" if told else f"{low:.0f}–{high:.0f} % MC",
        band=f"{low:.0f}–{high:.0f} % holds eight in ten" if told else "eight in ten: this does not tell how wet it is",
        sentence=_sentence(found),
        lines=_lines(found, timber),
        flags=(
            *found.flags,
            *remembered((f"The basic density of {timber.common_name}", timber.basic_source, timber.basic_status)),
        ),
        next_step=_decides(found),
        formula=(
            "density = 1000 G (1 + m/(1−m) + u/100) / (1 − S(u)/100): G basic gravity, u water, m minerals",
            "G scatters by 10 % about its species; every u from 4 % to the fullest counts alike (in its logarithm)",
        ),
        bases=(
            Basis(
                f"basic specific gravity of {timber.label}, {timber.basic_specific_gravity:g}: {timber.basic_source}",
                timber.basic_status,
            ),
            Basis("Wood Handbook FPL-GTR-282, 2021, Equations 4-3, 4-9, 4-11 and 4-12", "published"),
            *bases_of("wood", "basic_board_cv"),
            *bases_of("audit", "driest_mc_pct", "minerals_chance", "minerals_mean_share", "minerals_laden_share"),
        ),
        validity="Solid wood, sizes and mass taken on the same day; not hollow, not glued, no bark.",
    )


def _sentence(found: audit.Audit) -> str:
    """The likeliest reading first; they do not exclude each other, so the others stand in the figures."""
    readings = {
        "wet": found.chance_wet,
        "dense for its kind": found.chance_dense,
        "full of minerals": found.chance_minerals,
    }
    name, chance = max(readings.items(), key=lambda one: one[1])
    told = f"It is probably {name} ({display.chance(chance)})." if chance >= 0.5 else "An ordinary board is possible."
    usual = f"where an average board of its kind has {found.usual_kg_m3:.0f} at 12 %"
    return f"{found.density_kg_m3:.0f} kg/m³, {usual}. {told}"


def _decides(found: audit.Audit) -> str:
    now = found.mc_pct[3] - found.mc_pct[1]
    if not found.decides or found.decides[0].width_mc_pct > 0.8 * now:
        return "No pin reading, bag test or section would narrow it much."
    best = found.decides[0]
    act = {audit.PIN: "Read pins in it", audit.BAG: "Do a bag test", audit.SECTION: "Oven-dry a section"}[best.name]
    return f"{act}: that would settle it, to a band of about {best.width_mc_pct:.0f} % MC."


def _density(asked: Asked) -> tuple[float, float]:
    mass_kg = kg_from_g(asked.number("mass_g", "mass", 0.1, 2_000_000.0, "g"))
    sizes = [m_from_mm(asked.number(f"{name}_mm", name, low, high, "mm")) for name, low, high in SIZES]
    density = mass_kg / (sizes[0] * sizes[1] * sizes[2])
    if not LIGHTEST_KG_M3 <= density <= HEAVIEST_KG_M3:
        accepted = f"sizes and mass that make {LIGHTEST_KG_M3:g} to {HEAVIEST_KG_M3:g} kg/m³, which all wood has"
        raise BadInput("mass", f"{density:.0f} kg/m³ in these sizes", accepted)
    error_m = m_from_mm(asked.or_else("size_error_mm", "error of the sizes", 0.0, 20.0, "mm", 0.3))
    return audit.density_kg_m3(
        mass_kg, (sizes[0], sizes[1], sizes[2]), WEIGHING_SHARE * mass_kg, (error_m, error_m, error_m)
    )


def _evidence(asked: Asked, timber: Species, soaked: bool) -> audit.Evidence:
    pin, tested, section = None, None, None
    if asked.given("pin_pct"):
        reading = asked.number("pin_pct", "pin reading", 1.0, 200.0, "%")
        warm = asked.maybe("pin_wood_c", "wood temperature", -40.0, 60.0, "°C")
        pin = meters.read(meters.Pin(reading, warm, origin=Origin.RECLAIMED.value if soaked else ""))
    if asked.given("bag_rh_pct"):
        rh = asked.number("bag_rh_pct", "humidity in the bag", 1.0, 100.0, "%RH")
        t = asked.or_else("bag_c", "temperature in the bag", 0.0, 45.0, "°C", 20.0)
        unchecked = limit("unchecked_hygrometer")
        error = asked.or_else("bag_error_pct", "error of the hygrometer", 0.1, 20.0, "%RH", unchecked)
        went = asked.choice("last_moved", "which way it last went", LastMoved, LastMoved.UNKNOWN)
        tested = bag.mc_from_bag(rh, t, error, went.value, timber.fsp_pct)
    if asked.given("section_pct"):
        told = asked.number("section_pct", "moisture content of the section", 0.0, 400.0, "% MC")
        section = (told, oven_dry.section_scatter_mc_pct(told))
    return audit.Evidence(pin, tested, section)


def _lines(found: audit.Audit, timber: Species) -> tuple[Line, ...]:
    basic = found.basic_specific_gravity
    usual = f"its kind {timber.basic_specific_gravity:g}, ± 10 % from board to board"
    lines = [
        Line("Density as it is", f"{found.density_kg_m3:.0f} ± {found.density_error_kg_m3:.0f} kg/m³"),
        Line("An average board of its kind at 12 %", f"{found.usual_kg_m3:.0f} kg/m³"),
        Line("Moisture, nineteen in twenty", f"{found.mc_pct[0]:.0f}–{found.mc_pct[4]:.0f} %"),
        Line("Basic specific gravity", f"{basic[1]:.2f} ({basic[0]:.2f}–{basic[2]:.2f})", usual),
        Line("Chance that it is dense", display.chance(found.chance_dense), "more than one board in six of its kind"),
        Line("Chance that it is wet", display.chance(found.chance_wet), "above 20 % MC"),
    ]
    if found.mineral_share_pct[2] > 0:
        share = (
            f"{found.mineral_share_pct[1]:.1f} % ({found.mineral_share_pct[0]:.1f}–{found.mineral_share_pct[2]:.1f})"
        )
        lines += [
            Line("Minerals in its dry mass", share, "a belief of ours: nothing published was found"),
            Line("Chance that it is mineral-laden", display.chance(found.chance_minerals), "more than 2 %"),
        ]
    lines += [Line(f"Expected after: {one.name}", f"a band of {one.width_mc_pct:.0f} % MC") for one in found.decides]
    return tuple(lines)


def fill(yard: Any, typed: Mapping[str, str]) -> dict[str, str]:
    """Fill in a board's wood, sizes, origin, last mass and what else was measured of it."""
    board = board_of(yard, typed)
    if board is None:
        return {}
    known = {**known_of(board), "mass_g": last_mass_g(board)}
    newest_ms = board.weigh_ins[-1].true_at_ms if board.weigh_ins else yard.now_ms
    known |= _measured_with(yard, board, newest_ms)
    return known


def _measured_with(yard: Any, board: Any, weighed_ms: int) -> dict[str, str]:
    """What was measured within a few days of the weigh-in: corrected as the projection takes it."""

    def near(entries: Any) -> Any | None:
        found = [one for one in entries if abs(one.true_at_ms - weighed_ms) <= SAME_TIME_MS]
        return found[-1] if found else None

    known = {}
    pin, test, section = near(board.pins), near(board.bags), near(board.oven_dry)
    if pin is not None:
        known["pin_pct"] = f"{pin.mc_pct:g}"
        known["pin_wood_c"] = "" if pin.wood_temperature_c is None else f"{pin.wood_temperature_c:g}"
    if test is not None:
        checks = {probe.subject.id: probe.checks for probe in yard.probes}
        rh_pct, error = calibrations.bag_air(checks, test)
        known |= {"bag_rh_pct": f"{rh_pct:.3g}", "bag_c": f"{test.temperature_c:g}", "bag_error_pct": f"{error:.2g}"}
        known["last_moved"] = test.last_moved.value
    if section is not None:
        known["section_pct"] = f"{100.0 * (section.wet_mass_kg / section.dry_mass_kg - 1.0):.3g}"
    return known


QUESTION = Question(
    name="density",
    title="Density audit",
    lead="Dense, wet, or laden with minerals: what a piece's mass and sizes allow, and which measurement would decide.",
    fields=FIELDS,
    answer=answer,
    fill=fill,
    wanted=("board", "mass_g", "species"),
)
