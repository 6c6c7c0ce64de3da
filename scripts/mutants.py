"""Change the code a little, many times, and list the changes that no test notices (docs/decisions/0017-mutants.md).

make mutants MODULE=reach                     # 60 changes drawn by seed 1
make mutants MODULE=reach COUNT=150 SEED=2
python scripts/mutants.py reach --again unnoticed.json     # those of an earlier `--list unnoticed.json` once more
"""

from __future__ import annotations

import argparse
import ast
import functools
import json
import os
import random
import shlex
import shutil
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import coverage
import pytest
from cosmic_ray.commands import init
from cosmic_ray.mutating import mutate_and_test
from cosmic_ray.work_db import WorkDB, use_db
from cosmic_ray.work_item import MutationSpec, TestOutcome

ROOT: Final = Path(__file__).resolve().parent.parent
HOUSE: Final = Path("src/linkwright")
#: Of each module: what of it is changed, and the tests that are asked.
MODULES: Final = {
    "assign": (
        "assign",
        "assign plan/test_plan_keep.py plan/test_plan_stay.py plan/test_plan_products.py plan/test_plan_crowded.py"
        " plan/test_plan_levels.py plan/test_plan_fit.py published/test_rulers.py",
    ),
    "plan": (
        "plan",
        "plan published/test_two_ends.py cli/test_law.py cli/test_hit_command.py cli/test_event_command.py"
        " sheets/test_neighbours.py",
    ),
    "reach": (
        "reach",
        "reach plan/test_plan_reach.py published/test_two_ends.py published/test_harm.py cli/test_reach_command.py"
        " cli/test_walk_command.py cli/test_ends_command.py",
    ),
    "rules": (
        "rules",
        "rules cli/test_law.py cli/test_kit_permits.py cli/test_rules_corrections.py cli/test_rules_tv.py"
        " sheets/test_application.py shoot/test_shoot_permits.py published/test_rules.py published/test_rasters.py",
    ),
    "security": (
        "door web/app.py web/answers.py web/pages/connect.py web/pages/crews.py",
        "web/test_door_tokens.py web/test_door_shut.py web/test_roles.py web/test_crews.py web/test_behind.py"
        " web/test_door_encrypted.py web/test_door_weather.py",
    ),
    "store": ("store", "store cli/test_kit_command.py web/test_crews.py"),
}
#: Minutes long with every line watched, or of a server or a browser beside it.
NOT_ASKED: Final = (
    "[arrays]", "test_every_gentle_answer", "test_arrays_and_loops_find", "test_a_clean_plan_is_found", "at_once",
    "test_as_many_keep_as_are_told", "test_what_is_told_is_what_is_counted", "[postgresql", "test_two_people[",
    "test_a_route_begins_and_ends", "test_a_power_cut", "test_the_cut_would_show", "in_four_taps", "_simulated",
    "test_what_is_whole_is_saved", "test_every_shoot_comes_back", "test_killed_again",
    "test_eleven_hundred", "test_what_a_full_table_of_descriptors",
)  # fmt: skip
#: It reads all rooms as they are imported.
OF_ALL: Final = "tests/docs/test_frozen.py"
#: A change of a compiled loop costs the compiler's time, and no line of it is seen; its plain twin is changed.
LEFT_OUT: Final = {"assign/kernels.py"}
#: A test that takes longer is not asked, and of the others, quickest first, so many seconds for one change: of this
#: process, with every line watched.
LONG_TEST_S: Final = 8.0
TESTS_S: Final = 20.0
#: Beyond so many times as long a change is taken for one that never ends, which is noticed.
PATIENCE: Final = 10.0
START_S: Final = 60.0
#: What fails at once wherever numbers are fractions, or is the same wherever they are small.
DULL: Final = ("_RShift", "_LShift", "_BitOr", "_BitAnd", "_BitXor", "_Is", "_IsNot", "_Pow")
#: What `functools.cache` makes of a function.
KEPT: Final = type(functools.cache(print))


@dataclass(frozen=True, eq=False)
class Watching:
    """Told by pytest: which test runs, and how long it took."""

    tracer: coverage.Coverage
    took_s: dict[str, float]
    began_s: dict[str, float] = field(default_factory=dict)
    failed: set[str] = field(default_factory=set)

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        """Leave out what takes longest."""
        items[:] = [item for item in items if not any(name in item.nodeid for name in NOT_ASKED)]

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """A test that fails before anything is changed could notice nothing."""
        if report.failed:
            self.failed.add(report.nodeid)

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtest_logstart(self, nodeid: str) -> None:
        """What runs from now on is this test's, and is not left out because an earlier one kept what came of it."""
        for name in [name for name in sys.modules if name.startswith("linkwright.")]:
            for kept in vars(sys.modules[name]).values():
                if isinstance(kept, KEPT):
                    kept.cache_clear()
        self.began_s[nodeid] = time.process_time()
        self.tracer.switch_context(nodeid)

    def pytest_runtest_logfinish(self, nodeid: str) -> None:
        """Setting up and clearing away count too; what others do on this machine does not."""
        self.took_s[nodeid] = time.process_time() - self.began_s[nodeid]


def watch(files: Iterable[Path], asked: list[str], told: Path) -> int:
    """Run the tests of the code as it is; write which lines of the files each runs, and how long it takes."""
    tracer = coverage.Coverage(data_file=None, include=[str(path) for path in files])
    watching = Watching(tracer, {})
    tracer.start()
    ended = pytest.main(["-q", "-p", "no:cacheprovider", *asked], plugins=[watching])
    tracer.stop()
    data = tracer.get_data()
    lines = {
        Path(path).relative_to(Path.cwd()).as_posix(): data.contexts_by_lineno(path)
        for path in data.measured_files()
    }
    took_s = {name: took for name, took in watching.took_s.items() if name not in watching.failed}
    told.write_text(json.dumps({"lines": lines, "took_s": took_s}), "utf-8")
    return 0 if ended in (pytest.ExitCode.OK, pytest.ExitCode.TESTS_FAILED) else int(ended)


@dataclass(frozen=True)
class Tests:
    """Which tests are asked of a line: those that run its statement; of what runs at import, all."""

    took_s: dict[str, float]
    lines: dict[str, dict[str, list[str]]]

    def of(self, path: Path, line: int) -> list[str]:
        """The quickest first; none where none runs it."""
        lines = self.lines.get(path.as_posix(), {})
        spans = [(line, line), *((first, last) for first, last in _spans(path) if first <= line <= last)]
        first, last = spans[-1] if len(spans) == 1 else min(spans[1:], key=lambda span: span[1] - span[0])
        names = {name for n in range(first, last + 1) for name in lines.get(str(n), ())}
        if "" in names:
            names = set(self.took_s)
        total, chosen = 0.0, []
        for took, name in sorted((self.took_s[name], name) for name in names if name in self.took_s):
            total += took
            if took > LONG_TEST_S or total > TESTS_S:
                break
            chosen.append(name)
        return chosen

    def long_s(self, names: Iterable[str]) -> float:
        """How long they may take."""
        return START_S + PATIENCE * sum(self.took_s[name] for name in names)


def _spans(path: Path) -> Iterator[tuple[int, int]]:
    """First and last line of every statement; of one that holds others, of its head."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.stmt):
            body = getattr(node, "body", None)
            last = body[0].lineno - 1 if isinstance(body, list) else node.end_lineno or node.lineno
            first = min([node.lineno, *(one.lineno for one in getattr(node, "decorator_list", ()))])
            yield first, max(first, last)


def _hints(path: Path) -> list[ast.expr]:
    """What is said for the type checker alone."""
    said = (
        getattr(node, name, None)
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        for name in ("annotation", "returns")
    )
    return [hint for hint in said if isinstance(hint, ast.expr)]


def _within(at: tuple[int, int], hint: ast.expr) -> bool:
    return (hint.lineno, hint.col_offset) <= at < (hint.end_lineno or 0, hint.end_col_offset or 0)


def drawn(paths: list[Path], session: WorkDB, count: int, seed: int) -> list[MutationSpec]:
    """So many places, and at each one change of those that the tool knows."""
    init(paths, session, {})
    hints = {path: _hints(path) for path in paths}
    places: dict[tuple[Path, tuple[int, int]], list[MutationSpec]] = defaultdict(list)
    for item in session.work_items:
        (change,) = item.mutations
        dull = change.operator_name.endswith(DULL) and "_Is_" not in change.operator_name
        if not dull and not any(_within(change.start_pos, hint) for hint in hints[change.module_path]):
            places[change.module_path, change.start_pos].append(change)
    dice = random.Random(seed)
    print(f"{len(places)} places")
    return [
        dice.choice(sorted(places[place], key=lambda change: (change.operator_name, change.occurrence)))
        for place in sorted(dice.sample(sorted(places), min(count, len(places))))
    ]


def copied(into: Path) -> None:
    """The tree as it stands, without what git is told to leave out."""
    listed = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    for name in subprocess.run(listed, cwd=ROOT, check=True, capture_output=True).stdout.decode().split("\0"):
        if name and (ROOT / name).is_file():
            (into / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, into / name)
    for kept in (ROOT / HOUSE).rglob("__pycache__/*.nb?"):  # machine code, which would be made anew
        (into / kept.relative_to(ROOT)).parent.mkdir(exist_ok=True)
        shutil.copy2(kept, into / kept.relative_to(ROOT))


def sources(parts: Iterable[str]) -> list[Path]:
    """The files of a module, in order."""
    paths = {
        path
        for part in parts
        for path in ([HOUSE / part] if part.endswith(".py") else (HOUSE / part).rglob("*.py"))
    }
    return sorted(path for path in paths if path.relative_to(HOUSE).as_posix() not in LEFT_OUT)


def said(diff: str) -> list[str]:
    """The changed lines of a diff."""
    return [line for line in diff.splitlines() if line[:1] in "+-" and line[:3] not in ("+++", "---")]


def hunt(changes: list[MutationSpec], tests: Tests) -> list[dict[str, Any]]:
    """Make each change, ask its tests, and tell of it; what no test noticed."""
    unnoticed = []
    for n, change in enumerate(changes, 1):
        names = tests.of(change.module_path, change.start_pos[0])
        asked = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *names]
        # Where no test runs the line none is asked: the command is one that notices nothing.
        result = mutate_and_test([change], shlex.join(asked) if names else "true", tests.long_s(names))
        late = "by time " if result.output == "timeout" else ""
        told = "" if result.test_outcome is TestOutcome.SURVIVED else f"noticed {late}"
        print(
            f"{n:4} {told or 'UNNOTICED '}{change.module_path}:{change.start_pos[0]} ({len(names)} tests)",
            flush=True,
        )
        if told:
            continue
        print(*(f"         {line}" for line in said(result.diff or "")), sep="\n", flush=True)
        path = change.module_path.as_posix()
        unnoticed.append({"path": path, "operator": change.operator_name, "occurrence": change.occurrence})
    return unnoticed


def again(listed: Path, paths: list[Path], session: WorkDB) -> list[MutationSpec]:
    """The changes of an earlier list, where the code is still as it was."""
    init(paths, session, {})
    known = {
        (change.module_path.as_posix(), change.operator_name, change.occurrence): change
        for item in session.work_items
        for change in item.mutations
    }
    return [known[one["path"], one["operator"], one["occurrence"]] for one in json.loads(listed.read_text("utf-8"))]


def main() -> int:
    """Draw, change, ask, tell."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("module", choices=sorted(MODULES))
    asked.add_argument("--count", type=int, default=60)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--list", type=Path, help="write what no test noticed, for --again")
    asked.add_argument("--again", type=Path)
    asked.add_argument("--watch", type=Path, help=argparse.SUPPRESS)
    given = asked.parse_args()
    parts, asked_of = (words.split() for words in MODULES[given.module])
    paths = [f"tests/{name}" for name in asked_of] + [OF_ALL]
    if given.watch:
        return watch(sources(parts), paths, given.watch)
    listed, earlier = (path and path.resolve() for path in (given.list, given.again))
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        copied(Path(folder))
        os.chdir(folder)
        os.environ["PYTHONPATH"] = os.pathsep.join([str(Path(folder, "src")), folder])
        told = Path(folder, "seen.json")
        subprocess.run([sys.executable, "scripts/mutants.py", given.module, "--watch", told], check=True)
        tests = Tests(**json.loads(told.read_text("utf-8")))
        with use_db(Path(folder, "session.sqlite")) as session:
            files = sources(parts)
            changes = again(earlier, files, session) if earlier else drawn(files, session, given.count, given.seed)
            unnoticed = hunt(changes, tests)
    print(f"{given.module}: {len(changes)} changes, {len(changes) - len(unnoticed)} noticed, {len(unnoticed)} not")
    if listed:
        listed.write_text(json.dumps(unnoticed, indent=1), "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
