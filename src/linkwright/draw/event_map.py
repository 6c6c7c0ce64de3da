"""The sites of an event on a plane in metres, north up: as large as links are on that day, joined where they hear
each other."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from linkwright.draw.bars import EDGE_PX, TEXT_PX
from linkwright.draw.event_band import cut
from linkwright.draw.ground import View
from linkwright.draw.ink import FAINT, INK, OCHRE, PAPER, SOFT
from linkwright.draw.svg import document, element, group, number, width_of, words

#: A site's circle: where nobody is, and where most are; the same where sites are close together [px].
LEAST_R_PX, MOST_R_PX, CLOSE_R_PX = 3.0, 13.0, 7.0
#: Room for labels at the sides, and over and under all sites; the picture's least and most height [px].
SIDE_PX, OVER_PX = 74.0, 60.0
LEAST_TALL_PX, MOST_TALL_PX = 260.0, 760.0
HEAR: Final = "hear each other"
LINE_PX: Final = 20.0
#: So far from its site a label is tried, ring by ring [px].
RINGS_PX: Final = (4.0, 16.0, 30.0, 48.0)
#: A column of names at a side, where they have no room about their sites [px].
COLUMN_PX: Final = 104.0
Box = tuple[float, float, float, float]
#: Where a site stands, and its radius [px].
Spot = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class _Label:
    """The name of a site (by its place in the list) in its box, and where a line to it begins, if there is one."""

    site: int
    text: str
    box: Box
    to: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class MapSite:
    """A site: where it lies [m], how many links are on, and whether it is the one that is shown."""

    name: str
    x_m: float
    y_m: float
    links: int
    here: bool = False

    @property
    def label(self) -> str:
        """What stands beside it."""
        return f"{self.name}: {self.links}" if self.links else self.name


def drawn_map(sites: Sequence[MapSite], joined: Sequence[tuple[int, int]], says: str, width_px: float) -> str:
    """The sites as one SVG that says `says`; `joined` hear each other, by their places in the list."""
    view = _view(sites, width_px, SIDE_PX, LEAST_TALL_PX)
    most = max((site.links for site in sites), default=0)

    def spots(most_px: float) -> list[Spot]:
        return [(view.x(site.x_m), view.y(site.y_m), _radius(site.links, most, most_px)) for site in sites]

    where = spots(MOST_R_PX)
    labels = list(_beside(sites, where, view))
    if any(label is None for label in labels):  # too close together: in columns at the sides
        side = COLUMN_PX + 24.0
        view = _view(sites, width_px, side, LINE_PX * (len(sites) // 2 + 2))
        where = spots(CLOSE_R_PX)
        labels = list(_at_sides(sites, where, view))
    tall = view.height_px
    at = [f"{number(x)} {number(y)}" for x, y, _ in where]
    lines = "".join(f"M{at[a]}L{at[b]}" for a, b in joined)
    foot, under = _foot(view, width_px, tall, joined=bool(lines))
    parts = [element("rect", x=0.0, y=0.0, width=width_px, height=under, fill=PAPER)]
    if lines:
        parts.append(element("path", d=lines, stroke=OCHRE, stroke_width=2.0, stroke_dasharray="7 4", fill="none"))
    placed = [label for label in labels if label is not None]
    leaders = "".join(
        f"M{at[label.site]}L{number(label.to[0])} {number(label.to[1])}" for label in placed if label.to
    )
    if leaders:
        parts.append(element("path", d=leaders, stroke=SOFT, stroke_width=1.0, fill="none"))
    order = sorted(range(len(sites)), key=lambda n: -where[n][2])
    parts += [_spot(sites[n], *where[n]) for n in order]
    parts += [_words(label) for label in placed]
    return document(says, [*parts, foot], width_px, under)


def _view(sites: Sequence[MapSite], width_px: float, side_px: float, least_px: float) -> View:
    """All sites in the middle of the picture, with room for labels about them; as tall as they need."""
    east, north = [site.x_m for site in sites], [site.y_m for site in sites]
    across, up = max(50.0, max(east) - min(east)), max(50.0, max(north) - min(north))
    scale = min((width_px - 2.0 * side_px) / across, (MOST_TALL_PX - 2.0 * OVER_PX) / up)
    tall = max(least_px, up * scale + 2.0 * OVER_PX)
    west = (min(east) + max(east)) / 2.0 - width_px / 2.0 / scale
    return View(west, (min(north) + max(north)) / 2.0 + tall / 2.0 / scale, scale, 0.0, 0.0, width_px, tall)


def _radius(links: int, most: int, most_px: float) -> float:
    """By its area as many times as large as there are links."""
    return max(LEAST_R_PX, most_px * math.sqrt(links / most)) if most and links else LEAST_R_PX


def _spot(site: MapSite, x: float, y: float, r: float) -> str:
    fill = INK if site.links else PAPER
    ring = (
        element("circle", cx=x, cy=y, r=r + 4.0, fill="none", stroke=OCHRE, stroke_width=3.0) if site.here else ""
    )
    dot = element("circle", cx=x, cy=y, r=r, fill=fill, stroke=PAPER if site.links else INK, stroke_width=1.5)
    return group([ring, dot], site.label)


def _beside(sites: Sequence[MapSite], spots: Sequence[Spot], view: View) -> Iterator[_Label | None]:
    """Every name where it covers no other and no site, with a line to its site where that is not beside it; None
    where it has no room."""
    taken: list[Box] = [(x - r, y - r, x + r, y + r) for x, y, r in spots]
    for n in sorted(range(len(sites)), key=lambda n: (spots[n][1], spots[n][0])):
        x, y, r = spots[n]
        wide = 1.15 * width_of(sites[n].label, TEXT_PX) + 4.0
        box, away = _free(x, y, r, wide, taken, view)
        if box is None:
            yield None
            return
        taken.append(box)
        near = (min(max(x, box[0]), box[2]), min(max(y, box[1]), box[3])) if away > RINGS_PX[0] else None
        yield _Label(n, sites[n].label, box, near)


def _at_sides(sites: Sequence[MapSite], spots: Sequence[Spot], view: View) -> Iterator[_Label]:
    """Every name in a column at the left or the right, from the north to the south, with a line to its site."""
    west = sorted(range(len(sites)), key=lambda n: spots[n][0])
    half = (len(sites) + 1) // 2
    for names, left in ((west[:half], True), (west[half:], False)):
        free = 4.0
        for k, n in enumerate(sorted(names, key=lambda n: (spots[n][1], spots[n][0]))):
            last = view.height_px - LINE_PX * (len(names) - k)
            top = min(max(free, spots[n][1] - LINE_PX / 2.0), last)
            free = top + LINE_PX
            text = cut(sites[n].label, COLUMN_PX)
            wide = width_of(text, TEXT_PX)
            x = 2.0 if left else view.width_px - 9.0 - wide
            edge = 6.0 + wide if left else x - 4.0
            yield _Label(n, text, (x, top, x + wide, top + LINE_PX), (edge, top + LINE_PX / 2.0))


def _words(label: _Label) -> str:
    """A name with paper behind its letters."""
    return words(
        label.box[0] + 2.0, label.box[3] - 5.0, label.text, size=TEXT_PX, stroke=PAPER, stroke_width=4.0,
        paint_order="stroke",
    )  # fmt: skip


def _free(x: float, y: float, r: float, wide: float, taken: Sequence[Box], view: View) -> tuple[Box | None, float]:
    """The nearest free place for a label about a site, and how far it is; None where there is none."""
    for ring, turn in itertools.product(RINGS_PX, range(16)):
        way = math.pi * turn / 8.0
        cx = x + math.cos(way) * (r + ring + wide / 2.0)
        cy = y + math.sin(way) * (r + ring + LINE_PX / 2.0)
        box = (cx - wide / 2.0, cy - LINE_PX / 2.0, cx + wide / 2.0, cy + LINE_PX / 2.0)
        inside = box[0] >= 2.0 and box[2] <= view.width_px - 2.0 and box[1] >= 2.0 and box[3] <= view.height_px
        if inside and not any(_meet(box, other) for other in taken):
            return box, ring
    return None, 0.0


def _meet(a: Box, b: Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _foot(view: View, width_px: float, tall: float, *, joined: bool) -> tuple[str, float]:
    """The scale, the way north, and what the lines mean; and where all of it ends [px]."""
    most_m = 0.35 * width_px / view.px_per_m
    power = 10.0 ** math.floor(math.log10(most_m))
    metres = next(step * power for step in (5.0, 2.0, 1.0) if step * power <= most_m)
    told = f"{metres / 1000:g} km" if metres >= 1000.0 else f"{metres:g} m"
    left, y, right = EDGE_PX, tall + 20.0, EDGE_PX + metres * view.px_per_m
    parts = [
        element("line", x1=0.0, x2=width_px, y1=tall, y2=tall, stroke=FAINT, stroke_width=1.0),
        element("path", d=f"M{number(left)} {number(y - 6)}v6H{number(right)}v-6", stroke=INK, stroke_width=1.6,
                fill="none"),
        words(right + 8.0, y + 2.0, told, size=TEXT_PX),
        element("path", d=f"M{number(width_px - 78)} {number(y + 4)}v-18m-5 8l5 -9l5 9", stroke=INK,
                stroke_width=1.6, fill="none"),
        words(width_px - 66.0, y + 2.0, "north", size=TEXT_PX),
    ]  # fmt: skip
    key, y = "number: links on that day", y + 30.0
    parts.append(words(left, y, key, size=TEXT_PX, fill=SOFT))
    if joined:
        x = left + 1.15 * width_of(key, TEXT_PX) + 18.0
        if x + 46.0 + 1.15 * width_of(HEAR, TEXT_PX) > width_px:
            x, y = left, y + 26.0
        parts.append(
            element(
                "line", x1=x, x2=x + 34.0, y1=y - 5.0, y2=y - 5.0, stroke=OCHRE, stroke_width=2.0,
                stroke_dasharray="7 4",
            )
        )  # fmt: skip
        parts.append(words(x + 42.0, y, HEAR, size=TEXT_PX, fill=SOFT))
    return "".join(parts), y + EDGE_PX
