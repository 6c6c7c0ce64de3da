"""The pages of the site from outside: which site they open on, what they say first, floors and materials."""

from __future__ import annotations

import datetime
import json
import re
from urllib.parse import quote

import pytest
from fastapi.testclient import TestClient
from tests.web.conftest import client_of, desk_of_client, planned, shoot_into
from tests.web.crowded import crowded

from linkwright.shoot.reading import parse_shoot
from linkwright.store import Store


def answer_of(client: TestClient, path: str) -> str:
    found = re.search(r'id="answer"[^>]*>([^<]*)<', client.get(path).text)
    assert found is not None
    return found[1]


@pytest.mark.parametrize(
    ("at", "site"), [("10:00", "Pans"), ("13:00", "Boiling house"), ("14:00", "Boiling house")]
)
def test_the_site_is_that_of_the_call_that_is_on_or_next(
    demo: TestClient, at: str, site: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    hour, minute = map(int, at.split(":"))
    now = datetime.datetime(2027, 5, 14, hour, minute, tzinfo=datetime.timezone(datetime.timedelta(hours=1)))
    monkeypatch.setattr(desk_of_client(demo).watching, "now_ns", lambda: int(now.timestamp() * 1e9))
    assert f'data-site="{site}"' in demo.get("/air").text
    assert f'data-site="{site}"' in demo.get("/ground").text
    assert 'data-site="Pans"' in demo.get("/air?site=Pans").text


def test_who_is_hit_and_by_what_is_the_first_sentence(store: Store) -> None:
    """One of seven carriers lies in the channel of another crew; a sweep that does not reach it says nothing."""
    shoot_into(store, parse_shoot(crowded(7), "crowd.toml"))
    with client_of(store) as client:
        planned(client)
        assert answer_of(client, "/air") == (
            "Nothing known stands on our seven carriers at Quay, but nobody has swept here."
        )
        snapshot = desk_of_client(client).snapshot()
        assert snapshot.plan is not None
        first = snapshot.plan.calls[0].links[0]
        locked = {"path": ["link", snapshot.names.id_of("link", first.link), "locked_mhz"]}
        client.post("/api/field", json={**locked, "text": str(first.carrier_khz / 1000)})
        other = {"name": "News crew", "carrier_mhz": first.carrier_khz / 1000, "radiated_mw": 50}
        answered = client.post("/api/entry", json={"path": ["other"], "value": other})
        assert answered.status_code == 200, answered.text
        planned(client)
        said = answer_of(client, "/air")
        assert said == (f"At Quay {first.link} is hit on {first.carrier} by News crew. The other six are clean."), (
            said
        )


def test_floors_and_materials_are_fields(demo: TestClient) -> None:
    site = desk_of_client(demo).store.document().ids["site",][0]
    opened = "/shoot/entry?path=" + quote(json.dumps(["site", site]))
    text = demo.get(opened).text
    assert "Add a floor" in text
    assert "Add a material" in text
    for key, value in (
        ("floors", {"z_m": 3.0, "material": "wood"}),
        ("materials", {"material": "brick", "loss_db": 5.0}),
    ):
        answered = demo.post("/api/entry", json={"path": ["site", site, key], "value": value})
        assert answered.status_code == 200, answered.text
    shoot = desk_of_client(demo).snapshot().document.shoot
    assert shoot is not None
    assert shoot.site[0].floors[0].material == "wood"
    assert shoot.site[0].materials[0].loss_db == 5.0
    text = demo.get(opened).text
    assert 'value="wood"' in text
    assert "z_m =" not in text


def test_one_answer_to_what_may_be_used(demo: TestClient) -> None:
    """The page and the paper draw the same stretches."""
    lanes = demo.get("/api/air/lanes", params={"site": "Pans"}).json()
    picture = demo.get("/sheets/preview/score-1.pdf").text
    assert [one["label"] for one in lanes["allowed"]] == ["boom, pocket"]
    assert "gb-coordinated" not in picture
