"""How much of the speech stands over what else is there: the Speech Intelligibility Index (ANSI S3.5-1997).

The document was not at hand: formulas and tables are as two public implementations have them, which agree
(tests/published/test_intelligibility.py).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linkwright.physics.speech import VOICE_DB
from linkwright.sound.fault import stretches
from linkwright.sound.room_tone import PIECES, STEPS
from linkwright.units import BoolArray, FloatArray, SampleArray


@dataclass(frozen=True)
class SpeechBands:
    """The constants of a procedure, a value a band.

    hz : midband frequencies. importance : of average speech. speech_db : standard speech spectrum level, normal
    effort. inner_db : reference internal noise spectrum level. spreads : masking reaches upwards into other bands.
    """

    hz: FloatArray
    importance: FloatArray
    speech_db: FloatArray
    inner_db: FloatArray
    spreads: bool


#: ANSI S3.5-1997, table 3: the procedure by one-third octaves.
THIRDS: Final = SpeechBands(
    np.array([
        160.0, 200.0, 250.0, 315.0, 400.0, 500.0, 630.0, 800.0, 1000.0, 1250.0, 1600.0, 2000.0, 2500.0, 3150.0,
        4000.0, 5000.0, 6300.0, 8000.0,
    ]),
    np.array([
        0.0083, 0.0095, 0.0150, 0.0289, 0.0440, 0.0578, 0.0653, 0.0711, 0.0818, 0.0844, 0.0882, 0.0898, 0.0868,
        0.0844, 0.0771, 0.0527, 0.0364, 0.0185,
    ]),
    np.array([
        32.41, 34.48, 34.75, 33.98, 34.59, 34.27, 32.06, 28.30, 25.01, 23.00, 20.15, 17.32, 13.18, 11.55, 9.33,
        5.31, 2.59, 1.13,
    ]),
    np.array([
        0.6, -1.7, -3.9, -6.1, -8.2, -9.7, -10.8, -11.9, -12.5, -13.5, -15.4, -17.7, -21.2, -24.2, -25.9, -23.6,
        -15.8, -7.1,
    ]),
    spreads=True,
)  # fmt: skip
#: Table 4, octaves: levels are those of table 3 at the same frequencies.
OCTAVES: Final = SpeechBands(
    THIRDS.hz[2::3],
    np.array([0.0617, 0.1671, 0.2373, 0.2648, 0.2142, 0.0549]),
    THIRDS.speech_db[2::3],
    THIRDS.inner_db[2::3],
    spreads=False,
)
#: Edges of the one-third octaves about 1 kHz, to the base of ten, and their widths [Hz] (IEC 61260-1).
EDGES_HZ: Final = 10.0 ** (3.0 + (np.arange(-8, 11) - 0.5) / 10.0)
WIDTHS_HZ: Final = np.diff(EDGES_HZ)
#: Where there is nothing, its spectrum level [dB] (section 4.2).
NOTHING_DB: Final = -50.0
#: A half second is speech where so many of its steps of 100 ms are voiced; a pause where these differ at most so
#: much [dB]; pauses count up to this over the quietest [dB]. Own choices.
VOICED_STEPS, STEADY_DB, PAUSES_DB = 2, 6.0, 10.0
#: No step of a pause lies under this mean square: digital silence is none.
SILENCE: Final = 1e-12
#: Over the first, a way of talking to each other is good, under the second it is poor (the standard, from memory).
GOOD, POOR = 0.75, 0.45


def disturbance_db(
    speech_db: FloatArray, noise_db: FloatArray, threshold_db: FloatArray | float = 0.0, bands: SpeechBands = THIRDS
) -> FloatArray:
    """What speech has to stand over, spectrum level of each band [dB]: noise, its masking of higher bands, the ear.

    Sections 4.3 to 4.5, equations 5 to 10.
    """
    masked = np.asarray(noise_db, float)
    if bands.spreads:
        masker = np.maximum(speech_db - 24.0, noise_db)
        slope = 0.6 * (masker + 10.0 * np.log10(bands.hz) - 6.353) - 80.0
        above = np.tril(np.ones((bands.hz.size, bands.hz.size)), -1)
        octaves = 3.32 * np.log10(0.89 * bands.hz[:, None] / bands.hz)
        spread = (above * 10.0 ** (np.minimum(masker + slope * octaves, 300.0) / 10.0)).sum(axis=1)
        masked = 10.0 * np.log10(10.0 ** (masked / 10.0) + spread)
        masked[0] = masker[0]
    return np.asarray(np.maximum(masked, bands.inner_db + threshold_db))


def audibility(
    speech_db: FloatArray, noise_db: FloatArray, threshold_db: FloatArray | float = 0.0, bands: SpeechBands = THIRDS
) -> FloatArray:
    """How much of the speech in each band reaches the listener, 0 to 1.

    speech_db, noise_db : equivalent spectrum levels [dB SPL in 1 Hz]. threshold_db : hearing level [dB HL].
    Sections 4.6 and 4.7, equations 11 to 13: distortion by level, times 30 dB of speech over the disturbance.
    """
    over = (speech_db - disturbance_db(speech_db, noise_db, threshold_db, bands) + 15.0) / 30.0
    loud = 1.0 - (speech_db - bands.speech_db - 10.0) / 160.0
    return np.asarray(np.clip(over, 0.0, 1.0) * np.clip(loud, 0.0, 1.0))


def sii(
    speech_db: FloatArray, noise_db: FloatArray, threshold_db: FloatArray | float = 0.0, bands: SpeechBands = THIRDS
) -> float:
    """The Speech Intelligibility Index, 0 to 1; section 4.8, equation 14. As `audibility`."""
    return float(bands.importance @ audibility(speech_db, noise_db, threshold_db, bands))


@dataclass(frozen=True)
class Intelligibility:
    """The index of a track, and what it is made of; None and `why` where it is not told.

    speech_db, noise_db, disturbance_db, audible : of each band of `THIRDS`, the voice taken to be 62.35 dB SPL.
    """

    index: float | None
    why: str = ""
    speech_db: FloatArray = field(default_factory=lambda: np.empty(0))
    noise_db: FloatArray = field(default_factory=lambda: np.empty(0))
    disturbance_db: FloatArray = field(default_factory=lambda: np.empty(0))
    audible: FloatArray = field(default_factory=lambda: np.empty(0))


@dataclass
class SpeechMeter:
    """Half seconds in which somebody talks, and the quietest ones, by bands, of a track that streams by.

    Of those of speech the first 100 ms are looked at. step : samples in 100 ms.
    """

    rate_hz: int
    step: int
    marks: FloatArray = field(default_factory=lambda: np.empty((0, 2)))  # of each step: whether voiced, and power
    speech: FloatArray = field(default_factory=lambda: np.zeros(WIDTHS_HZ.size))
    count: int = 0
    quiet: list[tuple[float, bool, FloatArray]] = field(default_factory=list)  # power, whether steady, bands

    def add(self, pieces: SampleArray, steps: int, voiced: BoolArray, power: FloatArray) -> None:
        """The next pieces of `RoomTone`; what `PitchMeter` says of the frames in the next `steps` steps."""
        of = np.arange(voiced.size) * steps // max(voiced.size, 1)
        number = np.maximum(np.bincount(of, minlength=steps), 1)
        sums = (np.bincount(of, values, steps) / number for values in (voiced.astype(float), power))
        marks = np.concatenate((self.marks, np.stack(list(sums), axis=1)[:steps]))
        count = len(pieces)
        self.marks = marks[count * STEPS :]
        said, levels = np.moveaxis(marks[: count * STEPS].reshape(count, STEPS, 2), 2, 0)
        talks = (said > 0.0).sum(axis=1) >= VOICED_STEPS
        self.count += int(talks.sum())
        self.speech += self._banded(pieces[talks, 0])
        for n in np.flatnonzero(levels.min(axis=1) > SILENCE) if count else ():
            mean = float(levels[n].mean())
            if len(self.quiet) < PIECES or mean < self.quiet[-1][0]:
                steady = bool(levels[n].max() <= levels[n].min() * 10.0 ** (STEADY_DB / 10.0))
                bands = self._banded(pieces[n]) / STEPS
                self.quiet = sorted([*self.quiet, (mean, steady, bands)], key=lambda piece: piece[0])[:PIECES]

    def finish(self, *, voice: bool) -> Intelligibility:
        """The index. voice : whether somebody talks in the track."""
        if not voice or not self.count:
            return Intelligibility(None, "no voice stands 6 dB over what else is there")
        steady = [(power, bands) for power, is_steady, bands in self.quiet if is_steady]
        if not steady:
            return Intelligibility(None, "there is no pause of half a second in which the room is heard")
        most = steady[0][0] * 10.0 ** (PAUSES_DB / 10.0)
        pauses = np.mean([bands for power, bands in steady if power <= most], axis=0)
        speech = np.maximum(self.speech / self.count - pauses, 0.0)
        if not speech.any():
            return Intelligibility(None, "no voice stands over what is in the pauses")
        by_db = VOICE_DB["normal"] - 10.0 * float(np.log10(speech.sum()))
        speech_db, noise_db = (
            np.maximum(10.0 * np.log10(np.maximum(power / WIDTHS_HZ, 1e-30)) + by_db, NOTHING_DB)
            for power in (speech, pauses)
        )
        return Intelligibility(
            sii(speech_db, noise_db), "", speech_db, noise_db, disturbance_db(speech_db, noise_db),
            audibility(speech_db, noise_db),
        )  # fmt: skip

    def _banded(self, pieces: SampleArray) -> FloatArray:
        """Power in each band of steps, shape (n, samples), added up; that of all bins is their mean square."""
        from scipy.fft import rfft

        window = np.hanning(self.step)
        spectrum = rfft(pieces * window.astype(np.float32), axis=1) if len(pieces) else np.zeros((0, 1))
        power = (spectrum.real**2 + spectrum.imag**2).sum(axis=0, dtype=float)
        upto = np.append(0.0, np.cumsum(power * 2.0 / (self.step * float((window**2).sum()))))
        return np.diff(upto[np.searchsorted(np.arange(upto.size - 1) * self.rate_hz / self.step, EDGES_HZ)])


def covered(intelligibility: Intelligibility) -> list[str]:
    """Where, over two bands and more, the speech lies under what covers it, and what that is, as words."""
    says = []
    lacks = intelligibility.speech_db < disturbance_db(
        intelligibility.speech_db, np.full_like(intelligibility.noise_db, NOTHING_DB)
    )
    for first, last in stretches(intelligibility.speech_db < intelligibility.disturbance_db, 1):
        if last - first < 2:
            continue
        low, high = (f"{float(f'{EDGES_HZ[at]:.2g}'):.0f}" for at in (first, last))
        begins, ends = first == 0, last == THIRDS.hz.size
        where = f"under {high} Hz" if begins else f"over {low} Hz" if ends else f"from {low} to {high} Hz"
        noise = "rumble" if begins else "hiss" if ends else "noise"
        says.append(f"{where} {'too little of it is there' if lacks[first:last].all() else noise + ' covers it'}")
    return says


def verdict(intelligibility: Intelligibility) -> str:
    """The index in words; the reason where there is none."""
    if intelligibility.index is None:
        return f"How far speech stands over the rest is not told: {intelligibility.why}."
    is_so = (
        "good: can be used"
        if intelligibility.index > GOOD
        else "poor: words are lost, take it again"
        if intelligibility.index < POOR
        else "fair: listen whether every word is understood"
    )
    return (
        "; ".join(
            [f"Speech stands over the rest: {intelligibility.index:.2f} of 1, {is_so}", *covered(intelligibility)]
        )
        + "."
    )
