"""Invented events of any size, from a seed: many sites and calls, mixed equipment, some others."""

from __future__ import annotations

import datetime
from typing import Any

import numpy as np

from linkwright.shoot.catalogue import as_frozen
from linkwright.shoot.models import Shoot

#: Metres a degree of latitude; enough for laying out a made-up town.
DEGREE_M = 111_320.0
SURROUNDINGS = ("street", "open", "hall", "residential")


def event(links: int, sites: int, seed: int = 1, apart_m: float = 350.0) -> Shoot:
    """A shoot of `links` links spread over `sites` sites, on a jittered grid `apart_m` apart [m]."""
    rng = np.random.default_rng(seed)
    side = int(np.ceil(np.sqrt(sites)))
    document: dict[str, Any] = {
        "shoot": {
            "title": f"Event of {links} links on {sites} sites",
            "region": "GB",
            "permits": ["gb-coordinated", "gb-shared"],
            "date": datetime.date(2027, 5, 14),
        },
        "transmitter": {
            "low": {"use": "uhf-body-worn", "tunes_mhz": [[470.0, 606.0]]},
            "high": {"use": "uhf-body-worn", "tunes_mhz": [[614.0, 694.0]]},
            "plug": {"use": "uhf-plug-on"},
        },
        "site": [],
        "link": [],
        "other": [],
        "call": [],
    }
    for n in range(sites):
        _add_site(document, rng, n, side, apart_m, len(range(n, links, sites)))
    return Shoot.model_validate(as_frozen(document))


def _add_site(
    document: dict[str, Any], rng: np.random.Generator, n: int, side: int, apart_m: float, links: int
) -> None:
    name = f"Site {n + 1}"
    x, y = (n % side) * apart_m + rng.uniform(-60, 60), (n // side) * apart_m + rng.uniform(-60, 60)
    spots = [{"name": "Rack", "x_m": 0.0, "y_m": 0.0, "z_m": 1.8}]
    spots += [
        {"name": f"Spot {k}", "x_m": float(rng.uniform(4, 30)), "y_m": float(rng.uniform(-15, 15))}
        for k in range(6)
    ]
    document["site"].append(
        {
            "name": name,
            "latitude": 50.0 + y / DEGREE_M,
            "longitude": -4.0 + x / DEGREE_M / np.cos(np.radians(50.0)),
            "surroundings": SURROUNDINGS[int(rng.integers(len(SURROUNDINGS)))],
            "spots": spots,
            "tv": ["24", "31"],
        }
    )
    names = [f"S{n + 1} link {k + 1}" for k in range(links)]
    for link in names:
        document["link"].append(
            {
                "name": link,
                "transmitter": ("low", "high", "plug")[int(rng.integers(3))],
                "receiver": "uhf-cart-rack",
                "at": "Rack",
                "route": [f"Spot {k}" for k in sorted(rng.choice(6, 2, replace=False))],
            }
        )
    document["other"].append(
        {
            "name": f"Radio {n + 1}",
            "carrier_mhz": round(470.0 + 0.025 * int(rng.integers(8000)), 3),
            "radiated_mw": 100.0,
            "bandwidth_khz": 25,
            "site": name,
            "at": {"x_m": float(rng.uniform(20, 60)), "y_m": 0.0},
        }
    )
    half = (links + 1) // 2
    begins = int(rng.integers(8, 12))
    for part, (who, hour) in enumerate(((names[: half + links // 4], begins), (names[half // 2 :], begins + 3))):
        document["call"].append(
            {
                "name": f"{name}, part {part + 1}",
                "site": name,
                "from": datetime.time(hour),
                "to": datetime.time(hour + 2, 30),
                "links": who,
            }
        )
