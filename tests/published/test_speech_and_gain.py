"""Levels of speech, the gain chain, low cuts and phantom power, one a value."""

from __future__ import annotations

import numpy as np
import pytest

from linkwright.physics.speech import (
    PASCAL_DB,
    VOICE_DB,
    highest_corner_hz,
    low_cut_db,
    microphone_dbu,
    voice_spl_db,
)
from linkwright.sound.gain import Converter, RecorderInput, gain_chain, phantom


@pytest.mark.published("ANSI S3.5-1997, table 1: overall level of speech at 1 m")
@pytest.mark.parametrize(
    ("effort", "spl_db"), [("normal", 62.35), ("raised", 68.34), ("loud", 74.85), ("shouted", 82.30)]
)
def test_level_of_speech(effort: str, spl_db: float) -> None:
    assert voice_spl_db(effort, 1.0) == VOICE_DB[effort] == spl_db


@pytest.mark.published("ISO 1683 reference of 20 uPa: 1 Pa is 93.979 dB SPL")
def test_one_pascal() -> None:
    assert pytest.approx(93.979, abs=5e-4) == PASCAL_DB


@pytest.mark.arithmetic("exact arithmetic: 6 mV/Pa, shout at 0.25 m: -41.86 dBu")
def test_microphone_output() -> None:
    assert microphone_dbu(6.0, voice_spl_db("shouted", 0.25)) == pytest.approx(-41.86, abs=0.005)


@pytest.mark.arithmetic(
    "exact arithmetic with AES17: the same, crest 18, full scale at -20 dBu: peak -6.87 dBFS, so 6 dB"
)
def test_peak_and_the_step_to_choose() -> None:
    found = gain_chain(
        "shouted",
        0.25,
        6.0,
        28.0,
        (0, 3, 6, 9, 12),
        Converter(-20.0, -110.0),
        RecorderInput(0.0, -110.0),
        crest_db=18.0,
    )
    assert found.steps[0].peak_dbfs == pytest.approx(-6.87, abs=0.005)
    assert (found.chosen.attenuation_db, found.holds) == (6, True)


@pytest.mark.published("scipy.signal.butter: response of Butterworth low cuts of 2nd and 3rd order")
@pytest.mark.parametrize("order", [2, 3])
@pytest.mark.parametrize("corner_hz", [60.0, 80.0, 150.0])
def test_butterworth_by_scipy(order: int, corner_hz: float) -> None:
    from scipy.signal import butter, freqs

    frequency = np.array([20.0, 50.0, 85.0, 200.0, 1000.0])
    b, a = butter(order, corner_hz, "highpass", analog=True)
    _, response = freqs(b, a, frequency)
    assert low_cut_db(frequency, corner_hz, order) == pytest.approx(20.0 * np.log10(np.abs(response)), abs=1e-9)


@pytest.mark.arithmetic("Butterworth, exact arithmetic: 80 Hz at 20 Hz: 2nd order -24.10 dB, 3rd order -36.12 dB")
@pytest.mark.parametrize(("order", "level_db"), [(2, -24.10), (3, -36.12)])
def test_butterworth_two_octaves_down(order: int, level_db: float) -> None:
    assert float(low_cut_db(20.0, 80.0, order)) == pytest.approx(level_db, abs=0.01)


@pytest.mark.arithmetic(
    "Butterworth, exact arithmetic: 1 dB is lost at F0 with a corner of 0.713 F0 (2nd), 0.798 F0 (3rd)"
)
@pytest.mark.parametrize(("order", "share"), [(2, 0.713), (3, 0.798)])
def test_highest_corner(order: int, share: float) -> None:
    assert highest_corner_hz(100.0, order) == pytest.approx(100.0 * share, abs=0.1)


@pytest.mark.published("IEC 61938 (from memory): 48 V behind 2 x 6.8 kohm gives at most 169 mW, at 7.06 mA")
def test_most_phantom_power() -> None:
    powers = [found.power_mw for ma in np.arange(0.0, 14.0, 0.01) if (found := phantom(float(ma))) is not None]
    assert max(powers) == pytest.approx(169.4, abs=0.1)
    assert 0.01 * int(np.argmax(powers)) == pytest.approx(7.06, abs=0.01)
