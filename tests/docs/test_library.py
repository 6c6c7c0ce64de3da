"""docs/library.md is a program: its blocks run in their order, in an empty folder."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

PAGE = Path(__file__).parents[2] / "docs" / "library.md"


def test_every_block_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    blocks = re.findall(r"```python\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL)
    assert len(blocks) > 3
    names: dict[str, object] = {}
    for block in blocks:
        exec(compile(block, PAGE.name, "exec"), names)  # the page's own words
