"""What could be done about a stack: worked out for the board that decides, and worded for all of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from urllib.parse import quote

from dashboards import display
from dashboards.options_made import LEAVE, RESAW, TO, Options
from dashboards.pages.options import OptionView, views
from dashboards.pages.parts import Link
from dashboards.situation import BoardNow, StackNow
from kiln.sentences import capital

NO_BOARD = "There is no board in this stack yet: nothing can be said of what could be done."


@dataclass(frozen=True)
class StackOptionsPage:
    """Everything that stack_options.html may use."""

    name: str = field(metadata={"help": "What the stack is called"})
    code: str = field(metadata={"help": "Its code"})
    board: Link = field(metadata={"help": "The board for which it is worked out"})
    others: str = field(metadata={"help": "What that says of the other boards; empty: there are none"})
    options: tuple[OptionView, ...] = field(metadata={"help": "What could be done, leaving it first"})
    rests_on: str = field(metadata={"help": "Until when the air was logged that it rests on"})
    why_none: str = field(metadata={"help": "Why there is nothing to say; empty: there is"})


def stack_options_page(stack: StackNow, board: BoardNow, found: Options, now_ms: int) -> StackOptionsPage:
    """Fill the page of a stack from what was found for the board that decides."""
    rest = len(stack.boards) - 1
    others = (
        f"The {'other board' if rest == 1 else f'{rest} other boards'} may be ready sooner or later." if rest else ""
    )
    return StackOptionsPage(
        stack.fact.name,
        stack.subject.code,
        Link(board.fact.name, f"/board/{quote(board.subject.code)}"),
        others,
        views(found, now_ms, for_stack),
        display.moment(found.known_until_ms),
        "",
    )


def no_options(stack: StackNow, why: str) -> StackOptionsPage:
    """Fill the page of a stack about which nothing can be said."""
    return StackOptionsPage(stack.fact.name, stack.subject.code, Link("", ""), "", (), "", why)


def for_stack(name: str) -> str:
    """Return what is done, of a board, as it is done with the stack that it lies in."""
    if name == LEAVE:
        return "Leave the stack here"
    if name.startswith(TO):
        return f"Move the stack {name}"
    if name.startswith(RESAW):
        return f"Resaw its boards{name.removeprefix(RESAW)}"
    return capital(name)
