"""The watch: a 12-hour log of 100 links (43 million readings) as Parquet and as CSV, its memory, live intake of
1000 links ten times a second, and how soon an alarm comes. Ratios to a plain csv loop. About six minutes, 7 GB
of files.
"""

from __future__ import annotations

import csv
import json
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from tests.watch.courses import courses

from linkwright.watch.diagnose.watcher import Watcher
from linkwright.watch.log.live import Intake
from linkwright.watch.log.parquet import write_parquet
from linkwright.watch.log.record import Batch
from linkwright.watch.log.writing import csv_lines, json_records
from linkwright.watch.play.effects import CAUSES
from linkwright.watch.play.faults import draw_faults
from linkwright.watch.play.simulate import Meter, simulate

LINKS, MINUTES, TIMES = 100, 6.0, 120
CODE = (
    "import sys, time; from pathlib import Path\n"
    "from linkwright.watch.diagnose.logs import diagnose\n"
    "from linkwright.watch.diagnose.expected import Expected\n"
    "plan = [Expected(f'Talent {n + 1}', 'Call', (), 500_000 + 375 * n, -72.0, -112.0, 20.0) for n in range(100)]\n"
    "begun, work = time.perf_counter(), time.process_time()\n"
    "found = diagnose([(Path(sys.argv[1]), 'log')], plan if sys.argv[2] == 'plan' else ())\n"
    "took, work = time.perf_counter() - begun, time.process_time() - work\n"
    "peak = Path('/proc/self/status').read_text().split('VmHWM:')[1].split()[0]\n"
    "print(took, work, int(peak) / 1024, sum(s.readings for s in found.seen), len(found.episodes))"
)


@pytest.fixture(scope="module")
def minutes() -> Batch:
    """Six minutes of a hundred links, with a few faults."""
    few = courses(6, MINUTES)
    played = list(simulate(few, draw_faults(few, CAUSES, seed=1, each_h=2.0), seed=1, meter=Meter(2.0)))
    values = np.concatenate([one.values for one in played]).reshape(-1, 6, 6)
    times = np.concatenate([one.time_ns for one in played]).reshape(-1, 6)[:, 0]
    rng = np.random.default_rng(2)
    link = np.tile(np.arange(LINKS, dtype=np.int32), times.size)
    many = np.stack(
        [np.roll(values[:, n % 6], int(rng.integers(times.size)), axis=0) for n in range(LINKS)], axis=1
    )
    names = tuple(f"Talent {n + 1}" for n in range(LINKS))
    return Batch(names, link, np.repeat(times, LINKS), many.reshape(-1, 6).astype(np.float32))


def hours(part: Batch, times: int) -> Iterator[Batch]:
    step = round(MINUTES * 60e9)
    for n in range(times):
        yield Batch(part.names, part.link, part.time_ns + n * step, part.values)


def diagnosed(path: Path, plan: str) -> tuple[float, float, float, int, int]:
    """Seconds, processor seconds and MiB of a process that does nothing else; readings and episodes."""
    done = subprocess.run([sys.executable, "-c", CODE, str(path), plan], capture_output=True, text=True, check=True)
    took, work, peak, readings, episodes = done.stdout.split()
    return float(took), float(work), float(peak), int(readings), int(episodes)


def plain_s(path: Path, rows: int) -> float:
    """A plain csv loop over so many rows [s]."""
    begun = time.process_time()
    with path.open(newline="") as file:
        for n, row in enumerate(csv.reader(file)):
            if n:
                [float(cell) if cell else 0.0 for cell in row[2:]]
            if n == rows:
                break
    return time.process_time() - begun


@pytest.mark.parametrize("plan", ["plan", "no plan"])
@pytest.mark.parametrize("kind", ["parquet", "csv"])
def test_twelve_hours_of_a_hundred_links(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, minutes: Batch, kind: str, plan: str
) -> None:
    path = tmp_path / f"log.{kind}"
    if kind == "parquet":
        write_parquet(str(path), hours(minutes, TIMES))
        baseline = None
    else:
        # the lines of six minutes once, their times replaced: writing 43 million by themselves takes long
        lines = list(csv_lines([minutes]))
        tails = [line[29:] for line in lines[1:]]
        with path.open("w") as file:
            file.write(lines[0])
            for part in hours(minutes, TIMES):
                stamps = np.datetime_as_string(part.time_ns[::LINKS].astype("datetime64[ns]"), unit="ms").tolist()
                at = iter(tails)
                file.writelines(f"{stamp}+00:00{next(at)}" for stamp in stamps for _ in range(LINKS))
        baseline = plain_s(path, 400_000) * len(minutes) * TIMES / 400_000
    took, work, peak, readings, episodes = diagnosed(path, plan)
    with capsys.disabled():
        print(
            f"\n{kind}, {plan}: {readings / 1e6:.1f} million readings, {episodes} episodes in {took:.1f} s "
            f"({work:.1f} s of processors), {peak:.0f} MiB",
            end="",
        )
        if baseline is not None:
            print(f"; a plain csv loop {baseline:.0f} s, {baseline / took:.1f} times as long", end="")
    assert readings == len(minutes) * TIMES
    assert took < 60.0
    assert peak < 2048.0


def test_a_thousand_links_ten_times_a_second(capsys: pytest.CaptureFixture[str], minutes: Batch) -> None:
    live, watcher, seconds = Intake(), Watcher(), 10
    part = minutes.part(0, LINKS * 10)
    payloads = []
    for second in range(seconds):
        for group in range(10):
            names = tuple(f"G{group} {name}" for name in part.names)
            one = Batch(names, part.link, part.time_ns + second * 1_000_000_000, part.values)
            payloads.append(json.dumps(json_records(one)).encode())
    live.take(payloads[0])
    for batch in live.drain():
        watcher.add(batch)
    begun = time.process_time()
    for payload in payloads[1:]:
        live.take(payload)
        for batch in live.drain():
            watcher.add(batch)
    took = time.process_time() - begun
    loads = time.process_time()
    for payload in payloads[1:]:
        json.loads(payload)
    loads = time.process_time() - loads
    counts = live.counts()
    with capsys.disabled():
        rate = (counts.taken - 1000) / took
        print(f"\n{rate:.0f} readings a second on one core, {took / loads:.1f} times json.loads alone", end="")
    assert (counts.lost, counts.refused) == (0, 0)
    assert counts.taken == 10 * 1000 * seconds
    assert took < seconds
