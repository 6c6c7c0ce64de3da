"""What `linkwright listen --json` prints."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any, Final

from linkwright.sound.faults import Fault
from linkwright.sound.listen import Heard, Track
from linkwright.sound.lowcut import LowCut

#: Certain faults that make a recording one that does not hold; an edit is somebody's intention.
GRAVE: Final = ("mute", "hold", "repeat", "hole", "clip")


def listen_document(heard: Sequence[Heard]) -> dict[str, Any]:
    """Everything that was heard. Levels in digital silence are null; times count from the file's first sample."""
    return {
        "files": [_file(one) for one in heard],
        "tracks": [_track(one, track) for one in heard for track in one.tracks],
        "pairs": [],
    }


def grave(heard: Sequence[Heard]) -> bool:
    """Whether there is a certain fault in any track."""
    return any(f.certain and f.kind in GRAVE for one in heard for track in one.tracks for f in track.faults)


def _file(one: Heard) -> dict[str, Any]:
    recording = one.recording
    stamp = recording.stamp
    return {
        "path": recording.name,
        "format": recording.form,
        "rate_hz": recording.rate_hz,
        "tracks": recording.tracks,
        "length_s": one.frames / recording.rate_hz,
        "starts_at_s": recording.starts_at_s,
        "date": None if stamp is None else stamp.date,
        "programme": None if one.programme is None else _rounded(asdict(one.programme)),
    }


def _track(one: Heard, track: Track) -> dict[str, Any]:
    rate = one.recording.rate_hz
    levels = {
        **asdict(track.loudness),
        "true_peak_dbtp": track.true_peak_dbtp,
        "sample_peak_dbfs": track.sample_peak_dbfs,
        "rms_dbfs": track.rms_dbfs,
        "noise_floor_dbfs": track.noise_floor_dbfs,
    }
    low_cut = track.low_cut
    return {
        "path": one.recording.name,
        "channel": track.channel,
        "rate_hz": rate,
        "length_s": one.frames / rate,
        **_rounded(levels),
        "dc": round(track.dc, 7),
        "hum_hz": None if track.hum is None else track.hum.mains_hz,
        "hum_dbfs": None if track.hum is None else round(track.hum.level_dbfs, 2),
        "low_cut_hz": None if low_cut is None else low_cut.corner_hz,
        "voice_f0_hz": None if low_cut is None else round(low_cut.f0_hz, 1),
        "low_cut": None if low_cut is None else _low_cut(low_cut),
        "faults": [_fault(fault, rate) for fault in track.faults],
        "faults_left_out": track.faults_left_out,
    }


def _low_cut(found: LowCut) -> dict[str, Any]:
    return {
        "order": found.order,
        "voice_f0_low_hz": round(found.f0_low_hz, 1),
        "because": found.because,
        "steps": [_rounded(asdict(step)) for step in found.steps],
    }


def _fault(fault: Fault, rate_hz: int) -> dict[str, Any]:
    return {
        "at_s": round(fault.at / rate_hz, 6),
        "length_s": round(fault.length / rate_hz, 6),
        "kind": fault.kind,
        "certain": fault.certain,
    }


def _rounded(values: dict[str, Any]) -> dict[str, Any]:
    return {key: None if value is None else round(value, 2) for key, value in values.items()}
