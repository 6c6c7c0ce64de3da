"""The quietest seconds of a track: its room tone, the spectrum of it, and hum in it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linkwright.sound.fault import stretches
from linkwright.units import FloatArray, SampleArray

#: Steps of 100 ms in a piece, and how many of the quietest are kept.
STEPS: Final = 5
PIECES: Final = 8
#: A hum's line stands this much over what is beside it [dB], with so many of its first harmonics (own choice).
LINE_DB: Final = 10.0
LINES, HARMONICS = 3, 8
MAINS_HZ: Final = (50.0, 60.0)


#: Buzz, of dimmers: so many lines of the mains from and to [Hz]. Own choices.
BUZZ_HZ, BUZZ_LINES = (600.0, 4000.0), 6
#: A single tone stands this much over what is beside it in every piece, and moves at most so much [dB].
TONE_DB, STEADY_DB = 20.0, 6.0
LOWEST_TONE_HZ, MOST_TONES = 20.0, 3
#: A single line is hum up to this harmonic of the mains; over it, it may be anything.
SINGLE: Final = 3
#: A tone so near to a harmonic of the mains is hum [Hz].
NEAR_HZ: Final = 1.0


@dataclass(frozen=True)
class SteadyTone:
    """Something steady in the room tone: "hum" or "buzz" of mains of `hz`, or a "tone" of `hz`.

    level_dbfs : of all its lines together, a full-scale sine being 0 dBFS.
    """

    kind: str
    hz: float
    level_dbfs: float


@dataclass
class RoomTone:
    """Keeps the quietest pieces of a track that streams by; digital silence is no room tone."""

    rate_hz: int
    step: int
    rest: SampleArray = field(default_factory=lambda: np.empty(0, np.float32))
    powers: FloatArray = field(default_factory=lambda: np.empty(0))
    kept: list[tuple[float, int, SampleArray]] = field(default_factory=list)
    seen: int = 0

    def add(self, x: SampleArray, powers: FloatArray) -> SampleArray:
        """The next samples; mean squares of its steps of `step` samples, their mean left out.

        The pieces that are whole now, shape (n, steps, samples).
        """
        size = STEPS * self.step
        joined = np.concatenate((self.rest, x)) if self.rest.size else x
        powers = np.concatenate((self.powers, powers))
        count = min(joined.size // size, powers.size // STEPS)
        means = powers[: count * STEPS].reshape(count, STEPS).mean(axis=1)
        worst = self.kept[-1][0] if len(self.kept) == PIECES else np.inf
        for at in np.flatnonzero(means < worst):
            piece = joined[at * size : (at + 1) * size]
            silent = np.count_nonzero(piece) < size // 2
            if not silent and (len(self.kept) < PIECES or means[at] < self.kept[-1][0]):
                self.kept = sorted([*self.kept, (float(means[at]), self.seen + int(at), piece.copy())])[:PIECES]
        self.seen += count
        self.rest, self.powers = joined[count * size :].copy(), powers[count * STEPS :].copy()
        return joined[: count * size].reshape(count, STEPS, self.step)

    def spectrum(self) -> tuple[FloatArray, FloatArray] | None:
        """Frequencies [Hz] and power in each bin (Hann, full scale 1); None without room tone."""
        if not self.kept:
            return None
        frequency, power = self._spectra()
        return frequency, power.mean(axis=0)

    def _spectra(self) -> tuple[FloatArray, FloatArray]:
        size = self.kept[0][2].size
        window = np.hanning(size)
        pieces = np.array([piece for _, _, piece in self.kept], float)
        pieces -= pieces.mean(axis=1, keepdims=True)
        power = np.abs(np.fft.rfft(pieces * window, axis=1)) ** 2 * 2.0 / (size * (window**2).sum())
        return np.asarray(np.fft.rfftfreq(size, 1.0 / self.rate_hz), float), np.asarray(power, float)

    def steady(self) -> list[SteadyTone]:
        """Hum and buzz of the mains, and single tones that stand in all the quietest pieces, the loudest first."""
        if not self.kept:
            return []
        frequency, power = self._spectra()
        mains = _mains(frequency, power.mean(axis=0))
        tones = [] if len(self.kept) < PIECES else _tones(frequency, power)
        if mains is not None:
            tones = [tone for tone in tones if not _of_mains(tone.hz, mains.hz)]
            return [mains, *tones]
        return [_named(tone) for tone in tones]


def _named(tone: SteadyTone) -> SteadyTone:
    """A single tone as hum, where it is a harmonic of the mains."""
    mains = next((mains_hz for mains_hz in MAINS_HZ if _of_mains(tone.hz, mains_hz)), None)
    return tone if mains is None else SteadyTone("hum", mains, tone.level_dbfs)


def _of_mains(hz: float, mains_hz: float) -> bool:
    """Whether a frequency is one of the first harmonics of the mains, as well as pieces of half a second tell."""
    harmonic = round(hz / mains_hz)
    return 1 <= harmonic <= SINGLE and abs(hz - harmonic * mains_hz) < NEAR_HZ


def _mains(frequency: FloatArray, power: FloatArray) -> SteadyTone | None:
    """Hum, where three of the first eight lines stand out of the room tone; buzz, where many high ones do too."""
    step = frequency[1]
    answers = []
    for mains in MAINS_HZ:
        lines = []
        for k in range(1, int(BUZZ_HZ[1] / mains) + 1):
            at = round(mains * k / step)
            if at + 12 >= power.size:
                break
            line = power[at - 1 : at + 2].sum()
            beside = np.median(np.concatenate((power[at - 10 : at - 3], power[at + 4 : at + 11])))
            if line > 3.0 * beside * 10.0 ** (LINE_DB / 10.0):
                lines.append((mains * k, line))
        low = [line for hz, line in lines if hz <= HARMONICS * mains]
        high = [line for hz, line in lines if hz >= BUZZ_HZ[0]]
        answers.append((len(low), float(sum(low) + sum(high)), mains, len(high)))
    count, total, mains, high_count = max(answers)
    if count < LINES or total <= 0.0:
        return None
    return SteadyTone("buzz" if high_count >= BUZZ_LINES else "hum", mains, _dbfs(total))


def _tones(frequency: FloatArray, power: FloatArray) -> list[SteadyTone]:
    """Lines that stand 20 dB out of what is beside them in every piece, at one level; power has a row a piece."""
    from scipy.ndimage import median_filter

    beside = median_filter(power, size=(1, 21), mode="nearest")
    line = power.copy()
    line[:, 1:] += power[:, :-1]
    line[:, :-1] += power[:, 1:]
    least, most = line.min(axis=0), line.max(axis=0)
    out = (line > 3.0 * beside * 10.0 ** (TONE_DB / 10.0)).all(axis=0) & (most < least * 10.0 ** (STEADY_DB / 10.0))
    out &= (frequency >= LOWEST_TONE_HZ) & (least > 0.0)
    mean = power.mean(axis=0)
    steady_tones = []
    for first, last in stretches(out, 2):
        at = first + int(np.argmax(mean[first:last]))
        around = slice(max(at - 2, 0), at + 3)
        hz = float((frequency[around] * mean[around]).sum() / mean[around].sum())
        steady_tones.append(SteadyTone("tone", round(hz, 1), _dbfs(float(mean[around].sum()))))
    steady_tones.sort(key=lambda tone: -tone.level_dbfs)
    return steady_tones[:MOST_TONES]


def _dbfs(total: float) -> float:
    """Level of a line's power, a full-scale sine being 0 [dBFS]."""
    return 10.0 * float(np.log10(2.0 * total))
