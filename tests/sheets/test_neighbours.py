"""Carriers that crews swap: what is written is read again, hostile lists are refused, hits on our plan are told."""

from __future__ import annotations

import contextlib
import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.sheets.made import demo, files, sheets

from linkwright.plan.other_crews import hits, hits_sentence
from linkwright.shoot.carrier_list import ASSUMED_MW, neighbours_of
from linkwright.shoot.errors import InputError
from linkwright.units import khz_from_mhz

SHOOT = demo()


def carriers() -> list[int]:
    return sorted(link.carrier_khz for call in sheets().plan.calls for link in call.links)


@pytest.mark.parametrize("name", ["carriers.csv", "carriers.json"])
def test_what_we_write_we_read(name: str) -> None:
    found = neighbours_of(files()[name].decode(), name, SHOOT)
    assert sorted(khz_from_mhz(other.carrier_mhz or 0.0) for other in found.others) == carriers()
    assert {other.site for other in found.others} == {"Pans", "Boiling house"}
    spares = sum(len(link.spares_khz) for call in sheets().plan.calls for link in call.links)
    assert found.told == (f"{spares} spares passed over",)
    raking = [other for other in found.others if other.site == "Pans"]
    assert {(str(one.on_from), str(one.on_to)) for one in raking} == {("09:00:00", "12:30:00")}


def test_only_the_carrier_is_needed_and_what_is_assumed_is_told() -> None:
    found = neighbours_of("Carrier_MHz;who\n571,125;A\n600.5;B\n", "theirs.csv", SHOOT)
    assert [other.carrier_mhz for other in found.others] == [571.125, 600.5]
    assert all(other.radiated_mw == ASSUMED_MW for other in found.others)
    assert any("taken as 50 mW" in says for says in found.told)
    assert any("without a position" in says for says in found.told)


def test_other_days_are_passed_over_and_other_zones_are_converted() -> None:
    text = (
        "carrier_mhz,from,to\n571.125,2027-05-13T09:00:00+01:00,2027-05-13T18:00:00+01:00\n"
        "580.5,2027-05-14T10:00:00+02:00,2027-05-14T12:00:00+02:00\n"
    )
    found = neighbours_of(text, "x.csv", SHOOT)
    assert [other.carrier_mhz for other in found.others] == [580.5]
    assert str(found.others[0].on_from) == "09:00:00"  # 10:00 at +02:00 is 09:00 in London in May
    assert "1 on other days passed over" in found.told


def test_places_become_metres() -> None:
    """A thousandth of a degree of latitude is 111.2 m on a sphere of 6371 km."""
    text = json.dumps([{"carrier_mhz": 571.125, "latitude": 49.901, "longitude": -7.5, "place": "Pans"}])
    (other,) = neighbours_of(text, "x.json", SHOOT).others
    assert other.stands.y_m == pytest.approx(111.2, abs=0.2)
    assert other.stands.x_m == pytest.approx(0.0, abs=0.1)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is empty"),
        ("carrier_mhz\n", "holds no carrier"),
        ("name,frequency\nA,571\n", "line 1: has no column carrier_mhz"),
        ("carrier_mhz\nfive\n", 'line 2: carrier_mhz is "five"; expected a number'),
        ("carrier_mhz\nnan\n", "expected a number"),
        ("carrier_mhz\n1e300\n", "line 2"),
        ("carrier_mhz,from,to\n571,9,\n", "from and to stand together"),
        ("carrier_mhz,from,to\n571,soon,later\n", "is no time"),
        ("carrier_mhz,radiated_mw\n571,-5\n", "line 2: radiated_mw"),
        ("{", "is no JSON"),
        ('{"carriers": 5}', 'holds no list "carriers"'),
        ('[{"carrier_mhz": true}]', "expected a number"),
        ("[" * 100_000, "is no JSON"),
        ("carrier_mhz\n" + "571\n" * 6000, "holds 6000 carriers"),
    ],
)
def test_a_bad_list_is_one_sentence(text: str, says: str) -> None:
    with pytest.raises(InputError) as told:
        neighbours_of(text, "theirs", SHOOT)
    assert says in str(told.value)
    assert "\n" not in str(told.value)


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=300))
def test_any_text_is_a_list_or_a_sentence(text: str) -> None:
    with contextlib.suppress(InputError):
        neighbours_of(text, "x", SHOOT)


def test_a_neighbour_on_our_carrier_is_a_hit_and_one_far_off_is_not() -> None:
    plan = sheets().plan
    ours = plan.calls[0].links[0]
    on_it = neighbours_of(f"carrier_mhz,place\n{ours.carrier_khz / 1000},Pans\n", "x", SHOOT).others
    found = hits(sheets().scene, plan, on_it)
    assert found[0].link == ours.link
    assert found[0].breaks
    assert ours.link in hits_sentence(found, 1)
    away = neighbours_of("carrier_mhz,place,radiated_mw\n690,Pans,1\n", "x", SHOOT).others
    assert not any(hit.breaks for hit in hits(sheets().scene, plan, away))
    assert "no link of ours loses anything" in hits_sentence((), 2)
