"""A site's plan as a score: what was measured, what may be used, TV, others, ours with their spares."""

from __future__ import annotations

from linkwright.draw.clean import answer, calls_at
from linkwright.draw.lanes import Bands, Lane, Pins
from linkwright.draw.score import Score, drawn
from linkwright.draw.site_lanes import band, closed, may_be_used, others, ours, tv
from linkwright.draw.sweep_lane import file_of, measured
from linkwright.plan.air import SiteAir
from linkwright.plan.chain import Scene
from linkwright.plan.model import Plan


def drawn_plan(scene: Scene, plan: Plan, site: str, tall_px: float = 0.0) -> str:
    """The score of one site as one SVG, at least so tall [px]. KeyError for a site on which there is no call."""
    return drawn(plan_score(scene, plan, site), tall_px)


def plan_score(scene: Scene, plan: Plan, site: str) -> Score:
    """The lanes of one site's plan. KeyError for a site on which there is no call."""
    air = scene.air[site]
    low, high = band(scene, air)
    calls = calls_at(plan, site)
    lanes: list[Lane] = [*_measured(air)]
    rules = (*may_be_used(scene, air), *closed(scene.law.territory, scene.law.on, low, high))
    for name, bands in (("May be used", rules), ("TV", tv(air)), ("Others", others(scene, site))):
        inside = tuple(stretch for stretch in bands if stretch.to_khz > low and stretch.from_khz < high)
        lanes += [Bands(name, inside)] if inside else []
    for call in calls:
        pins = ours(call)
        carriers = tuple(pin for pin in pins if pin.head != "spare")
        spares = tuple(pin for pin in pins if pin.head == "spare")
        lanes += [Pins(f"Ours, {call.call}", carriers)] if carriers else []
        lanes += [Pins("Spares", spares)] if spares else []
    swept = "Ochre: the floor. " if any(lane.name.startswith("Measured") for lane in lanes) else ""
    notes = (
        f"{swept}Discs: full, holds; half, thin; a ring with a bar, fails. Lozenges: spares. Hatched: closed, or "
        "not sure; in the sweep, nobody looked.",
    )
    return Score(answer(scene, air, plan, ()), f"{plan.shoot}, {site}", low, high, tuple(lanes), notes)


def _measured(air: SiteAir) -> list[Lane]:
    judged = () if air.survey is None else air.survey.judged
    return [measured(sweep, f"Measured: {file_of(sweep)}", 150.0) for sweep in judged]
