"""A recorder as its own process, to be killed: python recorder_process.py STORE PORT [SETTING=VALUE …]."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

from sensors.recorder import Recorder
from shared.settings import Settings
from shared.store import Store


def chosen(words: list[str]) -> dict[str, Any]:
    """Read SETTING=VALUE words."""
    pairs = (word.split("=", 1) for word in words)
    return {name: type(getattr(Settings(), name))(value) for name, value in pairs}


if __name__ == "__main__":
    store = Store(Path(sys.argv[1]))
    store.create_or_upgrade()
    settings = replace(Settings(), broker_port=int(sys.argv[2]), commit_every_s=0.05)
    Recorder(replace(settings, **chosen(sys.argv[3:])), store).run(stop=lambda: False)
