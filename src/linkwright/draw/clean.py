"""Are our carriers clean at a site? What is known to stand on them: TV, others, carriers in its sweeps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.draw.site_lanes import others, tv
from linkwright.latest import latest
from linkwright.plan.air import SiteAir
from linkwright.plan.chain import Scene
from linkwright.plan.model import Plan, PlannedCall
from linkwright.plan.products import products_sentence
from linkwright.units import number_word

#: So many that are hit are named in a sentence.
NAMED: Final = 3
#: A channel of kit that the shoot does not name any more [kHz]; common practice, no source.
USUAL_KHZ: Final = 200


@dataclass(frozen=True, slots=True)
class Stands:
    """A carrier or a spare of a link, and what stands in its channel; `swept`: somebody looked there."""

    link: str
    khz: int
    shown: str
    spare: bool
    by: tuple[str, ...]
    swept: bool


@latest
def stands_on_ours(scene: Scene, air: SiteAir, plan: Plan | None) -> list[Stands]:
    """Every carrier of the plan at a site, then its spares, each once."""
    stands: dict[tuple[str, int], Stands] = {}
    links = {link.name: link for link in scene.shoot.link}
    for call in calls_at(plan, air.site.name):
        for link in call.links:
            kit = links.get(link.link)
            wide = USUAL_KHZ if kit is None else scene.chain(kit, air.site).transmitter.bandwidth_khz
            for khz in link.all_khz:
                spare, key = khz != link.carrier_khz, (link.link, khz)
                if key not in stands or (stands[key].spare and not spare):
                    by, swept = _in_channel(scene, air, khz, wide)
                    stands[key] = Stands(link.link, khz, link.shown(khz), spare, by, swept)
    return sorted(stands.values(), key=lambda stand: stand.spare)


def calls_at(plan: Plan | None, site: str) -> list[PlannedCall]:
    """The calls of a plan at a site."""
    return [call for call in (plan.calls if plan is not None else ()) if call.site == site]


def _in_channel(scene: Scene, air: SiteAir, khz: int, wide: int) -> tuple[tuple[str, ...], bool]:
    """What stands in a channel [kHz], and whether a sweep looked at it."""
    low, high = khz - wide / 2.0, khz + wide / 2.0
    by = [other.label for other in others(scene, air.site.name) if other.from_khz < high and other.to_khz > low]
    by += [
        f"TV channel {multiplex.label}"
        for multiplex in tv(air)
        if multiplex.from_khz < high and multiplex.to_khz > low
    ]
    survey = air.survey
    for carrier in survey.carriers if survey is not None and not by else ():  # what has a name is told by it
        if (
            carrier.centre_khz - carrier.bandwidth_khz / 2.0 < high
            and carrier.centre_khz + carrier.bandwidth_khz / 2.0 > low
        ):
            by.append(f"somebody at {carrier.centre_khz / 1e3:.3f} in the sweep")
    by += [heard.name or "a carrier from a list" for heard in (survey.heard if survey is not None else ())
           if low < heard.centre_khz < high]  # fmt: skip
    swept = air.measured is not None and bool(air.measured.slot_levels(np.array([khz]), wide).covered[0])
    return tuple(dict.fromkeys(by)), swept


def answer(scene: Scene | None, air: SiteAir | None, plan: Plan | None, troubles: Sequence[str]) -> str:
    """The answer of the page as a sentence: of our own carriers."""
    if scene is None or air is None:
        return "Say in Prepare where this is and who is on; a sweep can be opened at once, and waits for them."
    if troubles:
        return troubles[0]
    stands, site = [stand for stand in stands_on_ours(scene, air, plan) if not stand.spare], air.site.name
    if not stands:
        return f"Nothing of ours is planned at {site} yet."
    hit = [stand for stand in stands if stand.by]
    if hit:
        return _hit(hit, len(stands), site)
    many = {1: "Our carrier", 2: "Both our carriers"}.get(
        len(stands), f"All {number_word(len(stands))} of our carriers"
    )
    if all(stand.swept for stand in stands):
        are = "is" if len(stands) == 1 else "are"
        return f"{many} at {site} {are} clean in the sweep."
    on = {1: "our carrier", 2: "both our carriers"}.get(len(stands), f"our {number_word(len(stands))} carriers")
    seen = "nobody has swept here" if air.survey is None or not air.survey.judged else "not all of it was swept"
    return f"Nothing known stands on {on} at {site}, but {seen}."


def _hit(hit: Sequence[Stands], count: int, site: str) -> str:
    """Who is hit, by what, and how many are not."""
    told = [f"{link.link} on {link.shown} by {' and '.join(link.by)}" for link in hit[:NAMED]]
    more = [f"{number_word(len(hit) - NAMED)} more"] if len(hit) > NAMED else []
    rest = count - len(hit)
    clean = (
        ""
        if not rest
        else " The other one is clean."
        if rest == 1
        else f" The other {number_word(rest)} are clean."
    )
    if len(hit) == 1:
        return f"At {site} {hit[0].link} is hit on {hit[0].shown} by {' and '.join(hit[0].by)}.{clean}"
    who = f"{number_word(len(hit)).capitalize()} of our {number_word(count)} carriers at {site} are hit"
    return f"{who}: {'; '.join([*told, *more])}.{clean}"


def lead(scene: Scene, air: SiteAir, plan: Plan | None) -> str:
    """What stands under the answer: spares that are hit, products, and how well it was looked."""
    says = []
    spares = [stand for stand in stands_on_ours(scene, air, plan) if stand.spare and stand.by]
    if spares:
        says.append(
            "; ".join(f"The spare {spare.shown} of {spare.link} is hit by {spare.by[0]}" for spare in spares[:3])
            + "."
        )
    says += list(dict.fromkeys(products_sentence(call) for call in calls_at(plan, air.site.name)))[:1]
    survey = air.survey
    if survey is not None and survey.judged:
        missed = f"{100 * survey.missed:.0f} % of cases"
        says.append(f"The sweep would have missed somebody who is on 5 % of the time in {missed}.")
    return " ".join(says)
