"""Where a delay jumps between two tracks: at which sample, by how many, and which track lost them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.physics.delays import DelayCourse, Jump, place_of_jump
from linkwright.sound.recordings import Reader
from linkwright.units import FloatArray, SampleArray

#: The band in which the place is looked for [Hz].
VOICE_HZ: Final = (200.0, 4000.0)
#: Both sides of the place must agree with their own delay this well (own choice).
LEAST_FIT: Final = 0.05
#: The longest stretch that is looked through for one jump [s].
LONGEST_S: Final = 120.0


@dataclass(frozen=True)
class Loss:
    """Samples that one track lost against the other, at `at_s` in the first track's time.

    lost : "a" or "b". A track that says samples twice shows in the same way as the other one losing them.
    """

    at_s: float
    samples: int
    lost: str


@dataclass(frozen=True, slots=True)
class Voice:
    """A channel of a file, its sample at the course's time 0, and -1 where it is inverted."""

    reader: Reader
    channel: int
    begin: int
    sign: float = 1.0

    def read(self, first: int, count: int) -> FloatArray:
        """The band that carries most of a voice, from a sample after the beginning on."""
        rate = self.reader.recording.rate_hz
        return _voice_band(self.reader.read(self.begin + first, count)[self.channel], rate) * self.sign


def losses(a: Voice, b: Voice, course: DelayCourse, window_s: float) -> tuple[Loss, ...]:
    """All jumps of a course, each in its place; one that does not fit both delays is left out."""
    kept = []
    rate = a.reader.recording.rate_hz
    delay_s = course.delay_s
    for jump in course.jumps:
        drifted = (course.drift or 0.0) * (jump.after_s + jump.before_s) / 2.0
        placed = _placed(a, b, jump, delay_s + drifted, window_s)
        delay_s += jump.by_s
        size = round(jump.by_s * rate)
        if placed is not None and size:
            kept.append(Loss(placed / rate, abs(size), "a" if size > 0 else "b"))
    return tuple(kept)


def _placed(a: Voice, b: Voice, jump: Jump, delay_s: float, window_s: float) -> int | None:
    """The sample of `a` at which the jump is; None where there is no such place."""
    rate = a.reader.recording.rate_hz
    first = round((jump.after_s - window_s / 2.0) * rate)
    count = min(round((jump.before_s - jump.after_s + window_s) * rate), round(LONGEST_S * rate))
    shifts = (round(delay_s * rate), round((delay_s + jump.by_s) * rate))
    place, fit = place_of_jump(a.read(first, count), *(b.read(first + shift, count) for shift in shifts))
    return a.begin + first + place if fit >= LEAST_FIT else None


def _voice_band(x: SampleArray, rate_hz: int) -> FloatArray:
    """The band that carries most of a voice, without rumble and hiss, no later than before."""
    from scipy.signal import butter, sosfiltfilt

    high = min(VOICE_HZ[1], 0.45 * rate_hz)
    return np.asarray(sosfiltfilt(butter(2, (VOICE_HZ[0], high), "bandpass", fs=rate_hz, output="sos"), x))
