"""A log file as numbered rows of cells: delimited text, an Excel sheet, or JSON lines.

What a file is is told by its first bytes, never by its name. A file can be seen in several ways (each
separator, each sheet of a workbook); every way is a ``Source``, and ``sensors.log_guess`` chooses.
Rows come one at a time, and a source can be gone through again, so that a long log needs no memory.
A cell is never evaluated: what looks like a formula is text.
"""

from __future__ import annotations

import codecs
import csv
import itertools
import json
import warnings
import zipfile
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import partial
from pathlib import Path
from typing import Any

from shared.errors import BadInput, Refused

Cell = str | int | float | bool | datetime | date | time | timedelta | None

MAX_BYTES = 256 * 2**20
MAX_UNPACKED_BYTES = 1024 * 2**20  # of a workbook, which is a compressed archive
MAX_LINE = 65_536
MAX_COLUMNS = 256
MAX_SHEET_ROWS = 1_048_576  # as many as a sheet can have: a row number beyond it is no sheet's
MAX_SHEETS = 50
LINES_IN_A_CELL = 5  # as far as a quoted cell may run; one stray quote must not swallow the file
CHUNK = 2**20
SEPARATORS = {";": "semicolons", "\t": "tabs", ",": "commas", "|": "upright strokes"}
SEPARATOR_LINE = "sep="  # a first line that a spreadsheet reads as a wish
MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig", "UTF-8 with a byte order mark"),
    (codecs.BOM_UTF32_LE, "utf-32", "UTF-32"),  # before UTF-16, whose mark it begins with
    (codecs.BOM_UTF32_BE, "utf-32", "UTF-32"),
    (codecs.BOM_UTF16_LE, "utf-16", "UTF-16"),
    (codecs.BOM_UTF16_BE, "utf-16", "UTF-16"),
)
UNMARKED = (("utf-8", "UTF-8"), ("cp1252", "Windows-1252"), ("latin-1", "Latin-1"))
ACCEPTED = "text (CSV, TSV, JSON lines) or an Excel workbook (.xlsx)"
OTHER_KINDS = {
    b"\xd0\xcf\x11\xe0": "an Excel file of the old kind; save it as .xlsx or CSV first",
    b"%PDF": "a PDF; let the logger's own program write CSV",
    b"\x1f\x8b": "compressed; unpack it first",
}


@dataclass(frozen=True)
class Row:
    """One row and its number: the line in a text, the row on a sheet; ``fault`` says why it is none."""

    number: int
    cells: list[Cell]
    fault: str = ""


@dataclass(frozen=True)
class Source:
    """One way to see a file; ``rows`` goes through it from the start, ``form`` says it in words."""

    name: str
    form: str
    rows: Callable[[], Iterator[Row]]
    ragged: bool  # whether a row's trailing empty cells may be left out
    sheet: str = ""


def sources(path: Path) -> list[Source]:
    """Return every way to see the file at ``path``.

    Raises BadInput or Refused, in one sentence, for what is no log file or cannot be read.
    """
    try:
        if not path.is_file():
            raise BadInput("file", path, "a file that is there")
        size = path.stat().st_size
        if not 0 < size <= MAX_BYTES:
            raise BadInput(f"size of {path.name}", f"{size} bytes", f"1 to {MAX_BYTES} bytes")
        with path.open("rb") as file:
            start = file.read(4096)
        for magic, what in OTHER_KINDS.items():
            if start.startswith(magic):
                raise BadInput(path.name, what, ACCEPTED)
        return _workbook(path) if start.startswith(b"PK\x03\x04") else _text(path, start)
    except OSError as error:
        raise Refused(f"The file {path} cannot be read: {error.strerror or error}.") from error
    except ValueError as error:  # a path that no system takes
        raise BadInput("file", str(path).replace("\0", " "), "a file that is there") from error


# --- text --------------------------------------------------------------------------------------------


def _text(path: Path, start: bytes) -> list[Source]:
    encoding, called = _encoding(path, start)
    lines = partial(_lines, path, encoding)
    first = next((line.strip() for _, line in lines() if line.strip()), "")
    if first.startswith("{"):
        names = _json_names(lines())
        return [Source(path.name, f"JSON lines, {called}", partial(_json_rows, lines, names), ragged=True)]
    if first.startswith("["):
        raise BadInput(path.name, "a JSON list", "JSON lines: one object a line")
    wished = first[len(SEPARATOR_LINE) :] if first.lower().startswith(SEPARATOR_LINE) else ""
    tried = [wished] if wished in SEPARATORS else list(SEPARATORS)
    return [
        Source(path.name, f"text, {called}, separated by {SEPARATORS[one]}", partial(_delimited, lines, one), False)
        for one in tried
    ]


def _encoding(path: Path, start: bytes) -> tuple[str, str]:
    """Return a codec that takes the whole file, and its name for people."""
    marked = next(((codec, called) for mark, codec, called in MARKS if start.startswith(mark)), None)
    if marked is None:
        odd, even = start[1::2].count(0), start[::2].count(0)
        if max(odd, even) > len(start) / 5 and min(odd, even) < len(start) / 50:
            marked = ("utf-16-le", "UTF-16") if odd > even else ("utf-16-be", "UTF-16")
    for codec, called in [marked] if marked else UNMARKED:
        if _decodes(path, codec):
            return codec, called
    raise BadInput(path.name, "broken text", f"text that is {marked[1] if marked else 'UTF-8'} throughout")


def _decodes(path: Path, codec: str) -> bool:
    decoder = codecs.getincrementaldecoder(codec)()
    try:
        with path.open("rb") as file:
            for chunk in iter(partial(file.read, CHUNK), b""):
                decoder.decode(chunk)
        decoder.decode(b"", final=True)
    except UnicodeError:
        return False
    return True


def _lines(path: Path, encoding: str) -> Iterator[tuple[int, str]]:
    """Give each line with its number; of one that is too long to be a row only the beginning."""
    with path.open(encoding=encoding, newline=None) as file:
        for number in itertools.count(1):
            line = file.readline(MAX_LINE)
            if not line:
                return
            piece = line
            while len(piece) == MAX_LINE and not piece.endswith("\n"):
                piece = file.readline(MAX_LINE)
            yield number, line.removesuffix("\n")


def _delimited(lines: Callable[[], Iterator[tuple[int, str]]], separator: str) -> Iterator[Row]:
    """Give the rows of a delimited text (quoting as in RFC 4180)."""
    coming = lines()
    ahead: deque[tuple[int, str]] = deque()
    while True:
        ahead.extend(itertools.islice(coming, LINES_IN_A_CELL - len(ahead)))
        if not ahead:
            return
        number, line = ahead[0]
        cells, used = _split([text for _, text in ahead], separator)
        for _ in range(used):
            ahead.popleft()
        if line[:4].lower() == SEPARATOR_LINE and number == 1:
            continue
        fault = f"a line of {MAX_LINE} characters or more" if len(line) >= MAX_LINE - 1 else ""
        yield Row(number, list(cells[:MAX_COLUMNS]), fault)


def _split(lines: list[str], separator: str) -> tuple[list[str], int]:
    """Return the cells of the row that begins the lines, and how many lines it takes up."""
    if '"' in lines[0]:
        reader = csv.reader((line + "\n" for line in lines), delimiter=separator, strict=True)
        try:
            return next(reader), reader.line_num
        except csv.Error:  # a quote that nothing closes: this line alone, as it stands
            pass
    return lines[0].split(separator), 1


# --- JSON lines --------------------------------------------------------------------------------------


def _json_names(lines: Iterable[tuple[int, str]]) -> dict[str, int]:
    """Return every name in the file and its column, in the order in which they come up."""
    names: dict[str, int] = {}
    for _, line in lines:
        try:
            found = _json_object(line)
        except ValueError:
            continue
        for name in found:
            if len(names) < MAX_COLUMNS:
                names.setdefault(name, len(names))
    return names


def _json_rows(lines: Callable[[], Iterator[tuple[int, str]]], names: dict[str, int]) -> Iterator[Row]:
    yield Row(0, list(names))
    for number, line in lines():
        if not line.strip():
            continue
        try:
            found = _json_object(line)
        except ValueError as error:
            yield Row(number, [line], str(error))
            continue
        cells: list[Cell] = [None] * len(names)
        for name, value in found.items():
            if name in names:
                cells[names[name]] = value
        yield Row(number, cells)


def _json_object(line: str) -> dict[str, Cell]:
    """Return the fields of one object; those of an object within it are named with both names."""
    if not line.strip():
        return {}
    try:
        found = json.loads(line, parse_constant=str)
    except (ValueError, RecursionError):
        raise ValueError("a line that is no JSON") from None
    if not isinstance(found, dict):
        raise ValueError("a line that is no JSON object")
    fields: dict[str, Cell] = {}
    for name, value in found.items():
        inner = value.items() if isinstance(value, dict) else ()
        fields.update({f"{name} {part}": _json_cell(one) for part, one in inner})
        if not isinstance(value, dict):
            fields[name] = _json_cell(value)
    return fields


def _json_cell(value: Any) -> Cell:
    return value if value is None or isinstance(value, str | int | float) else "a list or an object"


# --- Excel -------------------------------------------------------------------------------------------


def _workbook(path: Path) -> list[Source]:
    """Return each sheet of a workbook."""
    try:
        with zipfile.ZipFile(path) as archive:
            parts = archive.infolist()
    except (zipfile.BadZipFile, NotImplementedError, EOFError) as error:
        raise BadInput(path.name, "a broken archive", ACCEPTED) from error
    if not any(part.filename.startswith("xl/workbook") for part in parts):
        raise BadInput(path.name, "an archive that is no Excel workbook", ACCEPTED)
    unpacked = sum(part.file_size for part in parts)
    if unpacked > MAX_UNPACKED_BYTES:
        raise BadInput(f"size of {path.name}", f"{unpacked} bytes unpacked", f"up to {MAX_UNPACKED_BYTES} bytes")
    book = _opened(path)
    titles = [sheet.title for sheet in book.worksheets][:MAX_SHEETS]
    book.close()
    return [
        Source(path.name, f"Excel, sheet {title!r}", partial(_sheet_rows, path, number), ragged=True, sheet=title)
        for number, title in enumerate(titles)
    ]


def _opened(path: Path) -> Any:
    import openpyxl  # late: it takes a quarter of a second, and only a workbook needs it

    warnings.filterwarnings("ignore", category=UserWarning, module="openpyxl")  # of styles and drawings
    try:
        return openpyxl.load_workbook(path, read_only=True, data_only=False)
    except Exception as error:  # a broken workbook fails anywhere within the reader
        raise _broken(path, error) from error


def _sheet_rows(path: Path, sheet_number: int) -> Iterator[Row]:
    book = _opened(path)
    try:
        sheet = book.worksheets[sheet_number]
        sheet.reset_dimensions()  # what a sheet says of its own size is often wrong
        rows = sheet.iter_rows(max_row=MAX_SHEET_ROWS, values_only=True)
        for number in itertools.count(1):
            try:
                values = next(rows, None)
            except Exception as error:
                raise _broken(path, error) from error
            if values is None:
                return
            yield Row(number, [_sheet_cell(one) for one in values[:MAX_COLUMNS]])
    finally:
        book.close()


def _sheet_cell(value: Any) -> Cell:
    known = value is None or isinstance(value, str | int | float | datetime | date | time | timedelta)
    return value if known else str(value)


def _broken(path: Path, error: Exception) -> BadInput:
    return BadInput(path.name, f"a workbook that cannot be read ({type(error).__name__})", ACCEPTED)
