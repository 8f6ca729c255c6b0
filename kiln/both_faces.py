"""Two faces that cool one board: how the front's change moves the back within one step of Newton.

Compiled; the rows of ``h`` and the fields of ``nodes`` are told in ``kiln.lanes``.
"""

from __future__ import annotations

from kiln.branches import choose, face_on_both, place_branches, turn
from kiln.face import fluxes
from kiln.lanes import (
    BACK_PER_X,
    BACK_TAKES_FRONT,
    BACK_X,
    BY_FRONT,
    DONE,
    FACE_M,
    FACE_SLOPE,
    FLOW,
    FOLLOWS,
    FREE_M,
    FROZEN,
    LANES,
    NODE,
    PER_FACE,
    PIVOT,
    RIGHT,
    SATURATION,
    SLOPE,
    UPPER,
    X,
    Y,
    compiled,
)


@compiled
def _face_at(at, nodes, h):  # type: ignore[no-untyped-def]
    """Fill what the face at hand gives where its node is."""
    for i in range(LANES):
        v, free = nodes[at + Y + i], h[FREE_M + i]
        h[FACE_M + i] = h[SATURATION + i] + (1.0 if v < 0.0 else free) * v
    place_branches(h)  # its M may have moved far
    face_on_both(h)


@compiled
def faces_meet(n, nodes, h):  # type: ignore[no-untyped-def]
    """Fill what each face gives where it is now, which feels what both give.

    The front too is asked anew: where it was balanced is not where it is once it passed a kink or went half way back.
    """
    for i in range(LANES):
        h[FROZEN + i] = h[DONE + i]
    _face_at(max(n - 1, 0) * NODE, nodes, h)
    turn(h)
    _face_at(0, nodes, h)
    turn(h)
    choose(h)
    fluxes(h)


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
