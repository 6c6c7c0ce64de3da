"""Pages of a large event show a part of their long lists at a time: everything is reached, nothing is lost."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
from bench.long_event import long_event, repeated
from fastapi.testclient import TestClient
from tests.web.conftest import Served, client_of, desk_of_client, planned, served, shoot_into

from linkwright.day.batteries import Day
from linkwright.day.report import answer
from linkwright.desk.day import planned_day
from linkwright.store import Store

#: So many rows are shown at once here.
FEW = 20
SHOOT = repeated(long_event(130, seed=3, venues=5), 2)
DATES = sorted({call.date.isoformat() for call in SHOOT.call if call.date is not None})


@pytest.fixture(scope="module", autouse=True)
def few() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        for module in ("part", "day", "watching"):
            patch.setattr(f"linkwright.desk.{module}.SHOWN", FEW)
        yield


@pytest.fixture(scope="module")
def event(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    with Store.open(tmp_path_factory.mktemp("event") / "job.lwjob", create=True) as store:
        shoot_into(store, SHOOT)
        with client_of(store) as client:
            yield client


def whole_day(client: TestClient) -> Day:
    snapshot = desk_of_client(client).snapshot()
    return planned_day(snapshot, snapshot.whole_shoot())


def cards(text: str, kind: str) -> list[str]:
    """The names of the cards of a list."""
    return re.findall(rf"data-entry='\[\"{kind}\",[^']+'[^>]*><summary><b>([^<]+)</b>", html.unescape(text))


@pytest.mark.parametrize(("kind", "many"), [("link", len(SHOOT.link)), ("call", len(SHOOT.call))])
def test_each_entry_of_the_shoot_is_on_one_part(event: TestClient, kind: str, many: int) -> None:
    parts = [cards(event.get("/shoot/body", params={f"first-{kind}": n}).text, kind) for n in range(0, many, FEW)]
    assert [name for part in parts for name in part] == [entry.name for entry in getattr(SHOOT, kind)]
    assert max(map(len, parts)) == FEW < many
    assert len(event.get("/shoot/answer").json()["cards"]) < 5 * FEW, "lines of what is not shown are not asked for"


def test_an_entry_is_found_by_what_is_typed_and_shown_where_it_is_gone_to(event: TestClient) -> None:
    text = event.get("/shoot/body", params={"find": "c7 link"}).text
    assert set(cards(text, "link")) == {link.name for link in SHOOT.link if link.name.startswith("C7 ")}
    assert cards(text, "call") == []
    assert f"Nothing of {len(SHOOT.call)} rows is called so." in text
    entries = desk_of_client(event).snapshot().document.draft.entries("link")
    id_, last = entries[-1]
    text = event.get("/shoot/body", params={"find": "zebra", "go": json.dumps(["link", id_, "name"])}).text
    assert last["name"] in cards(text, "link")
    assert event.get("/shoot/body", params={"go": "[1"}).status_code == 400


def test_the_day_shows_one_date_and_all_dates_come_to_the_whole(event: TestClient) -> None:
    whole = whole_day(event)
    assert [date.isoformat() for date in whole.dates] == DATES
    assert len(DATES) > 1
    days = [whole.on_date(date) for date in whole.dates]
    assert sorted(change.at for day in days for change in day.changes) == [change.at for change in whole.changes]
    assert sorted(call.live.name for day in days for call in day.calls) == sorted(call.name for call in SHOOT.call)
    for date, day in zip(DATES, days, strict=True):
        text = event.get("/day", params={"on": date}).text
        assert f'<option value="{date}" selected>' in text
        assert {call.live.name for call in whole.calls if call.live.name in text} == {
            call.live.name for call in day.calls
        }
        told = event.get("/api/day/picture", params={"on": date}).json()
        assert told["answer"] == answer(day)
        other = next(call.live.name for call in whole.calls if call not in day.calls)
        assert other not in told["svg"]
    assert event.get("/day", params={"on": "yesterday"}).status_code == 200


def test_sound_shows_a_part(event: TestClient) -> None:
    text = event.get("/sound/body", params={"first-link": FEW}).text
    assert f"Rows {FEW + 1} to {2 * FEW} of {len(SHOOT.link)}." in text
    assert text.count("<summary>Chain of") == FEW


def test_live_has_tiles_of_who_is_on_next(event: TestClient) -> None:
    planned(event)
    desk_of_client(event).watching.look()
    calls = [(call.live.starts, call.live.links) for call in whole_day(event).calls if call.live.starts is not None]
    first = min(starts for starts, _ in calls)
    soon = {link.name for starts, links in calls if starts == first for link in links}
    state = event.get("/api/live").json()
    soon &= {link["link"] for call in event.get("/plan.json").json()["calls"] for link in call["links"]}
    assert set(state["names"]) == soon == {tile["name"] for tile in state["tiles"] if not tile["off"]}
    assert event.get("/live").text.count('class="tile"') - 1 == len(soon), "and a template"


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("pages") / "event.lwjob") as at:
        shoot_into(at.store, SHOOT)
        yield at


def test_a_new_entry_is_gone_to_by_hand(pages: Served, page: Any) -> None:
    page.goto(f"{pages.url}/shoot")
    page.get_by_label("Find").fill("C7 link")
    page.get_by_label("Find").press("Enter")
    page.get_by_text("that are called so, of").first.wait_for()
    page.get_by_role("button", name="Add a link").click()
    page.locator("[name=value]:focus").wait_for()
    page.keyboard.type("Newcomer")
    page.keyboard.press("Tab")
    page.get_by_text("Newcomer").first.wait_for()
    assert page.get_by_label("Find").input_value() == ""
    page.goto(f"{pages.url}/day")
    with page.expect_response(f"**/api/day/picture*on={DATES[-1]}*"):
        page.get_by_label("Date").select_option(DATES[-1])
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
