"""The demo, running once for all screens, and real Chromium to look at it."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
import urllib.request
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import sync_playwright

from sensors.broker import find_mosquitto, free_port

sys.path.insert(0, str(Path(__file__).resolve().parent))  # makes screens.py importable

PATIENCE_S = 300
PHONE = {"width": 390, "height": 844}
# Its own background traffic would only be refused, many times, on a machine without the wider network.
QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-quic",
]


@dataclass
class Running:
    """Where the demo's pages and broker are."""

    address: str
    broker_port: int


@pytest.fixture(scope="session")
def running(tmp_path_factory):
    """Start the demo and wait until every board is projected."""
    assert find_mosquitto(), "mosquitto is not installed: make setup-test"
    folder, port = tmp_path_factory.mktemp("demo"), free_port()
    command = [sys.executable, "-u", "-m", "dashboards.terminal", "demo", "--folder", str(folder), "--port", str(port)]
    log = (folder / "said.txt").open("w")
    process = subprocess.Popen(
        command, stdout=log, stderr=subprocess.STDOUT, start_new_session=True, env={**os.environ, "COLUMNS": "200"}
    )
    try:
        yield Running(f"http://127.0.0.1:{port}", _ready(process, folder / "said.txt", port))
    finally:
        os.killpg(process.pid, signal.SIGINT)
        process.wait(60)


def _ready(process, said, port):
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline:
        assert process.poll() is None, said.read_text()
        text = said.read_text()
        if "Ctrl-C ends everything" in text:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/api/situation", timeout=60) as answer:
                boards = json.loads(answer.read())["boards"]
            if all("being worked out" not in board["verdict"]["reason"] for board in boards):
                return int(text.split("Broker: ")[1].split(" on port ")[1].split(",")[0])
        time.sleep(0.5)
    raise AssertionError(said.read_text())


@pytest.fixture(scope="session")
def chromium():
    """Debian's Chromium, headless."""
    path = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    assert path, "Chromium is not installed: make setup-test"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=QUIET)
        yield browser
        browser.close()


@pytest.fixture
def open_page(chromium, running):
    """Open a screen; what its console says and what it asks of other machines is kept on it."""
    contexts = []

    def open_(path, size=PHONE, **how):
        context = chromium.new_context(viewport=size, **how)
        contexts.append(context)
        page = context.new_page()
        page.troubles, page.strangers = [], []
        page.on("console", lambda m: page.troubles.append(m.text) if m.type in ("error", "warning") else None)
        page.on("pageerror", lambda error: page.troubles.append(str(error)))
        page.on("request", lambda r: None if r.url.startswith(running.address) else page.strangers.append(r.url))
        page.goto(running.address + path)
        return page

    yield open_
    for context in contexts:
        context.close()
