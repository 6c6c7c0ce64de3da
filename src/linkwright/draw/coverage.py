"""The ground of a site as a picture: what one link has in hand, all routes of its call, and that over time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from linkwright.draw.along import BETWEEN_PX, Walk, drawn_walks, height_of
from linkwright.draw.ground import WIDTH_PX, Ground, GroundLine, GroundMark, drawn_ground
from linkwright.draw.ink import MADDER
from linkwright.draw.svg import document, hatch
from linkwright.plan.answer import hand_says, worst_says
from linkwright.units import FloatArray

if TYPE_CHECKING:
    from linkwright.plan.coverage import Reaching
    from linkwright.shoot.models import Shoot
    from linkwright.shoot.place import Other, Spot

#: Points along the longer side of a drawn map; and at most so many routes under it.
POINTS = 161
MOST_WALKS = 12
#: On paper: how tall a page is [px]; points along the longer side of its map, how tall that is [px] and how many
#: times as wide; walks on a page, and how tall one is at most [px].
PAGE_PX = 690.0
PAPER_POINTS = 121
PAPER_TALL_PX = 540.0
PAPER_ASPECT = 1.7
WALKS_A_PAGE = 5
WALK_PX = 240.0
#: Where nobody walks, so long a time is drawn [s].
STANDS_S = 60.0


def chosen(reachings: Sequence[Reaching], name: str | None) -> Reaching:
    """The link of that name, else the weakest. Raises InputError."""
    from linkwright.shoot.errors import InputError, did_you_mean

    if not reachings:
        raise InputError("there is nothing to draw: no link has a carrier")
    if name is None:
        return min(reachings, key=lambda way: (way.told.in_hand_db, way.told.margin_db))
    for link in reachings:
        if name == link.name or (name == link.planned.link and link.decides):
            return link
    names = list(dict.fromkeys(way.planned.link for way in reachings))
    raise InputError(
        f'there is no link "{name}" with a carrier'
        f"{did_you_mean(name, names) or '; there are ' + ', '.join(names[:20])}"
    )


def drawn_reach(shoot: Shoot, reachings: Sequence[Reaching], name: str | None = None) -> str:
    """The ground of one link (default: the weakest) with the walks of its call. Raises InputError for nothing."""
    shown = chosen(reachings, name)
    together = [link for link in reachings if link.call == shown.call]
    walks = walks_of(together[:MOST_WALKS])
    ground = ground_of(shoot, shown, together)
    if len(together) > MOST_WALKS:
        left = together[MOST_WALKS:]
        ground = replace(ground, notes=(*ground.notes, f"Walks left out: {', '.join(link.name for link in left)}."))
    return drawn_ground(ground, [(height_of(walks), drawn_walks(walks, WIDTH_PX))])


def reach_pages(shoot: Shoot, reachings: Sequence[Reaching]) -> list[str]:
    """The ground of the weakest link as pages that are wider than tall: its map, then the walks of its call."""
    if not reachings:
        return []
    shown = chosen(reachings, None)
    together = [link for link in reachings if link.call == shown.call]
    walks = [walk for walk in walks_of(together) if len(walk.places) > 1]
    pages = [drawn_ground(ground_of(shoot, shown, together, PAPER_POINTS, PAPER_ASPECT), tallest_px=PAPER_TALL_PX)]
    for n in range(0, len(walks), WALKS_A_PAGE):
        rows = walks[n : n + WALKS_A_PAGE]
        says = f"In hand along the routes of {shown.call}, {shown.chain.site.name}"
        tall = min(WALK_PX, (PAGE_PX - height_of([])) / len(rows) - BETWEEN_PX)
        drawing, height = drawn_walks(rows, WIDTH_PX, tall), height_of(rows, tall)
        pages.append(document(says, [drawing], WIDTH_PX, height, hatch("unreached", MADDER, 8.0, 1.3)))
    return pages


def _widened(x_m: FloatArray, y_m: FloatArray, aspect: float) -> tuple[FloatArray, FloatArray]:
    """A grid with more ground about it, so that it is so many times as wide as tall."""
    step = float(x_m[1] - x_m[0])
    wide, tall = float(x_m[-1] - x_m[0]), float(y_m[-1] - y_m[0])
    more_x, more_y = (max(0, round((want / step) / 2.0)) for want in (aspect * tall - wide, wide / aspect - tall))
    return (
        np.asarray(x_m[0] + step * np.arange(-more_x, x_m.size + more_x)),
        np.asarray(y_m[0] + step * np.arange(-more_y, y_m.size + more_y)),
    )


def ground_of(
    shoot: Shoot, shown: Reaching, together: Sequence[Reaching], points: int = POINTS, aspect: float | None = None
) -> Ground:
    """The ground of one link's site: what it has in hand everywhere, the routes of its call's links, what stands
    there; with an `aspect` so many times as wide as tall."""
    from linkwright.reach.ground import grid_of, margin_field
    from linkwright.shoot.view import others_by_site

    site, planned = shown.chain.site, shown.planned
    others = others_by_site(shoot)[site.name]
    ends = (*shown.chain.route, *shown.chain.heard_at)
    x_m, y_m = grid_of(site, points, (*ends, *(other.stands for other in others)))
    if aspect is not None:
        x_m, y_m = _widened(x_m, y_m, aspect)
    field = margin_field(shown.at_work, x_m, y_m)
    held = planned.verdict if planned.verdict != "thin" else "is thin"
    says = f"{planned.link} {held} along its route: {hand_says(planned)}. {worst_says(planned)}."
    under = (
        f"{shoot.shoot.title}, {shown.call}, {site.name}. The map: {planned.link} on "
        f"{planned.carrier_khz / 1000:.3f} MHz with {planned.power_mw:g} mW, in hand wherever its "
        f"{'talent' if shown.chain.ends.sent_from is None else 'listener'} stays."
    )
    spots = _spots(shown, together)
    learnt = " Corrected by a walk test." if site.learnt is not None else ""
    notes = (
        f"By the models for {site.surroundings} surroundings, less fading and what is not known of a place, at "
        f"{100.0 * shown.chain.wanted.sure:g} %.{learnt} Estimates: listen on site.",
    )
    return Ground(
        says, under, x_m, y_m, field.in_hand_db,
        walls=_walls(shown), routes=tuple(_route(link) for link in together), spots=spots,
        antennas=_antennas(together),
        others=tuple(_other(other) for other in others),
        notes=notes,
    )  # fmt: skip


def _other(other: Other) -> GroundMark:
    sends = f"{other.name}: sends {other.radiated_mw:g} mW"
    return GroundMark(other.name, other.stands.x_m, other.stands.y_m, says=sends)


def _walls(shown: Reaching) -> tuple[GroundLine, ...]:
    return tuple(
        GroundLine(wall.material, (wall.from_m, wall.to_m), f"wall of {wall.material}")
        for wall in shown.chain.site.walls
    )


def _route(way: Reaching) -> GroundLine:
    points = tuple((spot.x_m, spot.y_m) for spot in way.chain.goes)
    return GroundLine(way.name if len(points) > 1 else "", points, f"route of {way.name}")


def _spots(shown: Reaching, together: Sequence[Reaching]) -> tuple[GroundMark, ...]:
    """The spots of the site and of the routes, but those where antennas stand."""
    every: dict[str, Spot] = {spot.name: spot for spot in shown.chain.site.spots}
    every |= {spot.name: spot for link in together for spot in link.chain.goes}
    heard = {mark.name for mark in _antennas(together)}
    return tuple(GroundMark(spot.name, spot.x_m, spot.y_m) for spot in every.values() if spot.name not in heard)


def _antennas(together: Sequence[Reaching]) -> tuple[GroundMark, ...]:
    """Where the call's links are received: by antennas of the site, or at a spot by the receiver's own; or where
    they are sent from, where whoever listens goes."""
    marks: dict[str, GroundMark] = {}
    for link in together:
        stands = link.chain.ends.sent_from
        if stands is not None:
            marks[stands.name] = GroundMark(
                stands.name, stands.x_m, stands.y_m, says=f"transmitter at {stands.name}"
            )
            continue
        ears = [ear for branch in link.chain.ends.branches for ear in branch]
        for ear in ears:
            name = link.chain.at.name if ear.antenna is None else ear.antenna.name
            towards = None if ear.antenna is None else ear.antenna.towards_deg
            beam = towards if ear.antenna is not None and ear.antenna.pattern in ("wide", "narrow") else None
            marks[name] = GroundMark(name, ear.point.x_m, ear.point.y_m, beam, f"receiving antenna {name}")
    return tuple(marks.values())


def walks_of(together: Sequence[Reaching]) -> list[Walk]:
    """What the links have in hand over time; whoever stands still does so for as long as the longest of the others
    walks."""
    walks = [walk_of(link) for link in together]
    longest = max((float(walk.time_s[-1]) for walk in walks if len(walk.places) > 1), default=STANDS_S)
    return [
        walk
        if len(walk.places) > 1
        else Walk(walk.name, np.array([0.0, longest]), walk.in_hand_db[:2], walk.places, walk.says)
        for walk in walks
    ]


def walk_of(link: Reaching) -> Walk:
    """What a link has in hand over time along its route."""
    from linkwright.reach.ground import along_route

    way = along_route(link.at_work)
    route, speed = link.chain.goes, link.chain.ends.usual_m_s
    gone, places = 0.0, []
    for before, spot in zip((None, *route), route, strict=False):
        if before is not None:
            step = (spot.x_m - before.x_m, spot.y_m - before.y_m, spot.z_m - before.z_m)
            gone += sum(part * part for part in step) ** 0.5
        places.append((gone / speed, spot.name))
    return Walk(link.name, way.time_s, way.in_hand_db, tuple(places))
