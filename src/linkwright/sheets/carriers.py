"""Our carriers as an open list, for other crews: CSV and JSON (docs/neighbours.md)."""

from __future__ import annotations

import json
from typing import Any

from linkwright.plan.model import Plan
from linkwright.sheets.tables import csv_text
from linkwright.shoot.carrier_list import COLUMNS, FORMAT
from linkwright.shoot.models import Shoot
from linkwright.shoot.view import live_calls, sites, transmitter_of


def rows_of(shoot: Shoot, plan: Plan) -> list[dict[str, Any]]:
    """Every carrier of every call, and the spares, with what a neighbour needs to plan around them."""
    by_name = {link.name: link for link in shoot.link}
    spans = {call.name: call for call in live_calls(shoot)}
    places = {site.name: site for site in sites(shoot)}
    rows = []
    for call in plan.calls:
        live, site = spans[call.call], places[call.site]
        for link in call.links:
            transmitter = transmitter_of(shoot, by_name[link.link])
            radiated = link.power_mw * 10.0 ** (transmitter.antenna_gain_dbi / 10.0)
            for n, khz in enumerate((link.carrier_khz, *link.spares_khz)):
                rows.append(
                    {
                        "name": f"{shoot.shoot.title}: {link.link}",
                        "carrier_mhz": khz / 1000.0,
                        "use": "carrier" if n == 0 else "spare",
                        "bandwidth_khz": transmitter.bandwidth_khz,
                        "radiated_mw": round(radiated, 3),
                        "place": site.name,
                        "latitude": site.latitude,
                        "longitude": site.longitude,
                        "from": None if live.starts is None else live.starts.isoformat(),
                        "to": None if live.ends is None else live.ends.isoformat(),
                        "contact": "; ".join(
                            " ".join(filter(None, [who.name, who.phone, who.email])) for who in shoot.contact[:1]
                        ),
                    }
                )
    return rows


def carriers_csv(shoot: Shoot, plan: Plan) -> str:
    """The list as CSV."""
    return csv_text(COLUMNS, [[row[key] for key in COLUMNS] for row in rows_of(shoot, plan)])


def carriers_json(shoot: Shoot, plan: Plan) -> str:
    """The list as JSON."""
    document = {"format": FORMAT, "carriers": rows_of(shoot, plan)}
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
