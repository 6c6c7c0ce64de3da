"""What an application for a permit asks: carriers, width, power, height, place with radius, times; and what stands
on none yet."""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np

from linkwright.plan.chain import Chain, Scene
from linkwright.plan.model import Plan, PlannedCall, PlannedLink
from linkwright.plan.site import Slots, site_problem
from linkwright.rules import on_licence
from linkwright.sheets.content import ERP_DB, contacts, permit_called, permits_said, titled
from linkwright.sheets.tables import Value, csv_text
from linkwright.shoot.clock import zone_of
from linkwright.shoot.models import Link, Shoot
from linkwright.shoot.permits import PermitHeld
from linkwright.shoot.place import Site
from linkwright.shoot.view import LiveCall, live_calls, receiving_point, transmitter_of
from linkwright.units import mhz_text

#: A permit's place is no smaller than this: people step aside [m].
LEAST_RADIUS_M: Final = 100.0
#: So many carriers are named in a sentence.
NAMED: Final = 8
HEAD: Final = (
    "call", "site", "latitude", "longitude", "radius_m", "from", "to", "link", "label", "carrier_mhz",
    "instead_mhz", "tunes_mhz", "bandwidth_khz", "conducted_mw", "erp_mw", "eirp_mw",
    "transmitter_height_m", "receiver_height_m",
    "stands_on", "permit",
)  # fmt: skip


def wanted(scene: Scene, plan: Plan) -> list[dict[str, Any]]:
    """A row for every carrier of every call, by the keys of `HEAD`; `permit` is empty where none is held yet."""
    slots = Slots.of(scene)
    spans = {live.name: live for live in live_calls(scene.shoot)}
    rows = []
    for site in scene.used_sites:
        problem = site_problem(scene, site, slots, {})
        asked = {
            way.link.name: (way, tuning)
            for chain, tuning in zip(problem.chains, problem.tunings, strict=True)
            for way in chain.ways
        }
        for call in plan.calls:
            for link in call.links if call.site == site.name else ():
                chain, tuning = asked[link.link]
                row, live = tuning.row_at(link.carrier_khz), spans[call.call]
                stands = "nothing" if row is None else row.permit or (row.use if row.is_licence else "exempt use")
                held = permit_on(scene, chain, live, link.carrier_khz)
                rows.append(_row(scene, call, live, link, chain.link, stands, held))
    return rows


def _row(
    scene: Scene, call: PlannedCall, live: LiveCall, planned: PlannedLink, link: Link, stands: str,
    held: PermitHeld | None,
) -> dict[str, Any]:  # fmt: skip
    site, transmitter = live.site, transmitter_of(scene.shoot, link)
    gain = transmitter.antenna_gain_dbi
    heights = (
        [spot.z_m for spot in site.spots if spot.name in (*link.sends.route, link.sends.at)]
        or [spot.z_m for spot in site.spots]
        or [1.5]
    )
    permit = "exempt" if stands == "exempt use" else ""
    return {
        "call": call.call, "site": site.name, "latitude": site.latitude, "longitude": site.longitude,
        "radius_m": radius_m(site),
        "from": live.starts.isoformat() if live.starts else scene.shoot.shoot.date.isoformat(),
        "to": live.ends.isoformat() if live.ends else scene.shoot.shoot.date.isoformat(),
        "link": planned.link, "label": transmitter.label(planned.carrier_khz),
        "carrier_mhz": mhz_text(planned.carrier_khz),
        "instead_mhz": " ".join(map(mhz_text, planned.spares_khz)),
        "tunes_mhz": " ".join(f"{mhz_text(low)}-{mhz_text(high)}" for low, high in transmitter.tunes_khz),
        "bandwidth_khz": transmitter.bandwidth_khz, "conducted_mw": planned.power_mw,
        "erp_mw": round(planned.power_mw * 10 ** ((gain - ERP_DB) / 10), 1),
        "eirp_mw": round(planned.power_mw * 10 ** (gain / 10), 1),
        "transmitter_height_m": max(heights), "receiver_height_m": receiving_point(site, link).z_m,
        "stands_on": stands, "permit": permit if held is None else titled(held),
    }  # fmt: skip


def radius_m(site: Site) -> float:
    """The radius about the middle of a site's spots within which everything happens, up to the next 50 m."""
    if not site.spots:
        return LEAST_RADIUS_M
    x, y = (sum(values) / len(site.spots) for values in zip(*((s.x_m, s.y_m) for s in site.spots), strict=True))
    most = max(math.hypot(spot.x_m - x, spot.y_m - y) for spot in site.spots)
    return max(LEAST_RADIUS_M, 50.0 * math.ceil(most / 50.0))


def permit_on(scene: Scene, chain: Chain, live: LiveCall, carrier_khz: int) -> PermitHeld | None:
    """The first permit of the shoot that lists a carrier for a link, at its site, during a call."""
    khz = np.array([carrier_khz])
    holding = scene.terms(chain, [live]).licences
    return next((link for link in holding if on_licence(link, khz, chain.transmitter.bandwidth_khz)[0]), None)


def application_csv(scene: Scene, plan: Plan) -> str:
    """The rows as a table; numbers with a point, times ISO 8601 with their offset."""
    rows: list[list[Value]] = [[row[key] for key in HEAD] for row in wanted(scene, plan)]
    return csv_text(HEAD, rows)


def without_permit(shoot: Shoot, rows: list[dict[str, Any]]) -> list[str]:
    """Sentences on the carriers that stand on no permit yet, one for each kind that they need, in its words."""
    by_ground: dict[str, dict[str, None]] = {}
    for row in rows:
        if not row["permit"]:
            by_ground.setdefault(row["stands_on"], {})[f"{shown_mhz(row)} ({row['link']})"] = None
    said = []
    for what, carriers in by_ground.items():
        named = ", ".join(list(carriers)[:NAMED]) + (" and more" if len(carriers) > NAMED else "")
        many = "One carrier needs" if len(carriers) == 1 else f"{len(carriers)} carriers need"
        them = "it" if len(carriers) == 1 else "them"
        kind = permit_called(shoot, what)
        said.append(f"{many} a permit ({kind}), and no permit of the shoot lists {them}: {named}.")
    return said


def shown_mhz(row: dict[str, Any]) -> str:
    """The carrier of a row, behind what the display calls it."""
    return f"{row['label']} = {row['carrier_mhz']}" if row["label"] else str(row["carrier_mhz"])


def _position(site: Site) -> str:
    return "position not given" if site.latitude is None else f"{site.latitude:.5f}, {site.longitude:.5f}"


def application(scene: Scene, plan: Plan) -> dict[str, Any]:
    """The sheet: places, carriers, and who asks."""
    rows = wanted(scene, plan)
    places = [
        {"name": site.name, "position": _position(site), "radius": f"{radius_m(site):.0f}"}
        for site in scene.used_sites
    ]
    asked = [{key: "" if row[key] is None else str(row[key]) for key in HEAD} for row in rows]
    for row in asked:
        first, last = row["from"][:16].replace("T", " "), row["to"][:16].replace("T", " ")
        row["when"] = (
            first if first == last else f"{first}\N{EN DASH}{last[11:] if first[:10] == last[:10] else last}"
        )
    return {
        "places": places,
        "rows": [row for row in asked if row["permit"] != "exempt"],
        "exempt": ", ".join(dict.fromkeys(row["link"] for row in asked if row["permit"] == "exempt")),
        "lacking": without_permit(scene.shoot, rows),
        "zone": str(zone_of(scene.shoot)),
        "permits": permits_said(scene.shoot),
        "contacts": contacts(scene.shoot),
    }
