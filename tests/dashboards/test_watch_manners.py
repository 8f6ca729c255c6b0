"""The watch works out projections on every processor there is, and yet stands behind recorder and pages."""

import subprocess
import sys
import time

import psutil

from dashboards.terminal.services import WAITS_ITS_TURN


def test_the_watch_waits_its_turn(tmp_path):
    command = [sys.executable, "-m", "dashboards.terminal"]
    subprocess.run([*command, "init", "--folder", str(tmp_path)], check=True, capture_output=True, timeout=60)
    with subprocess.Popen([*command, "watch", "--folder", str(tmp_path)]) as watch:
        try:
            usual, deadline_s = psutil.Process().nice(), time.monotonic() + 60
            while psutil.Process(watch.pid).nice() == usual and time.monotonic() < deadline_s:
                assert watch.poll() is None
                time.sleep(0.1)
            assert psutil.Process(watch.pid).nice() == min(usual + WAITS_ITS_TURN, 19)
        finally:
            watch.terminate()
