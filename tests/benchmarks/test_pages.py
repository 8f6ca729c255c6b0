"""The pages on a store of ten years: time on the server, bytes, first load on a slowed tablet, fifty open pages.

`make bench` prints the figures, and holds bytes against their goals; times are printed with theirs and hold nothing,
since they move with the machine. BENCH_SMALL=1 builds half a year instead, for a look whether all of it runs.
"""

from __future__ import annotations

import gzip
import os
import statistics
import subprocess
import sys
import time
import urllib.request

import numpy as np
import pytest
from live_clients import fifty_clients
from playwright.sync_api import sync_playwright
from starlette.testclient import TestClient
from ten_years import build

from dashboards import auth
from dashboards.app import create_app
from sensors.broker import free_port
from shared.settings import Settings

SMALL = bool(os.environ.get("BENCH_SMALL"))
YEARS, ROUNDS = (0.5, 5) if SMALL else (10, 40)
PAGES = (
    "/",
    "/stack/S0",
    "/board/S0-0",
    "/set/top-0",
    "/air",
    "/place/shed",
    "/place/shed?days=3652",
    "/weigh",
    "/probes",
    "/records",
    "/settings",
    "/?wall=1",
)
CHART = "/api/figure/air/shed.json?days=3652"
MOST_MS, MOST_PAGE_BYTES = 100, 40_000
LOAD_GOAL_BYTES, MOST_LOAD_BYTES = 450_000, 490_000  # the goal is missed so far; more than that is a step back
CPU_SLOWED, BYTES_A_S, LATENCY_MS = 4, 10e6 / 8, 30
VERDICT_GOAL_MS, CHARTS_GOAL_MS, LOADS = 700, 3500, 2 if SMALL else 5


@pytest.fixture(scope="module")
def yard(tmp_path_factory):
    folder, now_ms = tmp_path_factory.mktemp("ten-years"), int(time.time() * 1000) // 600_000 * 600_000
    began_s = time.perf_counter()
    store = build(folder, now_ms, YEARS)
    print(f"\n{YEARS} years built in {time.perf_counter() - began_s:.0f} s, {store.path.stat().st_size / 1e6:,.0f} MB")
    yield folder, store, now_ms
    store.close()


def test_pages_are_made_quickly_and_small(yard):
    folder, store, now_ms = yard
    app = create_app(store, Settings(), folder / auth.SECRETS_NAME, lambda: now_ms)
    client = TestClient(app, client=("127.0.0.1", 1), base_url="http://localhost")
    for path in (*PAGES, CHART):
        took_ms, size = [], 0
        for _ in range(ROUNDS):
            began_s = time.perf_counter()
            answer = client.get(path)
            took_ms.append((time.perf_counter() - began_s) * 1000)
            assert answer.status_code == 200, path
            size = len(gzip.compress(answer.content, 6))
        worst = float(np.percentile(took_ms, 95))
        print(
            f"{path}: {statistics.median(took_ms):.0f} ms, 95th percentile {worst:.0f} ms (goal {MOST_MS}),"
            f" {size / 1000:.1f} kB compressed"
        )
        assert size <= MOST_PAGE_BYTES, path


@pytest.fixture(scope="module")
def served(yard):
    """The pages, served as a user would have them."""
    folder, _, _ = yard
    port = free_port()
    command = [sys.executable, "-m", "dashboards.terminal", "serve", "-f", str(folder), "--port", str(port)]
    process = subprocess.Popen(command)
    address = f"http://127.0.0.1:{port}"
    for _ in range(300):
        try:
            urllib.request.urlopen(address, timeout=5).read()
            break
        except OSError:
            time.sleep(0.2)
    yield address
    process.terminate()
    process.wait(30)


def test_a_slowed_tablet_shows_the_word_at_once_and_the_charts_soon(served):
    """CPU a quarter as fast, 10 Mbit/s, 30 ms: of the first paint of the verdict, and of the last chart's drawing."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        loads = [_load(browser, served + "/board/S0-0") for _ in range(LOADS)]
        browser.close()
    word, charts, size = (statistics.median(one) for one in zip(*loads, strict=True))
    print(
        f"tablet, first visit of a board: word after {word:.0f} ms (goal {VERDICT_GOAL_MS}),"
        f" chart after {charts:.0f} ms (goal {CHARTS_GOAL_MS}), "
        f" {size / 1000:.0f} kB (goal {LOAD_GOAL_BYTES / 1000:.0f})"
    )
    assert size <= MOST_LOAD_BYTES


def _load(browser, address):
    context = browser.new_context(viewport={"width": 800, "height": 1280})
    page = context.new_page()
    session = context.new_cdp_session(page)
    session.send("Network.enable")
    rate = {"downloadThroughput": BYTES_A_S, "uploadThroughput": BYTES_A_S, "latency": LATENCY_MS}
    session.send("Network.emulateNetworkConditions", {"offline": False, **rate})
    session.send("Emulation.setCPUThrottlingRate", {"rate": CPU_SLOWED})
    received = []
    session.on("Network.loadingFinished", lambda event: received.append(event["encodedDataLength"]))
    page.goto(address, wait_until="commit")
    page.locator("figure[data-src]").first.evaluate("figure => figure.scrollIntoView()")
    page.locator("figure[data-src] .main-svg").first.wait_for(timeout=60_000)
    charts_ms = page.evaluate("performance.now()")
    word_ms = page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime")
    context.close()
    return word_ms, charts_ms, sum(received)


def test_fifty_open_pages_delay_no_reading(yard):
    folder, store, _ = yard
    told = fifty_clients(folder, store, seconds=10 if SMALL else 60)
    print(told.sentence)
    assert told.stored == told.sent
    assert told.refused == 0
