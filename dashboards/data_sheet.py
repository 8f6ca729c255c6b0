"""What a finish's data sheet says, as it is typed into a form or a command: read once, for all of them alike.

None of a yes or no means that the data sheet was not read for it, which never counts as no.
"""

from __future__ import annotations

import math
import re
from typing import Any

from dashboards import display, entering, fields, finish_versions, ingredients
from dashboards.ingredients import parse_ingredients
from shared.errors import BadInput
from shared.store.records import MixedBy
from shared.units import S_PER_HOUR, S_PER_MINUTE, kg_m3_from_kg_l

DENSITY_KG_L = (0.6, 2.5)  # as kiln.mixtures takes a liquid's
FLASH_POINT_C = (-60.0, 400.0)
DRY_AFTER_H = (0.08, 720.0)  # from 5 minutes on: no film that was sprayed is dry to handle before (ours)
DEW_GAP_C = (0.0, 20.0)
RH_MAX_PCT = (20.0, 100.0)
SURFACE_MIN_C = (-20.0, 60.0)
DRY = "dry to handle"
DRY_BARE_H = 12.0  # above it a number without a unit may be minutes
MIN_PER_H = S_PER_HOUR / S_PER_MINUTE
DRY_UNIT = re.compile(r"\s*(?P<unit>min|mins|minutes|h|hr|hrs|hours)\.?$")
SHEET_LENGTH = 120
NOT_READ = "not read"
SHEET_SAYS: dict[str, bool | None] = {"yes": True, "no": False, NOT_READ: None}
WORDS_TELL = {"isocyanate": "isocyanate", "formaldehyde": "formaldehyde", "self_heating": "a drying oil"}

Typed = str | float | None
Said = str | bool | None


# Of each thing that is typed: the field of the record, and how it is read.
_READ: dict[str, tuple[str, Any]] = {
    "name": ("name", lambda typed: fields.text("name", typed, entering.NAME_LENGTH, needed=True)),
    "basis": ("basis", lambda typed: fields.choice("shares", typed, MixedBy)),
    "ingredients": ("ingredients", lambda typed: _ingredients(typed)),
    "density_kg_l": (
        "density_kg_m3",
        lambda typed: figure("density", typed, DENSITY_KG_L, "kg/l", kg_m3_from_kg_l(1.0)),
    ),
    "flash_point_c": ("flash_point_c", lambda typed: figure("flash point", typed, FLASH_POINT_C, "°C")),
    "isocyanate": ("isocyanate", lambda typed: says("isocyanate", typed)),
    "formaldehyde": ("formaldehyde", lambda typed: says("formaldehyde", typed)),
    "self_heating": ("self_heating", lambda typed: says("drying oil", typed)),
    "dry_after_h": ("dry_after_s", lambda typed: dry_after_s(typed)),
    "dew_gap_c": ("dew_gap_c", lambda typed: figure("surface above the dew point", typed, DEW_GAP_C, "C°")),
    "rh_max_pct": ("rh_max_pct", lambda typed: figure("most humidity", typed, RH_MAX_PCT, "%RH")),
    "surface_min_c": ("surface_min_c", lambda typed: figure("coldest surface", typed, SURFACE_MIN_C, "°C")),
    "sheet": ("sheet", lambda typed: fields.text("data sheet", typed, SHEET_LENGTH)),
    "note": ("note", lambda typed: fields.text("note", typed, entering.NOTE_LENGTH)),
}


def values_of(typed: dict[str, Any]) -> dict[str, Any]:
    """Return the fields of a FinishFact of what was typed; raises BadInput naming what cannot be."""
    unknown = sorted(set(typed) - set(_READ))
    if unknown:
        raise BadInput("field", unknown[0], "one of " + ", ".join(_READ))
    return {_READ[key][0]: _READ[key][1](value) for key, value in typed.items()}


def figure(field: str, typed: Typed, accepted: tuple[float, float], unit: str, scale: float = 1.0) -> float | None:
    """Return a figure that may stay empty, times ``scale``."""
    return scale * fields.number(field, typed, *accepted, unit) if _given(typed) else None


def dry_after_s(typed: Typed) -> float | None:
    """Return after how long it is dry to handle [s], typed as hours or with its unit: 0.75, 45 min, 2 h.

    Sheets print minutes and hours: a bare number of more than half a day is asked back for its unit.
    """
    plain = str("" if typed is None else typed).strip().lower()
    unit = DRY_UNIT.search(plain)
    figure = plain[: unit.start()] if unit else typed
    if not _given(figure) and not unit:
        return None
    if unit and unit["unit"].startswith("m"):
        low, high = (MIN_PER_H * one for one in DRY_AFTER_H)
        return fields.number(DRY, figure, math.ceil(low), high, "min") * S_PER_MINUTE
    hours = fields.number(DRY, figure, *DRY_AFTER_H, "h")
    if hours > DRY_BARE_H and unit is None and isinstance(typed, str):
        raise BadInput(DRY, plain, f"a time with its unit, such as {plain} min or {plain} h")
    return hours * S_PER_HOUR


def dry_after_told(after_s: float | None) -> str:
    """Return after how long it is dry as it is typed, exact; empty where nobody said."""
    if after_s is None:
        return ""
    short = after_s < 2.0 * S_PER_HOUR
    return f"{after_s / S_PER_MINUTE:.6g} min" if short else f"{after_s / S_PER_HOUR:.6g} h"


def _given(typed: Any) -> bool:
    return typed is not None and str(typed).strip() != ""


def _ingredients(typed: str) -> str:
    """Return the ingredients as they were typed, a line each, once each line has been understood."""
    parse_ingredients(typed)
    return "\n".join(ingredients.lines_of(typed))


def says(field: str, typed: Said) -> bool | None:
    """Return what was typed of a data sheet: yes, no, or None where it was not read for it."""
    if typed is None or isinstance(typed, bool):
        return typed
    wanted = typed.strip().lower() or NOT_READ
    if wanted not in SHEET_SAYS:
        raise BadInput(field, typed, "one of " + ", ".join(SHEET_SAYS))
    return SHEET_SAYS[wanted]


def sheet_says(flag: bool | None) -> str:
    """Return in a word what a data sheet says of something: yes, no, or that it was not read for it."""
    return next(word for word, said in SHEET_SAYS.items() if said is flag)


def unread(values: dict[str, Any]) -> str:
    """Say what is still to be looked up, so that nobody takes an empty field for a no; and what its words tell."""
    told = by_its_words(values)
    missing = [flag for flag in ("isocyanate", "formaldehyde") if values[flag] is None]
    if not missing and values["ingredients"]:
        return told
    what = [
        *(["its ingredients"] if not values["ingredients"] else []),
        *(f"whether it holds {one}" for one in missing),
    ]
    return (
        f"{told} Still to be read in its data sheet: {display.listed(what)}; until then nothing is said of its vapour."
    )


def by_its_words(values: dict[str, Any]) -> str:
    """Say what it is judged as by its name or its ingredients, where that was not said or denied."""
    heard = finish_versions.heard(values["name"], values["ingredients"])
    found = [words for flag, words in WORDS_TELL.items() if heard[flag] and not values[flag]]
    return f" Its name or an ingredient tells of {display.listed(found)}: it is judged so." if found else ""
