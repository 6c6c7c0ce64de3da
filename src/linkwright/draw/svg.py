"""SVG as text: elements, escaped and with short numbers; one width of text that is good enough to place labels."""

from __future__ import annotations

import html
import re
from collections.abc import Iterable
from typing import Final

from linkwright.draw.ink import BODY_PX, FACE, INK, LEAST_PX

#: Mean width of a letter of a serif face over its size; on the wide side, so that labels keep clear.
LETTER_WIDTH = 0.47


#: What no XML file holds (XML 1.0, section 2.2, production 2).
NO_CHARACTER: Final = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def escape(text: str, quote: bool = True) -> str:
    """Text as it stands in SVG; what no XML file holds is shown as a mark."""
    return html.escape(NO_CHARACTER.sub("\ufffd", text), quote)


def number(value: float) -> str:
    """A coordinate with at most two decimals."""
    return f"{value:.2f}".rstrip("0").rstrip(".") or "0"


def element(name: str, inside: str = "", **attributes: object) -> str:
    """One element; `_` in an attribute stands for `-`, floats are shortened, None is left out."""
    parts = [name]
    for key, value in attributes.items():
        if value is not None:
            shown = number(value) if isinstance(value, float) else escape(str(value), quote=True)
            parts.append(f'{key.rstrip("_").replace("_", "-")}="{shown}"')
    head = " ".join(parts)
    return f"<{head}>{inside}</{name}>" if inside else f"<{head}/>"


def group(inside: Iterable[str], title: str | None = None, **attributes: object) -> str:
    """Elements together, with a title that a pointer or a reader may ask for."""
    head = element("title", escape(title)) if title else ""
    return element("g", head + "".join(inside) or " ", **attributes)


def document(says: str, parts: Iterable[str], width_px: float, tall_px: float, defs: str = "") -> str:
    """A whole picture that is as wide as its place: what it says, its hatches, its parts."""
    head = element("title", escape(says)) + (element("defs", defs) if defs else "")
    return element(
        "svg", head + "".join(parts), xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {width_px:g} {tall_px:g}",
        width="100%", role="img", color=INK,
    )  # fmt: skip


def words(
    x: float, y: float, text: str, *, size: int = BODY_PX, anchor: str = "start", fill: str = INK, **more: object
) -> str:
    """A line of text with its baseline at y; never under 14 px."""
    return element(
        "text", escape(text), x=x, y=y, font_size=max(size, LEAST_PX), font_family=FACE, text_anchor=anchor,
        fill=fill, **more,
    )  # fmt: skip


def width_of(text: str, size: int = BODY_PX) -> float:
    """About how wide a text is [px]."""
    return LETTER_WIDTH * max(size, LEAST_PX) * len(text)


def wrapped(text: str, width_px: float, size: int = BODY_PX) -> list[str]:
    """The text in lines that fit a width; a word that is too long is cut."""
    lines: list[str] = []
    most = max(2, int(width_px / width_of("x", size)))
    apart = " ".join(text.split()).replace(" %", "\N{NO-BREAK SPACE}%").split(" ")
    for word in (
        part if len(part) <= most else f"{part[: most - 1]}\N{HORIZONTAL ELLIPSIS}" for part in apart if part
    ):
        if lines and width_of(f"{lines[-1]} {word}", size) <= width_px:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def hatch(name: str, colour: str, apart: float = 6.0, stroke: float = 1.2) -> str:
    """A pattern of slanting lines, to be used as fill="url(#name)"."""
    line = element("line", x1=0.0, y1=0.0, x2=0.0, y2=apart, stroke=colour, stroke_width=stroke)
    return element(
        "pattern", line, id=name, width=apart, height=apart, patternUnits="userSpaceOnUse",
        patternTransform="rotate(45)",
    )  # fmt: skip
