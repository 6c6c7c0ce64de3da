"""One carrier a pack all day, unless that costs too much; and the reason where it changes."""

from __future__ import annotations

import random

from tests.plan.shoots import links, pocket, shoot

from linkwright.plan.model import Plan
from linkwright.plan.pipeline import make_plan
from linkwright.shoot.models import Shoot

SITES = """
[[site]]
name = "One"
spots = [{ name = "A", x_m = 0, y_m = 0 }]
[[site]]
name = "Two"
spots = [{ name = "A", x_m = 0, y_m = 0 }]
tv = ["22"]
"""


def day(seed: int, count: int, tunes: str, calls: int) -> Shoot:
    """Calls on two sites in turn, two thirds of the links in each; one channel is taken by TV on the second."""
    draw = random.Random(seed)
    body = SITES + pocket(tunes) + links(count)
    for n in range(calls):
        who = ", ".join(f'"L{i}"' for i in sorted(draw.sample(range(1, count + 1), 2 * count // 3)))
        times = f"from = {8 + n:02}:00:00\nto = {8 + n:02}:50:00"
        body += f'[[call]]\nname = "c{n}"\nsite = "{("One", "Two")[n % 2]}"\n{times}\nlinks = [{who}]\n'
    return shoot(body)


def changing(plan: Plan) -> set[str]:
    given: dict[str, set[int]] = {}
    for call in plan.calls:
        for link in call.links:
            given.setdefault(link.link, set()).add(link.carrier_khz)
    return {name for name, carriers in given.items() if len(carriers) > 1}


def test_packs_keep_their_carrier_over_sites_and_calls() -> None:
    plan = make_plan(day(5, 12, "[[470.0, 494.0]]", 4), {})
    assert changing(plan) == set()
    assert all(call.criterion == "clean" and not call.unplaced for call in plan.calls)


def test_a_carrier_that_cannot_be_kept_is_told_with_its_reason() -> None:
    """All that the pack tunes on one site is TV on the other."""
    one, two = SITES.split("[[site]]")[1:]
    body = f'[[site]]{one}tv = ["27"]\n[[site]]{two}' + pocket("[[478.0, 486.0], [520.0, 521.0]]") + links(1)
    for n, site in enumerate(("One", "Two")):
        times = f"from = {8 + n:02}:00:00\nto = {8 + n:02}:50:00"
        body += f'[[call]]\nname = "c{n}"\nsite = "{site}"\n{times}\nlinks = ["L1"]\n'
    plan = make_plan(shoot(body), {})
    assert changing(plan) == {"L1"}
    (told,) = [finding for finding in plan.findings if finding.code == "carrier-changes"]
    assert "TV channel 22" in told.says
