"""Gain from a recording: what the loudest minute needs, by `linkwright listen --shoot` from outside."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from tests.cli.calling import call
from tests.sound.talking import RATE, Floats, talking

SHOOT = str(Path(__file__).parents[1] / "shoot" / "data" / "quay.toml")
LINK = ("--shoot", SHOOT, "--link", "Pilot")
#: What the Pilot's transmitter has, as the shoot says.
STEPS_DB = (0.0, 4.0, 8.0, 12.0, 16.0, 20.0)


def peaking(peak_dbfs: float, seconds: float = 40.0) -> Floats:
    """A talker whose largest sample is this."""
    x = talking(seconds)
    return np.asarray(x * 10.0 ** (peak_dbfs / 20.0) / np.abs(x).max())


def gain(capsys: pytest.CaptureFixture[str], path: Path, x: Floats, *more: str) -> dict[str, Any]:
    soundfile.write(path, x, RATE, subtype="PCM_24")
    return dict(json.loads(call(capsys, "listen", str(path), *LINK, *more, "--json").out)["gain"])


@pytest.mark.parametrize(("peak_dbfs", "recorded_db", "wanted_db"), [
    (-3.0, 0.0, 8.0), (-3.0, 8.0, 16.0), (-25.0, 12.0, 0.0), (-13.9, 4.0, 4.0), (-14.1, 4.0, 0.0), (-9.9, 0.0, 4.0),
])  # fmt: skip
def test_the_smallest_step_that_keeps_peaks_under_minus_10(
    peak_dbfs: float, recorded_db: float, wanted_db: float, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Peaks at -10 dBFS (EBU R 68, as in sound.gain): exact arithmetic of decibels."""
    found = gain(capsys, tmp_path / "a.wav", peaking(peak_dbfs), "--recorded-db", str(recorded_db))
    assert found["minute"]["peak_dbfs"] == pytest.approx(peak_dbfs, abs=0.01)
    assert [step["attenuation_db"] for step in found["steps"]] == list(STEPS_DB)
    for step in found["steps"]:
        expected = peak_dbfs + recorded_db - step["attenuation_db"]
        assert step["peak_dbfs"] == pytest.approx(expected, abs=0.02)
    assert found["chosen"]["attenuation_db"] == wanted_db
    assert found["holds"]


def test_the_chosen_step_recorded_anew_peaks_as_promised(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A made-up link: voice and room go down with the attenuation, the converter's noise does not."""
    rng = np.random.default_rng(6)
    source, own = peaking(-3.0), 10.0 ** (-108.0 / 20.0)

    def through(step_db: float) -> Floats:
        return np.asarray(source * 10.0 ** (-step_db / 20.0) + own * rng.standard_normal(source.size))

    first = gain(capsys, tmp_path / "a.wav", through(0.0), "--recorded-db", "0")
    step_db = first["chosen"]["attenuation_db"]
    again = gain(capsys, tmp_path / "b.wav", through(step_db), "--recorded-db", str(step_db))
    assert again["chosen"]["attenuation_db"] == step_db
    assert again["minute"]["peak_dbfs"] == pytest.approx(first["chosen"]["peak_dbfs"], abs=0.1)
    over = again["minute"]["voice_dbfs"] - again["minute"]["pauses_dbfs"]
    assert first["chosen"]["voice_over_noise_db"] == pytest.approx(over, abs=0.5)


def test_the_loudest_minute_decides_and_not_a_knock_elsewhere(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    x = np.concatenate((peaking(-30.0, 70.0), peaking(-12.0, 60.0), peaking(-30.0, 70.0)))
    x[20 * RATE] = 0.99
    found = gain(capsys, tmp_path / "a.wav", x, "--recorded-db", "0")
    assert found["minute"]["at_s"] == pytest.approx(70.0, abs=3.0)
    assert found["minute"]["peak_dbfs"] == pytest.approx(-12.0, abs=0.1)


def test_other_voices_and_distances(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Levels of voices: ANSI S3.5-1997, table 1 (62.35, 68.34, 74.85, 82.30 dB); twice as far is 6.02 dB less."""
    near = gain(capsys, tmp_path / "a.wav", peaking(-20.0), "--recorded-db", "0", "--mouth-m", "0.2")
    far = gain(capsys, tmp_path / "a.wav", peaking(-20.0), "--recorded-db", "0", "--mouth-m", "0.4")
    assert far["steps"][0]["peak_dbfs"] == pytest.approx(near["steps"][0]["peak_dbfs"] - 6.02, abs=0.02)
    unattenuated = {
        one["voice"]: one["step"]["peak_dbfs"] + one["step"]["attenuation_db"] for one in near["voices"]
    }
    for louder, quieter, apart in (("raised", "normal", 5.99), ("loud", "raised", 6.51), ("shouted", "loud", 7.45)):
        assert unattenuated[louder] - unattenuated[quieter] == pytest.approx(apart, abs=0.02)


def test_a_clipped_recording_asks_for_more(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    x = np.clip(4.0 * peaking(-3.0), -0.999_99, 0.999_99)
    found = gain(capsys, tmp_path / "a.wav", x, "--recorded-db", "0")
    assert found["chosen"]["attenuation_db"] == 16.0
    assert "clipped" in found["says"]


def test_taken_over_into_the_shoot(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path, out = tmp_path / "a.wav", tmp_path / "out.toml"
    soundfile.write(path, peaking(-3.0), RATE, subtype="PCM_24")
    said = call(capsys, "listen", str(path), *LINK, "--recorded-db", "0", "-o", str(out))
    assert said.status == 0
    assert "8 dB of attenuation put it at \N{MINUS SIGN}11 dBFS" in " ".join(said.out.split())
    link = next(one for one in tomllib.loads(out.read_text())["link"] if one["name"] == "Pilot")
    assert link["attenuation_db"] == 8.0
    assert link["low_cut_hz"] in (0.0, 70.0, 90.0)
    assert link["voice_f0_hz"] > 80.0
    before, after = (tomllib.loads(Path(one).read_text())["link"] for one in (SHOOT, out))
    assert [one["name"] for one in after] == [one["name"] for one in before]
    assert call(capsys, "check", str(out)).status in (0, 1)


def test_what_makes_no_sense_is_one_sentence(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, np.zeros(RATE), RATE, subtype="PCM_24")
    for wrong in (("-o", str(tmp_path / "x.toml")), (*LINK, "--channel", "2"), (*LINK, "-o", str(tmp_path / "x"))):
        said = call(capsys, "listen", str(path), *wrong)
        assert (said.status, said.out) == (2, ""), wrong
        assert len(said.err.strip().splitlines()) == 1
    assert not (tmp_path / "x.toml").exists()
