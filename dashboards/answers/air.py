"""The EMC of this air: where wood left in it comes to rest."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dashboards import display
from dashboards.answers.boards import thing_of
from dashboards.answers.records import Answer, Asked, Basis, Line, Question, bases_of, remembered
from dashboards.pages.forms import Field
from kiln import psychrometrics, sorption
from kiln.records import Z80
from shared.errors import BadInput
from shared.tables import Species, limit
from shared.units import kpa_from_pa

COLDEST_C, WARMEST_C = sorption.LOWEST_C, 100.0
PRINTED_C = 20.0
SATURATION_FALLS = "from memory: 0.5 % MC less for 5 C° more"

FIELDS = (
    Field("place", "Air of a place", "place", hint="Fills in what its probes say now."),
    Field("temperature_c", "Temperature", "number", unit="°C", spoken="temperature"),
    Field("rh_pct", "Humidity", "number", unit="%RH", spoken="humidity"),
    Field("wet_bulb_c", "or wet bulb", "number", unit="°C", spoken="wet bulb"),
    Field("dew_point_c", "or dew point", "number", unit="°C", spoken="dew point"),
    Field(
        "altitude_m", "Height above the sea", "number", unit="m", spoken="altitude", hint="Only tells on a wet bulb."
    ),
    Field(
        "rh_error_pct",
        "Humidity is known to ±",
        "number",
        unit="%RH",
        spoken="error of the humidity",
        hint="One standard error. Empty: 3, a hygrometer that nobody has checked.",
    ),
    Field("species", "Wood", "species", spoken="species", hint="Empty: as the curve is printed."),
    Field(
        "mc_pct",
        "Wood that stands at",
        "number",
        unit="%MC",
        spoken="moisture content",
        hint="Tells the air that keeps it there.",
    ),
)


def answer(asked: Asked) -> Answer:
    """Answer it; raises BadInput naming what is missing or impossible."""
    t = asked.number("temperature_c", "temperature", COLDEST_C, WARMEST_C, "°C")
    pressure = float(
        psychrometrics.pressure_at_altitude_pa(asked.or_else("altitude_m", "altitude", -430, 5000, "m", 0.0))
    )
    rh = _rh_pct(asked, t, pressure)
    error = asked.or_else("rh_error_pct", "error of the humidity", 0.0, 20.0, "%RH", limit("unchecked_hygrometer"))
    wood = asked.species() if asked.given("species") else None
    fsp = wood.fsp_pct if wood else sorption.CONVENTIONAL_FSP_PCT
    emc = float(sorption.emc_pct(t, rh, fsp))
    spread = Z80 * float(sorption.emc_error_mc_pct(t, rh, error, fsp))
    wet = bool(sorption.near_saturation(rh))
    at_least = "at least " if wet else ""
    return Answer(
        headline=f"{at_least}{emc:.1f} % MC",
        band=f"± {spread:.1f} holds eight in ten; about ± 1 % is the best that any EMC formula can promise",
        sentence=f"Wood left in air of {t:.1f} °C and {rh:.0f} %RH dries until it rests near {emc:.1f} %, "
        f"or takes up water until it rests near {float(sorption.rest_band_pct(t, rh, fsp)[0]):.1f} %.",
        lines=(
            *_wood_lines(t, rh, error, fsp),
            *_held(asked, t, rh, fsp),
            Line("Fibre saturation at this temperature", _saturation(t, fsp), SATURATION_FALLS),
            *_air_lines(t, rh, pressure),
        ),
        flags=_flags(wet, wood),
        formula=(
            "EMC = 1800/W · [ Kh/(1−Kh) + (K₁Kh + 2K₁K₂K²h²)/(1 + K₁Kh + K₁K₂K²h²) ], h = RH/100; W, K, K₁, K₂ of T",
            *((f"× {fsp:g}/30: this wood's cell wall holds less than the conventional 30 %",) if fsp != 30.0 else ()),
        ),
        bases=(
            *bases_of("sorption", "hh_c_molar", "emc_standard_error_mc_pct"),
            *((Basis(f"fibre saturation of {wood.common_name}: {wood.fsp_source}", wood.fsp_status),) if wood else ()),
            *bases_of("sorption", "adsorption_ratio", of="the share of the curve for wood that takes up water"),
            Basis("dew point, wet bulb, humidity ratio: ASHRAE Handbook Fundamentals, 2017, chapter 1", "published"),
        ),
        validity=f"{COLDEST_C:g} to {WARMEST_C:g} °C, 0 to {sorption.NEAR_SATURATION_RH_PCT:g} %RH; "
        "beyond that only “at least”. Sound wood, not waterlogged.",
    )


def _rh_pct(asked: Asked, t: float, pressure_pa: float) -> float:
    given = [key for key in ("rh_pct", "wet_bulb_c", "dew_point_c") if asked.given(key)]
    if len(given) != 1:
        raise BadInput("humidity", " and ".join(given), "one of humidity, wet bulb and dew point")
    if given == ["rh_pct"]:
        return asked.number("rh_pct", "humidity", 0.0, 100.0, "%RH")
    if given == ["wet_bulb_c"]:
        bulb = asked.number("wet_bulb_c", "wet bulb", -40.0, t, "°C, no warmer than the air")
        return float(psychrometrics.rh_pct_from_wet_bulb(t, bulb, pressure_pa))
    dew = asked.number("dew_point_c", "dew point", -60.0, t, "°C, no warmer than the air")
    return float(psychrometrics.rh_pct_from_dew_point(t, dew))


def _wood_lines(t: float, rh: float, error: float, fsp: float) -> tuple[Line, ...]:
    low, high = (float(v) for v in sorption.rest_band_pct(t, rh, fsp))
    glass = float(sorption.emc_glass_pct(t, min(rh, 99.9))) * fsp / sorption.CONVENTIONAL_FSP_PCT
    slope = float(sorption.emc_pct(t, min(rh + 0.5, 100.0), fsp) - sorption.emc_pct(t, max(rh - 0.5, 0.0), fsp))
    return (
        Line("Wood that has been drying rests at", f"{high:.1f} %", "the printed curve lies near desorption"),
        Line(
            "Wood that has been taking up water rests at",
            f"{low:.1f} %",
            "hysteresis: anything between stays where it is",
        ),
        Line("A second formula says", f"{glass:.1f} %", "Glass and others, 2014, fitted to other data"),
        Line("A humidity wrong by 1 %RH makes", f"{slope:.2f} % MC", f"± {error:g} %RH: ± {slope * error:.1f} % MC"),
    )


def _saturation(t: float, fsp: float) -> str:
    return "not below freezing" if t < 0.0 else f"{float(sorption.fsp_at_pct(fsp, t)):.0f} %"


def _held(asked: Asked, t: float, rh: float, fsp: float) -> tuple[Line, ...]:
    mc = asked.maybe("mc_pct", "moisture content", 0.5, 300.0, "% MC")
    if mc is None:
        return ()
    dried = float(sorption.rh_pct_from_emc(t, mc, fsp))
    gained = float(sorption.rh_pct_from_emc(t, mc / sorption.adsorption_ratio(), fsp))
    rest = float(sorption.rest_pct(mc, t, rh, fsp))
    if dried >= sorption.NEAR_SATURATION_RH_PCT:
        return (
            Line(
                f"Wood at {mc:g} %",
                "dries in all air that the curve covers",
                f"near or above fibre saturation: from {sorption.NEAR_SATURATION_RH_PCT:g} %RH on no formula tells",
            ),
        )
    return (
        Line(
            f"Wood at {mc:g} % is kept there by",
            f"{dried:.0f}–{gained:.0f} %RH",
            "the first if it last dried, the second if it last gained",
        ),
        Line("In this air it comes to", f"{rest:.1f} %", "never past the nearer of the two curves"),
    )


def _air_lines(t: float, rh: float, pressure: float) -> tuple[Line, ...]:
    dew, bulb = float(psychrometrics.dew_point_c(t, rh)), float(psychrometrics.wet_bulb_c(t, rh, pressure))
    ratio = float(psychrometrics.humidity_ratio(t, rh, pressure))
    return (
        Line("Dew point", display.with_unit(dew, "°C")),
        Line(
            "Wet bulb, and its depression",
            f"{display.with_unit(bulb, '°C')}, {display.with_unit(t - bulb, 'C°')} below",
            f"at {kpa_from_pa(pressure):.1f} kPa",
        ),
        Line("Water in the air", f"{ratio * 1000:.1f} g/kg of dry air"),
    )


def _flags(wet: bool, wood: Species | None) -> tuple[str, ...]:
    found = []
    if wet:
        found.append(
            f"At or above {sorption.NEAR_SATURATION_RH_PCT:g} %RH no formula tells: a real piece holds at least this, "
            "and above fibre saturation only its mass tells how wet it is."
        )
    if wood:
        found += remembered(
            (f"The fibre saturation of {wood.common_name}, {wood.fsp_pct:g} %,", wood.fsp_source, wood.fsp_status)
        )
    return tuple(found)


def fill(yard: Any, typed: Mapping[str, str]) -> dict[str, str]:
    """Fill in the air of a place as its probes say it now."""
    place = thing_of(yard.open_places, "place", typed)
    if place is None:
        return {}
    known = {"altitude_m": f"{place.fact.altitude_m:g}"}
    if place.air is not None:
        known |= {"temperature_c": f"{place.air.temperature_c:.1f}", "rh_error_pct": f"{place.air.rh_error_pct:.2g}"}
        if not any(typed.get(key, "").strip() for key in ("wet_bulb_c", "dew_point_c")):
            known["rh_pct"] = f"{place.air.rh_pct:.1f}"
    return known


QUESTION = Question(
    name="emc",
    title="EMC of this air",
    lead="Where wood left long in this air comes to rest, and which air keeps wood where it is.",
    fields=FIELDS,
    answer=answer,
    fill=fill,
    wanted=("place", "temperature_c", "rh_pct", "wet_bulb_c", "dew_point_c"),
)
