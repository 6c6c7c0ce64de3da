"""The recordings on the page Sound: what was heard in each, waveforms with their faults, and any moment to play."""

from __future__ import annotations

from typing import Annotated, Any, Final

import numpy as np
from fastapi import APIRouter, File, Query, Request, UploadFile
from fastapi.responses import Response
from pydantic import Field as Bounded
from starlette.concurrency import run_in_threadpool

from linkwright.desk.files import plain_name
from linkwright.desk.listening import MOST_BYTES, Heard, Listening
from linkwright.draw.response import Curve, Curves, drawn_curves
from linkwright.draw.wave import Mark, Wave, drawn_wave
from linkwright.physics.speech import low_cut_db
from linkwright.shoot.errors import InputError
from linkwright.shoot.view import transmitter_of
from linkwright.sound.lowcut import Filter, choose_low_cut
from linkwright.sound.timing import comb_db
from linkwright.store import RECORDING
from linkwright.units import FloatArray, SampleArray
from linkwright.web.answers import Body, desk_of, render, snapshot_of
from linkwright.web.pages.sound import Width
from linkwright.web.security import person_of

router = APIRouter()

#: Faults that are listed of a track, and marks that are drawn; the others are counted.
LISTED: Final = 40
MARKED: Final = 400
#: What is played and shown around a fault on either side, and at most in all [s].
AROUND_S: Final = 0.75
MOST_PLAYED_S: Final = 30.0
#: Kinds that are no fault.
QUIET_KINDS: Final = ("edit", "hum")

Id = Annotated[str, Query(max_length=80)]
Channel = Annotated[int, Query(ge=1, le=256)]
Seconds = Annotated[float, Query(ge=0.0, le=1e6)]


class Taken(Body):
    """What a test recording taught of a link: the low cut to set, and the voice's low fundamental."""

    link: Annotated[str, Bounded(max_length=200)]
    of: Annotated[str, Bounded(max_length=80)]
    channel: Annotated[int, Bounded(ge=1, le=256)]


class One(Body):
    """One recording."""

    of: Annotated[str, Bounded(max_length=80)]


def listening_of(request: Request) -> Listening:
    """The job's recordings."""
    return desk_of(request).listening


def answer(listening: Listening) -> str:
    """What was heard, as a sentence; nothing without recordings."""
    ones = listening.recordings()
    if not ones:
        return (
            "No recording yet. A test recording of each talker, with pauses, tells the low cut; a take its faults."
        )
    heard = [found for one in ones if (found := listening.heard(one)) is not None]
    waiting = len(ones) - len(heard)
    if waiting:
        return f"{waiting} of {len(ones)} recordings are still to be listened to."
    certain = sum(
        1
        for found in heard
        for track in (found.document or {"tracks": []})["tracks"]
        for fault in track["faults"]
        if fault["certain"] and fault["kind"] not in QUIET_KINDS
    )
    many = f"{len(ones)} recordings" if len(ones) > 1 else "one recording"
    return f"{certain or 'No'} certain fault{'s' if certain != 1 else ''} in {many}."


@router.get("/sound/recordings")
def recordings(request: Request) -> Response:
    """All recordings with what was heard."""
    listening = listening_of(request)
    listening.begin()
    ones = listening.recordings()
    shoot, work = snapshot_of(request).shoot, listening.background.state
    return render(
        request, "sound_recordings.html", told=answer(listening), work=work,
        rows=[(one, listening.heard(one)) for one in ones], pairs=listening.pairs(ones) or [], listed=LISTED,
        quiet=QUIET_KINDS, links=[link.name for link in shoot.link] if shoot is not None else [],
    )  # fmt: skip


@router.post("/sound/recordings")
async def add(request: Request, file: Annotated[UploadFile, File()]) -> dict[str, Any]:
    """Take in a recording; listening begins by itself."""
    from linkwright.sound.recordings import open_recording

    listening, who = listening_of(request), person_of(request).name
    name = plain_name(file.filename or "recording")

    def keep() -> None:
        id_ = listening.store.attach(name, file.file, who, most_bytes=MOST_BYTES, kind=RECORDING)
        try:
            open_recording(listening.path(listening.recording(id_)), name)
        except InputError:
            listening.store.detach(id_, who)
            raise
        listening.begin()

    await run_in_threadpool(keep)
    return {"says": [f"{name} is here; listening begins"]}


@router.post("/sound/recordings/remove")
def remove(request: Request, one: One) -> dict[str, Any]:
    """Take a recording away."""
    listening = listening_of(request)
    name = listening.recording(one.of).name
    listening.store.detach(one.of, person_of(request).name)
    return {"says": [f"{name} is removed."]}


@router.post("/sound/stop")
def stop(request: Request) -> dict[str, Any]:
    """Stop listening."""
    listening_of(request).stop()
    return {"says": ["Stopped listening."]}


@router.post("/sound/take")
def take(request: Request, taken: Taken) -> dict[str, Any]:
    """Put what a recording told of a voice into the link: its low fundamental, and the step to set."""
    snapshot, listening = snapshot_of(request), listening_of(request)
    track = _track(_document(listening.heard(listening.recording(taken.of))), taken.channel)
    cut = track["low_cut"]
    if cut is None:
        raise InputError("this track holds no voice with pauses; record the talker for a minute, pauses too")
    shoot, id_ = snapshot.shoot, snapshot.names.id_of("link", taken.link)
    name = snapshot.names.name_of(id_)
    link = next((one for one in shoot.link if one.name == name), None) if shoot is not None else None
    if shoot is None or link is None:
        raise InputError(
            f'there is no link "{taken.link}" in a shoot that is whole; the page Shoot says what it lacks'
        )
    transmitter = transmitter_of(shoot, link)
    voice, pauses = np.array([cut["voice_f0_low_hz"]]), np.asarray(cut["pauses_db"], float)
    spectrum = np.asarray(cut["pauses_hz"], float), 10.0 ** (pauses / 10.0)
    chosen = choose_low_cut(voice, spectrum, Filter(transmitter.low_cut_hz, transmitter.low_cut_order))
    assert chosen is not None, "there is a voice and there are pauses"
    who = person_of(request).name
    draft, given = snapshot.document.draft, {"voice_f0_hz": cut["voice_f0_low_hz"], "low_cut_hz": chosen.corner_hz}
    fields = [(("link", id_, key), draft.at("link", id_, key), float(value)) for key, value in given.items()]
    change = listening.store.set_fields(fields, who)
    step = f"{chosen.corner_hz:g} Hz" if chosen.corner_hz else "off"
    says = [f"{name}: low cut {step}, since {chosen.because}."]
    return {"says": says, "change": change and change.revision}


@router.get("/sound/wave")
def wave(
    request: Request, of: Id, track: Channel, width: Width = 720, begin: Seconds = 0.0, end: Seconds = 0.0
) -> Response:
    """A track as a waveform with its faults: the whole, or from `begin` to `end` [s]."""
    listening = listening_of(request)
    one = listening.recording(of)
    document = _document(listening.heard(one))
    found = _track(document, track)
    if end > begin:
        rate, samples = _piece(_opened(listening, of), begin, min(end, begin + MOST_PLAYED_S))
        low, high = columns_of(samples[track - 1], min(2 * int(width), samples.shape[1]))
        begin_s, end_s = begin, begin + samples.shape[1] / rate
    else:
        outline = listening.outline(one, document["files"][0]["tracks"])
        if outline is None:
            raise InputError("nobody has listened to this recording yet; wait a moment")
        (low, high), begin_s, end_s = outline[track - 1], 0.0, float(found["length_s"])
    faults = [fault for fault in found["faults"] if fault["kind"] not in QUIET_KINDS]
    marks = tuple(
        Mark(fault["at_s"], fault["length_s"], fault["kind"], fault["certain"])
        for fault in faults
        if begin_s <= fault["at_s"] <= end_s
    )[:MARKED]
    says = f"Track {track} of {one.name}, {begin_s:.2f} to {end_s:.2f} s, {len(marks)} faults marked"
    drawn = drawn_wave(Wave(says, low, high, begin_s, end_s, marks), width)
    return Response(f'<figure class="chart">{drawn}</figure>', media_type="text/html")


@router.get("/sound/excerpt.wav")
def excerpt_wav(request: Request, of: Id, track: Channel, at: Seconds, length: Seconds = 0.0) -> Response:
    """A moment of a track, to play: from a little before `at` to a little after, `length` [s] long."""
    from linkwright.sound.excerpt import wav

    recording = _opened(listening_of(request), of)
    if track > recording.tracks:
        raise InputError(f"{recording.name} has {recording.tracks} tracks; expected one of them")
    begin = max(0.0, at - AROUND_S)
    rate, samples = _piece(recording, begin, min(at + length + AROUND_S, begin + MOST_PLAYED_S))
    return Response(wav(rate, samples[track - 1 : track]), media_type="audio/wav")


@router.get("/sound/voice")
def voice(request: Request, of: Id, track: Channel, width: Width = 720) -> Response:
    """The noise in a talker's pauses, before and after the low cut, and the steps over it."""
    listening = listening_of(request)
    one = listening.recording(of)
    found = _track(_document(listening.heard(one)), track)
    cut = found["low_cut"]
    if cut is None:
        raise InputError("this track holds no voice with pauses")
    frequency = np.asarray(cut["pauses_hz"], float)
    level = np.asarray(cut["pauses_db"], float)
    top = float(level.max())
    after = level + low_cut_db(frequency, float(found["low_cut_hz"]), cut["order"])
    marks = ((cut["voice_f0_low_hz"], f"voice from {cut['voice_f0_low_hz']:.0f} Hz"),)
    chosen = Curve("response of the chosen step", "chosen", frequency,
                   top + np.asarray(low_cut_db(frequency, float(found["low_cut_hz"]), cut["order"])))  # fmt: skip
    curves = (
        Curve("pauses", "filled", frequency, level),
        Curve("pauses after it", "after", frequency, after),
        chosen,
    )
    step = f"a low cut of {found['low_cut_hz']:g} Hz"
    says = f"Noise in the pauses of track {track} of {one.name}, before and after {step}"
    low = float(np.floor((top - 60.0) / 10.0) * 10.0)
    drawn = drawn_curves(
        Curves(says, curves, marks, (20.0, 1000.0), (low, float(np.ceil(top / 10.0) * 10.0)), "dB"), width
    )
    return render(request, "sound_voice.html", drawn=drawn, cut=cut, chosen=found["low_cut_hz"])


@router.get("/sound/comb")
def comb(
    request: Request, delay_ms: Annotated[float, Query(ge=-1000, le=1000)],
    level_db: Annotated[float, Query(ge=-60, le=60)] = 0.0, width: Width = 720,
) -> Response:  # fmt: skip
    """What mixing two tracks that are this far apart does."""
    frequency = np.geomspace(20.0, 20_000.0, 1200)
    level = np.maximum(comb_db(frequency, delay_ms, level_db), -30.0)
    says = f"Two tracks {abs(delay_ms):.2f} ms apart, mixed"
    drawn = drawn_curves(
        Curves(says, (Curve(says, "chosen", frequency, level),), (), (20.0, 20_000.0), (-30.0, 9.0)), width
    )
    del request
    return Response(f'<figure class="chart">{drawn}</figure>', media_type="text/html")


def _opened(listening: Listening, of: str) -> Any:
    from linkwright.sound.recordings import open_recording

    one = listening.recording(of)
    return open_recording(listening.path(one), one.name)


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


def _document(heard: Heard | None) -> dict[str, Any]:
    if heard is None or heard.document is None:
        raise InputError("nobody has listened to this recording yet; wait a moment")
    return heard.document


def _track(document: dict[str, Any], channel: int) -> dict[str, Any]:
    tracks: list[dict[str, Any]] = document["tracks"]
    if channel > len(tracks):
        raise InputError(f"the recording has {len(tracks)} tracks; expected one of them")
    return tracks[channel - 1]
