"""`benchdry probes`: every probe as it is now, and what the recorder refused."""

from __future__ import annotations

from typing import Annotated

import typer
from rich.markup import escape
from rich.table import Table

from dashboards import cell_story, situation
from dashboards.pages.probes import ProbeView, probes_page
from dashboards.terminal import home
from dashboards.terminal.home import HERE, FolderOption
from dashboards.terminal.output import console
from shared.store import readings


def probes(
    folder: FolderOption = HERE,
    rejects: Annotated[int, typer.Option(help="How many of the newest refused messages to show.")] = 5,
) -> None:
    """Show every probe: last heard, rhythm, gaps, flags, battery, age of its check; and what was refused."""
    here = home.find(folder)
    store = here.store()
    now = situation.read(store, home.now_ms(), here.settings)
    with store.reading() as connection:
        refused = readings.recent_rejects(connection, rejects)
        weights = cell_story.stories(connection, now.now_ms)
    page = probes_page(now, refused, "", None, weights)
    console.print(escape(page.recorder), highlight=False)
    for trouble in page.trouble:
        console.print(escape(trouble), style="bold")
    for view in page.probes:
        console.print(f"[bold]{escape(view.code)}[/bold]  {view.state}  {escape(view.sentence)}", highlight=False)
        air = (f"{view.temperature}; {view.rh}",) if view.is_air else ()
        checked = (view.checked,) if view.is_air else ()
        for line in (*air, *view.others, *_cell_lines(view), view.habit, *checked):
            console.print(f"  {escape(line)}", highlight=False)
    shown = Table(box=None, padding=(0, 2, 0, 0))
    for column in ("refused", "topic", "why", "what came"):
        shown.add_column(column, overflow="fold")
    for one in page.rejects:
        shown.add_row(one.age, escape(one.topic), escape(one.reason), escape(one.payload))
    console.print(shown if page.rejects else "No message was refused.", highlight=False)


def _cell_lines(view: ProbeView) -> tuple[str, ...]:
    cell = view.cell
    return (
        () if cell is None else (f"Carries {cell.carries.text}. {cell.weight} {cell.tared}", *cell.events, *cell.notes)
    )
