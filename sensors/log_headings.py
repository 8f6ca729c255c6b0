"""What a column's heading says: which quantity in which unit, or which part of the time.

Words are those that loggers' programs and people's spreadsheets use, in English, German and, for the
commonest, French, Spanish, Italian and Dutch (common practice, no source). A heading that could mean
two things is not taken, and the reason is told.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timezone
from enum import StrEnum

from sensors.log_times import DateOrder, offset
from sensors.names import KG_PER_LB, KG_PER_OZ
from shared.store.records import Quantity
from shared.units import MM_PER_INCH, c_from_f, c_from_k, kg_from_g


def _same(value: float) -> float:
    return value


@dataclass(frozen=True)
class Unit:
    """A unit as we call it, of which quantities, and how it becomes ours."""

    name: str
    quantities: tuple[Quantity, ...]
    convert: Callable[[float], float]


_Q = Quantity
_PERCENT = (_Q.RH_PCT, _Q.PIN_MC_PCT, _Q.CAPACITANCE_MC_PCT, _Q.BATTERY_PCT)
_UNITS = {
    "c °c celsius degc centigrade": Unit("°C", (_Q.TEMPERATURE_C,), _same),
    "f °f fahrenheit degf": Unit("°F", (_Q.TEMPERATURE_C,), c_from_f),
    "k kelvin": Unit("K", (_Q.TEMPERATURE_C,), c_from_k),
    "% %rh %rf %r.h. %r.f. %hr %ur %rv pct percent prozent": Unit("%", _PERCENT, _same),
    "fraction ratio": Unit("fraction", (_Q.RH_PCT,), lambda value: value * 100.0),
    "g gram grams gramm": Unit("g", (_Q.MASS_KG,), kg_from_g),
    "kg": Unit("kg", (_Q.MASS_KG,), _same),
    "lb lbs pound pounds": Unit("lb", (_Q.MASS_KG,), lambda value: value * KG_PER_LB),
    "oz ounce ounces": Unit("oz", (_Q.MASS_KG,), lambda value: value * KG_PER_OZ),
    "ug/m3 ugm3": Unit("µg/m³", (_Q.PM2_5_UG_M3, _Q.PM10_UG_M3), _same),
    "mm": Unit("mm", (_Q.RAIN_MM,), _same),
    "in inch inches": Unit("in", (_Q.RAIN_MM,), lambda value: value * MM_PER_INCH),
    "v volt volts": Unit("V", (_Q.BATTERY_V,), _same),
    "mv": Unit("mV", (_Q.BATTERY_V,), lambda value: value / 1000.0),
}
UNITS = {word: unit for words, unit in _UNITS.items() for word in words.split()}
# Where a heading names no unit, the one that is all but always meant; the rest must say theirs.
ASSUMED = {
    _Q.TEMPERATURE_C: UNITS["°c"],
    _Q.RH_PCT: UNITS["%"],
    _Q.PIN_MC_PCT: UNITS["%"],
    _Q.CAPACITANCE_MC_PCT: UNITS["%"],
    _Q.PM2_5_UG_M3: UNITS["ug/m3"],
    _Q.PM10_UG_M3: UNITS["ug/m3"],
}
_NOT_TAKEN = (
    (r"dew|taupunkt|ros[eé]e|roc[ií]o|rugiada", "a dew point: it follows from temperature and humidity"),
    (r"wet.?bulb|feuchtkugel", "a wet bulb's temperature"),
    (r"absolut|specific|spezifisch|mixing|(?<!u)g/m3|g/kg", "an absolute humidity"),
    (r"heat.?index|feels|wind.?chill|\bvpd\b|enthalp|\bemc\b|pressure|druck", "worked out, or not used here"),
    (r"set.?point|sollwert|target|alarm|limit|\bmin\b|\bmax\b|minimum|maximum", "a setting or an extreme"),
    (r"\bcpu\b|\bchip\b|\bmcu\b", "of the device itself"),
    (r"\bunits?\b|einheit|status|state\b", "words, not a measurement"),
)
_BATTERY = (_Q.BATTERY_PCT, _Q.BATTERY_V)
_NAMES: tuple[tuple[str, tuple[Quantity, ...]], ...] = (
    (r"\bpm\s*2\s?[.,]?\s?5\b", (_Q.PM2_5_UG_M3,)),
    (r"\bpm\s*10\b", (_Q.PM10_UG_M3,)),
    (r"batt|akku", _BATTERY),
    (r"\brain|precip|regen|niederschlag|pluie", (_Q.RAIN_MM,)),
    (r"capacit|kapazit|pinless|dielectric", (_Q.CAPACITANCE_MC_PCT,)),
    (r"\bpins?\b|widerstand|resistance", (_Q.PIN_MC_PCT,)),
    (r"moisture|holzfeuchte|\bmc\b|\bwme\b", (_Q.PIN_MC_PCT, _Q.CAPACITANCE_MC_PCT)),
    (r"humid|\brh\b|r\.\s?h\.|%\s?r\.?[hf]|feucht|hygro|umidit|humedad|hum[eé]d|vochtig|\brf\b|\bhr\b", (_Q.RH_PCT,)),
    (r"\btemp|temperatur|températ|°|\bcelsius\b|\bfahrenheit\b|\bdeg[cf]\b", (_Q.TEMPERATURE_C,)),
    (r"\bmass\b|masse\b|weight|gewicht|\bpoids\b|\bpeso\b", (_Q.MASS_KG,)),
)
_DAY = {"date", "datum", "fecha", "data", "day", "tag"}
_CLOCK = {"time", "uhrzeit", "zeit", "heure", "hora", "ora", "tijd", "clock"}
_MOMENT = {"timestamp", "datetime", "stamp", "zeitstempel", "zeitpunkt", "epoch", "unix", "ts", "at", "datumzeit"}
_FILLERS = {"utc", "gmt", "local", "lokal", "ortszeit", "iso", "of", "reading", "measurement", "messung"}
_FILLERS |= {"log", "logged", "recorded", "measured"}
_SAYS_ZONE = re.compile(r"\b(?:utc|gmt)(?:\s*[+-]\s*\d{1,2}(?::?\d{2})?)?(?![a-z\d])", re.I)


class Part(StrEnum):
    """Which part of the time a column holds."""

    MOMENT = "date and time"
    DAY = "date"
    CLOCK = "time of day"


@dataclass(frozen=True)
class Measured:
    """A column with a quantity; ``unit_said`` tells whether the heading names the unit or we assume it."""

    quantity: Quantity
    unit: Unit
    unit_said: bool


def plain(heading: str) -> str:
    """Return a heading in small letters, its many ways to write a degree or a micro made one."""
    spaced = re.sub(r"(?<=[a-zà-ÿ]{2})(?=[A-Z])", " ", heading.replace("º", "°").replace("˚", "°"))
    told = unicodedata.normalize("NFKC", spaced).lower().replace("μ", "u").replace("_", " ")
    told = re.sub(r"°\s+(?=[cf]\b)", "°", re.sub(r"(?<=\w)(?=[°%])", " ", told))
    return " ".join(re.sub(r"\bdeg(?:rees?)?\.?\s*(?=[cf]\b)", "°", told).strip(" #'\"").split())


def unit_of(text: str) -> Unit | None:
    """Return the unit that a text is; None when it is none."""
    return UNITS.get(plain(text).strip("()[] ").replace(" ", ""))


def time_part(heading: str) -> Part | None:
    """Return which part of the time a heading names; None when it names none."""
    bare = re.sub(r"[(\[].*?[)\]]", " ", _SAYS_ZONE.sub(" ", plain(heading).replace("date time", "datetime")))
    words = set(re.findall(r"[^\W\d_]+", bare))
    if not words or not words <= _DAY | _CLOCK | _MOMENT | _FILLERS:
        return None
    if words & _MOMENT or (words & _DAY and words & _CLOCK):
        return Part.MOMENT
    if words & _DAY:
        return Part.DAY
    return Part.CLOCK if words & _CLOCK else None


def zone_said(text: str) -> timezone | None:
    """Return the offset from UTC that a heading or a line about the time zone names."""
    found = _SAYS_ZONE.search(plain(text))
    return offset(found[0]) if found else None


def order_said(heading: str) -> DateOrder | None:
    """Return the order of day and month that a heading such as ``Date (dd/mm/yyyy)`` names."""
    if re.search(r"\b[dt]{1,2}[-/.]m{1,2}[-/.][yj]", plain(heading)):
        return DateOrder.DAY_FIRST
    return DateOrder.MONTH_FIRST if re.search(r"\bm{1,2}[-/.][dt]{1,2}[-/.][yj]", plain(heading)) else None


def measured(heading: str, temperature_unit: str = "") -> Measured | str | None:
    """Return what a column measures; the reason, where it is not taken; None, where nothing is known of it.

    ``temperature_unit`` (C, F or K) is taken where a heading names none.
    """
    told = plain(heading)
    named = next((quantities for name, quantities in _NAMES if re.search(name, told)), None)
    refused = next((reason for pattern, reason in _NOT_TAKEN if re.search(pattern, told)), None)
    if named is None or refused is not None:
        return None if named is None else refused
    unit = _unit_in(told, named)
    fitting = named if unit is None else tuple(one for one in named if one in unit.quantities)
    if len(fitting) != 1:
        return _why_not(named)
    if unit is not None:
        return Measured(fitting[0], unit, True)
    if fitting[0] is _Q.TEMPERATURE_C and temperature_unit:
        return Measured(fitting[0], UNITS[temperature_unit.lower()], True)
    assumed = ASSUMED.get(fitting[0])
    return _why_not(named) if assumed is None else Measured(fitting[0], assumed, False)


def _why_not(named: tuple[Quantity, ...]) -> str:
    if _Q.PIN_MC_PCT in named:
        return "a moisture content; the heading must say by pins or by capacitance"
    units = dict.fromkeys(unit.name for unit in UNITS.values() if set(unit.quantities) & set(named))
    return f"the heading names no unit: {', '.join(units)}"


def _unit_in(told: str, named: tuple[Quantity, ...]) -> Unit | None:
    """Return the unit in a heading; a lone letter counts in brackets or at the end alone."""
    bracketed = [part for one in re.findall(r"[(\[]([^)\]]*)[)\]]", told) for part in (one, *re.split(r"[\s,;]+", one))]
    words = re.split(r"[\s,;:()\[\]]+", told)
    while words and not words[-1]:
        words.pop()
    for word in [*bracketed, *words[-1:], *(one for one in words if len(one) > 1 or one == "%")]:
        unit = UNITS.get(word.replace(" ", ""))
        if unit is not None and set(unit.quantities) & set(named):
            return unit
    return None
