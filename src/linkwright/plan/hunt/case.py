"""What is asked in a hunt and what is suspected."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

#: In which way somebody is in the way: on the carrier, by a product, by sheer strength, as TV, or nobody we know.
Kind = Literal["carrier", "product", "strong", "tv", "other", "stranger"]
#: How a carrier comes to be where it is: as planned, at another hour than planned, on a spare, by mistake.
How = Literal["planned", "hour", "spare", "mistake"]


@dataclass(frozen=True, slots=True)
class HuntAnswer:
    """What was found out: with the transmitter of a link (or all of a crew) off, is it still broken? Is it on?"""

    asked: Literal["off", "on"]
    who: str
    yes: bool


@dataclass(frozen=True, slots=True)
class Case:
    """Broken at a site since a moment on a carrier [kHz]; `link` is whose it is, where that is told.

    `readings_dbm` are levels read on that carrier with our own transmitter off, by site, None where nothing was
    heard; `answers` what was found out since, in order.
    """

    site: str
    carrier_khz: int
    since: datetime.datetime
    readings_dbm: Mapping[str, float | None] = field(default_factory=dict)
    answers: tuple[HuntAnswer, ...] = ()
    link: str | None = None


@dataclass(frozen=True, slots=True)
class Suspect:
    """Something that may be the cause: the links that it takes to be on, as a sentence, how likely before anything
    was read or asked, its level at the receiver [dBm], what would be read on the carrier at sites (None: nothing),
    sentences of evidence, and the sites on which it stands."""

    kind: Kind
    who: tuple[str, ...]
    says: str
    weight: float
    level_dbm: float
    elsewhere_dbm: Mapping[str, float | None]
    evidence: tuple[str, ...]
    how: How = "planned"
    stands_at: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Ranked:
    """A suspect with its probability in the light of all that is known."""

    suspect: Suspect
    probability: float


@dataclass(frozen=True, slots=True)
class Question:
    """With whose transmitter off to listen, as a sentence; `bits` is how much the answer tells on average."""

    who: str
    says: str
    bits: float


@dataclass(frozen=True, slots=True)
class Hunt:
    """Suspects, the likeliest first, and the question that decides most; None where none tells anything."""

    ranked: tuple[Ranked, ...]
    question: Question | None
