"""Tokens: until when they hold, who has one, and that none leaves the job; and the book at the door."""

from __future__ import annotations

import datetime
import io
import re
import sqlite3
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from tests.web.conftest import HOST, ORIGIN, client_of, demo_into

from linkwright.desk.archive import open_beside, pack
from linkwright.desk.devices import may_until, wraps
from linkwright.door.book import MOST_ADDRESSES, OTHERS, TOGETHER_S, Book
from linkwright.shoot.reading import parse_shoot
from linkwright.store import Passing, Store
from linkwright.store.crew import HOLDS, MOST_LINES, hash_of

DAY = datetime.timedelta(days=1)
BEGAN = datetime.datetime(2027, 5, 10, 12, tzinfo=datetime.UTC)
LAN = ("http://192.0.2.9:8037",)


class Clock:
    """A clock that a test sets."""

    def __init__(self) -> None:
        self.now = BEGAN

    def __call__(self) -> datetime.datetime:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def job(tmp_path: Path, clock: Clock) -> Iterator[Store]:
    """The built-in shoot (14 May 2027, until 18:30 in London), in a store with the test's clock."""
    with Store.open(tmp_path / "job.lwjob", create=True, now=clock) as store:
        demo_into(store)
        yield store


def device(laptop: TestClient, address: str = "192.0.2.7", token: str = "") -> TestClient:
    """A device on the network, of the same pages."""
    phone = TestClient(laptop.app, headers=ORIGIN, base_url=f"http://{HOST}", client=(address, 4711))
    if token:
        phone.headers["authorization"] = f"Bearer {token}"
    return phone


def codes_made(laptop: TestClient) -> list[str]:
    """The codes that are made from now on: they stand in a picture alone."""
    codes, made = laptop.app.state.pages.codes, list[str]()  # type: ignore[attr-defined]
    new = type(codes).new

    def told(*args: Any) -> str:
        made.append(new(codes, *args))
        return made[-1]

    codes.new = told
    return made


def join(laptop: TestClient, address: str = "192.0.2.7", **of: Any) -> tuple[TestClient, str]:
    """A device that joined by a code that the laptop's page made, and its token."""
    made = codes_made(laptop)
    answered = laptop.post("/connect/code", data={"role": "log", "name": "Phone", **of})
    assert answered.status_code == 200, answered.text
    code = made[-1]
    assert code not in answered.text, "in the picture alone"
    joined = device(laptop, address).post("/join", json={"code": code})
    assert joined.status_code == 200, joined.text
    token = joined.cookies["linkwright"]
    return device(laptop, address, token), token


def test_a_token_holds_until_two_days_after_the_wrap(job: Store, clock: Clock) -> None:
    with client_of(job, lan_urls=LAN) as laptop:
        phone, _ = join(laptop)
        wrap = wraps(parse_shoot(laptop.get("/shoot.toml").text, "demo"))
        assert wrap is not None
        clock.now = wrap + 2 * DAY - datetime.timedelta(minutes=1)
        assert phone.get("/plan").status_code == 200
        clock.now = wrap + 2 * DAY + datetime.timedelta(minutes=1)
        refused = phone.get("/plan")
        assert refused.status_code == 401
        assert "None may come in" in laptop.get("/connect").text


def test_a_token_that_is_used_holds_longer_where_the_shoot_is_put_off(job: Store, clock: Clock) -> None:
    with client_of(job, lan_urls=LAN) as laptop:
        phone, _ = join(laptop)
        before = job.devices()[0].ends
        clock.now += datetime.timedelta(hours=1)
        job.set_field(("shoot", "date"), "2027-05-14", "2027-05-20", "laptop")
        assert phone.get("/plan").status_code == 200
        assert job.devices()[0].ends == before + 6 * DAY
        clock.now += datetime.timedelta(hours=1)
        job.set_field(("shoot", "date"), "2027-05-20", "2027-05-11", "laptop")
        assert phone.get("/plan").status_code == 200
        assert job.devices()[0].ends == before + 6 * DAY, "nobody is sent away before the time that was told"


def test_where_there_is_no_date_a_token_holds_a_week_from_its_last_use(tmp_path: Path, clock: Clock) -> None:
    with Store.open(tmp_path / "job.lwjob", create=True, now=clock) as job, client_of(job, lan_urls=LAN) as laptop:
        phone, _ = join(laptop)
        for _ in range(3):
            clock.now += HOLDS - datetime.timedelta(minutes=5)
            assert phone.get("/plan").status_code == 200
        clock.now += HOLDS + datetime.timedelta(minutes=5)
        assert phone.get("/plan").status_code == 401


def test_who_joins_after_the_wrap_may_come_in_for_two_days() -> None:
    shoot = parse_shoot(Path("tests/shoot/data/quay.toml").read_text("utf-8"), "quay")
    wrap = wraps(shoot)
    assert wrap is not None
    late = wrap + 9 * DAY
    assert may_until(shoot, late, joins=True) == late + 2 * DAY
    assert may_until(shoot, late) == wrap + 2 * DAY, "and is not renewed"


def test_connect_lists_devices_with_their_last_use_and_their_end(job: Store, clock: Clock) -> None:
    with client_of(job, lan_urls=LAN) as laptop:
        phone, token = join(laptop)
        clock.now += datetime.timedelta(hours=1)
        phone.get("/plan")
        text = laptop.get("/connect").text
        row = re.search(r"<tr><td[^>]*>Phone</td>.*?</tr>", text, re.S)
        assert row is not None
        assert re.findall(r"\d\d:\d\d, \d\d \w+", row[0])[:2] == ["13:00, 10 May", "14:00, 10 May"]
        assert "16 May" in row[0]
        assert token not in text
        assert hash_of(token) not in text


def test_a_device_comes_again_from_another_address_as_itself(job: Store) -> None:
    with client_of(job, lan_urls=LAN) as laptop:
        phone, _ = join(laptop)
        known = job.devices()[0]
        again, _ = join(laptop, "192.0.2.8", device=known.id)
        assert phone.get("/plan").status_code == 401, "its old token no longer holds"
        assert again.get("/plan").status_code == 200
        assert [(one.id, one.name, one.role) for one in job.devices()] == [(known.id, "Phone", "log")]
        laptop.post("/connect/forget", data={"device": known.id})
        refused = laptop.post("/connect/code", data={"device": known.id})
        assert (refused.status_code, refused.json()["says"]) == (
            400,
            ["this device was forgotten; make a code for a new one"],
        )


def test_no_token_leaves_in_a_backup_or_an_archive(job: Store, tmp_path: Path) -> None:
    with client_of(job, lan_urls=LAN) as laptop:
        _, token = join(laptop)
        job.backup(tmp_path / "backup.lwjob")
        out = io.BytesIO()
        pack(job, out, [], [])
        archived = zipfile.ZipFile(out).read("job.lwjob")
    mine = sqlite3.connect(tmp_path / "job.lwjob")
    assert mine.execute("SELECT token_hash FROM device").fetchall() == [(hash_of(token),)]
    mine.close()
    for data in ((tmp_path / "backup.lwjob").read_bytes(), archived):
        assert hash_of(token).encode() not in data, "not even in pages that are free"
        assert b"192.0.2.7" not in data
        (tmp_path / "copy.lwjob").write_bytes(data)
        with Store.open(tmp_path / "copy.lwjob", read_only=True) as copy:
            assert copy.devices() == []
            assert copy.device_of(token) is None
            assert copy.document().document == job.document().document


def test_an_archive_of_somebody_else_lets_nobody_in(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("linkwright.store.backup.forget_devices", lambda _file: None)  # as an older program packed
    with Store.open(tmp_path / "theirs.lwjob", create=True) as theirs:
        theirs.add_device("Back door", "edit", "b" * 40, "laptop")
        with (tmp_path / "gift.zip").open("wb") as out:
            pack(theirs, out, [], [])
    monkeypatch.undo()
    assert hash_of("b" * 40).encode() in zipfile.ZipFile(tmp_path / "gift.zip").read("job.lwjob")
    with Store.open(open_beside(tmp_path / "gift.zip")) as opened:
        assert opened.device_of("b" * 40) is None
        assert opened.devices() == []


def lines_of(laptop: TestClient) -> list[tuple[str, str]]:
    """What the page says happened at the door: what and from where, newest first."""
    text = laptop.get("/connect").text.partition("At the door")[2]
    return re.findall(r'data-label="What">([^<]*)</td><td data-label="From">([^<]*)<', text)


def test_the_book_says_who_joined_was_refused_was_forgotten_and_from_where(job: Store, clock: Clock) -> None:
    with client_of(job, lan_urls=LAN) as laptop:
        stranger = device(laptop, "192.0.2.66")
        phone, token = join(laptop)
        clock.now += datetime.timedelta(minutes=1)
        for _ in range(3):
            assert stranger.get("/plan").status_code == 401
            stranger.post("/join", json={"code": "guess-of-a-code"})
        stranger.get("/plan", headers={"host": "evil.example"})
        laptop.post("/connect/key", data={"name": "gateway"})
        laptop.post("/connect/forget", data={"device": job.devices()[0].id})
        assert phone.get("/plan").status_code == 401
        said = lines_of(laptop)
        assert ("Phone joined", "192.0.2.7") in said
        assert ("a code was made for Phone", "this laptop") in said
        assert ("a key was made for gateway", "testclient") in said
        assert ("Phone was forgotten", "testclient") in said
        assert any("code that is wrong" in what and where == "192.0.2.66" for what, where in said)
        assert any("not paired" in what and where == "192.0.2.7" for what, where in said)
        assert any("another page" in what and where == "192.0.2.66" for what, where in said)
        kept = " ".join(map(str, job.door_lines(1000)))
        for secret in (token, hash_of(token), "guess-of-a-code"):
            assert secret not in kept


def test_a_flood_of_refusals_is_counted_not_written(tmp_path: Path, clock: Clock) -> None:
    now = [0.0]
    with Store.open(tmp_path / "job.lwjob", create=True, now=clock) as job:
        book = Book(job, lambda: now[0])
        due = 0
        for n in range(5000):
            now[0] += TOGETHER_S / 1000
            if book.refuse("unpaired", f"10.0.{n % 200}.1"):
                due += 1
                book.write()
        book.write()
        assert due <= 6, "a few transactions for thousands of refusals"
        lines = job.door_lines(10_000)
        assert sum(line.times for line in lines) == 5000
        assert len(lines) <= 200 + 1
        assert any(line.address == OTHERS for line in lines)
        assert MOST_ADDRESSES < 200


def test_the_book_is_bounded_and_keeps_who_joined(tmp_path: Path, clock: Clock) -> None:
    with Store.open(tmp_path / "job.lwjob", create=True, now=clock) as job:
        job.pass_door("joined", "Phone", "192.0.2.7")

        def fill(connection: Any) -> None:
            from sqlalchemy import insert

            from linkwright.store import tables

            wrong: Passing = "wrong"
            row = {"at_ms": 1, "last_ms": 1, "what": wrong, "who": "", "times": 1}
            many = [{**row, "address": f"10.{n}"} for n in range(MOST_LINES + 50)]
            connection.execute(insert(tables.door), many)

        job._plainly(fill)
        job.pass_door("unpaired", "", "192.0.2.66")
        lines = job.door_lines(10_000)
        assert len(lines) == MOST_LINES
        assert {line.what for line in lines} >= {"joined", "unpaired"}


def test_devices_of_an_older_job_come_in_for_a_week_more(tmp_path: Path) -> None:
    from linkwright.store import migrate
    from linkwright.store.engines import writing_engine
    from linkwright.store.location import location_of

    place, then = str(tmp_path / "job.db"), datetime.datetime.now(datetime.UTC)
    location = location_of(place)
    assert location.file is not None
    migrate.make_file(location.file)
    engine = writing_engine(location)
    with engine.begin() as connection:
        migrate.upgrade(connection, "0003")
        at = int(then.timestamp() * 1000)
        row = f"'i1', 'P', 'log', '{hash_of('p')}', {at}"
        connection.exec_driver_sql(f"INSERT INTO device (id, name, role, token_hash, at_ms) VALUES ({row})")
    engine.dispose()
    with Store.open(place) as store:
        found = store.device_of("p")
        assert found is not None
        assert abs(found.ends - then - HOLDS) < datetime.timedelta(seconds=1)
