"""Where commands print: one console, which tells figures in the units of the yard's settings."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.text import Text

from dashboards import shown_units
from dashboards.shown_units import METRIC, Units
from shared.settings import Settings


class YardConsole(Console):
    """A console for texts in °C and mm; options, and refusals of them, stay in the unit that their names say.

    A ``Text`` is printed as it is: what a source says in its own units.
    """

    units: Units = METRIC

    def use(self, settings: Settings) -> None:
        """From now on print in the units of these settings."""
        self.units = shown_units.of_settings(settings)

    def shown(self, text: str) -> str:
        """Return a text as it is printed."""
        return shown_units.text(text, self.units)

    def unit(self, name: str) -> str:
        """Return a unit as it stands above a column."""
        return shown_units.unit(name, self.units)

    def number(self, value: float, decimals: int, unit: str) -> str:
        """Return a number for a column that bears its unit above."""
        return self.shown(f"{value:.{decimals}f} {unit}").rpartition(" ")[0]

    def render_str(self, text: str, **options: Any) -> Text:
        """Turn a text, on its way into a line, a table or a padded block."""
        return super().render_str(self.shown(text), **options)


console = YardConsole()
