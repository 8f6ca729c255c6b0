"""The commands of `benchdry`: the only part of the screens that starts the sensors' side."""

from __future__ import annotations

import os
import sys

from shared.errors import BenchdryError


def main() -> None:
    """Run one command; what a user can mend is told in one sentence, without a traceback."""
    # The refit's matrices are small: threads of the linear algebra would only wait for one another.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from dashboards.terminal.commands import app

    try:
        app()
    except BenchdryError as error:
        sys.stderr.write(f"{error}\n")
        sys.exit(2)
