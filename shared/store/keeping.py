"""Copies of the store that are known to be good: backup while the recorder writes, restore, and a check.

A backup is one moment of the store: the rows are counted and the pages are read within the same read
transaction, which holds up neither the recorder nor the pages. The copy is then opened and examined,
and takes its name only when nothing was found wrong with it: a file that bears the name is whole.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote

from sqlalchemy import Connection, exc, text

from shared.errors import Refused
from shared.store import engine, retention
from shared.store.engine import Store
from shared.store.schema import metadata
from shared.units import datetime_from_ms

PAGES_A_STEP = 1000  # between two words of progress
COMPANIONS = ("-wal", "-shm", "-journal")  # what SQLite lays beside a store, and would take for a new one's own
SPARE_BYTES = 16 * 2**20
FAULTS_TOLD = 10

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Contents:
    """What a store holds at one moment: the version of its tables, and how many rows each has."""

    schema: str
    rows: dict[str, int]

    @property
    def readings(self) -> int:
        """How many single readings."""
        return self.rows.get("reading", 0)

    @property
    def entries(self) -> int:
        """How many entries of people, corrections and withdrawals too."""
        return sum(self.rows.get(table.name, 0) for table in metadata.tables.values() if "entered_by" in table.c)


@dataclass(frozen=True)
class Copied:
    """A copy that has been opened, examined and found equal to what was copied."""

    path: Path
    size_bytes: int
    contents: Contents


@dataclass(frozen=True)
class Checked:
    """What an examination of the store found; no faults: it is whole."""

    faults: tuple[str, ...]
    contents: Contents


def backup(store: Store, to: Path, now_ms: int, progress: Progress | None = None) -> Copied:
    """Copy the store as it is at this moment into a new file, examine the copy and return what it holds.

    ``to`` is the new file, or a folder in which one is named after the store and ``now_ms`` (UTC ms).
    ``progress`` is told how many pages of how many are copied. The recorder may go on writing.
    Raises Refused when there is no store, when a newer program wrote it, when ``to`` exists already, when
    there is no room, and when the copy is not whole; then nothing of it is left.
    """
    store.require()
    stamp = f"{datetime_from_ms(now_ms):%Y-%m-%d-%H%M%S}Z"
    target = to / f"{store.path.stem}-{stamp}.sqlite3" if to.is_dir() else to
    damaged = "the store itself may be damaged: `benchdry check-store` tells"
    return _copy(store, target, progress, damaged)


def restore(saved: Path, to: Path, progress: Progress | None = None) -> Copied:
    """Make a new store at ``to`` out of the backup ``saved``, examine it and return what it holds.

    Never writes over a file: a store in use must be ended and moved away by its owner first.
    Raises Refused when there is no such backup, when a newer program wrote it, when ``to`` or something
    that SQLite left beside it exists, when there is no room, and when the backup is not whole.
    """
    if not saved.is_file():
        raise Refused(f"There is no backup at {saved}; name the file that `benchdry backup` wrote.")
    source = Store(saved)
    try:
        return _copy(source, to, progress, f"the backup {saved} is damaged; take another")
    finally:
        source.close()


def check(store: Store) -> Checked:
    """Examine the whole store: its pages, its references and its summaries; return the faults found.

    Reads everything a few times: three seconds for a million readings on a quick disk, minutes for a hundred million.
    Raises Refused when there is no store, when it is none, or when a newer program wrote it.
    """
    store.require()
    refuse_newer(store)
    with told_in_a_sentence(f"The store {store.path} cannot be read"), store.reading() as connection:
        raw = driver(connection)
        faults = [*_faults(raw)]
        if not faults:  # sums over damaged pages would only say the same again, less clearly
            faults += retention.disagreements(connection)
        return Checked(tuple(faults), _contents(raw))


def refuse_newer(store: Store) -> None:
    """Raise Refused when a newer program wrote the store, or when the file is no store at all."""
    with told_in_a_sentence(f"{store.path} cannot be read as a store"), store._reader.connect() as connection:
        engine._refuse_newer(connection, store.path)
        connection.execute(text("SELECT version_num FROM alembic_version")).scalar_one()


def size_bytes(store: Store) -> int:
    """Return how large the store is, without what waits in its write-ahead log."""
    return store.path.stat().st_size


def driver(connection: Connection) -> sqlite3.Connection:
    """Return SQLite's own connection, for what only it can do."""
    raw: Any = connection.connection.driver_connection
    assert isinstance(raw, sqlite3.Connection)
    return raw


def pragma(raw: sqlite3.Connection, name: str) -> int:
    """Return a number that SQLite tells of the store."""
    return int(raw.execute(f"PRAGMA {name}").fetchone()[0])


# --- the copy --------------------------------------------------------------------------------------


def _copy(source: Store, target: Path, progress: Progress | None, if_damaged: str) -> Copied:
    _require_new(target)
    refuse_newer(source)
    part = target.with_name(f"{target.name}.part")
    try:
        with told_in_a_sentence(f"{source.path} cannot be copied to {target}"):
            target.parent.mkdir(parents=True, exist_ok=True)
            part.unlink(missing_ok=True)  # of a copy that was cut short
            held = _copy_pages(source, part, progress)
            _require_whole(part, held, if_damaged)
            _to_disk(part)
            _require_new(target)  # a large copy takes its time
            part.rename(target)
            _to_disk(target.parent)
    finally:
        for leftover in (part, *(Path(f"{part}{end}") for end in COMPANIONS)):
            leftover.unlink(missing_ok=True)
    return Copied(target, target.stat().st_size, held)


def _require_new(target: Path) -> None:
    """A write-ahead log left beside the name would be played into the new file: that is refused as well."""
    for path in (target, *(Path(f"{target}{end}") for end in COMPANIONS)):
        if path.exists():
            raise Refused(
                f"{path} is already there and nothing is written over it; "
                "end what uses it and move it away, or name another file."
            )


def _copy_pages(source: Store, part: Path, progress: Progress | None) -> Contents:
    """Copy what one read transaction sees; the rows are counted in the same one."""
    with source.reading() as connection, closing(sqlite3.connect(part)) as copy:
        raw = driver(connection)
        held = _contents(raw)
        pages, page_bytes = pragma(raw, "page_count"), pragma(raw, "page_size")
        require_room(part.parent, pages * page_bytes + SPARE_BYTES, "the copy")

        def tell(_status: int, remaining: int, total: int) -> None:
            if progress:
                progress(total - remaining, total)

        raw.backup(copy, pages=PAGES_A_STEP, progress=tell)
    with closing(sqlite3.connect(part)) as copy:
        copy.execute("PRAGMA journal_mode=DELETE")  # one file, which also a read-only disk can hold
    return held


def require_room(folder: Path, needed_bytes: int, what: str) -> None:
    """Raise Refused when the disk that holds ``folder`` has less than ``needed_bytes`` free."""
    free = shutil.disk_usage(folder).free
    if free < needed_bytes:
        raise Refused(
            f"There is no room in {folder}: {what} needs {megabytes(needed_bytes)} and {megabytes(free)} are free; "
            "make room, or name another disk."
        )


def megabytes(size: int) -> str:
    """Return a size in bytes as text, in megabytes of 10⁶ bytes."""
    return f"{size / 1e6:,.1f} MB"


def _require_whole(part: Path, held: Contents, if_damaged: str) -> None:
    with closing(sqlite3.connect(f"file:{quote(str(part.resolve()))}?mode=ro", uri=True)) as copy:
        faults = [*_faults(copy)]
        found = held if faults else _contents(copy)
    if found.schema != held.schema:
        faults.append(f"its schema is {found.schema} where {held.schema} was copied")
    for table in sorted(held.rows.keys() | found.rows.keys()):
        if held.rows.get(table) != found.rows.get(table):
            faults.append(f"{table} has {found.rows.get(table)} rows where {held.rows.get(table)} were copied")
    if faults:
        raise Refused(f"The copy was not whole and was not kept ({faults[0]}); {if_damaged}.")


def _faults(raw: sqlite3.Connection) -> Iterator[str]:
    """Give what SQLite finds wrong with pages, indexes, constraints and references."""
    for (line,) in raw.execute(f"PRAGMA integrity_check({FAULTS_TOLD})"):
        if line != "ok":
            yield " ".join(str(line).split())
    for number, (table, _rowid, parent, _key) in enumerate(raw.execute("PRAGMA foreign_key_check")):
        if number < FAULTS_TOLD:
            yield f"a row of {table} refers to a row of {parent} that is not there"


def _contents(raw: sqlite3.Connection) -> Contents:
    named = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite\\_%' ESCAPE '\\' ORDER BY 1"
    names = [str(name) for (name,) in raw.execute(named).fetchall()]
    (schema,) = raw.execute("SELECT version_num FROM alembic_version").fetchone()
    return Contents(schema, {name: int(raw.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]) for name in names})


def _to_disk(path: Path) -> None:
    """Have a file, or a folder's list of names, written out before anything relies on it."""
    if path.is_dir() and os.name != "posix":
        return  # only there can a folder be opened
    handle = os.open(path, os.O_RDONLY if os.name == "posix" else os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@contextmanager
def told_in_a_sentence(what: str) -> Iterator[None]:
    """Raise Refused, ``what`` and the cause, in place of what the database or the disk says."""
    try:
        yield
    except (exc.SQLAlchemyError, sqlite3.Error, OSError) as error:
        cause = getattr(error, "orig", None) or getattr(error, "strerror", None) or error
        raise Refused(f"{what}: {cause}.") from error
