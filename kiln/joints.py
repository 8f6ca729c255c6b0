"""What two glued pieces want from each other through the year: mismatch along their joint, and step at it.

Each believable course of one piece is held against the same member's course of the other, so that what boards of a
lot have in common drops out. Shrinkage scatters from board to board about the table's, and along the grain between
the least and the most that sound wood does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri
from scipy.stats import qmc

from kiln import movement
from kiln.errors import OutOfRange, refuse_unless
from kiln.promise import Plate
from kiln.records import Band, Projection, Three, three
from kiln.wood import shrinkage_pct
from shared.errors import BadInput
from shared.tables import constants
from shared.units import MS_PER_DAY, Array

WEEK_MS = 7 * MS_PER_DAY
LIMITS = (
    "The pieces are taken as free to move: the glue holds them, carries the mismatch as stress, and the pair bends.",
    "Each piece is as moist all through as its mean; what its faces do before its core is not in it.",
    "As if glued today, at today's moisture of each.",
)
_DRAWS = 1024
_SEED = 20
_A_ACROSS, _B_ACROSS, _BOTH_ACROSS, _A_ALONG, _B_ALONG, _SCATTERS = range(6)


@dataclass(frozen=True)
class Side:
    """A piece at a joint, the angle of its grain to the joint line, and its believable courses.

    ``mc_pct`` [members, moments; %MC]: of its whole, as ``Projection.member_mc_pct``. Raises OutOfRange for an angle
    outside 0 to 90°.
    """

    plate: Plate
    grain_angle_deg: float  # in the plane of the joint: 0 the grain runs along it, 90 across it
    mc_pct: Array

    def __post_init__(self) -> None:
        angle = np.asarray(self.grain_angle_deg, dtype=float)
        refuse_unless((angle >= 0) & (angle <= 90), "grain_angle_deg", angle, 0.0, 90.0, "°")


@dataclass(frozen=True)
class Mismatch:
    """How two pieces differ from how they were glued, through the time ahead; above 0 where a is the larger."""

    at_ms: NDArray[np.int64]
    mismatch_m: Band  # at each of these moments [m]
    most_m: Three  # p10, p50, p90 of the largest that it becomes, either way [m]
    most_at_ms: int  # when the middle of its size is the largest: its month is what counts
    extreme_m: Three  # p10, p50, p90 then, with its sign [m]
    strain_share: Three  # the same over the length on which it acts


def line_shrinkage_pct(longitudinal_pct: float | Array, across_pct: float | Array, angle_deg: float | Array) -> Array:
    """Shrinkage along a line in a face [%], green to oven-dry, at ``angle_deg`` to the grain; any shapes broadcast.

    S = S_L cos² + S_across sin², the small-strain transformation; OutOfRange outside 0 to 90°. Our own application of
    plane strain, as in ``movement.shrinkage_at_angle_pct``.
    """
    angle = np.asarray(angle_deg, dtype=float)
    refuse_unless((angle >= 0) & (angle <= 90), "angle_deg", angle, 0.0, 90.0, "°")
    turned = np.radians(angle)
    return np.asarray(np.asarray(longitudinal_pct) * np.cos(turned) ** 2 + np.asarray(across_pct) * np.sin(turned) ** 2)


def in_step(a: Projection, b: Projection) -> tuple[NDArray[np.int64], Array, Array] | None:
    """Return moments a week apart that both projections reach, and both boards' members there [members, moments].

    Between the projections' own moments by straight lines. None: they have no two moments in common.
    """
    first_ms = max(int(a.member_ms[0]), int(b.member_ms[0]))
    last_ms = min(int(a.member_ms[-1]), int(b.member_ms[-1]))
    at_ms = np.arange(first_ms, last_ms + 1, WEEK_MS, dtype=np.int64)
    if len(at_ms) < 2:
        return None
    count = min(len(a.member_mc_pct), len(b.member_mc_pct))
    one, other = (
        np.array([np.interp(at_ms, made.member_ms, row) for row in made.member_mc_pct[:count]]) for made in (a, b)
    )
    return at_ms, one, other


def along(length_m: float, a: Side, b: Side, at_ms: NDArray[np.int64], in_common: float = 0.0) -> Mismatch:
    """Return the mismatch along a joint of ``length_m`` [m] between two pieces glued at the first of ``at_ms``.

    ``at_ms`` [moments, two or more; UTC ms]; both pieces have as many members and moments. ``in_common``: share of
    the variance of shrinkage that both pieces have in common, 0 to 1 (``twins_in_common`` for leaves of one board).
    Deterministic: 1024 even draws of shrinkages, each with one of the members. Raises OutOfRange for a length not
    above 0 or a share outside 0 to 1, BadInput where shapes differ. Limits: ``LIMITS``.
    """
    _check(length_m, a, b, at_ms)
    draws = _scatters(in_common)
    changes = [
        _change_share(
            line_shrinkage_pct(draws[along_row], draws[row] * side.plate.across_pct, side.grain_angle_deg), side
        )
        for side, row, along_row in ((a, _A_ACROSS, _A_ALONG), (b, _B_ACROSS, _B_ALONG))
    ]
    return _told(at_ms, length_m * (changes[0] - changes[1]), length_m)


def step(a: Side, b: Side, at_ms: NDArray[np.int64], in_common: float = 0.0) -> Mismatch:
    """Return how far a stands above b at their joint, of pieces flush when joined edge to edge at the first moment.

    A difference of half of that stands out on each face where they were set middle to middle. Thickness only; cup is
    not in it. Arguments and errors as ``along``; the share of strain is over a's thickness.
    """
    _check(a.plate.thickness_m, a, b, at_ms)
    return _of_size(a, b, at_ms, in_common, "through_pct", "thickness_m")


def wider(a: Side, b: Side, at_ms: NDArray[np.int64], in_common: float = 0.0) -> Mismatch:
    """Return by how much more a grows in width than b: the joint wanders off the middle by half. As ``step``."""
    _check(a.plate.width_m, a, b, at_ms)
    return _of_size(a, b, at_ms, in_common, "across_pct", "width_m")


def twins_in_common() -> float:
    """How much of the variance of shrinkage two leaves of one board are taken to have in common (``promise.csv``)."""
    return constants("promise")["twins_in_common"].value


def _of_size(a: Side, b: Side, at_ms: NDArray[np.int64], in_common: float, shrinks: str, size: str) -> Mismatch:
    draws = _scatters(in_common)
    changes = [
        getattr(side.plate, size) * _change_share(draws[row] * getattr(side.plate, shrinks), side)
        for side, row in ((a, _A_ACROSS), (b, _B_ACROSS))
    ]
    return _told(at_ms, changes[0] - changes[1], getattr(a.plate, size))


def _check(length_m: float, a: Side, b: Side, at_ms: NDArray[np.int64]) -> None:
    if not 0.0 < length_m < np.inf:
        raise OutOfRange("length_m", length_m, 0.0, np.inf, "m")
    wanted = (len(a.mc_pct), len(at_ms))
    if len(at_ms) < 2 or a.mc_pct.shape != wanted or b.mc_pct.shape != wanted or not len(a.mc_pct):
        shapes = f"{a.mc_pct.shape} and {b.mc_pct.shape}"
        raise BadInput("members and moments of both pieces", shapes, f"alike, with {len(at_ms)} moments, two or more")


def _scatters(in_common: float) -> Array:
    """Even draws [scatters, draws]: factors about the table's shrinkage across, and shrinkages along the grain [%]."""
    if not 0.0 <= in_common <= 1.0:
        raise OutOfRange("in_common", in_common, 0.0, 1.0, "")
    even = qmc.Sobol(_SCATTERS, scramble=True, rng=np.random.default_rng(_SEED)).random(_DRAWS).T
    normal = ndtri(even)
    spread_ln = float(np.sqrt(np.log1p(constants("wood")["shrinkage_cv"].value ** 2)))
    least, most = movement.longitudinal_shrinkage_pct()
    own, shared = np.sqrt(1.0 - in_common), np.sqrt(in_common) * normal[_BOTH_ACROSS]
    drawn = np.empty_like(even)
    for row in (_A_ACROSS, _B_ACROSS):
        drawn[row] = np.exp(spread_ln * (own * normal[row] + shared))
    drawn[_BOTH_ACROSS] = np.exp(spread_ln * shared)
    for row in (_A_ALONG, _B_ALONG):
        drawn[row] = least + (most - least) * even[row]
    return drawn


def _change_share(total_pct: Array, side: Side) -> Array:
    """Change since the first moment over the size then [draws, moments], of members taken in turn."""
    total = np.minimum(total_pct, 99.0)[:, None]
    mc = side.mc_pct[np.arange(len(total)) % len(side.mc_pct)]
    kept = 1.0 - shrinkage_pct(total, mc, side.plate.fsp_pct) / 100.0
    return np.asarray(kept / kept[:, :1] - 1.0)


def _told(at_ms: NDArray[np.int64], mismatch_m: Array, length_m: float) -> Mismatch:
    size = np.abs(mismatch_m)
    at = int(np.argmax(np.median(size, axis=0)))
    extreme = three(mismatch_m[:, at])
    low, middle, high = (one / length_m for one in extreme)
    return Mismatch(at_ms, Band.of(mismatch_m), three(size.max(axis=1)), int(at_ms[at]), extreme, (low, middle, high))
