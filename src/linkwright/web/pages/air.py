"""The page Air: what is on the air here, and what may we use?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Final, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from linkwright.desk.air_pictures import air_now, levels_now, over_time
from linkwright.desk.current import site_now
from linkwright.desk.live import clock_of
from linkwright.desk.newcomers import new_on_air
from linkwright.desk.score import lanes_of, levels_in, levels_over_time, stands, whole_khz
from linkwright.desk.trying import tried
from linkwright.draw.clean import answer, lead
from linkwright.draw.site_lanes import WHOLE, band
from linkwright.plan.air import SiteAir
from linkwright.plan.chain import Scene
from linkwright.shoot.errors import InputError
from linkwright.units import number_word
from linkwright.web.answers import KEEP_OUT, desk_of, render, snapshot_of

if TYPE_CHECKING:
    from linkwright.desk.desk import Desk
    from linkwright.desk.snapshot import Snapshot

router = APIRouter()

#: The widest picture that is asked for [columns], and the tallest waterfall [rows].
MOST_COLUMNS: Final = 4096
MOST_ROWS: Final = 400

LookName = Literal["kept", "now", "highest", "share"]
SiteName = Annotated[str, Query(max_length=80)]
Khz = Annotated[float, Query(ge=0.0, le=1e8)]
Columns = Annotated[int, Query(ge=1, le=MOST_COLUMNS)]


def scene_and_site(request: Request, site: str) -> tuple[Scene, SiteAir]:
    """The scene and a site's air. Raises InputError where there is none yet."""
    scene = snapshot_of(request).whole_scene()
    if site not in scene.air:
        raise InputError(f"there is no call on a site {site}; expected one of {', '.join(scene.air)}")
    return scene, scene.air[site]


@router.get("/air")
def page(request: Request, site: SiteName = "") -> Response:
    """The page, of the site of the call that is on unless another is asked for."""
    desk, snapshot = desk_of(request), snapshot_of(request)
    scene, troubles, plan = snapshot.scene, snapshot.read.troubles, snapshot.plan
    names = list(scene.air) if scene is not None else []
    chosen = site if site in names else site_now(snapshot, desk.watching.now_ns(), names)
    air = scene.air[chosen] if scene is not None and chosen else None
    said: dict[str, Any] = {"lead": "", "links": [], "others": (), "band": WHOLE}
    if scene is not None and air is not None:
        links = [(snapshot.names.id_of("link", link.name), link.name) for link in scene.shoot.link]
        said = {
            "lead": "" if troubles else lead(scene, air, plan),
            "links": links,
            "others": scene.others.get(chosen, ()),
            "band": band(scene, air),
        }
    return render(
        request, "air.html", answer=_answer(desk, snapshot, chosen), sites=names, chosen=chosen, air=air,
        troubles=troubles, site_id=snapshot.names.id_of("site", chosen) if chosen else "",
        swept=air is not None and air.survey is not None and bool(air.survey.judged),
        live=air_now(desk, snapshot, chosen), base=str(request.base_url), **said,
    )  # fmt: skip


@router.get("/api/air/lanes")
def lanes(request: Request, site: SiteName) -> dict[str, Any]:
    """Everything but the levels: rules, TV, others, carriers found, what is clean, and ours."""
    with desk_of(request).airing.held(site) as source:
        live = None if source is None else {"unit": source.air.unit}
    return {**lanes_of(*scene_and_site(request, site), snapshot_of(request).plan), "live": live}


@router.get("/air/now")
def now(request: Request, site: SiteName) -> Response:
    """What the live sweep says of ours and of others; nothing where none comes."""
    desk, snapshot = desk_of(request), snapshot_of(request)
    return render(request, "air_now.html", answer=_answer(desk, snapshot, site), live=air_now(desk, snapshot, site))


def _answer(desk: Desk, snapshot: Snapshot, site: str) -> str:
    """What is on the air here: who came on one of ours by the live sweep; else as the kept ones have it."""
    new = [trouble.says for trouble in new_on_air(desk.airing, snapshot, site)]
    if new and site:
        return new[0].removesuffix(".") + (f", and {number_word(len(new) - 1)} more." if len(new) > 1 else ".")
    air = None if snapshot.scene is None else snapshot.scene.air.get(site)
    return answer(snapshot.scene, air, snapshot.plan, snapshot.read.troubles)


@router.get("/api/air/levels")
def levels(
    request: Request, site: SiteName, low: Khz, high: Khz, columns: Columns = 1000, look: LookName = "kept"
) -> Response:
    """Lowest, highest and floor of each column: three float32 arrays in turn; NaN where nobody looked.

    Of the sweeps that are kept, or of the live one: now, highest, share of time [%].
    """
    _, air = scene_and_site(request, site)
    if not high > low:
        raise InputError("the band ends below its beginning")
    with desk_of(request).airing.held(site) as source:
        live = None if look == "kept" or source is None else levels_now(source.air, look, low, high, columns)
    drawn = levels_in(air, low, high, columns) if live is None else live
    return Response(drawn.astype("<f4").tobytes(), media_type="application/octet-stream", headers=KEEP_OUT)


@router.get("/api/air/waterfall")
def waterfall(
    request: Request, site: SiteName, low: Khz, high: Khz, columns: Columns = 600,
    rows: Annotated[int, Query(ge=1, le=MOST_ROWS)] = 120, look: LookName = "kept",
) -> Response:  # fmt: skip
    """Levels over time: a byte a cell, 0 for nothing and 255 for the strongest, 1 at the floor; row after row."""
    _, air = scene_and_site(request, site)
    headers = dict(KEEP_OUT)
    with desk_of(request).airing.held(site) as source:
        if look != "kept" and source is not None:
            picture, begin, end = over_time(source.air, low, high, columns, rows)
            snapshot = snapshot_of(request)
            headers |= {
                key: clock_of(snapshot, round(at * 1e9)) for key, at in (("x-begin", begin), ("x-end", end))
            }
        else:
            picture = levels_over_time(air, low, high, columns, rows)
    headers["x-rows"] = str(picture.shape[0])
    return Response(picture.tobytes(), media_type="application/octet-stream", headers=headers)


@router.get("/air/why")
def reasons(
    request: Request, site: SiteName, mhz: Annotated[str, Query(max_length=20)], link: SiteName = ""
) -> Response:
    """What stands at a frequency; and what it would do if a link had it."""
    snapshot = snapshot_of(request)
    scene, air = scene_and_site(request, site)
    khz, made = whole_khz(mhz), snapshot.made
    there = tried(made, link, khz) if link and made is not None else None
    return render(request, "air_why.html", khz=khz, here=stands(snapshot.plan, scene, air, khz), tried=there)
