"""Commands start quickly: what one does not need is not loaded."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest


@pytest.mark.parametrize(
    ("words", "without"),
    [
        ("--help", ("numpy", "pydantic", "sqlalchemy", "linkwright.plan")),
        ("new --help", ("numpy", "sqlalchemy", "linkwright.plan")),
        ("kit", ("sqlalchemy", "scipy", "numba", "linkwright.plan")),
        ("rules GB", ("sqlalchemy", "scipy", "numba")),
    ],
)
def test_a_command_loads_no_more_than_it_needs(words: str, without: tuple[str, ...], tmp_path: Path) -> None:
    """What is loaded is what a start takes: by names, as a clock is no judge on a busy machine."""
    script = "import sys, linkwright.work.compiling; from linkwright.cli import main\n"
    script += "try: main(sys.argv[1:])\nexcept SystemExit: pass\n"
    script += "print('loaded', *sys.modules, file=sys.stderr)"
    done = subprocess.run(
        [sys.executable, "-c", script, *words.split()], capture_output=True, text=True, check=False,
        env={**os.environ, "XDG_DATA_HOME": str(tmp_path)},
    )  # fmt: skip
    loaded = done.stderr.rpartition("loaded ")[2].split()
    assert "linkwright.cli" in loaded
    assert [name for name in loaded if name.startswith(without)] == []
