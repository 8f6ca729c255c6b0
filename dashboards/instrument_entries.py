"""Entries about instruments: meters and the pairs they are calibrated with, checks of hygrometers, bag tests."""

from __future__ import annotations

from typing import Any

from dashboards import entering, fields
from dashboards.entering import Connection, Entered, hand
from kiln import hygrometers, observations
from shared import tables
from shared.errors import BadInput
from shared.store import facts
from shared.store import records as r
from shared.store.records import SubjectKind
from shared.units import S_PER_HOUR, kg_from_g, m3_from_l

WOOD_C = (-40.0, 60.0)
ROOM_C = (0.0, 50.0)
SECTION_G = (0.01, 100_000.0)
WETTEST_OVER_DRY = 6.0  # 500 %MC: wetter than any sound wood
FACES_H = 1.0  # about how long the faces need to make the air of a bag; kiln.bag has it for each piece
OVER_SALTS_H = 24.0  # unless somebody says; judgement
BAG_L = (0.05, 2000.0)
WAITED_H = (0.1, 10_000.0)
RH_ERROR_PCT = (0.1, 20.0)
READING_ERROR_RH_PCT = 0.7  # of a reading over a salt: never wholly settled; judgement

Typed = str | float | None


def wood_temperature_c(typed: Typed) -> float | None:
    """Return how warm the wood was; None when nobody said."""
    return fields.number("wood temperature", typed, *WOOD_C, "°C") if _given(typed) else None


def section_kg(wet_g: Typed, dry_g: Typed) -> tuple[float, float]:
    """Return the mass of a section wet and oven-dry [kg]; raises BadInput when they cannot be one section's."""
    dry = fields.number("oven-dry mass of the section", dry_g, *SECTION_G, "g")
    wet = fields.number("wet mass of the section", wet_g, *SECTION_G, "g")
    if not dry < wet <= WETTEST_OVER_DRY * dry:
        accepted = f"more than its oven-dry mass of {dry:g} g, and at most six times it"
        raise BadInput("wet mass of the section", f"{wet:g} g", accepted)
    return kg_from_g(wet), kg_from_g(dry)


def add_meter(
    connection: Connection,
    code: str,
    *,
    species: str,
    by: str,
    now_ms: int,
    origin: str = r.Origin.FRESH,
    name: str = "",
    calibration_temperature_c: Typed = None,
    note: str = "",
    true_at_ms: int | None = None,
) -> Entered:
    """Enter a pin meter on one lot of wood, and the wood temperature (°C) for which its scale is made."""
    at = hand(connection, by, now_ms, true_at_ms)
    entering.checked_code(SubjectKind.METER, code)
    usual = tables.constants("meters")["calibration_temperature_c"].value
    temperature = calibration_temperature_c if _given(calibration_temperature_c) else usual
    values = {
        "name": fields.text("name", name or code, entering.NAME_LENGTH, needed=True),
        "species": tables.find_species(species).botanical_name,
        "origin": fields.choice("origin", origin, r.Origin),
        "calibration_temperature_c": fields.number("calibration temperature", temperature, *ROOM_C, "°C"),
        "note": fields.text("note", note, entering.NOTE_LENGTH),
    }
    meter = entering.new_subject(connection, SubjectKind.METER, code)
    made = at.write(r.MeterFact, meter, **values)
    return Entered(meter, "meter", made, f"Meter {meter.code} is entered; now read it on offcuts and oven-dry them.")


def meter_of(connection: Connection, code: str) -> tuple[r.Subject, r.MeterFact]:
    """Return a meter and what it is."""
    found = facts.subject(connection, SubjectKind.METER, code)
    return found, entering.described(connection, r.MeterFact, found)


def meter_for(connection: Connection, code: str, board: r.BoardFact) -> int:
    """Return the number of a meter that may read a board; raises BadInput when its lot is another wood."""
    meter, fact = meter_of(connection, code)
    if fact.species != board.species:
        accepted = f"a meter calibrated on {board.species}; this one was on {fact.species}"
        raise BadInput("meter", meter.code, accepted)
    return meter.id


def add_meter_pair(
    connection: Connection,
    code: str,
    *,
    reading_pct: Typed,
    wet_g: Typed,
    dry_g: Typed,
    by: str,
    now_ms: int,
    temperature_c: Typed = None,
    true_at_ms: int | None = None,
) -> Entered:
    """Enter what a meter read on an offcut (%MC), and the offcut's mass in g then and oven-dry."""
    at = hand(connection, by, now_ms, true_at_ms)
    meter, fact = meter_of(connection, code)
    low, high = (tables.constants("meters")[f"rule_{end}_mc_pct"].value for end in ("lowest", "highest"))
    reading = fields.number("pin reading", reading_pct, low, high, "%, where a meter can be calibrated")
    temperature = wood_temperature_c(temperature_c)
    wet, dry = section_kg(wet_g, dry_g)
    true_pct = 100.0 * (wet - dry) / dry
    if not low <= true_pct <= high:
        accepted = f"masses that make {low:g} to {high:g} %, where a meter can be calibrated"
        raise BadInput("wet mass of the section", f"{true_pct:.1f} % over oven-dry", accepted)
    # Refuses what no meter can tell.
    observations.offcut(reading, temperature, fact.calibration_temperature_c, wet, dry)
    values = {"reading_pct": reading, "wood_temperature_c": temperature, "wet_mass_kg": wet, "dry_mass_kg": dry}
    made = at.write(r.MeterPair, meter, **values)
    return Entered(meter, "meter-pair", made, f"Meter {meter.code} read {reading:g} % on wood at {true_pct:.1f} %.")


def check_hygrometer(
    connection: Connection,
    code: str,
    *,
    temperature_c: Typed,
    low_salt: str,
    low_read_rh_pct: Typed,
    by: str,
    now_ms: int,
    high_salt: str = "",
    high_read_rh_pct: Typed = None,
    waited_h: Typed = None,
    true_at_ms: int | None = None,
) -> Entered:
    """Enter what a probe read over one or two saturated salts; from then on its humidity is corrected when read.

    The ``waited_h`` hours before, over the salts (empty: a day), are not the air of its place.
    """
    at = hand(connection, by, now_ms, true_at_ms)
    probe = facts.subject(connection, SubjectKind.PROBE, code)
    entering.described(connection, r.ProbeFact, probe)
    values: dict[str, Any] = {"temperature_c": fields.number("temperature", temperature_c, *ROOM_C, "°C")}
    hours = waited_h if _given(waited_h) else OVER_SALTS_H
    values["waited_s"] = S_PER_HOUR * fields.number("hours over the salts", hours, *WAITED_H, "h")
    for end, salt, read in (("low", low_salt, low_read_rh_pct), ("high", high_salt, high_read_rh_pct)):
        values |= _point(end, salt, read)
    if values["low_salt"] and values["low_salt"] == values["high_salt"]:
        raise BadInput("high salt", values["high_salt"], "another salt than the drier one, or none")
    if not (values["low_salt"] or values["high_salt"]):
        raise BadInput("salt", "", "one or two of " + ", ".join(hygrometers.salts()))
    calibration = calibration_of(**values)  # refuses readings that no sound probe gives
    made = at.write(r.HygrometerCheck, probe, **values)
    told = f"Probe {probe.code} is checked: {_words(calibration)}. What it sent stays; it is corrected when read."
    return Entered(probe, "hygrometer-check", made, told)


def _point(end: str, salt: str, read: Typed) -> dict[str, Any]:
    if not str(salt or "").strip():
        if _given(read):
            raise BadInput(f"{end} salt", "", "the salt over which it read that")
        return {f"{end}_salt": "", f"{end}_read_rh_pct": None}
    return {
        f"{end}_salt": hygrometers.find_salt(salt).formula,
        f"{end}_read_rh_pct": fields.number(f"{end} reading", read, 0.0, 104.0, "%RH"),
    }


def calibration_of(
    *,
    temperature_c: float,
    low_salt: str,
    low_read_rh_pct: float | None,
    high_salt: str,
    high_read_rh_pct: float | None,
    **_others: Any,
) -> hygrometers.Calibration:
    """Return the calibration that a check makes; raises BadInput for readings that no sound probe gives."""
    points = [
        hygrometers.Point(salt, temperature_c, read, READING_ERROR_RH_PCT)
        for salt, read in ((low_salt, low_read_rh_pct), (high_salt, high_read_rh_pct))
        if salt and read is not None
    ]
    return hygrometers.calibrate(points)


def _words(calibration: hygrometers.Calibration) -> str:
    told = []
    for read in sorted({calibration.low_rh_pct, calibration.high_rh_pct}):
        away = float(calibration.apply(read)) - read
        told.append(f"{abs(away):.1f} %RH too {'low' if away > 0 else 'high'} when it shows {read:.0f}")
    return f"it reads {' and '.join(told)}"


def add_bag_test(
    connection: Connection,
    code: str,
    *,
    temperature_c: Typed,
    rh_pct: Typed,
    waited_h: Typed,
    bag_l: Typed,
    last_moved: str,
    by: str,
    now_ms: int,
    probe: str = "",
    rh_error_pct: Typed = None,
    true_at_ms: int | None = None,
) -> Entered:
    """Enter what a hygrometer read, sealed in a bag of ``bag_l`` litres of air with the board.

    With ``probe`` the figure is that probe's own, and its checks correct it; otherwise ``rh_error_pct`` says
    how well the hygrometer is known (empty: as one that was never checked).
    """
    at = hand(connection, by, now_ms, true_at_ms)
    board, _fact = entering.board_at(connection, code, at.true_at_ms)
    by_probe = facts.subject(connection, SubjectKind.PROBE, probe) if probe.strip() else None
    error = rh_error_pct if _given(rh_error_pct) else tables.limit("unchecked_hygrometer")
    values = {
        "temperature_c": fields.number("temperature in the bag", temperature_c, *ROOM_C, "°C"),
        "rh_pct": fields.number("humidity in the bag", rh_pct, 0.0, 104.0, "%RH"),
        "rh_error_pct": fields.number("error of the hygrometer", error, *RH_ERROR_PCT, "%RH"),
        "probe_id": None if by_probe is None else by_probe.id,
        "last_moved": fields.choice("which way it last went", last_moved, r.LastMoved),
        "waited_s": S_PER_HOUR * fields.number("hours in the bag", waited_h, *WAITED_H, "h"),
        "air_volume_m3": m3_from_l(fields.number("air in the bag", bag_l, *BAG_L, "litres")),
    }
    made = at.write(r.BagTest, board, **values)
    told = f"Board {board.code}: {values['rh_pct']:g} %RH at {values['temperature_c']:g} °C in the bag."
    if values["waited_s"] < FACES_H * S_PER_HOUR:
        told += f" Closed for less than about {FACES_H:g} h it tells nothing of the wood."
    return Entered(board, "bag-test", made, told)


def _given(typed: Typed) -> bool:
    return typed is not None and str(typed).strip() != ""
