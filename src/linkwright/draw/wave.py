"""A track as a waveform: lowest to highest of each column in one filled shape, with its faults marked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.draw.axis import ticks
from linkwright.draw.ink import FAINT, INK, LEAST_PX, MADDER, OCHRE, PAPER, SOFT
from linkwright.draw.svg import document, element, escape, hatch, number, width_of, words
from linkwright.units import FloatArray

TALL_PX: Final = 120.0
TOP_PX: Final = 22.0
FOOT_PX: Final = 22.0
#: Smallest width of a mark [px], so that a fault of milliseconds in an hour is seen.
MARK_PX: Final = 2.0


@dataclass(frozen=True)
class FaultMark:
    """A fault from `at_s` for `length_s` [s]: its kind, and whether it is certain (solid) or suspect (hatched)."""

    at_s: float
    length_s: float
    kind: str
    certain: bool


@dataclass(frozen=True, eq=False)
class Wave:
    """What is drawn: lowest and highest of each column, (n,) each, full scale 1, from and to [s], and the marks."""

    says: str
    low: FloatArray
    high: FloatArray
    from_s: float
    to_s: float
    marks: tuple[FaultMark, ...] = ()


def drawn_wave(wave: Wave, width_px: float = 720.0, tall_px: float = TALL_PX) -> str:
    """The waveform as one SVG, scaled to its own peak, which is told in words elsewhere."""
    foot = tall_px - FOOT_PX
    middle, half = (TOP_PX + foot) / 2.0, (foot - TOP_PX) / 2.0
    most = float(max(np.max(np.abs(wave.low), initial=0.0), np.max(np.abs(wave.high), initial=0.0))) or 1.0
    span = max(wave.to_s - wave.from_s, 1e-9)

    def x(second: float) -> float:
        return width_px * min(1.0, max(0.0, (second - wave.from_s) / span))

    parts = [element("rect", width=width_px, height=tall_px, fill=PAPER)]
    for mark in wave.marks:
        at, end = x(mark.at_s), x(mark.at_s + mark.length_s)
        title = element("title", escape(f"{mark.kind} at {mark.at_s:.3f} s, {1000.0 * mark.length_s:.1f} ms"))
        fill = MADDER if mark.certain else "url(#suspect)"
        wide = max(end - at, MARK_PX)
        parts.append(element("rect", title, x=at, y=TOP_PX, width=wide, height=foot - TOP_PX, fill=fill,
                             fill_opacity=0.45 if mark.certain else None))  # fmt: skip
        parts.append(element("line", x1=at, x2=at, y1=TOP_PX - 5.0, y2=TOP_PX, stroke=MADDER, stroke_width=2.0))
    step = width_px / max(wave.low.size, 1)
    tops = [
        f"{number(step * (n + 0.5))} {number(middle - half * float(v) / most)}" for n, v in enumerate(wave.high)
    ]
    feet = [
        f"{number(step * (n + 0.5))} {number(middle - half * float(v) / most + 0.6)}"
        for n, v in enumerate(wave.low)
    ]
    if tops:
        parts.append(element("path", d="M" + "L".join([*tops, *reversed(feet)]) + "z", fill=INK))
    parts.append(element("line", x1=0.0, x2=width_px, y1=middle, y2=middle, stroke=SOFT, stroke_width=0.5))
    parts += _kinds(wave.marks, x, width_px)
    marks_s = ticks(wave.from_s, wave.to_s, max(3, int(width_px / 120.0)))
    digits = 0 if all(second == round(second) for second in marks_s) else 1 if span >= 5.0 else 2
    for second in marks_s:
        at = x(second)
        parts.append(element("line", x1=at, x2=at, y1=foot, y2=foot + 4.0, stroke=INK, stroke_width=1.0))
        anchor = "start" if at < 24.0 else "end" if at > width_px - 24.0 else "middle"
        parts.append(words(at, tall_px - 6.0, _clock(second, digits), size=LEAST_PX, anchor=anchor))
    parts.append(element("line", x1=0.0, x2=width_px, y1=foot, y2=foot, stroke=FAINT, stroke_width=1.0))
    return document(wave.says, parts, width_px, tall_px, hatch("suspect", OCHRE, 5.0, 1.4))


def _kinds(marks: Sequence[FaultMark], x: object, width_px: float) -> list[str]:
    """The kinds over their marks, as far as there is room."""
    assert callable(x)
    drawn, last = [], -1e9
    for mark in sorted(marks, key=lambda fault: fault.at_s):
        at, wide = x(mark.at_s), width_of(mark.kind, LEAST_PX)
        begins = min(at, width_px - wide - 2.0)
        if begins > last + 8.0:
            drawn.append(words(begins, TOP_PX - 8.0, mark.kind, size=LEAST_PX))
            last = begins + wide
    return drawn


def _clock(second: float, digits: int) -> str:
    """Minutes and seconds with so many digits."""
    minutes, rest = divmod(round(second, digits), 60)
    return f"{minutes:.0f}:{rest:0{3 + digits if digits else 2}.{digits}f}"
