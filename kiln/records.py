"""What the physics hands over: small frozen records, each number with its unit in its name."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from kiln.plateau import Plateau
from kiln.standing import Dangers as Dangers
from kiln.standing import Standing as Standing
from shared.units import Array


class Word(StrEnum):
    """The four verdicts."""

    READY = "READY"  # fit for this use
    DRY_ENOUGH = "WOOD DRY ENOUGH"  # the same of wood to be finished: of its water alone, never of spraying
    WAIT = "WAIT"  # not fit yet, drying acceptably
    STOP = "STOP"  # being harmed now, or a booked use would take it too wet
    CANT_SAY = "CAN'T SAY"  # evidence stale, missing or contradictory


FIT = (Word.READY, Word.DRY_ENOUGH)


class JudgedBy(StrEnum):
    """By what it was told how far pieces lie apart, the best first."""

    WEIGHTS = "weights"  # each against the resting weight to which its own weigh-ins lead
    BAGS = "bag tests"
    MODEL = "model"


@dataclass(frozen=True)
class Apart:
    """How far pieces lie from one another [%], with what is allowed.

    By their weights it is how far the farther one is from its own resting weight, in percent of that weight; else the
    difference of their moisture from their own rest, in %MC.
    """

    by: JudgedBy
    pct: tuple[float, float, float]  # p10, p50, p90; of one piece from others with its sign, above 0 the damper
    allowed_pct: float
    standing: Standing


@dataclass(frozen=True)
class Gate:
    """One condition of a use, as a sentence with how it stands."""

    name: str
    standing: Standing
    sentence: str
    probability: float | None  # that the condition is met, 0 to 1; None where it is not a matter of chance
    apart: Apart | None = None  # of pieces that must agree


@dataclass(frozen=True)
class PieceSaid:
    """The verdict on one of the pieces that belong together."""

    name: str
    word: Word
    reason: str
    probability: float | None
    apart: Apart | None = None  # from the halves of the joint, of a piece that is none of them


@dataclass(frozen=True)
class OnTheDay:
    """Whether a piece will be fit on the day for which it is booked, if it stays where it is or goes as planned."""

    sentence: str
    probability: float | None  # None: not told


@dataclass(frozen=True)
class Verdict:
    """What to do about a board or set, and why."""

    word: Word
    number: str  # the one figure worth reading from two metres, with its unit: "12 days", "9.1 %"
    reason: str
    next_step: str
    probability: float | None = None  # that the piece is fit for its use now
    evidence: tuple[str, ...] = ()  # what it rests on, with ages
    gates: tuple[Gate, ...] = ()
    pieces: tuple[PieceSaid, ...] = ()  # of a set or stack
    on_the_day: OnTheDay | None = None  # of what is fit today and booked for a later day
    decides: int | None = None  # number of the piece whose verdict stands for all; None: they decide together


WEIGHED = ("weigh-in", "load cell")  # the kinds of measurement that are masses
Z80 = 1.2816  # half the band that holds eight in ten of a normal distribution, in standard deviations
Three = tuple[float, float, float]  # low, middle, high: between the outer two lie eight in ten


SHARES = (0.025, 0.10, 0.25, 0.50, 0.75, 0.90, 0.975)  # of what is believed, below each line of a band


@dataclass(frozen=True)
class Band:
    """A quantity with its uncertainty: the share in the name of what is believed lies below; SHARES in their order.

    Half of it lies between ``p25`` and ``p75``, eight in ten between ``p10`` and ``p90``, 95 in a hundred between
    ``p025`` and ``p975``.
    """

    p025: Array
    p10: Array
    p25: Array
    p50: Array
    p75: Array
    p90: Array
    p975: Array

    @classmethod
    def of(cls, members: Array) -> Band:
        """Return the band of an ensemble [members, ...], as if truth were one more member of it.

        Of n members in order the truth lies below the k-th with a chance of k / (n + 1).
        """
        return cls(*np.quantile(members, SHARES, axis=0, method="weibull"))


def three(members: Array) -> tuple[float, float, float]:
    """Return p10, p50 and p90 of an ensemble's figure [members], as in a band."""
    p10, p50, p90 = np.quantile(members, [0.1, 0.5, 0.9], method="weibull")
    return float(p10), float(p50), float(p90)


@dataclass(frozen=True)
class Measured:
    """A measurement of the wood as a moisture content, as it bears on the refit."""

    at_ms: int
    kind: str  # "weigh-in", "load cell", "pin", "oven-dry", "bag test"
    mc_pct: float
    error_mc_pct: float  # one standard error
    misfit: float  # distance from the refitted model in standard errors
    note: str
    ground: bool = True  # it measures the wood well enough for a verdict to rest on it
    scale_error_mc_pct: float = 0.0  # of a weigh-in: one standard error of the scale alone


@dataclass(frozen=True)
class Tells:
    """What one measurement would do to what is not known of one condition."""

    measurement: str  # one of telling.Measurement
    condition: str  # moisture, through the thickness, steady, room, or date
    before: float  # half of the band that holds eight in ten, in %MC; of a date in days
    after: float  # the same, once it is measured


@dataclass(frozen=True)
class Option:
    """What would come of doing something about a board, or of leaving it."""

    name: str  # what is done, in words
    from_ms: int  # when it is done
    ready_ms: tuple[int | None, int | None, int | None]  # p10, p50, p90 of the day it is fit; None: not within a year
    chance_ready: float  # that it becomes fit within the look-ahead
    mc_pct: tuple[float, float, float]  # p10, p50, p90 of its mean when it is done [%MC]
    loss_pct_per_day: tuple[float, float, float]  # p10, p50, p90 of its greatest loss in the days after [%MC/day]
    gradient_mc_pct: tuple[float, float, float]  # p10, p50, p90 of the most that core then exceeds shell by [%MC]
    end_mc_pct: tuple[float, float, float]  # p10, p50, p90 of its mean at the end of the look-ahead [%MC]


@dataclass(frozen=True)
class Said:
    """What was foretold of a board after one of its weigh-ins, and what its next weigh-in then was."""

    at_ms: int  # of the weigh-in after which it is told
    ready_ms: tuple[int | None, int | None, int | None]  # p10, p50, p90 of the day it is fit; None: not within a year
    mc_pct: tuple[float, float, float]  # p10, p50, p90 of its mean then [%MC]
    next_ms: int | None  # when it was weighed next; None: not yet
    foretold_kg: tuple[float, float, float] | None  # p10, p50, p90 of that weight, as foretold [kg]
    came_kg: float | None  # what it then weighed [kg]


@dataclass(frozen=True)
class Projection:
    """A board through its own air: what it was, what it is, what it will be."""

    at_ms: NDArray[np.int64]  # the moments of the bands below, history first, then the time ahead
    known_until_ms: int  # the last hour of logged air; beyond it all is forecast
    mean: Band  # moisture content averaged over the whole board, as a scale has it [%MC]
    shell: Band  # in the middle of the board, average of the outer tenth of the thickness at each face [%MC]
    core: Band  # there too, average of the middle third of the thickness [%MC]
    emc: Band  # equilibrium moisture content of the air for this wood [%MC]
    depth_fraction: (
        Array  # 0 at the (marked) face, 1 at mid-thickness; to 2 at the other where the faces fare differently
    )
    profile_ms: NDArray[np.int64]  # some of at_ms, the first, known_until_ms and the last among them
    profiles: Band  # moisture content through the thickness at each of profile_ms [moments, depths; %MC]
    loss_pct_per_day: tuple[float, float, float]  # p10, p50, p90 of the loss over the last day of logged air [%MC/day]
    target_mc_pct: float  # the use's target [%MC]
    # p10, p50, p90 of how far it is now from where this very piece would rest in the use's air [%MC]: what
    # twins have in common, the scale of their isotherm, drops out of it
    off_target_mc_pct: tuple[float, float, float]
    # The same without what a misread hygrometer does alike to every piece in that air: for twins that lie together
    off_target_together_mc_pct: tuple[float, float, float]
    ready_ms: tuple[
        int | None, int | None, int | None
    ]  # p10, p50, p90 of the day it is fit; None: not within the look-ahead
    ready_by_ms: tuple[int | None, int | None, int | None]  # when the chance that it has been fit passes 50, 80, 95 %
    # By how many days the date of READY may be off, in 8 of 10 cases, for what the measurements leave unknown of its
    # water alone, whatever the air does; None: as likely as not there is no date
    date_floor_days: float | None
    holds_mc_pct: tuple[
        float, float, float
    ]  # p10, p50, p90 of where the air of the next month here would hold it [%MC]
    floor_mc_pct: tuple[float, float, float]  # the same of the driest month to come within the look-ahead [%MC]
    floor_ms: int  # the middle of that month, by the middle member
    chance_at_rest: float  # that it lies within 1 %MC of where the next month's air holds it
    # The best of its moves to another place of the yard, where it does not become fit soon here; None: none is better
    move: Option | None
    refuge: Option | None  # the place of the yard that slows it enough, where it loses more than its wood survives
    history: tuple[Said, ...]  # what was foretold after each weigh-in, the oldest first; empty: none yet, or not made
    boards_taught: int  # how many other boards of its lot or wood have taught what was expected of it
    legs: tuple[tuple[int, str], ...]  # where it is planned to go: from when, and the place's name
    member_ms: NDArray[np.int64]  # now and every week from then on
    member_mc_pct: Array  # the mean of each member at those moments [members, moments; %MC]
    chance_fit: Array  # that it is fit at each of at_ms, 0 to 1
    chance_moisture: float  # that its middle suits the use now, 0 to 1
    # That it has moved less than the limit over the use's steady days, but for what the air's own swing explains;
    # None: too short a way
    chance_steady: float | None
    chance_level: float | None  # that shell and core are as close as the use wants; None: nothing yet tells the core
    chance_room: float | None  # that the room has been right and stays so; None: not asked for, or not on record
    fit_members: NDArray[np.bool_]  # which members meet all of these that are known [members]
    # Where a piece at rest in its place's air would stand now, and the least and the most that the middle member's
    # does over the days that the use asks of the room [%MC]; None: the air of its place is hardly on record
    rest_mc_pct: tuple[float, float, float] | None
    room_mc_pct: tuple[float, float] | None
    tells: tuple[Tells, ...]  # how much each measurement would narrow what is not known
    plateau: Plateau | None  # how near its own resting mass it stands by its weigh-ins; None: never weighed here
    # How far core and shell lie apart by lately read pins at two depths, and one standard error [%MC]; None: none
    pin_gap_mc_pct: tuple[float, float] | None
    wanted_mc_pct: tuple[float, float]  # least and greatest moisture that the use takes [%MC]
    chance_ready: float  # that it becomes fit within the look-ahead in this air
    # That it meets all known conditions of its use at known_until_ms: as often as such a share of members has held
    chance_fit_now: float
    oven_dry_mass_kg: tuple[float, float, float]  # p10, p50, p90
    measured: tuple[Measured, ...]
    memory_days: float  # how far back the air still tells on the wood [day]
    air_measured_share: float  # share of the hours with logged air, over that time or since the newest measurement
    frozen_hours: int  # hours over that same time outside the model's validity, in which the state is held
    mass_strain_sd: float  # how far the fitted oven-dry mass lies from what species and sizes led to expect
    notes: tuple[str, ...]  # in words: what limits this projection
    dangers: Dangers | None = None  # what may harm it; None: not worked out
