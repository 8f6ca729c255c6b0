"""The commands of `benchdry`: the only part of the screens that starts the sensors' side."""

from __future__ import annotations

import sys

from shared.errors import BenchdryError


def main() -> None:
    """Run one command; what a user can mend is told in one sentence, without a traceback."""
    from dashboards.terminal.commands import app

    try:
        app()
    except BenchdryError as error:
        sys.stderr.write(f"{error}\n")
        sys.exit(2)
