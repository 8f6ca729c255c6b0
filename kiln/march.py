"""The compiled loop of the solver: equations and numerics are told in ``kiln.diffusion``.

Members go in blocks of lanes (``kiln.lanes``), a step of the air at a time. Lanes whose step is not found at once,
or is not sound, are carried through it apart from the others, with care and in steps as short as they have to be.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import numba
import numpy as np

from kiln import activity, implicit
from kiln import lanes as ln
from kiln.edges import edges_of_step, shortfall, take_edges
from kiln.lanes import LANES, NODE, compiled
from shared.units import ZERO_CELSIUS_K

# The modules that go into the loop.
COMPILED = ("lanes", "activity", "branches", "face", "both_faces", "edges", "implicit", "march")
REFERENCE_K = 293.15
SATURATION_SCALE = 0.288  # the printed isotherm at 100 %RH and 21 °C, as a fraction: where bound water is full
LOWEST_C, HIGHEST_C = 0.0, 45.0  # outside, the state is held: neither frost nor kiln heat is modelled
_EXTREME = 1e-5  # kg/kg, by which a step of second order may do what diffusion never does
_FIRST_OF_USUAL = 16.0  # the first step is of first order and meets a face that is not yet in its air: it is short
_AT_ONCE, _MOST = 10, 60  # Newton steps before a lane is taken out of its block, and then
_SHORTEST = 2.0**22  # of a step: a whole plate that passes saturation at once needs it, for a moment
_STEP_OF_TAU = 0.2  # of the slowest mode's time: thin pieces take several sub-steps within a step
_MAX_PARTS = 12.0
_WELL, _BY_FIRST_ORDER, _APART = 0, 1, 2  # how a lane takes a step of the air


# --- the air of a step -----------------------------------------------------------------------------


@compiled
def _air_of_step(h, hh, physical):  # type: ignore[no-untyped-def]
    """Fill what each lane's air is in this step, whatever the sub-steps, from its temperature, humidity and sun."""
    r_vapour, r_air, air_heat, lewis, pressure = physical[0], physical[1], physical[2], physical[4], physical[5]
    water = physical[6:]
    for i in range(LANES):
        t_c = h[ln.T_C + i]
        t_k = t_c + ZERO_CELSIUS_K
        h[ln.P_AIR + i] = ln.p_sat(t_k, water) * min(max(h[ln.RH + i], 1.0), 100.0) / 100.0
        air_density_heat = pressure / (r_air * t_k) * air_heat
        h[ln.BETA + i] = h[ln.FILM + i] / (air_density_heat * lewis * r_vapour * t_k)
        # Stack air that is renewed carries heat as well as vapour.
        renewed = 1.0 / (h[ln.RENEWAL + i] * air_density_heat)  # without renewal nothing leaves that could cool
        h[ln.HEAT + i] = 1.0 / (h[ln.FILM + i] + h[ln.LONGWAVE + i]) + (renewed if renewed < np.inf else 0.0)
        t_sunny = t_k + h[ln.SUN + i] * h[ln.SUN_SHARE + i] * h[ln.HEAT + i]
        h[ln.T_SUNNY + i], h[ln.P_SUNNY + i] = t_sunny, ln.p_sat(t_sunny, water)
        k = hh[3] + hh[4] * t_c + hh[5] * t_c * t_c
        k1 = hh[6] + hh[7] * t_c + hh[8] * t_c * t_c
        k12 = k1 * (hh[9] + hh[10] * t_c + hh[11] * t_c * t_c)
        h[ln.PER + i] = 100.0 * (hh[0] + hh[1] * t_c + hh[2] * t_c * t_c) / (hh[12] * h[ln.SCALE + i])
        h[ln.K + i], h[ln.PER_K + i], h[ln.K1 + i], h[ln.K12 + i] = k, 1.0 / k, k1, k12
        h[ln.FULL + i] = activity.printed_measure(k, k1, k12)


@compiled
def _diffusion(h, i):  # type: ignore[no-untyped-def]
    """D at saturation and the board's own temperature [m²/s]."""
    exponent = -h[ln.ACTIVATION + i] * (1.0 / h[ln.T_BOARD + i] - 1.0 / REFERENCE_K)
    return h[ln.DIFFUSION + i] * (1.0 + ln.exp_less_one(exponent))


@compiled
def _of_step(h, physical, two):  # type: ignore[no-untyped-def]
    """Fill what a step of DT is made with, from the air and the temperature that each board has.

    What air is at the faces goes in time as the wood does (LEAD, FROM_OLD, FROM_OLDER), so that what leaves one is in
    the other.
    """
    r_vapour, latent, water = physical[0], physical[3], physical[6:]
    for i in range(LANES):
        t_sunny, dt = h[ln.T_SUNNY + i], h[ln.DT + i]
        t_board = t_sunny - h[ln.COLDER + i]
        h[ln.T_BOARD + i] = t_board
        near = abs(t_sunny - t_board) <= 0.05
        high, low = (t_sunny + 0.5 if near else t_sunny), (t_sunny - 0.5 if near else t_board)
        h[ln.P_SLOPE + i] = (ln.p_sat(high, water) - ln.p_sat(low, water)) / (high - low)
        h[ln.P_FACE + i] = h[ln.P_SUNNY + i]
        length = h[ln.LENGTH + i]
        h[ln.FLOW + i] = _diffusion(h, i) * dt / (length * length)
        h[ln.PER_FACE + i] = dt / (h[ln.DENSITY + i] * length)
        # Beyond the film: the air that the face has to itself, and what lies between that and the place's air.
        r_t = r_vapour * (h[ln.T_C + i] + ZERO_CELSIUS_K)
        between = h[ln.WRAP + i] + r_t / h[ln.RENEWAL + i]
        kept = h[ln.OWN_AIR + i] / (r_t * dt)
        around = kept * h[ln.LEAD + i] + 1.0 / between  # infinite in the open
        own = between > 0.0 and around > 0.0
        p_air = h[ln.P_AIR + i]
        history = h[ln.FROM_OLD + i] * h[ln.P_AROUND + i] - h[ln.FROM_OLDER + i] * h[ln.P_BEFORE + i]
        mixed = (kept * history + p_air / between) / around
        h[ln.ENCLOSED + i], h[ln.AROUND + i] = (1.0 if own else 0.0), around
        p_air = mixed if own else p_air
        h[ln.FACE_AIR + i] = p_air
        at_rest = p_air / h[ln.P_FACE + i]
        u = h[ln.K + i] * (at_rest if at_rest < 1.0 else 1.0)
        h[ln.AT_REST + i] = activity.printed_measure(u, h[ln.K1 + i], h[ln.K12 + i])
        closed = around == 0.0  # no air of its own, and none let through: nothing leaves
        moistens = (0.5 if two else 1.0) / around
        h[ln.MOISTENS + i] = 0.0 if closed else moistens
        film = 1.0 / h[ln.BETA + i] + (np.inf if closed else 0.0)
        h[ln.FACE_BETA + i] = 1.0 / (film + h[ln.COAT + i])
        h[ln.OTHER_BETA + i] = 1.0 / (film + h[ln.BACK_COAT + i]) if two else 0.0
        h[ln.COOLING + i] = latent * h[ln.HEAT + i] * (0.5 if two else 1.0)


@compiled
def _take(n, nodes, h, edges, two):  # type: ignore[no-untyped-def]
    """Make the new state the old one where the step was found and not skipped: profile, temperature, own air."""
    for i in range(LANES):
        skip = h[ln.SKIP + i] > 0.0
        off = h[ln.FRONT_LEFT + i] + (h[ln.BACK_LEFT + i] if two else 0.0)
        colder = min(max(h[ln.COOLING + i] * off, -10.0), 25.0)
        p_new = h[ln.FACE_AIR + i] + h[ln.ENCLOSED + i] * off * (0.5 if two else 1.0) / h[ln.AROUND + i]
        colder_last, dt_last, dt = h[ln.COLDER + i], h[ln.LAST_DT + i], h[ln.DT + i]
        p_last, p_before = h[ln.P_AROUND + i], h[ln.P_BEFORE + i]
        h[ln.COLDER + i] = colder_last if skip else colder  # in the next step, by what it gave off in this
        h[ln.P_AROUND + i], h[ln.P_BEFORE + i] = (p_last if skip else p_new), (p_before if skip else p_last)
        h[ln.LAST_DT + i] = dt_last if skip else dt
    if edges:
        take_edges(h, two)
    for j in range(n):
        at = j * NODE
        for i in range(LANES):
            skip, old, older = h[ln.SKIP + i] > 0.0, nodes[at + ln.OLD + i], nodes[at + ln.OLDER + i]
            new = nodes[at + ln.NEW + i]
            nodes[at + ln.OLDER + i] = older if skip else old
            nodes[at + ln.OLD + i] = old if skip else new


# --- steps -----------------------------------------------------------------------------------------


@compiled
def _second_order(h):  # type: ignore[no-untyped-def]
    """BDF2 for steps of any length."""
    for i in range(LANES):
        growth = h[ln.DT + i] / h[ln.LAST_DT + i]
        h[ln.LEAD + i] = (1.0 + 2.0 * growth) / (1.0 + growth)
        h[ln.FROM_OLD + i] = 1.0 + growth
        h[ln.FROM_OLDER + i] = growth * growth / (1.0 + growth)


@compiled
def _first_order(h):  # type: ignore[no-untyped-def]
    """Backward Euler."""
    for i in range(LANES):
        h[ln.LEAD + i], h[ln.FROM_OLD + i], h[ln.FROM_OLDER + i] = 1.0, 1.0, 0.0


@compiled
def _together(n, nodes, h, how, parts, left_s, dt_s, grid, physical, edges, two):  # type: ignore[no-untyped-def]
    """Carry the lanes that have a step behind them through the air's step; mark those that have to go apart."""
    per_gap, share = grid
    most = 0.0
    for i in range(LANES):
        most = max(most, parts[i] if how[i] == _WELL else 0.0)
    for part in range(int(most)):
        for i in range(LANES):
            h[ln.SKIP + i] = 1.0 if how[i] != _WELL or part >= parts[i] else 0.0
            h[ln.DT + i] = dt_s / parts[i]
        _second_order(h)
        _of_step(h, physical, two)
        if edges:
            edges_of_step(n, nodes, h, share, two)
        implicit.implicit_step(n, nodes, h, per_gap, share, _AT_ONCE * (3 if two else 1), False, two)
        implicit.unsound(n, nodes, h, two)
        for i in range(LANES):
            if h[ln.SKIP + i] > 0.0:
                continue
            found = h[ln.DONE + i] > 0.0
            if found and h[ln.UNSOUND + i] <= _EXTREME:
                left_s[i] -= h[ln.DT + i]
            else:
                h[ln.SKIP + i], how[i] = 1.0, _BY_FIRST_ORDER if found else _APART
        _take(n, nodes, h, edges, two)


@compiled
def _apart(n, nodes, h, how, parts, left_s, dt_s, grid, physical, edges, two, most):  # type: ignore[no-untyped-def]
    """Carry the others through what is left of the air's step, in steps as short as each needs; at ``most`` so many."""
    per_gap, share = grid
    for i in range(LANES):
        usual = dt_s / parts[i]
        h[ln.DT + i] = usual / _FIRST_OF_USUAL if h[ln.LAST_DT + i] == 0.0 else usual
    while True:
        some, some_second = False, False
        for i in range(LANES):
            going = how[i] != _WELL and left_s[i] > 1e-6 * dt_s and h[ln.TRIED + i] < most
            h[ln.TRIED + i] += 1.0 if going else 0.0
            h[ln.SKIP + i] = 0.0 if going else 1.0
            h[ln.DT + i] = min(h[ln.DT + i], left_s[i]) if going else h[ln.DT + i]
            some = some or going
        if not some:
            break
        for i in range(LANES):
            first = how[i] == _BY_FIRST_ORDER or h[ln.LAST_DT + i] == 0.0
            h[ln.SKIP + i] = h[ln.SKIP + i] + 2.0 if first else h[ln.SKIP + i]
            some_second = some_second or h[ln.SKIP + i] == 0.0
        if some_second:
            _second_order(h)
            _of_step(h, physical, two)
            if edges:
                edges_of_step(n, nodes, h, share, two)
            implicit.implicit_step(n, nodes, h, per_gap, share, _MOST, True, two)
            implicit.unsound(n, nodes, h, two)
            for i in range(LANES):
                if h[ln.SKIP + i] == 0.0 and not (h[ln.DONE + i] > 0.0 and h[ln.UNSOUND + i] <= _EXTREME):
                    h[ln.SKIP + i] = 2.0
            _settle(n, nodes, h, how, parts, left_s, dt_s, edges, two)
        for i in range(LANES):
            h[ln.SKIP + i] = 0.0 if h[ln.SKIP + i] == 2.0 else 1.0
        _first_order(h)
        _of_step(h, physical, two)
        if edges:
            edges_of_step(n, nodes, h, share, two)
        implicit.implicit_step(n, nodes, h, per_gap, share, _MOST, True, two)
        for i in range(LANES):
            if h[ln.SKIP + i] > 0.0 or h[ln.DONE + i] > 0.0:
                continue
            if h[ln.DT + i] > dt_s / _SHORTEST:
                h[ln.DT + i] *= 0.5
                h[ln.SKIP + i], how[i] = 1.0, _APART
            else:
                h[ln.SKIP + i], h[ln.TRIED + i] = 1.0, most
        _settle(n, nodes, h, how, parts, left_s, dt_s, edges, two)
    for i in range(LANES):
        h[ln.MOST_TRIED + i] = max(h[ln.MOST_TRIED + i], h[ln.TRIED + i])
        if how[i] != _WELL and left_s[i] > 1e-6 * dt_s:
            for j in range(n):
                nodes[j * NODE + ln.OLD + i] = np.nan  # never a number that was not found


@compiled
def _settle(n, nodes, h, how, parts, left_s, dt_s, edges, two):  # type: ignore[no-untyped-def]
    """Take the steps that were found; the next may be longer again: what made it hard has passed, perhaps."""
    _take(n, nodes, h, edges, two)
    for i in range(LANES):
        if h[ln.SKIP + i] == 0.0:
            left_s[i] -= h[ln.DT + i]
            h[ln.DT + i] = min(2.0 * h[ln.DT + i], dt_s / parts[i])
            how[i] = _APART


# --- members ---------------------------------------------------------------------------------------


@compiled
def _begin(n, start, short_start, rows, which, nodes, h, ratio):  # type: ignore[no-untyped-def]
    """Put members into their lanes."""
    for i in range(LANES):
        for q in range(ln.PARAMETERS):
            h[ln.LENGTH + q * LANES + i] = rows[q, which[i]]
        told = True
        for q in range(ln.PARAMETERS):
            told = told and not np.isnan(rows[q, which[i]])
        for j in range(n):
            nodes[j * NODE + ln.OLD + i] = start[which[i], j] if told else np.nan  # of such a board nothing is known
        h[ln.SHORT_WIDE + i], h[ln.SHORT_LONG + i] = short_start[which[i], 0], short_start[which[i], 1]
        kappa = h[ln.KAPPA + i]
        h[ln.SATURATION + i] = SATURATION_SCALE * h[ln.SCALE + i]
        h[ln.FREE_M + i], h[ln.FREE_PHI + i] = max(1.0, 1.0 / kappa), max(1.0, kappa)
        h[ln.PER_B + i] = 1.0 / h[ln.SLOPE_B + i]
        h[ln.PER_RATIO + i], h[ln.P_AROUND + i] = 1.0 / ratio, -1.0


@compiled
def _meet_air(nodes, h, how, parts, left_s, dt_s, two):  # type: ignore[no-untyped-def]
    """Say how each lane takes this step: not at all where its air is not one that the model knows."""
    for i in range(LANES):
        t_c, t_sunny = h[ln.T_C + i], h[ln.T_SUNNY + i]
        known = t_c >= LOWEST_C and t_sunny <= HIGHEST_C + ZERO_CELSIUS_K and h[ln.RH + i] >= 0.0
        how[i], left_s[i], parts[i], h[ln.TRIED + i] = _WELL, dt_s, 0.0, 0.0
        if not known or not np.isfinite(nodes[ln.OLD + i]):
            h[ln.LAST_DT + i] = 0.0
            continue
        h[ln.T_BOARD + i] = t_sunny - h[ln.COLDER + i]
        if h[ln.P_AROUND + i] < 0.0:
            h[ln.P_AROUND + i] = h[ln.P_AIR + i]
        depth = h[ln.LENGTH + i] * (0.5 if two else 1.0)
        tau_s = 4.0 * depth * depth / (np.pi * np.pi * _diffusion(h, i))
        parts[i] = min(_MAX_PARTS, max(1.0, np.ceil(dt_s / (_STEP_OF_TAU * tau_s))))
        if h[ln.LAST_DT + i] == 0.0:
            how[i] = _APART


@compiled
def _march_block(first, begun, rows, air_row, air, dt_s, record, grid, hh, physical, ratio, edges, two, most, made):  # type: ignore[no-untyped-def]
    """Carry the members from ``first`` on, one in each lane; lanes too many repeat the last member."""
    start, short_start = begun
    out, short, tried = made
    members, n = start.shape
    t_air, rh_air, sun_air = air
    nodes, h = np.zeros(n * NODE), np.zeros(ln.ROWS * LANES)
    how, parts, left_s = np.zeros(LANES, dtype=np.int64), np.zeros(LANES), np.zeros(LANES)
    which = np.minimum(first + np.arange(LANES), members - 1)
    real = min(LANES, members - first)
    _begin(n, start, short_start, rows, which, nodes, h, ratio)
    at = 0
    for step in range(dt_s.size + 1):
        while at < record.size and record[at] == step:
            for i in range(real):
                for j in range(n):
                    out[first + i, at, j] = nodes[j * NODE + ln.OLD + i]
                short[first + i, at, 0], short[first + i, at, 1] = h[ln.SHORT_WIDE + i], h[ln.SHORT_LONG + i]
                short[first + i, at, 2] = shortfall(h, i)
            at += 1
        tried[first : first + real] = h[ln.MOST_TRIED : ln.MOST_TRIED + real]
        if at == record.size:
            return
        for i in range(LANES):
            row = air_row[which[i]]
            h[ln.T_C + i], h[ln.RH + i] = t_air[row, step], rh_air[row, step]
            h[ln.SUN + i] = sun_air[row, step] if sun_air.size > 0 else 0.0
        _air_of_step(h, hh, physical)
        _meet_air(nodes, h, how, parts, left_s, dt_s[step], two)
        _together(n, nodes, h, how, parts, left_s, dt_s[step], grid, physical, edges, two)
        _apart(n, nodes, h, how, parts, left_s, dt_s[step], grid, physical, edges, two, most)


def _kept(sources: str):  # type: ignore[no-untyped-def]
    """Return the loop over all members; it is compiled once and kept, in a cache that a change of ``sources`` ends.

    The compiler looks at the file of the function that it keeps, not at those of the functions within; but also at
    what the function closes over.
    """

    @numba.njit(cache=True, error_model="numpy", nogil=True)
    def march_members(begun, rows, air_row, air, dt_s, record, grid, hh, physical, ratio, edges, two, most):  # type: ignore[no-untyped-def]
        _ = sources
        members, n = begun[0].shape
        made = np.empty((members, record.size, n)), np.empty((members, record.size, 3)), np.zeros(members)
        for first in range(0, members, LANES):
            _march_block(
                first, begun, rows, air_row, air, dt_s, record, grid, hh, physical, ratio, edges, two, most, made
            )
        return made

    return march_members


march_members = _kept(
    hashlib.sha256(b"".join(Path(__file__).with_name(f"{name}.py").read_bytes() for name in COMPILED)).hexdigest()
)
