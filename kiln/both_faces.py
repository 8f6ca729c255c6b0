"""Two faces that cool one board: how the front's change moves the back within one step of Newton.

Compiled; the rows of ``h`` and the fields of ``nodes`` are told in ``kiln.lanes``.
"""

from __future__ import annotations

from kiln.lanes import (
    BACK_PER_X,
    BACK_TAKES_FRONT,
    BACK_X,
    BY_FRONT,
    FACE_SLOPE,
    FLOW,
    FOLLOWS,
    LANES,
    NODE,
    PER_FACE,
    PIVOT,
    RIGHT,
    SLOPE,
    UPPER,
    X,
    compiled,
)


@compiled
def join_faces(n, nodes, h, per_gap, share):  # type: ignore[no-untyped-def]
    """Carry through the eliminated system that the front's change, by cooling and moistening, moves the back's flux.

    The term stands in the first row and the last column: per unit of X the rows give BY_FRONT, and the back is at
    BACK_X + BACK_PER_X X.
    """
    per_gap_0, per_share_0 = per_gap[0], 1.0 / share[0]
    for i in range(LANES):
        over = h[FLOW + i] * per_gap_0 * per_share_0 * nodes[NODE + SLOPE + i]
        inverse = -nodes[UPPER + i] / over
        by_front = -h[PER_FACE + i] * per_share_0 * h[BACK_TAKES_FRONT + i] * h[FACE_SLOPE + i] * inverse
        nodes[BY_FRONT + i] = by_front
        h[BACK_X + i], h[BACK_PER_X + i], h[FOLLOWS + i] = nodes[RIGHT + i], by_front, -nodes[UPPER + i]
    for j in range(n - 2):
        at, per_share, gap, gap_before = j * NODE, 1.0 / share[j + 1], per_gap[j + 1], per_gap[j]
        for i in range(LANES):
            over = h[FLOW + i] * gap * per_share * nodes[at + 2 * NODE + SLOPE + i]
            inverse = -nodes[at + NODE + UPPER + i] / over
            under = -h[FLOW + i] * gap_before * per_share * nodes[at + SLOPE + i]
            by_front = -under * nodes[at + BY_FRONT + i] * inverse
            nodes[at + NODE + BY_FRONT + i] = by_front
            chain = h[FOLLOWS + i]
            h[BACK_X + i] += chain * nodes[at + NODE + RIGHT + i]
            h[BACK_PER_X + i] += chain * by_front
            h[FOLLOWS + i] = -chain * nodes[at + NODE + UPPER + i]
    at, per_share, gap_before = max(n - 2, 0) * NODE, 1.0 / share[n - 1], per_gap[n - 2]
    for i in range(LANES):
        under = -h[FLOW + i] * gap_before * per_share * nodes[at + SLOPE + i]
        h[PIVOT + i] += under * nodes[at + BY_FRONT + i]
        h[BACK_PER_X + i] += h[FOLLOWS + i]


@compiled
def let_front_in(n, nodes, h):  # type: ignore[no-untyped-def]
    """Add what the front's change does to the eliminated rows."""
    for j in range(n - 1):
        at = j * NODE
        for i in range(LANES):
            nodes[at + RIGHT + i] += nodes[at + BY_FRONT + i] * h[X + i]
