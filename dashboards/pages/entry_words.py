"""Any entry in words and the user's units, by itself: for the log of all that was entered."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from dashboards import data_sheet, display, finish_entries
from dashboards.joint_entries import joint_words
from dashboards.lifted_entries import lifted_words
from dashboards.lying_entries import coat_words, rest_words
from dashboards.outcome_entries import outcome_words
from dashboards.override_entries import override_words
from dashboards.pages import entered
from dashboards.pages.entered import Names
from dashboards.planning_entries import move_words
from dashboards.water_entries import water_words
from kiln.sentences import capital
from shared import tables
from shared.store import records as r
from shared.units import S_PER_HOUR


def words(entry: r.Fact, names: Names) -> str:
    """Return what an entry says, as a line of its own."""
    return capital(WORDS[type(entry)](entry, names))


def _noted(text: str, note: str) -> str:
    return f"{text}: {note}" if note else text


def _name(one: Any, _names: Names) -> str:
    return _noted(one.name, getattr(one, "note", ""))


def _place(one: r.PlaceFact, _names: Names) -> str:
    sun = ", in the sun" if one.in_sun else ""
    return f"{one.name}, {one.kind}, {one.altitude_m:g} m up{sun}{', closed' if one.closed else ''}"


def _measures(one: r.ProbePosition, names: Names) -> str:
    return f"measures in {names.place_name(one.place_id)}" if one.place_id is not None else "measures nowhere"


def _stack(one: r.StackFact, _names: Names) -> str:
    more = f", {one.boards_in_all} boards in all" if one.boards_in_all else ""
    return _noted(f"{one.name}{more}", one.note)


def _stands(one: r.StackPosition, names: Names) -> str:
    return f"to {names.place_name(one.place_id)}" if one.place_id is not None else "nobody says where"


def _cut(one: r.BoardCut, names: Names) -> str:
    left = f"{display.millimetres(one.near_m)} to {display.millimetres(one.far_m)} mm of its depth is left"
    return left if one.from_board_id is None else f"sawn off {names.of[one.from_board_id]}: {left}"


def _outcome(one: r.Outcome, _names: Names) -> str:
    return _noted(outcome_words(one.kind, one.degree, one.thickness_m), one.note)


def _measured(one: r.Fact, _names: Names) -> str:
    return entered.measured([one])[0][1].figure


def _meter(one: r.MeterFact, _names: Names) -> str:
    return _noted(f"{one.name}, on {one.species}, scale for {one.calibration_temperature_c:g} °C", one.note)


def _offcut(one: r.MeterPair, _names: Names) -> str:
    warm = "" if one.wood_temperature_c is None else f" at {one.wood_temperature_c:g} °C"
    weighed = f"{display.mass(one.wet_mass_kg)} wet, {display.mass(one.dry_mass_kg)} oven-dry"
    return f"showed {one.reading_pct:g} %{warm}; {weighed}"


def _check(one: r.HygrometerCheck, _names: Names) -> str:
    over = ((one.low_salt, one.low_read_rh_pct), (one.high_salt, one.high_read_rh_pct))
    read = [f"{value:g} % over {salt}" for salt, value in over if salt]
    return f"read {display.listed(read)} at {one.temperature_c:g} °C"


def _carries(one: r.CellLoad, names: Names) -> str:
    on_it = next((f"{kind} {names.of[held]}" for kind, held in _loads(one) if held is not None), "nothing")
    return f"carries {on_it}, ± {display.mass(one.cell_error_kg)}"


def _loads(one: r.CellLoad) -> tuple[tuple[str, int | None], ...]:
    return ("board", one.board_id), ("stack", one.stack_id)


def _limit(one: r.OwnLimit, _names: Names) -> str:
    return f"{one.value:g}: {one.reason}"


def _joint(one: r.Joint, names: Names) -> str:
    a, b = names.of[one.a_board_id], names.of[one.b_board_id]
    return joint_words(one.name, a, b, one.length_m, one.grain_a_deg, one.grain_b_deg)


def _override(one: r.Override, _names: Names) -> str:
    if one.use not in tables.uses():
        return f"{one.use}: {one.reason}"
    return override_words(one.use, one.entered_by, one.reason)


def _finish(one: r.FinishFact, _names: Names) -> str:
    """The whole of it: a change of any figure is to be seen in the log."""
    named = one.ingredients.replace("\n", "; ") or "ingredients not entered"
    figures = [
        f"{label} {figure}"
        for label, value, figure in (
            ("density", one.density_kg_m3, display.with_unit(one.density_kg_m3, "kg/m³", 0)),
            ("flash point", one.flash_point_c, display.with_unit(one.flash_point_c, "°C")),
            ("dry to handle after", one.dry_after_s, f"{(one.dry_after_s or 0.0) / S_PER_HOUR:.3g} h"),
            ("surface above the dew point", one.dew_gap_c, display.with_unit(one.dew_gap_c, "C°")),
            ("at most", one.rh_max_pct, display.with_unit(one.rh_max_pct, "%RH", 0)),
            ("surface at least", one.surface_min_c, display.with_unit(one.surface_min_c, "°C")),
        )
        if value is not None
    ]
    flags = (("isocyanate", one.isocyanate), ("formaldehyde", one.formaldehyde), ("drying oil", one.self_heating))
    says = [f"{what}: {data_sheet.sheet_says(flag)}" for what, flag in flags]
    sheet = f"sheet {one.sheet}" if one.sheet else "no sheet named"
    parts = [one.name, f"{one.basis}: {named}", *figures, *says, sheet, *(["off the shelf"] if one.closed else [])]
    return _noted("; ".join(parts), one.note)


def _sprayed(one: r.Sprayed, names: Names) -> str:
    return finish_entries.sprayed_words(one, names.of[one.finish_id])


def _acknowledged(one: r.Acknowledged, _names: Names) -> str:
    return f"said of {one.what}: {one.sentence}"


WORDS: dict[type[r.Fact], Callable[..., str]] = {
    **{record: told for _kind, record, told in entered.DESCRIBED},
    r.PlaceFact: _place,
    r.ProbeFact: lambda one, _names: f"{one.name}, topic {one.topic}",
    r.ProbePosition: _measures,
    r.StackFact: _stack,
    r.StackPosition: _stands,
    r.SetFact: _name,
    r.BoardRest: lambda one, _names: f"lies {rest_words(one.rest, one.case_air_m3)}",
    r.BoardCoat: lambda one, _names: coat_words(one.coat, ends_sealed=one.ends_sealed),
    r.BoardCut: _cut,
    r.WaterEvent: lambda one, _names: water_words(one.kind, one.water_kg, one.faces),
    r.Outcome: _outcome,
    r.PlannedMove: lambda one, names: f"planned: {move_words(one, names.place_name(one.place_id), names.now_ms)}",
    r.PlaceClimate: lambda one, _names: _noted("its usual months", one.source),
    r.WeighIn: _measured,
    r.PinReading: _measured,
    r.OvenDryResult: _measured,
    r.BagTest: _measured,
    r.MeterFact: _meter,
    r.MeterPair: _offcut,
    r.HygrometerCheck: _check,
    r.CellLoad: _carries,
    r.CellTare: lambda one, _names: f"read {one.reading_kg:g} kg empty",
    r.OwnLimit: _limit,
    r.Override: _override,
    r.Lifted: lambda one, _names: _noted(lifted_words(one), one.note),
    r.Joint: _joint,
    r.FinishFact: _finish,
    r.FinishRoom: lambda one, _names: finish_entries.room_words(one),
    r.Sprayed: _sprayed,
    r.SurfaceReading: lambda one, _names: finish_entries.surface_words(one),
    r.Acknowledged: _acknowledged,
    r.AirRegion: lambda one, _names: _noted(f"for breathed air, limits of {one.region}", one.note),
}
