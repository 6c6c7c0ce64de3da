"""Curves over a logarithmic axis of frequency: low-cut steps over a voice and its noise, and combs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from linkwright.draw.axis import ticks
from linkwright.draw.ink import FAINT, INK, LEAST_PX, PAPER, SOFT
from linkwright.draw.svg import document, element, escape, hatch, number, width_of, words
from linkwright.units import FloatArray

LEFT_PX: Final = 46.0
TOP_PX: Final = 26.0
FOOT_PX: Final = 40.0
#: How the kinds of curve are drawn: stroke, its width, its dashes.
STROKES: Final = {"chosen": (INK, 3.0, None), "other": (SOFT, 1.0, None), "after": (INK, 1.6, "5 3")}


@dataclass(frozen=True, eq=False)
class Curve:
    """Levels over frequency: (n,) [Hz], (n,) [dB]; `kind` chosen, other, after, or filled (noise, hatched)."""

    name: str
    kind: str
    frequency_hz: FloatArray
    level_db: FloatArray


@dataclass(frozen=True)
class ResponseCurves:
    """What is drawn: the curves, marks at frequencies with a name, the ranges shown."""

    says: str
    curves: tuple[Curve, ...]
    marks: tuple[tuple[float, str], ...]
    range_hz: tuple[float, float]
    range_db: tuple[float, float]
    unit: str = "dB"


def drawn_curves(shown: ResponseCurves, width_px: float = 720.0, tall_px: float = 260.0) -> str:
    """The curves as one SVG."""
    (low_hz, high_hz), (low, high) = shown.range_hz, shown.range_db
    right = width_px - 12.0
    foot = tall_px - FOOT_PX
    octaves = math.log2(high_hz / low_hz)

    def x(hz: float) -> float:
        return LEFT_PX + (right - LEFT_PX) * math.log2(min(max(hz, low_hz), high_hz) / low_hz) / octaves

    def y(db: float) -> float:
        return TOP_PX + (high - min(max(db, low), high)) / (high - low) * (foot - TOP_PX)

    parts = [element("rect", width=width_px, height=tall_px, fill=PAPER)]
    for db in ticks(low, high, 6):
        parts.append(element("line", x1=LEFT_PX, x2=right, y1=y(db), y2=y(db), stroke=FAINT, stroke_width=1.0))
        label = f"{db:g}".replace("-", "\N{MINUS SIGN}")
        parts.append(words(LEFT_PX - 6.0, y(db) + 4.0, label, size=LEAST_PX, anchor="end", fill=SOFT))
    parts.append(words(4.0, TOP_PX - 10.0, shown.unit, size=LEAST_PX, fill=SOFT))
    last = -1e9
    for hz in _frequencies(low_hz, high_hz):
        at = x(hz)
        parts.append(element("line", x1=at, x2=at, y1=TOP_PX, y2=foot, stroke=FAINT, stroke_width=1.0))
        text = f"{hz:g}" if hz < 1000.0 else f"{hz / 1000.0:g} k"
        if at - last > width_of(text, LEAST_PX) + 12.0:
            parts.append(words(at, foot + 16.0, text, size=LEAST_PX, anchor="middle"))
            last = at
    parts.append(words(right, foot + 32.0, "Hz", size=LEAST_PX, anchor="end", fill=SOFT))
    parts += [_drawn(curve, x, y, foot, low) for curve in shown.curves]
    parts += _marks(shown.marks, x, right, foot)
    return document(shown.says, parts, width_px, tall_px, hatch("pauses", SOFT, 6.0, 0.9))


def _drawn(curve: Curve, x: object, y: object, foot: float, low: float) -> str:
    assert callable(x)
    assert callable(y)
    points = [
        f"{number(x(float(hz)))} {number(y(float(db)))}"
        for hz, db in zip(curve.frequency_hz, curve.level_db, strict=True)
        if curve.kind == "filled" or db >= low
    ]
    if not points:
        return ""
    title = element("title", escape(curve.name))
    if curve.kind == "filled":
        shut = f"L{points[-1].split()[0]} {number(foot)}L{points[0].split()[0]} {number(foot)}z"
        return element(
            "path", title, d="M" + "L".join(points) + shut, fill="url(#pauses)", stroke=SOFT, stroke_width=1.0
        )
    stroke, wide, dashes = STROKES[curve.kind]
    return element(
        "path", title, d="M" + "L".join(points), fill="none", stroke=stroke, stroke_width=wide,
        stroke_dasharray=dashes, stroke_linejoin="round",
    )  # fmt: skip


def _marks(marks: Sequence[tuple[float, str]], x: object, right: float, foot: float) -> list[str]:
    """Upright lines with their names over them; a name that would touch the last is left to the title."""
    assert callable(x)
    drawn, last = [], -1e9
    for hz, name in marks:
        at = x(hz)
        line = element("line", element("title", escape(name)), x1=at, x2=at, y1=TOP_PX - 6.0, y2=foot, stroke=INK,
                       stroke_width=1.2, stroke_dasharray="2 3")  # fmt: skip
        drawn.append(line)
        wide = width_of(name, LEAST_PX)
        ends = at + wide + 4.0 > right
        begins = at - wide if ends else at
        if begins > last + 8.0:
            drawn.append(words(at, TOP_PX - 10.0, name, size=LEAST_PX, anchor="end" if ends else "start"))
            last = at if ends else at + wide
    return drawn


def _frequencies(low_hz: float, high_hz: float) -> list[float]:
    """Round frequencies: 1, 2 and 5 of each decade."""
    frequencies = []
    for power in range(math.floor(math.log10(low_hz)), math.ceil(math.log10(high_hz)) + 1):
        frequencies += [n * 10.0**power for n in (1.0, 2.0, 5.0) if low_hz <= n * 10.0**power <= high_hz]
    return frequencies
