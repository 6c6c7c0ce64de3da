"""`linkwright listen --input`: a stream, as a program writes it into a pipe; and a played input of the machine."""

from __future__ import annotations

import io
import json
import sys
import threading
import types
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray
from tests.cli.calling import call
from tests.sound.two_tracks import talk

from linkwright.sound.listen import listen
from linkwright.sound.recordings import open_recording
from linkwright.sound.report import listen_document

RATE = 16_000
Floats = NDArray[np.float64]


def take() -> Floats:
    """Twenty seconds of a voice; from 3.2 s on 5 ms are muted."""
    x = 0.3 * talk()[: 20 * RATE] + 1e-4 * np.random.default_rng(1).standard_normal(20 * RATE)
    at = RATE + int(np.argmax(np.convolve(np.abs(x[RATE : 8 * RATE]), np.ones(400), "same")))
    x[at : at + RATE // 200] = 0.0
    return x


def piped(monkeypatch: pytest.MonkeyPatch, path: Path, size: bytes = b"\xff\xff\xff\xff") -> None:
    """The file at standard input, with the length of who cannot know it."""
    data = path.read_bytes()
    at = data.index(b"data") + 4
    stream = io.BytesIO(data[:at] + size + data[at + 4 :])
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(stream))


@pytest.mark.parametrize("form", ["PCM_16", "PCM_24", "PCM_32", "FLOAT"])
def test_a_stream_tells_what_its_recording_tells(
    form: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    path = tmp_path / "take.wav"
    soundfile.write(str(path), np.stack((take(), 0.1 * take()), axis=1), RATE, subtype=form)
    piped(monkeypatch, path)
    said = call(capsys, "listen", "--input", "-", "--json")
    *seconds, last = (json.loads(line) for line in said.out.splitlines())
    assert (said.status, said.err) == (1, ""), "a certain fault"
    assert [second["at_s"] for second in seconds] == [float(n + 1) for n in range(20)]
    came = {(fault["track"], fault["kind"], fault["at_s"]) for second in seconds for fault in second["faults"]}
    recording = listen_document([listen(open_recording(path))])
    assert {
        (t["channel"], f["kind"], f["at_s"]) for t in recording["tracks"] for f in t["faults"] if f["certain"]
    } <= came
    for mine, theirs in zip(last["tracks"], recording["tracks"], strict=True):
        for key in ("integrated_lufs", "true_peak_dbtp", "noise_floor_dbfs", "faults", "low_cut_hz"):
            assert mine[key] == theirs[key], key


def test_faults_come_when_they_are_heard_and_ctrl_c_tells_all(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    path = tmp_path / "take.wav"
    loud = take()
    loud[9 * RATE : 9 * RATE + 5] = 1.0
    soundfile.write(str(path), loud, RATE, subtype="PCM_24")
    data = path.read_bytes()

    class Pressed(io.BytesIO):
        def read(self, size: int | None = -1, /) -> bytes:
            if self.tell() > 44 + 12 * RATE * 3:
                raise KeyboardInterrupt
            return super().read(size)

    monkeypatch.setattr(sys, "stdin", types.SimpleNamespace(buffer=Pressed(data)))
    lines = call(capsys, "listen", "--input", "-").out.splitlines()
    assert lines[0] == "Listening to standard input, 1 track of 16000 Hz; Ctrl-C ends it."
    assert any(line.endswith("track 1: mute") for line in lines)
    assert any("track 1: full scale; take more attenuation" in line for line in lines)
    assert "Ended." in lines
    assert any("standard input:1 has one mute" in line for line in lines), "then all of it"


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"ID3\x04" + bytes(60), "is no WAV; expected one as recorders write it into a pipe"),
        (b"RIFF" + bytes(4) + b"WAVE", "holds no samples"),
        (b"RIFF" + bytes(4) + b"WAVEjunk\xff\xff\xff\x7f", "holds no samples in its first megabyte"),
        (b"RIFF" + bytes(4) + b"WAVEdata" + bytes(4), "is of a kind that is not read"),
    ],
)
def test_what_is_no_recording_is_one_sentence(
    data: bytes, says: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(data)))
    said = call(capsys, "listen", "--input", "-")
    assert (said.status, said.out) == (2, "")
    assert says in said.err
    assert call(capsys, "listen", "a.wav", "--input", "-").err.count("\n") == 1


class Played:
    """PortAudio's module, as far as it is used: one input that plays a take."""

    class PortAudioError(Exception):
        """As the module's own."""

    def query_devices(self, wanted: int | str | None = None, _kind: str = "") -> Any:
        about = {"name": "cart input", "max_input_channels": 1, "default_samplerate": float(RATE)}
        if wanted is None:
            return [about]
        if wanted not in (0, "cart"):
            raise ValueError(f"No input device matching {wanted!r}")
        return about

    class InputStream:
        def __init__(self, rate_hz: int, size: int, _of: Any, tracks: int, dtype: str, callback: Any) -> None:
            assert (rate_hz, tracks, dtype) == (RATE, 1, "float32")
            self._size, self._callback = size, callback

        def __enter__(self) -> None:
            threading.Thread(target=self._play, daemon=True).start()

        def __exit__(self, *_: object) -> None:
            pass

        def _play(self) -> None:
            x = take().astype(np.float32)[:, None]
            for at in range(0, 8 * RATE, self._size):
                self._callback(x[at : at + self._size], self._size, None, None)


def test_an_input_of_the_machine_is_listened_to(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", Played())
    monkeypatch.setattr("linkwright.sound.inputs.MOST_WAITING_S", 60.0)
    said = call(capsys, "listen", "--input", "cart", "--seconds", "6")
    assert "cart input, 1 track of 16000 Hz" in said.out
    assert "track 1: mute" in said.out
    said = call(capsys, "listen", "--input", "desk")
    assert "desk: is no input of this machine" in said.err
    assert "there are: 0 cart input" in said.err


def test_without_the_extra_it_is_told_how_to_get_it(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    said = call(capsys, "listen", "--input", "0")
    assert 'pip install "linkwright[input]"' in said.err
    assert said.status == 2
