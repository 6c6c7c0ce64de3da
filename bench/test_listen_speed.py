"""Listening to one hour of 48 kHz stereo on one core, the pair of its tracks included: ratios to pyebur128 and to
ffmpeg's loudness filter.

Noise whose level changes every ten seconds: the true peak finds less to pass over in it than in speech. The second
track is the first, 10 ms later and under noise of its own. Two minutes. And the memory of it, at twice the length,
and of many tracks.
"""

from __future__ import annotations

import resource
import shutil
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

HOUR_S, RATE, LATE = 3600, 48_000, 480
CODE = (
    "import sys, time; from pathlib import Path\n"
    "from linkwright.sound.listen import listen\n"
    "from linkwright.sound.pairs import compare\n"
    "from linkwright.sound.recordings import open_recording\n"
    "from linkwright.sound.cross_check import seconded\n"
    "begun = time.process_time()\n"
    "heard = listen(open_recording(Path(sys.argv[1])))\n"
    "pairs = compare([heard.recording])\n"
    "seconded([heard], pairs)\n"
    "assert len(pairs) in (1, 31) and abs(pairs[0].delay_ms - 10.0) < 0.001, pairs[0]\n"
    "peak = Path('/proc/self/status').read_text().split('VmHWM:')[1].split()[0]\n"
    "print(time.process_time() - begun, int(peak) / 1024)"
)


def write(path: Path, tracks: int, length_s: int) -> None:
    rng = np.random.default_rng(1)
    before = np.zeros(LATE, np.float32)
    with soundfile.SoundFile(str(path), "w", RATE, tracks, "PCM_24", format="RF64") as file:
        for _ in range(length_s // 10):
            level = 10.0 ** rng.uniform(-3.0, -1.0)
            one = np.concatenate((before, rng.standard_normal(10 * RATE, dtype=np.float32)))
            before = one[-LATE:]
            x = np.empty((10 * RATE, tracks), np.float32)
            x[:, 0] = one[LATE:]
            for k in range(1, tracks):
                x[:, k] = one[:-LATE] + 0.1 * rng.standard_normal(10 * RATE, dtype=np.float32)
            file.write(x * np.float32(level))


def listened(path: Path) -> tuple[float, float]:
    """Processor seconds and MiB of a process that does nothing else."""
    done = subprocess.run([sys.executable, "-c", CODE, str(path)], capture_output=True, text=True, check=True)
    seconds, peak = map(float, done.stdout.split())
    return seconds, peak


def pyebur128_s(path: Path) -> float:
    import pyebur128
    from pyebur128 import MeasurementMode as Mode

    begun = time.process_time()
    state = pyebur128.R128State(2, RATE, Mode.MODE_I | Mode.MODE_LRA | Mode.MODE_TRUE_PEAK)
    with soundfile.SoundFile(str(path)) as file:
        while (read := file.read(10 * RATE, dtype="float32", always_2d=True)).size:
            state.add_frames(read.ravel(), read.shape[0])
    pyebur128.get_loudness_global(state)
    return time.process_time() - begun


def ffmpeg_s(path: Path) -> float | None:
    if shutil.which("ffmpeg") is None:
        return None
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    command = ["ffmpeg", "-nostdin", "-v", "quiet", "-threads", "1", "-i", str(path)]
    subprocess.run([*command, "-af", "ebur128=peak=true", "-f", "null", "-"], check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def test_an_hour_of_stereo(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "hour.wav"
    write(path, 2, HOUR_S)
    listened(path)  # compiled loops are made and kept on first use
    took, peak = listened(path)
    other, third = pyebur128_s(path), ffmpeg_s(path)
    with capsys.disabled():
        print(f"\nan hour of stereo: {took:.1f} s, at most {peak:.0f} MiB", end="")
        print(f"; {took / other:.2f} times pyebur128 ({other:.1f} s)", end="")
        print("; no ffmpeg" if third is None else f"; {took / third:.2f} times ffmpeg ({third:.1f} s)", end="")
    assert took <= 0.5 * other
    assert peak < 300.0


def test_memory_does_not_grow_with_the_length(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    peaks = []
    for hours in (0.25, 2.0):
        write(tmp_path / "long.wav", 2, round(hours * HOUR_S))
        peaks.append(listened(tmp_path / "long.wav")[1])
    with capsys.disabled():
        print(f"\na quarter of an hour and two hours: at most {peaks[0]:.0f} and {peaks[1]:.0f} MiB", end="")
    assert peaks[1] < peaks[0] + 20.0


def test_memory_of_many_tracks(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "many.wav"
    write(path, 32, 200)
    _, peak = listened(path)
    with capsys.disabled():
        print(f"\n32 tracks: at most {peak:.0f} MiB", end="")
    assert peak < 300.0
