"""The day while it happens: readings come in, every link's state and alarms follow, four looks a second.

One thread takes what came and tells the pages how every link stands; another keeps the readings and judges them, so
that neither whoever sends nor whoever looks waits for it. What stands here is bounded: a minute of looks a link,
the open alarms and the last closed ones.
"""

from __future__ import annotations

import datetime
import queue
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

from linkwright.desk import kept_readings
from linkwright.desk.expecting import expected_of
from linkwright.desk.job import Job
from linkwright.desk.spares import Now
from linkwright.desk.telling import Listeners
from linkwright.shoot.errors import InputError
from linkwright.shoot.view import live_calls
from linkwright.watch.diagnose.expected import GONE_DBM, Expected, another_day, at_any_time
from linkwright.watch.diagnose.watcher import Change, Episode
from linkwright.watch.figures.board import SILENT_S, Board
from linkwright.watch.log.live import Live, Taken
from linkwright.watch.log.record import Batch

#: How often the pages are told [s].
LOOK_S: Final = 0.25
#: Closed alarms stand for so long unless somebody acknowledged them [s], and at most so many alarms at all.
STAYS_S: Final = 900.0
MOST_ALARMS: Final = 60
#: Causes that are somebody else's transmitter; and looks that tell whether a transmitter is on: the last second.
BY_OTHERS: Final = ("interference", "intermodulation")
NEWEST: Final = 4
#: After a restart the last so many kept minutes are looked through again.
AGAIN: Final = 5


@dataclass(frozen=True, slots=True)
class Alarm:
    """An episode as the page shows it."""

    key: str
    episode: Episode
    acknowledged: str = ""
    closed_s: float | None = None


@dataclass
class Watching:
    """The readings of one job. Safe to use from several threads."""

    job: Job
    hub: Listeners
    intake: Live = field(default_factory=Live)
    board: Board = field(default_factory=Board)
    alarms: dict[str, Alarm] = field(default_factory=dict)
    _lock: threading.RLock = field(default_factory=threading.RLock)
    _closing: threading.Event = field(default_factory=threading.Event)
    _came: queue.SimpleQueue[list[Batch] | None] = field(default_factory=queue.SimpleQueue)
    _threads: list[threading.Thread] = field(default_factory=list)
    _of_revision: int = -2
    _keeper: kept_readings.Keeper = field(init=False)
    _expected: tuple[Expected, ...] = ()

    def __post_init__(self) -> None:
        self._keeper = kept_readings.Keeper(self.job.store)

    def start(self) -> None:
        """Begin; what was kept last is looked through again, so that a restart forgets no alarm."""
        for name, run in (("looking", self._look_forever), ("judging", self._judge_forever)):
            thread = threading.Thread(target=run, name=name, daemon=True)
            thread.start()
            self._threads.append(thread)

    def close(self) -> None:
        """Stop, and keep what came in."""
        self._closing.set()
        for thread in self._threads:
            thread.join(timeout=10)

    def take(self, payload: Any) -> Taken:
        """Readings as they come over the network."""
        return self.intake.take(payload)

    def put(self, batch: Batch) -> None:
        """Readings of a program inside this one, such as the simulator."""
        self.intake.take_batch(batch)

    def now_ns(self) -> int:
        """The time of the newest reading, or of the clock where there is none [ns]."""
        times = [self.board.time_ns(n) for n in range(len(self.board.names))]
        return max(times, default=0) or time.time_ns()

    def expected(self, link: str) -> Expected | None:
        """What the plan says of a link at the time of the newest reading; of its first call where none is on."""
        mine = [one for one in self._expected if one.link == link]
        now = self.now_ns()
        return next((one for one in mine if one.spans and one.live_at(now)), mine[0] if mine else None)

    def shown(self) -> list[Alarm]:
        """The alarms, the newest first: open ones, and closed ones that nobody acknowledged."""
        with self._lock:
            found = [one for one in self.alarms.values() if one.closed_s is None or not one.acknowledged]
            return sorted(found, key=lambda one: (one.closed_s is not None, -one.episode.from_ns))[:MOST_ALARMS]

    def acknowledge(self, key: str, who: str) -> Alarm:
        """Somebody has seen it. Raises InputError where it does not stand any more."""
        with self._lock:
            one = self.alarms.get(key)
            if one is None:
                raise InputError("this alarm does not stand any more; load the page again")
            self.alarms[key] = replace(one, acknowledged=who)
            return self.alarms[key]

    def states(self) -> dict[str, str]:
        """Every link's state by its name, in the order of the shoot."""
        with self._lock:
            now_s = time.monotonic()
            return {name: self.board.state(n, now_s) for n, name in enumerate(self.board.names)}

    def now(self) -> Now:
        """What the receivers say now, as spares are judged by it."""
        with self._lock:
            now_s = time.monotonic()
            heard, levels = set(), {}
            for n, name in enumerate(self.board.names):
                age, level = self.board.age_s(n, now_s), self.board.level_dbm(n)
                newest = self.board.level_dbm(n, NEWEST)
                if age is None or age > SILENT_S or level is None or newest is None:
                    continue
                levels[name] = level
                known = self.expected(name)
                if newest > (GONE_DBM if known is None else known.gone_dbm):
                    heard.add(name)
            on = (one.episode for one in self.alarms.values() if one.closed_s is None)
            return Now(frozenset(heard), levels, frozenset(one.link for one in on if one.cause in BY_OTHERS))

    def rows(self) -> dict[str, Any]:
        """Everything that a page needs to begin with."""
        with self._lock:
            now_s, look = time.monotonic(), self.board.last_look
            count = len(self.board.names)
            return {
                "names": list(self.board.names),
                "needs": [self.board.need_dbm.get(name) for name in self.board.names],
                "rows": [self.board.row(n, look, now_s) for n in range(count)],
                "looks": [
                    [[None if v != v else round(float(v)) for v in four] for four in self.board.looks(n)]
                    for n in range(count)
                ],
            }

    def tick(self) -> None:
        """Take what came, and tell the pages."""
        now_s = time.monotonic()
        batches = self.intake.drain()
        with self._lock:
            for batch in batches:
                self.board.add(batch, now_s)
            self._who_is_on()
            look = self.board.look()
            rows = [self.board.row(n, look, now_s) for n in range(len(self.board.names))] if self.hub.open else []
        if rows:
            self.hub.tell("live", {"rows": rows, "lost": self.intake.counts().lost})
        if batches:
            self._came.put(batches)

    def _who_is_on(self) -> None:
        """Links of another call are not missed while theirs is not on."""
        if not any(one.spans for one in self._expected):
            return
        now = self.now_ns()
        planned = {one.link for one in self._expected}
        on = {one.link for one in self._expected if one.live_at(now)}
        self.board.off = frozenset(planned - on) if on else frozenset()

    def judge(self, batches: list[Batch]) -> None:
        """Keep what came, and tell alarms."""
        now_s = time.monotonic()
        for batch in batches:
            self._keeper.add(batch, now_s)
        changes = self.intake.judge(batches)
        with self._lock:
            news = [self._changed(change, now_s) for change in changes]
            changed = self._forget(now_s) or any(news)
        if changed:
            self.hub.tell("alarms", {"open": len(self.shown())})

    def _look_forever(self) -> None:
        while not self._closing.wait(LOOK_S):
            self.tick()
        self.tick()
        self._came.put(None)

    def _judge_forever(self) -> None:
        self._look_again()
        while True:
            try:
                batches = self._came.get(timeout=LOOK_S)
            except queue.Empty:
                batches = []
            if batches is None:
                break
            self._follow_the_plan()
            if batches or self.alarms:
                self.judge(batches)
        self._keeper.keep()

    def _look_again(self) -> None:
        try:
            self._follow_the_plan()
            for batch in kept_readings.read(self.job.store, kept_readings.kept(self.job.store)[-AGAIN:]):
                changes = self.intake.judge([batch])
                with self._lock:
                    for change in changes:
                        self._changed(change, time.monotonic())
        except InputError:
            return  # a damaged minute is told on the page Wrap; the day goes on

    def _follow_the_plan(self) -> None:
        """A newer plan brings other carriers and needs."""
        planned, shoot = self.job.planned, self.job.document().shoot
        outside = self._came_outside(self._expected)
        if (
            (planned.of_revision == self._of_revision and not outside)
            or shoot is None
            or planned.plan is None
            or planned.busy
        ):
            return
        try:
            scene = self.job.scene()
        except InputError:
            return  # the page Plan says what is wrong
        if scene is None:
            return
        expected = expected_of(scene, planned.plan)
        if self._came_outside(expected):
            expected = tuple(at_any_time(expected))
        with self._lock:
            self._of_revision, self._expected = planned.of_revision, expected
            self.intake.expect(expected)
            self.board.know([link.name for link in shoot.link])
            self.board.need_dbm = {one.link: one.need_dbm for one in reversed(expected)}

    def _came_outside(self, expected: Sequence[Expected]) -> bool:
        """Whether the newest reading lies far from every call: then the plan's levels count, not its times."""
        now = max((self.board.time_ns(n) for n in range(len(self.board.names))), default=0)
        return bool(now) and another_day(expected, now)

    def _changed(self, change: Change, now_s: float) -> bool:
        episode = change.episode
        key = f"{self._of_revision}-{episode.number}"
        before = self.alarms.get(key)
        closed = now_s if change.kind == "closed" else None
        self.alarms[key] = Alarm(key, episode, before.acknowledged if before else "", closed)
        return before is None or before.episode != episode

    def _forget(self, now_s: float) -> bool:
        old = [
            key for key, one in self.alarms.items()
            if one.closed_s is not None and (one.acknowledged or now_s - one.closed_s > STAYS_S)
        ]  # fmt: skip
        for key in old:
            del self.alarms[key]
        while len(self.alarms) > 4 * MOST_ALARMS:
            del self.alarms[next(iter(self.alarms))]
        return bool(old)


def clock_of(job: Job, time_ns: int) -> str:
    """A time on the clock of the shoot."""
    import zoneinfo

    shoot = job.document().shoot
    zone = zoneinfo.ZoneInfo(shoot.shoot.timezone) if shoot is not None else datetime.UTC
    return datetime.datetime.fromtimestamp(time_ns / 1e9, zone).strftime("%H:%M:%S")


def call_at(job: Job, time_ns: int) -> str | None:
    """The call that is on at a time; else the first that follows, else the last; None without calls."""
    shoot = job.document().shoot
    if shoot is None:
        return None
    at = datetime.datetime.fromtimestamp(time_ns / 1e9, datetime.UTC)
    timed = [call for call in live_calls(shoot) if call.starts is not None and call.ends is not None]
    on = [call for call in timed if call.starts and call.ends and call.starts <= at < call.ends]
    later = [call for call in timed if call.starts and call.starts > at]
    found = (
        on or sorted(later, key=lambda call: call.starts.timestamp() if call.starts else 0.0) or list(timed[-1:])
    )
    return found[0].name if found else live_calls(shoot)[0].name
