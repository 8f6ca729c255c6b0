"""Writes docs/verdicts.md of the scores."""

from __future__ import annotations

import datetime
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import verdict_line as line
import verdict_text as text
from report import _commit, _goal, _machine, _share
from verdict_boards import BOARD, BOOKED_AHEAD_DAYS, EVERY_DAYS, PLATE, ROOM_DAYS
from verdict_scoring import CONDITIONS, Asked, AskedSet, Course, is_ready
from verdict_summary import (
    EDGES,
    WITHIN,
    Bin,
    Called,
    Delay,
    Stands,
    bookings,
    called,
    conditions,
    delays,
    held_up,
    of_alone,
    of_condition,
    of_sets,
    said_ready,
    said_sure,
    stands,
)


class Every(NamedTuple):
    """All scores of a run."""

    alone: list[Asked]
    sets: list[AskedSet]
    courses: list[Course]


def _rows(head: str, rows: list[str]) -> str:
    return "\n".join([head, "|" + "---|" * (head.count("|") - 1), *rows])


def _bins(found: list[Bin]) -> str:
    rows = [
        f"| {one.low:.1f}–{one.high:.1f} | {one.n} | {one.groups} | {_share(one.stated)} | {_share(one.true)} | "
        f"{100 * one.apart:+.0f} | {100 * one.binomial:.0f} | {100 * one.clustered:.0f} |"
        for one in found
    ]
    return _rows("| stated | n | lots | mean of it | truly so | apart, points | ± | ± by lots |", rows)


def _pct(value: float) -> str:
    return f"{value:.2f} %MC"


def _called_row(name: str, found: Called | None) -> str:
    if found is None:
        return f"| {name} | 0 | 0 | — | — | — | — | — | — |"
    missed = ", ".join(f"{what} {count}" for what, count in sorted(found.missed.items())) or "—"
    return (
        f"| {name} | {found.n} | {found.boards} | {100 * found.right:.1f} ± {100 * found.error:.1f} % | "
        f"{_pct(found.worst_over_pct)} | {_pct(found.over_95_pct)} | {_pct(found.worst_apart_pct)} | "
        f"{_pct(found.worst_drift_pct)} | {missed} |"
    )


def _called(every: Every) -> str:
    head = (
        "| said | times | boards | truly fit | worst overshoot | 95 in 100 within | core less shell, worst | "
        "drift, worst | conditions that did not hold |"
    )
    rows = [_called_row("READY", called(every.alone, said_ready))]
    for kind in (PLATE, BOARD):
        own = [one for one in every.alone if one.kind == kind]
        rows.append(_called_row(f"READY, {kind}s", called(own, said_ready)))
    by_shares = called(line.by_shares(every.alone), said_ready)
    rows.append(_called_row("READY, were shares stated as they are", by_shares))
    rows.append(_called_row("chance of 0.9 or more alone", called(every.alone, said_sure)))
    return _rows(head, rows)


def _days(value: float) -> str:
    return f"{value:.0f}" if np.isfinite(value) else "not yet"


def _delay_row(one: Delay) -> str:
    by_word, by_chance = (", ".join(map(_days, each)) for each in (one.quartiles, one.sure_quartiles))
    checked = "checked" if one.checked else "not checked"
    return f"| {one.kind}s | {checked} | {one.boards} | {one.called} | {one.early} | {by_word} | {by_chance} |"


def _delays(every: Every) -> str:
    head = (
        "| kind | hygrometer | truly fit in time | called READY | before they were fit | "
        "days after: quarter, median, three quarters | the same until the chance alone is enough |"
    )
    by_shares = line.courses_of(line.by_shares(every.alone), every.courses)
    found = [_rows(head, [_delay_row(one) for one in delays(some, ROOM_DAYS)]) for some in (every.courses, by_shares)]
    return "\n\nThe same, were shares of members stated as they are:\n\n".join(found)


def _conditions(every: Every) -> str:
    rows = [
        f"| {kind}s | {one.name} | {one.n} | {_share(one.stated)} | {_share(one.true)} | {one.brier:.3f} | "
        f"{one.brier_base:.3f} |"
        for kind in (PLATE, BOARD)
        for one in conditions([each for each in every.alone if each.kind == kind])
    ]
    return _rows("| kind | condition | n | mean stated | truly held | Brier score | of the base rate |", rows)


def _by_condition(every: Every) -> str:
    """Each condition's bins in one row: by how many points the truth lies above what was stated, and of how many."""
    rows = []
    for kind in (PLATE, BOARD):
        own = [one for one in every.alone if one.kind == kind]
        for name in CONDITIONS:
            found = {one.low: f"{100 * one.apart:+.0f} ({one.n})" for one in of_condition(own, name)}
            rows.append(f"| {kind}s | {name} | " + " | ".join(found.get(low, "—") for low in EDGES[:-1]) + " |")
    bins = " | ".join(f"{low:.1f}–{high:.1f}" for low, high in pairwise(EDGES))
    return _rows(f"| kind | condition | {bins} |", rows)


def _stands(every: Every) -> str:
    rows = []
    for kind in (PLATE, BOARD):
        own = [one for one in every.alone if one.kind == kind]
        places = (
            ("it from its rest in the use's air", [(one.said_off_pct, one.off_pct, one.lot) for one in own]),
            ("a piece at rest in the room", [(o.said_rest_pct, o.rest_pct, o.lot) for o in own if o.said_rest_pct]),
        )
        rows += [_stands_row(f"{kind}s: {name}", stands(pairs)) for name, pairs in places]
    return _rows("| %MC | n | lots | said less true | ± by lots | spread | in 80 % band | below it | above it |", rows)


def _stands_row(name: str, one: Stands | None) -> str:
    if one is None:
        return f"| {name} | 0 | 0 | — | — | — | — | — | — |"
    return (
        f"| {name} | {one.n} | {one.lots} | {one.off_pct:+.2f} | {one.error_pct:.2f} | {one.sd_pct:.2f} | "
        f"{_share(one.held)} | {_share(one.below)} | {_share(one.above)} |"
    )


def _bookings(every: Every) -> str:
    rows = []
    for kind in (PLATE, BOARD):
        one = bookings([each for each in every.alone if each.kind == kind])
        right = _share(one.right / one.stops) if one.stops else "—"
        warned = _share(one.warned / one.wet) if one.wet else "—"
        rows.append(f"| {kind}s, {BOOKED_AHEAD_DAYS[kind]} days ahead | {one.stops} | {right} | {one.wet} | {warned} |")
    return _rows("| booked | STOP | truly too wet that day | too wet when booked | of these, STOP |", rows)


def _sets(every: Every) -> str:
    parts = []
    for pieces, name in ((2, "Twins"), (3, "Twins and a third")):
        own = [one for one in every.sets if one.pieces == pieces]
        ready = [one for one in own if is_ready(one.word)]
        right = sum(one.together for one in ready)
        said = f"{name}: {len(own)} asked, READY {len(ready)} times, of which {right} truly."
        parts.append(f"{said}\n\n{_bins(of_sets(own))}")
    return "\n\n".join(parts)


def _held_up(every: Every) -> str:
    told = ", ".join(f"*{name}* {count}" for name, count in held_up(every.alone))
    return f"Of those that were truly fit with a stated chance of 0.9 or more, READY was held up by: {told or 'none'}."


def goals(every: Every) -> str:
    """Each goal, what came out, and whether that meets it."""
    bins = [one for one in line.of_other_lots(every.alone) if one.n >= text.FEW]
    worst = max(bins, key=lambda one: abs(one.apart))
    rows = [
        _goal(
            f"stated chance within {100 * WITHIN:.0f} points of the truth in every bin of {text.FEW} or more, over all "
            "lots of which none was fitted on what it is judged by",
            f"{100 * abs(worst.apart):.1f} ± {100 * worst.clustered:.1f} points at worst",
            abs(worst.apart) <= WITHIN,
        )
    ]
    found = called(every.alone, said_ready)
    if found is not None:
        rows.append(_goal("READY truly fit at least 9 times in 10", f"{100 * found.right:.1f} %", found.right >= 0.9))
        over = f"{_pct(found.worst_over_pct)} at worst, {_pct(found.over_95_pct)} for 95 in 100"
        rows.append(_goal("READY at most 0.5 %MC wetter than the use takes", over, found.worst_over_pct <= 0.5))
    reached = [one for one in delays(every.courses, ROOM_DAYS) if one.checked]
    for one in reached:
        name = f"a median delay of at most two askings, {one.kind}s with a checked hygrometer"
        met = one.quartiles[1] <= 2 * EVERY_DAYS[one.kind]
        rows.append(_goal(name, f"{_days(one.quartiles[1])} days ({one.called} of {one.boards} called)", met))
    return _rows("| goal | came out | |", rows)


def table(every: Every) -> str:
    """The figures alone."""
    by_kind = [f"{kind}s\n\n{_bins(of_alone([e for e in every.alone if e.kind == kind]))}" for kind in (PLATE, BOARD)]
    others = [of(every) for of in (_conditions, _by_condition, _stands, _called, _delays, _held_up, _sets, _bookings)]
    parts = (goals(every), _bins(of_alone(every.alone)), *by_kind, *others)
    return "\n\n".join(parts)


def markdown(every: Every, took_s: float, commit: str | None = None) -> str:
    """The whole document."""
    today = datetime.datetime.now(tz=datetime.UTC).date().isoformat()
    by_kind = [
        f"**{kind.capitalize()}s**\n\n{_bins(of_alone([one for one in every.alone if one.kind == kind]))}"
        for kind in (PLATE, BOARD)
    ]
    lots = len({one.lot for one in every.alone})
    parts = [
        text.TEXT_BEFORE,
        f"{lots} lots with {len(every.courses)} boards and plates were followed, {len(every.alone)} verdicts scored, "
        f"in about {took_s / 60:.0f} minutes. {today}; {_machine()}; commit {commit or _commit()}.",
        "## Goals, in our synthetic truth",
        goals(every),
        f"## What was stated, and what was so\n\n{text.BINS_TEXT}",
        _bins(of_alone(every.alone)),
        *by_kind,
        f"## From a share of members to a stated chance\n\n{text.LINE_TEXT}",
        line.of_this_run(every.alone),
        text.CROSSWISE_TEXT,
        line.crosswise(),
        text.UNION_TEXT,
        line.union(every.alone),
        "## The conditions, one by one\n\nWhere something was known of each; the Brier score is the mean square of "
        "what the chance was off, that of the base rate is what saying the same for all would earn.",
        _conditions(every),
        "By the chance stated of each alone: by how many points the truth lies above it, and of how many.",
        _by_condition(every),
        f"## Where it was said to stand\n\n{text.STANDS_TEXT}",
        _stands(every),
        f"## READY\n\n{text.READY_TEXT}",
        _called(every),
        f"## How long it took\n\n{text.DELAY_TEXT}",
        _delays(every),
        _held_up(every),
        f"## Sets\n\n{text.SETS_TEXT}",
        _sets(every),
        f"## Bookings\n\n{text.BOOKED_TEXT}",
        _bookings(every),
        text.FOUND_TEXT,
    ]
    return "\n\n".join(parts) + "\n"


__all__ = ["Every", "goals", "markdown", "table"]
