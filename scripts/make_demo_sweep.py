"""Write the demo's synthetic sweep: a column of frequencies and one of levels for each pass, made up from a seed.

What is in it stands in `PLACED`, so that a test can ask whether it is found. The noise comes from
`random.Random.random` alone, whose sequence Python keeps from version to version, so the same seed gives the
same file, byte for byte. Nothing in it was received anywhere.
"""

from __future__ import annotations

import argparse
import math
import random
import sys
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

FROM_KHZ, TO_KHZ = 470_000, 694_000
STEP_KHZ = 25
SWEEPS = 12
SWEEP_EVERY_S = 5
AVERAGES = 16
FLOOR_DB = -105.0
TILT_DB = 3.0  # from the lower end to the upper one, with a slow wave of +-0.7 dB on it
STARTED = datetime(2027, 5, 14, 8, 30, 0)


@dataclass(frozen=True)
class Placed:
    """One thing on the air: band [kHz], level over the floor within it [dB], sweeps that it is on in."""

    name: str
    kind: str  # "multiplex" | "carrier" | "spur"
    from_khz: float
    to_khz: float
    over_floor_db: float
    on_in: tuple[int, ...] = tuple(range(SWEEPS))


def _multiplex(channel: int, over_floor_db: float) -> Placed:
    """A DVB-T multiplex, 7.6 MHz in the middle of its 8 MHz channel (lower edge 470 + 8 (n - 21) MHz)."""
    middle = 470_000 + 8_000 * (channel - 21) + 4_000
    return Placed(f"channel {channel}", "multiplex", middle - 3_800, middle + 3_800, over_floor_db)


def _carrier(
    name: str, khz: float, width_khz: float, over_db: float, on_in: tuple[int, ...] | None = None
) -> Placed:
    when = tuple(range(SWEEPS)) if on_in is None else on_in
    return Placed(name, "carrier", khz - width_khz / 2.0, khz + width_khz / 2.0, over_db, when)


def _spur(khz: float, over_floor_db: float) -> Placed:
    return Placed(f"spur at {khz / 1000:g} MHz", "spur", khz - 12.5, khz + 12.5, over_floor_db)


PLACED: tuple[Placed, ...] = (
    _multiplex(24, 24.0),
    _multiplex(27, 13.0),
    _multiplex(31, 33.0),
    _carrier("another crew's microphone", 585_250, 200, 22.0),
    _carrier("intercom base", 606_300, 25, 31.0),
    _carrier("handheld microphone", 640_125, 200, 17.0),
    _carrier("somebody now and then", 571_600, 25, 19.0, on_in=(3, 9)),
    _spur(480_000, 14.0),
    _spur(576_000, 11.0),
    _spur(600_000, 16.0),
    _spur(624_000, 12.0),
)


def floor_db(khz: float) -> float:
    """The made-up floor at a frequency [kHz], in the file's relative dB."""
    part = (khz - FROM_KHZ) / (TO_KHZ - FROM_KHZ)
    return FLOOR_DB + TILT_DB * part + 0.7 * math.sin(2.0 * math.pi * 1.5 * part)


def _power(khz: float, sweep: int) -> float:
    """Mean power in the bin centred at `khz` in one sweep, in milliwatts of the file's reference."""
    floor = math.pow(10.0, floor_db(khz) / 10.0)
    low, high = khz - STEP_KHZ / 2.0, khz + STEP_KHZ / 2.0
    total = floor
    for placed in PLACED:
        overlap = min(high, placed.to_khz) - max(low, placed.from_khz)
        if overlap > 0.0 and sweep in placed.on_in:
            total += floor * math.pow(10.0, placed.over_floor_db / 10.0) * overlap / STEP_KHZ
    return total


def _noisy(power: float, source: random.Random) -> float:
    """A level [dB] whose power is averaged over `AVERAGES` looks at noise-like signals of that power."""
    looks = sum(-math.log(1.0 - source.random()) for _ in range(AVERAGES))
    return 10.0 * math.log10(power * looks / AVERAGES)


def rows(seed: int) -> list[str]:
    """The lines of the file: what the columns are, when it was made, then a line for each frequency."""
    source = random.Random(seed)
    frequencies_khz = range(FROM_KHZ, TO_KHZ + 1, STEP_KHZ)
    passes = [[_noisy(_power(khz, sweep), source) for khz in frequencies_khz] for sweep in range(SWEEPS)]
    lines = [
        f"Started: {STARTED:%Y-%m-%d %H:%M:%S}; lasted: {SWEEP_EVERY_S * (SWEEPS - 1)} s",
        f"Resolution bandwidth: {STEP_KHZ} kHz; averages: {AVERAGES}; average type: power; each column is a sweep",
        ",".join(["Frequency MHz", *(f"pass {number} dB" for number in range(1, SWEEPS + 1))]),
    ]
    for khz, levels in zip(frequencies_khz, zip(*passes, strict=True), strict=True):
        lines.append(f"{khz / 1000:.3f}," + ",".join(f"{level:.1f}" for level in levels))
    return lines


def main(arguments: list[str] | None = None) -> int:
    """Write the file; returns the exit code."""
    parser = argparse.ArgumentParser(description="Write the demo's synthetic sweep file.")
    parser.add_argument("-o", "--output", default="demo-sweep.csv", help="where to; - is standard output")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(arguments)
    text = "\n".join(rows(options.seed)) + "\n"
    if options.output == "-":
        sys.stdout.write(text)
    else:
        Path(options.output).write_text(text, encoding="ascii", newline="\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
