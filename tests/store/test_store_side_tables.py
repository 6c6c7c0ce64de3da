"""Attachments, results, devices, entries, ticks."""

from __future__ import annotations

import datetime
import io
import threading
from collections.abc import Iterator

import pytest
from sqlalchemy import func, select

from linkwright.shoot.errors import InputError
from linkwright.store import Conflict, Store, attachments, cache, tables

POTTER, WEAVER = "Potter", "Weaver"
NOON = datetime.datetime(2027, 5, 14, 12, 0, tzinfo=datetime.UTC)


@pytest.fixture
def store(place: str) -> Iterator[Store]:
    with Store.open(place, create=True) as opened:
        yield opened


def count(store: Store, table: str) -> int:
    query = select(func.count()).select_from(tables.metadata.tables[table])
    return int(store._reading(lambda connection: connection.execute(query).scalar()) or 0)


@pytest.mark.parametrize("size_bytes", [0, 1, attachments.PIECE_BYTES, attachments.PIECE_BYTES * 2 + 5])
def test_an_attachment_comes_back(store: Store, size_bytes: int) -> None:
    data = bytes(range(256)) * (size_bytes // 256 + 1)
    data = data[:size_bytes]
    new = store.attach("../../etc/quay\0.csv", io.BytesIO(data), POTTER, most_bytes=size_bytes, kind="sweep")
    assert store.attachment(new) == data
    (found,) = store.attachment_list()
    assert (found.id, found.name, found.kind, found.size_bytes, found.who) == (
        new,
        "../../etc/quay�.csv",
        "sweep",
        size_bytes,
        POTTER,
    )


def test_one_content_is_kept_once_and_goes_with_its_last_name(store: Store) -> None:
    one = store.attach("a.csv", b"same", POTTER, most_bytes=10)
    other = store.attach("b.csv", b"same", WEAVER, most_bytes=10)
    assert (count(store, "content"), count(store, "piece")) == (1, 1)
    assert store.detach(one, WEAVER)
    assert store.attachment(other) == b"same"
    assert store.detach(other, WEAVER)
    assert not store.detach(other, WEAVER)
    assert (count(store, "content"), count(store, "piece")) == (0, 0)
    with pytest.raises(InputError, match="no such attachment"):
        store.attachment(other)


def test_what_is_too_large_is_refused_before_it_is_written(store: Store) -> None:
    with pytest.raises(InputError, match="more than 3 bytes"):
        store.attach("a.csv", b"four", POTTER, most_bytes=3)
    assert count(store, "content") == 0
    with pytest.raises(InputError, match="characters"):
        store.attach("a" * 1001, b"", POTTER, most_bytes=3)


class Failing(io.BytesIO):
    """A file that cannot be read to its end the second time."""

    rounds = 0

    def read(self, size: int | None = -1) -> bytes:
        if self.tell() == 0:
            self.rounds += 1
        if self.rounds == 2 and self.tell() >= attachments.PIECE_BYTES:
            raise OSError("gone")
        return super().read(size)


def test_what_was_half_written_is_no_attachment_and_goes(tmp_path_factory: pytest.TempPathFactory) -> None:
    file = tmp_path_factory.mktemp("half") / "job.db"
    data = b"x" * (attachments.PIECE_BYTES * 2)
    with Store.open(file, create=True) as store:
        with pytest.raises(OSError, match="gone"):
            store.attach("a.wav", Failing(data), POTTER, most_bytes=10**8)
        assert store.attachment_list() == []
        assert (count(store, "content"), count(store, "piece")) == (1, 1)
    with Store.open(file) as store:
        assert (count(store, "content"), count(store, "piece")) == (0, 0)
        new = store.attach("a.wav", data, POTTER, most_bytes=10**8)
        assert store.attachment(new) == data


def test_a_large_attachment_does_not_hold_up_others(store: Store) -> None:
    """Between two pieces, another person's edit goes through."""
    edited = threading.Event()

    class Slow(io.BytesIO):
        rounds = 0

        def read(self, size: int | None = -1) -> bytes:
            if self.tell() == 0:
                self.rounds += 1
            if self.rounds == 2 and self.tell() == attachments.PIECE_BYTES:
                store.set_field(("shoot", "title"), None, "Quay", WEAVER)
                edited.set()
            return super().read(size)

    store.attach("a.wav", Slow(b"x" * (attachments.PIECE_BYTES * 3)), POTTER, most_bytes=10**8)
    assert edited.is_set()
    assert [change.area for change in store.changes(0)] == ["document", "attachment"]


def test_results_are_kept_and_dropped(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    assert store.cache_get("plan") is None
    store.cache_put("plan", b"one")
    store.cache_put("plan", b"two")
    assert store.cache_get("plan") == b"two"
    store.drop_cache()
    assert store.cache_get("plan") is None
    assert store.revision == 0, "nobody waits for it"
    monkeypatch.setattr(cache, "MOST_CACHE_BYTES", 10)
    for number in range(5):
        store.cache_put(str(number), bytes(4))
    assert count(store, "cached") == 2
    assert store.cache_get("4") == bytes(4), "the newest stays"
    store.cache_put("4", bytes(11))
    assert store.cache_get("4") is None, "too large, and the old one is no longer true"


def test_a_token_opens_until_it_is_revoked(place: str) -> None:
    clock = [NOON]
    with Store.open(place, create=True, now=lambda: clock[0]) as store:
        device = store.add_device("Boom's telephone", "log", "a long and random token", POTTER)
        assert store.device_of("another") is None
        found = store.device_of("a long and random token")
        assert found is not None
        assert (found.id, found.role, found.joined) == (device.id, "log", NOON)
        clock[0] += datetime.timedelta(seconds=30)
        store.device_of("a long and random token")
        assert store.devices()[0].seen == NOON, "not written at every look"
        clock[0] += datetime.timedelta(seconds=31)
        store.device_of("a long and random token")
        assert store.devices()[0].seen == clock[0]
        assert store.revoke_device(device.id, POTTER)
        assert not store.revoke_device(device.id, POTTER)
        assert store.device_of("a long and random token") is None
        assert store.devices()[0].revoked == clock[0]
        assert "random" not in repr(store._reading(lambda c: c.execute(select(tables.device)).all()))


def test_entries_stand_in_the_order_of_what_happened(store: Store) -> None:
    store.add_entry("second", POTTER, when=NOON)
    store.add_entry("first", WEAVER, when=datetime.datetime.fromisoformat("2027-05-14T12:30:00+01:00"))
    assert [(entry.text, entry.who) for entry in store.entries()] == [("first", WEAVER), ("second", POTTER)]
    with pytest.raises(InputError, match="characters"):
        store.add_entry("x" * 10_001, POTTER)


def test_a_tick_is_set_where_it_stands_as_seen(store: Store) -> None:
    later = NOON + datetime.timedelta(hours=3, microseconds=1234)
    first = store.tick("battery/i3", None, NOON, POTTER)
    assert first == NOON
    with pytest.raises(Conflict) as told:
        store.tick("battery/i3", None, later, WEAVER)
    assert (told.value.path, told.value.theirs, told.value.who) == (
        ("tick", "battery/i3"),
        NOON.isoformat(),
        POTTER,
    )
    second = store.tick("battery/i3", first, later, WEAVER)
    assert second == later.replace(microsecond=1000)
    assert store.ticks()["battery/i3"].who == WEAVER
    assert store.tick("battery/i3", second, None, WEAVER) is None
    assert store.ticks() == {}
    assert [change.what for change in store.changes(0)] == ["set", "set", "remove"]
    assert store.undo(POTTER) is None, "what is not the document is not undone"


def test_what_happened_is_kept_in_its_order_and_told(store: Store) -> None:
    heard: list[int] = []
    end = store.subscribe(heard.append)
    later = store.happen("changed", "Pilot", {"cells": 2, "empty": True}, NOON, POTTER)
    earlier = store.happen("switched", "Cook", {"mhz": 571.125}, NOON - datetime.timedelta(hours=1), WEAVER)
    end()
    assert store.happenings() == [earlier, later]
    assert store.happenings(kinds=["changed"]) == [later]
    assert store.happenings(last=1) == [later]
    assert store.happenings(later.revision) == [earlier], "since a revision, whenever it happened"
    assert heard == [later.revision, earlier.revision]
    assert (later.data, later.when, later.who) == ({"cells": 2, "empty": True}, NOON, POTTER)
    assert [(change.area, change.path) for change in store.changes(0)] == [
        ("happening", ("changed", "Pilot")),
        ("happening", ("switched", "Cook")),
    ]
    assert store.undo(POTTER) is None, "only the document is taken back"


def test_what_happened_survives_closing_and_takes_any_text(place: str) -> None:
    with Store.open(place, create=True) as store:
        store.happen("note", "a\0b", {"text": "§ — 'quoted' \" {}"}, None, POTTER)
        with pytest.raises(InputError, match=r"half a character \(U\+D800\)"):
            store.happen("note", "x", {"text": "§ \ud800"}, None, POTTER)
        with pytest.raises(InputError, match="at most 1048576"):
            store.happen("note", "x", {"text": "y" * 2_000_000}, None, POTTER)
        with pytest.raises(InputError, match="at most 1000"):
            store.happen("k" * 2000, "x", {}, None, POTTER)
    with Store.open(place, read_only=True) as store:
        (found,) = store.happenings()
        assert found.about == "a�b"
        assert found.data["text"].endswith("{}")


def test_the_book_at_the_door_counts_what_is_refused_again(place: str) -> None:
    now = [datetime.datetime(2027, 5, 14, 8, tzinfo=datetime.UTC)]
    with Store.open(place, create=True, now=lambda: now[0]) as store:
        store.pass_door("joined", "Phone", "192.0.2.7")
        store.pass_door("unpaired", "", "192.0.2.66", 3)
        now[0] += datetime.timedelta(minutes=50)
        store.pass_door("unpaired", "", "192.0.2.66")
        store.pass_door("joined", "Phone", "192.0.2.7")
        now[0] += datetime.timedelta(hours=2)
        store.pass_door("unpaired", "", "192.0.2.66")
        lines = [(line.what, line.who, line.times) for line in store.door_lines(10)]
        assert sorted(lines) == [
            ("joined", "Phone", 1), ("joined", "Phone", 1), ("unpaired", "", 1), ("unpaired", "", 4),
        ]  # fmt: skip
        device = store.add_device("Phone", "log", "one" * 20, POTTER, ends=now[0] + datetime.timedelta(hours=1))
        assert store.device_of("one" * 20) is not None
        assert store.new_token(device.id, "two" * 20, now[0] + datetime.timedelta(hours=2), POTTER) is not None
        assert store.device_of("one" * 20) is None
        now[0] += datetime.timedelta(hours=1, minutes=59)
        assert store.device_of("two" * 20) is not None
        now[0] += datetime.timedelta(minutes=2)
        assert store.device_of("two" * 20) is None
        store.revoke_device(device.id, POTTER)
        assert store.new_token(device.id, "three" * 20, now[0], POTTER) is None


def test_codes_that_let_nobody_in_any_more_go_with_the_next(place: str) -> None:
    """Those that nobody used would stay in the job for ever."""
    clock, holds = [NOON], datetime.timedelta(minutes=5)
    with Store.open(place, create=True, now=lambda: clock[0]) as store:
        for code in ("first", "second", "third"):
            store.put_code(code, {"role": "look"}, holds)
            clock[0] += datetime.timedelta(minutes=3)
        assert count(store, "code") == 2
        assert store.take_code("first", holds) is None
        assert store.take_code("third", holds) == {"role": "look"}
