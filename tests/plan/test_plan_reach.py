"""What reach adds to a plan: lines of the feed and findings, remote setting, the squelch, walks not read."""

from __future__ import annotations

import math

import pytest
from tests.plan.shoots import HEADER, pocket, shoot

from linkwright.plan.model import Plan
from linkwright.plan.pipeline import make_plan

SITE = """[[site]]
name = "Yard"
surroundings = "open"
sweeps = []
spots = [{ name = "Cart", x_m = 0, y_m = 0 }, { name = "Far", x_m = 40, y_m = 5 }]
"""
LINK = '[[link]]\nname = "L1"\ntransmitter = "pocket"\nreceiver = "uhf-cart-rack"\nroute = ["Far"]\n'


def planned(site: str = "", transmitter: str = "", after: str = "") -> Plan:
    return make_plan(shoot(SITE + site + pocket(more=transmitter) + LINK + after, HEADER), {}, effort=0.0)


def antenna(more: str) -> str:
    return f'antennas = [{{ name = "One", at = "Cart", branch = "A", {more} }}]\n'


def test_the_feed_stands_in_the_ledger_and_the_sums_hold() -> None:
    plan = planned(antenna('feeder = "RG-58", feeder_m = 15, splitter_ways = 2, preamplifier = { gain_db = 10 }'))
    (link,) = plan.calls[0].links
    wanted = {line.part: line.db for line in link.ledger if line.what == "wanted"}
    assert {"line", "splitter", "preamplifier", "receive antenna"} <= set(wanted)
    assert sum(db or 0.0 for db in wanted.values()) == pytest.approx(link.wanted_dbm, abs=1e-9)
    unwanted = [line.dbm for line in link.ledger if line.dbm is not None]
    total = 10.0 * math.log10(sum(10.0 ** (dbm / 10.0) for dbm in unwanted))
    assert total == pytest.approx(link.noise_and_interference_dbm, abs=0.01)
    assert [line.part for line in link.ledger if line.what == "noise"] == ["thermal", "preamplifier"]


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ('feeder = "RG-58", feeder_m = 60', "feeder-loss"),
        ("preamplifier = { gain_db = 20 }", "gain-excess"),
        ('feeder = "RG-58", feeder_m = 10, preamplifier = { gain_db = 5 }', None),
    ],
)
def test_too_little_and_too_much_gain_are_told(more: str, code: str | None) -> None:
    codes = [finding.code for finding in planned(antenna(more)).findings]
    assert [one for one in codes if one in ("feeder-loss", "gain-excess")] == ([code] if code else [])


def test_gain_that_is_too_much_lets_neighbours_mix_earlier() -> None:
    """The intercept of the whole chain decides the products, not the receiver's alone."""
    two = LINK.replace("L1", "L2") + LINK.replace("L1", "L3") + LINK.replace("L1", "L4")
    other = "".join(
        f'[[other]]\nname = "O{n}"\ncarrier_mhz = {mhz}\nradiated_mw = 50\nat = {{ x_m = 5, y_m = {n} }}\n'
        for n, mhz in enumerate((519.0, 520.0, 523.0, 528.0))
    )
    tuned = planned(antenna("z_m = 2"), after=two + other)
    loud = planned(antenna("z_m = 2, preamplifier = { gain_db = 25, oip3_dbm = 15 }"), after=two + other)
    assert min(x.margin_db for x in loud.calls[0].links) < min(x.margin_db for x in tuned.calls[0].links)


def test_remote_setting_that_does_not_reach_is_a_note() -> None:
    (found,) = [
        finding for finding in planned(transmitter="control_mhz = 2442").findings if finding.code == "control-short"
    ]
    assert found.says == "L1 cannot be set remotely at Far from Cart: 40 m (about 9 m is usual)."
    near = planned(transmitter="control_mhz = 2442\ncontrol_reach_m = 60")
    assert not [finding for finding in near.findings if finding.code == "control-short"]


def test_the_squelch_is_in_the_plan_and_a_distant_transmitter_is_told_with_its_risk() -> None:
    (link,) = planned().calls[0].links
    assert link.squelch_dbm is not None
    assert link.squelch_dbm == pytest.approx(link.noise_and_interference_dbm + link.required_cnr_db, abs=0.51)
    assert (link.squelch_cuts, link.squelch_opens) == (0.0, 0.0)
    strange = (
        'locked_mhz = 520.0\n[[other]]\nname = "Far crew"\ncarrier_mhz = 520.0\nradiated_mw = 1.5\n'
        'at = { x_m = 300, y_m = 0 }\n[receiver.easy]\nuse = "uhf-cart-rack"\nrequired_cnr_db = 3\n'
    )
    body = SITE + "flat_ground = false\n" + pocket() + LINK.replace("uhf-cart-rack", "easy") + strange
    plan = make_plan(shoot(body, HEADER), {}, effort=0.0)
    (link,) = plan.calls[0].links
    assert link.squelch_opens is not None
    assert link.squelch_cuts is not None
    assert link.squelch_opens + link.squelch_cuts > 0.001
    (found,) = [finding for finding in plan.findings if finding.code == "squelch-risk"]
    assert found.says.startswith("Far crew opens the squelch of L1 for ")


def test_a_walk_that_was_not_read_is_told() -> None:
    codes = [finding.code for finding in planned('measured = "yard-walk.toml"\n').findings]
    assert codes.count("walk-unread") == 1
