"""What is true of Oxlip Weir's boards, of which the program sees only the weigh-ins.

Each board has a truth of its own, drawn by its code: how dense it really is, how wet it began, how fast
water moves in it. That truth is marched through the true air of the places it lay in (not through what
the probes said of it), and weighed on an invented scale. It comes from our own solver, so how well the
projections do here proves nothing about real wood.
"""

from __future__ import annotations

import zlib

import numpy as np
from numpy.typing import NDArray

from dashboards.terminal.demo_boards import Board, moment_ms
from kiln import diffusion, drying, sorption
from sensors import demo_air, demo_weather
from shared.tables import held_species
from shared.units import MS_PER_HOUR, S_PER_HOUR, Array, m_from_mm

# One standard deviation in logarithms; whatever is not named is as believed, and a truth lies in its true air.
TRUE_SPREAD = {
    "ln_oven_dry_mass": 0.07,
    "ln_start_mc": 0.06,
    "ln_diffusion": 0.35,
    "ln_free_water_ratio": 0.6,
    "ln_film": 0.3,
    "ln_isotherm_scale": 0.05,
}
SCALE_SHARE = 0.0005


def seed_of(code: str, what: str) -> int:
    """Return a seed that belongs to one thing about one board."""
    return zlib.crc32(f"{demo_weather.SEED} {code} {what}".encode())


def weighed_kg(board: Board, first_run_ms: int, at_ms: int) -> float:
    """Return what the invented scale shows [kg]."""
    mass_kg = float(masses_kg(board, first_run_ms, np.array([at_ms]))[0])
    noise = np.random.default_rng(seed_of(board.code, str(at_ms))).normal(0.0, SCALE_SHARE)
    return mass_kg * (1.0 + float(noise))


def bag_rh_pct(board: Board, first_run_ms: int, at_ms: int, temperature_c: float) -> float:
    """Return the humidity that a board, evened out, truly makes in a bag [%RH]."""
    profile, _mass = truth(board, first_run_ms, at_ms)
    piece, unknowns = _true_board(board)
    on_the_curve = 100.0 * float(diffusion.mean_of(profile)) / float(drying.members(piece, unknowns).isotherm_scale[0])
    return float(sorption.rh_pct_from_emc(temperature_c, on_the_curve))


def truth(board: Board, first_run_ms: int, at_ms: int) -> tuple[Array, float]:
    """Return the true profile in the middle of a board [kg/kg] at a moment, and the true oven-dry mass [kg]."""
    begin = moment_ms(first_run_ms, board.born_days_ago)
    course, dry_kg = _followed(board, first_run_ms, np.array([max(1, (at_ms - begin) // MS_PER_HOUR)]))
    return course.profiles[0, -1], dry_kg


def masses_kg(board: Board, first_run_ms: int, at_ms: NDArray[np.int64]) -> Array:
    """Return what a board truly weighs at times that rise (UTC ms) [kg], straight between the hours."""
    begin = moment_ms(first_run_ms, board.born_days_ago)
    hours = np.arange(max(1, (at_ms[0] - begin) // MS_PER_HOUR), (at_ms[-1] - begin) // MS_PER_HOUR + 2)
    course, dry_kg = _followed(board, first_run_ms, hours)
    return np.interp(at_ms, begin + hours * MS_PER_HOUR, dry_kg * (1.0 + course.means()[0]))


def _followed(board: Board, first_run_ms: int, ends: NDArray[np.int64]) -> tuple[diffusion.Course, float]:
    """Return the true course after so many hours each (rising), and the true oven-dry mass [kg]."""
    piece, unknowns = _true_board(board)
    begin = moment_ms(first_run_ms, board.born_days_ago)
    hours = begin + np.arange(ends[-1], dtype=np.int64) * MS_PER_HOUR
    t, rh = np.empty(len(hours)), np.empty(len(hours))
    for lie in board.way:
        there = hours >= moment_ms(first_run_ms, lie.days_ago)
        if there.any():
            t[there], rh[there] = demo_weather.air_at(lie.place, hours[there])
    air = diffusion.AirSteps(t[None], rh[None], np.full(len(hours), float(S_PER_HOUR)))
    return drying.follow(piece, unknowns, air, ends.astype(np.int64)), float(np.exp(unknowns[0, 0]))


def _true_board(board: Board) -> tuple[drying.Piece, Array]:
    thickness, width, length = (m_from_mm(size) for size in board.sizes_mm)
    kind = next(place.kind for place in demo_air.PLACES if place.code == board.way[-1].place)
    piece = drying.Piece(
        held_species(board.species),
        thickness,
        width,
        length,
        board.origin,
        drying.one_spell(thickness, str(kind), in_stack=bool(board.way[-1].stack)),
    )
    rng = np.random.default_rng(seed_of(board.matched_to or board.code, "truth"))
    spread = np.array([TRUE_SPREAD.get(name, 0.0) for name in drying.UNKNOWNS])
    unknowns = drying.prior(piece).centre + spread * rng.normal(0.0, 1.0, len(spread))
    if board.start_mc_pct is not None:
        unknowns[1] = np.log(board.start_mc_pct / 100.0)
    return piece, unknowns[None, :]
