"""The page Connect by hand: the code stands on its square, and can be read from there."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from tests.web.boxes import untidy
from tests.web.conftest import GROUNDS, on_ground, served


def test_the_code_stands_on_its_square_on_every_ground(page: Any, tmp_path: Path) -> None:
    """ISO/IEC 18004 asks for a quiet zone of four modules on all sides, lighter than the code."""
    from playwright.sync_api import expect

    with served(tmp_path / "job.lwjob", lan_urls=("http://192.0.2.7:8765",)) as pages:
        page.goto(f"{pages.url}/connect")
        page.get_by_role("button", name="Make a code").click()
        square = page.locator(".qr svg")
        expect(square).to_be_visible()
        for ground in GROUNDS:
            on_ground(page, ground)
            light, dark = (square.locator(f"path >> nth={n}").bounding_box() for n in (0, 1))
            box = square.bounding_box()
            assert abs(box["width"] - box["height"]) < 1
            for side in ("x", "y", "width", "height"):
                assert abs(light[side] - box[side]) < 1, side
            module = (box["width"] - dark["width"]) / 8
            assert abs(dark["x"] - box["x"] - 4 * module) < 1
            assert abs(dark["y"] - box["y"] - 4 * module) < 1.1 * module
        assert untidy(page, "#code") == []
        page.goto("about:blank")
