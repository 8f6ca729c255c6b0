"""A recorder as its own process, to be killed: python recorder_process.py STORE PORT."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

from sensors.recorder import Recorder
from shared.settings import Settings
from shared.store import Store

if __name__ == "__main__":
    store = Store(Path(sys.argv[1]))
    store.create_or_upgrade()
    settings = replace(Settings(), broker_port=int(sys.argv[2]), commit_every_s=0.05)
    Recorder(settings, store).run(stop=lambda: False)
