"""The law obeyed, as a person meets it: what a row forbids or the program warns of is given to nobody unasked."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from tests.cli.calling import Said, call
from tests.plan.shoots import links, pocket

Capture = pytest.CaptureFixture[str]
NEW_YORK = "latitude = 40.75\nlongitude = -74.0\n"


def a_shoot(
    region: str,
    kit: str,
    *,
    permits: str = "",
    accepts: str = "",
    site: str = "",
    count: int = 1,
    more: str = "",
) -> str:
    return (
        f'[shoot]\ntitle = "Test"\nregion = "{region}"\ndate = 2027-05-14\npermits = [{permits}]\n'
        f'accepts = [{accepts}]\n[[site]]\nname = "Yard"\n{site}\n' + kit + links(count, receiver="rack") + more
    )


def kit(tunes: str, powers: str = "[10]", form: str = "handheld", more: str = "") -> str:
    return (
        pocket(tunes, f'powers_mw = {powers}\nform = "{form}"\nantenna_gain_dbi = 0\n{more}')
        + f'[receiver.rack]\nuse = "uhf-cart-rack"\ntunes_mhz = {tunes}\n'
    )


def run(capsys: Capture, folder: Path, command: str, text: str, *arguments: str) -> Said:
    path = folder / "shoot.toml"
    path.write_text(text, "utf-8")
    return call(capsys, command, str(path), *arguments)


def planned(capsys: Capture, folder: Path, text: str) -> dict[str, Any]:
    said = run(capsys, folder, "plan", text, "--json")
    assert said.status in (0, 1), said.err
    document: dict[str, Any] = json.loads(said.out)
    return document


def placed(plan: dict[str, Any]) -> list[dict[str, Any]]:
    return [link for one in plan["calls"] for link in one["links"]]


def test_a_warned_channel_of_a_city_is_given_to_nobody(capsys: Capture, tmp_path: Path) -> None:
    text = a_shoot("US", kit("[[470.2, 475.8]]"), permits='"us-part-74"', site=NEW_YORK, count=2)
    assert placed(planned(capsys, tmp_path, text)) == []
    said = run(capsys, tmp_path, "why", text, "L1", "473.0")
    assert "carries land mobile radio in New York" in " ".join(said.out.split())
    id_ = re.search(r'accepts = \["(us-land-mobile-[a-z0-9-]+-14)"\]', " ".join(said.out.split()))
    assert id_ is not None
    opened = text.replace("accepts = []", f'accepts = ["{id_.group(1)}"]')
    plan = planned(capsys, tmp_path, opened)
    assert len(placed(plan)) == 2
    told = [one["says"] for one in plan["findings"] if one["code"] == "opened"]
    assert {says.split()[0] for says in told} == {"L1", "L2"}
    assert all(id_.group(1) in says for says in told)
    said = run(capsys, tmp_path, "why", opened, "L1", "473.0")
    assert f"{id_.group(1)} opens it" in " ".join(said.out.split())


def test_a_row_for_indoors_is_closed_on_a_street(capsys: Capture, tmp_path: Path) -> None:
    both = '"gb-coordinated-960-1164"'
    street = a_shoot(
        "GB",
        kit("[[1000.0, 1010.0]]"),
        permits='"gb-coordinated"',
        site='surroundings = "street"',
        accepts=both,
    )
    assert placed(planned(capsys, tmp_path, street)) == []
    said = " ".join(run(capsys, tmp_path, "check", street).out.split())
    assert "is for indoors, and this is out of doors" in said
    hall = street.replace('"street"', '"hall"')
    assert len(placed(planned(capsys, tmp_path, hall))) == 1
    unread = hall.replace(f"accepts = [{both}]", "accepts = []")
    assert placed(planned(capsys, tmp_path, unread)) == []
    said = " ".join(run(capsys, tmp_path, "why", unread, "L1", "1005").out.split())
    assert "is first of all for aeronautical use" in said
    named = street.replace(both, f'{both}, "gb-coordinated-960-1164/outdoors"')
    plan = planned(capsys, tmp_path, named)
    assert len(placed(plan)) == 1
    assert any("opens it out of doors" in one["says"] for one in plan["findings"])


@pytest.mark.parametrize(
    ("region", "permit", "tunes"),
    [
        ("GB", '"gb-coordinated"', "[[1000.0, 1010.0]]"),
        ("GB", '"gb-coordinated"', "[[823.0, 832.0]]"),
        ("GB", '"gb-coordinated"', "[[1785.0, 1805.0]]"),
        ("ES", "", "[[823.0, 832.0]]"),
        ("IT", '"it-national"', "[[733.0, 757.5]]"),
        ("NZ", '"nz-general"', "[[510.0, 606.0]]"),
        ("NZ", '"nz-general"', "[[622.0, 698.0]]"),
        ("JP", "", "[[73.6, 74.8]]"),
    ],
)
def test_a_watt_does_not_stand_on_a_row_without_a_limit(
    capsys: Capture, tmp_path: Path, region: str, permit: str, tunes: str
) -> None:
    text = a_shoot(region, kit(tunes, "[1000]"), permits=permit)
    plan = planned(capsys, tmp_path, text)
    assert placed(plan) == []
    assert any(one["severity"] == "stop" for one in plan["findings"])


def test_a_handheld_keeps_to_the_limit_of_its_form(capsys: Capture, tmp_path: Path) -> None:
    for form, most in (("handheld", 10), ("plug-on", 10), ("body-worn", 50)):
        text = a_shoot(
            "GB", kit("[[518.0, 566.0]]", "[10, 50]", form), permits='"gb-coordinated"', more='power = "most"\n'
        )
        assert [one["power_mw"] for one in placed(planned(capsys, tmp_path, text))] == [most]


def test_a_step_over_the_limit_is_told_as_that(capsys: Capture, tmp_path: Path) -> None:
    text = a_shoot("GB", kit("[[518.0, 566.0]]", "[5000]", "body-worn"), permits='"gb-coordinated"')
    said = " ".join(run(capsys, tmp_path, "why", text, "L1", "550.0").out.split())
    assert "550.000 MHz: nothing above 82.03 mW; the least step is 5000 mW" in said
    assert "may be used" not in said
    assert placed(planned(capsys, tmp_path, text)) == []


def test_the_edge_of_a_band_has_its_steps(capsys: Capture, tmp_path: Path) -> None:
    wide = kit("[[1804.9, 1804.9]]", "[1, 20]", more="raster_khz = 25")
    text = a_shoot("AT", wide, permits='"at-national"')
    assert placed(planned(capsys, tmp_path, text)) == []
    middle = text.replace("[[1804.9, 1804.9]]", "[[1795.0, 1795.0]]")
    assert len(placed(planned(capsys, tmp_path, middle))) == 1


@pytest.mark.parametrize(
    ("region", "accepts", "words"),
    [
        ("GB", "foo", "the GB rules have no such id"),
        ("GB", "gb-coordinated-470-660", 'did you mean "gb-coordinated-470-606"?'),
        ("GB", "gb-shared-606p5-613p5", 'the row needs the permit gb-shared; put permits = ["gb-shared"]'),
        ("GB", "gb-exempt-173p8-175", "the row is too coarse to decide by"),
        ("DE", "de-general-823-832", "the row ended on 2025-12-31"),
        ("US", "us-closed-608-614", "which only a [[permit]] opens"),
        ("US", "us-part-15-470-608", "the row is stated, so there is nothing to accept"),
        ("US", "us-medical-telemetry-37", "which only a [[permit]] opens"),
    ],
)
def test_an_acceptance_that_does_nothing_is_an_error(
    capsys: Capture, tmp_path: Path, region: str, accepts: str, words: str
) -> None:
    permit = {"GB": '"gb-coordinated"', "DE": '"de-general"', "US": '"us-part-74"'}[region]
    text = a_shoot(region, kit("[[518.0, 566.0]]"), permits=permit, accepts=f'"{accepts}"')
    said = run(capsys, tmp_path, "plan", text)
    assert said.status == 2
    assert f'accepts "{accepts}" does nothing: ' in said.err
    assert words in said.err


EIGHT = [518.0 + 0.6 * n for n in range(5)] + [540.0, 555.3, 560.025]
LICENCE = f"""
[[permit]]
name = "Quay, May"
number = "1234567/1"
carriers_mhz = {[round(mhz, 3) for mhz in EIGHT]}
max_mw = 50
power_reference = "erp"
only = true
"""


def test_a_licence_of_eight_carriers_is_all_that_is_used(capsys: Capture, tmp_path: Path) -> None:
    text = a_shoot("GB", kit("[[518.0, 566.0]]"), permits='"gb-coordinated"', count=3, more="spares = 0\n")
    assert len(placed(planned(capsys, tmp_path, text))) == 3
    plan = planned(capsys, tmp_path, text + LICENCE)
    used = {khz for one in placed(plan) for khz in (one["carrier_khz"], *one["spares_khz"])}
    assert len(placed(plan)) == 3
    assert used <= {round(1000 * mhz) for mhz in EIGHT}
    (left,) = (one["says"] for one in plan["findings"] if one["code"] == "permit-left")
    assert 'Of 8 carriers on permit "Quay, May", number 1234567/1, 3 are used' in left
    carriers = {one["carrier_khz"] for one in placed(plan)}
    assert all((f"{khz / 1000:.3f}" in left) is (khz not in carriers) for khz in (round(1e3 * m) for m in EIGHT))
    said = " ".join(run(capsys, tmp_path, "why", text + LICENCE, "L1", "550.0").out.split())
    assert 'is on no permit that holds here and then, and "Quay, May" leaves no other carrier' in said
    said = " ".join(run(capsys, tmp_path, "why", text + LICENCE, "L1", "540.0").out.split())
    assert 'permit "Quay, May", number 1234567/1' in said


def test_a_licence_opens_what_no_row_does_and_what_it_outranks(capsys: Capture, tmp_path: Path) -> None:
    """Germany: the listed act ended; 608-614 MHz is closed, which only a permit opens that names it."""
    ended = a_shoot("DE", kit("[[823.2, 831.8]]"), permits='"de-general"')
    assert placed(planned(capsys, tmp_path, ended)) == []
    plan = planned(capsys, tmp_path, ended + LICENCE.replace(str([round(m, 3) for m in EIGHT]), "[826.5]"))
    assert [one["carrier_khz"] for one in placed(plan)] == [826_500]
    closed = a_shoot("DE", kit("[[608.2, 613.8]]"), permits='"de-general"')
    licence = LICENCE.replace(str([round(m, 3) for m in EIGHT]), "[610.0]")
    assert placed(planned(capsys, tmp_path, closed + licence)) == []
    plan = planned(capsys, tmp_path, closed + licence + 'outranks = ["de-closed-608-614"]\n')
    assert [one["carrier_khz"] for one in placed(plan)] == [610_000]
    assert any("radio astronomy" in one["says"] for one in plan["findings"] if one["code"] == "opened")


@pytest.mark.parametrize(
    ("more", "holds"),
    [
        ("place = [50.155, -5.045]\nradius_m = 500", True),
        ("place = [50.255, -5.045]\nradius_m = 500", False),
        ("from = 2027-05-14\nto = 2027-05-14", True),
        ("from = 2027-05-15", False),
        ("to = 2027-05-14T12:00:00+01:00", False),
        ('for = ["L1"]', True),
        ('for = ["L2"]', False),
    ],
)
def test_place_time_and_users_of_a_licence(capsys: Capture, tmp_path: Path, more: str, holds: bool) -> None:
    """823-832 MHz is open in Germany by no row, so that only the licence can place L1."""
    site = "latitude = 50.156\nlongitude = -5.045\n"
    listed = LICENCE.replace(str([round(m, 3) for m in EIGHT]), "[826.5, 827.5]")
    plan = planned(
        capsys, tmp_path, a_shoot("DE", kit("[[823.2, 831.8]]"), site=site, count=2) + listed + more + "\n"
    )
    assert ("L1" in [one["link"] for one in placed(plan)]) is holds
