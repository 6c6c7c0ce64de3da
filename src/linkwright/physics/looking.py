"""How long to look: the chance of having missed a user who is on only now and then, and what would find one.

The user is a chain of on and off times, each exponential, with means Ton and Toff; on for a share
p = Ton / (Ton + Toff) of the time. Each of N looks lasts Td and one begins every Tr. With a = exp(-Td / Toff),
the chance that off lasts through a look, and tau = Ton Toff / (Ton + Toff), the chain's memory, all looks miss
with (1 - p) a [a (1 - p (1 - exp(-(Tr - Td) / tau)))]^(N - 1): between two looks the chain that was off is on again
with p (1 - exp(-(Tr - Td) / tau)) (two-state Markov chain; W. Feller, An Introduction to Probability Theory and
Its Applications, vol. I, 1968, chapter XVII, from memory). A user who is on during a look is taken as found.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

#: The user that is asked about: on 5 % of the time, some 20 s at a time (assumed: a short call on an intercom).
INTERMITTENT_SHARE = 0.05
INTERMITTENT_ON_S = 20.0
#: More looks are no advice.
MOST_LOOKS = 10_000_000


@dataclass(frozen=True)
class User:
    """Somebody who is on for a share of the time (0..1, exclusive), `on_s` seconds at a time on average."""

    share: float = INTERMITTENT_SHARE
    on_s: float = INTERMITTENT_ON_S

    def __post_init__(self) -> None:
        if not (0.0 < self.share < 1.0 and self.on_s > 0.0):
            raise ValueError(f"no such user: on {self.share:g} of the time, {self.on_s:g} s at a time")

    @property
    def off_s(self) -> float:
        """Mean time off [s]."""
        return self.on_s * (1.0 - self.share) / self.share


@dataclass(frozen=True)
class Looks:
    """`count` looks at one frequency, `look_s` long, one beginning every `every_s` [s]."""

    look_s: float
    every_s: float
    count: int

    def __post_init__(self) -> None:
        if self.look_s < 0.0 or self.every_s < self.look_s or self.count < 0:
            raise ValueError(f"no such looks: {self.count} of {self.look_s:g} s every {self.every_s:g} s")

    @property
    def lasts_s(self) -> float:
        """From the beginning of the first look to the end of the last [s]."""
        return self.every_s * (self.count - 1) + self.look_s if self.count else 0.0


def missed(looks: Looks, user: User = User()) -> float:
    """Chance (0..1) that every look missed the user; 1 for no look at all."""
    if looks.count == 0:
        return 1.0
    log_first, log_next = _log_chances(looks.look_s, looks.every_s, user)
    return math.exp(log_first + (looks.count - 1) * log_next)


def looks_for(certainty: float, look_s: float, every_s: float, user: User = User()) -> Looks:
    """The fewest looks that find the user with `certainty` (0..1, exclusive).

    Raises ValueError for a certainty that no number of looks gives, or that takes more than ten million.
    """
    if not 0.0 < certainty < 1.0:
        raise ValueError(f"a certainty lies between 0 and 1: {certainty:g}")
    log_first, log_next = _log_chances(look_s, every_s, user)
    allowed = math.log1p(-certainty)
    more = 0.0 if log_first <= allowed else (allowed - log_first) / log_next if log_next < 0.0 else math.inf
    if more > MOST_LOOKS:
        raise ValueError(f"no number of looks finds the user with a certainty of {certainty:g}")
    return Looks(look_s, every_s, 1 + math.ceil(more - 1e-9))


def stepping_looks(look_s: float, frequencies: int, for_s: float) -> Looks:
    """The looks at one of `frequencies` by a receiver that steps through them for `for_s` seconds."""
    if look_s <= 0.0 or frequencies < 1:
        raise ValueError(f"no such receiver: {look_s:g} s on each of {frequencies} frequencies")
    every_s = look_s * frequencies
    return Looks(look_s, every_s, math.floor(for_s / every_s + 1e-9))


def _log_chances(look_s: float, every_s: float, user: User) -> tuple[float, float]:
    """Logarithms of the chances that the first look misses, and that one more does."""
    log_off = -look_s / user.off_s
    memory_s = user.on_s * user.off_s / (user.on_s + user.off_s)
    on_again = -user.share * math.expm1(-(every_s - look_s) / memory_s)
    return math.log1p(-user.share) + log_off, log_off + math.log1p(-on_again)
