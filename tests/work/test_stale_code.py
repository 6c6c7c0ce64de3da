"""Machine code that is kept does not outlive the constants and loops of other modules that went into it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

LOOPS = """
from linkwright.physics.compiled import kernel
from made import limits as at
from made.inner import half

@kernel
def step(x):
    return half(x) + at.LIMIT
"""
INNER = """
from linkwright.physics.compiled import kernel

@kernel
def half(x):
    return x / {by}
"""


def told(folder: Path) -> float:
    """What the loop says of 8, in a process of its own, with the code that is kept."""
    done = subprocess.run(
        [sys.executable, "-c", "from made.loops import step; print(step(8.0))"],
        env={**os.environ, "PYTHONPATH": f"{folder}:{os.environ.get('PYTHONPATH', '')}",
             "NUMBA_CACHE_DIR": str(folder / "kept")},
        capture_output=True,
        text=True,
        check=True,
    )  # fmt: skip
    return float(done.stdout)


def test_a_constant_or_a_loop_of_another_module_that_changes_is_compiled_in_anew(tmp_path: Path) -> None:
    made = tmp_path / "made"
    made.mkdir()
    (made / "__init__.py").touch()
    (made / "limits.py").write_text("LIMIT = 1.0\n")
    (made / "inner.py").write_text(INNER.format(by=2.0))
    (made / "loops.py").write_text(LOOPS)
    assert told(tmp_path) == 5.0
    (made / "limits.py").write_text("LIMIT = 2.5\n")
    assert told(tmp_path) == 6.5
    (made / "inner.py").write_text(INNER.format(by=4.0) + "\n")
    assert told(tmp_path) == 4.5
