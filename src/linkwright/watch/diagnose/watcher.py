"""The watch over links: readings in, episodes out; the same code live and afterwards.

What an episode gathers does not depend on how the readings were cut into batches, only on the order of each link's
own. What the others did meanwhile is looked up when an episode is asked for.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, Literal

import numpy as np

from linkwright.units import FloatArray
from linkwright.watch.diagnose import observables
from linkwright.watch.diagnose import states as at
from linkwright.watch.diagnose.causes import CAUSES, SURE, cause_of, passed_on, shares, split, without
from linkwright.watch.diagnose.company import AFTER_S, BEFORE_S, Company, History, with_planned
from linkwright.watch.diagnose.episode_figures import Figures, figures_of
from linkwright.watch.diagnose.expected import BANDWIDTH_KHZ, CEILING_DBM, GONE_DBM, NEED_DBM, Expected
from linkwright.watch.diagnose.products import ProductFit, products_on
from linkwright.watch.diagnose.words import words
from linkwright.watch.log.record import SECOND_NS, Batch, iso_of

#: Events written in one go; and episodes that are kept, the oldest are dropped (and counted) beyond.
EVENTS: Final = 256
MOST_EPISODES: Final = 100_000
#: Whoever made a product that broke a link, and is still on, makes the next break this much less surely (assumed).
STILL_ON: Final = 0.95
#: A link that is gone again so soon after a gap was gone all the time [ns] (assumed).
GOES_ON_NS: Final = 15 * SECOND_NS
#: A link that was moved so long ago stands where it should [ns] (assumed).
MOVED_NS: Final = 1800 * SECOND_NS
#: So much less likely is what takes several links at once where no other link fell along (assumed).
ALONE: Final = 0.02
#: A link is on from so much over what is nothing [dB].
COME_ON_DB: Final = 3.0
#: A link that is this far over its need breaks less soon for want of one branch [dB]: that is an alarm only from
#: this probability on (assumed).
SOON_DB: Final = 25.0
VERY_SURE: Final = 0.95
#: Where a link is not heard from the moment on in which its carrier changed, so much of what silences a transmitter
#: is that it stands on the old one (assumed).
NOT_SET: Final = 0.8
#: What is the transmitter's own fault: it is none while somebody else hears it.
OF_THE_SENDER: Final = ("battery", "switched-off", "carrier")
#: What silences a link; and how much of "somebody else" one of ours is who is not received where he should be, and
#: has this very carrier as a spare (assumed).
SILENT: Final = tuple(cause.name for cause in CAUSES.values() if cause.silences)
LEFT_ON: Final = 0.7
#: From this share of another transmitter on it is looked up whose product falls on the link (assumed).
BY_OTHERS: Final = 0.02
#: What lasts is judged anew once in so long [s of the readings].
JUDGED_S: Final = 1.0
#: What lasts is told again, with what is known by then, once in so long [s of the readings].
SHOWN_S: Final = 5.0


@dataclass(frozen=True, slots=True)
class Episode:
    """Something amiss with a link.

    number : the same while it lasts. from_ns, to_ns : first and last sign [ns, UTC]. open : it lasts. cause,
    probability; causes : the likeliest, with theirs. because, do : sentences. heard : audio was broken or dead.
    track : "signal", "branch" or "audio". makers : whose product it may be. figures : what it was judged by.
    """

    number: int
    link: str
    from_ns: int
    to_ns: int
    open: bool
    cause: str
    probability: float
    causes: tuple[tuple[str, float], ...]
    because: str
    do: str
    heard: bool
    track: str
    makers: tuple[str, ...]
    figures: Figures

    @property
    def alarm(self) -> bool:
        """Whether it could be heard, or soon will be; anything else is worth a mark only."""
        row, over_db = CAUSES[self.cause], self.figures.mean_over_db
        sure = VERY_SURE if over_db > SOON_DB else SURE
        return self.heard or (row.soon and row.track == self.track and self.probability >= sure)

    def document(self) -> dict[str, Any]:
        """As `diagnose --json` and the pages give it."""
        return {
            "link": self.link, "from": iso_of(self.from_ns), "to": iso_of(self.to_ns), "cause": self.cause,
            "probability": round(self.probability, 3), "because": self.because, "do": self.do, "open": self.open,
            "heard": self.heard, "causes": {cause: round(share, 3) for cause, share in self.causes},
            "makers": list(self.makers), "number": self.number,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Change:
    """An episode opened, is taken for another cause or lasts, or closed; `at_ns` is the time of the reading that
    told it."""

    kind: Literal["opened", "changed", "closed"]
    at_ns: int
    episode: Episode


@dataclass(slots=True)
class _Raw:
    """An episode as it is gathered; `before` is the one that closed before it on the same track of its link.

    expected : what the plan said of the link as it began. final : it was judged when nothing that it is judged by
    could change any more.
    """

    number: int
    link: int
    track: int
    figures: np.ndarray
    open: bool
    expected: Expected | None
    before: Episode | None = None
    told: Episode | None = None
    final: bool = False
    judged_t: float = 0.0
    shown_t: float = 0.0


@dataclass(frozen=True, slots=True)
class LinkIntake:
    """What came of one link: readings taken in, left out as late or as of a moment it had, gaps, and now; what its
    meter showed: its least step [dB], its lowest and highest [dBm], and how long after the level its quality falls
    [s], the last times that both did; NaN where not known."""

    link: str
    readings: int
    late: int
    twice: int
    gaps: int
    gap_s: float
    last_ns: int
    step_db: float = math.nan
    lowest_dbm: float = math.nan
    highest_dbm: float = math.nan
    lags_s: tuple[float, ...] = ()


def _limits_of(planned: Expected) -> list[float]:
    """Need, gone, ceiling, and the level down to which a sag is what the plan expects [dBm]."""
    harmless = min(planned.need_dbm + at.SAG_OVER_NEED_DB, planned.wanted_dbm - at.SAG_UNDER_PLAN_DB)
    return [planned.need_dbm, planned.gone_dbm, planned.ceiling_dbm, harmless]


def _goes_on(before: Episode, f: Figures, from_ns: int) -> bool:
    """Whether a link that was gone is still gone after a gap in its readings: the same episode, cut in two."""
    soon = from_ns - before.to_ns < GOES_ON_NS
    return soon and CAUSES[before.cause].silences and f.gone > 0.9 and not f.base_dbm > f.level_dbm + 6.0


def _by_link(expected: Iterable[Expected]) -> dict[str, list[Expected]]:
    by_links: dict[str, list[Expected]] = {}
    for planned in expected:
        by_links.setdefault(planned.link, []).append(planned)
    return by_links


class Watcher:
    """Takes readings in and tells episodes. Not for several threads at once.

    expected : what the plan says, if there is one: links that it has are judged only while they are live. need_dbm,
    gone_dbm, ceiling_dbm : for links without a plan. called : what people call a link, in sentences.
    """

    def __init__(
        self, expected: Sequence[Expected] = (), *, need_dbm: float = NEED_DBM, gone_dbm: float = GONE_DBM,
        ceiling_dbm: float = CEILING_DBM, called: Callable[[str], str] = str,
    ) -> None:  # fmt: skip
        self.expected: dict[str, list[Expected]] = _by_link(expected)
        self.called = called
        # how much likelier causes are than by their priors, here and today; with the kit of a link, for that link
        self.likelier: Mapping[str, float] = {}
        self.likelier_of: Mapping[str, Mapping[str, float]] = {}
        self.step: Any = None  # the loop as plain Python, while its machine code is not there
        self._history: History
        self.defaults = (need_dbm, gone_dbm, ceiling_dbm)
        self.names: list[str] = []
        self.index: dict[str, int] = {}
        self.base_ns: int | None = None
        self.dropped = 0
        self._moved: dict[str, int] = {}
        self._next = 1
        self._swept_t = 0.0
        self._raw: list[_Raw] = []
        self._open: dict[tuple[int, int], _Raw] = {}
        self._last: dict[tuple[int, int], _Raw] = {}
        self._events = np.zeros((EVENTS, 3 + at.FEATURES))
        self._room(16)

    def expect(self, expected: Sequence[Expected]) -> None:
        """From now on go by another plan. What is open goes on, and is judged by what was expected as it began."""
        was, now_ns = self.expected, self.newest_ns
        self.expected = _by_link(expected)
        if now_ns:
            for name in was.keys() & self.expected.keys():
                before, after = self._expected_in(was, name, now_ns), self._expected_at(name, now_ns)
                if before is not None and after is not None and before.carrier_khz != after.carrier_khz:
                    self._moved[name] = now_ns
        self._history = replace(self._history, expected=self.expected)
        self._limits()

    def _room(self, links: int) -> None:
        """Make room for so many links, keeping what is there."""
        old = len(self.names) if hasattr(self, "_state") else 0

        def grown(shape: tuple[int, ...], kind: Any, value: float = 0.0, name: str = "") -> np.ndarray:
            made = np.full((links, *shape), value, dtype=kind) if value else np.zeros((links, *shape), dtype=kind)
            if old:
                made[:old] = getattr(self, name)[:old]
            return made

        self._state = grown((at.STATE,), np.float64, 0.0, "_state")
        self._rings = grown((2, at.RING), np.float32, math.nan, "_rings")
        self._gathered = grown((3, at.FEATURES), np.float64, -1.0, "_gathered")
        self._sure = grown((3, at.FEATURES), np.float64, 0.0, "_sure")
        self._active = grown((3,), np.uint8, 0.0, "_active")
        self._levels = grown((at.HISTORY,), np.uint8, 0.0, "_levels")
        self._laps = grown((at.HISTORY,), np.uint8, 0.0, "_laps")
        self._history = History(self.names, self.index, self._levels, self._laps, self.expected)
        self._limits()

    def _limits(self) -> None:
        """The spans and limits of the links that are known, as the loop takes them."""
        many = self._state.shape[0]
        first, spans = np.zeros(many + 1, dtype=np.int64), []
        need, gone, ceiling = self.defaults
        limits = [[need, gone, ceiling, need + at.SAG_OVER_NEED_DB] for _ in range(many)]
        for n in range(many):
            known = self.expected.get(self.names[n], []) if n < len(self.names) else []
            always = [planned for planned in known if not planned.spans]
            if always:
                limits[n] = _limits_of(always[0])
            timed = [(span, link) for link in known if not always for span in link.spans]
            for span, link in sorted(timed, key=lambda pair: pair[0]):
                spans.append(span)
                limits.append(_limits_of(link))
            first[n + 1] = len(spans)
        self._first_span = first
        self._spans = np.array(spans, dtype=np.int64).reshape(-1, 2)
        self._limit = np.array(limits, dtype=np.float64)

    def _known(self, names: Sequence[str]) -> np.ndarray:
        """Our numbers of a batch's links; new ones are taken in."""
        new = [name for name in dict.fromkeys(names) if name not in self.index]
        if len(self.names) + len(new) > self._state.shape[0]:
            self._room(max(2 * self._state.shape[0], len(self.names) + len(new)))
        for name in new:
            self.index[name] = len(self.names)
            self.names.append(name)
        if new:
            self._limits()
        return np.array([self.index[name] for name in names], dtype=np.int32)

    def add(self, batch: Batch, tell: bool = True) -> tuple[Change, ...]:
        """Take readings in, and tell what opened, changed and closed; nothing without `tell`, which is quicker."""
        from linkwright.watch.diagnose import loop

        if not len(batch):
            return ()
        links = self._known(batch.names)[batch.link]
        if self.base_ns is None:
            # a whole second, and an hour of room for links whose clocks are behind
            self.base_ns = (int(batch.time_ns.min()) // SECOND_NS - 3600) * SECOND_NS
        step = self.step or loop.step_readings
        changes: list[Change] = []
        touched: dict[int, str] = {}
        row = 0
        while row < len(batch):
            row, count = step(
                row, links, batch.time_ns, batch.values, self.base_ns, self._state, self._rings, self._gathered,
                self._sure, self._active, self._levels, self._laps, self._first_span, self._spans, self._limit,
                self._events,
            )  # fmt: skip
            for event in self._events[:count]:
                link, track, closed = int(event[0]), int(event[1]), int(event[2]) == loop.CLOSED
                raw = self._taken(link, track, event[3:].copy(), closed)
                if raw is not None and tell:
                    touched[raw.number] = "closed" if closed else "opened"
                    kind: Literal["opened", "closed"] = "closed" if closed else "opened"
                    changes.append(Change(kind, self._time(self._state[link, at.LAST]), self._judged(raw)))
                    raw.shown_t = raw.judged_t
        newest = self._newest()
        if not tell:
            self._judge_old(newest)
            return ()
        for raw in self._open.values():
            if raw.number not in touched and newest - raw.judged_t >= JUDGED_S:
                was = raw.told
                raw.figures = self._sure[raw.link, raw.track].copy()
                now = self._judged(raw)
                if was is None or was.cause != now.cause or newest - raw.shown_t >= SHOWN_S:
                    raw.shown_t = newest
                    changes.append(Change("changed", self._time(self._state[raw.link, at.LAST]), now))
        return tuple(changes)

    @property
    def newest_ns(self) -> int:
        """The time of the newest reading of any link [ns]; 0 before the first."""
        return self._time(self._newest()) if self.names and self.base_ns is not None else 0

    def _newest(self) -> float:
        return float(self._state[: len(self.names), at.LAST].max())

    def _judge_old(self, newest: float) -> None:
        """Judge what closed while the others' levels of then are still kept."""
        if newest - self._swept_t < at.HISTORY / 8:
            return
        self._swept_t = newest
        for raw in self._raw:
            if not raw.open and raw.told is None:
                self._judged(raw)

    def _taken(self, link: int, track: int, figures: np.ndarray, closed: bool) -> _Raw | None:
        """The episode that an event of the loop is about."""
        if not closed:
            known = self._expected_at(self.names[link], self._time(figures[at.ON_T]))
            raw = _Raw(self._next, link, track, figures, True, known)
            last = self._last.get((link, track))
            raw.before = None if last is None else last.told or self._judged(last)
            self._next += 1
            self._raw.append(raw)
            self._open[(link, track)] = raw
            if len(self._raw) > MOST_EPISODES:
                self._raw = self._raw[1000:]
                self.dropped += 1000
            return raw
        over = self._open.pop((link, track), None)
        if over is not None:
            over.figures, over.open = figures, False
            self._last[(link, track)] = over
        return over

    def finish(self) -> tuple[Change, ...]:
        """Close what is open: nothing more will come."""
        changes = []
        for (link, track), raw in list(self._open.items()):
            raw.figures, raw.open = self._sure[link, track].copy(), False
            self._active[link, track] = 0
            self._gathered[link, track, at.ON_T] = -1.0
            changes.append(Change("closed", self._time(self._state[link, at.LAST]), self._judged(raw)))
        self._open.clear()
        return tuple(changes)

    def episodes(self) -> tuple[Episode, ...]:
        """The alarms so far, by their begin; those that last with what is known now."""
        return tuple(all_episode for all_episode in self.all_episodes() if all_episode.alarm)

    def all_episodes(self) -> tuple[Episode, ...]:
        """The same with those that are worth a mark only."""
        for raw in self._open.values():
            raw.figures = self._sure[raw.link, raw.track].copy()
        episodes = [self._judged(raw) for raw in self._raw]
        return tuple(sorted(episodes, key=lambda episode: (episode.from_ns, episode.link, episode.track)))

    def seen(self) -> tuple[LinkIntake, ...]:
        """What came of each link."""
        s = self._state
        return tuple(
            LinkIntake(
                name, int(s[n, at.COUNT]), int(s[n, at.LATE]), int(s[n, at.TWICE]), int(s[n, at.GAPS]),
                float(s[n, at.GAPPED_S]), self._time(s[n, at.LAST]), float(s[n, at.STEP]),
                float(s[n, at.LOWEST]), float(s[n, at.TOP]) or math.nan,
                tuple(s[n, at.LAGS : at.LAGS + min(at.KEPT_LAGS, int(s[n, at.PAIRS]))].tolist()),
            )
            for n, name in enumerate(self.names)
        )  # fmt: skip

    def _time(self, t: float) -> int:
        return (self.base_ns or 0) + round(float(t) * 1e6) * 1000

    def _expected_at(self, name: str, time_ns: int) -> Expected | None:
        return self._expected_in(self.expected, name, time_ns)

    @staticmethod
    def _expected_in(expected: Mapping[str, list[Expected]], name: str, time_ns: int) -> Expected | None:
        known = expected.get(name, [])
        return next((planned for planned in known if planned.live_at(time_ns)), known[0] if known else None)

    def _judged(self, raw: _Raw) -> Episode:
        """The episode as it looks now. Far back, where the others' levels are no longer kept, as it was told
        last."""
        f, name = raw.figures, self.names[raw.link]
        end = float(f[at.LAST_T])
        newest = self._newest()
        raw.judged_t = newest
        if raw.told is not None and (raw.final or (not raw.told.open and newest - f[at.ON_T] > at.HISTORY - 3600)):
            return raw.told
        from_ns, to_ns = self._time(f[at.ON_T]), self._time(end)
        expected = raw.expected
        figures = self._figures(raw)
        company = self._history.company(raw.link, float(f[at.ON_T]), end)
        kind, heard_by = at.TRACKS[raw.track], self._still_heard_by(expected, company, from_ns)
        causes, products = self._causes(raw, figures, company, from_ns, heard=bool(heard_by))
        cause, probability = cause_of(causes)
        because, do = words(
            cause,
            kind,
            figures,
            company.called(self.called),
            products.called(self.called),
            expected,
            raw.open,
            causes,
        )
        heard = figures.heard
        if expected is None and kind == "signal" and not (figures.base_dbm > -math.inf or figures.held_dbm < 0.0):
            # nobody says that it should be on, and it has not been yet
            cause, probability, heard = "unknown", 1.0, False
            because = "Nothing was received of it since the readings began."
        if heard_by and cause == "unknown":
            do = f"{self.called(heard_by)} hears the same transmitter: look at this receiver and its antenna."
        makers = products.makers if CAUSES[cause].has_makers else ()
        raw.told = Episode(
            raw.number, name, from_ns, to_ns, raw.open, cause, probability,
            tuple(pair for pair in causes if pair[1] >= 0.02), because, do, heard, kind, makers, figures,
        )  # fmt: skip
        raw.final = not raw.open and newest - end > AFTER_S[1] + 1.0
        return raw.told

    def _causes(
        self, raw: _Raw, figures: Figures, company: Company, from_ns: int, *, heard: bool
    ) -> tuple[tuple[tuple[str, float], ...], ProductFit]:
        """How probable each cause is, and whose product it may be; `heard`: another receiver still hears it."""
        kind, products, expected = at.TRACKS[raw.track], ProductFit(math.nan), raw.expected
        seen = self._observed(raw, figures)
        alone = {cause.name: ALONE for cause in CAUSES.values() if cause.together and not observables.along(seen)}
        here = self.likelier_of.get(self.names[raw.link], self.likelier)
        likelier = {cause: alone.get(cause, 1.0) * here.get(cause, 1.0) for cause in {*alone, *here}}
        causes = shares(kind, seen, likelier)
        if kind == "signal" and figures.gone > 0.5 and self._not_heard_since_moved(raw):
            causes = passed_on(causes, SILENT, "carrier", NOT_SET)
        if heard:
            causes = without(causes, OF_THE_SENDER)
        if sum(share for cause, share in causes if CAUSES[cause].by_others) > BY_OTHERS:
            products = self._products_of(raw, company)  # only then are the others' carriers looked at
            somebody = 1.0 if expected is None else expected.somebody_likelier(figures.level_dbm)
            causes = split(causes, products.fit, somebody)
            stray = self._left_on(expected, company, from_ns)
            if stray:
                causes = passed_on(causes, ("interference",), "left-on-spare", LEFT_ON)
                products = ProductFit(products.fit, (stray,))
        if raw.before is not None and _goes_on(raw.before, figures, from_ns):
            causes = raw.before.causes
        return causes, products

    def _not_heard_since_moved(self, raw: _Raw) -> bool:
        """Whether the plan put a link on another carrier and nothing of it was received since."""
        name, begin_ns = self.names[raw.link], self._time(raw.figures[at.ON_T])
        moved_ns = self._moved.get(name, 0)
        calls = sorted(
            (span[0], planned.carrier_khz) for planned in self.expected.get(name, ()) for span in planned.spans
        )
        for (_, was_khz), (start, khz) in itertools.pairwise(calls):
            if khz != was_khz and moved_ns < start <= begin_ns + SECOND_NS:
                moved_ns = start
        if not moved_ns or self.base_ns is None or begin_ns - moved_ns > MOVED_NS:
            return False
        first, last = (moved_ns - self.base_ns) // SECOND_NS + 2, math.floor(raw.figures[at.LAST_T])
        gone = self.defaults[1] if raw.expected is None else raw.expected.gone_dbm
        since = self._history.own(raw.link, first, max(first, last))
        return not bool((since > gone + COME_ON_DB).any())

    def _left_on(self, expected: Expected | None, company: Company, time_ns: int) -> str:
        """Who of ours is not received where he should be and has a link's carrier as a spare; "" for nobody."""
        levels = dict(zip(company.names, company.while_dbm.tolist(), strict=True))
        for name in self.expected if expected is not None else ():
            known = self._expected_at(name, time_ns)
            if expected is None or name == expected.link or known is None or not known.live_at(time_ns):
                continue
            near = any(abs(khz - expected.carrier_khz) < expected.bandwidth_khz / 2 for khz in known.spares_khz)
            if near and name in levels and not levels[name] > known.gone_dbm + COME_ON_DB:
                return name
        return ""

    def _still_heard_by(self, expected: Expected | None, company: Company, time_ns: int) -> str:
        """Who else still hears the transmitter of an episode's link; "" where nobody is known to."""
        if expected is None or not expected.sent_to:
            return ""
        for name, level in zip(company.names, company.while_dbm.tolist(), strict=True):
            known = self._expected_at(name, time_ns)
            if known is not None and known.sent_to == expected.sent_to and level > known.gone_dbm:
                return name
        return ""

    def raw_observed(self) -> dict[int, FloatArray]:
        """What is observed of every episode so far, by its number: what the weights of evidence are learnt from."""
        return {raw.number: self._observed(raw, self._figures(raw)) for raw in self._raw}

    def _observed(self, raw: _Raw, figures: Figures) -> FloatArray:
        """What is observed of an episode."""
        begin, end = math.floor(raw.figures[at.ON_T]), math.floor(raw.figures[at.LAST_T])
        history = self._history
        first, last = begin - observables.BEFORE_S, end + observables.AFTER_S
        own, others, on_dbm = history.own(raw.link, first, last), history.others, self.defaults[1]
        came = observables.BEFORE_S + 6
        theirs = others(raw.link, first, min(last, first + came + 4))
        falls, left = observables.fell_then(own[:came], theirs[:, :came], on_dbm)
        nearest = np.where(np.isnan(theirs), -np.inf, theirs).max(axis=0, initial=-np.inf)
        nearest[np.isinf(nearest)] = np.nan
        until = min(last, begin + observables.ALONG_S)
        joined = observables.broke_along(history.broken(raw.link, first, until), theirs, on_dbm)
        rises = np.zeros(0)
        if not raw.open:  # read backwards, what came back fell
            rises, _ = observables.fell_then(own[-13:][::-1], others(raw.link, last - 12, last)[:, ::-1], on_dbm)
        return observables.observe(observables.ObservedParts(figures, own, falls, left, rises, nearest, joined))

    def _figures(self, raw: _Raw) -> Figures:
        need, _, ceiling = self.defaults
        return figures_of(raw.figures, raw.expected, need, ceiling)

    def _products_of(self, raw: _Raw, company: Company) -> ProductFit:
        """Whose product may fall on the link of an episode, those included whose receivers say nothing."""
        f, name = raw.figures, self.names[raw.link]
        from_ns, to_ns = self._time(f[at.ON_T]), self._time(f[at.LAST_T])
        planned = (known_link for known in self.expected.values() for known_link in known)
        wider = with_planned(company, planned, name, from_ns, to_ns)
        fit = self._products(raw, raw.expected, wider, self._newest() - float(f[at.LAST_T]) > AFTER_S[1] + 1.0)
        return replace(fit, by_plan=fit.rose in set(wider.names) - set(company.names))

    def _products(self, raw: _Raw, expected: Expected | None, company: Company, closed: bool) -> ProductFit:
        """Whose product may fall on the link of an episode."""
        history, from_ns = self._history, self._time(raw.figures[at.ON_T])
        live = {name: history.live_about(name, from_ns) for name in company.names}
        carriers = {name: planned.carrier_khz for name, planned in live.items() if planned is not None}
        gone = {name: self.defaults[1] if planned is None else planned.gone_dbm for name, planned in live.items()}
        own = None if expected is None else expected.carrier_khz
        width = BANDWIDTH_KHZ if expected is None else expected.bandwidth_khz
        until_s = math.floor(raw.figures[at.ON_T]) - BEFORE_S[0]

        def earlier(names: Sequence[str]) -> np.ndarray:
            return history.were_on(raw.link, names, gone, until_s, self.base_ns or 0)

        fit = products_on(own, width, company, carriers, gone, closed and not raw.open, earlier)
        was = raw.before
        if was is None or not CAUSES[was.cause].has_makers or was.probability * STILL_ON <= fit.fit:
            return fit
        levels = zip(company.names, company.while_dbm.tolist(), strict=True)
        on = {name for name, level in levels if level > gone[name]}
        return ProductFit(was.probability * STILL_ON, was.makers) if set(was.makers) <= on else fit
