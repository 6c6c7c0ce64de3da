"""Loudness of random programmes against two implementations that share nothing with ours."""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from linkwright.sound.listen import listen
from linkwright.sound.recordings import open_recording

RATES = (44_100, 48_000, 96_000)


def programme(seed: int, rate: int) -> NDArray[np.float64]:
    """Two to six seconds of noise of a random colour, in phrases of random levels with pauses; one track or two."""
    rng = np.random.default_rng([41, seed])
    length = round(rng.uniform(2.0, 6.0) * rate)
    spectrum = np.fft.rfft(rng.standard_normal((int(rng.integers(1, 3)), length)), axis=1)
    hertz = np.fft.rfftfreq(length, 1.0 / rate)
    spectrum *= (1.0 + hertz / 100.0) ** rng.uniform(-1.0, 0.2)
    x = np.fft.irfft(spectrum, length, axis=1)
    phrases = rng.uniform(-40.0, 0.0, 40) - 60.0 * (rng.random(40) < 0.3)
    x *= np.repeat(10.0 ** (phrases / 20.0), length // 40 + 1)[:length]
    return np.asarray(x.T / np.abs(x).max() * 10.0 ** (rng.uniform(-30.0, -1.0) / 20.0))


def pyebur128_lufs(x: NDArray[np.float64], rate: int) -> float:
    import pyebur128

    state = pyebur128.R128State(x.shape[1], rate, pyebur128.MeasurementMode.MODE_I)
    state.add_frames(np.ascontiguousarray(x).ravel(), x.shape[0])
    return float(pyebur128.get_loudness_global(state))


def ffmpeg_lufs(path: Path) -> float:
    command = ["ffmpeg", "-nostats", "-i", str(path), "-filter_complex", "ebur128", "-f", "null", "-"]
    said = subprocess.run(command, capture_output=True, text=True, check=True).stderr
    return float(re.findall(r"I:\s+(-?[\d.]+|-inf) LUFS", said)[-1])


def farthest(folder: Path, seeds: Sequence[int]) -> list[float]:
    """By how much at most ours differs from each of the others that are here, in random programmes [LU]."""
    path, apart = folder / "one.wav", []
    for seed in seeds:
        rate = RATES[seed % 3]
        x = programme(seed, rate)
        soundfile.write(str(path), x, rate, subtype="PCM_24")
        loudness = listen(open_recording(path)).programme
        assert loudness is not None
        assert loudness.integrated_lufs is not None
        others = [pyebur128_lufs(soundfile.read(str(path))[0].reshape(x.shape), rate)]
        others += [ffmpeg_lufs(path)] if shutil.which("ffmpeg") else []
        apart.append([abs(loudness.integrated_lufs - other) for other in others])
    return [float(worst) for worst in np.max(apart, axis=0)]


@pytest.mark.published("two implementations of EBU R 128 on random programmes: integrated, 0.1 LU")
def test_random_programmes_are_as_loud_as_two_others_say(tmp_path: Path) -> None:
    """libebur128 (by pyebur128), and ffmpeg's filter where it is installed, which tells tenths."""
    worst = farthest(tmp_path, range(9))
    assert worst[0] < 0.01
    assert all(one < 0.15 for one in worst[1:])


if __name__ == "__main__":  # a hundred, for docs/sound.md
    with tempfile.TemporaryDirectory() as scratch:
        print(farthest(Path(scratch), range(100)))
