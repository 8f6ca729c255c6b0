"""Collapse and honeycomb of a board's ensemble, as dangers."""

from __future__ import annotations

import numpy as np

from kiln import collapse, diffusion, drying
from kiln.collapse import Stage, Thickness
from kiln.ensemble import Ensemble
from kiln.forecast_limits import SOAKED_SHARE
from kiln.records import three
from kiln.standing import Danger, Standing
from shared.tables import constants, limit
from shared.tables.harms import Degrade
from shared.units import MM_PER_M, MS_PER_HOUR, Array

LIKELY = 0.5
COLLAPSE, HONEYCOMB = "collapse", "honeycomb and case-hardening"
HOT_HOURS = 24  # over which the warmest hour counts
RECLAIMED = "water-reclaimed"


def collapsing(crowd: Ensemble, prone: Degrade, measured: tuple[Thickness, ...], saturation: Array) -> Danger:
    """Return the danger of collapse: by measured thickness, by heat, by lost cell wall; the worst first told.

    ``saturation``: of all members [members; kg/kg].
    """
    core = diffusion.core_of(crowd.profiles[:, crowd.now], two_faces=crowd.question.piece.two_faces)
    full = collapse.fullness(core, _density(crowd))
    wet = bool(np.median(core) > np.median(saturation))
    figure = f"core {100.0 * np.median(core):.0f} %MC, {100.0 * min(float(np.median(full)), 9.99):.0f} % full"
    found = (
        *(_by_thickness(crowd, one, saturation, figure) for one in measured[-1:]),
        _by_heat(crowd, prone, full, figure),
        _by_lost_wall(crowd, figure) if wet else None,
    )
    told = sorted((one for one in found if one is not None), key=lambda one: one.standing is not Standing.OVER)
    return told[0] if told else _quiet(crowd, prone, full, wet, figure)


def _density(crowd: Ensemble) -> Array:
    return np.asarray(np.exp(crowd.boards[:, 0]) / crowd.question.piece.volume_m3)


def _quiet(crowd: Ensemble, prone: Degrade, full: Array, wet: bool, figure: str) -> Danger:
    table = constants("degrade_limits")
    if not wet:
        reason = "Its core holds no more free water: nothing is left in it that pulls cells together."
        step = "Nothing to do for this; what collapsed before stays so."
        return Danger(COLLAPSE, Standing.UNDER, figure, reason, "", step, table["saturated_share"].status, 0.0)
    share = float(np.mean(full > table["saturated_share"].value))
    caution = table["collapse_caution"].value
    step = f"No heat above {caution:.0f} °C while its core is wet; measure its thickness now and at each weigh-in."
    reclaimed = crowd.question.piece.origin == RECLAIMED
    if prone.collapse_prone is None and not reclaimed:
        reason = "Its core is wet, and whether this wood is prone to collapse is not known."
        return Danger(COLLAPSE, Standing.NOT_KNOWN, figure, reason, "", step, "none", None)
    if reclaimed:
        reason = "Water-reclaimed wood may collapse (from memory)"
    else:
        reason = f"This wood is {'prone' if prone.collapse_prone else 'not known to be prone'} to it ({prone.status})"
    reason += f"; its air is no warmer than {caution:.0f} °C." if share >= LIKELY else "; its core is no longer full."
    return Danger(COLLAPSE, Standing.UNDER, figure, reason, "", step, table["collapse_caution"].status, share)


def _by_heat(crowd: Ensemble, prone: Degrade, full: Array, figure: str) -> Danger | None:
    """Heat on a core full of water; None where there is none."""
    table = constants("degrade_limits")
    recent = crowd.question.way.temperature_c[-HOT_HOURS:]
    warmest = float(np.max(recent)) if np.isfinite(recent).all() else float("nan")
    reclaimed = crowd.question.piece.origin == RECLAIMED
    stop = min(table["collapse_stop"].value, limit("reclaimed_heat")) if reclaimed else table["collapse_stop"].value
    chance = float(np.mean(full > table["saturated_share"].value))
    apt = reclaimed or prone.collapse_prone
    caution = table["collapse_caution"].value
    if chance < LIKELY or apt is False or not warmest > (caution if apt else stop):
        return None
    over = bool(apt) and warmest > stop
    who = "water-reclaimed wood" if reclaimed else "wood prone to it" if apt else "wood of which it is not known"
    most = stop if over or not apt else caution
    reason = f"The air came to {warmest:.0f} °C in the last day and its core is full of water: in {who}, "
    reason += f"above {most:.0f} °C cells may be pulled together."
    step = "Cool it down today and keep the air damp until its core is below fibre saturation."
    standing = Standing.OVER if over else Standing.NEAR
    return Danger(COLLAPSE, standing, f"{warmest:.0f} °C, {figure}", reason, "", step, "from memory", chance)


def _by_lost_wall(crowd: Ensemble, figure: str) -> Danger | None:
    """More water or less wood than a sound board of its kind has: a flag at any temperature."""
    table, piece = constants("degrade_limits"), crowd.question.piece
    began = collapse.fullness(np.exp(crowd.boards[:, 1]), _density(crowd))
    light = collapse.lightness_sd(crowd.boards[:, 0], float(drying.prior(piece).centre[0]))
    over_full = float(np.mean(began > SOAKED_SHARE))
    too_light = float(np.mean(light > table["light_by"].value))
    if max(over_full, too_light) < LIKELY:
        return None
    step = "Air only, no heat; measure its thickness now and at each weigh-in, and cut a section to be sure."
    if over_full >= too_light:
        reason = "It began with more water than sound wood of its own density can hold: lost cell wall, minerals, "
        reason += "or a slip in its sizes. Wood that has lost cell wall can collapse at any temperature."
    else:
        below = three(light)[1] * table["density_spread"].value
        reason = f"Its dry wood weighs about {100.0 * (1.0 - np.exp(-below)):.0f} % less than its kind: perhaps lost "
        reason += "cell wall, which can collapse at any temperature; or a slip in its sizes."
    chance = max(over_full, too_light)
    return Danger(COLLAPSE, Standing.NEAR, figure, reason, "", step, table["density_spread"].status, chance)


def _by_thickness(crowd: Ensemble, one: Thickness, saturation: Array, figure: str) -> Danger | None:
    """A thickness taken, against that which the profile of its day accounts for."""
    piece, table = crowd.question.piece, constants("degrade_limits")
    radial, tangential = piece.species.shrinkage_radial_pct, piece.species.shrinkage_tangential_pct
    if radial is None or tangential is None or not crowd.at_ms[0] <= one.at_ms <= crowd.at_ms[crowd.now]:
        return None
    begun = [spell for spell in piece.spells if _begin_ms(crowd, spell.first_hour) <= one.at_ms] or [piece.spells[0]]
    entered = next(spell for spell in begun if spell.thickness_m == begun[-1].thickness_m)
    total = collapse.spread_of_shrinkage(radial, tangential, len(crowd.boards))
    first, then = (_moment(crowd, ms) for ms in (_begin_ms(crowd, entered.first_hour), one.at_ms))
    shares = [
        collapse.shrunk_m(crowd.course.profiles[:, i], 1.0, total, saturation, two_faces=piece.two_faces)
        for i in (first, then)
    ]
    expected = entered.thickness_m * shares[1] / shares[0]
    caliper = table["caliper_error"].value
    error = float(np.hypot(one.error_m if one.error_m is not None else caliper, caliper))
    chance = collapse.chance_of_more(expected, one.thickness_m, error)
    if chance < table["shrinkage_odd"].value:
        return None
    low, middle, high = (MM_PER_M * value for value in three(expected))
    sure = chance >= table["shrinkage_sure"].value
    thin = f"{MM_PER_M * one.thickness_m:.1f} mm"
    reason = f"It measures {thin}, and its water accounts for {middle:.1f} mm ({low:.1f}–{high:.1f}), "
    reason += f"{MM_PER_M * error:.1f} mm of caliper error apart: {'collapse' if sure else 'perhaps collapse'}."
    step = "No heat until its core is below fibre saturation; measure at three places, and tell what was found."
    standing = Standing.OVER if sure else Standing.NEAR
    return Danger(COLLAPSE, standing, f"{thin}; {figure}", reason, "", step, table["shrinkage_sure"].status, chance)


def _begin_ms(crowd: Ensemble, hour: int) -> int:
    return int(crowd.question.way.at_ms[0]) + hour * MS_PER_HOUR


def _moment(crowd: Ensemble, moment_ms: int) -> int:
    """The recorded moment nearest to another."""
    return int(np.argmin(np.abs(crowd.at_ms[: crowd.now + 1] - moment_ms)))


def honeycombing(crowd: Ensemble, prone: Degrade, peak_index: Array, saturation: Array) -> Danger:
    """Return what a surface that was once stretched far does to the core; ``peak_index`` [some of the members].

    ``saturation``: of the same members [kg/kg]. The limit of the stretch was set on red oak: of a wood that is known
    not to be refractory it says little, and of one not known nothing sure.
    """
    table, two = constants("degrade_limits"), crowd.question.piece.two_faces
    profiles = crowd.profiles[: len(peak_index), crowd.now]
    mean, shell, core = (
        of(profiles, two_faces=two) for of in (diffusion.mean_of, diffusion.shell_of, diffusion.core_of)
    )
    stages = collapse.stages(peak_index, 100.0 * (core - shell), mean, saturation)
    chance = float(np.mean(stages != Stage.NOT_SET.value))
    names, counts = np.unique(stages[stages != Stage.NOT_SET.value], return_counts=True)
    stage = Stage(str(names[np.argmax(counts)])) if chance >= LIKELY else Stage.NOT_SET
    peak = three(peak_index)
    figure = f"{stage}; checking index at most {peak[1]:.1f} ({peak[0]:.1f}–{peak[2]:.1f}) so far"
    reason, step = _STAGES[stage]
    reason = reason.format(table["set_peak"].value)
    if stage is Stage.NOT_SET:
        standing = Standing.UNDER
    elif prone.refractory_heartwood is False:
        standing = Standing.UNDER
        reason += f" That limit was set on red oak; this wood gives its water off readily ({prone.status})."
    elif prone.refractory_heartwood is None:
        standing = Standing.NOT_KNOWN
        reason += " That limit was set on red oak; whether it holds for this wood is not known."
    else:
        standing = Standing.NEAR
    return Danger(HONEYCOMB, standing, figure, reason, "", step, table["set_peak"].status, chance)


_STAGES = {
    Stage.NOT_SET: (
        "Its surface was not stretched beyond {:g} times its limit: little in it is set that pulls at the core.",
        "Go on as it is.",
    ),
    Stage.SET: (
        "Its surface was stretched beyond {:g} times its limit and keeps some of that; its core is still wet.",
        "No heat and no hurry until its core is below fibre saturation: else checks inside, which nobody sees.",
    ),
    Stage.CORE_IN_TENSION: (
        "Its surface was stretched beyond {:g} times its limit; now its core shrinks within it and is in tension.",
        "Do not hurry it now. Cut a section and look for checks inside before it is resawn: wood checked inside can "
        "break up at the saw.",
    ),
    Stage.LEVEL: (
        "Its surface was stretched beyond {:g} times its limit; level now, it may still hold that stress.",
        "Make the prong test before it is resawn: it may pinch the saw or cup.",
    ),
}
