"""The folder that a yard lives in: its settings, its store, its secrets."""

from __future__ import annotations

import getpass
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer

from dashboards.terminal.output import console
from shared import settings as settings_module
from shared import tables
from shared.errors import Refused
from shared.settings import Settings, Source
from shared.store import Store

SECRETS_NAME = "benchdry-secrets.json"
DEMO_NAME = "demo-story.json"

FolderOption = Annotated[
    Path, typer.Option("--folder", "-f", envvar="BENCHDRY_FOLDER", help="The yard's folder; here, if not said.")
]
ByOption = Annotated[str, typer.Option("--by", help="Who enters it; you, if not said.")]
WhenOption = Annotated[
    str, typer.Option("--when", help="Date, or date and time, from which it is true; now, if not said.")
]
HERE = Path()


@dataclass(frozen=True)
class Home:
    """A yard's folder with its settings in force."""

    folder: Path
    settings: Settings
    sources: list[Source]

    @property
    def store_path(self) -> Path:
        """Where the store is."""
        return self.folder / self.settings.store

    @property
    def secrets_path(self) -> Path:
        """Where the password's hash and the signing key are."""
        return self.folder / SECRETS_NAME

    @property
    def demo_path(self) -> Path:
        """Where a demo notes when it was first started; no other yard has this file."""
        return self.folder / DEMO_NAME

    def store(self) -> Store:
        """Open the store, brought to this program's version; raises Refused when there is none."""
        store = Store(self.store_path)
        store.require()
        store.create_or_upgrade()
        return store


def find(folder: Path, **options: Any) -> Home:
    """Read the settings of a folder, its own timbers and substances, and the units to print in, that they name."""
    chosen, sources = settings_module.load(folder / settings_module.FILE_NAME, options=options)
    tables.use_own_species(folder / chosen.species_file if chosen.species_file else None)
    tables.use_own_substances(folder / chosen.substances_file if chosen.substances_file else None)
    console.use(chosen)
    return Home(folder, chosen, sources)


def make(folder: Path, **options: Any) -> Home:
    """Make the folder, a commented settings file and an empty store, where they are not there yet."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        file = folder / settings_module.FILE_NAME
        if not file.exists():
            file.write_text(settings_module.commented_file(), encoding="utf-8")
    except OSError as error:
        raise Refused(f"Nothing can be written into {folder.resolve()}: {error.strerror}.") from error
    home = find(folder, **options)
    Store(home.store_path).create_or_upgrade()
    return home


def now_ms() -> int:
    """Return the time now in UTC ms."""
    return time.time_ns() // 1_000_000


def me() -> str:
    """Return who is at the keyboard."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "terminal"
