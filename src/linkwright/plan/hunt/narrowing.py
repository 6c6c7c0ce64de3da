"""The suspects in the light of what was read and found out, and the question that would decide most."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

from linkwright.plan.chain import Scene
from linkwright.plan.hunt.case import Answer, Case, Hunt, Question, Ranked, Suspect
from linkwright.plan.hunt.listener import Listener, senders_of
from linkwright.plan.hunt.suspects import suspects
from linkwright.plan.model import Plan

#: How often an answer is wrong (assumed).
WRONG: Final = 0.03
#: How far a reading lies from what is predicted [dB], and under which level nothing is heard [dBm] (assumed).
READING_DB: Final = 9.0
FLOOR_DBM: Final = -106.0
#: What nobody foresaw has at least this density for a reading [1/dB].
LEAST_DENSITY: Final = 2e-4
#: A stranger's level is anything between these [dB apart].
STRANGER_RANGE_DB: Final = 90.0
#: A question that tells less is not asked [bits].
LEAST_BITS: Final = 0.02
#: How many suspects are told.
MOST_TOLD: Final = 12


def hunt(scene: Scene, plan: Plan, case: Case) -> Hunt:
    """Suspects of a case, the likeliest first, and what to ask next. Raises InputError for a site or a name that is
    none."""
    senders = senders_of(scene, plan, case.since)
    listener = Listener.of(scene, case.site, case.carrier_khz, senders)
    crew_of = {link.name: link.crew or "" for link in scene.shoot.link}
    every = suspects(scene, case, listener, senders)
    weights = [suspect.weight * _read(suspect, case) for suspect in every]
    for answer in case.answers:
        weights = [w * _says(suspect, answer, crew_of) for w, suspect in zip(weights, every, strict=True)]
    total = sum(weights) or 1.0
    ranked = sorted(
        (Ranked(suspect, w / total) for suspect, w in zip(every, weights, strict=True)),
        key=lambda one: (-one.probability, one.suspect.says),
    )
    return Hunt(tuple(ranked[:MOST_TOLD]), _question(ranked, crew_of, case.answers))


def _read(suspect: Suspect, case: Case) -> float:
    """How well the readings fit a suspect, as a density."""
    found = 1.0
    for site, dbm in case.readings_dbm.items():
        if suspect.kind == "stranger":
            found *= 0.3 if dbm is None else 1.0 / STRANGER_RANGE_DB
            continue
        predicted = suspect.elsewhere_dbm.get(site)
        if dbm is None:
            heard = 0.0 if predicted is None else _tail((predicted - FLOOR_DBM) / READING_DB)
            found *= max(1.0 - heard, 0.01)
        elif predicted is None:
            found *= LEAST_DENSITY
        else:
            off = (dbm - predicted) / READING_DB
            found *= max(math.exp(-off * off / 2.0) / (READING_DB * math.sqrt(2.0 * math.pi)), LEAST_DENSITY)
    return found


def _tail(x: float) -> float:
    return 0.5 * math.erfc(-x / math.sqrt(2.0))


def _takes_part(suspect: Suspect, who: str, crew_of: Mapping[str, str]) -> bool:
    return who in suspect.who or any(crew_of.get(name) == who for name in suspect.who)


def _says(suspect: Suspect, answer: Answer, crew_of: Mapping[str, str]) -> float:
    """How well an answer fits a suspect."""
    part = _takes_part(suspect, answer.who, crew_of)
    if answer.asked == "off":  # yes: it is still broken with him off
        return WRONG if part == answer.yes else 1.0 - WRONG
    if part:
        return 1.0 - WRONG if answer.yes else WRONG
    return 1.0


def _question(ranked: Sequence[Ranked], crew_of: Mapping[str, str], answers: Sequence[Answer]) -> Question | None:
    """With whose transmitter off listening tells most: the mutual information of the answer and the cause."""
    share: dict[str, float] = {}
    for one in ranked:
        names = set(one.suspect.who) | {crew_of[name] for name in one.suspect.who if crew_of.get(name)}
        for name in names:
            share[name] = share.get(name, 0.0) + one.probability
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
