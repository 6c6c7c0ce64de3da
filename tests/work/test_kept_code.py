"""Machine code that several processes keep in one folder at once: each finds its own again."""

from __future__ import annotations

import importlib
import subprocess
import sys
from pathlib import Path

import pytest

#: Keep something for one kind of values, in a folder that others write too; say whose it is.
KEEPS = """
import sys
sys.path.insert(0, {folder!r})
import tiny
kept = tiny.double._cache._cache_file
for n in range(200):
    key = (sys.argv[1], n)
    kept.save(key, key)
"""
TINY = """
from linkwright.physics.compiled import kernel

@kernel
def double(value):
    return 2 * value
"""


def test_what_is_found_under_a_kind_is_the_code_of_that_kind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "tiny.py").write_text(TINY, "utf-8")
    (tmp_path / "__pycache__").mkdir()
    code = KEEPS.format(folder=str(tmp_path))
    them = [subprocess.Popen([sys.executable, "-c", code, str(n)]) for n in range(3)]
    assert [one.wait(120) for one in them] == [0, 0, 0]
    monkeypatch.syspath_prepend(str(tmp_path))
    kept = importlib.import_module("tiny").double._cache._cache_file
    for who in "012":
        for n in range(200):
            assert kept.load((who, n)) == (who, n)
