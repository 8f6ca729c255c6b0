"""Running a command on a yard of the tests, at its own time."""

import contextlib
import io
import os
import sys
from unittest import mock

from dashboards.terminal import home, main


def benchdry(yard, *said, code=0):
    """Run one command and return what it said; ``code`` is the exit it must have."""
    out, left = io.StringIO(), 0
    with (
        mock.patch.dict(os.environ, {"COLUMNS": "200"}),
        mock.patch.object(sys, "argv", ["benchdry", *said, "--folder", str(yard.folder)]),
        mock.patch.object(home, "now_ms", lambda: yard.now_ms),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(out),
    ):
        try:
            main()
        except SystemExit as ended:
            left = ended.code or 0
    assert left == code, out.getvalue()
    return out.getvalue()
