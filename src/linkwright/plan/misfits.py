"""Whether a plan that was made earlier is still a plan of this shoot."""

from __future__ import annotations

from collections.abc import Iterator

from linkwright.plan.chain import Chain, Scene
from linkwright.plan.model import Plan, PlannedCall, PlannedLink
from linkwright.shoot.catalogue import called
from linkwright.shoot.view import LiveCall
from linkwright.units import mhz_text


def misfits(scene: Scene, plan: Plan) -> Iterator[str]:
    """What keeps a plan from being explained as a plan of the scene, a phrase each; nothing where it fits."""
    planned = {call.call: call for call in plan.calls}
    yield from (f'it has no call "{call.name}"' for call in scene.calls if call.name not in planned)
    live = {call.name: call for call in scene.calls}
    for call in plan.calls:
        if call.call in live:
            yield from _of_call(scene, live[call.call], call)
        else:
            yield f'it plans the call "{call.call}", which the shoot lacks'


def _of_call(scene: Scene, live: LiveCall, call: PlannedCall) -> Iterator[str]:
    if live.site.name != call.site:
        yield f'its call "{call.call}" is on {call.site}, now it is on {live.site.name}'
        return
    links = {link.name: link for link in live.links}
    known = {link.link for link in call.told} | {gone.link for gone in call.unplaced}
    yield from (f'its call "{call.call}" lacks the link "{name}"' for name in links if name not in known)
    for planned in call.links:
        if planned.link in links:
            yield from _of_link(scene.chain(links[planned.link], live.site), planned)
        else:
            yield f'it plans the link "{planned.link}" in the call "{call.call}", which lacks it'


def _of_link(chain: Chain, planned: PlannedLink) -> Iterator[str]:
    """What of a link's equipment does not go with its carriers and power."""
    ends = (
        (called(chain.link.sends.kit), chain.transmitter.tunes_khz),
        (called(chain.link.hears[0].kit), chain.receiver.tunes_khz),
    )
    for khz in (planned.carrier_khz, *planned.spares_khz):
        for kind, tunes in ends:
            if not any(low <= khz <= high for low, high in tunes):
                yield f"{planned.link} stands on {mhz_text(khz)} MHz, which {kind} does not tune"
        if chain.transmitter.carriers and khz not in chain.transmitter.listed_khz:
            yield f"{planned.link} stands on {mhz_text(khz)} MHz, which its display does not have"
        raster = 1 if chain.transmitter.carriers else chain.transmitter.raster_khz
        within = [low for low, high in chain.transmitter.tunes_khz if low <= khz <= high]
        if within and all((khz - low) % raster for low in within):
            yield f"{planned.link} stands on {mhz_text(khz)} MHz, off the raster of {raster} kHz"
    if planned.power_mw not in chain.transmitter.powers_mw:
        yield f"{planned.link} has {planned.power_mw:g} mW, which is no step of {called(chain.link.sends.kit)}"
