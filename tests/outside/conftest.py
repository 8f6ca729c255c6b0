"""Makes the drying times here, and the film's formula of the tests of the physics, importable."""

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent / "kiln")]
