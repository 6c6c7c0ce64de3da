"""The few inks of every picture. Paper and one ink; ochre points, madder alarms; hatching restricts or doubts."""

from __future__ import annotations

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
