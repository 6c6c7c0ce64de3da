"""Stretches of time on an axis: its hours, calls and recordings, and the bar of a recording with its faults."""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass
from typing import Final

from linkwright.draw.ink import FAINT, INK, MADDER, PAPER, SOFT
from linkwright.draw.svg import element, group, width_of, words
from linkwright.watch.diagnose.episodes import moment

TEXT_PX: Final = 16
EDGE_PX: Final = 14.0

#: The bar of a recorded track under its lane, and the room over it [px].
TRACK_PX: Final = 10.0
TRACK_GAP_PX: Final = 5.0
#: Marks and flags that are drawn of a lane or a strip; the table has all.
MOST_MARKS: Final = 400
#: Steps between times on the axis [s].
STEPS_S: Final = (
    0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400,
)  # fmt: skip


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


def hour_lines(axis: TimeAxis, zone: datetime.tzinfo, top: float, foot: float) -> str:
    """Quiet lines at round times of a zone, printed under them."""
    span_s = max(0.001, (axis.to_ms - axis.from_ms) / 1000.0)
    wide = 100.0 if span_s < 20.0 else 86.0 if span_s < 900.0 else 66.0
    most = max(2, int((axis.right - axis.left) / wide))
    step_s = next((step for step in STEPS_S if span_s / step <= most), 86400 * math.ceil(span_s / most / 86400))
    midnight = moment(axis.from_ms, zone).replace(hour=0, minute=0, second=0, microsecond=0)
    base = round(midnight.timestamp() * 1000.0)
    step_ms = round(1000 * step_s)
    at = base + math.ceil((axis.from_ms - base) / step_ms) * step_ms
    parts = [element("line", x1=axis.left, x2=axis.right, y1=foot, y2=foot, stroke=INK, stroke_width=1.0)]
    while at <= axis.to_ms:
        x, shown = axis.x(at), moment(at, zone)
        label = f"{shown:%H:%M}" if step_s >= 60 else f"{shown:%H:%M:%S}"
        if step_s < 1:
            label += f".{shown.microsecond // 100_000}"
        half = width_of(label, TEXT_PX) / 2.0
        anchor = "start" if x - half < 2.0 else "end" if x + half > axis.right + EDGE_PX else "middle"
        parts.append(element("line", x1=x, x2=x, y1=top, y2=foot + 5.0, stroke=FAINT, stroke_width=1.0))
        parts.append(words(x, foot + 22.0, label, size=TEXT_PX, anchor=anchor, fill=SOFT))
        at += step_ms
    return "".join(parts)


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
