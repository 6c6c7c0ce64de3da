"""In hand along routes over time: one row a link, all on one axis of seconds and one scale of decibels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from linkwright.draw.axis import ticks
from linkwright.draw.ink import BODY_PX, FAINT, INK, LEAST_PX, MADDER, SOFT
from linkwright.draw.svg import element, group, number, width_of, words, wrapped
from linkwright.units import FloatArray

LEFT_PX = 190.0
EDGE_PX = 28.0
ROW_PX = 84.0
BETWEEN_PX = 26.0
#: A row shows no more than this on either side of nothing [dB].
MOST_DB = 60.0


@dataclass(frozen=True, eq=False)
class Walk:
    """A route over time: a name, seconds (n,), in hand (n,) [dB], and the names of places by their seconds."""

    name: str
    time_s: FloatArray
    in_hand_db: FloatArray
    places: tuple[tuple[float, str], ...] = ()
    says: str = ""


def height_of(walks: Sequence[Walk], row_px: float = ROW_PX) -> float:
    """How tall the drawing is [px]."""
    return 34.0 + len(walks) * (row_px + BETWEEN_PX) + 30.0


def drawn_walks(walks: Sequence[Walk], width_px: float, row_px: float = ROW_PX) -> str:
    """The rows as SVG from the top left corner, without a document about them."""
    last_s = max((float(walk.time_s[-1]) for walk in walks), default=1.0) or 1.0
    margins = np.concatenate([walk.in_hand_db for walk in walks])
    low = min(-3.0, max(-MOST_DB, float(np.floor(margins.min() / 5.0) * 5.0)))
    high = max(5.0, min(MOST_DB, float(np.ceil(margins.max() / 5.0) * 5.0)))
    right = width_px - EDGE_PX
    parts = [words(EDGE_PX, 14.0, "In hand along the route", size=BODY_PX)]
    top = 34.0

    def x(time_s: float) -> float:
        return LEFT_PX + (right - LEFT_PX) * time_s / last_s

    for walk in walks:
        parts.append(_row(walk, x, right, top, row_px, low, high))
        top += row_px + BETWEEN_PX
    foot = top - 4.0
    for second in ticks(0.0, last_s, 10):
        parts.append(
            element("line", x1=x(second), x2=x(second), y1=foot, y2=foot + 5, stroke=INK, stroke_width=1.0)
        )
        parts.append(words(x(second), foot + 18, f"{second:g}", size=LEAST_PX, anchor="middle", fill=SOFT))
    parts.append(words(LEFT_PX - 8, foot + 18, "s", size=LEAST_PX, anchor="end", fill=SOFT))
    return "".join(parts)


def _row(walk: Walk, x: object, right: float, top: float, row_px: float, low: float, high: float) -> str:
    """One link: a line of ink, hatching from nothing down to where it does not reach."""
    assert callable(x)
    scale = row_px / (high - low)

    def y(db: float) -> float:
        return top + (high - min(high, max(low, db))) * scale

    parts = [words(EDGE_PX, top + 15 + 17 * n, line) for n, line in enumerate(wrapped(walk.name, 110.0))]
    for db in sorted({0.0, *ticks(low, high, 3)}):
        colour = INK if db == 0.0 else FAINT
        parts.append(element("line", x1=LEFT_PX, x2=right, y1=y(db), y2=y(db), stroke=colour, stroke_width=1.0))
        label = f"{db:g}".replace("-", "\N{MINUS SIGN}") + (" dB" if db == 0.0 else "")
        parts.append(words(LEFT_PX - 8, y(db) + 4, label, size=LEAST_PX, anchor="end", fill=SOFT))
    points = [(x(float(t)), y(float(m))) for t, m in zip(walk.time_s, walk.in_hand_db, strict=True)]
    line = "M" + "L".join(f"{number(a)} {number(b)}" for a, b in points)
    under = np.minimum(walk.in_hand_db, 0.0)
    if (under < 0.0).any():
        back = "L".join(
            f"{number(x(float(t)))} {number(y(float(m)))}"
            for t, m in zip(walk.time_s[::-1], under[::-1], strict=True)
        )
        shut = f"M{number(points[0][0])} {number(y(0.0))}L{number(points[-1][0])} {number(y(0.0))}L{back}z"
        parts.append(element("path", d=shut, fill="url(#unreached)", stroke=MADDER, stroke_width=0.8))
    parts.append(element("path", d=line, fill="none", stroke=INK, stroke_width=2.0, stroke_linejoin="round"))
    last = -np.inf
    for time_s, name in walk.places:
        at = x(time_s)
        parts.append(element("line", x1=at, x2=at, y1=top, y2=top + row_px, stroke=FAINT, stroke_width=1.0))
        anchor = "end" if at + width_of(name, LEAST_PX) > right else "start"
        if at - last > width_of(name, LEAST_PX) + 10:
            shift = -4.0 if anchor == "end" else 4.0
            parts.append(words(at + shift, top + row_px + 14, name, size=LEAST_PX, anchor=anchor, fill=SOFT))
            last = at
    return group(parts, walk.says or f"{walk.name}: in hand along the route")
