"""`benchdry listen`: live traffic, which shape each topic seems to have, and a probe added from it in one step."""

from __future__ import annotations

import time
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Annotated

import typer
from rich.markup import escape
from rich.table import Table

from dashboards import acknowledging, display, entering, entries
from dashboards.terminal import home
from dashboards.terminal.entering import Acknowledged, enter
from dashboards.terminal.home import HERE, ByOption, FolderOption, Home
from dashboards.terminal.output import console
from shared.errors import BadInput, Refused
from shared.store import facts
from shared.store.records import ProbeFact, SubjectKind

if TYPE_CHECKING:
    from sensors.listener import Traffic

ADD_WITHIN_S = 60.0
SHOWN_TOPICS = 8
MOST_TOPICS = 5000  # a new topic for each message must not fill the memory
TOPIC_WIDTH = 80


def listen(
    seconds: Annotated[float, typer.Option("--for", help="How long, s; 0: until Ctrl-C.")] = 0.0,
    topics: Annotated[str, typer.Option(help="Topic filters, instead of the setting broker_topics.")] = "",
    add: Annotated[str, typer.Option(help="Enter a probe with this short name once its topic is heard.")] = "",
    topic: Annotated[str, typer.Option(help="The topic of that probe, as this command shows it.")] = "",
    place: Annotated[str, typer.Option(help="The place that it measures.")] = "",
    acknowledged: Acknowledged = False,
    name: Annotated[str, typer.Option(help="What it is called; its short name, if not said.")] = "",
    folder: FolderOption = HERE,
    by: ByOption = "",
) -> None:
    """Show what the broker says now: topic, shape, values or what is wrong; the recorder is not disturbed."""
    if bool(add) != bool(topic):
        raise BadInput("topic" if add else "add", "", "both --add and --topic, or neither")
    here = home.find(folder)
    if place:
        with here.store().reading() as connection:  # refused now, and not after a minute of listening
            acknowledging.refuse_unsaid(connection, entering.open_place(connection, place), acknowledged)
    heard = _Heard(wanted=topic)
    _listen(here, topics, heard, seconds or (ADD_WITHIN_S if add else 0.0))
    if add:
        _add(here, heard, add, name=name or add, by=by, place=place, acknowledged=acknowledged)
    else:
        console.print(heard.table())


@dataclass
class _Heard:
    """What was heard on each topic, and the one that is waited for."""

    wanted: str = ""
    probe_topic: str = ""
    topics: dict[str, _Topic] = field(default_factory=dict)

    def table(self) -> Table:
        """Return a row for each topic."""
        shown = Table(box=None, padding=(0, 2, 0, 0))
        for column in ("topic", "shape", "messages", "probe goes by", "last reason"):
            shown.add_column(column, overflow="fold")
        for topic, one in sorted(self.topics.items()):
            cells = (topic, one.shape or "none known", str(one.count), ", ".join(sorted(one.probes)), one.reason)
            shown.add_row(*(escape(display.visible(cell)) for cell in cells))
        return shown


@dataclass
class _Topic:
    shape: str = ""
    count: int = 0
    probes: set[str] = field(default_factory=set)
    reason: str = ""


def _listen(here: Home, topics: str, heard: _Heard, seconds: float) -> None:
    from sensors import decoding
    from sensors.client import check_topics
    from sensors.listener import Listener

    wanted = replace(here.settings, broker_topics=topics.strip() or here.settings.broker_topics)
    check_topics(wanted)
    filters = wanted.broker_topics.split()
    zone, rules = decoding.zone_of(here.settings), decoding.rules_of(here.settings, here.folder)
    listener = Listener(here.settings, home.now_ms, zone=zone, rules=rules, folder=here.folder)

    def tell(traffic: Traffic) -> None:
        console.print(_line(traffic), markup=False, highlight=False, soft_wrap=True)
        _note(heard, traffic)

    deadline_s = time.monotonic() + seconds if seconds else float("inf")
    console.print(f"Listening to {' '.join(filters)}; Ctrl-C ends.", markup=False, highlight=False)
    try:
        listener.listen(filters, tell, lambda: bool(heard.probe_topic) or time.monotonic() >= deadline_s)
    except KeyboardInterrupt:
        console.print()


def _note(heard: _Heard, traffic: Traffic) -> None:
    if len(heard.topics) >= MOST_TOPICS and traffic.topic not in heard.topics:
        return
    one = heard.topics.setdefault(traffic.topic, _Topic())
    one.count += 1
    one.shape, one.reason = traffic.shape or one.shape, traffic.reason
    probes = [message.probe_topic for message in traffic.heard.messages] if traffic.heard else []
    one.probes.update(probes)
    if heard.wanted in probes:
        heard.probe_topic = heard.wanted
    elif heard.wanted and heard.wanted == traffic.topic and probes:
        if len(probes) > 1:
            raise Refused(f"Several probes speak on {heard.wanted}: take one of {', '.join(probes[:SHOWN_TOPICS])}.")
        heard.probe_topic = probes[0]


def _line(traffic: Traffic) -> str:
    from shared.store.records import QUANTITY_UNITS

    said = []
    for message in traffic.heard.messages if traffic.heard else ():
        values = ", ".join(f"{one.value:g} {QUANTITY_UNITS[one.quantity]}" for one in message.values)
        said.append(values if message.probe_topic == traffic.topic else f"{message.probe_topic}: {values}")
    said += traffic.heard.notes if traffic.heard else [f"not understood: {traffic.reason}"]
    kind = "retained, of unknown age" if traffic.retained else "live"
    parts = (time.strftime("%H:%M:%S"), kind, traffic.topic[:TOPIC_WIDTH], traffic.shape or "no shape", "; ".join(said))
    return "  ".join(display.visible(part) for part in parts)


def _add(here: Home, heard: _Heard, code: str, *, name: str, by: str, place: str, acknowledged: bool) -> None:
    topic = heard.probe_topic
    if not topic:
        known = sorted(probe for one in heard.topics.values() for probe in one.probes)[:SHOWN_TOPICS]
        told = "readings came on: " + ", ".join(known) if known else "no reading came at all"
        raise Refused(display.visible(f"No reading came on {heard.wanted}; {told}."))
    with here.store().reading() as connection:
        found = next((fact for fact in facts.standing(connection, ProbeFact) if fact.topic == topic), None)
        codes = {one.id: one.code for one in facts.subjects(connection, SubjectKind.PROBE)}
    if found is None:
        enter(here.folder, by, entries.add_probe, code, topic=topic, name=name, place=place, acknowledged=acknowledged)
        return
    # The recorder has entered it by itself when it first heard it; its short name stays, for it may be in use.
    before = codes[found.subject_id]
    enter(here.folder, by, entries.name_probe, before, name=name)
    if place:
        enter(here.folder, by, entries.move_probe, before, place=place, acknowledged=acknowledged)
