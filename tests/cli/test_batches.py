"""One bad file does not spoil the batch: the others are answered, the bad one is named, and the status says so."""

from __future__ import annotations

import json
import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile
from tests.cli.calling import call
from tests.plan.shoots import QUAY

Capture = pytest.CaptureFixture[str]


@pytest.fixture
def good(tmp_path: Path) -> dict[str, str]:
    """A good file of each kind."""
    soundfile.write(tmp_path / "good.wav", 0.1 * np.sin(np.arange(48_000) / 20.0), 48_000)
    rows = "".join(f"2027-05-14T09:00:{n:02d}Z,Pilot,-60\n" for n in range(30))
    (tmp_path / "good.log.csv").write_text(f"time,link,rf_a_dbm\n{rows}")
    sweep = "".join(f"{470_000 + 25 * n},{-100 + n % 3}\n" for n in range(400))
    (tmp_path / "good.sweep.csv").write_text(sweep)
    return {
        "listen": str(tmp_path / "good.wav"),
        "diagnose": str(tmp_path / "good.log.csv"),
        "sweep": str(tmp_path / "good.sweep.csv"),
    }


@pytest.mark.parametrize("command", ["listen", "diagnose", "sweep"])
def test_the_others_are_answered(capsys: Capture, tmp_path: Path, good: dict[str, str], command: str) -> None:
    bad = tmp_path / "bad.bin"
    bad.write_bytes(b"Dear diary,\n")
    alone = json.loads(call(capsys, command, good[command], "--json").out)
    both = call(capsys, command, str(bad), good[command], "--json")
    assert both.status == 2
    assert f"{bad}" in both.err
    answered = json.loads(both.out)
    assert len(answered.pop("unread")) == 1
    assert alone.pop("unread") == []
    assert answered == alone


@pytest.mark.parametrize("command", ["listen", "diagnose", "sweep"])
def test_where_none_is_good_there_is_no_answer(capsys: Capture, tmp_path: Path, command: str) -> None:
    for name in ("a", "b"):
        (tmp_path / name).write_bytes(b"Dear diary,\n")
    said = call(capsys, command, str(tmp_path / "a"), str(tmp_path / "b"))
    assert (said.status, said.out, len(said.err.splitlines())) == (2, "", 2)


def wav(tag: int, tracks: int, rate_hz: int, bits: int, size: int | None = None) -> bytes:
    """A WAV with this said of what it holds."""
    data = b"\0" * 4800
    head = struct.pack("<HHIIHH", tag, tracks, rate_hz, 96_000, 2, bits)
    body = b"WAVEfmt " + struct.pack("<I", 16) + head + b"data"
    body += struct.pack("<I", len(data) if size is None else size) + data
    return b"RIFF" + struct.pack("<I", len(body)) + body


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"ID3\x04" + b"\0" * 40, "is MP3; WAV and FLAC are read: save it as one of these"),
        (b"\0\0\0\x20ftypM4A " + b"\0" * 40, "is MP4; WAV and FLAC are read"),
        (b"FORM\0\0\1\0AIFFCOMM", "is AIFF; WAV and FLAC are read"),
        (wav(0x55, 1, 48_000, 0), "cannot be read (MP3, 1 track, 48000 samples a second of 0 bits)"),
        (wav(1, 0, 48_000, 16), "cannot be read (PCM, 0 tracks, 48000 samples a second of 16 bits)"),
        (wav(1, 2, 0, 16), "cannot be read (PCM, 2 tracks, 0 samples a second of 16 bits)"),
        (wav(0x9999, 1, 48_000, 16), "cannot be read (format 0x9999, 1 track"),
        (
            wav(1, 1, 48_000, 16, 0)[:44],
            "holds no samples (PCM, 1 track, 48000 samples a second of 16 bits); a recorder",
        ),
        (b"fLaC" + b"\0" * 50, "is damaged, or of a kind that is not read here: save it as plain WAV or as FLAC"),
    ],
)
def test_what_cannot_be_listened_to_is_told_in_words_of_ours(
    capsys: Capture, tmp_path: Path, data: bytes, says: str
) -> None:
    (tmp_path / "take.wav").write_bytes(data)
    said = call(capsys, "listen", str(tmp_path / "take.wav"))
    assert (said.status, says in said.err) == (2, True), said.err


def test_day_says_why_it_does_not_hold(capsys: Capture, tmp_path: Path) -> None:
    text = QUAY.read_text("utf-8")
    calls = '[[call]]\nname = "Early"\nfrom = 08:00:00\nto = 08:29:00\nlinks = ["Pilot"]\n'
    path = tmp_path / "quay.toml"
    late = text.replace("[[call]]", f"{calls}\n[[call]]", 1).replace(
        'name = "Arrival"', 'name = "Arrival"\ntravel_min = 90'
    )
    path.write_text(late, "utf-8")
    said = call(capsys, "day", str(path))
    assert said.status == 1
    assert "The day does not hold: " in said.out
    assert "min are missing before Arrival" in said.out
    because = json.loads(call(capsys, "day", str(path), "--json").out)["because"]
    assert any("are missing before Arrival" in one for one in because)
    assert call(capsys, "day", str(QUAY)).status == (
        1 if "does not hold" in call(capsys, "day", str(QUAY)).out else 0
    )
