"""`benchdry work-out …`: the questions of the pages, asked in the terminal; one command each, made from its fields."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from typing import Annotated, Any

import typer
from rich.markup import escape
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from dashboards import safety, situation
from dashboards.answers import QUESTIONS
from dashboards.answers.records import Answer, Asked, Question, filled
from dashboards.pages.forms import Field
from dashboards.terminal import home
from dashboards.terminal.home import HERE, FolderOption
from dashboards.terminal.output import console

app = typer.Typer(no_args_is_help=True, help="Work something out: each answer with its formula, source and range.")
FROM_THE_YARD = ("place", "board", "stack", "meter", "finish")


def _command(question: Question) -> Callable[..., None]:
    """Return the command of one question; its options are the question's fields."""

    def ask(**typed: Any) -> None:
        folder = typed.pop("folder")
        words = {key: "" if value is None else str(value) for key, value in typed.items()}
        yard, here = None, home.find(folder)
        if any(words.get(key) for key in FROM_THE_YARD):
            yard = situation.read(here.store(), home.now_ms(), here.settings)
        answer = question.answer(filled(question, Asked(words, yard)))
        if question.defers:
            console.print(escape(safety.FIRST_LINE), highlight=False)
        tell(answer)
        if question.defers:
            console.print(escape(safety.LAST_LINE), highlight=False)

    parameters = [_option(one) for one in question.fields]
    parameters.append(
        inspect.Parameter("folder", inspect.Parameter.KEYWORD_ONLY, default=HERE, annotation=FolderOption)
    )
    ask.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
    ask.__doc__ = question.lead
    return ask


def _option(one: Field) -> inspect.Parameter:
    asked = f"{one.label}, {one.unit}." if one.unit else f"{one.label}."
    choices = f" One of {', '.join(option.value for option in one.options if option.value)}." if one.options else ""
    told = typer.Option("--" + one.key.replace("_", "-"), help=f"{asked}{choices} {one.hint}".strip())
    return inspect.Parameter(one.key, inspect.Parameter.KEYWORD_ONLY, default="", annotation=Annotated[str, told])


def tell(answer: Answer) -> None:
    """Print an answer: the figure, its band, what it means; then figures, formula, range and sources."""
    console.print(f"[bold]{escape(answer.headline)}[/bold]  {escape(answer.band)}", highlight=False)
    for line in (answer.sentence, *answer.beside, answer.next_step, *answer.flags):
        if line:
            console.print(Padding(escape(line), (0, 0, 0, 2)), highlight=False)
    shown = Table(box=None, padding=(0, 2, 0, 0), show_header=False)
    for _ in range(3):
        shown.add_column(overflow="fold")
    for one in answer.lines:
        shown.add_row(escape(one.name), escape(one.value), escape(one.note), style="")
    console.print(shown, highlight=False)
    for line in answer.beside if answer.lines else ():
        console.print(escape(line), highlight=False)
    for formula in answer.formula:
        console.print(Text(f"Formula: {formula}"))
    if answer.validity:
        console.print(f"Holds for: {escape(answer.validity)}", highlight=False)
    for basis in answer.bases:
        console.print(Text(f"Source: {basis.shown}"))  # in its own units
    for title, cautions in safety.cautions(*answer.topics).items():
        for caution in cautions:
            known = caution.source if caution.status in caution.source else f"{caution.source}, {caution.status}"
            console.print(f"{title}: {escape(caution.sentence)} ({known})", highlight=False)


for _question in QUESTIONS.values():
    app.command(_question.name)(_command(_question))
