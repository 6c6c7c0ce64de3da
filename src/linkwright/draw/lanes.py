"""The lanes of a score: each is drawn under one frequency axis, from a top downwards, and says its own name.

A lane knows nothing of what it shows beyond names, frequencies and levels, so that measured air, rules, TV,
other people's carriers and ours are all drawn by the same few kinds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, Protocol, TypeAlias

import numpy as np

from linkwright.draw.axis import Axis, ticks
from linkwright.draw.columns import per_column
from linkwright.draw.ink import FAINT, INK, LEAST_PX, MADDER, OCHRE, PAPER, SOFT
from linkwright.draw.svg import element, group, number, width_of, words
from linkwright.units import FloatArray

#: How a band is filled: solid, outlined, hatched in ink (doubt) or in madder (closed).
Fill: TypeAlias = Literal["solid", "open", "doubt", "closed"]
#: A pin's head. Discs are for verdicts: full, half, a ring with a bar. A spare is a lozenge; of what was found a
#: square: full for what is on all the time, half for now and then, hollow for what is only listed.
Head: TypeAlias = Literal["holds", "thin", "fails", "spare", "on", "at times", "listed"]
FILLS: dict[Fill, str] = {"solid": INK, "open": PAPER, "doubt": "url(#doubt)", "closed": "url(#closed)"}


#: A floor is drawn through so many points, and not across gaps wider than this share of the axis.
FLOOR_POINTS = 400
GAP_SHARE = 0.02
#: With more pins than this only the tallest have heads and labels.
MOST_HEADS = 60
#: A row of labels [px], and the room from a lane's foot to its lowest and highest heads [px].
ROW_PX = 16.0
STEM_PX = (24.0, 46.0)
HEAD_R_PX = 4.0


class Lane(Protocol):
    """Something that is drawn under the axis."""

    @property
    def name(self) -> str: ...
    def height_px(self, axis: Axis) -> float: ...
    def draw(self, axis: Axis, top_px: float) -> str: ...


@dataclass(frozen=True, eq=False)
class Levels:
    """What was measured: lowest to highest level of each pixel, the floor, hatching where nobody looked.

    All arrays are (bins): left_khz, right_khz edges, rising; lowest_db, highest_db; floor_db or None.
    """

    name: str
    left_khz: FloatArray
    right_khz: FloatArray
    lowest_db: FloatArray
    highest_db: FloatArray
    floor_db: FloatArray | None
    unit: str
    tall_px: float = 230.0

    def height_px(self, axis: Axis) -> float:  # noqa: ARG002  (all lanes are asked alike)
        """How tall the lane is [px]."""
        return self.tall_px

    def draw(self, axis: Axis, top_px: float) -> str:
        """The lane as SVG."""
        traces = ((self.lowest_db, np.minimum), (self.highest_db, np.maximum))
        looked, (low, high) = per_column(self.left_khz, self.right_khz, axis.edges_khz(), traces)
        if not looked.any():
            return _empty(axis, top_px, self.tall_px, "nothing was looked at here")
        bottom_db = float(np.quantile(low[looked], 0.01)) - 2.0
        top_db = max(float(high[looked].max()) + 2.0, bottom_db + 10.0)
        scale = self.tall_px / (top_db - bottom_db)

        def y(level: float) -> float:
            return top_px + min(self.tall_px, max(0.0, (top_db - level) * scale))

        parts = [_unlooked(axis, top_px, self.tall_px, ~looked)]
        for db in ticks(bottom_db, top_db, max(2, int(self.tall_px / 32))):
            parts.append(
                element(
                    "line", x1=axis.left_px, x2=axis.right_px, y1=y(db), y2=y(db), stroke=FAINT, stroke_width=1.0
                )
            )
            label = f"{db:.4g}".replace("-", "\N{MINUS SIGN}")
            if y(db) > top_px + 24:
                parts.append(words(axis.left_px - 8, y(db) + 4, label, size=LEAST_PX, anchor="end", fill=SOFT))
        parts.append(words(axis.left_px - 8, top_px + 10, self.unit, size=LEAST_PX, anchor="end", fill=SOFT))
        path = []
        for pixel in np.flatnonzero(looked).tolist():
            upper, lower = y(float(high[pixel])), y(float(low[pixel]))
            path.append(f"M{number(axis.left_px + pixel)} {number(upper)}h1V{number(max(lower, upper + 1.0))}h-1z")
        parts.append(element("path", d="".join(path), fill=INK, shape_rendering="crispEdges"))
        parts.append(self._floor(axis, y))
        return group(parts, f"{self.name}: lowest to highest level in every column, {self.unit}")

    def _floor(self, axis: Axis, y: object) -> str:
        if self.floor_db is None or self.left_khz.size < 2:
            return ""
        assert callable(y)
        middle = (self.left_khz + self.right_khz) / 2.0
        at = np.unique(np.linspace(0, middle.size - 1, min(middle.size, FLOOR_POINTS)).astype(int))
        gap_khz = max(GAP_SHARE * (axis.to_khz - axis.from_khz), 3.0 * float(np.median(np.diff(middle[at]))))
        line, before = [], -np.inf
        for n in at.tolist():
            khz = float(middle[n])
            if axis.covers(khz):
                line.append(
                    f"{'L' if khz - before <= gap_khz else 'M'}{number(axis.x(khz))} {number(y(self.floor_db[n]))}"
                )
                before = khz
        path = "".join(line)
        halo = element("path", d=path, fill="none", stroke=PAPER, stroke_width=4.0, stroke_opacity=0.75)
        return halo + element("path", d=path, fill="none", stroke=OCHRE, stroke_width=2.0)


@dataclass(frozen=True)
class Band:
    """A stretch of a lane [kHz], what stands in it, how it is filled, and what is said of it."""

    from_khz: float
    to_khz: float
    label: str = ""
    fill: Fill = "open"
    says: str = ""


@dataclass(frozen=True)
class Bands:
    """Stretches side by side: TV channels, what the rules allow or close, wide signals."""

    name: str
    bands: tuple[Band, ...]
    tall_px: float = 30.0

    def height_px(self, axis: Axis) -> float:
        """How tall the lane is [px]: a row more for every layer of overlapping bands, and of labels beside them."""
        layers = self._layers(axis)
        return self.tall_px * max(1, len(layers)) + ROW_PX * rows_of(self._beside(axis, layers))

    def draw(self, axis: Axis, top_px: float) -> str:
        """The lane as SVG."""
        layers = self._layers(axis)
        if not layers:
            return _empty(axis, top_px, self.tall_px, "nothing here")
        beside = self._beside(axis, layers)
        top = top_px + ROW_PX * rows_of(beside)
        parts = []
        for n, layer in enumerate(layers):
            parts += [self._band(axis, top + n * self.tall_px, band) for band in layer]
        for flag in beside:
            foot = top + 3.0
            parts.append(leader(flag, foot, foot - 5.0 - ROW_PX * flag.row))
            parts.append(words(flag.left, foot - 5.0 - ROW_PX * flag.row, flag.label, size=LEAST_PX))
        return group(parts, self.name)

    def _band(self, axis: Axis, top_px: float, band: Band) -> str:
        left, right = axis.x(band.from_khz), axis.x(band.to_khz)
        edge = MADDER if band.fill == "closed" else INK
        box: dict[str, Any] = {
            "x": left,
            "y": top_px + 3.0,
            "width": max(2.0, right - left),
            "height": self.tall_px - 6.0,
        }
        inside = [
            element("rect", **box, fill=PAPER),
            element("rect", **box, fill=FILLS[band.fill], stroke=edge, stroke_width=1.0),
        ]
        if _fits(axis, band):
            inside.append(self._inside(band, (left + right) / 2.0, top_px + self.tall_px / 2.0 + 4.5))
        return group(inside, band.says or f"{band.label} {band.from_khz / 1e3:g} to {band.to_khz / 1e3:g} MHz")

    def _inside(self, band: Band, middle: float, base: float) -> str:
        ink = PAPER if band.fill == "solid" else INK
        text = words(middle, base, band.label, size=LEAST_PX, anchor="middle", fill=ink)
        if band.fill not in ("doubt", "closed"):
            return text
        room = width_of(band.label, LEAST_PX)
        return element("rect", x=middle - room / 2 - 3, y=base - 12, width=room + 6, height=15.0, fill=PAPER) + text

    def _beside(self, axis: Axis, layers: list[list[Band]]) -> list[Flag]:
        """The labels of bands that are too narrow for them, over the lane."""
        narrow = [band for layer in layers for band in layer if band.label and not _fits(axis, band)]
        return flags([(axis.x((band.from_khz + band.to_khz) / 2.0), band.label) for band in narrow], axis)

    def _layers(self, axis: Axis) -> list[list[Band]]:
        """The bands in as few rows as they need not to cover each other."""
        rows: list[list[Band]] = []
        visible = [
            stretch for stretch in self.bands if stretch.to_khz > axis.from_khz and stretch.from_khz < axis.to_khz
        ]
        for band in sorted(visible, key=lambda shown: (shown.from_khz, shown.to_khz)):
            row = next((row for row in rows if row[-1].to_khz <= band.from_khz + 1e-6), None)
            if row is None:
                rows.append([band])
            else:
                row.append(band)
        return rows


def _fits(axis: Axis, band: Band) -> bool:
    """Whether a band's label has room inside it."""
    return width_of(band.label, LEAST_PX) + 6.0 <= axis.x(band.to_khz) - axis.x(band.from_khz)


@dataclass(frozen=True)
class Flag:
    """A label over a mark at x: where it begins [px], how wide it is, and in which row over the marks."""

    x: float
    label: str
    left: float
    wide: float
    row: int

    def covers(self, x: float) -> bool:
        """Whether a line down from x would run through it."""
        return self.left - 2.0 < x < self.left + self.wide + 2.0


def flags(marks: Sequence[tuple[float, str]], axis: Axis) -> list[Flag]:
    """A label for each mark (x [px], words), staggered: none covers another, nor stands in the line to another.

    From the right to the left, each in the lowest row that is free; so labels go down like stairs.
    """
    placed: list[Flag] = []
    for x, label in sorted(marks, reverse=True):
        wide = width_of(label, LEAST_PX)
        left = max(axis.left_px, min(x - 3.0, axis.right_px - wide))
        row = next(row for row in range(len(marks) + 1) if _is_free(placed, x, left, wide, row))
        placed.append(Flag(x, label, left, wide, row))
    return placed


def _is_free(placed: Sequence[Flag], x: float, left: float, wide: float, row: int) -> bool:
    """Whether a label may stand in a row: beside those there, over no line to one above, its own line through none.

    Where a line can only run through a label, as at the right edge, it runs under it.
    """
    mine = Flag(x, "", left, wide, row)
    same = [label for label in placed if label.row == row]
    if any(left < label.left + label.wide + 8.0 and label.left < left + wide + 8.0 for label in same):
        return False
    if row > max((label.row for label in placed), default=-1):
        return True
    return not any(
        (label.row < row and label.covers(x)) or (label.row > row and mine.covers(label.x)) for label in placed
    )


def rows_of(placed: Sequence[Flag]) -> int:
    """How many rows of labels there are."""
    return 1 + max((label.row for label in placed), default=-1)


def leader(flag: Flag, from_y: float, to_y: float) -> str:
    """The line from a mark up to its label."""
    return element("line", x1=flag.x, x2=flag.x, y1=from_y, y2=to_y + 3.0, stroke=SOFT, stroke_width=1.0)


@dataclass(frozen=True)
class Pin:
    """A carrier: where [kHz], how tall (0..1), its label and its head."""

    khz: float
    share: float = 1.0
    label: str = ""
    head: Head = "holds"
    width_khz: float = 0.0
    says: str = ""


@dataclass(frozen=True)
class Pins:
    """Carriers as pins: others', ours, or our spares. Each has its label, staggered over the heads."""

    name: str
    pins: tuple[Pin, ...]

    def height_px(self, axis: Axis) -> float:
        """How tall the lane is [px]."""
        return STEM_PX[1] + 6.0 + ROW_PX * max(1, rows_of(self._flags(axis)))

    def draw(self, axis: Axis, top_px: float) -> str:
        """The lane as SVG."""
        visible = [pin for pin in self.pins if axis.covers(pin.khz)]
        if not visible:
            return _empty(axis, top_px, STEM_PX[1], "nothing here")
        base = top_px + self.height_px(axis) - 2.0
        shown = {id(pin) for pin in self._labelled(axis)}
        placed = self._flags(axis)
        over = base - STEM_PX[1] - 6.0
        parts = [
            element("line", x1=axis.left_px, x2=axis.right_px, y1=base, y2=base, stroke=FAINT, stroke_width=1.0)
        ]
        parts += [leader(flag, base, over - ROW_PX * flag.row) for flag in placed]
        parts += [_pin(axis, base, pin, id(pin) in shown) for pin in visible]
        for flag in placed:
            line: dict[str, Any] = {
                "x": flag.left,
                "y": over - ROW_PX * flag.row,
                "text": flag.label,
                "size": LEAST_PX,
            }
            parts.append(words(**line, fill=PAPER, stroke=PAPER, stroke_width=3.0))
            parts.append(words(**line))
        return group(parts, self.name)

    def _labelled(self, axis: Axis) -> list[Pin]:
        """The pins with heads and labels: all, of a crowd the tallest."""
        visible = [pin for pin in self.pins if axis.covers(pin.khz)]
        return sorted(visible, key=lambda mark: -mark.share)[:MOST_HEADS]

    def _flags(self, axis: Axis) -> list[Flag]:
        return flags([(axis.x(pin.khz), pin.label) for pin in self._labelled(axis) if pin.label], axis)


def _pin(axis: Axis, base: float, pin: Pin, with_head: bool) -> str:
    x = axis.x(pin.khz)
    y = base - STEM_PX[0] - (STEM_PX[1] - STEM_PX[0]) * min(1.0, max(0.0, pin.share))
    parts = [element("line", x1=x, x2=x, y1=base, y2=y, stroke=INK, stroke_width=1.4)]
    if pin.width_khz > 0.0:
        left, right = axis.x(pin.khz - pin.width_khz / 2.0), axis.x(pin.khz + pin.width_khz / 2.0)
        wide = max(1.4, right - left)
        parts.append(element("rect", x=x - wide / 2.0, y=base - 5.0, width=wide, height=5.0, fill=INK))
    if with_head:
        parts.append(head(pin.head, x, y))
    return group(parts, pin.says or f"{pin.label} {pin.khz / 1e3:.3f} MHz")


def head(kind: Head, x: float, y: float, r: float = HEAD_R_PX) -> str:
    """The head of a pin, or a verdict's disc: told by shape, so that grey is enough."""
    line: dict[str, Any] = {"stroke": MADDER if kind == "fails" else INK, "stroke_width": 1.4}
    if kind == "spare":
        d = f"M{number(x)} {number(y - r - 1)}l{r + 1:g} {r + 1:g}l{-r - 1:g} {r + 1:g}l{-r - 1:g} {-r - 1:g}z"
        return element("path", d=d, fill=PAPER, **line)
    if kind in ("on", "at times", "listed"):
        box: dict[str, Any] = {"y": y - r, "height": 2.0 * r}
        fill = INK if kind == "on" else PAPER
        square = element("rect", x=x - r, width=2.0 * r, **box, fill=fill, **line)
        return square + (element("rect", x=x - r, width=r, **box, fill=INK) if kind == "at times" else "")
    disc = element("circle", cx=x, cy=y, r=r, fill=INK if kind == "holds" else PAPER, **line)
    if kind == "thin":
        d = f"M{number(x)} {number(y - r)}a{r:g} {r:g} 0 0 0 0 {2 * r:g}z"
        return disc + element("path", d=d, fill=INK)
    if kind == "fails":
        return disc + element("line", x1=x - r - 1, y1=y + r + 1, x2=x + r + 1, y2=y - r - 1, **line)
    return disc


def _unlooked(axis: Axis, top_px: float, tall_px: float, marked: np.ndarray) -> str:
    """Hatching over the runs of pixels that nobody looked at."""
    steps = np.diff(np.concatenate([[0], marked.astype(int), [0]]))
    parts = []
    for start, stop in zip(np.flatnonzero(steps == 1).tolist(), np.flatnonzero(steps == -1).tolist(), strict=True):
        if stop - start >= 3:
            parts.append(
                element(
                    "rect", x=axis.left_px + start, y=top_px, width=float(stop - start), height=tall_px,
                    fill="url(#unlooked)",
                )
            )  # fmt: skip
    return group(parts, "not looked at") if parts else ""


def _empty(axis: Axis, top_px: float, tall_px: float, says: str) -> str:
    return words(axis.left_px + 6.0, top_px + tall_px / 2.0 + 4.0, says, size=13, fill=SOFT)
