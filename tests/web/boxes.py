"""Where the words of a page or of its pictures stand: whether any overlap, are cut, too small or too faint.

`untidy(page, "main")` measures every line of text inside a selector, in HTML and in SVG, and the value of every
field. `faint_text(page, "svg")` and `faint_marks(page, "#ground .wall")` measure contrast in the pixels that the
browser drew, so that words on hatching and marks on whatever is under them are measured as they are seen. All give
sentences; an empty list is a tidy page. `verdicts_in_grey(page, ".disc")` reads discs by their shape alone.
WCAG 2.2: text 4.5 to 1 (3 to 1 from 24 px), marks 3 to 1.
"""

from __future__ import annotations

import base64
from pathlib import Path
from typing import Any, Final

#: Smallest letters [px], and how far two boxes may reach into each other: descenders under the line above [px].
LEAST_PX: Final = 14.0
INTO_PX: Final = 1.5
JS: Final = Path(__file__).with_suffix(".js").read_text("utf-8")


def lines_of(page: Any, within: str = "body", *, pictures: bool = False) -> list[list[Any]]:
    """Every visible line of text inside `within`; `pictures`: those of SVG alone."""
    found: list[list[Any]] = _run(page, "measure", [within, pictures])
    return found


def untidy(page: Any, within: str = "body", *, pictures: bool = False) -> list[str]:
    """A sentence for each line of text that is cut, too small, or overlaps another."""
    lines = lines_of(page, within, pictures=pictures)
    assert lines, f"no text inside {within}"
    told = [f"“{line[0]}” is {line[7]}" for line in lines if line[7]]
    told += [f"“{line[0]}” has {line[5]:.1f} px" for line in lines if line[5] < LEAST_PX - 0.05]
    lines.sort(key=lambda one: one[2])
    for n, one in enumerate(lines):
        for other in lines[n + 1 :]:
            if other[2] > one[4] - INTO_PX:
                break
            across = min(one[3], other[3]) - max(one[1], other[1])
            down = min(one[4], other[4]) - max(one[2], other[2])
            if across > INTO_PX and down > INTO_PX and one[6] == other[6]:
                told.append(f"“{one[0]}” and “{other[0]}” overlap by {across:.0f} x {down:.0f} px")
    return told


def faint_text(page: Any, within: str, *, pictures: bool = False) -> list[str]:
    """A sentence for each line of text without the contrast of WCAG 2.2, 1.4.3 (AA), in the pixels as drawn."""
    lines = lines_of(page, within, pictures=pictures)
    found = _contrasts(page, [[*line[1:5], line[8]] for line in lines], [bool(line[6]) for line in lines])
    return [
        f"“{one[0]}” has {much:.1f} to 1"
        for one, much in zip(lines, found, strict=True)
        if much is not None and much < (3.0 if one[5] >= 24 else 4.5)
    ]


def faint_marks(page: Any, within: str) -> list[str]:
    """A sentence for each mark under 3 to 1 against what it stands on (WCAG 2.2, 1.4.11), in pixels as drawn."""
    marks = _run(page, "marks", within)
    assert marks, f"no mark {within}"
    found = _contrasts(page, [mark[1:6] for mark in marks], [False] * len(marks))
    return [
        f"{one[0]} has {much:.1f} to 1"
        for one, much in zip(marks, found, strict=True)
        if much is not None and much < 3.0
    ]


def verdicts_in_grey(page: Any, within: str) -> list[str]:
    """The verdict that each disc tells by its shape alone, in a picture of the page without colours.

    Full: holds; its left half: thin; neither: fails.
    """
    boxes = [[one[1] + 3, one[2] + 3, one[3] - 3, one[4] - 3] for one in _run(page, "marks", within)]
    assert boxes, f"no disc {within}"
    style = "getComputedStyle(document.documentElement)"
    ink, ground = (page.evaluate(f"{style}.getPropertyValue('--{name}')") for name in ("ink", "sheet"))
    _run(page, "staying", True)
    png = base64.b64encode(page.screenshot(full_page=True, animations="disabled")).decode()
    _run(page, "staying", False)
    aside = page.context.new_page()
    try:
        found = _run(aside, "grey", [png, boxes, ink.strip(), ground.strip()])
    finally:
        aside.close()
    words = {(True, True): "holds", (True, False): "thin", (False, False): "fails"}
    return [words.get(tuple(one), "nothing") for one in found]


def _run(page: Any, what: str, given: Any) -> Any:
    """One of the functions of boxes.js in a page."""
    return page.evaluate(f"given => {{ {JS}\n return {what}(given); }}", given)


def _contrasts(page: Any, boxes: list[list[Any]], over: list[bool]) -> list[float | None]:
    """The contrast in each box [px of the whole page, colour]; None where it is too small to be measured.

    `over`: whether it stands on something that stays while the page scrolls; that is taken away for the others.
    """
    found: list[float | None] = [None] * len(boxes)
    aside = page.context.new_page()  # the page itself lets no data in
    try:
        for stays in (True, False):
            which = [n for n, is_over in enumerate(over) if is_over == stays]
            if not which:
                continue
            _run(page, "staying", not stays)
            png = base64.b64encode(page.screenshot(full_page=True, animations="disabled")).decode()
            measured = _run(aside, "contrast", [png, [boxes[n] for n in which]])
            for n, much in zip(which, measured, strict=True):
                found[n] = much
    finally:
        _run(page, "staying", False)
        aside.close()
    return found
