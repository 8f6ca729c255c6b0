"""The probes: what each last said, whether it is believed, where it measures; the recorder; what was refused."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from markupsafe import Markup

from dashboards import display, small_marks
from dashboards.heard import Habit, ProbeNow
from dashboards.pages import entry_forms, instrument_forms, load_cells, parts, probe_steps
from dashboards.pages.forms import Attempt, Form, shown_again
from dashboards.pages.parts import EntryLine, Link
from dashboards.pages.today import oldest_ms
from dashboards.situation import Situation
from kiln.load_cell import Continuous
from kiln.records import Z80
from kiln.sentences import capital, lower
from kiln.spans import span_words
from shared.store.records import QUALITY_WORDS, QUANTITY_UNITS, Quantity, Reject
from shared.tables import limit
from shared.units import MS_PER_MINUTE, MS_PER_S

SHOWN_PAYLOAD = 120
HOURS_A_WEEK = 168
ORDER = ("silent", "stuck", "not believed", "unplaced", "never heard", "heard")
STATE_KEYS = {
    "heard": "plain",
    "silent": "stop",
    "stuck": "stop",
    "not believed": "stop",
    "unplaced": "wait",
    "never heard": "unsure",
}


@dataclass(frozen=True)
class ProbeView:
    """One probe."""

    name: str = field(metadata={"help": "What it is called"})
    code: str = field(metadata={"help": "Its code"})
    topic: str = field(metadata={"help": "Topic it publishes on"})
    state: str = field(metadata={"help": "heard, silent, stuck, not believed, never heard or unplaced"})
    key: str = field(metadata={"help": "The state as a style"})
    mark: Markup = field(metadata={"help": "The state as a drawing"})
    since: str = field(
        metadata={"help": "The state in a sentence that goes on after its word; empty while it is heard"}
    )
    steps_told: str = field(metadata={"help": "These steps in a line; empty: none"})
    steps: tuple[str, ...] = field(metadata={"help": "What to do about the state, in order; empty: nothing"})
    figures: str = field(metadata={"help": "What it last said, short; empty while it never said anything"})
    age: str = field(metadata={"help": "How old that is"})
    warning: str = field(
        metadata={"help": "What is wrong with its humidity: far off, its check overdue, or never checked; or empty"}
    )
    check_told: str = field(metadata={"help": "Its check in a line: how old, how far off, when due"})
    battery: str = field(metadata={"help": "What it last said of its battery; empty when nothing"})
    open: bool = field(metadata={"help": "Whether it is shown unfolded: a form in it was not accepted"})
    sentence: str = field(metadata={"help": "The state in a sentence"})
    temperature: str = field(metadata={"help": "Last good temperature, with age"})
    rh: str = field(metadata={"help": "Last good humidity, with age"})
    habit: str = field(metadata={"help": "Its rhythm, gaps and flags over the last week, and its battery"})
    place: Link = field(metadata={"help": "The place it measures"})
    checked: str = field(metadata={"help": "When and how it was checked, and when the next check is due"})
    due: bool = field(metadata={"help": "Whether no valid check stands"})
    check_entry: EntryLine | None = field(metadata={"help": "The last check, to take it back; None without one"})
    others: tuple[str, ...] = field(metadata={"help": "Whatever else it measures, with ages"})
    is_air: bool = field(metadata={"help": "Whether it measures air"})
    cell: load_cells.CellView | None = field(metadata={"help": "What it is as a load cell; None when it is none"})
    form: Form = field(metadata={"help": "Placing it"})
    check: Form = field(metadata={"help": "Entering a check"})


@dataclass(frozen=True)
class RejectLine:
    """A message that held no reading."""

    age: str = field(metadata={"help": "When it came"})
    topic: str = field(metadata={"help": "On which topic"})
    reason: str = field(metadata={"help": "Why it holds no reading"})
    payload: str = field(metadata={"help": "The beginning of what it held"})


@dataclass(frozen=True)
class ProbesPage:
    """Everything that probes.html may use."""

    probes: tuple[ProbeView, ...] = field(metadata={"help": "Every probe: silent and stuck ones first, then by place"})
    lead: str = field(metadata={"help": "How many there are, and how they stand"})
    recorder: str = field(metadata={"help": "What the recorder last said of itself"})
    trouble: tuple[str, ...] = field(metadata={"help": "Recorder or watch not at work, in sentences"})
    rejects: tuple[RejectLine, ...] = field(metadata={"help": "The newest messages that held no reading"})
    rejects_told: str = field(metadata={"help": "How many these are, and how old the last is"})


def probes_page(
    situation: Situation,
    rejects: list[Reject],
    by: str,
    attempt: Attempt | None,
    weights: Mapping[int, Continuous] | None = None,
) -> ProbesPage:
    """Fill the page of probes; ``weights``: by probe, of what is on the load cells now."""
    state, now_ms = situation.recorder, situation.now_ms
    told = "No recorder has run yet."
    if state is not None:
        joined = "connected to" if state.connected else "not connected to"
        told = (
            f"Recorder, {display.age(state.beat_ms, now_ms)}: {joined} {state.broker}, {state.stored:,} "
            f"readings stored "
            f"and {state.rejected:,} messages refused since it started."
        )
    views = tuple(_view(situation, probe, weights or {}, by, attempt) for probe in in_order(situation))
    return ProbesPage(
        probes=views,
        lead=_lead(views),
        recorder=told,
        trouble=tuple(note for note in (situation.recorder_note, situation.watch_note) if note),
        rejects=tuple(_reject(one, now_ms) for one in rejects),
        rejects_told=f"the newest {len(rejects)}, the last {display.age(rejects[0].arrived_ms, now_ms)}"
        if rejects
        else "none",
    )


def in_order(situation: Situation) -> list[ProbeNow]:
    """Return the probes as they need a person: silent and stuck first, then unplaced, then the others by place."""
    places = [place.subject.id for place in situation.places]

    def rank(probe: ProbeNow) -> tuple[int, int, int]:
        place = places.index(probe.place_id) if probe.place_id in places else len(places)
        return ORDER.index(probe.state), place, probe.subject.id

    return sorted(situation.probes, key=rank)


def _lead(views: Sequence[ProbeView]) -> str:
    """Say how many probes there are, how they stand, and how many hygrometers nobody should lean on."""
    if not views:
        return ""
    states = Counter(view.state for view in views)
    told = [f"{states[state]} {state}" for state in ORDER if states[state]]
    doubts = Counter(view.warning.partition(":")[0] for view in views if view.warning)
    doubted = [f"{count} {lower(what)}" for what, count in doubts.items()]
    hygrometers = f" Hygrometers: {display.listed(doubted)}." if doubted else ""
    return f"{len(views)} {'probe' if len(views) == 1 else 'probes'}: {display.listed(told)}.{hygrometers}"


def _view(
    situation: Situation, probe: ProbeNow, weights: Mapping[int, Continuous], by: str, attempt: Attempt | None
) -> ProbeView:
    place = parts.place_by_id(situation, probe.place_id)
    temperature, rh, now_ms = probe.temperature, probe.rh, situation.now_ms
    is_air = temperature is not None or rh is not None or not probe.others
    cell = load_cells.cell_view(situation, probe, weights.get(probe.subject.id), by, attempt)
    form = shown_again(entry_forms.move_probe(situation, probe, by, place.subject.code if place else ""), attempt)
    check = shown_again(instrument_forms.check(probe.subject.code, by), attempt)
    return ProbeView(
        name=probe.fact.name,
        code=probe.subject.code,
        topic=display.visible(probe.fact.topic),
        state=probe.state,
        key=STATE_KEYS[probe.state],
        mark=small_marks.probe(probe.state),
        since=_after_its_word(probe, now_ms),
        steps_told=probe_steps.told(probe, now_ms),
        steps=probe_steps.steps(probe, now_ms),
        figures=_figures(probe, cell),
        age=(cell.net_age if cell else "") or display.age(oldest_ms(probe), now_ms),
        warning=_warning(probe, now_ms) if is_air else "",
        check_told=_check_told(probe, now_ms) if is_air else "",
        battery=probe.habit.battery,
        open=any(one.open for one in (form, check, *(cell.forms if cell else ()))),
        sentence=probe.sentence,
        temperature=f"{display.with_unit(temperature.value, '°C')}, {display.age(temperature.at_ms, now_ms)}"
        if temperature
        else display.NOTHING,
        rh=_rh(probe, now_ms) if rh else display.NOTHING,
        habit=habit_sentence(probe.habit),
        checked=_checked(probe, now_ms),
        due=not probe.checks.stands(now_ms),
        check_entry=_check_entry(probe),
        place=parts.place_link(situation, probe.place_id),
        others=tuple(
            f"{one.value:g} {QUANTITY_UNITS[quantity]}, {display.age(one.at_ms, now_ms)}"
            for quantity, one in probe.others.items()
            if quantity is not Quantity.MASS_KG
        ),
        is_air=is_air,
        cell=cell,
        form=form,
        check=check,
    )


def _after_its_word(probe: ProbeNow, now_ms: int) -> str:
    """Return the sentence of a state without the word of the state, which stands before it; none while it is heard."""
    last = probe_steps.last_heard_ms(probe, now_ms)
    if last is not None:
        return f"for {span_words(now_ms - last)}; last heard {display.day(last, now_ms)}, {display.local(last):%H:%M}"
    return "" if probe.state == "heard" else probe.sentence.removeprefix(f"{capital(probe.state)} ")


def _figures(probe: ProbeNow, cell: load_cells.CellView | None) -> str:
    """What it last said; of a load cell what that weighs by itself, or how much of it nobody can tell apart yet."""
    told = [] if cell is None or not cell.net else [cell.net]
    if probe.temperature:
        told.append(display.with_unit(probe.temperature.value, "°C"))
    if probe.rh:
        told.append(f"{display.with_unit(probe.rh_pct, '%RH')} ± {display.number(Z80 * probe.rh_error_pct)}")
    for quantity, one in probe.others.items():
        if quantity is not Quantity.MASS_KG:
            told.append(f"{one.value:g} {QUANTITY_UNITS[quantity]}")
        elif not told:
            told.append(f"{one.value:g} {QUANTITY_UNITS[quantity]} gross")
    return " · ".join(figure.replace(" ", "\u00a0") for figure in told)  # a line may break between them only


def habit_sentence(habit: Habit) -> str:
    """Say how a probe keeps its rhythm over the last week, what was flagged, and how its battery stands."""
    if habit.rhythm_ms is None:
        told = ["Too few readings to know its rhythm."]
    else:
        told = [f"Reports {_every(habit.rhythm_ms)}; silent after {span_words(habit.silent_after_ms)}."]
    if habit.hours_missing >= HOURS_A_WEEK:
        told.append("Nothing heard all week.")
    elif habit.hours_missing:
        told.append(f"{habit.hours_missing} h of the last week are missing.")
    if habit.flags:
        flagged = [f"{count} × {QUALITY_WORDS[flag]}" for flag, count in sorted(habit.flags.items())]
        told.append(f"Flagged in the last week: {'; '.join(flagged)}.")
    if habit.battery:
        told.append(f"Battery: {habit.battery}.")
    return " ".join(told)


def _every(rhythm_ms: float) -> str:
    """Say how often: "every 20 s", "every 10 min", "every 2 h"."""
    if rhythm_ms < MS_PER_MINUTE:
        return f"every {max(1, round(rhythm_ms / MS_PER_S))} s"
    return f"every {span_words(rhythm_ms)}"


def _rh(probe: ProbeNow, now_ms: int) -> str:
    raw = probe.rh.value if probe.rh else float("nan")
    shown = f"{display.with_unit(probe.rh_pct, '%')} ± {display.number(Z80 * probe.rh_error_pct)}"
    read = f" (it says {display.number(raw)})" if probe.checks.from_ms else ""
    return f"{shown}{read}, {display.age(probe.rh.at_ms if probe.rh else None, now_ms)}"


def _off_rh_pct(probe: ProbeNow, now_ms: int) -> float | None:
    """By how much it reads too high by its check [%RH], where it reads now; None when it was never checked."""
    found = probe.checks.at(now_ms)
    if found is None:
        return None
    _, calibration = found
    read = probe.rh.value if probe.rh else (calibration.low_rh_pct + calibration.high_rh_pct) / 2
    return read - float(calibration.apply(read))


def _is_far_off(off_rh_pct: float) -> bool:
    """Whether it is further off than eight in ten hygrometers that nobody ever checked."""
    return abs(off_rh_pct) > Z80 * limit("unchecked_hygrometer")


def _off_words(off_rh_pct: float) -> str:
    shown = display.number(abs(off_rh_pct))
    if float(shown) == 0:
        return "right to 0.1 %RH"
    return f"{shown} %RH {'high' if off_rh_pct > 0 else 'low'}"


def _warning(probe: ProbeNow, now_ms: int) -> str:
    """What must be known before its humidity is believed, the worst first; empty where its check stands and is near."""
    off, due_ms = _off_rh_pct(probe, now_ms), probe.checks.due_ms(now_ms)
    if off is None or due_ms is None:
        return f"Never checked: counts with ± {display.number(Z80 * limit('unchecked_hygrometer'))} %RH."
    if _is_far_off(off):
        return f"Far off: reads {_off_words(off)}, put right here."
    return f"Overdue for a check: since {display.day(due_ms, now_ms)}." if now_ms > due_ms else ""


def _check_told(probe: ProbeNow, now_ms: int) -> str:
    """Say how old its check is, and what of how far off and when due the warning does not say already."""
    found, due_ms, off = probe.checks.at(now_ms), probe.checks.due_ms(now_ms), _off_rh_pct(probe, now_ms)
    if found is None or due_ms is None or off is None:
        return ""  # the warning says it
    told = [f"Checked {display.age(found[0], now_ms)}"]
    if not _is_far_off(off):
        told.append(f"reads {_off_words(off)}")
    if now_ms <= due_ms:
        told.append(f"due {display.age(due_ms, now_ms)}")
    elif _is_far_off(off):
        told.append(f"overdue since {display.day(due_ms, now_ms)}")
    return ", ".join(told)


def _checked(probe: ProbeNow, now_ms: int) -> str:
    found = probe.checks.at(now_ms)
    due_ms = probe.checks.due_ms(now_ms)
    if found is None or due_ms is None:
        unchecked = display.number(Z80 * limit("unchecked_hygrometer"))
        return f"Never checked: its humidity counts with ± {unchecked} %RH. Check it over saturated salts."
    checked_ms, calibration = found
    over = display.listed(list(calibration.salts))
    told = f"Checked over {over} {display.age(checked_ms, now_ms)}"
    if now_ms > due_ms:
        return f"{told}: the check is overdue since {display.day(due_ms, now_ms)}."
    return f"{told}; due again on {display.day(due_ms, now_ms)}."


def _check_entry(probe: ProbeNow) -> EntryLine | None:
    if probe.last_check is None:
        return None
    one = probe.last_check
    read = [
        f"{value:g} % over {salt}"
        for salt, value in ((one.low_salt, one.low_read_rh_pct), (one.high_salt, one.high_read_rh_pct))
        if salt
    ]
    figure = f"read {display.listed(read)} at {one.temperature_c:g} °C"
    return EntryLine("hygrometer-check", one.id, figure, display.moment(one.true_at_ms), one.entered_by, "")


def _reject(one: Reject, now_ms: int) -> RejectLine:
    begun = one.payload[:SHOWN_PAYLOAD].decode("utf-8", errors="replace")
    told = (display.visible(text) for text in (one.topic, one.reason, begun))
    return RejectLine(display.age(one.arrived_ms, now_ms), *told)
