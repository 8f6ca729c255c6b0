"""A place's usual months: twelve mean temperatures and humidities, typed or from a file of twelve lines."""

from __future__ import annotations

import calendar
import csv
import io
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from dashboards import fields
from dashboards.entering import Connection, Entered, hand
from shared.errors import BadInput, Refused
from shared.store import facts
from shared.store import records as r
from shared.store.records import SubjectKind
from shared.tables import rows

MONTHS = tuple(calendar.month_name[1:])
COLUMNS = ("month", "temperature_c", "rh_pct")
SOURCE_LENGTH = 200
SATURATED_PCT = 100.0
LONGEST_FILE_BYTES = 20_000

Cells = tuple[Any, Any]  # a month's temperature and humidity as they were typed


def say_climate(
    connection: Connection, code: str, *, months: Mapping[int, Cells], source: str, by: str, now_ms: int
) -> Entered:
    """Enter a place's usual air by month, 1 to 12: temperature (°C) and humidity (%RH), and whose figures they are.

    What was entered for the place before gives way to it.
    """
    at = hand(connection, by, now_ms)
    place = facts.subject(connection, SubjectKind.PLACE, code)
    values = _values(months) | {"source": fields.text("source", source, SOURCE_LENGTH, needed=True)}
    before = held(connection, place.id)
    made = at.write(r.PlaceClimate, place, supersedes=before.id if before else None, **values)
    return Entered(place, "climate", made, f"The usual months of place {place.code} are entered.")


def held(connection: Connection, place_id: int) -> r.PlaceClimate | None:
    """Return the usual months of a place; None: nobody entered them."""
    standing = facts.standing(connection, r.PlaceClimate, place_id)
    return standing[-1] if standing else None


def ranges() -> dict[str, tuple[float, float]]:
    """Return what a probe may say of temperature [°C] and humidity [%RH]; a mean is never above saturation."""
    found = {row["quantity"]: (float(row["low"]), float(row["high"])) for row in rows("probe_limits")}
    low, high = found["rh_pct"]
    return {"temperature_c": found["temperature_c"], "rh_pct": (low, min(high, SATURATED_PCT))}


def _values(months: Mapping[int, Cells]) -> dict[str, tuple[float, ...]]:
    missing = [MONTHS[one - 1] for one in range(1, 13) if one not in months]
    if missing:
        raise BadInput("months", f"without {', '.join(missing)}", "all twelve, each with temperature and humidity")
    warm, humid = ranges()["temperature_c"], ranges()["rh_pct"]
    read = [
        (
            fields.number(f"temperature of {name}", months[number][0], *warm, "°C"),
            fields.number(f"humidity of {name}", months[number][1], *humid, "%RH"),
        )
        for number, name in enumerate(MONTHS, start=1)
    ]
    return {"temperature_c": tuple(t for t, _rh in read), "rh_pct": tuple(rh for _t, rh in read)}


def refuse_second(connection: Connection, about: r.Subject, entry: r.PlaceClimate) -> None:
    """Raise Refused when months that were taken back are put back while others stand."""
    if entry.withdrawn and held(connection, about.id):
        raise Refused(f"Other months of place {about.code} are entered by now: take those back first.")


def read_file(path: Path) -> dict[int, Cells]:
    """Return the cells of a CSV file by month; columns month, temperature_c, rh_pct; months 1 to 12 or by name.

    Columns are parted by commas, or by semicolons where commas are decimal signs. Raises BadInput or Refused.
    """
    text = _text(path)
    reader = csv.DictReader(io.StringIO(text, newline=""), delimiter=";" if ";" in text else ",")
    named = {str(name).strip().lower(): name for name in reader.fieldnames or ()}
    missing = [name for name in COLUMNS if name not in named]
    if missing:
        raise BadInput("first line of the file", ",".join(reader.fieldnames or ()), ",".join(COLUMNS))
    found: dict[int, Cells] = {}
    for line, row in enumerate(reader, start=2):
        month = _month(row[named["month"]], line)
        if month in found:
            raise BadInput("month", f"{MONTHS[month - 1]} again in line {line}", "each month once")
        found[month] = (row[named["temperature_c"]], row[named["rh_pct"]])
    return found


def _text(path: Path) -> str:
    try:
        raw = path.read_bytes()[: LONGEST_FILE_BYTES + 1]
        if len(raw) > LONGEST_FILE_BYTES:
            raise BadInput("file", path, f"twelve lines under {','.join(COLUMNS)}")
        return raw.decode("utf-8-sig")
    except OSError as error:
        raise Refused(f"{path} cannot be read: {error.strerror or error}.") from error
    except UnicodeDecodeError:
        raise BadInput("file", path, "a text file in UTF-8") from None


def _month(typed: str | None, line: int) -> int:
    wanted = (typed or "").strip().lower()
    if wanted.isdecimal() and 1 <= int(wanted) <= 12:
        return int(wanted)
    for number, name in enumerate(MONTHS, start=1):
        if wanted in (name.lower(), name[:3].lower()):
            return number
    raise BadInput(f"month in line {line}", (typed or "").strip(), "1 to 12, or a name such as March")
