"""`linkwright listen` from outside."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import numpy as np
import pytest
import soundfile
from tests.cli.calling import call
from tests.sound.talking import talking


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
    assert said.out.startswith("a.wav:2 has one mute, at 0:00:02.000. ")
    assert "\n1 certain fault and" in said.out
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


def test_how_far_speech_stands_over_the_rest(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    soundfile.write(tmp_path / "a.wav", talking(12.0), 48_000, subtype="PCM_24")
    said = call(capsys, "listen", str(tmp_path / "a.wav"))
    assert "a.wav:1: Speech stands over the rest: 0." in said.out
    assert "good: can be used" in said.out
    (track,) = json.loads(call(capsys, "listen", str(tmp_path / "a.wav"), "--json").out)["tracks"]
    found = track["intelligibility"]
    assert found["why"] is None
    assert 0.75 < found["sii"] <= 1.0
    assert [band["hz"] for band in found["bands"]][::17] == [160.0, 8000.0]
    assert all(0.0 <= band["audible"] <= 1.0 for band in found["bands"])
    said = call(capsys, "listen", take(tmp_path / "noise.wav", False))
    assert "is not told: no voice stands 6 dB over" in " ".join(said.out.split())


def test_files_that_are_none(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    (tmp_path / "b.wav").write_bytes(b"no recording")
    said = call(capsys, "listen", str(tmp_path / "b.wav"), str(tmp_path / "missing.wav"), "--json")
    assert said.status == 2
    assert set(json.loads(said.out)) == {"error"}
    assert len(said.err.strip().splitlines()) == 2


def two(path: Path, inverted: bool = False) -> str:
    """The second track 2 ms late."""
    x = np.random.default_rng(4).normal(0.0, 0.05, 48_000 * 6)
    late = np.concatenate((np.zeros(96), x[:-96])) * (-0.5 if inverted else 0.5)
    soundfile.write(str(path), np.stack((x, late), axis=1), 48_000, subtype="PCM_24")
    return str(path)


def test_pairs_and_picture_in_json(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = two(tmp_path / "a.wav")
    document = json.loads(call(capsys, "listen", path, "--picture-ms", "41", "--json").out)
    (pair,) = document["pairs"]
    assert (pair["a"], pair["b"], pair["inverted"], pair["jumps"]) == (f"{path}:1", f"{path}:2", False, [])
    assert pair["delay_ms"] == pytest.approx(2.0, abs=0.001)
    assert pair["drift_ppm"] == pytest.approx(0.0, abs=0.1)
    assert pair["notch_hz"] == pytest.approx(250.0, abs=0.2)
    assert pair["notch_db"] == pytest.approx(20.0 * np.log10(0.5), abs=0.1)  # 6 dB quieter: 1 - 1/2 is left
    assert (pair["set_delay_on"], pair["why"]) == (f"{path}:1", None)
    assert pair["distance_m"] == pytest.approx(2.0 / 2.914, abs=0.002)
    first, second = document["picture"]["tracks"]
    assert (first["sound_early_ms"], first["sync"], first["keeps_ebu_r37"]) == (41.0, "unnoticed", False)
    assert second["sound_early_ms"] == pytest.approx(39.0, abs=0.001)
    assert second["keeps_ebu_r37"] is True


def test_one_track_turned_over_is_the_first_line(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    said = call(capsys, "listen", two(tmp_path / "a.wav", inverted=True))
    assert said.out.startswith("a.wav:1 and a.wav:2: one is turned over. Invert one of them")


def test_lost_samples_reach_the_first_lines(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    x = np.random.default_rng(4).normal(0.0, 0.05, 48_000 * 20)
    torn = np.concatenate((x[:480_000], x[480_300:], np.zeros(300)))
    soundfile.write(tmp_path / "a.wav", np.stack((x, torn), axis=1), 48_000, subtype="PCM_24")
    said = call(capsys, "listen", str(tmp_path / "a.wav"))
    assert said.out.startswith("a.wav:2 lost 300 samples at 0:00:10. Move the track")


def test_a_torn_file_is_told_and_leaves_with_1(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """0.4 s are left of 4; a header older than what follows; the largest number, of what writes into a pipe."""
    whole = take(tmp_path / "whole.wav", False)
    data = Path(whole).read_bytes()
    (tmp_path / "cut.wav").write_bytes(data[: 44 + 115_200])
    (tmp_path / "open.wav").write_bytes(data[:40] + (48_000).to_bytes(4, "little") + data[44:])
    (tmp_path / "lost.wav").write_bytes(data[:4] + bytes(4) + data[8:40] + bytes(4) + data[44:])
    (tmp_path / "pipe.wav").write_bytes(data[:40] + b"\xff\xff\xff\xff" + data[44:])
    (tmp_path / "more.wav").write_bytes(data + bytes(range(128, 228)) * 100)
    for name, says in (
        ("cut.wav", "cut.wav holds 0.4 s, less than the 4.0 s that its header tells. Copy it again"),
        ("open.wav", "open.wav holds 4.0 s, more than the 0.2 s that its header tells"),
        ("lost.wav", "lost.wav holds 4.0 s, though its header was never finished"),
    ):
        said = call(capsys, "listen", str(tmp_path / name))
        assert (said.status, said.err) == (1, ""), name
        assert " ".join(said.out.split()).startswith(says), name
    for name in ("whole.wav", "pipe.wav"):
        assert call(capsys, "listen", str(tmp_path / name)).status == 0
    assert "its header tells" in call(capsys, "listen", str(tmp_path / "more.wav")).out


def test_pairs_in_print(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    said = call(capsys, "listen", two(tmp_path / "a.wav", inverted=True), "--picture-ms=-200")
    assert (said.status, said.err) == (0, "")
    assert "+2.000" in said.out
    assert "inverted" in said.out
    assert "500 (-6)" in said.out  # of opposite polarity: the first notch over the lowest lies at 1 / delay
    assert "not accepted" in said.out


def test_low_cut_of_a_link(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = two(tmp_path / "a.wav")
    shoot = str(Path(__file__).parents[1] / "shoot" / "data" / "quay.toml")
    link = tomllib.loads(Path(shoot).read_text())["link"][0]["name"]
    assert call(capsys, "listen", path, "--shoot", shoot, "--link", link).status == 0
    for wrong in (("--link", link), ("--shoot", shoot, "--link", "nobody"), ("--shoot", path)):
        said = call(capsys, "listen", path, *wrong)
        assert (said.status, said.out) == (2, "")
        assert len(said.err.strip().splitlines()) == 1


def live(seconds: float, seed: int = 5) -> np.ndarray:
    """Room tone at -50 dBFS with words over it: what an open microphone gives."""
    rng = np.random.default_rng(seed)
    words = 0.1 * (np.sin(2 * np.pi * np.arange(round(48_000 * seconds)) / 48_000 * 1.5) > 0.3)
    return np.asarray(rng.normal(0.0, 0.003, words.size) * (1.0 + 30.0 * words))


DEAD = {
    "digital silence": np.zeros(48_000 * 30),
    "the noise of a converter at -109 dBFS": np.random.default_rng(1).normal(0.0, 10.0 ** (-109 / 20), 48_000 * 30),
    "digital silence over DC": np.full(48_000 * 30, 0.004),
}


@pytest.mark.parametrize("what", DEAD)
def test_a_dead_track_is_the_first_line_and_no_success(
    what: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A silent file: "No certain fault and 0 suspects", exit 0."""
    soundfile.write(tmp_path / "a.wav", DEAD[what], 48_000, subtype="PCM_24")
    said = call(capsys, "listen", str(tmp_path / "a.wav"))
    assert said.status == 1
    assert said.out.startswith("a.wav:1 is dead from begin to end")


def test_one_dead_channel_of_two_is_named(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    soundfile.write(tmp_path / "a.wav", np.stack([live(20), np.zeros(960_000)], axis=1), 48_000, subtype="PCM_24")
    said = call(capsys, "listen", str(tmp_path / "a.wav"))
    assert said.status == 1
    assert said.out.startswith("a.wav:2 is dead")
    assert "a.wav:1 is dead" not in said.out


def test_a_track_that_dies_in_the_middle_is_told_from_when(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    sound = np.concatenate([live(20), np.zeros(48_000 * 20)])
    soundfile.write(tmp_path / "a.wav", sound, 48_000, subtype="PCM_24")
    said = call(capsys, "listen", str(tmp_path / "a.wav"))
    assert said.status == 1
    assert "a.wav:1 is dead from 0:00:20 on" in said.out


def test_a_pause_and_quiet_room_tone_are_not_dead(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    room = np.random.default_rng(2).normal(0.0, 10.0 ** (-72 / 20), 48_000 * 20)
    sound = np.concatenate([live(10), np.zeros(48_000 * 8)])
    for name, one in (("room.wav", room), ("pause.wav", sound)):
        soundfile.write(tmp_path / name, one, 48_000, subtype="PCM_24")
        assert "is dead" not in call(capsys, "listen", str(tmp_path / name)).out


def test_dc_and_files_of_two_rates_reach_the_first_lines(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    soundfile.write(tmp_path / "a.wav", live(6) + 0.1, 48_000, subtype="PCM_24")
    soundfile.write(tmp_path / "b.wav", live(6), 44_100, subtype="PCM_24")
    said = call(capsys, "listen", str(tmp_path / "a.wav"), str(tmp_path / "b.wav"))
    first = said.out.partition("certain fault")[0]
    assert "a.wav:1 stands +0.10 off zero" in first
    assert "different sample rates: 44100 Hz, 48000 Hz" in first
