"""The list of published checks in docs/checks.md is the list of published checks."""

from __future__ import annotations

import runpy
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
SCRIPT = ROOT / "scripts" / "make_checks_table.py"


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, str(SCRIPT), *arguments], cwd=ROOT, capture_output=True, text=True, check=False
    )


def test_a_table_that_differs_is_out_of_date_and_is_left_alone(tmp_path: Path) -> None:
    other = tmp_path / "checks.md"
    other.write_text("old\n")
    found = run("--check", "--file", str(other))
    assert (found.returncode, found.stderr) == (1, "checks.md is out of date; run: make table\n")
    assert other.read_text() == "old\n"


def test_every_row_stands_in_the_table_once_and_the_table_is_up_to_date(tmp_path: Path) -> None:
    written = tmp_path / "checks.md"
    assert run("--file", str(written)).returncode == 0
    text = written.read_text("utf-8")
    rows = [line for line in text.splitlines() if line.startswith("| ") and "`test_" in line]
    assert len(rows) == len(set(rows)) > 100
    assert all(line.count(" | ") == 2 for line in rows)
    same = runpy.run_path(str(SCRIPT))["same"]
    assert same((ROOT / "docs" / "checks.md").read_text("utf-8"), text)


def test_without_the_shared_data_only_counts_may_differ() -> None:
    uncounted = runpy.run_path(str(SCRIPT))["uncounted"]
    assert uncounted("567 values in 2 rows.\n| a (9 values) | b |") == uncounted("5 values in 2 rows.\n| a | b |")
    assert uncounted("| a | b |") != uncounted("| a | c |")


def test_marked_tests_stand_in_this_folder_where_the_table_looks() -> None:
    files = (ROOT / "tests").rglob("test_*.py")
    marked = [path for path in files if "@pytest.mark.published(" in path.read_text("utf-8")]
    assert {path.parent for path in marked if path != Path(__file__)} == {Path(__file__).parent}
