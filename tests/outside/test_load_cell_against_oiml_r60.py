"""Load cells that only just pass: OIML R 60, Metrological regulation for load cells, edition 2000, class C.

All limits from memory: permissible errors of 0.5, 1 and 1.5 v times 0.7 for the cell alone; creep in 30 minutes of
0.7 of the permissible error; return to zero within half of v; zero by 0.7 of the smallest interval in 5 K.
"""

import numpy as np
import pytest

from kiln.load_cell import Cell, Tare, continuous_weight
from shared.tables import constants
from shared.units import MS_PER_DAY, MS_PER_HOUR

INTERVALS, SMALLEST = 3000, 10_000  # a cell of class C3 with Y = 10 000, as most are that carry platforms
CELLS_PART = 0.7


def permissible_v(load_v):
    """Largest permissible error of a cell of class C, in v (OIML R 60, 2000, the table of errors; from memory)."""
    return CELLS_PART * (0.5 if load_v <= 500 else 1.0 if load_v <= 2000 else 1.5)


LIMITS = {
    "creep_share": 0.7 * permissible_v(INTERVALS) / INTERVALS,
    "zero_return_share": 0.5 / INTERVALS,
    "zero_share_per_k": 0.7 / SMALLEST / 5.0,
}


@pytest.mark.parametrize("name", LIMITS)
def test_the_table_holds_the_limits_of_class_c3(name):
    assert constants("load_cell")[name].value == pytest.approx(LIMITS[name], rel=0.03)
    assert constants("load_cell")[name].status == "from memory"


def test_a_cell_that_only_just_passes_errs_within_what_is_stated():
    load_kg, away_k = 1000.0, 2.0 * constants("load_cell")["season_k"].value
    error_kg = permissible_v(INTERVALS) / INTERVALS * load_kg
    at = 20_454 * MS_PER_DAY + np.arange(0, 5 * MS_PER_DAY, MS_PER_HOUR // 6)
    weight = continuous_weight(
        at,
        load_kg + np.random.default_rng(0).normal(size=at.size) * 0.02,
        Cell(error_kg, tares=(Tare(int(at[0]), 0.0),)),
    )
    wrong = [error_kg, load_kg * LIMITS["creep_share"], load_kg * LIMITS["zero_return_share"]]
    wrong.append(load_kg * LIMITS["zero_share_per_k"] * away_k)
    assert max(wrong) < np.sqrt(sum(one**2 for one in wrong)) < 2.0 * weight.common_sd_kg[0] < sum(wrong)
