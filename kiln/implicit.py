"""One implicit step of a block of boards: the wood's own balance, node by node.

Compiled; the rows of ``h`` and the fields of ``nodes`` are told in ``kiln.lanes``, the equations in ``kiln.diffusion``.
"""

from __future__ import annotations

import numpy as np

from kiln.both_faces import faces_meet, join_faces, let_front_in
from kiln.branches import hold_back
from kiln.face import (
    FACE_TOLERANCE,
    FACE_TRIES,
    balance,
    fluxes,
    front_face,
    place_activities,
)
from kiln.lanes import (
    AT_REST,
    BACK_CHANGE,
    BACK_FLUX,
    BACK_LEFT,
    BACK_SLOPE,
    BACK_SLOPE_M,
    BACK_TAKES,
    BACK_TAKES_FRONT,
    BACK_TAKES_M,
    CROSSES,
    DONE,
    EDGE,
    EDGE_DRIES,
    EDGE_GAINS,
    FACE_AT,
    FACE_M,
    FACE_SLOPE,
    FLOW,
    FLOWS_IN,
    FOLLOWS,
    FREE_M,
    FREE_PHI,
    FROM_OLD,
    FROM_OLDER,
    FRONT_LEFT,
    FROZEN,
    HALVINGS,
    HELD,
    HIGH,
    HIGHEST,
    LANES,
    LARGEST,
    LEAD,
    LOW,
    LOWEST,
    NEW,
    NODE,
    OFF,
    OLD,
    OLDER,
    PER,
    PER_B,
    PER_FACE,
    PER_FRONT,
    PER_RATIO,
    PHI,
    PIVOT,
    RIGHT,
    SATURATION,
    SKIP,
    SLOPE,
    SLOPE_B,
    UNSOUND,
    UNSURE,
    UPPER,
    WANTED,
    WORST,
    X,
    Y,
    compiled,
    exp_less_one,
    greater,
    lesser,
)

NEAR = 3e-4  # kg/kg, on the last Newton step, which leaves about its square behind …
_PAST_REST = 1e-4  # share of what a face may pass its rest by that an extreme may have: a tenth kg/kg stops it
TOLERANCE = 1e-6  # … unless a node passed a kink in it
_MOST_HALVINGS = 10.0


@compiled
def _potentials(n, nodes, h):  # type: ignore[no-untyped-def]
    """Fill Phi of every node and its slope with the iterated variable."""
    for j in range(n):
        at = j * NODE
        for i in range(LANES):
            b, b_inverse, v, free = h[SLOPE_B + i], h[PER_B + i], nodes[at + Y + i], h[FREE_PHI + i]
            less = exp_less_one(b * lesser(v, 0.0))
            bound, above = less * b_inverse, free * v
            nodes[at + PHI + i] = bound if v < 0.0 else above
            nodes[at + SLOPE + i] = 1.0 + less if v < 0.0 else free


@compiled
def _storage(v, old, older, lead, from_old, from_older, saturation, free):  # type: ignore[no-untyped-def]
    """How far storage is off its balance in a node, the slope of that, and of M, with the iterated variable."""
    slope_m = 1.0 if v < 0.0 else free
    return lead * (saturation + slope_m * v) - (from_old * old - from_older * older), lead * slope_m, slope_m


@compiled
def _edges(phi, slope, edge, dries, gains):  # type: ignore[no-untyped-def]
    """What edges and ends take from a node, and the slope of that."""
    above, below = phi - dries, phi - gains
    share = edge if above > 0.0 or below < 0.0 else 0.0
    return edge * (greater(above, 0.0) + lesser(below, 0.0)), share * slope


@compiled
def _sweep(n, nodes, h, per_gap, share):  # type: ignore[no-untyped-def]
    """Set up the Newton system and eliminate it from the back (or the middle) to the front, node by node.

    Rows are divided by the node's share. What a helper gets are numbers, never arrays: those end a vector loop.
    """
    per_gap_0, per_share_0 = per_gap[0], 1.0 / share[0]
    for i in range(LANES):
        v, phi, slope = nodes[Y + i], nodes[PHI + i], nodes[SLOPE + i]
        old, older = nodes[OLD + i], nodes[OLDER + i]
        weights = h[LEAD + i], h[FROM_OLD + i], h[FROM_OLDER + i]
        off, own, slope_m = _storage(v, old, older, *weights, h[SATURATION + i], h[FREE_M + i])
        taken, taken_slope = _edges(phi, slope, h[EDGE + i], h[EDGE_DRIES + i], h[EDGE_GAINS + i])
        off, own = off + taken, own + taken_slope
        flow, per_face = h[FLOW + i] * per_gap_0, h[PER_FACE + i] * per_share_0
        onward = flow * (phi - nodes[NODE + PHI + i])
        off += onward * per_share_0 + per_face * h[BACK_FLUX + i]
        own += flow * slope * per_share_0 + per_face * h[BACK_SLOPE + i] * slope_m
        # The front, which is balanced next, moves them.
        h[BACK_TAKES + i], h[BACK_TAKES_M + i] = h[BACK_FLUX + i], h[BACK_SLOPE + i] * slope_m
        h[BACK_SLOPE_M + i] = slope_m
        inverse = 1.0 / own
        nodes[UPPER + i] = -flow * per_share_0 * nodes[NODE + SLOPE + i] * inverse
        nodes[RIGHT + i] = -off * inverse
        h[FLOWS_IN + i] = onward
        h[OFF + i] = abs(off) / per_share_0
    for j in range(n - 2):
        # Counted from the node before: an index that might be below nought would not go into vectors.
        at, weight, gap, gap_before = j * NODE, share[j + 1], per_gap[j + 1], per_gap[j]
        per_share = 1.0 / weight
        for i in range(LANES):
            v, phi, slope = nodes[at + NODE + Y + i], nodes[at + NODE + PHI + i], nodes[at + NODE + SLOPE + i]
            old, older = nodes[at + NODE + OLD + i], nodes[at + NODE + OLDER + i]
            weights = h[LEAD + i], h[FROM_OLD + i], h[FROM_OLDER + i]
            off, own, _slope_m = _storage(v, old, older, *weights, h[SATURATION + i], h[FREE_M + i])
            taken, taken_slope = _edges(phi, slope, h[EDGE + i], h[EDGE_DRIES + i], h[EDGE_GAINS + i])
            off, own = off + taken, own + taken_slope
            flow, flow_before = h[FLOW + i] * gap, h[FLOW + i] * gap_before
            onward = flow * (phi - nodes[at + 2 * NODE + PHI + i])
            off += (onward - h[FLOWS_IN + i]) * per_share
            own += (flow + flow_before) * slope * per_share
            under = -flow_before * per_share * nodes[at + SLOPE + i]
            inverse = 1.0 / (own - under * nodes[at + UPPER + i])
            nodes[at + NODE + UPPER + i] = -flow * per_share * nodes[at + 2 * NODE + SLOPE + i] * inverse
            nodes[at + NODE + RIGHT + i] = (-off - under * nodes[at + RIGHT + i]) * inverse
            h[FLOWS_IN + i] = onward
            h[OFF + i] += abs(off) * weight
    at, gap_before, weight = max(n - 2, 0) * NODE, per_gap[n - 2], share[n - 1]
    per_share = 1.0 / weight
    for i in range(LANES):
        v, phi, slope = nodes[at + NODE + Y + i], nodes[at + NODE + PHI + i], nodes[at + NODE + SLOPE + i]
        old, older = nodes[at + NODE + OLD + i], nodes[at + NODE + OLDER + i]
        weights = h[LEAD + i], h[FROM_OLD + i], h[FROM_OLDER + i]
        off, own, slope_m = _storage(v, old, older, *weights, h[SATURATION + i], h[FREE_M + i])
        taken, taken_slope = _edges(phi, slope, h[EDGE + i], h[EDGE_DRIES + i], h[EDGE_GAINS + i])
        off, own = off + taken, own + taken_slope
        flow_before = h[FLOW + i] * gap_before
        under = -flow_before * per_share * nodes[at + SLOPE + i]
        # The last row waits for the air: see balance.
        h[PIVOT + i] = own + flow_before * slope * per_share - under * nodes[at + UPPER + i]
        h[WANTED + i] = -(off - h[FLOWS_IN + i] * per_share) - under * nodes[at + RIGHT + i]
        h[PER_FRONT + i] = h[PER_FACE + i] * per_share
        h[FACE_AT + i], h[FACE_SLOPE + i] = h[SATURATION + i] + slope_m * v, slope_m


@compiled
def _update(n, nodes, h):  # type: ignore[no-untyped-def]
    """Substitute back and make Newton's step; the new state is what the linear system says."""
    for i in range(LANES):
        h[LARGEST + i], h[CROSSES + i], h[FOLLOWS + i] = 0.0, 0.0, 0.0
    for back in range(n):
        at = max(n - 1 - back, 0) * NODE
        if back == 0:
            for i in range(LANES):
                nodes[at + RIGHT + i], nodes[at + UPPER + i] = h[X + i], 0.0
        for i in range(LANES):
            x = nodes[at + RIGHT + i] - nodes[at + UPPER + i] * h[FOLLOWS + i]
            h[FOLLOWS + i] = x
            done, least, v = h[DONE + i] > 0.0, -h[SATURATION + i], nodes[at + Y + i]
            free, found = h[FREE_M + i], nodes[at + NEW + i]
            slope_m = 1.0 if v < 0.0 else free
            linear = slope_m * (v + x) - least
            nodes[at + NEW + i] = found if done else linear
            new, halfway = v + x, 0.5 * (v + least)
            crosses = v * new < 0.0 or new < least
            new = new if new >= least else halfway
            nodes[at + Y + i] = v if done else new
            h[LARGEST + i] = greater(h[LARGEST + i], abs(x) * slope_m)
            h[CROSSES + i] = 1.0 if crosses else h[CROSSES + i]
    for i in range(LANES):
        h[BACK_CHANGE + i] = h[FOLLOWS + i]


@compiled
def _finish(h, two):  # type: ignore[no-untyped-def]
    """Mark the lanes whose step was found, keep their fluxes, and return whether any is still sought."""
    waiting = 0
    for i in range(LANES):
        near = TOLERANCE if two or h[CROSSES + i] > 0.0 else NEAR  # two faces come to terms step by step
        found = h[LARGEST + i] < near and h[UNSURE + i] < FACE_TOLERANCE and h[HALVINGS + i] == 0.0
        done = h[DONE + i] > 0.0
        front = (h[WANTED + i] - h[PIVOT + i] * h[X + i]) / h[PER_FRONT + i]  # what the wood gave
        back = h[BACK_TAKES + i] + h[BACK_TAKES_M + i] * h[BACK_CHANGE + i]
        back += h[BACK_TAKES_FRONT + i] * h[FACE_SLOPE + i] * h[X + i]
        front_before, back_before = h[FRONT_LEFT + i], h[BACK_LEFT + i]
        h[FRONT_LEFT + i] = front_before if done else front
        h[BACK_LEFT + i] = back_before if done else back
        h[DONE + i] = 1.0 if found or done else 0.0
        waiting += 0 if found or done else 1
    return waiting > 0


@compiled
def _halve(n, nodes, h):  # type: ignore[no-untyped-def]
    """Where the last step made the balance worse, go half the way back; elsewhere hold what there is."""
    for i in range(LANES):
        worse = h[OFF + i] > h[WORST + i] and h[HALVINGS + i] < _MOST_HALVINGS
        h[HALVINGS + i] = h[HALVINGS + i] + 1.0 if worse else 0.0
        h[WORST + i] = h[WORST + i] if worse else h[OFF + i]
        h[X + i] = 0.0 if worse else h[X + i]  # no further step in this round
    for j in range(n):
        at = j * NODE
        for i in range(LANES):
            v, worse = nodes[at + Y + i], h[HALVINGS + i] > 0.0 and h[DONE + i] == 0.0
            halfway = 0.5 * (v + nodes[at + HELD + i])
            nodes[at + Y + i] = halfway if worse else v
            nodes[at + RIGHT + i] = 0.0 if worse else nodes[at + RIGHT + i]
            nodes[at + UPPER + i] = 0.0 if worse else nodes[at + UPPER + i]
            nodes[at + HELD + i] = nodes[at + HELD + i] if worse else v


@compiled
def implicit_step(n, nodes, h, per_gap, share, most, careful, two):  # type: ignore[no-untyped-def]
    """One implicit step of every lane from OLD to NEW; h[DONE] is 1 where it was found, or h[SKIP] was set.

    LEAD M - FROM_OLD OLD + FROM_OLDER OLDER stands for the change of M in the step. Newton on the wood, and within it
    on the front face; where ``careful`` a step that makes the balance worse is halved. Nothing may fall below no water
    at all. The new state is what the last linear system says, so that what leaves a cell enters the next to the last
    digit, converged or not.
    """
    last = max(n - 1, 0) * NODE
    for j in range(n):
        at = j * NODE
        for i in range(LANES):
            z, free = nodes[at + OLD + i] - h[SATURATION + i], h[FREE_M + i]
            above = z / free
            nodes[at + Y + i] = z if z < 0.0 else above
    for i in range(LANES):
        h[DONE + i] = h[SKIP + i]
        h[FROZEN + i] = h[SKIP + i]
        h[WORST + i], h[HALVINGS + i] = np.inf, 0.0
        h[FACE_M + i] = nodes[last + OLD + i]
    if not two:
        if careful:
            place_activities(h)
        front_face(h)
        fluxes(h)
    for _ in range(most):
        if two:
            faces_meet(n, nodes, h)
        _potentials(n, nodes, h)
        _sweep(n, nodes, h, per_gap, share)
        if two:
            hold_back(h)
            join_faces(n, nodes, h, per_gap, share)
        balance(FACE_TRIES * (10 if careful else 1), two, h)
        if careful:
            _halve(n, nodes, h)
        if two:
            let_front_in(n, nodes, h)
        _update(n, nodes, h)
        if not _finish(h, two):
            break


@compiled
def unsound(n, nodes, h, two):  # type: ignore[no-untyped-def]
    """Fill UNSOUND [kg/kg]: by how much a step did what diffusion never does: an extreme inside, a face past rest."""
    last = max(n - 1, 0) * NODE
    other = 0 if two else last
    for i in range(LANES):
        low, high = (
            lesser(nodes[last + NEW + i], nodes[other + NEW + i]),
            greater(nodes[last + NEW + i], nodes[other + NEW + i]),
        )
        h[LOW + i], h[HIGH + i], h[LOWEST + i], h[HIGHEST + i] = low, high, low, high
    for j in range(n):
        at = j * NODE
        for i in range(LANES):
            new, old = nodes[at + NEW + i], nodes[at + OLD + i]
            h[LOWEST + i], h[HIGHEST + i] = lesser(h[LOWEST + i], new), greater(h[HIGHEST + i], new)
            h[LOW + i], h[HIGH + i] = lesser(h[LOW + i], old), greater(h[HIGH + i], old)
    for i in range(LANES):
        beyond = greater(h[LOW + i] - h[LOWEST + i], h[HIGHEST + i] - h[HIGH + i])
        # A face that was wetter than at rest with its air ends no drier, nor the other way round, but for a little.
        old, new, rest = nodes[last + OLD + i], nodes[last + NEW + i], h[AT_REST + i] / h[PER + i]
        drier, wetter = rest / h[PER_RATIO + i] - new, new - rest
        past = drier if old > rest else wetter
        past = past if (old - rest) * (new - rest) < 0.0 else 0.0
        h[UNSOUND + i] = greater(beyond, past * _PAST_REST)
