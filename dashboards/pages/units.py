"""The page on which a browser chooses its units."""

from __future__ import annotations

from dataclasses import dataclass, field

from dashboards.shown_units import Units

TEMPERATURES = {"C": "degrees Celsius", "F": "degrees Fahrenheit"}
LENGTHS = {"mm": "millimetres", "in": "inches"}


@dataclass(frozen=True)
class UnitsPage:
    """Everything that units.html may use."""

    told: str = field(metadata={"help": "What is shown in this browser"})


def units_page(units: Units) -> UnitsPage:
    """Fill the page of units."""
    return UnitsPage(chosen_words(units))


def chosen_words(units: Units) -> str:
    """Return what is shown in which units, as a sentence."""
    temperature, length = TEMPERATURES[units.temperature], LENGTHS[units.length]
    return f"This browser shows temperatures in {temperature} and sizes in {length}."
