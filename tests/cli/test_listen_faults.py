"""What an ear hears at once, told by `linkwright listen` from outside: each kind planted, and clean takes."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from tests.cli.calling import call
from tests.sound.talking import RATE, Floats, talking


def heard(capsys: pytest.CaptureFixture[str], path: Path, x: Floats, bits: str = "PCM_24") -> dict[str, Any]:
    soundfile.write(path, x, RATE, subtype=bits)
    return dict(json.loads(call(capsys, "listen", str(path), "--json").out))


def kinds(document: dict[str, Any], channel: int = 1) -> dict[str, list[dict[str, Any]]]:
    found: dict[str, list[dict[str, Any]]] = {}
    for fault in document["tracks"][channel - 1]["faults"]:
        found.setdefault(fault["kind"], []).append(fault)
    return found


@pytest.mark.parametrize(("hertz", "kind"), [(50.0, "hum"), (60.0, "hum"), (1000.0, "tone"), (15_625.0, "tone")])
def test_a_single_tone_at_minus_40_dbfs(
    hertz: float, kind: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Was told by nobody, as hum needed three lines."""
    x = talking(30.0)
    tone = 10.0 ** (-40.0 / 20.0) * np.sin(2.0 * np.pi * hertz * np.arange(x.size) / RATE)
    (fault,) = kinds(heard(capsys, tmp_path / "a.wav", x + tone))[kind]
    assert fault["hz"] == pytest.approx(hertz, abs=0.6)
    assert fault["level_db"] == pytest.approx(-40.0, abs=1.0)
    assert call(capsys, "listen", str(tmp_path / "a.wav")).out.startswith("a.wav:1 has ")


def test_buzz_of_a_dimmer_is_told_from_hum(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A phase cut makes lines of the mains far up; hum ends with its first ones."""
    x, n = talking(20.0), np.arange(20 * RATE)
    half = (n * 100.0 / RATE) % 1.0
    dimmed = 3e-3 * np.where(half > 0.5, np.sin(np.pi * half), 0.0) * np.where((n * 50.0 / RATE) % 1 < 0.5, 1, -1)
    assert [fault["hz"] for fault in kinds(heard(capsys, tmp_path / "a.wav", x + dimmed))["buzz"]] == [50.0]
    hum = sum(1e-3 / k**2 * np.sin(2.0 * np.pi * 50.0 * k * n / RATE) for k in range(1, 5))
    assert "buzz" not in kinds(heard(capsys, tmp_path / "b.wav", x + hum))


@pytest.mark.parametrize("bits", ["PCM_16", "PCM_24"])
@pytest.mark.parametrize("gain", [0.5, 0.11])
def test_flat_tops_under_full_scale_are_clipping_and_no_hold(
    gain: float, bits: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Clipped in the transmitter, recorded lower. Was: 1513 certain "hold", and suspected clips."""
    x = gain * np.clip(8.0 * talking(30.0), -0.9, 0.9)
    document = heard(capsys, tmp_path / "a.wav", x, bits)
    found = kinds(document)
    assert "hold" not in found
    assert len(found["clip"]) > 5
    assert all(fault["certain"] for fault in found["clip"])
    assert "Take more attenuation" in document["told"][0]["do"]


def test_a_held_sample_beside_flat_tops_is_still_one(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    x = 0.5 * np.clip(8.0 * talking(30.0), -0.9, 0.9)
    at = next(i for i in range(5 * RATE, x.size) if 0.05 < x[i] < 0.2 and x[i : i + 480].std() > 0.05)
    x[at : at + 480] = x[at]
    (fault,) = kinds(heard(capsys, tmp_path / "a.wav", x))["hold"]
    assert fault["at_s"] == pytest.approx(at / RATE, abs=1e-3)


@pytest.mark.parametrize("drive", [4.0, 10.0])
def test_soft_clipping_is_told(drive: float, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    x = talking(40.0)
    squeezed = 0.5 * np.tanh(drive * x / np.abs(x).max())
    assert "limited" in kinds(heard(capsys, tmp_path / "a.wav", squeezed))
    assert "limited" not in kinds(heard(capsys, tmp_path / "b.wav", 0.5 * x / np.abs(x).max()))


def test_a_level_that_falls_away_and_a_talker_who_ends(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A capsule that dies takes the room with it; a talker who falls silent does not."""
    x = talking(80.0)
    t = np.arange(x.size) / RATE
    dying = x * 10.0 ** (-np.interp(t, [30.0, 60.0], [0.0, 25.0]) / 20.0)
    (fault,) = kinds(heard(capsys, tmp_path / "a.wav", dying))["falling"]
    assert 28.0 < fault["at_s"] < 52.0
    assert "has a level that falls away, by 2" in call(capsys, "listen", str(tmp_path / "a.wav")).out
    quiet = 10.0 ** (-69.0 / 20.0) * np.random.default_rng(9).standard_normal(x.size)
    ended = np.where(t < 50.0, x, quiet)
    assert "falling" not in kinds(heard(capsys, tmp_path / "b.wav", ended))


def test_polarity_that_turns_over_midway(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Was: "not told: polarity: the windows do not agree"."""
    x = talking(40.0)
    other = np.concatenate((np.zeros(40), x[:-40]))
    other[17 * RATE :] *= -1.0
    both = np.stack((x, other + 1e-4 * np.random.default_rng(5).standard_normal(x.size)), axis=1)
    document = heard(capsys, tmp_path / "a.wav", both)
    (pair,) = document["pairs"]
    assert pair["turns_at_s"] == [pytest.approx(17.0, abs=0.6)]
    assert pair["why"] is None
    assert "one turns over at 0:00:1" in document["told"][0]["says"]


@pytest.mark.parametrize("length_s", [0.005, 0.02, 0.05, 0.1, 0.2])
def test_gaps_filled_with_the_rooms_noise(
    length_s: float, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Between loud sound on both sides; was 43 % at 200 ms."""
    x, rng = talking(60.0, seed=7), np.random.default_rng(7)
    long, places = round(length_s * RATE), []
    for at in range(RATE, x.size - 2 * RATE, RATE // 4):
        if min(x[at - 960 : at].std(), x[at + long : at + long + 960].std()) > 0.012:
            x[at : at + long] = 10.0 ** (-69.0 / 20.0) * rng.standard_normal(long)
            places.append(at / RATE)
    found = kinds(heard(capsys, tmp_path / "a.wav", x)).get("hole", [])
    hit = sum(any(abs(fault["at_s"] - at) < 0.003 for fault in found) for at in places)
    assert len(places) > 5
    assert hit >= 0.8 * len(places)
    assert all(any(abs(fault["at_s"] - at) < 0.003 for at in places) for fault in found)


@pytest.mark.parametrize(("length_s", "share"), [(0.003, 0.6), (0.02, 0.75), (0.1, 0.75), (0.3, 0.75)])
def test_bursts_of_noise_as_a_receiver_gives_them(
    length_s: float, share: float, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Noise up to 15 kHz, 10 dB under the voice's peaks, in words and pauses; was two of eight."""
    from scipy.signal import butter, sosfilt

    x, rng = talking(30.0, seed=8), np.random.default_rng(8)
    low_pass, long = butter(4, 15_000.0, fs=RATE, output="sos"), round(length_s * RATE)
    places = list(range(2 * RATE, x.size - 2 * RATE, RATE))
    for at in places:
        x[at : at + long] += 0.04 * sosfilt(low_pass, rng.standard_normal(long))
    found = kinds(heard(capsys, tmp_path / "a.wav", x)).get("burst", [])
    hit = sum(any(abs(fault["at_s"] - at / RATE) < 0.003 for fault in found) for at in places)
    assert hit >= share * len(places)
    assert len(found) <= hit + 1


def test_the_longest_room_tone_is_found(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    x, rng = talking(60.0), np.random.default_rng(11)
    x[31 * RATE : 43 * RATE] = 10.0 ** (-69.0 / 20.0) * rng.standard_normal(12 * RATE)
    x[50 * RATE :] = 0.0
    (track,) = heard(capsys, tmp_path / "a.wav", x)["tracks"]
    assert track["room_tone"]["at_s"] == pytest.approx(31.0, abs=1.0)
    assert track["room_tone"]["length_s"] == pytest.approx(12.0, abs=2.0)
    assert "room tone: 1" in call(capsys, "listen", str(tmp_path / "a.wav")).out


def test_a_clean_talker_has_no_fault(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    for seed, f0_hz in enumerate((90.0, 140.0, 220.0)):
        found = kinds(heard(capsys, tmp_path / "a.wav", talking(60.0, f0_hz, seed=20 + seed)))
        assert set(found) <= {"repeat"}, "pulses so even may look like a repeat"
