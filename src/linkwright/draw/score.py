"""The score: lanes under each other on one frequency axis, with the answer as a sentence at the top."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from linkwright.draw.axis import Axis, grid
from linkwright.draw.ink import BODY_PX, FAINT, HEAD_PX, INK, LEAST_PX, MADDER, PAPER, SOFT
from linkwright.draw.lanes import Lane, Levels
from linkwright.draw.svg import element, escape, hatch, words, wrapped

#: Widths [px] of the picture, and of the margins that hold the lanes' names and scales.
WIDTH_PX = 1200.0
LEFT_PX = 150.0
RIGHT_PX = 28.0
#: Room between lanes [px].
BETWEEN_PX = 14.0


@dataclass(frozen=True)
class Score:
    """A picture: its answer, what stands under that, the band [kHz], the lanes, and notes at the foot."""

    says: str
    under: str
    from_khz: float
    to_khz: float
    lanes: tuple[Lane, ...]
    notes: tuple[str, ...] = ()


def drawn(score: Score, tall_px: float = 0.0) -> str:
    """The score as one SVG document; where it would be less tall than said, what was measured is drawn taller."""
    axis = Axis(score.from_khz, score.to_khz, LEFT_PX, WIDTH_PX - RIGHT_PX)
    parts, height = _laid(score, axis, BETWEEN_PX)
    if height < tall_px:
        measured = sum(isinstance(lane, Levels) for lane in score.lanes)
        if measured:
            more = (tall_px - height) / measured
            lanes = tuple(
                replace(lane, tall_px=lane.tall_px + more) if isinstance(lane, Levels) else lane
                for lane in score.lanes
            )
            parts, height = _laid(replace(score, lanes=lanes), axis, BETWEEN_PX)
        else:
            parts, height = _laid(score, axis, BETWEEN_PX + (tall_px - height) / max(1, len(score.lanes)))
    return _document(parts, score, height)


def _laid(score: Score, axis: Axis, between_px: float) -> tuple[list[str], float]:
    """The parts of the score from its head down, and how tall it is [px]."""
    room = WIDTH_PX - 2 * RIGHT_PX
    parts: list[str] = []
    y = 20.0
    for line in wrapped(score.says, room, HEAD_PX):
        y += HEAD_PX + 5
        parts.append(words(RIGHT_PX, y, line, size=HEAD_PX))
    for line in wrapped(score.under, room, BODY_PX):
        y += BODY_PX + 6
        parts.append(words(RIGHT_PX, y, line, size=BODY_PX, fill=SOFT))
    top = y + 26.0
    tops, y = [], top
    for lane in score.lanes:
        tops.append(y)
        y += max(lane.height_px(axis), 17.0 * len(_name_lines(lane))) + between_px
    bottom = y - between_px / 2.0
    parts.append(grid(axis, top - 4.0, bottom))
    for lane, lane_top in zip(score.lanes, tops, strict=True):
        parts.append(_name(lane, axis, lane_top))
        parts.append(lane.draw(axis, lane_top))
    y = bottom + 36.0
    for note in score.notes:
        for line in wrapped(note, room, LEAST_PX):
            y += 19.0
            parts.append(words(RIGHT_PX, y, line, size=LEAST_PX, fill=SOFT))
    return parts, y + 22.0


def _name_lines(lane: Lane) -> list[str]:
    """The name in lines that leave room for a scale beside them."""
    return wrapped(lane.name, LEFT_PX - RIGHT_PX - 42.0, BODY_PX)


def _name(lane: Lane, axis: Axis, top_px: float) -> str:
    """The lane's name in the margin, and a line over the lane."""
    over = top_px - BETWEEN_PX / 2.0
    parts = [element("line", x1=RIGHT_PX, x2=axis.right_px, y1=over, y2=over, stroke=FAINT, stroke_width=1.0)]
    parts += [
        words(RIGHT_PX, top_px + 14.0 + 17.0 * n, line, size=BODY_PX) for n, line in enumerate(_name_lines(lane))
    ]
    return "".join(parts)


def _document(parts: Sequence[str], score: Score, height_px: float) -> str:
    head = [
        element("title", escape(score.says), id="says"),
        element("desc", escape(" ".join(filter(None, [score.under, *score.notes]))), id="more"),
        element(
            "defs",
            hatch("unlooked", FAINT, 7.0) + hatch("doubt", INK, 6.0, 1.0) + hatch("closed", MADDER, 6.0, 1.4),
        ),
        element("rect", width=WIDTH_PX, height=height_px, fill=PAPER),
    ]
    svg = element(
        "svg",
        "".join([*head, *parts]),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {WIDTH_PX:g} {height_px:g}",
        width=WIDTH_PX,
        height=height_px,
        role="img",
        aria_labelledby="says more",
        color=INK,
    )
    return svg + "\n"
