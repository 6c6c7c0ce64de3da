"""The day: time runs across; calls are brackets, breaks gaps, links rows, battery changes ticks with their time."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from linkwright.day.batteries import CellChange, Day, LinkDay
from linkwright.day.report import answer, clock
from linkwright.day.schedule import TimedCall, later, minutes_between
from linkwright.draw.ink import FAINT, HEAD_PX, INK, MADDER, OCHRE, PAPER, SOFT
from linkwright.draw.svg import element, escape, group, hatch, width_of, words, wrapped
from linkwright.lengths import hours

TEXT_PX: Final = 16
EDGE_PX: Final = 14.0
NAMES_PX: Final = 170.0
#: The line of a date, or of that there is none, and the room under it [px].
DATE_PX, UNDER_DATE_PX = 24.0, 8.0
#: Below this width names stand over their rows [px].
NARROW_PX: Final = 640.0
CALLS_PX: Final = 84.0
#: Calls that run at the same time stand under each other [px].
LANE_PX: Final = 76.0
ROW_PX: Final = 50.0
NARROW_ROW_PX: Final = 74.0
AXIS_PX: Final = 30.0
#: Steps between hours on the axis [h].
STEPS_H: Final = (0.25, 0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 12.0)


@dataclass(frozen=True, slots=True)
class Handle:
    """What can be dragged: a call, or one of its breaks. `path` says which, `label` in words."""

    path: str
    call: str
    label: str
    starts: datetime.datetime
    ends: datetime.datetime
    is_break: bool


@dataclass(frozen=True, slots=True)
class _Time:
    """The time axis of one stretch of the picture."""

    starts: datetime.datetime
    ends: datetime.datetime
    left: float
    right: float

    def x(self, moment: datetime.datetime) -> float:
        """Where a moment lies [px]."""
        wide = max(1.0, minutes_between(self.starts, self.ends))
        return self.left + (self.right - self.left) * minutes_between(self.starts, moment) / wide


def drawn_day(day: Day, width_px: float = 1200.0, handles: Sequence[Handle] = (), *, titled: bool = True) -> str:
    """The day as one SVG, a panel for each date on which calls begin. With handles it can be dragged (day.js)."""
    parts, tall = _laid(day, width_px, handles, titled)
    head = [element("title", escape(answer(day)))] if titled else []
    head += [
        element("defs", hatch("setting-up", SOFT, 6.0, 1.2)),
        element("rect", width=width_px, height=tall, fill=PAPER),
    ]
    return element(
        "svg", "".join([*head, *parts]), xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {width_px:g} {tall:g}",
        width=width_px, height=tall, role="group" if handles else "img", aria_label=answer(day), color=INK,
    )  # fmt: skip


def tall_px(day: Day, width_px: float) -> float:
    """How tall the picture is without its title, so that a page keeps room for it [px]."""
    panels = _panels(day)
    dates = DATE_PX + UNDER_DATE_PX if len(panels) > 1 else 0.0
    each = (
        dates + _calls_px(calls) + _rows_px(len(_links_in(day, calls)), width_px) + AXIS_PX for _, calls in panels
    )
    return 2 * EDGE_PX + (sum(each) if panels else DATE_PX)


def _laid(day: Day, width_px: float, handles: Sequence[Handle], titled: bool) -> tuple[list[str], float]:
    """What the picture holds, from the top, and how tall it is [px]."""
    parts: list[str] = []
    y = EDGE_PX
    if titled:
        for line in wrapped(answer(day), width_px - 2 * EDGE_PX, HEAD_PX):
            y += HEAD_PX + 6
            parts.append(words(EDGE_PX, y, line, size=HEAD_PX))
        y += 16.0
    panels = _panels(day)
    for date, calls in panels:
        if len(panels) > 1:
            y += DATE_PX
            parts.append(words(EDGE_PX, y, f"{date:%A %-d %B}", size=TEXT_PX, fill=SOFT))
            y += UNDER_DATE_PX
        drawn, y = _panel(day, calls, width_px, y, handles)
        parts.append(drawn)
    if not panels:
        y += DATE_PX
        parts.append(words(EDGE_PX, y, "The calls have no times.", size=TEXT_PX, fill=SOFT))
    return parts, y + EDGE_PX


def _panels(day: Day) -> list[tuple[datetime.date, list[TimedCall]]]:
    timed_calls: dict[datetime.date, list[TimedCall]] = {}
    for call in day.calls:
        if call.span is not None:
            timed_calls.setdefault(call.span[0].date(), []).append(call)
    return list(timed_calls.items())


def _links_in(day: Day, calls: Sequence[TimedCall]) -> list[LinkDay]:
    """The links that are live in some calls."""
    names = {call.live.name for call in calls}
    return [link for link in day.links if any(stretch.call in names for stretch in link.stretches)]


def _row_px(width_px: float) -> float:
    return NARROW_ROW_PX if width_px < NARROW_PX else ROW_PX


def _rows_px(links: int, width_px: float) -> float:
    """How tall the rows of a panel are."""
    return _row_px(width_px) * links + 6.0


def _lanes(calls: Sequence[TimedCall]) -> dict[str, int]:
    """Under how many others each call stands, that run at the same time."""
    lanes: dict[str, int] = {}
    until: list[datetime.datetime] = []
    for call in sorted(calls, key=lambda call: call.span[0].timestamp() if call.span else 0.0):
        assert call.span is not None
        lane = next((n for n, end in enumerate(until) if minutes_between(end, call.span[0]) >= 0.0), len(until))
        until[lane : lane + 1] = [call.span[1]]
        lanes[call.live.name] = lane
    return lanes


def _calls_px(calls: Sequence[TimedCall]) -> float:
    """How tall the calls of a panel are, over its rows."""
    return CALLS_PX + LANE_PX * max(_lanes(calls).values())


def _panel(
    day: Day, calls: Sequence[TimedCall], width_px: float, top: float, handles: Sequence[Handle]
) -> tuple[str, float]:
    """The calls of one date with the links that are live in them; and where it ends [px]."""
    time = _time(calls, width_px)
    names, links = {call.live.name for call in calls}, _links_in(day, calls)
    lane_tops = {name: top + LANE_PX * lane for name, lane in _lanes(calls).items()}
    rows_top, row_px = top + _calls_px(calls), _row_px(width_px)
    foot = rows_top + _rows_px(len(links), width_px)
    parts = [_axis(time, rows_top - 8.0, foot)]
    parts += [_call(call, time, lane_tops[call.live.name]) for call in calls]
    for n, link in enumerate(links):
        parts.append(_row(link, names, time, rows_top + row_px * n, row_px, narrow=width_px < NARROW_PX))
    for handle in handles:
        if handle.call in names:
            parts.append(_handle(handle, time, lane_tops[handle.call], foot))
    return "".join(parts), foot + AXIS_PX


def _time(calls: Sequence[TimedCall], width_px: float) -> _Time:
    starts = min((call.leaves for call in calls if call.leaves is not None), key=datetime.datetime.timestamp)
    ends = max((call.span[1] for call in calls if call.span is not None), key=datetime.datetime.timestamp)
    room = max(10.0, 0.02 * minutes_between(starts, ends))
    left = EDGE_PX if width_px < NARROW_PX else NAMES_PX
    return _Time(later(starts, -room), later(ends, room), left, width_px - EDGE_PX)


def _axis(time: _Time, top: float, foot: float) -> str:
    """Quiet lines at round times, which are printed under them."""
    most = max(2, int((time.right - time.left) / 64.0))
    span_h = minutes_between(time.starts, time.ends) / 60.0
    step_h = next((step for step in STEPS_H if span_h / step <= most), 24.0)
    at = time.starts.replace(minute=0, second=0, microsecond=0)
    at = later(at, -60.0 * (at.hour % max(1.0, step_h)))
    parts = [element("line", x1=time.left, x2=time.right, y1=foot, y2=foot, stroke=INK, stroke_width=1.0)]
    while minutes_between(at, time.ends) >= 0.0:
        x = time.x(at)
        if x >= time.left:
            parts.append(element("line", x1=x, x2=x, y1=top, y2=foot + 5.0, stroke=FAINT, stroke_width=1.0))
            if time.left <= x <= time.right - 18.0:
                label = clock(at)
                anchor = "middle" if x > time.left + 20.0 else "start"
                parts.append(words(x, foot + 22.0, label, size=TEXT_PX, anchor=anchor, fill=SOFT))
        at = later(at, 60.0 * step_h)
    return "".join(parts)


def _call(call: TimedCall, time: _Time, top: float) -> str:
    """A bracket with gaps for the breaks, its name over it, setting up and travel before it."""
    assert call.span is not None
    assert call.sets_up is not None
    assert call.leaves is not None
    y, left, right = top + 52.0, time.x(call.span[0]), time.x(call.span[1])
    shown = _fit(call.live.name, right - left + 40.0)
    under = _fit(f"{clock(call.span[0])} to {clock(call.span[1])}", right - left + 40.0)
    anchor, at = (
        ("end", right) if left + width_of(max(shown, under, key=len), TEXT_PX) > time.right else ("start", left)
    )
    parts = [
        words(at, top + 20.0, shown, size=TEXT_PX, anchor=anchor),
        words(at, top + 40.0, under, size=TEXT_PX, anchor=anchor, fill=SOFT),
    ]
    up, away = time.x(call.sets_up), time.x(call.leaves)
    if left > up:
        setting_up = {"fill": "url(#setting-up)", "stroke": SOFT, "stroke_width": 1.0}
        parts.append(element("rect", "", x=up, y=y, width=left - up, height=10.0, **setting_up))
    if up > away:
        travel = {"stroke": SOFT, "stroke_width": 1.5, "stroke_dasharray": "3 4"}
        parts.append(element("line", "", x1=away, x2=up, y1=y + 5.0, y2=y + 5.0, **travel))
    edges = [call.span[0], *(moment for pause in call.breaks for moment in pause), call.span[1]]
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        parts.append(element("line", x1=time.x(start), x2=time.x(end), y1=y, y2=y, stroke=INK, stroke_width=3.0))
    for x in (left, right):
        parts.append(element("line", x1=x, x2=x, y1=y - 1.5, y2=y + 14.0, stroke=INK, stroke_width=3.0))
    told = f"{call.live.name} at {call.live.site.name}, {under}; setting up from {clock(call.sets_up)}"
    return group(parts, told)


def _fit(text: str, room: float) -> str:
    most = max(3, int(room / width_of("x", TEXT_PX)))
    return text if len(text) <= most else f"{text[: most - 1]}\N{HORIZONTAL ELLIPSIS}"


def _row(link: LinkDay, calls: set[str], time: _Time, top: float, row_px: float, *, narrow: bool) -> str:
    """One link: a line where it is on, thin in breaks, hatched while setting up; its changes; what is left."""
    y = top + row_px - 12.0
    name = _fit(link.who, 150.0 if not narrow else 260.0)
    parts = [words(EDGE_PX, top + 18.0 if narrow else y + 5.0, name, size=TEXT_PX)]
    on = [stretch for stretch in link.stretches if stretch.call in calls]
    for stretch in on:
        left, right = time.x(stretch.starts), time.x(stretch.ends)
        if stretch.state == "set-up":
            parts.append(
                element("rect", x=left, y=y - 4.0, width=right - left, height=8.0, fill="url(#setting-up)")
            )
        else:
            wide = 7.0 if stretch.state == "take" else 1.5
            parts.append(element("line", x1=left, x2=right, y1=y, y2=y, stroke=INK, stroke_width=wide))
    free_from = -1e9
    for change in (cell_change for cell_change in link.changes if cell_change.call in calls):
        drawn, free_from = _tick(change, time, y, free_from)
        parts.append(drawn)
    ends = f"{link.who} at the end: {hours(link.end_h)} left" if link.end_h is not None else link.who
    if link.end_h is not None and on and on[-1] == link.stretches[-1]:
        text = f"{hours(link.end_h)} left"
        x = time.x(on[-1].ends)
        if x + 6.0 + width_of(text, TEXT_PX) <= time.right:
            parts.append(words(x + 6.0, y + 5.0, text, size=TEXT_PX, fill=SOFT))
        elif x - width_of(text, TEXT_PX) > free_from:
            parts.append(words(min(x, time.right), y - 11.0, text, size=TEXT_PX, anchor="end", fill=SOFT))
    return group(parts, ends)


def _tick(change: CellChange, time: _Time, y: float, free_from: float) -> tuple[str, float]:
    """A change of cells: a tick with its time; in a take it is madder and says so. And where its words end [px]."""
    x, in_take = time.x(change.at), change.when == "take"
    colour = MADDER if in_take else OCHRE
    text = clock(change.at) + (" in the take" if in_take else "")
    wide = width_of(text, TEXT_PX)
    left = min(max(time.left, x - wide / 2.0), time.right - wide)
    parts = [element("line", x1=x, x2=x, y1=y - 10.0, y2=y + 10.0, stroke=colour, stroke_width=4.0)]
    if left > free_from:
        parts.append(words(left, y - 14.0, text, size=TEXT_PX, fill=MADDER if in_take else INK))
        free_from = left + wide + 6.0
    return group(parts, f"{change.who}: change at {clock(change.at)}, {hours(change.left_h)} left"), free_from


def _handle(handle: Handle, time: _Time, top: float, foot: float) -> str:
    """Where a finger or the keys take hold: the bracket of a call, the gap of a break; 44 px at least."""
    left, right = time.x(handle.starts), time.x(handle.ends)
    upper, lower = (top + 44.0, foot) if handle.is_break else (top, top + 74.0)
    fill, opacity = (OCHRE, 0.12) if handle.is_break else (INK, 0.04)
    tall = lower - upper
    seen = element("rect", x=left, y=upper, width=right - left, height=tall, fill=fill, fill_opacity=opacity)
    wide = max(right - left, 44.0) if handle.is_break else right - left
    hit = element(
        "rect", class_="hit", x=(left + right - wide) / 2.0, y=upper, width=wide, height=tall,
        fill=PAPER, fill_opacity=0.0,
    )  # fmt: skip
    px_per_minute = (time.right - time.left) / max(1.0, minutes_between(time.starts, time.ends))
    minute = handle.starts.hour * 60 + handle.starts.minute
    return element(
        "g", seen + hit, class_="handle", tabindex=0, role="slider", data_path=handle.path,
        data_scale=f"{px_per_minute:.6f}", aria_label=handle.label, aria_valuemin=0, aria_valuemax=1439,
        aria_valuenow=minute,
        aria_valuetext=f"{clock(handle.starts)} to {clock(handle.ends)}",
    )  # fmt: skip
