"""Weighing where there is no signal: a small yard of its own, real Chromium, and the signal taken away."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
import urllib.error
import urllib.request

import pytest

from dashboards import entries
from dashboards.terminal import home
from sensors.broker import free_port
from shared.store import facts
from shared.store.records import WeighIn
from shared.units import MS_PER_DAY, MS_PER_MINUTE

PATIENCE_S = 60.0
PHONE = {"width": 390, "height": 844}
BOARD = {
    "species": "Fraxinus americana",
    "thickness_mm": 27,
    "width_mm": 190,
    "length_mm": 1500,
    "cut": "flat-sawn",
    "origin": "fresh-sawn",
    "stack": "S1",
}


class Pages:
    """The pages of a yard, in a process of their own that can be ended and started again."""

    def __init__(self, folder):
        self.folder, self.port, self.process = folder, free_port(), None
        self.address = f"http://127.0.0.1:{self.port}"

    def start(self):
        command = [sys.executable, "-m", "dashboards.terminal", "serve", "--folder", str(self.folder)]
        self.process = subprocess.Popen(command, env={**os.environ, "BENCHDRY_WEB_PORT": str(self.port)})
        deadline_s = time.monotonic() + PATIENCE_S
        while True:
            try:
                urllib.request.urlopen(f"{self.address}/weigh").close()
                return
            except (urllib.error.URLError, ConnectionError):
                assert self.process.poll() is None and time.monotonic() < deadline_s
                time.sleep(0.2)

    def end(self):
        self.process.terminate()
        self.process.wait(PATIENCE_S)

    def weigh_ins(self):
        store = home.find(self.folder).store()
        with store.reading() as connection:
            found = facts.standing(connection, WeighIn)
        store.close()
        return found


@pytest.fixture
def pages(tmp_path):
    store = home.make(tmp_path).store()
    now_ms = home.now_ms()
    who = {"by": "Ida", "now_ms": now_ms, "true_at_ms": now_ms - 30 * MS_PER_DAY}
    with store.writing() as connection:
        entries.add_place(connection, "shed", kind="shed", **who)
        entries.add_stack(connection, "S1", place="shed", **who)
        for code in ("A1", "A2"):
            entries.add_board(connection, code, **BOARD, **who)
            entries.add_weigh_in(connection, code, mass_g=5600, by="Ida", now_ms=now_ms, true_at_ms=now_ms - MS_PER_DAY)
    store.close()
    made = Pages(tmp_path)
    made.start()
    yield made
    made.end()


@pytest.fixture
def phone(chromium, pages):
    context = chromium.new_context(viewport=PHONE)
    yield context
    context.close()


def until(page, holds):
    deadline_s = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < deadline_s, page.inner_text("body")
        page.wait_for_timeout(100)


def weigh(page, figure, unit="g"):
    page.locator(f'.pad [data-unit="{unit}"]').click()
    for key in figure:
        page.locator(f'.pad [data-key="{key}"]').click()
    page.get_by_role("button", name="Enter and next").click()


def waiting(page):
    return page.evaluate("Queue.waiting().length")


def opened(phone, pages, path="/weigh"):
    page = phone.new_page()
    page.goto(pages.address + path)
    if page.locator("#weigh-in-by").count():
        page.locator("#weigh-in-by").fill("Ida")
    return page


def worker_ready(page):
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    until(
        page, lambda: page.evaluate("caches.open('benchdry-pages').then((kept) => kept.match('/weigh')).then(Boolean)")
    )


def test_two_weigh_ins_without_signal_survive_a_reload_and_arrive_once_at_their_own_times(phone, pages):
    page = opened(phone, pages)
    worker_ready(page)
    phone.set_offline(True)
    began_ms = home.now_ms()
    weigh(page, "5590")
    until(page, lambda: page.locator(".weigh h2").inner_text() == "A2")
    weigh(page, "5.58", "kg")
    until(page, lambda: waiting(page) == 2)
    ended_ms = home.now_ms()
    assert "2 wait in this phone" in page.inner_text(".queue")
    page.reload()
    assert page.locator("#offline").is_visible() and "No connection" in page.inner_text("#offline")
    assert waiting(page) == 2
    assert len(pages.weigh_ins()) == 2  # those that stood before
    page.wait_for_timeout(1500)
    phone.set_offline(False)
    until(page, lambda: waiting(page) == 0)
    assert not page.locator(".queue summary").is_visible()
    came = pages.weigh_ins()[2:]
    assert sorted(one.mass_kg for one in came) == [5.58, 5.59]
    assert all(began_ms - 1000 <= one.true_at_ms <= ended_ms + 1000 for one in came)
    assert all(one.entered_at_ms > one.true_at_ms + 1000 for one in came)


def test_a_lost_answer_a_second_page_and_a_restart_enter_nothing_twice(phone, pages):
    page = opened(phone, pages)
    lost = []

    def lose(route):
        answer = route.fetch()
        lost.append(answer.status)
        route.abort()

    page.route("**/weigh/enter", lose)
    weigh(page, "5590")
    until(page, lambda: len(lost) == 1)
    assert len(pages.weigh_ins()) == 3
    pages.end()
    page.unroute("**/weigh/enter")
    pages.start()
    other = opened(phone, pages, "/weigh?stack=S1")
    page.evaluate("window.dispatchEvent(new Event('online'))")
    until(other, lambda: waiting(other) == 0)
    assert len(pages.weigh_ins()) == 3


def test_the_page_opens_without_signal_and_nothing_else_does(phone, pages):
    page = opened(phone, pages)
    worker_ready(page)
    phone.set_offline(True)
    page.goto(pages.address + "/weigh")
    assert re.search(r"No connection: what stands here was read \d", page.inner_text("#offline"))
    assert page.locator(".pad").is_visible()
    page.goto(pages.address + "/board/A1")
    assert page.inner_text("body").startswith("No connection.")
    phone.set_offline(False)
    page.goto(pages.address + "/weigh")
    assert not page.locator("#offline").is_visible()


def test_signing_out_leaves_no_page_behind(phone, pages):
    page = opened(phone, pages)
    worker_ready(page)
    kept = "caches.keys().then((names) => names.includes('benchdry-pages'))"
    assert page.evaluate(kept)
    leave = (
        """() => { const form = document.querySelector(".weigh-form"); form.action = "/sign-out"; form.submit(); }"""
    )
    with page.expect_navigation():
        page.evaluate(leave)
    until(page, lambda: not page.evaluate(kept))


def test_a_slip_is_asked_about_in_place_and_what_was_typed_stays(phone, pages):
    page = opened(phone, pages)
    weigh(page, "2590")
    assert "3010 g less than on" in page.inner_text(".ask")
    assert "Weigh it again." in page.inner_text(".ask")
    assert len(pages.weigh_ins()) == 2
    page.get_by_role("button", name="Change it").click()
    assert page.locator("#weigh-in-mass").input_value() == "2590"
    page.get_by_role("button", name="Enter and next").click()
    page.get_by_role("button", name="It is right, enter it").click()
    until(page, lambda: "Take it back" in page.inner_text(".done"))
    assert pages.weigh_ins()[-1].mass_kg == 2.59
    page.locator(".done button").click()
    until(page, lambda: "is taken back" in page.inner_text(".done"))
    assert len(pages.weigh_ins()) == 2


def test_without_a_name_nothing_is_entered_and_the_next_key_begins_a_new_figure(phone, pages):
    page = phone.new_page()
    page.goto(pages.address + "/weigh")
    weigh(page, "5590")
    assert page.inner_text(".lacks") == "Your name is missing."
    assert page.evaluate("document.activeElement.name") == "by"
    assert page.locator("#weigh-in-mass").input_value() == "5590"
    page.locator('.pad [data-key="back"]').click()
    assert page.locator("#weigh-in-mass").input_value() == "559"
    page.get_by_role("button", name="Enter and next").click()
    page.locator('.pad [data-key="6"]').click()
    assert page.locator("#weigh-in-mass").input_value() == "6"
    assert len(pages.weigh_ins()) == 2


@pytest.mark.parametrize(
    ("figure", "unit", "meant"), [("55900", "g", "5590 g"), ("559", "g", "5590 g"), ("5.59", "g", "5.59 kg")]
)
def test_a_slip_of_the_unit_or_of_the_point_is_mended_by_one_key(phone, pages, figure, unit, meant):
    page = opened(phone, pages)
    weigh(page, figure, unit)
    assert f"Did you mean {meant}?" in page.inner_text(".ask")
    page.get_by_role("button", name=f"Yes, {meant}").click()
    page.get_by_role("button", name="Enter and next").click()
    until(page, lambda: len(pages.weigh_ins()) == 3)
    assert pages.weigh_ins()[-1].mass_kg == 5.59


def test_a_round_ends_with_what_it_changed_and_a_reload_still_takes_it_back(phone, pages):
    page = opened(phone, pages)
    phone.set_offline(True)
    weigh(page, "5590")
    until(page, lambda: page.locator(".weigh h2").inner_text() == "A2")
    phone.set_offline(False)
    page.evaluate("window.dispatchEvent(new Event('online'))")
    until(page, lambda: page.inner_text(".done").startswith("Sent: Board A1 weighs 5590 g."))
    weigh(page, "5580")
    until(page, lambda: page.locator(".after button").count() == 2)
    page.reload()
    assert page.locator(".weigh h2").inner_text() == "2 of 2 done"
    assert not page.locator(".pad").is_visible()
    assert "10 g less than on" in page.inner_text(".round") and "20 g less than on" in page.inner_text(".round")
    page.locator(".after button").first.click()
    until(page, lambda: len(pages.weigh_ins()) == 3)
    until(page, lambda: page.locator(".weigh h2").inner_text() == "A1")
    assert page.locator(".pad").is_visible()


def test_what_the_yard_refuses_stays_in_the_phone_until_it_is_mended(phone, pages):
    page = opened(phone, pages)
    phone.set_offline(True)
    page.get_by_text("Not now, or another scale").click()
    page.locator("#weigh-in-true_at").fill("2001-01-01T10:00")
    weigh(page, "5590")
    until(page, lambda: waiting(page) == 1)
    phone.set_offline(False)
    until(page, lambda: "to be looked at" in page.inner_text(".queue"))
    assert "since when A1 is entered" in page.inner_text(".queue")
    page.locator(".queue").get_by_role("button", name="Change").click()
    now = page.evaluate("new Date(Date.now() - new Date().getTimezoneOffset() * 60000).toISOString().slice(0, 16)")
    page.get_by_label("Other time").fill(now)
    page.get_by_role("button", name="Send it").click()
    until(page, lambda: waiting(page) == 0)
    assert len(pages.weigh_ins()) == 3


def test_a_phone_that_keeps_nothing_says_so_and_leaves_the_figure_on_the_screen(phone, pages):
    phone.add_init_script("Storage.prototype.setItem = () => { throw new Error('full'); }")
    page = opened(phone, pages)
    phone.set_offline(True)
    weigh(page, "5590")
    until(page, lambda: "storage is full or forbidden" in page.inner_text(".done"))
    assert page.locator("#weigh-in-mass").input_value() == "5590"


def test_a_wrong_clock_of_the_phone_is_put_right_by_the_yards(phone, pages):
    page = phone.new_page()
    page.clock.install(time=(home.now_ms() - 90 * MS_PER_MINUTE) / 1000)
    page.goto(pages.address + "/weigh")
    page.locator("#weigh-in-by").fill("Ida")
    weigh(page, "5590")
    until(page, lambda: len(pages.weigh_ins()) == 3)
    newest = pages.weigh_ins()[-1]
    assert abs(newest.entered_at_ms - newest.true_at_ms) < MS_PER_MINUTE


def test_a_scale_that_types_like_a_keyboard_fills_the_field_and_enters(phone, pages):
    page = opened(phone, pages)
    page.evaluate("document.activeElement.blur()")
    page.locator('.pad [data-unit="g"]').click()
    page.evaluate("document.activeElement.blur()")
    page.keyboard.type("5588")
    assert page.locator("#weigh-in-mass").input_value() == "5588"
    page.keyboard.press("Enter")
    until(page, lambda: len(pages.weigh_ins()) == 3)
