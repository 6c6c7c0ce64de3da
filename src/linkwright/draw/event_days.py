"""The time line of an event: sites down, days across, in each field how many links are on, darker where more, with
the disc of the worst verdict. A field leads to the carriers of that site on that day."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, cast

from linkwright.draw.bars import EDGE_PX, TEXT_PX
from linkwright.draw.event_band import NARROW_PX, cut
from linkwright.draw.ink import INK, OCHRE, SOFT
from linkwright.draw.lanes import Head, head
from linkwright.draw.svg import element, escape, number, width_of, words

NAMES_PX: Final = 170.0
#: A field: as wide as it has to be, as tall as a finger needs; where names stand over their rows, a line for them.
FIELD_PX: Final = 62.0
TALL_PX: Final = 44.0
NAME_LINE_PX: Final = 24.0
#: How much of the ink a field with the most links has.
DARKEST: Final = 0.3
VERDICTS: Final = {"holds": "all hold", "thin": "the worst is thin", "fails": "the worst fails"}


@dataclass(frozen=True, slots=True)
class DayField:
    """A site on a day: how many links are on, the worst verdict of them, the address that it leads to, all of it in
    words, and whether it is the one that is shown."""

    links: int
    worst: str
    href: str
    says: str
    here: bool = False


def days_at_once(width_px: float) -> int:
    """How many days have room."""
    names = 0.0 if width_px < NARROW_PX else NAMES_PX
    return max(3, int((width_px - 2.0 * EDGE_PX - names) / FIELD_PX))


def drawn_days(
    sites: Sequence[str], days: Sequence[datetime.date], fields: Mapping[tuple[str, datetime.date], DayField],
    most: int, says: str, width_px: float,
) -> str:  # fmt: skip
    """Sites and days as one SVG that says `says`; `most` links on a site in a day are the darkest."""
    narrow = width_px < NARROW_PX
    left = EDGE_PX if narrow else EDGE_PX + NAMES_PX
    wide = min(96.0, (width_px - EDGE_PX - left) / len(days))
    key, y = _key(width_px)
    parts = [key, _head(days, left, wide, y)]
    y += 50.0
    first = next((field for field in fields.values() if field.here), None) or next(iter(fields.values()), None)
    for site in sites:
        if narrow:
            y += NAME_LINE_PX
        at = y - 6.0 if narrow else y + TALL_PX / 2.0 + 5.0
        room = width_px - 2.0 * EDGE_PX if narrow else NAMES_PX - 10.0
        parts.append(words(EDGE_PX, at, cut(site, room), size=TEXT_PX))
        for n, day in enumerate(days):
            field = fields.get((site, day))
            if field is not None:
                parts.append(_field(field, left + n * wide, y, wide, most, first=field is first))
        parts.append(
            element("line", x1=EDGE_PX, x2=left + len(days) * wide, y1=y + TALL_PX, y2=y + TALL_PX, stroke=SOFT,
                    stroke_width=0.7)
        )  # fmt: skip
        y += TALL_PX
    return element(
        "svg", element("title", escape(says)) + "".join(parts), xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {width_px:g} {number(y + EDGE_PX)}", width=width_px, height=y + EDGE_PX, role="group",
        aria_label=says, color=INK,
    )  # fmt: skip


def _key(width_px: float) -> tuple[str, float]:
    """What the discs and the shade mean; and where that ends [px]."""
    parts, x, y = [], EDGE_PX, 24.0
    for sign, told in (("number", "links on the air: more ink where more"), *VERDICTS.items()):
        wide = (34.0 if sign == "number" else 20.0) + 1.15 * width_of(told, TEXT_PX) + 18.0
        if x > EDGE_PX and x + wide > width_px:
            x, y = EDGE_PX, y + 26.0
        if sign == "number":
            parts.append(_shaded(x, y - 16.0, 26.0, 22.0, 1.0))
            parts.append(words(x + 13.0, y, "12", anchor="middle", size=TEXT_PX))
            parts.append(words(x + 34.0, y, told, size=TEXT_PX))
        else:
            parts.append(head(cast(Head, sign), x + 7.0, y - 5.0, 6.0) + words(x + 20.0, y, told, size=TEXT_PX))
        x += wide
    return "".join(parts), y + 14.0


def _head(days: Sequence[datetime.date], left: float, wide: float, top: float) -> str:
    """The days: the month where it begins, weekday and day of the month."""
    parts = []
    for n, day in enumerate(days):
        middle = left + (n + 0.5) * wide
        month = f" {day:%b}" if n == 0 or day.month != days[n - 1].month else ""
        parts.append(words(middle, top + 18.0, f"{day:%a}", size=TEXT_PX, anchor="middle", fill=SOFT))
        parts.append(words(middle, top + 38.0, f"{day.day}{month}", size=TEXT_PX, anchor="middle"))
    return "".join(parts)


def _shaded(x: float, y: float, wide: float, tall: float, share: float, **how: object) -> str:
    opacity = number(0.04 + (DARKEST - 0.04) * share)
    box = {"x": x, "y": y, "width": wide, "height": tall, "fill": INK, "fill_opacity": opacity}
    return element("rect", **box, **how)  # type: ignore[arg-type]


def _field(field: DayField, x: float, y: float, wide: float, most: int, *, first: bool) -> str:
    middle, centre = y + TALL_PX / 2.0, x + wide / 2.0
    how = {"stroke": OCHRE, "stroke_width": 3.0} if field.here else {}
    drawn = [
        _shaded(x + 2.0, y + 2.5, wide - 4.0, TALL_PX - 5.0, field.links / max(1, most), class_="hit", **how),
        words(centre + 2.0, middle + 5.0, str(field.links), size=TEXT_PX, anchor="end"),
        head(cast(Head, field.worst), centre + 15.0, middle, 6.0),
    ]
    return element(
        "a", "".join(drawn), href=field.href, class_="stretch", tabindex=0 if first else -1, aria_label=field.says,
        aria_current="true" if field.here else None,
    )  # fmt: skip
