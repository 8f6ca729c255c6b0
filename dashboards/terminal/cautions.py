"""`benchdry cautions` and `benchdry heavy`: reminders with their sources; what boards weigh before they are lifted."""

from __future__ import annotations

import json
from typing import Annotated

import typer
from rich.markup import escape
from rich.padding import Padding
from rich.text import Text

from dashboards import api, control_marks, heavy, safety, situation, tasks
from dashboards.pages.hurt import HeavyLine, hurt_page
from dashboards.safety import Caution
from dashboards.terminal import home
from dashboards.terminal.home import HERE, FolderOption
from dashboards.terminal.output import console
from kiln.control import Control
from shared.errors import BadInput

TODAY = ("before-sanding", "before-spraying", "afterwards")


def cautions(
    topic: Annotated[str, typer.Argument(help="Which topic; all of them are named, if not given.")] = "",
    folder: FolderOption = HERE,
) -> None:
    """List the reminders on a topic, with source and status; of a day's work, those that this yard's things ask for."""
    here = home.find(folder)
    if not topic:
        _say(safety.FIRST_LINE)
        for key, title in safety.TOPIC_TITLES.items():
            console.print(f"{key:16} {title}", highlight=False)
        _say("One of them: benchdry cautions TOPIC")
        return
    if topic not in safety.TOPIC_TITLES:
        raise BadInput("topic", topic, f"one of {', '.join(safety.TOPIC_TITLES)}")
    rows = safety.on_topic(topic)
    if topic in TODAY and here.store_path.exists():  # without a yard nothing is left out
        lists = tasks.of_yard(situation.read(here.store(), home.now_ms(), here.settings))
        rows = dict(zip(TODAY, (lists.before_sanding, lists.before_spraying, lists.afterwards), strict=True))[topic]
    _list(safety.TOPIC_TITLES[topic], rows)


def _list(title: str, rows: tuple[Caution, ...]) -> None:
    _say(safety.FIRST_LINE)
    console.print(f"[bold]{escape(title)}[/bold]", highlight=False)
    for one in rows:
        known = one.source if one.status in one.source else f"{one.source}, {one.status}"
        _say(f"- {one.sentence}", indent=2)
        console.print(Padding(Text(known, style="dim"), (0, 0, 0, 4)))
    _say(safety.LAST_LINE)


def heavy_things(
    folder: FolderOption = HERE,
    as_json: Annotated[bool, typer.Option("--json", help="The same, for programs.")] = False,
) -> None:
    """Say which boards may weigh more than the lowest published figure, and what stacks weigh as a whole."""
    here = home.find(folder)
    now = situation.read(here.store(), home.now_ms(), here.settings)
    if as_json:
        typer.echo(json.dumps(_masses(now), indent=1, ensure_ascii=False))
        return
    page = hurt_page(now)
    _say(page.first_line)
    _say(page.over)
    for line in page.boards:
        _tell(line)
    if page.others:
        _say(f"{control_marks.WORDS[Control.NOT_SHOWN]}: {page.others}")
    for stack in page.stacks:
        console.print(f"[bold]{escape(stack.name)}  {escape(stack.figure)}[/bold]", highlight=False)
        for told in filter(None, (stack.told, stack.doubt)):
            _say(told, indent=4)
    for guide in page.guides:
        _say(f"{guide.figure}: {guide.source}, {guide.status}", indent=2)
    _say(page.last_line)


def _tell(line: HeavyLine) -> None:
    word = line.word if line.word == line.figure else f"{line.word} {line.figure}"
    console.print(f"[bold]{escape(line.name)}  {escape(word)}[/bold]", highlight=False)
    told = [f"{line.band}. {line.how}." if line.band else f"{line.how}.", line.doubt, line.where]
    for one in filter(None, told):
        _say(one, indent=4)


def _masses(now: situation.Situation) -> dict[str, object]:
    """Boards and stacks with their masses in kg, for programs."""
    boards = {one.subject.code: _mass(heavy.of_board(one, now.now_ms)) for one in now.boards}
    found = {one.subject.code: heavy.of_stack(one, now.now_ms) for one in now.stacks}
    stacks = {code: api.as_json(one.mass) for code, one in found.items() if one is not None}
    return {"first_line": safety.FIRST_LINE, "boards": boards, "stacks": stacks, "last_line": safety.LAST_LINE}


def _mass(one: heavy.Mass) -> object:
    return {**api.as_json(one), "control": one.control.value}


def _say(text: str, indent: int = 0) -> None:
    console.print(Padding(escape(text), (0, 0, 0, indent)), highlight=False)
