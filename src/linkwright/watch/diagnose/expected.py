"""What the plan says of a link while a call runs, as plain values: what the watch compares readings with."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

#: Where no plan says what a receiver needs [dBm]: thermal noise in 200 kHz, a noise figure of 8 dB and 20 dB of
#: C/N, rounded (assumed).
NEED_DBM: Final = -93.0
#: Nothing is received below this [dBm] where no plan says the noise (assumed), or this far over noise and
#: interference where one does [dB].
GONE_DBM: Final = -100.0
GONE_OVER_NOISE_DB: Final = 7.0
#: From this level on the meter has no more to show, nor the receiver to give [dBm] (assumed).
CEILING_DBM: Final = -25.0
#: How much likelier somebody else on the carrier is where a sweep showed him, strong enough to break the link and
#: weaker; and the share of those who were not there yet at the time of the sweep (all assumed).
SHOWN, SHOWN_WEAK, CAME_LATER = 2.0, 1.3, 0.5
#: Readings this far from every call are of another day than the plan [ns].
OTHER_DAY_NS: Final = 12 * 3600 * 1_000_000_000
#: Thermal noise at 290 K [dBm/Hz]; a receiver with its feeder and amplifier adds no more than this to it [dB]
#: (assumed): what a plan has over that is interference that it predicts, and may never come.
THERMAL_DBM_HZ: Final = -173.98
MOST_NOISE_FIGURE_DB: Final = 16.0
#: Occupied bandwidth where nobody says [kHz].
BANDWIDTH_KHZ: Final = 200


@dataclass(frozen=True, slots=True)
class Swept:
    """What the sweeps of a site show on a carrier.

    heard_dbm : what they saw there, at the receiver's input in its bandwidth; None where nothing stood over the
    floor. missed : the chance that they missed somebody who is on now and then.
    """

    heard_dbm: float | None
    missed: float


@dataclass(frozen=True, slots=True)
class Expected:
    """A planned link in a call.

    spans : when it is live, breaks left out [ns, UTC]; empty: always. carrier_khz, bandwidth_khz. wanted_dbm :
    local mean at the worst spot. noise_and_interference_dbm, required_cnr_db : of the plan, in its worst case.
    noise_dbm : thermal noise alone; None where nobody says. spares_khz : in the
    order to try them. receiver : whose readings share antennas with it (any name; "" for not known). ceiling_dbm :
    the level at which its receiver is overloaded. fading_db : what it takes of
    the margin. swept : what sweeps show; None where none looked there. spares_said : spares as people read them.
    sent_to : whose transmitter several listen to: those of one name have one; "" for one of its own.
    """

    link: str
    call: str
    spans: tuple[tuple[int, int], ...]
    carrier_khz: int
    wanted_dbm: float
    noise_and_interference_dbm: float
    required_cnr_db: float
    bandwidth_khz: int = BANDWIDTH_KHZ
    spares_khz: tuple[int, ...] = ()
    receiver: str = ""
    ceiling_dbm: float = CEILING_DBM
    fading_db: float = 0.0
    swept: Swept | None = None
    spares_said: tuple[str, ...] = ()
    noise_dbm: float | None = None
    sent_to: str = ""

    @property
    def thermal_dbm(self) -> float:
        """The noise that is there at all times [dBm]: predicted interference is a hypothesis, and no part of it."""
        most = THERMAL_DBM_HZ + 10.0 * math.log10(1e3 * self.bandwidth_khz) + MOST_NOISE_FIGURE_DB
        noise = most if self.noise_dbm is None else self.noise_dbm
        return min(noise, self.noise_and_interference_dbm)

    @property
    def need_dbm(self) -> float:
        """The level from which the audio is unbroken while nobody else is on the carrier [dBm]."""
        return self.thermal_dbm + self.required_cnr_db

    @property
    def planned_need_dbm(self) -> float:
        """The level from which it is unbroken in the plan's worst case [dBm]."""
        return self.noise_and_interference_dbm + self.required_cnr_db

    @property
    def gone_dbm(self) -> float:
        """The level below which nothing of it is received [dBm]."""
        return min(self.thermal_dbm + GONE_OVER_NOISE_DB, self.need_dbm - 4.0)

    def somebody_likelier(self, level_dbm: float) -> float:
        """How much likelier, or less so, the sweep of the site makes somebody else on the carrier; 1 without one.

        An empty sweep speaks against him as far as he was there then, and it would not have missed him (Bayes).
        """
        if self.swept is None:
            return 1.0
        if self.swept.heard_dbm is None:
            return CAME_LATER + (1.0 - CAME_LATER) * self.swept.missed
        return SHOWN if not level_dbm - self.swept.heard_dbm > self.required_cnr_db else SHOWN_WEAK

    def live_at(self, time_ns: int) -> bool:
        """Whether it is live at a time [ns, UTC]."""
        return not self.spans or any(start <= time_ns < end for start, end in self.spans)


def another_day(expected: Sequence[Expected], time_ns: int) -> bool:
    """Whether a time lies far from every call of the plan."""
    spans = [span for planned in expected for span in planned.spans]
    return bool(spans) and not any(a - OTHER_DAY_NS <= time_ns <= b + OTHER_DAY_NS for a, b in spans)


def at_any_time(expected: Sequence[Expected]) -> list[Expected]:
    """One of each link, the one with the least margin, expected always: the plan's levels without its times."""
    expected_links: dict[str, Expected] = {}
    for planned in expected:
        was = expected_links.get(planned.link)
        if was is None or planned.wanted_dbm - planned.need_dbm < was.wanted_dbm - was.need_dbm:
            expected_links[planned.link] = planned
    return [replace(link, spans=()) for link in expected_links.values()]
