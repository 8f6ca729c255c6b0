"""Stain, stickers and water gained of a board's ensemble, as dangers."""

from __future__ import annotations

import numpy as np

from kiln import diffusion, fitness, rewetting, stain
from kiln.ensemble import Ensemble
from kiln.likelihood import WEIGHING_SHARE
from kiln.lying import STACKED
from kiln.records import three
from kiln.spans import days_to, days_words
from kiln.standing import Danger, Standing
from shared.tables import constants
from shared.tables.harms import Degrade
from shared.units import GRAMS_PER_KG, MS_PER_DAY, MS_PER_HOUR, Array

LIKELY = 0.5
STAIN, STICKERS, REWETTED = "blue stain", "sticker stain", "water gained"
RECENT_DAYS = 30  # of what was gained that is told as now; judgement


def _shell_pct(crowd: Ensemble) -> Array:
    return np.asarray(100.0 * diffusion.shell_of(crowd.profiles, two_faces=crowd.question.piece.two_faces))


def staining(crowd: Ensemble, prone: Degrade, sapwood: bool | None) -> Danger:
    """Return how long its shell has been where blue stain grows, and when it leaves; ``sapwood``: has it any."""
    table, way, now = constants("degrade_limits"), crowd.question.way, crowd.now
    shell = _shell_pct(crowd)
    days = stain.hours_so_far(crowd.at_ms[: now + 1], shell[:, : now + 1], way.at_ms, way.temperature_c) / 24.0
    inside = float(np.mean(stain.in_window(shell[:, now], way.temperature_c[-1])))
    low, middle, high = three(days)
    told = f"{middle:.0f} days ({low:.0f}–{high:.0f}) so far"
    status = table["stain_days"].status
    trend = _leaving(crowd, shell)
    if sapwood is False or prone.stain_prone_sapwood is False:
        why = "There is no sapwood on it" if sapwood is False else "Its sapwood is not known to stain"
        return Danger(STAIN, Standing.UNDER, told, f"{why}.", trend, "Nothing to do for this.", status, 0.0)
    least, most = table["stain_least_mc_pct"].value, table["stain_most_mc_pct"].value
    where = f"{least:.0f} to {most:.0f} %MC in its shell, {table['stain_coldest'].value:.0f} to "
    where += f"{table['stain_warmest'].value:.0f} °C (from memory)"
    if prone.stain_prone_sapwood is None:
        reason = f"Whether this sapwood stains readily is not known. Stain grows at {where}."
        return Danger(STAIN, Standing.NOT_KNOWN, told, reason, trend, _stain_step(inside), status, None)
    lasted = float(np.mean(days >= table["stain_days"].value))
    here = "so it may grow now" if inside >= LIKELY else _why_not(shell[:, now], way.temperature_c[-1])
    has = "" if sapwood else " It counts for sapwood only."
    reason = f"Its sapwood stains readily ({prone.status}), at {where}; {here}.{has}"
    if lasted >= LIKELY:
        reason += f" After about {table['stain_days'].value:.0f} days stain is to be looked for (judgement)."
    if float(np.mean(shell[:, now] < least)) >= LIKELY:
        # What grew before stays, and no more comes: whether it did, only looking tells.
        standing = Standing.NOT_KNOWN if lasted >= LIKELY else Standing.UNDER
    else:
        near = inside >= LIKELY and middle + _days_to_leave(crowd, shell) >= table["stain_days"].value
        standing = Standing.OVER if lasted >= LIKELY else Standing.NEAR if near else Standing.UNDER
    return Danger(STAIN, standing, told, reason, trend, _stain_step(inside), status, lasted)


def _why_not(shell_pct: Array, air_c: float) -> str:
    """What keeps stain from growing at this moment: no word about what grew before."""
    table, middle = constants("degrade_limits"), float(np.median(shell_pct))
    if air_c < table["stain_coldest"].value:
        why = "it is too cold"
    elif air_c > table["stain_warmest"].value:
        why = "it is too warm"
    else:
        why = "its shell is too dry" if middle < table["stain_least_mc_pct"].value else "its shell is too wet"
    return f"just now {why} for it to grow, which says nothing of stain that is there already"


def _days_to_leave(crowd: Ensemble, shell: Array) -> float:
    """Days until the middle member's shell is too dry for stain; without end within the look-ahead, infinite."""
    dry = np.flatnonzero(
        np.median(shell[:, crowd.now :], axis=0) < constants("degrade_limits")["stain_least_mc_pct"].value
    )
    return float(dry[0]) if len(dry) else float("inf")


def _stain_step(inside: float) -> str:
    if inside < LIKELY:
        return "Look at the ends of its sapwood for grey or blue."
    return "Get moving air over all its faces now, at no more than mild warmth; look at the sapwood for grey or blue."


def _leaving(crowd: Ensemble, shell: Array) -> str:
    now, end_ms = crowd.now, crowd.question.way.end_ms
    least = constants("degrade_limits")["stain_least_mc_pct"].value
    if float(np.mean(shell[:, now] < least)) >= LIKELY:
        return "Its shell is too dry for it already."
    moments = fitness.ready_by_ms(stain.leaves_ms(crowd.at_ms[now:], shell[:, now:]), (0.1, 0.5, 0.9))
    first, middle, last = (days_to(moment, end_ms) for moment in moments)
    if middle is None:
        return "Its shell does not become too dry for it in the time ahead."
    return f"Its shell is too dry for it in about {days_words(middle)} ({first}–{'later' if last is None else last})."


def stickers(crowd: Ensemble) -> tuple[Danger, ...]:
    """Return a reminder of the stickers of a wet board in a stack; none where there are no stickers, or it is dry."""
    table, lying = constants("degrade_limits"), crowd.question.piece.spells[-1].lying
    wet = float(np.mean(_shell_pct(crowd)[:, crowd.now] > table["stain_least_mc_pct"].value))
    if lying.rest not in STACKED or wet < LIKELY:
        return ()
    most = table["sticker_mc_pct"].value
    reason = "Wet stickers leave bars of stain under them, often deeper than a planer takes; nobody measured these."
    step = f"Read a sticker with the pin meter: at or below {most:.0f} %MC. Wetter ones are taken out today."
    told = f"at most {most:.0f} %MC wanted"
    return (Danger(STICKERS, Standing.NOT_KNOWN, told, reason, "", step, table["sticker_mc_pct"].status),)


def rewetted(crowd: Ensemble) -> Danger:
    """Return what it gained: on the scale, beyond both errors and its air; and in fog or dew."""
    table, way = constants("degrade_limits"), crowd.question.way
    since_ms = way.end_ms - RECENT_DAYS * MS_PER_DAY
    gains = [one for one in _gains(crowd) if one.at_ms >= since_ms]
    damp = [(ms, hours) for ms, hours in rewetting.damp_runs(way.at_ms, way.rh_pct, way.known) if ms >= since_ms]
    weighed = sum(datum.kind == "weigh-in" for datum in crowd.question.data)
    hours = sum(one for _, one in damp)
    status = table["heavier_by"].status
    in_fog = (
        f"{hours} h at {table['damp_rh_pct'].value:.0f} %RH or more in the last {RECENT_DAYS} days: fog or dew."
        if damp
        else ""
    )
    entered = _entered(crowd, since_ms)
    if entered:
        step = "Weigh it now; dry its faces in moving air, out of the sun."
        return Danger(REWETTED, Standing.NEAR, "as it was entered", f"{entered} {in_fog}".strip(), "", step, status)
    if gains:
        last = gains[-1]
        ago = days_words(round((way.end_ms - last.at_ms) / MS_PER_DAY))
        told = f"{GRAMS_PER_KG * (last.gain_kg - last.expected_kg):.0f} g more"
        reason = f"At its weigh-in {ago} ago it was {GRAMS_PER_KG * last.gain_kg:.0f} g heavier than before, where its "
        reason += f"air accounts for {GRAMS_PER_KG * last.expected_kg:.0f} g at most; two scales' errors are "
        reason += f"{GRAMS_PER_KG * table['heavier_by'].value * last.error_kg:.0f} g. {in_fog}"
        step = "Weigh it again; find where water came to it (roof, splash, wet floor), and enter it."
        return Danger(REWETTED, Standing.OVER, told, reason.strip(), "", step, status)
    if damp:
        reason = f"{in_fog} Its faces gain water then."
        step = "Cover the stack against the sky, with its sides open; weigh it."
        return Danger(REWETTED, Standing.NEAR, f"{hours} h of fog or dew", reason, "", step, status)
    if weighed < 2:
        reason = "It was weighed less than twice: a gain on the scale cannot be told. No logged hour had fog or dew."
        return Danger(REWETTED, Standing.NOT_KNOWN, "no figure", reason, "", "Weigh it.", status)
    reason = f"No weigh-in of the last {RECENT_DAYS} days is heavier than the one before, and there was no fog or dew."
    return Danger(REWETTED, Standing.UNDER, "none found", reason, "", "Go on weighing it.", status)


def _entered(crowd: Ensemble, since_ms: float) -> str:
    """When water was last entered as having come to it; "" where none was lately."""
    way = crowd.question.way
    hours = [spell.first_hour for spell in crowd.question.piece.spells if spell.wetted_kg_m2 is not None]
    at_ms = max((int(way.at_ms[0]) + hour * MS_PER_HOUR for hour in hours), default=0)
    if at_ms < since_ms:
        return ""
    ago = round((way.end_ms - at_ms) / MS_PER_DAY)
    return f"Water was entered as having come to it {f'{days_words(ago)} ago' if ago > 0 else 'in the last day'}."


def _gains(crowd: Ensemble) -> tuple[rewetting.Gain, ...]:
    """Weigh-ins heavier than the one before; a mass before a cut is taken to what is left of the board."""
    weighed = [datum for datum in crowd.question.data if datum.kind == "weigh-in" and not datum.bound]
    at_ms = np.array([datum.at_ms for datum in weighed], dtype=np.int64)
    mass = np.array([datum.value / datum.mass_share for datum in weighed])
    scale = np.array([datum.whole_error / datum.mass_share for datum in weighed])
    means = crowd.course.means(two_faces=crowd.question.piece.two_faces)
    then = np.array([np.interp(at_ms, crowd.at_ms, one) for one in means])
    change = np.diff(then, axis=1) * np.exp(crowd.boards[:, :1])
    expected = np.quantile(change, 0.9, axis=0) if len(weighed) > 1 else np.zeros(0)
    return rewetting.heavier(at_ms, mass, np.hypot(scale, WEIGHING_SHARE * mass), expected)
