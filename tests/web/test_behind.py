"""Behind a balancer: nobody is at home, codes of another process let in, and addresses are as the balancer says."""

from __future__ import annotations

from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from linkwright.door.keeper import MOST_EACH, Keeper
from linkwright.door.lan import Lan
from linkwright.shoot.errors import InputError
from linkwright.store import Store
from linkwright.web.app import create_app

NAME = "event.example"
AT = {"host": NAME, "origin": f"https://{NAME}"}


def test_who_asks_from_this_machine_needs_a_token_too_and_joins_by_a_code_of_the_console(store: Store) -> None:
    console = create_app(store, lan=Lan.beside_name({"testserver"}, NAME))
    served = create_app(store, lan=Lan.behind_name(NAME))
    with (
        TestClient(console, headers={"origin": "http://testserver"}) as home,
        TestClient(served, headers=AT) as behind,
    ):
        for path in ("/plan", "/connect", "/own"):
            assert behind.get(path).status_code == 401, "the balancer may be on this machine"
            assert behind.get(path, headers={"host": "127.0.0.1:8037"}).status_code == 421
        page = home.post("/connect/code", data={"role": "edit", "name": "Desk"}).text
        assert f"https://{NAME}/join" in page or "<svg" in page
        assert "Not encrypted" not in home.get("/connect").text
        code = console.state.pages.codes.new("edit", "Desk")
        joined = behind.post("/join", json={"code": code}, headers={"x-forwarded-for": "10.0.0.1, 192.0.2.7"})
        assert joined.status_code == 200, joined.text
        assert "secure" in joined.headers["set-cookie"].lower()
        behind.headers["authorization"] = f"Bearer {joined.cookies['linkwright']}"
        assert behind.get("/plan").status_code == 200
        assert behind.get("/connect").status_code == 403, "devices are let in on the console"
        assert "Not encrypted" not in behind.get("/plan").text
        assert "192.0.2.7" in home.get("/connect").text


def test_a_balancers_connections_are_not_counted_as_one_strangers() -> None:
    keeper = Keeper()
    keeper.trust()
    keeper.room(4096)
    visits = [keeper.come("10.0.0.9", 0.0) for _ in range(10 * MOST_EACH["strange"])]
    assert None not in visits


@pytest.mark.parametrize("name", ["", "a b", "https://event.example", "-x", "e/x", "x" * 300])
def test_what_is_no_name_is_one_sentence(name: str, tmp_path: Path) -> None:
    del tmp_path
    with pytest.raises(InputError, match="is no name of a host"):
        Lan.behind_name(name)
