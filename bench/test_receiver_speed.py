"""A receiver of 2.4 million samples a second over 470 to 694 MHz, from recordings: processor time and memory.

`pytest bench/test_receiver_speed.py -s` prints the figures of docs/sweeps.md; the hour takes some minutes.
"""

from __future__ import annotations

import resource
import time
from itertools import islice
from pathlib import Path

import numpy as np
import pytest
from tests.air.recorded_band import Band

from linkwright.air.arrivals import Arrivals
from linkwright.air.fresh import FreshAir
from linkwright.air.ours import Mine
from linkwright.air.passes import Passes
from linkwright.air.tuning.recorded import RecordedTuner, recorded
from linkwright.air.tuning.retuning import whole_band
from linkwright.air.tuning.spectrum import levels_db, passband_of
from linkwright.air.tuning.sweeping import Sweeping, SweepWanted

RATE_HZ, SIZE = 2.4e6, 256
LOW_KHZ, HIGH_KHZ = 470_000.0, 694_000.0
SETTLE_S, LOOK_S = 0.02, 0.02
MINE = tuple(Mine(khz, 200, 200, f"L{khz}", spare=khz % 2 == 0) for khz in range(478_000, 692_000, 17_801))


@pytest.fixture(scope="module")
def tuner(tmp_path_factory: pytest.TempPathFactory) -> RecordedTuner:
    """Three looks at each place of one pass: 0.2 GB."""
    folder = tmp_path_factory.mktemp("band")
    step_khz = RATE_HZ / SIZE / 1e3
    places = whole_band(int((HIGH_KHZ - LOW_KHZ) / step_khz) + 1, passband_of(RATE_HZ, SIZE))
    centres = [(LOW_KHZ + place * step_khz) * 1e3 for unit in places for place in unit]
    Band(rate_hz=RATE_HZ).record(folder, centres, 3.0 * LOOK_S)
    tuner = recorded(str(folder), SETTLE_S)
    tuner.loops = True
    return tuner


def wanted() -> SweepWanted:
    ours = tuple((mine.khz - 100.0, mine.khz + 100.0) for mine in MINE)
    return SweepWanted(LOW_KHZ, HIGH_KHZ, ours, look_s=LOOK_S)


def test_one_pass(tuner: RecordedTuner, capsys: pytest.CaptureFixture[str]) -> None:
    sweeping = Sweeping(tuner, wanted())
    begun, began_s = time.process_time(), tuner.now_s()
    line = next(sweeping.lines())
    took, lasts_s = time.process_time() - begun, tuner.now_s() - began_s
    samples = Band(rate_hz=RATE_HZ).samples(600e6, round(LOOK_S * RATE_HZ))
    begun = time.process_time()
    for _ in range(100):
        levels_db(samples, SIZE)
    a_look = (time.process_time() - begun) / 100.0
    with capsys.disabled():
        print(f"\none pass: {sweeping.looks} looks, {len(line)} bytes, lasts {lasts_s:.2f} s, {took:.2f} s of "
              f"processor ({took / lasts_s:.1%}); spectra alone {sweeping.looks * a_look:.2f} s")  # fmt: skip
    assert took < lasts_s / 4.0


def test_an_hour(tuner: RecordedTuner, capsys: pytest.CaptureFixture[str]) -> None:
    said: list[str] = []
    sweeping = Sweeping(tuner, wanted(), said.append)
    passes, air = Passes("band", sweeping.options), FreshAir()
    arrivals = Arrivals(air)
    arrivals.expect(MINE)
    marks: dict[int, float] = {}
    began_s, begun, told = tuner.now_s(), time.process_time(), 0
    for line in islice(sweeping.lines(), 100_000):
        now_s = tuner.now_s() - began_s
        for sweep in passes.feed(line):
            air.add(sweep, now_s)
            arrivals.look(now_s)
        told = max(told, len(arrivals.somebodies))
        marks.setdefault(int(now_s // 600.0), _memory_mib())
        if now_s >= 3600.0:
            break
    took = time.process_time() - begun
    looked = np.bincount(air.looks).nonzero()[0]
    with capsys.disabled():
        print(f"\nan hour: {said}, {air.passes} rounds, {took:.0f} s of processor, MiB by ten minutes {marks}; "
              f"looks at a bin {looked.min()} to {looked.max()}; told of noise {told}")  # fmt: skip
    assert marks[5] < marks[1] * 1.05
    assert took < 3600.0 / 4.0


def _memory_mib() -> float:
    """What this process holds now."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return round(pages * resource.getpagesize() / 2**20, 1)
