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

FACE = "Linkwright Sans, Libertinus Serif, sans-serif"
#: The faces as files, for paper and for pictures that are no part of a page.
FACES = str(Path(__file__).with_name("faces"))
#: Text is never smaller than this [px].
LEAST_PX = 12
BODY_PX = 14
HEAD_PX = 21
