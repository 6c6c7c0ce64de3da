"""Rows as they come: cut into passes, read as files are, whatever is torn or bad left out and counted."""

from __future__ import annotations

import tracemalloc
from pathlib import Path

import numpy as np
import pytest

from linkwright.air.passes import Passes
from linkwright.air.readers import ReadOptions, read_sweep_bytes

REAL = Path(__file__).parents[3] / "shared" / "data" / "sweeps"


def rows(passes: int, hops: int = 4, bins: int = 20, seed: int = 1) -> str:
    """Rows of the first utility, the last level twice."""
    rng = np.random.default_rng(seed)
    lines = []
    for n in range(passes):
        for hop in range(hops):
            low = 470_000_000 + hop * bins * 25_000
            levels = [f"{level:.2f}" for level in rng.normal(-90, 2, bins)]
            head = f"2027-05-14, 09:00:{n % 60:02d}, {low}, {low + bins * 25_000}, 25000.00, 8"
            lines.append(", ".join([head, *levels, levels[-1]]))
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("piece", [1, 7, 100, 100_000])
def test_passes_are_those_of_the_file_however_they_are_cut(piece: int) -> None:
    text = rows(5).encode()
    whole = read_sweep_bytes(text, "file")
    source, found = Passes("pipe"), []
    for at in range(0, len(text), piece):
        found += list(source.feed(text[at : at + piece]))
    found += list(source.end())
    assert len(found) == whole.sweeps == source.passes == 5
    assert np.array_equal(np.concatenate([one.levels_db for one in found]), whole.levels_db)
    assert not source.refused


def test_a_pass_is_told_with_its_last_row_and_not_with_the_next() -> None:
    lines = rows(2).splitlines(keepends=True)
    source = Passes("pipe")
    assert not [one for line in lines[:4] for one in source.feed(line.encode())]
    assert [line for line in lines[4:] for _ in source.feed(line.encode())] == [lines[4], lines[7]]


def test_bad_rows_are_counted_and_the_rest_is_kept() -> None:
    lines = rows(4).splitlines()
    lines[5] = lines[5].replace("-9", "oops", 1)
    lines.insert(7, "the dongle was unplugged")
    source = Passes("pipe")
    found = [*source.feed(("\n".join(lines) + "\n").encode()), *source.end()]
    assert len(found) == 4
    assert source.refused == 2
    assert "line 8" in source.says or "line 6" in source.says
    assert found[1].levels_db.shape[1] < found[0].levels_db.shape[1]  # the bad hop is wanting, the others are there


def test_tables_whose_frequency_starts_over_are_passes() -> None:
    text = "".join(
        "MHz;dBm\n" + "".join(f"{470 + k / 40:.3f};{-90 - n - k % 3}\n" for k in range(80)) for n in range(3)
    )
    falling = "".join("".join(f"{470 + k / 40:.3f},{-90 - n}\n" for k in range(80)[::-1]) for n in range(3))
    for given, unit in ((text, "dBm"), (falling, "dB")):
        source = Passes("pipe")
        found = [*source.feed(given.encode()), *source.end()]
        assert [one.levels_db.shape for one in found] == [(1, 80)] * 3
        assert {one.unit for one in found} == {unit}


def test_lines_of_levels_are_passes_where_the_band_is_stated() -> None:
    options = ReadOptions(columns="bins", from_khz=470_000.0, step_khz=25.0)
    source = Passes("pipe", options)
    text = "\n".join(",".join(f"{-90 - n - k % 5}" for k in range(64)) for n in range(6)) + "\n"
    found = [*source.feed(text.encode()), *source.end()]
    assert [one.levels_db.shape for one in found] == [(1, 64)] * 6, source.says


def test_memory_does_not_grow_over_the_hours() -> None:
    text = rows(50, hops=10, bins=100).encode()
    source = Passes("pipe")
    tracemalloc.start()
    try:
        peaks = []
        for _ in range(6):
            assert sum(1 for _ in source.feed(text)) >= 49
            peaks.append(tracemalloc.get_traced_memory()[0])
    finally:
        tracemalloc.stop()
    assert max(peaks[1:]) < peaks[0] + 100_000


def test_a_frequency_that_never_starts_over_is_refused_and_forgotten(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("linkwright.air.passes.MOST_PASS", 10_000)
    source = Passes("pipe")
    assert not list(source.feed("".join(f"{470 + k / 40:.3f};-90\n" for k in range(2000)).encode()))
    assert source.refused >= 1
    assert "starts over" in source.says


@pytest.mark.skipif(not REAL.exists(), reason="the real recordings are not here")
@pytest.mark.parametrize(
    ("name", "passes"),
    [
        ("rtl_power_1050-1150MHz_13sweeps.csv", 13),
        ("rtl_power_890-900MHz_30sweeps.csv", 30),
        ("hackrf_sweep_2300-2500MHz.csv", 1),
    ],
)
def test_real_rows_come_in_as_they_were_written(name: str, passes: int) -> None:
    source = Passes(name)
    data = (REAL / name).read_bytes()
    found = [one for at in range(0, len(data), 4096) for one in source.feed(data[at : at + 4096])]
    found += list(source.end())
    assert len(found) == passes
    assert not source.refused
