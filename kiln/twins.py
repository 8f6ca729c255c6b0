"""Whether the halves of a joint are at rest together.

Weight tells it best: twins that lie in one air agree when each stands within a fifth of a percent of its own resting
mass, or when the air that each makes in a bag is the same. Where neither is on record the model's own figures decide,
as far as they can.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.special import ndtr

from kiln.limits import Limits
from kiln.plateau import bags_agree
from kiln.records import Z80, Apart, Gate, JudgedBy, Projection, Standing
from shared.units import MS_PER_DAY

NAME, TOGETHER = "twins agree", "pieces together"
LEAST_SD_MC_PCT = 0.1  # no two pieces are compared better than that; judgement


@dataclass(frozen=True)
class Twin:
    """One half, and what is projected of it."""

    name: str
    projection: Projection

    def bag_mc_pct(self, within_days: float) -> tuple[float, float] | None:
        """What its newest bag test made of it, with one standard error [%MC]; None: there was none lately."""
        since_ms = self.projection.known_until_ms - within_days * MS_PER_DAY
        bags = [m for m in self.projection.measured if m.kind == "bag test" and m.ground and m.at_ms >= since_ms]
        return (bags[-1].mc_pct, bags[-1].error_mc_pct) if bags else None


class Agreement(NamedTuple):
    """The condition, and how far the twins lie apart in few words."""

    gate: Gate
    number: str


def agreement(twins: list[Twin], *, in_one_air: bool, limits: Limits) -> Agreement | None:
    """Return whether the twins agree, by the best that is known; None of fewer than two."""
    if len(twins) < 2:
        return None
    found = [_by_plateau(twins, limits) if in_one_air else None, _by_bags(twins, limits)]
    told = [one for one in found if one is not None]
    clear = next((one for one in told if one.gate.standing is not Standing.NOT_KNOWN), None)
    return clear or _by_model(twins, in_one_air, limits)


def _standing(chance: float, limits: Limits) -> Standing:
    if chance >= limits.sure:
        return Standing.MET
    return Standing.NOT_YET if chance <= 1.0 - limits.sure else Standing.NOT_KNOWN


def _by_plateau(twins: list[Twin], limits: Limits) -> Agreement | None:
    """Each at its own resting mass; None where the weigh-ins of one cannot tell."""
    chance, told, off = 1.0, [], []
    for twin in twins:
        plateau = twin.projection.plateau
        if plateau is None or plateau.chance is None or plateau.distance_share is None or plateau.error_share is None:
            return None
        chance *= plateau.chance
        error = 100.0 * Z80 * plateau.error_share
        off.append((100.0 * plateau.distance_share, error))
        told.append(f"{twin.name} {_signed(100.0 * plateau.distance_share)} % of its weight (± {error:.2f})")
    standing = _standing(chance, limits)
    lead = "Both have settled" if standing is Standing.MET else "Not both have settled"
    sentence = (
        f"{lead}: by its weigh-ins each is this near its own resting weight: {', '.join(told)}; "
        f"up to {limits.plateau:g} % is allowed."
    )
    farthest = max(off, key=lambda one: abs(one[0]))
    apart = Apart(JudgedBy.WEIGHTS, _either_way(*farthest), limits.plateau, standing)
    return Agreement(Gate(NAME, standing, sentence, chance, apart), "not at rest")


def _either_way(apart_pct: float, half_pct: float) -> tuple[float, float, float]:
    """A distance whatever its sign, with its band: nought is the least that it can be."""
    size = abs(apart_pct)
    return max(0.0, size - half_pct), size, size + half_pct


def _signed(share_pct: float) -> str:
    """Two decimals with their sign; nought without one."""
    shown = f"{share_pct:+.2f}"
    return "0.00" if float(shown) == 0.0 else shown.replace("-", "−")


def _by_bags(twins: list[Twin], limits: Limits) -> Agreement | None:
    """Their bag tests compared; None where one has none."""
    found = [twin.bag_mc_pct(limits.measured_within) for twin in twins]
    bags = [bag for bag in found if bag is not None]
    if len(bags) < len(twins):
        return None
    low, high = min(bags), max(bags)
    chance = bags_agree(low, high, limits.twins_apart)
    lie, half, standing = high[0] - low[0], Z80 * float(np.hypot(low[1], high[1])), _standing(chance, limits)
    sentence = f"By their bag tests they lie {lie:.1f} % apart (± {half:.1f}); {limits.twins_apart:g} is allowed."
    apart = Apart(JudgedBy.BAGS, _either_way(lie, half), limits.twins_apart, standing)
    return Agreement(Gate(NAME, standing, sentence, chance, apart), f"{lie:.1f} % apart")


def from_halves(piece: Twin, halves: list[Twin], *, in_one_air: bool, limits: Limits) -> Apart | None:
    """Return how far a piece lies from the halves of a joint, each by its own rest; above 0: it has more to lose.

    None without halves.
    """
    if not halves:
        return None
    low, middle, high = _off(piece, in_one_air)
    others = np.array([_off(one, in_one_air) for one in halves])
    apart = middle - float(others[:, 1].mean())
    of_others = float(np.hypot.reduce(others[:, 2] - others[:, 0])) / len(halves)
    sd = max(float(np.hypot(high - low, of_others)) / (2.0 * Z80), LEAST_SD_MC_PCT)
    most, half = limits.pieces_apart, Z80 * sd
    chance = float(ndtr((most - apart) / sd) - ndtr((-most - apart) / sd))
    return Apart(JudgedBy.MODEL, (apart - half, apart, apart + half), most, _standing(chance, limits))


def spread(pieces: list[Twin], *, in_one_air: bool, limits: Limits) -> Gate | None:
    """Return whether braces, blocks, neck and plates lie near enough to one another, each by its own rest.

    What is glued together moves together afterwards only if no piece has farther to go than another. None of fewer
    than two.
    """
    if len(pieces) < 2:
        return None
    apart, sd = _difference(pieces, in_one_air)
    most = limits.pieces_apart
    chance = float(ndtr((most - apart) / sd) - ndtr((-most - apart) / sd))
    told = f"From their own rest in the use's air they lie {apart:.1f} % apart (± {Z80 * sd:.1f}); {most:g} is allowed."
    return Gate(TOGETHER, _standing(chance, limits), told, chance)


def _by_model(twins: list[Twin], in_one_air: bool, limits: Limits) -> Agreement:
    apart, sd = _difference(twins, in_one_air)
    most, number = limits.twins_apart, f"{apart:.1f} % apart"
    chance = float(ndtr((most - apart) / sd) - ndtr((-most - apart) / sd))
    told = f"Pieces lie {apart:.1f} % apart (± {Z80 * sd:.1f}); {most:.1f} is our limit for twins."
    standing = Standing.NOT_KNOWN
    if chance >= limits.sure:
        standing = Standing.MET
    elif apart > most and apart > Z80 * sd:
        standing = Standing.NOT_YET
    else:
        told = f"Whether the twins agree within {most:.1f} % cannot be told: {apart:.1f} apart, ± {Z80 * sd:.1f}."
    found = Apart(JudgedBy.MODEL, _either_way(apart, Z80 * sd), most, standing)
    return Agreement(Gate(NAME, standing, told, chance, found), number)


def _difference(twins: list[Twin], in_one_air: bool) -> tuple[float, float]:
    """Greatest difference of the pieces' distance from their own rest [%MC], and its standard deviation."""
    known = [_off(twin, in_one_air) for twin in twins]
    low, high = min(known, key=lambda off: off[1]), max(known, key=lambda off: off[1])
    sd = np.hypot(high[2] - high[0], low[2] - low[0]) / (2.0 * Z80)
    return high[1] - low[1], max(float(sd), LEAST_SD_MC_PCT)


def _off(piece: Twin, in_one_air: bool) -> tuple[float, float, float]:
    """How far a piece is from its own rest [%MC]: p10, p50, p90."""
    made = piece.projection
    return made.off_target_together_mc_pct if in_one_air else made.off_target_mc_pct
