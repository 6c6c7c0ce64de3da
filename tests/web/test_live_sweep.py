"""A sweep that comes while it is made: who is new stands on Live and Air, spares are replaced, ages are told."""

from __future__ import annotations

import json
import time
from typing import Any

import numpy as np
import pytest
from fastapi.testclient import TestClient
from tests.web.conftest import client_of, desk_of_client, wait_for_plan

from linkwright.desk.airing import STALE_S
from linkwright.store import Store

STEP = 25_000
LOW, BINS, HOP = 557_000_000, 2000, 100


def rows(rng: np.random.Generator, signals: list[tuple[float, float]] | None = None) -> str:
    """One pass as the first utility writes it: noise at -100 dBm a bin, signals of 200 kHz by (kHz, dBm)."""
    power = 1e-10 * rng.gamma(4, 0.25, BINS)
    frequency = (LOW + STEP * np.arange(BINS)) / 1000.0
    for khz, dbm in signals or []:
        power += np.where(np.abs(frequency - khz) <= 90.0, 10 ** (dbm / 10) / 8, 0.0) * rng.gamma(8, 1 / 8, BINS)
    lines = []
    for at in range(0, BINS, HOP):
        low = LOW + at * STEP
        values = [f"{10 * np.log10(one):.2f}" for one in power[at : at + HOP]]
        head = f"2027-05-14, 09:30:00, {low}, {low + HOP * STEP}, {STEP}.00, 4"
        lines.append(", ".join([head, *values, values[-1]]))
    return "\n".join(lines) + "\n"


def post(client: TestClient, text: str, **more: Any) -> Any:
    body = json.dumps({"rows": text, "source": "cart", "site": "Pans", "unit": "dBm", **more})
    return client.post("/log/sweeps", content=body, headers={"content-type": "application/json"})


def sweep(client: TestClient, rng: np.random.Generator, passes: int, *signals: tuple[float, float]) -> None:
    for _ in range(passes):
        answer = post(client, rows(rng, list(signals)))
        assert answer.status_code == 200, answer.text
        told = answer.json()
        assert (told["refused"], told["says"]) == (0, [])
        assert told["passes"] <= 2  # the first pass is whole when the second begins


def links(client: TestClient) -> list[dict[str, Any]]:
    plan = client.get("/plan.json").json()
    return [link for call in plan["calls"] if call["site"] == "Pans" for link in call["links"]]


def test_somebody_on_a_spare_is_told_and_another_spare_is_proved(demo: TestClient) -> None:
    rng = np.random.default_rng(1)
    sweep(demo, rng, 12)
    assert "nobody" in demo.get("/air/now?site=Pans").text
    assert "spare" not in demo.get("/live/alarms").text.lower().replace("which spare", "")
    link = next(one for one in links(demo) if one["spares_khz"])
    spare = link["spares_khz"][0]
    began = time.monotonic()
    sweep(demo, rng, 1, (spare, -60.0))
    strips = demo.get("/live/alarms").text
    assert time.monotonic() - began < 2.0
    assert f"omebody on the spare {spare / 1000:.3f}" in strips
    assert "\N{MINUS SIGN}60 dBm" in strips or "\N{MINUS SIGN}59 dBm" in strips or "\N{MINUS SIGN}61 dBm" in strips
    assert "kHz wide" in strips
    for _ in range(20):  # the status line of every page says so within the two seconds as well
        if desk_of_client(demo).watching.told()["open"]:
            break
        time.sleep(0.1)
    assert f"omebody on the spare {spare / 1000:.3f}" in desk_of_client(demo).watching.told()["broken"]
    wait_for_plan(desk_of_client(demo))
    for _ in range(200):
        now = next(one for one in links(demo) if one["link"] == link["link"])
        if spare not in now["spares_khz"]:
            break
        time.sleep(0.05)
    assert spare not in now["spares_khz"]
    assert now["spares_khz"], "another spare is given"
    assert now["carrier_khz"] == link["carrier_khz"], "nobody moves for a spare"
    says = [one["says"] for one in demo.get("/plan.json").json()["findings"] if one["code"] == "spare-replaced"]
    assert len(says) == 1
    assert f"The spare {spare / 1000:.3f} of {link['link']} was given up: somebody came there" in says[0]
    assert says[0] in demo.get("/plan").text
    assert "was given up" in demo.get("/live/happened").text
    assert spare not in [khz for one in links(demo) for khz in (one["carrier_khz"], *one["spares_khz"])]


def test_which_spare_is_good_now_goes_by_the_live_look_while_it_is_fresh(demo: TestClient) -> None:
    rng = np.random.default_rng(2)
    link = next(one for one in links(demo) if len(one["spares_khz"]) > 1)
    url = f"/live/spare?link={link['link']}"
    assert "ive sweep" not in demo.get(url).text
    sweep(demo, rng, 3)
    assert "he live sweep shows nobody there now" in demo.get(url).text
    assert "(looked at 0 s ago)" in demo.get(url).text
    airing = desk_of_client(demo).airing
    real = airing.clock
    airing.clock = lambda: real() + STALE_S + 60.0
    told = demo.get(url).text
    assert "he live sweep is 6 min old and does not count" in told
    assert "sweep showed" in told
    assert "too old to count" in demo.get("/air/now?site=Pans").text


def test_one_of_ours_that_comes_up_is_nobody_new_and_somebody_on_its_carrier_is(demo: TestClient) -> None:
    rng = np.random.default_rng(3)
    sweep(demo, rng, 5)
    link = links(demo)[0]
    airing = desk_of_client(demo).airing
    airing.is_on = lambda _link: True
    sweep(demo, rng, 2, (link["carrier_khz"], -50.0))
    assert airing.sources("Pans")[0].air.passes == 7
    assert not airing.newcomers()
    assert f"taken for {link['link']}" in demo.get("/air/now?site=Pans").text
    sweep(demo, rng, 5)
    airing.is_on = lambda _link: False
    time.sleep(0.1)
    sweep(demo, rng, 1, (link["carrier_khz"], -50.0))
    for _ in range(50):
        if airing.newcomers():
            break
        time.sleep(0.1)
    strips = demo.get("/live/alarms").text
    assert "omebody on its carrier" in strips
    assert "Which spare is good now?" in strips
    key = strips.split('data-acknowledge="air.')[1].split('"')[0]
    answer = demo.post("/log/acknowledge", json={"key": f"air.{key}"})
    assert answer.status_code == 200, answer.text
    assert "seen by" in demo.get("/live/alarms").text


@pytest.mark.parametrize(
    ("body", "says"),
    [
        ("[", "not JSON"),
        ('{"source": "x"}', "without rows"),
        ('{"rows": "a", "colour": 1}', "colour"),
        ('{"rows": "a", "averages": "many"}', "a number"),
        ('{"rows": "a", "columns": "carriers"}', "columns"),
        ('{"rows": "a", "unit": "furlongs"}', "unit"),
    ],
)
def test_what_is_no_sweep_is_refused_in_a_sentence(demo: TestClient, body: str, says: str) -> None:
    answer = demo.post("/log/sweeps", content=body, headers={"content-type": "application/json"})
    assert answer.status_code == 400
    assert says in answer.json()["says"][0]


def test_bad_rows_are_counted_and_the_rest_counts(demo: TestClient) -> None:
    rng = np.random.default_rng(4)
    answer = post(demo, rows(rng) + "garbage\n" + rows(rng)).json()
    assert (answer["passes"], answer["refused"]) == (2, 1)
    assert "garbage" in answer["says"][0]
    assert "1 row" in demo.get("/air/now?site=Pans").text


def test_levels_share_and_time_are_drawn(demo: TestClient) -> None:
    rng = np.random.default_rng(5)
    for n in range(8):
        sweep(demo, rng, 1, *([(570_000.0, -50.0)] if n % 2 else []))
    for look, at_least, at_most in (("now", -75.0, -50.0), ("highest", -75.0, -50.0), ("share", 40.0, 60.0)):
        url = f"/api/air/levels?site=Pans&low=569000&high=571000&columns=100&look={look}"
        found = np.frombuffer(demo.get(url).content, "<f4").reshape(3, 100)
        assert at_least < np.nanmax(found[1]) < at_most, look
    answer = demo.get("/api/air/waterfall?site=Pans&low=569000&high=571000&columns=100&rows=20&look=now")
    picture = np.frombuffer(answer.content, np.uint8).reshape(-1, 100)
    assert picture.shape[0] == int(answer.headers["x-rows"])
    assert answer.headers["x-end"] >= answer.headers["x-begin"]
    assert picture[:, 50].max() > 200


def test_the_picture_over_time_outlives_a_restart(store: Store) -> None:
    from tests.web.conftest import demo_into, planned

    demo_into(store)
    rng = np.random.default_rng(6)
    with client_of(store) as client:
        planned(client)
        sweep(client, rng, 2, (570_000.0, -50.0))
    assert [one.kind for one in store.attachment_list() if one.kind == "swept"] == ["swept"]
    with client_of(store) as client:
        sweep(client, rng, 2)
        source = desk_of_client(client).airing.sources("Pans")[0]
        assert [int(row.max()) > 60 for _, row in source.air.minutes] == [True]
