"""Answers of one tap about what the watch told: kept in the log of the day, taken back, and learnt from."""

from __future__ import annotations

from collections import Counter

from linkwright.desk.alarms import Alarm
from linkwright.shoot.errors import InputError
from linkwright.store import Happening, Store
from linkwright.watch.diagnose.answers import Answer, asked_of, counted
from linkwright.watch.diagnose.causes import CAUSES

#: A happening of this kind is an answer, and one of that takes the answers of an episode back.
ANSWERED, TAKEN_BACK = "answered", "answer-taken-back"


def answers_of(store: Store) -> tuple[Answer, ...]:
    """The answers that stand, in the order in which they were given."""
    answers: dict[int, Answer] = {}
    for happening in store.happenings(kinds=(ANSWERED, TAKEN_BACK)):
        if happening.kind == TAKEN_BACK:
            gone = (happening.about, happening.data.get("from_ns"))
            answers = {n: answer for n, answer in answers.items() if (answer.link, answer.from_ns) != gone}
        elif (answer := _answer(happening)) is not None:
            answers[happening.revision] = answer
    return tuple(answers.values())


def _answer(happening: Happening) -> Answer | None:
    """An answer as it was kept; None where it is of no cause that there is."""
    asked, was, from_ns = (happening.data.get(key) for key in ("asked", "was", "from_ns"))
    if not isinstance(from_ns, int) or (was or asked) not in CAUSES:
        return None
    return Answer(
        happening.about, from_ns, str(asked or ""), bool(happening.data.get("yes")), str(was or ""), happening.who
    )


def give(store: Store, alarm: Alarm, yes: bool | None, was: str, who: str) -> str:
    """Keep an answer about an alarm: to the question that it asks, or what it was; what is said then, a sentence.
    Raises InputError for a cause that there is not."""
    episode = alarm.episode
    if (was and was not in CAUSES) or (not was and yes is None):
        raise InputError("that is no answer: yes, no, or one of the causes")
    asked = "" if was else asked_of(episode)
    answer = Answer(episode.link, episode.from_ns, asked, bool(yes), was, who)
    data = {"from_ns": episode.from_ns, "asked": asked, "yes": bool(yes), "was": was, "text": answer.says}
    store.happen(ANSWERED, episode.link, data, None, who)
    return answer.says


def say_afterwards(store: Store, link: str, from_ns: int, was: str, who: str) -> str:
    """Keep what an episode of the day was, or with "" take back what was answered of it; what is said then. Raises
    InputError for a cause that there is not."""
    if not was:
        return take_back(store, link, from_ns, who)
    if was not in CAUSES:
        raise InputError("that is none of the causes")
    answer = Answer(link, from_ns, was=was, who=who)
    data = {"from_ns": from_ns, "asked": "", "yes": False, "was": was, "text": answer.says}
    store.happen(ANSWERED, link, data, None, who)
    return answer.says


def take_back(store: Store, link: str, from_ns: int, who: str) -> str:
    """Take back what was answered of an episode; what is said then."""
    mine = [answer.from_ns for answer in answers_of(store) if answer.is_of(link, from_ns)]
    for there_ns in dict.fromkeys(mine):
        data = {"from_ns": there_ns, "text": "the answer was taken back"}
        store.happen(TAKEN_BACK, link, data, None, who)
    return "The answer was taken back."


def confirmed(store: Store) -> Counter[str]:
    """How many episodes of this job each cause was confirmed of."""
    return counted(answers_of(store))
