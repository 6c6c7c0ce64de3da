"""What recordings hold, drawn and played: waveforms with their faults, moments, the noise under a voice."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np

from linkwright.desk.listening import Listening, ListenResult
from linkwright.desk.snapshot import Snapshot
from linkwright.draw.response import Curve, ResponseCurves, drawn_curves
from linkwright.draw.wave import FaultMark, Wave, drawn_wave
from linkwright.physics.speech import low_cut_db
from linkwright.shoot.errors import InputError
from linkwright.shoot.models import Link, Shoot
from linkwright.shoot.view import transmitter_of
from linkwright.sound.kinds import KINDS, MOMENTS, gravity
from linkwright.sound.lowcut import Filter, choose_low_cut
from linkwright.sound.recording_gain import LoudestMinute, MeasuredGain
from linkwright.sound.recording_gain import says as gain_says
from linkwright.sound.report import spectrum_of
from linkwright.sound.settings import gain_from
from linkwright.sound.timing import comb_db
from linkwright.store import LoggedChange
from linkwright.units import FloatArray, SampleArray, counted

MARKED: Final = 400


#: What is played and shown around a fault on either side, and at most in all [s].
AROUND_S: Final = 0.75


MOST_PLAYED_S: Final = 30.0


def answer(listening: Listening) -> str:
    """What was heard, as a sentence; nothing without recordings."""
    recordings = listening.recordings()
    if not recordings:
        return (
            "No recording yet. A test recording of each talker, with pauses, tells the low cut; a take its faults."
        )
    heard = [result for recording in recordings if (result := listening.heard(recording)) is not None]
    waiting = len(recordings) - len(heard)
    if waiting:
        return f"{waiting} of {len(recordings)} recordings are still to be listened to."
    tracks = [track for result in heard if result.document for track in result.document["tracks"]]
    faults = [fault for track in tracks for fault in track["faults"]]
    certain = sum(bool(fault["certain"] and KINDS[fault["kind"]].fault) for fault in faults)
    told = [fault for result in heard if result.document for fault in result.document["told"]]
    told.sort(key=lambda fault: (not fault["certain"], gravity(fault["kind"])))
    more = f" And {counted(len(told) - 1, 'more thing')} to know." if len(told) > 1 else ""
    grave = f"{told[0]['says']} {told[0]['do']}{more} " if told else ""
    many = f"{len(recordings)} recordings" if len(recordings) > 1 else "one recording"
    return f"{grave}{certain or 'No'} certain fault{'s' if certain != 1 else ''} in {many}."


def _opened(listening: Listening, of: str) -> Any:
    from linkwright.sound.recordings import open_recording

    recording = listening.recording(of)
    return open_recording(listening.path(recording), recording.name)


def _piece(recording: Any, begin: float, end: float) -> tuple[int, Any]:
    """Samples between two times. Raises InputError for a piece that is not there."""
    from linkwright.sound.excerpt import excerpt

    try:
        return excerpt(recording, begin, end)
    except ValueError as error:
        raise InputError(str(error)) from None


def columns_of(samples: SampleArray, columns: int) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest of every column of a track (n,); at most as many columns as samples."""
    edges = (np.arange(columns) * samples.size) // columns
    return np.minimum.reduceat(samples, edges).astype(float), np.maximum.reduceat(samples, edges).astype(float)


def _document(heard: ListenResult | None) -> dict[str, Any]:
    if heard is None or heard.document is None:
        raise InputError("nobody has listened to this recording yet; wait a moment")
    return heard.document


def _track(document: dict[str, Any], channel: int) -> dict[str, Any]:
    tracks: list[dict[str, Any]] = document["tracks"]
    if channel > len(tracks):
        raise InputError(f"the recording has {counted(len(tracks), 'track')}; expected one of them")
    return tracks[channel - 1]


def drawn_track(listening: Listening, of: str, track: int, width: float, begin: float, end: float) -> str:
    """A track as a waveform with its faults, SVG: the whole, or from `begin` to `end` [s]. Raises InputError."""
    recording = listening.recording(of)
    document = _document(listening.heard(recording))
    listened = _track(document, track)
    if end > begin:
        rate, samples = _piece(_opened(listening, of), begin, min(end, begin + MOST_PLAYED_S))
        low, high = columns_of(samples[track - 1], min(2 * int(width), samples.shape[1]))
        begin_s, end_s = begin, begin + samples.shape[1] / rate
    else:
        outline = listening.outline(recording, document["files"][0]["tracks"])
        if outline is None:
            raise InputError("nobody has listened to this recording yet; wait a moment")
        (low, high), begin_s, end_s = outline[track - 1], 0.0, float(listened["length_s"])
    faults = [fault for fault in listened["faults"] if fault["kind"] in MOMENTS]
    marks = tuple(
        FaultMark(fault["at_s"], fault["length_s"], fault["kind"], fault["certain"])
        for fault in faults
        if begin_s <= fault["at_s"] <= end_s
    )[:MARKED]
    says = f"Track {track} of {recording.name}, {begin_s:.2f} to {end_s:.2f} s, {len(marks)} faults marked"
    return drawn_wave(Wave(says, low, high, begin_s, end_s, marks), width)


def moment_wav(
    listening: Listening, of: str, track: int, at: float, length: float, low_cut_hz: float = 0.0, order: int = 3
) -> bytes:
    """A moment of a track as WAV: from a little before `at` to a little after, `length` [s]. Raises InputError.

    low_cut_hz, order : as a low cut of this corner and order would leave it; 0 is off.
    """
    from linkwright.sound.excerpt import through_low_cut, wav

    recording = _opened(listening, of)
    if track > recording.tracks:
        raise InputError(f"{recording.name} has {counted(recording.tracks, 'track')}; expected one of them")
    begin = max(0.0, at - AROUND_S)
    rate, samples = _piece(recording, begin, min(at + length + AROUND_S, begin + MOST_PLAYED_S))
    return wav(rate, through_low_cut(samples[track - 1 : track], rate, low_cut_hz, order))


def heard_best_at_s(listening: Listening, of: str, track: int) -> float:
    """Where what a low cut does is heard best: the first gust, else where the loudest minute begins [s]."""
    listened = _track(_document(listening.heard(listening.recording(of))), track)
    gust = next((fault["at_s"] for fault in listened["faults"] if fault["kind"] == "wind"), None)
    minute = listened["loudest_minute"]
    return float(gust if gust is not None else minute["at_s"] if minute is not None else 0.0)


def drawn_voice(listening: Listening, of: str, track: int, width: float) -> tuple[str, dict[str, Any], float]:
    """The noise in a talker's pauses before and after the low cut, SVG; the low cut's values; its corner [Hz]."""
    recording = listening.recording(of)
    listened = _track(_document(listening.heard(recording)), track)
    cut = listened["low_cut"]
    if cut is None:
        raise InputError("this track holds no voice with pauses")
    of_what = "loudest" if cut["troubled"] and "loudest_hz" in cut else "pauses"
    frequency = np.asarray(cut[f"{of_what}_hz"], float)
    top = float(max(cut[f"{of_what}_db"]))
    level = np.maximum(np.asarray(cut[f"{of_what}_db"], float), top - 80.0)
    response_db = low_cut_db(frequency, float(listened["low_cut_hz"]), cut["order"])
    marks = ((cut["voice_f0_low_hz"], f"voice from {cut['voice_f0_low_hz']:.0f} Hz"),)
    chosen = Curve("response of the chosen step", "chosen", frequency, top + response_db)
    curves = (
        Curve(of_what, "filled", frequency, level),
        Curve(f"{of_what} after it", "after", frequency, level + response_db),
        chosen,
    )
    step = f"a low cut of {listened['low_cut_hz']:g} Hz"
    heard = "Rumble and wind" if of_what == "loudest" else "Noise in the pauses"
    says = f"{heard} of track {track} of {recording.name}, before and after {step}"
    low = float(np.floor((top - 60.0) / 10.0) * 10.0)
    drawn = drawn_curves(
        ResponseCurves(says, curves, marks, (20.0, 1000.0), (low, float(np.ceil(top / 10.0) * 10.0)), "dB"), width
    )
    return drawn, cut, float(listened["low_cut_hz"])


def drawn_comb(delay_ms: float, level_db: float, width: float) -> str:
    """What mixing two tracks that are this far apart does, SVG."""
    frequency = np.geomspace(20.0, 20_000.0, 1200)
    level = np.maximum(comb_db(frequency, delay_ms, level_db), -30.0)
    says = f"Two tracks {abs(delay_ms):.2f} ms apart, mixed"
    return drawn_curves(
        ResponseCurves(says, (Curve(says, "chosen", frequency, level),), (), (20.0, 20_000.0), (-30.0, 9.0)), width
    )


def _link_of(snapshot: Snapshot, named: str) -> tuple[Shoot, str, Link]:
    """The shoot, and a link by id or name with its id. Raises InputError where the shoot does not have it."""
    shoot, id_ = snapshot.shoot, snapshot.names.id_of("link", named)
    name = snapshot.names.name_of(id_)
    link = (
        next((shoot_link for shoot_link in shoot.link if shoot_link.name == name), None)
        if shoot is not None
        else None
    )
    if shoot is None or link is None:
        raise InputError(f'there is no link "{named}" in a shoot that is whole; the page Shoot says what it lacks')
    return shoot, id_, link


def _set(
    snapshot: Snapshot, listening: Listening, id_: str, given: Mapping[str, float], who: str
) -> LoggedChange | None:
    """Set fields of a link, each against the value that the snapshot has."""
    draft = snapshot.document.draft
    fields = [(("link", id_, key), draft.at("link", id_, key), float(value)) for key, value in given.items()]
    return listening.store.set_fields(fields, who)


def measured(
    snapshot: Snapshot, listening: Listening, named: str, of: str, channel: int
) -> tuple[str, str, MeasuredGain]:
    """The gain of a link (by id or name) from a recording: the link's name, what to set as a sentence, the steps.

    It is taken to have been recorded with what is set or planned. Raises InputError.
    """
    recording = listening.recording(of)
    track = _track(_document(listening.heard(recording)), channel)
    if track["loudest_minute"] is None:
        raise InputError("this track holds no sound to tell the gain from")
    shoot, _, link = _link_of(snapshot, named)
    gain = gain_from(LoudestMinute(**track["loudest_minute"]), link, shoot)
    return link.name, gain_says(f"{link.name}, {recording.name}:{channel}", gain), gain


def set_gain(
    snapshot: Snapshot, listening: Listening, named: str, of: str, channel: int, who: str
) -> tuple[str, LoggedChange | None]:
    """Put the step that a recording asks for into a link (by id or name): in a sentence, and the change."""
    name, says, gain = measured(snapshot, listening, named, of, channel)
    _, id_, _ = _link_of(snapshot, named)
    change = _set(snapshot, listening, id_, {"attenuation_db": gain.chosen.attenuation_db}, who)
    return f"{name}: {gain.chosen.attenuation_db:g} dB of attenuation. {says}", change


def set_low_cut(
    snapshot: Snapshot, listening: Listening, named: str, of: str, channel: int, who: str
) -> tuple[str, LoggedChange | None]:
    """Put what a recording told of a voice into a link (by id or name): in a sentence, and the change."""
    track = _track(_document(listening.heard(listening.recording(of))), channel)
    cut = track["low_cut"]
    if cut is None:
        raise InputError("this track holds no voice with pauses; record the talker for a minute, pauses too")
    shoot, id_, link = _link_of(snapshot, named)
    transmitter = transmitter_of(shoot, link)
    chosen = choose_low_cut(
        np.array([cut["voice_f0_low_hz"]]), spectrum_of(cut, "pauses"), spectrum_of(cut, "loudest"),
        Filter(transmitter.low_cut_hz, transmitter.low_cut_order), troubled=cut["troubled"],
    )  # fmt: skip
    assert chosen is not None, "there is a voice and there are pauses"
    given = {"low_cut_hz": chosen.corner_hz}
    if track["voice_f0_hz"] is not None:
        given["voice_f0_hz"] = cut["voice_f0_low_hz"]
    step = f"{chosen.corner_hz:g} Hz" if chosen.corner_hz else "off"
    says = f"{link.name}: low cut {step}, since {chosen.because}."
    return says, _set(snapshot, listening, id_, given, who)
