"""What `linkwright listen --json` prints."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any, Final

import numpy as np

from linkwright.sound.fault import Fault
from linkwright.sound.findings import MOVED_MS, told
from linkwright.sound.intelligibility import THIRDS, Intelligibility, verdict
from linkwright.sound.kinds import GRAVE
from linkwright.sound.listen import Heard, Track
from linkwright.sound.lowcut import LowCut, Spectrum
from linkwright.sound.pairs import Pair, Side
from linkwright.sound.recordings import Recording
from linkwright.sound.timing import air_delay_ms, first_notch, lip_sync, within_ebu_r37

#: The part of the pauses' spectrum that is told: where a low cut works [Hz].
PAUSES_HZ: Final = (10.0, 1000.0)


def listen_document(
    heard: Sequence[Heard], pairs: Sequence[Pair] = (), picture_ms: float | None = None
) -> dict[str, Any]:
    """Everything that was heard. Levels in digital silence are null; times count from the file's first sample.

    picture_ms : how much later the picture comes than the sound of the first track; None where that is not known.
    """
    document: dict[str, Any] = {
        "files": [_file(file) for file in heard],
        "tracks": [_track(heard, file, track) for file in heard for track in file.tracks],
        "pairs": [pair_document([file.recording for file in heard], pair) for pair in pairs],
    }
    document["told"] = told(document)
    if picture_ms is not None:
        document["picture"] = _picture(heard, pairs, picture_ms)
    return document


def _named(recordings: Sequence[Recording], side: Side) -> str:
    return f"{recordings[side.file].name}:{side.channel + 1}"


def pair_document(recordings: Sequence[Recording], pair: Pair) -> dict[str, Any]:
    """Two tracks against each other. A positive delay means that b is later than a; times are those of a's file."""
    a, b = _named(recordings, pair.a), _named(recordings, pair.b)
    names = {"a": a, "b": b}
    delay = pair.delay_ms
    way = (
        delay if delay is not None and abs(delay) <= MOVED_MS else None
    )  # further apart: a file that is to be moved
    rate = recordings[pair.a.file].rate_hz
    notch = None if way is None else first_notch(way, bool(pair.inverted), pair.level_db or 0.0, rate / 2.0)
    return {
        "a": a,
        "b": b,
        "delay_ms": None if delay is None else round(delay, 4),
        "inverted": pair.inverted,
        "drift_ppm": None if pair.drift_ppm is None else round(pair.drift_ppm, 3),
        "jumps": None
        if pair.jumps is None
        else [{"at_s": round(j.at_s, 4), "samples": j.samples, "lost": names[j.lost]} for j in pair.jumps],
        "begins_s": round(pair.begins_s, 6),
        "drift_from_ppm": None if pair.drift_low_ppm is None else round(pair.drift_low_ppm, 3),
        "drift_to_ppm": None if pair.drift_high_ppm is None else round(pair.drift_high_ppm, 3),
        "quality": None if pair.quality is None else round(pair.quality, 1),
        "turns_at_s": [round(at_s, 2) for at_s in pair.turns_at_s],
        "level_db": None if pair.level_db is None else round(pair.level_db, 2),
        "notch_hz": None if notch is None else round(notch[0], 1),
        "notch_db": None if notch is None else round(notch[1], 1),
        "set_delay_on": None if way is None else (a if way > 0.0 else b),
        "set_delay_ms": None if way is None else round(abs(way), 4),
        "distance_m": None if way is None else round(abs(way) / air_delay_ms(1.0), 3),
        "why": pair.why or None,
    }


def _picture(heard: Sequence[Heard], pairs: Sequence[Pair], picture_ms: float) -> dict[str, Any]:
    """Every track whose delay against the first is known, against the picture."""
    first = Side(0, 0)
    late = {first: 0.0} if heard and heard[0].tracks else {}
    for pair in pairs:
        if pair.delay_ms is not None and first in (pair.a, pair.b):
            late[pair.b if pair.a == first else pair.a] = pair.delay_ms if pair.a == first else -pair.delay_ms
    rows = []
    for side, delay in sorted(late.items(), key=lambda entry: (entry[0].file, entry[0].channel)):
        early = picture_ms - delay
        rows.append(
            {
                "track": _named([file.recording for file in heard], side),
                "sound_early_ms": round(early, 3),
                "sync": lip_sync(early),
                "keeps_ebu_r37": within_ebu_r37(early),
            }
        )
    return {"picture_ms": picture_ms, "tracks": rows}


def grave(heard: Sequence[Heard]) -> bool:
    """Whether there is a certain grave fault in any track, or a file is torn off."""
    torn = any(file.recording.torn is not None for file in heard)
    return torn or any(
        f.certain and f.kind in GRAVE for file in heard for track in file.tracks for f in track.faults
    )


def _file(file: Heard) -> dict[str, Any]:
    recording = file.recording
    stamp = recording.stamp
    return {
        "path": recording.name,
        "format": recording.form,
        "rate_hz": recording.rate_hz,
        "tracks": recording.tracks,
        "length_s": file.frames / recording.rate_hz,
        "torn_s": None
        if recording.torn is None
        else [round(frames / recording.rate_hz, 3) for frames in recording.torn],
        "starts_at_s": recording.starts_at_s,
        "date": None if stamp is None else stamp.date,
        "programme": None if file.programme is None else _rounded(asdict(file.programme)),
    }


def _track(heard: Sequence[Heard], file: Heard, track: Track) -> dict[str, Any]:
    rate = file.recording.rate_hz
    levels = {
        **asdict(track.loudness),
        "true_peak_dbtp": track.true_peak_dbtp,
        "sample_peak_dbfs": track.sample_peak_dbfs,
        "rms_dbfs": track.rms_dbfs,
        "noise_floor_dbfs": track.noise_floor_dbfs,
    }
    low_cut = track.low_cut
    return {
        "path": file.recording.name,
        "channel": track.channel,
        "rate_hz": rate,
        "length_s": file.frames / rate,
        **_rounded(levels),
        "dc": round(track.dc, 7),
        "hum_hz": None if track.hum is None else track.hum.hz,
        "hum_dbfs": None if track.hum is None else round(track.hum.level_dbfs, 2),
        "room_tone": None
        if track.room_tone is None
        else dict(zip(("at_s", "length_s"), track.room_tone, strict=True)),
        "loudest_minute": None if track.loudest is None else _rounded(asdict(track.loudest)),
        "low_cut_hz": None if low_cut is None else low_cut.corner_hz,
        "voice_f0_hz": None if low_cut is None or low_cut.f0_hz is None else round(low_cut.f0_hz, 1),
        "low_cut": None if low_cut is None else _low_cut(low_cut),
        "intelligibility": _intelligibility(track.intelligibility),
        "faults": [_fault(heard, fault, rate) for fault in track.faults],
        "faults_left_out": track.faults_left_out,
    }


def _intelligibility(intelligibility: Intelligibility) -> dict[str, Any]:
    """The index, in words, and each band [dB SPL in 1 Hz]; null and `why` where it is not told."""
    columns = {
        "hz": THIRDS.hz,
        "speech_db": intelligibility.speech_db,
        "noise_db": intelligibility.noise_db,
        "audible": intelligibility.audible,
    }
    return {
        "sii": None if intelligibility.index is None else round(intelligibility.index, 3),
        "why": intelligibility.why or None,
        "says": verdict(intelligibility),
        "bands": [
            {name: round(float(value), 2) for name, value in zip(columns, row, strict=True)}
            for row in (zip(*columns.values(), strict=True) if intelligibility.index is not None else ())
        ],
    }


def _low_cut(low_cut: LowCut) -> dict[str, Any]:
    hertz, pauses_db, above_db = _shown(low_cut.pauses)
    told: dict[str, Any] = {
        "order": low_cut.order,
        "voice_f0_low_hz": round(low_cut.f0_low_hz, 1),
        "because": low_cut.because,
        "troubled": low_cut.troubled,
        "steps": [_rounded(asdict(step)) for step in low_cut.steps],
        "pauses_hz": hertz,
        "pauses_db": pauses_db,
        "pauses_above_db": above_db,
    }
    if low_cut.loudest is not None:
        told["loudest_hz"], told["loudest_db"], told["loudest_above_db"] = _shown(low_cut.loudest)
    return told


def _shown(of: Spectrum) -> tuple[list[float], list[float], float]:
    """Frequencies and levels where a low cut works, and the level of all that lies over that."""
    shown = (of.frequency_hz >= PAUSES_HZ[0]) & (of.frequency_hz <= PAUSES_HZ[1])
    level = 10.0 * np.log10(np.maximum(of.power[shown], 1e-20))
    above = 10.0 * np.log10(max(float(of.power[of.frequency_hz > PAUSES_HZ[1]].sum()), 1e-20))
    hertz = [round(float(hz), 2) for hz in of.frequency_hz[shown]]
    return hertz, [round(float(db), 1) for db in level], round(float(above), 1)


def spectrum_of(low_cut: dict[str, Any], what: str) -> Spectrum | None:
    """The spectrum "pauses" or "loudest" of a document's low cut; None where it has none."""
    if f"{what}_hz" not in low_cut:
        return None
    hertz = np.append(np.asarray(low_cut[f"{what}_hz"], float), 2.0 * PAUSES_HZ[1])
    level = np.append(np.asarray(low_cut[f"{what}_db"], float), low_cut[f"{what}_above_db"])
    return Spectrum(hertz, 10.0 ** (level / 10.0))


def _fault(heard: Sequence[Heard], fault: Fault, rate_hz: int) -> dict[str, Any]:
    told: dict[str, Any] = {
        "at_s": round(fault.at / rate_hz, 6),
        "length_s": round(fault.length / rate_hz, 6),
        "kind": fault.kind,
        "certain": fault.certain,
    }
    if fault.every_s is not None:
        told["every_s"] = round(fault.every_s, 6)
    if fault.level_db is not None:
        told["level_db"] = round(fault.level_db, 1)
    if fault.hz is not None:
        told["hz"] = round(fault.hz, 2)
    if fault.other is not None:
        told["other_track"] = _named([file.recording for file in heard], Side(*fault.other))
    return told


def _rounded(values: dict[str, Any]) -> dict[str, Any]:
    return {key: round(value, 2) if isinstance(value, float) else value for key, value in values.items()}
