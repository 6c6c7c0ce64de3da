"""docs/extending.md is followed literally: its blocks are laid into a copy of the program, its checks run there."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "extending.md").read_text("utf-8")
SECTIONS = dict(re.findall(r"^## (.+?)\n(.*?)(?=^## |\Z)", PAGE, re.MULTILINE | re.DOTALL))
BLOCK = re.compile(r"<!-- (.+?) -->\n```\w+\n(.*?)```", re.DOTALL)
FOLLOWED = [name for name, text in SECTIONS.items() if "<!-- check -->" in text]


def test_what_the_page_promises_is_followed() -> None:
    assert {"A class of kit", "A fault of sound", "A cause", "A page"} <= set(FOLLOWED)


@pytest.mark.parametrize("name", FOLLOWED)
def test_what_the_page_says_works(name: str, tmp_path: Path) -> None:
    for folder in ("src", "tests"):
        shutil.copytree(ROOT / folder, tmp_path / folder)  # what Python has compiled goes along
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    for what, block in BLOCK.findall(SECTIONS[name]):
        if what != "check":
            lay(tmp_path, what, block)
            continue
        for program, runs in (("linkwright", "-m linkwright.cli"), ("python", "")):
            (tmp_path / program).write_text(f'#!/bin/sh\nexec "{sys.executable}" {runs} "$@"\n')
            (tmp_path / program).chmod(0o755)
        done = subprocess.run(
            ["sh", "-e", "-c", block],
            cwd=tmp_path,
            env={
                **os.environ,
                "PATH": f"{tmp_path}:{os.environ['PATH']}",
                "PYTHONPATH": f"{tmp_path / 'src'}:{tmp_path}",
                "NUMBA_DISABLE_JIT": "1",
            },
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, f"{done.stdout}\n{done.stderr}"


def lay(root: Path, what: str, block: str) -> None:
    """Lay a block where its comment says: a new file, or before the one place where some words stand."""
    if what.startswith("new: "):
        path = root / what.removeprefix("new: ")
        assert not path.exists(), f"{path} is there already"
        path.write_text(block, "utf-8")
        return
    found = re.fullmatch(r"in (\S+), before: (.*?)(, as a row|, as a part of the line)?", what, re.DOTALL)
    assert found is not None, what
    path = root / found[1]
    text = path.read_text("utf-8")
    assert text.count(found[2]) == 1, f'"{found[2]}" stands {text.count(found[2])} times in {found[1]}'
    at = text.index(found[2])
    if found[3] == ", as a part of the line":
        path.write_text(text[:at] + block.rstrip("\n") + text[at:], "utf-8")
        return
    at = text.rindex("\n", 0, at) + 1
    if found[3] == ", as a row":  # the words stand in the row's second line
        at = text.rindex("\n", 0, at - 1) + 1
    path.write_text(text[:at] + block + text[at:], "utf-8")
