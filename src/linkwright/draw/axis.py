"""One frequency axis for all lanes, and the ticks on it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from linkwright.draw.ink import FAINT, INK, LEAST_PX, SOFT
from linkwright.draw.svg import element, width_of, words
from linkwright.units import FloatArray

_STEPS = (1.0, 2.0, 2.5, 5.0)


@dataclass(frozen=True)
class Axis:
    """Frequencies [kHz] between two places of a picture [px]."""

    from_khz: float
    to_khz: float
    left_px: float
    right_px: float

    def __post_init__(self) -> None:
        if not (self.to_khz > self.from_khz and self.right_px > self.left_px):
            raise ValueError(f"no axis: {self.from_khz} to {self.to_khz} kHz")

    @property
    def width_px(self) -> float:
        """How wide it is [px]."""
        return self.right_px - self.left_px

    def x(self, khz: float) -> float:
        """Where a frequency stands [px], kept within the axis."""
        share = (khz - self.from_khz) / (self.to_khz - self.from_khz)
        return self.left_px + self.width_px * min(1.0, max(0.0, share))

    def covers(self, khz: float) -> bool:
        """Whether a frequency lies on the axis."""
        return self.from_khz <= khz <= self.to_khz

    def edges_khz(self) -> FloatArray:
        """(pixels + 1) frequencies at the edges of its pixels [kHz]."""
        return np.linspace(self.from_khz, self.to_khz, round(self.width_px) + 1)


def ticks(low: float, high: float, most: int) -> list[float]:
    """At most `most` round numbers from `low` to `high`."""
    if not high > low or most < 1:
        return []
    least = (high - low) / most
    power = 10.0 ** math.floor(math.log10(least))
    step = next((s * power for s in (*_STEPS, 10.0) if s * power >= least * (1 - 1e-9)), 10.0 * power)
    first = math.ceil(low / step - 1e-9)
    return [n * step for n in range(first, math.floor(high / step + 1e-9) + 1)]


def grid(axis: Axis, top_px: float, bottom_px: float) -> str:
    """Quiet lines through all lanes, and the frequencies in MHz under them."""
    marks = ticks(axis.from_khz / 1e3, axis.to_khz / 1e3, max(2, int(axis.width_px / 78)))
    parts = []
    for mhz in marks:
        x = axis.x(mhz * 1e3)
        parts.append(element("line", x1=x, x2=x, y1=top_px, y2=bottom_px, stroke=FAINT, stroke_width=1.0))
        parts.append(element("line", x1=x, x2=x, y1=bottom_px, y2=bottom_px + 5, stroke=INK, stroke_width=1.0))
        text = f"{mhz:.6g}"
        if x + width_of(text) / 2.0 <= axis.right_px + 20:
            parts.append(words(x, bottom_px + 19, text, size=13, anchor="middle"))
    parts.append(
        element("line", x1=axis.left_px, x2=axis.right_px, y1=bottom_px, y2=bottom_px, stroke=INK, stroke_width=1.0)
    )
    parts.append(words(axis.left_px - 30, bottom_px + 19, "MHz", size=LEAST_PX, anchor="end", fill=SOFT))
    return "".join(parts)
