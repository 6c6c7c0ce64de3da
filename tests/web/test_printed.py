"""What Chromium prints, read back by another program: what the screen shows, in ink, on whatever ground it is."""

from __future__ import annotations

import io
import re
from typing import Any

import pypdf
from tests.web.conftest import Served, on_ground

#: A path of many curves that is filled: a disc, as Chromium writes it.
DISC = re.compile(r"(?:[\d. -]+ c\n){8,}(?:h\n)?f\n")


def printed(page: Any) -> pypdf.PdfReader:
    """The page as A4, without the grounds that printers are not given."""
    data = page.pdf(format="A4", print_background=False)
    return pypdf.PdfReader(io.BytesIO(data))


def words_of(paper: pypdf.PdfReader) -> str:
    return " ".join(" ".join(sheet.extract_text() for sheet in paper.pages).split())


def streams(paper: pypdf.PdfReader) -> list[str]:
    return [sheet.get_contents().get_data().decode("latin-1") for sheet in paper.pages]  # type: ignore[union-attr]


def colours(paper: pypdf.PdfReader) -> set[tuple[float, ...]]:
    found = re.findall(r"([\d.]+) ([\d.]+) ([\d.]+) (?:rg|RG)\b", "".join(streams(paper)))
    return {tuple(map(float, one)) for one in found}


def test_the_plan_prints_its_spares_and_its_discs_as_on_the_screen(job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    page.goto(f"{job.url}/plan")
    expect(page.locator(".link-row .name").first).to_be_visible()
    on_ground(page, "dusk")
    paper = printed(page)
    text, plan = words_of(paper), job.desk.snapshot().plan
    assert plan is not None
    links = [link for call in plan.calls for link in call.links]
    for link in links:
        for khz in link.all_khz:
            assert f"{khz / 1000:.3f}" in text
    assert len(DISC.findall("".join(streams(paper)))) >= sum(link.verdict == "holds" for link in links)
    assert {colour for colour in colours(paper) if len(set(colour)) > 1} == set(), "in black on white"


def test_the_air_prints_whole_and_as_wide_as_its_page(job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    page.goto(f"{job.url}/air")
    expect(page.locator("#score .pin").first).to_be_attached()
    on_ground(page, "dusk")
    page.wait_for_timeout(300)
    paper = printed(page)
    seen: dict[str, float] = {}

    def hear(text: str, user: Any, matrix: Any, *_: Any) -> None:
        if text.strip():
            seen[text.strip()] = matrix[4] * user[0] + matrix[5] * user[2] + user[4]

    for sheet in paper.pages:
        sheet.extract_text(visitor_text=hear)
    wide = float(paper.pages[0].mediabox.width)
    labels = page.locator("#score text").all_text_contents()
    text = words_of(paper)
    assert all(label in text for label in labels), [label for label in labels if label not in text]
    assert max(seen.values()) > 0.8 * wide, "not squeezed"
    assert {colour for colour in colours(paper) if len(set(colour)) > 1} == set()


def test_the_ground_prints_every_name_inside(job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    page.goto(f"{job.url}/ground?site=Boiling+house")
    expect(page.locator("#margins .disc").first).to_be_visible()
    on_ground(page, "dusk")
    text = words_of(printed(page))
    for name in ("Cart", "Gantry", "Furnace", "Store", "north", "wall", "In hand, everybody as planned"):
        assert name in text
    assert "plasterboard" not in text, "what can only be tapped is not printed"
