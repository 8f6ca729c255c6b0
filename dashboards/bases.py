"""A figure with its note, and a document that figures rest on: answers and pages show them alike."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Line:
    """One figure of an answer."""

    name: str = field(metadata={"help": "What it is"})
    value: str = field(metadata={"help": "The figure with its unit and band"})
    note: str = field(default="", metadata={"help": "What to bear in mind with it"})


@dataclass(frozen=True)
class Basis:
    """A document that an answer rests on."""

    text: str = field(metadata={"help": "Document, year, table or equation"})
    status: str = field(metadata={"help": "published, from memory, or common practice without a source"})

    @property
    def shown(self) -> str:
        """The document, and how it is known where that is not by reading it."""
        return self.text if self.status == "published" or self.status in self.text else f"{self.text} ({self.status})"
