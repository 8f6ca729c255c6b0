"""The pin meters: how each reads on its lot of wood, the offcuts that tell, and what more would help."""

from __future__ import annotations

from dataclasses import dataclass, field

from dashboards import display
from dashboards.calibrations import MeterNow
from dashboards.pages import instrument_forms
from dashboards.pages.forms import Attempt, Form, shown_again
from dashboards.pages.parts import EntryLine
from dashboards.situation import Situation
from shared import tables


@dataclass(frozen=True)
class MeterView:
    """One meter on one lot."""

    name: str = field(metadata={"help": "What it is called"})
    code: str = field(metadata={"help": "Its code"})
    species: str = field(metadata={"help": "The timber of the lot"})
    note: str = field(metadata={"help": "What was noted about it"})
    sentence: str = field(metadata={"help": "How it reads on this lot, with the error"})
    entries: tuple[EntryLine, ...] = field(metadata={"help": "The offcuts, newest first"})
    form: Form = field(metadata={"help": "Entering one more offcut"})


@dataclass(frozen=True)
class MetersPage:
    """Everything that meters.html may use."""

    meters: tuple[MeterView, ...] = field(metadata={"help": "Every meter in the order it was entered"})
    form: Form = field(metadata={"help": "Entering a meter"})


def meters_page(situation: Situation, by: str, attempt: Attempt | None) -> MetersPage:
    """Fill the page of meters."""
    return MetersPage(
        meters=tuple(_view(meter, by, attempt) for meter in situation.meters),
        form=shown_again(instrument_forms.add_meter(by), attempt),
    )


def _view(meter: MeterNow, by: str, attempt: Attempt | None) -> MeterView:
    known = tables.species().get(meter.fact.species)
    return MeterView(
        name=meter.fact.name,
        code=meter.subject.code,
        species=known.label if known else meter.fact.species,
        note=meter.fact.note,
        sentence=meter.sentence,
        entries=_entries(meter),
        form=shown_again(instrument_forms.meter_pair(meter.subject.code, by), attempt),
    )


def _entries(meter: MeterNow) -> tuple[EntryLine, ...]:
    lines = []
    for one in meter.pairs:
        true_pct = 100.0 * (one.wet_mass_kg - one.dry_mass_kg) / one.dry_mass_kg
        warm = "" if one.wood_temperature_c is None else f" at {one.wood_temperature_c:g} °C"
        figure = f"showed {one.reading_pct:g} %{warm}, was {display.number(true_pct)} %"
        note = f"{display.mass(one.wet_mass_kg)} wet, {display.mass(one.dry_mass_kg)} oven-dry"
        lines.append(EntryLine("meter-pair", one.id, figure, display.moment(one.true_at_ms), one.entered_by, note))
    return tuple(reversed(lines))
