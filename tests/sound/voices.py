"""Real speech for tests, where Debian's packages are installed, and faults put into it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from linkwright.sound.fault import Fault
from linkwright.sound.listen import TrackListener

SPEECH = Path("/usr/share/pocketsphinx/test/data")
EDITED = Path("/usr/share/sounds/alsa")
#: Clips that no threshold was tuned on; the others of the package were.
UNSEEN = (
    "librivox/*-0880.wav",
    "librivox/*-0920.wav",
    "numbers.raw",
    "something.raw",
    "goforward.raw",
)
RATE = 16_000
Ints = NDArray[np.int16]


def speech(name: str) -> Ints:
    """A clip of 16 bits at 16 kHz, found by its pattern."""
    path = next(iter(SPEECH.glob(name)), None)
    if path is None:
        pytest.skip("no real speech: install Debian's pocketsphinx-testdata")
    if path.suffix == ".raw":
        return np.fromfile(path, "<i2")
    return clip(path)[0]


def clip(path: Path) -> tuple[Ints, int]:
    """The samples of a mono file of 16 bits and their rate."""
    import soundfile

    samples, rate = soundfile.read(str(path), dtype="int16")
    return np.asarray(samples, np.int16), int(rate)


def faults_of(samples: Ints, rate: int, block_s: float = 2.0) -> list[Fault]:
    """What is found when the samples stream by in blocks."""
    listener = TrackListener(rate)
    x = np.asarray(samples / 32768.0, np.float32)
    size = round(block_s * 10) * (rate // 100) * 10
    for at in range(0, x.size, size):
        listener.add(x[at : at + size])
    return list(listener.finish(1).faults)


def injected(samples: Ints, kind: str, rng: np.random.Generator) -> tuple[Ints, list[tuple[int, int]]]:
    """A fault of 2 to 30 ms about every half second, where there is sound on both sides; and where they are."""
    x = samples.astype(float)
    places: list[tuple[int, int]] = []
    for begin in range(RATE // 2, x.size - RATE // 2, RATE // 2):
        length = int(rng.uniform(0.002, 0.030) * RATE)
        a = begin + int(rng.uniform(0.0, 0.2) * RATE)
        b = a + length
        if min(np.std(x[a - 320 : a]), np.std(x[b : b + 320])) < 300.0:
            continue
        if kind == "mute":
            x[a:b] = 0.0
        elif kind == "hold":
            x[a:b] = x[a - 1]
        elif kind == "repeat":
            x[a:b] = x[a - length : a]
        elif kind == "ramped hole":
            x[a - 8 : a] *= np.linspace(1.0, 0.0, 8)
            x[b : b + 8] *= np.linspace(0.0, 1.0, 8)
            x[a:b] = 0.0
        else:
            x[a:b] = rng.normal(0.0, 3.0, length)
        places.append((a, b))
    return np.round(x).astype(np.int16), places
