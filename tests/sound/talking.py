"""A talker made of pulses and formants, with pauses and room tone, and what may trouble a microphone."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
RATE = 48_000


def glottal(f0_hz: Floats, rate: int) -> Floats:
    """Rosenberg's pulses (J. Acoust. Soc. Am. 49 (1971), 583-590, form C) through three formants."""
    from scipy.signal import lfilter

    t = np.cumsum(f0_hz / rate) % 1.0
    opening = 0.5 * (1.0 - np.cos(np.pi * t / 0.40))
    closing = np.cos(0.5 * np.pi * (t - 0.40) / 0.16)
    x = np.diff(np.where(t < 0.40, opening, np.where(t < 0.56, closing, 0.0)), prepend=0.0)
    for hertz, width in ((600.0, 80.0), (1200.0, 100.0), (2500.0, 150.0)):
        r = np.exp(-np.pi * width / rate)
        x = lfilter([1.0], [1.0, -2.0 * r * np.cos(2.0 * np.pi * hertz / rate), r * r], x)
    return np.asarray(x / x.std())


def talking(seconds: float, mean_hz: float = 120.0, rms_dbfs: float = -24.0, seed: int = 1) -> Floats:
    """Words of 0.15 to 0.5 s with breath and pauses over room tone at -66 dBFS, full scale 1, 48 kHz."""
    rng = np.random.default_rng(seed)
    n = round(seconds * RATE)
    turns = np.arange(0.0, seconds + 1.0, 0.25)
    f0 = np.interp(np.arange(n) / RATE, turns, mean_hz * np.exp(0.15 * rng.standard_normal(turns.size)))
    said, at = np.zeros(n), RATE // 5
    while at < n - RATE:
        word = round(rng.uniform(0.15, 0.5) * RATE)
        said[at : at + word] = np.hanning(word) * rng.uniform(0.5, 1.0)
        at += word + round(rng.choice([0.05, 0.12, 0.6]) * RATE)
    x = (glottal(f0, RATE) + 0.03 * rng.standard_normal(n)) * said
    level = 10.0 ** ((rms_dbfs - 3.01) / 20.0)
    return np.asarray(level * x / x[said > 0].std() + 10.0 ** (-69.0 / 20.0) * rng.standard_normal(n))


def voice_rms(x: Floats) -> float:
    """The rms of the loudest third of all tenths of a second."""
    power = (x[: x.size // 4800 * 4800].reshape(-1, 4800) ** 2).mean(axis=1)
    return float(np.sqrt(np.sort(power)[-power.size // 3 :].mean()))


def rumble(n: int, seed: int = 2) -> Floats:
    """Noise from 8 to 30 Hz, rms 1: traffic, a floor that shakes."""
    from scipy.signal import butter, sosfilt

    noise = np.random.default_rng(seed).standard_normal(n)
    x = sosfilt(butter(2, (8.0, 30.0), "bandpass", fs=RATE, output="sos"), noise)
    return np.asarray(x / x.std())


def gusts(n: int, seed: int = 3) -> Floats:
    """Wind that comes and goes every few seconds: noise that falls by 6 dB an octave over 60 Hz, peak 1."""
    from scipy.signal import butter, lfilter, sosfilt

    rng = np.random.default_rng(seed)
    x = lfilter([1.0], [1.0, -np.exp(-2.0 * np.pi * 60.0 / RATE)], rng.standard_normal(n))
    x = sosfilt(butter(1, 12.0, "highpass", fs=RATE, output="sos"), x)
    envelope, at = np.zeros(n), 0
    while at < n - 4 * RATE:
        at += round(rng.uniform(1.5, 4.0) * RATE)
        long = min(round(rng.uniform(0.5, 2.0) * RATE), n - at)
        envelope[at : at + long] = np.hanning(long) * rng.uniform(0.5, 1.0)
        at += long
    x = x * envelope
    return np.asarray(x / np.abs(x).max())
