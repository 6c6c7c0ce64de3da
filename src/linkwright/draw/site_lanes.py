"""What stands on a frequency at a site, once for all scores: the rules, TV, others, and ours with their spares."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from typing import Final

from linkwright.draw.lanes import Band, Head, Pin
from linkwright.plan.air import SiteAir
from linkwright.plan.answer import short_says
from linkwright.plan.chain import Scene
from linkwright.plan.model import PlannedCall
from linkwright.rules import Territory, closed_ranges

HEADS: Final[dict[str, Head]] = {"holds": "full", "thin": "half", "fails": "half"}


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
        Band(one.from_khz, one.to_khz, "closed", "closed", f"{one.why} ({one.source})")
        for one in closed_ranges(territory, on)
        if one.to_khz > low_khz and one.from_khz < high_khz
    )


def tv(air: SiteAir) -> tuple[Band, ...]:
    """The TV channels that are taken to be on the air at a site."""
    return tuple(
        Band(one.channel.from_khz, one.channel.to_khz, one.channel.number,
             "solid" if one.evidence in ("measured", "stated") else "doubt",
             f"TV channel {one.channel.number} {one.says} ({one.evidence})")
        for one in air.taken
    )  # fmt: skip


def others(scene: Scene, site: str) -> tuple[Band, ...]:
    """What others transmit on at a site."""
    return tuple(
        Band(*other.band_khz, other.name, "solid", f"{other.name}, {other.radiated_mw:g} mW")
        for other in scene.others.get(site, ())
    )


def ours(call: PlannedCall) -> tuple[Pin, ...]:
    """The carriers of a call, then their spares, hollow."""
    carriers = (
        Pin(link.carrier_khz, 1.0, link.link, HEADS[link.verdict],
            says=f"{link.link} in {call.call}, {link.carrier} MHz: {link.verdict}, "
            f"{short_says(link.in_hand_db)}")
        for link in call.links
    )  # fmt: skip
    spares = (
        Pin(khz, 0.5, link.link, "hollow", says=f"spare {n} of {link.link}, {link.shown(khz)} MHz")
        for link in call.links
        for n, khz in enumerate(link.spares_khz, 1)
    )
    return (*carriers, *spares)
