"""The page Plan of a large event: a part at a time, found by what a person types."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from bench.long_event import long_event
from fastapi.testclient import TestClient
from tests.web.conftest import Served, client_of, desk_of_client, planned, served, shoot_into, wait_for_plan

from linkwright.desk.part import SHOWN
from linkwright.store import Store

SHOOT = long_event(130, seed=3, venues=5)


@pytest.fixture(scope="module")
def event(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    with Store.open(tmp_path_factory.mktemp("event") / "job.lwjob", create=True) as store:
        shoot_into(store, SHOOT)
        with client_of(store) as client:
            planned(client)
            yield client


def _parts(text: str) -> set[str]:
    """Every stretch of a text."""
    return {text[begin:end] for begin in range(len(text)) for end in range(begin + 1, len(text) + 1)}


def names(text: str) -> list[str]:
    return re.findall(r'<strong class="name">(?!C\d+ link \d+</strong> <span class="why")([^<]+)', text)


def test_a_part_at_a_time_and_all_of_it_in_turn(event: TestClient) -> None:
    plan = desk_of_client(event).snapshot().plan
    assert plan is not None
    every = sorted(link.link for call in plan.calls for link in call.links)
    assert len(every) > SHOWN
    first, second = (event.get("/plan/body", params={"order": "name", "first": n}).text for n in (0, SHOWN))
    assert [len(names(first)), len(names(second))] == [SHOWN, len(every) - SHOWN]
    assert names(first) + names(second) == every
    assert f"Rows 1 to {SHOWN} of {len(every)}." in first
    assert f'<option value="{SHOWN}" selected>' in second


@pytest.mark.parametrize("find", ["venue 2 session 1", "C1 link 2", "47"])
def test_what_is_typed_finds_calls_sites_links_and_carriers(event: TestClient, find: str) -> None:
    plan = desk_of_client(event).snapshot().plan
    assert plan is not None
    expected = [
        link.link
        for call in plan.calls
        for link in call.links
        if set(find.lower().split()) <= _parts(f"{call.call} {call.site} {link.link} {link.carrier}".lower())
    ]
    assert 0 < len(expected) < 130
    text = event.get("/plan/body", params={"find": find, "first": 100_000}).text
    assert names(text) == expected[:SHOWN]
    assert "that are called so" in text


def test_what_is_not_there_is_said(event: TestClient) -> None:
    text = event.get("/plan/body", params={"find": "<b>zebra"}).text
    assert names(text) == []
    assert "Nothing of 130 rows is called so." in text
    assert "<b>" not in text


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("pages") / "event.lwjob") as at:
        shoot_into(at.store, SHOOT)
        wait_for_plan(at.desk)
        yield at


def test_it_is_turned_and_searched_by_hand(pages: Served, page: Any) -> None:
    page.goto(f"{pages.url}/plan")
    page.get_by_label("From").select_option(str(SHOWN))
    page.get_by_text(f"Rows {SHOWN + 1} to 130 of 130.").wait_for()
    page.get_by_label("Find").fill("link 1")
    page.get_by_label("Find").press("Enter")
    page.get_by_text("that are called so, of 130").wait_for()
    assert page.locator("#body .name").first.text_content().endswith("link 1")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
