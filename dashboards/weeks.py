"""The driest and the wettest week on record of a place, worked out once in an hour."""

from __future__ import annotations

import threading
from collections import OrderedDict
from weakref import WeakKeyDictionary

from dashboards import airs, calibrations
from dashboards.airs import Positions, Stay
from dashboards.calibrations import Checks
from dashboards.time_ahead import RECORD_DAYS
from kiln import promise
from kiln.promise import Air
from shared.store import Connection, Store
from shared.units import MS_PER_DAY, MS_PER_HOUR

MOST_HELD = 64  # places kept in memory

Weeks = tuple[Air, Air]
# By store: the same file as it was known at another time is another store.
_HELD: WeakKeyDictionary[Store, OrderedDict[tuple[int, int, str], Weeks | None]] = WeakKeyDictionary()
_ONE_AT_A_TIME = threading.Lock()


def of_place(store: Store, place_id: int, now_ms: int) -> Weeks | None:
    """Return the driest and the wettest week of a place's logged air of the last three years; None: not a week yet.

    A reading that comes late to an hour long past counts from the next full hour on.
    """
    with _ONE_AT_A_TIME, store.reading() as connection:
        where, checks = airs.positions(connection), calibrations.all_checks(connection)
        spans = where.probes_of(place_id)
        told = [str(checks.get(probe_id)) for probe_id, _begin, _finish in spans]
        held = _HELD.setdefault(store, OrderedDict())
        key = (place_id, now_ms // MS_PER_HOUR, f"{spans} {told}")
        if key not in held:
            held[key] = _read(connection, where, checks, place_id, now_ms)
            while len(held) > MOST_HELD:
                held.popitem(last=False)
        return held[key]


def _read(
    connection: Connection, where: Positions, checks: dict[int, Checks], place_id: int, now_ms: int
) -> Weeks | None:
    first_ms = airs.first_air_ms(connection, where, place_id)
    if first_ms is None or first_ms > now_ms - MS_PER_HOUR:
        return None
    begin_ms = max(first_ms, now_ms - RECORD_DAYS * MS_PER_DAY)
    air = airs.place_air(connection, where, place_id, begin_ms, now_ms)
    return promise.weeks(air, airs.way_rh_error_pct(where, checks, [Stay(begin_ms, now_ms, place_id)]))
