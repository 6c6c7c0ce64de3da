"""The gain chain as a level diagram: stage by stage the peaks, the voice, the noise and the ceiling over them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from linkwright.draw.axis import ticks
from linkwright.draw.ink import FAINT, INK, LEAST_PX, MADDER, OCHRE, PAPER, SOFT
from linkwright.draw.svg import document, element, hatch, number, width_of, words, wrapped

TALL_PX: Final = 330.0
LEFT_PX: Final = 44.0
TOP_PX: Final = 16.0
FOOT_PX: Final = 58.0


@dataclass(frozen=True)
class ChainStage:
    """One place in the chain: levels on the common scale [dB], and how peak and noise read there, with units."""

    name: str
    peak_db: float
    voice_db: float
    noise_db: float
    ceiling_db: float | None
    peak_reads: str
    noise_reads: str


@dataclass(frozen=True)
class GainChain:
    """What is drawn: the stages from the lips on, and where peaks should stay (0 is full scale)."""

    says: str
    stages: tuple[ChainStage, ...]
    target_db: float


def _grid(low: float, high: float, right: float, y: Callable[[float], float]) -> list[str]:
    """Lines across with their level [dB]."""
    parts = []
    for db in ticks(low, high, 7):
        parts.append(element("line", x1=LEFT_PX, x2=right, y1=y(db), y2=y(db), stroke=FAINT, stroke_width=1.0))
        label = f"{db:g}".replace("-", "\N{MINUS SIGN}")
        parts.append(words(LEFT_PX - 6.0, y(db) + 4.0, label, size=LEAST_PX, anchor="end", fill=SOFT))
    return parts


def drawn_chain(chain: GainChain, width_px: float = 720.0) -> str:
    """The diagram as one SVG. ValueError for no stages."""
    stages = chain.stages
    if not stages:
        raise ValueError("no stage to draw")
    high = max(0.0, *(s.ceiling_db if s.ceiling_db is not None else s.peak_db for s in stages)) + 6.0
    low = min(s.noise_db for s in stages) - 8.0
    column = (width_px - LEFT_PX - 8.0) / len(stages)
    scale = (TALL_PX - TOP_PX - FOOT_PX) / (high - low)

    def y(db: float) -> float:
        return TOP_PX + (high - db) * scale

    def steps(levels: Sequence[float]) -> str:
        """A flat piece a stage, joined upright."""
        return "M" + "L".join(
            f"{number(LEFT_PX + column * (n + side))} {number(y(level))}"
            for n, level in enumerate(levels)
            for side in (0.0, 1.0)
        )

    right = LEFT_PX + column * len(stages)
    parts = [element("rect", width=width_px, height=TALL_PX, fill=PAPER)]
    parts += _grid(low, high, right, y)
    noise = steps([s.noise_db for s in stages])
    floor = f"L{number(right)} {number(y(low))}L{number(LEFT_PX)} {number(y(low))}z"
    parts.append(element("path", d=noise + floor, fill="url(#noise)"))
    parts.append(element("path", d=noise, fill="none", stroke=INK, stroke_width=1.2))
    tops = [high if s.ceiling_db is None else s.ceiling_db for s in stages]
    roof = f"L{number(right)} {number(y(high))}L{number(LEFT_PX)} {number(y(high))}z"
    parts.append(element("path", d=steps(tops) + roof, fill="url(#over)", stroke=MADDER, stroke_width=1.2))
    at, voice, peaks = y(chain.target_db), steps([s.voice_db for s in stages]), steps([s.peak_db for s in stages])
    parts += [
        element("line", x1=LEFT_PX, x2=right, y1=at, y2=at, stroke=OCHRE, stroke_width=1.6, stroke_dasharray="7 4"),
        element("path", d=voice, fill="none", stroke=SOFT, stroke_width=2.0, stroke_dasharray="3 3"),
        element("path", d=peaks, fill="none", stroke=INK, stroke_width=3.0),
    ]
    for n, stage in enumerate(stages):
        parts += _labels(stage, LEFT_PX + column * (n + 0.5), column, y)
    hatches = hatch("noise", SOFT, 7.0, 0.9) + hatch("over", MADDER, 6.0, 1.2)
    return document(chain.says, parts, width_px, TALL_PX, hatches)


def _labels(stage: ChainStage, middle: float, column: float, y: object) -> list[str]:
    assert callable(y)
    labels = []
    for n, line in enumerate(wrapped(stage.name, column - 6.0, 13)[:3]):
        labels.append(words(middle, TALL_PX - FOOT_PX + 18.0 + 15.0 * n, line, size=13, anchor="middle"))
    for text, db in ((stage.peak_reads, stage.peak_db), (stage.noise_reads, stage.noise_db)):
        value, _, unit = text.partition(" ")
        lines = [text] if 1.3 * width_of(text, LEAST_PX) <= column else [value, unit]
        lead = -6.0 - 13.0 * (len(lines) - 1)
        for n, line in enumerate(lines):
            at = y(db) + lead + 13.0 * n
            labels.append(
                words(
                    middle, at, line, size=LEAST_PX, anchor="middle", stroke=PAPER, stroke_width=3.0,
                    paint_order="stroke",
                )
            )  # fmt: skip
    return labels
