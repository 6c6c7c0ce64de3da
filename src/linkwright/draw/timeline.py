"""What happened, on one axis of time: calls, levels of every link, episodes, takes, notes, and recordings.

A lane is one link: branch A from its lowest to its highest level filled, branch B outlined; a gap in the readings
is hatched, never bridged. An episode is a mark whose shape is its cause, with the word where there is room.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.draw.bars import (
    EDGE_PX,
    MOST_MARKS,
    TEXT_PX,
    TRACK_GAP_PX,
    TRACK_PX,
    BarSpan,
    TimeAxis,
    bar,
    hour_lines,
    sides,
)
from linkwright.draw.ink import INK, MADDER, OCHRE, PAPER, SOFT
from linkwright.draw.svg import element, escape, group, hatch, number, width_of, words, wrapped
from linkwright.lengths import duration
from linkwright.watch.diagnose.causes import CAUSES
from linkwright.watch.diagnose.episodes import DiagnosedEpisode, moment
from linkwright.watch.figures.outline import Envelope
from linkwright.watch.figures.statistics import Between

NAMES_PX: Final = 150.0
#: Below this width names stand over their lanes [px].
NARROW_PX: Final = 640.0
#: A lane: its strip of marks, its levels, the room under it [px].
MARKS_PX: Final = 26.0
LEVELS_PX: Final = 72.0
UNDER_PX: Final = 12.0
NAME_LINE_PX: Final = 24.0
FLAG_ROWS: Final = 3
ROW_PX: Final = 24.0
AXIS_PX: Final = 30.0
#: Over more time than this, what nobody heard is a tick without a shape [ms].
NEAR_MS: Final = 30 * 60_000
#: Other faces than the one that is counted with are wider.
WIDE: Final = 1.2


@dataclass(frozen=True, eq=False, slots=True)
class LinkLane:
    """A link: its levels, where it has no readings, when it failed, the level that it needs [dBm], if known, and
    the recorded tracks of it."""

    link: str
    levels: Envelope
    gaps: tuple[Between, ...] = ()
    episodes: tuple[DiagnosedEpisode, ...] = ()
    needed_dbm: float | None = None
    tracks: tuple[BarSpan, ...] = ()


@dataclass(frozen=True, slots=True)
class MomentFlag:
    """A take, a note, a switch, cells changed: one moment with a few words."""

    at_ms: int
    kind: str
    text: str


@dataclass(frozen=True, eq=False, slots=True)
class Timeline:
    """What is drawn between two times [ms, UTC], on the clock of a zone."""

    from_ms: int
    to_ms: int
    zone: datetime.tzinfo
    calls: tuple[BarSpan, ...] = ()
    lanes: tuple[LinkLane, ...] = ()
    flags: tuple[MomentFlag, ...] = ()
    recordings: tuple[BarSpan, ...] = ()


def drawn_timeline(timeline: Timeline, says: str, width_px: float = 1200.0) -> str:
    """The time line as one SVG; `says` is what it shows, in words."""
    narrow = width_px < NARROW_PX
    axis = TimeAxis(timeline.from_ms, timeline.to_ms, EDGE_PX if narrow else NAMES_PX, width_px - EDGE_PX)
    range_dbm = _range(timeline.lanes)
    y = EDGE_PX
    parts: list[str] = []
    for line in wrapped(_legend(timeline, range_dbm), (width_px - 2 * EDGE_PX) / WIDE, TEXT_PX):
        y += 20.0
        parts.append(words(EDGE_PX, y, line, size=TEXT_PX, fill=SOFT))
    drawn, y = _key(timeline, width_px, y)
    parts.append(drawn)
    top = y = y + 10.0
    drawn, y = _calls(timeline, axis, y)
    parts.append(drawn)
    drawn, y, poles = _flags(timeline, axis, y, narrow=narrow)
    parts.append(drawn)
    for lane in timeline.lanes:
        drawn, y = _lane(lane, axis, range_dbm, y, narrow=narrow)
        parts.append(drawn)
    for recording in timeline.recordings:
        if axis.shows(recording.from_ms, recording.to_ms):
            drawn, y = _recording(recording, axis, y, narrow=narrow)
            parts.append(drawn)
    lines = [hour_lines(axis, timeline.zone, top, y)]
    lines += [element("line", x1=x, x2=x, y1=at, y2=y, stroke=OCHRE, stroke_width=1.5) for x, at in poles]
    tall = y + AXIS_PX + EDGE_PX
    head = [
        element("title", escape(says)),
        element("defs", hatch("no-readings", SOFT, 7.0, 1.2)),
        element("rect", width=width_px, height=tall, fill=PAPER),
    ]
    return element(
        "svg", "".join([*head, *lines, *parts]), xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {width_px:g} {number(tall)}", width=width_px, height=tall, role="img", aria_label=says,
        color=INK, data_from=timeline.from_ms, data_to=timeline.to_ms, data_left=number(axis.left),
        data_right=number(axis.right),
    )  # fmt: skip


def _range(lanes: Sequence[LinkLane]) -> tuple[float, float]:
    """Round levels under the lowest and over the highest of all lanes [dBm]."""
    low, high = math.inf, -math.inf
    for lane in lanes:
        if np.isfinite(lane.levels.levels).any():
            low, high = (
                min(low, float(np.nanmin(lane.levels.levels))),
                max(high, float(np.nanmax(lane.levels.levels))),
            )
    if low > high:
        return -120.0, -20.0
    return 10.0 * math.floor(low / 10.0), 10.0 * max(math.ceil(high / 10.0), math.floor(low / 10.0) + 1)


def _dbm(level: float) -> str:
    return f"{level:.0f}".replace("-", "\N{MINUS SIGN}")


def _legend(timeline: Timeline, range_dbm: tuple[float, float]) -> str:
    first, last = moment(timeline.from_ms, timeline.zone), moment(timeline.to_ms, timeline.zone)
    day = f"{first:%A %-d %B}" + (f" to {last:%A %-d %B}" if first.date() != last.date() else "")
    if not timeline.lanes:
        return f"{day}. No readings."
    any_tracks = any(lane.tracks for lane in timeline.lanes)
    return (
        f"{day}. Each lane from {_dbm(range_dbm[0])} dBm to {_dbm(range_dbm[1])} dBm: branch A filled, B outlined; "
        "dashed, what the receiver needs; hatched, no readings. A tick alone was not heard."
        + (" A bar under a lane is its track in a recording, with its losses." if any_tracks else "")
        + (
            ""
            if all(recording.sure for recording in timeline.recordings)
            else " A dashed recording lies by its own time stamp."
        )
    )


def _key(timeline: Timeline, width_px: float, top: float) -> tuple[str, float]:
    """Every shape that is drawn with its cause in words, in as many lines as they take; and where they end [px]."""
    drawn = {episode.cause: episode for lane in timeline.lanes for episode in lane.episodes}
    parts, x, y = [], EDGE_PX, top + 22.0
    for cause, episode in sorted(drawn.items()):
        wide = 34.0 + WIDE * width_of(episode.cause_words, TEXT_PX)
        if x + wide > width_px - EDGE_PX and x > EDGE_PX:
            x, y = EDGE_PX, y + 22.0
        parts.append(shape(cause, x + 8.0, y - 6.0, 7.0))
        parts.append(words(x + 20.0, y, episode.cause_words, size=TEXT_PX))
        x += wide
    return "".join(parts), y if parts else top


def _fit(text: str, room: float) -> str:
    most = max(3, int(room / width_of("x", TEXT_PX)))
    return text if len(text) <= most else f"{text[: most - 1]}\N{HORIZONTAL ELLIPSIS}"


def _calls(timeline: Timeline, axis: TimeAxis, top: float) -> tuple[str, float]:
    """Brackets with their names; and where the strip ends [px]."""
    shown = [call for call in timeline.calls if axis.shows(call.from_ms, call.to_ms)]
    if not shown:
        return "", top
    parts = []
    for call in shown:
        left, right = axis.x(call.from_ms), axis.x(call.to_ms)
        text = _fit(call.text, max(40.0, right - left))
        anchor, at = ("end", axis.right) if left + width_of(text, TEXT_PX) > axis.right else ("start", left)
        drawn = [
            words(at, top + 18.0, text, size=TEXT_PX, anchor=anchor),
            element("line", x1=left, x2=right, y1=top + 26.0, y2=top + 26.0, stroke=INK, stroke_width=3.0),
        ]
        for x, moment_ms in ((left, call.from_ms), (right, call.to_ms)):
            if axis.from_ms <= moment_ms <= axis.to_ms:
                drawn.append(
                    element("line", x1=x, x2=x, y1=top + 24.5, y2=top + 36.0, stroke=INK, stroke_width=3.0)
                )
        clocks = " to ".join(f"{moment(at_ms, timeline.zone):%H:%M}" for at_ms in (call.from_ms, call.to_ms))
        parts.append(group(drawn, f"Call {call.text}, {clocks}"))
    return "".join(parts), top + 44.0


def _flags(
    timeline: Timeline, axis: TimeAxis, top: float, *, narrow: bool
) -> tuple[str, float, list[tuple[float, float]]]:
    """Flags in a few rows, words where there is room; where the strip ends, and the poles that go on down [px]."""
    shown = [flag for flag in timeline.flags if axis.shows(flag.at_ms, flag.at_ms)][:MOST_MARKS]
    if not shown:
        return "", top, []
    free = [axis.left] * FLAG_ROWS
    parts, poles, used = [], [], 0
    for mark in sorted(shown, key=lambda flag: flag.at_ms):
        x = axis.x(mark.at_ms)
        text = _fit(mark.text, 130.0 if narrow else 220.0)
        wide = 14.0 + WIDE * width_of(text, TEXT_PX)
        begins = min(x, axis.right - wide)
        row = next((n for n, at in enumerate(free) if at <= begins), None)
        y = top + ROW_PX * (0 if row is None else row)
        poles.append((x, y + 4.0))
        told = f"{moment(mark.at_ms, timeline.zone):%H:%M:%S} {mark.kind}: {mark.text}"
        if row is None:
            parts.append(group([element("rect", x=x - 3.0, y=y, width=6.0, height=6.0, fill=OCHRE)], told))
            continue
        used, free[row] = max(used, row + 1), begins + wide + 8.0
        drawn = [
            element("rect", x=begins + 12.0, y=y + 3.0, width=wide - 12.0, height=18.0, fill=PAPER),
            words(begins + 14.0, y + 17.0, text, size=TEXT_PX),
        ]
        pennant = f"M{number(x)} {number(y + 4)}l11 5l-11 5z"
        parts.append(group([element("path", d=pennant, fill=OCHRE), *drawn], told))
    return "".join(parts), top + ROW_PX * max(1, used) + 8.0, poles


def _lane(
    lane: LinkLane, axis: TimeAxis, range_dbm: tuple[float, float], top: float, *, narrow: bool
) -> tuple[str, float]:
    """One link; and where its lane ends [px]."""
    upper = top + MARKS_PX + (NAME_LINE_PX if narrow else 0.0)
    lower = upper + LEVELS_PX
    name = _fit(lane.link, axis.right - axis.left if narrow else NAMES_PX - 24.0)
    at = (EDGE_PX, top + 18.0) if narrow else (EDGE_PX, (upper + lower) / 2.0 + 5.0)
    parts = [
        words(*at, name, size=TEXT_PX),
        element("line", x1=axis.left, x2=axis.right, y1=lower, y2=lower, stroke=SOFT, stroke_width=1.0),
    ]
    low, high = range_dbm

    def y(level: float) -> float:
        return lower - LEVELS_PX * (level - low) / (high - low)

    for gap in lane.gaps:
        if axis.shows(gap.from_ms, gap.to_ms):
            x = axis.x(gap.from_ms)
            wide = max(2.0, axis.x(gap.to_ms) - x)
            title = element("title", f"no readings for {duration(gap.length_s)}")
            parts.append(
                element("rect", title, x=x, y=upper, width=wide, height=LEVELS_PX, fill="url(#no-readings)")
            )
    for path in _envelopes(lane, axis, y, 2):
        parts.append(element("path", d=path, fill="none", stroke=OCHRE, stroke_width=1.4))
    for path in _envelopes(lane, axis, y, 0):
        parts.append(element("path", d=path, fill=INK, fill_opacity=0.72, stroke=INK, stroke_width=0.6))
    if lane.needed_dbm is not None and low <= lane.needed_dbm <= high:
        at_y = y(lane.needed_dbm)
        parts.append(element("line", x1=axis.left, x2=axis.right, y1=at_y, y2=at_y, stroke=MADDER, stroke_width=1.2,
                             stroke_dasharray="6 5"))  # fmt: skip
    parts.append(_marks(lane, axis, upper))
    drawn, lower = _tracks(lane, axis, lower)
    parts.append(drawn)
    many = len(lane.episodes)
    told = f"{lane.link}: {many or 'no'} episode{'s' if many != 1 else ''}"
    return group(parts, told), lower + UNDER_PX


def _tracks(lane: LinkLane, axis: TimeAxis, top: float) -> tuple[str, float]:
    """The recorded tracks of a link as bars with their losses as ticks, in as few rows as keep them apart; and
    where they end [px]."""
    parts, ends = [], list[float]()
    for span in sorted(lane.tracks, key=lambda track: track.from_ms):
        if not axis.shows(span.from_ms, span.to_ms):
            continue
        left, right = sides(span, axis)
        row = next((n for n, end in enumerate(ends) if end <= left), len(ends))
        ends[row : row + 1] = [right + 2.0]
        parts.append(
            bar(span, axis, top + TRACK_GAP_PX + row * (TRACK_PX + TRACK_GAP_PX), TRACK_PX, "loss", "losses")
        )
    return "".join(parts), top + len(ends) * (TRACK_PX + TRACK_GAP_PX)


def _envelopes(lane: LinkLane, axis: TimeAxis, y: object, column: int) -> list[str]:
    """Paths around a branch's lowest and highest levels, one for each piece without a gap."""
    assert callable(y)
    levels = lane.levels
    seen = np.isfinite(levels.levels[:, column])
    at, values = levels.at_ms[seen], levels.levels[seen]
    if not at.size:
        return []
    cut = np.zeros(at.size, dtype=np.bool_)
    for gap in lane.gaps:
        first = int(np.searchsorted(at + levels.step_ms, gap.to_ms, side="right"))
        if gap.to_ms - gap.from_ms > levels.step_ms and 0 < first < at.size:
            cut[first] = True
    pieces = np.split(np.arange(at.size), np.flatnonzero(cut))
    paths = []
    for piece in (part for part in pieces if part.size):
        xs = [axis.x(int(at[n])) for n in piece.tolist()] + [axis.x(int(at[piece[-1]]) + levels.step_ms)]
        tops = [y(float(values[n, column + 1])) for n in piece.tolist()]
        feet = [y(float(values[n, column])) for n in piece.tolist()]
        over = [f"{number(x)} {number(v)}" for x, v in zip(xs, [*tops, tops[-1]], strict=True)]
        under = [f"{number(x)} {number(v)}" for x, v in zip(xs, [*feet, feet[-1]], strict=True)]
        paths.append("M" + "L".join([*over, *reversed(under)]) + "z")
    return paths


def _marks(lane: LinkLane, axis: TimeAxis, upper: float) -> str:
    """The episodes: the time that they took in the lane, a shape and the word over it."""
    parts, free = [], axis.left - 20.0
    seen = [episode for episode in lane.episodes if axis.shows(episode.from_ms, episode.to_ms)]
    near = axis.to_ms - axis.from_ms <= NEAR_MS
    shown = [episode for episode in seen if episode.heard or near][:MOST_MARKS]
    for episode in [episode for episode in seen if not episode.heard and not near][:MOST_MARKS]:
        x = axis.x(episode.from_ms)
        tick = element("line", x1=x, x2=x, y1=upper - 1.0, y2=upper + 7.0, stroke=OCHRE, stroke_width=2.0)
        parts.append(group([tick], f"{duration(episode.length_s)}: {episode.cause_words}, not heard"))
    places = [_middle(episode, axis) for episode in shown]
    following = [*places, axis.right + 20.0][1:]
    lower = upper + LEVELS_PX
    for episode, x, after in zip(shown, places, following, strict=True):
        left, right = axis.x(episode.from_ms), axis.x(episode.to_ms)
        ink = MADDER if episode.heard else OCHRE
        wide = max(3.0, right - left)
        drawn = [
            element("rect", x=left, y=upper, width=wide, height=LEVELS_PX, fill=ink, fill_opacity=0.35),
            element("line", x1=left, x2=left, y1=upper - 6.0, y2=lower, stroke=ink, stroke_width=1.5),
        ]
        drawn.append(shape(episode.cause, x, upper - 14.0, 8.0, ink))
        text = episode.cause.replace("-", " ")
        if x + 13.0 + WIDE * width_of(text, TEXT_PX) <= min(axis.right, after - 14.0) and x - 10.0 >= free:
            drawn.append(words(x + 13.0, upper - 8.0, text, size=TEXT_PX, fill=ink))
            free = x + 18.0 + WIDE * width_of(text, TEXT_PX)
        elif x - 14.0 - WIDE * width_of(text, TEXT_PX) >= free:
            drawn.append(words(x - 13.0, upper - 8.0, text, size=TEXT_PX, fill=ink, anchor="end"))
            free = x + 12.0
        else:
            free = max(free, x + 12.0)
        sure = f"({100 * episode.probability:.0f} %){'' if episode.heard else ', not heard'}"
        told = f"{episode.link}, {duration(episode.length_s)}: {episode.cause_words} {sure}"
        parts.append(group(drawn, told))
    return "".join(parts)


def _middle(episode: DiagnosedEpisode, axis: TimeAxis) -> float:
    """Where an episode's mark stands [px]."""
    middle = (axis.x(episode.from_ms) + axis.x(episode.to_ms)) / 2.0
    return min(max(middle, axis.left + 9.0), axis.right - 9.0)


def shape(cause: str, x: float, y: float, half_px: float, ink: str = MADDER) -> str:
    """The mark of a cause about a point [px]."""
    row = CAUSES.get(cause, CAUSES["unknown"])
    return element(
        "path", d=row.mark, transform=f"translate({number(x)} {number(y)}) scale({number(half_px)})",
        fill=ink if row.filled else "none", stroke=ink, stroke_width=0.25,
    )  # fmt: skip


def _recording(span: BarSpan, axis: TimeAxis, top: float, *, narrow: bool) -> tuple[str, float]:
    """A recording as a bar with its faults as ticks; and where it ends [px]."""
    y = top + (NAME_LINE_PX if narrow else 8.0)
    name = _fit(span.text, axis.right - axis.left if narrow else NAMES_PX - 24.0)
    at = (EDGE_PX, top + 17.0) if narrow else (EDGE_PX, y + 12.0)
    return words(*at, name, size=TEXT_PX) + bar(span, axis, y, 14.0, "fault", "faults"), y + 14.0 + UNDER_PX
