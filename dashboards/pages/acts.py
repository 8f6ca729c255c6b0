"""What a sent form does: which entry it makes from what was typed, and the page that it returns to."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from dashboards import cell_entries, entering, entries, fields
from dashboards.acknowledging import FIELD as ACKNOWLEDGED
from dashboards.entries import Entered
from dashboards.pages import finish_acts
from shared.errors import BadInput
from shared.store import facts
from shared.store.records import Lifted

Typed = Mapping[str, str]
Act = Callable[[Any, str, Typed, dict[str, Any]], Entered]


def _when(typed: Typed) -> int | None:
    return fields.moment_ms("time", typed.get("true_at", ""))


def _where(typed: Typed) -> dict[str, str]:
    kind, _colon, code = typed.get("where", "").partition(":")
    return {kind: code} if kind in ("stack", "place") else {}


def _some(typed: Typed, *names: str) -> dict[str, str]:
    return {name: typed.get(name, "") for name in names}


BOARD_FIELDS = ("name", "species", "thickness_mm", "width_mm", "length_mm", "cut", "origin", "note")


def _place_of(typed: Typed) -> dict[str, Any]:
    ticked = {"in_sun": fields.yes(typed.get("in_sun"))}  # a box left empty is not sent at all
    return {**_some(typed, "name", "kind", "altitude_m", "air_speed_m_s", ACKNOWLEDGED), **ticked}


def _add_place(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    return entries.add_place(connection, code, **_place_of(typed), **who)


def _add_probe(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    return entries.add_probe(connection, code, **_some(typed, "topic", "name", "place", ACKNOWLEDGED), **who)


def _add_stack(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    given = _some(typed, "place", "name", "note", "boards_in_all")
    return entries.add_stack(connection, code, **given, true_at_ms=_when(typed), **who)


def _add_board(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    when = _when(typed)
    made = entries.add_board(connection, code, **_some(typed, *BOARD_FIELDS), **_where(typed), true_at_ms=when, **who)
    if typed.get("set_code"):
        entries.put_in_set(connection, code, set_code=typed["set_code"], true_at_ms=when, **who)
    return made


def _add_set(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    return entries.add_set(connection, code, **_some(typed, "name", "note"), **who)


def _change_place(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    return entries.change_place(connection, code, **_place_of(typed), **who)


def _close_place(connection: Any, code: str, _typed: Typed, who: dict[str, Any]) -> Entered:
    return entries.close_place(connection, code, **who)


def _move_probe(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    return entries.move_probe(connection, code, **_some(typed, "place", ACKNOWLEDGED), true_at_ms=_when(typed), **who)


def _move_stack(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    return entries.move_stack(connection, code, place=typed.get("place", ""), true_at_ms=_when(typed), **who)


def _change_stack(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    return entries.change_stack(connection, code, **_some(typed, "name", "note", "boards_in_all"), **who)


def _climate(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    months = {month: (typed.get(f"t_{month}", ""), typed.get(f"rh_{month}", "")) for month in range(1, 13)}
    return entries.say_climate(connection, code, months=months, source=typed.get("source", ""), **who)


def _plan_move_of(kind: str) -> Act:
    def plan_move(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
        return entries.plan_move(connection, code, kind=kind, **_some(typed, "place", "day"), **who)

    return plan_move


def _water(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    given = _some(typed, "kind", "water_g", "faces")
    return entries.add_water(connection, code, **given, true_at_ms=_when(typed), **who)


def _outcome(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    kind, _colon, degree = typed.get("found", "").partition(":")
    given = _some(typed, "thickness_mm", "note")
    return entries.add_outcome(connection, code, kind=kind, degree=degree, **given, true_at_ms=_when(typed), **who)


def _weigh_in(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    unit = "mass_kg" if typed.get("unit") == "kg" else "mass_g"
    return entries.add_weigh_in(
        connection,
        code,
        **{unit: typed.get("mass", "")},
        scale_error_g=typed.get("scale_error_g"),
        sure=fields.yes(typed.get("sure")),
        true_at_ms=_when(typed),
        **who,
    )


def _pin(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    given = _some(typed, "mc_pct", "depth_mm", "temperature_c", "meter")
    return entries.add_pin_reading(connection, code, **given, true_at_ms=_when(typed), **who)


def _oven_dry(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    return entries.add_oven_dry(connection, code, **_some(typed, "wet_g", "dry_g"), true_at_ms=_when(typed), **who)


def _bag_test(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    given = _some(typed, "temperature_c", "rh_pct", "waited_h", "bag_l", "last_moved", "probe", "rh_error_pct")
    return entries.add_bag_test(connection, code, **given, true_at_ms=_when(typed), **who)


def _check(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    given = _some(typed, "temperature_c", "low_salt", "low_read_rh_pct", "high_salt", "high_read_rh_pct", "waited_h")
    return entries.check_hygrometer(connection, code, **given, true_at_ms=_when(typed), **who)


def _carry(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    kind, _colon, what = typed.get("load", "").partition(":")
    load = {kind: what} if kind in ("board", "stack") else {}
    error = typed.get("cell_error_g", "")
    return cell_entries.load_cell(connection, code, **load, cell_error_g=error, true_at_ms=_when(typed), **who)


def _tare(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    reading = typed.get("reading_kg", "")
    return cell_entries.tare_cell(connection, code, reading_kg=reading, true_at_ms=_when(typed), **who)


def _add_meter(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    return entries.add_meter(
        connection, code, **_some(typed, "species", "origin", "name", "calibration_temperature_c", "note"), **who
    )


def _meter_pair(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    given = _some(typed, "reading_pct", "wet_g", "dry_g", "temperature_c")
    return entries.add_meter_pair(connection, code, **given, true_at_ms=_when(typed), **who)


def _move_board(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    return entries.move_board(connection, code, **_where(typed), true_at_ms=_when(typed), **who)


def _rest(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    return entries.say_rest(connection, code, **_some(typed, "rest", "case_air_l"), true_at_ms=_when(typed), **who)


def _coat(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    sealed = fields.yes(typed.get("ends_sealed"))
    return entries.say_coat(
        connection, code, coat=typed.get("coat", ""), ends_sealed=sealed, true_at_ms=_when(typed), **who
    )


def _plane(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    given = _some(typed, "off_marked_mm", "off_other_mm")
    return entries.plane_board(connection, code, **given, true_at_ms=_when(typed), **who)


def _in_two(act: Callable[..., Entered], where: str) -> Act:
    """Sawing in two; ``where``: the field that says at which depth, width or length."""

    def saw(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
        given: dict[str, Any] = _some(typed, "kerf_mm", where, "piece", "piece_name")
        into = entries.Into(**_some(typed, "set_code", "new_set", "role", "piece_role"))
        return act(connection, code, **given, into=into, true_at_ms=_when(typed), **who)

    return saw


def _trim(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    return entries.trim_board(connection, code, **_some(typed, "width_mm", "length_mm"), true_at_ms=_when(typed), **who)


def _correct_board(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    looked_at = int(fields.number("entry that was opened", typed.get("supersedes"), 1, 2**53, ""))
    return entries.correct_board(connection, code, **_some(typed, *BOARD_FIELDS), supersedes=looked_at, **who)


def _join_set(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    return entries.put_in_set(connection, code, **_some(typed, "set_code", "role", "piece_kind"), **who)


def _put_piece(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    as_what = _some(typed, "role", "piece_kind")
    return entries.put_in_set(connection, typed.get("board", ""), set_code=code, **as_what, **who)


def _use_of(kind: str) -> Act:
    def use(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
        given = _some(typed, "use", "destination_rh_pct", "destination_temperature_c", "booked")
        wet = _some(typed, "wanted_mc_low_pct", "wanted_mc_high_pct")
        begun = fields.yes(typed.get("begun"))  # a box left empty is not sent at all
        return entries.plan_use(connection, code, kind=kind, begun=begun, **given, **wet, **who)

    return use


def _override_of(kind: str) -> Act:
    def override(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
        return entries.add_override(connection, code, kind=kind, **_some(typed, "use", "reason"), **who)

    return override


def _lifted(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    marks = _some(typed, "water", "sapwood", "shake", "smell", "note")
    done = {name: fields.yes(typed.get(name)) for name in ("washed", "metal_searched")}
    at_ms = _when(typed)
    if at_ms is None and not facts.standing(connection, Lifted, entering.board(connection, code)[0].id):
        raise BadInput("time", "", "when it was lifted: its clock runs from then on")
    return entries.say_lifted(connection, code, **marks, **done, true_at_ms=at_ms, **who)


def _joint(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    given = _some(typed, "a", "b", "length_mm", "grain_a_deg", "grain_b_deg", "name")
    return entries.add_joint(connection, code, **given, **who)


def _set_region(connection: Any, _code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    return entries.set_region(connection, **_some(typed, "region", "note"), **who)


def _set_limit(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    return entries.set_limit(connection, code, **_some(typed, "value", "reason"), **who)


ACTS: dict[tuple[str, str], Act] = {
    ("add", "place"): _add_place,
    ("add", "probe"): _add_probe,
    ("add", "stack"): _add_stack,
    ("add", "board"): _add_board,
    ("add", "set"): _add_set,
    ("add", "meter"): _add_meter,
    ("place", "change"): _change_place,
    ("place", "close"): _close_place,
    ("probe", "move"): _move_probe,
    ("probe", "check"): _check,
    ("probe", "carry"): _carry,
    ("probe", "tare"): _tare,
    ("meter", "pair"): _meter_pair,
    ("place", "climate"): _climate,
    ("stack", "move"): _move_stack,
    ("stack", "change"): _change_stack,
    ("stack", "plan-move"): _plan_move_of("stack"),
    ("board", "weigh-in"): _weigh_in,
    ("board", "pin"): _pin,
    ("board", "oven-dry"): _oven_dry,
    ("board", "bag-test"): _bag_test,
    ("board", "use"): _use_of("board"),
    ("board", "move"): _move_board,
    ("board", "plan-move"): _plan_move_of("board"),
    ("board", "water"): _water,
    ("board", "outcome"): _outcome,
    ("board", "rest"): _rest,
    ("board", "coat"): _coat,
    ("board", "plane"): _plane,
    ("board", "resaw"): _in_two(entries.resaw_board, "depth_mm"),
    ("board", "rip"): _in_two(entries.rip_board, "width_mm"),
    ("board", "crosscut"): _in_two(entries.crosscut_board, "length_mm"),
    ("board", "trim"): _trim,
    ("board", "correct"): _correct_board,
    ("board", "set"): _join_set,
    ("set", "put"): _put_piece,
    ("set", "use"): _use_of("set"),
    ("board", "override"): _override_of("board"),
    ("set", "override"): _override_of("set"),
    ("board", "lifted"): _lifted,
    ("set", "joint"): _joint,
    ("limit", "set"): _set_limit,
    ("limit", "region"): _set_region,
    **finish_acts.ACTS,
}


def perform(connection: Any, kind: str, act: str, code: str, typed: Typed, by: str, now_ms: int) -> Entered:
    """Make the entry of a sent form; raises BadInput or Refused as the entry does."""
    if (kind, act) not in ACTS:
        raise BadInput("form", f"{kind} {act}", "one of the forms on the pages")
    return ACTS[kind, act](connection, code, typed, {"by": by, "now_ms": now_ms})
