"""A whole day of readings through figures and envelopes: time for each million, and that memory does not grow.

`python -m bench.test_wrap_speed` goes through 43.2 million (50 links, ten readings a second, 24 hours) and prints
what it took; `pytest bench/test_wrap_speed.py` takes a minute of them, against unpacking alone as the baseline.
"""

from __future__ import annotations

import resource
import time
from typing import Any

import numpy as np

from linkwright.watch.figures.outline import Outline
from linkwright.watch.figures.statistics import FiguresTally
from linkwright.watch.log.kept import Stretch, packed, unpacked

LINKS, RATE_HZ, MINUTES = 50, 10, 1440


def minute(n: int, seed: int = 1) -> Stretch:
    """One minute of all links: levels about -60 dBm that fade, now and then under what is needed."""
    draws = np.random.default_rng([seed, n])
    steps = 60 * RATE_HZ
    time_ms = np.repeat(1_810_281_600_000 + 60_000 * n + np.arange(steps) * (1000 // RATE_HZ), LINKS)
    size = steps * LINKS
    levels = [(-60 + 10 * np.log10(draws.exponential(size=size))).astype(np.float32) for _ in range(2)]
    ones = np.ones(size, dtype=np.float32)
    names, link = tuple(f"Link {k}" for k in range(LINKS)), np.tile(np.arange(LINKS, dtype=np.int32), steps)
    return Stretch(
        names, time_ms, link, levels[0], levels[1], -30 * ones, ones, ones, np.zeros(size, dtype=np.int8),
    )  # fmt: skip


def test_a_minute(benchmark: Any) -> None:
    tally, outline, one = FiguresTally(), Outline(), unpacked(packed(minute(0)))
    began = time.perf_counter()
    for _ in range(5):
        unpacked(packed(one))
    benchmark.extra_info["packed_and_unpacked_s"] = (time.perf_counter() - began) / 5

    def go() -> None:
        tally.add(one)
        outline.add(one)

    benchmark.pedantic(go, rounds=5)


def main() -> None:
    """The whole day."""
    tally, outline, seconds, readings = FiguresTally(), Outline(), 0.0, 0
    for n in range(MINUTES):
        data = packed(minute(n))
        began = time.perf_counter()
        one = unpacked(data)
        tally.add(one)
        outline.add(one)
        seconds += time.perf_counter() - began
        readings += one.size
        if n in (60, MINUTES - 1):
            most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            print(f"{readings} readings: {seconds:.1f} s, at most {most:.0f} MiB in memory")
    print(f"{1e6 * seconds / readings:.2f} s a million; {len(tally.figures())} links, bins of {outline.step_ms} ms")


if __name__ == "__main__":
    main()
