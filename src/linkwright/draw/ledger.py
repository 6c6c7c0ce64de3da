"""A link's ledger as a chart: from the transmitter down to the receiver, against the noise, and what is left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from linkwright.draw.axis import ticks
from linkwright.draw.ink import FAINT, INK, LEAST_PX, MADDER, OCHRE, PAPER, SOFT
from linkwright.draw.svg import document, element, escape, hatch, width_of, words
from linkwright.units import sum_dbm

WIDTH_PX: Final = 720.0
NAMES_PX: Final = 250.0
ROW_PX: Final = 24.0
BAR_PX: Final = 14.0


@dataclass(frozen=True)
class LedgerPicture:
    """What is drawn: transmit power [dBm], gains and losses [dB], `wanted_dbm`; levels [dBm] against it; and what
    the margin is used up by [dB], to what is in hand."""

    says: str
    wanted: tuple[tuple[str, float], ...]
    wanted_dbm: float
    against: tuple[tuple[str, float], ...]
    against_dbm: float
    required_db: float
    margin_db: float
    taken: tuple[tuple[str, float], ...]
    in_hand_db: float


def drawn_ledger(ledger: LedgerPicture) -> str:
    """The chart as one SVG: levels run from left (weak) to right (strong), one contribution a row."""
    levels = _levels(ledger)
    low = min(left for _, left, _, _ in levels) - 4.0
    high = max(right for _, _, right, _ in levels) + 4.0
    scale = (WIDTH_PX - NAMES_PX - 16.0) / (high - low)

    def x(dbm: float) -> float:
        return NAMES_PX + (dbm - low) * scale

    tall = ROW_PX * len(levels) + 34.0
    parts = [element("rect", width=WIDTH_PX, height=tall, fill=PAPER)]
    for dbm in ticks(low, high, 7):
        at = x(dbm)
        parts.append(element("line", x1=at, x2=at, y1=4.0, y2=tall - 26.0, stroke=FAINT, stroke_width=1.0))
        parts.append(
            words(at, tall - 10.0, f"{dbm:.0f}".replace("-", "\N{MINUS SIGN}"), size=LEAST_PX, anchor="middle")
        )
    parts.append(words(NAMES_PX - 12.0, tall - 10.0, "dBm", size=LEAST_PX, anchor="end", fill=SOFT))
    for n, (name, left, right, fill) in enumerate(levels):
        parts.append(_row(n, name, x(left), max(x(right), x(left) + 1.5), fill, right - left))
    hatches = hatch("against", INK, 6.0, 1.0) + hatch("short", MADDER, 6.0, 1.4)
    return document(f"{ledger.says}: {_signed(ledger.in_hand_db)} dB in hand", parts, WIDTH_PX, tall, hatches)


Bar = tuple[str, float, float, str]


def _levels(ledger: LedgerPicture) -> list[Bar]:
    """Every row: what it is called, from where to where [dBm], and how it is filled."""
    bars: list[Bar] = []
    at = 0.0
    for n, (part, db) in enumerate(ledger.wanted):
        if n == 0:
            at = db
            bars.append((f"{part} {_signed(db)} dBm", db - 1.0, db, INK))
            continue
        bars.append((f"{part} {_signed(db)} dB", min(at, at + db), max(at, at + db), SOFT if db < 0.0 else OCHRE))
        at += db
    bars.append((f"wanted {_signed(ledger.wanted_dbm)} dBm", ledger.wanted_dbm - 1.0, ledger.wanted_dbm, INK))
    total: list[float] = []
    for part, dbm in _strongest(ledger.against):
        total.append(dbm)
        bars.append((f"{part} {_signed(dbm)} dBm", sum_dbm(total) - 1.0, sum_dbm(total), "url(#against)"))
    need = ledger.against_dbm + ledger.required_db
    bars.append((f"needed over that {ledger.required_db:.0f} dB", ledger.against_dbm, need, FAINT))
    ends = sorted((need, ledger.wanted_dbm))
    bars.append((f"margin {_signed(ledger.margin_db)} dB", ends[0], ends[1], FAINT))
    at = ledger.wanted_dbm
    for part, db in ledger.taken:
        bars.append((f"{part} {_signed(db)} dB", min(at, at + db), max(at, at + db), SOFT if db < 0.0 else OCHRE))
        at += db
    fill = OCHRE if ledger.in_hand_db >= 0.0 else "url(#short)"
    ends = sorted((need, at))
    bars.append((f"in hand {_signed(ledger.in_hand_db)} dB", ends[0], ends[1], fill))
    return bars


def _strongest(parts: Sequence[tuple[str, float]]) -> list[tuple[str, float]]:
    """The contributions against, the strongest first, those far below the sum left out."""
    most = max((dbm for _, dbm in parts), default=0.0)
    return [(name, dbm) for name, dbm in sorted(parts, key=lambda part: -part[1]) if dbm > most - 25.0][:8]


def _signed(value: float) -> str:
    return f"{value:+.1f}".replace("-", "\N{MINUS SIGN}")


def _row(n: int, name: str, left: float, right: float, fill: str, db: float) -> str:
    y = 6.0 + ROW_PX * n
    most = int((NAMES_PX - 18.0) / width_of("x", 13))
    shown = name if len(name) <= most else _cut(name, most)
    return "".join([
        words(NAMES_PX - 10.0, y + 12.0, shown, size=13, anchor="end"),
        element(
            "rect", element("title", escape(f"{name} ({db:.1f} dB wide)")), x=left, y=y, width=right - left,
            height=BAR_PX, fill=fill, stroke=INK, stroke_width=0.8,
        ),
    ])  # fmt: skip


def _cut(name: str, most: int) -> str:
    """A long name with its middle left out: its level stands at the end."""
    keep = most - 14
    return f"{name[:keep]}\N{HORIZONTAL ELLIPSIS}{name[-13:]}"
