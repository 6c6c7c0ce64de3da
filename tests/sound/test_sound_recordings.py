"""Reading recordings: formats, time stamps, blocks, and files that are none."""

from __future__ import annotations

import io
import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from linkwright.shoot.errors import InputError
from linkwright.sound.recordings import blocks, open_recording, read_stamp


def samples(tracks: int = 2, length: int = 30_000) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    return np.random.default_rng(1).uniform(-0.5, 0.5, (length, tracks))


def broadcast_wave(date: bytes, time: bytes, since_midnight: int, form: bytes = b"RIFF") -> bytes:
    """A wave with the chunk "bext" (EBU Tech 3285), a chunk of odd size before it."""
    plain = io.BytesIO()
    soundfile.write(plain, samples(), 48_000, format="WAV", subtype="PCM_24")
    body = plain.getvalue()[12:]
    stamp = date.ljust(10, b"\0") + time.ljust(8, b"\0") + struct.pack("<Q", since_midnight)
    extra = bytes(320) + stamp + bytes(256)
    chunks = b"odd " + struct.pack("<I", 3) + b"abc\0" + b"bext" + struct.pack("<I", len(extra)) + extra + body
    if form != b"RIFF":
        chunks = b"ds64" + struct.pack("<IQQQI", 28, len(chunks), 180_000, 30_000, 0) + chunks
    return form + struct.pack("<I", len(chunks) + 4) + b"WAVE" + chunks


@pytest.mark.parametrize(
    ("form", "subtype", "step"),
    [
        ("WAV", "PCM_16", 2**-15), ("WAV", "PCM_24", 2**-23), ("WAV", "PCM_32", 2**-24), ("WAV", "FLOAT", 2**-24),
        ("WAVEX", "PCM_24", 2**-23), ("RF64", "PCM_24", 2**-23), ("W64", "PCM_24", 2**-23),
        ("FLAC", "PCM_24", 2**-23),
    ],
)  # fmt: skip
@pytest.mark.parametrize("tracks", [1, 2, 7])
def test_formats_read_back(tmp_path: Path, form: str, subtype: str, step: float, tracks: int) -> None:
    path = tmp_path / "take"
    written = samples(tracks)
    soundfile.write(str(path), written, 48_000, format=form, subtype=subtype)
    recording = open_recording(path)
    assert (recording.tracks, recording.frames, recording.rate_hz) == (tracks, 30_000, 48_000)
    read = np.concatenate(list(blocks(recording, 480)), axis=1)
    assert np.abs(read - written.T).max() <= 1.01 * step


def test_blocks_are_whole_steps_and_small(tmp_path: Path) -> None:
    path = tmp_path / "take.wav"
    soundfile.write(str(path), samples(32, 100_001), 48_000, subtype="PCM_16")
    read = list(blocks(open_recording(path), 4800))
    assert len(read) > 2
    assert all(one.shape[1] % 4800 == 0 for one in read[:-1])
    assert max(one.size for one in read) <= 1 << 20


@pytest.mark.parametrize("form", [b"RIFF", b"RF64", b"BW64"])
def test_the_time_stamp_of_a_broadcast_wave(form: bytes) -> None:
    stamp = read_stamp(io.BytesIO(broadcast_wave(b"2027-05-14", b"14:32:00", 52_320 * 48_000, form)))
    assert stamp is not None
    assert (stamp.date, stamp.time, stamp.samples_since_midnight) == ("2027-05-14", "14:32:00", 52_320 * 48_000)


def test_a_stamped_file_says_when_it_begins(tmp_path: Path) -> None:
    path = tmp_path / "take.wav"
    path.write_bytes(broadcast_wave(b"2027-05-14", b"14:32:00", 52_320 * 48_000))
    assert open_recording(path).starts_at_s == 52_320.0


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=400), st.integers(0, 1200))
def test_damaged_headers_are_read_or_left(noise: bytes, at: int) -> None:
    whole = broadcast_wave(b"2027-05-14", b"14:32:00", 1)
    read_stamp(io.BytesIO(whole[:at] + noise + whole[at + len(noise) :]))


@pytest.mark.parametrize("content", [b"", b"RIFF", b"not a recording", b"RIFF\0\0\0\0WAVEfmt ", bytes(5000)])
def test_files_that_are_no_recording(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "take.wav"
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"take\.wav: "):
        open_recording(path)


def test_values_that_are_no_number_are_refused_with_their_place(tmp_path: Path) -> None:
    path = tmp_path / "take.wav"
    x = samples(1, 96_000)
    x[72_000] = np.nan
    soundfile.write(str(path), x, 48_000, subtype="FLOAT")
    with pytest.raises(InputError, match=r"1\.500 s that is no number"):
        list(blocks(open_recording(path), 480))


def test_a_recording_that_was_cut_off_is_read_as_far_as_it_goes(tmp_path: Path) -> None:
    path = tmp_path / "take.wav"
    soundfile.write(str(path), samples(2, 48_000), 48_000, subtype="PCM_24")
    path.write_bytes(path.read_bytes()[:100_000])
    read = sum(block.shape[1] for block in blocks(open_recording(path), 480))
    assert 16_000 < read < 17_000
