"""The page Sheets from outside: every file, the archive, previews, and lists of other crews."""

from __future__ import annotations

import io
import zipfile

import pytest
from fastapi.testclient import TestClient
from tests.web.conftest import client_of, demo_into, desk_of_client, planned

from linkwright.store import Store


def test_every_file_on_the_page_can_be_had(demo: TestClient) -> None:
    text = demo.get("/sheets").text
    archive = zipfile.ZipFile(io.BytesIO(demo.get("/sheets.zip?paper=us-letter").content))
    assert "Eleven links in two calls, on paper for everybody." in text
    assert (
        text.index("The crew")
        < text.index("crew.pdf")
        < text.index("The regulator")
        < text.index("application.pdf")
    )
    for name in archive.namelist():
        assert f"/sheets/file/{name}?paper=a4" in text
    for name, kind in (("crew.pdf", "application/pdf"), ("day.ics", "text/calendar"), ("links.csv", "text/csv")):
        answered = demo.get(f"/sheets/file/{name}")
        assert answered.status_code == 200
        assert answered.headers["content-type"].startswith(kind)
        assert f'filename="{name}"' in answered.headers["content-disposition"]
    assert demo.get("/sheets.zip").content == demo.get("/sheets.zip").content


def test_what_is_not_there_is_a_sentence(demo: TestClient) -> None:
    assert demo.get("/sheets/file/x.pdf").status_code == 400
    assert demo.get("/sheets/preview/links.csv").status_code == 400
    assert demo.get("/sheets/file/crew.pdf?paper=a5").status_code == 422
    assert demo.get("/sheets/preview/crew.pdf").text.startswith("<svg")


def test_nothing_to_hand_out_before_there_is_a_plan(empty: TestClient) -> None:
    assert "nothing to hand out" in empty.get("/sheets").text
    assert empty.get("/sheets/file/crew.pdf").status_code == 400
    assert empty.get("/sheets.zip").status_code == 400


def test_cards_carry_codes_where_telephones_reach_the_pages(store: Store) -> None:
    demo_into(store)
    with client_of(store, lan_urls=("http://192.0.2.7:8765",)) as client:
        planned(client)
        with_code = client.get("/sheets/file/cards.pdf").content
        assert "carry no code" not in client.get("/sheets").text
    with client_of(store) as client:
        planned(client)
        assert len(with_code) > len(client.get("/sheets/file/cards.pdf").content) + 1000
        assert "carry no code" in client.get("/sheets").text


def test_a_neighbour_s_list_becomes_others_is_judged_at_once_and_can_be_undone(demo: TestClient) -> None:
    job = desk_of_client(demo)
    plan = job.snapshot().plan
    assert plan is not None
    carrier = plan.calls[0].links[0].carrier_khz / 1000
    data = f"carrier_mhz,name,place\n{carrier},Another crew,Pans\n".encode()
    answered = demo.post("/sheets/neighbours", files={"file": ("theirs.csv", data, "text/csv")})
    assert answered.status_code == 200, answered.text
    assert "would not hold any more" in answered.json()["says"][0]
    shoot = job.snapshot().document.shoot
    assert shoot is not None
    assert "Another crew" in [other.name for other in shoot.other]
    planned(demo)
    assert job.snapshot().planned().plan.calls[0].links[0].carrier_khz / 1000 != carrier
    demo.post("/api/undo")
    shoot = job.snapshot().document.shoot
    assert shoot is not None
    assert "Another crew" not in [other.name for other in shoot.other]


@pytest.mark.parametrize("data", [b"", b"\xff\xfe\x00", b"a,b\n1,2\n", b"{"])
def test_a_bad_list_changes_nothing(demo: TestClient, data: bytes) -> None:
    before = desk_of_client(demo).snapshot().document.revision
    answered = demo.post("/sheets/neighbours", files={"file": ("x.csv", data, "text/csv")})
    assert answered.status_code == 400
    assert answered.json()["says"][0].startswith("x.csv")
    assert desk_of_client(demo).snapshot().document.revision == before
