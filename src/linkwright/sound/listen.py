"""Listening to a recording: every track's levels, faults, room tone and voice in one pass, in little memory."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linkwright.physics.loudness import level_dbfs, peak_db
from linkwright.progress import Tell
from linkwright.sound.clipping import ClipFinder
from linkwright.sound.course import limited
from linkwright.sound.dead import Deadness
from linkwright.sound.fault import Fault
from linkwright.sound.faults import FaultFinder
from linkwright.sound.intelligibility import Intelligibility, SpeechMeter
from linkwright.sound.low_band import LowBand, Slowed, slow_rate_hz
from linkwright.sound.lowcut import GENERIC, Filter, LowCut, Spectrum, choose_low_cut
from linkwright.sound.meter import STEP, Loudness, LoudnessMeter, TrackMeter, hop_frames
from linkwright.sound.pitch import PitchMeter
from linkwright.sound.recording_gain import LoudestMinute, loudest_minute
from linkwright.sound.recordings import Recording, blocks
from linkwright.sound.room_tone import RoomTone, SteadyTone
from linkwright.sound.rustle import Rustle
from linkwright.units import FloatArray, SampleArray

#: Noise reaches three times its rms most of the time: what a hole's bottom is held against.
NOISE_PEAK: Final = 3.0
#: A constant part of a track that is told [full scale 1]: -40 dBFS (own choice).
MOST_DC: Final = 0.01
UNHEARD: Final = Intelligibility(None, "nobody listened for it")


@dataclass(frozen=True)
class Track:
    """What was heard in one track. Levels are None for digital silence; `faults` are in the order of time.

    room_tone : the longest stretch of it, from when and how long [s].
    """

    channel: int
    loudness: Loudness
    true_peak_dbtp: float | None
    sample_peak_dbfs: float | None
    rms_dbfs: float | None
    noise_floor_dbfs: float | None
    dc: float
    hum: SteadyTone | None
    low_cut: LowCut | None
    faults: tuple[Fault, ...]
    faults_left_out: int
    loudest: LoudestMinute | None = None
    room_tone: tuple[float, float] | None = None
    intelligibility: Intelligibility = UNHEARD


@dataclass(frozen=True)
class Heard:
    """A recording, its tracks, and the loudness of a mono or stereo programme; `frames` were read."""

    recording: Recording
    frames: int
    tracks: tuple[Track, ...]
    programme: Loudness | None


@dataclass
class TrackListener:
    """Everything that listens to one track."""

    rate_hz: int
    low_cut: Filter = GENERIC
    meter: TrackMeter = field(init=False)
    finder: FaultFinder = field(init=False)
    clip: ClipFinder = field(init=False)
    room: RoomTone = field(init=False)
    slowed: Slowed = field(init=False)
    pitch: PitchMeter = field(init=False)
    low: LowBand = field(init=False)
    speech: SpeechMeter = field(init=False)
    deadness: Deadness = field(init=False)
    rustle: Rustle = field(init=False)

    def __post_init__(self) -> None:
        self.meter, self.finder = TrackMeter(self.rate_hz), FaultFinder(self.rate_hz)
        step = STEP * hop_frames(self.rate_hz)
        self.deadness, self.room = Deadness(self.rate_hz, step), RoomTone(self.rate_hz, step)
        self.rustle, self.speech = Rustle(step), SpeechMeter(self.rate_hz, step)
        self.clip, self.slowed = ClipFinder(self.rate_hz), Slowed(self.rate_hz)
        slow = slow_rate_hz(self.rate_hz)
        self.pitch, self.low = PitchMeter(slow), LowBand(slow)

    def add(self, x: SampleArray) -> FloatArray:
        """The next samples; their K-weighted mean squares, one a hop."""
        self.finder.add(x)
        self.clip.add(x)
        slow, above = self.slowed.add(x)
        voiced, over_150_hz = self.pitch.add(above)
        self.low.add(slow)
        weighted = self.meter.add(x)
        pieces = self.room.add(x, self.meter.powers)
        self.speech.add(pieces, self.meter.powers.size, voiced, over_150_hz)
        self.deadness.add(self.meter.powers)
        self.rustle.add(self.meter.powers, self.meter.middle_hz, self.meter.floor())
        return weighted

    def finish(self, channel: int) -> Track:
        """What was heard."""
        meter, floor = self.meter, self.meter.floor()
        faults = self.finder.finish(NOISE_PEAK * float(np.sqrt(floor)), self.clip.levels())
        step = meter.tops.folded * STEP * hop_frames(self.rate_hz)
        faults += self.clip.finish(meter.tops.all(), step, meter.rms)
        if not any(fault.kind == "clip" and fault.certain for fault in faults):
            faults += limited(meter.tops.all(), meter.rms, meter.frames)
        faults += self.deadness.finish(meter.frames) or meter.course.falls(STEP * hop_frames(self.rate_hz))
        level, voice = self.pitch.level_db()
        low = self.low.finish(level, voice=voice, frames=meter.frames, rate_hz=self.rate_hz)
        faults += low
        faults += self.rustle.finish()
        if abs(meter.dc) >= MOST_DC:
            faults.append(Fault(0, meter.frames, "dc", certain=True))
        lines = self.room.steady()
        faults += [Fault(0, meter.frames, line.kind, False, level_db=line.level_dbfs, hz=line.hz) for line in lines]
        return Track(
            channel,
            meter.loudness.result(),
            peak_db(max(meter.true_peak.finish(), meter.sample_peak)),
            peak_db(meter.sample_peak),
            level_dbfs(meter.square / max(meter.frames, 1)),
            level_dbfs(floor),
            meter.dc,
            next((line for line in lines if line.kind != "tone"), None),
            self._low_cut(any(fault.kind in ("rumble", "wind") for fault in low)),
            tuple(sorted(faults, key=lambda fault: (fault.at, fault.kind))),
            self.finder.dropped + self.clip.dropped,
            loudest_minute(
                meter.course, meter.tops, floor, STEP * hop_frames(self.rate_hz) / self.rate_hz,
                clipped=any(fault.kind == "clip" for fault in faults),
            ),
            meter.course.room_tone(),
            self.speech.finish(voice=self.pitch.talks()),
        )  # fmt: skip

    def _low_cut(self, troubled: bool) -> LowCut | None:
        pauses, loudest = self.room.spectrum(), self.low.loudest()
        return choose_low_cut(
            self.pitch.voice(),
            None if pauses is None else Spectrum(*pauses),
            None if loudest is None else Spectrum(self.low.frequency_hz, loudest),
            self.low_cut,
            troubled=troubled,
        )


class Ears:
    """Everything that listens to a recording, all tracks together."""

    def __init__(self, rate_hz: int, tracks: int, low_cut: Filter = GENERIC) -> None:
        self.listeners = [TrackListener(rate_hz, low_cut) for _ in range(tracks)]
        self.frames, self._programme = 0, LoudnessMeter()

    def add(self, x: SampleArray) -> None:
        """The next samples, (tracks, n), whole steps of 100 ms but at the end."""
        weighted = [listener.add(samples) for listener, samples in zip(self.listeners, x, strict=True)]
        self._programme.add(np.sum(weighted, axis=0))
        self.frames += x.shape[1]

    def finish(self, recording: Recording) -> Heard:
        """What was heard."""
        tracks = tuple(listener.finish(i + 1) for i, listener in enumerate(self.listeners))
        programme = self._programme.result() if len(tracks) <= 2 else None
        return Heard(recording, self.frames, tracks, programme)


def listen(recording: Recording, tell: Tell | None = None, low_cut: Filter = GENERIC) -> Heard:
    """Listen to a recording once, from its beginning to its end. Raises InputError where it cannot be read.

    low_cut : the steps to choose from for the voice.
    """
    ears = Ears(recording.rate_hz, recording.tracks, low_cut)
    for block in blocks(recording, STEP * hop_frames(recording.rate_hz)):
        ears.add(block)
        if tell is not None:
            tell(f"listening to {recording.name}", ears.frames / max(recording.frames, ears.frames))
    return ears.finish(recording)
