"""Live as it is seen from three metres: the screen at a quarter of its size is still read, by a machine.

Text recognition: tesseract, which may take one sign of a screen wrongly. Figures are read exactly; of the line that
tells how a link does, the nearest of all that are shown is its own (difflib's ratio).
"""

from __future__ import annotations

import base64
import difflib
import re
import shutil
import subprocess
from typing import Any

import pytest
from tests.web.conftest import GROUNDS, Served, on_ground
from tests.web.crowded import crowd

if shutil.which("tesseract") is None:
    pytest.skip("there is no text recognition here; make test installs Debian's", allow_module_level=True)

#: So many of a screen's words may be misread by the machine.
MISREAD = 1
#: Drawn at a quarter of its size, and that twice as large as it was, as text recognition wants it.
FROM_AFAR = """async (png) => {
  const image = new Image(); image.src = `data:image/png;base64,${png}`; await image.decode();
  const draw = (made, from, wide, tall) => { made.width = wide; made.height = tall; const on = made.getContext("2d"); on.imageSmoothingQuality = "high"; on.drawImage(from, 0, 0, wide, tall); return made; };
  const small = draw(document.createElement("canvas"), image, Math.round(image.width / 4), Math.round(image.height / 4));
  return draw(document.createElement("canvas"), small, 8 * small.width, 8 * small.height).toDataURL().split(",")[1];
}"""  # noqa: E501


def read_from_afar(page: Any) -> list[str]:
    """The lines that are read of a page at a quarter of its size."""
    aside = page.context.new_page()  # the page itself lets no data in
    try:
        picture = aside.evaluate(FROM_AFAR, base64.b64encode(page.screenshot()).decode())
    finally:
        aside.close()
    command = ["tesseract", "stdin", "stdout", "--psm", "11"]
    read = subprocess.run(command, input=base64.b64decode(picture), capture_output=True, check=True, timeout=60)
    said = read.stdout.decode("utf-8").replace(
        "$", "5"
    )  # no tile tells of money, and at eight pixels they are alike
    return [line for line in said.splitlines() if line.strip()]


@pytest.mark.parametrize("links", [4, 12])
def test_the_wall_is_read_from_three_metres(browser: Any, tmp_path: Any, links: int) -> None:
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    page = context.new_page()
    with crowd(tmp_path / "job.lwjob", links) as job:
        told = [one for ground in GROUNDS for one in unread(job, page, ground)]
    context.close()
    assert not told, "\n".join(told)


def unread(job: Served, page: Any, ground: str) -> list[str]:
    """What of the tiles on the screen is not read."""
    page.goto(f"{job.url}/live")
    on_ground(page, ground)
    page.wait_for_timeout(900)
    parts = (".name", ".mhz", ".word")
    tiles = [[tile.locator(part).inner_text() for part in parts] for tile in page.locator(".tile").all()]
    lines = read_from_afar(page)
    figures = {re.sub(r"\D", "", line) for line in lines}
    words = {word for _, _, word in tiles}
    wrong = []
    for name, mhz, word in tiles:
        if not difflib.get_close_matches(name, lines, 1, 0.75):
            wrong.append(f"{ground}: the name {name}")
        if not any(re.sub(r"\D", "", mhz) in figure for figure in figures):
            wrong.append(f"{ground}: {mhz} of {name}")
        near = difflib.get_close_matches(word, lines, len(lines), 0.6)
        if not any(difflib.get_close_matches(line, words, 1, 0.0) == [word] for line in near):
            wrong.append(f"{ground}: {word} of {name}")
    return [f"{one} is not read of {lines}" for one in wrong] if len(wrong) > MISREAD else []
