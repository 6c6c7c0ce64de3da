"""A day whose Boom broke up eight times, with recordings of it that have the losses on a clock of their own."""

from __future__ import annotations

import io
import struct
import time

import numpy as np
import soundfile
from fastapi.testclient import TestClient
from tests.watch.made_readings import NINE_MS
from tests.web.conftest import desk_of_client
from tests.web.wrapped import minute

from linkwright.store import READINGS, RECORDING, Store
from linkwright.watch.diagnose.episodes import moment
from linkwright.watch.log.kept import packed

RATE = 8000
#: When Boom broke, for 0.7 s each [s since nine], between two readings; and a loss that the readings do not show.
BREAKS_S = (20.25, 61.65, 99.15, 140.85, 171.35, 214.75, 251.05, 300.55)
ALONE_S = 123.0
#: The recording began this long after nine, and its clock said that much more [s].
BEGINS_S, AHEAD_S = 7.0, 2.3


def keep_breaks(store: Store, minutes: int = 6) -> None:
    """Readings of some minutes, in which Boom is muted at its breaks."""
    for n in range(minutes):
        made = minute(n)
        for at in BREAKS_S:
            bad = (
                (made.link == 1)
                & (made.time_ms >= NINE_MS + 1000 * at)
                & (made.time_ms < NINE_MS + 1000 * at + 700)
            )
            made.muted[bad], made.quality[bad] = 1, 0.0
        name = moment(NINE_MS + 60_000 * n).isoformat()
        store.attach(name, packed(made), "live", most_bytes=1 << 24, kind=READINGS)


def wave(lost_s: tuple[float, ...] = (), seconds: float = 320.0, stamp: bool = True) -> bytes:
    """Two tracks of noise, digital silence of 0.7 s in the first from each of some times since nine; with the time
    stamp of a broadcast wave (EBU Tech 3285)."""
    sound = 0.05 * np.random.default_rng(3).standard_normal((round(seconds * RATE), 2))
    for at in lost_s:
        sound[round((at - BEGINS_S) * RATE) : round((at - BEGINS_S + 0.7) * RATE), 0] = 0.0
    out = io.BytesIO()
    soundfile.write(out, sound, RATE, format="WAV", subtype="PCM_16")
    if not stamp:
        return out.getvalue()
    begins = round((9 * 3600 + BEGINS_S + AHEAD_S) * RATE)
    extra = bytes(320) + b"2027-05-1409:00:09" + struct.pack("<Q", begins) + bytes(256)
    chunks = b"bext" + struct.pack("<I", len(extra)) + extra + out.getvalue()[12:]
    return b"RIFF" + struct.pack("<I", len(chunks) + 4) + b"WAVE" + chunks


def keep_recordings(store: Store) -> None:
    """A roll that can be laid, a wild track that has a stamp only, and one that has nothing."""
    for name, data in (
        ("roll 7.wav", wave((*BREAKS_S, ALONE_S))),
        ("wild.wav", wave(seconds=20.0)),
        ("notes.wav", wave(seconds=5.0, stamp=False)),
    ):
        store.attach(name, data, "laptop", most_bytes=1 << 28, kind=RECORDING)


def listened(client: TestClient) -> None:
    """Wait until all recordings have been listened to, and were laid along the readings."""
    desk = desk_of_client(client)
    listening = desk.listening
    listening.begin()
    for _ in range(1200):
        if all(listening.heard(recording) is not None for recording in listening.recordings()):
            client.get("/wrap")  # whoever asks begins it
            assert desk.works["laying"].wait(60.0)
            return
        time.sleep(0.05)
    raise AssertionError("nobody listened")
