"""Fundamentals of voices against a published reference implementation: Praat's autocorrelation, by parselmouth.

    python -m bench.voice_reference FOLDER

Needs the package praat-parselmouth, which is no dependency. FOLDER and takes are as in `bench.listen_named`. Prints
for each talker what a twentieth of the fundamentals stay under, and their median: the reference in the clean take,
ours there, and ours with rumble 10 dB over the voice.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from bench.listen_named import LANGUAGES, RATE, VOICE_DBFS, Floats, clips, level, low, take

from linkwright.physics.speech import F0_HZ
from linkwright.sound.low_band import Slowed, slow_rate_hz
from linkwright.sound.pitch import PitchMeter


def ours(x: Floats) -> Floats:
    """The fundamentals of a track at even ranks [Hz]."""
    slowed, meter = Slowed(RATE), PitchMeter(slow_rate_hz(RATE))
    for at in range(0, x.size, 10 * RATE):
        meter.add(slowed.add(np.asarray(x[at : at + 10 * RATE], np.float32))[1])
    return meter.voice()


def reference(x: Floats) -> Floats:
    """The fundamentals of its voiced frames [Hz]."""
    import parselmouth  # type: ignore[import-not-found]

    found = parselmouth.Sound(x, RATE).to_pitch_ac(time_step=0.01, pitch_floor=F0_HZ[0], pitch_ceiling=F0_HZ[1])
    hertz = np.asarray(found.selected_array["frequency"])
    return np.asarray(hertz[hertz > 0.0])


def main(folder: Path) -> None:
    """Print a row for each talker."""
    print("| talker | reference [Hz] | ours | ours in rumble |")
    print("| --- | --- | --- | --- |")
    for package, languages in LANGUAGES.items():
        for language in languages[:4]:
            x = take(clips(folder, package, language), 120.0, 7)
            shaken = x + low(x.size, np.random.default_rng(0), 40.0) * level(VOICE_DBFS + 10.0)
            shown = (
                f"{np.quantile(f, 0.05):.0f}, {np.median(f):.0f}" for f in (reference(x), ours(x), ours(shaken))
            )
            print(f"| {package} {language} | " + " | ".join(shown) + " |", flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
