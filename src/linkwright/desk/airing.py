"""The air of the day: sweeps that come in while they are made, who is new in them, and what a plan takes of that.

Text of rows comes in by any thread, is cut into passes and looked at at once; one work tells the pages, asks the
receivers whose carrier came up, and keeps a picture a minute. All is bounded: a few
sources, a picture of twelve hours.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

from linkwright.air.arrivals import Arrivals, Somebody
from linkwright.air.fresh import FreshAir, SlotNow
from linkwright.air.ours import IsOn, Mine
from linkwright.air.passes import Passes
from linkwright.air.readers import ListedCarrier, Readout
from linkwright.desk import kept_air
from linkwright.desk.air_records import SentRows, records_of
from linkwright.desk.background import Background, WorkRun
from linkwright.desk.telling import Listeners
from linkwright.lengths import age
from linkwright.shoot.errors import InputError
from linkwright.store import Store
from linkwright.units import mhz_text, minus

#: How the key of somebody who is new on the air begins.
AIR: Final = "air."
#: What rows are called that another process took in.
SWEEP: Final = "sweep"
#: So many rows of other processes may wait [payloads].
MOST_HANDED: Final = 64
#: So many programs may send at a time; who was silent for longest goes for another.
MOST_SOURCES: Final = 4
#: A look older than this, or than three passes, is not of now any more [s].
STALE_S: Final = 300.0
STALE_PASSES: Final = 3.0
#: The pages are told at most so often [s]; it is looked so often whether anything is to be decided.
TELL_S: Final = 2.0
TICK_S: Final = 0.25
#: Who was heard so long ago still counts for a plan [s].
PLAN_S: Final = 3_600.0
#: So far beside somebody no spare is taken either [kHz]: a microphone's band.
BESIDE_KHZ: Final = 200.0


@dataclass(frozen=True, slots=True)
class AirNow:
    """What the live sweep says of a slot: the slot, how old the look is [s], whether that is fresh enough to count,
    and who is there."""

    slot: SlotNow
    age_s: float
    fresh: bool
    unit: str
    somebody: Somebody | None

    def says(self, clock: Callable[[float], str]) -> str:
        """In words, with its age."""
        looked = f"looked at {age_words(self.age_s)} ago"
        if not self.fresh:
            return f"the live sweep is {age_words(self.age_s)} old and does not count"
        if not self.slot.busy:
            share = f", on {100 * self.slot.share:.0f} % of the looks" if self.slot.share >= 0.01 else ""
            return f"the live sweep shows nobody there now{share} ({looked})"
        since = f" since {clock(self.somebody.since_s)}" if self.somebody is not None else ""
        return f"the live sweep shows {self.slot.level_db:.0f} {self.unit} of somebody there{since} ({looked})"


def age_words(seconds: float) -> str:
    """How long ago a look was, in words."""
    return f"{max(0.0, seconds):.0f} s" if seconds < 90.0 else age(seconds)


@dataclass(eq=False)
class Source:
    """A program that sends sweeps: what it is called, of which site, and what came of it; it may send them to
    another process, which keeps them."""

    name: str
    site: str
    passes: Passes
    air: FreshAir
    arrivals: Arrivals
    heard_s: float = 0.0
    noted: int = 0
    elsewhere: bool = False

    @property
    def stale_s(self) -> float:
        """When a look is not of now any more [s]."""
        return max(STALE_S, STALE_PASSES * self.air.every_s)


@dataclass
class Airing:
    """The live sweeps of one job. Safe to use from several threads.

    is_on : whether a link of ours transmits, as its receiver tells. site : the site of the call that is on.
    changed : hears that somebody came on a spare, for whom a plan is made again. news : that somebody came or
    went on one of ours.
    """

    store: Store
    listeners: Listeners
    background: Background
    is_on: IsOn = field(default=lambda _link: None)
    site: Callable[[], str] = field(default=str)
    changed: Callable[[], None] = field(default=lambda: None)
    news: Callable[[], None] = field(default=lambda: None)
    clock: Callable[[], float] = time.time
    _sources: dict[str, Source] = field(default_factory=dict)
    _mine: Mapping[str, tuple[Mine, ...]] = field(default_factory=dict)
    _seen: dict[tuple[str, int, int], str] = field(default_factory=dict)
    _planned: dict[str, tuple[ListedCarrier, ...]] = field(default_factory=dict)
    _lock: threading.RLock = field(default_factory=threading.RLock)
    _handed: deque[bytes] = field(default_factory=lambda: deque(maxlen=MOST_HANDED))
    _told_s: float = 0.0
    _news: bool = False
    _last: tuple[Any, ...] = ()
    says: str = ""

    def start(self) -> None:
        """Begin."""
        self.background.begin(self._work)

    def close(self) -> None:
        """Stop, and keep the minute under way."""
        self.background.close()
        with self._lock:
            for source in self._sources.values():
                self._keep(source, whole=True)

    def expect(self, mine: Mapping[str, tuple[Mine, ...]]) -> None:
        """A new plan: our carriers and spares, by the name of the site."""
        with self._lock:
            self._mine = mine
            for source in self._sources.values():
                source.arrivals.expect(mine.get(source.site, ()))

    # What comes in

    def take(self, payload: bytes) -> dict[str, Any]:
        """What `take_in` does, and the other processes hear of it too."""
        answer = self.take_in(payload)
        self.store.hand_over(SWEEP, payload)
        return answer

    def hear(self, payload: bytes) -> None:
        """Rows that another process took in wait to be looked at."""
        self._handed.append(payload)

    def take_in(self, payload: bytes, *, elsewhere: bool = False) -> dict[str, Any]:
        """Rows of a sweep as JSON: {"rows": text, "source": name, "site": name, "unit": "dBm", ...}, or a list.

        What became of them: passes that are whole now, rows refused so far with the first reason; and `ours_khz`,
        lowest and highest of our carriers and spares there, for a receiver that is tuned. Raises InputError for
        what is no such record.
        """
        passes, refused, says = 0, 0, ""
        ours: set[tuple[float, float]] = set()
        for record in records_of(payload):
            source = self._source(record)
            source.elsewhere = elsewhere
            with self._lock:
                before = source.passes.refused
                for sweep in source.passes.feed(record.rows.encode()):
                    try:
                        self._pass(source, sweep)
                        passes += 1
                    except InputError as error:
                        source.passes.refused += 1
                        source.passes.says = source.passes.says or str(error)
                refused += source.passes.refused - before
                says = source.passes.says if source.passes.refused > before else says
                self.says = f"{source.passes.refused} rows refused: {says}" if says else self.says
                ours |= {mine.edges_khz for mine in source.arrivals.mine}
        return {"passes": passes, "refused": refused, "says": [says] if says else [], "ours_khz": sorted(ours)}

    def _pass(self, source: Source, sweep: Any) -> None:
        now_s = self.clock()
        before = len(source.air.minutes)
        source.air.add(sweep, now_s)
        source.arrivals.look(now_s, self.is_on)
        source.heard_s = now_s
        if len(source.air.minutes) != before:
            self._keep(source)
        self._news = True
        self._judged(source)

    def _source(self, record: SentRows) -> Source:
        name, site, options = record.source, record.site or self.site(), record.options()
        with self._lock:
            there = self._sources.get(name)
            if there is None or there.passes.options != options or (site and there.site != site):
                if there is None and len(self._sources) >= MOST_SOURCES:
                    oldest = min(self._sources.values(), key=lambda source: source.heard_s)
                    del self._sources[oldest.name]
                air = FreshAir()
                there = Source(name, site, Passes(name, options), air, Arrivals(air))
                there.arrivals.expect(self._mine.get(site, ()))
                there.heard_s = self.clock()
                with contextlib.suppress(InputError):
                    air.minutes.extend(kept_air.newest(self.store, name))
                self._sources[name] = there
            return there

    # What is told

    def sources(self, site: str = "") -> list[Source]:
        """Who sends, the newest first; of one site only where it is named."""
        with self._lock:
            there = [
                source
                for source in self._sources.values()
                if source.air.passes and (not site or source.site == site)
            ]
        return sorted(there, key=lambda source: -source.air.newest_s)

    @contextlib.contextmanager
    def held(self, site: str) -> Iterator[Source | None]:
        """The newest source of a site, which does not change meanwhile; None where there is none."""
        with self._lock:
            there = self.sources(site)
            yield there[0] if there else None

    def on_slot(self, site: str, khz: float, bandwidth_khz: float) -> AirNow | None:
        """What the live sweep says of a slot; None where none looked there."""
        with self._lock:
            for source in self.sources(site):
                slot = source.air.slot(khz, bandwidth_khz)
                if slot is not None:
                    old_s = self.clock() - slot.looked_s
                    place = Mine(round(khz), round(bandwidth_khz), 0, "")
                    there = [
                        somebody
                        for somebody in source.arrivals.somebodies
                        if somebody.on and place.is_on(somebody.centre_khz, somebody.width_khz)
                    ]
                    who = max(there, key=lambda somebody: somebody.over_db, default=None)
                    return AirNow(slot, old_s, old_s <= source.stale_s, source.air.unit, who)
        return None

    def newcomers(self, site: str = "") -> list[tuple[Source, Somebody, Mine]]:
        """Who is on a carrier, a spare, or within the guard of one of ours now, with which of ours: the nearest."""
        pairs = []
        with self._lock:
            for source in self.sources(site):
                if self.clock() - source.air.newest_s > source.stale_s:
                    continue
                for somebody in source.arrivals.somebodies:
                    mine = nearest(source.arrivals.mine, somebody)
                    if somebody.on and somebody.kind in ("somebody", "wide") and mine is not None:
                        pairs.append((source, replace(somebody), mine))
        return pairs

    def is_seen(self, source: Source, somebody: Somebody) -> str:
        """Who has seen this; nothing where nobody has."""
        return self._seen.get((source.name, somebody.number, somebody.times), "")

    def seen(self, key: str, who: str) -> str:
        """Somebody has seen who is new there. What is told. Raises InputError where it does not stand any more."""
        for source, somebody, mine in self.newcomers():
            if key_of(source, somebody) == key:
                if len(self._seen) > 1000:
                    self._seen.clear()
                self._seen[(source.name, somebody.number, somebody.times)] = who
                return f"{words_of(somebody, mine)}: seen"
        raise InputError("this alarm does not stand any more; load the page again")

    # What a plan takes of it

    def for_plan(self) -> dict[str, Readout]:
        """Who else is on the air, as a list of carriers of each site; the same until somebody comes on a spare."""
        with self._lock:
            return {
                site: Readout(f"live sweep of {site}", (), heard) for site, heard in self._planned.items() if heard
            }

    def marks(self) -> tuple[str, ...]:
        """What tells one such list from another."""
        with self._lock:
            return tuple(
                f"live:{site}:{carrier.centre_khz:.0f}:{carrier.level_db:.0f}"
                for site, heard in sorted(self._planned.items())
                for carrier in heard
                if carrier.level_db is not None
            )

    def _judged(self, source: Source) -> None:
        """Where somebody came on a spare, the plan is made again without it."""
        number = max((somebody.number * 1000 + somebody.times for somebody in source.arrivals.somebodies
                      if somebody.on and self._on_spare(source, somebody)), default=0)  # fmt: skip
        if number == source.noted:
            return
        source.noted = number
        if number:
            heard = tuple(self._heard(source))
            if heard != self._planned.get(source.site):
                self._planned[source.site] = heard
                self.changed()

    def _on_spare(self, source: Source, somebody: Somebody) -> bool:
        mine = nearest(source.arrivals.mine, somebody)
        return (
            somebody.kind == "somebody"
            and mine is not None
            and mine.spare
            and mine.is_on(somebody.centre_khz, somebody.width_khz)
        )

    def _heard(self, source: Source) -> Iterator[ListedCarrier]:
        """Who was heard within the hour, but for those by a carrier of ours: to leave that takes a tap."""
        ours = [mine for mine in source.arrivals.mine if not mine.spare]
        for somebody in source.arrivals.somebodies:
            if somebody.kind != "somebody" or source.air.newest_s - somebody.last_s > PLAN_S:
                continue
            if not any(mine.touches(somebody.centre_khz, somebody.width_khz) for mine in ours):
                centre, unit = round(somebody.centre_khz, 1), source.air.unit
                yield ListedCarrier(centre, float(round(somebody.level_db)), unit, "")
                for away in (-BESIDE_KHZ, BESIDE_KHZ):
                    yield ListedCarrier(centre + away, None, unit, "")

    # The work

    def _work(self, run: WorkRun) -> None:
        while True:
            run.wait(TICK_S)
            self.turn()

    def turn(self) -> None:
        """Look at what other processes took in, decide what waits for the receivers, and tell the pages."""
        with contextlib.suppress(IndexError):
            while True:
                with contextlib.suppress(InputError):
                    self.take_in(self._handed.popleft(), elsewhere=True)
        with self._lock:
            now_s = self.clock()
            before = self._stands()
            for source in self._sources.values():
                source.arrivals.tick(now_s, self.is_on)
                self._judged(source)
            told = self._stands()
            news = self._news or told != before
            if not news or (told == self._last and now_s - self._told_s < TELL_S):
                return
            alarms, self._last = told != self._last, told
            self._news, self._told_s = False, now_s
        self.listeners.tell("air", {})
        if alarms:
            self.news()

    def _stands(self) -> tuple[Any, ...]:
        return tuple((source.name, somebody.number, somebody.times) for source, somebody, _ in self.newcomers())

    def _keep(self, source: Source, *, whole: bool = False) -> None:
        if source.elsewhere:
            return
        minute = source.air.minute() if whole else source.air.minutes[-1] if source.air.minutes else None
        if minute is not None and source.air.passes:
            try:
                kept_air.keep(self.store, source.name, source.air, minute)
            except InputError as error:
                self.says = f"The live sweep is not being kept: {error}"


def nearest(mine: tuple[Mine, ...], somebody: Somebody) -> Mine | None:
    """Which of ours a signal lies on or within the guard of: a carrier before a spare, then the nearest."""
    touched = [each for each in mine if each.touches(somebody.centre_khz, somebody.width_khz)]
    return min(
        touched,
        key=lambda each: (
            not each.is_on(somebody.centre_khz, somebody.width_khz),
            each.spare,
            abs(each.khz - somebody.centre_khz),
        ),
        default=None,
    )


def key_of(source: Source, somebody: Somebody) -> str:
    """Under which it is seen."""
    return f"{AIR}{source.name}.{somebody.number}.{somebody.times}"


def words_of(somebody: Somebody, mine: Mine) -> str:
    """Who is where, in words: "somebody on the spare 535.250 of Boom"."""
    where = "on" if mine.is_on(somebody.centre_khz, somebody.width_khz) else "beside"
    what = f"the spare {mhz_text(mine.khz)}" if mine.spare else f"its carrier {mhz_text(mine.khz)}"
    return f"somebody {where} {what}"


def because_of(somebody: Somebody, unit: str, looked_s: float) -> str:
    """What was seen, a sentence: level, width, place, how old the look is."""
    wide = (
        f"{somebody.width_khz / 1000:.1f} MHz"
        if somebody.width_khz >= 1000
        else f"about {somebody.width_khz:.0f} kHz"
    )
    level = minus(f"{somebody.level_db:.0f} {unit}")
    times = f", {somebody.times} times by now" if somebody.times > 1 else ""
    first = ", there when looking began" if somebody.first else ""
    return (
        f"{level} at {somebody.centre_khz / 1000:.3f} MHz, {wide} wide{times}{first}; the sweep looked "
        f"{age_words(looked_s)} ago."
    )
