"""Reading a table that a user keeps in a CSV file: columns told by the first line, each row with its file and line."""

from __future__ import annotations

import csv
import difflib
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from shared.errors import BadInput


@dataclass(frozen=True)
class OwnFile:
    """What a file of one's own holds, and the columns that it needs and may have."""

    what: str
    required: Sequence[str]
    columns: Sequence[str]

    @property
    def header(self) -> str:
        """Its first line, ready for rows below it."""
        return ",".join((*self.required, *(column for column in self.columns if column not in self.required)))

    def rows(self, path: Path) -> list[tuple[str, dict[str, str]]]:
        """Return each row as it stands, with its file name and line before it; columns may be absent.

        Raises BadInput, in one sentence naming file, row, column, value and what is accepted.
        """
        try:
            return self._rows(path)
        except csv.Error as error:
            raise BadInput(self.what, path, f"rows of comma-separated text ({error})") from error

    def _rows(self, path: Path) -> list[tuple[str, dict[str, str]]]:
        reader = csv.DictReader(io.StringIO(self._text(path), newline=""))
        head = [name.strip() for name in reader.fieldnames or ()]
        self._check_head(path, head)
        reader.fieldnames = head
        found = []
        for row in reader:
            where = f"{path.name} row {reader.line_num}"
            if None in row or None in row.values():
                size = len(head) + (len(row[None]) if None in row else -list(row.values()).count(None))
                raise BadInput(where, f"{size} values long", f"{len(head)} values, as in the first line")
            found.append((where, {column: value.strip() for column, value in row.items()}))
        return found

    def _text(self, path: Path) -> str:
        try:
            return path.read_text(encoding="utf-8-sig")
        except UnicodeDecodeError as error:
            raise BadInput(self.what, path, "text in UTF-8") from error
        except OSError as error:
            raise BadInput(self.what, path, "a CSV file that exists and can be read") from error

    def _check_head(self, path: Path, head: list[str]) -> None:
        """Refuse a first line that lacks a needed column, or has one that would silently be passed over."""
        for column in self.required:
            if column not in head:
                needed = f"a first line with {', '.join(self.required)}, separated by commas"
                raise BadInput(f"{path.name} row 1", f"without {column}", needed)
        for column in head:
            if column not in self.columns or head.count(column) > 1:
                near = difflib.get_close_matches(column, self.columns, n=1)
                accepted = f"{near[0]}, once" if near else f"only {', '.join(self.columns)}"
                raise BadInput(f"{path.name} row 1 column", column, accepted)
