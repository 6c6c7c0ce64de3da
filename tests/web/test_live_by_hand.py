"""Live without readings, by taps alone, in a browser: from "what is wrong?" to a move that is done, and its log."""

from __future__ import annotations

import datetime
import itertools
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.web.accessible import violations
from tests.web.boxes import untidy
from tests.web.conftest import Served, served, wait_for_plan


@pytest.fixture
def own(tmp_path: Path) -> Iterator[Served]:
    """The built-in shoot with its plan, for one test that changes it."""
    with served(tmp_path / "job.lwjob", with_demo=True) as job:
        wait_for_plan(job.desk)
        yield job


def test_a_trouble_is_told_fled_from_set_and_logged_by_taps(own: Served, page: Any) -> None:
    from playwright.sync_api import expect

    page.goto(f"{own.url}/live")
    page.get_by_role("button", name="Boom: what is wrong?").click()
    page.get_by_label("yes, somebody is there").check()
    page.get_by_role("button", name="What to do").click()
    strip = page.locator(".strip")
    expect(strip).to_contain_text("Somebody else on the carrier")
    expect(page.locator(".tile", has_text="Boom").locator(".word")).to_have_text("somebody else on the carrier")
    expect(page).to_have_title("(1) Live · Salt works, day 1")
    assert untidy(page, "#live") == []
    assert violations(page) == ""
    strip.get_by_role("button", name="Which spare is good now?").click()
    page.locator("#ask").get_by_role("button", name="Move Boom to").first.click()
    waiting = page.locator(".to-do")
    expect(waiting).to_contain_text("558.100 → ")
    expect(strip).to_have_count(0)
    expect(page.locator(".tile", has_text="Boom").locator(".word")).not_to_have_text("somebody else on the carrier")
    assert untidy(page, "main") == []
    waiting.get_by_role("button", name="Both ends, sounds clean").click()
    expect(waiting).to_have_count(0)
    expect(page.locator(".fled")).to_contain_text("Somebody is on 558.100 MHz")
    page.get_by_role("button", name="I listened: it is free").click()
    expect(page.locator(".fled")).to_have_count(0)
    page.get_by_text("Log", exact=True).click()
    for line in ("told by hand", "is set to the new carrier, and sounds clean", "listened on 558.100 MHz: free"):
        expect(page.locator("#happened")).to_contain_text(line)
    page.goto("about:blank")  # nobody complains of a server that is gone


def test_a_level_under_the_plan_is_told_with_the_place(own: Served, page: Any) -> None:
    from playwright.sync_api import expect

    page.goto(f"{own.url}/live")
    (call, *_) = own.desk.snapshot().planned().plan.calls
    links = {link.link: link for link in call.links}
    words = {name: page.locator(".tile", has_text=name).locator(".word") for name in ("Salter", "Boom")}
    told = f"6 dB under the plan at {links['Boom'].worst_place}"
    for _ in range(20):  # a receiver says its level again and again
        at = datetime.datetime.now(datetime.UTC).isoformat()
        levels = {"Salter": links["Salter"].wanted_dbm + 4.0, "Boom": links["Boom"].wanted_dbm - 7.0}
        records = [{"time": at, "link": name, "rf_a_dbm": level} for name, level in levels.items()]
        page.request.post(f"{own.url}/log/readings", data=records, headers={"origin": own.url})
        page.wait_for_timeout(300)
        if told in words["Boom"].inner_text():
            break
    expect(words["Boom"]).to_contain_text(told)
    expect(words["Salter"]).not_to_contain_text("under")
    assert untidy(page, "#live") == []


def test_a_day_of_troubles_by_taps_alone(own: Served, page: Any) -> None:
    """Every answer to the three questions, in turn over the links of the call: strip, step, a line of the log."""
    from playwright.sync_api import expect

    if page.viewport_size["width"] > 800:
        pytest.skip("by taps: on the telephone")
    page.goto(f"{own.url}/live")
    strip, lines = page.locator(".strip"), []
    answers = itertools.product(("", "yes"), ("low", "good", "unknown"), ("yes", "no", "unknown"))
    for n, (several, level, still) in enumerate(answers):
        name = ("Presenter", "Salter", "Raker", "Boom")[n % 4]
        page.get_by_role("button", name="Take", exact=False).first.tap()
        page.get_by_role("button", name=f"{name}: what is wrong?").tap()
        for key, value in (("several", several), ("level", level), ("still", still)):
            page.locator(f"#trouble [name={key}][value='{value}']").check()
        page.get_by_role("button", name="What to do").tap()
        expect(strip.first).to_contain_text(name)
        assert len(strip.first.inner_text()) > 40, "a cause, and what to do now"
        lines.append(f"{name}: {strip.first.locator('strong').inner_text().lower()}")
        strip.first.get_by_role("button", name=re.compile("It is over|Changed now|Seen")).tap()
        expect(strip).to_have_count(0)
    page.get_by_text("Log", exact=True).tap()
    expect(page.locator("#happened")).to_contain_text("Take 18")
    expect(page.locator("#happened")).to_contain_text("told by hand")
    happened = [happening.kind for happening in own.store.happenings()]
    assert [happened.count(kind) for kind in ("take", "trouble", "over")] == [18, 18, 18], happened
    assert len(set(lines)) > 6, "one answer for everything is none"
