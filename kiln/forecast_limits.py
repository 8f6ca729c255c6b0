"""How far a projection carries: what the air on record and the wood's own limits allow to say, and in which words."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kiln import air as airs
from kiln import diffusion, drying, wood
from kiln.question import Question, steps_of
from shared.units import S_PER_HOUR, Array

SOAKED_SHARE = 1.05  # of the maximum moisture content; judgement


def memory_hours(piece: drying.Piece, boards: Array) -> float:
    """How long the past tells on the wood: twice the time in which water crosses half the thickness [h]."""
    crossing_s = (piece.thickness_m / 2.0) ** 2 / np.exp(np.median(boards[:, 2]))
    return float(2.0 * crossing_s / S_PER_HOUR)


def air_counts_from(question: Question, memory_hours: float) -> int:
    """The hour from which on the air must be known: as far back as it tells on the wood, or to its last measurement.

    A measurement does not wipe the slate: what a weigh-in teaches, it teaches through the air before it.
    """
    hours = len(question.way.at_ms)
    steps = steps_of([datum.at_ms for datum in question.data], question.way)
    measured = int(steps[-1]) if len(steps) else 0
    return max(0, min(measured, hours - int(np.ceil(memory_hours)), hours - 1))


def outside(way: airs.AirHours) -> NDArray[np.bool_]:
    """Which hours of a way lie outside the model's validity: in them the state is held."""
    t = way.temperature_c
    return np.asarray(~((t >= diffusion.LOWEST_C) & (t <= diffusion.HIGHEST_C)))


def _most_share(piece: drying.Piece, boards: Array) -> Array:
    """Moisture at the start as a share of the most that sound wood of each member's density can hold."""
    density = np.exp(boards[:, 0]) / piece.volume_m3 / wood.WATER_KG_M3
    return 100.0 * np.exp(boards[:, 1]) / wood.maximum_mc_pct(np.clip(density, 0.05, 1.5))


def soaked_at_most(piece: drying.Piece, boards: Array) -> Array:
    """Hold draws at full saturation, unless the measurements themselves speak for more."""
    share = _most_share(piece, boards)
    if np.median(share) > 1.0:
        return boards
    held = boards.copy()
    held[:, 1] -= np.log(np.maximum(share, 1.0))
    return held


def soaked_note(piece: drying.Piece, boards: Array) -> str:
    """Say it when a board seems to have begun with more water than sound wood of its density can hold."""
    if np.median(_most_share(piece, boards)) <= SOAKED_SHARE:
        return ""
    return (
        "it seems to have begun with more water than sound wood of its density can hold: "
        "lost cell wall (weak, apt to collapse), minerals, or a slip in its sizes"
    )


def way_note(way: airs.AirHours) -> str:
    """Say how much of a way's air was never logged."""
    missing = 1.0 - float(way.known.mean())
    if missing < 0.02:
        return ""
    return f"no air was logged for {missing:.0%} of this board's time: there the band is wider"


def sun_note(question: Question) -> str:
    """Say it when sun reaches a board and nobody said where on earth that is."""
    sunny = any(spell.lying.in_sun for spell in question.piece.spells)
    if not sunny or question.latitude_longitude_deg is not None:
        return ""
    return "sun reaches it, but is left out until the settings latitude_deg and longitude_deg say where the yard is"
