"""What happened on each load cell lately: the continuous weight of what it carries now."""

from __future__ import annotations

from dashboards import cells
from dashboards.yard_entries import read_entries
from kiln.load_cell import Continuous
from shared.store import Connection


def stories(connection: Connection, now_ms: int) -> dict[int, Continuous]:
    """Return, by probe, the weight over the time since the load now on each cell was put on."""
    known = cells.all_cells(connection)
    if not known:
        return {}
    entries = read_entries(connection, now_ms)
    boards = entries.as_weighed()
    found = {}
    for probe_id in known:
        loads = cells.loads_of(known, entries.where, probe_id, now_ms)
        if loads and loads[-1].end_ms == now_ms:
            found[probe_id] = cells.weight(connection, known, entries.where, loads[-1], boards)
    return found
