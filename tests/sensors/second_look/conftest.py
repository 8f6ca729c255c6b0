"""Makes the probe beside it importable, and a store that knows it."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from shared.store import Store

sys.path.insert(0, str(Path(__file__).resolve().parent))

from one_probe import a_probe


@pytest.fixture
def ready(store: Store) -> Store:
    """An empty store that knows the one probe."""
    a_probe(store)
    return store
