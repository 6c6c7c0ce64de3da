"""One field, one list, one document; two people."""

from __future__ import annotations

import datetime
import importlib.resources
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest

from linkwright.shoot.errors import InputError
from linkwright.shoot.reading import parse_shoot
from linkwright.store import Conflict, Store, problems

POTTER, WEAVER = "Potter", "Weaver"


@pytest.fixture
def store(place: str) -> Iterator[Store]:
    with Store.open(place, create=True) as opened:
        yield opened


def demo_text() -> str:
    return importlib.resources.files("linkwright.demo").joinpath("shoot.toml").read_text("utf-8")


def demo() -> dict[str, Any]:
    return tomllib.loads(demo_text())


def names(store: Store, *path: str) -> list[str]:
    return [table["name"] for _, table in store.document().entries(*path)]


def test_a_document_comes_back_as_it_was_given(store: Store) -> None:
    store.replace(demo(), POTTER)
    draft = store.document()
    assert draft.problems() == []
    assert draft.shoot() == parse_shoot(demo_text(), "demo")
    assert tomllib.loads(draft.toml()) == demo()
    assert list(draft.document["transmitter"]) == list(demo()["transmitter"]), (
        "in the order in which they were given"
    )


def test_a_field_is_set_where_it_is_what_was_seen(store: Store) -> None:
    first = store.set_field(("shoot", "title"), None, "Quay", POTTER)
    assert first is not None
    assert (first.revision, first.what, first.before, first.after) == (1, "set", None, "Quay")
    with pytest.raises(Conflict) as told:
        store.set_field(("shoot", "title"), None, "Pier", WEAVER)
    assert (told.value.path, told.value.theirs, told.value.who) == (("shoot", "title"), "Quay", POTTER)
    assert told.value.when == first.when
    assert str(told.value) == 'shoot, title was changed by Potter meanwhile: it is now "Quay"'
    store.set_field(("shoot", "title"), "Quay", "Pier", WEAVER)
    assert store.document().document == {"shoot": {"title": "Pier"}}


def test_what_both_typed_alike_is_no_conflict(store: Store) -> None:
    store.set_field(("shoot", "title"), None, "Quay", POTTER)
    assert store.set_field(("shoot", "title"), None, "Quay", WEAVER) is None
    assert store.revision == 1


def test_different_fields_of_one_link_do_not_meet(store: Store) -> None:
    link = store.insert(("link",), {"name": "Pilot"}, POTTER).path
    store.set_field((*link, "transmitter"), None, "pocket", POTTER)
    store.set_field((*link, "receiver"), None, "slot", WEAVER)
    store.set_field((*link, "name"), "Pilot", "Skipper", WEAVER)
    assert store.document().at(*link) == {"name": "Skipper", "transmitter": "pocket", "receiver": "slot"}


def test_a_conflict_names_the_entry_as_a_person_does(store: Store) -> None:
    link = store.insert(("link",), {"name": "Pilot", "spares": 1}, POTTER).path
    store.set_field((*link, "spares"), 1, 3, WEAVER)
    with pytest.raises(Conflict, match=r'^link "Pilot", spares was changed by Weaver meanwhile: it is now 3$'):
        store.set_field((*link, "spares"), 1, 2, POTTER)
    store.set_field(link, store.document().at(*link), None, WEAVER)
    with pytest.raises(Conflict, match=r"is no longer there: it was removed by Weaver$") as told:
        store.set_field((*link, "spares"), 3, 2, POTTER)
    assert told.value.path == link


@pytest.mark.parametrize(
    ("seen", "stored", "fits"), [(1, 1.0, True), (1.0, 1, True), (True, 1, False), ("1", 1, False)]
)
def test_what_a_browser_writes_alike_was_seen(store: Store, seen: object, stored: object, fits: bool) -> None:
    store.set_field(("shoot", "x"), None, stored, POTTER)
    if fits:
        store.set_field(("shoot", "x"), seen, 7, WEAVER)
    else:
        with pytest.raises(Conflict):
            store.set_field(("shoot", "x"), seen, 7, WEAVER)


def test_a_whole_number_may_replace_its_equal(store: Store) -> None:
    store.set_field(("transmitter", "pocket", "raster_khz"), None, 25.0, POTTER)  # refused by the model
    assert store.set_field(("transmitter", "pocket", "raster_khz"), 25.0, 25, POTTER) is not None
    assert repr(store.document().document) == "{'transmitter': {'pocket': {'raster_khz': 25}}}"


def test_nothing_that_was_typed_is_refused(store: Store) -> None:
    link = store.insert(("link",), {}, POTTER).path
    for path, value in (
        (("shoot", "date"), "next tuesday"),
        (("shoot", "title"), ""),
        ((*link, "spares"), "two"),
        ((*link, "nonsense"), ["", "中🎤"]),
        (("site",), "the quay"),
        (("transmitter", "a/b~cé"), {"use": 5, "nan": float("nan")}),
    ):
        store.set_field(path, None, value, POTTER)
    draft = store.document()
    assert draft.at(*link, "nonsense") == ["", "中🎤"]
    assert draft.at("transmitter", "a/b~cé") == {"use": 5, "nan": "nan"}
    told = {problem.path: problem.says for problem in draft.problems()}
    assert told[("shoot", "date")].startswith('shoot, date is "next tuesday"; expected a date')
    assert told[(*link, "spares")] == 'link 1, spares is "two"; expected a whole number'
    assert "lacks" in told[link]
    with pytest.raises(InputError, match="next tuesday"):
        draft.shoot()


def test_dates_and_times_are_text_until_they_are_read(store: Store) -> None:
    store.replace(demo(), POTTER)
    call = store.document().ids[("call",)][0]
    assert store.document().at("call", call, "from") == "09:00:00"
    store.set_field(("call", call, "from"), "09:00:00", "08:15", WEAVER)
    assert store.document().shoot().call[0].starts == datetime.time(8, 15)
    store.set_field(("call", call, "from"), "08:15", "08:15+01:00", WEAVER)
    assert [problem.path for problem in store.document().problems()] == [("call", call, "from")]


def test_problems_of_a_plain_document_have_numbers() -> None:
    assert [problem.path for problem in problems({"shoot": {}, "link": [{}]})][-1] == ("link", 0)


def test_entries_are_added_put_in_order_and_removed(store: Store) -> None:
    a, b, c = (store.insert(("link",), {"name": name}, POTTER).path for name in "abc")
    store.insert(("link",), {"name": "x"}, WEAVER, before=b[-1])
    assert names(store, "link") == ["a", "x", "b", "c"]
    store.move(c, WEAVER, before=a[-1], seen_revision=store.revision)
    assert names(store, "link") == ["c", "a", "x", "b"]
    store.move(c, WEAVER, before=None, seen_revision=store.revision)
    assert store.move(c, WEAVER, before=None, seen_revision=store.revision) is None, "it stands there"
    store.remove(a, POTTER, seen_revision=store.revision)
    assert names(store, "link") == ["x", "b", "c"]
    assert store.undo(POTTER) is not None
    assert names(store, "link") == ["a", "x", "b", "c"], "back at its place"


def test_what_is_set_stays_at_its_place(store: Store) -> None:
    store.replace({"shoot": {"title": "a", "region": "GB"}, "link": [{"name": "a"}, {"name": "b"}]}, POTTER)
    first = store.document().ids[("link",)][0]
    store.set_field(("shoot", "title"), "a", "b", WEAVER)
    store.set_field(("link", first), {"name": "a"}, {"name": "c", "spares": 2}, WEAVER)
    assert list(store.document().document["shoot"]) == ["title", "region"]
    assert names(store, "link") == ["c", "b"]


def test_an_entry_comes_back_beside_one_that_took_its_place(store: Store) -> None:
    a, b, c = (store.insert(("link",), {"name": name}, POTTER).path for name in "abc")
    store.remove(b, POTTER, seen_revision=store.revision)
    store.insert(("link",), {"name": "x"}, WEAVER, before=c[-1])
    store.undo(POTTER)
    assert names(store, "link") == ["a", "x", "b", "c"]
    store.insert(("link",), {"name": "y"}, WEAVER, before=b[-1])
    assert names(store, "link") == ["a", "x", "y", "b", "c"]
    store.move(a, POTTER, before=None, seen_revision=store.revision)
    assert names(store, "link") == ["x", "y", "b", "c", "a"]


def test_undo_leaves_what_others_added_to_a_table_that_was_made(store: Store) -> None:
    store.set_field(("shoot", "guard_khz", "im3_two"), None, 90, POTTER)
    store.set_field(("shoot", "guard_khz", "im3_three"), None, 40, WEAVER)
    store.undo(POTTER)
    assert store.document().document == {"shoot": {"guard_khz": {"im3_three": 40}}}
    store.undo(WEAVER)
    assert store.document().document == {"shoot": {"guard_khz": {}}}


def test_a_new_order_of_what_was_added_is_a_change_of_it(store: Store) -> None:
    site = store.insert(("site",), {"name": "Quay", "spots": [{"name": "a"}, {"name": "b"}]}, POTTER).path
    first = store.document().ids[(*site, "spots")][0]
    store.move((*site, "spots", first), WEAVER, before=None, seen_revision=store.revision)
    with pytest.raises(Conflict):
        store.undo(POTTER)


def test_a_hundred_entries_at_one_place_keep_their_order(store: Store) -> None:
    last = store.insert(("link",), {"name": "last"}, POTTER).path[-1]
    for number in range(100):
        store.insert(("link",), {"name": str(number)}, POTTER, before=last)
    assert names(store, "link") == [*map(str, range(100)), "last"]


def test_two_who_put_one_entry_elsewhere_are_told(store: Store) -> None:
    a, b, c = (store.insert(("link",), {"name": name}, POTTER).path for name in "abc")
    seen = store.revision
    store.move(a, POTTER, before=None, seen_revision=seen)
    store.move(b, WEAVER, before=None, seen_revision=seen)  # another one
    store.move(a, POTTER, before=c[-1], seen_revision=seen)  # nobody conflicts with himself
    with pytest.raises(Conflict) as told:
        store.move(a, WEAVER, before=None, seen_revision=seen)
    assert told.value.who == POTTER


def test_what_somebody_changed_is_not_removed_unseen(store: Store) -> None:
    link = store.insert(("link",), {"name": "a"}, POTTER).path
    seen = store.revision
    store.set_field((*link, "name"), "a", "b", WEAVER)
    with pytest.raises(Conflict):
        store.remove(link, POTTER, seen_revision=seen)
    store.remove(link, WEAVER, seen_revision=seen)  # his own change
    assert store.remove(link, POTTER, seen_revision=seen) is None, "gone already"


def test_a_new_table_is_a_change_of_all_in_it_and_a_new_order_is_none(store: Store) -> None:
    a, _ = (store.insert(("link",), {"name": name, "spares": 1}, POTTER).path for name in "ab")
    seen = store.revision
    store.move(a, WEAVER, before=None, seen_revision=seen)
    assert store.remove((*a, "spares"), POTTER, seen_revision=seen) is not None
    assert store.undo(POTTER) is not None
    seen = store.revision
    store.set_field(a, store.document().at(*a), {"name": "a", "spares": 2}, WEAVER)
    with pytest.raises(Conflict) as told:
        store.remove((*a, "spares"), POTTER, seen_revision=seen)
    assert (told.value.who, told.value.theirs) == (WEAVER, 2)
    store.move(a, WEAVER, before=None, seen_revision=store.revision)
    store.move(a, WEAVER, before=store.document().ids[("link",)][0], seen_revision=store.revision)
    assert store.remove(a, POTTER, seen_revision=seen + 1) is not None, "only its place is another"


def test_undo_takes_back_ones_own(store: Store) -> None:
    store.set_field(("shoot", "title"), None, "one", POTTER)
    store.set_field(("shoot", "region"), None, "GB", WEAVER)
    store.set_field(("shoot", "title"), "one", "two", POTTER)
    undone = store.undo(POTTER)
    assert undone is not None
    assert (undone.way, undone.of, undone.after) == ("undo", 3, "one")
    store.undo(POTTER)
    assert store.undo(POTTER) is None
    assert store.document().document == {"shoot": {"region": "GB"}}
    store.redo(POTTER)
    store.redo(POTTER)
    assert store.redo(POTTER) is None
    assert store.document().document == {"shoot": {"region": "GB", "title": "two"}}


def test_after_something_new_nothing_older_is_done_again(store: Store) -> None:
    store.set_field(("shoot", "title"), None, "one", POTTER)
    store.set_field(("shoot", "region"), None, "GB", POTTER)
    store.undo(POTTER)
    store.set_field(("shoot", "title"), "one", "two", POTTER)
    assert store.redo(POTTER) is None
    store.undo(POTTER)
    assert store.redo(POTTER) is not None
    assert store.redo(POTTER) is None
    assert store.document().document == {"shoot": {"title": "two"}}


def test_undo_is_a_compare_and_set_of_its_own(store: Store) -> None:
    store.set_field(("shoot", "title"), None, "one", POTTER)
    store.set_field(("shoot", "target"), None, 0.995, POTTER)
    store.set_field(("shoot", "target"), 0.995, 0.999, WEAVER)
    with pytest.raises(Conflict) as told:
        store.undo(POTTER)
    assert (told.value.path, told.value.who) == (("shoot", "target"), WEAVER)
    assert store.undo(POTTER, revision=1) is not None, "an earlier one by its number"
    assert store.undo(POTTER, revision=3) is None, "not somebody else's"
    assert store.document().document == {"shoot": {"target": 0.999}}


def test_an_entry_that_somebody_put_elsewhere_since_is_not_put_back(store: Store) -> None:
    a, b, _ = (store.insert(("link",), {"name": name}, POTTER).path for name in "abc")
    store.move(a, POTTER, before=None, seen_revision=store.revision)
    store.move(a, WEAVER, before=b[-1], seen_revision=store.revision)
    with pytest.raises(Conflict) as told:
        store.undo(POTTER)
    assert (told.value.path, told.value.who) == (a, WEAVER)
    store.undo(WEAVER)
    store.undo(POTTER)
    assert names(store, "link") == ["a", "b", "c"]


def test_a_whole_document_is_replaced_and_undone(store: Store) -> None:
    link = store.insert(("link",), {"name": "a"}, POTTER).path
    before = store.document()
    with pytest.raises(Conflict):
        store.replace(demo(), WEAVER, seen_revision=0)
    store.replace(demo(), WEAVER)
    with pytest.raises(Conflict):
        store.set_field((*link, "name"), "a", "b", POTTER)
    store.undo(WEAVER)
    after = store.document()
    assert (after.document, after.ids) == (before.document, before.ids)


def test_a_new_document_after_an_undo_of_the_first(store: Store) -> None:
    store.replace(demo(), POTTER)
    store.undo(POTTER)
    assert store.document().document == {}
    store.redo(POTTER)
    assert store.document().problems() == []


def test_a_number_too_long_to_write_is_refused(store: Store) -> None:
    with pytest.raises(InputError, match="digits"):
        store.set_field(("shoot", "title"), None, 10**5000, POTTER)


@pytest.mark.parametrize(
    ("path", "value", "says"),
    [
        ((), 1, "names no field"),
        (("a",) * 17, 1, "17 tables deep"),
        (("a" * 201,), 1, "201 characters"),
        (("shoot", "title"), "x" * 1_100_000, "bytes"),
        (("shoot", "title"), object(), "kind object"),
        (("shoot", "title", "x"), 1, "expected a table"),
        (("link", "i99"), {"name": "x"}, "no longer there|add a new one"),
        (("link", "i99"), 5, "add a new one"),
    ],
)
def test_what_no_shoot_could_hold_is_refused(store: Store, path: tuple[str, ...], value: Any, says: str) -> None:
    store.set_field(("shoot", "title"), None, "Quay", POTTER)
    seen = "Quay" if path == ("shoot", "title") else None
    with pytest.raises((InputError, Conflict), match=says):
        store.set_field(path, seen, value, POTTER)
    assert store.document().document == {"shoot": {"title": "Quay"}}
    assert store.revision == 1


def test_only_lists_of_tables_take_entries(store: Store) -> None:
    with pytest.raises(InputError, match="no list of tables"):
        store.insert(("shoot", "permits"), {}, POTTER)
    with pytest.raises(InputError, match="no table"):
        store.insert(("link",), "Pilot", POTTER)
    with pytest.raises(InputError, match="no entry"):
        store.move(("shoot", "title"), POTTER, before=None, seen_revision=0)


def test_the_caller_may_change_what_he_was_given(store: Store) -> None:
    store.replace(demo(), POTTER)
    store.document().document["link"].clear()
    assert len(store.document().document["link"]) == len(demo()["link"])


def test_changes_are_told_in_order(store: Store) -> None:
    store.replace(demo(), POTTER)
    link = store.insert(("link",), {"name": "Pilot"}, WEAVER).path
    store.tick("setup/antennas", None, datetime.datetime.now(datetime.UTC), WEAVER)
    told = store.changes(1)
    assert [(c.revision, c.who, c.area, c.what) for c in told] == [
        (2, WEAVER, "document", "insert"),
        (3, WEAVER, "tick", "set"),
    ]
    assert (told[0].path, told[0].after) == (link, {"name": "Pilot"})
    assert len(store.changes(0, most=2)) == 2


def test_several_fields_are_one_change_that_is_taken_back_as_one(store: Store) -> None:
    store.replace(demo(), POTTER)
    (id_, link), (other, _), *_ = store.document().entries("link")
    before = store.document().document
    change = store.set_fields(
        [(("link", id_, "name"), link["name"], "Another"), (("link", id_, "spares"), link.get("spares"), 3)], WEAVER
    )
    assert change is not None
    assert change.what == "several"
    assert store.document().at("link", id_, "name") == "Another"
    with pytest.raises(Conflict):
        store.set_fields([(("link", id_, "spares"), 3, 4), (("link", other, "name"), "not this", "That")], WEAVER)
    assert store.document().at("link", id_, "spares") == 3, "one conflict, and nothing is changed"
    store.take_back(change.revision, POTTER)
    assert store.document().document == before
    assert store.take_back(change.revision, POTTER) is None, "it does not stand any more"
    newest, *_ = store.newest_changes(2)
    assert (newest.way, newest.of, newest.who) == ("undo", change.revision, POTTER)
