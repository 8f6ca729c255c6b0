"""What to do while a board is not fit yet: leave it, tend it, measure it, or move it, and when."""

from __future__ import annotations

import numpy as np

from kiln import ahead, telling
from kiln.evidence import Case, age_days, now_index
from kiln.records import Option, Projection, Standing
from kiln.sentences import capital, lower
from kiln.spans import days_to, days_words, month
from kiln.standing import DATE, MOULD, Danger
from shared.units import MS_PER_DAY

WEIGH_AGAIN_DAYS = 7
LEAVE = "Leave it be."
NOT_HERE = "not here"
LEAST_DOUBT_DAYS = 10.0  # of a date, either way, from which on it is said what would narrow it; ours
LONG_WAIT_DAYS = 45  # beyond this a way to be sooner is told; ours


def sooner(case: Case, projection: Projection, days: int) -> str:
    """What to do while it dries on, or where it would be dry sooner."""
    if projection.move is not None:
        return _then_move(case, projection, projection.move)
    if days > LONG_WAIT_DAYS and float(projection.mean.p50[now_index(projection)]) <= case.limits.move_in_below:
        near = f"{case.use.destination_rh_pct:.0f} %RH"
        return f"It is dry enough to bring into air near {near}, where it would be sooner."
    return _meanwhile(case, projection)


def _then_move(case: Case, projection: Projection, move: Option) -> str:
    """What to do until a move, and what the move does."""
    tend, later = _meanwhile(case, projection), move.from_ms - case.now_ms >= MS_PER_DAY
    moved = ahead.move_sentence(case, move)
    if later and tend != LEAVE:
        return f"{tend} {moved}"
    pressing = _pressing(projection)
    if pressing is None or pressing.name != MOULD:
        return moved
    return f"Look for mould first; mouldy wood stays outside. If it is clean, {lower(moved)}"


def _meanwhile(case: Case, projection: Projection) -> str:
    """What to do while it dries on: what is over its limit first."""
    pressing = _pressing(projection)
    if pressing is not None and pressing.standing is Standing.OVER:
        return _told_of(pressing)
    mean, loss = float(projection.mean.p50[now_index(projection)]), projection.loss_pct_per_day
    most = case.most_loss
    losing = f"It loses {loss[1]:.1f} % a day ({loss[0]:.1f}–{loss[2]:.1f})"
    if pressing is not None and (most is None or mean <= case.limits.loss_counts_above):
        return _told_of(pressing)
    if mean > case.limits.loss_counts_above and most is None:
        return (
            f"{losing}, and no limit for this wood was found: "
            "look at its ends and faces for checks, and slow it down when in doubt."
        )
    if most is not None and mean > case.limits.loss_counts_above and loss[2] > most.pct_per_day:
        return f"{losing}, perhaps more than the {most.pct_per_day:.1f} that it survives: slow it down, weigh it daily."
    if pressing is not None:
        return _told_of(pressing)
    best = telling.best(projection.tells, DATE)
    if best is not None and best.before >= LEAST_DOUBT_DAYS:
        return telling.sentence(best)
    if age_days(case) > WEIGH_AGAIN_DAYS:
        return "Weigh it within the week: the band narrows with every weigh-in."
    return LEAVE


def _told_of(danger: Danger) -> str:
    return f"{capital(danger.name)}: {danger.standing.value}. {danger.next_step}"


def _pressing(projection: Projection) -> Danger | None:
    """The danger that stands worst against its limit; None where none is near it."""
    found = projection.dangers.dangers if projection.dangers else ()
    worst = (Standing.OVER, Standing.NEAR)
    return next((one for standing in worst for one in found if one.standing is standing), None)


def elsewhere(case: Case, projection: Projection) -> tuple[str, str]:
    """What to do about a board that does not become fit where it is, with the figure to be read from two metres."""
    if projection.move is not None:
        away = days_to(projection.move.from_ms, case.now_ms) or 0
        number = f"move in {days_words(away)}" if away else NOT_HERE
        return number, _then_move(case, projection, projection.move)
    if projection.floor_mc_pct[1] <= projection.wanted_mc_pct[1] < projection.holds_mc_pct[1]:
        driest = month(projection.floor_ms)
        return f"until {driest}", f"Wait until {driest}, the driest month to come here. {_meanwhile(case, projection)}"
    indoors = f"into air near {case.use.destination_rh_pct:.0f} %RH"
    if float(projection.mean.p50[now_index(projection)]) <= case.limits.move_in_below:
        return NOT_HERE, f"It is dry enough for indoors: bring it {indoors} now."
    days = [_days_until(projection, band, case.limits.move_in_below, case.now_ms) for band in ("p10", "p50", "p90")]
    if days[1] is None:
        goal = f"{case.limits.move_in_below:.0f} %"
        step = f"Leave it: it does not fall to {goal} here within a year; look for drier air."
        return NOT_HERE, step
    until = f"{days[0]}–{days[2] if days[2] is not None else 'over 365'}"
    goal = f"{case.limits.move_in_below:.0f} %"
    wait = f"Bring it {indoors} once it is at {goal}, in about {days_words(days[1])} ({until})."
    return f"{days_words(days[1])} to {goal}", f"{_meanwhile(case, projection)} {wait}"


def _days_until(projection: Projection, band: str, below_mc_pct: float, now_ms: int) -> int | None:
    """Days until the mean falls to the moisture content at which wood may be brought in; None within a year."""
    now = now_index(projection)
    below = np.flatnonzero(getattr(projection.mean, band)[now:] <= below_mc_pct)
    if len(below) == 0:
        return None
    return days_to(int(projection.at_ms[now + below[0]]), now_ms)
