"""The event in pictures: what the pages answer, asked from outside."""

from __future__ import annotations

import csv
import datetime
import io
import re
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi.testclient import TestClient
from tests.web.conftest import client_of, desk_of_client, planned
from tests.web.event import LINK, document, event_into, until

from linkwright.store import Store

SITES = {"Quay": (51.0, -1.0), "Hall": (51.0, -0.9957), "Mill": (51.05, -1.0)}


def days_document() -> dict[str, Any]:
    """The event with positions, a third site, and a second day; the Mill has one call, on the second."""
    given = document()
    given["site"].append({"name": "Mill", "surroundings": "open"})
    for site in given["site"]:
        site["latitude"], site["longitude"] = SITES[site["name"]]
    given["link"] += [{"name": f"Miller {n}", "crew": "Lantern", **LINK} for n in (1, 2)]
    given["call"] += [
        {"name": "Encore", "site": "Quay", "date": "2027-05-15", "from": "09:00:00", "to": "12:00:00",
         "links": ["Pilot"]},
        {"name": "Grind", "site": "Mill", "date": "2027-05-15", "from": "10:00:00", "to": "23:30:00",
         "links": ["Miller 1", "Miller 2"], "crew": "Lantern"},
        {"name": "Rehearsal", "site": "Hall", "date": "2027-05-15", "from": "10:00:00", "to": "12:00:00",
         "links": ["Singer"], "crew": "Lantern"},
    ]  # fmt: skip
    return given


@pytest.fixture
def crews(store: Store) -> dict[str, str]:
    event_into(store)
    store.replace(days_document(), "laptop")
    return {str(crew["name"]): id_ for id_, crew in store.document().entries("crew")}


@pytest.fixture
def event(store: Store, crews: dict[str, str]) -> Iterator[TestClient]:
    assert len(crews) == 2
    with client_of(store) as client:
        planned(client)
        until(lambda: len(store.carriers_told()) >= 6)
        yield client


def ids(store: Store, kind: str) -> dict[str, str]:
    return {str(entry["name"]): id_ for id_, entry in store.document().entries(kind)}


def marks(text: str) -> list[str]:
    return re.findall(r'class="stretch"[^>]*aria-label="([^"]*)"', text)


def test_before_there_is_a_plan_the_page_says_so(empty: TestClient) -> None:
    assert "There is no plan yet" in empty.get("/crews/event").text


def test_every_stretch_says_whose_it_is_and_how_far(event: TestClient, store: Store, crews: dict[str, str]) -> None:
    site = ids(store, "site")["Quay"]
    asked = f"site={site}&day=2027-05-14"
    plan = desk_of_client(event).snapshot().planned().plan
    khz = {(call.call, link.link): link.carrier_khz for call in plan.calls for link in call.links}
    opening = khz["Opening", "Pilot"]
    hatch = store.hatch(crews["Harbour"])
    pilot = next(one for one in hatch.carriers() if one.call == ids(store, "call")["Opening"])

    def of_pilot() -> str:
        return next(one for one in marks(event.get(f"/crews/event/band?{asked}").text) if "Pilot" in one)

    begins = f"{opening / 1000:.3f} MHz, 09:00 to 12:00: Pilot of Harbour, in Opening; "
    assert of_pilot().startswith(f"{begins}planned, not set yet; ")
    hatch.tick(pilot.link, pilot.call, pilot.khz, "set", "Ines")
    assert of_pilot().startswith(f"{begins}set at both ends, not heard yet")
    hatch.tick(pilot.link, pilot.call, pilot.khz, "heard", "Ines")
    assert of_pilot().startswith(f"{begins}set and heard, clean")
    assert "carriers: one planned, one heard." in event.get(f"/crews/event?{asked}").text
    # the event's own link says in the shoot where its ends stand
    host = ids(store, "link")["Host"]
    store.set_field(("link", host, "set_mhz"), None, khz["Opening", "Host"] / 1000, "laptop")
    own = [one for one in marks(event.get(f"/crews/event/band?{asked}").text) if "Host" in one]
    assert ["set at both ends" in one for one in own] == [True]


def test_what_was_left_for_another_carrier_stays_until_it_is_set(
    event: TestClient, store: Store, crews: dict[str, str]
) -> None:
    call = ids(store, "call")["Opening"]
    hatch = store.hatch(crews["Harbour"])
    (pilot,) = (one for one in hatch.carriers() if one.call == call)
    hatch.tick(pilot.link, pilot.call, pilot.khz, "set", "Ines")
    store.set_field(("link", pilot.link, "locked_mhz"), None, (pilot.khz + 2000) / 1000, "laptop")
    planned(event)
    until(lambda: next(one for one in hatch.carriers() if one.call == call).khz == pilot.khz + 2000)
    told = marks(event.get(f"/crews/event/band?site={ids(store, 'site')['Quay']}&day=2027-05-14").text)
    assert [one for one in told if "not left yet; to go to" in one and f"{pilot.khz / 1000:.3f}" in one]


def test_what_was_ticked_is_there_when_the_call_is_over(store: Store, crews: dict[str, str]) -> None:
    key = ids(store, "link")["Pilot"], ids(store, "call")["Opening"]
    from linkwright.store import Given

    hatch = store.hatch(crews["Harbour"])
    store.tell_carriers([Given(crews["Harbour"], *key, 500_000)])
    assert store.carriers_were([key[1]]) == {}
    hatch.tick(*key, 500_000, "set", "Ines")
    hatch.tick(*key, 500_000, "heard", "Ines")
    store.tell_carriers([], over=[key[1]])
    assert store.carriers_told() == []
    assert store.carriers_were([key[1]]) == {key: "heard"}
    assert store.carriers_were(["no such"]) == {}
    store.tell_carriers([Given(crews["Harbour"], *key, 501_000)])
    assert store.carriers_were([key[1]]) == {}, "told another: it is to be set again"


def test_only_days_with_calls_are_offered(event: TestClient, store: Store) -> None:
    sites = ids(store, "site")
    offered = {
        name: re.findall(r'<option value="([^"]+)"', event.get(f"/crews/event/choice?site={id_}").text)
        for name, id_ in sites.items()
    }
    assert offered == {
        "Quay": ["2027-05-14", "2027-05-15"], "Hall": ["2027-05-14", "2027-05-15"], "Mill": ["2027-05-15"],
    }  # fmt: skip
    page = event.get(f"/crews/event?site={sites['Mill']}&day=2027-05-14").text
    assert "Carriers at Mill, Saturday 15 May" in page, "the nearest day that has a call"
    assert event.get("/crews/event?site=nowhere").status_code == 400
    assert event.get(f"/crews/event?site={sites['Mill']}&day=soon").status_code == 200


def test_the_time_line_counts_links_and_leads_to_the_carriers(event: TestClient) -> None:
    text = event.get("/crews/event/days?width=1200").text
    plan = desk_of_client(event).snapshot().planned().plan
    words = {"holds": "all hold", "thin": "the worst is thin", "fails": "the worst fails"}

    def worst(*calls: str) -> str:
        order = list(words)
        found = [link.verdict for call in plan.calls if call.call in calls for link in call.links]
        return words[max(found, key=order.index)]

    assert marks(text) == [
        f"Quay, Friday 14 May: 2 links, {worst('Opening')}", f"Quay, Saturday 15 May: 1 link, {worst('Encore')}",
        f"Hall, Friday 14 May: 1 link, {worst('Concert')}", f"Hall, Saturday 15 May: 1 link, {worst('Rehearsal')}",
        f"Mill, Saturday 15 May: 2 links, {worst('Grind')}",
    ]  # fmt: skip
    (href,) = re.findall(r'<a href="([^"]+)"[^>]*aria-label="Mill', text)
    assert "Carriers at Mill, Saturday 15 May" in event.get(href.replace("&amp;", "&")).text
    rows = list(csv.DictReader(io.StringIO(event.get("/crews/event.csv").text)))
    assert [(row["site"], row["date"], row["links"]) for row in rows if row["site"] == "Mill"] == [
        ("Mill", "2027-05-15", "2")
    ]


def test_the_map_and_its_table_say_who_hears_whom_on_that_day(event: TestClient, store: Store) -> None:
    """Quay and Hall are 300 m apart: on together on the second day, one after the other on the first."""
    site = ids(store, "site")["Quay"]
    first, second = (
        dict(
            re.findall(
                r'data-label="Site"><a[^>]*>([^<]+)</a>.*?data-label="Hears, and is heard by">([^<]+)<',
                event.get(f"/crews/event/body?site={site}&day=2027-05-{day}").text,
            )
        )
        for day in (14, 15)
    )
    assert first == {"Quay": "nobody", "Hall": "nobody"}
    assert re.fullmatch(r"Hall \(30\d m\)", second["Quay"].partition(",")[0])
    drawn = event.get(f"/crews/event/map?site={site}&day=2027-05-15").text
    assert "hear each other" in drawn
    assert [name for name in ("Quay: 1", "Hall: 1", "Mill: 2") if f"<title>{name}</title>" in drawn] == [
        "Quay: 1", "Hall: 1", "Mill: 2",
    ]  # fmt: skip


def test_the_carriers_as_a_table_and_as_csv_are_those_of_the_plan(event: TestClient, store: Store) -> None:
    asked = f"site={ids(store, 'site')['Mill']}&day=2027-05-15"
    rows = list(csv.DictReader(io.StringIO(event.get(f"/crews/event.csv?{asked}").text)))
    plan = desk_of_client(event).snapshot().planned().plan
    (call,) = (call for call in plan.calls if call.call == "Grind")
    assert {row["link"]: float(row["carrier_mhz"]) for row in rows} == {
        link.link: link.carrier_khz / 1000 for link in call.links
    }
    assert {(row["from"], row["to"], row["crew"], row["state"]) for row in rows} == {
        ("2027-05-15 10:00", "2027-05-15 23:30", "Lantern", "planned")
    }
    text = event.get(f"/crews/event/table?{asked}").text
    assert text.count("<tr>") == 1 + len(rows)


@pytest.mark.usefixtures("crews")
def test_it_opens_on_the_call_that_is_on(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    at = datetime.datetime(2027, 5, 15, 13, tzinfo=datetime.UTC)
    monkeypatch.setattr(store, "now", lambda: at)
    with client_of(store) as client:
        planned(client)
        assert "Carriers at Mill, Saturday 15 May" in client.get("/crews/event").text
        assert ">now</text>" in client.get("/crews/event/band").text
