"""Movement of wood in use: how sizes, joints and flat faces change with moisture content, and how surely.

Moisture content is taken as uniform through the piece before and after. Shrinkage is the handbook's straight
line from fibre saturation down. Single boards scatter about a table's mean: see ``change_band_m``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from kiln.errors import refuse_unless
from kiln.wood import CONVENTIONAL_FSP_PCT, shrinkage_pct
from shared.tables import constants
from shared.units import Array

HANDBOOK_MC_PCT = (6.0, 14.0)  # printed beside Equation 13-2
HANDBOOK_BASE_MC_PCT = 10.0  # its coefficients are per unit of the dimension at this moisture content
WIDEST_VIEW_DEG = 150.0  # a face that fills more of the view from the pith has, in practice, the pith in it
_FACE_POINTS = 201
_LATTICE_POINTS = 4096
_LATTICE_ROOT = 1.2207440846057596  # root of x⁴ = x + 1: its powers spread points evenly in three dimensions


def shrinkage_at_angle_pct(
    radial_pct: float | Array, tangential_pct: float | Array, ring_angle_deg: float | Array
) -> Array:
    """Shrinkage along the width [%] of a board whose rings meet its face at ``ring_angle_deg``; any shape.

    0 is flat-sawn (tangential across the width), 90 quarter-sawn (radial); between, the small-strain transformation
    S = S_T cos² + S_R sin². NaN stays NaN. Raises OutOfRange outside 0 to 90°, or outside 0 to below 100 %.
    Our own application of plane-strain transformation; shrinkages as in Table 4-3.
    """
    radial, tangential = _total("radial_pct", radial_pct), _total("tangential_pct", tangential_pct)
    angle = _angle_rad(ring_angle_deg)
    return np.asarray(tangential * np.cos(angle) ** 2 + radial * np.sin(angle) ** 2)


def thickness_shrinkage_at_angle_pct(
    radial_pct: float | Array, tangential_pct: float | Array, ring_angle_deg: float | Array
) -> Array:
    """Shrinkage through the thickness [%], S = S_R cos² + S_T sin²; otherwise as ``shrinkage_at_angle_pct``."""
    return shrinkage_at_angle_pct(tangential_pct, radial_pct, ring_angle_deg)


def change_m(
    size_m: float | Array,
    total_shrinkage_pct: float | Array,
    from_mc_pct: float | Array,
    to_mc_pct: float | Array,
    fsp_pct: float = CONVENTIONAL_FSP_PCT,
) -> Array:
    """Signed change [m] of a size measured at ``from_mc_pct`` when the wood comes to ``to_mc_pct`` [%MC]; any shape.

    ``total_shrinkage_pct``: green to oven-dry in that direction [%, 0 to below 100]. Negative when it shrinks; none
    at or above ``fsp_pct``. The new size changes back exactly. NaN stays NaN. Raises OutOfRange below 0 m or 0 %MC.
    Source: Wood Handbook FPL-GTR-282, 2021, Equation 4-9 at both moisture contents.
    """
    size = np.asarray(size_m, dtype=float)
    refuse_unless((size >= 0) & (size < np.inf), "size_m", size, 0.0, np.inf, "m")
    return np.asarray(
        size * _strain(_total("total_shrinkage_pct", total_shrinkage_pct), from_mc_pct, to_mc_pct, fsp_pct)
    )


def handbook_coefficient(total_shrinkage_pct: float | Array) -> Array:
    """Change coefficient [per %MC] of the size at 10 %MC, from the shrinkage green to oven-dry [%]; any shape.

    Raises OutOfRange outside 0 to below 100 %. For timbers whose coefficient is not printed. Derived from the Wood
    Handbook FPL-GTR-190, 2010, chapter 13, with fibre saturation at 30 %: gives its Table 13-5 to 0.00001.
    """
    total = _total("total_shrinkage_pct", total_shrinkage_pct)
    at_base = total * (1.0 - HANDBOOK_BASE_MC_PCT / CONVENTIONAL_FSP_PCT) / 100.0
    return np.asarray(total / (100.0 * CONVENTIONAL_FSP_PCT) / (1.0 - at_base))


def handbook_change_m(
    size_m: float | Array, coefficient: float | Array, from_mc_pct: float | Array, to_mc_pct: float | Array
) -> Array:
    """Signed change [m] by the handbook's rule: size × coefficient × (to − from); any shape, NaN stays NaN.

    ``coefficient`` [per %MC] belongs to the size at 10 %MC. The rule takes the size as measured at ``from_mc_pct``,
    which misses by at most about 2 % of the change. Raises OutOfRange outside 6 to 14 %MC, where it does not hold.
    Source: Wood Handbook FPL-GTR-190, 2010, Equation 13-2.
    """
    low, high = HANDBOOK_MC_PCT
    start, end = np.asarray(from_mc_pct, dtype=float), np.asarray(to_mc_pct, dtype=float)
    for name, values in (("from_mc_pct", start), ("to_mc_pct", end)):
        refuse_unless((values >= low) & (values <= high), name, values, low, high, "%MC")
    return np.asarray(np.asarray(size_m) * np.asarray(coefficient) * (end - start))


def longitudinal_shrinkage_pct() -> tuple[float, float]:
    """Least and most shrinkage along the grain [%], green to oven-dry, of sound straight-grained wood: 0.1 and 0.2.

    Reaction wood and juvenile wood reach 2 %. Source: Wood Handbook FPL-GTR-190, 2010, page 4-5.
    """
    table = constants("wood")
    return table["longitudinal_least"].value, table["longitudinal_most"].value


def longitudinal_change_m(
    length_m: float | Array,
    from_mc_pct: float | Array,
    to_mc_pct: float | Array,
    fsp_pct: float = CONVENTIONAL_FSP_PCT,
) -> tuple[Array, Array]:
    """Signed change along the grain [m], of the least and of the most that sound wood does; any shape.

    Up to ten times the second in reaction or juvenile wood. Errors as ``change_m``; source as
    ``longitudinal_shrinkage_pct``.
    """
    least, most = longitudinal_shrinkage_pct()
    return (
        change_m(length_m, least, from_mc_pct, to_mc_pct, fsp_pct),
        change_m(length_m, most, from_mc_pct, to_mc_pct, fsp_pct),
    )


def cup_m(
    width_m: float | Array,
    pith_distance_m: float | Array,
    ring_angle_deg: float | Array,
    radial_pct: float | Array,
    tangential_pct: float | Array,
    from_mc_pct: float | Array,
    to_mc_pct: float | Array,
    fsp_pct: float = CONVENTIONAL_FSP_PCT,
) -> Array:
    """Greatest departure from flat [m] of a face that was flat at ``from_mc_pct``, at ``to_mc_pct``; any shape.

    The face is a straight line of ``width_m`` whose middle lies ``pith_distance_m`` from the pith, the rings meeting
    it there at ``ring_angle_deg`` (0 flat-sawn, 90 quarter-sawn). Positive: hollow on the bark side, as a flat-sawn
    board goes in drying; negative: hollow on the pith side. NaN stays NaN.

    Wood that shrinks evenly, radially by ε_r and along the rings by ε_t, stays free of stress when every point
    (ρ, φ) about the pith goes to (ρ(1 + ε_r), φ(1 + ε_t)/(1 + ε_r)); to first order that angle is
    φ(1 + ε_t − ε_r), and a narrow flat-sawn face cups by width² (ε_t − ε_r) / (4 × pith distance).
    Our own geometry: an unrestrained piece, flat before, of uniform moisture before and after. Drying from one side,
    twist, knots and sapwood of another shrinkage are not in it. Raises OutOfRange for sizes not above 0, angles
    outside 0 to 90°, and a face so near the pith that it fills more than 150° of the view from it.
    """
    given = (width_m, pith_distance_m, ring_angle_deg, radial_pct, tangential_pct, from_mc_pct, to_mc_pct)
    width, pith, angle_deg, radial, tangential, start, end = np.broadcast_arrays(
        *(np.asarray(one, dtype=float)[..., np.newaxis] for one in given)
    )
    for name, size in (("width_m", width), ("pith_distance_m", pith)):
        refuse_unless((size > 0) & (size < np.inf), name, size, 0.0, np.inf, "m")
    angle = _angle_rad(angle_deg)
    strain_r = _strain(_total("radial_pct", radial), start, end, fsp_pct)
    strain_t = _strain(_total("tangential_pct", tangential), start, end, fsp_pct)
    along = width * np.linspace(-0.5, 0.5, _FACE_POINTS)
    x, y = along * np.cos(angle), pith + along * np.sin(angle)  # the pith at the origin, the bark towards +y
    view = np.degrees(np.arctan2(x, y))
    seen = view[..., -1] - view[..., 0]
    refuse_unless(seen <= WIDEST_VIEW_DEG, "view of the face from the pith", seen, 0.0, WIDEST_VIEW_DEG, "°")
    return _departure_m(x, y, strain_r, strain_t)


def _departure_m(x: Array, y: Array, strain_r: Array, strain_t: Array) -> Array:
    """How far the shrunken face leaves its chord, along the last axis; positive towards the pith."""
    radius = np.hypot(x, y) * (1.0 + strain_r)
    phi = np.arctan2(x, y) * (1.0 + strain_t) / (1.0 + strain_r)
    to_x, to_y = radius * np.sin(phi), radius * np.cos(phi)
    chord_x, chord_y = to_x[..., -1:] - to_x[..., :1], to_y[..., -1:] - to_y[..., :1]
    across = (to_x - to_x[..., :1]) * chord_y - (to_y - to_y[..., :1]) * chord_x
    off = across / np.hypot(chord_x, chord_y)
    furthest = np.argmax(np.abs(off), axis=-1)[..., np.newaxis]
    return np.asarray(np.take_along_axis(off, furthest, axis=-1)[..., 0])


def mismatch_m(change_a_m: float | Array, change_b_m: float | Array) -> Array:
    """How much longer [m] piece a would be than piece b if the glue did not hold them; any shape.

    Positive when a grew more, or shrank less. The glue line carries it as stress, and the pair bends.
    """
    return np.asarray(np.asarray(change_a_m, dtype=float) - np.asarray(change_b_m, dtype=float))


@dataclass(frozen=True)
class GluedPiece:
    """One of two glued pieces: its shrinkage along the joint [%, green to oven-dry] and its moisture contents [%MC].

    A brace along the grain has a ``longitudinal_shrinkage_pct``; a plate across has its radial or tangential one.
    """

    shrinkage_along_joint_pct: float
    from_mc_pct: float  # when the joint was glued
    to_mc_pct: float
    fsp_pct: float = CONVENTIONAL_FSP_PCT

    def change_m(self, joint_m: float) -> float:
        """Signed change [m] that a joint ``joint_m`` [m] long would make if this piece were free."""
        change = change_m(joint_m, self.shrinkage_along_joint_pct, self.from_mc_pct, self.to_mc_pct, self.fsp_pct)
        return float(change)


def joint_mismatch_m(joint_m: float, a: GluedPiece, b: GluedPiece) -> float:
    """How much longer [m] ``a`` would be than ``b`` along a joint of ``joint_m`` [m]. Errors as ``change_m``."""
    return float(mismatch_m(a.change_m(joint_m), b.change_m(joint_m)))


def change_band_m(
    size_m: float,
    total_shrinkage_pct: float,
    from_mc_pct: float,
    to_mc_pct: float,
    from_sd_mc_pct: float,
    to_sd_mc_pct: float,
    shrinkage_cv: float | None = None,
    fsp_pct: float = CONVENTIONAL_FSP_PCT,
) -> tuple[float, float, float]:
    """10th, 50th and 90th percentile of the signed ``change_m`` of one board [m], in that order.

    The table's shrinkage is the median of a log-normal spread of ``shrinkage_cv`` (None: 0.15, from memory); both
    moisture contents are normal with the standard deviations given, cut off at 0 %MC, and independent. A fixed
    lattice of 4096 points takes the place of chance, so the same question has the same answer, the bend at fibre
    saturation included. Ring angle and fibre saturation are taken as known. Errors as ``change_m``, and OutOfRange
    for a negative spread.
    """
    cv = constants("wood")["shrinkage_cv"].value if shrinkage_cv is None else shrinkage_cv
    for name, spread in (("from_sd_mc_pct", from_sd_mc_pct), ("to_sd_mc_pct", to_sd_mc_pct), ("shrinkage_cv", cv)):
        refuse_unless(0 <= spread < np.inf, name, np.asarray(spread), 0.0, np.inf, "")
    change_m(size_m, total_shrinkage_pct, from_mc_pct, to_mc_pct, fsp_pct)  # refuses what no spread should hide
    spread_ln = np.sqrt(np.log1p(cv**2))
    normal = _normal_lattice()
    total = np.minimum(total_shrinkage_pct * np.exp(spread_ln * normal[0]), 99.0)
    start = np.maximum(from_mc_pct + from_sd_mc_pct * normal[1], 0.0)
    end = np.maximum(to_mc_pct + to_sd_mc_pct * normal[2], 0.0)
    low, middle, high = np.quantile(change_m(size_m, total, start, end, fsp_pct), (0.1, 0.5, 0.9))
    return float(low), float(middle), float(high)


def _normal_lattice() -> Array:
    """Three rows of standard normal values that fill their space evenly."""
    steps = np.arange(_LATTICE_POINTS) * _LATTICE_ROOT ** -np.arange(1.0, 4.0)[:, np.newaxis]
    return np.asarray(ndtri((0.5 + steps) % 1.0))


def _strain(total_pct: Array, from_mc_pct: float | Array, to_mc_pct: float | Array, fsp_pct: float) -> Array:
    """Change of size over the size at ``from_mc_pct``."""
    start, end = np.asarray(from_mc_pct, dtype=float), np.asarray(to_mc_pct, dtype=float)
    for name, values in (("from_mc_pct", start), ("to_mc_pct", end)):
        refuse_unless((values >= 0) & (values < np.inf), name, values, 0.0, np.inf, "%MC")
    held = 1.0 - shrinkage_pct(total_pct, start, fsp_pct) / 100.0
    return np.asarray((1.0 - shrinkage_pct(total_pct, end, fsp_pct) / 100.0) / held - 1.0)


def _total(name: str, values: float | Array) -> Array:
    total = np.asarray(values, dtype=float)
    refuse_unless((total >= 0) & (total < 100.0), name, total, 0.0, 100.0, "%")
    return total


def _angle_rad(values: float | Array) -> Array:
    angle = np.asarray(values, dtype=float)
    refuse_unless((angle >= 0) & (angle <= 90.0), "ring_angle_deg", angle, 0.0, 90.0, "°")
    return np.asarray(np.radians(angle))
