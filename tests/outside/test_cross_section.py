"""The two-dimensional reference itself: against Crank's plane sheet, finer meshes and steps, and the solver.

Sources: J. Crank, The Mathematics of Diffusion, 2nd ed. 1975, Equations 4.17 and 4.18 (a sheet whose faces are at once
in their air); for a rectangle the shares still to leave multiply: A. B. Newman, Ind. Eng. Chem. 28, 545, 1936 (from
memory). The boards are invented.
"""

from dataclasses import replace

import cross_section
import numpy as np
import pytest

from kiln import diffusion, sorption

OAK = cross_section.Section(0.025, 0.05, 560.0, 0.4e-10, 1.15, 0.3, 2.5, 50.0)  # edges at twice the thickness
SOFTWOOD = cross_section.Section(0.025, 0.3, 420.0, 1.2e-10, 4.0, 5.0, 10.0, 50.0, ratio=10.0)  # short, ends open
START, DAY_S = 0.8, 86_400.0
TERMS = 2 * np.arange(200) + 1.0


def sheet(fourier):
    """Shares still to leave a sheet, of the whole and at its middle; ``fourier``: D t / thickness², over nought."""
    fading = np.exp(-np.multiply.outer(fourier, np.pi**2 * TERMS**2))
    signs = np.where(np.arange(TERMS.size) % 2, -1.0, 1.0)
    return fading @ (8.0 / (np.pi * TERMS) ** 2), fading @ (4.0 * signs / (np.pi * TERMS))


def test_a_linear_section_loses_water_as_the_product_of_two_sheets():
    # one diffusion coefficient wet and dry, and a film so strong that the sides are in their air at once
    board = replace(OAK, slope=1e-9, free_water_ratio=1.0, film_w_m2k=1e5, ratio=3.0)
    times_s = np.linspace(2.0, 60.0, 30) * DAY_S
    rest = float(sorption.emc_pct(cross_section.T_C, board.rh_pct)) / 100.0
    course = cross_section.dry(board, START, times_s, (20, 40), 120)
    through, _ = sheet(board.diffusion_m2_s * times_s / board.thickness_m**2)
    along, at_middle = sheet(board.ratio * board.diffusion_m2_s * times_s / board.span_m**2)
    for ours, exact in ((course.mean, through * along), (course.middle, through * at_middle)):
        apart = np.abs(ours - rest - (START - rest) * exact)
        print(f"at most {100 * apart.max():.3f} %MC from the exact one")
        assert apart.max() < 1e-3
    assert (through * along)[-1] < 0.2 and at_middle[-1] < 0.8  # the middle has felt the edges


@pytest.mark.parametrize("board, days", [(OAK, 100.0), (SOFTWOOD, 25.0)], ids=["oak", "softwood"])
def test_its_own_error_falls_to_a_quarter_where_mesh_and_steps_are_halved(board, days):
    times_s = np.linspace(0.04, 1.0, 25) * days * DAY_S
    sizes = (((8, 16), 50), ((16, 32), 100), ((32, 64), 200))
    coarse, middling, fine = (cross_section.dry(board, START, times_s, *size) for size in sizes)
    for rough, better, best in zip(coarse, middling, fine, strict=True):
        first, second = np.abs(rough - better).max(), np.abs(better - best).max()
        print(f"halved once {100 * first:.3f} %MC, twice {100 * second:.3f}")
        assert second < 1e-3 and second < first / 2.5
    assert fine.mean[-1] < 0.2 < fine.mean[0]
    assert (fine.middle - fine.mean).max() > 0.01  # it tells something


@pytest.mark.parametrize("board, days", [(OAK, 100), (SOFTWOOD, 25)], ids=["oak", "softwood"])
def test_sealed_edges_are_the_one_dimensional_solver(board, days):
    steps, one = 24 * days, np.ones((1, 24 * days))
    theirs = cross_section.dry(replace(board, edges_open=False), START, DAY_S * np.arange(1, days + 1), (32, 2), 200)
    values = (board.thickness_m / 2.0, board.density_kg_m3, board.diffusion_m2_s, board.slope, 0.0)
    values += (board.free_water_ratio, board.film_w_m2k, 1e12, 1.0)  # radiates without end: no cooling
    who = diffusion.Members(*(np.array([v]) for v in values), np.zeros(1, np.int64))
    air = diffusion.AirSteps(cross_section.T_C * one, board.rh_pct * one, np.full(steps, 3600.0))
    flat = np.full((1, diffusion.NODES), START)
    ours = diffusion.mean_of(diffusion.march(flat, who, air, 24 * np.arange(1, days + 1), hysteresis=False)[0])
    apart = np.abs(ours - theirs.mean)
    print(f"at most {100 * apart.max():.3f} %MC apart")
    assert np.abs(theirs.mean - theirs.middle).max() < 1e-9
    assert apart.max() < 2e-3 and apart[-1] < 5e-4
