"""Planing and resawing: what water a piece has, layer by layer, when it is cut out of another."""

from __future__ import annotations

import numpy as np

from kiln.diffusion import cell_edges
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
