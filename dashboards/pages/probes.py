"""The probes: what each last said, whether it is believed, where it measures; the recorder; what was refused."""

from __future__ import annotations

from dataclasses import dataclass, field

from dashboards import display
from dashboards.heard import ProbeNow
from dashboards.pages import entry_forms, parts
from dashboards.pages.forms import Attempt, Form, shown_again
from dashboards.pages.parts import Link
from dashboards.situation import Situation
from shared.store.records import Reject

SHOWN_PAYLOAD = 120
STATE_KEYS = {"heard": "plain", "silent": "stop", "stuck": "stop", "unplaced": "wait", "never heard": "unsure"}


@dataclass(frozen=True)
class ProbeView:
    """One probe."""

    name: str = field(metadata={"help": "What it is called"})
    code: str = field(metadata={"help": "Its code"})
    topic: str = field(metadata={"help": "Topic it publishes on"})
    state: str = field(metadata={"help": "heard, silent, stuck, never heard or unplaced"})
    key: str = field(metadata={"help": "The state as a style"})
    sentence: str = field(metadata={"help": "The state in a sentence"})
    temperature: str = field(metadata={"help": "Last good temperature, with age"})
    rh: str = field(metadata={"help": "Last good humidity, with age"})
    place: Link = field(metadata={"help": "The place it measures"})
    form: Form = field(metadata={"help": "Placing it"})


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

    probes: tuple[ProbeView, ...] = field(metadata={"help": "Every probe in the order it was first heard or entered"})
    recorder: str = field(metadata={"help": "What the recorder last said of itself"})
    trouble: tuple[str, ...] = field(metadata={"help": "Recorder or watch not at work, in sentences"})
    rejects: tuple[RejectLine, ...] = field(metadata={"help": "The newest messages that held no reading"})


def probes_page(situation: Situation, rejects: list[Reject], by: str, attempt: Attempt | None) -> ProbesPage:
    """Fill the page of probes."""
    state, now_ms = situation.recorder, situation.now_ms
    told = "No recorder has run yet."
    if state is not None:
        joined = "connected to" if state.connected else "not connected to"
        told = (
            f"Recorder, {display.age(state.beat_ms, now_ms)}: {joined} {state.broker}, {state.stored:,} "
            f"readings stored "
            f"and {state.rejected:,} messages refused since it started."
        )
    return ProbesPage(
        probes=tuple(_view(situation, probe, by, attempt) for probe in situation.probes),
        recorder=told,
        trouble=tuple(note for note in (situation.recorder_note, situation.watch_note) if note),
        rejects=tuple(_reject(one, now_ms) for one in rejects),
    )


def _view(situation: Situation, probe: ProbeNow, by: str, attempt: Attempt | None) -> ProbeView:
    place = parts.place_by_id(situation, probe.place_id)
    form = entry_forms.move_probe(situation, probe, by, place.subject.code if place else "")
    temperature, rh = probe.temperature, probe.rh
    now_ms = situation.now_ms
    return ProbeView(
        name=probe.fact.name,
        code=probe.subject.code,
        topic=probe.fact.topic,
        state=probe.state,
        key=STATE_KEYS.get(probe.state, "unsure"),
        sentence=probe.sentence,
        temperature=f"{display.with_unit(temperature.value, '°C')}, {display.age(temperature.at_ms, now_ms)}"
        if temperature
        else display.NOTHING,
        rh=f"{display.with_unit(rh.value, '%')}, {display.age(rh.at_ms, now_ms)}" if rh else display.NOTHING,
        place=parts.place_link(situation, probe.place_id),
        form=shown_again(form, attempt),
    )


def _reject(one: Reject, now_ms: int) -> RejectLine:
    begun = one.payload[:SHOWN_PAYLOAD].decode("utf-8", errors="replace")
    visible = "".join(letter if letter.isprintable() else "·" for letter in begun)
    return RejectLine(display.age(one.arrived_ms, now_ms), one.topic, one.reason, visible)
