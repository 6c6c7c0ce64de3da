"""Reading recordings in blocks: WAV and its large forms, FLAC, with the time stamp of a broadcast wave."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, Final

import numpy as np
from numpy.typing import NDArray

from linkwright.shoot.errors import InputError
from linkwright.shoot.regular import open_regular
from linkwright.units import SampleArray, counted

#: What may be listened to: rates [Hz] and tracks. Outside, a file is damaged or something else.
RATES_HZ: Final = (8000, 384000)
MOST_TRACKS: Final = 256
#: How WAV, its large forms and FLAC begin.
FORMATS: Final = (b"RIFF", b"RF64", b"BW64", b"riff", b"fLaC")
#: What else recordings come as, by how they begin, and what a WAV may hold by its number (RFC 2361).
OTHERS: Final = {
    b"ID3": "MP3", b"\xff\xfb": "MP3", b"\xff\xf3": "MP3", b"OggS": "Ogg", b"FORM": "AIFF", b"caff": "CAF",
}  # fmt: skip
IN_WAV: Final = {
    1: "PCM", 2: "ADPCM", 3: "floating point", 6: "A-law", 7: "mu-law", 0x11: "ADPCM", 0x31: "GSM", 0x50: "MPEG",
    0x55: "MP3", 0xFF: "AAC", 0x161: "WMA", 0xFFFE: "one of the extensible kinds",
}  # fmt: skip
#: A sample that is so many times full scale is no audio, but numbers of something else.
MOST_OVER: Final = 1e4
#: Bytes of the whole numbers that are read without a decoder.
WIDTHS: Final = {"PCM_16": 2, "PCM_24": 3, "PCM_32": 4}
#: Numbers in one block, all tracks together.
BLOCK_VALUES: Final = 1 << 20
#: Chunks looked through for the time stamp, and the fixed part of it; EBU Tech 3285, section 2.3.
MOST_CHUNKS: Final = 1000
BEXT_BYTES: Final = 602


@dataclass(frozen=True)
class Stamp:
    """When a broadcast wave began: samples since midnight, and the date and time of its making as written there.

    Source: EBU Tech 3285, section 2.3 (the chunk "bext").
    """

    samples_since_midnight: int
    date: str
    time: str


@dataclass(frozen=True)
class Recording:
    """A recording, as it can be read.

    torn : samples that a WAV's header tells, and that the file has room for, where these differ. data_at : where
    plain whole numbers of a WAV begin, by bytes; None of anything else.
    """

    path: Path
    name: str
    rate_hz: int
    tracks: int
    frames: int
    form: str
    stamp: Stamp | None
    torn: tuple[int, int] | None = None
    data_at: int | None = None

    @property
    def length_s(self) -> float:
        """Its length [s]."""
        return self.frames / self.rate_hz

    @property
    def starts_at_s(self) -> float | None:
        """Time of day of its first sample, seconds since midnight; None without a time stamp."""
        return None if self.stamp is None else self.stamp.samples_since_midnight / self.rate_hz


def open_recording(path: Path, name: str | None = None) -> Recording:
    """Read the header of a recording. Raises InputError where it cannot be listened to."""
    import soundfile

    name = name or str(path)
    try:
        with open_regular(path, name) as file:
            begins = file.read(12)
            if begins[:4] not in FORMATS:  # decoders of anything else are never reached
                raise InputError(_other(begins), path=name)
            file.seek(0)
            stamp = read_stamp(file)
            file.seek(0)
            holds = _holds(file)
            file.seek(0)
            torn = _torn(file)
            file.seek(0)
            data = _found(file, b"data")
        info = soundfile.info(str(path))
    except OSError as error:
        raise InputError(f"cannot be read ({error.strerror})", path=name) from None
    except (soundfile.LibsndfileError, TypeError):
        says = f"cannot be read{holds}; it is damaged, or of a kind that is not read here"
        raise InputError(f"{says}: save it as plain WAV or as FLAC", path=name) from None
    if not RATES_HZ[0] <= info.samplerate <= RATES_HZ[1]:
        raise InputError(
            f"has {info.samplerate} samples a second; expected {RATES_HZ[0]} to {RATES_HZ[1]}", path=name
        )
    if info.channels > MOST_TRACKS:
        raise InputError(f"has {info.channels} tracks; expected at most {MOST_TRACKS}", path=name)
    form = f"{info.format} {info.subtype}"
    plain = info.endian in ("FILE", "LITTLE") and info.subtype in WIDTHS and data is not None
    data_at = data[0] if data is not None and plain else None
    frames = info.frames or (torn[1] if torn and data_at is not None else 0)  # the header was never finished
    if frames <= 0:
        raise InputError(f"holds no samples{holds}; a recorder that was cut off leaves such files", path=name)
    return Recording(path, name, info.samplerate, info.channels, frames, form, stamp, torn, data_at)


def blocks(recording: Recording, whole: int) -> Iterator[SampleArray]:
    """The samples, full scale 1, shape (tracks, n), n a multiple of `whole` but at the end.

    Raises InputError where the file breaks off or holds what is no number.
    """
    frames = max(1, BLOCK_VALUES // (recording.tracks * whole)) * whole
    if recording.data_at is not None:
        yield from _plain_blocks(recording, frames)
    else:
        yield from _decoded_blocks(recording, frames)


def _plain_blocks(recording: Recording, frames: int) -> Iterator[SampleArray]:
    """The same of a WAV of whole numbers, whose bytes are read as they lie there: a quarter of the time."""
    at = 0
    try:
        with open_regular(recording.path, recording.name) as file:
            while at < recording.frames:
                read = _plain(file, recording, at, min(frames, recording.frames - at))
                if not read.shape[1]:
                    break
                at += read.shape[1]
                yield read
    except OSError as error:
        where = f"breaks off at {at / recording.rate_hz:.1f} s ({error.strerror})"
        raise InputError(where, path=recording.name) from None


def _plain(file: BinaryIO, recording: Recording, at: int, count: int) -> SampleArray:
    """`count` samples of a WAV of whole numbers from sample `at` on, or as many as there are."""
    frame = recording.tracks * WIDTHS[recording.form.rsplit(" ", 1)[1]]
    file.seek((recording.data_at or 0) + at * frame)
    raw = file.read(count * frame)
    form = recording.form.rsplit(" ", 1)[1]
    return planar(np.frombuffer(raw, np.uint8, len(raw) // frame * frame), form, recording.tracks)


def planar(raw: NDArray[np.uint8], form: str, tracks: int) -> SampleArray:
    """The samples that these bytes of a form of `WIDTHS` are, full scale 1, shape (tracks, n)."""
    width = WIDTHS[form]
    if width == 3:
        from linkwright.sound.recordings_compiled import of_24_bits

        out = np.empty((tracks, raw.size // (tracks * width)), np.float32)
        of_24_bits(raw, raw.view(np.int8), out)
        return out
    whole = raw.view(f"<i{width}").reshape(-1, tracks)
    return np.ascontiguousarray(whole.T, np.float32) * np.float32(1.0 / (1 << (8 * width - 1)))


def _decoded_blocks(recording: Recording, frames: int) -> Iterator[SampleArray]:
    """The same of any other recording."""
    import soundfile

    at = 0
    try:
        with soundfile.SoundFile(str(recording.path)) as file:
            while True:
                read = file.read(frames, dtype="float32", always_2d=True)
                if not read.shape[0]:
                    break
                _check(read, at, recording)
                at += read.shape[0]
                yield np.ascontiguousarray(read.T)
    except (soundfile.LibsndfileError, OSError) as error:
        said = str(getattr(error, "error_string", error)).rstrip(".")
        raise InputError(f"breaks off at {at / recording.rate_hz:.1f} s ({said})", path=recording.name) from None
    if not at:
        raise InputError("holds no samples; expected a recording", path=recording.name)


def _check(read: SampleArray, at: int, recording: Recording) -> None:
    """Raises InputError where samples (n, tracks) from sample `at` on are no numbers, or no audio."""
    good = np.abs(read) <= MOST_OVER  # false for what is no number too
    if good.all():
        return
    row, track = np.argwhere(~good)[0]
    value = float(read[row, track])
    what = f"of {value:.3g} times full scale, which is no audio" if np.isfinite(value) else "that is no number"
    says = f"holds a value at {(at + row) / recording.rate_hz:.3f} s {what}; expected samples"
    raise InputError(says, path=recording.name)


class Reader:
    """Reads samples anywhere in a recording that is open."""

    def __init__(self, recording: Recording, file: Any) -> None:
        self.recording, self._file = recording, file

    def read(self, at: int, count: int) -> SampleArray:
        """`count` samples from sample `at` on, full scale 1, shape (tracks, count); zeros outside the recording.

        Raises InputError where the file breaks off or holds what is no number.
        """
        import soundfile

        out = np.zeros((self.recording.tracks, count), np.float32)
        first, last = max(at, 0), min(at + count, self.recording.frames)
        if first >= last:
            return out
        try:
            if self.recording.data_at is not None:
                samples = _plain(self._file, self.recording, first, last - first)
                out[:, first - at : first - at + samples.shape[1]] = samples
                return out
            self._file.seek(first)
            read = self._file.read(last - first, dtype="float32", always_2d=True)
        except (soundfile.LibsndfileError, OSError) as error:
            said = str(getattr(error, "error_string", error)).rstrip(".")
            where = f"cannot be read at {first / self.recording.rate_hz:.1f} s ({said})"
            raise InputError(where, path=self.recording.name) from None
        _check(read, first, self.recording)
        out[:, first - at : first - at + read.shape[0]] = read.T
        return out


@contextmanager
def reading(recording: Recording) -> Iterator[Reader]:
    """A recording, open to be read anywhere. Raises InputError."""
    import soundfile

    try:
        if recording.data_at is not None:
            file: Any = open_regular(recording.path, recording.name)
        else:
            file = soundfile.SoundFile(str(recording.path))
    except (soundfile.LibsndfileError, OSError) as error:
        said = str(getattr(error, "error_string", error)).rstrip(".")
        raise InputError(f"cannot be read ({said})", path=recording.name) from None
    with file:
        yield Reader(recording, file)


def read_stamp(file: BinaryIO) -> Stamp | None:
    """The time stamp of a broadcast wave (RIFF, RF64 or BW64); None where there is none.

    Sources: EBU Tech 3285, section 2.3; EBU Tech 3306 and ITU-R BS.2088 (RF64, BW64).
    """
    body = _chunk(file, b"bext", BEXT_BYTES)
    return None if body is None else _stamp(body)


def _other(begins: bytes) -> str:
    """What a file is that is neither WAV nor FLAC, as a sentence."""
    kind = (
        "MP4"
        if begins[4:8] == b"ftyp"
        else next((k for magic, k in OTHERS.items() if begins.startswith(magic)), "")
    )
    if kind:
        return f"is {kind}; WAV and FLAC are read: save it as one of these"
    return "is neither WAV nor FLAC; expected one of these"


def _holds(file: BinaryIO) -> str:
    """What a WAV says that it holds, in words behind a colon; "" where it says nothing that can be told."""
    body = _chunk(file, b"fmt ", 16)
    if body is None or len(body) < 16:
        return ""
    tag, tracks, rate_hz, _, _, bits = struct.unpack("<HHIIHH", body)
    kind = IN_WAV.get(tag, f"format {tag:#06x}")
    return f" ({kind}, {counted(tracks, 'track')}, {rate_hz} samples a second of {bits} bits)"


def _torn(file: BinaryIO) -> tuple[int, int] | None:
    """Samples that a WAV's header tells, and that the file has room for; None where they agree.

    What writes into a pipe cannot go back to the header, and leaves the largest number there: that tells nothing.
    """
    body = _chunk(file, b"fmt ", 16)
    file.seek(0)
    data_chunk = _found(file, b"data")
    if body is None or len(body) < 16 or data_chunk is None:
        return None
    begins, size = data_chunk
    rest = file.seek(0, 2) - begins
    frame = max(1, int(struct.unpack("<H", body[12:14])[0]))
    if any(largest - 0x1000 < size <= largest for largest in (0x7FFFFFFF, 0xFFFFFFFF)):
        return None
    if size // frame > rest // frame:
        return size // frame, rest // frame
    file.seek(begins + size + size % 2)
    after = file.read(8)
    whole = len(after) < 8 or begins + size + 8 + struct.unpack("<I", after[4:])[0] <= begins + rest
    named = all(32 <= byte < 127 for byte in after[:4])
    if len(after) < 8 or (named and whole) or (size == 0 and rest < frame):
        return None
    return size // frame, rest // frame


def _chunk(file: BinaryIO, wanted: bytes, most: int) -> bytes | None:
    """The beginning of a chunk of a WAV in any of its forms; None where there is none."""
    place = _found(file, wanted)
    if place is None:
        return None
    file.seek(place[0])
    return file.read(min(place[1], most))


def _found(file: BinaryIO, wanted: bytes) -> tuple[int, int] | None:
    """Where the body of a chunk of a WAV begins, and its size as its header tells it; None where there is none."""
    head = file.read(12)
    if len(head) < 12 or head[:4] not in (b"RIFF", b"RF64", b"BW64") or head[8:] != b"WAVE":
        return None
    large: int | None = None
    at = 12
    for _ in range(MOST_CHUNKS):
        chunk = file.read(8)
        if len(chunk) < 8:
            return None
        kind, size = chunk[:4], struct.unpack("<I", chunk[4:])[0]
        if kind == b"data" and size == 0xFFFFFFFF and large is not None:
            size = large
        if kind == wanted:
            return at + 8, size
        if kind == b"ds64" and size >= 24:
            body = file.read(24)
            large = struct.unpack("<Q", body[8:16])[0] if len(body) == 24 else None
        at += 8 + size + size % 2
        file.seek(at)
    return None


def _stamp(body: bytes) -> Stamp | None:
    if len(body) < 346:
        return None
    date, time = (
        "".join(c for c in raw.split(b"\0")[0].decode("ascii", "replace") if c.isprintable())
        for raw in (body[320:330], body[330:338])
    )
    return Stamp(struct.unpack("<Q", body[338:346])[0], date, time)
