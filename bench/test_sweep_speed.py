"""Reading and judging large sweeps: ratios to numpy.loadtxt and to a plain csv loop on the same file.

20 000 bins x 1000 sweeps; the file is written once from a seed (some 140 MB of text). About two minutes.
"""

from __future__ import annotations

import csv
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from bench.simulated_air import write_rows
from pytest_benchmark.fixture import BenchmarkFixture

from linkwright.air.judgement import judge
from linkwright.air.readers import read_sweep
from linkwright.air.sweep import Sweep

BINS, SWEEPS = 20_000, 1000
#: Lines of the file that the slow baselines go through; their time is counted up to the whole.
PART = 40


@pytest.fixture(scope="module")
def rows(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("air") / "rows.csv"
    write_rows(path, SWEEPS, BINS)
    return path


@pytest.fixture(scope="module")
def sweep(rows: Path) -> Sweep:
    return read_sweep(rows, "rows.csv")


def took_s(run: Callable[[], object], rounds: int = 3) -> float:
    taken = []
    for _ in range(rounds):
        begun = time.process_time()
        run()
        taken.append(time.process_time() - begun)
    return min(taken)


def plain_csv(path: Path) -> list[list[float]]:
    with path.open(newline="") as file:
        return [[float(field) for field in row[2:]] for row in csv.reader(file)]


def test_reading_rows(benchmark: BenchmarkFixture, capsys: pytest.CaptureFixture[str], rows: Path) -> None:
    size = rows.stat().st_size
    part = rows.parent / "part.csv"
    lines = rows.read_text("ascii").splitlines()
    part.write_text("\n".join(lines[:: len(lines) // (PART * 25)]) + "\n", "ascii")
    share = part.stat().st_size / size
    count = len(lines[0].split(","))
    loadtxt_s = took_s(lambda: np.loadtxt(part, delimiter=",", usecols=range(2, count))) / share
    csv_s = took_s(lambda: plain_csv(part)) / share
    benchmark.pedantic(read_sweep, args=(rows, "rows.csv"), rounds=3, warmup_rounds=1)
    assert benchmark.stats is not None
    took = took_s(lambda: read_sweep(rows, "rows.csv"))  # processor time, as of the baselines
    benchmark.extra_info.update(MB=size / 1e6, times_loadtxt=loadtxt_s / took, times_csv_loop=csv_s / took)
    with capsys.disabled():
        print(f"\n{size / 1e6:.0f} MB in {took:.2f} s, {size / 1e6 / took:.0f} MB/s: ", end="")
        print(f"{loadtxt_s / took:.1f} times as fast as numpy.loadtxt, {csv_s / took:.1f} as a csv loop", end="")
    assert took < 4.0
    assert csv_s / took > 2.0


def test_floor_and_detection(benchmark: BenchmarkFixture, capsys: pytest.CaptureFixture[str], sweep: Sweep) -> None:
    def whole() -> None:
        for name in ("mean_db", "maximum_db", "looked"):
            sweep.__dict__.pop(name, None)
        judge(sweep).signal_power  # noqa: B018  (worked out when asked for)

    benchmark.pedantic(whole, rounds=3, warmup_rounds=1)
    assert benchmark.stats is not None
    took = float(benchmark.stats["min"])
    mean_s = took_s(lambda: np.mean(10.0 ** (sweep.levels_db / 10.0), axis=0))
    benchmark.extra_info["times_numpy_mean"] = took / mean_s
    with capsys.disabled():
        print(f"\nfloor and detection: {took:.2f} s, {took / mean_s:.1f} times one mean in numpy", end="")
    assert took < 4.0


def test_memory_of_reading_and_judging(capsys: pytest.CaptureFixture[str], rows: Path) -> None:
    """The peak of a process that does nothing else (a child's own, not what it inherits from its parent)."""
    code = (
        "import sys; from pathlib import Path\n"
        "from linkwright.air.readers import read_sweep\n"
        "from linkwright.air.judgement import judge\n"
        "judge(read_sweep(Path(sys.argv[1]))).signal_power\n"
        "print(Path('/proc/self/status').read_text().split('VmHWM:')[1].split()[0])"
    )
    done = subprocess.run([sys.executable, "-c", code, str(rows)], capture_output=True, text=True, check=True)
    peak = int(done.stdout) / 1024
    with capsys.disabled():
        print(f"\npeak of reading and judging: {peak:.0f} MiB", end="")
    assert peak < 1024.0
