"""Simulated sweeps from a seed: what the measurements of bench/ and of docs/sweeps.md are made on."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from linkwright.air.sweep import Sweep
from linkwright.units import FloatArray


def sweep_of(
    levels_db: FloatArray, *, first_khz: float = 470_012.5, step_khz: float = 25.0, averages: int | None = 16
) -> Sweep:
    """A sweep in memory: levels (sweeps, bins) over evenly spaced bins."""
    levels = np.atleast_2d(levels_db)
    frequencies: FloatArray = first_khz + step_khz * np.arange(levels.shape[1], dtype=np.float64)
    return Sweep(
        "simulated", frequencies, levels, "dB", step_khz, step_khz, averages, "rms", None, None, "simulated",
        np.zeros(levels.shape[1], dtype=np.bool_),
    )  # fmt: skip


def noise_db(source: np.random.Generator, averages: int, shape: tuple[int, ...]) -> FloatArray:
    """Levels [dB] of noise averaged so many times."""
    return np.asarray(10.0 * np.log10(source.gamma(averages, 1.0 / averages, shape)), dtype=np.float64)


def write_rows(path: Path, sweeps: int, bins: int, seed: int = 1, hop_bins: int = 500, averages: int = 16) -> None:
    """Rows of the first generic SDR sweep utility, some 6.8 bytes a level."""
    source = np.random.default_rng(seed)
    with path.open("w", encoding="ascii") as out:
        for sweep in range(sweeps):
            levels = noise_db(source, averages, (bins,)) - 50.0
            words = [f"{level:.1f}" for level in levels.tolist()]
            clock = f"2027-05-14, {8 + sweep // 3600:02d}:{sweep // 60 % 60:02d}:{sweep % 60:02d}"
            for start in range(0, bins, hop_bins):
                low = 470_000_000 + start * 11_200
                hop = words[start : start + hop_bins]
                head = f"{clock}, {low}, {low + len(hop) * 11_200}, 11200.00, {averages}"
                out.write(f"{head}, {', '.join(hop)}, {hop[-1]}\n")
