"""Two tracks of the same real speech, one of them later, drifting, cut, in noise, in a room."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray
from tests.sound.voices import RATE, clip, speech

from linkwright.sound.pairs import Pair, compare
from linkwright.sound.recordings import open_recording

Floats = NDArray[np.float64]
CLIPS = ("librivox/*-0870.wav", "librivox/*-0920.wav", "numbers.raw", "something.raw", "goforward.raw")


@cache
def talk() -> Floats:
    """Half a minute of speech with its pauses, full scale 1."""
    return np.concatenate([speech(name) for name in CLIPS]) / 32768.0


def later(x: Floats, samples: float, ppm: float = 0.0) -> Floats:
    """`x` later by `samples` at first, and by `ppm` more as it goes on: eight times as dense, then cubic."""
    from scipy.signal import resample_poly

    dense = resample_poly(x, 8, 1)
    at = (np.arange(x.size) - samples) / (1.0 + ppm * 1e-6) * 8.0
    inside = (at >= 2) & (at <= dense.size - 5)
    i = np.clip(np.floor(at).astype(int), 2, dense.size - 5)
    f = at - i
    y = (
        -f * (f - 1) * (f - 2) / 6 * dense[i - 1]
        + (f + 1) * (f - 1) * (f - 2) / 2 * dense[i]
        - (f + 1) * f * (f - 2) / 2 * dense[i + 1]
        + (f + 1) * f * (f - 1) / 6 * dense[i + 2]
    )
    return np.asarray(np.where(inside, y, 0.0))


def without(x: Floats, at: int, samples: int) -> Floats:
    """`x` with samples lost, as long as before."""
    return np.concatenate((x[:at], x[at + samples :], np.zeros(samples)))


def noisy(x: Floats, over_db: float, rng: np.random.Generator) -> Floats:
    """White noise under the speech by `over_db`, rms against rms."""
    return np.asarray(x + rng.standard_normal(x.size) * x.std() * 10.0 ** (-over_db / 20.0))


def in_a_room(x: Floats, direct_db: float, rng: np.random.Generator, reverberation_s: float = 0.4) -> Floats:
    """The direct sound and a tail of decaying noise, `direct_db` under it altogether."""
    from scipy.signal import fftconvolve

    n = round(reverberation_s * RATE)
    tail = rng.standard_normal(n) * 10.0 ** (-3.0 * np.arange(n) / n)
    tail[: RATE // 500] = 0.0
    tail *= 10.0 ** (-direct_db / 20.0) / np.sqrt((tail**2).sum())
    tail[0] = 1.0
    return np.asarray(fftconvolve(x, tail)[: x.size])


@dataclass(frozen=True)
class Place:
    """Where two microphones stand: noise under the speech, and direct sound over the room's [dB]; None for none."""

    noise_db: float | None = None
    direct_db: tuple[float, float] | None = None

    def heard(self, a: Floats, b: Floats, rng: np.random.Generator) -> tuple[Floats, Floats]:
        """Both tracks there."""
        if self.direct_db is not None:
            a, b = in_a_room(a, self.direct_db[0], rng), in_a_room(b, self.direct_db[1], rng)
        if self.noise_db is not None:
            a, b = noisy(a, self.noise_db, rng), noisy(b, self.noise_db, rng)
        return a, b


PLACES = {
    "dry": Place(),
    "noise 10 dB under": Place(10.0),
    "room, one near and one far": Place(30.0, (10.0, 0.0)),
    "room and noise": Place(15.0, (6.0, 3.0)),
}


def paired(folder: Path, a: Floats, b: Floats, rate: int = RATE) -> Pair:
    """What is found of two tracks of one file of 24 bits."""
    path = folder / "two.wav"
    soundfile.write(str(path), 0.3 * np.stack((a, b), axis=1), rate, subtype="PCM_24")
    return compare([open_recording(path)])[0]


__all__ = ["PLACES", "RATE", "Place", "clip", "in_a_room", "later", "noisy", "paired", "talk", "without"]
