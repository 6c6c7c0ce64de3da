"""Crews: what they ask, what they are told, and what becomes of it; by the pages, from outside."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient
from tests.web.conftest import client_of, planned
from tests.web.event import LINK, SECRET, event_into, telephone, until
from tests.web.test_door_tokens import codes_made

from linkwright.store import Store

KIT = " | ".join(LINK.values())


@pytest.fixture
def crews(store: Store) -> dict[str, str]:
    """The ids of the crews of an event, which is in the store."""
    return event_into(store)


@pytest.fixture
def laptop(store: Store, crews: dict[str, str]) -> Iterator[TestClient]:
    """The coordinator's own pages, with a plan."""
    del crews
    with client_of(store, lan_urls=("http://192.0.2.9:8037",)) as client:
        planned(client)
        yield client


def told(store: Store, crew: str) -> dict[str, int]:
    """What a crew was told, by the name of the link [kHz]."""
    names = {id_: str(link["name"]) for id_, link in store.document().entries("link")}
    return {names.get(one.link, one.link): one.khz for one in store.hatch(crew).carriers()}


def test_a_crew_sees_its_own_carriers_and_nobody_elses(
    laptop: TestClient, store: Store, crews: dict[str, str]
) -> None:
    assert set(until(lambda: told(store, crews["Harbour"]))) == {"Pilot"}
    phone = telephone(laptop, store, "crew", crews["Harbour"])
    page = phone.get("/own").text
    khz = told(store, crews["Harbour"])["Pilot"]
    assert f"{khz / 1000:.3f}" in page
    assert "One carrier to be set and heard" in page
    for secret in ("Singer", "Lantern", "Concert", SECRET["Lantern"], "+44 20 7946 0002", "Host"):
        assert secret not in page
    sent = phone.get("/", follow_redirects=False)
    assert sent.headers["location"] == "/own"


def test_from_asked_to_heard_and_given_back(laptop: TestClient, store: Store, crews: dict[str, str]) -> None:
    phone = telephone(laptop, store, "crew", crews["Harbour"])
    asked = {"links": 2, "kit": KIT, "site": "Quay", "call": "Opening", "note": "two more speakers"}
    assert phone.post("/own/ask", json=asked).status_code == 200
    request = store.requests()[0]
    page = laptop.get("/crews").text
    assert "One question waits since" in page
    assert "two more speakers" in page

    assert laptop.post("/crews/fit", json={"request": request.id, "seen": "asked"}).status_code == 200
    fits = until(lambda: re.search(r'class="fit">.*?</p>', laptop.get("/crews/body").text, re.S))
    assert "2 of 2 links find a carrier, 2 hold" in fits[0]
    assert store.requests()[0].state == "asked", "looking changes nothing"
    assert len(store.document().document["link"]) == 3

    answer = {"request": request.id, "seen": "asked", "says": "channel plan is on the door"}
    assert laptop.post("/crews/grant", json=answer).status_code == 200
    granted = store.request(request.id)
    assert (granted.state, len(granted.links)) == ("granted", 2)
    assert store.document().document["call"][0]["links"] == ["Host", "Pilot", "Harbour 1", "Harbour 2"]
    until(lambda: set(told(store, crews["Harbour"])) == {"Pilot", "Harbour 1", "Harbour 2"})
    carriers = [one for one in store.hatch(crews["Harbour"]).carriers() if one.link in granted.links]
    page = phone.get("/own/body").text
    assert "channel plan is on the door" in page
    assert all(f"{one.khz / 1000:.3f}" in page for one in carriers)
    assert f"{carriers[0].khz / 1000:.3f} MHz, granted" in laptop.get("/crews/body").text, (
        "it stands in the request"
    )

    for act, state in (("set", "set"), ("heard", "heard")):
        for one in carriers:
            tick = {"link": one.link, "call": one.call, "khz": one.khz, "act": act}
            assert phone.post("/own/tick", json=tick).status_code == 200
        assert store.request(request.id).state == state
    link = dict(store.document().entries("link"))[carriers[0].link]
    assert link["set_mhz"] == carriers[0].khz / 1000
    assert link["heard_at"]

    history = laptop.get("/history").text
    assert re.search(r"request of Harbour</td><td[^>]*>granted</td><td[^>]*>set</td>", history)
    steps = laptop.get(f"/crews/steps?of={request.id}").text
    words = re.findall(r"</span> ([^<]*)</li>", steps)
    assert [word.partition(": ")[2].partition(",")[0] for word in words] == ["asked", "granted", "set", "heard"]
    assert words[1].startswith("laptop: granted")
    assert words[3].startswith("telephone of crew")

    back = phone.post("/own/give-back", json={"request": request.id, "seen": "heard"})
    assert back.status_code == 200
    assert store.document().document["call"][0]["links"] == ["Host", "Pilot"]
    until(lambda: told(store, crews["Harbour"]).get(carriers[0].link) == 0)
    assert "switch off" in phone.get("/own/body").text
    off = {"link": carriers[0].link, "call": carriers[0].call, "khz": 0, "act": "set"}
    assert phone.post("/own/tick", json=off).status_code == 200
    assert carriers[0].link not in told(store, crews["Harbour"])


BAG = """[[item]]
name = "Pocket"
use = "uhf-body-worn"
count = 4
tunes_mhz = [[518, 542]]
powers_mw = [10]

[[item]]
name = "Slots"
use = "uhf-camera-slot"
count = 2
noise_figure_db = 4
"""


def test_a_crew_asks_with_its_own_kit(laptop: TestClient, store: Store, crews: dict[str, str]) -> None:
    """It comes into the shoot when it is granted, under the crew's name, and only then."""
    phone, other = (telephone(laptop, store, "crew", crews[name]) for name in ("Harbour", "Lantern"))
    assert phone.post("/own/kit", json={"text": "no bag"}).status_code == 400
    assert phone.post("/own/kit", json={"text": BAG}).json()["says"] == [
        "Sent along: 4 Pocket, 2 Slots. Ask with it now."
    ]
    page = phone.get("/own/body").text
    assert "yours: Pocket, with Slots" in page
    assert "Pocket" not in other.get("/own/body").text
    mine = {"links": 2, "kit": "Harbour: Pocket | Harbour: Slots", "site": "Quay", "call": "Opening"}
    assert other.post("/own/ask", json={**mine, "call": ""}).status_code == 400
    assert phone.post("/own/ask", json=mine).status_code == 200
    assert "transmitter" not in store.document().document
    assert laptop.get(f"/crews/kit.toml?of={crews['Harbour']}").text == BAG
    assert laptop.get(f"/crews/kit.toml?of={crews['Lantern']}").status_code == 400
    assert "The kit of Harbour" in laptop.get("/crews/body").text

    request = store.requests()[0]
    assert laptop.post("/crews/fit", json={"request": request.id, "seen": "asked"}).status_code == 200
    fits = until(lambda: re.search(r'class="fit">.*?</p>', laptop.get("/crews/body").text, re.S))
    assert "2 of 2 links find a carrier, 2 hold" in fits[0]
    phone.post("/own/kit", json={"text": BAG.replace("[10]", "[10, 25]")})
    answer = {"request": request.id, "seen": "asked", "says": ""}
    assert laptop.post("/crews/grant", json=answer).status_code == 200
    there = store.document()
    assert there.at("transmitter", "Harbour: Pocket") == {
        "use": "uhf-body-worn", "tunes_mhz": [[518.0, 542.0]], "powers_mw": [10.0, 25.0],
    }, "as it was sent last"  # fmt: skip
    slots = {"use": "uhf-camera-slot", "count": 2, "noise_figure_db": 4.0}
    assert there.at("receiver", "Harbour: Slots") == slots
    until(lambda: {"Harbour 1", "Harbour 2"} <= set(told(store, crews["Harbour"])))
    given = told(store, crews["Harbour"])
    assert all(518_000 <= given[link] <= 542_000 for link in ("Harbour 1", "Harbour 2"))


def test_kit_that_is_not_sent_any_more_is_not_granted(
    laptop: TestClient, store: Store, crews: dict[str, str]
) -> None:
    phone = telephone(laptop, store, "crew", crews["Harbour"])
    phone.post("/own/kit", json={"text": BAG})
    phone.post("/own/ask", json={"links": 1, "kit": "Harbour: Pocket | Harbour: Slots", "site": "Quay"})
    phone.post("/own/kit", json={"text": BAG.replace("Pocket", "Pouch")})
    answer = {"request": store.requests()[0].id, "seen": "asked", "says": ""}
    granted = laptop.post("/crews/grant", json=answer)
    assert (granted.status_code, "no kit that the crew sends any more" in granted.json()["says"][0]) == (400, True)
    assert store.requests()[0].state == "asked"


def test_a_refusal_says_why_and_can_be_taken_back(laptop: TestClient, store: Store, crews: dict[str, str]) -> None:
    phone = telephone(laptop, store, "crew", crews["Lantern"])
    phone.post("/own/ask", json={"links": 40, "kit": KIT, "site": "Hall", "date": "2027-05-15", "starts": "10:00",
                                 "ends": "12:00"})  # fmt: skip
    request = store.requests()[0]
    silent = laptop.post("/crews/refuse", json={"request": request.id, "seen": "asked"})
    assert (silent.status_code, silent.json()["says"]) == (400, ["say why, and what would do instead"])
    says = {"request": request.id, "seen": "asked", "says": "the hall is full then; ten would do after 14:00"}
    assert laptop.post("/crews/refuse", json=says).status_code == 200
    assert "ten would do after 14:00" in phone.get("/own/body").text
    assert laptop.post("/crews/reopen", json={"request": request.id, "seen": "refused"}).status_code == 200
    assert store.request(request.id).state == "asked"


def test_two_coordinators_never_overwrite_each_other_unseen(
    laptop: TestClient, store: Store, crews: dict[str, str]
) -> None:
    phone = telephone(laptop, store, "crew", crews["Harbour"])
    other = telephone(laptop, store, "edit")
    phone.post("/own/ask", json={"kit": KIT, "site": "Quay", "call": "Opening"})
    request = store.requests()[0]
    answer = {"request": request.id, "seen": "asked", "says": "no room"}
    assert other.post("/crews/refuse", json=answer).status_code == 200
    late = laptop.post("/crews/grant", json=answer)
    assert late.status_code == 409
    assert 'it is now "refused"' in late.json()["says"][0]
    assert len(store.document().document["link"]) == 3, "and nothing of it came into the shoot"


def test_a_tick_for_a_carrier_that_is_another_by_now_is_refused(
    laptop: TestClient, store: Store, crews: dict[str, str]
) -> None:
    until(lambda: told(store, crews["Harbour"]))
    phone, (pilot,) = telephone(laptop, store, "crew", crews["Harbour"]), store.hatch(crews["Harbour"]).carriers()
    tick = {"link": pilot.link, "call": pilot.call, "khz": pilot.khz, "act": "set"}
    assert phone.post("/own/tick", json=tick).status_code == 200
    store.set_field(("link", pilot.link, "locked_mhz"), None, (pilot.khz + 2000) / 1000, "laptop")
    until(lambda: told(store, crews["Harbour"])["Pilot"] == pilot.khz + 2000)
    assert phone.post("/own/tick", json=tick | {"act": "heard"}).status_code == 409
    page = phone.get("/own/body").text
    assert f"It stands on {pilot.khz / 1000:.3f} MHz" in page
    assert f"{(pilot.khz + 2000) / 1000:.3f}" in page
    late = laptop.get("/crews/body").text
    assert f"{(pilot.khz + 2000) / 1000:.3f} MHz: not set" in late
    assert SECRET["Harbour"] in late, "whom to call"


def test_trouble_and_notices(laptop: TestClient, store: Store, crews: dict[str, str]) -> None:
    phone = telephone(laptop, store, "crew", crews["Harbour"])
    pilot = store.document().id_of("link", "Pilot")
    singer = store.document().id_of("link", "Singer")
    assert phone.post("/own/trouble", json={"link": pilot, "text": "breaks up since 14:05"}).status_code == 200
    foreign = phone.post("/own/trouble", json={"link": singer, "text": "x"})
    assert (foreign.status_code, foreign.json()["says"]) == (400, ["that is no link of yours; load the page again"])
    page = laptop.get("/crews").text
    assert "trouble with Pilot" in page
    assert "breaks up since 14:05" in page
    request = store.requests()[0]
    answer = {"request": request.id, "seen": "asked", "says": "switch to the first spare"}
    assert laptop.post("/crews/answer", json=answer).status_code == 200
    laptop.post("/crews/tell", json={"text": "the band is quiet from 12:00"})
    laptop.post("/crews/tell", json={"crew": crews["Lantern"], "text": "come to the tent"})
    page = phone.get("/own/body").text
    assert "switch to the first spare" in page
    assert "the band is quiet from 12:00" in page
    assert "come to the tent" not in page


def test_a_crew_is_added_and_its_telephone_joins_by_a_code(
    laptop: TestClient, store: Store, crews: dict[str, str]
) -> None:
    del crews
    assert laptop.post("/crews/add", json={"name": "Tower", "contact": "Ada Lind"}).status_code == 200
    tower = store.document().id_of("crew", "Tower")
    page = laptop.get(f"/connect?crew={tower}").text
    assert f'<option value="crew {tower}" selected>is of Tower</option>' in page
    made = codes_made(laptop)
    answered = laptop.post("/connect/code", data={"role": f"crew {tower}", "name": "Ada"})
    assert answered.status_code == 200
    assert laptop.post("/connect/code", data={"role": "crew i999"}).status_code == 400
    code = made[0]
    stranger = TestClient(laptop.app, headers=dict(laptop.headers), client=("192.0.2.8", 4711))
    joined = stranger.post("/join", json={"code": code})
    assert joined.json()["to"] == "/own"
    assert [(one.name, one.role, one.crew) for one in store.devices()] == [("Ada", "crew", tower)]
    phone = TestClient(laptop.app, headers=dict(laptop.headers), client=("192.0.2.8", 4711))
    phone.headers["authorization"] = f"Bearer {joined.cookies['linkwright']}"
    assert "No carrier yet" in phone.get("/own").text
    assert "is of Tower" in laptop.get("/connect").text


def test_a_crew_that_is_gone_is_served_nothing(laptop: TestClient, store: Store, crews: dict[str, str]) -> None:
    phone = telephone(laptop, store, "crew", crews["Lantern"])
    assert phone.get("/own").status_code == 200
    store.remove(("crew", crews["Lantern"]), "laptop", seen_revision=store.revision)
    gone = phone.get("/own")
    assert (gone.status_code, gone.json()["says"]) == (
        400, ["this crew is not in the job any more; ask whoever coordinates"],
    )  # fmt: skip
