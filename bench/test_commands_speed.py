"""How long whole commands take, against starting Python with numpy: the part that no program here can avoid.

The counted figures are whole processes; pytest-benchmark prints the seconds, the asserted figures are ratios.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from tests.plan.shoots import HEADER, links, pocket


def _run(*arguments: str) -> None:
    subprocess.run([sys.executable, *arguments], capture_output=True, check=False)


def _baseline_s() -> float:
    """Least of five starts of Python with numpy [s]."""
    taken = []
    for _ in range(5):
        begun = time.perf_counter()
        _run("-c", "import numpy")
        taken.append(time.perf_counter() - begun)
    return min(taken)


def least_s(benchmark: BenchmarkFixture) -> float:
    """The shortest round [s]."""
    assert benchmark.stats is not None
    return float(benchmark.stats["min"])


@pytest.fixture
def dozen(tmp_path: Path) -> str:
    path = tmp_path / "dozen.toml"
    path.write_text(HEADER + pocket("[[518.0, 566.0]]") + links(12), "utf-8")
    return str(path)


def test_help(benchmark: BenchmarkFixture) -> None:
    benchmark.pedantic(_run, args=("-m", "linkwright.cli", "--help"), rounds=5, warmup_rounds=1)
    benchmark.extra_info["times_numpy_start"] = least_s(benchmark) / _baseline_s()
    assert least_s(benchmark) < 3.0 * _baseline_s()


def test_plan_a_dozen_cold(benchmark: BenchmarkFixture, dozen: str) -> None:
    benchmark.pedantic(_run, args=("-m", "linkwright.cli", "plan", dozen), rounds=5, warmup_rounds=1)
    benchmark.extra_info["times_numpy_start"] = least_s(benchmark) / _baseline_s()
    assert least_s(benchmark) < 20.0 * _baseline_s()
