"""What the measurements of a board are, how wrong each may be, and what their errors have in common.

Everything is told as moisture content [kg/kg], a mass too, over the oven-dry mass that is being tried. Errors that
several measurements share do not average away with their number: the bias of a pin meter, dirt on one scale, a size
taken before a cut; and above all the lapse of the model itself (``kiln.lapse``), which lasts for weeks.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kiln import diffusion, drying, lapse
from kiln.records import WEIGHED, Measured
from shared.tables import constants
from shared.units import MS_PER_DAY, Array

NOTHING = "nothing"  # the bound of a reading that tells nothing
OUTLIER_SE = 3.0  # beyond this many standard errors a measurement counts less (Huber)
DOES_NOT_FIT_SE = 4.0
WEIGHING_SHARE = 0.003  # of the mass of a wet board: dirt, bark, surface water; judgement
DRY_OF_WET, DRIPPING = 0.5, 0.25  # of that, on dry wood; and from which moisture [kg/kg] on all of it; judgement
# How fast the factor by which a board's part of its stack's loss is off turns into another, by the logarithm of the
# loss: of boards that dry exponentially at their own rates it must cover the whole course; judgement.
UNEVEN_CHANGES = 0.1
_BOUNDS = {"at least": "only “at least”", "at most": "only “at most”", NOTHING: "nothing"}


@dataclass(frozen=True)
class Datum:
    """One measurement, made by ``kiln.observations``: ``value`` in kg of what was weighed, else in %MC."""

    kind: str  # "weigh-in", "load cell", "pin", "oven-dry", "bag test"
    at_ms: int
    value: float  # of a bag test: on the printed isotherm, before the scale of this piece's own
    error: float  # one standard error in the value's unit, without what it shares with others
    depth_share: float | None = None  # 0 at the face, 1 at mid-thickness; None: it tells the mean
    cut_dry_kg: float = 0.0  # oven-dry mass of the sections cut since the board was first weighed
    bound: str = ""  # "at least", "at most" or NOTHING: beyond what the instrument can tell
    bias_share: float = 0.0  # of a pin: how much of an uncalibrated meter's bias it still has
    ground: bool = True  # it measures the wood well enough for a verdict to rest on it
    mass_share: float = 1.0  # oven-dry mass of what was weighed, of that of the board now: it was thicker before a cut
    common_error: float = 0.0  # kg, beside ``error``: of two of one ``common_with`` the smaller is in both
    uneven_error: float = 0.0  # kg, beside both: in all of one ``common_with`` by about the same factor
    common_with: int = 0  # which zero or weigh-in a mass goes by; 0: it shares nothing

    @property
    def weighed(self) -> bool:
        """Whether it is a mass."""
        return self.kind in WEIGHED

    @property
    def whole_error(self) -> float:
        """One standard error with what it shares with other weighings, in the value's unit."""
        return float(np.linalg.norm((self.error, self.common_error, self.uneven_error)))


@dataclass(frozen=True)
class Errors:
    """How wrong the measurements may be around one board: covariances [data, data] in (kg/kg)²."""

    own: Array  # of the measurements
    model: Array  # of the model, as far as they see it
    mean: Array  # at which the board is taken to have been at each of them [kg/kg]

    @property
    def all(self) -> Array:
        """Both together."""
        return np.asarray(self.own + self.model)


class Likelihood:
    """The measurements of one board, as they bear on its unknowns."""

    def __init__(self, piece: drying.Piece, data: list[Datum], lapse_factor: float = 1.0) -> None:
        """Prepare; ``data`` in order of time. ``lapse_factor``: how much more than usual the model may be off."""
        self.piece, self.data, self._lapse_factor = piece, data, lapse_factor
        self.days = np.array([datum.at_ms for datum in data], dtype=float) / MS_PER_DAY
        self._value = np.array([datum.value for datum in data])
        self._error = np.array([datum.error for datum in data])
        self._weighed = np.array([datum.weighed for datum in data], dtype=bool)
        self._cut_dry_kg = np.array([datum.cut_dry_kg for datum in data])
        self._mass_share = np.array([datum.mass_share for datum in data])
        self._bag = np.array([datum.kind == "bag test" for datum in data], dtype=bool)
        self._at_depth = np.array([d.depth_share is not None and not d.weighed for d in data], dtype=bool)
        self._bound = np.array([datum.bound for datum in data], dtype=object)
        self._common = in_common(data)

    def seen(self, course: diffusion.Course) -> Array:
        """What each measurement should read of a course kept at its moments [members, data; kg/kg].

        What is weighed is the whole board, dried at its edges and ends; pins read its middle.
        """
        two = self.piece.two_faces
        found = course.means(two_faces=two)
        for j in np.flatnonzero(self._at_depth):
            depth = self.data[j].depth_share
            assert depth is not None
            found[:, j] = diffusion.at_depth(course.profiles[:, j], depth, two_faces=two)
        return found

    def told(self, unknowns: Array) -> Array:
        """What each measurement says, by the oven-dry mass and isotherm tried [members, data; kg/kg]."""
        mass_kg = self._dry_mass_kg(unknowns)
        scale = np.exp(unknowns[:, 5, None]) * self.piece.isotherm_share
        by_mass = self._value / np.where(self._weighed, mass_kg, 1.0) - 1.0
        by_reading = self._value / 100.0 * np.where(self._bag, scale, 1.0)
        return np.where(self._weighed, by_mass, by_reading)

    def _dry_mass_kg(self, unknowns: Array) -> Array:
        return np.asarray(np.exp(unknowns[:, 0, None]) * self._mass_share - self._cut_dry_kg)

    def away(self, unknowns: Array, seen: Array) -> Array:
        """What is told less what should be seen [members, data]; nought where a bound is kept."""
        away = self.told(unknowns) - seen
        away[:, self._bound == NOTHING] = 0.0
        least, most = self._bound == "at least", self._bound == "at most"
        away[:, least] = np.maximum(away[:, least], 0.0)
        away[:, most] = np.minimum(away[:, most], 0.0)
        return away

    @property
    def bounds(self) -> NDArray[np.bool_]:
        """Which measurements only bound the moisture: they share no error, since mostly they say nothing."""
        return np.asarray(self._bound != "")

    def errors(self, unknowns: Array, mean: Array) -> Errors:
        """Return the errors around one board: its unknowns, and its mean at each measurement [data; kg/kg]."""
        table = constants("drying")
        mass_kg = self._dry_mass_kg(unknowns[None, :])[0]
        scale = np.where(self._bag, np.exp(unknowns[5]) * self.piece.isotherm_share, 1.0)
        own_sd = np.where(self._weighed, self._error / np.where(self._weighed, mass_kg, 1.0), self._error / 100 * scale)
        dirt = np.where(self._weighed, _dirt_share(mean) * (1.0 + mean), 0.0)
        cell = np.array([datum.kind == "load cell" for datum in self.data], dtype=bool)
        own = np.diag(own_sd**2 + np.where(cell, 0.0, dirt) ** 2)
        shared = [
            np.where(cell, dirt, 0.0),  # one load cell's dirt is there all the while
            np.array([datum.bias_share for datum in self.data]) * table["pin_bias_mc_pct"].value / 100.0,
            # By how much the profile is off at one depth is much the same at each reading.
            np.where(self._at_depth, table["profile_share"].value * mean, 0.0),
            np.where(self._mass_share != 1.0, table["size_error"].value * (1.0 + mean), 0.0),
        ]
        own += self._common / np.outer(mass_kg, mass_kg)
        free = ~self.bounds
        for one in shared:
            own += np.where(np.outer(free, free) | np.eye(len(one), dtype=bool), np.outer(one, one), 0.0)
        # A pin sees one spot, of which the model knows less than of the mean.
        local = np.where(self._at_depth, table["model_discrepancy_mc_pct"].value / 100.0, 0.0)
        own += np.diag(local**2)
        model = self._lapse_factor**2 * lapse.between(self.days, self.days, mean, mean)
        model = np.where(np.outer(free, free) | np.eye(len(mean), dtype=bool), model, 0.0)
        return Errors(own, model, mean)

    def measured(self, best: Array, sd_ln: tuple[float, float], misfit: Array) -> tuple[Measured, ...]:
        """Say each measurement as a moisture content, and how well it fits; ``sd_ln``: of dry mass and isotherm."""
        mass_kg = self._dry_mass_kg(best[None, :])[0]
        scale = float(np.exp(best[5])) * self.piece.isotherm_share
        return tuple(
            _as_measured(datum, float(mass), scale, sd_ln, float(one), misfit[j + 1 :])
            for j, (datum, mass, one) in enumerate(zip(self.data, mass_kg, misfit, strict=True))
        )


def in_common(data: list[Datum]) -> Array:
    """Return the covariance of errors that weighings have in common [data, data; kg²].

    A zero that nobody watches walks from its tare or weigh-in: what two weights have in common is what was wrong at
    the surer of them, and no combination of all claims to be surer than the surest. A board's part of its stack's
    loss is wrong by a factor that changes slowly as the loss grows. Bounds are no weighings, so none is here.
    """
    group = np.array([datum.common_with for datum in data], dtype=np.int64)
    common = np.array([datum.common_error for datum in data], dtype=float)
    uneven = np.array([datum.uneven_error for datum in data], dtype=float)
    same = ((group[:, None] == group) & (group != 0)) | np.eye(len(data), dtype=bool)
    size = np.abs(uneven)
    less, more = np.minimum.outer(size, size), np.maximum.outer(size, size)
    alike = np.divide(less, more, out=np.ones_like(more), where=more > 0.0) ** UNEVEN_CHANGES
    covariance = np.minimum.outer(common, common) ** 2 + np.outer(uneven, uneven) * alike
    return np.asarray(np.where(same, covariance, 0.0))


def _dirt_share(mean: Array) -> Array:
    """What a weighing may be off beside its scale, as a share of the mass: most on wet boards, with bark and drips."""
    return np.asarray(WEIGHING_SHARE * (DRY_OF_WET + (1.0 - DRY_OF_WET) * np.clip(mean / DRIPPING, 0.0, 1.0)))


def _as_measured(
    datum: Datum, mass_kg: float, scale: float, sd_ln: tuple[float, float], misfit: float, later: Array
) -> Measured:
    note = _misfit_note(datum.kind, misfit, later) if abs(misfit) > DOES_NOT_FIT_SE else ""
    if datum.weighed:
        mc = 100.0 * (datum.value / mass_kg - 1.0)
        # Of a mass the moisture content is known no better than the oven-dry mass beneath it.
        share = float(_dirt_share(np.asarray(datum.value / mass_kg - 1.0)))
        weighing = np.hypot(datum.whole_error, share * datum.value) / mass_kg
        error = float(100.0 * np.hypot(weighing, datum.value / mass_kg * sd_ln[0]))
    elif datum.kind == "bag test":
        mc, error = datum.value * scale, scale * float(np.hypot(datum.error, datum.value * sd_ln[1]))
    else:
        mc = datum.value
        error = float(np.hypot(datum.error, datum.bias_share * constants("drying")["pin_bias_mc_pct"].value))
    if datum.bound:
        note = note or f"beyond what it can tell on this wood: it says {_BOUNDS[datum.bound]}"
    scale_pct = 100.0 * datum.whole_error / mass_kg if datum.weighed else 0.0
    return Measured(
        datum.at_ms,
        datum.kind,
        float(mc),
        float(error),
        misfit,
        note,
        ground=datum.ground and not datum.bound,
        scale_error_mc_pct=float(scale_pct),
    )


def _misfit_note(kind: str, misfit: float, later: Array) -> str:
    """What may be behind a measurement that does not fit: heavier and lighter have causes of their own."""
    if kind == "load cell":
        return "does not fit the rest: something else on the cell, a wet cover, or a zero that moved?"
    if kind == "pin":
        return "does not fit the rest, and is left out: shallow pins, another board, salt, or a slip of the pen?"
    if kind != "weigh-in":
        return "does not fit the rest: another board, or a slip of the pen?"
    if misfit > 0.0:
        return "does not fit the rest, it is too heavy: wet bark or snow, another board, or a slip of the pen?"
    if len(later) and float(np.median(later)) < -1.0:
        return "does not fit the rest, it is too light, as is what follows: trimmed or planed since?"
    return "does not fit the rest, it is too light: another board, trimmed since, or a slip of the pen?"
