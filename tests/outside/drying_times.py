"""Air-drying times by the solver, from nothing but species, size and season, beside published ones.

    python tests/outside/drying_times.py

prints the tables of docs/drying_times.md. The air: a typical year of Greensboro, North Carolina (TMY3 station 723170,
public domain, as the package pvlib carries it), under cover in an open stack. Frost and nights below 0 °C hold the
board as it is.
"""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pvlib
from pvlib.iotools import read_tmy3

from kiln import diffusion, drying, lying, sorption
from kiln.spans import MONTHS
from shared.tables import held_species
from shared.units import Array

TARGET, HOURS_A_YEAR, INCH_M = 0.20, 8760, 0.0254
ROUGH_M = 1.125 * INCH_M  # nominal four-quarter stock as it is sawn (common practice, no source)
WIDTH_M, LENGTH_M = 0.2, 2.4
OAK_FROM, OAK_RH = 0.80, 60.0
ASH_FROM, ASH_C, ASH_RH = 0.45, 40.0, 60.0
SEASONED = ("Quercus rubra", "Acer saccharum", "Picea sitchensis")  # month by month
STACKED, STACK_PLACES = ("Quercus rubra", "Acer saccharum", "Picea sitchensis"), ("yard", "shed")
FILMS, WARMTHS_C = (0.5, 1.0, 3.0, 10.0), (27.0, 35.0, 45.0)


class Published(NamedTuple):
    """A row of the published table."""

    botanical_name: str
    least_days: float
    most_days: float
    source: str
    status: str


class Found(NamedTuple):
    """Days to 20 %MC by the month of stacking, January first, with the prior's middle; NaN: not within two years."""

    botanical_name: str
    days: Array


@cache
def typical_year() -> tuple[Array, Array]:
    """Return hourly temperature [°C] and relative humidity [%] of the typical year, January first."""
    path = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
    hours, _ = read_tmy3(path, coerce_year=1990, map_variables=True)
    return hours["temp_air"].to_numpy(float), hours["relative_humidity"].to_numpy(float)


def published() -> list[Published]:
    """Return the published times."""
    with (Path(__file__).parent / "air_drying_times.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    source = rows[0]["source"]
    return [
        Published(row["botanical_name"], float(row["least_days"]), float(row["most_days"]), source, row["status"])
        for row in rows
    ]


def piece(botanical_name: str, thickness_m: float = ROUGH_M) -> drying.Piece:
    """Return a fresh-sawn board of that wood in an open stack in a yard."""
    return drying.Piece(
        held_species(botanical_name),
        thickness_m,
        WIDTH_M,
        LENGTH_M,
        "fresh-sawn",
        drying.one_spell(thickness_m, "yard", in_stack=True),
    )


def in_the_middle(botanical_name: str, place_kind: str) -> drying.Piece:
    """Return the same board in the middle of a stack in a yard or a shed, in the air that its neighbours make."""
    where = lying.Lying(place_kind, lying.MIDDLE)
    return replace(piece(botanical_name), spells=(lying.Spell(0, ROUGH_M, where),))


def begin_hour(month: int) -> int:
    """Return the hour of the year in which stacking is, a twelfth of it later for each month after January, 0."""
    return round(month * HOURS_A_YEAR / 12)


def dry_in(month: int, days: float) -> int:
    """Return the month, January 0, in which a board is dry that was stacked in ``month`` and took so many days."""
    return (datetime(1990, 1, 1, tzinfo=UTC) + timedelta(hours=begin_hour(month), days=days)).month - 1


def by_month(botanical_name: str, board: drying.Piece | None = None) -> Found:
    """March a board stacked on the first of each month through up to two years of the typical air."""
    board = board or piece(botanical_name)
    middle = np.tile(drying.prior(board).centre, (12, 1))
    t_c, rh = (np.concatenate([one, one, one]) for one in typical_year())
    starts = np.array([begin_hour(month) for month in range(12)])
    hours = np.arange(2 * HOURS_A_YEAR)
    rows = starts[:, None] + hours
    members = drying.members(board, middle, np.arange(12))
    air = diffusion.AirSteps(t_c[rows], rh[rows], np.full(hours.size, 3600.0))
    days = np.arange(0, hours.size + 1, 24)
    path = diffusion.mean_of(diffusion.march(drying.start_profiles(middle), members, air, days))
    return Found(botanical_name, np.array([_day_of(one) for one in path]))


def _day_of(mean: Array) -> float:
    below = np.flatnonzero(mean <= TARGET)
    if below.size == 0:
        return float("nan")
    i = int(below[0])
    return i - (TARGET - mean[i]) / (mean[i - 1] - mean[i])


def hours_in_still_air(board: drying.Piece, t_c: float, rh: float, film_w_m2k: float, *, from_mc: float) -> float:
    """Hours to 20 %MC in air that stays as it is."""
    middle = drying.prior(board).centre[None]
    start = np.full((1, diffusion.NODES), from_mc)
    members = replace(drying.members(board, middle), film_w_m2k=np.array([film_w_m2k]))
    steps = 24 * 900
    one = np.ones((1, steps))
    air = diffusion.AirSteps(t_c * one, rh * one, np.full(steps, 3600.0))
    mean = diffusion.mean_of(diffusion.march(start, members, air, np.arange(steps + 1))[0])
    return float(np.interp(-TARGET, -mean, np.arange(steps + 1)))


def thickness_ratio(film_w_m2k: float) -> float:
    """How much longer three inches take than one, from 45 to 20 %MC."""
    times = [
        hours_in_still_air(piece("Fraxinus americana", n * INCH_M), ASH_C, ASH_RH, film_w_m2k, from_mc=ASH_FROM)
        for n in (3.0, 1.0)
    ]
    return times[0] / times[1]


def red_oak_days(t_c: float) -> float:
    """Days by the solver, with a film so strong that only the wood holds water back, as in a kiln at full fans."""
    board = piece("Quercus rubra", INCH_M)
    return hours_in_still_air(board, t_c, OAK_RH, 50.0, from_mc=OAK_FROM) / 24.0


def red_oak_relation_days(t_c: float) -> float:
    """Days by tau = L^1.52 / (0.0575 + 0.00142 p_sat): L in inches, p_sat in mmHg (Antoine), tau in days."""
    p_mmhg = 10.0 ** (8.07131 - 1730.63 / (233.426 + t_c))
    tau_days = 1.0 / (0.0575 + 0.00142 * p_mmhg)
    emc = float(sorption.emc_pct(t_c, OAK_RH)) / 100.0
    return tau_days * float(np.log((OAK_FROM - emc) / (TARGET - emc)))


def season_row(row: Published) -> str:
    """Return a wood's line of the table."""
    days = by_month(row.botanical_name).days
    best, worst = int(np.nanargmin(days)), int(np.nanargmax(days))
    return (
        f"| {held_species(row.botanical_name).common_name} | {row.least_days:.0f} to {row.most_days:.0f} "
        f"| {days[best]:.0f} to {days[worst]:.0f} | {MONTHS[best]} | {MONTHS[worst]} | {row.status} |"
    )


def month_row(month: int) -> str:
    """Return a month's line of the table of seasons: days, and the month in which 20 %MC is reached."""
    days = [by_month(name).days[month] for name in SEASONED]
    told = " | ".join(f"{one:.0f} | {MONTHS[dry_in(month, one)]}" for one in days)
    return f"| {MONTHS[month]} | {told} |"


def stack_row(botanical_name: str) -> str:
    """Return a wood's line of the table of places in a stack: good season and bad, in days."""
    cells = [by_month(botanical_name).days]
    cells += [by_month(botanical_name, in_the_middle(botanical_name, kind)).days for kind in STACK_PLACES]
    told = " | ".join(f"{np.nanmin(days):.0f} to {np.nanmax(days):.0f}" for days in cells)
    return f"| {held_species(botanical_name).common_name} | {told} |"


def thickness_row(film_w_m2k: float) -> str:
    """Return a film's line of the table."""
    return f"| {film_w_m2k:g} | {thickness_ratio(film_w_m2k):.1f} |"


def oak_row(t_c: float) -> str:
    """Return a temperature's line of the table."""
    return f"| {t_c:g} °C | {red_oak_days(t_c):.1f} | {red_oak_relation_days(t_c):.1f} |"


def main() -> None:
    """Print the lines of every table."""
    seasons, stacked = map(month_row, range(12)), map(stack_row, STACKED)
    for lines in (map(season_row, published()), seasons, stacked, map(thickness_row, FILMS), map(oak_row, WARMTHS_C)):
        print("\n".join(lines), end="\n\n")


if __name__ == "__main__":
    main()
