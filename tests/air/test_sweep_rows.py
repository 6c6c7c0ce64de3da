"""Rows of the two utilities: what was written comes back, and the two are not mixed up."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray

from linkwright.air.readers import read_sweep_bytes
from linkwright.shoot.errors import InputError

Floats = NDArray[np.float64]


def first_rows(matrix: Floats, *, low_hz: int, step_hz: int, hop_bins: int, samples: int = 16) -> str:
    """Rows as the first generic SDR sweep utility writes them; NaN is written as it is."""
    lines = []
    for sweep, levels in enumerate(matrix):
        for start in range(0, levels.size, hop_bins):
            hop = levels[start : start + hop_bins]
            low = low_hz + start * step_hz
            head = f"2027-05-14, 23:59:{58 + sweep:02d}" if sweep < 2 else f"2027-05-15, 00:00:{sweep:02d}"
            values = [f"{level:.2f}" for level in hop]
            fields = [head, str(low), str(low + hop.size * step_hz), f"{step_hz:.2f}", str(samples)]
            lines.append(", ".join(fields + values + values[-1:]))
    return "\n".join(lines) + "\n"


def second_rows(matrix: Floats, *, low_hz: int, order: tuple[int, ...]) -> str:
    """Rows as the second utility writes them: slices of 5 MHz in the given order, one copy of each level."""
    lines = []
    slices = len(order)
    for levels in matrix:
        parts = levels.reshape(slices, -1)
        step = 5e6 / parts.shape[1]
        for at in order:
            low = low_hz + at * 5_000_000
            values = ", ".join(f"{level:.2f}" for level in parts[at])
            lines.append(f"2027-05-14, 08:30:00.250000, {low}, {low + 5_000_000}, {step:.2f}, 204, {values}")
    return "\n".join(lines) + "\n"


LEVELS = st.integers(-12000, 3000).map(lambda hundredths: hundredths / 100.0)


@given(st.data(), st.integers(1, 4), st.integers(1, 5), st.integers(3, 9))
def test_first_utility_round_trip(data: st.DataObject, sweeps: int, hops: int, bins: int) -> None:
    matrix = data.draw(arrays(np.float64, (sweeps, hops * bins), elements=LEVELS))
    text = first_rows(matrix, low_hz=470_000_000, step_hz=25_000, hop_bins=bins)
    sweep = read_sweep_bytes(text.encode(), "first.csv")
    assert np.array_equal(sweep.levels_db, matrix)
    assert np.allclose(sweep.frequencies_khz, 470_000 + 25.0 * np.arange(hops * bins), rtol=0, atol=1e-9)
    assert sweep.averages == 16
    assert sweep.step_khz == 25.0
    assert sweep.unit == "dB"
    assert not sweep.calibrated
    assert sweep.copied.sum() == hops


@given(st.data(), st.integers(1, 3), st.integers(4, 20), st.permutations(range(4)))
def test_second_utility_round_trip(data: st.DataObject, sweeps: int, bins: int, order: list[int]) -> None:
    matrix = data.draw(arrays(np.float64, (sweeps, 4 * bins), elements=LEVELS))
    text = second_rows(matrix, low_hz=2_300_000_000, order=tuple(order))
    sweep = read_sweep_bytes(text.encode(), "second.csv")
    assert np.array_equal(sweep.levels_db, matrix)
    step = 5_000.0 / bins
    expected = 2_300_000 + step * (np.arange(4 * bins) + 0.5)
    assert np.allclose(sweep.frequencies_khz, expected, rtol=0, atol=0.01)  # the step is printed to 10 mHz
    assert sweep.averages == 1


def test_midnight_and_the_start() -> None:
    text = first_rows(np.full((4, 8), -50.0), low_hz=470_000_000, step_hz=25_000, hop_bins=4)
    sweep = read_sweep_bytes(text.encode(), "x")
    assert sweep.started == datetime(2027, 5, 14, 23, 59, 58)
    assert sweep.lasted_s == 5.0  # 23:59:58 to 00:00:03
    assert sweep.sweeps == 4


def test_hops_out_of_order_within_each_sweep() -> None:
    matrix = np.arange(24.0).reshape(2, 12) - 60.0
    lines = first_rows(matrix, low_hz=470_000_000, step_hz=25_000, hop_bins=4).splitlines()
    shuffled = [lines[i] for i in (2, 0, 1, 4, 5, 3)]
    sweep = read_sweep_bytes("\n".join(shuffled).encode(), "x")
    assert np.array_equal(sweep.levels_db, matrix)


def test_overlapping_hops_keep_the_higher_level() -> None:
    one = "2027-05-14, 08:00:00, 470000000, 470100000, 25000.00, 16, -50.00, -51.00, -52.00, -53.00, -53.00"
    two = "2027-05-14, 08:00:00, 470050000, 470150000, 25000.00, 16, -40.00, -60.00, -54.00, -55.00, -55.00"
    sweep = read_sweep_bytes(f"{one}\n{two}\n".encode(), "x")
    assert np.allclose(sweep.frequencies_khz, 470_000 + 25.0 * np.arange(6))
    assert sweep.levels_db.tolist() == [[-50.0, -51.0, -40.0, -53.0, -54.0, -55.0]]
    assert any("overlap" in note for note in sweep.understood)


def test_a_hop_that_is_missing_from_a_sweep_was_not_looked_at() -> None:
    lines = first_rows(np.full((2, 8), -50.0), low_hz=470_000_000, step_hz=25_000, hop_bins=4).splitlines()
    sweep = read_sweep_bytes("\n".join(lines[:3]).encode(), "x")
    assert sweep.sweeps == 2
    assert np.isnan(sweep.levels_db[1, 4:]).all()
    assert np.allclose(sweep.mean_db, -50.0)


def test_infinite_and_nan_levels_are_not_looked_at() -> None:
    row = "2027-05-14, 08:00:00, 470000000, 470100000, 25000.00, 16, -inf, nan, -52.00, -53.00, -53.00\n"
    sweep = read_sweep_bytes(row.encode(), "x")
    assert np.isnan(sweep.levels_db[0, :2]).all()
    assert any("infinite" in warning for warning in sweep.warnings)


def test_a_last_row_that_was_cut_short_is_left_out() -> None:
    text = first_rows(np.full((3, 8), -50.0), low_hz=470_000_000, step_hz=25_000, hop_bins=4)
    sweep = read_sweep_bytes(text[:-12].encode(), "x")
    assert any("cut short" in warning for warning in sweep.warnings)
    assert np.isnan(sweep.levels_db[2, 4:]).all()


def test_rows_without_the_second_copy_are_a_guess() -> None:
    text = first_rows(np.arange(8.0)[None] - 60.0, low_hz=470_000_000, step_hz=25_000, hop_bins=4)
    trimmed = "\n".join(line.rpartition(",")[0] for line in text.splitlines())
    sweep = read_sweep_bytes(trimmed.encode(), "x")
    assert sweep.levels_db[0].tolist() == (np.arange(8.0) - 60.0).tolist()
    assert any("half a bin" in note for note in sweep.guessed)


GOOD = "2027-05-14, 08:00:00, 470000000, 470100000, 25000.00, 16, -50.00, -51.00, -52.00, -53.00, -53.00"


@pytest.mark.parametrize(
    ("bad", "says"),
    [
        (
            "2027-05-14, 08:00:00, 470000000, 470100000, 25000.00, 16, -50.00, x, -52.00, -53.00, -53.00",
            "no number",
        ),
        ("2027-05-14, 08:00:00, 470000000, 470100000, 25000.00, 16, -50.00, -51.00", "levels"),
        ("2027-05-14, 08:00:00, 470100000, 470000000, 25000.00, 16, -50.00, -51.00, -52.00, -53.00, -53.00", "low"),
        ("2027-05-14, 08:00:00, 470000000, 470100000, -25000, 16, -50.00, -51.00, -52.00, -53.00, -53.00", "step"),
        ("2027-05-14, 08:00:00, 470000000, 470100000, 12500.00, 16, -1, -1, -1, -1, -1, -1, -1, -1, -1", "step"),
        (
            "2027-05-14, 08:00:00, 470000000, 470100000, 25000.00, 16, -50.00, -51.00, -9999, -53.00, -53.00",
            "level",
        ),
        ("and now for something else", "expected date"),
        ("2027-05-14, 08:00:00, 47", "expected date"),
    ],
)
def test_a_bad_row_is_named_by_its_line(bad: str, says: str) -> None:
    text = "\n".join([GOOD, GOOD, bad, GOOD, ""])
    with pytest.raises(InputError) as caught:
        read_sweep_bytes(text.encode(), "quay.csv")
    assert caught.value.line == 3
    assert caught.value.path == "quay.csv"
    assert says in caught.value.says


def test_a_date_that_is_none() -> None:
    with pytest.raises(InputError) as caught:
        read_sweep_bytes(GOOD.replace("05-14", "13-41").encode(), "x")
    assert caught.value.line == 1


def test_hops_that_do_not_come_again_are_refused_before_memory_is_taken() -> None:
    row = "2027-05-14, 08:00:00, {0}, {1}, 25000.00, 16, -50.00, -51.00, -51.00"
    hops = [row.format(470_000_000 + 50_000 * i, 470_050_000 + 50_000 * i) for i in range(3000)]
    again = [hops[0]] * 3000
    with pytest.raises(InputError, match="come again"):
        read_sweep_bytes("\n".join(hops + again).encode(), "x")
