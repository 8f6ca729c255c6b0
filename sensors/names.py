"""What others call a quantity, and in which unit they send it: one table of names, one of units.

A name is taken only as a whole (``temperature``, never ``cpu_temperature`` or ``setpoint``). A unit that
neither the name nor the message says is assumed only where the field has one habit: °C, % of humidity,
µg/m³. A mass, rain or a battery without a unit is not guessed at.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

from shared.store.records import Quantity
from shared.units import MM_PER_INCH, c_from_f, c_from_k, kg_from_g

# Exact: NIST Special Publication 811 (2008), Appendix B.8: the avoirdupois pound, the ounce.
KG_PER_LB = 0.45359237
KG_PER_OZ = KG_PER_LB / 16
LONGEST_NAME = 40
# A bare "battery" above this is a percentage: no probe has a cell of so many volts. Common practice, no source.
MOST_CELL_V = 15.0


def _times(factor: float) -> Callable[[float], float]:
    return lambda value: value * factor


def _same(value: float) -> float:
    return value


PERCENT = {"%": _same, "pct": _same, "percent": _same, "fraction": _times(100), "ratio": _times(100), "1": _times(100)}
MASS_CONTENT = {**PERCENT, "%mc": _same}
PER_CUBIC_METRE = {
    **dict.fromkeys(("ug/m3", "μg/m3", "mcg/m3", "ug/m^3", "μg/m^3", "ug_m3", "ugm3"), _same),
    "mg/m3": _times(1000),
}
UNITS: dict[Quantity, dict[str, Callable[[float], float]]] = {
    Quantity.TEMPERATURE_C: {
        **dict.fromkeys(("c", "cel", "celsius", "degc"), _same),
        **dict.fromkeys(("f", "fahrenheit", "degf"), c_from_f),
        **dict.fromkeys(("k", "kelvin"), c_from_k),
    },
    Quantity.RH_PCT: {**PERCENT, "%rh": _same, "rh%": _same, "%r.h.": _same},
    Quantity.MASS_KG: {
        **dict.fromkeys(("kg", "kilogram", "kilograms"), _same),
        **dict.fromkeys(("g", "gram", "grams"), kg_from_g),
        **dict.fromkeys(("lb", "lbs", "pound", "pounds"), _times(KG_PER_LB)),
        **dict.fromkeys(("oz", "ounce", "ounces"), _times(KG_PER_OZ)),
    },
    Quantity.PIN_MC_PCT: MASS_CONTENT,
    Quantity.CAPACITANCE_MC_PCT: MASS_CONTENT,
    Quantity.PM2_5_UG_M3: PER_CUBIC_METRE,
    Quantity.PM10_UG_M3: PER_CUBIC_METRE,
    Quantity.RAIN_MM: {
        **dict.fromkeys(("mm", "l/m2"), _same),
        **dict.fromkeys(("in", "inch", "inches"), _times(MM_PER_INCH)),
    },
    Quantity.BATTERY_PCT: {**PERCENT, "%el": _same},
    Quantity.BATTERY_V: {
        **dict.fromkeys(("v", "volt", "volts"), _same),
        **dict.fromkeys(("mv", "millivolt", "millivolts"), lambda value: value / 1000),
    },
}


@dataclass(frozen=True)
class Named:
    """What a name stands for: the quantities it may be, the unit that the name itself says, the usual one."""

    quantities: tuple[Quantity, ...]
    unit: str | None = None
    usual: str | None = None


# Names without a unit: (names, quantities, usual unit or None, units that may end a name)
BASES: tuple[tuple[tuple[str, ...], tuple[Quantity, ...], str | None, tuple[str, ...]], ...] = (
    (
        ("temperature", "temp", "air_temperature", "ambient_temperature", "air_temp"),
        (Quantity.TEMPERATURE_C,),
        "c",
        ("c", "celsius", "degc", "f", "fahrenheit", "degf", "k", "kelvin"),
    ),
    (
        ("humidity", "relative_humidity", "humidity_relative", "air_humidity", "rh", "hum"),
        (Quantity.RH_PCT,),
        "%",
        ("pct", "percent", "fraction", "ratio"),
    ),
    (("mass", "weight"), (Quantity.MASS_KG,), None, ("kg", "g", "grams", "lb", "lbs", "oz")),
    (
        ("pin_mc", "pin_moisture", "resistance_mc", "resistance_moisture"),
        (Quantity.PIN_MC_PCT,),
        "%",
        ("pct", "percent", "fraction"),
    ),
    (
        ("capacitance_mc", "capacitance_moisture", "capacitive_mc", "capacitive_moisture"),
        (Quantity.CAPACITANCE_MC_PCT,),
        "%",
        ("pct", "percent", "fraction"),
    ),
    (("pm2_5", "pm25", "pm_2_5"), (Quantity.PM2_5_UG_M3,), "ug/m3", ("ug_m3", "ugm3")),
    (("pm10", "pm_10", "pm10_0"), (Quantity.PM10_UG_M3,), "ug/m3", ("ug_m3", "ugm3")),
    (("rain", "rainfall", "precipitation"), (Quantity.RAIN_MM,), None, ("mm", "in", "inch", "inches")),
    (
        ("battery", "batt"),
        (Quantity.BATTERY_PCT, Quantity.BATTERY_V),
        None,
        ("pct", "percent", "v", "volt", "volts", "mv"),
    ),
    (("battery_level", "battery_percentage", "battery_soc"), (Quantity.BATTERY_PCT,), "%", ("pct", "percent")),
    (("battery_voltage", "vbat", "batt_voltage"), (Quantity.BATTERY_V,), "v", ("v", "mv")),
)


def _table() -> dict[str, Named]:
    table = {}
    for names, quantities, usual, endings in BASES:
        for name in names:
            table[name] = Named(quantities, None, usual)
            for unit in endings:
                meant = tuple(one for one in quantities if unit in UNITS[one])
                table[f"{name}_{unit}"] = Named(meant, unit, unit)
    return table


NAMES = _table()
_WORD_STARTS = re.compile(r"(?<=[a-z0-9])(?=[A-Z])")


def named(name: str) -> Named | None:
    """Return what a field, a topic level or a metric of this name stands for; None: nothing known."""
    return _named(name) if len(name) <= LONGEST_NAME else None


def plain(name: str) -> str:
    """Return a name in the form of the table: ``relativeHumidity``, ``PM2.5``, ``temp-c`` → with underscores."""
    return _WORD_STARTS.sub("_", name.strip()).lower().replace("-", "_").replace(".", "_").replace(" ", "_")


@lru_cache(maxsize=2048)
def _named(name: str) -> Named | None:
    found = NAMES.get(plain(name))
    return found if found is not None else NAMES.get(name.lower())


def plain_unit(text: str) -> str:
    """Return a unit in the form of the table: ``°C``, ``℃`` → ``c``; ``µg/m³`` → ``μg/m3``."""
    return _plain_unit(text[:LONGEST_NAME])


@lru_cache(maxsize=512)
def _plain_unit(text: str) -> str:
    return unicodedata.normalize("NFKC", text).lower().replace("°", "").replace(" ", "")


def is_unit(text: str) -> bool:
    """Tell whether this is a unit of anything here."""
    unit = plain_unit(text)
    return any(unit in units for units in UNITS.values())


def fits(meant: Named, text: str) -> bool:
    """Tell whether this is a unit of what a name stands for."""
    return any(plain_unit(text) in UNITS[one] for one in meant.quantities)


def in_our_unit(
    name: str, meant: Named, figure: float, unit: str | None, *, whole: bool = False
) -> tuple[Quantity | None, float]:
    """Return the quantity and the figure in our unit; (None, …) when its unit is neither said nor usual.

    ``unit`` is what the message says beside the figure, ``whole`` whether the figure was written as a whole
    number. Raises ValueError when the unit said is none of this quantity, or another than the name says.
    """
    if unit is not None:
        said = plain_unit(unit)
        quantity = next((one for one in meant.quantities if said in UNITS[one]), None)
        if quantity is None:
            raise ValueError(f"{name} is in {unit[:20]!r}, which is no unit of it that is known here")
        if meant.unit is not None and UNITS[quantity][said](1.0) != UNITS[quantity][meant.unit](1.0):
            raise ValueError(f"{name} is said to be in {unit[:20]!r}")
        return quantity, UNITS[quantity][said](figure)
    usual = meant.usual
    if usual is not None:
        return meant.quantities[0], UNITS[meant.quantities[0]][usual](figure)
    if Quantity.BATTERY_PCT in meant.quantities and (whole or figure > MOST_CELL_V):
        return Quantity.BATTERY_PCT, figure
    return None, figure
