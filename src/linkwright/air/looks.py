"""How a sweep looked: for how long at each frequency, how often, and so what it may have missed."""

from __future__ import annotations

from dataclasses import dataclass

from linkwright.air.sweep import Sweep
from linkwright.physics.looking import Looks, User, looks_for, missed

#: The certainty that is advised for: to have found somebody who is on only now and then.
CERTAINTY = 0.95


@dataclass(frozen=True)
class Look:
    """How a sweep looked at each of its frequencies, and what follows.

    `missed` (0..1) is the chance of not having met the user; `looks` what it is worked out from; `needed_s` how
    long to look in the same way for the certainty advised (None where nothing says how often it looks); `says`
    how the looks are known.
    """

    looks: Looks
    missed: float
    needed_s: float | None
    says: str


def look_of(sweep: Sweep, user: User | None = None, certainty: float = CERTAINTY) -> Look:
    """How a sweep looked.

    One look gathers `averages` independent values of one bin, which takes at least averages / resolution; of a
    held trace they are passes, each a look of its own. Sweeps (or passes) are spread evenly over the time that
    the file covers. Where their number or times are not known, all of it counts as one short look: what is not
    known is not credited.
    """
    who = user or User()
    held = sweep.detector in ("peak", "lowest")
    averages = sweep.averages if sweep.averages is not None and not held else 1
    look_s = averages / (sweep.resolution_khz * 1e3)
    count = sweep.sweeps * (sweep.averages or 1) if held else sweep.sweeps
    if count > 1 and sweep.lasted_s:
        every_s = max(sweep.lasted_s / (count - 1), look_s)
        looks = Looks(look_s, every_s, count)
        needed = looks_for(certainty, look_s, every_s, who)
        return Look(looks, missed(looks, who), needed.lasts_s, f"{count} sweeps, one every {every_s:.3g} s")
    single = Looks(look_s, look_s, 1)
    word = "one sweep" if sweep.sweeps == 1 else f"{sweep.sweeps} sweeps at unknown times count as one"
    return Look(single, missed(single, who), None, word)
