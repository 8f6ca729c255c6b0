"""The forms about instruments: meters and their pairs, checks of probes, and the bag test of a board."""

from __future__ import annotations

from typing import Any

from dashboards.pages.board_forms import species_field
from dashboards.pages.entry_forms import options_of
from dashboards.pages.forms import Field, Form, Option, name_field, when_field
from kiln import hygrometers
from shared import tables
from shared.store.records import LastMoved, Origin

NO_SALT = Option("", "none")
LAST_MOVED = (
    Option(LastMoved.DRIED.value, "it has been drying"),
    Option(LastMoved.GAINED.value, "it has been taking up water"),
    Option(LastMoved.UNKNOWN.value, "nobody knows"),
)


def salt_options() -> tuple[Option, ...]:
    """Return the saturated salts as choices, driest first."""
    return tuple(Option(salt.formula, f"{salt.name}, {salt.formula}") for salt in hygrometers.salts().values())


def check(code: str, by: str) -> Form:
    """Return the form that enters what a probe read over one or two salts."""
    return Form(
        f"check-{code}",
        "Enter a check over salt",
        f"/probe/{code}/check",
        "Enter the check",
        (
            Field("temperature_c", "Temperature there", "number", unit="°C", needed=True, spoken="temperature"),
            Field(
                "low_salt", "Drier salt", "choice", value="MgCl2", options=(NO_SALT, *salt_options()), spoken="low salt"
            ),
            Field("low_read_rh_pct", "it read", "number", unit="%RH", spoken="low reading"),
            Field(
                "high_salt",
                "Moister salt",
                "choice",
                value="NaCl",
                options=(NO_SALT, *salt_options()),
                spoken="high salt",
            ),
            Field("high_read_rh_pct", "it read", "number", unit="%RH", spoken="high reading"),
            Field(
                "waited_h",
                "Hours over the salts, both together",
                "number",
                unit="h",
                spoken="hours over the salts",
                hint="They do not count as the air of its place. Empty: 24.",
            ),
            when_field(),
            name_field(by),
        ),
        intro="What it showed itself, uncorrected, after some hours over each. One salt will do; two tell more.",
    )


def bag_test(situation: Any, code: str, by: str) -> Form:
    """Return the form for a bag test of a board."""
    probes = tuple(Option(probe.subject.code, probe.fact.name) for probe in situation.probes)
    return Form(
        "bag-test",
        "Bag test",
        f"/board/{code}/bag-test",
        "Enter the test",
        (
            Field("rh_pct", "In the bag", "number", unit="%RH", needed=True, spoken="humidity in the bag"),
            Field("temperature_c", "at", "number", unit="°C", needed=True, spoken="temperature in the bag"),
            Field("waited_h", "After", "number", unit="h", needed=True, spoken="hours in the bag"),
            Field("bag_l", "Air in the bag", "number", unit="l", needed=True, spoken="air in the bag"),
            Field("last_moved", "Before that", "choice", options=LAST_MOVED, spoken="which way it last went"),
            Field("probe", "Read by", "choice", options=(Option("", "another hygrometer"), *probes), spoken="probe"),
            Field(
                "rh_error_pct",
                "which is known to ±",
                "number",
                unit="%RH",
                spoken="error of the hygrometer",
                hint="Empty: 3, never checked. A probe's own checks count by themselves.",
            ),
            when_field(),
            name_field(by),
        ),
        intro="Sealed in a bag, the wood makes the air: no mark, no species correction.",
    )


def add_meter(by: str) -> Form:
    """Return the form that enters a meter on a lot of wood."""
    usual = tables.constants("meters")["calibration_temperature_c"].value
    return Form(
        "meter",
        "A meter on a lot of wood",
        "/add/meter",
        "Add the meter",
        (
            Field(
                "code", "Code", needed=True, spoken="meter code", hint="Such as pm-1-plane. Letters, digits, dash, dot."
            ),
            species_field(),
            Field(
                "origin",
                "The lot came as",
                "choice",
                options=options_of(Origin),
                spoken="origin",
                hint="Wood from the water reads wetter: a lot of its own.",
            ),
            Field("name", "Name", spoken="name", hint="Which meter, which lot. Empty: the code."),
            Field(
                "calibration_temperature_c",
                "Its scale is made for wood at",
                "number",
                unit="°C",
                spoken="calibration temperature",
                hint=f"Empty: {usual:.3g} °C, as most are.",
            ),
            Field("note", "Note", spoken="note"),
            name_field(by),
        ),
    )


def meter_pair(code: str, by: str) -> Form:
    """Return the form that enters a reading on an offcut and the offcut's mass wet and oven-dry."""
    return Form(
        f"pair-{code}",
        "Enter an oven-dried offcut",
        f"/meter/{code}/pair",
        "Enter the offcut",
        (
            Field("reading_pct", "Meter shows", "number", unit="%", needed=True, spoken="pin reading"),
            Field(
                "temperature_c",
                "Wood at",
                "number",
                unit="°C",
                spoken="wood temperature",
                hint="Empty: as the scale wants it.",
            ),
            Field("wet_g", "Offcut weighs then", "number", unit="g", needed=True, spoken="wet mass of the section"),
            Field("dry_g", "and oven-dry", "number", unit="g", needed=True, spoken="oven-dry mass of the section"),
            when_field(),
            name_field(by),
        ),
    )
