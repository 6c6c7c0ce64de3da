"""Who is new on the air, as the day takes it: which carriers and spares are ours, and strips for the page Live."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from typing import TYPE_CHECKING, Final

from linkwright.air.ours import Mine
from linkwright.desk.airing import because_of, key_of, words_of
from linkwright.desk.snapshot import Made, Snapshot
from linkwright.desk.troubles import Trouble
from linkwright.desk.watching import clock_of
from linkwright.shoot.view import LiveCall
from linkwright.units import with_capital

if TYPE_CHECKING:
    from linkwright.desk.airing import Airing
    from linkwright.plan.chain import Scene
    from linkwright.plan.model import Plan

#: So long before and after their calls transmitters of ours may be on all the same.
AROUND: Final = datetime.timedelta(hours=1)
ON_CARRIER: Final = (
    "Listen on it with the transmitter off. If somebody is there, go to a spare that is good now, and tell whoever "
    "coordinates."
)
ON_SPARE: Final = (
    "Do not use this spare; the plan takes another one, proved, where one is left. Look at the cards again."
)


def ours_of(made: Made | None) -> dict[str, tuple[Mine, ...]]:
    """Our carriers and spares by site; nothing where there is no plan."""
    return {} if made is None else ours_in(made.plan, made.scene)


def ours_in(plan: Plan, scene: Scene) -> dict[str, tuple[Mine, ...]]:
    """The carriers and spares of a plan by site, those that are set too; each once, a carrier before a spare."""
    by_site: dict[str, dict[int, Mine]] = {}
    live = {call.name: call for call in scene.calls}
    for call in plan.calls:
        here = by_site.setdefault(call.site, {})
        for planned in call.links:
            link = next(live_link for live_link in live[call.call].links if live_link.name == planned.link)
            kit = scene.chain(link, live[call.call].site).transmitter
            guard = max(0, kit.spacing_khz - kit.bandwidth_khz)
            set_khz = () if link.set_mhz is None else (round(link.set_mhz * 1000),)
            for khz in (planned.carrier_khz, *set_khz):
                here[khz] = Mine(khz, kit.bandwidth_khz, guard, planned.link)
            for khz in planned.spares_khz:
                here.setdefault(khz, Mine(khz, kit.bandwidth_khz, guard, planned.link, spare=True))
    return {site: tuple(mine.values()) for site, mine in by_site.items()}


def may_be_on(calls: Iterable[LiveCall], link: str, now: datetime.datetime) -> bool:
    """Whether a link's transmitter may be on: not while a call is on, within an hour, and none of its own is."""
    on = [
        call
        for call in calls
        if call.starts is None or call.ends is None or call.starts - AROUND <= now <= call.ends + AROUND
    ]
    return not on or any(live_link.name == link for call in on for live_link in call.links)


def new_on_air(airing: Airing, snapshot: Snapshot, site: str = "") -> tuple[Trouble, ...]:
    """Who is on a carrier, a spare or within the guard of one of ours now: those on carriers first.

    site : of one site only, where it is named.
    """
    troubles = []
    now_s = airing.clock()
    for source, somebody, mine in airing.newcomers(site):
        made = snapshot.made
        id_ = snapshot.names.id_of("link", mine.link) if made is None else made.names.id_of("link", mine.link)
        because = because_of(somebody, source.air.unit, now_s - source.air.newest_s)
        troubles.append(
            Trouble(
                key_of(source, somebody), id_, snapshot.names.name_of(id_), words_of(somebody, mine),
                clock_of(round(somebody.since_s * 1e9), snapshot.zone), with_capital(because),
                ON_SPARE if mine.spare else ON_CARRIER, "seen", "interference", not mine.spare,
                airing.is_seen(source, somebody),
            )
        )  # fmt: skip
    return tuple(sorted(troubles, key=lambda trouble: not trouble.on_carrier))
