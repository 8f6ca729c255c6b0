"""Two faces that share a board's temperature and its air: which branch of the isotherm each of them is on.

With J the flux off both, the board's vapour pressure is p(J) = p - s J and its air's q(J) = q + m J (s COOLING times
P_SLOPE, m MOISTENS), and a face of activities a on the drying branch and a' >= a on the gaining one gives

    f(J) = beta (a p(J) - q(J)) while that is more than 0, beta (a' p(J) - q(J)) while that is less, else nothing

It is of J that a face rests, not of its own M alone: one face that dries cools the board, and the other, which would
be at rest with its air, gains. A rest that left J out would make the flux jump at its ends by beta a s J, and where it
jumps no balance need exist. J - f1(J) - f2(J) rises, so there is one J; where it is beside the four at which a face
comes to rest tells the branches, without a search.

Compiled; the rows of ``h`` are told in ``kiln.lanes``.
"""

from __future__ import annotations

from kiln.activity import ACTIVITY_STEPS, bracketed, towards
from kiln.lanes import (
    BACK_DRY_COOL,
    BACK_DRY_GIVES,
    BACK_GAIN_COOL,
    BACK_GAIN_GIVES,
    BACK_PER_X,
    BACK_SLOPE_M,
    BACK_TAKES_FRONT,
    BACK_X,
    COOL,
    COOL_M,
    COOLING,
    DRY_COOL,
    DRY_COOL_M,
    DRY_GIVES,
    DRY_GIVES_M,
    FACE_AIR,
    FACE_BETA,
    FACE_M,
    FRONT_BY_BACK,
    FROZEN,
    FULL,
    GAIN_COOL,
    GAIN_COOL_M,
    GAIN_GIVES,
    GAIN_GIVES_M,
    GAIN_U,
    GIVES,
    GIVES_M,
    K1,
    K12,
    LANES,
    MOISTENS,
    OTHER_BETA,
    OTHER_COOL,
    OTHER_COOL_M,
    OTHER_DRY_COOL,
    OTHER_DRY_COOL_M,
    OTHER_DRY_GIVES,
    OTHER_DRY_GIVES_M,
    OTHER_GAIN_COOL,
    OTHER_GAIN_COOL_M,
    OTHER_GAIN_GIVES,
    OTHER_GAIN_GIVES_M,
    OTHER_GIVES,
    OTHER_GIVES_M,
    P_FACE,
    P_SLOPE,
    PER,
    PER_K,
    PER_RATIO,
    UNSURE,
    K,
    U,
    X,
    compiled,
    greater,
    lesser,
)

_OF_A_FACE = 11  # rows
_CLOSE = 1e-3  # of an activity: Newton's few steps from there are sure to the last digits


@compiled
def turn(h):  # type: ignore[no-untyped-def]
    """Let the rows of the face stand for the other face."""
    for row in range(_OF_A_FACE):
        for i in range(LANES):
            here, there = FACE_BETA + row * LANES + i, OTHER_BETA + row * LANES + i
            h[here], h[there] = h[there], h[here]


@compiled
def place_branches(h):  # type: ignore[no-untyped-def]
    """Put the activities of the face where its M is, if that is far from where it was."""
    far = 0
    for i in range(LANES):
        measure, full, k1, k12 = h[FACE_M + i] * h[PER + i], h[FULL + i], h[K1 + i], h[K12 + i]
        step, _slope = towards(h[U + i], lesser(measure, full), k1, k12)
        step_gain, _slope = towards(h[GAIN_U + i], lesser(measure * h[PER_RATIO + i], full), k1, k12)
        close = h[FROZEN + i] > 0.0 or (abs(step) < _CLOSE and abs(step_gain) < _CLOSE)
        h[UNSURE + i] = 0.0 if close else 1.0
        far += 0 if close else 1
    if far == 0:
        return
    for i in range(LANES):
        if h[UNSURE + i] > 0.0:
            measure, full, k, k1, k12 = h[FACE_M + i] * h[PER + i], h[FULL + i], h[K + i], h[K1 + i], h[K12 + i]
            h[U + i] = bracketed(lesser(measure, full), k, k1, k12)
            h[GAIN_U + i] = bracketed(lesser(measure * h[PER_RATIO + i], full), k, k1, k12)


@compiled
def _activity(u, measure, per, k, per_k, k1, k12, full):  # type: ignore[no-untyped-def]
    """Return u, its last step, the activity and its slope with M."""
    inside, step, du = lesser(measure, full), 0.0, 0.0
    for _ in range(ACTIVITY_STEPS):
        step, du = towards(u, inside, k1, k12)
        u = lesser(greater(u + step, 0.0), k)
    a, da = u * per_k, du * per_k * per
    return u, abs(step), (1.0 if measure >= full else a), (0.0 if measure >= full else da)


@compiled
def face_on_both(h):  # type: ignore[no-untyped-def]
    """Fill what the face gives at FACE_M on each branch, as ``face.front_face`` does for the one that it is on."""
    for i in range(LANES):
        k, per_k, k1, k12, full = h[K + i], h[PER_K + i], h[K1 + i], h[K12 + i], h[FULL + i]
        p, p_air, beta = h[P_FACE + i], h[FACE_AIR + i], h[FACE_BETA + i]
        per, ratio = h[PER + i], h[PER_RATIO + i]
        measure, u_old, u_gain_old, frozen = h[FACE_M + i] * per, h[U + i], h[GAIN_U + i], h[FROZEN + i] > 0.0
        u, step, a, da = _activity(u_old, measure, per, k, per_k, k1, k12, full)
        u_gain, step_gain, a_gain, da_gain = _activity(
            u_gain_old, measure * ratio, per * ratio, k, per_k, k1, k12, full
        )
        # What a lane finds must not hang on how long others take.
        h[U + i], h[GAIN_U + i] = (u_old if frozen else u), (u_gain_old if frozen else u_gain)
        h[UNSURE + i] = greater(step, step_gain)
        per_flux, moistens = h[P_SLOPE + i] * h[COOLING + i], h[MOISTENS + i]
        h[DRY_COOL + i], h[DRY_COOL_M + i] = beta * (a * per_flux + moistens), beta * da * per_flux
        h[DRY_GIVES + i], h[DRY_GIVES_M + i] = beta * (a * p - p_air), beta * da * p
        h[GAIN_COOL + i], h[GAIN_COOL_M + i] = beta * (a_gain * per_flux + moistens), beta * da_gain * per_flux
        h[GAIN_GIVES + i], h[GAIN_GIVES_M + i] = beta * (a_gain * p - p_air), beta * da_gain * p


@compiled
def _at_rest(gives, cool, dry_gives, dry_cool, gain_gives, gain_cool):  # type: ignore[no-untyped-def]
    """What the other face gives at the J at which this one, on a branch, comes to rest; times this one's ``cool``."""
    return greater(dry_gives * cool - dry_cool * gives, 0.0) + lesser(gain_gives * cool - gain_cool * gives, 0.0)


@compiled
def choose(h):  # type: ignore[no-untyped-def]
    """Take for each face the branch that it is on, given what both give on theirs."""
    for i in range(LANES):
        gd, cd, gg, cg = h[DRY_GIVES + i], h[DRY_COOL + i], h[GAIN_GIVES + i], h[GAIN_COOL + i]
        gd_m, cd_m, gg_m, cg_m = h[DRY_GIVES_M + i], h[DRY_COOL_M + i], h[GAIN_GIVES_M + i], h[GAIN_COOL_M + i]
        od, oc, og, oh = h[OTHER_DRY_GIVES + i], h[OTHER_DRY_COOL + i], h[OTHER_GAIN_GIVES + i], h[OTHER_GAIN_COOL + i]
        od_m, oc_m = h[OTHER_DRY_GIVES_M + i], h[OTHER_DRY_COOL_M + i]
        og_m, oh_m = h[OTHER_GAIN_GIVES_M + i], h[OTHER_GAIN_COOL_M + i]
        dries, gains = gd > _at_rest(gd, cd, od, oc, og, oh), gg < _at_rest(gg, cg, od, oc, og, oh)
        h[GIVES + i] = gd if dries else (gg if gains else 0.0)
        h[COOL + i] = cd if dries else (cg if gains else 0.0)
        h[GIVES_M + i] = gd_m if dries else (gg_m if gains else 0.0)
        h[COOL_M + i] = cd_m if dries else (cg_m if gains else 0.0)
        dries, gains = od > _at_rest(od, oc, gd, cd, gg, cg), og < _at_rest(og, oh, gd, cd, gg, cg)
        h[OTHER_GIVES + i] = od if dries else (og if gains else 0.0)
        h[OTHER_COOL + i] = oc if dries else (oh if gains else 0.0)
        h[OTHER_GIVES_M + i] = od_m if dries else (og_m if gains else 0.0)
        h[OTHER_COOL_M + i] = oc_m if dries else (oh_m if gains else 0.0)


@compiled
def hold_back(h):  # type: ignore[no-untyped-def]
    """Keep what the back gives where it stands, and fill the slope of its flux with the front's M."""
    for i in range(LANES):
        h[BACK_DRY_GIVES + i], h[BACK_DRY_COOL + i] = h[OTHER_DRY_GIVES + i], h[OTHER_DRY_COOL + i]
        h[BACK_GAIN_GIVES + i], h[BACK_GAIN_COOL + i] = h[OTHER_GAIN_GIVES + i], h[OTHER_GAIN_COOL + i]
        over = 1.0 / (1.0 + h[COOL + i] + h[OTHER_COOL + i])
        both = (h[GIVES + i] + h[OTHER_GIVES + i]) * over
        change = (h[GIVES_M + i] - both * h[COOL_M + i]) * over
        h[BACK_TAKES_FRONT + i] = -h[OTHER_COOL + i] * change


@compiled
def back_follows(h):  # type: ignore[no-untyped-def]
    """Let the back, along its slopes, be where the wood brings it when the front has changed by X."""
    for i in range(LANES):
        slope_m = h[BACK_SLOPE_M + i]
        moved = (h[BACK_X + i] + h[BACK_PER_X + i] * h[X + i]) * slope_m
        h[OTHER_DRY_GIVES + i] = h[BACK_DRY_GIVES + i] + h[OTHER_DRY_GIVES_M + i] * moved
        h[OTHER_DRY_COOL + i] = greater(h[BACK_DRY_COOL + i] + h[OTHER_DRY_COOL_M + i] * moved, 0.0)
        h[OTHER_GAIN_GIVES + i] = h[BACK_GAIN_GIVES + i] + h[OTHER_GAIN_GIVES_M + i] * moved
        h[OTHER_GAIN_COOL + i] = greater(h[BACK_GAIN_COOL + i] + h[OTHER_GAIN_COOL_M + i] * moved, 0.0)
    choose(h)
    for i in range(LANES):
        over = 1.0 / (1.0 + h[COOL + i] + h[OTHER_COOL + i])
        both = (h[GIVES + i] + h[OTHER_GIVES + i]) * over
        change = (h[OTHER_GIVES_M + i] - both * h[OTHER_COOL_M + i]) * over * h[BACK_PER_X + i] * h[BACK_SLOPE_M + i]
        h[FRONT_BY_BACK + i] = -h[COOL + i] * change
