"""Each pack through the day, of who sends and who listens: when it is on, when cells are changed, what saves."""

from __future__ import annotations

import datetime
import functools
import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from linkwright.day.cells import Kit, Kits, temperature_c
from linkwright.day.changes import swaps
from linkwright.day.schedule import TimedCall, later, minutes_between
from linkwright.shoot.end import TO_LISTENERS, whose
from linkwright.shoot.models import Link, Shoot
from linkwright.shoot.view import transmitter_named

When = Literal["break", "before", "take"]
State = Literal["set-up", "take", "break"]
#: Nine days of ten need no more cells than are packed: the normal deviate that this stands for.
NINE_OF_TEN: float = 1.2816
#: Power steps by call and link; a link that is not in it is not live. None: nobody planned yet.
Powers = Mapping[tuple[str, str], float]


@dataclass(frozen=True, slots=True)
class CellChange:
    """A change of cells.

    when : in a break, before a call, or in a take. left_h : how long the old cells would have gone on at the drain
    they had [h]. on_reserve : they had gone into their reserve. listener : whose receiver it is, "" : it sends.
    """

    link: str
    call: str
    at: datetime.datetime
    when: When
    left_h: float
    on_reserve: bool
    listener: str = ""

    @property
    def who(self) -> str:
        """Whose cells they are, as people say it."""
        return whose(self.link, self.listener)


@dataclass(frozen=True, slots=True)
class OnStretch:
    """A stretch of the day in which a transmitter is on, and which share of a set it uses an hour."""

    call: str
    state: State
    starts: datetime.datetime
    ends: datetime.datetime
    share_h: float
    chance: When | None

    @property
    def used(self) -> float:
        """The share of a set that it uses."""
        return self.share_h * minutes_between(self.starts, self.ends) / 60.0


@dataclass(frozen=True, eq=False)
class LinkDay:
    """A transmitter through the day, on in calls at powers [mW], or the receiver of a `listener` who wears one.

    What would save is worked out when asked for.

    temperature_c : at the coldest site. least_min : the shortest break in which cells are changed. reserve : share
    of a set that is not relied upon. end_h : what is left after its last call [h].
    """

    link: str
    kit: Kit
    on: tuple[tuple[TimedCall, float], ...]
    temperature_c: float
    least_min: float
    reserve: float
    stretches: tuple[OnStretch, ...]
    changes: tuple[CellChange, ...]
    end_h: float | None
    listener: str = ""

    @property
    def who(self) -> str:
        """Whose cells they are, as people say it."""
        return whose(self.link, self.listener)

    @property
    def power_mw(self) -> float:
        """Its highest planned step."""
        return max(power for _, power in self.on)

    @property
    def spread(self) -> float:
        """Standard deviation of the logarithm of run_h."""
        return self.kit.spread(self.power_mw)

    @property
    def run_h(self) -> float:
        """How long a fresh set lasts at that step [h]."""
        return self.kit.run_h(self.power_mw, self.temperature_c)

    @property
    def save_h(self) -> float:
        """How long a fresh set lasts while it rests throughout [h]."""
        return self.kit.saving_h(self.temperature_c)

    @property
    def lower_mw(self) -> float | None:
        """The next lower step; None where there is none."""
        return _lower(self.kit, self.power_mw)

    @property
    def lower_h(self) -> float | None:
        """How long a fresh set lasts at the next lower step [h]."""
        return None if self.lower_mw is None else self.kit.run_h(self.lower_mw, self.temperature_c)

    @functools.cached_property
    def _saving(self) -> tuple[OnStretch, ...]:
        return _stretches(self.kit, self.on, self.least_min, saving=True)

    @property
    def saved_h(self) -> float:
        """How much of a set's run time resting in breaks would save [h]."""
        return self.run_h * (_used(self.stretches) - _used(self._saving))

    @property
    def changes_saving(self) -> int:
        """How many changes there would be with rests in breaks."""
        return self._counted(self._saving)

    @property
    def changes_lower(self) -> int | None:
        """How many changes there would be at the next lower steps; None where there is none."""
        if self.lower_mw is None:
            return None
        lowered = [(call, _lower(self.kit, step) or step) for call, step in self.on]
        return self._counted(_stretches(self.kit, lowered, self.least_min, saving=False))

    @property
    def sets(self) -> int:
        """How many sets of cells it uses."""
        return 1 + len(self.changes)

    @property
    def sets_sure(self) -> int:
        """How many sets are enough on nine days of ten."""
        faster = math.exp(NINE_OF_TEN * self.spread)
        weak = [replace(stretch, share_h=stretch.share_h * faster) for stretch in self.stretches]
        return max(self.sets, 1 + len(_changes(self.link, weak, 0.0)[0]))

    def in_calls(self, names: Collection[str]) -> LinkDay:
        """What of its day is in some calls; its end where its last call is among them."""
        on = tuple(pair for pair in self.on if pair[0].live.name in names)
        end_h = self.end_h if on and on[-1] is self.on[-1] else None
        stretches = tuple(stretch for stretch in self.stretches if stretch.call in names)
        changes = tuple(change for change in self.changes if change.call in names)
        return replace(self, on=on, stretches=stretches, changes=changes, end_h=end_h)

    def _counted(self, stretches: Sequence[OnStretch]) -> int:
        return len(_changes(self.link, stretches, self.reserve)[0])


@dataclass(frozen=True, slots=True)
class Packed:
    """Cells of one kind to pack: those that are used, and spares."""

    kind: str
    used: int
    spare: int
    rechargeable: bool


@dataclass(frozen=True, slots=True)
class Day:
    """The calls, each transmitter, the links whose cells are not known, and who would be in two calls at once."""

    calls: tuple[TimedCall, ...]
    links: tuple[LinkDay, ...]
    unknown: tuple[str, ...]
    twice: tuple[tuple[str, str, str], ...]

    @property
    def transmitters(self) -> dict[str, LinkDay]:
        """Those that send, by name of their link."""
        return {link.link: link for link in self.links if not link.listener}

    @property
    def changes(self) -> list[CellChange]:
        """All changes in the order of the day."""
        every = [change for link in self.links for change in link.changes]
        return sorted(every, key=lambda change: (change.at.timestamp(), change.who))

    @property
    def dates(self) -> list[datetime.date]:
        """The dates on which calls begin."""
        return sorted({call.span[0].date() for call in self.calls if call.span is not None})

    def on_date(self, date: datetime.date) -> Day:
        """What of it begins on a date, of those who are on then; who is on later too has no end here."""
        calls = tuple(call for call in self.calls if call.span is not None and call.span[0].date() == date)
        names, who = {call.live.name for call in calls}, {link.name for call in calls for link in call.live.links}
        links = (link.in_calls(names) for link in self.links if link.link in who)
        unknown = tuple(pack for pack in self.unknown if pack in who or who & set(_ends(pack)))
        twice = tuple(case for case in self.twice if names & set(case[1:]))
        return Day(calls, tuple(link for link in links if link.on), unknown, twice)


def _ends(pack: str) -> Iterator[str]:
    """Of which links a pack that is called after its listener may be."""
    parts = pack.split(" of ")
    return (" of ".join(parts[n:]) for n in range(1, len(parts)))


def day_of(shoot: Shoot, calls: Sequence[TimedCall], powers: Powers | None) -> Day:
    """The day of a shoot with these power steps; without them every link is live at its highest step."""
    kits = Kits(shoot)
    live: dict[str, list[tuple[TimedCall, Link, float]]] = {}
    for call in calls:
        for link in call.live.links:
            power = _power(kits, link) if powers is None else powers.get((call.live.name, link.name))
            if power is not None:
                live.setdefault(link.name, []).append((call, link, power))
    links, unknown, twice = [], [], []
    alike: dict[tuple[object, ...], LinkDay] = {}
    for link in shoot.link:
        on = live.get(link.name, [])
        kit = kits.of(link)
        twice += _twice(link.name, [call for call, _, _ in on])
        packs: list[tuple[str, Kit | None, tuple[str, str | None], bool]] = []
        if kit is not None or transmitter_named(shoot, link.sends.kit).form != "mounted":
            packs.append(("", kit, (link.sends.kit, link.microphone), True))
        for end in link.hears:
            worn = link.serves in TO_LISTENERS and not end.stands
            packs.append((end.named or "receiver", kits.heard_with(end.kit), (end.kit, "heard"), worn))
        for listener, pack, kind, needed in packs if on else ():
            if pack is None and needed:
                unknown.append(whose(link.name, listener))
            elif pack is not None:
                steps = [(call, 0.0 if listener else power) for call, _, power in on]
                key = (kind, *((call.live.name, power) for call, power in steps))
                if key not in alike:
                    alike[key] = _link_day(shoot, link, pack, steps)
                links.append(_named(alike[key], link.name, listener))
    return Day(tuple(calls), tuple(links), tuple(unknown), tuple(twice))


def _named(same: LinkDay, name: str, listener: str) -> LinkDay:
    """The day of a pack that has the same day as another."""
    changes = tuple(replace(change, link=name, listener=listener) for change in same.changes)
    return replace(same, link=name, listener=listener, changes=changes)


def _power(kits: Kits, link: Link) -> float:
    kit = kits.of(link)
    steps = (link.locked_mw,) if link.locked_mw is not None else kit.powers_mw if kit else (0.0,)
    return max(steps)


def _twice(name: str, calls: Sequence[TimedCall]) -> list[tuple[str, str, str]]:
    """Where a link would have to be in two calls at once."""
    twice, last = [], None
    for call in calls:
        if call.span is None:
            continue
        if last is not None and last.span is not None and minutes_between(last.span[1], call.span[0]) < 0.0:
            twice.append((name, last.live.name, call.live.name))
        if last is None or last.span is None or minutes_between(last.span[1], call.span[1]) > 0.0:
            last = call
    return twice


def _link_day(shoot: Shoot, link: Link, kit: Kit, on: Sequence[tuple[TimedCall, float]]) -> LinkDay:
    """One transmitter as planned."""
    least_min, reserve = shoot.shoot.set_up.change_min, shoot.shoot.cell_reserve
    if reserve is None:  # what the weakest set of ten may lack
        reserve = 1.0 - math.exp(-NINE_OF_TEN * kit.spread(max(power for _, power in on)))
    stretches = _stretches(kit, on, least_min, saving=False)
    coldest = min(temperature_c(call.live) for call, _ in on)
    changes, end_h = _changes(link.name, stretches, reserve)
    return LinkDay(link.name, kit, tuple(on), coldest, least_min, reserve, stretches, changes, end_h)


def _lower(kit: Kit, power_mw: float) -> float | None:
    """The next lower step of the transmitter."""
    return max((step for step in kit.powers_mw if step < power_mw), default=None)


def _used(stretches: Sequence[OnStretch]) -> float:
    """How many sets of cells are used, in shares of one."""
    return sum(stretch.used for stretch in stretches)


def _stretches(
    kit: Kit, on: Sequence[tuple[TimedCall, float]], least_min: float, *, saving: bool
) -> tuple[OnStretch, ...]:
    """When a transmitter is on: from setting up (after the sweep) through its call, breaks included.

    Cells may be changed at the start of a stretch that says so: a break of `least_min` and more, or setting up.
    """
    on_stretches: list[OnStretch] = []
    until: datetime.datetime | None = None
    for call, power in on:
        if call.span is None:
            continue
        use = 1.0 / kit.run_h(power, temperature_c(call.live))
        rest = 1.0 / kit.saving_h(temperature_c(call.live)) if saving else use
        name = call.live.name
        starts, ends = _after(call.span[0], until), _after(call.span[1], until)
        at = _after(later(call.span[0], -call.on_min), until)
        if minutes_between(at, ends) <= 0.0:
            continue
        overlaps = until is not None and minutes_between(until, call.span[0]) < 0.0
        on_stretches.append(OnStretch(name, "set-up", at, starts, use, None if overlaps else "before"))
        at = starts
        for pause in call.breaks:
            start, end = _after(pause[0], at), _after(pause[1], at)
            chance: When | None = "break" if minutes_between(start, end) >= max(least_min, 1e-6) else None
            on_stretches.append(OnStretch(name, "take", at, start, use, None))
            on_stretches.append(OnStretch(name, "break", start, end, rest, chance))
            at = end
        on_stretches.append(OnStretch(name, "take", at, ends, use, None))
        until = ends
    return tuple(on_stretches)


def _after(moment: datetime.datetime, until: datetime.datetime | None) -> datetime.datetime:
    """A moment, or when the transmitter is free, whichever is later."""
    return moment if until is None or minutes_between(until, moment) >= 0.0 else until


def _changes(
    name: str, stretches: Sequence[OnStretch], reserve: float
) -> tuple[tuple[CellChange, ...], float | None]:
    """When cells are changed, and what is left at the end [h]; the first set is fresh."""
    if not stretches:
        return (), None
    used = [0.0]
    for stretch in stretches:
        used.append(used[-1] + stretch.used)
    chances = [n for n, stretch in enumerate(stretches) if stretch.chance is not None and n > 0]
    cell_changes = []
    fresh_at = 0.0
    for swap in swaps([used[n] for n in chances], used[-1], reserve):
        fresh_at = swap.at
        if swap.chance is not None:
            n = chances[swap.chance]
            stretch, when = stretches[n], stretches[n].chance or "before"
            at, rate = stretch.starts, stretches[n - 1].share_h
        else:
            n = max(k for k in range(len(stretches)) if used[k] <= swap.at + 1e-12)
            stretch, when, rate = stretches[n], "take", stretches[n].share_h
            at = later(stretch.starts, 60.0 * (swap.at - used[n]) / rate).replace(second=0, microsecond=0)
        cell_changes.append(CellChange(name, stretch.call, at, when, swap.left / rate, swap.on_reserve))
    return tuple(cell_changes), (1.0 - (used[-1] - fresh_at)) / stretches[-1].share_h


def packing(day: Day) -> tuple[Packed, ...]:
    """The cells to pack, by kind: those used; as spares what the weakest day of ten would use more, and one set.

    For a shoot without times one set for each transmitter counts as used.
    """
    used: dict[str, int] = {}
    spare: dict[str, int] = {}
    whole: dict[str, int] = {}
    kits: dict[str, Kit] = {}
    for link in day.links:
        kind, count = link.kit.kind, link.kit.cells.count
        used[kind] = used.get(kind, 0) + link.sets * count
        spare[kind] = spare.get(kind, 0) + (link.sets_sure - link.sets) * count
        whole[kind] = max(whole.get(kind, 0), count)
        kits[kind] = link.kit
    return tuple(
        Packed(kind, used[kind], spare[kind] + whole[kind], kits[kind].cells.chemistry in ("nimh", "li-ion"))
        for kind in sorted(used)
    )
