"""The measure of words and marks itself: it finds what is amiss on a page made for that, else nothing."""

from __future__ import annotations

from typing import Any

import pytest
from tests.web.boxes import faint_marks, faint_text, untidy

TIDY = """<body style="background:#fff;color:#000;font:16px sans-serif"><p>One line</p><p>and the next</p>
<svg width="300" height="60" style="overflow:hidden"><rect class="wall" width="40" height="20" fill="#777"/>
<text x="60" y="20" font-size="15">Sluice</text><text x="150" y="20" font-size="15">Far bank</text></svg>"""


@pytest.fixture
def sheet(browser: Any) -> Any:
    context = browser.new_context(viewport={"width": 600, "height": 400})
    yield context.new_page()
    context.close()


@pytest.mark.parametrize(
    ("instead", "by", "told"),
    [
        ('x="150"', 'x="70"', "“Sluice” and “Far bank” overlap"),
        ('x="150"', 'x="270"', "“Far bank” is cut by svg"),
        ('font-size="15">S', 'font-size="12">S', "“Sluice” has 12.0 px"),
        ("<p>One", '<p style="width:20px;overflow:hidden;white-space:nowrap">One', "“One line” is cut by p"),
        ("<p>One", '<p style="margin-left:570px;white-space:nowrap">One', "“One line” is off the page"),
        ("<p>and", '<p style="margin-top:-32px">and', "“One line” and “and the next” overlap"),
        ("<p>One", '<input value="much too long a value" style="width:60px"><p>One', "is cut by its field"),
    ],
)
def test_words_that_are_cut_small_or_upon_one_another_are_told(
    sheet: Any, instead: str, by: str, told: str
) -> None:
    sheet.set_content(TIDY)
    assert untidy(sheet) == []
    assert instead in TIDY
    sheet.set_content(TIDY.replace(instead, by))
    assert any(told in says for says in untidy(sheet)), untidy(sheet)


def test_what_is_scrolled_out_of_its_list_overlaps_nothing(sheet: Any) -> None:
    listed = '<div style="height:40px;overflow:auto"><p>One</p><p>Two</p><p>Three</p></div>'
    sheet.set_content(TIDY.replace("<p>One line</p>", listed).replace("<p>and", '<p style="margin-top:-4px">and'))
    assert untidy(sheet) == []


def test_contrast_is_that_of_wcag_in_the_pixels_as_drawn(sheet: Any) -> None:
    """WCAG's own examples: #777 on white has 4.48 to 1, #767676 4.54; at least 4.5 is asked of text, 3 of marks."""
    sheet.set_content(TIDY)
    assert faint_text(sheet, "body") == []
    assert faint_marks(sheet, ".wall") == []
    sheet.set_content(TIDY.replace("color:#000", "color:#777").replace('fill="#777"', 'fill="#999"'))
    assert faint_text(sheet, "p") == ["“One line” has 4.5 to 1", "“and the next” has 4.5 to 1"]
    assert faint_marks(sheet, ".wall") == ["rect.wall has 2.8 to 1"]
    sheet.set_content(TIDY.replace("color:#000", "color:#767676"))
    assert faint_text(sheet, "p") == []
