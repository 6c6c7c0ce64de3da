"""Jobs with many links, served: for whoever looks whether a page still stands with 7, 24 or 60 of them."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from tests.web.conftest import Served, served, shoot_into, wait_for_plan

from linkwright.desk.follow import planned_apart
from linkwright.plan.chain import Scene, scene_of
from linkwright.plan.model import Plan
from linkwright.progress import Tell
from linkwright.shoot.reading import parse_shoot

#: How many links the pages are looked at with, and up to how many a plan is really made.
CROWDS = (7, 24, 60)
MADE = 7
NAMES = ("Presenter", "Salter", "Raker", "Boom", "Historian", "Packer", "Stoker", "Ferryman", "Guest", "Warden")
TITLE = "Fair on the quay, day 2"
HEADER = """
[shoot]
title = "{TITLE}"
region = "GB"
permits = ["gb-coordinated"]
accepts = ["gb-coordinated-470-606"]
date = 2027-05-14
timezone = "Europe/London"
[[permit]]
name = "Licence of the quay"
number = "Q 1742"
ranges_mhz = [[470.0, 606.0]]
[[contact]]
name = "Keeper of the quay"
role = "site"
phone = "+44 0000 000000"
[[site]]
name = "Quay"
surroundings = "street"
spots = [{ name = "Camera", x_m = 0, y_m = 0 }, { name = "Steps", x_m = 12, y_m = 4 },
  { name = "Crane house", x_m = 30, y_m = -9 }, { name = "Pontoon", x_m = 33, y_m = -6 }]
walls = [{ from = [20, -12], to = [20, 2], material = "brick" }]
[transmitter.pocket]
use = "uhf-body-worn"
tunes_mhz = [[470.0, 606.0]]
[[call]]
name = "Morning"
site = "Quay"
from = 09:00:00
to = 12:30:00
"""


def crowded(links: int) -> str:
    """A shoot of that many links in one call at one site, as its file."""
    spots = ("Steps", "Crane house", "Pontoon")
    return HEADER.replace("{TITLE}", TITLE) + "".join(
        f'[[link]]\nname = "{NAMES[n % len(NAMES)]}{"" if n < len(NAMES) else f" {n // len(NAMES) + 1}"}"\n'
        f'transmitter = "pocket"\nreceiver = "uhf-cart-rack"\nat = "Camera"\n'
        f'route = ["{spots[n % 3]}", "{spots[(n + 1) % 3]}"]\nspares = {1 + n % 2}\n'
        for n in range(links)
    )


def planned_as_few(scene: Scene, earlier: Plan | None, tell: Tell, _dask: str) -> Any:
    """A plan of the first few links, copied to all: pages show it as they would a real one, and nobody proves it.

    A search for 60 carriers takes minutes, and what is looked at is how their rows stand on a page.
    """
    shoot = scene.shoot
    if shoot.shoot.title != TITLE or len(shoot.link) <= MADE:
        return planned_apart(scene, earlier, tell)
    few = shoot.model_copy(update={"link": shoot.link[:MADE]})
    made = planned_apart(scene_of(few, {}), None, tell).plan
    call = made.calls[0]
    own = [(call.links[n % len(call.links)], link.name, n) for n, link in enumerate(shoot.link)]
    copies = tuple(
        one.model_copy(
            update={
                "link": name,
                "carrier_khz": 470_400 + 2_200 * n,
                "spares_khz": tuple(471_000 + 2_200 * n + 500 * k for k in range(len(one.spares_khz))),
                "receiver_unit": n // 4 + 1, "receiver_channel": n % 4 + 1,
            }
        )
        for one, name, n in own
    )  # fmt: skip
    cells = tuple(
        battery.model_copy(update={"link": name})
        for source, name, _ in own
        for battery in made.batteries
        if battery.link == source.link
    )
    calls = (call.model_copy(update={"links": copies}),)
    return SimpleNamespace(scene=scene, plan=made.model_copy(update={"calls": calls, "batteries": cells}))


@contextmanager
def crowd(path: Path, links: int) -> Iterator[Served]:
    """The pages of a job of that many links, with a plan."""
    with pytest.MonkeyPatch.context() as patch, served(path) as pages:
        patch.setattr("linkwright.desk.planning.planned_apart", planned_as_few)
        shoot_into(pages.store, parse_shoot(crowded(links), "crowd.toml"))
        wait_for_plan(pages.desk)
        yield pages
