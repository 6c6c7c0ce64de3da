"""The lanes of a score: each is drawn under one frequency axis, from a top downwards, and says its own name.

A lane knows nothing of what it shows beyond names, frequencies and levels, so that measured air, rules, TV,
other people's carriers and ours are all drawn by the same few kinds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, Protocol, TypeAlias

import numpy as np

from linkwright.draw.axis import Axis, ticks
from linkwright.draw.columns import per_column
from linkwright.draw.ink import FAINT, INK, LEAST_PX, MADDER, OCHRE, PAPER, SOFT
from linkwright.draw.svg import element, group, number, width_of, words
from linkwright.units import FloatArray

#: How a band is filled: solid, outlined, hatched in ink (doubt) or in madder (closed).
Fill: TypeAlias = Literal["solid", "open", "doubt", "closed"]
#: A pin's head: on all the time, now and then, or not in use (a spare, or only heard of).
Head: TypeAlias = Literal["full", "half", "hollow"]
FILLS: dict[Fill, str] = {"solid": INK, "open": PAPER, "doubt": "url(#doubt)", "closed": "url(#closed)"}


#: A floor is drawn through so many points, and not across gaps wider than this share of the axis.
FLOOR_POINTS = 400
GAP_SHARE = 0.02
#: With more pins than this only those with a label have heads.
MOST_HEADS = 60


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
        """How tall the lane is [px]: a row more for every layer of overlapping bands."""
        return self.tall_px * max(1, len(self._rows(axis)))

    def draw(self, axis: Axis, top_px: float) -> str:
        """The lane as SVG."""
        rows = self._rows(axis)
        if not rows:
            return _empty(axis, top_px, self.tall_px, "nothing here")
        parts = []
        for number_of_row, row in enumerate(rows):
            ends = [axis.x(band.from_khz) for band in row[1:]] + [axis.right_px]
            for band, end in zip(row, ends, strict=True):
                parts.append(self._band(axis, top_px + number_of_row * self.tall_px, band, end))
        return group(parts, self.name)

    def _band(self, axis: Axis, top_px: float, band: Band, next_px: float) -> str:
        left, right = axis.x(band.from_khz), axis.x(band.to_khz)
        edge = MADDER if band.fill == "closed" else INK
        width = max(2.0, right - left)
        inside = [
            element("rect", x=left, y=top_px + 3.0, width=width, height=self.tall_px - 6.0, fill=PAPER),
            element(
                "rect", x=left, y=top_px + 3.0, width=width, height=self.tall_px - 6.0, fill=FILLS[band.fill],
                stroke=edge, stroke_width=1.0,
            ),
        ]  # fmt: skip
        inside.append(self._label(band, left, left + width, top_px + self.tall_px / 2.0 + 4.5, next_px))
        return group(inside, band.says or f"{band.label} {band.from_khz / 1e3:g} to {band.to_khz / 1e3:g} MHz")

    def _label(self, band: Band, left: float, right: float, base: float, next_px: float) -> str:
        """The label inside its band, or beside a narrow one where there is room; else none."""
        room = width_of(band.label, 13)
        if not band.label or (room > right - left - 6.0 and right + room + 8.0 > next_px):
            return ""
        if room > right - left - 6.0:
            return words(right + 4.0, base, band.label, size=13)
        middle = (left + right) / 2.0
        text = words(
            middle, base, band.label, size=13, anchor="middle", fill=PAPER if band.fill == "solid" else INK
        )
        if band.fill not in ("doubt", "closed"):
            return text
        return element("rect", x=middle - room / 2 - 3, y=base - 12, width=room + 6, height=15.0, fill=PAPER) + text

    def _rows(self, axis: Axis) -> list[list[Band]]:
        """The bands in as few rows as they need not to cover one another."""
        rows: list[list[Band]] = []
        visible = [one for one in self.bands if one.to_khz > axis.from_khz and one.from_khz < axis.to_khz]
        for band in sorted(visible, key=lambda one: (one.from_khz, one.to_khz)):
            row = next((row for row in rows if row[-1].to_khz <= band.from_khz + 1e-6), None)
            if row is None:
                rows.append([band])
            else:
                row.append(band)
        return rows


@dataclass(frozen=True)
class Pin:
    """A carrier: where [kHz], how tall (0..1), its label, hollow for a spare, half for one not always on."""

    khz: float
    share: float = 1.0
    label: str = ""
    head: Head = "full"
    width_khz: float = 0.0
    says: str = ""


@dataclass(frozen=True)
class Pins:
    """Carriers as pins: others', or ours with hollow spares. Labels are set for those that have room."""

    name: str
    pins: tuple[Pin, ...]
    tall_px: float = 92.0

    def height_px(self, axis: Axis) -> float:  # noqa: ARG002
        """How tall the lane is [px]."""
        return self.tall_px

    def draw(self, axis: Axis, top_px: float) -> str:
        """The lane as SVG."""
        visible = [pin for pin in self.pins if axis.covers(pin.khz)]
        if not visible:
            return _empty(axis, top_px, self.tall_px, "nothing here")
        base = top_px + self.tall_px - 2.0
        parts = [
            element("line", x1=axis.left_px, x2=axis.right_px, y1=base, y2=base, stroke=FAINT, stroke_width=1.0)
        ]
        labelled, labels = self._labels(axis, base, visible)
        crowded = len(visible) > MOST_HEADS
        parts += [self._pin(axis, base, pin, not crowded or pin in labelled) for pin in visible]
        return group([*parts, *labels], self.name)

    def _head_y(self, base: float, pin: Pin) -> float:
        return base - 12.0 - (self.tall_px - 36.0) * min(1.0, max(0.0, pin.share))

    def _pin(self, axis: Axis, base: float, pin: Pin, with_head: bool) -> str:
        x, y, radius = axis.x(pin.khz), self._head_y(base, pin), 4.0
        parts = [element("line", x1=x, x2=x, y1=base, y2=y, stroke=INK, stroke_width=1.4)]
        if pin.width_khz > 0.0:
            left, right = axis.x(pin.khz - pin.width_khz / 2.0), axis.x(pin.khz + pin.width_khz / 2.0)
            wide = max(1.4, right - left)
            parts.append(element("rect", x=x - wide / 2.0, y=base - 5.0, width=wide, height=5.0, fill=INK))
        says = pin.says or f"{pin.label} {pin.khz / 1e3:.3f} MHz"
        if not with_head:
            return group(parts, says)
        fill = INK if pin.head == "full" else PAPER
        parts.append(element("circle", cx=x, cy=y, r=radius, fill=fill, stroke=INK, stroke_width=1.4))
        if pin.head == "half":
            d = f"M{number(x)} {number(y - radius)}a{radius:g} {radius:g} 0 0 0 0 {2 * radius:g}z"
            parts.append(element("path", d=d, fill=INK))
        return group(parts, says)

    def _labels(self, axis: Axis, base: float, visible: Sequence[Pin]) -> tuple[list[Pin], list[str]]:
        """The pins with a label over their heads, the tallest first, where none runs into another; the labels."""
        taken: list[tuple[float, float, float]] = []
        parts, labelled = [], []
        for pin in sorted(visible, key=lambda one: -one.share):
            half = width_of(pin.label, LEAST_PX) / 2.0 + 3.0
            x = min(max(axis.x(pin.khz), axis.left_px + half), axis.right_px - half)
            y = self._head_y(base, pin) - 8.0
            heads = [(axis.x(one.khz), self._head_y(base, one)) for one in visible if one is not pin]
            hits_head = any(abs(hx - x) < half + 3.0 and hy - 5.0 < y + 3.0 for hx, hy in heads)
            hits_label = any(abs(tx - x) < half + th and abs(ty - y) < 14.0 for tx, th, ty in taken)
            if pin.label and not hits_head and not hits_label:
                taken.append((x, half, y))
                labelled.append(pin)
                parts.append(words(x, y, pin.label, size=LEAST_PX, anchor="middle"))
        return labelled, parts


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
