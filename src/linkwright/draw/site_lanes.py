"""What stands on a frequency at a site, once for all scores: the rules, TV, others, and ours with their spares."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from typing import Final

from linkwright.draw.lanes import Band, Pin
from linkwright.plan.air import SiteAir
from linkwright.plan.answer import short_says
from linkwright.plan.chain import Scene
from linkwright.plan.input_findings import contiguous
from linkwright.plan.model import PlannedCall
from linkwright.plan.site import Slots, site_problem
from linkwright.rules import Territory, closed_ranges
from linkwright.shoot.catalogue import called

#: A band that holds nothing of ours or of a sweep is shown from here to there [kHz].
WHOLE: Final = (470_000, 694_000)


def band(scene: Scene, air: SiteAir) -> tuple[int, int]:
    """From the lowest to the highest frequency that our kit there is tuned over, else that a sweep looked at [kHz].

    Kit that finds its carriers by itself is not tuned by anybody, and so left out.
    """
    kits = [scene.chain(link, air.site).transmitter for call in scene.calls_on(air.site) for link in call.links]
    edges = [edge for kit in kits if not kit.coordinates_itself for tunes in kit.tunes_khz for edge in tunes]
    for sweep in air.survey.judged if air.survey is not None and not edges else ():
        edges += [int(sweep.left_khz[0]), int(sweep.right_khz[-1])]
    low, high = (min(edges), max(edges)) if edges else WHOLE
    room = 0.02 * (high - low) + 500.0
    return int(low - room), int(high + room)


def may_be_used(scene: Scene, air: SiteAir) -> tuple[Band, ...]:
    """The parts of what the links there tune that may be used at all, by type of transmitter."""
    ranges: dict[tuple[int, int], list[str]] = {}
    problem = site_problem(scene, air.site, Slots.of(scene), {})
    for kind in dict.fromkeys(chain.link.sends.kit for chain in problem.chains):
        n = next(n for n, chain in enumerate(problem.chains) if chain.link.sends.kit == kind)
        tuning = problem.tunings[n]
        for edges in contiguous(tuning.carriers_khz[tuning.legal]):
            ranges.setdefault(edges, []).append(called(kind))
    return tuple(
        Band(low, high, ", ".join(kinds), "open", f"{' and '.join(kinds)} may be used here")
        for (low, high), kinds in ranges.items()
    )


def allowed(
    territory: Territory, on: datetime.date, permits: Iterable[str] | None, low_khz: float, high_khz: float
) -> tuple[Band, ...]:
    """Microphone rows that touch a band [kHz] on a day, with one of `permits` or none; None for any permit."""
    return tuple(
        Band(row.from_khz, row.to_khz, row.permit or "exempt", "open" if row.evidence == "stated" else "doubt",
             f"{row.id}: {row.source}")
        for row in territory.rows
        if row.kind == "microphone" and not row.listed_only and not row.ended(on)
        and (permits is None or row.permit is None or row.permit in permits)
        and row.to_khz > low_khz and row.from_khz < high_khz
    )  # fmt: skip


def closed(territory: Territory, on: datetime.date, low_khz: float, high_khz: float) -> tuple[Band, ...]:
    """What the rules close in a band [kHz] on a day, and why."""
    return tuple(
        Band(
            closed_range.from_khz,
            closed_range.to_khz,
            "closed",
            "closed",
            f"{closed_range.why} ({closed_range.source})",
        )
        for closed_range in closed_ranges(territory, on)
        if closed_range.to_khz > low_khz and closed_range.from_khz < high_khz
    )


def tv(air: SiteAir) -> tuple[Band, ...]:
    """The TV channels that are taken to be on the air at a site."""
    return tuple(
        Band(taken.channel.from_khz, taken.channel.to_khz, taken.channel.number,
             "solid" if taken.evidence in ("measured", "stated") else "doubt",
             f"TV channel {taken.channel.number} {taken.says} ({taken.evidence})")
        for taken in air.taken
    )  # fmt: skip


def others(scene: Scene, site: str) -> tuple[Band, ...]:
    """What others transmit on at a site."""
    return tuple(
        Band(*other.band_khz, other.name, "solid", f"{other.name}, {other.radiated_mw:g} mW")
        for other in scene.others.get(site, ())
    )


def ours(call: PlannedCall) -> tuple[Pin, ...]:
    """The carriers of a call, then their spares."""
    carriers = (
        Pin(link.carrier_khz, 1.0, link.link, link.verdict,
            says=f"{link.link} in {call.call}, {link.carrier} MHz: {link.verdict}, "
            f"{short_says(link.in_hand_db)}")
        for link in call.links
    )  # fmt: skip
    spares = (
        Pin(khz, 0.0, link.link, "spare", says=f"spare {n} of {link.link}, {link.shown(khz)} MHz")
        for link in call.links
        for n, khz in enumerate(link.spares_khz, 1)
    )
    return (*carriers, *spares)
