"""Stretches of time on an axis: calls and recordings, and the bar of a recording with its faults."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from linkwright.draw.ink import INK, MADDER, PAPER
from linkwright.draw.svg import element, group

#: The bar of a recorded track under its lane, and the room over it [px].
TRACK_PX: Final = 10.0
TRACK_GAP_PX: Final = 5.0
#: Marks and flags that are drawn of a lane or a strip; the table has all.
MOST_MARKS: Final = 400


@dataclass(frozen=True, slots=True)
class BarSpan:
    """A call or a recording, with the moments of its faults, and whether it is sure where it lies (recordings
    only)."""

    text: str
    from_ms: int
    to_ms: int
    faults: tuple[int, ...] = ()
    sure: bool = True


@dataclass(frozen=True, slots=True)
class TimeAxis:
    """The axis of time between two moments [ms, UTC], from left to right [px]."""

    from_ms: int
    to_ms: int
    left: float
    right: float

    def x(self, at_ms: float) -> float:
        """Where a moment lies, held inside the picture [px]."""
        share = (at_ms - self.from_ms) / max(1, self.to_ms - self.from_ms)
        return self.left + (self.right - self.left) * min(1.0, max(0.0, share))

    def shows(self, from_ms: int, to_ms: int) -> bool:
        """Whether any of a stretch lies in the picture."""
        return to_ms >= self.from_ms and from_ms <= self.to_ms


def sides(span: BarSpan, axis: TimeAxis) -> tuple[float, float]:
    """Where a bar begins and ends [px]; it is never too short to be seen."""
    return axis.x(span.from_ms), max(axis.x(span.to_ms), axis.x(span.from_ms) + 3.0)


def bar(span: BarSpan, axis: TimeAxis, y: float, tall: float, fault: str, faults: str) -> str:
    """A recording or a track of one as a bar with ticks; dashed where it is not sure where it lies."""
    left, right = sides(span, axis)
    dashes = {} if span.sure else {"stroke_dasharray": "6 4"}
    parts = [
        element(
            "rect", x=left, y=y, width=right - left, height=tall, fill=PAPER, stroke=INK, stroke_width=1.5, **dashes
        )
    ]
    for at_ms in span.faults[:MOST_MARKS]:
        if axis.from_ms <= at_ms <= axis.to_ms:
            x = axis.x(at_ms)
            over = 4.0 if tall > TRACK_PX else 2.0
            parts.append(
                element("line", x1=x, x2=x, y1=y - over, y2=y + tall + over, stroke=MADDER, stroke_width=2.0)
            )
    many = len(span.faults)
    return group(parts, f"Recording {span.text}: {many or 'no'} {fault if many == 1 else faults}")
