"""A place's usual months: the form of twelve temperatures and humidities, and the months as rows of text."""

from __future__ import annotations

from dashboards import display
from dashboards.climate_entries import MONTHS
from dashboards.pages.forms import Field, Form, name_field
from dashboards.pages.parts import EntryLine
from shared.store.records import PlaceClimate

NO_CLIMATE = "Not entered: months that this place has not seen yet are taken from those that it has."


def climate(code: str, by: str, held: PlaceClimate | None) -> Form:
    """Return the form for the usual months of a place, filled with those that are held."""
    months: list[Field] = []
    for index, name in enumerate(MONTHS):
        t = f"{held.temperature_c[index]:g}" if held else ""
        rh = f"{held.rh_pct[index]:g}" if held else ""
        # Signed: a phone's keys for numbers may lack the minus that a January needs.
        months.append(_cell(f"t_{index + 1}", name, "signed", "°C", f"temperature of {name}", t))
        months.append(_cell(f"rh_{index + 1}", "and humidity", "number", "%RH", f"humidity of {name}", rh))
    source = Field(
        "source",
        "Source",
        value=held.source if held else "",
        needed=True,
        spoken="source",
        hint="Whose figures they are: weather service normals of the nearest station, 1991–2020.",
    )
    return Form(
        "climate",
        "Correct its usual months" if held else "Enter its usual months",
        f"/place/{code}/climate",
        "Enter the months",
        (*months, source, name_field(by)),
        intro="The mean of each month in the air of this place, for months that its own record has not seen. The "
        "weather service tells it of outdoor air; a shed follows that, a heated room does not.",
    )


def _cell(key: str, label: str, kind: str, unit: str, spoken: str, value: str) -> Field:
    return Field(key, label, kind, unit=unit, needed=True, value=value, spoken=spoken)


def rows(held: PlaceClimate | None) -> tuple[tuple[str, str, str], ...]:
    """Return the months as rows of text: name, temperature, humidity."""
    if held is None:
        return ()
    return tuple(
        (name, display.with_unit(t, "°C"), display.with_unit(rh, "%", 0))
        for name, t, rh in zip(MONTHS, held.temperature_c, held.rh_pct, strict=True)
    )


def entry_line(held: PlaceClimate | None) -> EntryLine | None:
    """Return the months of a place as an entry that can be undone."""
    if held is None:
        return None
    when = display.moment(held.entered_at_ms)
    return EntryLine("climate", held.id, held.source, when, held.entered_by, "", "usual months")
