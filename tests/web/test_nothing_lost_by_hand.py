"""Nothing typed is lost, nothing shown is stale: two people, two tabs, a phone that slept, a killed server.

The server is a process of its own here, so that it can be killed and started again.
"""

from __future__ import annotations

import datetime
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from tests.web.conftest import demo_into

from linkwright.store import Store

SERVE = """
import socket, sys
from linkwright.store import Store
from linkwright.web.app import create_app
from linkwright.web.serving import Serving
sock = socket.socket()
sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
sock.bind(("127.0.0.1", int(sys.argv[2])))
with Store.open(sys.argv[1]) as store:
    Serving(create_app(store, frozenset({f"127.0.0.1:{sys.argv[2]}"}))).run(sockets=[sock])
"""


@dataclass
class Laptop:
    """The program in a process of its own, over one job."""

    path: Path
    port: int
    running: list[subprocess.Popen[bytes]] = field(default_factory=list)

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        command = [sys.executable, "-c", SERVE, str(self.path), str(self.port)]
        self.running.append(subprocess.Popen(command))
        for _ in range(600):
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.05)
        raise AssertionError("it did not start")

    def kill(self) -> None:
        """As when the power goes."""
        running = self.running.pop()
        os.kill(running.pid, signal.SIGKILL)
        running.wait()


@pytest.fixture
def laptop(tmp_path: Path) -> Iterator[Laptop]:
    path = tmp_path / "job.lwjob"
    with Store.open(path, create=True) as store:
        demo_into(store)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    found = Laptop(path, port)
    found.start()
    yield found
    if found.running:
        found.kill()


@pytest.fixture
def pages(browser: Any) -> Iterator[Any]:
    """Pages of one browser: they share what it keeps, as two tabs do."""
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    context.set_default_timeout(20_000)
    yield context
    context.close()


def field_of(page: Any, label: str) -> Any:
    return page.locator(".field").filter(has_text=label).first.locator("[name=value]")


def title(page: Any) -> Any:
    return page.locator("section[aria-labelledby=h-job] .field").filter(has_text="Title").first


def test_what_is_typed_while_the_laptop_is_away_waits_and_is_kept(laptop: Laptop, pages: Any) -> None:
    from playwright.sync_api import expect

    page = pages.new_page()
    page.goto(f"{laptop.url}/shoot")
    field = title(page)
    box = page.locator("#answer").bounding_box()
    laptop.kill()
    field.locator("[name=value]").fill("Salt works, late")
    field.locator("[name=value]").blur()
    expect(page.locator("#status .says")).to_contain_text("cannot be reached")
    expect(page.locator("#status .says")).to_contain_text("one change waits")
    assert "waits" in field.get_attribute("class")
    field.locator("[name=value]").fill("Salt works, early")  # and again, over what waits
    field.locator("[name=value]").blur()
    expect(page.locator("#status .says")).to_contain_text("changes wait")
    assert page.locator("#answer").bounding_box() == box, "nothing moves under the finger"
    pages.route("**/api/field", lambda route: route.abort())
    laptop.start()
    page.reload()  # before it could be sent: what waits lies in the browser, and stands in its field again
    expect(title(page).locator("[name=value]")).to_have_value("Salt works, early")
    assert "waits" in title(page).get_attribute("class")
    pages.unroute("**/api/field")
    expect(page.locator(".field.waits")).to_have_count(0)
    expect(title(page).locator("[name=value]")).to_have_value("Salt works, early")
    second = pages.new_page()
    second.goto(f"{laptop.url}/shoot")
    expect(title(second).locator("[name=value]")).to_have_value("Salt works, early")


def test_a_phone_that_was_away_says_so_and_catches_up(laptop: Laptop, browser: Any, pages: Any) -> None:
    from playwright.sync_api import expect

    phone = browser.new_context(viewport={"width": 390, "height": 844})
    there, here = phone.new_page(), pages.new_page()
    there.goto(f"{laptop.url}/shoot")
    here.goto(f"{laptop.url}/shoot")
    phone.set_offline(True)
    title(there).locator("[name=value]").fill("Typed on the phone")
    title(there).locator("[name=value]").blur()
    expect(there.locator("#status .says")).to_contain_text("cannot be reached")
    timezone = here.locator("section[aria-labelledby=h-job] .field").filter(has_text="Time zone").first
    timezone.locator("[name=value]").fill("Europe/Paris")
    timezone.locator("[name=value]").blur()
    expect(here.locator("#status .says")).to_contain_text("Europe/Paris")
    phone.set_offline(False)
    expect(title(here).locator("[name=value]")).to_have_value("Typed on the phone")
    caught = there.locator("section[aria-labelledby=h-job] .field").filter(has_text="Time zone").first
    expect(caught.locator("[name=value]")).to_have_value("Europe/Paris")
    phone.close()


def test_a_take_is_kept_once_whatever_happens_on_the_way(laptop: Laptop, pages: Any) -> None:
    from playwright.sync_api import expect

    page = pages.new_page()
    page.goto(f"{laptop.url}/live")
    expect(page.locator("[data-happen=take]")).to_have_text("Take 1")
    laptop.kill()
    page.locator("[data-happen=take]").click()
    page.locator("[data-happen=take]").click()
    laptop.start()
    expect(page.locator("[data-happen=take]")).to_have_text("Take 2")
    page.reload()
    expect(page.locator("[data-happen=take]")).to_have_text("Take 2")
    expect(page.locator("#happened")).to_contain_text("Take 1")


def test_two_tabs_and_a_clock_that_jumped(laptop: Laptop, pages: Any) -> None:
    from playwright.sync_api import expect

    one, other = pages.new_page(), pages.new_page()
    other.clock.install(time="2031-01-01T00:00:00")
    one.goto(f"{laptop.url}/shoot")
    other.goto(f"{laptop.url}/shoot")
    other.clock.resume()
    title(one).locator("[name=value]").fill("From one")
    title(one).locator("[name=value]").blur()
    expect(title(other).locator("[name=value]")).to_have_value("From one")
    title(other).locator("[name=value]").fill("From the other")
    title(other).locator("[name=value]").blur()
    expect(title(one).locator("[name=value]")).to_have_value("From the other")
    other.locator(".menu summary").click()
    other.get_by_role("button", name="Undo").click()
    expect(other.locator("#status .says")).to_contain_text("Taken back: title of the job: From one")
    expect(title(one).locator("[name=value]")).to_have_value("From one")


def test_live_asks_once_however_many_links_there_are(laptop: Laptop, pages: Any) -> None:
    from playwright.sync_api import expect

    page, asked, errors = pages.new_page(), [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: errors.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(f"{laptop.url}/live")
    expect(page.locator(".tile").first).to_be_visible()
    at = datetime.datetime.now(datetime.UTC).isoformat()
    records = [{"time": at, "link": f"Guest {n}", "rf_a_dbm": -60, "quality": 1} for n in range(60)]
    pages.request.post(f"{laptop.url}/log/readings", data=records)
    expect(page.locator(".tile", has_text="Guest 59")).to_be_attached()
    page.wait_for_timeout(1000)
    assert sum("/api/live" in url for url in asked) <= 30, "not once a link, in however many batches"
    assert errors == []
