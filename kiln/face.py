"""The faces of a block of boards: what the film takes at a moisture content, and where that meets what the wood brings.

Compiled; the rows of ``h`` are told in ``kiln.lanes``, the equations in ``kiln.diffusion``.
"""

from __future__ import annotations

import numpy as np

from kiln.activity import ACTIVITY_STEPS, bracketed, towards
from kiln.branches import back_follows, face_on_both, place_branches
from kiln.lanes import (
    AT_REST,
    BACK_FLUX,
    BACK_SLOPE,
    COOL,
    COOL_M,
    COOLING,
    DONE,
    FACE_AIR,
    FACE_AT,
    FACE_BETA,
    FACE_M,
    FACE_SLOPE,
    FRONT_BY_BACK,
    FRONT_FLUX,
    FRONT_SLOPE,
    FROZEN,
    FULL,
    GIVES,
    GIVES_M,
    K1,
    K12,
    LANES,
    LEAST_X,
    MOISTENS,
    MOST_X,
    OFF,
    OFF_BEFORE,
    OTHER_COOL,
    OTHER_COOL_M,
    OTHER_GIVES,
    OTHER_GIVES_M,
    P_FACE,
    P_SLOPE,
    PER,
    PER_FRONT,
    PER_K,
    PER_RATIO,
    PIVOT,
    UNSURE,
    WANTED,
    K,
    U,
    X,
    compiled,
    greater,
    lesser,
)

FACE_TOLERANCE = 1e-5  # kg/kg and activity, on the last step at the front, which leaves about its square
FACE_TRIES = 12
_SLOW = 0.5  # of what was off before: what is left of more than that is sought by halves


@compiled
def place_activities(h):  # type: ignore[no-untyped-def]
    """Put the activity of the face where its M is, however far that is from where it was."""
    for i in range(LANES):
        if h[FROZEN + i] > 0.0:
            continue
        measure = h[FACE_M + i] * h[PER + i]
        measure = measure if measure > h[AT_REST + i] else measure * h[PER_RATIO + i]
        h[U + i] = bracketed(lesser(measure, h[FULL + i]), h[K + i], h[K1 + i], h[K12 + i])


@compiled
def front_face(h):  # type: ignore[no-untyped-def]
    """Fill what the face gives at FACE_M: its flux while no face gives any, what it loses of that per flux off both,
    the slopes of the two with M; and its activity.

    Drying goes along the isotherm, gaining along a share of it; a face between the two exchanges nothing.
    """
    for i in range(LANES):
        k, k1, k12, full = h[K + i], h[K1 + i], h[K12 + i], h[FULL + i]
        per, rest = h[PER + i], h[AT_REST + i]
        p, p_air = h[P_FACE + i], h[FACE_AIR + i]
        measure = h[FACE_M + i] * per
        gaining, per_gaining = measure * h[PER_RATIO + i], per * h[PER_RATIO + i]
        dries = measure > rest and p > p_air
        gains = gaining < rest or p < p_air
        measure, per = (measure if dries else gaining), (per if dries else per_gaining)
        inside = lesser(measure, full)
        u_old = h[U + i]
        u, step, du = u_old, 0.0, 0.0
        for _ in range(ACTIVITY_STEPS):
            step, du = towards(u, inside, k1, k12)
            u = lesser(greater(u + step, 0.0), k)
        # What a lane finds must not hang on how long others take.
        h[U + i] = u_old if h[FROZEN + i] > 0.0 else u
        h[UNSURE + i] = abs(step)
        a, da = u * h[PER_K + i], du * h[PER_K + i] * per
        a, da = (1.0 if measure >= full else a), (0.0 if measure >= full else da)
        beta = h[FACE_BETA + i]
        beta = beta if dries or gains else 0.0
        # What both faces give cools the board, and moistens the air that they share.
        per_flux = h[P_SLOPE + i] * h[COOLING + i]
        h[COOL + i], h[COOL_M + i] = beta * (a * per_flux + h[MOISTENS + i]), beta * da * per_flux
        h[GIVES + i], h[GIVES_M + i] = beta * (a * p - p_air), beta * da * p


@compiled
def fluxes(h):  # type: ignore[no-untyped-def]
    """Fill the flux off each face [kg/m²s] and its slope with that face's M: each feels what both give."""
    for i in range(LANES):
        over = 1.0 / (1.0 + h[COOL + i] + h[OTHER_COOL + i])
        both = (h[GIVES + i] + h[OTHER_GIVES + i]) * over
        change = (h[GIVES_M + i] - both * h[COOL_M + i]) * over
        h[FRONT_FLUX + i] = h[GIVES + i] - h[COOL + i] * both
        h[FRONT_SLOPE + i] = h[GIVES_M + i] - h[COOL_M + i] * both - h[COOL + i] * change
        change = (h[OTHER_GIVES_M + i] - both * h[OTHER_COOL_M + i]) * over
        h[BACK_FLUX + i] = h[OTHER_GIVES + i] - h[OTHER_COOL + i] * both
        h[BACK_SLOPE + i] = h[OTHER_GIVES_M + i] - h[OTHER_COOL_M + i] * both - h[OTHER_COOL + i] * change


@compiled
def balance(most, two, h):  # type: ignore[no-untyped-def]
    """Find the change of the front at which what the wood brings is what the air takes.

    The wood's side is the last row of the eliminated system, PIVOT x = WANTED - PER_FRONT flux; the flux is the
    film's own, curved as it is, so that the iteration of the whole board has only the wood's curves to follow.
    The balance rises with x: each try narrows where it can be nought.
    """
    for i in range(LANES):
        h[X + i], h[LEAST_X + i], h[MOST_X + i] = 0.0, -h[FACE_AT + i] / h[FACE_SLOPE + i], 1e30
        h[OFF_BEFORE + i] = np.inf
        h[FROZEN + i] = h[DONE + i]
    for tried in range(most):
        for i in range(LANES):
            h[FACE_M + i] = h[FACE_AT + i] + h[FACE_SLOPE + i] * h[X + i]
        if two:
            if tried >= FACE_TRIES:
                place_branches(h)
            face_on_both(h)
            back_follows(h)
        else:
            if tried >= FACE_TRIES:
                place_activities(h)
            front_face(h)
        fluxes(h)
        waiting = 0  # counted in whole numbers: a sum of others would not go into vectors
        for i in range(LANES):
            x, low, high, frozen = h[X + i], h[LEAST_X + i], h[MOST_X + i], h[FROZEN + i] > 0.0
            off = h[PIVOT + i] * x - h[WANTED + i] + h[PER_FRONT + i] * h[FRONT_FLUX + i]
            slope = h[FRONT_SLOPE + i] * h[FACE_SLOPE + i] + h[FRONT_BY_BACK + i]
            slope = h[PIVOT + i] + h[PER_FRONT + i] * slope
            known = h[UNSURE + i] < FACE_TOLERANCE  # if not, its activities are on their way: again, from where it is
            low, high = (x if known and off < 0.0 else low), (x if known and off >= 0.0 else high)
            new, halfway = x - off / slope, 0.5 * (low + high)
            slow = abs(off) > _SLOW * abs(h[OFF_BEFORE + i]) and high < 1e30
            new = halfway if slow or new < low or new > high else new
            new = new if known else x
            h[OFF_BEFORE + i] = off if known else h[OFF_BEFORE + i]
            unsure = greater(h[UNSURE + i], abs(new - x) * h[FACE_SLOPE + i])
            h[LEAST_X + i], h[MOST_X + i], h[X + i] = low, high, x if frozen else new
            h[UNSURE + i] = 0.0 if frozen else unsure
            ready = frozen or unsure < FACE_TOLERANCE
            h[FROZEN + i] = 1.0 if ready else 0.0
            waiting += 0 if ready else 1
        if tried == 0:
            for i in range(LANES):
                # The balance of the front as Newton found it.
                h[OFF + i] += abs(h[PER_FRONT + i] * h[FRONT_FLUX + i] - h[WANTED + i])
        if waiting == 0:
            break
