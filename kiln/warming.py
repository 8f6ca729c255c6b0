"""How a cold piece of wood warms in a room: the face and the middle of a slab, with a film of air over it.

A slab of half thickness L (all of it, where only one face is free) at one temperature comes into other air. With
Bi = h L / k and the roots of ζ tan ζ = Bi, at the depth x from its middle (or from the face that nothing reaches)

    T(x, t) = Σ Cₙ cos(ζₙ x / L) uₙ(t),   Cₙ = 4 sin ζₙ / (2 ζₙ + sin 2ζₙ),   uₙ' = ζₙ² (a / L²) (T_air − uₙ)

so air that changes from step to step is followed exactly. Source: Carslaw and Jaeger, Conduction of Heat in Solids,
2nd edition, section 3.11; Incropera and DeWitt, 6th edition, section 5.5 (from memory); the values of wood are the
Wood Handbook's (``kiln.wood``). Water that evaporates or condenses is left out: wood that still dries stays colder.
The film and its sources stand in ``shared/tables/warming.csv``.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from kiln import wood
from kiln.errors import check_range
from kiln.records import Z80
from shared.tables import constants
from shared.units import S_PER_DAY, Array, k_from_c

TERMS = 60
HALVINGS = 60
MOST_MC_PCT = wood.CONDUCTIVITY_MOST_MC_PCT
THICKNESS_M = (0.0005, 0.5)
AIR_C = (-40.0, 60.0)
FACE, MIDDLE = 1.0, 0.0  # as shares of the half thickness
LONGEST_S = 30.0 * S_PER_DAY
HEAVIEST = 1.09  # basic specific gravity: oven-dry, wood of this is hardly anything but cell wall (FPL-GTR-282, 4-13)


class Faces(StrEnum):
    """Which faces of a piece the air of the room reaches."""

    BOTH = "both faces free"
    ONE = "lying on one face"


@dataclass(frozen=True)
class Slab:
    """A slab with its film: half thickness L [m], conductivity [W/mK], diffusivity [m²/s], film [W/m²K]."""

    half_m: float
    conductivity_w_mk: float
    diffusivity_m2_s: float
    film_w_m2k: float

    @property
    def biot(self) -> float:
        """Film over conduction: h L / k."""
        return self.film_w_m2k * self.half_m / self.conductivity_w_mk


class Slabs(NamedTuple):
    """The slowest that a piece may warm, the usual, and the fastest."""

    slowest: Slab
    usual: Slab
    fastest: Slab


@lru_cache(maxsize=256)
def roots(biot: float) -> Array:
    """Return the first roots of ζ tan ζ = Bi, by halving: the n-th lies between nπ and nπ + π/2."""
    low = np.pi * np.arange(TERMS)
    high = low + np.pi / 2.0
    for _ in range(HALVINGS):
        half = (low + high) / 2.0
        # Without the tangent, which is infinite at the upper end; the sign of cos is that of (-1)^n over the span.
        under = (half * np.sin(half) - biot * np.cos(half)) * np.cos(low) < 0.0
        low, high = np.where(under, half, low), np.where(under, high, half)
    return (low + high) / 2.0


def weights(biot: float, depth: float) -> Array:
    """Return what each term counts at a depth, 0 in the middle to 1 at the face; together they make 1."""
    zeta = roots(biot)
    return np.asarray(4.0 * np.sin(zeta) / (2.0 * zeta + np.sin(2.0 * zeta)) * np.cos(zeta * depth))


def follow(slab: Slab, start_c: float, step_s: float | Array, air_c: Array, depth: float = FACE) -> Array:
    """Temperatures [°C] at a depth after each step in which the air held ``air_c`` [steps; °C].

    ``start_c`` [°C]: all through the slab at the beginning. ``step_s`` [s]: how long each step is.
    What the series leaves out after TERMS terms is taken to follow the air at once. Raises OutOfRange for air outside
    −40 to 60 °C.
    """
    air = np.atleast_1d(np.asarray(air_c, dtype=float))
    check_range("air_c", np.append(air, start_c), *AIR_C, "°C")
    steps = np.broadcast_to(np.asarray(step_s, dtype=float), air.shape)
    rate = roots(slab.biot) ** 2 * slab.diffusivity_m2_s / slab.half_m**2
    counts = weights(slab.biot, depth)
    u, found = np.full(TERMS, start_c), np.empty(air.size)
    for i, (now_c, span_s) in enumerate(zip(air, steps, strict=True)):
        u = now_c + (u - now_c) * np.exp(-rate * span_s)
        found[i] = counts @ u + (1.0 - counts.sum()) * now_c
    return found


def after(slab: Slab, start_c: float, air_c: float, t_s: float | Array, depth: float = FACE) -> Array:
    """Temperature [°C] at a depth, ``t_s`` [s, any shape] after a slab at ``start_c`` came into air of ``air_c``."""
    check_range("air_c", np.array([start_c, air_c]), *AIR_C, "°C")
    t = np.asarray(t_s, dtype=float)
    rate = roots(slab.biot) ** 2 * slab.diffusivity_m2_s / slab.half_m**2
    left = np.exp(-np.multiply.outer(t, rate)) @ weights(slab.biot, depth)
    return np.where(t <= 0.0, start_c, air_c + (start_c - air_c) * left)


def time_until_s(slab: Slab, start_c: float, air_c: float, reach_c: float, depth: float = FACE) -> float | None:
    """Return after how long [s] a slab at ``start_c`` has come to ``reach_c`` in air of ``air_c``; None: never.

    0 where it stands there already, or beyond as seen from the air.
    """
    if (reach_c - start_c) * (air_c - start_c) <= 0.0:
        return 0.0 if start_c != air_c or reach_c == start_c else None
    low, high = 0.0, LONGEST_S
    if (float(after(slab, start_c, air_c, high, depth)) - reach_c) * (air_c - start_c) < 0.0:
        return None
    for _ in range(HALVINGS):
        half = (low + high) / 2.0
        short = (float(after(slab, start_c, air_c, half, depth)) - reach_c) * (air_c - start_c) < 0.0
        low, high = (half, high) if short else (low, half)
    return high


def slab_of(
    basic_specific_gravity: float,
    mc_pct: float,
    thickness_m: float,
    film_w_m2k: float,
    temperature_c: float,
    faces: Faces = Faces.BOTH,
) -> Slab:
    """A slab of wood at ``mc_pct`` [0 to 25 %MC] and about ``temperature_c`` [°C].

    The heat capacity is printed from 7 °C on: below, that of 7 °C stands (it falls by 0.3 % a degree). Wood lighter
    than a specific gravity of 0.3 conducts as one of 0.3. Raises OutOfRange.
    """
    check_range("mc_pct", np.array([mc_pct]), 0.0, MOST_MC_PCT, "%MC")
    check_range("thickness_m", np.array([thickness_m]), *THICKNESS_M, "m")
    density = float(wood.density_at_mc_kg_m3(basic_specific_gravity, mc_pct))
    gravity = density / (wood.WATER_KG_M3 * (1.0 + mc_pct / 100.0))
    conductivity = float(wood.conductivity_w_mk(max(gravity, wood.CONDUCTIVITY_LEAST_GRAVITY), mc_pct))
    coldest_k = constants("wood")["heat_lowest_temperature"].value
    heat = float(wood.heat_capacity_j_kgk(mc_pct, max(k_from_c(temperature_c), coldest_k)))
    half_m = thickness_m if faces is Faces.ONE else thickness_m / 2.0
    return Slab(half_m, conductivity, conductivity / (density * heat), film_w_m2k)


def slabs_of(
    basic_specific_gravity: float,
    mc_pct: float,
    thickness_m: float,
    temperature_c: float,
    faces: Faces | None = None,
) -> Slabs:
    """The slowest, usual and fastest that a piece may warm: the film's band, and how boards of a species differ.

    ``faces`` None: nobody said how it lies, so the slowest lies on one face. Arguments else as ``slab_of``.
    """
    film = {name: constants("warming")[f"film_{name}"].value for name in ("least", "usual", "most")}
    spread = float(np.exp(Z80 * constants("wood")["basic_board_cv"].value))

    def one(gravity: float, h: float, lying: Faces) -> Slab:
        return slab_of(gravity, mc_pct, thickness_m, h, temperature_c, lying)

    return Slabs(
        one(
            max(basic_specific_gravity, min(basic_specific_gravity * spread, HEAVIEST)),
            film["least"],
            faces or Faces.ONE,
        ),
        one(basic_specific_gravity, film["usual"], faces or Faces.BOTH),
        one(basic_specific_gravity / spread, film["most"], faces or Faces.BOTH),
    )
