"""What is ahead of a board, in sentences: when it is fit, where this air holds it, and what a move would do."""

from __future__ import annotations

from kiln.evidence import Case, now_index, wanted
from kiln.records import Option, Projection, Three
from kiln.spans import days_to, days_words, month

STALLED_CHANCE = 0.5  # that it lies where its air holds it, from which on it is said to have stalled; judgement
FLOOR_SHARE = 0.5  # of a date's band, from which on it is said how much of it is the measurements' own; judgement
LEAST_LOSS_PCT_PER_DAY = 0.1  # of a shock that is worth telling; ours


def three(values: Three, unit: str = " %") -> str:
    """A figure with its band, in words."""
    low, middle, high = values
    return f"{middle:.1f}{unit} ({low:.1f}–{high:.1f})"


def stalled(projection: Projection) -> bool:
    """Whether a board rests where the air of the next month holds it, or that air would make it wetter."""
    mean = float(projection.mean.p50[now_index(projection)])
    return projection.chance_at_rest > STALLED_CHANCE or mean <= projection.holds_mc_pct[1]


def days_three(ready_ms: tuple[int | None, int | None, int | None], now_ms: int) -> str:
    """Days to a date with their band: "12 days (1–30)"; only where the date has a middle."""
    first, middle, last = (days_to(one, now_ms) for one in ready_ms)
    late = f"{last}" if last is not None else "over 365"
    return f"{days_words(middle or 0)} ({first or 0}–{late})"


def date_sentence(projection: Projection, now_ms: int) -> str:
    """When a board is fit, as likely as not and nearly surely, and what keeps that from being known better."""
    likely = f"As likely as not it is fit in about {days_three(projection.ready_ms, now_ms)}"
    _half, most, nearly = (days_to(one, now_ms) for one in projection.ready_by_ms)
    if most is None:
        surely = "; 8 in 10 not within a year"
    elif nearly is None:
        surely = f"; 8 in 10 by {days_words(most)}, 95 in 100 not within a year"
    else:
        surely = f"; 8 in 10 by {days_words(most)}, 95 in 100 by {nearly}"
    return f"{likely}{surely}.{_floor_of_date(projection, now_ms)}"


def _floor_of_date(projection: Projection, now_ms: int) -> str:
    """What its own measurements leave open, where that is much of the date's band."""
    first, last = (days_to(projection.ready_ms[which], now_ms) for which in (0, 2))
    own = projection.date_floor_days
    if own is None or first is None or last is None or 2.0 * own <= FLOOR_SHARE * (last - first):
        return ""
    if 2.0 * own >= last - first:
        return " Nearly all of that is what its own measurements leave open."
    return f" Its own measurements leave ± {days_words(max(1, round(own)))}."


def not_here_sentence(projection: Projection, mc: str) -> str:
    """Where a board stands, where this air holds it, and at best."""
    floor = f"the floor here, in {month(projection.floor_ms)} as expected, is {three(projection.floor_mc_pct)}"
    if stalled(projection):
        held = f"over the month to come this air holds it at {three(projection.holds_mc_pct)}"
        told = f"It dries no further here: it stands at {mc}, and {held}"
        return f"{told}; {floor}: {_chance(projection)}. Wanted {wanted(projection)}."
    floor = f"The floor here, in {month(projection.floor_ms)} as expected, is {three(projection.floor_mc_pct)}"
    return f"It stands at {mc}. {floor}: {_chance(projection)}. Wanted {wanted(projection)}."


def _chance(projection: Projection) -> str:
    fit = projection.chance_ready
    planned = "as planned, " if projection.legs else "if it stays, "
    return f"{planned}{'no chance' if fit < 0.02 else f'a chance of {100 * fit:.0f} in 100'} within a year"


def _survived(case: Case, move: Option) -> str:
    """How a move's shock stands to what the wood survives; a limit that is passed counts only while it is wet."""
    most = case.most_loss
    if most is None:
        return ""
    if move.mc_pct[2] <= case.limits.loss_counts_above:
        over = move.loss_pct_per_day[2] > most.pct_per_day
        return f"; no limit counts below {case.limits.loss_counts_above:.0f} %" if over else ""
    return f"; {most.pct_per_day:.1f} is survived, {most.status}"


def move_sentence(case: Case, move: Option) -> str:
    """What a move to another place would do: when it is fit there, and what it must bear."""
    away = days_to(move.from_ms, case.now_ms) or 0
    to, at = move.name, three(move.mc_pct)
    bring = f"In {days_words(away)} bring it {to}, then at about {at}" if away else f"Bring it {to} now, at {at}"
    then = f"if moved {'then' if away else 'now'}, fit there in about {days_three(move.ready_ms, case.now_ms)}"
    told = f"{bring}: {then}{' from today' if away else ''}."
    low, loss, high = move.loss_pct_per_day
    if high <= LEAST_LOSS_PCT_PER_DAY:
        return told  # it takes up water there, or all but rests
    shock = f"Expect {max(loss, 0.0):.1f} % a day at first ({max(low, 0.0):.1f}–{high:.1f}{_survived(case, move)})"
    return f"{told} {shock} and a core {three(move.gradient_mc_pct)} wetter than its shell."
