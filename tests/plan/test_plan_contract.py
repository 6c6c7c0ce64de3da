"""What docs/reference.md promises of a plan, checked here by plain enumeration on plans of many kinds."""

from __future__ import annotations

import functools
import itertools
import json
import math
from collections.abc import Mapping, Sequence

import pytest
from tests.plan.shoots import HEADER, flat_sweep, links, pocket, quay, shoot

from linkwright.air.sweep import Sweep
from linkwright.cli.demo import demo_shoot
from linkwright.plan.file import parse_kept, parse_plan, write_plan
from linkwright.plan.model import Plan, PlannedCall
from linkwright.plan.pipeline import make_plan
from linkwright.shoot.errors import InputError
from linkwright.shoot.models import Shoot
from linkwright.shoot.view import receiver_of, transmitter_of

TWO_CALLS = """
[[site]]
name = "Yard"
surroundings = "street"
spots = [{ name = "A", x_m = 0, y_m = 0 }, { name = "B", x_m = 25, y_m = 5 }, { name = "C", x_m = 40, y_m = -9 }]
[[call]]
name = "one"
from = 09:00:00
to = 11:00:00
links = ["L1", "L2", "L3", "L4"]
[[call]]
name = "two"
from = 12:00:00
to = 13:00:00
links = ["L3", "L4", "L5", "L6"]
"""
MIXED = """
[transmitter.coarse]
use = "uhf-body-worn-narrow"
[[link]]
name = "Coarse"
transmitter = "coarse"
receiver = "uhf-camera-slot"
spares = 2
[[link]]
name = "Locked"
transmitter = "pocket"
receiver = "uhf-cart-rack"
locked_mhz = 530.0
"""
NEAR_FAR = """
[[site]]
name = "Hall"
surroundings = "hall"
spots = [
  { name = "Rack", x_m = 0, y_m = 0 },
  { name = "Desk", x_m = 2, y_m = 0 },
  { name = "Far", x_m = 40, y_m = 9 },
]
"""


def _cases() -> dict[str, tuple[Shoot, Mapping[str, Sequence[Sweep]]]]:
    crowd = pocket("[[518.0, 526.0]]") + NEAR_FAR + links(18)
    return {
        "quay": (quay(), {}),
        "demo": demo_shoot(),
        "two calls": (shoot(pocket() + TWO_CALLS + links(6)), {}),
        "mixed": (shoot(pocket() + MIXED + links(4)), {}),
        "swept": (
            shoot('[[site]]\nname = "Yard"\n' + pocket("[[518.0, 534.0]]") + links(5)),
            {"Yard": [flat_sweep(517_000, 535_000, bumps={520_000: -60.0, 528_125: -80.0})]},
        ),
        "crowded": (shoot(crowd), {}),
        "too many": (shoot(pocket("[[518.0, 520.0]]") + links(9)), {}),
    }


CASES = _cases()


@functools.cache
def plan_of(name: str) -> Plan:
    """The plan of one of them: made where it is looked at, not by whoever only collects the tests."""
    return make_plan(*CASES[name])


@pytest.fixture(params=list(CASES))
def case(request: pytest.FixtureRequest) -> tuple[Shoot, Plan]:
    return CASES[request.param][0], plan_of(request.param)


def _links(plan: Plan) -> list[tuple[PlannedCall, int]]:
    return [(call, n) for call in plan.calls for n in range(len(call.links))]


def test_sums_are_those_of_the_ledger(case: tuple[Shoot, Plan]) -> None:
    for call, n in _links(case[1]):
        link = call.links[n]
        wanted = [line.db for line in link.ledger if line.what == "wanted" and line.db is not None]
        unwanted = [line.dbm for line in link.ledger if line.what != "wanted" and line.dbm is not None]
        assert link.wanted_dbm == pytest.approx(sum(wanted), abs=1e-9)
        total = 10 * math.log10(sum(10 ** (level / 10) for level in unwanted))
        assert link.noise_and_interference_dbm == pytest.approx(total, abs=0.006)
        margin = link.wanted_dbm - link.noise_and_interference_dbm - link.required_cnr_db
        assert link.margin_db == pytest.approx(margin, abs=0.006)


def test_carriers_lie_on_the_raster_in_both_tuning_ranges(case: tuple[Shoot, Plan]) -> None:
    shoot, plan = case
    by_name = {link.name: link for link in shoot.link}
    for call, n in _links(plan):
        planned = call.links[n]
        transmitter = transmitter_of(shoot, by_name[planned.link])
        receiver = receiver_of(shoot, by_name[planned.link])
        for khz in (planned.carrier_khz, *planned.spares_khz):
            low = [low for low, high in transmitter.tunes_khz if low <= khz <= high]
            assert low
            assert any((khz - start) % transmitter.raster_khz == 0 for start in low)
            assert any(low <= khz <= high for low, high in receiver.tunes_khz)
        assert planned.power_mw in transmitter.powers_mw


def test_everything_keeps_the_larger_spacing(case: tuple[Shoot, Plan]) -> None:
    shoot, plan = case
    spacing = {link.name: transmitter_of(shoot, link).spacing_khz for link in shoot.link}
    for call in plan.calls:
        every = [(khz, link.link) for link in call.links for khz in (link.carrier_khz, *link.spares_khz)]
        for (a, a_name), (b, b_name) in itertools.combinations(every, 2):
            assert abs(a - b) >= max(spacing[a_name], spacing[b_name])


def _hit(in_use: Sequence[int], victims: Sequence[int], two: int, three: int) -> bool:
    for a, b in itertools.permutations(in_use, 2):
        if any(abs(2 * a - b - victim) < two for victim in victims):
            return True
    for a, b in itertools.combinations(in_use, 2):
        for c in in_use:
            if c not in (a, b) and any(abs(a + b - c - victim) < three for victim in victims):
                return True
    return False


def test_clean_means_clean(case: tuple[Shoot, Plan]) -> None:
    plan = case[1]
    if plan.rule.criterion != "clean":
        return
    guard = plan.rule.guard_khz
    for call in plan.calls:
        carriers = [link.carrier_khz for link in call.links]
        spares = [khz for link in call.links for khz in link.spares_khz]
        assert not _hit(carriers, carriers + spares, guard.im3_two, guard.im3_three)
        for n, link in enumerate(call.links):
            if link.spares_khz:
                moved = [*carriers[:n], link.spares_khz[0], *carriers[n + 1 :]]
                assert not _hit(moved, moved, guard.im3_two, guard.im3_three)


def test_power_is_said_where_products_fall_on_carriers() -> None:
    plan = plan_of("crowded")
    guard = plan.rule.guard_khz
    assert plan.rule.criterion == "power"
    carriers = [link.carrier_khz for link in plan.calls[0].links]
    assert len(carriers) == 18
    assert _hit(carriers, carriers, guard.im3_two, guard.im3_three)
    assert [finding.code for finding in plan.findings].count("intermodulation") == 1


def test_near_transmitters_show_their_products_in_the_ledger() -> None:
    parts = [line.part for link in plan_of("crowded").calls[0].links for line in link.ledger]
    assert any(part.startswith("A+B-C of ") for part in parts)


def test_verdicts_follow_sureness_alone(case: tuple[Shoot, Plan]) -> None:
    shoot, plan = case
    for call, n in _links(plan):
        link = call.links[n]
        expected = "holds" if link.sure >= shoot.shoot.sure_wanted else "thin" if link.sure >= 0.5 else "fails"
        assert link.verdict == expected
        assert (link.in_hand_db >= 0.0) == (link.verdict == "holds")
        assert link.breaks_per_hour <= link.breaks_per_hour_90
        assert link.availability == pytest.approx(1.0 - link.breaks_per_hour / 3600.0, abs=2e-5)


def test_the_margin_is_used_up_as_the_ledger_says(case: tuple[Shoot, Plan]) -> None:
    for call, n in _links(case[1]):
        link = call.links[n]
        fading, doubt = (
            -sum(line.db or 0.0 for line in link.ledger if line.what == what) for what in ("fading", "doubt")
        )
        assert (link.fading_db, link.doubt_db) == pytest.approx((fading, doubt), abs=1e-9)
        assert link.in_hand_db == pytest.approx(link.margin_db - link.fading_db - link.doubt_db, abs=1e-9)
        assert round(10.0 * link.in_hand_db) == pytest.approx(10.0 * link.in_hand_db, abs=1e-9)
        assert next(line.part for line in link.ledger if line.what == "fading") == "the channel"


def test_nobody_is_forgotten(case: tuple[Shoot, Plan]) -> None:
    shoot, plan = case
    assert [call.call for call in plan.calls] == ([call.name for call in shoot.call] or ["Whole shoot"])
    for call in plan.calls:
        told = [link.link for link in call.told] + [gone.link for gone in call.unplaced]
        given = next((c.links for c in shoot.call if c.name == call.call), ())
        assert sorted(told) == sorted(given or [link.name for link in shoot.link])


def test_too_many_links_are_unplaced_with_the_reason() -> None:
    call = plan_of("too many").calls[0]
    # 2 MHz inside one TV channel, kept 100 kHz from its edge, at 400 kHz: 518.1, 518.5... 519.7
    assert len(call.links) == 5
    assert call.bound == 5
    assert len(call.unplaced) == 4
    assert "400 kHz" in call.unplaced[0].because
    assert not plan_of("too many").all_hold


def test_a_link_keeps_its_carrier_across_calls_of_a_site() -> None:
    one, two = plan_of("two calls").calls
    carriers = {link.link: link.carrier_khz for link in one.links}
    shared = [link for link in two.links if link.link in carriers]
    assert [link.link for link in shared] == ["L3", "L4"]
    assert all(link.carrier_khz == carriers[link.link] for link in shared)


def test_a_locked_carrier_stays() -> None:
    locked = next(link for link in plan_of("mixed").calls[0].links if link.link == "Locked")
    assert locked.carrier_khz == 530_000


def test_the_air_is_avoided() -> None:
    for link in plan_of("swept").calls[0].links:
        for khz in (link.carrier_khz, *link.spares_khz):
            assert abs(khz - 520_000) > 100
            assert abs(khz - 528_125) > 100


def test_the_least_power_with_its_reserve_is_taken(case: tuple[Shoot, Plan]) -> None:
    """A step down would leave less than the reserve of 3 dB; who has less than that has the highest step."""
    shoot, plan = case
    by_name = {link.name: link for link in shoot.link}
    for call, n in _links(plan):
        link = call.links[n]
        steps = sorted(transmitter_of(shoot, by_name[link.link]).powers_mw)
        lower = [step for step in steps if step < link.power_mw]
        if link.verdict == "holds" and lower and link.in_hand_db >= 3.0:
            down = 10.0 * math.log10(link.power_mw / lower[-1])
            assert link.in_hand_db - down < 3.0 + 0.1


def test_where_no_step_is_enough_the_verdict_says_so() -> None:
    given = quay()
    weak = given.transmitter["pocket"].model_copy(update={"powers_mw": (1.0,)})
    only_one = given.model_copy(update={"transmitter": {"pocket": weak}})
    assert make_plan(only_one, {}).calls[0].links[0].verdict != "holds"


def test_a_plan_is_the_same_bytes_every_time(case: tuple[Shoot, Plan]) -> None:
    shoot, plan = case
    again = make_plan(shoot, next(sweeps for known, sweeps in CASES.values() if known is shoot))
    assert write_plan(again) == write_plan(plan)


def test_a_plan_reads_back_equal_and_fits_its_schema(case: tuple[Shoot, Plan]) -> None:
    text = write_plan(case[1])
    assert parse_plan(text, "plan.json") == case[1]
    document = json.loads(text)
    assert document["format"] == "linkwright-plan/2"
    assert all("bound" in call for call in document["calls"])
    top = Plan.model_json_schema()["properties"]
    assert set(document) <= set(top)


def test_a_plan_of_the_first_kind_is_kept_to_and_nothing_else() -> None:
    """Its links say availability and margin, and nothing of what is in hand."""
    document = json.loads(write_plan(plan_of("two calls")))
    later = (
        "fading_db",
        "doubt_db",
        "in_hand_db",
        "sure",
        "breaks_per_hour_90",
        "alone_at",
        "alone_turn",
        "alone_db",
    )
    for link in (link for call in document["calls"] for link in call["links"]):
        for key in later:
            link.pop(key, None)
        link["ledger"] = [line for line in link["ledger"] if line["what"] not in ("fading", "doubt")]
    text = json.dumps({**document, "format": "linkwright-plan/1"})
    kept = parse_kept(text, "plan.json")
    again = make_plan(CASES["two calls"][0], {}, kept)
    assert [link.carrier_khz for call in again.calls for link in call.links] == [
        link.carrier_khz for call in kept.calls for link in call.links
    ]
    with pytest.raises(InputError, match="earlier version"):
        parse_plan(text, "plan.json")


def test_exempt_use_needs_no_permit_and_shows_the_assumed_row() -> None:
    plan = make_plan(
        shoot(
            '[transmitter.pocket]\nuse = "uhf-body-worn"\ntunes_mhz = [[863.0, 865.0]]\n'
            '[receiver.slot]\nuse = "uhf-camera-slot"\ntunes_mhz = [[863.0, 865.0]]\n' + links(2, receiver="slot"),
            HEADER.replace('"gb-coordinated"', "").replace('"gb-coordinated-470-606"', ""),
        ),
        {},
    )
    assert len(plan.calls[0].links) == 2
    assert "assumed-rule" in [finding.code for finding in plan.findings]
    # 10 mW ERP is 16.4 mW EIRP: of the steps 2, 10, 25, 50 only the first two are allowed at 0 dBi.
    assert all(link.power_mw <= 10.0 for link in plan.calls[0].links)


def test_accepting_the_row_silences_it() -> None:
    codes = [finding.code for finding in make_plan(shoot(pocket() + links(1)), {}).findings]
    assert "assumed-rule" not in codes
