"""`linkwright listen` from outside."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile
from tests.cli.calling import call


def take(path: Path, mute: bool) -> str:
    rng = np.random.default_rng(3)
    x = rng.normal(0.0, 0.02, (48_000 * 4, 2))
    if mute:
        x[96_000:96_480, 1] = 0.0
    soundfile.write(str(path), x, 48_000, subtype="PCM_24")
    return str(path)


def test_a_sound_recording(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    said = call(capsys, "listen", take(tmp_path / "a.wav", False))
    assert (said.status, said.err) == (0, "")
    assert said.out.startswith("No certain fault")
    assert "a.wav:2 " in said.out


def test_a_mute_is_told_and_leaves_with_1(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    said = call(capsys, "listen", take(tmp_path / "a.wav", True))
    assert said.status == 1
    assert said.out.startswith("1 certain fault and")
    assert "0:00:02.000  mute 10.0 ms, certain" in said.out


def test_json_holds_what_the_contract_says(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = take(tmp_path / "a.wav", True)
    said = call(capsys, "listen", path, "--json")
    document = json.loads(said.out)
    assert said.status == 1
    assert [(one["path"], one["channel"]) for one in document["tracks"]] == [(path, 1), (path, 2)]
    first, second = document["tracks"]
    assert {
        "path", "rate_hz", "length_s", "integrated_lufs", "momentary_max_lufs", "short_term_max_lufs", "range_lu",
        "true_peak_dbtp", "sample_peak_dbfs", "noise_floor_dbfs", "low_cut_hz", "voice_f0_hz", "faults",
    } <= set(first)  # fmt: skip
    assert second["faults"] == [{"at_s": 2.0, "length_s": 0.01, "kind": "mute", "certain": True}]
    assert first["noise_floor_dbfs"] == pytest.approx(-30.97, abs=0.3)  # 0.02 rms, AES17


def test_files_that_are_none(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    (tmp_path / "b.wav").write_bytes(b"no recording")
    said = call(capsys, "listen", str(tmp_path / "b.wav"), str(tmp_path / "missing.wav"), "--json")
    assert said.status == 2
    assert set(json.loads(said.out)) == {"error"}
    assert len(said.err.strip().splitlines()) == 2
