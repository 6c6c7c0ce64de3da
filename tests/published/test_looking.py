"""How long to look, detectors, windows and pilots against values from outside the project."""

from __future__ import annotations

import math

import numpy as np
import pytest

from linkwright.air.multiplexes import SIGNATURES
from linkwright.physics import detection
from linkwright.physics.looking import Looks, User, missed

SM_2256 = "ITU-R SM.2256-1, annex 1, sample sizes for 95 % certainty and 0.5 % error"
PHYSICS = "exact, means of exponentials (log, root, highest)"
HARRIS = "F. J. Harris, Proc. IEEE 66 (1978) 51, table 1, equivalent noise bandwidth"


@pytest.mark.arithmetic(f"{PHYSICS}: detector to rms for noise")
@pytest.mark.parametrize(
    ("detector", "correction_db"), [("log-average", 2.51), ("voltage-average", 1.05), ("rms", 0)]
)
def test_detector_corrections(detector: str, correction_db: float) -> None:
    assert -detection.detector_bias_db(detector) == pytest.approx(correction_db, abs=0.005)


@pytest.mark.arithmetic(f"{PHYSICS}: detector to rms, on simulated Gaussian noise (numpy's generator)")
def test_detector_corrections_on_noise() -> None:
    noise = np.random.default_rng(1).normal(size=(400_000, 2))
    power = (noise**2).sum(axis=1) / 2.0
    mean_db = 10 * np.log10(power.mean())
    assert np.mean(10 * np.log10(power)) - mean_db == pytest.approx(-2.51, abs=0.02)
    assert 20 * np.log10(np.sqrt(power).mean()) - mean_db == pytest.approx(-1.05, abs=0.02)
    held = power[: 4000 * 100].reshape(4000, 100).max(axis=1)
    assert 10 * np.log10(held.mean()) - mean_db == pytest.approx(detection.detector_bias_db("peak", 100), abs=0.05)


@pytest.mark.arithmetic(f"{PHYSICS}: peak of n samples reads 10 log10(H_n) high")
@pytest.mark.parametrize(("looks", "bias_db"), [(100, 7.15), (1000, 8.74)])
def test_peak_detector(looks: int, bias_db: float) -> None:
    assert detection.detector_bias_db("peak", looks) == pytest.approx(bias_db, abs=0.005)


@pytest.mark.published(HARRIS)
@pytest.mark.parametrize(
    ("window", "bins"),
    [("boxcar", 1.0), ("hann", 1.5), ("hamming", 1.363), ("blackmanharris", 2.004), ("flattop", 3.770)],
)
def test_noise_bandwidth_of_windows(window: str, bins: float) -> None:
    """Our table against the windows that scipy makes: n sum(w^2) / sum(w)^2."""
    from scipy.signal import get_window

    weights = get_window(window, 65_536)
    found = weights.size * np.sum(weights**2) / np.sum(weights) ** 2
    assert found == pytest.approx(bins, abs=0.0006)
    ours = {"boxcar": "rectangular", "blackmanharris": "blackman-harris", "flattop": "flat-top"}.get(window, window)
    assert pytest.approx(bins) == detection.NOISE_BANDWIDTH_BINS[ours]


@pytest.mark.own("a chain worked out for this project: -110 dBm per 25 kHz Hann bin, 200 kHz")
def test_worked_chain_from_a_bin_to_c_over_n_and_i() -> None:
    """C -54.99 dBm (17 dBm, body 10 dB, 50 m at 600 MHz), N -114.99, N+I -102.48, C/(N+I) 47.49 dB."""
    from linkwright.physics.noise import thermal_noise_dbm
    from linkwright.physics.pathloss import free_space_db
    from linkwright.units import sum_dbm

    density = detection.noise_density_dbm_hz(-110.0, 25.0 * detection.NOISE_BANDWIDTH_BINS["hann"])
    assert density == pytest.approx(-155.74, abs=0.005)
    interference = density + 10 * math.log10(200e3)
    assert interference == pytest.approx(-102.73, abs=0.005)
    noise = thermal_noise_dbm(200.0, 6.0)
    assert noise == pytest.approx(-114.99, abs=0.04)
    wanted = 17.0 - 10.0 - float(free_space_db(600.0, 50.0))
    assert wanted == pytest.approx(-54.99, abs=0.005)
    assert sum_dbm([noise, interference]) == pytest.approx(-102.48, abs=0.005)
    assert wanted - sum_dbm([noise, interference]) == pytest.approx(47.49, abs=0.006)


@pytest.mark.published("ATSC A/53 part 2: pilot of 1.25 on levels 1, 3, 5, 7, 11.3 dB under the data (from memory)")
def test_pilot_over_density() -> None:
    """11.3 dB under the whole of 5.38 MHz: 12.0 dB over the data in 25 kHz, and 6.0 dB in 100 kHz."""
    (atsc,) = [signature for signature in SIGNATURES if signature.standard == "ATSC"]
    assert -10 * math.log10(atsc.pilot_share) == pytest.approx(11.3, abs=0.05)
    for bin_khz in (25.0, 100.0):
        alone = 10 * math.log10(5380.0 / bin_khz) - 11.28
        assert atsc.pilot_over_density_db(bin_khz) == pytest.approx(
            10 * math.log10(1 + 10 ** (alone / 10)), abs=0.01
        )


@pytest.mark.own("widths and pilots as this project states them")
@pytest.mark.parametrize(
    ("standard", "occupied_mhz"),
    [("ATSC", 5.38), ("ISDB-T", 5.572), ("ATSC 3.0", 5.832), ("DVB-T2 extended", 7.768), ("DVB-T", 7.607)],
)
def test_signatures(standard: str, occupied_mhz: float) -> None:
    widest = max(signature.occupied_khz for signature in SIGNATURES if signature.standard == standard)
    assert widest == pytest.approx(occupied_mhz * 1e3)


@pytest.mark.arithmetic("exact: limits of the on/off chain; one instant misses 1 - p, N far apart (1 - p)^N")
def test_limits_of_the_chance_of_missing() -> None:
    user = User(0.05, 20.0)
    assert missed(Looks(0.0, 0.0, 1), user) == pytest.approx(0.95)
    assert missed(Looks(0.0, 1e9, 10), user) == pytest.approx(0.95**10)
    assert missed(Looks(380.0, 380.0, 1), user) == pytest.approx(0.95 * math.exp(-1))
