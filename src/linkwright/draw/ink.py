"""The few inks of every picture. Paper and one ink; ochre points, madder alarms; hatching restricts or doubts."""

from __future__ import annotations

import re
from pathlib import Path

PAPER = "#f7f3ea"
INK = "#22201c"
#: Ink thinned: large areas, quiet lines, words that may be passed over. Contrast on paper: 5.2 and 1.6 to 1.
SOFT = "#6b655a"
FAINT = "#d3cbb9"
OCHRE = "#a8690f"
MADDER = "#9c2b34"

#: What a page calls them: its own inks, so that a picture at dusk is drawn and not pasted.
_ON_PAGES = {PAPER: "ground", INK: "ink", SOFT: "soft", FAINT: "line", OCHRE: "ochre", MADDER: "madder"}

FACE = "Linkwright Sans, Libertinus Serif, sans-serif"
#: The faces as files, for paper and for pictures that are no part of a page.
FACES = str(Path(__file__).with_name("faces"))
#: Text is never smaller than this [px].
LEAST_PX = 14
BODY_PX = 14
HEAD_PX = 21


def in_page_inks(svg: str) -> str:
    """A picture that is part of a page, in the page's own inks (custom properties)."""
    for ink, name in _ON_PAGES.items():
        svg = svg.replace(ink, f"var(--{name})")
    return svg


def in_black(svg: str) -> str:
    """A picture as it is printed: its inks as greys from black to white, so that no ground of paper is printed."""

    def light(colour: str) -> float:
        """Luma, ITU-R BT.709."""
        red, green, blue = (int(colour[n : n + 2], 16) for n in (1, 3, 5))
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    black, white = light(INK), light(PAPER)

    def grey(match: re.Match[str]) -> str:
        share = min(1.0, max(0.0, (light(match[0]) - black) / (white - black)))
        return "#" + f"{round(255 * share):02x}" * 3

    return re.sub(r"#[0-9a-fA-F]{6}\b", grey, svg)
