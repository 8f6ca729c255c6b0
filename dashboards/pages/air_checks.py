"""A place's probes: how old the word of each is, how well its humidity is known, and every check it has had."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from dashboards import airs, display
from dashboards.air_charts import Mark
from dashboards.heard import SAME_MOMENT_MS, PlaceNow, ProbeNow
from kiln import hygrometers
from kiln.spans import span_words
from shared.store import Connection, facts
from shared.store.records import HygrometerCheck, ProbeFact
from shared.units import MS_PER_DAY

FAR_OFF_RH_PCT = 5.0  # a correction this large is said beside the air it makes; common practice, no source
LETTERS = "abcdefghijklmnopqrstuvwxyz"
LEFT_OUT = "left out"
NEVER_CHECKED = "never checked, so the band is wide"


@dataclass(frozen=True)
class ProbeLine:
    """One probe behind a place's air."""

    name: str = field(metadata={"help": "What the probe is called"})
    link: str = field(metadata={"help": "Its card on the page of probes"})
    age: str = field(metadata={"help": "How long ago it was heard, and whether it is left out of the air shown"})
    counts: bool = field(metadata={"help": "Whether the air shown rests on it"})
    check: str = field(metadata={"help": "How well its humidity is known: checked, overdue, never, far off"})
    due: bool = field(metadata={"help": "Whether no valid check stands"})


@dataclass(frozen=True)
class CheckLine:
    """One check of a probe over salts."""

    when: str = field(metadata={"help": "The day of the check"})
    read: str = field(metadata={"help": "What it read over which salt, and how far off that was"})
    by: str = field(metadata={"help": "Who entered it"})


@dataclass(frozen=True)
class ProbeChecks:
    """All checks of one probe."""

    code: str = field(metadata={"help": "Code of the probe"})
    name: str = field(metadata={"help": "What the probe is called"})
    due: str = field(metadata={"help": "When the next check is due, in days and as a date"})
    overdue: bool = field(metadata={"help": "Whether no valid check stands"})
    checks: tuple[CheckLine, ...] = field(metadata={"help": "Its checks, the newest first"})
    enter: str = field(metadata={"help": "Where a check is entered"})


def probe_lines(place: PlaceNow, now_ms: int) -> tuple[ProbeLine, ...]:
    """Return every probe of a place with its age, those that are left out too, each saying so."""
    return tuple(_line(place, probe, now_ms) for probe in place.probes if not probe.others or probe.rh is not None)


def _line(place: PlaceNow, probe: ProbeNow, now_ms: int) -> ProbeLine:
    counts = _counts(place, probe)
    return ProbeLine(
        name=probe.fact.name,
        link=f"/probes#{probe.subject.code}",
        age=_age(place, probe, counts=counts, now_ms=now_ms),
        counts=counts,
        check=check_words(probe, now_ms),
        due=not probe.checks.stands(now_ms),
    )


def _heard_ms(probe: ProbeNow) -> int | None:
    """When it last said both; None: it never did."""
    both = [one.at_ms for one in (probe.temperature, probe.rh) if one is not None]
    return min(both) if len(both) == 2 else None


def _counts(place: PlaceNow, probe: ProbeNow) -> bool:
    """Whether the air shown rests on a probe: as ``heard.place_now`` chooses them."""
    heard_ms = _heard_ms(probe)
    if place.air is None or heard_ms is None or (place.air.good and not probe.believed):
        return False
    return place.air.at_ms - heard_ms <= SAME_MOMENT_MS


def _age(place: PlaceNow, probe: ProbeNow, *, counts: bool, now_ms: int) -> str:
    heard_ms = _heard_ms(probe)
    if heard_ms is None:
        return "never heard" if probe.state == "never heard" else f"{probe.state}, {LEFT_OUT}"
    if probe.state == "silent":
        told = f"silent for {span_words(now_ms - heard_ms)}"
    elif probe.state in ("stuck", "not believed"):
        told = f"{probe.state}, last good {display.age(heard_ms, now_ms)}"
    else:
        told = display.age(heard_ms, now_ms)
    return told if counts or place.air is None else f"{told}, {LEFT_OUT}"


def check_words(probe: ProbeNow, now_ms: int) -> str:
    """Say how well a probe's humidity is known."""
    held, due_ms = probe.checks.at(now_ms), probe.checks.due_ms(now_ms)
    if held is None or due_ms is None:
        return NEVER_CHECKED
    told = f"checked {display.age(held[0], now_ms)}"
    if now_ms > due_ms:
        told = f"check overdue since {display.day(due_ms, now_ms)}"
    off = probe.rh.value - float(held[1].apply(probe.rh.value)) if probe.rh is not None else 0.0
    if abs(off) >= FAR_OFF_RH_PCT:
        told += f"; far off, it reads {display.number(abs(off))} % too {'high' if off > 0 else 'low'}, corrected here"
    return told


def checks_of(connection: Connection, place: PlaceNow, now_ms: int) -> tuple[ProbeChecks, ...]:
    """Return the checks of every probe that hangs in a place."""
    return tuple(_checks(connection, one, now_ms) for one in place.probes if not one.others or one.rh is not None)


def _checks(connection: Connection, probe: ProbeNow, now_ms: int) -> ProbeChecks:
    made = sorted(facts.standing(connection, HygrometerCheck, probe.subject.id), key=lambda one: -one.true_at_ms)
    return ProbeChecks(
        code=probe.subject.code,
        name=probe.fact.name,
        due=_due(probe, now_ms),
        overdue=not probe.checks.stands(now_ms),
        checks=tuple(CheckLine(display.day(one.true_at_ms, now_ms), read_words(one), one.entered_by) for one in made),
        enter=f"/probes#check-{probe.subject.code}",
    )


def _due(probe: ProbeNow, now_ms: int) -> str:
    due_ms = probe.checks.due_ms(now_ms)
    if due_ms is None:
        return "Never checked"
    days = round(abs(due_ms - now_ms) / MS_PER_DAY)
    counted = f"{days} day{'' if days == 1 else 's'}"
    if now_ms > due_ms:
        return f"Overdue by {counted}, since {display.day(due_ms, now_ms)}"
    return f"Due in {counted}, on {display.day(due_ms, now_ms)}"


def read_words(one: HygrometerCheck) -> str:
    """Say what a probe read over each salt, what that salt holds the air at, and how far off it was."""
    both = ((one.low_salt, one.low_read_rh_pct), (one.high_salt, one.high_read_rh_pct))
    return "; ".join(_over(salt, read, one.temperature_c) for salt, read in both if salt and read is not None)


def _over(salt: str, read_rh_pct: float, temperature_c: float) -> str:
    holds = hygrometers.salt_rh_pct(salt, temperature_c)
    off = read_rh_pct - holds
    how = "as it should" if abs(off) < 0.05 else f"{display.number(abs(off))} % too {'high' if off > 0 else 'low'}"
    return f"{display.number(read_rh_pct)} % over {salt}, which holds {display.number(holds)} %: {how}"


def marks(connection: Connection, place_id: int, start_ms: int, end_ms: int) -> tuple[Mark, ...]:
    """Return what changed in a span behind a place's air, in order: a probe came, went, or was checked."""
    found = sorted(one for one in _changes(connection, place_id) if start_ms <= one[0] < end_ms)
    return tuple(Mark(_letter(index), at_ms, told) for index, (at_ms, told) in enumerate(found))


def _letter(index: int) -> str:
    """The marks' names: a to z, then a2 to z2 and so on."""
    turn, place = divmod(index, len(LETTERS))
    return LETTERS[place] if turn == 0 else f"{LETTERS[place]}{turn + 1}"


def _changes(connection: Connection, place_id: int) -> Iterator[tuple[int, str]]:
    called = {fact.subject_id: fact.name for fact in facts.standing(connection, ProbeFact)}
    for probe_id, begin_ms, finish_ms in airs.positions(connection).probes_of(place_id):
        name = called[probe_id]
        yield begin_ms, f"{name} was hung here"
        if finish_ms < airs.FOR_EVER_MS:
            yield finish_ms, f"{name} was taken away"
        for one in facts.standing(connection, HygrometerCheck, probe_id):
            if begin_ms <= one.true_at_ms < finish_ms:
                yield one.true_at_ms, f"{name} was checked: {read_words(one)}; corrected from here on"
