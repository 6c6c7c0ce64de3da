"""A site's plan as a score: what was measured, what may be used, TV, others, ours with their spares."""

from __future__ import annotations

from typing import Final

from linkwright.draw.lanes import Bands, Lane, Pins
from linkwright.draw.measured import file_of, measured
from linkwright.draw.score import Score, drawn
from linkwright.draw.site_lanes import allowed, closed, others, ours, tv
from linkwright.plan.air import SiteAir
from linkwright.plan.answer import answer_sentence
from linkwright.plan.chain import Scene
from linkwright.plan.model import Plan

#: Room left and right of what the links tune [kHz].
ROOM_KHZ: Final = 500.0


def drawn_plan(scene: Scene, plan: Plan, site: str) -> str:
    """The score of one site as one SVG. KeyError for a site on which there is no call."""
    return drawn(plan_score(scene, plan, site))


def plan_score(scene: Scene, plan: Plan, site: str) -> Score:
    """The lanes of one site's plan. KeyError for a site on which there is no call."""
    air = scene.air[site]
    edges = [
        edge
        for call in scene.calls_on(air.site)
        for link in call.links
        for tunes in scene.chain(link, air.site).transmitter.tunes_khz
        for edge in tunes
    ]
    low, high = min(edges) - ROOM_KHZ, max(edges) + ROOM_KHZ
    law = scene.law
    rules = (
        *allowed(law.territory, law.on, law.permits, low, high),
        *closed(law.territory, law.on, low, high),
    )
    lanes: list[Lane] = [*_measured(air), Bands("May be used", rules, 26.0)]
    lanes += [Bands("TV", tv(air)), Bands("Others", others(scene, site))]
    lanes += [Pins(f"Ours, {call.call}", ours(call)) for call in plan.calls if call.site == site]
    notes = ("Pins: full, holds; half, thin or fails; hollow, a spare. Hatched: closed, or not sure.",)
    return Score(answer_sentence(plan), f"{plan.shoot}, {site}", low, high, tuple(lanes), notes)


def _measured(air: SiteAir) -> list[Lane]:
    judged = () if air.survey is None else air.survey.judged
    return [measured(one, f"Measured: {file_of(one)}", 150.0) for one in judged]
