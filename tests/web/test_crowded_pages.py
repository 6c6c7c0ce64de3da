"""Prepare, Plan, Set up and Live with 7, 24 and 60 links: nothing cut, nothing over another, no small letters."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from tests.web.boxes import faint_text, untidy
from tests.web.conftest import Served
from tests.web.crowded import CROWDS, crowd

GROUNDS = ("sun", "dusk", "paper")
PAGES = ("shoot", "plan", "setup", "live")
SIZES = {"laptop": {"width": 1280, "height": 800}, "telephone": {"width": 390, "height": 844}}


@pytest.fixture(scope="module", params=CROWDS)
def job(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A job of so many links."""
    with crowd(tmp_path_factory.mktemp("crowd") / "job.lwjob", request.param) as served:
        yield served


@pytest.mark.parametrize("size", SIZES)
def test_a_page_is_tidy_however_many_links_there_are(job: Served, browser: Any, size: str) -> None:
    context = browser.new_context(viewport=SIZES[size])
    page = context.new_page()
    told = []
    for name in PAGES:
        page.goto(f"{job.url}/{name}")
        page.wait_for_timeout(900)
        told += [f"{name}: {one}" for one in untidy(page)]
        for ground in GROUNDS if len(job.desk.snapshot().whole_shoot().link) == CROWDS[0] else ():
            page.locator("[data-ground-choice]").select_option(ground)
            page.wait_for_timeout(100)
            told += [f"{name}, {ground}: {one}" for one in faint_text(page, "main")]
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        if wide > 0:
            told.append(f"{name} scrolls sideways by {wide} px")
    context.close()
    assert not told, "\n".join(told)
