"""Each finding comes where it should, and not where it should not."""

from __future__ import annotations

import datetime
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests.plan.shoots import HEADER, flat_sweep, links, pocket, shoot

from linkwright.assign.calls import CallAnswer
from linkwright.plan.findings import CODES
from linkwright.plan.model import Finding, Plan
from linkwright.plan.pipeline import check_shoot, make_plan
from linkwright.plan.plan_findings import power_finding
from linkwright.shoot.errors import InputError
from linkwright.shoot.models import Shoot

SOURCE = Path(__file__).parents[2] / "src" / "linkwright"
YARD = '[[site]]\nname = "Yard"\n'
US = HEADER.replace('"GB"', '"US"').replace('"gb-coordinated-470-606"', "").replace("gb-coordinated", "us-part-74")


def codes(plan: Plan) -> list[str]:
    return [finding.code for finding in plan.findings]


def one(plan: Plan, code: str) -> Finding:
    found = [finding for finding in plan.findings if finding.code == code]
    assert len(found) == 1, codes(plan)
    return found[0]


def test_a_quiet_accepted_swept_shoot_has_no_finding() -> None:
    plan = make_plan(shoot(YARD + pocket() + links(3)), {"Yard": [flat_sweep(517_000, 567_000)]})
    assert codes(plan) == ["sweep-brief"]  # one sweep cannot have met everybody


def test_sweep_missing() -> None:
    assert codes(make_plan(shoot(YARD + pocket() + links(1)), {})) == ["sweep-missing"]


def test_sweep_partial_names_the_share() -> None:
    plan = make_plan(shoot(YARD + pocket() + links(1)), {"Yard": [flat_sweep(517_000, 542_000)]})
    assert re.search(r"does not cover \d\d %", one(plan, "sweep-partial").says)
    # What was looked at comes first.
    assert plan.calls[0].links[0].carrier_khz < 542_000


def test_sweep_old() -> None:
    call = '[[call]]\nname = "c"\nfrom = 09:00:00\nto = 10:00:00\n'
    sweep = replace(flat_sweep(517_000, 567_000), started=datetime.datetime(2027, 5, 12, 9, 0))
    plan = make_plan(shoot(YARD + call + pocket() + links(1)), {"Yard": [sweep]})
    assert "48 h" in one(plan, "sweep-old").says
    fresh = replace(sweep, started=datetime.datetime(2027, 5, 14, 8, 30))
    assert codes(make_plan(shoot(YARD + call + pocket() + links(1)), {"Yard": [fresh]})) == ["sweep-brief"]


def test_permit_names_what_is_needed() -> None:
    header = HEADER.replace('"gb-coordinated"', "").replace('"gb-coordinated-470-606"', "")
    plan = make_plan(shoot(pocket() + links(2), header), {})
    assert one(plan, "permit").severity == "stop"
    assert len(plan.calls[0].unplaced) == 2
    assert "gb-coordinated" in plan.calls[0].unplaced[0].because


def test_closed_says_what_is_left_of_the_range() -> None:
    plan = make_plan(shoot(pocket("[[614.0, 638.0]]") + links(2), US.replace('permits = ["us-part-74"]', "")), {})
    told = [finding for finding in plan.findings if finding.code == "closed"]
    assert told
    assert "614.1-615.9 MHz is left" in told[0].says
    assert all(614_100 <= link.carrier_khz <= 615_900 for link in plan.calls[0].links)


def test_nothing_open_stops() -> None:
    plan = make_plan(shoot(pocket("[[617.2, 650.0]]") + links(1), US), {})
    assert one(plan, "closed").severity == "stop"
    assert plan.calls[0].links == ()


def test_channel_37_is_never_given() -> None:
    plan = make_plan(shoot(pocket("[[607.0, 615.0]]") + links(3), US), {})
    for link in plan.calls[0].links:
        for khz in (link.carrier_khz, *link.spares_khz):
            assert not 607_900 < khz < 614_100


def test_tuning_without_a_common_carrier() -> None:
    plan = make_plan(shoot(pocket() + links(1, receiver="l-band-camera-slot")), {})
    assert one(plan, "tuning").severity == "stop"
    assert "in common" in plan.calls[0].unplaced[0].because


def test_tv_leaves_nothing() -> None:
    site = '[[site]]\nname = "Yard"\ntv = ["27"]\n'
    plan = make_plan(shoot(site + pocket("[[518.0, 526.0]]") + links(1)), {})
    assert one(plan, "tv-cochannel").severity == "stop"
    assert plan.calls[0].links == ()


def test_tv_is_kept_clear_with_its_edges() -> None:
    site = '[[site]]\nname = "Yard"\ntv = ["27", "29"]\n'
    plan = make_plan(shoot(site + pocket("[[510.0, 550.0]]") + links(6)), {})
    for link in plan.calls[0].links:
        for khz in (link.carrier_khz, *link.spares_khz):
            for low in (518_000, 534_000):
                assert khz + 100 <= low or khz - 100 >= low + 8_000


def test_an_unknown_tv_channel_is_bad_input() -> None:
    site = '[[site]]\nname = "Yard"\ntv = ["77"]\n'
    with pytest.raises(InputError, match="77"):
        make_plan(shoot(site + pocket() + links(1)), {})


def test_lock_in_a_tv_channel() -> None:
    site = '[[site]]\nname = "Yard"\ntv = ["27"]\n'
    plan = make_plan(shoot(site + pocket() + links(1) + "locked_mhz = 520.0\n"), {})
    assert "channel 27" in one(plan, "tv-cochannel").says
    assert "locked to 520.000 MHz" in plan.calls[0].unplaced[0].because


def test_lock_off_the_raster_and_lock_out_of_the_rules() -> None:
    off = make_plan(shoot(pocket() + links(1) + "locked_mhz = 520.01\n"), {})
    assert "no carrier of its equipment" in one(off, "locked").says
    closed = make_plan(shoot(pocket("[[590.0, 630.0]]") + links(1) + "locked_mhz = 610.0\n"), {})
    assert "may not be used" in one(closed, "locked").says


@pytest.mark.parametrize(
    ("mhz", "where"), [(538.0, "as is L1"), (538.2, "200 kHz (of 400) from L1")], ids=["on it", "beside it"]
)
@pytest.mark.parametrize("calls", ["", "two"])
@pytest.mark.parametrize("kept", [False, True])
def test_two_locked_too_near_leave_one_out_and_say_so(mhz: float, where: str, calls: str, kept: bool) -> None:
    """The second has no carrier; whoever else is planned stays where he was."""
    if calls:
        calls = "".join(
            f'[[call]]\nname = "{name}"\nfrom = {hours[0]}:00:00\nto = {hours[1]}:00:00\nlinks = {names}\n'
            for name, hours, names in (("One", (10, 12), ["L1", "L2"]), ("Two", (11, 13), ["L3"]))
        ).replace("'", '"')
    body = YARD + pocket("[[518.0, 542.0]]", "raster_khz = 100\nspacing_khz = 400") + "{}" + calls
    free = make_plan(shoot(body.format(links(3))), {})
    first, second, third = links(3).split("[[link]]")[1:]
    locked = f"[[link]]{first}locked_mhz = 538.0\n[[link]]{second}[[link]]{third}locked_mhz = {mhz}\n"
    plan = make_plan(shoot(body.format(locked)), {}, free if kept else None)
    carriers = {link.link: link.carrier_khz for call in plan.calls for link in call.links}
    assert carriers.keys() == {"L1", "L2"}
    assert carriers["L1"] == 538_000
    if kept:
        assert carriers["L2"] == free.calls[0].links[1].carrier_khz
    assert one(plan, "unplaced").about == "L3"
    assert f"it is locked to {mhz:.3f} MHz, {where}: unlock one" in one(plan, "unplaced").says


def test_whatever_is_locked_there_is_a_plan_and_it_keeps_to_the_one_before() -> None:
    body = YARD + pocket("[[518.0, 520.0]]", "raster_khz = 100\nspacing_khz = 400") + "{}"
    draw = np.random.default_rng(5)
    before = make_plan(shoot(body.format(links(4))), {})
    for _ in range(20):
        of_each = links(4).split("[[link]]")[1:]
        at = [518.1 + 0.1 * draw.integers(19) for _ in of_each]
        locks = [f"locked_mhz = {mhz:.1f}\n" if draw.random() < 0.6 else "" for mhz in at]
        text = "".join(f"[[link]]{link}{lock}" for link, lock in zip(of_each, locks, strict=True))
        before = make_plan(shoot(body.format(text)), {}, before)
        (call,) = before.calls
        placed = {link.link: f"locked_mhz = {link.carrier_khz / 1000:.1f}\n" for link in call.links}
        for n, lock in enumerate(locks, start=1):
            assert not lock or placed.get(f"L{n}", lock) == lock


def test_other_on_a_locked_carrier_is_told_with_its_rise() -> None:
    other = '[[other]]\nname = "Crew"\ncarrier_mhz = 530.0\nradiated_mw = 50\nat = { x_m = 10, y_m = 0 }\n'
    plan = make_plan(shoot(pocket() + other + links(1) + "locked_mhz = 530.0\n"), {})
    assert re.search(r"hears Crew: the noise rises by \d\d\.\d dB", one(plan, "other-cochannel").says)
    assert plan.calls[0].links[0].verdict == "fails"


def test_an_other_counts_only_while_it_is_on() -> None:
    timed = '[[other]]\nname = "Crew"\ncarrier_mhz = 530.0\nradiated_mw = 50\nat = { x_m = 10, y_m = 0 }\n'
    timed += "from = 12:00:00\nto = 13:00:00\n"
    call = '[[call]]\nname = "c"\nfrom = 09:00:00\nto = 10:00:00\n'
    plan = make_plan(shoot(call + pocket() + timed + links(1) + "locked_mhz = 530.0\n"), {})
    assert "other-cochannel" not in codes(plan)


def test_busy_on_a_locked_carrier() -> None:
    sweep = flat_sweep(517_000, 567_000, bumps={530_000: -70.0})
    plan = make_plan(shoot(YARD + pocket() + links(1) + "locked_mhz = 530.0\n"), {"Yard": [sweep]})
    assert "the noise rises" in one(plan, "busy").says


def test_reach_short_and_power_short() -> None:
    far = '[[site]]\nname = "Moor"\nsurroundings = "street"\n'
    far += 'spots = [{ name = "A", x_m = 0, y_m = 0 }, { name = "B", x_m = 900, y_m = 0 }]\n'
    plan = make_plan(shoot(far + pocket() + links(1)), {})
    assert "reach-short" in codes(plan)
    assert plan.calls[0].links[0].power_mw == 50
    near = far.replace("900", "75").replace("street", "open")
    weak = pocket("[[863.1, 864.9]]", "powers_mw = [0.02, 50]")
    slot = '[receiver.slot]\nuse = "uhf-cart-rack"\ntunes_mhz = [[863.0, 865.0]]\n'
    plan = make_plan(shoot(near + weak + slot + links(1, receiver="slot")), {})
    assert "50 mW would hold" in one(plan, "power-short").says


def test_spare_missing() -> None:
    plan = make_plan(shoot(pocket("[[518.0, 520.0]]") + links(4, more="spares = 3")), {})
    assert "spare-missing" in codes(plan)
    assert plan.rule.criterion == "clean", "fewer spares come before giving up clean"


def test_a_carrier_that_changes_between_calls_is_told_without_an_earlier_plan() -> None:
    # Room for two at 400 kHz, and three links that meet in pairs: the third call cannot keep both carriers.
    tight = pocket("[[518.1, 518.5]]")
    calls = "".join(
        f'[[call]]\nname = "c{n}"\nfrom = {9 + n:02}:00:00\nto = {9 + n:02}:30:00\nlinks = {who}\n'
        for n, who in enumerate((["L1", "L2"], ["L2", "L3"], ["L3", "L1"]))
    ).replace("'", '"')
    plan = make_plan(shoot(tight + calls + links(3, more="spares = 0")), {})
    given: dict[str, set[int]] = {}
    for call in plan.calls:
        for link in call.links:
            given.setdefault(link.link, set()).add(link.carrier_khz)
    changing = sorted(name for name, carriers in given.items() if len(carriers) > 1)
    assert sorted(finding.about for finding in plan.findings if finding.code == "carrier-changes") == changing
    assert changing, "the case has somebody who changes"


def test_hard_warning_by_distance() -> None:
    where = '[[site]]\nname = "Yard"\nlatitude = 40.75\nlongitude = -74.0\n'
    plan = make_plan(shoot(where + pocket("[[470.2, 487.8]]") + links(1), US), {})
    assert any("New York" in finding.says or "New York" in finding.about for finding in plan.findings)
    away = where.replace("40.75", "44.5").replace("-74.0", "-100.0")
    plan = make_plan(shoot(away + pocket("[[470.2, 487.8]]") + links(1), US), {})
    assert not any("New York" in finding.says for finding in plan.findings)


def test_unknown_permit_and_region_are_bad_input() -> None:
    with pytest.raises(InputError, match="gb-coordinated"):
        make_plan(shoot(links(1, "uhf-body-worn"), HEADER.replace('["gb-coordinated"]', '["gb-coordinate"]')), {})
    with pytest.raises(InputError, match="ZZ"):
        make_plan(shoot(links(1, "uhf-body-worn"), HEADER.replace('"GB"', '"ZZ"')), {})


def test_a_row_without_a_limit_has_the_strictest_that_is_known() -> None:
    """NZ 510-606 MHz states none; the territory's least is 100 mW EIRP."""
    header = (
        HEADER.replace('"GB"', '"NZ"')
        .replace('"gb-coordinated-470-606"', "")
        .replace("gb-coordinated", "nz-general")
    )
    far = (
        '[[site]]\nname = "Moor"\nspots = [{ name = "A", x_m = 0, y_m = 0 }, { name = "B", x_m = 500, y_m = 0 }]\n'
    )
    strong = pocket("[[550.0, 600.0]]", "powers_mw = [5, 50, 100, 250]\nantenna_gain_dbi = 0")
    for accepted in ("", '"nz-general-510-606"'):
        plan = make_plan(
            shoot(far + strong + links(1), header.replace("accepts = []", f"accepts = [{accepted}]")), {}
        )
        assert plan.calls[0].links[0].power_mw == 100
        told = [finding for finding in plan.findings if finding.code == "assumed-rule"]
        assert bool(told) is (accepted == "")
        assert not told or "no power limit" in told[0].says


def test_check_finds_what_needs_no_plan() -> None:
    plain: Shoot = shoot(pocket("[[617.2, 650.0]]") + links(1), US)
    found = check_shoot(plain, {})
    assert [one.code for one in found if one.severity == "stop"] == ["closed"]


def test_every_code_that_the_source_uses_is_listed_and_every_listed_one_is_used() -> None:
    source = "".join(path.read_text("utf-8") for path in SOURCE.rglob("*.py"))
    used = set(re.findall(r'finding\(\s*"([a-z-]+)"', source))
    for pair in re.findall(r'code = "([a-z-]+)" if .* else "([a-z-]+)"', source):
        used |= set(pair)
    used |= set(re.findall(r'Heard\([^"]*"[a-z]*"?,? ?"([a-z-]+)"', source))
    used |= {"tv-predicted", "reuse", "other-cochannel", "busy", "permit", "closed", "adjacent", "near-far"} & set(
        re.findall(r'"([a-z-]+)"', source)
    )
    assert used >= set(CODES)
    assert set(re.findall(r'finding\(\s*"([a-z-]+)"', source)) <= set(CODES)


@pytest.mark.parametrize(
    ("failing", "says"),
    [(0, "All links hold all the same."), (1, "L1 does not hold."), (2, "L1 and L2 do not hold.")],
)
def test_what_a_plan_by_power_costs_is_a_sentence(failing: int, says: str) -> None:
    call = make_plan(shoot(YARD + pocket() + links(3)), {}).calls[0]
    failed = [link.model_copy(update={"verdict": "fails"}) for link in call.links[:failing]]
    answer = CallAnswer("power", False, None, {}, {}, None)
    found = power_finding(call.model_copy(update={"links": (*failed, *call.links[failing:])}), answer, 3)
    assert found.says.endswith(says)
    assert found.severity == ("warn" if failing else "note")
