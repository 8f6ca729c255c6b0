"""Makes the harness beside it importable, and its fixtures known."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from harness import yards

__all__ = ["yards"]
