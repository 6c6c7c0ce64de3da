"""A site's plan as a score: what was measured, what may be used, TV, others, ours with their spares."""

from __future__ import annotations

from typing import Final

from linkwright.draw.lanes import Band, Bands, Fill, Head, Lane, Pin, Pins
from linkwright.draw.measured import file_of, measured
from linkwright.draw.score import Score, drawn
from linkwright.plan.air import SiteAir
from linkwright.plan.answer import answer_sentence
from linkwright.plan.chain import Scene
from linkwright.plan.model import Plan
from linkwright.rules import closed_ranges
from linkwright.units import mhz_text

HEADS: Final[dict[str, Head]] = {"holds": "full", "thin": "half", "fails": "half"}
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
    lanes: list[Lane] = [*_measured(air), _rules(scene, low, high), _tv(air), _others(scene, site)]
    lanes += [_ours(plan, call.call) for call in plan.calls if call.site == site]
    notes = ("Pins: full, holds; half, thin or fails; hollow, a spare. Hatched: closed, or not sure.",)
    return Score(answer_sentence(plan), f"{plan.shoot}, {site}", low, high, tuple(lanes), notes)


def _measured(air: SiteAir) -> list[Lane]:
    judged = () if air.survey is None else air.survey.judged
    return [measured(one, f"Measured: {file_of(one)}", 150.0) for one in judged]


def _rules(scene: Scene, low: float, high: float) -> Bands:
    bands = [
        Band(row.from_khz, row.to_khz, row.permit or "exempt", _fill(row.evidence), row.id)
        for row in scene.law.territory.rows
        if row.kind == "microphone" and not row.listed_only and not row.ended(scene.law.on)
        and (row.permit is None or row.permit in scene.law.permits)
        and row.to_khz > low and row.from_khz < high
    ]  # fmt: skip
    bands += [
        Band(closed.from_khz, closed.to_khz, "closed", "closed", closed.why)
        for closed in closed_ranges(scene.law.territory, scene.law.on)
        if closed.to_khz > low and closed.from_khz < high
    ]
    return Bands("May be used", tuple(bands), 26.0)


def _fill(evidence: str) -> Fill:
    return "open" if evidence == "stated" else "doubt"


def _tv(air: SiteAir) -> Bands:
    return Bands(
        "TV",
        tuple(
            Band(one.channel.from_khz, one.channel.to_khz, one.channel.number,
                 "solid" if one.evidence in ("measured", "stated") else "doubt",
                 f"TV channel {one.channel.number} {one.says}")
            for one in air.taken
        ),
    )  # fmt: skip


def _others(scene: Scene, site: str) -> Bands:
    found = scene.others.get(site, ())
    return Bands(
        "Others", tuple(Band(*other.band_khz, other.name, "solid", f"{other.radiated_mw:g} mW") for other in found)
    )


def _ours(plan: Plan, name: str) -> Pins:
    call = next(one for one in plan.calls if one.call == name)
    pins = [
        Pin(
            link.carrier_khz,
            1.0,
            link.link,
            HEADS[link.verdict],
            says=f"{link.link} {mhz_text(link.carrier_khz)} MHz",
        )
        for link in call.links
    ]
    pins += [
        Pin(khz, 0.5, "", "hollow", says=f"spare {n + 1} of {link.link}, {mhz_text(khz)} MHz")
        for link in call.links
        for n, khz in enumerate(link.spares_khz)
    ]
    return Pins(f"Ours, {name}", tuple(pins))
