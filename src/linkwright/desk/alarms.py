"""What the watch tells as alarms: one a link and cause, closed when it is over, gone when somebody has seen it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Final

from linkwright.shoot.errors import InputError
from linkwright.watch.diagnose.answers import Answer, answered, asked_of
from linkwright.watch.diagnose.watcher import Change, Episode

#: Closed alarms stand for so long unless somebody acknowledged them [s], and at most so many alarms at all.
STAYS_S: Final = 900.0
MOST_SHOWN: Final = 60
#: So many episodes are kept to be shown.
MOST_KEPT: Final = 240


@dataclass(frozen=True, slots=True)
class Alarm:
    """A fault of a link as the page shows it: the newest episode of that cause, and how often it came.

    key : under which it is acknowledged. since_ns : the begin of the first. asks : the cause whose question decides
    most. answered : somebody has answered it.
    """

    key: str
    episode: Episode
    times: int
    since_ns: int
    acknowledged: str
    open: bool
    asks: str = ""
    answered: bool = False


@dataclass(frozen=True, slots=True)
class _Kept:
    episode: Episode
    acknowledged: str = ""
    closed_s: float | None = None


@dataclass
class Alarms:
    """The episodes that are shown, after what was answered. Whoever uses it from several threads locks it."""

    answers: tuple[Answer, ...] = ()
    _kept: dict[int, _Kept] = field(default_factory=dict)

    def take(self, changes: Iterable[Change], now_s: float) -> bool:
        """Episodes opened, changed or closed. Whether anything is to be shown otherwise."""
        news = False
        for change in changes:
            before = self._kept.get(change.episode.number)
            if before is None and not change.episode.alarm:
                continue
            closed = now_s if change.kind == "closed" else None
            who = before.acknowledged if before is not None else ""
            self._kept[change.episode.number] = _Kept(change.episode, who, closed)
            news = news or before is None or before.episode != change.episode
        return self._forget(now_s) or news

    def _forget(self, now_s: float) -> bool:
        """What is over, and was seen or is long over, goes. Whether anything did."""
        over = [
            number
            for number, kept in self._kept.items()
            if kept.closed_s is not None and (kept.acknowledged or now_s - kept.closed_s > STAYS_S)
        ]
        over += list(self._kept)[: max(0, len(self._kept) - len(over) - MOST_KEPT)]
        for number in over:
            self._kept.pop(number, None)
        return bool(over)

    def shown(self) -> list[Alarm]:
        """The alarms: open ones first, the newest first."""
        groups: dict[tuple[str, str], list[_Kept]] = {}
        for kept in self._kept.values():
            if kept.closed_s is None or not kept.acknowledged:
                groups.setdefault((kept.episode.link, kept.episode.cause), []).append(kept)
        alarms = [self._after_answers(_alarm(kept)) for kept in groups.values()]
        return sorted(alarms, key=lambda alarm: (not alarm.open, -alarm.episode.from_ns))[:MOST_SHOWN]

    def _after_answers(self, alarm: Alarm) -> Alarm:
        episode = answered(alarm.episode, self.answers)
        return replace(alarm, episode=episode, asks=asked_of(alarm.episode), answered=episode is not alarm.episode)

    def acknowledge(self, key: str, who: str) -> Alarm:
        """Somebody has seen it. Raises InputError where it does not stand any more."""
        alarm = next((open_alarm for open_alarm in self.shown() if open_alarm.key == key), None)
        if alarm is None:
            raise InputError("this alarm does not stand any more; load the page again")
        for number, kept in self._kept.items():
            if f"{kept.episode.link}.{kept.episode.cause}" == key:
                self._kept[number] = replace(kept, acknowledged=who)
        return replace(alarm, acknowledged=who)

    def open_episodes(self) -> list[Episode]:
        """What is amiss now."""
        return [kept.episode for kept in self._kept.values() if kept.closed_s is None]

    def __bool__(self) -> bool:
        return bool(self._kept)


def _alarm(kept: list[_Kept]) -> Alarm:
    """Episodes of one link and cause as one alarm."""
    newest = max(kept, key=lambda alarm: (alarm.closed_s is None, alarm.episode.from_ns))
    episode = newest.episode
    key = f"{episode.link}.{episode.cause}"
    since = min(alarm.episode.from_ns for alarm in kept)
    return Alarm(key, episode, len(kept), since, newest.acknowledged, newest.closed_s is None)
