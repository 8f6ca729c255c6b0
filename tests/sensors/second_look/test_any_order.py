"""The second look leaves no trace of the order of arrival, and costs little. All readings are invented."""

from __future__ import annotations

import random
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from one_probe import ALL_TIME, DAY, GOOD, RH, STUCK, T0, C, a_probe, both, flags, row, take, wandering
from sqlalchemy import Connection, event

from sensors import second_look
from sensors.jumps import SIDE, jumps
from sensors.quality import limits
from sensors.second_look import JUDGED, STEADY
from sensors.stillness import Line, stuck
from shared.store import Store, facts, readings
from shared.store.records import AIR, NewReading, Quality, Quantity, SubjectKind
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE

# --- whatever the order -------------------------------------------------------------------------------


def from_scratch(rows: Collection[NewReading]) -> dict[tuple[int, int], Quality]:
    """Judge all rows at once, in order of time: what the store must say however they came."""
    found = {(one.series_id, one.at_ms): one.quality for one in rows}
    in_order = sorted(rows, key=lambda one: one.at_ms)
    lines: dict[Quantity, Line] = {}
    for series_id, quantity in ((C, Quantity.TEMPERATURE_C), (RH, Quantity.RH_PCT)):
        usable = [one for one in in_order if one.series_id == series_id and one.quality in JUDGED]
        rule = limits()[quantity].jumps
        assert rule is not None
        jumped = jumps([one.at_ms for one in usable], [one.value for one in usable], rule)
        found |= {(series_id, one.at_ms): flag for one, flag in zip(usable, jumped, strict=True)}
        still = [one for one, flag in zip(usable, jumped, strict=True) if flag is GOOD]
        lines[quantity] = Line(np.array([r.at_ms for r in still], dtype=np.int64), np.array([r.value for r in still]))
    for series_id, quantity in ((C, Quantity.TEMPERATURE_C), (RH, Quantity.RH_PCT)):
        calm = limits()[quantity].stillness
        assert calm is not None
        flat = stuck(lines[quantity], lines[calm.sibling], calm)
        found |= {(series_id, at_ms): STUCK for at_ms in lines[quantity].at_ms[flat].tolist()}
    return found


def stretch(kind: str, hours: int, seed: int, minutes: int) -> list[tuple[float, float]]:
    """Some hours of a probe's life: moving, one or both of its figures still, saturated, or coarse."""
    count = max(hours * 60 // minutes, 1)
    t, rh = wandering(count, 15 + seed % 7, 4, seed), wandering(count, 60, 8, seed + 1)
    if kind in ("still", "still t"):
        t = [float(14 + seed % 3) if seed % 2 else 14.7] * count
    if kind in ("still", "still rh"):
        rh = [float(62 + seed % 3) if seed % 4 < 2 else 62.3] * count
    if kind == "saturated":
        rh = [100.0] * count
    if kind == "whole":
        t, rh = [float(round(one)) for one in t], [float(round(one / 10) * 10) for one in rh]
    return list(zip(t, rh, strict=True))


KINDS = ("moving", "still", "still t", "still rh", "saturated", "whole", "gap")
stretches = st.tuples(st.sampled_from(KINDS), st.sampled_from([1, 5, 13, 26, 31, 55]), st.integers(0, 40))


@st.composite
def lives(draw: st.DrawFn) -> list[NewReading]:
    """Draw up to two weeks of a probe's readings, with faults strewn in."""
    minutes = draw(st.sampled_from([10, 20, 30, 60]))
    at_ms, rows = T0 + draw(st.integers(0, 95)) * MS_PER_HOUR, []
    for kind, hours, seed in draw(st.lists(stretches, min_size=1, max_size=7)):
        if kind != "gap":
            for i, (t, rh) in enumerate(stretch(kind, hours, seed, minutes)):
                rows += [
                    row(C, at_ms + i * minutes * MS_PER_MINUTE, t),
                    row(RH, at_ms + i * minutes * MS_PER_MINUTE, rh),
                ]
        at_ms += hours * MS_PER_HOUR
    count = len(rows)
    chance = random.Random(draw(st.integers(0, 10_000)))
    for _ in range(draw(st.integers(0, 12)) if count else 0):
        i = chance.randrange(count)
        kind = chance.choice(["spike", "spike", "lost", "bad", "extra", "other"])
        if kind == "spike":
            rows[i] = row(rows[i].series_id, rows[i].at_ms, rows[i].value + chance.choice([-35.0, 35.0]))
        elif kind == "other":
            rows[i] = row(rows[i].series_id, rows[i].at_ms, rows[i].value + 0.1)
        elif kind == "bad":
            rows[i] = row(rows[i].series_id, rows[i].at_ms, -127.0, Quality.OUT_OF_RANGE)
        elif kind == "lost":
            del rows[i]
            count -= 1
        else:
            rows.append(row(rows[i].series_id, rows[i].at_ms + 7, rows[i].value + chance.choice([0, 0, 0.1, 35])))
        if not count:
            break
    return list({(one.series_id, one.at_ms): one for one in rows}.values())


def batches(every_row: Sequence[NewReading], manner: str, chance: random.Random) -> Iterator[list[NewReading]]:
    """Let rows arrive in one of the MANNERS; "breaking late": what breaks runs comes at the end, all at once."""
    rows = sorted(every_row, key=lambda one: (one.at_ms, one.series_id))
    late = breaking(rows) if manner == "breaking late" else []
    rows = [one for one in rows if one not in late]
    if manner == "by series":
        rows.sort(key=lambda one: -one.series_id)
    if manner == "shuffled":
        chance.shuffle(rows)
    cuts, at = [], 0
    while at < len(rows):
        size = chance.choice([2, 6, 20, 150] if manner == "live" else [1, 30, 150, 400])
        cuts.append(rows[at : at + size])
        at += size
    if manner == "blocks":
        chance.shuffle(cuts)
    for cut in [*cuts, late]:
        yield cut + chance.sample(rows, min(2, len(rows))) if manner == "repeats" else cut


def breaking(rows: Sequence[NewReading]) -> list[NewReading]:
    """Find the rows without which those around them would show one figure."""
    found = []
    for series_id in (C, RH):
        mine = [one for one in rows if one.series_id == series_id]
        for before, one, behind in zip(mine, mine[1:], mine[2:], strict=False):
            if before.value == behind.value != one.value:
                found.append(one)
    return found


MANNERS = ("live", "blocks", "by series", "shuffled", "repeats", "breaking late")


@contextmanager
def a_store() -> Iterator[Store]:
    with TemporaryDirectory() as folder:
        made = Store(Path(folder) / "s.sqlite3")
        made.create_or_upgrade()
        a_probe(made)
        yield made
        made.close()


def everything(connection: Connection) -> dict[tuple[int, int], Quality]:
    return {(one.series_id, one.at_ms): one.quality for s in (C, RH) for one in readings.raw(connection, s, *ALL_TIME)}


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(rows=lives(), manner=st.sampled_from(MANNERS), seed=st.integers(0, 10_000))
def test_the_flags_hang_on_what_is_stored_and_not_on_how_it_came(
    rows: list[NewReading], manner: str, seed: int
) -> None:
    with a_store() as store, store.writing() as connection:
        come: dict[tuple[int, int], NewReading] = {}
        for number, batch in enumerate(batches(rows, manner, random.Random(seed))):
            readings.append(connection, batch, T0)
            before = everything(connection)
            changed = second_look.after(connection, batch)
            come |= {(one.series_id, one.at_ms): one for one in batch}
            if number % 7 == 3:
                now = everything(connection)
                assert now == from_scratch(come.values())
                assert changed == sum(flag != before[key] for key, flag in now.items())
        assert everything(connection) == from_scratch(rows)
        stored = {(s, one.at_ms): one.value for s in (C, RH) for one in readings.raw(connection, s, *ALL_TIME)}
        assert stored == {(one.series_id, one.at_ms): one.value for one in rows}
        assert second_look.after(connection, rows) == 0


# --- what it costs ------------------------------------------------------------------------------------


def statements(connection: Connection, work: Callable[[], object]) -> int:
    seen: list[str] = []

    def note(_c: object, _cursor: object, statement: str, *_rest: object) -> None:
        seen.append(statement)

    event.listen(connection, "before_cursor_execute", note)
    work()
    event.remove(connection, "before_cursor_execute", note)
    return len(seen)


def test_a_batch_of_forty_series_costs_less_than_half_as_many_statements_as_storing_it(store: Store) -> None:
    """Counted in statements, since seconds depend on the machine; and the rows read do not grow with the store."""
    with store.writing() as connection:
        for number in range(20):
            probe = facts.add_subject(connection, SubjectKind.PROBE, f"p{number}")
            for one in AIR:
                readings.series_of(connection, probe.id, one)

    def batch(start: int, count: int) -> list[NewReading]:
        chance = random.Random(start)
        moments = [T0 + (start + i) * MS_PER_MINUTE for i in range(count)]
        return [row(s, at, round(50 + chance.uniform(-1, 1), 1)) for at in moments for s in range(1, 41)]

    costs = []
    for start, count in ((0, 13), (13, 300), (313, 13)):
        rows = batch(start, count)[: 500 if count == 13 else None]
        with store.writing() as connection:
            stored = statements(connection, lambda rows=rows: readings.append(connection, rows, T0))  # type: ignore[misc]
            looked = statements(connection, lambda rows=rows: second_look.after(connection, rows))  # type: ignore[misc]
        assert looked < stored / 2
        costs.append(looked)
    assert len(set(costs)) == 1


def test_only_a_window_is_read_around_a_new_row(ready: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    both(ready, wandering(20 * DAY, 15, 4), wandering(20 * DAY, 60, 6))
    read: list[int] = []
    real = second_look.nearby.around

    def counting(*arguments: object) -> object:
        found = real(*arguments)  # type: ignore[arg-type]
        read.append(sum(len(one) for one in found))
        return found

    monkeypatch.setattr(second_look.nearby, "around", counting)
    take(ready, [row(C, T0 + 20 * MS_PER_DAY, 15.0), row(RH, T0 + 10 * MS_PER_DAY + 1, 60.0)])
    assert 0 < sum(read) <= 2 * (2 * 2 * SIDE + 1)


def test_a_probe_stuck_for_weeks_is_read_back_once_an_hour_at_the_most(
    ready: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    both(ready, [14.7] * (20 * DAY), [62.3] * (20 * DAY))
    read: list[int] = []
    real = second_look.nearby.around

    def counting(*arguments: object) -> object:
        found = real(*arguments)  # type: ignore[arg-type]
        read.append(sum(len(one) for one in found))
        return found

    monkeypatch.setattr(second_look.nearby, "around", counting)
    for minute in range(120):
        at_ms = T0 + 20 * MS_PER_DAY + minute * MS_PER_MINUTE
        assert take(ready, [row(C, at_ms, 14.7), row(RH, at_ms, 62.3)]) == 2
    assert sum(one > 40 for one in read) <= 3  # each of them a window of days, of two series
    assert max(read) <= 2 * 7 * DAY * 2
    assert set(STEADY) >= set(flags(ready, C))
