"""The page Ground: will it reach?"""

from __future__ import annotations

import re
from typing import Annotated, Any, Final

import numpy as np
from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from linkwright.desk.current import site_now
from linkwright.desk.relabel import relabelled
from linkwright.desk.snapshot import Made, Snapshot
from linkwright.draw.ground import PAGE_BANDS, Ground, drawn_bands
from linkwright.plan.answer import short_says
from linkwright.plan.coverage import Reaching, places_for, reaching
from linkwright.plan.what_if import LinkOutcome, outcomes
from linkwright.reach.ground import along_route, margin_field
from linkwright.shoot.errors import InputError
from linkwright.shoot.models import Shoot
from linkwright.shoot.place import Material
from linkwright.units import number_word, with_capital
from linkwright.web.answers import KEEP_OUT, desk_of, plain_text, render, snapshot_of

router = APIRouter()

#: A picture is taken to be so wide on the ground where nobody said [m].
PICTURE_M: Final = 60.0
#: Points of a map along its width, and of a route.
MAP_POINTS: Final = 120
ROUTE_POINTS: Final = 400
#: A verdict as the verb of a sentence.
HOLDS: Final = {"holds": "holds", "thin": "is thin", "fails": "fails"}
MATERIALS: Final = Material.__args__  # type: ignore[attr-defined]
SiteName = Annotated[str, Query(max_length=80)]
Metre = Annotated[float, Query(ge=-100_000.0, le=100_000.0)]


def answer(snapshot: Snapshot, site: str) -> str:
    """The answer of the page as a sentence: of the very links of the table under it."""
    links = margins(snapshot, site)
    if not links:
        return "Draw the site and place its spots; what links have in hand there follows from the plan."
    worst = min(links, key=lambda link: float(link["in_hand"]))
    names = {link["link"] for link in links}
    holding = len(names - {link["link"] for link in links if link["verdict"] != "holds"})
    weakest = f"{worst['link']} {'has ' if worst['in_hand'] >= 0 else 'is '}{short_says(worst['in_hand'])}"
    if len(names) == 1:
        return f"{weakest} at {site}, {worst['at']}: it {HOLDS[worst['verdict']]}."
    many = number_word(len(names))
    of = f"All {many} links hold" if holding == len(names) else f"{number_word(holding)} of {many} links hold"
    return f"{with_capital(of)} at {site}; the weakest, {weakest} at {worst['at']}."


@router.get("/ground")
def page(request: Request, site: SiteName = "") -> Response:
    """The page."""
    snapshot, now_ns = snapshot_of(request), desk_of(request).watching.now_ns()
    entries = snapshot.document.draft.entries("site")
    names = [str(value["name"]) for _, value in entries if isinstance(value.get("name"), str)]
    chosen = site if site in names else site_now(snapshot, now_ns, names)
    ids = {value.get("name"): id_ for id_, value in entries}
    links = [link.name for link in snapshot.shoot.link] if snapshot.shoot is not None else []
    return render(
        request, "ground.html", answer=answer(snapshot, chosen), sites=names, chosen=chosen,
        site_id=ids.get(chosen, ""), materials=MATERIALS, links=links,
    )  # fmt: skip


@router.get("/api/ground/site")
def site_of(request: Request, site: SiteName) -> dict[str, Any]:
    """The site as it is drawn: spots and walls with ids, routes, others, and the picture under it."""
    snapshot, store = snapshot_of(request), desk_of(request).store
    document = snapshot.document
    named = [(id_, value) for id_, value in document.draft.entries("site") if value.get("name") == site]
    if not named:
        raise InputError(f"there is no site {site}")
    id_, value = named[0]
    spots = [{"id": entry, **_plain(spot)} for entry, spot in document.draft.entries("site", id_, "spots")]
    walls = [{"id": entry, **_plain(wall)} for entry, wall in document.draft.entries("site", id_, "walls")]
    links = [
        {"id": entry, "name": link.get("name"), "route": link.get("route") or [], "at": link.get("at")}
        for entry, link in document.draft.entries("link")
    ]
    others = [
        {"name": other.get("name"), "at": other.get("at")}
        for _, other in document.draft.entries("other")
        if other.get("site") in (site, None)
    ]
    pictures = [
        attachment
        for attachment in store.attachment_list()
        if attachment.kind == "picture" and attachment.name.startswith((f"{id_}: ", f"{site}: "))
    ]
    levels = [
        {"id": entry, **_plain(level)} for entry, level in document.draft.entries("site", id_, "measured_level")
    ]
    return {
        "id": id_, "name": site, "spots": spots, "walls": walls, "levels": levels, "links": links, "others": others,
        "revision": document.revision, "surroundings": value.get("surroundings", "open"),
        "picture": f"/ground/picture/{pictures[-1].id}" if pictures else None,
        "picture_m": _picture_m(pictures[-1].name) if pictures else None,
        "margins": margins(snapshot, site), "answer": answer(snapshot, site),
        "bands": PAGE_BANDS,
    }  # fmt: skip


def _picture_m(name: str) -> float:
    """How wide a picture is on the ground [m], as its name says."""
    match = re.search(r": ([\d.]+) m wide:", name)
    return float(match[1]) if match else PICTURE_M


def _plain(value: Any) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}


def margins(snapshot: Snapshot, site: str) -> list[dict[str, Any]]:
    """The links' margins of the newest plan at a site, by what all is called now."""
    made = snapshot.made
    plan = None if made is None else relabelled(made.plan, made.names, snapshot.names)
    return [
        {
            "call": call.call, "link": link.link, "in_hand": link.in_hand_db, "verdict": link.verdict,
            "at": link.worst_place, "power_mw": link.power_mw,
        }
        for call in (plan.calls if plan is not None else ())
        if call.site == site
        for link in call.links
    ]  # fmt: skip


@router.get("/api/ground/margins")
def moved(request: Request, site: SiteName, spot: SiteName, x: Metre, y: Metre) -> dict[str, Any]:
    """The margins with one spot somewhere else, all carriers as planned."""
    made = snapshot_of(request).planned()
    changed = made.scene.moved(with_spot(made.shoot, site, spot, x, y))
    only = frozenset(call.call for call in made.plan.calls if call.site == site)
    return {"margins": [_told(outcome) for outcome in outcomes(changed, made.plan, None, only)]}


def _told(outcome: LinkOutcome) -> dict[str, Any]:
    return {
        "call": outcome.call,
        "link": outcome.link,
        "in_hand": outcome.in_hand_db,
        "verdict": outcome.verdict,
        "at": outcome.worst_at,
    }


def with_spot(shoot: Shoot, site: str, spot: str, x_m: float, y_m: float) -> Shoot:
    """The shoot with one spot of one site somewhere else."""
    sites = tuple(
        place
        if place.name != site
        else place.model_copy(
            update={
                "spots": tuple(
                    s if s.name != spot else s.model_copy(update={"x_m": x_m, "y_m": y_m}) for s in place.spots
                )
            }
        )
        for place in shoot.site
    )
    return shoot.model_copy(update={"site": sites})


@router.get("/ground/map.svg")
def margin_map(
    request: Request, site: SiteName, link: SiteName, left: Metre, right: Metre, low: Metre, high: Metre
) -> Response:
    """What a link has in hand over a piece of the ground, as bands."""
    way = _at_work(snapshot_of(request), site, link)
    if not (1.0 <= right - left <= 50_000.0 and 1.0 <= high - low <= 50_000.0):
        raise InputError("the piece of ground is too small or too large; zoom to between 1 m and 50 km")
    across = np.linspace(left, right, MAP_POINTS)
    up = np.linspace(low, high, max(8, min(MAP_POINTS, round(MAP_POINTS * (high - low) / (right - left)))))
    field = margin_field(way.at_work, across, up)
    svg = drawn_bands(Ground(f"In hand of {link}", "", field.x_m, field.y_m, field.in_hand_db))
    return Response(svg, media_type="image/svg+xml", headers=KEEP_OUT)


@router.get("/api/ground/along")
def along(request: Request, site: SiteName, link: SiteName) -> dict[str, Any]:
    """What a link has in hand along its route over time: seconds, places [m], decibels."""
    walked = along_route(_at_work(snapshot_of(request), site, link).at_work, ROUTE_POINTS)
    return {
        "time_s": walked.time_s.round(2).tolist(),
        "x_m": walked.x_m.round(2).tolist(),
        "y_m": walked.y_m.round(2).tolist(),
        "in_hand_db": walked.in_hand_db.round(1).tolist(),
        "margin_db": walked.margin_db.round(1).tolist(),
    }


@router.get("/ground/places")
def places(request: Request, site: SiteName) -> Response:
    """The marked spots by how they would serve for the receivers' antennas, and the least powers that hold."""
    made = snapshot_of(request).planned()
    links = [way for way in _all_at_work(made) if way.chain.site.name == site]
    return render(
        request, "ground_places.html", places=places_for(links), least=[(link, link.least()) for link in links]
    )


def _all_at_work(made: Made) -> list[Reaching]:
    """All planned links that have a carrier, call by call."""
    return [way for call in made.plan.calls for way in reaching(made.scene, call)]


def _at_work(snapshot: Snapshot, site: str, link: str) -> Reaching:
    for way in _all_at_work(snapshot.planned()):
        if way.chain.site.name == site and way.planned.link == link and way.decides:
            return way
    raise InputError(f"{link} has no carrier at {site}")


@router.get("/ground/picture/{attachment}")
def picture(request: Request, attachment: str) -> Response:
    """The picture under a site: only what begins as a picture does, whatever it was called."""
    data = desk_of(request).store.attachment(attachment)
    kinds = {b"\x89PNG": "image/png", b"\xff\xd8\xff": "image/jpeg", b"RIFF": "image/webp", b"GIF8": "image/gif"}
    for start, kind in kinds.items():
        if data.startswith(start):
            return Response(data, media_type=kind, headers={"cache-control": "private, max-age=3600"})
    return plain_text("That is no picture: expected PNG, JPEG, WebP or GIF.", 415)
