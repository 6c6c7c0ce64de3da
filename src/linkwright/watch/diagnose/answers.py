"""What a person answers of an episode is evidence: its causes are weighed by Bayes, and it is said.

An answer is believed, not obeyed: people err too. What was confirmed also makes a cause likelier the next time, by
counts that have a ceiling (a Dirichlet prior).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from linkwright.watch.diagnose.causes import CAUSES, cause_of
from linkwright.watch.diagnose.company import Company
from linkwright.watch.diagnose.products import ProductFit
from linkwright.watch.diagnose.watcher import Episode
from linkwright.watch.diagnose.words import RIVAL, words
from linkwright.watch.log.record import SECOND_NS

#: How often the question of a cause is answered yes where it is that cause, and where it is another; and how often
#: who says "it was this" is right (all assumed).
YES_OF_IT, YES_OF_ANOTHER, SAID_RIGHT = 0.85, 0.15, 0.9
#: What has a lesser share is not listed with an episode; it may still be what it was.
LEAST: Final = 0.01
#: An answer is of the episode that began within this of it [ns].
NEAR_NS: Final = 2 * SECOND_NS
#: The priors weigh as much as so many confirmed episodes; and more than so many of a place count no more (assumed).
PRIOR_WEIGHS: Final = 20.0
MOST_COUNTED: Final = 20


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer of an episode of a link that began at a time [ns, UTC].

    asked : the cause whose question was answered; was : the cause that it was; one of them is "". yes : to the
    question. who : by name, in sentences.
    """

    link: str
    from_ns: int
    asked: str = ""
    yes: bool = False
    was: str = ""
    who: str = ""

    def is_of(self, link: str, from_ns: int) -> bool:
        """Whether it is of an episode of a link that began then."""
        return self.link == link and abs(self.from_ns - from_ns) <= NEAR_NS

    def likely(self, cause: str) -> float:
        """How likely it is to be given where it is this cause."""
        if self.was:
            return SAID_RIGHT if cause == self.was else (1.0 - SAID_RIGHT) / (len(CAUSES) - 1)
        if cause == "unknown":
            return 0.5
        yes = YES_OF_IT if cause == self.asked else YES_OF_ANOTHER
        return yes if self.yes else 1.0 - yes

    @property
    def says(self) -> str:
        """In a sentence."""
        who = self.who or "Somebody"
        if self.was:
            return f"{who} says that it was: {CAUSES[self.was].words}."
        return f'{who} answered "{CAUSES[self.asked].asks}" with {"yes" if self.yes else "no"}.'

    @property
    def confirms(self) -> str:
        """The cause that it speaks for; "" for none."""
        return self.was or (self.asked if self.yes else "")


def asked_of(episode: Episode) -> str:
    """The cause whose question decides most: that of the rival where there is one, else of the cause itself."""
    rivals = [name for name, share in episode.causes if name not in (episode.cause, "unknown") and share >= RIVAL]
    return rivals[0] if rivals else episode.cause


def answered(episode: Episode, answers: Iterable[Answer]) -> Episode:
    """An episode after what was answered of it; the same where nothing was."""
    mine = [answer for answer in answers if answer.is_of(episode.link, episode.from_ns)]
    if not mine:
        return episode
    odds = dict(episode.causes)
    for cause in ("unknown", *(answer.was for answer in mine if answer.was)):
        odds.setdefault(cause, LEAST)
    for given in mine:
        odds = {cause: share * given.likely(cause) for cause, share in odds.items()}
    total = sum(odds.values())
    causes = tuple(sorted(((cause, share / total) for cause, share in odds.items()), key=lambda pair: -pair[1]))
    return retold(episode, causes, " ".join(answer.says for answer in mine))


def retold(episode: Episode, causes: Sequence[tuple[str, float]], why: str) -> Episode:
    """An episode with other shares of its causes, and why; a new cause gets its words and what there was before."""
    cause, probability = cause_of(tuple(causes))
    changed = replace(
        episode, cause=cause, probability=probability, causes=tuple(pair for pair in causes if pair[1] >= 0.02)
    )
    before = f" By the readings alone: {episode.cause.replace('-', ' ')}, {100 * episode.probability:.0f} %."
    told = f" {why}" if why else ""
    if cause == episode.cause:
        return replace(changed, because=f"{episode.because}{told}{before}") if why else changed
    none = np.zeros(0)
    company = Company((), none, none, none)
    because, do = words(cause, episode.track, episode.figures, company, ProductFit(0.0), None, episode.open, causes)
    return replace(changed, because=f"{because}{told}{before}", do=do, makers=())


def counted(answers: Iterable[Answer]) -> Counter[str]:
    """How many episodes were confirmed to have each cause."""
    of_episode = {(answer.link, answer.from_ns): answer.confirms for answer in answers if answer.confirms}
    return Counter(of_episode.values())


def sharpened(confirmed: Mapping[str, int]) -> dict[str, float]:
    """How much likelier each cause is by what was confirmed: (w p + n) / ((w + sum n) p), n up to a ceiling."""
    total = sum(cause.prior for cause in CAUSES.values() if cause.track == "signal")
    shares = {c.name: c.prior / total for c in CAUSES.values() if c.track == "signal" and c.prior > 0.0}
    many = {name: min(MOST_COUNTED, confirmed.get(name, 0)) for name in shares}
    of_all = PRIOR_WEIGHS + sum(many.values())
    return {name: (PRIOR_WEIGHS * p + many[name]) / (of_all * p) for name, p in shares.items()}
