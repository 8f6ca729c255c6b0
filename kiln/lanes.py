"""What a block of boards is made of, and arithmetic that goes into vectors: a lane is one board of an ensemble.

Everything of a block stands in two flat arrays, so that the compiler sees that nothing overlaps and takes several
lanes in one instruction: ``nodes`` [node, field, lane] and ``h`` [row, lane], the rows of which are named here.
No lane sees another: what it finds depends neither on its neighbours nor on how many there are.
The equations are told in ``kiln.diffusion``.
"""

from __future__ import annotations

import numba
import numpy as np
from llvmlite import ir
from numba import types
from numba.extending import intrinsic

from shared.units import Array

compiled = numba.njit(error_model="numpy", nogil=True)  # kept on disk with the loop that calls it: kiln.march

LANES = 16  # enough for wide instructions, few enough that a block stays in the nearest cache

# A node's fields.
OLD, OLDER, NEW, Y, PHI, SLOPE, UPPER, RIGHT, HELD, BY_FRONT = range(0, 10 * LANES, LANES)
NODE = 10 * LANES

# The rows of ``h``: what a board is (the order of ``kiln.diffusion.Members``) …
(
    LENGTH,
    DENSITY,
    DIFFUSION,
    SLOPE_B,
    ACTIVATION,
    KAPPA,
    FILM,
    LONGWAVE,
    SCALE,
    COAT,
    BACK_COAT,
    WRAP,
    RENEWAL,
    OWN_AIR,
    SUN_SHARE,
    WIDTH,
    ALONG,
    ALONG_RATIO,
    # … what it carries from step to step beside its profile …
    COLDER,  # by so much what it gives off cools it [K]
    LAST_DT,
    P_AROUND,  # of vapour in its own air [Pa]
    P_BEFORE,
    SHORT_WIDE,  # by so much the whole is drier than its middle, by open edges [kg/kg]
    SHORT_LONG,  # and by open ends
    EDGE_U,  # K h at the mean moisture content
    # … its air …
    T_C,
    RH,
    SUN,
    P_AIR,
    T_SUNNY,  # of a dry board in the sun [K]
    P_SUNNY,
    T_BOARD,  # [K]
    BETA,
    HEAT,
    AROUND,  # conductance from the air at the face to what stands for the air beyond [kg/m²sPa]
    ENCLOSED,  # 1 where the face has air of its own
    # … what a step is made with …
    DT,
    LEAD,  # of the newest state in the time derivative: 1 for backward Euler
    FROM_OLD,
    FROM_OLDER,
    FLOW,  # D dt / length²
    PER_FACE,  # dt / (basic density × length): flux off a face to kg/kg of the whole thickness
    FACE_AIR,  # vapour pressure of the air that a face gives to [Pa]
    MOISTENS,  # the air at the faces per flux off both [Pa m²s/kg]
    P_FACE,  # vapour pressure of a wet face before it cools itself [Pa]
    P_SLOPE,  # of that with temperature [Pa/K]
    COOLING,  # of the board per flux off both faces [K m²s/kg]
    SATURATION,  # M_f [kg/kg]
    FREE_M,  # slope of M with the iterated variable above saturation; below it is 1
    FREE_PHI,  # slope of Phi with it
    PER_B,  # 1 / SLOPE_B
    PER,  # kg/kg to the printed isotherm's own measure, on the drying branch
    PER_RATIO,  # of the drying branch to the wetting one
    K,
    PER_K,
    K1,
    K12,
    FULL,  # that measure at saturation
    AT_REST,  # and of a face that is at rest with its air, coming from above
    EDGE,  # share of the potential above the air's that edges and ends take in the step
    EDGE_DRIES,  # potential of wood at rest with the air, coming from above
    EDGE_GAINS,  # and from below
    WIDE_GROWS,  # what the step adds to SHORT_WIDE …
    LONG_GROWS,
    WIDE_PART,  # … less this part of what the faces lose
    LONG_PART,
    APART,  # of the mean from rest with the air [kg/kg]
    MEAN,
    MEAN_PHI,
    EDGE_MEASURE,  # and what the printed isotherm has for it
    # … and what Newton works in.
    COOL,  # what a face loses per flux off both, and gives while none gives any: on the branch that it is on
    GIVES,
    COOL_M,  # the slopes of the two with its M
    GIVES_M,
    OTHER_COOL,
    OTHER_GIVES,
    OTHER_COOL_M,
    OTHER_GIVES_M,
    FACE_BETA,  # of the face at hand, which is the front unless turned: conductance to its air [kg/m²sPa]
    U,  # K h on the branch that it is on; with two faces on the drying branch …
    GAIN_U,  # … and on the gaining one
    DRY_COOL,  # as COOL and so on: of two faces on both branches
    DRY_GIVES,
    DRY_COOL_M,
    DRY_GIVES_M,
    GAIN_COOL,
    GAIN_GIVES,
    GAIN_COOL_M,
    GAIN_GIVES_M,
    OTHER_BETA,
    OTHER_U,
    OTHER_GAIN_U,
    OTHER_DRY_COOL,
    OTHER_DRY_GIVES,
    OTHER_DRY_COOL_M,
    OTHER_DRY_GIVES_M,
    OTHER_GAIN_COOL,
    OTHER_GAIN_GIVES,
    OTHER_GAIN_COOL_M,
    OTHER_GAIN_GIVES_M,
    FRONT_FLUX,
    FRONT_SLOPE,
    BACK_FLUX,
    BACK_SLOPE,
    BACK_TAKES,  # the flux that the wood is solved with, and its slope with the iterated variable
    BACK_TAKES_M,
    BACK_TAKES_FRONT,  # and its slope with the front's change, which cools the board and moistens its air too
    BACK_SLOPE_M,  # of M with the back's iterated variable
    BACK_X,  # change of the back while the front does not change …
    BACK_PER_X,  # … and per change of the front
    BACK_DRY_COOL,  # what the back gives and loses again where it stands, on both branches
    BACK_DRY_GIVES,
    BACK_GAIN_COOL,
    BACK_GAIN_GIVES,
    FRONT_BY_BACK,  # slope of the front's flux with its own change, by way of the back
    FRONT_LEFT,  # flux off a face in the step that was found
    BACK_LEFT,
    UNSURE,
    LARGEST,
    FACE_M,
    FACE_AT,  # M of the front before its change X
    FACE_SLOPE,  # of M with the iterated variable
    X,
    LEAST_X,
    MOST_X,
    PIVOT,
    WANTED,
    OFF_BEFORE,
    PER_FRONT,
    FROZEN,  # 1: the front has been found
    FOLLOWS,
    BACK_CHANGE,
    CROSSES,  # 1: a node passed saturation, or would have fallen below no water
    OFF,
    WORST,
    HALVINGS,
    DONE,  # 1: found, or not asked for
    FLOWS_IN,
    LOW,
    HIGH,
    LOWEST,
    HIGHEST,
    UNSOUND,
    SKIP,  # 1: leave the lane alone
    TRIED,  # sub-steps of this step of the air, found or not, once it was taken apart
    MOST_TRIED,  # the most of any step so far
) = range(0, 146 * LANES, LANES)
ROWS = 146
PARAMETERS = 18


@intrinsic
def _float_of_bits(typingctx, bits):  # type: ignore[no-untyped-def]
    """Return the double whose bits an integer has."""

    def codegen(context, builder, signature, args):  # type: ignore[no-untyped-def]
        return builder.bitcast(args[0], ir.DoubleType())

    return types.float64(types.int64), codegen


@compiled
def lesser(a: float, b: float) -> float:
    """The lesser of two numbers: unlike min, without a thought for NaN, which would not go into vectors."""
    return a if a < b else b


@compiled
def greater(a: float, b: float) -> float:
    """The greater of two numbers, likewise."""
    return a if a > b else b


@compiled
def exp_less_one(x: float) -> float:
    """exp(x) - 1 for -700 < x < 700, to 1e-11 of exp(x), in arithmetic that vectors can do."""
    shifted = x * 1.4426950408889634 + 6755399441055744.0  # 1.5 · 2⁵²: rounds to a whole number
    k = shifted - 6755399441055744.0
    r = (x - k * 0.6931471803691238) - k * 1.9082149292705877e-10
    r2 = r * r
    r4 = r2 * r2
    # Terms in pairs, and pairs of pairs: a sum that need not wait for itself.
    low = (1.0 + r * 0.5) + r2 * (1.0 / 6.0 + r * (1.0 / 24.0))
    high = (1.0 / 120.0 + r * (1.0 / 720.0)) + r2 * (1.0 / 5040.0 + r * (1.0 / 40320.0))
    q = low + r4 * (high + r4 * (1.0 / 362880.0))
    power: float = _float_of_bits((np.int64(k) + 1023) << 52)  # type: ignore[call-arg]  # 2 to the power of k
    return power * (r * q) + (power - 1.0)


@compiled
def p_sat(t_k: float, water: Array):  # type: ignore[no-untyped-def]
    """Equation 6 of kiln.psychrometrics, for 230 to 360 K, in arithmetic that vectors can do."""
    s = (t_k - 295.0) / (t_k + 295.0)
    q = s * s
    ln_t = 5.68697535633982 + 2.0 * s * (1.0 + q * (1.0 / 3.0 + q * (1.0 / 5.0 + q * (1.0 / 7.0 + q / 9.0))))
    exponent = water[0] / t_k + water[1] + t_k * (water[2] + t_k * (water[3] + t_k * water[4])) + water[5] * ln_t
    return 1.0 + exp_less_one(exponent)
