"""Whether a piece has come to its own plateau, by its weights alone; and whether two bag tests agree.

A piece that is left in one air comes to a mass of its own, whatever its oven-dry mass and isotherm are: the last part
of the way goes by its slowest time constant. Neither species nor model has a say in it. The constant-mass rules of
EN 13183-1, ISO 13061-1 and ASTM D4442 (``constant_mass.csv``) are for small sections in an oven at 103 °C, an hour or
some hours apart; by them a thick board in a shed would stand still every day. They are not used here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc, ndtr, ndtri

from kiln.errors import OutOfRange
from kiln.limits import SURE
from shared.errors import BadInput
from shared.tables import constants, limit
from shared.units import MS_PER_DAY, Array, g_from_kg

_TAUS, _REACH_SD = 401, 3.0
FEW, SHORT, UNSEEN, MISFIT = "too few", "too short", "scale too coarse", "no one course"


def _value(name: str) -> float:
    return constants("plateau")[name].value


@dataclass(frozen=True)
class Plateau:
    """How far the newest weight of a piece lies from the mass to which its weights lead."""

    distance_share: float | None  # the newest less the plateau, over the plateau: above 0 it still has water to lose
    error_share: float | None  # one standard error of that
    chance: float | None  # that the distance is within the limit either way, 0 to 1; None: cannot be said
    plateau_kg: float | None
    limit_share: float
    weigh_ins: int  # that counted
    span_days: float  # over which they lie
    scale_would_do_kg: float | None  # the scale error with which it could be seen; None: no need, or none would do
    reason: str  # why there is no chance: one of FEW, SHORT, UNSEEN, MISFIT; empty where there is one
    sentence: str


@dataclass(frozen=True)
class _Course:
    """The weigh-ins that count, over the newest: days before it as negative days, masses as shares of the newest."""

    days: Array
    mass: Array  # with what the air explains taken away
    error: Array
    newest_kg: float
    tau_days: float

    @property
    def span_days(self) -> float:
        return float(-self.days[0]) if len(self.days) else 0.0


@dataclass(frozen=True)
class _Fits:
    """A fit for each time constant that may be; plateau and distances over the newest mass [taus]."""

    plateau: Array
    missing: Array  # A: the plateau less the newest
    error: Array
    gain: Array  # the error of A over that of each weight, were all weighed alike
    misfit: Array  # sum of squares in standard errors
    prior: Array  # how believable each time constant is beforehand; sums to 1


def plateau(
    at_ms: NDArray[np.int64],
    mass_kg: Array,
    scale_error_kg: Array,
    tau_days: float,
    swing_share: Array | None = None,
    limit_share: float | None = None,
) -> Plateau:
    """Return whether a piece stands within ``limit_share`` of its own plateau mass, by its weigh-ins.

    ``at_ms`` [weigh-ins; UTC ms, rising], ``mass_kg`` and ``scale_error_kg`` [weigh-ins; kg; one standard error, 0 or
    more]; ``tau_days``: slowest time constant of the piece [day]; ``swing_share`` [weigh-ins]: by which share of its
    mass a piece at rest would be heavier at each, for the air alone; None: zeros. ``limit_share`` None: ``plateau`` of
    ``limits.csv``. Give only weigh-ins since it was last moved, cut or wetted: one course is fitted,
    W / (1 + swing) = P − A exp(−(t − t_last) / tau), by weighted least squares over the last three time constants,
    or the newest three weigh-ins of a piece that settles faster than it is weighed; A is how far the newest lies below
    the plateau P.

    Each weight errs by its scale and by handling; scatter beyond that widens the error (Birge's ratio), and so does
    what the weights leave open of a tau that is known to 30 %; ``plateau.csv`` has these figures. Raises BadInput
    where lengths differ or moments do not rise, OutOfRange for a mass or tau not above 0, or a negative error.
    Source: a slab's last exponential, Crank, The Mathematics of Diffusion, 1975, section 4.3; Birge 1932 (from memory).
    """
    course = _course(at_ms, mass_kg, scale_error_kg, tau_days, swing_share)
    wanted = limit("plateau") / 100.0 if limit_share is None else limit_share
    if not 0.0 < wanted < 1.0:
        raise OutOfRange("limit_share", wanted, 0.0, 1.0, "")
    least = int(_value("least_weigh_ins"))
    if len(course.days) < least:
        told = f"{len(course.days)} of its weigh-ins lie within the last {_days(_value('window') * tau_days)}"
        return _none(course, wanted, FEW, f"{told}; its plateau takes {least}.")
    if course.span_days < _value("least_span") * tau_days:
        told = f"Its weigh-ins span {_days(course.span_days)}, and a piece like this takes {_days(tau_days)}"
        return _none(course, wanted, SHORT, f"{told} for two thirds of its way: weigh it again later.")
    found = _fits(course)
    least_misfit, spare = float(found.misfit.min()), len(course.days) - 2
    if chdtrc(spare, least_misfit) < _value("misfit_chance"):
        told = "Its weights do not level out on one course: it was moved or wetted, its air changed, or one is wrong."
        return _none(course, wanted, MISFIT, told)
    return _told(course, found, max(1.0, least_misfit / spare), wanted)


def _course(
    at_ms: NDArray[np.int64], mass_kg: Array, scale_error_kg: Array, tau_days: float, swing_share: Array | None
) -> _Course:
    at, mass, error = np.asarray(at_ms), np.asarray(mass_kg, dtype=float), np.asarray(scale_error_kg, dtype=float)
    swing = np.zeros(len(mass)) if swing_share is None else np.asarray(swing_share, dtype=float)
    if not len(at) == len(mass) == len(error) == len(swing):
        raise BadInput(
            "weigh-ins", f"{len(at)} moments and {len(mass)} masses", "as many of each, of errors and swings"
        )
    if np.any(np.diff(at) <= 0):
        raise BadInput("moments of the weigh-ins", "not in order", "each later than the one before")
    _refuse(mass, error, swing, tau_days)
    if not len(at):
        return _Course(np.zeros(0), np.zeros(0), np.zeros(0), float("nan"), tau_days)
    days = (at - at[-1]) / MS_PER_DAY
    counts = days >= -_value("window") * tau_days
    # A thin piece settles in a day and is weighed once a week: older weights of the same air count, as ones of which
    # nothing is asked but that they were near the plateau too.
    counts |= (np.arange(len(at)) >= len(at) - int(_value("least_weigh_ins"))) & (days >= -_value("longest_days"))
    days, mass, error, swing = days[counts], mass[counts], error[counts], swing[counts]
    newest = float(mass[-1])
    away = _value("swing_doubt") * (swing - swing.mean())
    errors = np.sqrt((error / newest) ** 2 + _value("handling_share") ** 2 + away**2)
    return _Course(days, mass / newest / (1.0 + swing), errors, newest, tau_days)


def _refuse(mass: Array, error: Array, swing: Array, tau_days: float) -> None:
    for name, values, low, unit in (("mass_kg", mass, 0.0, "kg"), ("swing_share", 1.0 + swing, 0.0, "")):
        wrong = values[~((values > low) & (values < np.inf))]
        if len(wrong):
            raise OutOfRange(name, float(wrong[0]), low, np.inf, unit)
    wrong = error[~((error >= 0.0) & (error < np.inf))]
    if len(wrong):
        raise OutOfRange("scale_error_kg", float(wrong[0]), 0.0, np.inf, "kg")
    if not 0.0 < tau_days < np.inf:
        raise OutOfRange("tau_days", tau_days, 0.0, np.inf, "days")


def _fits(course: _Course) -> _Fits:
    """Weighted straight lines of mass over exp(−t / tau), one for each time constant that may be."""
    away = np.linspace(-_REACH_SD, _REACH_SD, _TAUS)
    taus = course.tau_days * np.exp(_value("tau_sd_ln") * away)
    ages = np.minimum(-course.days, _value("window") * course.tau_days)
    x = np.exp(ages / taus[:, None])
    weight = np.broadcast_to(course.error**-2.0, x.shape)
    total = weight.sum(axis=1)
    x_mean, mass_mean = (weight * x).sum(axis=1) / total, weight[0] @ course.mass / total
    square = (weight * (x - x_mean[:, None]) ** 2).sum(axis=1)
    slope = (weight * (x - x_mean[:, None]) * course.mass).sum(axis=1) / square
    plateau_mass = mass_mean - slope * x_mean
    left = course.mass - plateau_mass[:, None] - slope[:, None] * x
    prior = np.exp(-(away**2) / 2.0) / np.sqrt(total * square)  # plateau and distance are flat beforehand
    return _Fits(
        plateau=plateau_mass,
        missing=-slope,
        error=1.0 / np.sqrt(square),
        gain=1.0 / np.sqrt(((x - x.mean(axis=1)[:, None]) ** 2).sum(axis=1)),
        misfit=(weight * left**2).sum(axis=1),
        prior=prior / prior.sum(),
    )


def _told(course: _Course, found: _Fits, ratio: float, wanted: float) -> Plateau:
    """``ratio``: by how much the weights scatter more than they should, in squares; 1 at least."""
    weights = found.prior * np.exp(-(found.misfit - found.misfit.min()) / (2.0 * ratio))
    weights /= weights.sum()
    distances, errors = -found.missing / found.plateau, found.error / found.plateau
    distance = float(weights @ distances)
    error = float(np.sqrt(weights @ (ratio * errors**2 + (distances - distance) ** 2)))
    plateau_kg = float(weights @ found.plateau) * course.newest_kg
    known = Plateau(
        distance,
        error,
        _within(distance, error, wanted),
        plateau_kg,
        wanted,
        len(course.days),
        course.span_days,
        scale_would_do_kg=None,
        reason="",
        sentence=_sentence(distance, error, plateau_kg, wanted),
    )
    surely_off = abs(distance) - float(ndtri(SURE)) * error > wanted
    if surely_off or _within(0.0, error, wanted) >= SURE:
        return known
    need_kg = _scale_that_would_do_kg(course, found, wanted)
    told = _unseen(course, wanted, need_kg)
    return replace(known, chance=None, scale_would_do_kg=need_kg, reason=UNSEEN, sentence=told)


def _sentence(distance: float, error: float, plateau_kg: float, wanted: float) -> str:
    side = "above" if distance > 0 else "below"
    return (
        f"Its weight lies {100 * abs(distance):.2f} % (± {100 * error:.2f}, one standard error) {side} the "
        f"{_grams(plateau_kg)} to which its weigh-ins lead; {100 * wanted:g} % is asked."
    )


def _none(course: _Course, wanted: float, reason: str, sentence: str) -> Plateau:
    return Plateau(None, None, None, None, wanted, len(course.days), course.span_days, None, reason, sentence)


def _within(distance: float, error: float, wanted: float) -> float:
    return float(ndtr((wanted - distance) / error) - ndtr((-wanted - distance) / error))


def _scale_that_would_do_kg(course: _Course, found: _Fits, wanted: float) -> float | None:
    """The scale error with which a distance of nought would be seen, weighed as often; None: handling alone is more."""
    allowed = wanted / float(ndtri((1.0 + SURE) / 2.0))
    left = allowed**2 / float(found.prior @ found.gain**2) - _value("handling_share") ** 2
    return float(np.sqrt(left)) * course.newest_kg if left > 0.0 else None


def _unseen(course: _Course, wanted: float, need_kg: float | None) -> str:
    asked = f"{100 * wanted:g} % of it is {_grams(wanted * course.newest_kg)}"
    if need_kg is None:
        return f"These weigh-ins cannot show its plateau on any scale ({asked}): weigh it more often, for longer."
    return f"The scale cannot see its plateau: {asked}. One that errs by no more than {_grams(need_kg)} would do."


def _grams(mass_kg: float) -> str:
    return f"{g_from_kg(mass_kg):.3g} g" if mass_kg < 1.0 else f"{mass_kg:.4g} kg"


def _days(count: float) -> str:
    return f"{count:.1f} days" if count < 10 else f"{count:.0f} days"


def bags_agree(
    a: tuple[float, float], b: tuple[float, float], limit_mc_pct: float | None = None, common_mc_pct: float = 0.0
) -> float:
    """Return the chance that two pieces differ by less than the twins' limit, by a bag test of each; 0 to 1.

    ``a``, ``b``: moisture content and one standard error [%MC], as ``bag.mc_from_bag`` gives them; ``limit_mc_pct``
    [%MC], None: ``twins_apart``. ``common_mc_pct``: the part of both errors that is one and the same [%MC], as that of
    the isotherm is for two pieces of one wood: it drops out. Normal errors; the difference is flat beforehand. Raises
    OutOfRange for a negative error, or a common part that is more than either.
    """
    wanted = limit("twins_apart") if limit_mc_pct is None else limit_mc_pct
    apart, sd = a[0] - b[0], float(np.hypot(_own(a[1], common_mc_pct), _own(b[1], common_mc_pct)))
    return float(abs(apart) < wanted) if sd == 0.0 else _within(apart, sd, wanted)


def _own(error: float, common: float) -> float:
    if not 0.0 <= error < np.inf:
        raise OutOfRange("error_mc_pct", error, 0.0, np.inf, "%MC")
    if not 0.0 <= common <= error:
        raise OutOfRange("common_mc_pct", common, 0.0, error, "%MC")
    return float(np.sqrt(error**2 - common**2))
