"""Pages that say one thing: an error, or a request for a name before an undo."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from dashboards.pages.forms import Field, Form, name_field


@dataclass(frozen=True)
class MessagePage:
    """Everything that message.html may use."""

    title: str = field(metadata={"help": "What it is about"})
    sentence: str = field(metadata={"help": "What happened and how to go on"})
    forms: tuple[Form, ...] = field(metadata={"help": "A form to go on with; often none"})


def undo_page(typed: Mapping[str, str]) -> MessagePage:
    """Return the page that asks who takes an entry back."""
    hidden = tuple(Field(key, "", "hidden", value=typed.get(key, "")) for key in ("kind", "id", "back"))
    form = Form("undo", "", "/undo", "Take it back", (*hidden, name_field("")), open=True)
    return MessagePage(
        "Who takes this back?",
        "Every entry carries a name, and so does taking one back. It stays in the records and can be put back.",
        (form,),
    )
