"""Collapse, and what a stretched surface does to the core later: case-hardening and honeycomb.

Collapse is pulled by free water in cells that are full of it. It comes with heat in wood prone to it, and in wood
that has lost cell wall at any temperature.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from kiln import diffusion, wood
from shared.tables import constants
from shared.units import Array

_LEAST_GRAVITY, _MOST_GRAVITY = 0.05, 1.5


class Stage(StrEnum):
    """What a board's surface once was stretched to, and what its core makes of that."""

    NOT_SET = "not set"  # its surface was never stretched far
    SET = "set, core still wet"
    CORE_IN_TENSION = "core in tension"
    LEVEL = "level, stress locked in"


def fullness(mc: Array, basic_density_kg_m3: Array) -> Array:
    """Moisture content [kg/kg] as a share of the most that sound wood of each member's own density can hold.

    ``basic_density_kg_m3`` [members], ``mc`` of any shape that broadcasts with it. Over 1 no sound wood goes: lost cell
    wall, minerals, or a slip in the sizes. Source: FPL-GTR-282, 2021, Equation 4-3.
    """
    gravity = np.clip(basic_density_kg_m3 / wood.WATER_KG_M3, _LEAST_GRAVITY, _MOST_GRAVITY)
    return np.asarray(100.0 * mc / wood.maximum_mc_pct(gravity))


def lightness_sd(ln_oven_dry_mass: Array, ln_expected: float) -> Array:
    """How far each member [members] lies below what its wood weighs on average, in a wood's own spread; heavier: < 0.

    ``ln_expected``: the logarithm of the mass that species and sizes lead to expect. The spread of boards of one wood
    is a coefficient of variation of about 10 % (from memory).
    """
    return np.asarray((ln_expected - ln_oven_dry_mass) / constants("degrade_limits")["density_spread"].value)


@dataclass(frozen=True)
class Thickness:
    """A thickness taken with a caliper."""

    at_ms: int
    thickness_m: float
    error_m: float | None = None  # one standard error; None: of a caliper on a sawn face


def shrunk_m(profiles: Array, thickness_m: float, total_pct: Array, saturation: Array, *, two_faces: bool) -> Array:
    """Thickness [members; m] that the profile accounts for, of a board of ``thickness_m`` when it was all wet.

    ``profiles`` [members, nodes; kg/kg]; ``total_pct`` [members; %] green to oven-dry through the thickness;
    ``saturation`` [members; kg/kg]. Each layer shrinks by what it has lost below fibre saturation: shells do while the
    average is far above. Source: FPL-GTR-282, 2021, Equation 4-9, layer by layer.
    """
    full = saturation[:, None]
    lost = diffusion.mean_of(full - np.minimum(profiles, full), two_faces=two_faces) / saturation
    return np.asarray(thickness_m * (1.0 - total_pct / 100.0 * lost))


def chance_of_more(expected_m: Array, measured_m: float, error_m: float) -> float:
    """Chance that a board has shrunk by more than its profile accounts for: a half where it is just as expected.

    ``expected_m`` [members; m]; ``error_m``: one standard error of the difference, caliper included [m].
    """
    return float(ndtr((expected_m - measured_m) / error_m).mean())


def spread_of_shrinkage(radial_pct: float, tangential_pct: float, members: int) -> Array:
    """Shrinkages through the thickness [members; %], evenly between those of a quarter and of a flat-sawn board.

    Nobody said how the board was cut; any angle of the rings is believed.
    """
    share = (np.arange(members) + 0.5) / members
    return np.asarray(radial_pct + (tangential_pct - radial_pct) * share)


def stages(peak_index: Array, core_less_shell_mc_pct: Array, mean: Array, saturation: Array) -> NDArray[np.str_]:
    """The stage of each member [members], in the words of ``Stage``.

    ``peak_index``: the most that its checking index ever was; ``mean`` and ``saturation`` [kg/kg]. While the mean is
    above fibre saturation the surface is what is stretched; below, the core shrinks within a shell that was set long
    and is stretched in its turn. Drying Hardwood Lumber, FPL-GTR-118, tells it so (from memory).
    """
    table = constants("degrade_limits")
    level = np.abs(core_less_shell_mc_pct) <= table["levelled_mc_pct"].value
    later = np.where(level, Stage.LEVEL.value, Stage.CORE_IN_TENSION.value)
    was_set = np.where(mean >= saturation, Stage.SET.value, later)
    return np.where(peak_index > table["set_peak"].value, was_set, Stage.NOT_SET.value)
