"""Write docs/checks.md: every value that a test of tests/published holds the program to, with its source, by kind.

The values are the tests marked `published`, `arithmetic` or `own`, each with its source, found by collecting
them as pytest does, without running them. With `--check` nothing is written; the exit code is 1 where the file is
not what it would be (without the shared data: where it differs in more than how many values there are).
"""

from __future__ import annotations

import argparse
import contextlib
import io
import re
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
TESTS = ROOT / "tests" / "published"
TABLE = ROOT / "docs" / "checks.md"
#: Some tests take their values from this folder beside the clone; without it they are fewer.
DATA = ROOT.parent / "shared" / "data"

HEAD = """\
# Values that the program is held to

Written by `make table` from the marks of the tests; do not edit it by hand. Each row is one value, where it came
from, and the test that holds the program to it.
"""
#: The marks, and what their values are.
KINDS = {
    "published": "From outside: a document's table, another implementation, an open record. Where a source says"
    ' "from memory", "as the press reported it" or "common practice, no source", nobody has looked it up yet',
    "arithmetic": "Worked out: a definition, an identity, exact arithmetic by hand, a simulation in time",
    "own": "Our own: what this project's prototypes reached or its design worked out; no outside check",
}
FROM_MEMORY = re.compile(r"memory|press|no source|quote", re.IGNORECASE)


@dataclass(frozen=True)
class Check:
    """A row of the table: what is checked, the source, and the test with how many values it goes through."""

    file: str
    test: str
    source: str
    kind: str = "published"
    cases: int = 1

    @property
    def what(self) -> str:
        """The name of the test as words."""
        return self.test.removeprefix("test_").replace("_", " ")


class Collector:
    """A pytest plugin that keeps the marked tests of a collection, in the order of files and lines."""

    def __init__(self) -> None:
        self.checks: list[Check] = []
        self.failed: list[str] = []

    def pytest_collection_finish(self, session: pytest.Session) -> None:
        """Called once everything is collected."""
        for item in session.items:
            assert isinstance(item, pytest.Function)
            file = item.path.relative_to(ROOT).as_posix()
            self.checks += [
                Check(file, item.originalname, str(mark.args[0]), kind)
                for kind in KINDS
                for mark in item.iter_markers(kind)
            ]

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        """Called for every file and folder."""
        if report.failed:
            self.failed.append(report.nodeid)


def collected() -> list[Check]:
    """All marked tests, those of one function and one source together. Raises SystemExit where a file fails."""
    collector = Collector()
    arguments = ["--collect-only", "--quiet", "-p", "no:cacheprovider", "--rootdir", str(ROOT), str(TESTS)]
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        status = pytest.main(arguments, plugins=[collector])
    if status != pytest.ExitCode.OK or collector.failed:
        print(said.getvalue(), file=sys.stderr)
        raise SystemExit(f"the tests could not be collected: {', '.join(collector.failed) or status}")
    return list(_together(collector.checks))


def _together(checks: Sequence[Check]) -> Iterator[Check]:
    for first, same in groupby(checks):
        yield replace(first, cases=len(list(same)))


def table(checks: Sequence[Check]) -> str:
    """The whole document."""
    parts = [HEAD]
    for kind, about in KINDS.items():
        mine = [check for check in checks if check.kind == kind]
        unseen = sum(check.cases for check in mine if kind == "published" and FROM_MEMORY.search(check.source))
        besides = f", {unseen} values of them from memory or by way of others" if unseen else ""
        total = sum(check.cases for check in mine)
        title, _, rest = about.partition(": ")
        parts.append(f"\n# {title}\n\n{rest[:1].upper()}{rest[1:]}. {total} values in {len(mine)} rows{besides}.\n")
        for file, rows in groupby(mine, key=lambda check: check.file):
            parts.append(f"\n## {file}\n\n| what | source | test |\n| --- | --- | --- |\n")
            for row in rows:
                cases = f" ({row.cases} values)" if row.cases > 1 else ""
                parts.append(f"| {row.what}{cases} | {_cell(row.source)} | `{row.test}` |\n")
    return "".join(parts)


def same(found: str, text: str) -> bool:
    """Whether two tables are one; without the shared data, but for how many values there are."""
    return found == text or (not DATA.is_dir() and uncounted(found) == uncounted(text))


def uncounted(text: str) -> str:
    """The table without its counts of values."""
    return re.sub(r" \(\d+ values\)|^\d+ values| \d+ values of them", "", text, flags=re.MULTILINE)


def _cell(text: str) -> str:
    """A text as a cell of a table."""
    return " ".join(text.replace("|", "\\|").split())


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the table, or with --check say whether it is up to date."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--check", action="store_true", help="write nothing; exit 1 where the file is out of date")
    parser.add_argument("--file", type=Path, default=TABLE, help="the file; default: docs/checks.md")
    options = parser.parse_args(arguments)
    text = table(collected())
    if options.check:
        found = options.file.read_text("utf-8") if options.file.exists() else ""
        if same(found, text):
            return 0
        print(f"{options.file.name} is out of date; run: make table", file=sys.stderr)
        return 1
    options.file.write_text(text, "utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
