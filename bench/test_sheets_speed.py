"""All sheets of a dozen and of two hundred links, against planning the same shoot in the same run."""

from __future__ import annotations

import time
from typing import Any

import pytest

from linkwright.plan.chain import scene_of
from linkwright.plan.pipeline import make_plan
from linkwright.sheets.bundle import Sheets
from linkwright.shoot.reading import parse_shoot

HEAD = """
[shoot]
title = "Many"
region = "GB"
permits = ["gb-coordinated"]
date = 2027-05-14
accepts = ["gb-coordinated-470-606"]
[[site]]
name = "Yard"
spots = [{ name = "Cart", x_m = 0, y_m = 0 }, { name = "Gate", x_m = 20, y_m = 10 }]
"""
LINK = '[[link]]\nname = "Link {n}"\ntransmitter = "uhf-body-worn"\nreceiver = "uhf-cart-rack"\n'


@pytest.mark.parametrize("links", [12, 200])
def test_all_sheets(benchmark: Any, links: int) -> None:
    shoot = parse_shoot(HEAD + "".join(LINK.format(n=n + 1) for n in range(links)), "many.toml")
    started = time.perf_counter()
    plan = make_plan(shoot, {})
    planning_s = time.perf_counter() - started
    sheets = Sheets(scene_of(shoot, {}), plan, "a4", "http://192.0.2.7:8765")
    made = benchmark.pedantic(lambda: dict(sheets.made()), rounds=1, iterations=1)
    assert len(made) == 11
    benchmark.extra_info["over_planning"] = round(benchmark.stats.stats.min / planning_s, 2)
