"""The bag on its page: items put in, changed, measured, listed and taken out by taps, and every act taken back."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from tests.web.accessible import violations
from tests.web.conftest import Served, page, served

from linkwright.store.kitbook import bag_file, own_bag

__all__ = ["page"]


FIGURE = {"name": "Pocket", "what": "noise figure", "value": "5.5", "when": "2027-05-01", "how": "noise source"}


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))


@pytest.fixture
def job(tmp_path: Path) -> Iterator[Served]:
    with served(tmp_path / "job.lwjob") as pages:
        yield pages


def put_in(page: Any, what: str, name: str, count: str) -> None:
    from playwright.sync_api import expect

    form = page.locator(".put-in")
    form.locator("[name=use]").select_option(label=what)
    form.locator("[name=name]").fill(name)
    form.locator("[name=count]").fill(count)
    form.get_by_role("button", name="Put it in").click()
    expect(page.locator("details.owned > summary").last).to_contain_text(f"{count} × {name or what}")


def test_a_bag_is_made_changed_and_taken_back_by_taps(job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    page.goto(f"{job.url}/bag")
    expect(page.locator("#answer")).to_contain_text("The bag is empty")
    put_in(page, "body-worn, 470-694 MHz", "Pocket", "4")
    put_in(page, "camera slot receiver, 470-694 MHz", "", "2")
    expect(page.locator("#answer")).to_have_text("In the bag: 4 transmitters and 2 receivers.")
    card = page.locator("details.owned", has_text="Pocket")
    card.locator("> summary").click()
    mark = card.get_by_label("Mark")
    mark.fill("red tape")
    mark.blur()
    expect(card.locator("> summary")).to_contain_text("red tape")
    card.locator("[name=what]").select_option("output power")
    card.locator("form").first.get_by_label("Value").fill("17,4")
    card.get_by_label("At the step").fill("20")
    card.get_by_label("With what").fill("power meter")
    card.get_by_role("button", name="Add what was measured").click()
    expect(card).to_contain_text("output power 17.4 mW at 20 mW")
    card.locator("textarea").fill("A01;518,100\nA02;519,300")
    card.get_by_role("button", name="Take this list").click()
    expect(card).to_contain_text("2 carriers: A01 = 518.100, A02 = 519.300 MHz")
    card.get_by_text("Every figure").click()
    powers = card.get_by_label("Powers")
    assert powers.get_attribute("placeholder") == "5, 10, 20, 50"
    powers.fill("5; 20")
    powers.blur()
    expect(page.locator("#status .says")).to_have_text("powers of Pocket: 5, 20, was nothing.")
    page.evaluate("scrollTo(0, 0)")  # what is under the header is no smaller for it
    found = violations(page)
    assert not found, found
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    item = own_bag().named("Pocket")
    assert item is not None
    assert (item.count, item.equipment.mark, item.transmitter and item.transmitter.powers_mw) == (
        4,
        "red tape",
        (5.0, 20.0),
    )
    page.locator("#status").get_by_role("button", name="Take back").click()
    expect(powers).to_have_value("")
    out = card.get_by_role("button", name="out of the bag")
    out.click()
    sure = card.get_by_role("button", name="Remove it with its list of 2 carriers, 1 measured figure?")
    sure.click()
    expect(page.locator("details.owned")).to_have_count(1)
    page.locator(".menu summary").click()
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("details.owned > summary").first).to_contain_text("4 × Pocket")  # where it stood


def test_what_cannot_be_is_told_at_its_field_and_the_bag_stays(job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    page.goto(f"{job.url}/bag")
    put_in(page, "lapel microphone", "", "3")
    card = page.locator("details.owned")
    card.locator("> summary").click()
    many = card.get_by_label("How many")
    many.fill("none")
    many.blur()
    expect(card.locator(".field", has_text="How many").locator(".wrong")).to_contain_text("count")
    expect(many).to_have_value("none")
    assert own_bag().item[0].count == 3


@pytest.fixture
def bag(empty: TestClient) -> TestClient:
    answer = empty.post("/bag/entry", json={"use": "body-worn 470-694", "name": "Pocket", "count": "2"})
    assert answer.status_code == 200, answer.text
    return empty


def put(client: TestClient, keys: list[str], text: str, seen: str = "null") -> Any:
    return client.post("/bag/field", json={"path": ["bag", "Pocket", *keys], "seen": seen, "text": text})


def test_two_people_at_one_field_both_see_both_values(bag: TestClient) -> None:
    assert put(bag, ["mark"], "red").status_code == 200
    second = put(bag, ["mark"], "blue")
    assert (second.status_code, second.json()["theirs"], second.json()["seen"]) == (409, "red", '"red"')
    assert put(bag, ["mark"], "blue", '"red"').json()["says"] == ["mark of Pocket: blue, was red."]


def test_every_change_is_taken_back_and_again_but_not_over_a_later_one(bag: TestClient) -> None:
    changed = put(bag, ["mark"], "red").json()
    later = put(bag, ["count"], "9", "2").json()
    refused = bag.post(changed["back"])
    assert (refused.status_code, "meanwhile" in refused.json()["says"][0]) == (400, True)
    assert bag.post(later["back"]).json()["says"] == ["Taken back: how many of Pocket: 2, was 9."]
    assert own_bag().item[0].count == 2
    back = bag.post(changed["back"]).json()
    assert own_bag().item[0].equipment.mark is None
    bag.post(back["back"])
    assert own_bag().item[0].equipment.mark == "red"
    assert bag.post(changed["back"]).json()["says"] == ["That was taken back already."]


def test_a_part_of_the_drain_keeps_the_rest_of_its_class(bag: TestClient) -> None:
    assert put(bag, ["drain_mw", "base"], "600").status_code == 200
    sends = own_bag().item[0].transmitter
    assert sends is not None
    assert sends.drain_mw is not None
    assert (sends.drain_mw.base, sends.drain_mw.per_radiated_mw) == (600.0, 8.0)


def test_a_measurement_taken_out_gives_the_stated_figure_back(empty: TestClient) -> None:
    empty.post("/bag/entry", json={"use": "camera slot receiver, 470-694 MHz", "name": "Pocket"})
    assert put(empty, ["noise_figure_db"], "7").status_code == 200
    assert empty.post("/bag/measured", json=FIGURE).status_code == 200
    assert own_bag().item[0].receiver.noise_figure_db == 5.5  # type: ignore[union-attr]
    assert "noise_figure_db = 7.0" in bag_file().read_text("utf-8")
    empty.post("/bag/unmeasured", json={"name": "Pocket", "number": 0})
    assert own_bag().item[0].receiver.noise_figure_db == 7.0  # type: ignore[union-attr]


def test_a_list_in_a_file_stays_there_until_another_is_given(bag: TestClient) -> None:
    bag_file().with_name("labels.csv").write_text("A01,518.1\nA02,519.3\n", "utf-8")
    text = bag_file().read_text("utf-8")
    bag_file().write_text(text.replace("count = 2", 'count = 2\ncarriers = "labels.csv"'), "utf-8")
    marked = put(bag, ["mark"], "red")
    assert marked.status_code == 200, marked.text
    assert 'carriers = "labels.csv"' in bag_file().read_text("utf-8")
    assert "labels.csv" not in bag.get("/bag/kit.toml").text  # a bag that goes elsewhere is whole
    assert "A02" in bag.get("/bag/kit.toml").text
    told = bag.post("/bag/carriers", json={"name": "Pocket", "text": "B01,520"}).json()
    assert told["says"] == ["Pocket: 1 display carrier, was 2; labels.csv is not read any more."]
    assert "labels.csv" not in bag_file().read_text("utf-8")
    bag.post("/bag/carriers", json={"name": "Pocket", "text": ""})
    assert own_bag().item[0].transmitter.tunes_mhz == ((470.0, 694.0),)  # type: ignore[union-attr]


def test_the_bag_goes_out_and_another_comes_in_as_one_change(bag: TestClient) -> None:
    out = bag.get("/bag/kit.toml").text
    came = out.replace("count = 2", "count = 5") + '\n[[item]]\nname = "Lapels"\nuse = "lapel"\n'
    told = bag.post("/bag/import", json={"text": came}).json()
    assert [item.count for item in own_bag().item] == [5, 1]
    bag.post(told["back"])
    assert bag.get("/bag/kit.toml").text == out


@pytest.mark.parametrize(
    ("url", "sent", "says"),
    [
        ("/bag/entry", {"use": "trumpet"}, "no class"),
        ("/bag/entry", {"use": "lapel microphone", "name": "pocket"}, "has Pocket already"),
        ("/bag/entry", {"use": "lapel microphone", "count": "x"}, "whole number"),
        ("/bag/field", {"path": ["bag", "Pocket", "form", "x"], "text": "1"}, "no field"),
        ("/bag/field", {"path": ["bag", "Poket", "mark"], "text": "1"}, 'did you mean "Pocket"'),
        ("/bag/field", {"path": ["bag", "Pocket", "tunes_mhz"], "text": "694-470"}, "lower end first"),
        ("/bag/field", {"path": ["bag", "Pocket", "cells"], "text": "some"}, "2 AA nimh 2000"),
        ("/bag/field", {"path": ["bag", "Pocket", "name"], "text": "", "seen": '"Pocket"'}, "name"),
        ("/bag/carriers", {"name": "Pocket", "text": "x"}, "no"),
        ("/bag/import", {"text": "[[item"}, "the file"),
        ("/bag/measured", {**FIGURE, "what": "intercept"}, "not measured"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_one_sentence_and_changes_nothing(
    bag: TestClient, url: str, sent: dict[str, Any], says: str
) -> None:
    before = bag_file().read_bytes()
    answer = bag.post(url, json=sent)
    assert answer.status_code == 400, answer.text
    assert says in " ".join(answer.json()["says"])
    assert bag_file().read_bytes() == before


def test_a_bag_that_cannot_be_read_is_told_and_left_alone(empty: TestClient) -> None:
    bag_file().parent.mkdir(parents=True)
    bag_file().write_text("[[item\n", "utf-8")
    assert "The bag cannot be read" in empty.get("/bag").text
    assert empty.post("/bag/entry", json={"use": "lapel microphone"}).status_code == 400
    assert bag_file().read_text("utf-8") == "[[item\n"


def test_a_damaged_record_of_changes_costs_the_ways_back_alone(bag: TestClient) -> None:
    bag_file().with_name("kit-changes.jsonl").write_text("{", "utf-8")
    assert bag.get("/bag").status_code == 200
    assert put(bag, ["mark"], "red").status_code == 200
    assert json.loads(bag_file().with_name("kit-changes.jsonl").read_text("utf-8"))["number"] == 1
    assert os.environ["XDG_DATA_HOME"] in str(bag_file())


def test_licences_are_kept_from_the_shoot_and_go_along_to_the_next(empty: TestClient) -> None:
    begun = {
        "where": "Yard",
        "region": "GB",
        "date": "2027-06-14",
        "who": ["Pilot"],
        "kit": "body-worn, 863-865 MHz",
    }
    assert empty.post("/prepare/begin", json=begun).status_code == 200
    assert empty.post("/bag/permits").status_code == 400  # the shoot has none yet
    permit: dict[str, str | list[float]] = {"name": "Summer", "carriers_mhz": [606.5], "to": "2027-08-31"}
    assert empty.post("/api/entry", json={"path": ["permit"], "value": permit}).status_code == 200
    assert "Keep the licences of this shoot" in empty.get("/bag").text
    kept = empty.post("/bag/permits").json()
    assert kept["says"] == ["Summer added to the bag."]
    assert (own_bag().permit[0].region, "606.500 MHz; to 2027-08-31" in empty.get("/bag").text) == ("GB", True)
    told = empty.post("/prepare/begin", json={**begun, "date": "2027-09-01"}).json()
    assert any("is left out: it holds to 2027-08-31" in one for one in told["lacking"])
    assert empty.post("/bag/permit/out", json={"name": "Summer"}).status_code == 200
    assert own_bag().permit == ()
    empty.post("/bag/undo")
    assert own_bag().permit[0].name == "Summer"


def test_any_name_is_shown_and_changed_as_it_is(job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    name = 'O\'Neil "A" <b>&amp; 1'
    page.goto(f"{job.url}/bag")
    put_in(page, "lapel microphone", name, "2")
    card = page.locator("details.owned")
    card.locator("> summary").click()
    serial = card.get_by_label("Serial")
    serial.fill("'7'")
    serial.blur()
    expect(page.locator("#status .says")).to_contain_text("serial of")
    item = own_bag().named(name)
    assert item is not None
    assert item.equipment.serial == "'7'"
    card.locator("[name=value][required]").first.fill("28")
    card.get_by_label("With what").fill("meter")
    card.get_by_role("button", name="Add what was measured").click()
    card.get_by_role("button", name="Remove audio noise").click()
    expect(card).to_contain_text("Nothing yet")
    card.get_by_role("button", name="out of the bag").click()
    expect(page.locator("details.owned")).to_have_count(0)
