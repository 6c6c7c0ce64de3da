"""The carriers of a site over a day: time runs across, each carrier in use is a row, the highest on top.

How far a stretch is shows without colours: nothing planned is a dotted line, planned a dashed outline, set a bar
whose two ends are filled, heard a full bar; a carrier that somebody has not left yet is hatched.
"""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from linkwright.draw.axis import ticks
from linkwright.draw.bars import EDGE_PX, TEXT_PX, TimeAxis, hour_lines
from linkwright.draw.ink import INK, MADDER, OCHRE, PAPER, SOFT
from linkwright.draw.svg import element, escape, group, hatch, number, width_of, words
from linkwright.units import mhz_text

BandState = Literal["planned", "set", "heard", "leaving"]
#: What each state is called in the key; none of them: nothing is planned.
STATES: Final[dict[BandState, str]] = {
    "planned": "planned", "set": "set at both ends", "heard": "heard, clean", "leaving": "not left yet",
}  # fmt: skip
NARROW_PX: Final = 640.0
#: The place of the carrier's number, and left of it, where there is room, the band to scale [px].
CARRIER_PX: Final = 68.0
SCALE_PX: Final = 92.0
#: Rows: for a pointer, for a finger, and how much of one a bar takes [px].
ROW_PX, FINGER_ROW_PX, BAR_SHARE = 28.0, 44.0, 0.78
#: A part of the band has at most so many rows and stretches: a picture has a size.
MOST_ROWS, MOST_STRETCHES = 80, 400
#: What is filled at either end of a bar that is set [px].
END_PX: Final = 9.0


@dataclass(frozen=True, slots=True)
class BandStretch:
    """A carrier in use from when to when [ms, UTC]: whose in few words, how far it is, all of it as a sentence."""

    khz: int
    from_ms: int
    to_ms: int
    who: str
    state: BandState
    says: str


Row = list[BandStretch]


def rows_of(stretches: Sequence[BandStretch]) -> list[Row]:
    """A row for each carrier, the highest first; what overlaps on one carrier stands in rows of its own."""
    rows: list[Row] = []
    by_carrier = sorted(stretches, key=lambda use: (-use.khz, use.from_ms, use.to_ms, use.who))
    for _, of in itertools.groupby(by_carrier, lambda use: use.khz):
        mine: list[Row] = []
        for stretch in of:
            free = next((row for row in mine if row[-1].to_ms <= stretch.from_ms), None)
            if free is None:
                mine.append([stretch])
            else:
                free.append(stretch)
        rows += mine
    return rows


def parts_of(rows: Sequence[Row]) -> list[list[Row]]:
    """The rows in parts of the band that are drawn at once."""
    parts: list[list[Row]] = []
    held = 0
    for row in rows:
        if not parts or len(parts[-1]) == MOST_ROWS or held + len(row) > MOST_STRETCHES:
            parts.append([])
            held = 0
        parts[-1].append(row[:MOST_STRETCHES])
        held += len(row)
    return parts


def drawn_band(
    rows: Sequence[Row], zone: datetime.tzinfo, says: str, width_px: float, now_ms: int | None = None
) -> str:
    """The rows as one SVG that says `says`; each stretch can be taken by pointer and by keys."""
    narrow = width_px < NARROW_PX
    row_px = FINGER_ROW_PX if narrow else ROW_PX
    left = EDGE_PX + CARRIER_PX + (0.0 if narrow else SCALE_PX)
    spans = [stretch for row in rows for stretch in row]
    begins, ends = min(span.from_ms for span in spans), max(span.to_ms for span in spans)
    room = (ends - begins) // 40
    axis = TimeAxis(begins - room, ends + room, left, width_px - EDGE_PX)
    now = now_ms is not None and begins <= now_ms <= ends
    key, top = _key({span.state for span in spans}, width_px, now=now)
    foot = top + row_px * len(rows) + 6.0
    parts = [key, hour_lines(axis, zone, top, foot)]
    if not narrow:
        parts.append(_scale(rows, top, row_px, foot))
    if now and now_ms is not None:
        x = axis.x(now_ms)
        parts.append(element("line", x1=x, x2=x, y1=top - 4.0, y2=foot, stroke=OCHRE, stroke_width=2.5))
    parts += [_row(row, axis, top + n * row_px, row_px, first=n == 0) for n, row in enumerate(rows)]
    tall = foot + 34.0
    head = element("title", escape(says)) + element("defs", hatch("not-left", MADDER, 6.0, 2.0))
    return element(
        "svg", head + "".join(parts), xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {width_px:g} {number(tall)}", width=width_px, height=tall, role="group",
        aria_label=says, color=INK,
    )  # fmt: skip


def _key(states: set[BandState], width_px: float, *, now: bool) -> tuple[str, float]:
    """Every kind of stretch that is there, in words, in as many lines as they take; and where they end [px]."""
    entries: list[tuple[str, str]] = [("", "nothing planned")]
    entries += [(state, told) for state, told in STATES.items() if state in states or state != "leaving"]
    entries += [("now", "now")] if now else []
    parts, x, y = [], EDGE_PX, 24.0
    for state, told in entries:
        wide = 46.0 + 1.15 * width_of(told, TEXT_PX) + 18.0
        if x > EDGE_PX and x + wide > width_px:
            x, y = EDGE_PX, y + 26.0
        if state == "now":
            parts.append(
                element("line", x1=x + 19.0, x2=x + 19.0, y1=y - 16.0, y2=y + 4.0, stroke=OCHRE, stroke_width=2.5)
            )
        else:
            parts.append(_bar(state, x, y - 15.0, 38.0, 20.0) if state else _empty(x, x + 38.0, y - 5.0))
        parts.append(words(x + 46.0, y, told, size=TEXT_PX))
        x += wide
    return "".join(parts), y + 18.0


def _empty(left: float, right: float, y: float) -> str:
    return element("line", x1=left, x2=right, y1=y, y2=y, stroke=SOFT, stroke_width=1.5, stroke_dasharray="1.5 5")


def _bar(state: str, x: float, y: float, wide: float, tall: float) -> str:
    """A stretch by its state; `hit` is what shows that it was taken."""
    left, end = x + 1.0, max(2.0, wide - 2.0)

    def box(at: float, across: float, **how: object) -> str:
        return element("rect", x=at, y=y, width=across, height=tall, **how)  # type: ignore[arg-type]

    if state == "planned":
        return box(left, end, fill=PAPER, stroke=INK, stroke_width=1.8, stroke_dasharray="5 3.5", class_="hit")
    fill = INK if state == "heard" else "url(#not-left)" if state == "leaving" else PAPER
    drawn = box(left, end, fill=PAPER) if state == "leaving" else ""
    drawn += box(left, end, fill=fill, stroke=MADDER if state == "leaving" else INK, stroke_width=1.8, class_="hit")
    if state == "set":
        cap = min(END_PX, end / 3.0)
        drawn += "".join(box(at, cap, fill=INK) for at in (left, left + end - cap))
    return drawn


def _row(row: Row, axis: TimeAxis, top: float, row_px: float, *, first: bool) -> str:
    middle, tall = top + row_px / 2.0, BAR_SHARE * row_px
    carrier = words(axis.left - 8.0, middle + 5.0, mhz_text(row[0].khz), size=TEXT_PX, anchor="end")
    parts = [carrier, _empty(axis.left, axis.right, middle)]
    for n, stretch in enumerate(row):
        x = axis.x(stretch.from_ms)
        wide = max(6.0, axis.x(stretch.to_ms) - x)
        drawn = [_bar(stretch.state, x, middle - tall / 2.0, wide, tall)]
        room = wide - (2.0 * END_PX + 6.0)
        if stretch.state != "leaving" and room > 30.0:
            fill = PAPER if stretch.state == "heard" else INK
            drawn.append(words(x + END_PX + 3.0, middle + 5.0, cut(stretch.who, room), size=TEXT_PX, fill=fill))
        at = 0 if first and n == 0 else -1
        parts.append(group(drawn, class_="stretch", role="button", tabindex=at, aria_label=stretch.says))
    return "".join(parts)


def cut(text: str, room_px: float) -> str:
    """As much of a text as has room: its begin and its end, which tells names with numbers apart."""
    most = max(3, int(room_px / (1.04 * width_of("x", TEXT_PX))))
    if len(text) <= most:
        return text
    end = min(3, (most - 1) // 2)
    return f"{text[: most - 1 - end].rstrip()}\N{HORIZONTAL ELLIPSIS}{text[-end:].lstrip()}"


def _scale(rows: Sequence[Row], top: float, row_px: float, foot: float) -> str:
    """The band to scale beside the rows, each joined to its place there: it shows where nobody is."""
    high, low = rows[0][0].khz, rows[-1][0].khz
    room = max(500, (high - low) // 30)
    high, low = high + room, low - room
    x, lead = EDGE_PX + 42.0, EDGE_PX + SCALE_PX
    upper, lower = top + 4.0, foot - 4.0

    def y(khz: float) -> float:
        return upper + (lower - upper) * (high - khz) / (high - low)

    parts = [element("line", x1=x, x2=x, y1=upper, y2=lower, stroke=INK, stroke_width=1.5)]
    for mhz in ticks(low / 1e3, high / 1e3, max(2, int((lower - upper) / 30.0))):
        at = y(1e3 * mhz)
        parts.append(element("line", x1=x - 5.0, x2=x, y1=at, y2=at, stroke=INK, stroke_width=1.5))
        if upper + 4.0 <= at <= lower - 4.0:
            parts.append(words(x - 8.0, at + 5.0, f"{mhz:.6g}", anchor="end", fill=SOFT))
    d = "".join(
        f"M{number(x)} {number(y(row[0].khz))}L{number(lead)} {number(top + (n + 0.5) * row_px)}"
        for n, row in enumerate(rows)
    )
    parts.append(element("path", d=d, stroke=SOFT, stroke_width=1.0, fill="none"))
    return "".join(parts)
