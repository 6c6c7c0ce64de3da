"""Why did this link not get that frequency? Every reason that stands against it, a sentence each."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from linkwright.assign.products import products_near
from linkwright.plan.chain import Chain, Scene
from linkwright.plan.input_findings import rule_reason
from linkwright.plan.model import Plan, PlannedCall
from linkwright.plan.neighbours import REUSE
from linkwright.plan.prove import CallToProve, Standing, decided, floored, prove, verdict
from linkwright.plan.radio import narrow, others_arrays
from linkwright.plan.site import Slots, locked_khz
from linkwright.plan.solve import far_of_plan
from linkwright.plan.tuning import BUSY_RISE_DB, Tuning
from linkwright.shoot.catalogue import called
from linkwright.shoot.errors import InputError, did_you_mean
from linkwright.shoot.models import Shoot
from linkwright.units import dbm_from_mw, mhz_text, sum_dbm


@dataclass(frozen=True, slots=True)
class Reason:
    """One thing that stands against a frequency: a code, a sentence, and by how many dB where that is known."""

    code: str
    says: str
    db: float | None = None


@dataclass(frozen=True, slots=True)
class CallReasons:
    """What stands against a frequency in one call; none: `would_give` is what it would have in hand [dB].

    `opens` is the row, permit or acceptance by which it may be used at all; nothing where it may not. `shown` is
    the frequency as people set it.
    """

    call: str
    reasons: tuple[Reason, ...]
    would_give_db: float | None
    verdict: str | None
    opens: str = ""
    shown: str = ""


def link_of(shoot: Shoot, name: str) -> str:
    """The link of that name. Raises InputError, naming the nearest."""
    names = [link.name for link in shoot.link]
    if name not in names:
        near = did_you_mean(name, names) or f"; the links are {', '.join(names[:20])}"
        raise InputError(f'there is no link "{name}"{near}')
    return name


def why(
    scene: Scene,
    plan: Plan,
    name: str,
    carrier_khz: int,
) -> tuple[CallReasons, ...]:
    """What stands against `carrier_khz` for a link, in each call of the plan in which it is live.

    Raises InputError for an unknown link.
    """
    link_of(scene.shoot, name)
    slots = replace(Slots.of(scene), far=far_of_plan(scene, plan))
    by_call = []
    for live, planned in zip(scene.calls, plan.calls, strict=True):
        link = next((link for link in live.links if link.name == name), None)
        if link is None:
            continue
        chain = scene.live_chain(link, live.site)
        with_it = [c for c in scene.calls_on(live.site) if any(x.name == name for x in c.links)]
        afar = slots.afar(live.site)
        tuning = slots.tuning(chain, with_it, afar)
        reasons = [*slot_reasons(scene, chain, tuning, carrier_khz)]
        at = tuning.index(carrier_khz)
        if at is not None:
            reasons += air_reasons(tuning, at)
            if tuning.disturbs[at]:
                says = f"{name} would disturb receivers of another site that are on this carrier or beside it."
                reasons.append(Reason(REUSE, says))
            reasons += _of_the_plan(scene, planned, chain, carrier_khz)
        in_hand = held = None
        if at is not None and tuning.powers_mw(chain.transmitter, carrier_khz):
            mine = Standing.all_of(chain, tuning, carrier_khz, afar, afar.during([live]), {name})
            proof = decided(mine, prove(CallToProve(tuple(mine), ())))[0].proof
            in_hand = floored(proof.told.in_hand_db)
            held = verdict(proof.told.sure, chain.wanted.sure)
        allowed = at is not None and tuning.most_mw[at] > 0.0
        opens = rule_reason(scene, chain, carrier_khz) if allowed else ""
        by_call.append(CallReasons(live.name, tuple(reasons), in_hand, held, opens, chain.shown(carrier_khz)))
    return tuple(by_call)


def slot_reasons(scene: Scene, chain: Chain, tuning: Tuning, carrier_khz: int) -> Iterator[Reason]:
    """Whether the frequency is a slot at all, and whether the law and TV leave it."""
    shown = chain.shown(carrier_khz)
    transmitter, receiver = chain.transmitter, chain.receiver
    for what, tunes in (
        (called(chain.link.sends.kit), transmitter.tunes_khz),
        (called(chain.link.hears[0].kit), receiver.tunes_khz),
    ):
        if not any(low <= carrier_khz <= high for low, high in tunes):
            ranges = ", ".join(f"{mhz_text(low)} to {mhz_text(high)}" for low, high in tunes)
            yield Reason("tuning", f"{what} does not tune {shown} MHz (it tunes {ranges} MHz).")
    locked = locked_khz(chain.link)
    if locked is not None and locked != carrier_khz:
        yield Reason("locked", f"{chain.link.name} is locked to {chain.shown(locked)} MHz.")
    at = tuning.index(carrier_khz)
    inside = any(low <= carrier_khz <= high for low, high in transmitter.tunes_khz)
    if at is None and inside:
        yield Reason("raster", _off_the_raster(tuning, chain, carrier_khz))
    if at is None or tuning.most_mw[at] <= 0.0:
        says = rule_reason(scene, chain, carrier_khz)
        if at is not None or " may be used" not in says:
            yield Reason("closed", says)
        return
    if tuning.in_tv[at] >= 0:
        taken = tuning.tv[int(tuning.in_tv[at])]
        edges = f"{mhz_text(taken.channel.from_khz)} to {mhz_text(taken.channel.to_khz)} MHz"
        yield Reason("tv-cochannel", f"TV channel {taken.channel.number} ({edges}) {taken.says}.")
    if tuning.at_edge[at]:
        yield Reason(
            "tv-edge", f"{shown} MHz lies nearer than {transmitter.edge_khz} kHz to the edge of a TV channel."
        )


def _off_the_raster(tuning: Tuning, chain: Chain, carrier_khz: int) -> str:
    near = [
        chain.shown(int(tuning.carriers_khz[n]))
        for n in (np.searchsorted(tuning.carriers_khz, carrier_khz) + np.array([-1, 0]))
        if 0 <= n < tuning.carriers_khz.size
    ]
    listed = chain.transmitter.carriers or chain.receiver.carriers
    missed = "none that the display has" if listed else f"not on the raster of {chain.transmitter.raster_khz} kHz"
    return f"{mhz_text(carrier_khz)} MHz is {missed} (next are {' and '.join(near)} MHz)."


def air_reasons(tuning: Tuning, at: int) -> Iterator[Reason]:
    """What is on the air there, and by how much it raises the noise."""
    for heard in tuning.heard:
        level = dbm_from_mw(float(heard.power_mw[at]))
        rise = sum_dbm([tuning.noise_dbm, level]) - tuning.noise_dbm
        if rise > BUSY_RISE_DB:
            says = f"{heard.part} is there with {level:.1f} dBm; the noise rises by {rise:.1f} dB ({heard.source})."
            yield Reason(heard.code, says, round(rise, 1))
        elif heard.code == "busy" and tuning.busy[at]:
            yield Reason(
                "busy", f"The sweep shows something in or beside this band ({heard.source}).", round(rise, 1)
            )


def _of_the_plan(scene: Scene, call: PlannedCall, chain: Chain, carrier_khz: int) -> Iterator[Reason]:
    """Whom it would come too near, and which product would fall where, with the others as planned."""
    others = [link for link in call.links if scene.blocks.carrier_of(link.link) != chain.name]
    live = next(c for c in scene.calls if c.name == call.call)
    by_name = {link.name: scene.chain(link, live.site) for link in live.links}
    for other in others:
        spacing = max(chain.transmitter.spacing_khz, by_name[other.link].transmitter.spacing_khz)
        taken = [(other.carrier_khz, "carrier"), *((spare, "spare") for spare in other.spares_khz)]
        for carrier, what in taken:
            away = abs(carrier - carrier_khz)
            if away < spacing:
                yield Reason(
                    "spacing",
                    f"It is {away} kHz from the {what} of {other.link} ({other.shown(carrier)} MHz); "
                    f"the types need {spacing} kHz.",
                )
    yield from _products(scene, call, chain, carrier_khz)


def _products(scene: Scene, call: PlannedCall, chain: Chain, carrier_khz: int) -> Iterator[Reason]:
    """Which products would fall on a carrier or a spare with the link there, that do not without it."""
    guard = scene.shoot.shoot.guard_khz
    live = next(c for c in scene.calls if c.name == call.call)
    carrier_of = scene.blocks.carrier_of
    links = list({name: x for x in call.links if (name := carrier_of(x.link)) != chain.name}.values())
    others = narrow(scene.others_during(live))
    names = [*(link.link for link in links), *(other.name for other in others), chain.link.name]
    makers = [*(link.carrier_khz for link in links), *others_arrays(others)[0].tolist(), carrier_khz]
    victims = [(link.link, link.carrier_khz) for link in links]
    victims += [(f"spare of {link.link}", khz) for link in links for khz in link.spares_khz]
    victims.append((chain.link.name, carrier_khz))
    mine, own = len(makers) - 1, len(victims) - 1
    for product in products_near(makers, [khz for _, khz in victims], guard.im3_two, guard.im3_three):
        if mine in (product.a, product.b, product.c) or product.victim == own:
            yield Reason("intermodulation", f"{product.told(names)} falls on {victims[product.victim][0]}.")
