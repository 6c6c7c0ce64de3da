"""The recordings on the page Sound: what was heard in each, waveforms with their faults, and any moment to play."""

from __future__ import annotations

from typing import Annotated, Any, Final

from fastapi import APIRouter, File, Query, Request, UploadFile
from fastapi.responses import Response
from pydantic import Field as Bounded
from starlette.concurrency import run_in_threadpool

from linkwright.desk.files import plain_name
from linkwright.desk.listening import MOST_BYTES, Listening
from linkwright.desk.recordings import (
    answer,
    drawn_comb,
    drawn_track,
    drawn_voice,
    heard_best_at_s,
    measured,
    moment_wav,
    set_gain,
    set_low_cut,
)
from linkwright.door.gate import person_of
from linkwright.draw.ink import in_page_inks
from linkwright.shoot.errors import InputError
from linkwright.sound.kinds import MOMENTS
from linkwright.store import RECORDING
from linkwright.web.answers import RequestBody, desk_of, render, snapshot_of
from linkwright.web.pages.sound import Width

router = APIRouter()

#: Faults that are listed of a track, and marks that are drawn; the others are counted.
LISTED: Final = 40

Id = Annotated[str, Query(max_length=80)]
Channel = Annotated[int, Query(ge=1, le=256)]
Seconds = Annotated[float, Query(ge=0.0, le=1e6)]


class TakenOver(RequestBody):
    """What a test recording taught of a link: its gain, or the low cut to set and the voice's low fundamental."""

    link: Annotated[str, Bounded(max_length=200)]
    of: Annotated[str, Bounded(max_length=80)]
    channel: Annotated[int, Bounded(ge=1, le=256)]


class OfRecording(RequestBody):
    """A recording, by its id."""

    of: Annotated[str, Bounded(max_length=80)]


def listening_of(request: Request) -> Listening:
    """The job's recordings."""
    return desk_of(request).listening


@router.get("/sound/recordings")
def recordings(request: Request) -> Response:
    """All recordings with what was heard."""
    listening = listening_of(request)
    listening.begin()
    takes = listening.recordings()
    shoot, work = snapshot_of(request).shoot, listening.background.state
    return render(
        request, "sound_recordings.html", told=answer(listening), work=work,
        rows=[(recording, listening.heard(recording)) for recording in takes], pairs=listening.pairs(takes) or [],
        listed=LISTED,
        moments=MOMENTS, links=[link.name for link in shoot.link] if shoot is not None else [],
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
def remove(request: Request, which: OfRecording) -> dict[str, Any]:
    """Take a recording away."""
    listening = listening_of(request)
    name = listening.recording(which.of).name
    listening.store.detach(which.of, person_of(request).name)
    return {"says": [f"{name} is removed."]}


@router.post("/sound/stop")
def stop(request: Request) -> dict[str, Any]:
    """Stop listening."""
    listening_of(request).stop()
    return {"says": ["Stopped listening."]}


@router.post("/sound/take")
def take(request: Request, taken: TakenOver) -> dict[str, Any]:
    """Put what a recording told of a voice into the link: its low fundamental, and the step to set."""
    who, listening = person_of(request).name, listening_of(request)
    says, change = set_low_cut(snapshot_of(request), listening, taken.link, taken.of, taken.channel, who)
    return {"says": [says], "change": change and change.revision}


@router.get("/sound/gain")
def gain(request: Request, of: Id, track: Channel, link: Annotated[str, Query(max_length=200)]) -> Response:
    """What a recording's loudest minute needs on a link: every step of its attenuation, and the one to set."""
    name, says, measured_gain = measured(snapshot_of(request), listening_of(request), link, of, track)
    return render(request, "sound_gain.html", link=name, says=says, gain=measured_gain, of=of, channel=track)


@router.post("/sound/gain")
def take_gain(request: Request, taken: TakenOver) -> dict[str, Any]:
    """Set the step that a recording asks for on the link."""
    who, listening = person_of(request).name, listening_of(request)
    says, change = set_gain(snapshot_of(request), listening, taken.link, taken.of, taken.channel, who)
    return {"says": [says], "change": change and change.revision}


@router.get("/sound/wave")
def wave(
    request: Request, of: Id, track: Channel, width: Width = 720, begin: Seconds = 0.0, end: Seconds = 0.0
) -> Response:
    """A track as a waveform with its faults: the whole, or from `begin` to `end` [s]."""
    return _figure(drawn_track(listening_of(request), of, track, width, begin, end))


@router.get("/sound/excerpt.wav")
def excerpt_wav(
    request: Request, of: Id, track: Channel, at: Seconds, length: Seconds = 0.0,
    low_cut_hz: Annotated[float, Query(ge=0.0, le=1000.0)] = 0.0, order: Annotated[int, Query(ge=1, le=8)] = 3,
) -> Response:  # fmt: skip
    """A moment of a track, to play: from a little before `at` to a little after, as it is or after a low cut."""
    wav = moment_wav(listening_of(request), of, track, at, length, low_cut_hz, order)
    return Response(wav, media_type="audio/wav")


@router.get("/sound/voice")
def voice(request: Request, of: Id, track: Channel, width: Width = 720) -> Response:
    """The noise in a talker's pauses, before and after the low cut, and the steps over it."""
    drawn, cut, chosen = drawn_voice(listening_of(request), of, track, width)
    at = heard_best_at_s(listening_of(request), of, track)
    return render(
        request, "sound_voice.html", drawn=in_page_inks(drawn), cut=cut, chosen=chosen, of=of, track=track, at=at
    )


@router.get("/sound/comb")
def comb(
    request: Request,
    delay_ms: Annotated[float, Query(ge=-1000, le=1000)],
    level_db: Annotated[float, Query(ge=-60, le=60)] = 0.0,
    width: Width = 720,
) -> Response:
    """What mixing two tracks that are this far apart does."""
    del request
    return _figure(drawn_comb(delay_ms, level_db, width))


def _figure(svg: str) -> Response:
    return Response(f'<figure class="chart">{in_page_inks(svg)}</figure>', media_type="text/html")
