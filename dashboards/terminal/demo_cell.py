"""Oxlip Weir's load cell: one board of the raised plane lies on it. Its figures are invented like all of the demo's."""

from __future__ import annotations

import json

import numpy as np

from dashboards import cell_entries
from dashboards.terminal.demo_boards import PEOPLE, Board, moment_ms, story
from dashboards.terminal.demo_truth import masses_kg, seed_of
from sensors.replay import Outgoing, iso_time
from shared.store import Connection, Store, facts, readings
from shared.store.records import CellLoad, ProbeFact, Quantity, SubjectKind
from shared.units import MS_PER_DAY, MS_PER_MINUTE, Array

CODE, TOPIC, BOARD = "log-scale", "workshop/log-shed/log-scale", "RP-2"
TARED_DAYS_AGO, LAID_DAYS_AGO = 36.5, 36.4
STEP_MS = 10 * MS_PER_MINUTE
ZERO_KG, WARMTH_KG, NOISE_KG, ERROR_G = 0.342, 0.004, 0.003, 5.0
LIFTED_MS = 20 * MS_PER_MINUTE  # off the cell, at each weigh-in


def messages(store: Store, first_run_ms: int, now_ms: int) -> list[Outgoing]:
    """Return what the cell has said up to now and is not stored yet, every ten minutes since it was tared."""
    with store.reading() as connection:
        stored_ms = _last_stored_ms(connection)
    start_ms = max(moment_ms(first_run_ms, TARED_DAYS_AGO), stored_ms + 1)
    times = np.arange(-(-start_ms // STEP_MS) * STEP_MS, now_ms + 1, STEP_MS, dtype=np.int64)
    if len(times) == 0:
        return []
    told = zip(times, said_kg(first_run_ms, times), strict=True)
    return [Outgoing(TOPIC, _payload(float(kg), iso_time(at_ms)), 1) for at_ms, kg in told]


def live(first_run_ms: int, now_ms: int) -> Outgoing:
    """Return what the cell says now, without a time."""
    return Outgoing(TOPIC, _payload(float(said_kg(first_run_ms, np.array([now_ms], dtype=np.int64))[0])), 1)


def _payload(kg: float, time_text: str = "") -> str:
    return json.dumps({"mass_kg": round(kg, 3)} | ({"time": time_text} if time_text else {}))


def said_kg(first_run_ms: int, at_ms: np.ndarray) -> Array:
    """Return what the cell shows: its zero, which follows the warmth of the day, the board if it lies there, noise."""
    board = _board(first_run_ms)
    noise = [np.random.default_rng(seed_of(CODE, str(at))).normal(0.0, NOISE_KG) for at in at_ms]
    zero = ZERO_KG + WARMTH_KG * np.sin(2.0 * np.pi * (at_ms / MS_PER_DAY - 0.4))
    lies = at_ms >= moment_ms(first_run_ms, LAID_DAYS_AGO)
    for days in board.weighed_days_ago:
        since_ms = at_ms - moment_ms(first_run_ms, days)
        lies &= ~((since_ms >= 0) & (since_ms < LIFTED_MS))
    return np.asarray(zero + np.where(lies, masses_kg(board, first_run_ms, at_ms), 0.0) + noise)


def _board(first_run_ms: int) -> Board:
    return next(board for board in story(first_run_ms).boards if board.code == BOARD)


def _last_stored_ms(connection: Connection) -> int:
    topics = {fact.subject_id: fact.topic for fact in facts.standing(connection, ProbeFact)}
    for series in readings.all_series(connection):
        if topics.get(series.probe_id) == TOPIC and series.quantity is Quantity.MASS_KG:
            newest = readings.latest(connection, series.id)
            return newest.at_ms if newest else 0
    return 0


def enter(store: Store, first_run_ms: int) -> None:
    """Enter the tare and what lies on the cell, once it has been heard and if nobody has."""
    with store.writing() as connection:
        cell = facts.subject(connection, SubjectKind.PROBE, CODE)
        if facts.standing(connection, CellLoad, cell.id):
            return
        for days, act, values in (
            (TARED_DAYS_AGO, cell_entries.tare_cell, {"reading_kg": ZERO_KG}),
            (LAID_DAYS_AGO, cell_entries.load_cell, {"board": BOARD, "cell_error_g": ERROR_G}),
        ):
            at_ms = moment_ms(first_run_ms, days)
            act(connection, CODE, by=PEOPLE[1], now_ms=at_ms + 4 * MS_PER_MINUTE, true_at_ms=at_ms, **values)  # type: ignore[operator]
