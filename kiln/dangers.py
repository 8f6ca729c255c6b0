"""What harms a drying board, now and in the time ahead: checks, honeycomb, collapse, mould, stain, water gained.

Two curves go against each other: damp, slow air keeps faces from checking and lets mould and stain grow. Stain-prone
sapwood wants air early, refractory heartwood patience; where no limit is known no corridor is drawn.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from kiln import checking, collapse_told, diffusion, mould, surfaces, wet_told
from kiln.collapse import Thickness
from kiln.ensemble import Ensemble
from kiln.sentences import lower
from kiln.spans import days_words
from kiln.standing import CHECKING as CHECKING
from kiln.standing import MOULD as MOULD
from kiln.standing import NO_CURVE, TREND_DAYS, Curve, Danger, Dangers, Standing, figure, trend
from kiln.surfaces import Surfaces
from shared.tables import constants
from shared.tables.harms import Degrade, degrade
from shared.units import MS_PER_DAY, Array

__all__ = ["Curve", "Danger", "Dangers", "Standing", "Thickness", "of"]

LIKELY = 0.5
PRONGS = {  # how the prongs of a slice turned: its standing, why, what next. Valid of a level profile only
    "turned in": (
        Standing.OVER,
        "The prongs of its slice turned in: it is case-hardened.",
        "Do not resaw or plane it from one face yet: a damp spell (conditioning) relieves it; test a slice again.",
    ),
    "turned out": (
        Standing.OVER,
        "The prongs of its slice turned out: it was conditioned too far.",
        "Resaw a trial piece first: it opens away from the cut.",
    ),
    "straight": (
        Standing.UNDER,
        "The prongs of its slice stood straight: no stress was left, if it was as dry inside as outside.",
        "Go on as it is.",
    ),
}
GROWING_DAYS, MOST_DECLINE = 3, 0.01  # of the index over these days; judgement
CLEAN = (
    "Wear a respirator; outdoors, vacuum it or wipe it damp, never dry-brush it or blow it off. "
    "Then correct the air: drier, and moving over its faces."
)


def of(
    crowd: Ensemble,
    measured: tuple[Thickness, ...] = (),
    sapwood: bool | None = None,
    prone: Degrade | None = None,
    clean_since_ms: int | None = None,
    mould_found_ms: int | None = None,
    prongs: str = "",
) -> Dangers:
    """Return what harms a board at the last hour of its logged air, and in the time ahead of it. Deterministic.

    ``measured``: thicknesses taken with a caliper, in order of time; ``sapwood``: whether the board has any (None:
    nobody said); ``prone``: what its wood is prone to (None: as the table has it); ``clean_since_ms``: when its faces
    were last found or made free of mould (None: when its record begins); ``mould_found_ms``: when somebody has seen
    mould on it since: only then is it harm now, for an index of the most sensitive wood is no finding. ``prongs``:
    how those of a slice turned when it was last tested. Raises ValueError as ``surfaces`` does.
    """
    prone = prone or degrade(crowd.question.piece.species.botanical_name)
    faces = surfaces.surfaces(crowd)
    days_ms = crowd.at_ms[(crowd.at_ms >= faces.at_ms[0]) & (crowd.at_ms <= faces.at_ms[-1])]
    checks = _checking_days(crowd, faces, days_ms)
    grown = _mould_days(faces, days_ms, clean_since_ms)
    checks_curve = NO_CURVE if checks is None else Curve.of(days_ms, checks)
    mould_curve = Curve.of(days_ms, grown)
    now = int(np.searchsorted(days_ms, crowd.question.way.end_ms))
    end_ms = crowd.question.way.end_ms
    found_days = None if mould_found_ms is None else max(0, round((end_ms - mould_found_ms) / MS_PER_DAY))
    of_all = crowd.isotherm_scale * (surfaces.saturation(crowd)[0] / crowd.isotherm_scale[0])
    found = [_checks(crowd, prone, checks, checks_curve, now)]
    if checks is not None:
        peak = _peak(crowd, checks[:, : now + 1])
        found.append(_by_prongs(collapse_told.honeycombing(crowd, prone, peak, surfaces.saturation(crowd)), prongs))
    found += [
        collapse_told.collapsing(crowd, prone, measured, of_all),
        _mould(crowd, grown, mould_curve, now, found_days),
        wet_told.staining(crowd, prone, sapwood),
        *wet_told.stickers(crowd),
        wet_told.rewetted(crowd),
    ]
    # A chance is told beside a limit that is near or passed; beside any other it would only contradict the words.
    pressing = (Standing.NEAR, Standing.OVER)
    found = [one if one.standing in pressing else replace(one, probability=None) for one in found]
    growing = found_days is not None and _growing(mould_curve, now)
    stops = tuple(
        one.name for one in found if one.standing is Standing.OVER and _harms_now(crowd, one, of_all, growing)
    )
    return Dangers(tuple(found), checks_curve, mould_curve, stops, _balance(prone, found), _notes(crowd, faces))


def _by_prongs(danger: Danger, prongs: str) -> Danger:
    """What the prongs of a slice showed goes before what the model makes of its past."""
    if prongs not in PRONGS:
        return danger
    standing, reason, step = PRONGS[prongs]
    return replace(danger, standing=standing, reason=f"{reason} {danger.reason}", next_step=step, probability=None)


def _growing(mould_curve: Curve, now: int) -> bool:
    """Whether its faces were damp enough for mould over the last days: where they are dry its index declines.

    All covered it grows no more, and is growing all the same.
    """
    change = float(mould_curve.p50[now] - mould_curve.p50[max(now - GROWING_DAYS, 0)])
    return float(mould_curve.p50[now]) > 0.0 and change > -MOST_DECLINE


def _harms_now(crowd: Ensemble, danger: Danger, saturation: Array, growing: bool) -> bool:
    """Checks over their limit, collapse while the core still has free water, mould to be seen while it grows."""
    if danger.name == MOULD:
        return growing
    if danger.name == collapse_told.COLLAPSE:
        core = diffusion.core_of(crowd.profiles[:, crowd.now], two_faces=crowd.question.piece.two_faces)
        return bool(np.median(core) > np.median(saturation))
    return danger.name == CHECKING


def _checking_days(crowd: Ensemble, faces: Surfaces, days_ms: NDArray[np.int64]) -> Array | None:
    """Checking index of each day [members, days]; None where the wood's shrinkage was not found."""
    species, two = crowd.question.piece.species, crowd.question.piece.two_faces
    if species.shrinkage_tangential_pct is None:
        return None
    held = surfaces.saturation(crowd)
    found = checking.index(faces.profiles, species.shrinkage_tangential_pct, held, two_faces=two)
    return checking.of_days(found, faces.hours, faces.at_ms, days_ms)


def _peak(crowd: Ensemble, so_far: Array) -> Array:
    """The most that each member's index ever was; before what was followed, by its daily profiles [members]."""
    species, piece = crowd.question.piece.species, crowd.question.piece
    first = crowd.course.profiles[: len(so_far), : max(crowd.now + 1 - so_far.shape[1], 1)]
    held = surfaces.saturation(crowd)
    assert species.shrinkage_tangential_pct is not None
    before = checking.index(first, species.shrinkage_tangential_pct, held, two_faces=piece.two_faces)
    return np.asarray(np.maximum(before.max(axis=1), so_far.max(axis=1)))


def _mould_days(faces: Surfaces, days_ms: NDArray[np.int64], clean_since_ms: int | None) -> Array:
    """Mould index of the worse face at each of the days [members, days]; nought until it was last clean."""
    since = 0 if clean_since_ms is None else int(np.searchsorted(faces.at_ms, clean_since_ms, side="right"))
    t = np.repeat(faces.temperature_c[:, None], faces.rh_pct.shape[1], axis=1)
    grown = np.zeros_like(faces.rh_pct)
    grown[..., since:] = mould.course(t[..., since:], faces.rh_pct[..., since:], faces.hours[since:], mould.class_of())
    return np.asarray(grown.max(axis=1)[:, np.searchsorted(faces.at_ms, days_ms, side="right") - 1])


def _planned(crowd: Ensemble) -> bool:
    return any(leg.first_day <= TREND_DAYS for leg in crowd.question.plan)


def _checks(crowd: Ensemble, prone: Degrade, index: Array | None, curve: Curve, now: int) -> Danger:
    table, now_ms = constants("degrade_limits"), crowd.question.way.end_ms
    near, stop, status = table["checking_near"].value, table["checking_stop"].value, table["strain_limit"].status
    if index is None:
        reason = "How much this wood shrinks was not found, so its stretch cannot be told."
        step = "Look at its faces and ends for checks; slow it down when in doubt."
        return Danger(CHECKING, Standing.NOT_KNOWN, "no figure", reason, "", step, "none")
    wet_pct = 100.0 * diffusion.mean_of(
        crowd.profiles[: len(index), crowd.now], two_faces=crowd.question.piece.two_faces
    )
    wet = wet_pct > crowd.question.limits.loss_counts_above
    over_near, over_stop = (float(np.mean((index[:, now] > most) & wet)) for most in (near, stop))
    told = f"index {figure(curve, now_ms)}"
    way = trend(curve, now_ms, (near, stop), _planned(crowd))
    if over_stop >= LIKELY and prone.refractory_heartwood:
        way = _stays_over(curve, now_ms, stop)
        reason = (
            f"Its surface is stretched beyond {stop:g} times the strain at which wood parts, and it is wet inside: "
        )
        reason += f"this wood is slow to give its water off and checks ({prone.status})."
        step = "Slow it down today: cover it, close the vents, or move it to damper air; then look for checks."
        return Danger(CHECKING, Standing.OVER, told, reason, way, step, status, over_stop)
    if over_near >= LIKELY:
        reason = f"Its surface is stretched beyond the strain at which wood parts at once ({near:g}). {_bears(prone)}"
        step = "Look at its faces and ends for checks today." + _slower(prone)
        return Danger(CHECKING, Standing.NEAR, told, reason, way, step, status, over_near)
    reason = f"Its surface is stretched by less than the strain at which wood parts at once ({near:g})."
    if not wet.mean() >= LIKELY:
        least = crowd.question.limits.loss_counts_above
        reason = f"It is below {least:.0f} %MC, where nearly no new surface check begins (common practice, no source)."
    return Danger(CHECKING, Standing.UNDER, told, reason, way, "Go on as it is.", status, over_near)


def _stays_over(curve: Curve, now_ms: int, level: float) -> str:
    """How long an index stays past its limit if nothing is done: that it falls later mends nothing."""
    i = curve.index_at(now_ms)
    below = np.flatnonzero(curve.p50[i:] < level)
    done = "Checks may be there already."
    if len(below) == 0:
        return f"It stays past {level:g} for as long as is looked ahead, if it stays here. {done}"
    days = max(1, round((int(curve.at_ms[i + below[0]]) - now_ms) / MS_PER_DAY))
    return f"It stays past {level:g} for about {days_words(days)} more if it stays here. {done}"


def _bears(prone: Degrade) -> str:
    if prone.refractory_heartwood:
        return f"It gives, over hours, more than that; but this wood checks readily ({prone.status})."
    if prone.refractory_heartwood is None:
        return "The limit was read off red oak; how much this wood bears is not known."
    return f"The limit was read off red oak; this wood bears more ({prone.status})."


def _slower(prone: Degrade) -> str:
    if prone.refractory_heartwood is False:
        return " Slow it down only if there are any."
    return " Slow it down: narrow the gaps, cover the windward side, seal its ends."


def _mould(crowd: Ensemble, index: Array, curve: Curve, now: int, found_days: int | None) -> Danger:
    table, now_ms = constants("mould_growth"), crowd.question.way.end_ms
    begins, visible, status = table["begins"].value, table["visible"].value, table["begins"].status
    begun, seen = (float(np.mean(index[:, now] >= most)) for most in (begins, visible))
    told = f"mould index {figure(curve, now_ms)} of 6: {_to_be_seen(curve, now_ms, visible)}"
    way = trend(curve, now_ms, (begins, visible), _planned(crowd))
    kind = mould.class_of()
    rests = f"Worked out for its own faces, as {kind.name} wood ({kind.material})."
    if found_days is not None:
        ago = f"{days_words(found_days)} ago" if found_days else "today"
        reason = f"It was found on it {ago}, whatever its air lets grow ({told})."
        step = f"{CLEAN} Look at the boards beside it too; enter it when it is clean."
        return Danger(MOULD, Standing.OVER, "found", reason, way, step, "seen", None)
    if seen >= LIKELY:
        reason = f"Mould that can be seen is as likely as not (index {visible:g} or more). {rests}"
        look = f"Look at its faces with a lamp today, and enter what you find. If there is mould: {lower(CLEAN)}"
        return Danger(MOULD, Standing.OVER, told, reason, way, look, status, seen)
    if begun >= LIKELY:
        reason = f"Mould has begun{_since(curve, now, begins)}, not to be seen yet; act before {visible:g}. {rests}"
        if float(curve.p50[: now + 1].max()) >= visible:
            reason = f"By its faces mould was to be seen before, and some may be there still. {rests}"
        return Danger(MOULD, Standing.NEAR, told, reason, way, f"Look at its faces with a lamp. {CLEAN}", status, begun)
    if float(curve.p50[curve.index_at(now_ms + TREND_DAYS * MS_PER_DAY)]) >= begins:
        reason = f"Mould begins within {TREND_DAYS} days (index {begins:g}). {rests}"
        step = f"Get air moving over its faces before then. If any mould is found: {lower(CLEAN)}"
        return Danger(MOULD, Standing.NEAR, told, reason, way, step, status, begun)
    reason = f"Under {begins:g}, where growth begins. {rests}"
    return Danger(MOULD, Standing.UNDER, told, reason, way, "Keep air moving over its faces.", status, begun)


def _to_be_seen(curve: Curve, now_ms: int, visible: float) -> str:
    """What an index of mould means to the eye."""
    i = curve.index_at(now_ms)
    if float(curve.p10[i]) >= visible:
        return f"by it mould is to be seen; {visible:g} is seen by eye"
    if float(curve.p50[i]) >= visible:
        return f"as likely as not to be seen; {visible:g} is seen by eye"
    seen = "none to be seen" if float(curve.p90[i]) < visible else "perhaps to be seen"
    return f"{seen}; {visible:g} is seen by eye"


def _since(curve: Curve, now: int, level: float) -> str:
    """Since when the middle has been at or above a level, in words; "" where it is not."""
    below = np.flatnonzero(curve.p50[: now + 1] < level)
    first = int(below[-1]) + 1 if len(below) else 0
    if first > now:
        return ""
    days = round((int(curve.at_ms[now]) - int(curve.at_ms[first])) / MS_PER_DAY)
    return f" {days} days ago" if days > 1 else " in the last day"


def _balance(prone: Degrade, found: list[Danger]) -> str:
    """How slow air and fast air pull against each other on this wood."""
    said = []
    if prone.stain_prone_sapwood:
        said.append(f"Its sapwood stains readily: it wants moving air early, and no heat ({prone.status}).")
    if prone.refractory_heartwood:
        said.append(f"Its heartwood gives water off slowly and checks: it wants damp air early ({prone.status}).")
    pressing = {one.name for one in found if one.standing in (Standing.NEAR, Standing.OVER)}
    if {CHECKING, MOULD} <= pressing:
        said.append("Both press at once: keep the air as it is and move more of it over the faces, evenly.")
    if not said:
        return "No limits for the air of this wood were found: watch its faces for checks and for mould alike."
    return " ".join(said)


def _notes(crowd: Ensemble, faces: Surfaces) -> tuple[str, ...]:
    members, days = surfaces.members_of(crowd), round((faces.at_ms[faces.now] - faces.at_ms[0]) / MS_PER_DAY)
    notes = [
        f"{members} of the model's boards, their faces followed every six hours over the last {days} days "
        f"and {surfaces.AHEAD_DAYS} ahead; the air's temperature stands for the faces'",
        "of the surface's stretch a day's average is told; as of flat-sawn wood, which shrinks most",
        "mould is taken as none when that record begins, or since its faces were last clean",
    ]
    outside = float(np.mean((faces.temperature_c <= 0.0) | (faces.temperature_c >= 50.0)))
    if outside > 0.02:
        notes.append(
            f"for {outside:.0%} of that time it is too cold or too hot for the mould index, which is then held"
        )
    return tuple(notes)
