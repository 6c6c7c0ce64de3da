"""Wishes of shoot and link, levels that were read, and powers, as a plan takes them; from text, as a person types
it."""

from __future__ import annotations

import itertools

import pytest
from tests.plan.shoots import HEADER, links, pocket, shoot

from linkwright.plan.model import Plan, PlannedLink
from linkwright.plan.pipeline import make_plan
from linkwright.shoot.errors import InputError

SITE = """[[site]]
name = "Yard"
surroundings = "street"
spots = [
  { name = "Cart", x_m = 0, y_m = 0, z_m = 1.6 },
  { name = "Gate", x_m = 20, y_m = 3 },
  { name = "Store", x_m = 60, y_m = -5 },
]
"""


STANDS = 'route = ["Gate"]\ndoes = "standing"'


def planned(
    site: str = "", link: str = 'route = ["Gate"]', header: str = "", count: int = 1, around: str = "street"
) -> Plan:
    return make_plan(
        shoot(SITE.replace("street", around) + site + pocket() + links(count, more=link), HEADER + header),
        {},
        effort=0.0,
    )


def only(plan: Plan) -> PlannedLink:
    (link,) = plan.calls[0].links
    return link


def test_a_level_that_was_read_stands_in_the_ledger_and_wins_at_its_spot() -> None:
    before = only(planned(link='route = ["Store"]'))
    read = '[[site.measured_level]]\nlink = "L1"\nspot = "Store"\ndbm = -58.0\npower_mw = 50\nseconds = 60\n'
    # The table of the site's readings follows the site; facing is told.
    after = only(planned(read + 'facing = "side"\n', 'route = ["Store"]\nlocked_mw = 50'))
    line = next(line for line in after.ledger if line.part == "levels read here")
    assert line.evidence == "measured"
    assert line.db is not None
    assert line.db > 10.0
    assert after.in_hand_db > before.in_hand_db + 10.0
    assert after.doubt_db < before.doubt_db
    wanted = sum(one.db or 0.0 for one in after.ledger if one.what == "wanted")
    assert wanted == pytest.approx(after.wanted_dbm, abs=1e-9)


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        ('link = "L9"\nspot = "Gate"\ndbm = -60', 'is of the unknown link "L9"'),
        ('link = "L1"\nspot = "Gatr"\ndbm = -60', 'is at the unknown spot "Gatr"; did you mean "Gate"?'),
    ],
)
def test_a_reading_of_nobody_or_nowhere_is_refused(entry: str, says: str) -> None:
    with pytest.raises(InputError) as refused:
        planned(f"[[site.measured_level]]\n{entry}\n")
    assert says in str(refused.value)


def test_a_link_outranks_the_shoot_and_a_stricter_wish_leaves_less() -> None:
    lazy = only(planned(link='route = ["Gate"]\nlocked_mw = 10'))
    strict = only(planned(link='route = ["Gate"]\nlocked_mw = 10\nsure_wanted = 0.97\nbreaks_per_hour = 0.5'))
    assert strict.in_hand_db < lazy.in_hand_db - 2.0
    wide = only(
        planned(link='route = ["Gate"]\nlocked_mw = 10', header="sure_wanted = 0.97\nbreaks_per_hour = 0.5\n")
    )
    assert wide.in_hand_db == strict.in_hand_db
    timed = only(planned(link='route = ["Gate"]\nlocked_mw = 10', header="target = 0.9999\n"))
    assert timed.in_hand_db < lazy.in_hand_db


def test_who_stands_needs_less_than_who_walks_and_a_spot_outranks_the_link() -> None:
    walks, stands = (
        only(planned(link=f'route = ["Gate"]\nlocked_mw = 10\ndoes = "{does}"')) for does in ("walking", "standing")
    )
    assert stands.fading_db < walks.fading_db - 5.0
    told = SITE.replace('name = "Gate", x_m = 20, y_m = 3', 'name = "Gate", x_m = 20, y_m = 3, does = "standing"')
    body = told + pocket() + links(1, more='route = ["Gate"]\nlocked_mw = 10')
    at_spot = only(make_plan(shoot(body), {}, effort=0.0))
    assert at_spot.in_hand_db == stands.in_hand_db
    assert "0.1 m/s" in next(line.source for line in at_spot.ledger if line.part == "the channel")


def test_the_most_power_is_taken_where_it_is_wished_and_harms_nobody() -> None:
    least, most = (
        planned(link=STANDS, header=f'power = "{power}"\n', count=4, around="open") for power in ("least", "most")
    )
    assert max(link.power_mw for link in least.calls[0].links) < 50.0
    assert [link.power_mw for link in most.calls[0].links] == [50.0] * 4
    assert all(link.verdict == "holds" for link in most.calls[0].links)
    mine = planned(link=STANDS + '\npower = "most"')
    assert only(mine).power_mw == 50.0


def test_more_reserve_takes_more_power() -> None:
    powers = [only(planned(link=STANDS, header=f"reserve_db = {db}\n")).power_mw for db in (0, 3, 12)]
    assert powers == sorted(powers)
    assert powers[0] < powers[-1]


def test_the_powers_are_the_same_in_any_order_of_links() -> None:
    names = {"L1": "Gate", "L2": "Store", "L3": "Gate"}
    body = SITE + pocket("[[518.0, 526.0]]")
    found = []
    for order in itertools.permutations(names):
        text = "".join(
            f'[[link]]\nname = "{n}"\ntransmitter = "pocket"\nreceiver = "uhf-cart-rack"\nroute = ["{names[n]}"]\n'
            f"locked_mhz = {519.0 + int(n[1])}\n"
            for n in order
        )
        plan = make_plan(shoot(body + text), {}, effort=0.0)
        found.append({link.link: (link.power_mw, link.in_hand_db, link.verdict) for link in plan.calls[0].links})
    assert all(each == found[0] for each in found)


def test_the_plan_is_the_same_in_any_order_of_links() -> None:
    names = {"A": "Gate", "B": "Store", "C": "Gate", "D": "Store"}
    found = []
    for order in list(itertools.permutations(names))[::5]:
        text = "".join(
            f'[[link]]\nname = "{n}"\ntransmitter = "pocket"\nreceiver = "uhf-cart-rack"\nroute = ["{names[n]}"]\n'
            "spares = 2\n"
            for n in order
        )
        plan = make_plan(shoot(SITE + pocket("[[518.0, 526.0]]") + text), {})
        assert [link.link for link in plan.calls[0].links] == list(order)
        # Receivers' channels are given out in the order of the file; nothing else depends on it.
        found.append(
            sorted((x.link, x.carrier_khz, x.spares_khz, x.power_mw, x.in_hand_db) for x in plan.calls[0].links)
        )
    assert all(each == found[0] for each in found)


def test_how_far_a_talent_goes_is_said_where_it_is_assumed() -> None:
    bare = '[[site]]\nname = "Yard"\n' + pocket()
    link = '[[link]]\nname = "L1"\ntransmitter = "pocket"\nreceiver = "uhf-cart-rack"\n'
    plan = make_plan(shoot(bare + link), {}, effort=0.0)
    assert only(plan).worst_at == "30 m away"
    (found,) = [finding for finding in plan.findings if finding.code == "distance-assumed"]
    assert found.says == "Nothing says how far L1 goes at Yard: 30 m is taken."
    said = make_plan(shoot(bare + link + "within_m = 5\n"), {}, effort=0.0)
    assert only(said).worst_at == "5 m away"
    assert not [finding for finding in said.findings if finding.code == "distance-assumed"]


@pytest.mark.parametrize("around", ["office", "hall", "street"])
def test_what_is_taken_for_sight_is_said_and_drawing_a_wall_never_betters_anybody(around: str) -> None:
    """An office without walls used to hold at 200 m; any wall on a street used to mean clear sight, 34 dB
    better."""
    site = f'[[site]]\nname = "S"\nsurroundings = "{around}"\n'
    far = 'spots = [{ name = "Cart", x_m = 0, y_m = 0 }, { name = "Far", x_m = 100, y_m = 0 }]\n'
    wall = 'walls = [{ from = [-5, 9], to = [-5, 12], material = "brick" }]\n'
    link = 'route = ["Far"]\nlocked_mw = 50'
    bare, walled, complete = (
        make_plan(shoot(site + more + far + pocket() + links(1, more=link)), {}, effort=0.0)
        for more in ("", wall, wall + "walls_complete = true\n")
    )
    assert only(bare).in_hand_db == only(walled).in_hand_db
    assert only(bare).verdict != "holds"
    assert [finding.code for finding in bare.findings].count("sight-assumed") == 1
    assert [finding.code for finding in complete.findings].count("sight-assumed") == 0
    path = next(line for line in only(bare).ledger if line.part == "path")
    assert "without sight beyond" in path.source


def test_a_receiver_that_is_driven_over_its_range_is_told_and_its_products_are_no_stronger_than_their_makers() -> (
    None
):
    """Two strangers beside the antennas at 10 W: unlimited, 2A-B would come out stronger than what makes it."""
    strangers = "".join(
        f'[[other]]\nname = "O{n}"\ncarrier_mhz = {mhz}\nradiated_mw = 10000\nat = {{ x_m = 1.5, y_m = {n} }}\n'
        for n, mhz in enumerate((524.0, 527.0))
    )
    body = SITE + pocket("[[518.0, 526.0]]") + links(1, more='route = ["Gate"]\nlocked_mhz = 521.0')
    plan = make_plan(shoot(body + strangers), {}, effort=0.0)
    link = only(plan)
    (found,) = [finding for finding in plan.findings if finding.code == "overdriven"]
    assert "is driven over its range by O0" in found.says
    product = next(line for line in link.ledger if line.part.startswith("2A-B of O0, O1"))
    assert product.dbm is not None
    assert product.dbm < 5.0  # 10 W at 1.5 m is 10 dBm here; by the intercept alone it would be over 35 dBm
