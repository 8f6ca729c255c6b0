"""Opening the store: one file, many readers, writers one at a time.

SQLite in write-ahead mode with ``synchronous=FULL``: a commit that returned is on the disk. Writers
begin IMMEDIATE, since a transaction that reads first and writes later cannot be made to wait for
another writer; readers open the file read-only.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import URL, Connection, Engine, create_engine, event, exc, inspect, text

from shared.errors import Refused

BUSY_TIMEOUT_MS = 10_000
WAL_KEPT_BYTES = 64 * 2**20
MIGRATIONS = Path(__file__).parent / "migrations"

# Rows on their way in: lets one statement each find the repeats, the conflicts and the new.
STAGE = """CREATE TEMP TABLE IF NOT EXISTS stage (
    series_id INTEGER, at_ms BIGINT, value FLOAT, quality SMALLINT, time_source SMALLINT,
    PRIMARY KEY (series_id, at_ms)) WITHOUT ROWID"""


class Store:
    """The one place where readings and entries are kept."""

    def __init__(self, path: Path) -> None:
        """Name the store at ``path``; nothing is opened until it is used."""
        self.path = path
        self._writer = _engine(URL.create("sqlite", database=str(path)), "BEGIN IMMEDIATE", writes=True)
        read_only = f"file:{quote(str(path.resolve()))}?mode=ro"
        self._reader = _engine(URL.create("sqlite", database=read_only, query={"uri": "true"}), "BEGIN", writes=False)

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Give a connection inside one write transaction: all of it is kept, or none."""
        with self._writer.begin() as connection:
            yield connection

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a read-only connection that sees one moment of the store."""
        with self._reader.begin() as connection:
            yield connection

    def create_or_upgrade(self) -> None:
        """Bring the tables to this program's version; a store written by a newer program is refused."""
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with self._writer.connect() as connection:
                _refuse_newer(connection, self.path)
                _migrate(connection)
        except (exc.DatabaseError, sqlite3.DatabaseError, OSError) as error:
            raise Refused(f"The store {self.path} cannot be opened for writing: {_cause(error)}.") from error

    def require(self) -> None:
        """Refuse, with one sentence, to work on a store that is not there."""
        if not self.path.exists():
            raise Refused(f"There is no store at {self.path}; `benchdry init` makes one.")

    def close(self) -> None:
        """Close every connection."""
        self._writer.dispose()
        self._reader.dispose()


def _engine(url: URL, begin: str, *, writes: bool) -> Engine:
    engine = create_engine(url, connect_args={"check_same_thread": False, "timeout": BUSY_TIMEOUT_MS / 1000})

    @event.listens_for(engine, "connect")
    def _prepare(connection: Any, _record: object) -> None:
        connection.isolation_level = None  # the driver must not begin transactions behind our back
        connection.execute(f"PRAGMA busy_timeout={BUSY_TIMEOUT_MS}")
        connection.execute("PRAGMA foreign_keys=ON")
        if writes:
            connection.execute("PRAGMA journal_mode=WAL")
            connection.execute("PRAGMA synchronous=FULL")
            connection.execute(f"PRAGMA journal_size_limit={WAL_KEPT_BYTES}")
            connection.execute(STAGE)

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        connection.exec_driver_sql(begin)

    return engine


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    return config


def _refuse_newer(connection: Connection, path: Path) -> None:
    if not inspect(connection).has_table("alembic_version"):
        connection.rollback()
        return
    held = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    connection.rollback()
    known = {script.revision for script in ScriptDirectory.from_config(_config()).walk_revisions()}
    if held is not None and held not in known:
        raise Refused(f"The store {path} was written by a newer Benchdry (schema {held}); update the program.")


def _migrate(connection: Connection) -> None:
    """Run the steps that are missing. A step that makes a table anew needs foreign keys off meanwhile."""
    config = _config()
    config.attributes["connection"] = connection
    raw: Any = connection.connection.dbapi_connection
    raw.execute("PRAGMA foreign_keys=OFF")  # it has no effect within a transaction
    try:
        command.upgrade(config, "head")
        broken = connection.execute(text("PRAGMA foreign_key_check")).all()
        if broken:
            raise Refused(f"The store was left as it was: an upgrade would break {len(broken)} of its references.")
        connection.commit()
    finally:
        connection.rollback()
        raw.execute("PRAGMA foreign_keys=ON")


def _cause(error: Exception) -> str:
    return str(getattr(error, "orig", None) or error)
