"""The page Sound: how will it sound, and does it line up?"""

from __future__ import annotations

from typing import Annotated, Any, Final

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from linkwright.desk.part import SHOWN, LookedFor
from linkwright.desk.snapshot import Snapshot
from linkwright.desk.sounding import WIRED, answer, calls, settings_of, spoken
from linkwright.draw.arrivals import SoundPath, drawn_arrivals
from linkwright.draw.chain import drawn_chain
from linkwright.draw.ink import in_page_inks
from linkwright.draw.link_sound import chain_of, low_cut_curves
from linkwright.draw.response import drawn_curves
from linkwright.shoot.errors import InputError
from linkwright.shoot.models import Link
from linkwright.sound.gain import TARGET_DBFS
from linkwright.sound.settings import SoundSettings
from linkwright.web.answers import csv_response, render, snapshot_of
from linkwright.web.queries import Looked

router = APIRouter()

#: Widths at which drawings are made [px].
Width = Annotated[int, Query(ge=300, le=1200)]
Text = Annotated[str, Query(max_length=80)]
#: The columns of the settings as CSV.
COLUMNS: Final = (
    "link", "voice", "mouth_m", "attenuation_db", "peak_dbfs", "voice_over_noise_db", "low_cut_hz", "latency_ms",
)  # fmt: skip
#: Findings of the plan that this page is about.
ABOUT_SOUND: Final = (
    "gain-hot", "microphone-loud", "voice-noisy", "phantom-missing", "setting-unknown", "low-cut-high",
    "paths-apart", "lip-sync",
)  # fmt: skip


def context(snapshot: Snapshot, looked: LookedFor) -> dict[str, Any]:
    """What the page and its newer body show."""
    shoot, settings = settings_of(snapshot)
    plan = snapshot.plan
    links = looked.part("link", spoken(shoot, settings), lambda pair: pair[0].name)
    line_up = looked.part("call", calls(shoot, settings) if shoot is not None else [], lambda row: row.name)
    return {
        "answer": answer(shoot, settings),
        "links": links,
        "calls": line_up,
        "find": looked.find,
        "most": SHOWN,
        "target": TARGET_DBFS,
        "findings": [finding for finding in plan.findings if finding.code in ABOUT_SOUND]
        if plan is not None
        else [],
    }


@router.get("/sound")
def page(request: Request, looked: Looked) -> Response:
    """The page."""
    return render(request, "sound.html", **context(snapshot_of(request), looked))


@router.get("/sound/body")
def body(request: Request, looked: Looked) -> Response:
    """The part of the page that follows the shoot."""
    return render(request, "sound_body.html", **context(snapshot_of(request), looked))


@router.get("/sound/link")
def link_part(request: Request, link: Text, width: Width = 720) -> Response:
    """One link's level diagram, the table of its steps, and its low cut."""
    spoken_link, settings = _link(snapshot_of(request), link)
    return render(
        request, "sound_link.html", link=spoken_link, settings=settings,
        chain=in_page_inks(drawn_chain(chain_of(spoken_link, settings), width)),
        curves=in_page_inks(drawn_curves(low_cut_curves(spoken_link, settings), width)),
    )  # fmt: skip


@router.get("/sound/arrivals")
def arrivals(request: Request, call: Text, width: Width = 720) -> Response:
    """The line-up of a call, drawn."""
    shoot, settings = settings_of(snapshot_of(request))
    row = next((row for row in calls(shoot, settings) if row.name == call), None) if shoot is not None else None
    if row is None:
        raise InputError(f'there is no call "{call}" with links; load the page again')
    paths = [SoundPath(name, parts, row.levelled.delay_ms.get(name, 0.0)) for name, parts in row.parts.items()]
    paths += [] if row.wired_ms is None else [SoundPath(WIRED, (), row.wired_ms)]
    says = f"When each path of {call} comes, in ms after the lips moved, and the delay to set on it"
    svg = in_page_inks(drawn_arrivals(says, paths, width))
    return Response(f'<figure class="chart">{svg}</figure>', media_type="text/html")


@router.get("/sound.csv")
def as_csv(request: Request) -> Response:
    """The settings and levels of all links as CSV."""
    shoot, settings = settings_of(snapshot_of(request))
    rows = [
        (link.name, link.voice, sound.mouth_m, sound.at.attenuation_db, round(sound.at.peak_dbfs, 1),
         round(sound.at.voice_over_noise_db, 1), sound.low_cut.corner_hz,
         None if sound.path.unknown else round(sound.path.total_ms(), 2))
        for link, sound in spoken(shoot, settings)
    ]  # fmt: skip
    return csv_response("sound.csv", COLUMNS, rows)


def _link(snapshot: Snapshot, name: str) -> tuple[Link, SoundSettings]:
    shoot, settings = settings_of(snapshot)
    spoken_link = next((link for link in shoot.link if link.name == name), None) if shoot is not None else None
    if spoken_link is None:
        raise InputError(f'there is no link "{name}"; load the page again')
    return spoken_link, settings[name]
