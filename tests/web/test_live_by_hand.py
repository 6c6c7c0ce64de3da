"""Live without readings, by taps alone, in a browser: from "what is wrong?" to a move that is done, and its log."""

from __future__ import annotations

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
