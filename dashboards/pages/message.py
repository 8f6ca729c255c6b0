"""Pages that say one thing: an error, or a request for a name before an undo."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from dashboards.pages.forms import Field, Form, name_field

TAKE_BACK, PUT_BACK = "Take it back", "Put it back"
WHO = {
    TAKE_BACK: (
        "Who takes this back?",
        "Every entry carries a name, and so does taking one back. It stays in the records and can be put back.",
    ),
    PUT_BACK: ("Who puts this back?", "Every entry carries a name, and so does putting one back."),
}


@dataclass(frozen=True)
class MessagePage:
    """Everything that message.html may use."""

    title: str = field(metadata={"help": "What it is about"})
    sentence: str = field(metadata={"help": "What happened and how to go on"})
    forms: tuple[Form, ...] = field(metadata={"help": "A form to go on with; often none"})


def undo_words(*, puts_back: bool) -> str:
    """Return what the button says that undoes an entry."""
    return PUT_BACK if puts_back else TAKE_BACK


def undo_page(typed: Mapping[str, str], words: str) -> MessagePage:
    """Return the page that asks who takes an entry back, or puts it back; asked once, then the browser knows."""
    hidden = tuple(Field(key, "", "hidden", value=typed.get(key, "")) for key in ("kind", "id", "back"))
    form = Form("undo", "", "/undo", words, (*hidden, name_field("")), open=True)
    return MessagePage(*WHO[words], (form,))
