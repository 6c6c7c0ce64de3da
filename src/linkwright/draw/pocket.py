"""The pocket card: names, carriers and spares on the lock screen of a telephone, for when the laptop is dead."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from linkwright.draw.ink import FAINT, INK, PAPER, SOFT
from linkwright.draw.svg import document, element, width_of, words

WIDTH_PX: Final = 390.0
TALL_PX: Final = 844.0
#: A lock screen's clock stands above, its buttons below.
TOP_PX: Final = 230.0
FOOT_PX: Final = 90.0
MOST_ROW_PX: Final = 62.0


@dataclass(frozen=True, slots=True)
class Pocket:
    """A link on the card: its name, its carrier and its spares as its display shows them."""

    name: str
    carrier: str
    spares: tuple[str, ...]


def drawn_pocket(title: str, links: Sequence[Pocket]) -> str:
    """The card as one SVG; more links than fit are counted on its last line."""
    fit = int((TALL_PX - TOP_PX - FOOT_PX) / 34.0)
    shown = links if len(links) <= fit else links[: fit - 1]
    row = min(MOST_ROW_PX, (TALL_PX - TOP_PX - FOOT_PX) / max(1, len(shown) + (len(links) > len(shown))))
    size = 28 if row >= 50.0 else 22
    parts = [
        element("rect", width=WIDTH_PX, height=TALL_PX, fill=PAPER),
        words(20.0, TOP_PX - 18.0, title, size=16),
    ]
    for n, link in enumerate(shown):
        top = TOP_PX + n * row
        parts.append(element("line", x1=20.0, x2=WIDTH_PX - 20.0, y1=top, y2=top, stroke=FAINT, stroke_width=1.0))
        room = WIDTH_PX - 52.0 - width_of(link.carrier, size)
        name = (
            link.name
            if width_of(link.name, 18) <= room
            else f"{link.name[: int(room / width_of('x', 18)) - 1]}\u2026"
        )
        base = top + (28.0 if row >= 50.0 else row / 2.0 + 7.0)
        parts.append(words(20.0, base, name, size=18))
        parts.append(words(WIDTH_PX - 20.0, base, link.carrier, size=size, anchor="end", font_weight=600))
        if row >= 50.0 and link.spares:
            spares = " \u00b7 ".join(link.spares[:3])
            parts.append(words(WIDTH_PX - 20.0, base + 20.0, f"then {spares}", size=14, anchor="end", fill=SOFT))
    if len(links) > len(shown):
        left = f"and {len(links) - len(shown)} more"
        parts.append(words(20.0, TOP_PX + len(shown) * row + 24.0, left, size=16, fill=SOFT))
    foot = "MHz. Licence and regulator override this card; listen first."
    parts.append(words(20.0, TALL_PX - FOOT_PX + 24.0, foot, size=14, fill=INK))
    return document(title, parts, WIDTH_PX, TALL_PX)
