"""Oven-drying: sections, sample boards, constant mass, and what loss of weight does not tell.

Moisture content is the water over the oven-dry mass. A sample board is never dried itself: two sections cut
beside it tell its moisture, from which its oven-dry mass is estimated, and from that every later weighing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kiln.errors import OutOfRange
from kiln.wood import mc_pct_from_mass
from shared.errors import BadInput
from shared.tables import constants
from shared.tables.instruments import Criterion, criteria
from shared.units import S_PER_HOUR, Array, g_from_kg

WEIGHT_LOSS_IS_NOT_MC = (
    "Loss of weight is not moisture content: it is a share of the wet mass, and says nothing of the water still in the "
    "wood."
)
BEFORE = "Not in an oven that food goes into; ventilate; never leave it unattended."  # before a section is dried
TOO_COARSE = "too coarse for so small a piece"
_TIME_SLACK_S = 1.0  # clocks are read to the second
_ROUNDING_KG = 1e-9  # decides between "less than" and "at most" where floating point cannot


def _value(name: str) -> float:
    return constants("oven_dry")[name].value


@dataclass(frozen=True)
class Section:
    """A slice cut across a board, weighed at once and again oven-dry. Raises OutOfRange for impossible masses."""

    wet_mass_kg: float
    dry_mass_kg: float
    mass_error_kg: float | None = None  # one standard error of either weighing; None: that of the table

    def __post_init__(self) -> None:
        _positive("dry_mass_kg", self.dry_mass_kg)
        if not self.dry_mass_kg <= self.wet_mass_kg < np.inf:
            raise OutOfRange("wet_mass_kg", self.wet_mass_kg, self.dry_mass_kg, np.inf, "kg")
        if self.mass_error_kg is not None and not 0.0 <= self.mass_error_kg < self.dry_mass_kg:
            raise OutOfRange("mass_error_kg", self.mass_error_kg, 0.0, self.dry_mass_kg, "kg")


def section_mc_pct(section: Section) -> tuple[float, float]:
    """Return a section's moisture content and the standard error of its weighing [%MC].

    Source: Wood Handbook FPL-GTR-282, 2021, chapter 4 (definition); first-order propagation of both weighings.
    """
    mc = float(mc_pct_from_mass(section.wet_mass_kg, section.dry_mass_kg))
    wet, dry = (_mass_error(mass, section.mass_error_kg) for mass in (section.wet_mass_kg, section.dry_mass_kg))
    share = np.hypot(wet / section.wet_mass_kg, dry / section.dry_mass_kg)
    return mc, float(100.0 * section.wet_mass_kg / section.dry_mass_kg * share)


def section_scatter_mc_pct(mc_pct: float) -> float:
    """Return how far one section may lie from the mean of its board at ``mc_pct`` [%MC]: one standard error. Ours."""
    return float(np.hypot(_value("section_scatter_mc_pct"), _value("section_scatter_share") * mc_pct))


def _mass_error(mass_kg: float, error_kg: float | None) -> float:
    return _value("balance_error_share") * mass_kg if error_kg is None else error_kg


def estimated_oven_dry_mass_kg(board_mass_kg: float | Array, section_mc_pct: float | Array) -> Array:
    """Return the oven-dry mass [kg, any shape] of a board weighing ``board_mass_kg`` [kg] at its sections' MC [%MC].

    Raises OutOfRange unless the mass is positive and the moisture content not negative. NaN stays NaN.
    Source: the definition turned round, as for kiln sample boards in AH-188 (from memory).
    """
    mass, mc = np.asarray(board_mass_kg, dtype=float), np.asarray(section_mc_pct, dtype=float)
    _refuse(mass, mass > 0.0, "board_mass_kg", "kg")
    _refuse(mc, mc >= 0.0, "section_mc_pct", "%MC")
    return np.asarray(mass / (1.0 + mc / 100.0))


def current_mc_pct(board_mass_kg: float | Array, oven_dry_mass_kg: float | Array) -> Array:
    """Return the moisture content [%MC, any shape] of a board weighing ``board_mass_kg`` [kg] now.

    Negative when it is lighter than its oven-dry mass: then that mass is wrong. Raises OutOfRange unless both masses
    are positive; NaN mass stays NaN. Source: Wood Handbook FPL-GTR-282, 2021, chapter 4 (definition).
    """
    mass = np.asarray(board_mass_kg, dtype=float)
    _refuse(mass, mass > 0.0, "board_mass_kg", "kg")
    return mc_pct_from_mass(mass, oven_dry_mass_kg)


def _refuse(values: Array, accepted: NDArray[np.bool_], name: str, unit: str) -> None:
    wrong = np.atleast_1d(~(accepted | np.isnan(values)))
    if np.any(wrong):
        raise OutOfRange(name, float(np.atleast_1d(values)[wrong][0]), 0.0, np.inf, unit)


def _positive(name: str, value: float) -> None:
    if not 0.0 < value < np.inf:
        raise OutOfRange(name, value, 0.0, np.inf, "kg")


@dataclass(frozen=True)
class SampleBoard:
    """A board whose oven-dry mass is estimated from its sections."""

    oven_dry_mass_kg: float
    oven_dry_error_kg: float  # one standard error
    mc_pct: float  # when the sections were cut
    error_mc_pct: float  # one standard error
    flags: tuple[str, ...]

    def mc_now_pct(self, board_mass_kg: float, mass_error_kg: float | None = None) -> tuple[float, float]:
        """Return the moisture content and its standard error [%MC] at a later mass [kg]; OutOfRange unless positive."""
        mc = float(current_mc_pct(board_mass_kg, self.oven_dry_mass_kg))
        weighed = _mass_error(board_mass_kg, mass_error_kg) / board_mass_kg
        share = np.hypot(weighed, self.oven_dry_error_kg / self.oven_dry_mass_kg)
        return mc, float((100.0 + mc) * share)


def sample_board(board_mass_kg: float, sections: Sequence[Section], mass_error_kg: float | None = None) -> SampleBoard:
    """Return what one or two (or more) sections tell of the board between them, weighed with them.

    The mean of the sections; its error is that of the weighings and the greater of half their difference and the
    tabled scatter of sections. Sections far apart are named. Raises BadInput without sections, OutOfRange for a
    mass that is not positive. Source: AH-188 (from memory); the errors are ours.
    """
    if not sections:
        raise BadInput("sections", "empty", "one or two sections cut beside the board")
    _positive("board_mass_kg", board_mass_kg)
    told = np.array([section_mc_pct(section) for section in sections])
    mc, count = float(told[:, 0].mean()), len(sections)
    weighing = float(np.linalg.norm(told[:, 1])) / count
    scatter = section_scatter_mc_pct(mc) / np.sqrt(count)
    error = float(np.hypot(weighing, max(scatter, float(np.ptp(told[:, 0])) / 2.0)))
    dry = float(estimated_oven_dry_mass_kg(board_mass_kg, mc))
    share = np.hypot(_mass_error(board_mass_kg, mass_error_kg) / board_mass_kg, error / (100.0 + mc))
    return SampleBoard(dry, float(dry * share), mc, error, _section_flags(told[:, 0], mc))


def _section_flags(each_pct: Array, mc_pct: float) -> tuple[str, ...]:
    if len(each_pct) == 1:
        return ("One section only: a second from the other end would show how even the board is.",)
    apart = float(np.ptp(each_pct))
    if apart <= max(_value("sections_apart_least_mc_pct"), _value("sections_apart_share") * mc_pct):
        return ()
    each = f"{each_pct.min():.1f} and {each_pct.max():.1f}"
    return (
        f"Its sections lie {apart:.1f} %MC apart ({each}): an uneven board, or a section that dried before weighing.",
    )


@dataclass(frozen=True)
class ConstantMass:
    """Whether a series of weighings has come to rest by a standard's criterion."""

    reached: bool
    dry_mass_kg: float | None  # the last mass, once reached
    change_pct: float | None  # loss between the two weighings that were compared, % of the later; None: none far enough
    interval_s: float | None  # between those two
    sentence: str
    criterion: str
    source: str
    status: str


def constant_mass(
    times_s: Sequence[float],
    masses_kg: Sequence[float],
    criterion: str,
    balance_sensitivity_kg: float | None = None,
) -> ConstantMass:
    """Return whether the last weighing is at constant mass: compared with the newest one an interval earlier.

    ``times_s`` [s, rising], ``masses_kg`` [kg]: one length. ``criterion``: "EN 13183-1", "ISO 13061-1" or "ASTM D4442"
    (``constant_mass.csv``, all from memory); the last needs the balance's sensitivity [kg]. Raises BadInput for
    another criterion, unequal or empty series, times that do not rise or a missing sensitivity; OutOfRange for a
    mass that is not positive.
    """
    rule = _rule(criterion)
    times, masses = _series(times_s, masses_kg)
    allowed_kg = _allowed_kg(rule, float(masses[-1]), balance_sensitivity_kg)
    earlier = np.flatnonzero(times[-1] - times >= rule.interval_s - _TIME_SLACK_S)
    if not len(earlier):
        hours = (rule.interval_s - (times[-1] - times[0])) / S_PER_HOUR
        return _told(rule, None, None, None, f"Not yet: weigh it again in {hours:.1f} hours or later.")
    at = int(earlier[-1])
    loss_kg, interval = float(masses[at] - masses[-1]), float(times[-1] - times[at])
    rounding_kg = _ROUNDING_KG if rule.includes_limit else -_ROUNDING_KG
    reached = abs(loss_kg) <= allowed_kg + rounding_kg
    sentence = _constant_sentence(rule, reached, loss_kg, interval)
    coarse = balance_sensitivity_kg is not None and rule.balance_steps is None and balance_sensitivity_kg > allowed_kg
    if reached and coarse:  # a loss that is seen is told as one, however coarse the balance
        reached, sentence = False, f"Not shown: this balance is {TOO_COARSE}."
    return _told(rule, float(masses[-1]) if reached else None, 100.0 * loss_kg / float(masses[-1]), interval, sentence)


def _told(
    rule: Criterion, dry_kg: float | None, change_pct: float | None, interval_s: float | None, sentence: str
) -> ConstantMass:
    reached = dry_kg is not None
    return ConstantMass(reached, dry_kg, change_pct, interval_s, sentence, rule.name, rule.source, rule.status)


def _rule(criterion: str) -> Criterion:
    rule = criteria().get(criterion)
    if rule is None:
        raise BadInput("criterion", criterion, ", ".join(criteria()))
    return rule


def _series(times_s: Sequence[float], masses_kg: Sequence[float]) -> tuple[Array, Array]:
    times, masses = np.asarray(times_s, dtype=float), np.asarray(masses_kg, dtype=float)
    if times.ndim != 1 or times.shape != masses.shape or not len(times):
        given = f"{times.size} times and {masses.size} masses"
        raise BadInput("weighings", given, "as many masses as times, at least one")
    if not (np.all(np.isfinite(times)) and np.all(np.diff(times) > 0)):
        raise BadInput("times_s", "out of order", "rising times")
    for mass in masses:
        _positive("masses_kg", float(mass))
    return times, masses


def _allowed_kg(rule: Criterion, mass_kg: float, sensitivity_kg: float | None) -> float:
    if sensitivity_kg is not None:
        _positive("balance_sensitivity_kg", sensitivity_kg)
    if rule.change_share_pct is not None:
        return mass_kg * rule.change_share_pct / 100.0
    if sensitivity_kg is None:
        raise BadInput("balance_sensitivity_kg", None, f"the smallest step of the balance, which {rule.name} needs")
    return (rule.balance_steps or 0.0) * sensitivity_kg


def _constant_sentence(rule: Criterion, reached: bool, loss_kg: float, interval_s: float) -> str:
    hours, grams = interval_s / S_PER_HOUR, g_from_kg(abs(loss_kg))
    if reached:
        return f"Constant mass after {rule.name}: {grams:.2f} g in {hours:.1f} hours ({rule.label})."
    if loss_kg < 0:
        return f"Not yet: it gained {grams:.2f} g; it took up water out of the oven, or a weighing is wrong."
    return f"Not yet: it lost {grams:.2f} g in {hours:.1f} hours; {rule.name} wants that {rule.label}."


def weight_loss_pct(start_mass_kg: float | Array, mass_kg: float | Array) -> Array:
    """Return the loss of weight [% of the mass at the start, any shape]; not a moisture content.

    Show ``WEIGHT_LOSS_IS_NOT_MC`` beside it. Raises OutOfRange unless the start mass [kg] is positive.
    """
    start = np.asarray(start_mass_kg, dtype=float)
    _refuse(start, start > 0.0, "start_mass_kg", "kg")
    return np.asarray(100.0 * (start - np.asarray(mass_kg, dtype=float)) / start)


def baked_flags(hottest_c: float, dry_mass_taken_before: bool) -> tuple[str, ...]:
    """Return in sentences what heat has changed in wood that was as hot as ``hottest_c`` [°C]; none up to 120 °C.

    ``dry_mass_taken_before``: its oven-dry mass is older than the heat. Source: ``oven_dry.csv`` (from memory).
    """
    above = _value("baked_above_c")
    if not hottest_c > above:
        return ()
    said = [
        f"Heated above {above:g} °C it lost wood substance and holds less water at the same humidity: "
        "the printed isotherm and pin meters read it too wet."
    ]
    if dry_mass_taken_before:
        said.append("Its oven-dry mass was taken before it was baked: take a new one.")
    return tuple(said)
