"""How thick to saw wood out of the water, and what a board or log of it weighs before anybody lifts it.

Thin as possible is the rule for such wood (E. M. Wengert, Salvaging lumber from submerged wood, 1998); what is left to
say is how thin is too thin: wood shrinks, its cells may collapse while it is saturated, and its faces are planed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from kiln import movement, wood
from kiln.errors import refuse_unless
from kiln.reclaimed import Grade
from shared.tables import Species, constants

_DRAWN = 41  # even quantiles of gravity, and of moisture
_TENTH = float(ndtri(0.9))
RESERVES = {
    Grade.CLEAR: "collapse_clear",
    Grade.UNSEEN: "collapse_doubtful",
    Grade.DOUBTFUL: "collapse_doubtful",
    Grade.BACTERIAL: "collapse_bacterial",
}


@dataclass(frozen=True)
class SawPlan:
    """How thick to saw, and what becomes of it on the way to the finished piece [m]."""

    finished_m: float
    planing_m: float  # off both faces together
    shrinkage_m: float  # normal shrinkage, that nine boards in ten stay within
    collapse_m: float  # kept for collapse
    saw_m: float  # all of them together: how thick to saw
    shrinkage_pct: float  # of the wet thickness, mean of the species

    @property
    def rough_m(self) -> float:
        """The least thickness, dry and not planed, from which it still comes out."""
        return self.finished_m + self.planing_m


def reserve_share(grade: Grade) -> float:
    """Return the share of the wet thickness that is kept for collapse; ours, see ``reclaimed.csv``."""
    return constants("reclaimed")[RESERVES[grade]].value


def saw_plan(
    finished_m: float,
    species_shrinkage_pct: tuple[float, float],
    ring_angle_deg: float,
    final_mc_pct: float,
    reserve: float,
    planing_m: float,
    fsp_pct: float = wood.CONVENTIONAL_FSP_PCT,
) -> SawPlan:
    """Return how thick to saw soaked wood for a finished thickness [m] at ``final_mc_pct`` [%MC].

    ``species_shrinkage_pct``: radial and tangential, green to oven-dry [%]; ``ring_angle_deg``: 0 flat-sawn, 90
    quarter-sawn; ``reserve``: share of the wet thickness for collapse, 0 to below 0.6; ``planing_m``: off both faces
    [m]. wet = (finished + planing) / (1 - S) / (1 - reserve), S so large that nine boards in ten shrink less.
    Raises OutOfRange outside these, for a thickness not above 0 or a negative moisture content.
    Source: Wood Handbook FPL-GTR-282, 2021, Equation 4-9, scatter in ``wood.csv``; the reserve is ours.
    """
    refuse_unless(0.0 < finished_m < np.inf, "finished_m", np.asarray(finished_m), 0.0, np.inf, "m")
    refuse_unless(0.0 <= planing_m < np.inf, "planing_m", np.asarray(planing_m), 0.0, np.inf, "m")
    refuse_unless(0.0 <= reserve < 0.6, "reserve", np.asarray(reserve), 0.0, 0.6, "of the thickness")
    refuse_unless(final_mc_pct >= 0.0, "final_mc_pct", np.asarray(final_mc_pct), 0.0, np.inf, "%MC")
    total = float(movement.thickness_shrinkage_at_angle_pct(*species_shrinkage_pct, ring_angle_deg))
    mean_pct = float(wood.shrinkage_pct(total, final_mc_pct, fsp_pct))
    most = mean_pct / 100.0 * (1.0 + _TENTH * constants("wood")["shrinkage_cv"].value)
    rough = finished_m + planing_m
    unshrunk = rough / (1.0 - most)
    saw = unshrunk / (1.0 - reserve)
    return SawPlan(finished_m, planing_m, unshrunk - rough, saw - unshrunk, saw, mean_pct)


@dataclass(frozen=True)
class Mass:
    """What a piece weighs: one in ten lighter than the first figure, one in ten heavier than the last."""

    kg: tuple[float, float, float]
    mc_pct: tuple[float, float, float]
    density_kg_m3: float  # the middle one


def log_volume_m3(diameter_m: float, length_m: float) -> float:
    """Return the volume of a log [m³] from its diameter at half its length [m], without bark, and its length [m].

    Huber's formula. Raises OutOfRange unless both are above 0. Source: common practice, no source.
    """
    for name, size in (("diameter_m", diameter_m), ("length_m", length_m)):
        refuse_unless(0.0 < size < np.inf, name, np.asarray(size), 0.0, np.inf, "m")
    return float(np.pi / 4.0 * diameter_m**2 * length_m)


def mass(volume_m3: float, species: Species, mc_pct: float | None = None, mc_error_pct: float = 0.0) -> Mass:
    """Return the mass [kg] of solid wood of ``volume_m3`` [m³, at its size now], water included, with its band.

    ``mc_pct``: its moisture content [%MC] and one standard error of it; None: as wood comes out of the water after
    decades, about nine tenths full (``drying.csv``). Gravity scatters from board to board (``wood.csv``); nothing
    holds more than every cavity full. Mud, bark and metal are not in it. Raises OutOfRange for a volume not above 0,
    or a negative moisture content or error. Source: Wood Handbook FPL-GTR-282, 2021, Equations 4-3, 4-11 and 4-14.
    """
    refuse_unless(0.0 < volume_m3 < np.inf, "volume_m3", np.asarray(volume_m3), 0.0, np.inf, "m³")
    refuse_unless(0.0 <= mc_error_pct < np.inf, "mc_error_pct", np.asarray(mc_error_pct), 0.0, np.inf, "%MC")
    refuse_unless(mc_pct is None or mc_pct >= 0.0, "mc_pct", np.asarray(mc_pct or 0.0), 0.0, np.inf, "%MC")
    z = ndtri((np.arange(_DRAWN) + 0.5) / _DRAWN)
    cv, wall = constants("wood")["basic_board_cv"].value, constants("sorption")["cell_wall_specific_gravity"].value
    basic = np.minimum(species.basic_specific_gravity * np.exp(cv * z - cv**2 / 2.0), wall - 0.01)[:, None]
    full = wood.maximum_mc_pct(basic)
    if mc_pct is None:
        soaked = constants("drying")["reclaimed_mc"]
        drawn = full * soaked.value * np.exp(soaked.sd_ln * z)
    else:
        drawn = np.maximum(mc_pct + mc_error_pct * z, 0.0)
    mc = np.minimum(drawn, full)
    density = wood.density_at_mc_kg_m3(basic, mc, species.shrinkage_volumetric_pct, species.fsp_pct)
    kg, held = (np.quantile(one, (0.1, 0.5, 0.9)) for one in (density * volume_m3, np.broadcast_to(mc, density.shape)))
    return Mass(
        (float(kg[0]), float(kg[1]), float(kg[2])),
        (float(held[0]), float(held[1]), float(held[2])),
        float(np.median(density)),
    )


def full_of_water_kg(volume_m3: float, species: Species) -> float:
    """Return the mass [kg] of a piece of the species' mean gravity with every cavity full: the most that it can weigh.

    Source: Wood Handbook FPL-GTR-282, 2021, Equation 4-3: a cell wall of 1.54 leaves 1000 + 351 G [kg/m³].
    """
    refuse_unless(0.0 < volume_m3 < np.inf, "volume_m3", np.asarray(volume_m3), 0.0, np.inf, "m³")
    basic = species.basic_specific_gravity
    return float(volume_m3 * basic * wood.WATER_KG_M3 * (1.0 + wood.maximum_mc_pct(basic) / 100.0))
