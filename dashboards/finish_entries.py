"""Entries of the finish room: finishes by their data sheets, the room's figures, what was sprayed, surfaces measured.

None of a yes or no means that the data sheet was not read for it, which never counts as no.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from dashboards import acknowledging, data_sheet, display, entering, fields, finish_flags, room_figures
from dashboards.data_sheet import Said, Typed
from dashboards.entering import Connection, Entered, Hand, hand
from shared.errors import BadInput, Refused
from shared.store import facts
from shared.store import records as r
from shared.store.records import ExtractionKnown, FinishFact, FinishRoom, MixedBy, Sprayed, SubjectKind, SurfaceReading
from shared.units import MS_PER_DAY, MS_PER_HOUR, S_PER_MINUTE, l_from_m3, m3_from_l

LITRES = (0.01, 200.0)
MINUTES = (0.5, 600.0)
SURFACE_C = (-30.0, 80.0)
AIR_C = (-30.0, 60.0)
RH_PCT = (0.0, 100.0)
WHAT_LENGTH = 80
OLD_MS = MS_PER_DAY  # what is told of longer ago is asked back
SOON_MS = MS_PER_HOUR  # so far ahead a spraying may be entered that is about to begin


def add_finish(
    connection: Connection,
    code: str,
    *,
    by: str,
    now_ms: int,
    name: str = "",
    basis: str = MixedBy.MASS,
    ingredients: str = "",
    density_kg_l: Typed = None,
    flash_point_c: Typed = None,
    isocyanate: Said = None,
    formaldehyde: Said = None,
    self_heating: Said = None,
    dry_after_h: Typed = None,
    dew_gap_c: Typed = None,
    rh_max_pct: Typed = None,
    surface_min_c: Typed = None,
    sheet: str = "",
    note: str = "",
    true_at_ms: int | None = None,
) -> Entered:
    """Enter a finish as its data sheet tells of it: ingredients one a line with their shares by mass or by volume.

    An empty figure: the sheet does not print it. ``isocyanate``, ``formaldehyde`` and ``self_heating`` (a drying oil):
    yes, no, or not read (empty).
    """
    at = hand(connection, by, now_ms, true_at_ms)
    entering.checked_code(SubjectKind.FINISH, code)
    figures = {
        "density_kg_l": density_kg_l,
        "flash_point_c": flash_point_c,
        "dry_after_h": dry_after_h,
        "dew_gap_c": dew_gap_c,
        "rh_max_pct": rh_max_pct,
        "surface_min_c": surface_min_c,
    }
    says = {"isocyanate": isocyanate, "formaldehyde": formaldehyde, "self_heating": self_heating}
    texts = {"name": name or code, "basis": basis, "ingredients": ingredients, "sheet": sheet, "note": note}
    values = data_sheet.values_of(texts | figures | says)
    finish = entering.new_subject(connection, SubjectKind.FINISH, code)
    made = at.write(FinishFact, finish, closed=False, **values)
    return Entered(finish, "finish", made, f"Finish {finish.code} is entered.{data_sheet.unread(values)}")


def change_finish(
    connection: Connection,
    code: str,
    *,
    by: str,
    now_ms: int,
    supersedes: int | None = None,
    sure: Said = None,
    **typed: Any,
) -> Entered:
    """Correct what a finish's data sheet says; arguments as of ``add_finish``.

    For what was sprayed before, the worse of what stood then and now counts (``finish_versions``). What is not given,
    or None, stays as it was. ``supersedes``: the entry that was looked at while correcting. ``sure``: its data sheet
    was read, and names nothing any more of what is taken away (``finish_flags``).
    """
    finish, before = finish_of(connection, code)
    if before.closed:
        raise Refused(f"The finish {finish.code} is no longer on the shelf; put it back before you correct it.")
    at = hand(connection, by, now_ms, before.true_at_ms)
    given = {name: value for name, value in typed.items() if value is not None}
    values = facts.own_values(before) | data_sheet.values_of(given)
    finish_flags.ask_back(before, replace(before, **values), sure)
    made = at.write(FinishFact, finish, supersedes=supersedes or before.id, **values)
    return Entered(finish, "finish", made, f"Finish {finish.code} is corrected.{data_sheet.unread(values)}")


def close_finish(connection: Connection, code: str, *, by: str, now_ms: int) -> Entered:
    """Take a finish off the shelf; what was sprayed of it stays."""
    finish, before = finish_of(connection, code)
    at = hand(connection, by, now_ms)
    if before.closed:
        raise Refused(f"The finish {finish.code} is off the shelf already.")
    made = at.write(FinishFact, finish, **facts.own_values(before) | {"closed": True})
    return Entered(finish, "finish", made, f"Finish {finish.code} is off the shelf; what was sprayed of it stays.")


def reopen_finish(connection: Connection, code: str, *, by: str, now_ms: int) -> Entered:
    """Put a finish back on the shelf that was taken off it, as it was."""
    finish, before = finish_of(connection, code)
    at = hand(connection, by, now_ms)
    if not before.closed:
        raise Refused(f"The finish {finish.code} is on the shelf already.")
    made = at.write(FinishFact, finish, **facts.own_values(before) | {"closed": False})
    return Entered(
        finish,
        "finish",
        made,
        f"Finish {finish.code} is back on the shelf.{data_sheet.unread(facts.own_values(before))}",
    )


def finish_of(connection: Connection, code: str) -> tuple[r.Subject, FinishFact]:
    """Return a finish and what is known of it."""
    found = facts.subject(connection, SubjectKind.FINISH, code)
    return found, entering.described(connection, FinishFact, found)


def say_finish_room(
    connection: Connection,
    code: str,
    *,
    volume: Typed,
    by: str,
    now_ms: int,
    extraction: Typed = None,
    extraction_known: str = "",
    mixing_factor: Typed = None,
    sure: Said = None,
    true_at_ms: int | None = None,
) -> Entered:
    """Say how large a finish room is, how much air is drawn out of it, and how badly that mixes with the room's.

    ``volume`` in m³ or as length × width × height with their unit; ``extraction`` in m³/h, or none; empty: nobody
    knows; ``mixing_factor`` 3 to 10, empty: 10, the worst of the published range. Figures that are rarely so, or differ
    more than threefold from those before, are refused unless ``sure``.
    """
    at = hand(connection, by, now_ms, true_at_ms)
    room = _finish_room(connection, code)
    size_m3, drawn_m3_s = room_figures.volume_m3(volume), room_figures.extraction_m3_s(extraction)
    room_figures.refuse_unbelievable(size_m3, drawn_m3_s)
    if not fields.yes(sure):
        held = facts.standing(connection, FinishRoom, room.id)
        before = (held[-1].volume_m3, held[-1].extraction_m3_s) if held else None
        room_figures.ask_back(size_m3, room_figures.height_m(volume), drawn_m3_s, before)
    known = fields.choice("how it is known", extraction_known, ExtractionKnown)
    values = {
        "volume_m3": size_m3,
        "extraction_m3_s": drawn_m3_s,
        "extraction_known": ExtractionKnown.UNSAID if drawn_m3_s is None else known,
        "mixing_factor": room_figures.mixing_factor(mixing_factor),
    }
    made = at.write(FinishRoom, room, **values)
    said = room_words(facts.get(connection, FinishRoom, made))
    return Entered(room, "finish-room", made, f"Finish room {room.code}: {said}.")


def room_words(one: FinishRoom) -> str:
    """Return a finish room's figures as a line without its stop."""
    return f"{room_figures.volume_told(one.volume_m3)}, {extraction_words(one)}, mixing factor {one.mixing_factor:g}"


def extraction_words(one: FinishRoom) -> str:
    """Return how much air is drawn out of a room, and how that is known."""
    if one.extraction_m3_s is None:
        return "no extraction known, counted as none"
    if not one.extraction_m3_s:
        return "no extraction"
    known = one.extraction_known or "nobody says how that is known"
    return f"extraction {room_figures.extraction_told(one.extraction_m3_s)} ({known})"


def add_sprayed(
    connection: Connection,
    code: str,
    *,
    finish: str,
    litres: Typed,
    minutes: Typed,
    by: str,
    now_ms: int,
    extraction_on: Said = None,
    sure: Said = None,
    true_at_ms: int | None = None,
) -> Entered:
    """Enter what was sprayed in a finish room: of which finish how many litres, in how many minutes from then on.

    Extraction counts only where it is said to have run. A spraying about to begin may be entered an hour ahead; one of
    more than a day ago only by whoever is ``sure`` of the date.
    """
    at = _soon(hand(connection, by, now_ms), true_at_ms)
    _ask_back_old(at, sure)
    room = _finish_room(connection, code)
    if not str(finish or "").strip():
        raise BadInput("finish", "", "the code of a finish on the shelf")
    product = finish_of(connection, finish)[0]
    history = facts.standing(connection, FinishFact, product.id)
    if (facts.at(history, at.true_at_ms) or history[0]).closed:
        raise Refused(f"The finish {product.code} was off the shelf by then; put it back, or enter another.")
    litre = fields.number("amount", litres, *LITRES, "litres")
    minute = fields.number("minutes of spraying", minutes, *MINUTES, "min")
    running = fields.yes(extraction_on)
    values = {"liquid_m3": m3_from_l(litre), "duration_s": minute * S_PER_MINUTE, "extraction_on": running}
    made = at.write(Sprayed, room, finish_id=product.id, **values)
    said = sprayed_words(facts.get(connection, Sprayed, made), product.code)
    return Entered(room, "spraying", made, f"{_entered_for(room, at)}: {said}.")


def sprayed_words(one: Sprayed, finish_code: str) -> str:
    """Return what was sprayed as a line without its stop."""
    extraction = "with the extraction on" if one.extraction_on else "without extraction"
    minutes = one.duration_s / S_PER_MINUTE
    return f"{litres_words(one)} of {finish_code} sprayed in {minutes:.4g} min, {extraction}"


def litres_words(one: Sprayed) -> str:
    """Return how much was sprayed."""
    return f"{l_from_m3(one.liquid_m3):.4g} litres"


def _soon(at: Hand, true_at_ms: int | None) -> Hand:
    """Return the person at work, who speaks of a moment that has come or is less than an hour ahead."""
    if true_at_ms is None:
        return at
    latest_ms = at.now_ms + SOON_MS
    if true_at_ms > latest_ms:
        raise BadInput("time", display.moment(true_at_ms), f"a time until {display.moment(latest_ms)}, an hour ahead")
    return replace(at, true_at_ms=fields.past_ms("time", true_at_ms, latest_ms))


def _ask_back_old(at: Hand, sure: Said) -> None:
    """Raise BadInput for a moment more than a day ago, which may be another month's, unless somebody is sure."""
    oldest_ms = at.now_ms - OLD_MS
    if at.true_at_ms < oldest_ms and not fields.yes(sure):
        accepted = f"a time since {display.moment(oldest_ms)}, a day ago, {room_figures.SURE}"
        raise BadInput("time", display.moment(at.true_at_ms), accepted)


def _entered_for(room: r.Subject, at: Hand) -> str:
    """Where it is entered for, with date and hour where that is another day than today's."""
    same_day = display.local(at.true_at_ms).date() == display.local(at.now_ms).date()
    return f"Entered for {room.code}" + ("" if same_day else f", {display.moment(at.true_at_ms)}")


def add_surface_reading(
    connection: Connection,
    code: str,
    *,
    surface_c: Typed,
    what: str,
    by: str,
    now_ms: int,
    air_c: Typed = None,
    rh_pct: Typed = None,
    sure: Said = None,
    true_at_ms: int | None = None,
) -> Entered:
    """Enter how warm a surface in a finish room is (°C), of what, and the air over it where that was read too.

    One of more than a day ago only by whoever is ``sure`` of the date.
    """
    at = hand(connection, by, now_ms, true_at_ms)
    _ask_back_old(at, sure)
    room = _finish_room(connection, code)
    values = {
        "surface_c": fields.number("surface temperature", surface_c, *SURFACE_C, "°C"),
        "air_c": data_sheet.figure("air temperature", air_c, AIR_C, "°C"),
        "rh_pct": data_sheet.figure("humidity", rh_pct, RH_PCT, "%RH"),
        "what": fields.text("what was measured", what, WHAT_LENGTH, needed=True),
    }
    if (values["air_c"] is None) != (values["rh_pct"] is None):
        field = "air temperature" if values["air_c"] is None else "humidity"
        raise BadInput(field, "", "both, temperature and humidity of the air there, or neither")
    made = at.write(SurfaceReading, room, **values)
    said = surface_words(facts.get(connection, SurfaceReading, made))
    return Entered(room, "surface", made, f"{_entered_for(room, at)}: {said}.")


def surface_words(one: SurfaceReading) -> str:
    """Return a reading of a surface as a line without its stop."""
    air = "" if one.air_c is None else f", air {one.air_c:g} °C at {one.rh_pct:g} %RH"
    return f"{one.what} at {one.surface_c:g} °C{air}"


def _finish_room(connection: Connection, code: str) -> r.Subject:
    room = entering.open_place(connection, code)
    if not acknowledging.is_finish_room(connection, room):
        raise Refused(f"The place {room.code} is not entered as a finish room; correct its kind first.")
    return room
