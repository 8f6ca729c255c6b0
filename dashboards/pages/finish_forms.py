"""The forms of the finish room: a finish by its data sheet, the room's figures, what was sprayed, a surface measured.

Each is about one thing, and leads back to the page of the finish or of the finish room.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dashboards import acknowledging, data_sheet, room_figures
from dashboards.data_sheet import NOT_READ, sheet_says
from dashboards.finish_now import FinishNow
from dashboards.pages.forms import Field, Form, Option, name_field, when_field
from shared.store.records import ExtractionKnown, FinishFact, FinishRoom, MixedBy, PlaceKind
from shared.units import kg_l_from_kg_m3, m3_h_from_m3_s

SHEET_CHOICES = (
    Option(NOT_READ, "sheet not read yet"),
    Option("yes", "the sheet names one"),
    Option("no", "the sheet names none"),
)
OIL_CHOICES = (
    Option(NOT_READ, "sheet not read yet"),
    Option("yes", "yes"),
    Option("no", "no"),
)
KNOWN_CHOICES = (
    Option(ExtractionKnown.UNSAID.value, "nobody says"),
    Option(ExtractionKnown.MEASURED.value, "measured in the room"),
    Option(ExtractionKnown.PRINTED.value, "printed on the fan"),
)
RUNNING_CHOICES = (Option("no", "off, or not all the while"), Option("yes", "on, and left running"))


def acknowledged_field(label: str) -> Field:
    """Return the box to tick for a finish room or a probe in one; under it what is said by ticking it."""
    return Field(acknowledging.FIELD, label, "tick", hint=acknowledging.RULE, spoken=acknowledging.FIELD)


def of_place() -> Field:
    """Return the box of a place that may be, or become, a finish room."""
    return acknowledged_field("Of a finish room: nothing unrated is in its spray area")


def of_probe(situation: Any) -> tuple[Field, ...]:
    """Return the box of a probe that may be put into a finish room; nothing where there is no finish room."""
    rooms = [one.fact.name for one in situation.open_places if one.fact.kind is PlaceKind.FINISH_ROOM]
    if not rooms:
        return ()
    label = f"If put into {' or '.join(rooms)}: it hangs outside the spray area, or is rated for it"
    return (acknowledged_field(label),)


def add_finish(by: str) -> Form:
    """Return the form that puts a finish on the shelf."""
    hint = "Short, as it stands on the tin: spirit-varnish. Letters, digits, dash, dot; no spaces."
    code = Field("code", "Code", needed=True, spoken="finish code", hint=hint)
    return Form(
        "finish",
        "A finish",
        "/add/finish",
        "Add the finish",
        (code, *_sheet_fields(None), name_field(by)),
        intro="As it is sprayed, thinner included, with the safety data sheet in hand. What is left empty counts as "
        "unknown, never as nothing.",
    )


def change_finish(finish: FinishNow, by: str) -> Form:
    """Return the form that corrects what is known of a finish."""
    looked_at = Field("supersedes", "", "hidden", value=str(finish.entered.id))
    sheet_read = Field("sure", "I have read section 3 and 15 of the sheet: it names none", "tick")
    return Form(
        "change",
        "Correct the finish",
        f"/finish/{finish.subject.code}/change",
        "Correct it",
        (looked_at, *_sheet_fields(finish.entered), name_field(by), sheet_read),
        intro="It counts for what is sprayed of it from now on; for what was sprayed before, the worse of both counts. "
        "A new make of it is another finish.",
    )


def close_finish(code: str, by: str) -> Form:
    """Return the form that takes a finish off the shelf."""
    intro = "When it is used up or given away. What was sprayed of it stays."
    return Form("close", "Take it off the shelf", f"/finish/{code}/close", "Take it off", (name_field(by),), intro)


def reopen_finish(code: str, by: str) -> Form:
    """Return the form that puts a finish back on the shelf."""
    intro = "As it was entered. Its data sheet may have changed since: look at its date."
    return Form(
        "reopen",
        "Put it back on the shelf",
        f"/finish/{code}/reopen",
        "Put it back",
        (name_field(by),),
        intro,
    )


def _sheet_fields(held: FinishFact | None) -> tuple[Field, ...]:
    return (
        Field("name", "Name", value=held.name if held else "", hint="Empty: the code.", spoken="name"),
        Field(
            "sheet",
            "Safety data sheet",
            value=held.sheet if held else "",
            spoken="data sheet",
            hint="Its title and date: they are shown beside every figure that rests on it.",
        ),
        Field(
            "ingredients",
            "Ingredients, one a line",
            "lines",
            value=held.ingredients if held else "",
            spoken="ingredients",
            hint="Section 3: name or CAS number, then its share in %: “acetone 30-60”, “xylene <10”, “solids 25”. Name "
            "water and solids too.",
        ),
        Field(
            "basis",
            "Shares are",
            "choice",
            value=(held.basis if held else MixedBy.MASS).value,
            options=tuple(Option(one.value, one.value) for one in MixedBy),
            spoken="shares",
            hint="Most sheets: by mass (% w/w).",
        ),
        *_flag_fields(held),
        *_figure_fields(held),
        Field("note", "Note", value=held.note if held else "", spoken="note"),
    )


def _flag_fields(held: FinishFact | None) -> tuple[Field, ...]:
    flags = (
        (
            "isocyanate",
            "Isocyanate",
            "isocyanate",
            SHEET_CHOICES,
            "Hardeners of two-part and moisture-curing finishes.",
        ),
        (
            "formaldehyde",
            "Formaldehyde given off",
            "formaldehyde",
            SHEET_CHOICES,
            "Acid-curing finishes, amino resins.",
        ),
        (
            "self_heating",
            "Drying oil",
            "drying oil",
            OIL_CHOICES,
            "Linseed, tung, most oil varnishes: rags that heat themselves.",
        ),
    )
    return tuple(
        Field(
            key,
            label,
            "choice",
            value=sheet_says(getattr(held, key) if held else None),
            options=options,
            spoken=spoken,
            hint=hint,
        )
        for key, label, spoken, options, hint in flags
    )


def _figure_fields(held: FinishFact | None) -> tuple[Field, ...]:
    density = None if held is None or held.density_kg_m3 is None else kg_l_from_kg_m3(held.density_kg_m3)

    def own(name: str) -> float | None:
        return getattr(held, name) if held else None

    figures = (
        ("density_kg_l", "Density", "number", "kg/l", density, "density", "Section 9; the same figure as g/cm³."),
        ("flash_point_c", "Flash point", "signed", "°C", own("flash_point_c"), "flash point", "Section 9."),
        (
            "dew_gap_c",
            "Surface above dew point by",
            "number",
            "C°",
            own("dew_gap_c"),
            "surface above the dew point",
            "",
        ),
        ("rh_max_pct", "Air at most", "number", "%RH", own("rh_max_pct"), "most humidity", ""),
        (
            "surface_min_c",
            "Surface at least",
            "signed",
            "°C",
            own("surface_min_c"),
            "coldest surface",
            "All three as its sheet asks.",
        ),
    )
    density_field, flash_field, *asked_of_air = (
        Field(key, label, kind, _shown(value), unit, spoken=spoken, hint=hint)
        for key, label, kind, unit, value, spoken, hint in figures
    )
    dry = "" if held is None else data_sheet.dry_after_told(held.dry_after_s)
    hint = "With its unit: 45 min or 2 h; from 5 min on."
    dry_field = Field("dry_after_h", "Dry to handle after", value=dry, spoken=data_sheet.DRY, hint=hint)
    return density_field, flash_field, dry_field, *asked_of_air


def _shown(value: float | None) -> str:
    return "" if value is None else f"{value:.6g}"


def finish_room(code: str, by: str, held: FinishRoom | None) -> Form:
    """Return the form that says how large a finish room is and how much air is drawn out of it."""
    drawn = None if held is None or held.extraction_m3_s is None else m3_h_from_m3_s(held.extraction_m3_s)
    worst = room_figures.mixing_factor(None)
    return Form(
        "finish-room",
        "Correct the room's figures" if held else "Enter the room's figures",
        f"/place/{code}/finish-room",
        "Enter them",
        (
            Field(
                "volume",
                "Room",
                value=_shown(held.volume_m3) if held else "",
                unit="m³",
                needed=True,
                spoken=room_figures.VOLUME,
                hint="Or length × width × height with its unit: 4.2 x 3 x 2.5 m, 14 x 10 x 8 ft.",
            ),
            Field(
                "extraction",
                "Air drawn out",
                value=_shown(drawn),
                unit="m³/h",
                spoken=room_figures.EXTRACTION,
                hint="While the fan runs with its filters as they are; or none. Empty: not known, counted as none.",
            ),
            Field(
                "extraction_known",
                "which is",
                "choice",
                value=(held.extraction_known if held else ExtractionKnown.UNSAID).value,
                options=KNOWN_CHOICES,
                spoken="how it is known",
            ),
            Field(
                "mixing_factor",
                "Mixing factor",
                "number",
                value=_shown(held.mixing_factor) if held else "",
                spoken="mixing factor",
                hint=f"3, air led past all of the work, to {worst:g}, dead corners. Empty: {worst:g}.",
            ),
            when_field(),
            name_field(by),
            Field("sure", "I have looked again: these figures are right", "tick"),
        ),
    )


def _sure_of_date() -> Field:
    return Field("sure", "More than a day ago: I have looked again, the date is right", "tick")


def sprayed(code: str, shelf: Sequence[FinishNow], by: str) -> Form:
    """Return the form that enters what was sprayed in a finish room."""
    choices = tuple(Option(one.subject.code, one.fact.name) for one in shelf)
    return Form(
        "sprayed",
        "Enter what was sprayed",
        f"/place/{code}/sprayed",
        "Enter it",
        (
            Field("finish", "Finish", "choice", options=choices, needed=True, spoken="finish"),
            Field("litres", "Amount", "number", unit="litres", needed=True, spoken="amount", hint="Thinner included."),
            Field("minutes", "in", "number", unit="min", needed=True, spoken="minutes of spraying"),
            Field("extraction_on", "Extraction", "choice", value="no", options=RUNNING_CHOICES, spoken="extraction"),
            Field("true_at", "Begun", "moment", hint="Empty: now. Up to an hour ahead.", spoken="time"),
            name_field(by),
            _sure_of_date(),
        ),
        intro="Written outside the spray area, on a device that stays outside.",
    )


def surface(code: str, by: str) -> Form:
    """Return the form that enters how warm a surface is."""
    return Form(
        "surface",
        "Enter a surface temperature",
        f"/place/{code}/surface",
        "Enter it",
        (
            Field("what", "What was measured", needed=True, spoken="what was measured", hint="Such as: top, its face."),
            Field("surface_c", "Its surface", "signed", unit="°C", needed=True, spoken="surface temperature"),
            Field("air_c", "Air there", "signed", unit="°C", spoken="air temperature"),
            Field(
                "rh_pct",
                "and its humidity",
                "number",
                unit="%RH",
                spoken="humidity",
                hint="Both of the air, or neither: then the room's probes tell it.",
            ),
            when_field(),
            name_field(by),
            _sure_of_date(),
        ),
        intro="The wood and any metal on it, not the room: what is colder than the dew point clouds the finish.",
    )


def acknowledge(code: str, by: str) -> Form:
    """Return the form that says of a finish room, as it stands, that nothing unrated is in its spray area."""
    return Form(
        "acknowledge",
        "Say that nothing unrated is in the spray area",
        f"/place/{code}/acknowledge",
        "Say so",
        (acknowledged_field("So it is: in this room, and of every probe that measures it"), name_field(by)),
    )
