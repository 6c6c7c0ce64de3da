"""The day while it happens: readings come in, every link's state and alarms follow, four looks a second.

Fed by readings and by new plans, by nothing else. One work takes what came and tells the pages how every link
stands; another keeps the readings and judges them, so that neither whoever sends nor whoever looks waits for it.
Links go by their ids; what nobody has in the job goes by the name that its readings have. All is bounded: a minute
of looks a link, the open alarms and the last closed ones.
"""

from __future__ import annotations

import contextlib
import datetime
import json
import logging
import math
import queue
import threading
import time
from collections import Counter, deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np

from linkwright.desk import kept_readings
from linkwright.desk.alarms import Alarm, Alarms
from linkwright.desk.answers import answers_of, give, take_back
from linkwright.desk.background import Background, WorkRun
from linkwright.desk.expecting import expected_of
from linkwright.desk.names import Names
from linkwright.desk.part import SHOWN
from linkwright.desk.snapshot import Made
from linkwright.desk.spares import Now
from linkwright.desk.telling import Listeners
from linkwright.shoot.errors import InputError
from linkwright.store import Store
from linkwright.units import SampleArray, number_word
from linkwright.watch.diagnose.answers import counted, sharpened
from linkwright.watch.diagnose.causes import CAUSES, words_of
from linkwright.watch.diagnose.expected import GONE_DBM, Expected, another_day, at_any_time
from linkwright.watch.diagnose.logs import meters_said
from linkwright.watch.diagnose.plain import plain_loop
from linkwright.watch.diagnose.watcher import Watcher
from linkwright.watch.figures.board import BREAKS, SILENT_S, Board
from linkwright.watch.log.common_clock import DAY_NS
from linkwright.watch.log.kept import packed, unpacked
from linkwright.watch.log.live import Intake
from linkwright.watch.log.record import BATTERY, MUTED, QUALITY, Batch
from linkwright.watch.log.stretches import batch_of

LOG: Final = logging.getLogger(__name__)
#: How often the pages are told [s].
LOOK_S: Final = 0.25
#: So many looks of readings may wait to be judged; the watch is half a minute behind then, and sheds.
MOST_TURNS: Final = 120
#: Looks that tell whether a transmitter is on: the last second.
NEWEST: Final = 4
#: What else is amiss is asked so often [s]; a gauge tells nothing that said nothing for so long [s].
ASKED_S: Final = 15.0
OLD_S: Final = 60.0
#: What processes hand each other: readings, that somebody has seen an alarm, that somebody answered one.
READINGS, SEEN, ANSWERED = "readings", "seen", "answered"
#: After a restart the last so many kept minutes are looked through again.
AGAIN: Final = 5


@dataclass(frozen=True, slots=True)
class Came:
    """Readings of a look by the ids of links: what came here, and what came to other processes, who keep it."""

    here: list[Batch] = field(default_factory=list)
    elsewhere: list[Batch] = field(default_factory=list)

    @property
    def every(self) -> list[Batch]:
        """All of them."""
        return self.here + self.elsewhere


@dataclass
class Watching:
    """The readings of one job. `names` are those of now; `besides` tells what else is amiss, sentences;
    `known_before` which causes were confirmed at this place on other days, `known_of_kit` with the kit of a link,
    by its id. Safe to use from several threads."""

    store: Store
    listeners: Listeners
    looking: Background
    judging: Background
    names: Names = field(default_factory=Names)
    zone: datetime.tzinfo = datetime.UTC
    intake: Intake = field(default_factory=Intake)
    board: Board = field(default_factory=Board)
    alarms: Alarms = field(default_factory=Alarms)
    _lock: threading.RLock = field(default_factory=threading.RLock)
    compiled: Callable[[], bool] = field(default=lambda: True)
    _came: queue.Queue[Came] = field(default_factory=lambda: queue.Queue(MOST_TURNS))
    _handed: deque[tuple[str, bytes]] = field(default_factory=lambda: deque(maxlen=MOST_TURNS))
    _shed: int = 0
    _keeper: kept_readings.ReadingKeeper = field(init=False)
    _watcher: Watcher = field(init=False)
    _planned: tuple[Expected, ...] = ()
    _expected: tuple[Expected, ...] = ()
    _links: tuple[str, ...] = ()
    _near: frozenset[str] = frozenset()
    _silent: str = ""
    _new_plan: bool = False
    besides: Callable[[], tuple[str, ...]] = field(default=tuple)
    known_before: Callable[[], Counter[str]] = field(default=Counter)
    known_of_kit: Callable[[], Mapping[str, Counter[str]]] = field(default=dict)
    _besides: tuple[str, ...] = ()
    _asked_s: float = -math.inf

    def __post_init__(self) -> None:
        self._keeper = kept_readings.ReadingKeeper(self.store)
        self._watcher = Watcher(called=self._called)
        self._learn()

    def start(self) -> None:
        """Begin; what was kept last is looked through again, so that a restart forgets no alarm."""
        self.looking.begin(self._look)
        self.judging.begin(self._judge)

    def close(self) -> None:
        """Stop, and keep what came in."""
        self.looking.close()
        self.judging.stop()
        self._wake()
        self.judging.close()
        self._take_in()
        with contextlib.suppress(queue.Empty):
            while True:
                self._keep(self._came.get_nowait().here)
        try:
            self._keeper.keep()
        except InputError:
            LOG.exception("the last readings were not kept")

    def _called(self, link: str) -> str:
        return self.names.name_of(link)

    # What the plan says

    def expect(self, made: Made | None) -> None:
        """A new plan: it holds from now on."""
        expected = () if made is None else _by_id(expected_of(made.scene, made.plan), made.names)
        with self._lock:
            self._planned, self._new_plan = expected, True
        self._wake()

    def show(self, links: Sequence[str], names: Names, zone: datetime.tzinfo) -> None:
        """The links that have a tile, by id, in this order; what they are called; the clock of the shoot."""
        # no lock is taken: whoever tells may hold another
        self._links, self.names, self.zone = tuple(links), names, zone
        self.intake.know(frozenset(name for kind, name in {*names.now, *names.ever} if kind == "link"))

    def _follow_the_plan(self) -> None:
        """Go by the newest plan; by its levels alone where the readings are of another day."""
        with self._lock:
            outside = another_day(self._planned, self._newest_ns())
            expected = tuple(at_any_time(self._planned)) if outside else self._planned
            if not self._new_plan and expected == self._expected:
                return
            self._expected, self._new_plan = expected, False
            self._watcher.expect(expected)
            self.board.need_dbm = {link.link: link.planned_need_dbm for link in reversed(expected)}
            self.board.fading_db = {link.link: link.fading_db for link in reversed(expected)}

    def _newest_ns(self) -> int:
        return self.intake.now_ns or max((self.board.time_ns(n) for n in range(len(self.board.names))), default=0)

    def now_ns(self) -> int:
        """The time of the newest reading, or of the clock where there is none [ns]."""
        return self._newest_ns() or time.time_ns()

    def expected(self, link: str) -> Expected | None:
        """What the plan says of a link at the time of the newest reading; of its first call where none is on."""
        mine = [expected for expected in self._expected if expected.link == link]
        now = self.now_ns()
        return next(
            (expected for expected in mine if expected.spans and expected.live_at(now)), mine[0] if mine else None
        )

    # What is shown

    def now(self, made: Made) -> Now:
        """What the receivers say now, as spares are judged by it: by what the links were called in a plan."""
        with self._lock:
            now_s = time.monotonic()
            heard, levels = set(), {}
            for n, link in enumerate(self.board.names):
                age, level = self.board.age_s(n, now_s), self.board.level_dbm(n)
                newest = self.board.level_dbm(n, NEWEST)
                if age is None or age > SILENT_S or level is None or newest is None:
                    continue
                name, known = made.names.name_of(link), self.expected(link)
                levels[name] = level
                if newest > (GONE_DBM if known is None else known.gone_dbm):
                    heard.add(name)
            disturbed = [
                open_episode.link
                for open_episode in self.alarms.open_episodes()
                if CAUSES[open_episode.cause].by_others
            ]
        return Now(frozenset(heard), levels, frozenset(map(made.names.name_of, disturbed)))

    def transmits(self, link: str) -> bool | None:
        """Whether a link, by name, transmits, as its receiver tells now; None where it says nothing of that."""
        id_ = self.names.id_of("link", link)
        with self._lock:
            row = next((n for n, name in enumerate(self.board.names) if name == id_), None)
            age = None if row is None else self.board.age_s(row, time.monotonic())
            if row is None or age is None or age > SILENT_S:
                return None
            last, level = self.board.last(row), self.board.level_dbm(row, NEWEST)
        if last[QUALITY] == last[QUALITY]:
            return bool(last[QUALITY] >= BREAKS)
        if level is None or last[MUTED] == 1.0:
            return None
        known = self.expected(id_)
        return level > (GONE_DBM if known is None else known.gone_dbm)

    def shown(self) -> list[Alarm]:
        """The alarms, open ones first, the newest first."""
        with self._lock:
            return self.alarms.shown()

    def acknowledge(self, key: str, who: str) -> Alarm:
        """Somebody has seen an alarm. Raises InputError where it does not stand any more."""
        with self._lock:
            alarm = self.alarms.acknowledge(key, who)
        self.store.hand_over(SEEN, json.dumps([key, who]).encode())
        return alarm

    def answer(self, key: str, yes: bool | None, was: str, who: str) -> str:
        """Somebody answers what an alarm asks, says what it was, or (with neither) takes that back; what is said
        then. Raises InputError where the alarm does not stand any more."""
        alarm = next((open_alarm for open_alarm in self.shown() if open_alarm.key == key), None)
        if alarm is None:
            raise InputError("this alarm does not stand any more; load the page again")
        if yes is None and not was:
            says = take_back(self.store, alarm.episode.link, alarm.episode.from_ns, who)
        else:
            says = give(self.store, alarm, yes, was, who)
        self.store.hand_over(ANSWERED, b"")
        self._learn()
        self.listeners.tell("alarms", self.told())
        return says

    def answered_elsewhere(self) -> None:
        """Somebody answered on another page: go by it."""
        self._learn()
        self.listeners.tell("alarms", self.told())

    def _learn(self) -> None:
        """Go by what was answered so far, and by what was confirmed here before."""
        answers = answers_of(self.store)
        here, kit = self.known_before() + counted(answers), self.known_of_kit()
        with self._lock:
            self.alarms.answers = answers
            self._watcher.likelier = sharpened(here)
            self._watcher.likelier_of = {link: sharpened(here + causes) for link, causes in kit.items()}

    def states(self) -> dict[str, str]:
        """Every link's state by its id, in the order of the shoot."""
        with self._lock:
            now_s = time.monotonic()
            return {link: self.board.state(n, now_s) for n, link in self._shown_rows()}

    def level_dbm(self, link: str, seconds: float) -> float | None:
        """The level of a link's better branch over the last seconds, the median [dBm]; None where none was said."""
        with self._lock:
            place = {id_: n for n, id_ in self._shown_rows()}
            return self.board.level_dbm(place[link], round(seconds / LOOK_S)) if link in place else None

    def watched(self) -> bool:
        """Whether the watch has had any readings, since the program began or from what was kept."""
        return bool(self._watcher.names)

    def meters(self) -> list[str]:
        """What meters of few steps show and what they cannot, sentences without their end."""
        seen = [replace(meter, link=self._called(meter.link)) for meter in self._watcher.seen()]
        return meters_said(seen)

    def silent_since_ns(self) -> int | None:
        """The time of the newest reading where no link says anything any more; None where one does or never did."""
        with self._lock:
            now_s = time.monotonic()
            ages = [self.board.age_s(n, now_s) for n in range(len(self.board.names))]
            said = any(age is not None and age <= SILENT_S for age in ages)
            return None if said else self._newest_ns() or None

    def _shown_rows(self) -> list[tuple[int, str]]:
        """Rows of the board that have a tile: the links of the shoot in its order, then strangers whose readings
        came. A link that was removed has none any more; of an event those have one that are on, or next, or are
        heard."""
        called, place = self.names.called, {link: n for n, link in enumerate(self.board.names)}
        mine = [(place[link], link) for link in self._links if link in place]
        if self._near and len(mine) > SHOWN:
            mine = [(n, link) for n, link in mine if link in self._near or self.board.age_s(n, 0.0) is not None]
        strangers = [(n, link) for link, n in place.items() if link not in self._links and link not in called]
        return mine + strangers

    def rows(self) -> dict[str, Any]:
        """Everything that a page needs to begin with."""
        with self._lock:
            now_s, look, shown = time.monotonic(), self.board.last_look, self._shown_rows()
            return {
                "ids": [link for _, link in shown],
                "names": [self._called(link) for _, link in shown],
                "needs": [self.board.need_dbm.get(link) for _, link in shown],
                "rows": [self.board.row(n, look, now_s) for n, _ in shown],
                "looks": [_listed(self.board.looks(n)) for n, _ in shown],
            }

    # The work

    def _look(self, run: WorkRun) -> None:
        """Take what came and tell the pages, four times a second."""
        while True:
            self.look()
            run.wait(LOOK_S)

    def look(self) -> None:
        """Take what came, and tell the pages."""
        now_s = time.monotonic()
        came = self._take_in()
        with self._lock:
            self.board.know(list(self._links))
            for batch in came.every:
                self.board.add(batch, now_s)
            self._who_is_on()
            look = self.board.look()
            rows = {}
            if self.listeners.open:
                rows = {link: self.board.row(n, look, now_s) for n, link in self._shown_rows()}
        if now_s - self._asked_s > ASKED_S:
            self.ask_besides()
        silent = self.silent()
        if silent != self._silent:
            self._silent = silent
            self.listeners.tell("readings", {"silent": silent})
        if rows:
            lost = self.intake.counts().lost + self._shed + self._keeper.lost
            self.listeners.tell("live", {"rows": rows, "lost": lost})

    def hear(self, kind: str, data: bytes) -> None:
        """Something that came to another process waits to be taken in."""
        self._handed.append((kind, data))

    def _take_in(self) -> Came:
        """What came since, by the ids of links; it goes on to be judged."""
        names = self.names
        here = [
            replace(batch, names=tuple(names.id_of("link", name) for name in batch.names))
            for batch in self.intake.drain()
        ]
        came = Came(here, list(self._from_elsewhere()))
        if came.every:
            try:
                self._came.put_nowait(came)
            except queue.Full:
                self._shed += sum(map(len, came.every))
        return came

    def _from_elsewhere(self) -> Iterator[Batch]:
        """The readings that came to other processes; what was seen or answered there is gone by."""
        while self._handed:
            kind, data = self._handed.popleft()
            with contextlib.suppress(ValueError, InputError):
                if kind == READINGS:
                    yield batch_of(unpacked(data))
                elif kind == SEEN:
                    with self._lock:
                        self.alarms.acknowledge(*json.loads(data))
                    self.listeners.tell("alarms", self.told())
                elif kind == ANSWERED:
                    self.answered_elsewhere()

    def _who_is_on(self) -> None:
        """Links of another call are not missed while theirs is not on; of an event they have no tile meanwhile."""
        planned, now = self._planned, self.now_ns()
        on = frozenset(expected.link for expected in planned if expected.live_at(now))
        self._near = on or _next(planned, now)
        if any(expected.spans for expected in self._expected):
            self.board.off = frozenset(expected.link for expected in planned) - on if on else frozenset()

    def _judge(self, run: WorkRun) -> None:
        """Keep what comes, and tell alarms; first what was kept last."""
        self._look_again()
        while True:
            run.check()
            try:
                came = self._came.get(timeout=LOOK_S)
            except queue.Empty:
                came = Came()
            self._keep(came.here)
            self._keeper.turn(time.monotonic())
            if came.here and self.store.is_shared:
                self.store.hand_over(READINGS, packed(kept_readings.together(came.here)))
            self.judge(came.every)

    def _wake(self) -> None:
        """Whoever judges looks now: a new plan, or the end, waits for no reading."""
        with contextlib.suppress(queue.Full):
            self._came.put_nowait(Came())

    def _keep(self, batches: Sequence[Batch]) -> None:
        for batch in batches:
            self._keeper.add(batch)

    def judge(self, batches: Sequence[Batch]) -> None:
        """Give readings to the watch, and tell what changed."""
        self._follow_the_plan()
        if self.intake.now_ns and self._watcher.newest_ns > self.intake.now_ns + DAY_NS:
            with self._lock:  # it went by one receiver whose clock was years ahead, and would tell nothing any more
                self._watcher, self.alarms = Watcher(called=self._called), Alarms()
                self._watcher.expect(self._expected)
            self._learn()
        self._watcher.step = None if self.compiled() else plain_loop()
        changes = [change for batch in batches for change in self._watcher.add(batch)]
        with self._lock:
            changed = self.alarms.take(changes, time.monotonic())
        if changed:
            self.listeners.tell("alarms", self.told())

    def ask_besides(self) -> None:
        """Ask what else is amiss, and tell the pages where that is something else than before."""
        self._asked_s, before = time.monotonic(), self._besides
        self._besides = self.besides()
        if self._besides != before:
            self.listeners.tell("alarms", self.told())

    def told(self) -> dict[str, Any]:
        """What is broken and what is silent now, in words, as every page is told."""
        alarms = [alarm.episode for alarm in self.shown() if alarm.open]
        said = [f"{self._called(alarm.link)}: {words_of(alarm.cause)}." for alarm in alarms] + list(self._besides)
        more = f", and {number_word(len(said) - 1)} more." if len(said) > 1 else "."
        broken = said[0].removesuffix(".") + more if said else ""
        return {"open": len(said), "broken": broken, "silent": self.silent()}

    def gauges(self) -> dict[str, float]:
        """What is left in the cells as receivers show it (0 to 1), by id; of those that say so now."""
        with self._lock:
            now_s = time.monotonic()
            ages = {name: self.board.age_s(n, now_s) for n, name in enumerate(self.board.names)}
            last = {name: float(self.board.last(n)[BATTERY]) for n, name in enumerate(self.board.names)}
        fresh = (name for name, age in ages.items() if age is not None and age < OLD_S)
        return {name: last[name] for name in fresh if last[name] >= 0.0}

    def silent(self) -> str:
        """What is amiss with the readings, a sentence: they cannot be kept, or none come any more."""
        keeper = self._keeper
        if keeper.says:
            lost = f"; {keeper.lost} are lost" if keeper.lost else ""
            return f"Readings are not being kept: {keeper.says} ({keeper.waiting} wait{lost})."
        since_ns = self.silent_since_ns()
        return "" if since_ns is None else f"No readings since {clock_of(since_ns, self.zone)}."

    def _look_again(self) -> None:
        """The watch from the kept minutes: after a restart of the program, and of the watch itself."""
        with self._lock:
            self._watcher, self._new_plan = Watcher(called=self._called), True
            self.alarms = Alarms()
        self._learn()
        try:
            for batch in kept_readings.newest(self.store, AGAIN):
                self.judge([batch])
        except InputError:
            return  # a damaged minute is told on the page Wrap; the day goes on


def _next(planned: Sequence[Expected], now_ns: int) -> frozenset[str]:
    """The links that are on first after a time."""
    begins = [(begin, expected.link) for expected in planned for begin, _ in expected.spans if begin > now_ns]
    first = min(begins, default=(0, ""))[0]
    return frozenset(link for begin, link in begins if begin == first)


def _listed(looks: SampleArray) -> list[list[int | None]]:
    """A minute of looks in whole decibels, None for what was not said; nothing where nothing was."""
    silent = np.isnan(looks)
    if silent.all():
        return []
    told = np.rint(np.nan_to_num(looks)).astype(int).astype(object)
    told[silent] = None
    listed: list[list[int | None]] = told.tolist()
    return listed


def clock_of(time_ns: int, zone: datetime.tzinfo) -> str:
    """A time on the clock of the shoot."""
    return f"{datetime.datetime.fromtimestamp(time_ns / 1e9, zone):%H:%M:%S}"


def _by_id(expected: Sequence[Expected], names: Names) -> tuple[Expected, ...]:
    return tuple(replace(expectation, link=names.id_of("link", expectation.link)) for expectation in expected)
