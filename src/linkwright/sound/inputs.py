"""What is listened to as it comes: a WAV that streams in, or an input of this machine by PortAudio."""

from __future__ import annotations

import queue
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, BinaryIO, Final

import numpy as np

from linkwright.shoot.errors import InputError
from linkwright.sound.recordings import MOST_TRACKS, RATES_HZ, planar
from linkwright.units import SampleArray

#: Read at once [s], and how much may wait before it is lost [s].
BLOCK_S: Final = 0.1
MOST_WAITING_S: Final = 10.0
#: The numbers of a WAV that is read here, by format and bits (RFC 2361).
FORMS: Final = {(1, 16): "PCM_16", (1, 24): "PCM_24", (1, 32): "PCM_32", (3, 32): "FLOAT"}
EXTENSIBLE: Final = 0xFFFE
#: A chunk before the samples that is larger is none of a recording's [bytes].
MOST_CHUNK: Final = 1 << 20


@dataclass(frozen=True)
class Input:
    """An input: its name, its rate [Hz], its tracks, and its samples, (tracks, n), full scale 1."""

    name: str
    rate_hz: int
    tracks: int
    blocks: Iterator[SampleArray]


def wav_stream(stream: BinaryIO, name: str) -> Input:
    """A WAV as a program writes it into a pipe, whatever length its header tells. Raises InputError."""
    head = stream.read(12)
    if len(head) < 12 or head[:4] not in (b"RIFF", b"RF64", b"BW64") or head[8:] != b"WAVE":
        raise InputError("is no WAV; expected one as recorders write it into a pipe", path=name)
    form: tuple[int, int, int, int] | None = None
    while True:
        chunk = stream.read(8)
        if len(chunk) < 8:
            raise InputError("holds no samples", path=name)
        kind, size = chunk[:4], struct.unpack("<I", chunk[4:])[0]
        if kind == b"data":
            break
        if size > MOST_CHUNK:
            raise InputError("holds no samples in its first megabyte", path=name)
        body = stream.read(size + size % 2)
        if kind == b"fmt " and len(body) >= 16:
            tag, tracks, rate_hz, _, _, bits = struct.unpack("<HHIIHH", body[:16])
            tag = struct.unpack("<H", body[24:26])[0] if tag == EXTENSIBLE and len(body) >= 26 else tag
            form = tag, tracks, rate_hz, bits
    if form is None or (form[0], form[3]) not in FORMS:
        raise InputError("is of a kind that is not read; expected 16, 24 or 32 bits, or floating point", path=name)
    _, tracks, rate_hz, bits = form
    if not RATES_HZ[0] <= rate_hz <= RATES_HZ[1] or not 1 <= tracks <= MOST_TRACKS:
        raise InputError(f"has {tracks} tracks of {rate_hz} samples a second", path=name)
    return Input(name, rate_hz, tracks, _streamed(stream, FORMS[form[0], bits], tracks, rate_hz))


def _streamed(stream: BinaryIO, form: str, tracks: int, rate_hz: int) -> Iterator[SampleArray]:
    frame = tracks * {"PCM_16": 2, "PCM_24": 3}.get(form, 4)
    while raw := stream.read(round(BLOCK_S * rate_hz) * frame):
        whole = np.frombuffer(raw, np.uint8, len(raw) // frame * frame)
        if form == "FLOAT":
            read = np.nan_to_num(np.clip(whole.view("<f4").reshape(-1, tracks).T, -1e4, 1e4))
            yield np.ascontiguousarray(read, np.float32)
        else:
            yield planar(whole, form, tracks)


@contextmanager
def device(name: str) -> Iterator[Input]:
    """An input of this machine, by its name or number. Raises InputError where it cannot be opened."""
    try:
        import sounddevice
    except ImportError:
        raise InputError('an input needs the extra "input": pip install "linkwright[input]"') from None
    except OSError:
        raise InputError("an input needs PortAudio, which this machine lacks (Debian: libportaudio2)") from None
    wanted: int | str = int(name) if name.isdigit() else name
    waiting: queue.Queue[SampleArray] = queue.Queue(round(MOST_WAITING_S / BLOCK_S))
    lost = 0

    def take(block: Any, _frames: int, _time: Any, _status: Any) -> None:
        nonlocal lost
        try:
            waiting.put_nowait(np.ascontiguousarray(block.T))
        except queue.Full:
            lost += len(block)

    def blocks() -> Iterator[SampleArray]:
        while True:
            yield waiting.get()
            if lost:
                raise InputError(f"{lost} samples were lost: this machine does not keep up", path=name)

    try:
        about = sounddevice.query_devices(wanted, "input")
        rate_hz, tracks = round(about["default_samplerate"]), min(MOST_TRACKS, int(about["max_input_channels"]))
        stream = sounddevice.InputStream(
            rate_hz, round(BLOCK_S * rate_hz), wanted, tracks, dtype="float32", callback=take
        )
    except (ValueError, sounddevice.PortAudioError) as error:
        devices = enumerate(sounddevice.query_devices())
        there = ", ".join(f"{n} {each['name']}" for n, each in devices if each["max_input_channels"]) or "none"
        raise InputError(f"is no input of this machine ({error}); there are: {there}", path=name) from None
    with stream:
        yield Input(str(about["name"]), rate_hz, tracks, blocks())
