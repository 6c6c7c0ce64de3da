"""When each path's sound comes: a bar a path of what it waits for, and the delay that brings it level."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from linkwright.draw.axis import ticks
from linkwright.draw.ink import FAINT, INK, LEAST_PX, PAPER, SOFT
from linkwright.draw.svg import document, element, escape, hatch, width_of, words, wrapped

ROW_PX: Final = 34.0
BAR_PX: Final = 16.0
TOP_PX: Final = 8.0
KEY_PX: Final = 26.0
#: How parts of the latency are filled, in turn, so that neighbours differ in print too.
FILLS: Final = (FAINT, INK, SOFT, PAPER)


@dataclass(frozen=True)
class SoundPath:
    """One path: its name, its parts (name, ms) in order, the delay to set on it [ms]."""

    name: str
    parts: tuple[tuple[str, float], ...]
    delay_ms: float


def drawn_arrivals(says: str, arrivals: Sequence[SoundPath], width_px: float = 720.0) -> str:
    """The bars as one SVG, over an axis of milliseconds after the lips moved."""
    names = min(180.0, 0.3 * width_px)
    last = max((sum(ms for _, ms in arrival.parts) + arrival.delay_ms for arrival in arrivals), default=1.0) or 1.0
    kinds = list(dict.fromkeys(what for arrival in arrivals for what, _ in arrival.parts))
    fills = {what: FILLS[k % len(FILLS)] for k, what in enumerate(kinds)} | {"delay to set": "url(#delay)"}
    axis = TOP_PX + ROW_PX * len(arrivals) + 26.0
    key, tall = _key(fills, width_px, axis + 10.0)
    scale = (width_px - names - 56.0) / last
    foot = axis - 24.0
    parts = [element("rect", width=width_px, height=tall, fill=PAPER), *key]
    for ms in ticks(0.0, last, max(3, int(width_px / 110.0))):
        at = names + ms * scale
        parts.append(element("line", x1=at, x2=at, y1=TOP_PX, y2=foot, stroke=FAINT, stroke_width=1.0))
        parts.append(words(at, axis - 8.0, f"{ms:g}", size=LEAST_PX, anchor="middle"))
    parts.append(words(width_px - 6.0, axis - 8.0, "ms", size=LEAST_PX, anchor="end", fill=SOFT))
    for n, arrival in enumerate(arrivals):
        top = TOP_PX + ROW_PX * n
        shown = wrapped(arrival.name, names - 12.0, LEAST_PX)
        parts.append(words(names - 8.0, top + 14.0, shown[0] if shown else "", size=LEAST_PX, anchor="end"))
        at = names
        for what, ms in arrival.parts:
            title = element("title", escape(f"{arrival.name}: {what} {ms:.2f} ms"))
            parts.append(element("rect", title, x=at, y=top + 2.0, width=max(ms * scale, 0.5), height=BAR_PX,
                                 fill=fills[what], stroke=INK, stroke_width=1.0))  # fmt: skip
            at += ms * scale
        if arrival.delay_ms > 0.005:
            title = element("title", escape(f"{arrival.name}: delay to set {arrival.delay_ms:.2f} ms"))
            parts.append(element("rect", title, x=at, y=top + 2.0, width=arrival.delay_ms * scale, height=BAR_PX,
                                 fill="url(#delay)", stroke=INK, stroke_width=1.0))  # fmt: skip
            label = f"+{arrival.delay_ms:.1f}"
            end = at + arrival.delay_ms * scale
            room = width_px - end > width_of(label, LEAST_PX) + 6.0
            parts.append(words(end + 4.0 if room else end - 4.0, top + 14.0, label, size=LEAST_PX,
                               anchor="start" if room else "end"))  # fmt: skip
    return document(says, parts, width_px, tall, hatch("delay", INK, 6.0, 1.0))


def _key(fills: Mapping[str, str], width_px: float, top: float) -> tuple[list[str], float]:
    """What each fill stands for, in as many rows as the width asks for; and where they end [px]."""
    parts, at = [], 8.0
    for what, fill in fills.items():
        wide = BAR_PX + 6.0 + width_of(what, LEAST_PX)
        if at > 8.0 and at + wide > width_px - 8.0:
            at, top = 8.0, top + KEY_PX
        parts += [
            element("rect", x=at, y=top, width=BAR_PX, height=BAR_PX, fill=fill, stroke=INK, stroke_width=1.0),
            words(at + BAR_PX + 6.0, top + 13.0, what, size=LEAST_PX),
        ]
        at += wide + 22.0
    return parts, top + KEY_PX
