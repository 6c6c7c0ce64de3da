"""The suspects in the light of what was read and found out, and the question that would decide most."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

from linkwright.plan.chain import Scene
from linkwright.plan.hunt.case import Case, Hunt, HuntAnswer, Question, Ranked, Suspect
from linkwright.plan.hunt.listener import HeardSender, HuntListener, senders_of
from linkwright.plan.hunt.suspects import suspects
from linkwright.plan.model import Plan

#: How often an answer is wrong (assumed).
WRONG: Final = 0.03
#: How far a reading lies from what is predicted [dB], and under which level nothing is heard [dBm] (assumed).
READING_DB: Final = 12.0
FLOOR_DBM: Final = -106.0
#: The same where its own site is read: there it may stand beside the reader or far from him [dB] (assumed).
OWN_SITE_DB: Final = 20.0
#: A level of which nothing is known is anything within so much [dB].
ANYTHING_DB: Final = 90.0
#: How often a reading has nothing to do with what is suspected: bodies, walls, somebody else (assumed).
ASTRAY: Final = 0.1
#: A question that tells less is not asked [bits].
LEAST_BITS: Final = 0.002
#: How many suspects are told.
MOST_TOLD: Final = 12


def hunt(scene: Scene, plan: Plan, case: Case) -> Hunt:
    """Suspects of a case, the likeliest first, and what to ask next. Raises InputError for a site or a name that is
    none."""
    senders = senders_of(scene, plan, case.since)
    listener = HuntListener.of(scene, case, senders)
    crew_of = {link.name: link.crew or "" for link in scene.shoot.link}
    every = suspects(scene, case, listener, senders)
    telling = {site: dbm for site, dbm in case.readings_dbm.items() if site not in _occupied(listener, senders)}
    weights = [suspect.weight * _read(suspect, telling) for suspect in every]
    for answer in case.answers:
        weights = [w * _says(suspect, answer, crew_of) for w, suspect in zip(weights, every, strict=True)]
    total = sum(weights) or 1.0
    ranked = sorted(
        (Ranked(suspect, w / total) for suspect, w in zip(every, weights, strict=True)),
        key=lambda ranked: (-ranked.probability, ranked.suspect.says),
    )
    return Hunt(tuple(ranked[:MOST_TOLD]), _question(ranked, crew_of, case.answers))


def _occupied(listener: HuntListener, senders: Sequence[HeardSender]) -> set[str]:
    """Other sites at which somebody is on the carrier as planned: what is read there is his."""
    return {
        sender.chain.site.name
        for sender in senders
        if sender.now
        and sender.chain.site.name != listener.site.name
        and abs(sender.planned.carrier_khz - listener.carrier_khz) < listener.width_khz
    }


def _read(suspect: Suspect, readings_dbm: Mapping[str, float | None]) -> float:
    """How well the readings fit a suspect, as a density."""
    likelihood = 1.0
    for site, dbm in readings_dbm.items():
        anything = 0.3 if dbm is None else 1.0 / ANYTHING_DB
        predicted = suspect.elsewhere_dbm.get(site)
        spread = OWN_SITE_DB if site in suspect.stands_at else READING_DB
        if suspect.kind == "stranger":
            fits = anything
        elif predicted is None:
            fits = 1.0 if dbm is None else 0.0
        elif dbm is None:
            fits = 1.0 - _tail((predicted - FLOOR_DBM) / spread)
        else:
            off = (dbm - predicted) / spread
            fits = math.exp(-off * off / 2.0) / (spread * math.sqrt(2.0 * math.pi))
        likelihood *= (1.0 - ASTRAY) * fits + ASTRAY * anything
    return likelihood


def _tail(x: float) -> float:
    return 0.5 * math.erfc(-x / math.sqrt(2.0))


def _takes_part(suspect: Suspect, who: str, crew_of: Mapping[str, str]) -> bool:
    return who in suspect.who or any(crew_of.get(name) == who for name in suspect.who)


def _says(suspect: Suspect, answer: HuntAnswer, crew_of: Mapping[str, str]) -> float:
    """How well an answer fits a suspect."""
    part = _takes_part(suspect, answer.who, crew_of)
    if answer.asked == "off":  # yes: it is still broken with him off
        return WRONG if part == answer.yes else 1.0 - WRONG
    if part:
        return 1.0 - WRONG if answer.yes else WRONG
    return 1.0


def _question(
    ranked: Sequence[Ranked], crew_of: Mapping[str, str], answers: Sequence[HuntAnswer]
) -> Question | None:
    """With whose transmitter off listening tells most: the mutual information of the answer and the cause."""
    share: dict[str, float] = {}
    for guess in ranked:
        names = set(guess.suspect.who) | {crew_of[name] for name in guess.suspect.who if crew_of.get(name)}
        for name in names:
            share[name] = share.get(name, 0.0) + guess.probability
    asked = {answer.who for answer in answers if answer.asked == "off"}
    best: tuple[float, str] | None = None
    for name, p in sorted(share.items()):
        clear = p * (1.0 - WRONG) + (1.0 - p) * WRONG
        bits = _entropy(clear) - _entropy(WRONG)
        # A single transmitter is sooner off than all of a crew.
        worth = bits - (0.01 if name in crew_of.values() else 0.0)
        if name not in asked and (best is None or worth > best[0]):
            best = worth, name
    if best is None or best[0] < LEAST_BITS:
        return None
    name = best[1]
    whose = f"all transmitters of {name}" if name in crew_of.values() else f"the transmitter of {name}"
    return Question(name, f"With {whose} off, is it still broken?", round(best[0], 3))


def _entropy(p: float) -> float:
    return 0.0 if p <= 0.0 or p >= 1.0 else -p * math.log2(p) - (1.0 - p) * math.log2(1.0 - p)
