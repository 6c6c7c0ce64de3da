"""Rumble and wind are told, and the low cut that keeps the voice, by `linkwright listen` from outside."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from tests.cli.calling import call
from tests.sound.talking import RATE, Floats, gusts, rumble, talking, voice_rms


def heard(capsys: pytest.CaptureFixture[str], path: Path, x: Floats) -> tuple[dict[str, Any], str]:
    """The document, and what is printed for people."""
    soundfile.write(path, x, RATE, subtype="PCM_24")
    out = call(capsys, "listen", str(path)).out
    return json.loads(call(capsys, "listen", str(path), "--json").out), " ".join(out.split())


@pytest.mark.parametrize("mean_hz", [95.0, 130.0, 210.0])
def test_rumble_10_db_over_the_voice(mean_hz: float, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Was: "faults none", and no low cut."""
    x = talking(30.0, mean_hz)
    x = 0.3 * (x + voice_rms(x) * 10.0**0.5 * rumble(x.size))
    document, out = heard(capsys, tmp_path / "a.wav", x)
    (track,) = document["tracks"]
    assert out.startswith("a.wav:1 has rumble, +")
    assert [fault for fault in track["faults"] if fault["certain"]] == [], "a rumble that crosses zero is no hole"
    assert track["voice_f0_hz"] == pytest.approx(mean_hz, rel=0.08)
    assert 0.0 < track["low_cut_hz"] <= 0.8 * mean_hz
    step = next(one for one in track["low_cut"]["steps"] if one["corner_hz"] == track["low_cut_hz"])
    assert step["pauses_db"] > 9.0
    assert step["voice_db"] <= 1.0
    assert "step pauses loudest voice" in out


def test_gusts_that_peak_are_told_and_cut(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Was: gusts peaking at -4.4 dBTP, and "low cut 0 Hz"."""
    x = talking(40.0)
    document, out = heard(capsys, tmp_path / "a.wav", x + 0.6 * gusts(x.size))
    (track,) = document["tracks"]
    assert "gusts, up to +" in out.partition("certain fault")[0]
    assert "windshield" in out
    assert track["low_cut_hz"] > 0.0
    assert "low cut 0 Hz" not in out
    steps = {one["corner_hz"]: one for one in track["low_cut"]["steps"]}
    taken = [one["loudest_db"] for one in steps.values()]
    assert taken == sorted(taken)
    # The filter that the step stands for, put on the gusts themselves, takes as much of them.
    from scipy.signal import butter, sosfilt

    wind = gusts(x.size)
    corner = track["low_cut_hz"]
    left = sosfilt(butter(3, corner, "highpass", fs=RATE, output="sos"), wind)
    said = steps[corner]["loudest_db"]
    assert said == pytest.approx(20.0 * np.log10(wind.std() / left.std()), abs=1.5)


def test_a_deep_voice_in_rumble_gets_the_lowest_step(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """No step takes less than 1 dB from a voice of 70 Hz; off would leave all the rumble in."""
    x = talking(30.0, 74.0)
    document, _ = heard(capsys, tmp_path / "a.wav", 0.3 * (x + 3.0 * voice_rms(x) * rumble(x.size)))
    (track,) = document["tracks"]
    assert track["low_cut_hz"] == 60.0
    assert "rumble or wind is worse" in track["low_cut"]["because"]


def test_rumble_without_a_voice_leaves_the_lowest_usual_one(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    noise = 1e-3 * np.random.default_rng(4).standard_normal(20 * RATE)
    document, out = heard(capsys, tmp_path / "a.wav", noise + 0.05 * rumble(noise.size))
    (track,) = document["tracks"]
    assert track["voice_f0_hz"] is None
    assert track["low_cut_hz"] == 60.0
    assert "the lowest usual voice, 85 Hz" in out


def test_a_clean_voice_has_neither(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    document, out = heard(capsys, tmp_path / "a.wav", talking(30.0))
    assert document["told"] == []
    assert "low cut off" in out
