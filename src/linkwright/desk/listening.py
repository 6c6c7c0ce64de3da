"""Recordings of the job: listened to in turn in the background, and what was heard is kept.

A recording lies in the store in pieces; to be read from anywhere it is unpacked once into a folder that goes when
the pages close. What was heard is kept in the store under the hash of the file: nothing is listened to twice.
"""

from __future__ import annotations

import json
import tempfile
import threading
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np

from linkwright import __version__, halfway
from linkwright.desk.background import Background, WorkRun
from linkwright.desk.telling import Listeners
from linkwright.shoot.errors import InputError
from linkwright.store import RECORDING, Attachment, Store
from linkwright.units import FloatArray

#: Largest recording that a page takes in: about two hours of stereo at 48 kHz and 24 bits [bytes].
MOST_BYTES: Final = 2 * 1024**3
#: What was heard is heard anew where the document has become another.
DOCUMENT: Final = 5
#: Columns of the overview that is kept, a track.
COLUMNS: Final = 2000


@dataclass(frozen=True, slots=True)
class ListenResult:
    """What was heard: the document of `linkwright listen --json`, or why it could not be listened to."""

    document: dict[str, Any] | None
    error: str | None = None


@dataclass
class Listening:
    """The recordings of one job. Safe to use from several threads."""

    store: Store
    listeners: Listeners
    background: Background
    _errors: dict[str, str] = field(default_factory=dict)
    _lock: threading.RLock = field(default_factory=threading.RLock)
    _folder: tempfile.TemporaryDirectory[str] | None = None

    def recordings(self) -> list[Attachment]:
        """The job's recordings, oldest first."""
        return [attachment for attachment in self.store.attachment_list() if attachment.kind == RECORDING]

    def recording(self, attachment_id: str) -> Attachment:
        """One of them. Raises InputError where it is not there."""
        named = next((recording for recording in self.recordings() if recording.id == attachment_id), None)
        if named is None:
            raise InputError("this recording is not in the job any more; load the page again")
        return named

    def heard(self, attachment: Attachment) -> ListenResult | None:
        """What was heard in it; None while nobody has listened."""
        if attachment.hash in self._errors:
            return ListenResult(None, self._errors[attachment.hash])
        kept = self.store.cache_get(_key("heard", attachment.hash))
        return None if kept is None else ListenResult(json.loads(kept))

    def pairs(self, recordings: Sequence[Attachment]) -> list[dict[str, Any]] | None:
        """How tracks of different recordings stand to each other; None while it is not known."""
        kept = self.store.cache_get(_key("pairs", *(recording.hash for recording in recordings)))
        return None if kept is None else list(json.loads(kept))

    def outline(self, attachment: Attachment, tracks: int) -> FloatArray | None:
        """Lowest and highest of every column, (tracks, 2, columns); None while nobody has listened."""
        kept = self.store.cache_get(_key("outline", attachment.hash))
        return None if kept is None else np.frombuffer(kept, dtype="<f4").reshape(tracks, 2, -1).astype(np.float64)

    def path(self, attachment: Attachment) -> Path:
        """The recording as a file that can be read from anywhere."""
        with self._lock:
            if self._folder is None:
                self._folder = halfway.folder()
            path = Path(self._folder.name) / attachment.hash
            if not path.exists():
                part = path.with_suffix(".part")
                with part.open("wb") as file:
                    for piece in self.store.attachment_pieces(attachment.id):
                        file.write(piece)
                part.rename(path)
            return path

    def begin(self) -> None:
        """Listen to whatever nobody has listened to yet."""
        if not self.background.state.fault and (self._waiting() or self._unpaired()):
            self.background.begin(self._run)

    def stop(self) -> None:
        """Stop listening; what was heard so far of the present recording is lost."""
        self.background.stop()

    def close(self) -> None:
        """Stop, and take the unpacked files away."""
        self.background.close()
        if self._folder is not None:
            self._folder.cleanup()

    def _waiting(self) -> list[Attachment]:
        return [recording for recording in self.recordings() if self.heard(recording) is None]

    def _unpaired(self) -> list[Attachment]:
        """All recordings that can be listened to, where it is not known yet how they stand to each other."""
        heard = [recording for recording in self.recordings() if recording.hash not in self._errors]
        return heard if len(heard) > 1 and self.pairs(heard) is None else []

    def _run(self, run: WorkRun) -> None:
        try:
            while True:
                waiting = self._waiting()
                if waiting:
                    self._listen(waiting[0], run)
                elif unpaired := self._unpaired():
                    self._compare(unpaired, run)
                else:
                    break
        finally:
            self.listeners.tell("listen", {})

    def _listen(self, attachment: Attachment, run: WorkRun) -> None:
        """One recording: its tracks, and how they stand to each other."""
        from linkwright.sound.cross_check import seconded
        from linkwright.sound.excerpt import overview
        from linkwright.sound.listen import listen
        from linkwright.sound.pairs import compare
        from linkwright.sound.recordings import open_recording
        from linkwright.sound.report import listen_document

        try:
            recording = open_recording(self.path(attachment), attachment.name)
            heard = [listen(recording, run.tell)]
            pairs = compare([recording], run.tell)
            outline = overview(recording, COLUMNS, run.tell)
            document = listen_document(seconded(heard, pairs), pairs)
        except InputError as error:
            self._errors[attachment.hash] = str(error)
            return
        self.store.cache_put(_key("outline", attachment.hash), outline.astype("<f4").tobytes())
        self.store.cache_put(_key("heard", attachment.hash), json.dumps(document).encode())

    def _compare(self, attachments: Sequence[Attachment], run: WorkRun) -> None:
        """The tracks of different recordings against each other, of those that have the same rate."""
        from linkwright.sound.pairs import compare
        from linkwright.sound.recordings import Recording, open_recording
        from linkwright.sound.report import pair_document

        by_rate: dict[int, list[Recording]] = {}
        for attachment in attachments:
            recording = open_recording(self.path(attachment), attachment.name)
            by_rate.setdefault(recording.rate_hz, []).append(recording)
        pairs = [
            pair_document(recordings, pair)
            for recordings in by_rate.values()
            if len(recordings) > 1
            for pair in compare(recordings, run.tell)
            if pair.a.file != pair.b.file
        ]
        self.store.cache_put(
            _key("pairs", *(attachment.hash for attachment in attachments)), json.dumps(pairs).encode()
        )


def _key(what: str, *hashes: str) -> str:
    return f"{what}/{__version__}/{DOCUMENT}/{'+'.join(hashes)}"
