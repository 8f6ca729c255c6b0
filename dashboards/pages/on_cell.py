"""A board's page: what the load cell under it says, held against what it ought to weigh."""

from __future__ import annotations

from urllib.parse import quote

import numpy as np

from dashboards import cell_story, display
from dashboards.heard import ProbeNow
from dashboards.pages.parts import Link
from dashboards.pages.weigh import Weighing
from dashboards.situation import BoardNow, Situation
from kiln.load_cell import Continuous
from shared.units import MS_PER_HOUR

OLD_MS = 3 * MS_PER_HOUR  # of a weight, from which on it is not called that of now; whole hours count; ours


def on_cell(situation: Situation, board: BoardNow, expected: Weighing) -> Link | None:
    """Say on which load cell a board hangs, or its stack stands, and what that carries; None: on none."""
    probe = next((one for one in situation.probes if _carries(one, board)), None)
    if probe is None or probe.load is None:
        return None
    with situation.store.reading() as connection:
        told = cell_story.stories(connection, situation.now_ms).get(probe.subject.id)
    alone = probe.load.board_id == board.subject.id
    whose = "On" if alone else "Its stack stands on"
    kg, words = _weight(told, situation.now_ms)
    beside = _beside(kg, expected) if alone else ""
    return Link(f"{whose} {probe.fact.name}, {words}{beside}.", f"/probes#{quote(probe.subject.code)}")


def _carries(probe: ProbeNow, board: BoardNow) -> bool:
    load = probe.load
    if load is None:
        return False
    of_stack = load.stack_id is not None and load.stack_id == board.stack_id
    return of_stack or load.board_id == board.subject.id


def _weight(told: Continuous | None, now_ms: int) -> tuple[float | None, str]:
    """The newest weight that can be said, and its words."""
    good = np.flatnonzero(told.usable & told.absolute) if told is not None else ()
    if told is None or not len(good):
        return None, "which has no weight to tell yet: it wants a tare, or a weigh-in of everything on it"
    last = int(good[-1])
    kg, at_ms = float(told.mass_kg[last]), min(int(told.at_ms[last]), now_ms)
    shown = f"{display.mass(kg)} ± {display.mass(told.band_kg(last))}"
    old = now_ms - at_ms > OLD_MS
    return kg, f"which carried {shown} {display.age(at_ms, now_ms)}" if old else f"which carries {shown} now"


def _beside(kg: float | None, expected: Weighing) -> str:
    if kg is None or not expected.expected:
        return ""
    if float(expected.low_kg) <= kg <= float(expected.high_kg):
        return ""
    way = "lighter" if kg < float(expected.low_kg) else "heavier"
    return f": {way} than the {expected.expected} expected"
