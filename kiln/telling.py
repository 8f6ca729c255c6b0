"""What to measure next: how much each measurement would narrow what is not known of a board.

Each member of the ensemble foretells what the measurement would read of it. With C the covariances over the members
and R what the measurement errs by, a quantity q of variance V is left with

    V - C_qy (C_yy + R)⁻¹ C_yq

whatever the reading then is (linear and normal, as in the refit). So no fixed text says what to do: where the scale
is coarse, pins tell more; where the core is doubtful, weighing tells nothing of it.
Source: conditional variance of a normal vector, e.g. Anderson, An Introduction to Multivariate Statistical Analysis,
3rd ed. 2003, theorem 2.5.1, from memory.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from kiln import diffusion, drying, sorption
from kiln.ensemble import Ensemble
from kiln.oven_dry import BEFORE
from kiln.records import Z80, Tells
from kiln.sentences import capital
from kiln.standing import DATE, LEVEL, ROOM, STEADY
from shared.tables import constants, limit
from shared.units import Array

USUAL_SCALE_SHARE = 0.002  # one standard error of a scale of which nothing is known, of what it weighs; judgement
PIN_SHARES = (0.25, 0.95)  # depths of two pins, of the half thickness
SECTION_SCATTER_MC_PCT = 1.0  # how well a section tells the mean of its board; judgement
CHECKED_RH_PCT = 1.0  # one standard error of a hygrometer checked over two salts; judgement
BAG_LEAST_PIECE_M = 0.012  # thicker, a bag takes weeks to even out; judgement
WORTH = 0.10  # least share by which a measurement must narrow what is not known, to be asked for; judgement
CHEAPER = 1.15  # what is easier is asked for unless the better one leaves less than this much less; judgement
LEAST_MC_PCT, LEAST_DAYS = 0.3, 3.0  # what is known so well, either way, needs no measuring; ours
LEAST_GAIN_MC_PCT, LEAST_GAIN_DAYS = 0.15, 3.0  # what is narrowed by less is not worth the walk; ours
CUTTING = 1.4  # as many times better a section must tell, for it takes a piece of the board; ours
LATER_DAYS = 7
ROOM_C, ROOM_RH_PCT = 20.0, 50.0  # at which the isotherm's slope is taken


class Measurement(StrEnum):
    """What can be done to know more, the easiest first."""

    WEIGH = "weigh it now"
    WEIGH_LATER = "weigh it again in a week"
    PIN = "read a pin at a quarter of the thickness"
    TWO_PINS = "read pins near the face and at mid-thickness"
    CHECK = "check the hygrometer over two salts"
    BAG = "do a bag test"
    SECTION = "oven-dry a section"


@dataclass(frozen=True)
class _Reading:
    """What a measurement would read of each member [members, readings], and the covariance of its errors."""

    name: Measurement
    each: Array
    errors: Array


def tells(crowd: Ensemble, conditions: dict[str, Array]) -> tuple[Tells, ...]:
    """Return for each measurement and condition how far it would be narrowed.

    ``conditions``: the figure of each member by which a condition is judged [members; %MC, of the date in days].
    """
    found = []
    for name, figure in conditions.items():
        if not np.isfinite(figure).all() or float(np.var(figure)) == 0.0:
            continue
        before = Z80 * float(np.std(figure))
        found += [
            Tells(reading.name.value, name, before, before * np.sqrt(_left(figure, reading)))
            for reading in _readings(crowd)
        ]
    return tuple(found)


def best(told: tuple[Tells, ...], condition: str, most: float | None = None) -> Tells | None:
    """Return the measurement that narrows a condition most, the easier one where they are nearly as good.

    None where none narrows it by a tenth, or it is known well enough. ``most``: leave out those that leave more.
    """
    least = LEAST_DAYS if condition == DATE else LEAST_MC_PCT
    own = [one for one in told if one.condition == condition and one.before > least]
    gain = LEAST_GAIN_DAYS if condition == DATE else LEAST_GAIN_MC_PCT
    own = [one for one in own if one.after <= (1.0 - WORTH) * one.before and one.before - one.after >= gain]
    own = [one for one in own if most is None or one.after <= most]
    if not own:
        return None
    least = min(_price(one) for one in own)
    order = [one.value for one in Measurement]
    near = [one for one in own if _price(one) <= CHEAPER * least]
    return min(near, key=lambda one: order.index(one.measurement))


def _price(one: Tells) -> float:
    """What a measurement leaves, dearer where a piece has to be cut for it."""
    return one.after * (CUTTING if one.measurement == Measurement.SECTION else 1.0)


def sentence(one: Tells) -> str:
    """Say what a measurement would do."""
    unit = "days" if one.condition == DATE else "%"
    form = ".0f" if one.condition == DATE else ".1f"
    what = {
        DATE: "the date",
        STEADY: "how it moved",
        LEVEL: "what core and shell differ by",
        ROOM: "what this air holds it at",
    }
    of = what.get(one.condition, "its moisture")
    said = capital(one.measurement)
    first = f" {BEFORE}" if one.measurement == Measurement.SECTION else ""
    return (
        f"{said}: that would tell {of} to ± {one.after:{form}} {unit} instead of ± {one.before:{form}} {unit}.{first}"
    )


def _left(figure: Array, reading: _Reading) -> float:
    """Which share of a figure's variance is left."""
    q, y = figure - figure.mean(), reading.each - reading.each.mean(axis=0)
    n = len(q)
    across = y.T @ q / n
    among = y.T @ y / n + reading.errors
    told = float(across @ np.linalg.solve(among, across))
    return float(np.clip(1.0 - told / float(np.var(figure)), 0.0, 1.0))


def _readings(crowd: Ensemble) -> Iterator[_Reading]:
    """What could be measured on this board now, each as it would read of every member."""
    now, mean = crowd.now, crowd.mean_mc_pct
    profiles = crowd.profiles[:, now]
    yield _weighing(crowd, Measurement.WEIGH, now)
    if now + LATER_DAYS < mean.shape[1]:
        yield _weighing(crowd, Measurement.WEIGH_LATER, now + LATER_DAYS)
    yield from _pins(crowd, profiles)
    unchecked = crowd.question.piece.rh_error_pct
    if unchecked > CHECKED_RH_PCT:
        yield _Reading(Measurement.CHECK, crowd.boards[:, [drying.RH_BIAS]], _variance(CHECKED_RH_PCT))
    if crowd.question.piece.thickness_m <= BAG_LEAST_PIECE_M:
        # A bag tells how damp its wood makes the air: what it holds, as a share of what its isotherm holds.
        own = mean[:, now] / crowd.isotherm_scale
        yield _Reading(Measurement.BAG, own[:, None], _variance(_bag_error_mc_pct(unchecked)))
    yield _Reading(Measurement.SECTION, mean[:, [now]], _variance(SECTION_SCATTER_MC_PCT))


def _bag_error_mc_pct(rh_error_pct: float) -> float:
    """One standard error of what a bag tells, on the printed isotherm: at rest or not, and its hygrometer's own."""
    off = sorption.emc_pct(ROOM_C, ROOM_RH_PCT + rh_error_pct) - sorption.emc_pct(ROOM_C, ROOM_RH_PCT)
    return float(np.hypot(constants("drying")["bag_noise_mc_pct"].value, off))


def _weighing(crowd: Ensemble, name: Measurement, moment: int) -> _Reading:
    weight = crowd.boards[:, 0] + np.log1p(crowd.mean_mc_pct[:, moment] / 100.0)
    weighed = [d for d in crowd.question.data if d.kind == "weigh-in"]
    share = weighed[-1].common_error / weighed[-1].value if weighed else USUAL_SCALE_SHARE
    return _Reading(name, weight[:, None], _variance(share))


def _pins(crowd: Ensemble, profiles: Array) -> Iterator[_Reading]:
    """Pins at one depth or two; none where they only say that it is wetter than they can tell."""
    table, two = constants("drying"), crowd.question.piece.two_faces
    depths = [100.0 * diffusion.at_depth(profiles, share, two_faces=two) for share in (0.5, *PIN_SHARES)]
    if crowd.question.piece.origin == "water-reclaimed" or float(np.median(depths[-1])) >= limit("pin_at_least"):
        return
    bias = 0.0 if _calibrated(crowd) else table["pin_bias_mc_pct"].value
    noise = table["pin_noise_mc_pct"].value
    yield _Reading(Measurement.PIN, depths[0][:, None], _variance(float(np.hypot(bias, noise))))
    yield _Reading(Measurement.TWO_PINS, np.stack(depths[1:], axis=1), np.eye(2) * noise**2 + bias**2)


def _calibrated(crowd: Ensemble) -> bool:
    """Whether its newest pin was read with a meter that is calibrated on its lot."""
    pins = [d for d in crowd.question.data if d.kind == "pin"]
    return bool(pins) and pins[-1].bias_share < 0.5


def _variance(sd: float) -> Array:
    return np.array([[sd**2]])
