"""How one number comes about, as the page of methods shows it."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Method:
    """How one number comes about."""

    anchor: str = field(metadata={"help": "Name to link to"})
    title: str = field(metadata={"help": "The number"})
    formula: str = field(metadata={"help": "The formula in signs; empty for a judgement"})
    text: tuple[str, ...] = field(metadata={"help": "How it is used, its range and its error"})
    source: str = field(metadata={"help": "Where it stands"})
