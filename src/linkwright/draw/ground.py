"""The ground: a site in metres, north up, with what is in hand as bands of one ink, walls, routes, spots and
antennas.

It knows of links no more than names, places and numbers, so that a page draws with it what the command draws.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from linkwright.draw.axis import ticks
from linkwright.draw.contours import rings_at
from linkwright.draw.ink import BODY_PX, HEAD_PX, INK, LEAST_PX, MADDER, OCHRE, PAPER, SOFT, in_page_inks
from linkwright.draw.svg import element, escape, group, hatch, number, width_of, words, wrapped
from linkwright.units import FloatArray

WIDTH_PX = 1200.0
EDGE_PX = 28.0
#: Room for the scale at the map's left and foot, and for the legend at its right [px].
SCALE_PX = 46.0
LEGEND_PX = 176.0
#: A map is no taller than this [px].
TALLEST_PX = 820.0
#: From so much in hand on a band begins [dB], and how much of the ink it has; above the last the paper is left.
BANDS: tuple[tuple[float, float], ...] = (
    (0.0, 0.46),
    (6.0, 0.33),
    (12.0, 0.22),
    (20.0, 0.13),
    (30.0, 0.06),
    (40.0, 0.0),
)
#: The same on a page, thinner, so that walls stand out from them at dusk too.
PAGE_BANDS: tuple[tuple[float, float], ...] = tuple((level, round(0.8 * share, 3)) for level, share in BANDS)


@dataclass(frozen=True)
class GroundMark:
    """A named point [m]; an antenna may point towards a bearing [degrees from north by east]."""

    name: str
    x_m: float
    y_m: float
    towards_deg: float | None = None
    says: str = ""


@dataclass(frozen=True)
class GroundLine:
    """A line through points [m], with a name; a wall or a route."""

    name: str
    points_m: tuple[tuple[float, float], ...]
    says: str = ""


@dataclass(frozen=True, eq=False)
class Ground:
    """A picture of a site: its answer, what stands under that, a quantity over the ground, and what is on it.

    x_m (w,), y_m (h,), in_hand_db (h, w). `antennas` are where somebody listens, `others` where strangers send.
    """

    says: str
    under: str
    x_m: FloatArray
    y_m: FloatArray
    in_hand_db: FloatArray
    walls: tuple[GroundLine, ...] = ()
    routes: tuple[GroundLine, ...] = ()
    spots: tuple[GroundMark, ...] = ()
    antennas: tuple[GroundMark, ...] = ()
    others: tuple[GroundMark, ...] = ()
    notes: tuple[str, ...] = field(default=())


@dataclass(frozen=True)
class View:
    """Metres to pixels: north up, as many pixels to a metre both ways."""

    west_m: float
    north_m: float
    px_per_m: float
    left_px: float
    top_px: float
    width_px: float
    height_px: float

    def x(self, x_m: float) -> float:
        """Where an easting stands [px]."""
        return self.left_px + (x_m - self.west_m) * self.px_per_m

    def y(self, y_m: float) -> float:
        """Where a northing stands [px]."""
        return self.top_px + (self.north_m - y_m) * self.px_per_m


def shade(share: float) -> str:
    """The ink thinned on paper: a share of 1 is ink, 0 paper."""
    mixed = [round(int(PAPER[n : n + 2], 16) * (1.0 - share) + int(INK[n : n + 2], 16) * share) for n in (1, 3, 5)]
    return "#" + "".join(f"{part:02x}" for part in mixed)


def view_of(ground: Ground, left_px: float, top_px: float, width_px: float, tallest_px: float) -> View:
    """The view that shows all of a ground in a box."""
    east, north = float(ground.x_m[-1] - ground.x_m[0]), float(ground.y_m[-1] - ground.y_m[0])
    scale = min(width_px / east, tallest_px / north)
    return View(float(ground.x_m[0]), float(ground.y_m[-1]), scale, left_px, top_px, east * scale, north * scale)


def map_of(ground: Ground, view: View) -> str:
    """The map alone, as a group: bands, walls, routes, spots, antennas and a scale."""
    parts = [_bands(ground, view), _scale(ground, view)]
    parts += [_wall(view, wall) for wall in ground.walls]
    parts += [_route(view, route) for route in ground.routes]
    taken: list[tuple[float, float, float, float]] = []
    parts += [_antenna(view, antenna) for antenna in ground.antennas]
    parts += [_other(view, other) for other in ground.others]
    parts += [_dot(view, spot) for spot in ground.spots]
    for mark in (*ground.spots, *ground.antennas, *ground.others):
        parts.append(_label(view, mark.name, view.x(mark.x_m), view.y(mark.y_m), taken))
    for route in ground.routes:
        x_m, y_m = _halfway(route.points_m)
        if route.name:
            parts.append(_label(view, route.name, view.x(x_m), view.y(y_m), taken, OCHRE))
    return group(parts, f"{ground.says} North is up.")


def drawn_bands(ground: Ground) -> str:
    """The bands alone from edge to edge, in a page's inks: one SVG that stretches under its drawing."""
    east, north = float(ground.x_m[-1] - ground.x_m[0]), float(ground.y_m[-1] - ground.y_m[0])
    view = View(
        float(ground.x_m[0]), float(ground.y_m[-1]), WIDTH_PX / east, 0.0, 0.0, WIDTH_PX, north * WIDTH_PX / east
    )
    head, bands = element("defs", hatch("unreached", MADDER, 14.0, 2.0)), in_page_inks(_bands(ground, view))
    for (_, share), (_, thinner) in zip(BANDS, PAGE_BANDS, strict=True):
        bands = bands.replace(shade(share), f"color-mix(in srgb, var(--ink) {100 * thinner:g}%, var(--sheet))")
    return element(
        "svg", head + bands, xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {view.width_px:g} {view.height_px:g}", preserveAspectRatio="none",
    )  # fmt: skip


def drawn_ground(ground: Ground, below: Sequence[tuple[float, str]] = (), tallest_px: float = TALLEST_PX) -> str:
    """The ground as one SVG document, its map no taller than said; `below` are further drawings with their heights
    [px], `WIDTH_PX` wide."""
    room = WIDTH_PX - 2 * EDGE_PX
    parts: list[str] = []
    y = 20.0
    for line in wrapped(ground.says, room, HEAD_PX):
        y += HEAD_PX + 5
        parts.append(words(EDGE_PX, y, line, size=HEAD_PX))
    for line in wrapped(ground.under, room, BODY_PX):
        y += BODY_PX + 6
        parts.append(words(EDGE_PX, y, line, size=BODY_PX, fill=SOFT))
    wide = room - SCALE_PX - LEGEND_PX
    view = view_of(ground, EDGE_PX + SCALE_PX, y + 22.0, wide, tallest_px)
    parts.append(map_of(ground, view))
    parts.append(_legend(view, ground))
    y = max(view.top_px + view.height_px + 34.0, view.top_px + 330.0)
    for height, drawing in below:
        parts.append(element("g", drawing, transform=f"translate(0 {number(y)})"))
        y += height
    for note in ground.notes:
        for line in wrapped(note, room, 13):
            y += 18.0
            parts.append(words(EDGE_PX, y, line, size=13, fill=SOFT))
    return _document(parts, ground, y + 22.0)


def _bands(ground: Ground, view: View) -> str:
    """The bands from the least upwards, each painted over the one below; nothing reaches in the hatching."""
    parts = [_frame(view, PAPER), _frame(view, "url(#unreached)")]
    for level, share in BANDS:
        rings = rings_at(ground.x_m, ground.y_m, ground.in_hand_db, level)
        path = "".join(
            "M" + "L".join(f"{number(view.x(x))} {number(view.y(y))}" for x, y in ring) + "z" for ring in rings
        )
        if path:
            stroke, wide = (INK, 1.6) if level == 0.0 else (SOFT, 0.5)
            title = element("title", f"{level:g} dB in hand and more")
            parts.append(
                element(
                    "path", title, d=path, fill=shade(share), fill_rule="evenodd", stroke=stroke, stroke_width=wide
                )
            )
    parts.append(_frame(view, "none", INK))
    return "".join(parts)


def _frame(view: View, fill: str, stroke: str | None = None) -> str:
    """The rectangle of the map."""
    return element(
        "rect", x=view.left_px, y=view.top_px, width=view.width_px, height=view.height_px, fill=fill, stroke=stroke
    )


def _scale(ground: Ground, view: View) -> str:
    """Metres along the left and the foot."""
    parts = []
    foot = view.top_px + view.height_px
    for x_m in ticks(float(ground.x_m[0]), float(ground.x_m[-1]), max(2, int(view.width_px / 90))):
        x = view.x(x_m)
        parts.append(element("line", x1=x, x2=x, y1=foot, y2=foot + 5, stroke=INK, stroke_width=1.0))
        parts.append(words(x, foot + 18, _metres(x_m), size=LEAST_PX, anchor="middle", fill=SOFT))
    for y_m in ticks(float(ground.y_m[0]), float(ground.y_m[-1]), max(2, int(view.height_px / 60))):
        y = view.y(y_m)
        left = view.left_px
        parts.append(element("line", x1=left - 5, x2=left, y1=y, y2=y, stroke=INK, stroke_width=1.0))
        parts.append(words(left - 8, y + 4, _metres(y_m), size=LEAST_PX, anchor="end", fill=SOFT))
    parts.append(words(view.left_px - 8, foot + 18, "m", size=LEAST_PX, anchor="end", fill=SOFT))
    return "".join(parts)


def _metres(value: float) -> str:
    return f"{value:.6g}".replace("-", "\N{MINUS SIGN}") if abs(value) > 1e-9 else "0"


def _wall(view: View, wall: GroundLine) -> str:
    """A wall: a bar of ink with paper about it."""
    d = _path(view, wall.points_m)
    title = element("title", escape(wall.says or wall.name))
    return group([
        title,
        element("path", d=d, stroke=PAPER, stroke_width=7.0, fill="none"),
        element("path", d=d, stroke=INK, stroke_width=4.0, fill="none"),
    ])  # fmt: skip


def _route(view: View, route: GroundLine) -> str:
    """A route: a line of ochre with paper about it, and an arrow where it ends."""
    d = _path(view, route.points_m)
    title = element("title", escape(route.says or route.name))
    parts = [
        title,
        element("path", d=d, stroke=PAPER, stroke_width=5.0, fill="none", stroke_linejoin="round"),
        element("path", d=d, stroke=OCHRE, stroke_width=2.4, fill="none", stroke_linejoin="round"),
    ]
    apart = [p for p in route.points_m if p != route.points_m[-1]]
    if apart:
        x, y = view.x(route.points_m[-1][0]), view.y(route.points_m[-1][1])
        way = math.degrees(math.atan2(y - view.y(apart[-1][1]), x - view.x(apart[-1][0])))
        turn = f"translate({number(x)} {number(y)}) rotate({number(way)})"
        parts.append(element("path", d="M-8 0L-19 -5.5L-19 5.5z", transform=turn, fill=OCHRE))
    return group(parts)


def _path(view: View, points_m: Sequence[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{number(view.x(x))} {number(view.y(y))}" for x, y in points_m)


def _halfway(points_m: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """The middle of the longest leg."""
    if len(points_m) < 2:
        return points_m[0]
    legs = [(math.dist(a, b), a, b) for a, b in itertools.pairwise(points_m)]
    _, a, b = max(legs, key=lambda leg: leg[0])
    return (a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0


def _dot(view: View, mark: GroundMark) -> str:
    title = element("title", escape(mark.says or mark.name))
    return element(
        "circle", title, cx=view.x(mark.x_m), cy=view.y(mark.y_m), r=5.0, fill=INK, stroke=PAPER, stroke_width=1.5
    )


def _antenna(view: View, mark: GroundMark) -> str:
    """An antenna: a mast with a cross arm; where it has a beam, a wedge the way it points."""
    x, y = view.x(mark.x_m), view.y(mark.y_m)
    parts = [element("title", escape(mark.says or mark.name))]
    if mark.towards_deg is not None:
        turn = f"translate({number(x)} {number(y)}) rotate({number(mark.towards_deg)})"
        d = "M0 0L-17 -38A42 42 0 0 1 17 -38z"
        parts.append(
            element("path", d=d, transform=turn, fill=OCHRE, fill_opacity=0.35, stroke=OCHRE, stroke_width=1.2)
        )
    d = f"M{number(x)} {number(y + 7)}V{number(y - 8)}M{number(x - 7)} {number(y - 8)}H{number(x + 7)}"
    parts.append(element("path", d=d, stroke=PAPER, stroke_width=6.0, fill="none"))
    parts.append(element("path", d=d, stroke=INK, stroke_width=3.0, fill="none"))
    return group(parts)


def _other(view: View, mark: GroundMark) -> str:
    """Somebody else's transmitter: a madder lozenge."""
    x, y = number(view.x(mark.x_m)), number(view.y(mark.y_m))
    title = element("title", escape(mark.says or mark.name))
    return element(
        "path", title, d="M0 -8L8 0L0 8L-8 0z", transform=f"translate({x} {y})", fill=MADDER, stroke=PAPER,
        stroke_width=1.5,
    )  # fmt: skip


def _label(
    view: View, text: str, x: float, y: float, taken: list[tuple[float, float, float, float]], fill: str = INK
) -> str:
    """A name beside a point, with paper behind the letters, where it covers no other name if that can be had."""
    wide = width_of(text)
    beside = ((11.0, 5.0), (-11.0 - wide, 5.0), (-wide / 2, -13.0), (-wide / 2, 24.0), (11.0, -11.0), (11.0, 21.0))
    box = (0.0, 0.0, 0.0, 0.0)
    for dx, dy in beside:
        box = (x + dx, y + dy - 12.0, x + dx + wide, y + dy + 4.0)
        clear = all(
            box[2] < other[0] or box[0] > other[2] or box[3] < other[1] or box[1] > other[3] for other in taken
        )
        if clear and box[0] > view.left_px and box[2] < view.left_px + view.width_px:
            break
    taken.append(box)
    placed = {"x": box[0], "y": box[3] - 4.0, "text": text, "size": BODY_PX}
    halo = words(**placed, fill=PAPER, stroke=PAPER, stroke_width=4.0, stroke_linejoin="round")  # type: ignore[arg-type]
    return halo + words(**placed, fill=fill)  # type: ignore[arg-type]


def _legend(view: View, ground: Ground) -> str:
    """What the bands and the signs mean, and the way north."""
    x, y = view.left_px + view.width_px + 26.0, view.top_px + 6.0
    return words(x, y + 6, "In hand", size=BODY_PX) + _legend_rows(x, y + 18.0, ground)


def _legend_rows(x: float, y: float, ground: Ground) -> str:
    parts = []
    tops = [*(f"{level:g} to {after:g} dB" for (level, _), (after, _) in itertools.pairwise(BANDS)), ""]
    tops[-1] = f"{BANDS[-1][0]:g} dB and more"
    rows = [*zip((shade(share) for _, share in BANDS), tops, strict=True)][::-1]
    for fill, says in (*rows, ("url(#unreached)", "short")):
        parts.append(element("rect", x=x, y=y, width=30.0, height=17.0, fill=fill, stroke=SOFT, stroke_width=0.7))
        parts.append(words(x + 40, y + 13, says, size=13))
        y += 23.0
    y += 12.0
    signs: list[tuple[str, str]] = []
    unit = View(0.0, 0.0, 1.0, x + 15.0, y, 0.0, 0.0)
    if ground.antennas:
        signs.append((_antenna(unit, GroundMark("", 0.0, 0.0)), "receiving antenna"))
    if ground.routes:
        signs.append((_route(unit, GroundLine("", ((-15.0, 0.0), (17.0, 0.0)))), "route"))
    if ground.walls:
        signs.append((_wall(unit, GroundLine("", ((-15.0, 0.0), (15.0, 0.0)))), "wall"))
    if ground.others:
        signs.append((_other(unit, GroundMark("", 0.0, 0.0)), "somebody else"))
    for n, (sign, says) in enumerate(signs):
        parts.append(element("g", sign, transform=f"translate(0 {number(26.0 * n)})"))
        parts.append(words(x + 40, y + 26.0 * n + 5, says, size=13))
    y += 26.0 * len(signs) + 12.0
    parts.append(element("path", d=f"M{number(x + 15)} {number(y + 34)}v-30m-6 10l6 -11l6 11", stroke=INK,
                         stroke_width=1.6, fill="none"))  # fmt: skip
    parts.append(words(x + 40, y + 24, "north", size=13))
    return "".join(parts)


def _document(parts: Sequence[str], ground: Ground, height_px: float) -> str:
    head = [
        element("title", escape(ground.says), id="says"),
        element("desc", escape(" ".join(filter(None, [ground.under, *ground.notes]))), id="more"),
        element("defs", hatch("unreached", MADDER, 8.0, 1.3)),
        element("rect", width=WIDTH_PX, height=height_px, fill=PAPER),
    ]
    svg = element(
        "svg", "".join([*head, *parts]), xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {WIDTH_PX:g} {height_px:g}", width=WIDTH_PX, height=height_px, role="img",
        aria_labelledby="says more", color=INK,
    )  # fmt: skip
    return svg + "\n"
