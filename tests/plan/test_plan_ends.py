"""Every kind of link from outside: who sends, who listens, where both are, and what the plan makes of it."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.plan.ends import COUNTRIES, HEADER, gala_text, link_of, planned, two_ends

from linkwright.plan.file import parse_plan, write_plan
from linkwright.plan.fit import fit
from linkwright.plan.hit import stranger, with_stranger
from linkwright.plan.model import Plan, PlannedLink
from linkwright.plan.pipeline import make_plan
from linkwright.shoot.errors import InputError
from linkwright.shoot.reading import parse_shoot
from linkwright.units import sum_dbm


@pytest.fixture(scope="module", params=sorted(COUNTRIES))
def gala(request: pytest.FixtureRequest) -> tuple[str, Plan]:
    country = request.param
    return country, make_plan(parse_shoot(gala_text(country), "gala.toml"), {})


def test_a_gala_of_every_kind_of_link_is_planned_and_each_receiver_proved(gala: tuple[str, Plan]) -> None:
    country, plan = gala
    call = plan.calls[0]
    wide = {"Actor 1", "Actor 2", "Actor 3"}
    gone = set() if country == "US" else wide  # GB's rules, as they are kept, open nothing to a wideband set
    assert {one.link for one in call.unplaced} == gone
    assert all(link.verdict == "holds" for link in call.told)
    listeners = {link.link: [one.listener for one in link.listeners or ()] for link in call.links}
    assert listeners["Band's ears"] == ["Singer", "Drummer"]
    assert listeners["Cues"] == ["Host", "Reporter"]
    assert all(not several for name, several in listeners.items() if name not in ("Band's ears", "Cues"))
    for link in call.links:
        ledger = {
            what: [line for line in link.ledger if line.what == what] for what in ("wanted", "fading", "doubt")
        }
        assert sum(line.db or 0.0 for line in ledger["wanted"]) == pytest.approx(link.wanted_dbm, abs=0.005)
        levels = [line.dbm for line in link.ledger if line.dbm is not None]
        assert sum_dbm(levels) == pytest.approx(link.noise_and_interference_dbm, abs=0.01)
        left = link.margin_db - link.fading_db - link.doubt_db
        assert left == pytest.approx(link.in_hand_db, abs=0.011)
        for one in link.listeners or ():
            assert one.in_hand_db >= link.in_hand_db
            assert one.margin_db == pytest.approx(
                one.wanted_dbm - one.noise_and_interference_dbm - link.required_cnr_db, abs=0.011
            )
    assert parse_plan(write_plan(plan), "gala.json") == plan


def test_a_wideband_set_has_one_block_inside_one_tv_channel_where_the_rules_know_of_it() -> None:
    plan = make_plan(parse_shoot(gala_text("US"), "gala.toml"), {}, effort=0.0)
    call = plan.calls[0]
    actors = [link for link in call.links if link.link.startswith("Actor")]
    assert {link.block for link in actors} == {"wide-pack 1"}
    (carrier,) = {link.carrier_khz for link in actors}
    assert len({link.power_mw for link in actors}) == 1
    for khz in {khz for link in actors for khz in link.all_khz}:
        assert (khz - 473_000) % 6_000 == 0  # the middle of a channel of 6 MHz, 470 + 6 n (47 CFR 74.861(e))
    others = [khz for link in call.links if link.block is None for khz in link.all_khz]
    assert min(abs(khz - carrier) for khz in others) >= 6_000
    assert len({link.receiver_channel for link in actors}) == 3


def test_where_the_rules_know_no_wideband_system_it_is_refused_by_name() -> None:
    plan = make_plan(parse_shoot(gala_text("GB"), "gala.toml"), {}, effort=0.0)
    because = {one.because for one in plan.calls[0].unplaced}
    assert len(because) == 1
    assert "is open to a narrow-band microphone only" in because.pop()


def test_kit_that_coordinates_itself_is_given_no_carrier_is_told_so_and_proved_for_reach(
    gala: tuple[str, Plan],
) -> None:
    country, plan = gala
    (floor,) = plan.calls[0].by_themselves or ()
    assert floor.link == "Floor"
    assert "Floor" not in {link.link for link in plan.calls[0].links}
    low, high = (round(1000.0 * float(part)) for part in COUNTRIES[country][4].split(","))
    assert (floor.from_khz, floor.to_khz) == (low, high)
    assert not [line for line in floor.ledger if line.what == "interference"]
    told = [finding for finding in plan.findings if finding.code == "by-itself"]
    assert [found.about for found in told] == ["Floor"]
    assert "finds its carriers by itself" in told[0].says
    assert "it is given none" in told[0].says
    lacking = [finding.code for finding in plan.findings if finding.code == "by-itself-unknown"]
    assert lacking == ([] if country == "US" else ["by-itself-unknown"])


def test_farther_away_kit_that_coordinates_itself_does_not_hold() -> None:
    far = gala_text("US").replace('name = "Aisle", x_m = 6, y_m = -6', 'name = "Aisle", x_m = 400, y_m = -6')
    plan = make_plan(parse_shoot(far, "gala.toml"), {}, effort=0.0)
    (floor,) = plan.calls[0].by_themselves or ()
    assert floor.verdict != "holds"
    assert floor.worst_at == "Aisle"
    assert not plan.all_hold


EARS = """
[[link]]
name = "Ears"
serves = "in-ear"
locked_mhz = 540.0
locked_mw = 10
transmit = { kit = "rack", at = "Rack" }
receive = [LISTENERS]
"""
WHERE = st.lists(st.sampled_from(["Left", "Right", "Door"]), min_size=1, max_size=3, unique=True)


def ears(routes: list[list[str]]) -> PlannedLink:
    quoted = (", ".join(f'"{spot}"' for spot in route) for route in routes)
    listeners = ", ".join(
        f'{{ name = "L{n}", kit = "ear", route = [{route}] }}' for n, route in enumerate(quoted, start=1)
    )
    return link_of(planned(EARS.replace("LISTENERS", listeners)), "Ears")


@settings(max_examples=12, deadline=None)
@given(routes=st.lists(WHERE, min_size=2, max_size=4))
def test_one_more_listener_never_raises_in_hand_and_the_worst_decides(routes: list[list[str]]) -> None:
    fewer, more = ears(routes[:-1]), ears(routes)
    assert more.in_hand_db <= fewer.in_hand_db
    each = {one.listener: one for one in more.listeners or ()}
    worst = min(each.values(), key=lambda one: one.in_hand_db)
    assert more.in_hand_db == worst.in_hand_db
    assert more.verdict == each[more.listener or ""].verdict == worst.verdict
    assert more.worst_at == each[more.listener or ""].worst_at
    alone = [ears([route]).in_hand_db for route in routes]
    assert [one.in_hand_db for one in more.listeners or ()] == alone


OLD = """
[[link]]
name = "Pilot"
transmitter = "pocket"
receiver = "uhf-cart-rack"
at = "Rack"
ROUTE
worn = "WORN"
crowd = "CROWD"
"""
NEW = """
[[link]]
name = "Pilot"
transmit = { kit = "pocket", ROUTE worn = "WORN", crowd = "CROWD" }
receive = [{ kit = "uhf-cart-rack", at = "Rack" }]
"""


@settings(max_examples=15, deadline=None)
@given(
    route=st.lists(st.sampled_from(["Rack", "Left", "Right", "Door"]), max_size=4),
    worn=st.sampled_from(["belt-front", "belt-back", "pocket", "hand", "open"]),
    crowd=st.sampled_from(["none", "thin", "dense"]),
)
def test_a_link_told_by_old_fields_and_by_new_ones_has_the_same_plan_byte_for_byte(
    route: list[str], worn: str, crowd: str
) -> None:
    spots = ", ".join(f'"{spot}"' for spot in route)
    told = []
    for text, said in ((OLD, f"route = [{spots}]" if route else ""), (NEW, f"route = [{spots}]," if route else "")):
        body = text.replace("ROUTE", said).replace("WORN", worn).replace("CROWD", crowd)
        told.append(write_plan(planned(body)))
    assert told[0] == told[1]


@pytest.mark.parametrize("camera", ['at = "Left"', 'route = ["Left"]', 'route = ["Left"], worn = "mounted"'])
def test_a_hop_to_a_camera_that_stands_is_the_old_link(camera: str) -> None:
    old = (
        '[[link]]\nname = "Hop"\ntransmitter = "pocket"\nreceiver = "uhf-camera-slot"\nat = "Left"\n'
        'route = ["Door"]'
    )
    new = f"""
[[link]]
name = "Hop"
serves = "camera-hop"
transmit = {{ kit = "pocket", route = ["Door"] }}
receive = [{{ kit = "uhf-camera-slot", {camera} }}]
"""
    before, after = link_of(planned(old), "Hop"), link_of(planned(new), "Hop")
    sound = {
        "attenuation_db",
        "low_cut_hz",
        "peak_dbfs",
        "voice_over_noise_db",
    }  # a hop has no microphone of its own
    assert after.model_dump(exclude=sound) == before.model_dump(exclude=sound)


def test_a_hop_of_which_both_ends_go_is_told_by_pairs_of_places() -> None:
    hop = """
[[link]]
name = "Hop"
serves = "camera-hop"
transmit = { kit = "pocket", route = ["Left", "Right"] }
receive = [{ kit = "uhf-camera-slot", route = ["Rack", "Door"] }]
"""
    link = link_of(planned(hop), "Hop")
    pairs = {f"{a}, heard at {b}" for a, b in itertools.product(("Left", "Right"), ("Rack", "Door"))}
    assert link.worst_at in pairs
    assert link.worst_at.endswith("heard at Door") or link.worst_at.endswith("heard at Rack")
    channel = next(line.source for line in link.ledger if line.what == "fading")
    assert "2.0 m/s" in channel  # both walk at 1.4 m/s: their Doppler spreads add in power, 1.4 x sqrt(2)


NEAR = """
[[link]]
name = "Ears"
serves = "in-ear"
locked_mhz = 540.0
transmit = { kit = "rack", at = "Rack" }
receive = [{ kit = "ear", route = ["WHERE"] }]
[[link]]
name = "Singer"
transmitter = "pocket"
receiver = "uhf-cart-rack"
at = "Rack"
route = ["Left"]
locked_mhz = 541.0
locked_mw = 50
"""


def test_an_ear_on_somebody_who_sends_has_its_noise_raised_by_it() -> None:
    on_the_singer = link_of(planned(NEAR.replace("WHERE", "Left")), "Ears")
    elsewhere = link_of(planned(NEAR.replace("WHERE", "Right")), "Ears")
    blocked = [line.dbm for line in on_the_singer.ledger if line.part == "blocking by Singer"]
    assert blocked
    away = [line.dbm for line in elsewhere.ledger if line.part == "blocking by Singer"]
    assert not away or (blocked[0] or 0.0) > (away[0] or 0.0) + 10.0
    assert on_the_singer.noise_and_interference_dbm > elsewhere.noise_and_interference_dbm + 3.0


def test_a_camera_that_walks_up_to_a_transmitter_hears_it_there_and_products_with_it() -> None:
    camera = """
[[link]]
name = "Hop"
serves = "camera-hop"
locked_mhz = 537.0
transmit = { kit = "pocket", at = "Rack", worn = "mounted" }
receive = [{ kit = "uhf-camera-slot", route = [ROUTE] }]
[[link]]
name = "A"
transmitter = "pocket"
receiver = "uhf-cart-rack"
at = "Rack"
route = ["Door"]
locked_mhz = 538.0
locked_mw = 50
[[link]]
name = "B"
transmitter = "pocket"
receiver = "uhf-cart-rack"
at = "Rack"
route = ["Door"]
locked_mhz = 539.0
locked_mw = 50
"""
    near = link_of(planned(camera.replace("ROUTE", '"Left", "Door"')), "Hop")
    far = link_of(planned(camera.replace("ROUTE", '"Left"')), "Hop")
    product = {
        name: [line.dbm or 0.0 for line in link.ledger if line.part == "2A-B of A, B"]
        for name, link in (("near", near), ("far", far))
    }
    assert product["near"]
    assert not product["far"] or product["far"][0] < product["near"][0] - 20.0


def test_inside_a_vehicle_a_wave_loses_what_its_source_says_and_that_scatters() -> None:
    def body(sends: str, hears: str = "") -> str:
        return f"""
[[link]]
name = "Driver"
transmit = {{ kit = "pocket", at = "Left"{sends} }}
receive = [{{ kit = "uhf-camera-slot", at = "Rack"{hears} }}]
"""

    car, coated = ', in_vehicle = "car"', ', in_vehicle = "coated-car"'
    free, inside, both = (link_of(planned(body(*ends)), "Driver") for ends in (("",), (car,), (coated, car)))
    known = link_of(planned(body(f"{car}, vehicle_db = 4")), "Driver")
    lines = {
        name: next(line for line in link.ledger if line.part == "vehicle")
        for name, link in (("inside", inside), ("both", both), ("known", known))
    }
    assert [lines[name].db for name in ("inside", "both", "known")] == [-9.0, -29.0, -4.0]
    assert "TR 38.901" in lines["inside"].source
    assert lines["known"].evidence == "stated"
    assert not [line for line in free.ledger if line.part == "vehicle"]
    doubt = [
        next(line.source for line in link.ledger if line.what == "doubt") for link in (free, inside, both, known)
    ]
    assert ["vehicle 5.0" in says for says in doubt] == [False, True, False, False]
    assert "vehicle 7.1" in doubt[2]


def test_both_ends_in_one_vehicle_lose_nothing_on_the_way_into_it() -> None:
    body = """
[[link]]
name = "Driver"
transmit = { kit = "pocket", at = "Left", in_vehicle = "car" }
receive = [{ kit = "uhf-camera-slot", at = "Left", in_vehicle = "car" }]
"""
    line = next(line for line in link_of(planned(body), "Driver").ledger if line.part == "vehicle")
    assert line.db == 0.0


BLOCK = """
[transmitter.wide]
form = "body-worn"
tunes_mhz = [[470.0, 608.0]]
raster_khz = 1000
bandwidth_khz = 6000
spacing_khz = 6000
powers_mw = [10, 20]
carries = 2
[receiver.wide-rack]
use = "uhf-cart-rack"
tunes_mhz = [[470.0, 608.0]]
"""
US = HEADER.replace('region = "GB"', 'region = "US"').replace("gb-coordinated", "us-part-74")


def actors(count: int, more: str = "") -> str:
    return BLOCK + "".join(
        f'[[link]]\nname = "A{n}"\ntransmitter = "wide"\nreceiver = "wide-rack"\nat = "Rack"\n'
        f'route = ["Left", "Right"]\n{more}\n'
        for n in range(1, count + 1)
    )


def test_more_links_than_a_block_carries_have_a_second_block() -> None:
    links = planned(actors(3), US).calls[0].links
    assert [link.block for link in links] == ["wide 1", "wide 1", "wide 2"]
    first, second = links[0].carrier_khz, links[2].carrier_khz
    assert links[1].carrier_khz == first
    assert abs(first - second) >= 6_000


def test_members_of_a_block_make_each_other_neither_noise_nor_products() -> None:
    one, two = planned(actors(1), US).calls[0].links[0], planned(actors(2), US).calls[0].links[0]
    assert two.ledger.plain == one.ledger.plain


def test_room_is_told_in_links_also_of_those_that_share_a_carrier() -> None:
    """138 MHz hold 6 clean carriers here at least; each carries two."""
    one, five = (fit(two_ends(actors(count), US), {})[0] for count in (1, 5))
    assert (one.placed, five.placed) == (1, 5)
    assert one.placed + one.more == five.placed + five.more == 12
    assert one.bound == five.bound >= 12
    assert planned(actors(5), US).calls[0].bound == five.bound


def test_a_block_that_is_hit_moves_as_one_and_is_told_by_its_people() -> None:
    shoot = two_ends(actors(3), US)
    first = make_plan(shoot, {})
    khz = first.calls[0].links[0].carrier_khz
    after = make_plan(with_stranger(shoot, stranger(shoot, khz, heard_dbm=-40.0)), {}, first)
    (move,) = (move for move in after.moves if move.link == "wide 1")
    assert (move.links, move.who, move.from_khz) == (("A1", "A2"), "A1 and A2", khz)
    assert move.because.startswith("there A1 would fail, with Stranger on")
    assert {link.carrier_khz for link in after.calls[0].links[:2]} == {move.to_khz}
    told = next(finding for finding in after.findings if finding.code == "moved")
    assert told.says.startswith("A1 and A2 move from")


def test_where_no_row_is_known_a_wideband_kit_stands_on_its_licence_alone() -> None:
    closed = planned(actors(2))  # no document that could be read gives a limit for Great Britain
    assert not closed.calls[0].links
    assert "is open to a narrow-band microphone only" in closed.calls[0].unplaced[0].because
    licence = '[[permit]]\nname = "Stage"\nranges_mhz = [[526, 534]]\nmax_mw = 20\npower_reference = "erp"\n'
    links = planned(actors(2) + licence).calls[0].links
    assert [526_000 + 3_000 <= link.carrier_khz <= 534_000 - 3_000 for link in links] == [True, True]


def test_a_block_keeps_its_carrier_in_a_second_plan() -> None:
    shoot = two_ends(actors(3), US)
    first = make_plan(shoot, {})
    again = make_plan(shoot, {}, first)
    assert not again.moves
    assert [link.carrier_khz for link in again.calls[0].links] == [
        link.carrier_khz for link in first.calls[0].links
    ]


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (actors(3, 'block = "Main"'), 'block "Main" has 3 links; one carrier of wide carries 2'),
        (actors(1, 'block = "A1"'), 'block "A1" has the name of a link; expected a name of its own'),
        (
            '[[link]]\nname = "X"\ntransmit = { kit = "pocket", at = "Left", route = ["Right"] }\n'
            'receive = [{ kit = "ear" }]',
            'link "X", transmit: give either at, where it stands, or route, where it is carried',
        ),
        (
            '[[link]]\nname = "X"\ntransmitter = "pocket"\nreceive = [{ kit = "eer" }]',
            'link "X" names the unknown receiver "eer"; did you mean "ear"?',
        ),
        (
            '[[link]]\nname = "X"\ntransmitter = "pocket"\nreceive = [{ kit = "ear", at = "Lft" }]',
            'link "X", at: there is no spot "Lft"; did you mean "Left"?',
        ),
        ('[[link]]\nname = "X"\nreceive = [{ kit = "ear" }]', 'link "X" lacks "transmitter"'),
        (
            '[[link]]\nname = "X"\ntransmitter = "pocket"\nreceiver = "ear"\nreceive = [{ kit = "ear" }]',
            'link "X": has receive and receiver, which is in receive then; leave receiver out',
        ),
        (
            '[[link]]\nname = "X"\ntransmitter = "pocket"\n'
            'receive = [{ kit = "ear", name = "Bo" }, { kit = "ear", name = "Bo" }]',
            'link "X", listener "Bo" stands twice; each name once',
        ),
        (
            '[[link]]\nname = "X"\ntransmitter = "pocket"\nreceive = [{ kit = "ear", vehicle_db = 3 }]',
            'link "X", receive 1: vehicle_db is the loss into a vehicle; say in_vehicle as well',
        ),
    ],
)
def test_a_mistake_about_an_end_is_one_sentence(body: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        two_ends(body, US if "wide" in body else HEADER)
    assert says in str(caught.value)
