"""Which spare is good now? Each proved with everybody who is on now, at the level that is received now."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Final

from linkwright.desk.airing import AirNow
from linkwright.desk.expecting import swept_on
from linkwright.plan.chain import Scene
from linkwright.plan.model import Plan, PlannedCall, PlannedLink, Verdict
from linkwright.plan.what_if import LinkOutcome, outcomes
from linkwright.shoot.errors import InputError
from linkwright.shoot.view import LiveCall
from linkwright.units import dbm_from_mw

#: What disturbs one carrier is taken to reach so far from it, a narrow one of somebody else; what disturbs several
#: at once this far, a broadband one [kHz] (both assumed).
NARROW_KHZ: Final = 600
WIDE_KHZ: Final = 5_000
#: A level this far under the plan's worst spot is told [dB] (assumed).
WEAKER_DB: Final = 6.0
#: A carrier with less in hand than this is no more than thin to go to in haste [dB] (assumed).
THIN_DB: Final = 6.0


@dataclass(frozen=True, slots=True)
class Now:
    """What the receivers say now: who is heard, the level of each link's better branch [dBm] over the last minute
    (of those not heard too, where a receiver listens), and who is disturbed by others on the carrier.

    air : what the live sweep says of a slot at a site (carrier, bandwidth [kHz]), None where none looked. clock : a
    time [s] on the clock of the shoot.
    """

    heard: frozenset[str] = frozenset()
    levels_dbm: Mapping[str, float] = field(default_factory=dict)
    disturbed: frozenset[str] = frozenset()
    air: Callable[[str, int, int], AirNow | None] = lambda _site, _khz, _bandwidth: None
    clock: Callable[[float], str] = lambda at_s: f"{at_s:.0f} s"


@dataclass(frozen=True, slots=True)
class SpareNow:
    """A spare as it would be now.

    in_hand_db : as planned, None where it may not be used; sure : how sure that is. now_db : in hand at the
    level received now, less what the fading takes, None where nothing is received. against : what speaks against
    it; air : what is known of the air there. Sentences without their ends. shown : its carrier as people set it.
    """

    khz: int
    shown: str
    in_hand_db: float | None
    now_db: float | None
    sure: float | None
    verdict: Verdict
    against: tuple[str, ...]
    air: str


def spares_now(scene: Scene, plan: Plan, call: str | None, link: str, now: Now) -> tuple[SpareNow, ...]:
    """A link's spares in the call that is on, each proved with everybody who is on; the best first.

    Links of other calls that are heard although theirs is not on count as on. Raises InputError for a link that
    has no carrier in the call.
    """
    planned = next((planned_call for planned_call in plan.calls if planned_call.call == call), None)
    mine = (
        next((planned_link for planned_link in planned.links if planned_link.link == link), None)
        if planned is not None
        else None
    )
    if planned is None or mine is None:
        raise InputError(f"{link} has no carrier in the call that is on")
    scene, plan, elsewhere = with_those_on(scene, plan, planned.call, now.heard)
    on = next(planned_call for planned_call in plan.calls if planned_call.call == planned.call)
    spares = [_spare(scene, plan, on, mine, khz, now, elsewhere) for khz in mine.spares_khz]
    order = {"holds": 0, "thin": 1, "fails": 2}
    return tuple(sorted(spares, key=lambda spare: (order[spare.verdict], len(spare.against))))


def with_those_on(
    scene: Scene, plan: Plan, call: str, heard: frozenset[str]
) -> tuple[Scene, Plan, tuple[str, ...]]:
    """Scene and plan in which links of other calls of the same site that are heard are on in this call too, and
    the names of those heard that are planned for another site only: where they stand is not known."""
    live = next(live_call for live_call in scene.calls if live_call.name == call)
    planned = next(planned_call for planned_call in plan.calls if planned_call.call == call)
    here = {link.link for link in planned.links}
    more: dict[str, PlannedLink] = {}
    elsewhere: set[str] = set()
    for other in plan.calls:
        for link in other.links:
            if link.link in heard and link.link not in here:
                if other.site == planned.site:
                    more.setdefault(link.link, link)
                else:
                    elsewhere.add(link.link)
    by_name = {link.name: link for link in scene.shoot.link}
    added = tuple(by_name[name] for name in more if name in by_name)
    kept = tuple(link for name, link in more.items() if name in by_name)
    wider: LiveCall = replace(live, links=(*live.links, *added))
    calls = tuple(wider if live_call.name == call else live_call for live_call in scene.calls)
    links = planned.model_copy(update={"links": (*planned.links, *kept)})
    changed = plan.model_copy(
        update={"calls": tuple(links if planned_call.call == call else planned_call for planned_call in plan.calls)}
    )
    return replace(scene, calls=calls), changed, tuple(sorted(elsewhere - set(more)))


def _spare(
    scene: Scene, plan: Plan, call: PlannedCall, mine: PlannedLink, khz: int, now: Now, elsewhere: tuple[str, ...]
) -> SpareNow:
    """One spare, proved."""
    then = {outcome.link: outcome for outcome in outcomes(scene, plan, {mine.link: khz}, frozenset({call.call}))}
    live = _live(scene, call, mine, khz, now)
    air, own = _air(scene, plan, call, mine, khz, now, live), then.get(mine.link)
    if own is None:
        return SpareNow(
            khz, mine.shown(khz), None, None, None, "fails", ("the rules or the air do not allow it now",), air
        )
    against = [*_worse(call, mine, then), *_disturbed(call, khz, now)]
    against += [f"{name} is heard, and planned for another site only: not counted" for name in elsewhere]
    now_db = None
    level = now.levels_dbm.get(mine.link) if mine.link in now.heard else None
    if level is not None:
        stronger = dbm_from_mw(own.power_mw) - dbm_from_mw(mine.power_mw)
        now_db = round(level + stronger - own.need_dbm - own.fading_db, 1)
        if level < mine.wanted_dbm - WEAKER_DB:
            weaker = mine.wanted_dbm - level
            against.append(f"{mine.link} is received {weaker:.0f} dB weaker than planned at the worst spot")
    verdict: Verdict = own.verdict
    taken = live is not None and live.fresh and live.slot.busy
    if taken:
        against.insert(0, "somebody is on it now")
    if taken or (now_db is not None and now_db < 0.0):
        verdict = "fails"
    elif verdict == "holds" and (against or (now_db is not None and now_db < THIN_DB)):
        verdict = "thin"
    return SpareNow(khz, mine.shown(khz), own.in_hand_db, now_db, own.sure, verdict, tuple(against), air)


def _worse(call: PlannedCall, mine: PlannedLink, then: Mapping[str, LinkOutcome]) -> list[str]:
    """Who would not hold any more."""
    held = [link.link for link in call.links if link.link != mine.link and link.verdict == "holds"]
    worse = [name for name in held if name in then and then[name].verdict != "holds"]
    return [f"{', '.join(worse)} would not hold any more"] if worse else []


def _disturbed(call: PlannedCall, khz: int, now: Now) -> list[str]:
    """Who is disturbed now on a carrier so near that it may be the same that disturbs here."""
    some = [link for link in call.links if link.link in now.disturbed]
    reach = WIDE_KHZ if len(some) > 1 else NARROW_KHZ
    away = {other_link.link: abs(other_link.carrier_khz - khz) for other_link in some}
    return [
        f"{other_link.link} is disturbed on {other_link.carrier} MHz, {away[other_link.link] / 1000:.1f} MHz away"
        for other_link in some
        if away[other_link.link] <= reach
    ]


def _live(scene: Scene, call: PlannedCall, mine: PlannedLink, khz: int, now: Now) -> AirNow | None:
    """What the live sweep says of a carrier for a link."""
    live = next(live_call for live_call in scene.calls if live_call.name == call.call)
    chain = scene.chain(next(link for link in live.links if link.name == mine.link), live.site)
    return now.air(call.site, khz, chain.transmitter.bandwidth_khz)


def _air(
    scene: Scene, plan: Plan, call: PlannedCall, mine: PlannedLink, khz: int, now: Now, looked: AirNow | None
) -> str:
    """What is known of the air on a carrier: a receiver that listens there now, the live sweep while it is fresh,
    else the last sweep that was kept."""
    live = next(live_call for live_call in scene.calls if live_call.name == call.call)
    chain = scene.chain(next(link for link in live.links if link.name == mine.link), live.site)
    listening = {
        planned_link.link: now.levels_dbm[planned_link.link]
        for planned_link in (link for each in plan.calls if each.site == call.site for link in each.links)
        if planned_link.link in now.levels_dbm
        and planned_link.link not in now.heard | {mine.link}
        and abs(planned_link.carrier_khz - khz) <= chain.transmitter.bandwidth_khz
    }
    said = [f"the receiver of {name} hears {level:.0f} dBm there now" for name, level in listening.items()]
    if looked is not None:
        said.append(looked.says(now.clock))
        if looked.fresh:
            return "; ".join(said)
    swept = swept_on(scene.air[call.site], chain, khz, live)
    if swept is None:
        said.append("no sweep looked there")
    elif swept.heard_dbm is not None:
        said.append(f"the sweep showed {swept.heard_dbm:.0f} dBm of somebody")
    else:
        said.append(f"the sweep showed nobody (it misses {100.0 * swept.missed:.0f} % of those who come and go)")
    return "; ".join(said)
