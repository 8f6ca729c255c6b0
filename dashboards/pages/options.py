"""What could be done about a board, side by side, each with its date, its chance and what it does to the wood."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from markupsafe import Markup

from dashboards import display, options_made
from dashboards.marks_ahead import date_bar
from dashboards.options_made import Options
from kiln.sentences import capital


@dataclass(frozen=True)
class OptionView:
    """One option."""

    name: str = field(metadata={"help": "What is done"})
    bar: Markup = field(metadata={"help": "Its date's band on a year"})
    figures: tuple[tuple[str, str], ...] = field(metadata={"help": "Names with their figures, each with its band"})


@dataclass(frozen=True)
class OptionsPage:
    """Everything that options.html may use."""

    name: str = field(metadata={"help": "What the board is called"})
    code: str = field(metadata={"help": "Its code"})
    options: tuple[OptionView, ...] = field(metadata={"help": "What could be done, leaving it first"})
    rests_on: str = field(metadata={"help": "Until when the air was logged that it rests on"})
    why_none: str = field(metadata={"help": "Why there is nothing to say; empty: there is"})


def options_page(found: Options, name: str, now_ms: int) -> OptionsPage:
    """Fill the page of a board of that name."""
    return OptionsPage(name, found.board, views(found, now_ms), display.moment(found.known_until_ms), "")


def views(found: Options, now_ms: int, named: Callable[[str], str] = capital) -> tuple[OptionView, ...]:
    """Return options as they are shown; ``named``: how what is done is worded."""
    return tuple(
        OptionView(
            named(one.name),
            date_bar(one.ready_ms, found.known_until_ms),
            options_made.figures(one, found, now_ms),
        )
        for one in found.options
    )


def no_options(code: str, name: str, why: str) -> OptionsPage:
    """Fill the page of a board about which nothing can be said."""
    return OptionsPage(name, code, (), "", why)
