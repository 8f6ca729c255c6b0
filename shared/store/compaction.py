"""Giving the room that deleted rows have left back to the disk."""

from __future__ import annotations

import os
import sqlite3
import tempfile
import time
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from shared.store import engine
from shared.store.engine import Store
from shared.store.keeping import SPARE_BYTES, driver, pragma, refuse_newer, require_room, size_bytes, told_in_a_sentence

GIVEN_BACK_PAGES = 500  # two megabytes in a transaction
PAUSE_S = 0.05  # between two of them, for whoever waits to write
INCREMENTAL = 2  # SQLite's number for a store that can give free pages back


@dataclass(frozen=True)
class Compacted:
    """How large the store was, and is."""

    before_bytes: int
    after_bytes: int


def needs_store_alone(store: Store) -> bool:
    """Tell whether compaction has to write the store anew, for which nothing else may be writing: the first time."""
    store.require()
    refuse_newer(store)
    with told_in_a_sentence(f"The store {store.path} cannot be read"), store.reading() as connection:
        return pragma(driver(connection), "auto_vacuum") != INCREMENTAL


def compact(store: Store, pause_s: float = PAUSE_S) -> Compacted:
    """Give the room that deleted rows have left back to the disk.

    The first time the whole store is written anew, in one transaction (nobody else should be writing:
    they would wait for all of it). From then on free pages are given back a few at a time, while the
    recorder writes; ``pause_s`` (s) is left to it between steps.
    Raises Refused when there is no store, when a newer program wrote it, when there is no room for
    writing it anew, and when something else keeps it locked; the store is then as it was.
    """
    alone = needs_store_alone(store)
    store.close()  # our own pooled connections must not stand in the way
    with told_in_a_sentence(f"The store {store.path} was left as it was"), closing(_unmanaged(store)) as raw:
        before = size_bytes(store)
        if alone:
            _write_anew(raw, store.path.parent)
        else:
            _give_back(raw, pause_s)
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        return Compacted(before, size_bytes(store))


def _unmanaged(store: Store) -> sqlite3.Connection:
    """Open the store without anything that begins transactions: VACUUM runs in none."""
    raw = sqlite3.connect(store.path, timeout=engine.BUSY_TIMEOUT_MS / 1000, isolation_level=None)
    raw.execute("PRAGMA synchronous=FULL")
    raw.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchall()
    return raw


def _write_anew(raw: sqlite3.Connection, folder: Path) -> None:
    # SQLite makes the new store in its folder for temporary files, then writes it through the log beside the old.
    pages, free, page_bytes = (pragma(raw, name) for name in ("page_count", "freelist_count", "page_size"))
    needed = (pages - free) * page_bytes + SPARE_BYTES
    for where, room in _room_wanted(folder, _temporary_folder(), needed):
        require_room(where, room, "the store, written anew,")
    raw.execute(f"PRAGMA auto_vacuum={INCREMENTAL}")
    raw.execute("VACUUM")


def _room_wanted(folder: Path, temporary: Path, needed: int) -> list[tuple[Path, int]]:
    if folder.stat().st_dev == temporary.stat().st_dev:
        return [(folder, 2 * needed)]
    return [(folder, needed), (temporary, needed)]


def _temporary_folder() -> Path:
    """Return where SQLite puts its large temporary files (its documentation, "Temporary Files Used By SQLite")."""
    if os.name != "posix":
        return Path(tempfile.gettempdir())
    named = [os.environ.get(name, "") for name in ("SQLITE_TMPDIR", "TMPDIR")]
    fits = (Path(one) for one in (*named, "/var/tmp", "/usr/tmp", "/tmp") if one)
    return next((one for one in fits if one.is_dir() and os.access(one, os.W_OK | os.X_OK)), Path())


def _give_back(raw: sqlite3.Connection, pause_s: float) -> None:
    left = pragma(raw, "freelist_count")
    while left:
        raw.executescript(
            f"PRAGMA incremental_vacuum({GIVEN_BACK_PAGES})"
        )  # a script is run to its end, each page of it
        before, left = left, pragma(raw, "freelist_count")
        if left >= before:  # the recorder frees or takes pages too: never turn in circles
            return
        time.sleep(pause_s)
