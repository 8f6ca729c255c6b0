"""What water a piece has when it is cut out of another: layer by layer, and at the edges and ends that it keeps."""

from __future__ import annotations

import numpy as np
from scipy.special import erfc

from kiln.diffusion import cell_edges, mean_of
from shared.errors import BadInput
from shared.units import Array


def slice_of(profiles: Array, near_share: float, far_share: float) -> Array:
    """Return profiles [..., nodes] of the slice that is left of a board, between two depths from its marked face.

    ``profiles``: from the marked face to the other. Depths as shares of the thickness before the cut. The slice has
    the water that this part of the board had, to rounding. Raises BadInput unless 0 <= near < far <= 1.
    """
    if not 0.0 <= near_share < far_share <= 1.0:
        raise BadInput("slice", f"{near_share} to {far_share}", "of the thickness: it begins and ends within the board")
    edges = cell_edges(profiles.shape[-1], two_faces=True)
    return _laid_over(profiles, edges, near_share + (far_share - near_share) * edges)


def _laid_over(profiles: Array, edges: Array, new_edges: Array) -> Array:
    """Averages over new cells of what stands in old ones: linear within a cell, never beyond its neighbours.

    Each cell's slope is the lesser of those to its two neighbours, nought at a peak (minmod): so a front stays a
    front, and no cell gets wetter or drier than what it was cut from.
    """
    middles, widths = (edges[1:] + edges[:-1]) / 2.0, np.diff(edges)
    rises = np.diff(profiles, axis=-1) / np.diff(middles)
    none = np.zeros_like(profiles[..., :1])
    before, after = np.concatenate([none, rises], axis=-1), np.concatenate([rises, none], axis=-1)
    slope = np.where(before * after > 0.0, np.sign(before) * np.minimum(np.abs(before), np.abs(after)), 0.0)
    water = np.concatenate([none, np.cumsum(profiles * widths, axis=-1)], axis=-1)
    cell = np.clip(np.searchsorted(edges, new_edges, side="right") - 1, 0, len(widths) - 1)
    within = new_edges - edges[cell]
    # ∫ (M + slope (x - middle)) dx from the cell's edge.
    partial = profiles[..., cell] * within + slope[..., cell] * within * (within - widths[cell]) / 2.0
    return np.asarray(np.diff(water[..., cell] + partial, axis=-1) / np.diff(new_edges))


def shortfall_left(
    short: Array,
    profiles: Array,
    before_m: tuple[float, float],
    after_m: tuple[float, float],
    *,
    two_faces: bool = False,
) -> Array:
    """Return by how much a whole board is drier than its middle, once it is sawn [members, 3; kg/kg].

    ``short``: by open edges, by open ends and by both, before the cut; ``profiles`` [members, nodes]: through its
    thickness then; widths and lengths in m, before and after. A piece keeps one old edge or end; at the other the
    wood is as wet as it was there. A border is taken to have dried as a half-space whose surface is at its driest
    layer's moisture content does: an error function (Crank 1975, The Mathematics of Diffusion, section 3.3), to the
    depth at which it lacks the water that it lacks. So the parts and the dust together lack what the whole did, and a
    piece out of a dry border is dry. What does not get less keeps its shortfall.
    """
    found = np.array(short, dtype=float)
    for k, (before, after) in enumerate(zip(before_m, after_m, strict=True)):
        if after < before:
            found[:, k] = _one_border_kept(found[:, k], profiles, before, after, two_faces)
            found[:, 2] = found[:, 0] + found[:, 1]
    return found


def _one_border_kept(short: Array, profiles: Array, before_m: float, after_m: float, two_faces: bool) -> Array:
    """The shortfall [members; kg/kg] of a piece that begins at one border of a span and ends before the other."""
    middle = mean_of(profiles, two_faces=two_faces)
    apart = np.where(short > 0.0, middle - profiles.min(axis=1), profiles.max(axis=1) - middle)
    lacks = np.abs(short) * before_m / 2.0  # each border [kg/kg times m]
    depth_m = np.divide(np.sqrt(np.pi) * lacks, apart, out=np.full_like(lacks, np.inf), where=apart > 0.0)
    behind = _beyond(before_m, depth_m)  # the other border: no wood is there
    own, others = 1.0 - _beyond(after_m, depth_m), _beyond(before_m - after_m, depth_m) - behind
    return np.asarray(np.sign(short) * lacks * (own + others) / np.maximum(1.0 - behind, 1e-9) / after_m)


def _beyond(at_m: float, depth_m: Array) -> Array:
    """What share of all that a border lacks lies deeper than ``at_m``: the integral of the error function's rest."""
    z = np.minimum(at_m / np.maximum(depth_m, 1e-9), 30.0)  # beyond, nothing is left in double precision
    return np.asarray(np.exp(-(z**2)) - np.sqrt(np.pi) * z * erfc(z))
