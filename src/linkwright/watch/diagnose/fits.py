"""How well an episode's figures fit each cause: conditions from 0 to 1, and the weight of a cause as their product.

The middles of the conditions are those of PHYSICS where it has one; the others, and all widths, are assumed
(docs/watch.md).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from linkwright.watch.diagnose import states as at
from linkwright.watch.diagnose.expected import CEILING_DBM, Expected
from linkwright.watch.diagnose.gathered import Figures

#: The least fit of one condition: no single figure rules a cause out for good.
LEAST_FIT: Final = 0.01
#: How much likelier somebody else on the carrier is where a sweep showed him, strong enough to break the link and
#: weaker; and the share of those who were not there yet at the time of the sweep (all assumed).
SHOWN, SHOWN_WEAK, CAME_LATER = 2.0, 1.3, 0.5


def up(value: float, middle: float, width: float, unknown: float = 0.5) -> float:
    """How well "at least `middle`" fits: 0.5 there, 0.88 two widths above; `unknown` for NaN."""
    if value != value:
        return unknown
    return max(LEAST_FIT, 1.0 / (1.0 + math.exp(-min(60.0, max(-60.0, (value - middle) / width)))))


def down(value: float, middle: float, width: float, unknown: float = 0.5) -> float:
    """How well "at most `middle`" fits."""
    return up(-value, -middle, width, unknown)


def _share(part: float, whole: float) -> float:
    """A part of a whole; a half where the whole is next to nothing, NaN where it is not known."""
    if whole != whole:
        return math.nan
    return part / whole if whole > 1.0 else 0.5


def air_factor(f: Figures, expected: Expected | None) -> float:
    """How much likelier, or less so, the sweep of the site makes somebody else on the carrier; 1 without one.

    An empty sweep speaks against him as far as he was there then, and it would not have missed him (Bayes).
    """
    swept = None if expected is None else expected.swept
    if expected is None or swept is None:
        return 1.0
    if swept.heard_dbm is None:
        return CAME_LATER + (1.0 - CAME_LATER) * swept.missed
    return SHOWN if not f.level_dbm - swept.heard_dbm > expected.required_cnr_db else SHOWN_WEAK


@dataclass(frozen=True, slots=True)
class Sight:
    """What causes are judged by: the figures, and what several causes share of them.

    products : how well intermodulation fits the others. air : how much likelier the sweep makes somebody else.
    ceiling_dbm : the level at which the receiver is overloaded.
    """

    figures: Figures
    products: float = 0.0
    ceiling_dbm: float = CEILING_DBM
    air: float = 1.0

    @property
    def fell_db(self) -> float:
        """How much lower the level is than before."""
        return self.figures.base_dbm - self.figures.level_dbm

    @property
    def at_once(self) -> float:
        """How well "it fell within a second" fits."""
        return up(_share(self.figures.first_db, self.fell_db), 0.55, 0.1)

    @property
    def something(self) -> float:
        """How well "something was received" fits."""
        return down(self.figures.gone, 0.45, 0.1)

    @property
    def below(self) -> float:
        """How well "it was under the meter's top" fits."""
        return down(self.figures.over, 0.15, 0.04)

    @property
    def vanishes(self) -> float:
        """How well "it vanished at once, and all of it" fits."""
        f = self.figures
        nothing, flat = up(f.gone, 0.45, 0.1), down(f.gone_spread_db, 4.0, 0.7)
        return nothing * up(f.first_db, 12.0, 3.0) * up(_share(f.first_db, self.fell_db), 0.7, 0.07) * flat

    @property
    def others(self) -> float:
        """How well another transmitter fits: far over the need only one breaks the audio; nearer to it the level
        must not have fallen."""
        f = self.figures
        near = down(f.drop_db, 7.0, 1.0) * down(f.bad_dip_db, 4.0, 1.0, 0.7) * up(f.over_need_db, 8.0, 2.0)
        return max(near, up(f.over_need_db, 14.0, 1.5)) * self.something * self.below * up(f.bad, 0.25, 0.08)


def battery(sight: Sight) -> float:
    """The cells ran out."""
    return sight.vanishes * down(sight.figures.gauge, 0.045, 0.01, 0.35)


def switched_off(sight: Sight) -> float:
    """The transmitter was switched off."""
    return sight.vanishes * up(sight.figures.gauge, 0.045, 0.01, 0.65)


def too_far(sight: Sight) -> float:
    """The talent walked out of reach. Where the mean is under the need most readings are broken, and for long."""
    f = sight.figures
    slowly = down(_share(f.first_db, f.drop_db), 0.55, 0.1)
    lasting = max(up(f.bad, 0.6, 0.06), up(f.longest_s, 4.0, 0.7)) * up(f.longest_s, 1.4, 0.2)
    weak = max(up(f.drop_db, 7.0, 1.5), 0.8 * down(f.mean_over_db, -1.0, 0.7))
    return slowly * weak * down(f.over_need_db, 6.0, 1.5) * sight.below * lasting


def body(sight: Sight) -> float:
    """A body in the way."""
    f, fell = sight.figures, sight.fell_db
    weak = down(f.over_need_db, 10.0, 1.5) if f.bad > 0.0 else 1.0
    deep = weak * sight.at_once * up(fell, 8.0, 1.0) * down(fell, 28.0, 1.5) * sight.something * sight.below
    length = down(f.length_s, 22.0, 3.0) * up(max(f.sag * f.length_s, f.longest_s), 0.5, 0.1)
    return deep * length * max(0.3, up(f.alike, 0.3, 0.08, 0.8))


def reflections(sight: Sight) -> float:
    """Echoes: few readings are broken, each for short, each branch for itself."""
    f = sight.figures
    few = max(down(f.bad, 0.62, 0.06), down(f.length_s, 1.3, 0.2))
    short = down(f.longest_s, 3.0, 0.6) * up(f.bad_dip_db, 2.0, 0.7) * up(float(f.runs), 0.7, 0.15)
    apart = max(0.3, down(f.alike, 0.5, 0.1, 0.8)) * few * sight.something * sight.below
    spread = max(0.4, up(f.spread_db, 2.6, 0.3)) if f.length_s > 3.0 else 1.0
    uneven = 0.5 if abs(f.uneven_db) > at.UNEVEN_DB else 1.0
    return short * apart * down(f.over_need_db, 9.0, 1.5) * spread * uneven


def somebody(sight: Sight) -> float:
    """Somebody else on the carrier."""
    return sight.others * (1.0 - sight.products) * sight.air


def own_product(sight: Sight) -> float:
    """A product of our own carriers."""
    return sight.others * sight.products


def too_strong(sight: Sight) -> float:
    """The receiver is overloaded."""
    f = sight.figures
    return up(f.over, 0.15, 0.04) * up(f.level_dbm - sight.ceiling_dbm, -at.TOP_UNDER_DB, 1.0)


def one_branch(sight: Sight) -> float:
    """An antenna or its cable: one branch lies under the other."""
    f = sight.figures
    return up(abs(f.a_dbm - f.b_dbm), 8.0, 1.0) * up(f.length_s, 3.0, 1.0)


def dead_audio(sight: Sight) -> float:
    """The audio is dead while the radio is good."""
    return up(sight.figures.length_s, 0.3, 0.1) * down(sight.figures.bad, 0.3, 0.1)
