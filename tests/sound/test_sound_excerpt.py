"""Pieces of a recording, and its outline."""

from __future__ import annotations

import io
from typing import BinaryIO

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from linkwright.sound import recordings
from linkwright.sound.excerpt import excerpt, overview, wav
from linkwright.sound.recordings import Recording, open_recording

RATE = 8_000


@pytest.fixture(scope="module", params=["WAV", "FLAC", "RF64"])
def recording(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Recording:
    path = tmp_path_factory.mktemp("excerpt") / f"a.{request.param.lower()}"
    x = np.random.default_rng(7).uniform(-1.0, 1.0, (RATE * 5 + 17, 3))
    soundfile.write(str(path), x, RATE, format=request.param, subtype="PCM_24")
    return open_recording(path)


@settings(max_examples=15, deadline=None)
@given(begin=st.floats(-1.0, 5.0), length=st.floats(0.001, 7.0))
def test_a_piece_is_what_reading_it_all_gives(recording: Recording, begin: float, length: float) -> None:
    whole = soundfile.read(str(recording.path), dtype="float32", always_2d=True)[0].T
    first, last = (min(max(0, round(t * RATE)), recording.frames) for t in (begin, begin + length))
    if first >= last:
        with pytest.raises(ValueError, match="no sample"):
            excerpt(recording, begin, begin + length)
        return
    rate, piece = excerpt(recording, begin, begin + length)
    assert rate == RATE
    np.testing.assert_array_equal(piece, whole[:, first:last])


def test_a_piece_is_read_without_the_rest(monkeypatch: pytest.MonkeyPatch, recording: Recording) -> None:
    read: list[int] = []

    class Counted(soundfile.SoundFile):  # type: ignore[misc]
        def read(self, frames: int = -1, **others: object) -> object:
            read.append(frames)
            return super().read(frames, **others)

    def plain(file: BinaryIO, recording: Recording, at: int, count: int) -> object:
        read.append(count)
        return whole(file, recording, at, count)

    whole = recordings._plain
    monkeypatch.setattr(soundfile, "SoundFile", Counted)
    monkeypatch.setattr(recordings, "_plain", plain)
    excerpt(recording, 4.0, 4.1)
    assert read == [800]


def test_a_piece_plays_as_a_wave_of_16_bits(recording: Recording) -> None:
    rate, piece = excerpt(recording, 1.0, 1.5)
    info = soundfile.info(io.BytesIO(wav(rate, piece)))
    assert (info.samplerate, info.channels, info.frames, info.subtype) == (RATE, 3, 4_000, "PCM_16")
    again = soundfile.read(io.BytesIO(wav(rate, piece)), dtype="float32")[0].T
    assert np.abs(again - np.clip(piece, -1.0, 32767 / 32768)).max() <= 0.5001 / 32768


def test_over_full_scale_is_cut_off_and_does_not_wrap() -> None:
    x = np.array([[1.5, -1.5, 1.0]], np.float32)
    assert soundfile.read(io.BytesIO(wav(RATE, x)), dtype="int16")[0].tolist() == [32767, -32768, 32767]


@pytest.mark.parametrize(("begin", "end"), [(3.0, 2.0), (9.0, 10.0), (float("nan"), 1.0), (0.0, float("inf"))])
def test_no_piece(recording: Recording, begin: float, end: float) -> None:
    with pytest.raises(ValueError, match=r"sample|time"):
        excerpt(recording, begin, end)


def test_too_long_a_piece(recording: Recording, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("linkwright.sound.excerpt.MOST_VALUES", 1000)
    with pytest.raises(ValueError, match="more than is given out"):
        excerpt(recording, 0.0, 4.0)


@pytest.mark.parametrize("columns", [1, 7, 390, 20_000])
@pytest.mark.parametrize("block", [1000, 4096, 1 << 20])
def test_the_outline_holds_every_sample(
    recording: Recording, columns: int, block: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recordings, "BLOCK_VALUES", block * 3)
    whole = soundfile.read(str(recording.path), dtype="float32", always_2d=True)[0].T
    found = overview(recording, columns)
    assert found.shape == (3, 2, columns)
    assert found.dtype == np.float32
    for i in range(0, columns, max(1, columns // 50)):
        first, last = i * recording.frames // columns, (i + 1) * recording.frames // columns
        assert found[:, 0, i].tolist() == whole[:, first:last].min(axis=1).tolist()
        assert found[:, 1, i].tolist() == whole[:, first:last].max(axis=1).tolist()


@pytest.mark.parametrize("columns", [0, -3, 20_001])
def test_no_outline(recording: Recording, columns: int) -> None:
    with pytest.raises(ValueError, match="columns"):
        overview(recording, columns)
